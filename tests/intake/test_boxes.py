"""Of answers with boxes only what is ticked is said, and nothing of a row without a tick."""

from pathlib import Path

import pytest
from texts import read_text

ROWS = [
    row.split("\t")
    for row in (Path(__file__).parent / "boxes.tsv").read_text("utf-8").splitlines()
    if not row.startswith("#")
]


def _told(text: str) -> list[str]:
    lines = read_text(text.replace("\\n", "\n")).lines
    return [f"{ln.component} {ln.fault}" for ln in lines if ln.present]


@pytest.mark.parametrize(("text", "told"), ROWS)
def test_only_a_ticked_box_is_said_of_its_row(text: str, told: str) -> None:
    assert _told(text) == ([] if told == "-" else [told])


def test_boxes_below_headings_say_their_heading() -> None:
    """Own case: columns of boxes, one row without a tick."""
    head = "Circuit           open  high  short\n"
    rows = "Driver knee bag   [x]   [ ]   [ ]\nLeft curtain      [ ]   [ ]   [x]\n"
    told = ["driver.knee-bag open-or-high", "left.curtain low-or-short"]
    assert _told(head + rows + "Right curtain     [ ]   [ ]   [ ]\n") == told
