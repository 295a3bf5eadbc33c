"""What entries show of themselves: order without times, proof without a reading. Cars made up.

Common practice, no source: a signature under a measurement without a figure shows nothing.
"""

import datetime as dt
from typing import Any

import pytest

from squibwise.history.order import read_history
from squibwise.history.reliance import (
    find_unweighed,
    list_bare_searches,
    list_bare_settings,
    list_labelled_early,
    list_signed_both_ways,
    span_work,
    weigh_times,
)
from squibwise.model.evidence import DoneWork, LampCheck, PartLabel, Passed, Reading, SeatTrial

BAG, SPRING = "driver.front-bag", "driver.clock-spring"
SEAT = "passenger.occupant-sensor"


def at(hour: int) -> dt.datetime:
    return dt.datetime(2026, 3, 10, hour)


def signed(what: str, result: Any = "passed", note: str = "", hour: int | None = None) -> Passed:
    time = None if hour is None else at(hour)
    return Passed(id=f"{what}-{result}-{hour}", what=what, result=result, note=note, time=time)


def work(what: Any, component: str, hour: int | None = None) -> DoneWork:
    time = None if hour is None else at(hour)
    return DoneWork(id=f"{what}-{component}", what=what, component=component, time=time)


def lamp(hour: int | None, *, out: float | None = 5.0) -> LampCheck:
    time = None if hour is None else at(hour)
    return LampCheck(id=f"lamp-{hour}", lit=True, out_after_s=out, stayed_out=True, time=time)


def test_entries_of_work_and_proof_without_a_time_are_counted() -> None:
    found = weigh_times(read_history((work("replaced", BAG), signed("x", hour=9), lamp(10))))
    assert (found.count, found.total, found.is_one_time) == (1, 3, False)
    found = weigh_times(read_history((work("replaced", BAG, 10), lamp(10))))
    assert (found.count, found.is_one_time) == (0, True)
    found = weigh_times(read_history((work("replaced", BAG, 9), lamp(10))))
    assert (found.count, found.is_one_time) == (0, False)
    assert not weigh_times(read_history((work("replaced", BAG, 9),))).is_one_time


def test_work_is_dated_from_its_first_to_its_last_entry() -> None:
    assert span_work(read_history((lamp(12), work("replaced", BAG, 9)))) == (at(9), at(12))
    assert span_work(read_history((work("replaced", BAG, 9), lamp(None)))) is None


@pytest.mark.parametrize(
    ("note", "measured", "is_bare"),
    [("done", None, True), ("0.1 deg", None, False), ("done", SPRING, False), ("done", BAG, True)],
)
def test_a_setting_is_bare_without_a_figure_or_a_reading_on_the_part(
    note: str, measured: str | None, is_bare: bool
) -> None:
    readings = [
        Reading(id="r", component=f"{c}/1", quantity="angle", value=0.1, unit="deg")
        for c in [measured]
        if c
    ]
    history = read_history((signed(f"{SPRING}:calibrate", note=note), *readings))
    assert bool(list_bare_settings(history)) == is_bare


def test_a_setting_that_failed_last_is_not_signed_as_set() -> None:
    word = f"{SPRING}:calibrate"
    assert list_bare_settings(read_history((signed(word), signed(word, "failed", hour=9)))) == []


@pytest.mark.parametrize(
    ("what", "component", "is_bare"),
    [("repaired", BAG, False), ("disconnected", BAG, True), ("repaired", SPRING, True)],
)
def test_a_search_is_bare_without_a_repair_on_the_part(
    what: str, component: str, is_bare: bool
) -> None:
    history = read_history((work(what, component), signed(f"{BAG}:trace")))
    assert bool(list_bare_searches(history)) == is_bare


def test_a_weight_check_is_bare_until_a_load_is_entered() -> None:
    check, load = signed("step:weigh-seat"), SeatTrial(id="t", component=SEAT, applied_kg=5.0)
    assert find_unweighed(read_history((check,))) == check
    assert find_unweighed(read_history((check, load))) is None
    assert find_unweighed(read_history((signed("step:weigh-seat", "failed"),))) is None
    assert find_unweighed(read_history(())) is None


@pytest.mark.parametrize(("first", "is_early"), [(8, True), (10, False)])
def test_a_label_from_before_any_work_may_be_the_old_part_s(first: int, is_early: bool) -> None:
    label = PartLabel(id="l", component=BAG, number="9Z-1", time=at(first), provenance="new")
    history = read_history((label, work("cleared", "codes", 7), work("replaced", BAG, 9)))
    assert list_labelled_early(history) == ({BAG} if is_early else set())


@pytest.mark.parametrize(
    ("between", "is_told"),
    [
        ((), True),
        ((work("replaced", "left.curtain", 10),), False),
        ((work("replaced", BAG, 10),), True),
    ],
)
def test_what_failed_and_passed_without_work_on_it_is_told(
    between: tuple[DoneWork, ...], is_told: bool
) -> None:
    word = "left.curtain:inspect"
    ways = (signed(word, "failed", hour=9), *between, signed(word, hour=11))
    assert (word in list_signed_both_ways(read_history(ways))) == is_told


@pytest.mark.parametrize(("what", "is_told"), [("cleared", True), ("reseated", False)])
def test_any_work_but_clearing_answers_for_the_lamp(what: str, is_told: bool) -> None:
    part = "codes" if what == "cleared" else BAG
    ways = (lamp(9, out=None), work(what, part, 10), lamp(11))
    assert bool(list_signed_both_ways(read_history(ways))) == is_told
