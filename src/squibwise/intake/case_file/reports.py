"""The files a case names: read once, within limits, and handed to the reader of their kind."""

import hashlib
from pathlib import Path as FilePath

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.intake.case_file.evidence import CrashDataEntry
from squibwise.intake.case_file.locate import Path
from squibwise.intake.case_file.notes import Notes
from squibwise.intake.case_file.parse import read_bytes
from squibwise.intake.case_file.stopgap import read_report
from squibwise.intake.importers.limits import MAX_BYTES
from squibwise.model.car import Car
from squibwise.model.evidence import Evidence
from squibwise.model.report import ReadReport


def read_report_file(path: FilePath, catalog: Catalog) -> ReadReport:
    """Return what a report file says, with everything that was not understood.

    Raises:
        InputError: The file is missing, a folder, too large, or nothing that can be read.
    """
    return read_report(read_bytes(path, MAX_BYTES), path.name, catalog)


def file_bytes(name: str, path: Path, notes: Notes) -> bytes | None:
    """Return the content of a file of the case folder; None when it cannot be read."""
    try:
        return read_bytes(notes.folder / name, MAX_BYTES)
    except InputError as error:
        _pass_on(error, name, path, notes)
        return None


def one_report(
    name: str, data: bytes, car: Car | None, path: Path, notes: Notes
) -> ReadReport | None:
    """Return what one report of the case says; None when it cannot be read at all."""
    try:
        return read_report(data, name, notes.catalog, car)
    except InputError as error:
        _pass_on(error, name, path, notes)
        return None


def _pass_on(error: InputError, name: str, path: Path, notes: Notes) -> None:
    message = f"'{name}' cannot be read: {error}"
    notes.add("case-unreadable-file", path, message, error.remedy)


def crash_data(
    entry_id: str, entry: CrashDataEntry, data: bytes, path: Path, notes: Notes
) -> list[Evidence]:
    """Return what a file of crash data says, one entry for each recorded event."""
    del entry_id, data
    message = f"'{entry.file}': crash data files cannot be read yet."
    notes.add("case-unreadable-file", path, message, "Type the values in as kind = 'recorder'.")
    return []


def digest(data: bytes) -> str:
    """Return the SHA-256 of a file in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def compare_vin(car: Car, reading: ReadReport, name: str, path: Path, notes: Notes) -> None:
    """Add a finding when a report names another car."""
    if car.vin and reading.vin and reading.vin != car.vin:
        message = f"'{name}' is a report of {reading.vin}, not of {car.vin}."
        remedy = "Make sure that it belongs to this car."
        notes.add("case-other-vin", path, message, remedy, "warning")


def with_origin_in(reading: ReadReport, name: str) -> ReadReport:
    """Return a reading whose findings name their file."""
    named = tuple(
        f
        if f.origin.file
        else msgspec.structs.replace(f, origin=msgspec.structs.replace(f.origin, file=name))
        for f in reading.findings
    )
    return msgspec.structs.replace(reading, findings=named)
