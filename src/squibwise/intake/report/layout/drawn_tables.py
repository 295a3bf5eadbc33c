"""Tables whose rows are no lines: cells of several lines between borders, a column for a code."""

from collections.abc import Iterator, Sequence
from itertools import takewhile

from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern

_BORDER = pattern(
    r"\s*[+|\u251c\u250c\u2514][-=+\u2500\u253c\u252c\u2534]{3,}[+|\u2524\u2510\u2518]?\s*"
)
_BAR = pattern(r"[|\u2502]")
_PIECE = pattern(r"\S+(?: \S+)*")
_CODE = pattern(r"[BCPU][0-9A-F]{4}(?:[-:][0-9A-F]{2})?|(?=[0-9A-F]*\d)[0-9A-F]{4,6}")
_HIGHEST = 6  # lines of one cell
_LABELS = 20  # of a table with a column for each code
_LEAST = 2  # codes beside each other, or cells of a row


def read_rows(raws: Sequence[RawLine]) -> list[RawLine]:
    """Return the lines, each row of such a table as one line."""
    return [*_turned(_continued(_joined(raws)))]


def _continued(raws: Iterator[RawLine]) -> Iterator[RawLine]:
    """The lines, a row of cells with words in one column alone joined to the coded row above."""
    last: RawLine | None = None
    for raw in raws:
        said = [at for at, cell in enumerate(raw.cells) if cell]
        above = last.cells if last is not None and len(last.cells) >= len(raw.cells) else ()
        goes_on = len(said) == 1 and said[0] > 0 and any(map(_CODE.fullmatch, above))
        if last is not None and goes_on and raw.cells[said[0]].replace(" ", "").isalpha():
            cells = [*above]
            cells[said[0]] = f"{cells[said[0]]} {raw.cells[said[0]]}".strip()
            last = RawLine(number=last.number, text="\t".join(cells), cells=tuple(cells))
            continue
        if last is not None:
            yield last
        last = raw
    if last is not None:
        yield last


def _joined(raws: Sequence[RawLine]) -> Iterator[RawLine]:
    """The lines, those between two borders joined cell by cell where only the first names a row."""
    at = 0
    while at < len(raws):
        yield raws[at]
        at += 1
        if not _BORDER.fullmatch(raws[at - 1].text):
            continue
        block = [
            *takewhile(lambda raw: not _BORDER.fullmatch(raw.text), raws[at : at + _HIGHEST + 1])
        ]
        ends = at + len(block) < len(raws)
        rows = [_cells(raw) for raw in block] if ends and len(block) <= _HIGHEST else []
        if _is_one_row(rows):
            cells = tuple(" ".join(filter(None, parts)) for parts in zip(*rows, strict=True))
            yield RawLine(number=block[0].number, text="\t".join(cells), cells=cells)
            at += len(block)


def _cells(raw: RawLine) -> tuple[str, ...]:
    """The cells between the bars of a line, the empty ones too."""
    return raw.cells or tuple(c.strip() for c in _BAR.split(raw.text.strip()))[1:-1]


def _is_one_row(rows: list[tuple[str, ...]]) -> bool:
    """Tell whether lines are one row: as many cells each, the first in one line alone."""
    if len(rows) < _LEAST or len({*map(len, rows)}) > 1 or len(rows[0]) < _LEAST:
        return False
    return bool(rows[0][0]) and not any(cells[0] for cells in rows[1:])


def _turned(raws: Iterator[RawLine]) -> Iterator[RawLine]:
    """The lines, a table with a column for each code turned: ``Code  B1A11  B1A12``."""
    lines = list(raws)
    at = 0
    while at < len(lines):
        head = _pieces(lines[at])
        rows = [head]
        codes = sum(bool(_CODE.fullmatch(text)) for text in head[1:])
        if codes >= _LEAST and codes == len(head) - 1 and not _CODE.fullmatch(head[0]):
            rows += _as_wide(map(_pieces, lines[at + 1 : at + _LABELS]), len(head))
        if len(rows) > 1:
            for column in range(1, len(head)):
                yield RawLine(number=lines[at].number, text="   ".join(r[column] for r in rows))
        else:
            yield lines[at]
        at += len(rows)


def _as_wide(rows: Iterator[list[str]], width: int) -> list[list[str]]:
    found = [*takewhile(lambda row: len(row) == width, rows)]
    return [] if any(_CODE.fullmatch(text) for row in found for text in row) else found


def _pieces(raw: RawLine) -> list[str]:
    """What stands in the columns of a line."""
    cells = "\t".join(raw.cells).strip("\t").split("\t") if raw.cells else []
    return cells or _PIECE.findall(_BAR.sub("  ", raw.text).replace("\t", "  "))
