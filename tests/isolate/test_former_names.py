"""A kind that had another name once is still understood, in a case and as an argument."""

from pathlib import Path

import pytest

import squibwise
from squibwise.model.names import current_name

CATALOG = squibwise.load_catalog()
CASE = """
[car]
model_year = 2014
equipment = "curtains-and-weight-sensing"

# told: The indicator never goes out.

[[evidence]]
kind = "done"
what = "disconnected"
component = "centre.dash-panel"
"""


@pytest.mark.parametrize(
    ("former", "now"),
    [
        ("passenger.off-lamp", "passenger.off-indicator"),
        ("passenger.off-lamp/1", "passenger.off-indicator/1"),
        ("door-left.door-seal-2", "door-left.vapour-barrier-2"),
        ("driver.front-bag/2", "driver.front-bag/2"),
        ("evidence/off-lamp.txt", "evidence/off-lamp.txt"),
    ],
)
def test_a_former_name_is_read_as_the_present_one(former: str, now: str) -> None:
    assert current_name(former) == now


def test_a_case_with_former_names_is_read_and_its_told_comments_are_a_story(tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text(CASE, encoding="utf-8")
    case = squibwise.open_case(tmp_path, CATALOG)
    assert "case-former-name" in {f.code for f in case.findings}
    story = next(e for e in case.evidence if e.id.startswith("told-"))
    assert (story.text, story.origin.line) == ("The indicator never goes out.", 6)  # type: ignore[union-attr]
    found = squibwise.trace(case, "passenger.off-lamp", CATALOG)
    assert found.loop == "passenger.off-indicator/1"
