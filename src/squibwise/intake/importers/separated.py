"""Comma, semicolon, tab or bar separated values."""

import csv
import re
from collections import Counter
from collections.abc import Iterator, Sequence

from squibwise.intake.importers.base import (
    MAX_LINES,
    MAX_TEXT_BYTES,
    Document,
    Extract,
    Importer,
    RawLine,
    refuse_large,
    refuse_many,
)
from squibwise.intake.importers.text import empty, row_lines
from squibwise.intake.patterns import pattern

_SIGNS = "\t;|,"
_PEEK_LINES = 200
_SEP_LINE = pattern(r"\A\s*\"?sep=(.)\"?\s*?(?:\r\n|\n|\r)", re.IGNORECASE)
_BARE_CODE = pattern(r"\s*(?:[PCBU]?[0-9A-F]{2,6}(?:[-:\s][0-9A-F]{2})?)?\s*\Z", re.IGNORECASE)
_BREAK = pattern(r"\r\n|\n|\r")
_RUNAWAY = 20  # line breaks inside one field: a quote that was never closed


def claims(document: Document) -> bool:
    """Tell whether nearly all lines have the same number of fields."""
    text = document.text or ""
    if document.text is None or text.lstrip()[:1] in ("<", "{", "["):
        return False
    return _sign(document.text, document.ends(".csv", ".tsv")) != ""


def read(document: Document, sign: str = "") -> Extract:
    """Return one line per record, with its cells.

    Args:
        document: The table.
        sign: What parts the cells; empty = found by how even it makes the lines.

    Raises:
        InputError: It is empty, or larger than a report can be.
    """
    text, name = document.text or "", document.name
    refuse_large(name, len(text), MAX_TEXT_BYTES, "a table")
    sign = sign or _sign(text, document.ends(".csv", ".tsv"))
    lines: list[RawLine] = []
    for number, cells in _records(text, sign):
        lines += row_lines(number, cells)
        refuse_many(name, len(lines), MAX_LINES, "rows")
    if not lines:
        raise empty(name)
    return Extract(lines=tuple(lines), format="tsv" if sign == "\t" else "csv")


def _sign(text: str, hinted: bool) -> str:
    """Return the sign between the fields; empty when it is not such a table."""
    said = _SEP_LINE.match(text)
    if said:
        return said[1]
    parts = _BREAK.split(text[:MAX_TEXT_BYTES], _PEEK_LINES)[:_PEEK_LINES]
    lines = [line for line in parts if line.strip()]
    return next((s for s in _SIGNS if _is_table(lines, s, hinted)), "")


def _is_table(lines: Sequence[str], sign: str, hinted: bool) -> bool:
    plain = [line.split(sign) for line in lines]
    return any(_is_even(rows, sign, hinted) for rows in (_fields(lines, sign), plain))


def _is_even(fields: Sequence[list[str]], sign: str, hinted: bool) -> bool:
    rows = [row for row in fields if row]
    if len(rows) < 2 and not (hinted and rows):
        return False
    width, count = Counter(len(row) for row in rows).most_common(1)[0]
    needed = 3 if sign == "," and not hinted else 2
    if width < needed or count < 0.8 * len(rows):
        return False
    return not all(_BARE_CODE.match(cell) for row in rows for cell in row)  # a bare list of codes


def _fields(lines: Sequence[str], sign: str) -> list[list[str]]:
    try:
        return list(csv.reader(lines, delimiter=sign))
    except csv.Error:
        return []


def _records(text: str, sign: str) -> Iterator[tuple[int, list[str]]]:
    """Return the records with the number of the line each starts on."""
    lines = _BREAK.split(text)
    if _SEP_LINE.match(text):
        lines[0] = ""
    try:
        records = list(_quoted(lines, sign))
    except csv.Error:
        records = []
    runaway = any(cell.count("\n") > _RUNAWAY for _, row in records for cell in row)
    if records and not runaway:
        return iter(records)
    return ((n, line.split(sign)) for n, line in enumerate(lines, start=1))


def _quoted(lines: Sequence[str], sign: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader((line + "\n" for line in lines), delimiter=sign)
    start = 1
    for record in reader:
        yield start, record
        start = reader.line_num + 1


IMPORTER = Importer(format="csv", claims=claims, read=read)
