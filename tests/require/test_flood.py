"""Cars that stood in water: what knowing the height of the water changes. Cars made up."""

from functools import cache
from typing import Any

import pytest

from squibwise import case as line
from squibwise.catalog.load import load_catalog
from squibwise.entering.saying import find_told
from squibwise.entering.tick_visit import find_doubts
from squibwise.model.work import Work

CATALOG = load_catalog()
CAR = {"model_year": 2019, "equipment": "curtains-and-weight-sensing"}
SENSORS = ("pillar-left.impact-sensor", "pillar-right.impact-sensor", "door-left.impact-sensor")
BAG = "driver.seat-bag"


@cache
def flooded(*height: str) -> Work:
    """Return the work on a car that stood in water, its height told or not."""
    tables: dict[str, Any] = {"case": {"id": "x", "region": "US-OH"}, "car": CAR}
    car = line.make_case(tables, CATALOG).car
    told = find_told(("flood", *height), car, CATALOG)
    return line.work(line.make_case({**tables, "evidence": [dict(told)]}, CATALOG), CATALOG)


def kinds(todo: Work) -> dict[str, str]:
    return {c: o.kind for o in todo.orders for c in o.contains}


# Judgement: a sensor at the foot of a pillar or in a door sits about as high as the carpet, a
# charge in the back of a seat above the cushion.
@pytest.mark.parametrize(
    ("height", "in_doubt"),
    [((), (*SENSORS, BAG)), (("floor",), SENSORS), (("seats",), (*SENSORS, BAG))],
)
def test_telling_the_height_of_the_water_leaves_what_sits_at_its_edge_in_doubt(
    height: tuple[str, ...], in_doubt: tuple[str, ...]
) -> None:
    assert {kinds(flooded(*height)).get(c) for c in in_doubt} == {"look-first"}


def test_what_the_water_surely_reached_is_no_doubt_any_more() -> None:
    assert {kinds(flooded("dash"))[c] for c in (*SENSORS, BAG)} == {"certain"}


@pytest.mark.parametrize("height", [(), ("floor",), ("seats",)])
def test_leads_and_floor_harness_that_stood_in_water_are_looked_at(height: tuple[str, ...]) -> None:
    looks = [o for o in flooded(*height).operations if o.id == "look:harness"]
    assert [(o.kind, o.counted) for o in looks] == [("certain", True)]
    assert "centre.wiring" in looks[0].components
    doubts = find_doubts(flooded(*height), CATALOG)  # so no stroke over a visit passes it
    said = "(restraint harness 40% to be replaced, water or fire was at it)"
    assert doubts[looks[0].n] == said


@pytest.mark.parametrize("height", [(), ("floor",), ("seats",)])
def test_leads_and_connectors_that_stood_in_water_may_be_needed(height: tuple[str, ...]) -> None:
    order = next(o for o in flooded(*height).orders if "centre.wiring" in o.contains)
    assert order.kind == "look-first"
    assert "connectors stood under water" in order.settled_by


def test_the_unit_of_a_wet_car_is_reached_before_it_is_read_outside() -> None:
    at = {o.id: n for n, o in enumerate(flooded("seats").operations)}
    assert at["step:make-safe"] < at["open:console"] < at["step:bench-read"]
    assert at["step:bench-read"] < at["open:seat-driver"]
