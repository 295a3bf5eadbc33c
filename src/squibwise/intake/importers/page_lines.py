"""Marks on a page to lines in reading order."""

import itertools
import re
import statistics
from collections import Counter
from collections.abc import Sequence

import msgspec

from squibwise.intake.patterns import pattern


class Glyph(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One letter. Distances in points, x to the right, y down the page.

    Attributes:
        x0: Left edge. [pt]
        x1: Right edge, with the room the font leaves after it. [pt]
        y: Middle of its line. [pt]
        size: Height of its line. [pt]
        sign: The character.
    """

    x0: float
    x1: float
    y: float
    size: float
    sign: str


class Rule(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """A line drawn level or upright.

    Attributes:
        at: Its y when level, its x when upright. [pt]
        start: Where it begins, along itself. [pt]
        end: Where it ends. [pt]
    """

    at: float
    start: float
    end: float


class Marks(msgspec.Struct, frozen=True, kw_only=True):
    """One page.

    Attributes:
        glyphs: Its letters, spaces left out.
        level: Level lines.
        upright: Upright lines.
    """

    glyphs: tuple[Glyph, ...]
    level: tuple[Rule, ...] = ()
    upright: tuple[Rule, ...] = ()


class Segment(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """A stretch of words on one line with no wide gap in it.

    Attributes:
        x0: Left edge. [pt]
        x1: Right edge. [pt]
        text: Its words.
    """

    x0: float
    x1: float
    text: str


class Line(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One line of print.

    Attributes:
        y: Its middle. [pt]
        size: Height of its letters. [pt]
        segments: From left to right.
    """

    y: float
    size: float
    segments: tuple[Segment, ...]


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One row as a person reads it: a line, or the lines of one table row.

    Attributes:
        y: Middle of its first line. [pt]
        bottom: Middle of its last line. [pt]
        size: Height of its letters. [pt]
        cells: From left to right; their edges tell the columns.
    """

    y: float
    bottom: float
    size: float
    cells: tuple[Segment, ...]

    def text(self) -> str:
        """Return the row as one line, for comparing."""
        return "\t".join(cell.text for cell in self.cells)


# All in heights of a line. A word space is about a quarter, a gap between columns more than one
# letter; from sample pages, common practice of type setting.
_SAME_LINE = 0.4
_WORD_GAP = 0.15
_CELL_GAP = 0.85
_SPREAD_GAP = 0.08  # nine in ten gaps of spaced-out letters are wider than this
_SPREAD_LEAST, _SPREAD_LETTERS = 8, 0.4


def lines_of(glyphs: Sequence[Glyph]) -> list[Line]:
    """Return the lines of print, from the top of the page to its foot."""
    return [line_of(group) for group in grouped(glyphs)]


def grouped(glyphs: Sequence[Glyph]) -> list[list[Glyph]]:
    """Return letters that stand on one line together, each line from left to right."""
    groups: list[list[Glyph]] = []
    for glyph in sorted(glyphs, key=lambda g: g.y):
        first = groups[-1][0] if groups else None
        if first and glyph.y - first.y <= _SAME_LINE * min(first.size, glyph.size):
            groups[-1].append(glyph)
        else:
            groups.append([glyph])
    return [sorted(group, key=lambda g: g.x0) for group in groups]


def line_of(group: Sequence[Glyph]) -> Line:
    """Return letters of one line, from left to right, as segments of words."""
    size = statistics.median(g.size for g in group)
    y = statistics.median(g.y for g in group)
    word, cell = _gap_limits(group, size)
    segments: list[list[Glyph]] = [[]]
    for glyph in group:
        last = segments[-1]
        if last and glyph.x0 - last[-1].x1 > cell:
            segments.append([glyph])
        elif not (last and _is_shadow(last[-1], glyph)):
            last.append(glyph)
    return Line(y=y, size=size, segments=tuple(_segment(s, word) for s in segments if s))


def _is_shadow(last: Glyph, glyph: Glyph) -> bool:
    """Tell whether a letter is printed twice nearly at one place, to look bold."""
    return last.sign == glyph.sign and abs(glyph.x0 - last.x0) < 0.1 * (last.x1 - last.x0)


def _gap_limits(group: Sequence[Glyph], size: float) -> tuple[float, float]:
    """Return the gaps beyond which a new word and a new cell begin on a line."""
    gaps = [b.x0 - a.x1 for a, b in itertools.pairwise(group)]
    letters = sum(g.sign.isalpha() for g in group)
    spread = (
        len(group) >= _SPREAD_LEAST
        and letters >= _SPREAD_LETTERS * len(group)
        and sorted(gaps)[len(gaps) // 10] > _SPREAD_GAP * size
    )
    if not spread:
        return _WORD_GAP * size, _CELL_GAP * size
    usual = statistics.median(gaps)
    return 1.7 * usual, max(_CELL_GAP * size, 4.0 * usual)


def _segment(glyphs: Sequence[Glyph], word_gap: float) -> Segment:
    signs: list[str] = []
    right = glyphs[0].x0
    for glyph in glyphs:
        if signs and glyph.x0 - right > word_gap:
            signs.append(" ")
        signs.append(glyph.sign)
        right = glyph.x1
    return Segment(x0=glyphs[0].x0, x1=right, text="".join(signs))


_CODE = pattern(
    r"(?:[PCBU][0-9A-F]{4}|[0-9A-F]{4}[-: ]?[0-9A-F]{2}|[0-9]{4,5}|[0-9A-F]{6})\b", re.IGNORECASE
)


def starts_with_code(text: str) -> bool:
    """Tell whether a text begins as a fault code does."""
    return _CODE.match(text) is not None


_GUTTER = 1.2  # least width of the gap between columns, in line heights
_SIDES_LEAST = 3  # lines that a column has at least
_CROSSING_MOST = 0.34  # share of lines that may run across, such as headings
_MIDDLE = (0.25, 0.85)  # a second column begins between these shares of the print's width
_LEVEL = 0.12  # rows of a table stand on one level, within this share of the line height
_MAX_SPLITS = 2


def in_reading_order(glyphs: Sequence[Glyph], splits: int = _MAX_SPLITS) -> list[Line]:
    """Return the lines of a page, those of a left column before those of the right one."""
    groups = grouped(glyphs)
    gutter = _gutter(groups) if splits else None
    if gutter is None:
        return lines_of(glyphs)
    lines: list[Line] = []
    for crossing, band in _bands(groups, gutter):
        if crossing:
            lines += lines_of(band)
            continue
        for side in (0, 1):
            part = [g for g in band if (g.x0 >= gutter) == bool(side)]
            lines += in_reading_order(part, splits - 1)
    return lines


def _bands(groups: Sequence[list[Glyph]], gutter: float) -> list[tuple[bool, list[Glyph]]]:
    """Return stretches of lines that run across the gutter, and stretches that do not."""
    bands: list[tuple[bool, list[Glyph]]] = []
    for group in groups:
        crossing = any(a <= gutter <= b for a, b in _covered(group))
        if bands and bands[-1][0] == crossing:
            bands[-1][1].extend(group)
        else:
            bands.append((crossing, list(group)))
    return bands


def _covered(group: Sequence[Glyph]) -> list[tuple[float, float]]:
    """Return the stretches of x that a line's words cover, narrow gaps included."""
    covered: list[tuple[float, float]] = []
    for glyph in group:
        if covered and glyph.x0 - covered[-1][1] <= _GUTTER * glyph.size:
            covered[-1] = (covered[-1][0], max(covered[-1][1], glyph.x1))
        else:
            covered.append((glyph.x0, glyph.x1))
    return covered


def _gutter(groups: Sequence[list[Glyph]]) -> float | None:
    """Return the middle of the gap between two columns; None when the page has one column."""
    if len(groups) < _SIDES_LEAST:
        return None
    rows = [_covered(group) for group in groups]
    left, right = min(r[0][0] for r in rows), max(r[-1][1] for r in rows)
    first, last = (left + share * (right - left) for share in _MIDDLE)
    starts = Counter(round(start) for row in rows for start, _ in row if first < start < last)
    often = sorted(x for x, count in starts.items() if count >= _SIDES_LEAST)
    found = [x - 1.0 for x in often if _parts(groups, rows, x - 1.0)]
    return min(found, key=lambda x: _crossings(rows, x)) if found else None


def _crossings(rows: Sequence[list[tuple[float, float]]], x: float) -> int:
    return sum(any(a <= x <= b for a, b in row) for row in rows)


def _parts(
    groups: Sequence[list[Glyph]], rows: Sequence[list[tuple[float, float]]], x: float
) -> bool:
    """Tell whether a gap parts two columns: both have codes of their own, or their own levels."""
    free = [g for g, r in zip(groups, rows, strict=True) if not any(a <= x <= b for a, b in r)]
    if len(free) < (1 - _CROSSING_MOST) * len(rows):
        return False
    lefts = [[g for g in group if g.x0 < x] for group in free]
    rights = [[g for g in group if g.x0 >= x] for group in free]
    if min(sum(map(bool, lefts)), sum(map(bool, rights))) < _SIDES_LEAST:
        return False
    both = [(a, b) for a, b in zip(lefts, rights, strict=True) if a and b]
    uneven = sum(abs(a[0].y - b[0].y) > _LEVEL * a[0].size for a, b in both)
    alone = sum(bool(a) != bool(b) for a, b in zip(lefts, rights, strict=True))
    own_levels = uneven + alone > 0.6 * len(free) and min(len(lefts), len(rights)) > 5
    return _code_starts(lefts) >= 2 <= _code_starts(rights) or (own_levels and uneven > 2)


def _code_starts(sides: Sequence[list[Glyph]]) -> int:
    """Return how many lines of a column begin with a fault code."""
    return sum(starts_with_code(line_of(side[:16]).segments[0].text) for side in sides if side)
