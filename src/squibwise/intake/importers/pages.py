"""Glyphs of pages to lines, and lines to rows across columns and page breaks."""

import itertools
import re
import statistics
from collections import Counter
from collections.abc import Iterator, Sequence

import msgspec

from squibwise.intake.patterns import pattern

_NEAR = 2.0  # drawn lines nearer than this are one [pt]
_WIDE = 0.5  # share of the print's width that a rule between rows spans
_BOX_LINES = 8  # a ruled band with more lines than this is a box around text, not a row
_GRID_CUTS = 5  # rules across the page that make a grid whose every band is a row
_NEXT_LINE = 1.7  # line heights from a line to its continuation
_NEARER = 0.8  # a line begins the next row when it is nearer to it by this factor
_COLUMN_LINES = 3
_ALIGNED = 0.4  # line heights that a continued cell may start beside its column


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


class RuledLine(msgspec.Struct, frozen=True, kw_only=True, gc=False):
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
    level: tuple[RuledLine, ...] = ()
    upright: tuple[RuledLine, ...] = ()


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


class PageLine(msgspec.Struct, frozen=True, kw_only=True, gc=False):
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


def lines_of(glyphs: Sequence[Glyph]) -> list[PageLine]:
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


def line_of(group: Sequence[Glyph]) -> PageLine:
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
    return PageLine(y=y, size=size, segments=tuple(_segment(s, word) for s in segments if s))


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


def in_reading_order(glyphs: Sequence[Glyph], splits: int = _MAX_SPLITS) -> list[PageLine]:
    """Return the lines of a page, those of a left column before those of the right one."""
    groups = grouped(glyphs)
    gutter = _gutter(groups) if splits else None
    if gutter is None:
        return lines_of(glyphs)
    lines: list[PageLine] = []
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


def rows_of(lines: Sequence[PageLine], marks: Marks) -> list[Row]:
    """Return a page's rows in reading order."""
    cuts = _row_cuts(lines, marks.level)
    rows: list[Row] = []
    for key, band in itertools.groupby(lines, key=lambda line: sum(c < line.y for c in cuts)):
        inside = list(band)
        row = None
        if 0 < key < len(cuts):
            walls = _walls(marks.upright, cuts[key - 1], cuts[key])
            row = _ruled_row(inside, walls, len(cuts) >= _GRID_CUTS)
        rows += [row] if row is not None else _open_rows(inside)
    return rows


def _row_cuts(lines: Sequence[PageLine], level: Sequence[RuledLine]) -> list[float]:
    """Return the heights of the rules that run across most of the print."""
    segments = [s for line in lines for s in line.segments]
    if not segments:
        return []
    width = max(s.x1 for s in segments) - min(s.x0 for s in segments)
    cuts: list[float] = []
    pieces: list[RuledLine] = []
    for rule in [*sorted(level, key=lambda r: r.at), None]:
        if rule is not None and pieces and rule.at - pieces[0].at <= _NEAR:
            pieces.append(rule)
            continue
        if pieces and _length(pieces) >= _WIDE * width:
            cuts.append(pieces[0].at)
        pieces = [rule] if rule is not None else []
    return cuts if len(cuts) > 2 else []


def _length(pieces: Sequence[RuledLine]) -> float:
    """Return how long rules on one height are together, overlaps counted once."""
    total, reached = 0.0, float("-inf")
    for rule in sorted(pieces, key=lambda r: r.start):
        total += max(0.0, rule.end - max(rule.start, reached))
        reached = max(reached, rule.end)
    return total


def _walls(upright: Sequence[RuledLine], top: float, foot: float) -> list[float]:
    """Return the upright rules that reach through a band."""
    middle = (top + foot) / 2
    places = sorted(r.at for r in upright if r.start - _NEAR <= middle <= r.end + _NEAR)
    return [x for i, x in enumerate(places) if not i or x - places[i - 1] > _NEAR]


def _ruled_row(lines: Sequence[PageLine], walls: Sequence[float], grid: bool) -> Row | None:
    """Return the lines of a band as one row; None when the band is a box around several rows."""
    if len(lines) > _BOX_LINES or sum(starts_with_code(li.segments[0].text) for li in lines) > 1:
        return None
    segments = [s for line in lines for s in line.segments]
    inner = [w for w in walls if min(s.x0 for s in segments) < w < max(s.x1 for s in segments)]
    cells = _by_walls(segments, walls) if inner else _by_overlap(segments)
    trusted = grid and bool(inner)
    if len(cells) < 2 or not (trusted or _is_one_row(lines, cells[0])):
        return None
    return _row(lines, cells)


def _is_one_row(lines: Sequence[PageLine], first: Segment) -> bool:
    """Tell whether only one of the lines fills both the first column and another one."""
    full = [line for line in lines if len(line.segments) > 1 and line.segments[0].x0 < first.x1]
    return len(full) <= 1 or any(line.segments[0].text.endswith("-") for line in full[:-1])


def _row(lines: Sequence[PageLine], cells: Sequence[Segment]) -> Row:
    return Row(y=lines[0].y, bottom=lines[-1].y, size=lines[0].size, cells=tuple(cells))


def _by_walls(segments: Sequence[Segment], walls: Sequence[float]) -> list[Segment]:
    columns = [sum(w < (s.x0 + s.x1) / 2 for w in walls) for s in segments]
    kept = range(min(1, *columns), max(columns) + 1)  # an empty cell may be of the row above
    beside = list(zip(segments, columns, strict=True))
    return [_joined([s for s, at in beside if at == column]) for column in kept]


def _by_overlap(segments: Sequence[Segment]) -> list[Segment]:
    """Return cells of segments that stand above one another."""
    cells: list[list[Segment]] = []
    for segment in sorted(segments, key=lambda s: s.x0):
        if cells and segment.x0 < max(s.x1 for s in cells[-1]):
            cells[-1].append(segment)
        else:
            cells.append([segment])
    order = {id(s): i for i, s in enumerate(segments)}
    return [_joined(sorted(cell, key=lambda s: order[id(s)])) for cell in cells]


def _joined(pieces: Sequence[Segment]) -> Segment:
    text = ""
    for piece in pieces:
        text += piece.text if not text or text.endswith("-") else f" {piece.text}"
    x0 = min((p.x0 for p in pieces), default=0.0)
    return Segment(x0=x0, x1=max((p.x1 for p in pieces), default=0.0), text=text)


def _open_rows(lines: Sequence[PageLine]) -> Iterator[Row]:
    """Return the rows of lines that no rules part.

    A line without a first column goes on with the row above, or begins the row below when it
    stands nearer to that: cells are set to the top or to the middle of their row.
    """
    shared = _shared_starts(lines)
    row: Row | None = None
    above: list[PageLine] = []
    for line, after in itertools.zip_longest(lines, lines[1:]):
        bottom = above[-1].y if above else row.bottom if row is not None else None
        if after is not None and _leads(line, after, bottom, shared):
            above.append(line)
            continue
        if row is not None and not above and continues(row, line.segments, line.y - row.bottom):
            row = joined_row(row, line.segments, line.y)
            continue
        if row is not None:
            yield row
        whole = [*above, line]
        cells = _by_overlap([s for li in whole for s in li.segments]) if above else line.segments
        row, above = _row(whole, cells), []
    if row is not None:
        yield row


def _shared_starts(lines: Sequence[PageLine]) -> frozenset[int]:
    """Return where pieces of at least three lines begin, in whole points."""
    starts = Counter(round(s.x0) for line in lines for s in line.segments)
    return frozenset(x for x, count in starts.items() if count >= _COLUMN_LINES)


def _leads(line: PageLine, after: PageLine, bottom: float | None, shared: frozenset[int]) -> bool:
    """Tell whether a line begins cells of the row whose first column stands on the next line."""
    below = after.y - line.y
    if below > _NEXT_LINE * line.size or (
        bottom is not None and below > _NEARER * (line.y - bottom)
    ):
        return False
    first = after.segments[0]
    return (
        len(after.segments) > 1
        and all(s.x0 > first.x1 for s in line.segments)
        and all(round(s.x0) in shared for s in line.segments)
        and starts_with_code(first.text)
    )


def continues(row: Row, segments: Sequence[Segment], below: float) -> bool:
    """Tell whether a line goes on with cells of a row: none in its first column, all in columns."""
    return len(row.cells) > 1 and 0 < below <= _NEXT_LINE * row.size and fits_columns(row, segments)


def fits_columns(row: Row, segments: Sequence[Segment]) -> bool:
    """Tell whether all segments begin in columns of a row other than the first."""
    room = _ALIGNED * row.size
    starts = [cell.x0 for cell in row.cells[1:]]
    return all(any(abs(s.x0 - x) <= room for x in starts) for s in segments if s.text)


def joined_row(row: Row, segments: Sequence[Segment], bottom: float) -> Row:
    """Return a row with a further line in its cells."""
    cells = list(row.cells)
    for segment in (s for s in segments if s.text):
        nearest = min(range(1, len(cells)), key=lambda i: abs(cells[i].x0 - segment.x0))
        cells[nearest] = _joined([cells[nearest], segment])
    return Row(y=row.y, bottom=bottom, size=row.size, cells=tuple(cells))


_EDGE_ROWS = 3  # running heads and feet are among so many rows at the top and at the foot
_SAME_HEIGHT = 3.0  # [pt]


def page_rows(marks: Marks) -> list[Row]:
    """Return one page's rows in reading order."""
    return rows_of(in_reading_order(marks.glyphs), marks)


def whole(pages: Sequence[Sequence[Row]]) -> list[list[Row]]:
    """Return the rows of all pages; a head or foot that repeats stands on its first page only."""
    kept: list[list[Row]] = []
    seen: dict[str, list[Row]] = {}
    cut: Row | None = None  # the last row of the page before, above its foot
    for rows in pages:
        edges = {id(r) for r in (*rows[:_EDGE_ROWS], *rows[-_EDGE_ROWS:])}
        page = [r for r in rows if not (id(r) in edges and _is_seen(r, seen))]
        for row in (r for r in rows if id(r) in edges):
            seen.setdefault(_pattern(row), []).append(row)
        if cut is not None and page and _goes_on(cut, page[0]):
            longer = joined_row(cut, page[0].cells, page[0].bottom)
            kept[-1] = [longer if row is cut else row for row in kept[-1]]
            page = page[1:]
        kept.append(page)
        cut = next((r for r in reversed(page) if len(r.cells) > 1), None)
    return kept


def _is_seen(row: Row, seen: dict[str, list[Row]]) -> bool:
    """Tell whether a head, foot or row of column names stood on a page before."""
    return any(
        abs(other.y - row.y) <= _SAME_HEIGHT or (len(row.cells) > 1 and other.text() == row.text())
        for other in seen.get(_pattern(row), ())
    )


def _pattern(row: Row) -> str:
    """Return a row with its page number taken out; rows with codes only match themselves."""
    if any(starts_with_code(word) for cell in row.cells for word in cell.text.split()):
        return f"{id(row)}"  # a fault is never a running head
    return re.sub(r"\d+", "#", row.text())


def _goes_on(cut: Row, row: Row) -> bool:
    if starts_with_code(row.cells[0].text) or len(row.cells) > len(cut.cells):
        return False
    return fits_columns(cut, row.cells)
