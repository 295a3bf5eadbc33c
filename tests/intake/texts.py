"""Texts read as a file that somebody hands in, for the tests of reports."""

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report
from squibwise.model.report import ReadReport

CATALOG = load_catalog()


def read_text(text: str, name: str = "r.txt") -> ReadReport:
    """Return what is read of a text file."""
    return read_report(text.encode(), name, CATALOG)


def codes_in(text: str) -> list[str | None]:
    """Return the codes of its faults, in order."""
    return [ln.code for ln in read_text(text).lines]
