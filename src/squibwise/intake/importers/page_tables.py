"""Lines of pages to rows, across columns and page breaks."""

import itertools
import re
from collections import Counter
from collections.abc import Iterator, Sequence

from squibwise.intake.importers.page_lines import (
    Line,
    Marks,
    Row,
    Rule,
    Segment,
    in_reading_order,
    starts_with_code,
)

_NEAR = 2.0  # drawn lines nearer than this are one [pt]
_WIDE = 0.5  # share of the print's width that a rule between rows spans
_BOX_LINES = 8  # a ruled band with more lines than this is a box around text, not a row
_GRID_CUTS = 5  # rules across the page that make a grid whose every band is a row
_NEXT_LINE = 1.7  # line heights from a line to its continuation
_NEARER = 0.8  # a line begins the next row when it is nearer to it by this factor
_COLUMN_LINES = 3
_ALIGNED = 0.4  # line heights that a continued cell may start beside its column


def rows_of(lines: Sequence[Line], marks: Marks) -> list[Row]:
    """Return a page's rows in reading order."""
    cuts = _row_cuts(lines, marks.level)
    rows: list[Row] = []
    for key, band in itertools.groupby(lines, key=lambda line: _band(line.y, cuts)):
        inside = list(band)
        row = None
        if 0 < key < len(cuts) and len(inside) > 1:
            walls = _walls(marks.upright, cuts[key - 1], cuts[key])
            row = _ruled_row(inside, walls, len(cuts) >= _GRID_CUTS)
        rows += [row] if row is not None else _open_rows(inside)
    return rows


def _row_cuts(lines: Sequence[Line], level: Sequence[Rule]) -> list[float]:
    """Return the heights of the rules that run across most of the print."""
    segments = [s for line in lines for s in line.segments]
    if not segments:
        return []
    width = max(s.x1 for s in segments) - min(s.x0 for s in segments)
    cuts: list[float] = []
    pieces: list[Rule] = []
    for rule in [*sorted(level, key=lambda r: r.at), None]:
        if rule is not None and pieces and rule.at - pieces[0].at <= _NEAR:
            pieces.append(rule)
            continue
        if pieces and _length(pieces) >= _WIDE * width:
            cuts.append(pieces[0].at)
        pieces = [rule] if rule is not None else []
    return cuts if len(cuts) > 2 else []


def _length(pieces: Sequence[Rule]) -> float:
    """Return how long rules on one height are together, overlaps counted once."""
    total, reached = 0.0, float("-inf")
    for rule in sorted(pieces, key=lambda r: r.start):
        total += max(0.0, rule.end - max(rule.start, reached))
        reached = max(reached, rule.end)
    return total


def _band(y: float, cuts: Sequence[float]) -> int:
    return sum(cut < y for cut in cuts)


def _walls(upright: Sequence[Rule], top: float, foot: float) -> list[float]:
    """Return the upright rules that reach through a band."""
    middle = (top + foot) / 2
    places = sorted(r.at for r in upright if r.start - _NEAR <= middle <= r.end + _NEAR)
    return [x for i, x in enumerate(places) if not i or x - places[i - 1] > _NEAR]


def _ruled_row(lines: Sequence[Line], walls: Sequence[float], grid: bool) -> Row | None:
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


def _is_one_row(lines: Sequence[Line], first: Segment) -> bool:
    """Tell whether only one of the lines fills both the first column and another one."""
    full = [line for line in lines if len(line.segments) > 1 and line.segments[0].x0 < first.x1]
    return len(full) <= 1 or any(line.segments[0].text.endswith("-") for line in full[:-1])


def _row(lines: Sequence[Line], cells: Sequence[Segment]) -> Row:
    return Row(y=lines[0].y, bottom=lines[-1].y, size=lines[0].size, cells=tuple(cells))


def _by_walls(segments: Sequence[Segment], walls: Sequence[float]) -> list[Segment]:
    cells: dict[int, list[Segment]] = {}
    for segment in segments:
        middle = (segment.x0 + segment.x1) / 2
        cells.setdefault(sum(w < middle for w in walls), []).append(segment)
    return [_joined(cells[key]) for key in sorted(cells)]


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
    return Segment(x0=min(p.x0 for p in pieces), x1=max(p.x1 for p in pieces), text=text)


def _open_rows(lines: Sequence[Line]) -> Iterator[Row]:
    """Return the rows of lines that no rules part.

    A line without a first column goes on with the row above, or begins the row below when it
    stands nearer to that: cells are set to the top or to the middle of their row.
    """
    shared = _shared_starts(lines)
    row: Row | None = None
    above: list[Line] = []
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


def _shared_starts(lines: Sequence[Line]) -> frozenset[int]:
    """Return where pieces of at least three lines begin, in whole points."""
    starts = Counter(round(s.x0) for line in lines for s in line.segments)
    return frozenset(x for x, count in starts.items() if count >= _COLUMN_LINES)


def _leads(line: Line, after: Line, bottom: float | None, shared: frozenset[int]) -> bool:
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
    if len(row.cells) < 2 or not 0 < below <= _NEXT_LINE * row.size:
        return False
    return fits_columns(row, segments)


def fits_columns(row: Row, segments: Sequence[Segment]) -> bool:
    """Tell whether all segments begin in columns of a row other than the first."""
    room = _ALIGNED * row.size
    starts = [cell.x0 for cell in row.cells[1:]]
    return all(any(abs(s.x0 - x) <= room for x in starts) for s in segments)


def joined_row(row: Row, segments: Sequence[Segment], bottom: float) -> Row:
    """Return a row with a further line in its cells."""
    cells = list(row.cells)
    for segment in segments:
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
            _replace(kept, cut, joined_row(cut, page[0].cells, page[0].bottom))
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


def _replace(pages: list[list[Row]], old: Row, new: Row) -> None:
    for page in pages[-1:]:
        page[:] = [new if row is old else row for row in page]
