"""Take the pictures of the tour again, from the demo cars at the bench in a real browser.

python bench/pictures.py [--to docs/pictures]
"""

import argparse
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import BrowserContext, Page

from paint import new_phone, opened_bench

COLOURS = 48  # enough for flat colours, a third of the bytes
LAPTOP = {"width": 1280, "height": 800}
ON_A_LAPTOP = {"car": "/car/harrow-07"}
ON_A_PHONE = {
    "nearer": "/car/harrow-07?near=middle-left",
    "part": "/car/harrow-07/part/driver.front-bag",
    "card": "/car/burdock-09/trace/passenger.front-bag",
    "work": "/car/harrow-07/work",
    "gates": "/car/harrow-07/prove",
}
SHOWN_FIRST = {"nearer": "#picture"}
"""What is brought to the top of a picture; the top of the page otherwise."""


def take(within: BrowserContext, pages: dict[str, str], folder: Path) -> None:
    """Take a picture of each page as it is first seen."""
    page = within.new_page()
    for name, path in pages.items():
        page.goto(path, wait_until="networkidle")
        _bring_up(page, SHOWN_FIRST.get(name))
        shot = Image.open(BytesIO(page.screenshot())).convert("RGB")
        shot.quantize(COLOURS, dither=Image.Dither.NONE).save(folder / f"{name}.png", optimize=True)
    page.close()


def _bring_up(page: Page, selector: str | None) -> None:
    if selector:
        script = "e => window.scrollTo(0, e.getBoundingClientRect().top + window.scrollY - 90)"
        page.locator(selector).evaluate(script)


def main() -> None:
    """Take them all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--to", type=Path, default=Path(__file__).parents[1] / "docs" / "pictures")
    asked = parser.parse_args()
    with opened_bench() as (browser, address):
        take(browser.new_context(viewport=LAPTOP, base_url=address), ON_A_LAPTOP, asked.to)
        take(new_phone(browser, address), ON_A_PHONE, asked.to)


if __name__ == "__main__":
    main()
