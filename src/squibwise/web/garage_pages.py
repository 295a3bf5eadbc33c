"""The garage: its cars, starting one, what happened to one, and taking the last of it back."""

import datetime as dt
from pathlib import Path
from tempfile import TemporaryDirectory

from starlette.requests import Request
from starlette.responses import Response

from squibwise import case as line
from squibwise.entering import new_case
from squibwise.entering.taking_back import take_out
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.cases import list_cars
from squibwise.garage.database import connected
from squibwise.garage.folders import Content, folder_content
from squibwise.intake.case_file.load import CASE_FILE
from squibwise.intake.case_file.toml_text import decode
from squibwise.present.figures import counted
from squibwise.present.tell_entries import search_cars
from squibwise.web.bench import Bench
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, opened_for, page
from squibwise.web.sending import Sent, refuse_stale, sends

FIELDS = ("title", "vin", "year", "region", "drive", "equipment", "currency")
SHOWN_CARS, SHOWN_LIKE, SHOWN_ENTRIES = 50, 200, 200


def garage(request: Request) -> Response:
    """The cars of the garage, newest first; those that a search names."""
    wanted, start = request.query_params.get("q", ""), request.query_params.get("from", "0")
    with connected(bench_of(request).place) as opened:
        cars = search_cars(list_cars(opened), wanted)
    first = int(start) if start.isdecimal() else 0
    more = first + SHOWN_CARS if len(cars) > first + SHOWN_CARS else 0
    shown = cars[first : first + SHOWN_CARS]
    told = counted(len(cars), "car")
    return page(request, "garage.html", cars=shown, more=more, q=wanted, told_count=told)


def new_page(request: Request) -> Response:
    """The few questions about a new car."""
    bench = bench_of(request)
    with connected(bench.place) as garage:
        cars = list_cars(garage)[:SHOWN_LIKE]
    templates = [(n, t.title) for n, t in bench.catalog.templates.items()]
    return page(request, "new.html", cars=cars, templates=templates)


@sends
def start(request: Request, sent: Sent) -> Response:
    """Put a new car into the garage."""
    bench, car_id = bench_of(request), "-".join(sent.get("id", 64).split())
    if not car_id or not all(c.isalnum() or c in "-_." for c in car_id) or car_id[0] in "-.":
        remedy = "Use letters, digits and dashes, such as harrow-08."
        raise InputError(f"'{car_id}' cannot be the name of a car.", remedy=remedy)
    stated = new_case.Stated(**{f: sent.get(f, 120) for f in FIELDS})
    with connected(bench.place) as garage:
        if store.head(garage, car_id) != store.NOTHING:
            raise InputError(f"there is a car '{car_id}'.", remedy="Choose another name.")
    content = _content(bench, car_id, stated, sent.get("like", 64))
    with connected(bench.place) as garage:
        at = dt.datetime.now(dt.UTC)
        store.add(garage, car_id, content, "started", at, sent.get("by", 60), store.NOTHING)
    return go(f"/car/{car_id}/add")


def _content(bench: Bench, car_id: str, stated: new_case.Stated, like: str) -> Content:
    """Return the files of a new car, once they are proved to be a case."""
    with TemporaryDirectory(prefix="squibwise-") as place:
        folder = Path(place) / car_id
        if like:
            with connected(bench.place) as garage:
                text = decode(store.content(garage, like, (CASE_FILE,))[CASE_FILE], CASE_FILE)
            (folder / "evidence").mkdir(parents=True)
            made = new_case.copy_like(text, stated, car_id)
            (folder / CASE_FILE).write_text(made, encoding="utf-8")
        else:
            new_case.make(folder, bench.catalog, (), stated)
        line.open_case(folder, bench.catalog)
        return folder_content(folder)


def history(request: Request) -> Response:
    """Every entry of a car, the last first, taken back or not."""
    opened = opened_for(request)
    with connected(bench_of(request).place) as garage:
        entries = store.history(garage, opened.id)
    undone, holding = store.list_undone(entries), store.effective(entries)
    takes_back = {e.number for e in holding[1:] if e.number not in undone and not e.undoes}
    return page(
        request,
        "history.html",
        opened=opened,
        entries=[
            (e, e.number in undone, e.number in takes_back)
            for e in reversed(entries[-SHOWN_ENTRIES:])
        ],
        hidden_entries=max(0, len(entries) - SHOWN_ENTRIES),
        last=holding[-1] if len(holding) > 1 else None,
    )


@sends
def undo(request: Request, sent: Sent) -> Response:
    """Take one entry back, the last that holds where none is named; the history keeps both."""
    opened, bench = opened_for(request), bench_of(request)
    refuse_stale(opened, sent)
    number, at = sent.get("number", 9), dt.datetime.now(dt.UTC)
    if number.isdecimal():
        by = sent.get("by", 60)
        take_out(bench.place, opened.id, int(number), at, bench.catalog, by, opened.seen)
        return go(f"/car/{opened.id}/history")
    with connected(bench.place) as garage:
        head = store.head(garage, opened.id)
        store.undo(garage, opened.id, at, sent.get("by", 60), head)
    return go(f"/car/{opened.id}/history")
