"""Lists of lots, CSV or Parquet, screened in pieces: constant memory, restartable, two processes.

Lots that say the same are believed the same: each distinct pattern is worked out once. A finished
piece is kept beside the output until all are there, so that an interrupted run goes on where it
stopped.
"""

import csv
import hashlib
import json
import os
import shutil
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import parent_process
from multiprocessing.connection import wait
from pathlib import Path

import msgspec

from squibwise import __version__, case, plan
from squibwise.catalog.load import Catalog, holds_charge, load_catalog
from squibwise.errors import InputError
from squibwise.garage.writing import refuse_places
from squibwise.intake.lot_lists import LotList, Numbered, Row, engine, open_list, read_blocks
from squibwise.intake.lots import NO_ID, SAYING, read_sums
from squibwise.model.lots import BadLot, LotTerms, ScreenedRows
from squibwise.present.rows import plain_cell

_ROWS = 50_000  # of a piece
_PATTERNS = 20_000  # remembered at once
_TASK = 200  # patterns that a process works out at a time
_OWN = (
    "line",
    "id",
    "cost_p50",
    "cost_p80",
    "cost_at_risk",
    "bid_limit",
    "orders",
    "look",
    "notes",
)
_BAD = ("line", "what", "remedy")
Known = dict[tuple[str, ...], Mapping[str, object] | BadLot]


class Summary(msgspec.Struct, frozen=True, kw_only=True):
    """What was done.

    Attributes:
        bad: Rows that were skipped; each stands in ``bad_file`` with its line.
        patterns: Distinct patterns of evidence that were worked out in this run.
        resumed: Pieces that were there from an earlier run.
        guessed: Headings that were taken for a column by likeness, with that column.
        unused: Headings that are no column.
        foreign: Headings of sums in another currency than the list's; they are not used.
    """

    rows: int
    bad: int
    patterns: int
    resumed: int
    out: str
    bad_file: str
    guessed: dict[str, str] = {}
    unused: tuple[str, ...] = ()
    foreign: tuple[str, ...] = ()


def screen_file(
    source: Path,
    out: Path,
    terms: LotTerms,
    jobs: int = 2,
    progress: Callable[[int], None] | None = None,
    confirmed: Mapping[str, str] | None = None,
    *,
    force: bool = False,
) -> Summary:
    """Screen a list into another; both CSV or Parquet by their endings.

    Args:
        source: The list.
        out: Written when every row was screened; the bad rows beside it.
        terms: What every lot is priced under.
        jobs: Processes.
        progress: Told how many rows are done.
        confirmed: Headings that the user says are which column.
        force: Replace what is there, whatever it is.

    Raises:
        InputError: The list cannot be read or has no column of ids, or what is at one of the places
            is no earlier screening.
    """
    catalog = _catalog()
    fields = (*_OWN, *(f"fired.{c}" for c in list_charges(catalog)))
    if os.path.realpath(source) == os.path.realpath(out):
        raise InputError(
            f"{out} is the list itself.",
            remedy="Name another file with --out.",
        )
    if not source.is_file():
        raise InputError(f"{source} is no file.", remedy="Name a CSV or Parquet list.")
    bad_file = out.with_name(out.name + ".bad.csv")
    refuse_places((out, bad_file), (source,), lambda place: force or _is_screened(place))
    lots = open_list(source, catalog, confirmed)
    parts = _open_parts(lots, out, terms)
    known: Known = {}
    counts = {"rows": 0, "bad": 0, "patterns": 0, "resumed": 0}
    pieces = []
    with ProcessPoolExecutor(max_workers=jobs, initializer=end_with_parent) as pool:
        for number, block in enumerate(read_blocks(lots, _ROWS)):
            piece, bad = parts / f"{number:05}.csv", parts / f"{number:05}.bad"
            pieces.append(piece)
            if piece.is_file() and bad.is_file():
                counts["resumed"] += 1
            else:
                counts["patterns"] += _learn(block, known, pool, terms)
                rows, faults = _join(block, known, fields, terms)
                _write(bad, _BAD, faults)
                _write(piece, fields, rows)
            counts["bad"] += _lines_of(bad)
            counts["rows"] += len(block)
            if progress is not None:
                progress(counts["rows"])
    _gather([p.with_suffix(".bad") for p in pieces], bad_file, _BAD, parts / "whole")
    _gather(pieces, out, fields, parts / "whole")
    shutil.rmtree(parts)
    return _sum_up(lots, counts, out, bad_file)


def end_with_parent() -> None:
    """End this process when the one that began it is gone, however it went.

    A worker that waits for work would wait for ever once its parent was killed.
    """
    parent = parent_process()

    def watch() -> None:
        if parent is not None:
            wait([parent.sentinel])
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _sum_up(lots: LotList, counts: Mapping[str, int], out: Path, bad_file: Path) -> Summary:
    return Summary(
        rows=counts["rows"],
        bad=counts["bad"],
        patterns=counts["patterns"],
        resumed=counts["resumed"],
        out=str(out),
        bad_file=str(bad_file),
        guessed={g.heading: g.column for g in lots.heads if g.column and not g.sure},
        unused=tuple(g.heading for g in lots.heads if g.heading.strip() and not g.column),
        foreign=lots.foreign,
    )


def list_charges(catalog: Catalog) -> tuple[str, ...]:
    """Return every charge that a template may hold, sorted: the columns of chances."""
    every = {c for t in catalog.templates.values() for c in t.components}
    return tuple(sorted(c for c in every if holds_charge(c, catalog)))


def _is_screened(place: Path) -> bool:
    """Return whether a file is what an earlier screening wrote."""
    if place.is_symlink():
        return False
    if place.suffix.lower() != ".parquet":
        with place.open("rb") as file:
            head = file.readline(200)
        return head.startswith((",".join(_OWN).encode(), (",".join(_BAD) + "\n").encode()))
    try:
        return tuple(engine().read_parquet_schema(place))[: len(_OWN)] == _OWN
    except (OSError, engine().exceptions.PolarsError):
        return False


def _open_parts(lots: LotList, out: Path, terms: LotTerms) -> Path:
    """Return the folder of finished pieces; those of another list or other terms are dropped.

    Its mark is over the folder itself: one that came with a list from elsewhere has none that fits.

    Raises:
        InputError: Something else has its name.
    """
    parts = out.with_name(out.name + ".parts")
    facts = lots.source.stat()
    said = [str(lots.source.resolve()), facts.st_size, facts.st_mtime_ns, __version__, _ROWS]
    said += [f"{n} {column}" for n, column in lots.used]
    whole = json.dumps(said).encode() + msgspec.json.encode(terms)
    note = parts / "of"
    if os.path.lexists(parts):
        if parts.is_symlink() or not note.is_file() or note.stat().st_size != _MARK:
            remedy = "Move it away, or name another file with --out."
            raise InputError(f"'{parts}' is no folder of an earlier run.", remedy=remedy)
        if note.read_text() == _mark(parts, whole):
            return parts
        shutil.rmtree(parts)
    parts.mkdir()
    note.write_text(_mark(parts, whole))
    return parts


_MARK = 64


def _mark(parts: Path, whole: bytes) -> str:
    here = parts.stat()
    return hashlib.sha256(whole + f" {here.st_dev} {here.st_ino}".encode()).hexdigest()


def _learn(
    block: Iterable[Numbered], known: Known, pool: ProcessPoolExecutor, terms: LotTerms
) -> int:
    """Work out every pattern of a piece that is not known yet; return how many those were."""
    fresh = {_pattern(r): None for _, r in block if isinstance(r, dict)}
    new = sorted(p for p in fresh if p not in known)  # alike cars together
    if len(known) + len(new) > _PATTERNS:
        known.clear()
        new = sorted(fresh)
    tasks = [new[i : i + _TASK] for i in range(0, len(new), _TASK)]
    for task, answers in zip(tasks, pool.map(work_out, tasks, [terms] * len(tasks)), strict=True):
        known.update(zip(task, answers, strict=True))
    return len(new)


def _pattern(row: Row) -> tuple[str, ...]:
    return tuple([row.get(c, "").strip() for c in SAYING])  # a list is faster than a generator


def work_out(
    patterns: Sequence[tuple[str, ...]], terms: LotTerms
) -> list[Mapping[str, object] | BadLot]:
    """Return the row of each pattern, or what is wrong with it; runs in a process of its own."""
    rows = [dict(zip(SAYING, p, strict=True)) | {"id": "-"} for p in patterns]
    found = screen_rows(rows, range(len(rows)), "lots", terms)
    answers: dict[int, Mapping[str, object] | BadLot] = {
        f.origin.line or 0: BadLot(what=f.message.removesuffix("."), remedy=f.remedy or "")
        for f in found.findings
    }
    answers |= {int(str(r["line"])): r for r in found.rows}
    return [answers[i] for i in range(len(rows))]


def screen_rows(
    rows: Sequence[Mapping[str, str]], lines: Sequence[int], name: str, terms: LotTerms
) -> ScreenedRows:
    """Return rows for rows, and a finding for each bad one, with the catalogue of this process.

    Any distributed engine may call it on any piece, twice if it likes: it keeps nothing.
    """
    return case.screen(rows, lines, name, terms, _catalog())


@cache
def _catalog() -> Catalog:
    """Return the catalogue of this process, loaded once."""
    return load_catalog()


def _join(
    block: Iterable[Numbered], known: Known, fields: Sequence[str], terms: LotTerms
) -> tuple[list[list[object]], list[tuple[int, str, str]]]:
    """Return the rows of a piece, and what is wrong with those that are skipped.

    Lots of one pattern differ in what the list says of money, their line and their id only.
    """
    place = fields.index("line")
    cells: dict[tuple[str, ...], list[object]] = {}
    rows: list[list[object]] = []
    faults: list[tuple[int, str, str]] = []
    for line, row in block:
        answer = row if isinstance(row, BadLot) else _answer(row, known, cells, fields, terms)
        if isinstance(answer, BadLot):
            faults.append((line, answer.what, answer.remedy))
        else:
            answer[place] = line
            rows.append(answer)
    return rows, faults


def _answer(
    row: Row,
    known: Known,
    cells: dict[tuple[str, ...], list[object]],
    fields: Sequence[str],
    terms: LotTerms,
) -> list[object] | BadLot:
    """Return the row of a lot without its line, or what is wrong with it.

    Args:
        row: As the list has it.
        known: What is known of its pattern.
        cells: Rows of the patterns that were met already; this one is added.
        fields: Columns that are written.
        terms: What every lot is priced under.
    """
    pattern = _pattern(row)
    found = known[pattern]
    if isinstance(found, BadLot):
        return found
    if not row["id"].strip():
        return NO_ID
    sums = read_sums(row, _catalog())
    if isinstance(sums, BadLot):
        return sums
    if pattern not in cells:
        cells[pattern] = [found.get(f) for f in fields]
    mine = cells[pattern].copy()
    own = {"id": plain_cell(row["id"].strip())} | plan.limit_row(found, *sums, terms)
    for field, value in own.items():
        mine[fields.index(field)] = value
    return mine


def _write(path: Path, fields: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write a piece in one step: a half one never has its name."""
    half = path.with_suffix(path.suffix + ".half")
    with half.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(fields)
        writer.writerows(rows)
    os.replace(half, path)


def _lines_of(path: Path) -> int:
    with path.open(encoding="utf-8", newline="") as file:
        return sum(1 for _ in csv.reader(file)) - 1


def _gather(pieces: Sequence[Path], out: Path, fields: Sequence[str], half: Path) -> None:
    """Write all pieces as one list, CSV or Parquet by its ending; first elsewhere, then moved."""
    if out.suffix.lower() == ".parquet":
        polars = engine()
        kinds = {"line": polars.Int64, "id": polars.String}
        kinds |= dict.fromkeys(("orders", "look", "notes"), polars.String)
        schema = {f: kinds.get(f, polars.Float64) for f in fields}
        polars.scan_csv(pieces, schema=schema).sink_parquet(half)
    else:
        with half.open("wb") as file:
            file.write((",".join(fields) + "\n").encode())
            for piece in pieces:
                with piece.open("rb") as part:
                    part.readline()
                    shutil.copyfileobj(part, file)
    os.replace(half, out)
