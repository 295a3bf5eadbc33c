"""When the power was on, off and waited out: what opens the way to hands on a live part.

Own edge cases, each one that a changed program got through the other tests; see docs/mutation.md.
"""

import datetime as dt
from typing import Any

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.history.order import History, read_history
from squibwise.history.power import (
    doubt_wait,
    find_power_off,
    is_powered_down,
    is_powered_since_safe,
    last_made_safe,
    last_power_down,
    last_power_on,
    list_power_on,
)
from squibwise.model.evidence import DoneWork, Evidence, LampCheck, Passed
from squibwise.model.report import ReadReport, Report

CATALOG = load_catalog()


def at(hour: int) -> dt.datetime:
    return dt.datetime(2026, 3, 2, hour, tzinfo=dt.UTC)


def course(*evidence: Evidence) -> History:
    return read_history(evidence)


def passed(what: str, hour: int | None = None, result: Any = "passed") -> Passed:
    time = None if hour is None else at(hour)
    return Passed(id=f"{what}-{hour}", what=what, result=result, time=time)


def done(what: Any, component: str, hour: int | None = None) -> DoneWork:
    time = None if hour is None else at(hour)
    return DoneWork(id=f"{what}-{component}-{hour}", what=what, component=component, time=time)


def lamp(hour: int | None = None) -> LampCheck:
    return LampCheck(id="lamp", lit=True, time=None if hour is None else at(hour))


def scan(when: Any, time: dt.datetime | None = None) -> Report:
    return Report(id="r", reading=ReadReport(), when=when, time=time)


DOWN, SAFE = passed("step:power-down", 9), passed("step:make-safe", 10)
BATTERY = done("disconnected", "battery", 9)


@pytest.mark.parametrize(
    ("entry", "is_off", "is_safe"),
    [
        (DOWN, True, False),
        (passed("power-down", 9), True, False),
        (passed("step:second-power-down", 9), True, False),
        (passed("step:power-down", 9, "failed"), False, False),
        (BATTERY, True, True),
        (done("reseated", "battery", 9), False, False),
        (done("disconnected", "driver.front-bag", 9), False, False),
        (passed("step:make-safe", 9), False, True),
        (passed("step:second-make-safe", 9), False, True),
        (passed("step:make-safe", 9, "failed"), False, False),
    ],
)
def test_what_takes_the_power_off_and_what_signs_the_wait(
    entry: Evidence, is_off: bool, is_safe: bool
) -> None:
    history = course(entry)
    assert (last_power_down(history) == entry) == is_powered_down(history, CATALOG) == is_off
    assert last_made_safe(history) == (0 if is_safe else -1)
    assert find_power_off(history, CATALOG) == (dt.datetime(2026, 3, 2, 9) if is_off else None)


def number(step: str) -> str:
    return f"no. {CATALOG.tasks.steps[step].number}"


@pytest.mark.parametrize(
    ("entry", "name"),
    [
        (lamp(11), f"{number('lamp-check')}, the lamp"),
        (scan(when="after-repair", time=at(11)), f"{number('final-scan')}, the scan"),
        (scan(when="after-repair"), ""),  # of no time: it may have been read elsewhere
        (scan(when="before-repair", time=at(11)), ""),
        (done("cleared", "codes", 11), number("clear")),
        (done("cleared", "control-unit", 11), ""),
        (passed("front.camera:calibrate", 11), "a setting"),
        (passed("front.camera:calibrate", 11, "failed"), ""),
        (passed("step:lamp-check", 11), number("lamp-check")),
        (passed("lamp-check", 11), number("lamp-check")),
        (passed("step:power-down", 11), ""),
        (passed("step:disposal", 11), ""),
        (passed("nothing-known", 11), ""),
    ],
)
def test_what_needs_the_key_on_ends_what_was_off_and_waited_out(entry: Evidence, name: str) -> None:
    history = course(DOWN, SAFE, entry)
    assert [p.name for p in list_power_on(history, CATALOG)] == [name] * bool(name)
    assert is_powered_since_safe(history, CATALOG) == bool(name)
    if entry.id != "step:power-down-11":
        assert is_powered_down(history, CATALOG) == (not name)
        assert find_power_off(history, CATALOG) == (None if name else dt.datetime(2026, 3, 2, 9))


def test_what_is_signed_with_a_power_down_in_one_go_came_before_it() -> None:
    setting = passed("front.camera:calibrate", 9)
    assert is_powered_down(course(DOWN, setting), CATALOG)
    assert not is_powered_down(course(DOWN, passed("front.camera:calibrate", 10)), CATALOG)
    untimed = course(passed("step:power-down"), passed("front.camera:calibrate"))
    assert not is_powered_down(untimed, CATALOG)


def test_a_lamp_check_and_a_power_down_of_one_course_count_in_their_order() -> None:
    assert is_powered_down(course(lamp(8), DOWN), CATALOG)
    assert is_powered_since_safe(course(SAFE, lamp(11)), CATALOG)
    assert not is_powered_since_safe(course(lamp(8), SAFE), CATALOG)
    assert not is_powered_since_safe(course(SAFE), CATALOG)
    assert not is_powered_down(course(), CATALOG)
    assert find_power_off(course(done("disconnected", "battery")), CATALOG) is None  # no time


@pytest.mark.parametrize(
    ("hour", "on", "is_off", "is_safe_over"),
    [(8, -1, False, False), (9, -1, True, False), (11, -1, True, False), (12, 2, False, True)],
)
def test_what_came_later_does_not_count_at_a_time(
    hour: int, on: int, is_off: bool, is_safe_over: bool
) -> None:
    history = course(DOWN, SAFE, lamp(12))
    found = last_power_on(history, CATALOG, at(hour))
    assert (-1 if found is None else found.place) == on
    assert is_powered_down(history, CATALOG, at(hour)) == is_off
    assert is_powered_since_safe(history, CATALOG, at(hour)) == is_safe_over
    assert last_made_safe(history, at(hour)) == (1 if hour >= 10 else -1)


def test_what_states_no_time_counts_at_any() -> None:
    history = course(done("disconnected", "battery"), lamp())
    assert last_power_down(history, at(1)) is not None
    assert last_made_safe(history, at(1)) == 0
    assert is_powered_since_safe(history, CATALOG, at(1))


def test_a_wait_that_was_signed_later_does_not_count_at_a_time_before_it() -> None:
    history = course(lamp(8), SAFE)
    assert is_powered_since_safe(history, CATALOG, at(9))
    assert not is_powered_since_safe(history, CATALOG, at(10))


# On the limit and beside it; the limit is the catalogue's shortest published wait.
def test_a_wait_that_no_maker_asks_for_is_doubted() -> None:
    shortest = CATALOG.fact("require.shortest-wait").number() / 60
    assert doubt_wait(shortest, CATALOG) == ""
    assert "shorter than any published" in doubt_wait(0.99 * shortest, CATALOG)
