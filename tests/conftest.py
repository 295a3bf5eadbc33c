"""One thread of linear algebra, as the command line runs it, and one browser.

A process may hold one engine of the browser only: every test that needs a page takes this one.
"""

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --disable-dev-shm-usage"
)


@pytest.fixture(scope="session")
def browser() -> "Iterator[Browser]":
    """The one browser, Debian's Chromium; without one the test is skipped by name."""
    path = next((p for b in BROWSERS if (p := shutil.which(b))), None)
    if path is None:
        pytest.skip("no Chromium: apt-get install chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=FLAGS.split())
        yield opened
        opened.close()
