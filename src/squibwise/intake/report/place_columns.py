"""Printed tables with a column for each side or seat: a cell below it is of that place."""

from itertools import takewhile

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.lexicon import Lexicon, flat
from squibwise.intake.report.sheet import Line

_CELL = pattern(r"\S+(?:\s\S+)*")  # blanks part them, two or more
_ASTRAY = 2  # characters that a cell may stand beside its heading
_COLUMNS = 2  # of places, and rows of a table
_NOTHING = pattern(
    r"[-\u2013\u2014.]+|(?:ok|n/?a)\b.*",
)
_GOOD = frozenset({"good", "clean"})


def apply_place_columns(lines: list[Line], lexicon: Lexicon) -> list[Line]:
    """Return the lines, in a table headed by places a line for each place with a fault.

    ``curtain   -   open`` below ``left   right`` is the right curtain; a dash is no fault.

    Args:
        lines: Of a report, before codes are looked for.
        lexicon: All phrases.
    """
    found: list[Line] = []
    at = 0
    while at < len(lines):
        places = _headings(lines[at], lexicon)
        rows = _rows_below(lines[at + 1 :], places) if places else []
        found.append(lines[at])
        if len(rows) >= _COLUMNS:
            lines[at].role = "meta"  # it says nothing of all the rows below
            found += [x for row in rows for x in _said_of(row, places, lexicon)]
            at += len(rows)
        at += 1
    return found


def _headings(line: Line, lexicon: Lexicon) -> dict[int, str]:
    """Where the headings stand that are places, the last ones of the line; empty for none."""
    text = line.text
    if line.cells or "  " not in text.strip() or any(c.isdigit() for c in text):
        return {}
    cells = list(_CELL.finditer(text))
    named = {c.start(): c.group() for c in cells if _is_place(c.group(), lexicon)}
    is_told = len(named) == _COLUMNS < len(cells) and cells[0].start() not in named
    return named if is_told and len({flat(n) for n in named.values()}) == _COLUMNS else {}


def _is_place(text: str, lexicon: Lexicon) -> bool:
    return any(m.startswith(("seat:", "side:")) for m in lexicon.first_meanings(text))


def _cells_at(row: Line, places: dict[int, str]) -> dict[int, tuple[int, int, str]]:
    """The cells of a row below the headings: their place, start, end and text."""
    found = {}
    for cell in _CELL.finditer(row.text):
        for start in places:
            if abs(cell.start() - start) <= _ASTRAY:
                found[start] = (cell.start(), cell.end(), cell.group())
    return found


def _rows_below(lines: list[Line], places: dict[int, str]) -> list[Line]:
    return list(takewhile(lambda row: _is_row(row, places), lines))


def _is_row(row: Line, places: dict[int, str]) -> bool:
    """Tell whether a line has something before the columns of places and in each of them."""
    return len(_cells_at(row, places)) == len(places) and bool(row.text[: min(places) - 2].strip())


def _said_of(row: Line, places: dict[int, str], lexicon: Lexicon) -> list[Line]:
    """The row once for each place whose cell is filled; the row itself where none is."""
    cells = _cells_at(row, places)
    told = [s for s, (_, _, text) in cells.items() if not _is_nothing(text, lexicon)]
    found = []
    for own in told:
        text = row.text
        for start in sorted(cells, reverse=True):
            first, last, said = cells[start]
            text = text[:first] + (f"{places[own]} {said}" if start == own else "") + text[last:]
        found.append(msgspec.structs.replace(row, text=text))
    return found or [row]


def _is_nothing(text: str, lexicon: Lexicon) -> bool:
    return bool(_NOTHING.fullmatch(flat(text).strip())) or bool(
        _GOOD & lexicon.first_meanings(text)
    )
