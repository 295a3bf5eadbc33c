"""XLSX workbooks: values only; macros, links to other files and zip bombs are refused."""

import datetime as dt
import io
import re
from collections.abc import Iterator
from typing import Any

from squibwise.errors import InputError
from squibwise.intake.importers.base import Extract, RawLine
from squibwise.intake.importers.document import Document, Importer
from squibwise.intake.importers.limits import MAX_LINES, refuse_many
from squibwise.intake.importers.rows import row_lines
from squibwise.intake.importers.text import empty
from squibwise.model.origin import Finding, Origin

_ZIP, _OLE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_MACRO = re.compile(r"vbaproject|/macrosheets/|/dialogsheets/|/activex/|\.bin$", re.IGNORECASE)
_HARMLESS_BIN = re.compile(r"printersettings\d*\.bin$", re.IGNORECASE)
_OUTSIDE = re.compile(r"/externallinks/|/embeddings/|xl/connections\.xml", re.IGNORECASE)
_ZEROS = re.compile(r"0{2,}\Z")
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

    from squibwise.intake.importers import archive

    _refuse(document)
    try:
        archive.refuse_parts(document.data, document.name)
        return _read(document)
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, OSError, SyntaxError) as broken:
        raise InputError(
            f"{document.name}: the workbook is damaged ({type(broken).__name__}).", remedy=_PLAIN
        ) from None


def _refuse(document: Document) -> None:
    """Refuse what is not a plain workbook, before any library opens it."""
    from squibwise.intake.importers import archive

    name = document.name
    if document.data.startswith(_OLE):
        raise InputError(
            f"{name}: this is an old or locked office file, or a message in a mail program's own "
            "format, which is not read.",
            remedy="Save it as .xlsx, CSV, PDF or (a message) .eml, and read that.",
        )
    parts = archive.names(document.data)
    if not parts:
        raise InputError(f"{name}: the archive is damaged.", remedy=_PLAIN)
    archive.refuse_bomb(document.data, name)
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
    for number, row in enumerate(sheet.iter_rows(max_col=_COLUMNS), start=1):
        refuse_many(name, number, MAX_LINES, "rows")
        yield from row_lines(start + number, [_shown(cell) for cell in row])


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
