"""Each flow as a person walks it, in a real browser: touch, type, look."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser
expect.set_options(timeout=20_000)
Show = Callable[..., Page]


def test_touching_a_part_opens_its_reasons_beside_the_picture(show: Show) -> None:
    page = show("/car/harrow-07", "laptop")
    page.locator('svg.car a[href$="/part/passenger.front-bag"]').click()
    expect(page.locator("#panel h2").first).to_contain_text("passenger front airbag")
    assert page.url.endswith("/car/harrow-07/part/passenger.front-bag")
    expect(page.locator("svg.car")).to_be_visible()


def test_a_look_is_written_down_by_touch_and_shows_at_once(show: Show) -> None:
    page = show("/car/harrow-07/part/centre.windshield")
    page.get_by_text("glass cracked", exact=False).first.click()
    page.get_by_label("Who").fill("R")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".chances li").first).to_contain_text(re.compile("damaged.*9[0-9]%"))
    page.goto("/car/harrow-07/part/left.curtain")
    expect(page.get_by_label("Who")).to_have_value("R")


def test_work_is_ticked_by_area(show: Show) -> None:
    page = show("/car/harrow-07/work?visit=arrive")
    page.get_by_label("Record the car as it came").check()
    page.get_by_label("Who").fill("R")
    page.get_by_role("button", name="Done").click()
    expect(page.get_by_label("Record the car as it came")).to_be_disabled()


def test_a_bench_card_is_answered_by_one_touch_and_its_clock_runs_on(show: Show) -> None:
    page = show("/car/burdock-09/trace/passenger.front-bag")
    page.get_by_role("button", name="All sources are off: start the wait").first.click()
    expect(page.locator(".clock .left").first).to_have_text("29:59", timeout=3_000)
    page.reload()
    expect(page.locator(".clock .left").first).to_have_text(re.compile("^29:"))
    title = page.locator("#card-title").inner_text()
    page.locator("button.outcome", has_text="not fixed").click()
    expect(page.locator("#card-title")).not_to_have_text(title)


def test_what_is_entered_without_connection_is_kept_and_sent_once(show: Show) -> None:
    page = show("/car/clover-05/part/left.curtain")
    page.context.set_offline(True)
    page.get_by_text("intact", exact=True).click()
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("#kept")).to_be_visible()
    page.context.set_offline(False)
    expect(page.locator("#kept")).to_be_hidden()
    page.goto("/car/clover-05")
    expect(page.locator(".card", has_text="left.curtain: seen intact")).to_have_count(1)
