"""Cells of a table row to a line."""

from collections.abc import Sequence

from squibwise.intake.importers.base import RawLine
from squibwise.intake.importers.limits import MAX_CELLS, MAX_LINE_CHARS
from squibwise.intake.importers.text import in_pieces


def row_lines(number: int, cells: Sequence[str]) -> list[RawLine]:
    r"""Return a row as a line; in pieces when it is too long, none when it is blank.

    >>> row_lines(2, ["B0001 ", "", "open"])
    [RawLine(number=2, text='B0001\topen', cells=('B0001', '', 'open'))]
    """
    tidy = [" ".join(cell.split()) for cell in cells]
    text = "\t".join(cell for cell in tidy if cell)
    if not text:
        return []
    if len(text) > MAX_LINE_CHARS:
        return [RawLine(number=number, text=piece) for piece in in_pieces(text)]
    return [RawLine(number=number, text=text, cells=_few(tidy))]


def _few(cells: list[str]) -> tuple[str, ...]:
    while cells and not cells[-1]:
        cells.pop()
    if len(cells) <= MAX_CELLS:
        return tuple(cells)
    return (*cells[: MAX_CELLS - 1], " ".join(cells[MAX_CELLS - 1 :]))
