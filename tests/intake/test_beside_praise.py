"""A part and its fault stay a fault beside praise of all others. Common practice, no source."""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report


@pytest.mark.parametrize(
    "line",
    [
        "Driver side airbag open, all other circuits ok",
        "All other circuits ok, driver side airbag: resistance too high",
        "All ok except passenger front airbag: open",
        "No faults except passenger front airbag open",
        "Rest ok. Passenger front airbag open.",
        "All circuits ok; driver side airbag open",
    ],
)
def test_a_fault_beside_praise_is_there(line: str) -> None:
    read = read_report(f"RESTRAINT SYSTEM\n{line}\n".encode(), "scan.txt", load_catalog())
    (fault,) = [c for c in read.lines if c.present]
    assert fault.fault == "open-or-high"


@pytest.mark.parametrize(
    "line",
    ["Driver front airbag ok, all other circuits ok", "No open on the driver airbag, rest ok"],
)
def test_praise_alone_tells_no_fault(line: str) -> None:
    read = read_report(f"RESTRAINT SYSTEM\n{line}\n".encode(), "scan.txt", load_catalog())
    assert not [c for c in read.lines if c.present]
