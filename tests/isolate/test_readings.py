"""Readings at several points move the hypotheses, or say that they cannot."""

import math
from typing import Any

import pytest

from squibwise.isolate.standing import Standing
from squibwise.isolate.tracing import search_of, trace
from squibwise.model.evidence import Reading

from .building import CATALOG, a_case, a_line, a_report, believing

LOOP = "driver.front-bag/1"
OPEN = a_report(a_line("driver.front-bag", "open-or-high"))
# Usual values from the unit outward: plugs 0.02, harness 0.17, plug, clock spring 0.42, plug; the
# known load is 2.1 ohm.
USUAL = {"unit-plug": 2.12, "column-plug": 2.31, "device-plug": 2.75}


def readings(values: dict[str, float], **more: Any) -> list[Reading]:
    given: dict[str, Any] = {"unit": "ohm", "method": "substitute-load", "u": 0.01}
    given |= {"quantity": "loop-resistance", "component": LOOP} | more
    return [Reading(id=f"r-{p}", value=v, where=p, **given) for p, v in values.items()]


def searched(values: dict[str, float], **more: Any) -> Standing:
    case = a_case(OPEN, *readings(values, **more))
    return search_of(case, believing(), LOOP, CATALOG).standing


def chance(found: Standing, element: str) -> float:
    return math.fsum(s.p for s in found.suspects if s.parts[0].startswith(f"{element}:"))


def said(found: Standing) -> str:
    return " ".join(f.message for f in found.findings if f.code == "readings-compared")


def test_a_jump_over_the_clock_spring_points_at_it() -> None:
    plain = search_of(a_case(OPEN), believing(), LOOP, CATALOG).standing
    found = searched(USUAL | {"device-plug": 2.75 + 6.0})
    assert chance(found, "clock-spring") + chance(found, "device-plug") > 0.9
    assert chance(found, "clock-spring") > chance(plain, "clock-spring")


def test_a_jump_over_the_harness_points_at_it_or_its_plugs() -> None:
    found = searched({k: v + (4.0 if k != "unit-plug" else 0.0) for k, v in USUAL.items()})
    assert chance(found, "harness") + chance(found, "column-plug") > 0.9


def test_usual_readings_clear_the_wiring() -> None:
    found = searched(USUAL)
    wiring = chance(found, "harness") + chance(found, "unit-plug")
    plain = search_of(a_case(OPEN), believing(), LOOP, CATALOG).standing
    assert wiring < chance(plain, "harness") + chance(plain, "unit-plug")


def test_what_no_method_can_tell_is_said_plainly() -> None:
    found = searched(USUAL | {"device-plug": 2.75 + 0.25})
    assert "no method could" in said(found)


def test_a_clear_answer_is_said_with_its_probability() -> None:
    found = searched(
        {"unit-plug": 2.12 + 8.0, "column-plug": 2.31 + 8.0, "device-plug": 2.75 + 8.0}
    )
    assert "in unit-plug" in said(found)


SEAT = "driver.seat-bag/1"
SHORTED = a_report(a_line("driver.seat-bag", "low-or-short"))


def loaded(values: dict[str, float]) -> Standing:
    case = a_case(SHORTED, *readings(values, component=SEAT, u=0.05))
    return search_of(case, believing(), SEAT, CATALOG).standing


# A path of r ohm across a load of 2.1 ohm reads r x 2.1 / (r + 2.1): 0.35 ohm reads 0.3. From a
# technician with the load at three points, whose readings moved nothing. The words are the cards'.
@pytest.mark.parametrize(
    ("device", "seat"),
    [("device", "seat-plug"), ("connector at the device", "The connector under the seat")],
)
def test_a_short_lies_between_where_the_load_reads_low_and_where_it_reads_good(
    device: str, seat: str
) -> None:
    plain = search_of(a_case(SHORTED), believing(), SEAT, CATALOG).standing
    found = loaded({device: 0.3, seat: 2.1, "unit-plug": 2.1})
    inside = chance(found, "seat-harness") + chance(found, "device-plug")
    assert inside > 0.95 > chance(plain, "seat-harness") + chance(plain, "device-plug")
    assert "a short across the pair (seat-harness" in said(found)
    near = loaded({device: 0.35, seat: 0.3, "unit-plug": 2.1})
    assert chance(near, "harness") + chance(near, "seat-plug") > 0.95


def test_a_load_that_reads_good_everywhere_speaks_for_the_device() -> None:
    plain = search_of(a_case(SHORTED), believing(), SEAT, CATALOG).standing
    found = loaded({"device": 2.3, "seat-plug": 2.2, "unit-plug": 2.12})
    assert found.suspects[0].parts == ("device:shorted",)
    assert chance(found, "device") > 1.5 * chance(plain, "device")
    pinched = sum(s.p for s in found.suspects if s.parts[0].endswith(":pinched"))
    assert pinched < 0.01


def test_a_point_that_the_circuit_does_not_have_is_said() -> None:
    case = a_case(SHORTED, *readings({"glove box": 0.3, "seat-plug": 2.1}, component=SEAT))
    told = [f for f in trace(case, believing(), SEAT, CATALOG).findings if "glove" in f.message]
    assert [f.code for f in told] == ["reading-point-unknown"]
    assert "seat-plug" in told[0].remedy


@pytest.mark.parametrize("change", [{"method": "meter"}, {"unit": "V"}])
def test_other_readings_are_left_alone(change: dict[str, Any]) -> None:
    assert said(searched(USUAL, **change)) == ""


def test_one_point_is_not_compared() -> None:
    assert said(searched({"device-plug": 2.6})) == ""


def test_milliohms_and_ohms_say_the_same() -> None:
    high = USUAL | {"device-plug": 8.0}
    milli = {k: v * 1000.0 for k, v in high.items()}
    one, two = searched(high), searched(milli, unit="mohm", u=10.0)
    assert chance(one, "clock-spring") == pytest.approx(chance(two, "clock-spring"))


def test_a_stated_uncertainty_is_used() -> None:
    sharp = searched(USUAL | {"column-plug": 2.8})
    blunt = searched(USUAL | {"column-plug": 2.8}, u=1.0)
    assert chance(sharp, "harness") != pytest.approx(chance(blunt, "harness"))
