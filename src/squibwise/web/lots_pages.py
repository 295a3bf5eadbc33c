"""A list of lots: screened, in pages, sorted by any column; nothing of it is written."""

import hashlib
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from squibwise import case as line
from squibwise import plan
from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.intake.columns import read_confirmed
from squibwise.intake.lot_lists import open_list, read_blocks
from squibwise.intake.lots import COLUMNS as LOT_COLUMNS
from squibwise.intake.market_files import load_bid
from squibwise.model.bid import BidSheet
from squibwise.model.lots import BadLot, LotTerms
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, page
from squibwise.web.sending import Sent, read_number, sends

MOST_LOTS, LARGEST_LOTS, SHOWN_LOTS = 5_000, 2_000_000, 100
COLUMNS = {
    "id": "lot",
    "bid_limit": "bid limit",
    "cost_p80": "cost in 8 of 10",
    "look": "look",
    "cost_p50": "likely cost",
    "notes": "notes",
    "fired": "likely fired",
}
HOUR = 100.0


class Screening(msgspec.Struct, frozen=True, kw_only=True):
    """A list that was screened.

    Attributes:
        name: Of its file.
        hour: Cost of an hour.
        confirmed: Headings that the user says are which column.
        rows: A row for each lot.
        findings: About rows that could not be read.
        left_out: Lots beyond the most that are screened.
    """

    name: str
    hour: float
    confirmed: dict[str, str]
    rows: list[dict[str, Any]]
    findings: list[str]
    left_out: int


def lots_page(request: Request) -> Response:
    """A form that takes a list of lots; below it a page of the list that was screened."""
    asked = request.query_params
    key = ("lots", asked.get("list", ""))
    found: Screening | None = bench_of(request).find(key)
    by = asked.get("by", "") if asked.get("by") in COLUMNS else ""
    down = asked.get("down") == "1"
    start = int(asked["from"]) if asked.get("from", "").isdecimal() else 0
    rows = _sort(found.rows, by, down=down) if found else []
    return page(
        request,
        "lots.html",
        found=found,
        rows=rows[start : start + SHOWN_LOTS],
        first=start + 1,
        shown=[
            (c, head, _address(key[1], c, down=by == c and not down)) for c, head in COLUMNS.items()
        ],
        by=by,
        down=down,
        pages=_pages(len(rows), start, key[1], by, down=down),
        gone=bool(key[1]) and found is None,
        hour=f"{found.hour if found else HOUR:g}",
        columns="\n".join(_say_column(*pair) for pair in found.confirmed.items()) if found else "",
        column_words=[c.replace("_", " ") for c in LOT_COLUMNS],
    )


def _say_column(heading: str, word: str) -> str:
    return f"{heading}={word.replace('_', ' ')}"


def _address(key: str, by: str, *, down: bool, start: int = 0) -> str:
    given = {"list": key, "by": by, "down": "1" if down else "", "from": start or ""}
    return "/lots?" + urlencode({k: v for k, v in given.items() if v})


def _pages(count: int, start: int, key: str, by: str, *, down: bool) -> list[tuple[str, str]]:
    """Return the ways to the page before and the page after."""
    ways = (("Page before", start - SHOWN_LOTS), ("Next page", start + SHOWN_LOTS))
    return [(told, _address(key, by, down=down, start=at)) for told, at in ways if 0 <= at < count]


def _sort(rows: Sequence[dict[str, Any]], by: str, *, down: bool) -> list[dict[str, Any]]:
    """Return the rows by a column, figures by size; what is empty stands last both ways."""
    if not by:
        return list(rows)
    stated = [r for r in rows if r[by] not in (None, "", [])]
    stated.sort(key=lambda r: len(r[by]) if by == "fired" else r[by], reverse=down)
    return stated + [r for r in rows if r[by] in (None, "", [])]


@sends
def lots(request: Request, sent: Sent) -> Response:
    """Screen a list of lots and lead to its first page; it is kept until others crowd it out."""
    name, data = (sent.files.get("lots") or (("", b""),))[0]
    hour = read_number(sent, "hour") or HOUR
    _, sale = (sent.files.get("sheet") or (("", b""),))[0]
    if not data or len(data) > LARGEST_LOTS:
        raise InputError("There is no list, or it is too large.", remedy="Choose a CSV file.")
    told = read_confirmed(sent.get("columns").splitlines())
    confirmed = {heading: word.replace(" ", "_") for heading, word in told.items()}
    key = hashlib.sha256(data + sale + f" {hour} {confirmed}".encode()).hexdigest()[:16]
    bench, known = bench_of(request), _read_sale(sale) if sale else None
    terms = plan.state_terms(known, hour, bench.catalog)
    bench.keep(("lots", key), lambda: _screen(name[:80], data, terms, confirmed, bench.catalog))
    return go(_address(key, "", down=False))


def _read_sale(data: bytes) -> BidSheet:
    """Return the bid sheet that was handed in: what the terminal takes as ``--sheet``."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "bid.toml"
        place.write_bytes(data)
        try:
            return load_bid(place)
        except InputError as error:
            told = str(error).replace(str(place), place.name)
            raise InputError(told, remedy=error.remedy) from None


def _screen(
    name: str, data: bytes, terms: LotTerms, confirmed: dict[str, str], catalog: Catalog
) -> Screening:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / (Path(name).name or "lots.csv")
        place.write_bytes(data)
        blocks = read_blocks(open_list(place, catalog, confirmed), MOST_LOTS)
        numbered = [one for block in blocks for one in block]
    rows = [(n, row) for n, row in numbered if isinstance(row, dict)]
    numbers, plain = zip(*rows[:MOST_LOTS], strict=True) if rows else ((), ())
    found = line.screen(plain, numbers, name, terms, catalog)
    bad = [(n, x.what, x.remedy) for n, x in numbered if isinstance(x, BadLot)]
    bad += [(f.origin.line or 0, f.message.removesuffix("."), f.remedy) for f in found.findings]
    return Screening(
        name=name,
        hour=terms.hour,
        confirmed=confirmed,
        rows=[_cells(r) for r in found.rows],
        findings=[f"{name}:{n}: {what}. {remedy}" for n, what, remedy in sorted(bad)],
        left_out=len(rows) - len(plain),
    )


def _cells(row: dict[str, object]) -> dict[str, Any]:
    fired = {k.removeprefix("fired."): v for k, v in row.items() if k.startswith("fired.")}
    likely = sorted((k for k, v in fired.items() if isinstance(v, float) and v >= 0.5))
    return {k: row.get(k, "") for k in COLUMNS} | {"fired": likely}
