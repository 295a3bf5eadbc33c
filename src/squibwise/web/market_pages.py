"""Orders, offers, the plan to buy, and the sheet for parts desks."""

import csv
import datetime as dt
import io
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import tomlkit
from starlette.requests import Request
from starlette.responses import Response

from squibwise import case as line
from squibwise.entering.new_case import price_hour
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.garage.writing import NewFile, change_file, write_files
from squibwise.history.prices import LABOUR, read_price_book
from squibwise.intake import market_files
from squibwise.intake.case_file.load import CASE_FILE
from squibwise.intake.case_file.toml_text import decode
from squibwise.intake.columns import ASKED, read_confirmed
from squibwise.intake.importers.text import decode as decode_sheet
from squibwise.intake.offers import read_offers
from squibwise.model.cost import minor_digits
from squibwise.model.market import (
    CONDITIONS,
    BuyAnswer,
    BuyPlan,
    CurvePoint,
    Offer,
    ScheduledTask,
    ShopTerms,
)
from squibwise.model.work import Order
from squibwise.plan import add_offer, list_asked, list_needs, list_requests, plan_buying
from squibwise.present.figures import bare_sum, minutes, percent
from squibwise.present.rows import plain_cell
from squibwise.present.tell_buying import tell_buying
from squibwise.present.tell_cost import tell_sums
from squibwise.present.tell_orders import (
    group_orders,
    may_be_added,
    order_now,
    tell_for_desk,
    tell_price,
    tell_titled,
    tell_why,
)
from squibwise.web.bench import Bench, Opened
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import Sent, changing, pick, read_number, sends
from squibwise.web.waiting import Tell, answer_or_wait, tell_progress

SHEETS, TERMS = ("offers.csv", "offers.xlsx"), "buying.toml"
TERM_FIELDS = {
    "bay_day": "A day that the car stands",
    "deadline": "To be ready in how many days",
    "late_day": "A day beyond that",
    "technicians": "Who works on it, one or two",
}
"""What a shop states on the page of orders; the rest of its terms stays as it was handed in."""
SHOWN_OFFERS = 50
ANY, RANGES = (0.0, 1e9), {"technicians": (1.0, 3.0)}
WHOLE = ("deadline", "technicians")
CHART_WIDTH, BAR, CURVE_HEIGHT = 400.0, 20.0, 190.0
SHOWN_TITLES = 5


def orders(request: Request) -> Response:
    """What to order now, what may be added, and the offers that were handed in."""
    opened, bench = opened_for(request), bench_of(request)
    whole, terms = bench.whole(opened), _terms(bench, opened)
    needs = [(n.key, n.title) for n in list_needs(whole.todo)]
    asked = [(n.key, n.title) for n in list_asked(whole.todo)]
    return car_page(
        request,
        "order.html",
        opened,
        step="order",
        about=tell_for_desk(opened.case),
        now=_rows(order_now(whole.todo)),
        added=_rows(may_be_added(whole.todo)),
        sums=tell_sums(opened.case.currency, whole.costs),
        needs=needs,
        titles=dict(needs + asked),
        conditions=CONDITIONS,
        told_offers=_told_offers(bench, opened, terms),
        sum_of=bare_sum,
        has_offers=any(n in SHEETS for n in _files(bench, opened)),
        hour=_hour(opened),
        supplier=terms.supplier,
        columns="\n".join(f"{h}={c}" for h, c in terms.columns.items()),
        column_words=[c for c in bench.catalog.market.columns if c != ASKED],
        fields=[(f, label, getattr(terms, f) or None) for f, label in TERM_FIELDS.items()],
    )


def _rows(found: Sequence[Order]) -> list[dict[str, Any]]:
    return [
        {
            "title": tell_titled(group),
            "price": tell_price(group),
            "p": percent(max(o.p for o in group)),
            "why": tell_why(group[0]),
            "live": group[0].live,
            "note": group[0].note,
        }
        for group in group_orders(found)
    ]


def _files(bench: Bench, opened: Opened) -> dict[str, str]:
    with connected(bench.place) as garage:
        return store.files(store.history(garage, opened.id))


def request_sheet(request: Request) -> Response:
    """The sheet that asks parts desks for offers, as CSV."""
    opened, bench = opened_for(request), bench_of(request)
    todo = bench.whole(opened).todo
    rows = list_requests(opened.case, list_needs(todo), list_asked(todo))
    written = io.StringIO()
    sheet = csv.DictWriter(written, fieldnames=list(rows[0]) if rows else ["need"])
    sheet.writeheader()
    sheet.writerows({k: plain_cell(str(v)) for k, v in row.items()} for row in rows)
    headers = {"content-disposition": f'attachment; filename="{opened.id}-request.csv"'}
    return Response(written.getvalue(), media_type="text/csv", headers=headers)


@sends
def offers(request: Request, sent: Sent) -> Response:
    """Keep a sheet of offers with the car."""
    opened, bench = opened_for(request), bench_of(request)
    name, data = (sent.files.get("offers") or (("", b""),))[0]
    place = f"offers{Path(name).suffix.lower()}"
    if not name:
        place, data = _kept_sheet(bench, opened)
    if place not in SHEETS:
        raise InputError("This is no sheet of offers.", remedy="Choose a CSV or XLSX file.")
    document = _terms_text(bench, opened)
    told = {"supplier": sent.get("supplier", 120), "columns": _columns(sent)}
    for field, value in told.items():
        document.pop(field, None)
        if value:
            document[field] = value
    with changing(request, opened, sent, "offers") as folder:
        for earlier in SHEETS:
            (folder / earlier).unlink(missing_ok=True)
        write_files([NewFile(path=folder / place, data=data)])
        shop = _write_terms(folder, document)
        market_files.load_offers(folder / place, bench.catalog, opened.case.currency, {}, shop)
    return go(f"/car/{opened.id}/buying")


@sends
def keep_offer(request: Request, sent: Sent) -> Response:
    """Add an offer that somebody told to those of the car."""
    opened, bench = opened_for(request), bench_of(request)
    name, data = _kept_sheet(bench, opened)
    if name and not name.endswith(".csv"):
        remedy = "Add the offer to the sheet and hand it in again, or hand it in as CSV."
        raise InputError("The offers of this car are a workbook.", remedy=remedy)
    needs = {n.key for n in list_needs(bench.whole(opened).todo)}
    price, lead = (
        read_number(sent, "price"),
        read_number(sent, "lead", label="There in how many days"),
    )
    part, supplier = pick(sent, "part", needs), sent.get("supplier", 120)
    if not part or not supplier or price is None or lead is None:
        remedy = "Name part and supplier, and write price and days."
        raise InputError("The offer is not whole.", remedy=remedy)
    freight = read_number(sent, "shipping")
    told = {
        "part": part,
        "supplier": supplier,
        "part number": sent.get("number", 60),
        "condition": pick(sent, "condition", CONDITIONS),
        "price": f"{price:.2f}",
        "lead days": f"{lead:g}",
        "shipping": "" if freight is None else f"{freight:.2f}",
        "donor vin": sent.get("donor_vin", 17),
    }
    before, _ = decode_sheet(data, name) if name else ("", ())
    plain = {k: plain_cell(v) for k, v in told.items()}
    with changing(request, opened, sent, f"offer of {supplier}") as folder:
        sheet = folder / SHEETS[0]
        sheet.unlink(missing_ok=True)
        write_files([NewFile(path=sheet, data=add_offer(before, plain).encode())])
        terms = _terms(bench, opened)
        market_files.load_offers(sheet, bench.catalog, opened.case.currency, {}, terms)
    return go(f"/car/{opened.id}/order#offer")


def _told_offers(bench: Bench, opened: Opened, terms: ShopTerms) -> Sequence[Offer]:
    """Return the offers of a car as they are read, the last first."""
    name, data = _kept_sheet(bench, opened)
    if not name:
        return ()
    currency = opened.case.currency
    read = read_offers(data, name, bench.catalog, currency, terms.columns, terms.supplier)
    return read.offers[::-1][:SHOWN_OFFERS]


def _columns(sent: Sent) -> dict[str, str]:
    return read_confirmed(sent.get("columns").splitlines())


def _kept_sheet(bench: Bench, opened: Opened) -> tuple[str, bytes]:
    """Return name and content of the sheet that was handed in before; empty = none was."""
    with connected(bench.place) as garage:
        content = store.content(garage, opened.id, SHEETS)
    return next(((n, content[n]) for n in SHEETS if n in content), ("", b""))


def _terms_text(bench: Bench, opened: Opened) -> tomlkit.TOMLDocument:
    """Return the terms of the shop as they were written."""
    with connected(bench.place) as garage:
        earlier = store.content(garage, opened.id, (TERMS,)).get(TERMS, b"")
    return tomlkit.parse(decode(earlier, TERMS) if earlier else "")


def _write_terms(folder: Path, document: tomlkit.TOMLDocument) -> ShopTerms:
    """Write what a shop works under, and return it; nothing stated is no file."""
    (folder / TERMS).unlink(missing_ok=True)
    text = tomlkit.dumps(document)
    if text.strip():
        write_files([NewFile(path=folder / TERMS, data=text.encode("utf-8"))])
    return market_files.load_terms(folder / TERMS, must_be_there=False)


def _hour(opened: Opened) -> float | None:
    """Return what an hour of work costs as the case states it."""
    stated = read_price_book(opened.case).find(LABOUR)
    if stated is None:
        return None
    return float(stated.likely.minor / 10 ** minor_digits(stated.likely.currency))


@sends
def keep_terms(request: Request, sent: Sent) -> Response:
    """Keep what the shop works under with the car."""
    opened, bench = opened_for(request), bench_of(request)
    document = _terms_text(bench, opened)
    for field, label in TERM_FIELDS.items():
        value = read_number(sent, field, *RANGES.get(field, ANY), label=label)
        document.pop(field, None)
        if value is not None:
            document[field] = int(value) if field in WHOLE else value
    hour = read_number(sent, "hour")
    with changing(request, opened, sent, "terms of the shop") as folder:
        if hour is not None:
            today = dt.date.today()
            change_file(
                folder / CASE_FILE,
                lambda old: price_hour(decode(old, CASE_FILE), hour, today).encode("utf-8"),
            )
            line.open_case(folder, bench.catalog)
        _write_terms(folder, document)
    return go(f"/car/{opened.id}/order")


def buying(request: Request) -> Response:
    """What to buy from whom, when each operation runs, what being ready earlier costs."""
    opened, bench = opened_for(request), bench_of(request)

    def show(planned: tuple[BuyAnswer, ShopTerms]) -> Response:
        answer, terms = planned
        best, today = answer.plans[-1], dt.date.today()
        return car_page(
            request,
            "buying.html",
            opened,
            step="order",
            telling=tell_buying(opened.case, answer, terms, today, bench.catalog),
            days=_days(best),
            width=CHART_WIDTH,
            bar=BAR,
            shown=SHOWN_TITLES,
            curve=_curve(answer.curve),
            curve_height=CURVE_HEIGHT,
        )

    return answer_or_wait(request, opened, "buying", _plan, show, "Planning what to buy")


async def buying_progress(request: Request) -> Response:
    """How far the plan to buy is."""
    return await tell_progress(request, "buying", _plan)


def _plan(bench: Bench, opened: Opened, tell: Tell) -> tuple[BuyAnswer, ShopTerms]:
    name, data = _kept_sheet(bench, opened)
    if not name:
        raise InputError("No offers were handed in.", remedy="Hand in a sheet of offers first.")
    terms = _terms(bench, opened)
    currency = opened.case.currency
    sheet = read_offers(data, name, bench.catalog, currency, terms.columns, terms.supplier)
    todo = bench.whole(opened).todo
    today = dt.date.today()
    return plan_buying(opened.case, todo, sheet, terms, bench.catalog, today, tell), terms


def _terms(bench: Bench, opened: Opened) -> ShopTerms:
    """Return what the shop works under, as it stands beside the car."""
    with connected(bench.place) as garage:
        content = store.content(garage, opened.id, (TERMS,))
    with TemporaryDirectory(prefix="squibwise-") as place:
        file = Path(place) / TERMS
        if TERMS in content:
            file.write_bytes(content[TERMS])
        return market_files.load_terms(file, must_be_there=False)


def _days(plan: BuyPlan) -> list[dict[str, Any]]:
    """Return a row of the day chart for each day of work: its operations at their minutes."""
    by_day: dict[int, list[ScheduledTask]] = {}
    for task in plan.schedule:
        by_day.setdefault(task.day, []).append(task)
    longest = max((_ends(t) for t in plan.schedule), default=0) or 1
    hands = max((t.technician for t in plan.schedule), default=1) or 1
    return [
        {
            "day": day,
            "operations": len(tasks),
            "time": minutes(sum(t.end - t.start for t in tasks if not t.outside)),
            "bars": [_bar(t, longest, hands) for t in tasks],
            "titles": list(dict.fromkeys(t.title for t in tasks)),
        }
        for day, tasks in sorted(by_day.items())
    ]


def _ends(task: ScheduledTask) -> int:
    return task.minute + task.end - task.start


def _bar(task: ScheduledTask, longest: int, hands: int) -> dict[str, Any]:
    """Return an operation on the row of its day, one below the other where several work."""
    tall = BAR / hands
    return {
        "x": CHART_WIDTH * task.minute / longest,
        "w": max(2.0, CHART_WIDTH * (task.end - task.start) / longest - 1.0),
        "y": tall * max(0, task.technician - 1),
        "h": tall - 1.0,
        "title": task.title,
        "outside": task.outside,
    }


def _curve(points: Sequence[CurvePoint]) -> list[dict[str, Any]]:
    """Return the points of cost against the day the car is ready."""
    if len(points) < 2:
        return []
    days = [p.day for p in points]
    sums = [p.cost.minor for p in points]
    wide, tall = max(days) - min(days) or 1, max(sums) - min(sums) or 1
    return [
        {
            "x": 40.0 + (CHART_WIDTH - 80.0) * (p.day - min(days)) / wide,
            "y": 30.0 + (CURVE_HEIGHT - 90.0) * (max(sums) - p.cost.minor) / tall,
            "label": 20.0 if p.cost.minor == min(sums) else -10.0,  # clear of the line
            "day": p.day,
            "sum": bare_sum(p.cost),
        }
        for p in points
    ]
