"""From a file's bytes to what it says."""

from squibwise.catalog.load import Catalog
from squibwise.intake.importers import extract
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
    found = extract(data, name)
    read = understand(found.lines, name, catalog, car)
    return ReadReport(
        vin=read.vin,
        lines=read.lines,
        unread=read.unread,
        findings=found.findings + read.findings,
        coverage=read.coverage,
    )
