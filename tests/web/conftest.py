"""A garage with the demo cars, the application over it, and one browser for the whole session."""

import os
import re
import shutil
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, Page
from starlette.testclient import TestClient

from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.garage.folders import folder_content
from squibwise.plan import buying
from squibwise.web.app import make_app
from squibwise.web.bench import now
from squibwise.web.running import free_port, own_names

DEMO = Path(sys.modules["squibwise"].__path__[0]) / "demo"
CARS = ("harrow-07", "burdock-09", "clover-05")
HOST = "bench.test:80"
SIZES = {"phone": (390, 844), "laptop": (1366, 768)}


def fill_garage(place: Path, cars: tuple[str, ...] = CARS) -> None:
    """Put demo cars into a garage."""
    with connected(place, create=True) as garage:
        for car in cars:
            store.add(garage, car, folder_content(DEMO / car), "imported", now())


@pytest.fixture(scope="session", autouse=True)
def one_search() -> Iterator[None]:
    """A short list of offers is planned by one search; `tests/plan` has the eight."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(buying, "WORKERS", 1)
        yield


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A garage that is only copied."""
    place = tmp_path_factory.mktemp("filled") / "garage.db"
    fill_garage(place)
    with connected(place) as garage:
        garage.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return place


@pytest.fixture(scope="module")
def place(filled: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A garage of the module's own."""
    return Path(shutil.copy(filled, tmp_path_factory.mktemp("garage") / "garage.db"))


class Caller:
    """The application called from a page of its own. A class because it keeps the session."""

    def __init__(self, place: Path) -> None:
        self.app = make_app(place, frozenset({HOST}))
        headers = {"host": HOST, "origin": f"http://{HOST}"}
        self.client = TestClient(
            self.app, base_url=f"http://{HOST}", headers=headers, follow_redirects=False
        )
        self.client.get("/")

    def get(self, path: str) -> Any:
        """Return a page."""
        return self.client.get(path)

    def post(self, path: str, page: str = "", **sent: Any) -> Any:
        """Send a form with what its page carries."""
        html = self.client.get(page or path).text
        given = {k: found(html, k) for k in ("token", "seen")} | {"once": os.urandom(6).hex()}
        files = sent.pop("files", None)
        return self.client.post(path, data=given | sent, files=files)


def found(html: str, name: str) -> str:
    """Return the value of a hidden field of a page."""
    match = re.search(rf'name="{name}" (?:value|content)="([^"]*)"', html)
    return match[1] if match else ""


@pytest.fixture(scope="module")
def call(place: Path) -> Caller:
    """The application over the module's garage."""
    return Caller(place)


@pytest.fixture(scope="module")
def served(place: Path) -> tuple[Any, int]:
    """The application that a browser sees, and its port."""
    port = free_port()
    return make_app(place, own_names(port)), port


@pytest.fixture(scope="module")
def address(served: tuple[Any, int]) -> Iterator[str]:
    """A server over the module's garage."""
    app, port = served
    config = uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error", lifespan="off")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join()


@pytest.fixture
def show(browser: Browser, address: str) -> Iterator[Callable[..., Page]]:
    """Open a page of the bench at a size."""
    contexts = []

    def opened(path: str, size: str = "phone", scheme: Any = "light") -> Page:
        width, height = SIZES[size]
        is_phone = size == "phone"
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, base_url=address,
            has_touch=is_phone, is_mobile=is_phone,
        )  # fmt: skip
        context.set_default_timeout(30_000)
        contexts.append(context)
        page = context.new_page()
        page.goto(path)
        return page

    yield opened
    for context in contexts:
        context.close()
