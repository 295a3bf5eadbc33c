"""Shifts learned from finished cases: invented cars, worked by hand."""

from collections.abc import Sequence

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.infer import firing_patterns
from squibwise.infer.many_cars import learn_shifts
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence, Impact, Look, Occupant, Recorder, Statement
from squibwise.numerics.curves import learn_shift

CATALOG = load_catalog()
PARTS = (
    "driver.front-bag",
    "driver.knee-bag",
    "driver.seat-bag",
    "left.curtain",
    "passenger.front-bag",
)
NAMES = ("driver-front-bag", "own-side-bags", "passenger-front-bag")


def case(*more: Evidence, long: float = -18.0, parts: Sequence[str] = PARTS) -> Case:
    evidence = (
        Recorder(id="r", method="estimate", delta_v_long_kmh=long, delta_v_lat_kmh=0.0),
        Impact(id="i", zone="nose-centre"),
        Occupant(id="o", seat="passenger", present=True, size="adult"),
        *more,
    )
    car = Car(model_year=2012, equipment="x", components=tuple(parts))
    return Case(id="c", car=car, evidence=evidence)


def look(component: str, seen: str) -> Look:
    return Look(id=f"look-{component}", component=component, seen=seen)


def test_without_finished_cases_nothing_is_shifted() -> None:
    shifts = learn_shifts([], CATALOG)
    assert {name: s.value for name, s in shifts.items()} == dict.fromkeys(NAMES, 0.0)


def test_bags_that_stayed_whole_lower_the_intercept_as_learn_shift_says() -> None:
    cases = [case(look("driver.front-bag", "intact")) for _ in range(6)]
    foretold = float(next(iter(firing_patterns(cases[:1], CATALOG)))[1].sum())
    expected = learn_shift([foretold] * 6, [0] * 6, CATALOG.fact("calibration.shift-sd").number())
    found = learn_shifts(cases, CATALOG)["driver-front-bag"]
    assert found.value == pytest.approx(expected.value)
    assert found.value < -0.3
    assert (found.n, found.observed) == (6, 0.0)
    assert found.expected == pytest.approx(6 * foretold)


def test_hearsay_and_doubtful_looks_teach_nothing() -> None:
    hearsay = case(Statement(id="s", component="driver.front-bag", says="deployed"))
    doubtful = case(look("driver.front-bag", "not-seen"))
    assert {s.n for s in learn_shifts([hearsay, doubtful], CATALOG).values()} == {0}


def test_other_bags_count_when_one_fired_or_all_were_seen_whole() -> None:
    front = look("driver.front-bag", "deployed")
    whole = [look(p, "intact") for p in PARTS[1:4]]
    one_fired = case(front, look("left.curtain", "deployed"))
    all_seen = case(front, *whole)
    one_unseen = case(front, *whole[:2])
    found = learn_shifts([one_fired, all_seen, one_unseen], CATALOG)["own-side-bags"]
    assert (found.n, found.observed) == (2, 1.0)


def test_a_car_without_other_bags_says_nothing_of_them() -> None:
    bare = case(look("driver.front-bag", "deployed"), parts=PARTS[:1])
    assert learn_shifts([bare], CATALOG)["own-side-bags"].n == 0


def test_the_passengers_bag_counts_over_a_taken_seat_given_the_drivers() -> None:
    fired = case(look("driver.front-bag", "deployed"), look("passenger.front-bag", "deployed"))
    found = learn_shifts([fired], CATALOG)["passenger-front-bag"]
    assert (found.n, found.observed) == (1, 1.0)
    assert found.expected > 0.9
    empty = Case(id="c", car=fired.car, evidence=tuple(e for e in fired.evidence if e.id != "o"))
    assert learn_shifts([empty], CATALOG)["passenger-front-bag"].n == 0
