"""Orders, offers, the plan to buy, and the sheet for parts desks."""

import csv
import datetime as dt
import io
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.garage.writing import NewFile, write_files
from squibwise.intake import market_files
from squibwise.model.market import BuyAnswer, BuyPlan, CurvePoint, ShopTerms
from squibwise.model.work import Order
from squibwise.plan import list_needs, list_requests, plan_buying
from squibwise.present.figures import bare_sum, percent
from squibwise.present.tell_buying import tell_buying
from squibwise.present.tell_cost import tell_sums
from squibwise.present.tell_orders import (
    group_orders,
    may_be_added,
    order_now,
    tell_price,
    tell_titled,
    tell_why,
)
from squibwise.web.bench import Bench, Opened
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import Sent, changing, sends
from squibwise.web.waiting import answer_or_wait, tell_progress

SHEETS = ("offers.csv", "offers.xlsx")
CHART_WIDTH, ROW, CURVE_HEIGHT = 640.0, 24.0, 180.0


def orders(request: Request) -> Response:
    """What to order now, what may be added, and the offers that were handed in."""
    opened, bench = opened_for(request), bench_of(request)
    whole = bench.whole(opened)
    return car_page(
        request,
        "order.html",
        opened,
        step="order",
        now=_rows(order_now(whole.todo)),
        added=_rows(may_be_added(whole.todo)),
        sums=tell_sums(opened.case.currency, whole.costs),
        has_offers=any(n in SHEETS for n in _files(bench, opened)),
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
    rows = list_requests(opened.case, list_needs(bench.whole(opened).todo))
    written = io.StringIO()
    sheet = csv.DictWriter(written, fieldnames=list(rows[0]) if rows else ["need"])
    sheet.writeheader()
    sheet.writerows(rows)
    headers = {"content-disposition": f'attachment; filename="{opened.id}-request.csv"'}
    return Response(written.getvalue(), media_type="text/csv", headers=headers)


@sends
def offers(request: Request, sent: Sent) -> Response:
    """Keep a sheet of offers with the car."""
    opened, bench = opened_for(request), bench_of(request)
    name, data = (sent.files.get("offers") or (("", b""),))[0]
    place = f"offers{Path(name).suffix.lower()}"
    if place not in SHEETS:
        raise InputError("This is no sheet of offers.", remedy="Choose a CSV or XLSX file.")
    with changing(request, opened, sent, "offers") as folder:
        for earlier in SHEETS:
            (folder / earlier).unlink(missing_ok=True)
        write_files([NewFile(path=folder / place, data=data)])
        market_files.load_offers(folder / place, bench.catalog, opened.case.currency, {})
    return go(f"/car/{opened.id}/buying")


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
            bars=_bars(best),
            days=_days(best),
            width=CHART_WIDTH,
            row=ROW,
            curve=_curve(answer.curve),
            curve_height=CURVE_HEIGHT,
        )

    return answer_or_wait(request, opened, "buying", _plan, show, "Planning what to buy")


async def buying_progress(request: Request) -> Response:
    """How far the plan to buy is."""
    return await tell_progress(request, "buying", _plan)


def _plan(bench: Bench, opened: Opened) -> tuple[BuyAnswer, ShopTerms]:
    with connected(bench.place) as garage:
        content = store.content(garage, opened.id, (*SHEETS, "buying.toml"))
    with TemporaryDirectory(prefix="squibwise-") as place:
        folder = Path(place)
        for name, data in content.items():
            (folder / name).write_bytes(data)
        file = market_files.find_offers(folder)
        sheet = market_files.load_offers(file, bench.catalog, opened.case.currency, {})
        terms = market_files.load_terms(folder / "buying.toml", must_be_there=False)
    todo = bench.whole(opened).todo
    return plan_buying(opened.case, todo, sheet, terms, bench.catalog, dt.date.today()), terms


def _bars(plan: BuyPlan) -> list[dict[str, Any]]:
    """Return a bar for each operation of the day chart."""
    end = max((t.end for t in plan.schedule), default=1)
    return [
        {
            "x": CHART_WIDTH * t.start / end,
            "w": max(3.0, CHART_WIDTH * (t.end - t.start) / end),
            "y": ROW * n,
            "title": t.title,
            "outside": t.outside,
            "left": t.start / end < 0.5,
        }
        for n, t in enumerate(sorted(plan.schedule, key=lambda t: t.start))
    ]


def _days(plan: BuyPlan) -> list[dict[str, Any]]:
    """Return where each day of work begins on the chart."""
    end = max((t.end for t in plan.schedule), default=1)
    first: dict[int, int] = {}
    for task in plan.schedule:
        first[task.day] = min(task.start, first.get(task.day, task.start))
    return [{"day": d, "x": CHART_WIDTH * at / end} for d, at in sorted(first.items())]


def _curve(points: Sequence[CurvePoint]) -> list[dict[str, Any]]:
    """Return the points of cost against the day the car is ready."""
    if len(points) < 2:
        return []
    days = [p.day for p in points]
    sums = [p.cost.minor for p in points]
    wide, tall = max(days) - min(days) or 1, max(sums) - min(sums) or 1
    return [
        {
            "x": 60.0 + (CHART_WIDTH - 120.0) * (p.day - min(days)) / wide,
            "y": 30.0 + (CURVE_HEIGHT - 70.0) * (max(sums) - p.cost.minor) / tall,
            "day": p.day,
            "sum": bare_sum(p.cost),
        }
        for p in points
    ]
