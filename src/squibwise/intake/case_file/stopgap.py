"""Stands in for the report reader until it has landed: every line comes back as not understood."""

from squibwise.catalog.load import Catalog
from squibwise.intake.importers import extract
from squibwise.model.car import Car
from squibwise.model.report import ReadReport, Unread


def read_report(data: bytes, name: str, catalog: Catalog, car: Car | None = None) -> ReadReport:
    """Return a report of which nothing is understood yet."""
    del catalog, car
    read = extract(data, name)
    unread = tuple(Unread(line=x.number, raw=x.text) for x in read.lines if x.text.strip())
    return ReadReport(unread=unread, findings=read.findings)
