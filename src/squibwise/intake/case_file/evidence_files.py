"""Files that a case names: reports, crash data and code tables, each read once."""

import hashlib
from collections.abc import Collection
from pathlib import Path

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError, SquibwiseError, UnavailableError
from squibwise.intake.case_file.checks import Notes
from squibwise.intake.case_file.schema import CrashDataEntry
from squibwise.intake.case_file.toml_text import KeyPath, read_bytes
from squibwise.intake.case_file.written import WrittenEntry
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import MAX_BYTES
from squibwise.intake.report import reader
from squibwise.intake.report.reader import read_report
from squibwise.model.car import Car
from squibwise.model.evidence import Evidence
from squibwise.model.origin import Finding, Origin
from squibwise.model.report import ReadReport

_MOST_LYING = 200
_PHOTOS = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".gif", ".mp4", ".mov")


def read_report_file(path: Path, catalog: Catalog) -> ReadReport:
    """Return what a report file says, with everything that was not understood.

    Raises:
        InputError: The file is missing, a folder, too large, a case file, or nothing that can be
            read.
    """
    if path.suffix.lower() == ".toml" and path.is_file():
        remedy = f"`squibwise assess {path}` reads the whole case."
        raise InputError(f"{path} is a case file, not a scan report.", remedy=remedy)
    return read_report(read_bytes(path, MAX_BYTES), path.name, catalog)


def file_bytes(name: str, path: KeyPath, notes: Notes) -> bytes | None:
    """Return the content of a file of the case folder; None when it cannot be read."""
    try:
        return read_bytes(notes.folder / name, MAX_BYTES)
    except InputError as error:
        _pass_on(error, name, path, notes)
        return None


def one_report(
    name: str, data: bytes, car: Car | None, path: KeyPath, notes: Notes
) -> ReadReport | None:
    """Return what one report of the case says; None when it cannot be read at all."""
    try:
        return read_report(data, name, notes.catalog, car)
    except (InputError, UnavailableError) as error:
        _pass_on(error, name, path, notes)
        return None


def vin_in(name: str, data: bytes, catalog: Catalog) -> str | None:
    """Return the VIN that a report names; None also when it cannot be read, which is told later."""
    try:
        return reader.vin_in(extract(data, name), name, catalog)
    except (InputError, UnavailableError):
        return None


def _pass_on(error: SquibwiseError, name: str, path: KeyPath, notes: Notes) -> None:
    message = f"'{name}' cannot be read: {error}"
    notes.add("case-unreadable-file", path, message, error.remedy)


def crash_data(
    one: WrittenEntry, entry: CrashDataEntry, data: bytes, car: Car, origin: Origin, notes: Notes
) -> list[Evidence]:
    """Return what a file of crash data says, one entry for each recorded event."""
    from squibwise.intake.crash_data import read_crash_events

    try:
        read = read_crash_events(data, entry.file, car, notes.catalog)
    except InputError as error:
        _pass_on(error, entry.file, (*one.path, "file"), notes)
        return []
    notes.findings += (in_file(finding, entry.file) for finding in read.findings)
    return [
        msgspec.structs.replace(
            event,
            id=one.id if number == 1 else f"{one.id}-{number}",
            time=entry.time,
            file=entry.file,
            origin=origin,
        )
        for number, event in enumerate(read.entries, start=1)
    ]


def note_unnamed(named: Collection[str], notes: Notes) -> None:
    """Note the files of the evidence folder that no entry names; photos may lie there unnamed."""
    folder = notes.folder / "evidence"
    lying = sorted(folder.iterdir())[:_MOST_LYING] if folder.is_dir() else []
    for file in lying:
        name = f"evidence/{file.name}"
        if name in named or not file.is_file() or file.suffix.lower() in _PHOTOS:
            continue
        message = f"'{name}' lies in the folder, but no entry names it: it is not used."
        notes.add("case-unnamed-file", (), message, "Name it in an [[evidence]] entry.", "note")


_PICTURE_MARKS = (
    b"\xff\xd8\xff",  # JPEG
    b"\x89PNG\r\n\x1a\n",
    b"GIF8",
    b"II*\0",  # TIFF
    b"MM\0*",
    b"%PDF-",
)


def is_picture(data: bytes) -> bool:
    """Is a file a picture, a film or a scanned paper by its first bytes.

    Source: ISO/IEC 10918-1 (JPEG), ISO/IEC 15948 (PNG), ISO/IEC 14496-12 section 4.3 (``ftyp``,
    for HEIC, MP4 and MOV), the rest as their makers publish it; all from memory.
    """
    return (
        data.startswith(_PICTURE_MARKS)
        or data[4:8] == b"ftyp"
        or (data[:4], data[8:12]) == (b"RIFF", b"WEBP")
    )


def digest(data: bytes) -> str:
    """Return the SHA-256 of a file in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def compare_vin(car: Car, reading: ReadReport, name: str, path: KeyPath, notes: Notes) -> None:
    """Add a finding when a report names another car."""
    if car.vin and reading.vin and reading.vin != car.vin:
        message = f"'{name}' is a report of {reading.vin}, not of {car.vin}."
        remedy = "Make sure that it belongs to this car."
        notes.add("case-other-vin", path, message, remedy, "warning")


def with_origin_in(reading: ReadReport, name: str) -> ReadReport:
    """Return a reading whose findings name their file."""
    named = tuple(in_file(finding, name) for finding in reading.findings)
    return msgspec.structs.replace(reading, findings=named)


def in_file(finding: Finding, name: str) -> Finding:
    """Return a finding that names its file, also when its reader did not."""
    if finding.origin.file:
        return finding
    origin = msgspec.structs.replace(finding.origin, file=name)
    return msgspec.structs.replace(finding, origin=origin)
