"""Start a car: by what is known of it, or equipped like another car of the garage."""

import datetime as dt
from pathlib import Path
from tempfile import TemporaryDirectory

from starlette.requests import Request
from starlette.responses import Response

from squibwise import case as line
from squibwise.errors import InputError
from squibwise.garage import new_case, store
from squibwise.garage.cases import list_cars
from squibwise.garage.database import connected
from squibwise.garage.folders import Content, folder_content
from squibwise.intake.case_file.load import CASE_FILE
from squibwise.intake.case_file.toml_text import decode
from squibwise.web.bench import Bench
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, page
from squibwise.web.sending import Sent, sends

FIELDS = ("title", "vin", "year", "region", "drive", "equipment", "currency")
SHOWN_LIKE = 200


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
    bench, car_id = bench_of(request), sent.get("id", 64)
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
