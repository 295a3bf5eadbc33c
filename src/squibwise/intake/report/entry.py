"""From a file's bytes to what it says."""

from squibwise.catalog.load import Catalog
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import Extract
from squibwise.intake.report.layout import sort_lines
from squibwise.intake.report.text import understand
from squibwise.model.car import Car
from squibwise.model.report import ReadReport


def read_report(data: bytes, name: str, catalog: Catalog, car: Car | None = None) -> ReadReport:
    """Return everything that was read from a report in any format.

    Args:
        data: The file's bytes.
        name: Its name as the user wrote it.
        catalog: The reviewed facts.
        car: The car it belongs to; None when not known.

    Raises:
        InputError: The file cannot be read at all.
        UnavailableError: It needs an optional part that is not installed.
    """
    return read_extract(extract(data, name), name, catalog, car)


def read_extract(found: Extract, name: str, catalog: Catalog, car: Car | None) -> ReadReport:
    """Return everything that was read from the lines of a report; see ``read_report``."""
    read = understand(found.lines, name, catalog, car)
    return ReadReport(
        vin=read.vin,
        lines=read.lines,
        unread=read.unread,
        findings=found.findings + read.findings,
        coverage=read.coverage,
    )


def vin_in(found: Extract, name: str, catalog: Catalog) -> str | None:
    """Return the VIN that a report names, without understanding the rest of it."""
    return sort_lines(found.lines, name, catalog).vin
