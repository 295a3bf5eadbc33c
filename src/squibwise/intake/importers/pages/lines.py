"""Letters to lines, words and segments, from the gaps between them."""

import itertools
import re
import statistics
from collections.abc import Sequence

from squibwise.intake.importers.pages.marks import Glyph, Line, Segment

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


_CODE = re.compile(
    r"(?:[PCBU][0-9A-F]{4}|[0-9A-F]{4}[-: ]?[0-9A-F]{2}|[0-9]{4,5}|[0-9A-F]{6})\b", re.IGNORECASE
)


def starts_with_code(text: str) -> bool:
    """Tell whether a text begins as a fault code does."""
    return _CODE.match(text) is not None
