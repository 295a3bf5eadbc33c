"""A look into a zip archive before any library opens it."""

import io
import re
import zipfile

from squibwise.errors import InputError
from squibwise.intake.importers.limits import MAX_LINES, MIB, refuse_many

MAX_PARTS = 1_000
MAX_UNPACKED = 24 * MIB
_MAX_RATIO = 200
_SMALL = MIB
_MAX_CELLS = 60_000
_ROW, _CELL = re.compile(rb"<(?:\w+:)?row[\s>/]"), re.compile(rb"<(?:\w+:)?c[\s>/]")
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
