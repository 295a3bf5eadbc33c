"""Rows of all pages to one list: running heads said once, rows that a page break cut joined."""

import re
from collections.abc import Sequence

from squibwise.intake.importers.pages.columns import in_reading_order
from squibwise.intake.importers.pages.lines import starts_with_code
from squibwise.intake.importers.pages.marks import Marks, Row
from squibwise.intake.importers.pages.tables import fits_columns, joined_row, rows_of

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
