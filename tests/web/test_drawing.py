"""The picture of a car: each mark within its part of the picture, large enough for a finger."""

from collections.abc import Callable, Iterator
from itertools import combinations
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from squibwise import case as line
from squibwise.catalog.load import load_catalog
from squibwise.model.names import split_component
from squibwise.present.tell_bench import CarPicture, Mark
from squibwise.web.drawing import Drawn, layout, place_marks

LEAST_PX = 48.0
"""Source: Material Design, accessibility: touch targets of at least 48 by 48 dp (from memory)."""
PICTURE_PX = 361.0
"""Ours: width of the picture on a phone of 390 px."""
HANDS: tuple[Any, ...] = ("left", "right")


def drawn_whole(template: str, hand: Any) -> list[Drawn]:
    """Return every mark of a car whose every part is in doubt."""
    tables = {"case": {"id": "x"}, "car": {"equipment": template, "drive_hand": hand}}
    places = [
        (c, split_component(c)) for c in line.make_case(tables, load_catalog()).car.components
    ]
    marks = tuple(
        Mark(
            component=component, place=split.place, kind=split.kind, title="", state="sound",
            letter="", is_settled=False, watched=True, told="",
        )
        for component, split in places
    )  # fmt: skip
    return place_marks(CarPicture(drive_hand=hand, marks=marks, strikes=()))


def every_car() -> Iterator[tuple[str, Any]]:
    """Yield each template with the driver on either side."""
    return ((template, hand) for template in load_catalog().templates for hand in HANDS)


@pytest.mark.parametrize(("template", "hand"), list(every_car()))
def test_a_finger_hits_each_mark_alone_and_within_its_part_of_the_picture(
    template: str, hand: Any
) -> None:
    drawn = drawn_whole(template, hand)
    assert len(drawn) > 20
    for one, other in combinations(drawn, 2):
        apart = max(
            abs(one.x - other.x) - (one.touch_w + other.touch_w) / 2,
            abs(one.y - other.y) - (one.touch_h + other.touch_h) / 2,
        )
        assert apart >= -1e-9, (one.mark.component, other.mark.component)
    for mark in drawn:
        left, top, width, height = layout().views[mark.view]
        scale = PICTURE_PX / width
        seen_h = min(mark.y + mark.touch_h / 2, top + height) - max(mark.y - mark.touch_h / 2, top)
        seen_w = min(mark.x + mark.touch_w / 2, left + width) - max(mark.x - mark.touch_w / 2, left)
        assert min(seen_h, seen_w) * scale >= LEAST_PX, mark.mark.component


@pytest.mark.browser
def test_on_a_phone_a_touch_brings_a_part_of_the_car_nearer_and_the_next_opens_a_component(
    show: Callable[..., Page],
) -> None:
    page = show("/car/harrow-07")
    page.locator('svg.whole a[href$="/part/driver.buckle-pretensioner"]').tap()
    near = page.locator("svg.near")
    expect(near).to_be_visible()
    marks = near.locator('a[data-view="middle-left"] .touch')
    assert marks.count() > 5
    for box in (mark.bounding_box() for mark in marks.all()):
        assert box is not None
        assert min(box["width"], box["height"]) >= LEAST_PX
    near.locator('a[href$="/part/driver.buckle-pretensioner"]').tap()
    expect(page.locator("#part-title")).to_contain_text("driver buckle with pretensioner")
    expect(page.locator("#part-title")).to_be_in_viewport()
