"""First paint and weight of each page of the bench on a slow phone, in a real browser.

    python bench/paint.py [--rounds 1] --json

The phone: 390 by 844 pixels, processor four times slower, 1.6 Mbit/s down, 0.75 up, 150 ms from
question to answer. *First visit* has nothing kept; *next page* has the style and script of the page
before. Weights are bytes over the wire, with all that a page loads.
"""

import argparse
import json
import os
import shutil
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple
from urllib.request import urlopen

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import uvicorn
from playwright.sync_api import Browser, BrowserContext, sync_playwright

from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.garage.folders import folder_content
from squibwise.web.app import make_app
from squibwise.web.bench import now
from squibwise.web.running import free_port, own_names

DEMO = Path(sys.modules["squibwise"].__path__[0]) / "demo"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
FLAGS = "--no-sandbox --disable-gpu --disable-background-networking --disable-dev-shm-usage"
SLOWER, LATENCY_MS, DOWN, UP = 4, 150, 1_600_000 / 8, 750_000 / 8
PAGES = {
    "garage": "/",
    "start a car": "/new",
    "lots": "/lots",
    "car": "/car/harrow-07",
    "part": "/car/harrow-07/part/driver.front-bag",
    "looks": "/car/harrow-07/look",
    "circuits": "/car/burdock-09/trace",
    "bench card": "/car/burdock-09/trace/passenger.front-bag",
    "questions": "/car/harrow-07/ask",
    "orders": "/car/harrow-07/order",
    "bid": "/car/harrow-07/bid",
    "work": "/car/harrow-07/work?visit=strip",
    "gates": "/car/harrow-07/prove",
    "record": "/car/harrow-07/record",
    "report": "/car/harrow-07/report/scan-1",
    "seat": "/car/harrow-07/seat/passenger.occupant-sensor",
    "history": "/car/harrow-07/history",
}
PAINT = """() => new Promise((done) => new PerformanceObserver((seen) => {
  for (const e of seen.getEntriesByName('first-contentful-paint')) done(e.startTime);
}).observe({type: 'paint', buffered: true}))"""


def serve(place: Path) -> str:
    """Serve the demo cars in a thread; return the address."""
    with connected(place, create=True) as garage:
        for file in sorted(DEMO.glob("*/case.toml")):
            store.add(garage, file.parent.name, folder_content(file.parent), "imported", now())
    port = free_port()
    app = make_app(place, own_names(port))
    config = uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", lifespan="off")
    server = uvicorn.Server(config)
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.01)
    return f"http://127.0.0.1:{port}"


@contextmanager
def opened_bench() -> Iterator[tuple[Browser, str]]:
    """Give a browser, and the address of a bench with the demo cars."""
    path = next((p for b in BROWSERS if (p := shutil.which(b))), None)
    if path is None:
        sys.exit("no Chromium: apt-get install chromium")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS.split())
        yield browser, serve(Path(folder) / "garage.db")
        browser.close()


def new_phone(browser: Browser, address: str) -> BrowserContext:
    """Return a phone with nothing kept."""
    return browser.new_context(
        viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True, base_url=address
    )


class Visit(NamedTuple):
    """One visit of a page: the first paint, bytes, and what it took of the processor."""

    paint_ms: float
    weight: int
    cpu_ms: float


def visit(phone: BrowserContext, path: str) -> Visit:
    """Visit a page on a slow network and a slow processor."""
    page = phone.new_page()
    wire = phone.new_cdp_session(page)
    weights: list[int] = []
    wire.on("Network.loadingFinished", lambda e: weights.append(int(e["encodedDataLength"])))
    wire.send("Network.enable")
    wire.send(
        "Network.emulateNetworkConditions",
        {
            "offline": False,
            "latency": LATENCY_MS,
            "downloadThroughput": DOWN,
            "uploadThroughput": UP,
        },
    )
    wire.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    wire.send("Performance.enable", {"timeDomain": "threadTicks"})
    page.goto(path, wait_until="load")
    painted = float(page.evaluate(PAINT))
    metrics = {m["name"]: m["value"] for m in wire.send("Performance.getMetrics")["metrics"]}
    page.close()
    return Visit(painted, sum(weights), 1000.0 * metrics["TaskDuration"])


def measure(browser: Browser, address: str, rounds: int) -> dict[str, dict[str, float]]:
    """Return for each page the middle of its first paints, and its weight."""
    found = {}
    for name, path in PAGES.items():
        with urlopen(address + path) as answer:  # noqa: S310 - our own server; it works out once
            answer.read()
        firsts, nexts = [], []
        for _ in range(rounds):
            phone = new_phone(browser, address)
            firsts.append(visit(phone, path))
            nexts.append(visit(phone, path).paint_ms)
            phone.close()
        found[name] = {
            "first_visit_ms": round(statistics.median(v.paint_ms for v in firsts)),
            "next_page_ms": round(statistics.median(nexts)),
            "browser_cpu_ms": round(statistics.median(v.cpu_ms for v in firsts)),
            "kilobytes": round(firsts[0].weight / 1000, 1),
        }
        sys.stderr.write(f"{name}: {found[name]}\n")
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    with opened_bench() as (browser, address):
        print(json.dumps(measure(browser, address, asked.rounds), indent=1))


if __name__ == "__main__":
    main()
