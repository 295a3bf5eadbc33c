"""The two demo cases of a lamp that will not go out, through the whole line."""

from functools import cache

import pytest

import squibwise
from squibwise.cli.demo import DEMO_CASES
from squibwise.model.trace import Trace

CASES = DEMO_CASES
CATALOG = squibwise.load_catalog()


@cache
def traced(name: str, loop: str) -> Trace:
    return squibwise.trace(squibwise.open_case(CASES / name, CATALOG), loop, CATALOG)


# Common practice, no source: low resistance right after re-assembly is seating or the shorting
# spring before it is the new bag.
def test_low_resistance_after_a_rebuild_is_seating_or_the_shorting_spring_first() -> None:
    found = traced("burdock-09", "passenger.front-bag/1")
    assert {h.id for h in found.hypotheses[:2]} == {
        "device-plug:not-seated",
        "device-plug:spring-not-lifted",
    }
    assert found.next_test.id in ("reseat:device-plug", "reseat:every-plug", "look:device-plug")
    assert sum(h.p for h in found.hypotheses if h.id.startswith("device:")) < 0.15


# Common practice, no source: two circuits of one seat, unplugged days before, are one plug.
def test_two_circuits_of_a_seat_that_was_out_are_the_plug_under_it() -> None:
    for loop in ("driver.seat-bag/1", "driver.buckle-pretensioner/1"):
        found = traced("clover-05", loop)
        assert found.hypotheses[0].id.startswith("seat-plug:")
        assert found.next_test.id.endswith("seat-plug")
        assert sum(h.p for h in found.hypotheses if h.id == "device:spent") < 0.02


@pytest.mark.parametrize(
    ("name", "loop"),
    [
        ("burdock-09", "passenger.front-bag/1"),
        ("clover-05", "driver.seat-bag/1"),
        ("clover-05", "driver.buckle-pretensioner/1"),
        ("harrow-07", "nose-right.impact-sensor/1"),
    ],
)
def test_the_plan_expects_less_than_greedy_and_than_the_fixed_tree(name: str, loop: str) -> None:
    found = traced(name, loop)
    assert found.outward_minutes is not None
    assert found.lower_bound <= found.expected_minutes < found.greedy_minutes
    assert found.expected_minutes < found.outward_minutes
