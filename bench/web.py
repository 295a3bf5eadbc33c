"""Server time of each page over a garage of 2,000 cars and 200,000 entries, and page weights.

    python bench/web.py [--cars 2000] [--entries 100] [--requests 400] --json

Times are of the application itself, called in this process, on the machine at hand: `times_bare`
puts them in relation to a loop of plain Python that is timed beside them.
"""

import argparse
import datetime as dt
import gzip
import hashlib
import json
import os
import random
import re
import sqlite3
import statistics
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from starlette.testclient import TestClient

from squibwise.catalog.load import load_catalog
from squibwise.garage import store
from squibwise.garage.database import connected, writing
from squibwise.garage.folders import folder_content
from squibwise.web.app import make_app
from squibwise.web.layout import STATIC

DEMO = Path(sys.modules["squibwise"].__path__[0]) / "demo"
HOST = "bench.test:80"
PAGES = ("", "/look", "/work", "/ask", "/order", "/prove", "/history", "/part/driver.front-bag")
SEED, AT_WORK, FIRST, LOOKS = 20261129, 8, 4, 10


def fill(place: Path, cars: int, entries: int) -> None:
    """Put cars with a history into a garage."""
    originals = [folder_content(p.parent) for p in sorted(DEMO.glob("*/case.toml"))]
    at = dt.datetime(2026, 1, 5, tzinfo=dt.UTC)
    with connected(place, create=True) as garage:
        garage.execute("PRAGMA synchronous = OFF")
        for number in range(cars):
            content = dict(originals[number % len(originals)])
            car = f"car-{number:04d}"
            store.add(garage, car, content, "imported", at + dt.timedelta(minutes=number), "R")
            with writing(garage):
                for step in range(1, entries):
                    _append(garage, car, step, at + dt.timedelta(minutes=number + step))
        garage.execute("PRAGMA optimize")


def _append(garage: sqlite3.Connection, car: str, step: int, moment: dt.datetime) -> None:
    """Add an entry that changes one small file, as ticks and looks do."""
    data = f"{car} {step}".encode()
    digest = hashlib.sha256(data).hexdigest()
    garage.execute("INSERT OR IGNORE INTO original (hash, content) VALUES (?, ?)", (digest, data))
    files = {"notes.txt": digest}
    store._append(garage, store._next(garage, car, f"note {step}", moment, "R", files=files))


def measure(client: TestClient, cars: int, requests: int) -> dict[str, object]:
    """Return milliseconds by page: the middle and the 95th of 100."""
    rng = random.Random(SEED)
    client.get("/")  # titles are worked out once
    at_work = [f"car-{rng.randrange(cars):04d}" for _ in range(AT_WORK)]
    for car in at_work:
        client.get(f"/car/{car}")
    times: dict[str, list[tuple[float, float]]] = {}
    for _ in range(requests):
        page = rng.choice(("garage", "search", *PAGES))
        car = rng.choice(at_work)
        path = {"garage": "/", "search": f"/?q=car-{rng.randrange(100):02d}"}.get(
            page, f"/car/{car}{page}"
        )
        watch = Stopwatch()
        answer = client.get(path)
        times.setdefault(page or "car", []).append(watch.read())
        assert answer.status_code == 200, path
    every = [t for page in times.values() for t in page]
    return {
        "all": _quantiles(every),
        "by_page": {p: _quantiles(t) for p, t in sorted(times.items())},
    }


def _quantiles(times: list[tuple[float, float]]) -> dict[str, float]:
    """Return the middle and the 95th of 100: of the clock, and of the processor."""
    found: dict[str, float] = {"n": len(times)}
    for name, ranked in zip(("wall", "cpu"), map(sorted, zip(*times, strict=True)), strict=True):
        found[f"{name}_p50_ms"] = round(statistics.median(ranked), 1)
        found[f"{name}_p95_ms"] = round(ranked[min(len(ranked) - 1, int(0.95 * len(ranked)))], 1)
    return found


def measure_first(client: TestClient, cars: int) -> dict[str, float]:
    """Return milliseconds of a car's page the first time, and after another server kept it."""
    times = []
    for number in range(FIRST):
        watch = Stopwatch()
        client.get(f"/car/car-{(number * 131) % cars:04d}")
        times.append(watch.read())
    return _quantiles(times)


def measure_look(client: TestClient, car: str) -> dict[str, dict[str, float]]:
    """Return milliseconds from sending a look to its new belief, and from there to the rest."""
    page = f"/car/{car}/part/centre.windshield"
    times: list[tuple[float, float]] = []
    whole: list[tuple[float, float]] = []
    for number in range(LOOKS):
        html = client.get(page).text
        hidden = {k: re.search(rf'name="{k}" value="([^"]+)"', html)[1] for k in ("token", "seen")}
        word = ("intact", "glass-cracked")[number % 2]
        data = hidden | {"component": "centre.windshield", "seen_word": word, "once": f"n{number}"}
        watch = Stopwatch()
        sent = client.post(f"/car/{car}/look", data=data)
        assert sent.status_code == 303, sent.text
        shown = client.get(sent.headers["location"])
        assert shown.status_code == 200
        times.append(watch.read())
        rest = Stopwatch()
        client.get(page)
        whole.append(rest.read())
    return {"belief": _quantiles(times), "the_rest_after_it": _quantiles(whole)}


def weigh(client: TestClient, car: str) -> dict[str, int]:
    """Return kilobytes of each page with everything it loads, as they go over the wire."""
    names = ("bench.css", "bench.js", "htmx.min.js", "mark.svg")
    shared = sum(len(gzip.compress((STATIC / n).read_bytes(), 9)) for n in names)
    pages = {page or "car": client.get(f"/car/{car}{page}").text for page in PAGES}
    return {
        p: round((shared + len(gzip.compress(html.encode(), 9))) / 1000)
        for p, html in pages.items()
    }


class Stopwatch:
    """Milliseconds of the clock and of the processor. A class because both are read at once."""

    def __init__(self) -> None:
        self.wall, self.cpu = time.perf_counter(), time.process_time()

    def read(self) -> tuple[float, float]:
        """Return milliseconds gone by: of the clock, and of this process."""
        return 1000 * (time.perf_counter() - self.wall), 1000 * (time.process_time() - self.cpu)


def bare() -> float:
    """Return milliseconds of a loop of plain Python."""
    started = time.perf_counter()
    sum(n * n for n in range(200_000))
    return 1000.0 * (time.perf_counter() - started)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=2000)
    parser.add_argument("--entries", type=int, default=100)
    parser.add_argument("--requests", type=int, default=400)
    parser.add_argument("--garage", type=Path, help="A filled garage to use again.")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    load_catalog()
    with tempfile.TemporaryDirectory() as folder:
        place = asked.garage or Path(folder) / "garage.db"
        started = time.perf_counter()
        if not place.exists():
            fill(place, asked.cars, asked.entries)
        filled = time.perf_counter() - started
        headers = {"host": HOST, "origin": f"http://{HOST}"}
        client = TestClient(
            make_app(place, frozenset({HOST})), base_url=f"http://{HOST}", headers=headers,
            follow_redirects=False,
        )  # fmt: skip
        started = time.perf_counter()
        client.get("/")
        found: dict[str, object] = {
            "cars": asked.cars,
            "entries": asked.cars * asked.entries,
            "filled_s": round(filled, 1),
            "first_list_s": round(time.perf_counter() - started, 2),
            "first_time": measure_first(client, asked.cars),
            "pages": measure(client, asked.cars, asked.requests),
            "look_to_belief": measure_look(client, "car-0002"),
            "kilobytes": weigh(client, "car-0002"),
            "bare_loop_ms": round(bare(), 1),
        }
        again = TestClient(
            make_app(place, frozenset({HOST})), base_url=f"http://{HOST}", headers=headers
        )
        again.get("/")
        found["first_time_of_a_new_server"] = measure_first(again, asked.cars)
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
