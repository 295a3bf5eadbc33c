"""The bid sheet of a car."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import tomlkit
from starlette.requests import Request
from starlette.responses import Response

from squibwise import case as line
from squibwise.entering.new_case import state_price
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.garage.writing import NewFile, change_file, write_files
from squibwise.history.prices import LABOUR
from squibwise.intake import market_files
from squibwise.intake.case_file.load import CASE_FILE
from squibwise.intake.case_file.toml_text import decode
from squibwise.model.bid import BidLimit, BidSheet, FeeBand
from squibwise.present.tell_bid import tell_bid
from squibwise.web.bench import Bench, Opened
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import Sent, changing, read_number, sends
from squibwise.web.waiting import Tell, answer_or_wait, tell_progress

SHEET = "bid.toml"
SPREADS = (
    *("resale", "brand_discount", "transport", "inspection", "title", "selling", "reserve"),
    "days",
)
SINGLES = (
    *("loss_chance", "target", "bidders", "estimate_error", "expected_price", "increment", "tax"),
    "day",
)
FEE = "fee"
BANDS = 8
"""Rows for a fee table; one that is longer is handed in as a file."""
NEEDED = ("loss_chance", "bidders", "estimate_error")


def bid(request: Request) -> Response:
    """The bid sheet; with it filled in, whether to bid and up to what."""
    opened, bench = opened_for(request), bench_of(request)
    sheet = _sheet(bench, opened)
    if sheet is None:
        return _page(request, opened, None, None)

    def show(answer: BidLimit) -> Response:
        return _page(request, opened, sheet, answer)

    return answer_or_wait(request, opened, "bid", _limit, show, "Working out the bid")


async def bid_progress(request: Request) -> Response:
    """How far the bid is."""
    return await tell_progress(request, "bid", _limit)


def _page(
    request: Request, opened: Opened, sheet: BidSheet | None, answer: BidLimit | None
) -> Response:
    bench = bench_of(request)
    book = bench.catalog.bidding
    return car_page(
        request,
        "bid.html",
        opened,
        step="order",
        telling=tell_bid(opened.case, answer, bench.catalog) if answer else None,
        sheet=sheet,
        spreads=SPREADS,
        singles=SINGLES,
        usual=book.usual(),
        bands=_bands(sheet),
        hints=book.means(),
        trades=book.trades,
        questions=book.question,
        parts=_list_parts(bench, opened) if answer else [],
    )


def _list_parts(bench: Bench, opened: Opened) -> list[tuple[str, str]]:
    """Return what may be priced: its key and what it is called, the work first."""
    orders = (o for o in bench.whole(opened).todo.orders if o.contains and not o.done)
    return [(LABOUR, "An hour of work"), *((o.contains[0], o.title) for o in orders)]


def _bands(sheet: BidSheet | None) -> list[FeeBand | None]:
    """Return the rows of the fee table, empty ones behind; none where there are several tables."""
    if sheet is not None and (len(sheet.fees) > 1 or any(len(f.bands) > BANDS for f in sheet.fees)):
        return []
    stated = [band for fee in sheet.fees for band in fee.bands] if sheet is not None else []
    return [*stated, *[None] * (BANDS - len(stated))]


def _sheet(bench: Bench, opened: Opened) -> BidSheet | None:
    with connected(bench.place) as garage:
        content = store.content(garage, opened.id, (SHEET,))
    if SHEET not in content:
        return None
    with TemporaryDirectory(prefix="squibwise-") as place:
        file = Path(place) / SHEET
        file.write_bytes(content[SHEET])
        return market_files.load_bid(file)


def _limit(bench: Bench, opened: Opened, _: Tell) -> BidLimit:
    sheet = _sheet(bench, opened)
    if sheet is None:
        raise InputError("There is no bid sheet.", remedy="Fill it in.")
    return line.bid(opened.case, sheet, bench.catalog, opened.own)


@sends
def keep_sheet(request: Request, sent: Sent) -> Response:
    """Keep the bid sheet with the car."""
    opened, bench = opened_for(request), bench_of(request)
    with changing(request, opened, sent, "bid sheet") as folder:
        file = folder / SHEET
        before = file.read_text("utf-8") if file.is_file() else ""
        text = _written(sent, bench, before)
        file.unlink(missing_ok=True)
        write_files([NewFile(path=folder / SHEET, data=text.encode("utf-8"))])
        market_files.load_bid(folder / SHEET)
    return go(f"/car/{opened.id}/bid")


@sends
def keep_price(request: Request, sent: Sent) -> Response:
    """Keep what a part costs with the car."""
    opened, bench = opened_for(request), bench_of(request)
    what, figures = sent.get("what", 120), _figures(sent, "price")
    if not figures:
        raise InputError("No price was stated.", remedy="Give low, likely and high.")
    amounts = (figures["low"], figures["likely"], figures["high"])
    today = dt.date.today()
    with changing(request, opened, sent, f"price of {what}") as folder:
        change_file(
            folder / CASE_FILE,
            lambda old: state_price(decode(old, CASE_FILE), what, amounts, today).encode("utf-8"),
        )
        line.open_case(folder, bench.catalog)
    return go(f"/car/{opened.id}/bid")


def _written(sent: Sent, bench: Bench, before: str) -> str:
    """Return the sheet as it is kept; what the form does not ask for stays as it was."""
    document: dict[str, object] = tomlkit.parse(before).unwrap()
    for field in SPREADS:
        _state(document, field, _figures(sent, field))
    for field in SINGLES:
        value = read_number(sent, field)
        if value is None and field in NEEDED:
            called = field.replace("_", " ")
            usual = bench.catalog.bidding.usual()[field]
            raise InputError(f"{called}: not stated.", remedy=f"Write it; {usual:g} is usual.")
        _state(document, field, _whole(value) if field == "bidders" and value else value)
    if sent.get("fees", 10):
        bands = list(_fee_rows(sent))
        fees = [{"name": "venue", "bands": bands}] if bands else []
        _state(document, "fees", fees if fees or sent.get("nil-fees") else None)
    if "resale" not in document:
        raise InputError("The resale is missing.", remedy="Give low, likely and high.")
    shares: dict[str, object] = {}
    gates: dict[str, object] = {}
    for trade in bench.catalog.bidding.trades:
        cost = _figures(sent, f"share-{trade}")
        if cost or sent.get(f"nil-{trade}"):
            shares[trade] = {"cost": cost} if cost else {"nil": True}
    for question in bench.catalog.bidding.question:
        answer = sent.get(f"gate-{question.id}", 10)
        if answer in ("yes", "no"):
            source = sent.get(f"source-{question.id}", 200)
            gates[question.id] = {"answer": answer, "source": source, "on": dt.date.today()}
    told = {key: value for key, value in document.items() if key not in ("shares", "gates")}
    return tomlkit.dumps({**told, "shares": shares, "gates": gates})


def _whole(bidders: float) -> int:
    """Return how many bid; half a bidder is refused, not cut off."""
    if not bidders.is_integer():
        raise InputError(
            f"bidders: {bidders:g} is no whole number.", remedy="Count the bidders, yourself too."
        )
    return int(bidders)


def _state(document: dict[str, object], field: str, value: object) -> None:
    """Write a field of the sheet, or take it out where nothing is stated."""
    document.pop(field, None)
    if value not in (None, {}):
        document[field] = value


def _fee_rows(sent: Sent) -> Iterator[dict[str, float]]:
    """Yield the bands of the fee table, the first of which begins at nothing."""
    for row in range(BANDS):
        named = {"from_price": "from", "flat": "flat", "share": "share"}
        found = {key: read_number(sent, f"{FEE}-{row}-{name}") for key, name in named.items()}
        stated = {key: value for key, value in found.items() if value is not None}
        if stated:
            yield {"from_price": 0.0, **stated}


def _figures(sent: Sent, field: str) -> dict[str, float]:
    """Return low, likely and high of a field; empty when none of them is stated."""
    found = {k: read_number(sent, f"{field}-{k}") for k in ("low", "likely", "high")}
    stated = {k: v for k, v in found.items() if v is not None}
    called = field.removeprefix("share-").replace("_", " ")
    if stated and len(stated) < len(found):
        raise InputError(f"{called}: not all three.", remedy="Give low, likely and high.")
    if list(stated.values()) != sorted(stated.values()):
        remedy = "Low comes first and high last; equal figures may stand."
        raise InputError(f"{called}: the figures are out of order.", remedy=remedy)
    return stated
