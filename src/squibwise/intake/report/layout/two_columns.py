"""Texts printed in two columns: the left one is read to its foot before the right one."""

import re
from collections import Counter
from collections.abc import Sequence
from itertools import groupby

import msgspec

from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern

_CODE = (
    r"(?:[BCPU][0-9A-F]{4}|(?=[0-9A-F]*\d)[0-9A-F]{6}|\d{5}|(?=[0-9A-F]*\d)[0-9A-F]*[A-F][0-9A-F]*"
    r"(?<=[0-9A-F]{4})|[0-9A-F]{4}(?=[:-]))"
    r"(?=\S*\s+[^\W\d_]{2})"
)
_FIRST = pattern(rf"\s{{0,8}}{_CODE}")
_SECOND = pattern(rf"(?:\S\s{{3,}}|^\s{{20,}})(?P<code>{_CODE})")
_ENTRY = pattern(rf"\s*{_CODE}")
_LEAST = 2  # faults that each column has where no line heads both
_SPLITS = 2  # columns beside the first


def unfold_columns(raws: Sequence[RawLine], splits: int = _SPLITS) -> list[RawLine]:
    """Return the lines of a text, those of a left column before those of the right one.

    A heading then holds for its own column, from there down; what runs across both parts them.

    Args:
        raws: Numbered lines; rows of tables with cells stay as they are.
        splits: How many columns may be taken off the first.
    """
    raws = _unfold_cells(raws)
    gutter = _gutter(raws) if splits else None
    if gutter is None:
        return list(raws)
    found: list[RawLine] = []
    band: list[RawLine] = []
    for raw in raws:
        if _crosses(raw.text, gutter):
            found += [*_unfold_band(band, gutter, splits), raw]
            band = []
        else:
            band.append(raw)
    return found + _unfold_band(band, gutter, splits)


def _unfold_cells(raws: Sequence[RawLine]) -> list[RawLine]:
    """The lines, two columns of codes that a bar parts one below the other.

    Only where entries go on in the row below: ``open   stored | short   present``.
    """
    found: list[RawLine] = []
    for width, run in groupby(raws, lambda raw: len(raw.cells)):
        rows = list(run)
        told = [sum(bool(_ENTRY.match(cell)) for cell in raw.cells) for raw in rows]
        begin = [n for n in told if n]
        if width < _LEAST or len(begin) < _LEAST or {*begin} - {width} or len(begin) == len(rows):
            found += rows
            continue
        for column in range(width):
            cells = (RawLine(number=raw.number, text=raw.cells[column]) for raw in rows)
            found += [*cells, RawLine(number=rows[-1].number, text="")]
    return found


def _gutter(raws: Sequence[RawLine]) -> int | None:
    """Where the right column begins; None where the text has but one."""
    plain = [raw.text for raw in raws if not raw.cells]
    starts = Counter(m.start("code") for text in plain for m in _SECOND.finditer(text))
    if not starts:
        return None
    first = min(starts, key=lambda at: (-starts[at], at))
    firsts = [text for text in plain if _FIRST.match(text)]
    depth = max(map(_depth, firsts), default=0)
    coded = (text[:first] for text in plain if re.match(_CODE, text[first:]))
    beside = [left for left in coded if left.strip()]
    rows = [left for left in beside if _depth(left) <= depth]  # the others go on with a row
    both = sum(_FIRST.match(left) is not None for left in rows)
    is_sheet = beside and 2 * both >= len(rows)  # no table whose first column names parts
    return first if starts[first] >= _LEAST <= len(firsts) and is_sheet else None


def _depth(text: str) -> int:
    """How far a line is set in."""
    return len(text) - len(text.lstrip())


def _crosses(text: str, gutter: int) -> bool:
    """Tell whether a line runs across the gap between two columns."""
    return bool(text[gutter - 2 : gutter].strip()) and bool(text[gutter:].strip())


def _unfold_band(band: Sequence[RawLine], gutter: int, splits: int) -> list[RawLine]:
    left = _column([msgspec.structs.replace(r, text=r.text[:gutter].rstrip()) for r in band])
    right = _column([msgspec.structs.replace(r, text=r.text[gutter:].rstrip()) for r in band])
    if not right:
        return left
    gap = RawLine(number=right[0].number, text="")
    return [*left, gap, *unfold_columns(right, splits - 1)]


def _column(lines: list[RawLine]) -> list[RawLine]:
    """The lines of a column, with one blank line at most where nothing stands in it."""
    found: list[RawLine] = []
    for line in lines:
        if line.text or (found and found[-1].text):
            found.append(line)
    return found[:-1] if found and not found[-1].text else found
