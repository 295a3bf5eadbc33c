"""Reading lists of lots, CSV or Parquet, by pieces; a broken row is told by its line."""

import csv
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError, UnavailableError
from squibwise.intake.columns import guess_columns
from squibwise.intake.lots import COLUMNS
from squibwise.model.market import ColumnGuess

_SIGNS = ",;\t|"
_LONGEST = 20  # lines that one quoted cell may go over
_FAR = 131_000  # characters that a cell may hold at most
Row = dict[str, str]
Numbered = tuple[int, Row | str]


def read_heads(source: Path, catalog: Catalog) -> tuple[ColumnGuess, ...]:
    """Return what each column of a list is taken for.

    Raises:
        InputError: It cannot be read or has no column of ids.
    """
    if source.suffix.lower() == ".parquet":
        names: Sequence[str] = engine().scan_parquet(source).collect_schema().names()
    else:
        first = _first_line(source)
        names = next(csv.reader([first], delimiter=_sign(first)), [])
    heads = guess_columns(names, catalog, {}, catalog.lots.column)
    if "id" not in {g.column for g in heads}:
        raise InputError(
            f"{source}: no column 'id'.",
            remedy=f"The columns are {', '.join(COLUMNS)}; `screen --example 20` prints some.",
        )
    return heads


def _first_line(source: Path) -> str:
    with source.open(encoding=_encoding(source), errors="replace", newline="") as file:
        return file.readline(_FAR)


def _encoding(source: Path) -> str:
    with source.open("rb") as file:
        start = file.read(2)
    return "utf-16" if start in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"


def _sign(heading: str) -> str:
    return max(_SIGNS, key=heading.count)


def read_blocks(source: Path, heads: Sequence[ColumnGuess], size: int) -> Iterator[list[Numbered]]:
    """Yield pieces of a list: line and row, or line and what is wrong with it."""
    is_parquet = source.suffix.lower() == ".parquet"
    rows = _parquet_rows(source, heads, size) if is_parquet else _csv_rows(source, heads)
    while block := list(islice(rows, size)):
        yield block


def _csv_rows(source: Path, heads: Sequence[ColumnGuess]) -> Iterator[Numbered]:
    used = [(n, g.column) for n, g in enumerate(heads) if g.column]
    with source.open(encoding=_encoding(source), errors="replace", newline="") as file:
        sign = _sign(file.readline(_FAR))
        for line, text in _records(file):
            if not text.strip():
                continue
            if text.count('"') % 2 or len(text) > _FAR:
                yield line, "a quotation mark is not closed, or a cell has no end"
                continue
            cells = next(csv.reader([text], delimiter=sign))
            if len(cells) != len(heads):
                yield line, f"it has {len(cells)} cells, the heading {len(heads)}"
            else:
                yield line, {column: cells[n] for n, column in used}


def _records(file: Iterator[str]) -> Iterator[tuple[int, str]]:
    """Yield lines with their number, those of one quoted cell together.

    A quotation mark that is not closed within some lines spoils its own line, not the rest.
    """
    line = 2
    kept: list[str] = []
    while kept or (text := next(file, "")):
        text = kept.pop(0) if kept else text
        if text.count('"') % 2 == 0:
            yield line, text
            line += 1
            continue
        more = kept + list(islice(file, max(0, _LONGEST - len(kept))))
        closes = next((n for n, one in enumerate(more) if one.count('"') % 2), None)
        if closes is None:
            yield line, text
            line, kept = line + 1, more
        else:
            yield line, text + "".join(more[: closes + 1])
            line, kept = line + closes + 2, more[closes + 1 :]


def _parquet_rows(source: Path, heads: Sequence[ColumnGuess], size: int) -> Iterator[Numbered]:
    table = engine().scan_parquet(source)
    used = [(n, g.column) for n, g in enumerate(heads) if g.column]
    start = 0
    while len(piece := table.slice(start, size).collect()):
        for number, cells in enumerate(piece.iter_rows(), start=start + 2):
            yield number, {c: "" if cells[n] is None else str(cells[n]) for n, c in used}
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
