"""Descriptions of many kinds of reports: part, stage and fault. Common practice, no source."""

from pathlib import Path

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.text import understand
from squibwise.model.names import side_of
from squibwise.model.report import CodeLine

CATALOG = load_catalog()
ROWS = [
    tuple(row.split("\t"))
    for row in (Path(__file__).parent / "wordings.tsv").read_text(encoding="utf-8").splitlines()
    if row and not row.startswith("#")
]
# Right parts that are honestly left open, or told another way than the row asks.
OPEN = {
    "B0040 - Left Front/Driver Side Deployment Loop Resistance Low",
    "B2909 Belt tension sensor fault",
    "33-4 Short to power in driver's side airbag inflator",
    "54-13 Internal failure of the SRS unit: front airbag and seat belt tensioner activated",
}


def read(text: str) -> CodeLine:
    (line,) = understand([RawLine(number=1, text=text)], "test", CATALOG).lines
    return line


@pytest.mark.parametrize(("text", "component", "stage", "fault"), ROWS)
def test_a_wording_is_read(text: str, component: str, stage: str, fault: str) -> None:
    line = read(text)
    assert fault in ("*", line.fault)
    if text in OPEN:
        return
    assert (line.component or "-") == component
    assert ("-" if line.stage is None else str(line.stage)) == stage


@pytest.mark.parametrize(("text", "component", "stage", "fault"), ROWS)
def test_no_wording_is_confidently_wrong_in_side_or_stage(
    text: str, component: str, stage: str, fault: str
) -> None:
    line = read(text)
    assert line.stage is None or stage in ("-", str(line.stage))
    if line.place is not None and component != "-":
        place = component.partition(".")[0]
        assert side_of(line.place, "left") == side_of(place, "left")
