"""Workbooks to lines, after a look into the archive before any library opens it."""

import datetime as dt
import io
import re
import zipfile
from collections.abc import Iterator
from typing import Any

from msgspec.structs import replace

from squibwise.errors import InputError
from squibwise.intake.importers.base import (
    MAX_LINES,
    MIB,
    Document,
    Extract,
    Importer,
    RawLine,
    refuse_many,
)
from squibwise.intake.importers.text import empty, row_lines
from squibwise.intake.patterns import pattern
from squibwise.model.origin import Finding, Origin

MAX_PARTS = 1_000
MAX_UNPACKED = 24 * MIB
_MAX_RATIO = 200
_SMALL = MIB
_MAX_CELLS = 60_000
_ROW, _CELL = re.compile(rb"<(?:\w+:)?row[\s>/]"), re.compile(rb"<(?:\w+:)?c[\s>/]")
_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s+ref=\"([A-Z]{1,3}\d{1,7}:[A-Z]{1,3}\d{1,7})\"")
_REMEDY = "Save the sheet with the faults as CSV and read that."


def names(data: bytes) -> tuple[str, ...]:
    """Return the names of an archive's parts; empty when it is no archive or a broken one."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return tuple(archive.namelist())
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError, UnicodeDecodeError):
        return ()


def refuse_bomb(data: bytes, name: str) -> None:
    """Refuse an archive that unpacks to more than a report needs, or is locked.

    Only the directory is read. The library never unpacks more than the directory declares, so the
    declared sizes bound what comes out, overlapping parts included.

    Raises:
        InputError: It has too many parts, unpacks to too much, or is locked.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = archive.infolist()
    unpacked = sum(p.file_size for p in parts)
    dense = any(
        p.file_size > _SMALL and p.file_size > _MAX_RATIO * max(p.compress_size, 1) for p in parts
    )
    if len(parts) > MAX_PARTS or unpacked > MAX_UNPACKED or dense:
        raise InputError(
            f"{name}: it unpacks to far more than a report holds ({len(parts)} parts, "
            f"{unpacked / MIB:.0f} MB from {len(data) / MIB:.1f} MB), and was not opened.",
            remedy=_REMEDY,
        )
    if any(p.flag_bits & 1 for p in parts):
        raise InputError(
            f"{name}: the workbook is locked with a password.",
            remedy="Save it without a password and read that.",
        )


def refuse_parts(data: bytes, name: str) -> None:
    """Refuse XML parts that declare entities, which no workbook needs, or hold too many cells.

    Raises:
        InputError: So it is, or a part cannot be unpacked.
    """
    rows = cells = 0
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for part in archive.infolist():
            if not part.filename.lower().endswith((".xml", ".rels")):
                continue
            content = archive.read(part).replace(b"\x00", b"")  # UTF-16 too
            if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
                raise InputError(
                    f"{name}: a part of the workbook declares XML entities, which no workbook "
                    "needs; it was not opened.",
                    remedy=_REMEDY,
                )
            rows += len(_ROW.findall(content))
            cells += len(_CELL.findall(content))
    refuse_many(name, rows, MAX_LINES, "rows")
    refuse_many(name, cells, _MAX_CELLS, "cells")


_ZIP, _OLE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_MACRO = pattern(r"vbaproject|/macrosheets/|/dialogsheets/|/activex/|\.bin$", re.IGNORECASE)
_HARMLESS_BIN = pattern(r"printersettings\d*\.bin$", re.IGNORECASE)
_OUTSIDE = pattern(r"/externallinks/|/embeddings/|xl/connections\.xml", re.IGNORECASE)
_ZEROS = pattern(r"0{2,}\Z")
_COLUMNS, _SHEETS = 256, 50
_PLAIN = "Save the sheet with the faults as a plain .xlsx or as CSV and read that."


def claims(document: Document) -> bool:
    """Tell whether it is a zip archive or an old office file; the reader sorts them out."""
    return document.data.startswith((_ZIP, _OLE))


def read(document: Document) -> Extract:
    """Return one line per row of every sheet, numbered on from sheet to sheet.

    Raises:
        InputError: It is no workbook, holds macros or outside links, or unpacks to too much.
    """
    import zipfile

    _refuse(document)
    try:
        refuse_parts(document.data, document.name)
        return _read(document)
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, OSError, SyntaxError) as broken:
        raise InputError(
            f"{document.name}: the workbook is damaged ({type(broken).__name__}).", remedy=_PLAIN
        ) from None


def _refuse(document: Document) -> None:
    """Refuse what is not a plain workbook, before any library opens it."""
    name = document.name
    if document.data.startswith(_OLE):
        raise InputError(
            f"{name}: this is an old or locked office file, or a message in a mail program's own "
            "format, which is not read.",
            remedy="Save it as .xlsx, CSV, PDF or (a message) .eml, and read that.",
        )
    parts = names(document.data)
    if not parts:
        raise InputError(f"{name}: the archive is damaged.", remedy=_PLAIN)
    refuse_bomb(document.data, name)
    if not any(p.lower().endswith("xl/workbook.xml") for p in parts):
        raise InputError(
            f"{name}: this is an archive or an office document without sheets.",
            remedy="Take the report out of it, or save it as PDF or text, and read that.",
        )
    if any(_MACRO.search(p) and not _HARMLESS_BIN.search(p) for p in parts):
        raise InputError(f"{name}: the workbook holds macros; it was not opened.", remedy=_PLAIN)
    if any(_OUTSIDE.search(p) for p in parts):
        raise InputError(
            f"{name}: the workbook has links to other files; it was not opened.", remedy=_PLAIN
        )


def _read(document: Document) -> Extract:
    import openpyxl

    book = openpyxl.load_workbook(
        io.BytesIO(document.data), read_only=True, data_only=True, keep_links=False
    )
    refuse_many(document.name, len(book.worksheets), _SHEETS, "sheets")
    lines: list[RawLine] = []
    findings: list[Finding] = []
    for sheet in book.worksheets:
        start = lines[-1].number if lines else 0
        found = list(_sheet_lines(sheet, start, document.name))
        found[:1] = [replace(line, sheet=sheet.title) for line in found[:1]]
        if found and start:
            findings.append(_next_sheet(document.name, sheet.title, found[0].number))
        lines += found
        refuse_many(document.name, len(lines), MAX_LINES, "rows")
    if not lines:
        raise empty(document.name)
    return Extract(lines=tuple(lines), findings=tuple(findings), format="xlsx")


def _sheet_lines(
    sheet: Any,  # noqa: ANN401 - the library is not typed
    start: int,
    name: str,
) -> Iterator[RawLine]:
    sheet.reset_dimensions()  # the declared size may be a lie
    merged = _merged(sheet)
    down: dict[int, tuple[int, str]] = {}  # last row and text, by column
    for number, row in enumerate(sheet.iter_rows(max_col=_COLUMNS), start=1):
        refuse_many(name, number, MAX_LINES, "rows")
        cells = [_shown(cell) for cell in row]
        for column, cell in enumerate(cells if any(cells) else ()):
            last, text = down.get(column, (0, ""))
            cells[column] = cell or (text if number <= last else "")
            if (column, number) in merged:
                down[column] = merged[column, number], cell
        yield from row_lines(start + number, cells)


def _merged(sheet: Any) -> dict[tuple[int, int], int]:  # noqa: ANN401 - the library is not typed
    """Return the last row of cells that reach down, by column and first row."""
    from openpyxl.utils.cell import range_boundaries

    found = _MERGED.findall(sheet.parent._archive.read(sheet._worksheet_path))
    spans = (range_boundaries(ref.decode()) for ref in found)
    return {(left - 1, top): foot for left, top, _, foot in spans if foot > top}


def _shown(cell: Any) -> str:  # noqa: ANN401 - the library is not typed
    """Return a cell's value as a person sees it, as far as it matters for codes."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) and _ZEROS.match(str(cell.number_format)):
        return str(value).zfill(len(cell.number_format))
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat(sep=" ") if isinstance(value, dt.datetime) else value.isoformat()
    return str(value)


def _next_sheet(name: str, title: str, number: int) -> Finding:
    return Finding(
        code="sheet-follows",
        severity="note",
        message=f"Here begins the sheet '{title}'; its rows are numbered on.",
        origin=Origin(file=name, line=number),
    )


IMPORTER = Importer(format="xlsx", claims=claims, read=read, binary=True, apart=True)
