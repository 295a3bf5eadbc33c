"""One thread of linear algebra, as the command line runs it, one browser, one answer per question.

A process may hold one engine of the browser only: every test that needs a page takes this one.
"""

import os
import pickle
import shutil
from collections import OrderedDict
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --disable-dev-shm-usage"
)


class _Remembered:
    """A function whose last answers are kept, by everything that it was asked with.

    The stages are pure: what they answer hangs on their arguments alone. A whole job asks the same
    of one case again and again, command by command; a quarter of its time went there. Tests of the
    stages themselves take the functions as they are.
    """

    def __init__(self, asked: Callable[..., Any], by_name: type, most: int) -> None:
        self.asked, self.by_name, self.most = asked, by_name, most
        self.answers: OrderedDict[bytes, tuple[Any, Any]] = OrderedDict()

    def __call__(self, *given: Any) -> Any:
        key = pickle.dumps([id(g) if isinstance(g, self.by_name) else g for g in given])
        if key not in self.answers:
            self.answers[key] = (self.asked(*given), given)  # so that no id is given out anew
        self.answers.move_to_end(key)
        while len(self.answers) > self.most:
            self.answers.popitem(last=False)
        return self.answers[key][0]


@pytest.fixture(scope="session", autouse=True)
def remembered() -> Iterator[None]:
    """What is believed of a case and is to be done is worked out once, while the line is asked."""
    from squibwise import infer, require  # only now, so that the one thread is set before
    from squibwise.catalog.load import Catalog

    with pytest.MonkeyPatch.context() as patch:
        for stage, name in ((infer, "assess"), (infer, "assess_worlds"), (require, "work")):
            patch.setattr(stage, name, _Remembered(getattr(stage, name), Catalog, 8))
        yield


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
