"""Pages set in two columns: told from tables, and read one column after the other."""

from collections import Counter
from collections.abc import Sequence

from squibwise.intake.importers.pages.lines import (
    grouped,
    line_of,
    lines_of,
    starts_with_code,
)
from squibwise.intake.importers.pages.marks import Glyph, Line

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
