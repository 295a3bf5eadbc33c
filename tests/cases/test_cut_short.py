"""A seller ticks a report as complete that says itself that it broke off, or was cleared before.

What is read then of circuits without a code is common practice, no source.
"""

from pathlib import Path

import pytest

import squibwise

CATALOG = squibwise.load_catalog()
CASE = """
[case]
id = "{name}"
[car]
model_year = 2018
drive_hand = "left"
equipment = "curtains-and-weight-sensing"
[[evidence]]
kind = "impact"
zone = "nose-centre"
extent = "moderate"
[[evidence]]
kind = "report"
file = "scan.txt"
when = "before-repair"
complete = true
"""


def fired(folder: Path, text: str) -> float:
    """Return the belief that the driver's bag fired, by a report that was ticked as complete."""
    folder.mkdir()
    (folder / "case.toml").write_text(CASE.format(name=folder.name), encoding="utf-8")
    (folder / "scan.txt").write_text(text, encoding="utf-8")
    states = squibwise.assess(squibwise.open_case(folder, CATALOG), CATALOG)
    return states.of("driver.front-bag").now.fired


@pytest.mark.parametrize(
    "text",
    [
        "SRS read failed after 3 of 24 circuits\nNo faults.\n",
        "Scan aborted\nAirbag module: no faults\n",
        "SRS\nCodes cleared before towing. No faults stored.\n",
    ],
)
def test_what_a_report_says_of_its_own_end_outranks_the_tick(tmp_path: Path, text: str) -> None:
    clean = fired(tmp_path / "clean", "Airbag module\nNo faults stored. All circuits ok.\n")
    assert fired(tmp_path / "short", text) > clean + 0.1
