"""Reading lists of lots, CSV or Parquet, by pieces; a broken row is told by its line."""

import csv
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError, UnavailableError
from squibwise.intake.columns import ASKED, HEADER_ROWS, guess_columns, name_currencies
from squibwise.intake.importers.text import guess_encoding
from squibwise.intake.lots import COLUMNS, LIST_CURRENCY, SUMS, read_country, read_year
from squibwise.intake.parquet_footer import read_footer
from squibwise.intake.sums import find_point, plain_sum
from squibwise.model.lots import BadLot
from squibwise.model.market import ColumnGuess

_SIGNS = ",;\t|"
_LONGEST = 20  # lines that one quoted cell may go over
_FAR = 131_000  # characters that a cell may hold at most
_MOST_COLUMNS = 300  # among which ours are looked for
_SAMPLE = 400_000  # bytes that tell the encoding
_TELLING = 1_000  # rows whose sums tell the sign before the cents
_NO_TEXT = {b"PK\x03\x04": "a workbook or an archive", b"%PDF": "a PDF", b"\x1f\x8b": "packed"}
Row = dict[str, str]
Numbered = tuple[int, Row | BadLot]


class LotList(msgspec.Struct, frozen=True, kw_only=True):
    """How a list is written.

    Attributes:
        heads: What each column is taken for.
        foreign: Headings of sums in another currency; they are not used.
        head_line: Line of the headings, from 1.
        sign: Between cells.
        point: Before the cents; empty = its sums do not tell.
    """

    source: Path
    heads: tuple[ColumnGuess, ...]
    foreign: tuple[str, ...] = ()
    head_line: int = 1
    sign: str = ","
    encoding: str = "utf-8-sig"
    point: str = ""

    @property
    def used(self) -> list[tuple[int, str]]:
        """Places of the columns that are read, with their names."""
        return [
            (n, g.column)
            for n, g in enumerate(self.heads)
            if g.column and g.heading not in self.foreign
        ]


def open_list(
    source: Path, catalog: Catalog, confirmed: Mapping[str, str] | None = None
) -> LotList:
    """Return how a list is written, from its first rows.

    Args:
        source: The list.
        catalog: Headings in every language.
        confirmed: Headings that the user says are which column.

    Raises:
        InputError: It cannot be read or has no column of ids, or what the user says of its columns
            cannot be.
    """
    is_parquet = source.suffix.lower() == ".parquet"
    start = _open_parquet if is_parquet else _open_csv
    found = start(source, catalog, confirmed or {})
    _refuse_strange(confirmed or {}, found)
    named = name_currencies(found.heads, catalog)
    foreign = {c for c in SUMS if c in named and LIST_CURRENCY not in named[c]}
    found = msgspec.structs.replace(
        found, foreign=tuple(g.heading for g in found.heads if g.column in foreign)
    )
    rows = (row for _, row in islice(_rows(found), _TELLING) if isinstance(row, dict))
    point = find_point((row[c] for row in rows for c in SUMS if c in row), whole_cars=True)
    return msgspec.structs.replace(found, point="" if is_parquet else point)


def read_blocks(lots: LotList, size: int) -> Iterator[list[Numbered]]:
    """Yield pieces of a list: line and row, or line and what is wrong with it."""
    rows = _rows(lots)
    while block := list(islice(rows, size)):
        yield block


def _rows(lots: LotList) -> Iterator[Numbered]:
    return _parquet_rows(lots) if lots.source.suffix.lower() == ".parquet" else _csv_rows(lots)


def _refuse_strange(confirmed: Mapping[str, str], found: LotList) -> None:
    headings = {g.heading for g in found.heads}
    for heading, word in confirmed.items():
        if heading not in headings or word not in COLUMNS:
            raise InputError(
                f"{found.source.name}: '{heading}={word}' names no heading of it or no column.",
                remedy=f"Write a heading as it stands there; columns are {', '.join(COLUMNS)}.",
            )


def _open_parquet(source: Path, catalog: Catalog, confirmed: Mapping[str, str]) -> LotList:
    polars = engine()
    try:
        names = polars.scan_parquet(source).collect_schema().names()
    except polars.exceptions.PolarsError as error:
        raise InputError(f"{source.name} is no Parquet file.", remedy="Save it again.") from error
    _refuse_swollen(source)
    return LotList(source=source, heads=_known(_guess(names, catalog, confirmed), source))


# Times its size that a list may have unpacked, besides 16 MB, and rows a byte, besides 10,000;
# ordinary ones have 3 to 20, and less than 3.
_UNPACKS, _FREE = 64, 16 << 20
_ROWS_A_BYTE, _FREE_ROWS = 20, 10_000


def _refuse_swollen(source: Path) -> None:
    """Refuse a Parquet file that unpacks to far more than a list of lots, before it is unpacked.

    Raises:
        InputError: It has no footer, holds too many rows for its size, or grows too much.
    """
    size = source.stat().st_size
    try:
        footer = read_footer(source)
    except ValueError as error:
        raise InputError(f"{source.name}: {error}.", remedy="Save it again.") from error
    many = footer.rows > _ROWS_A_BYTE * size + _FREE_ROWS
    if many or footer.unpacked > _UNPACKS * size + _FREE:
        raise InputError(
            f"{source.name} holds {footer.rows:,} rows in {size:,} bytes, "
            f"{footer.unpacked:,} unpacked: that is no list of lots.",
            remedy="Save the list again, or as CSV.",
        )


def _open_csv(source: Path, catalog: Catalog, confirmed: Mapping[str, str]) -> LotList:
    with source.open("rb") as raw:
        sample = raw.read(_SAMPLE)
    for start, what in _NO_TEXT.items():
        if sample.startswith(start):
            raise InputError(f"{source.name} is {what}, no list.", remedy="Save it as CSV.")
    encoding = guess_encoding(sample)
    with source.open(encoding=encoding, errors="replace", newline="") as file:
        lines = [file.readline(_FAR) for _ in range(HEADER_ROWS)]
    lines = lines[: 1 + next((n for n, x in enumerate(lines) if len(x) >= _FAR), HEADER_ROWS)]
    best = LotList(source=source, heads=())
    for number, line in enumerate(lines, start=1):
        sign = max(_SIGNS, key=line.count)
        heads = _guess(next(csv.reader([line], delimiter=sign), []), catalog, confirmed)
        if len(_columns(heads)) > len(_columns(best.heads)):
            best = LotList(
                source=source, heads=heads, head_line=number, sign=sign, encoding=encoding
            )
    _known(best.heads, source)
    return best


def _guess(
    names: Sequence[str], catalog: Catalog, confirmed: Mapping[str, str]
) -> tuple[ColumnGuess, ...]:
    guessed = guess_columns(names[:_MOST_COLUMNS], catalog, confirmed, catalog.lots.column)
    named = [msgspec.structs.replace(g, column="") if g.column == ASKED else g for g in guessed]
    return (*named, *(ColumnGuess(heading=n, column="", sure=True) for n in names[_MOST_COLUMNS:]))


def _columns(heads: Sequence[ColumnGuess]) -> set[str]:
    return {g.column for g in heads if g.column}


def _known(heads: tuple[ColumnGuess, ...], source: Path) -> tuple[ColumnGuess, ...]:
    if "id" not in _columns(heads):
        raise InputError(
            f"{source.name}: no column 'id'.",
            remedy=f"The columns are {', '.join(COLUMNS)}; `screen --example 20` prints some.",
        )
    return heads


def _csv_rows(lots: LotList) -> Iterator[Numbered]:
    used, count = lots.used, len(lots.heads)
    with lots.source.open(encoding=lots.encoding, errors="replace", newline="") as file:
        for _ in range(lots.head_line):
            file.readline(_FAR)
        for line, cells in _records(file, lots.head_line + 1, lots.sign, count):
            if cells is None:
                yield line, _OPEN
            elif not any(c.strip() for c in cells):
                continue
            elif len(cells) != count:
                yield line, _count_cells(len(cells), count, lots.sign)
            else:
                yield line, {column: _tidy(column, cells[n], lots.point) for n, column in used}


_OPEN = BadLot(
    what="a quotation mark is not closed, or a cell has no end",
    remedy="Close it; one that is meant is written twice in a cell within quotation marks.",
)


def _count_cells(found: int, wanted: int, sign: str) -> BadLot:
    named = {"\t": "a tab"}.get(sign, f"'{sign}'")
    more = f"Put a cell that holds {named} within quotation marks."
    fewer = "Keep empty cells in their place."
    return BadLot(
        what=f"it has {found} cells, the heading {wanted}",
        remedy=more if found > wanted else fewer,
    )


def _tidy(column: str, cell: str, point: str) -> str:
    """Return a cell as it is, but a year for a day, and a sum with a point before its cents."""
    if cell.isdecimal() or column not in _TIDIED:
        return cell
    if column == "model_year":
        return read_year(cell)
    if column == "region":
        return read_country(cell)
    return plain_sum(cell, point) if point else cell


_TIDIED = frozenset((*SUMS, "model_year", "region"))


def _records(
    file: Iterator[str], line: int, sign: str, count: int
) -> Iterator[tuple[int, list[str] | None]]:
    """Yield the cells of each row with its line, None where a quotation mark is not closed.

    A cell within quotation marks may go over several lines, where the row then has as many cells as
    the heading; else the mark spoils its own line, not the rest.
    """
    kept: list[str] = []
    while kept or (text := next(file, "")):
        text = kept.pop(0) if kept else text
        cells, taken = _split(text, sign), 0
        if cells is None:
            kept += islice(file, max(0, _LONGEST - len(kept)))
            ends = (n for n, one in enumerate(kept, start=1) if '"' in one)
            joined = ((n, _split(text + "".join(kept[:n]), sign)) for n in ends)
            fitting = ((n, found) for n, found in joined if found and len(found) == count)
            taken, cells = next(fitting, (0, None))
        yield line, cells
        line += 1 + taken
        del kept[:taken]


def _split(text: str, sign: str) -> list[str] | None:
    """Return the cells of a row; None where a quotation mark or a cell has no end."""
    try:
        return next(csv.reader(text.splitlines(keepends=True), delimiter=sign, strict=True), [])
    except csv.Error:
        return None


def _parquet_rows(lots: LotList) -> Iterator[Numbered]:
    table = engine().scan_parquet(lots.source)
    start, size = 0, 50_000
    while len(piece := table.slice(start, size).collect()):
        for number, cells in enumerate(piece.iter_rows(), start=start + 2):
            yield number, {c: "" if cells[n] is None else str(cells[n]) for n, c in lots.used}
        start += len(piece)


def engine() -> Any:  # noqa: ANN401 - a module
    """Return the columnar engine.

    Raises:
        UnavailableError: It is not installed.
    """
    try:
        import polars
    except ImportError:
        raise UnavailableError(
            "Parquet needs an engine that is not installed.",
            remedy="Install squibwise with the extra 'lots', or use CSV.",
        ) from None
    return polars
