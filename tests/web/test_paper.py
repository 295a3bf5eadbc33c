"""The bench on paper: what is told stands on it, what is pressed does not."""

from collections.abc import Callable
from pathlib import Path

import pypdfium2
import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser


def read_sheets(file: Path) -> list[str]:
    """Return the text of each sheet of a PDF."""
    sheets = pypdfium2.PdfDocument(file)
    return [" ".join(sheet.get_textpage().get_text_range().split()) for sheet in sheets]


def test_the_work_is_printed_with_a_box_for_each_tick_and_nothing_to_press(
    show: Callable[..., Page], tmp_path_factory: pytest.TempPathFactory
) -> None:
    page = show("/car/harrow-07/work?visit=strip", "laptop")
    ticks = page.locator(".ticks li").count()
    assert ticks > 20
    page.emulate_media(media="print")
    expect(page.locator(".ticks input").first).to_be_visible()
    expect(page.locator(".signing")).to_be_hidden()
    expect(page.locator(".button:visible")).to_have_count(0)
    file = tmp_path_factory.mktemp("paper") / "work.pdf"
    page.pdf(path=file, format="A4", prefer_css_page_size=True)
    sheets = read_sheets(file)
    text = " ".join(sheets)
    assert len(sheets) <= 5
    assert "Take away every source of power, isolate and tag it" in text
    assert "Every source off: battery" in text, "the cautions are unfolded"


def test_the_page_of_a_car_is_printed_on_two_sheets_with_its_picture(
    show: Callable[..., Page], tmp_path_factory: pytest.TempPathFactory
) -> None:
    page = show("/car/harrow-07")
    page.emulate_media(media="print")
    expect(page.locator("svg.car")).to_be_visible()
    file = tmp_path_factory.mktemp("paper") / "car.pdf"
    page.pdf(path=file, format="A4", prefer_css_page_size=True)
    sheets = read_sheets(file)
    assert len(sheets) <= 2
    assert all(told in sheets[0] for told in ("Danger", "Happened", "Next", "Order now"))
