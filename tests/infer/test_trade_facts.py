"""Facts of the trade that the answers must agree with. Common practice, no source."""

import build
import msgspec
import pytest

from squibwise.catalog.components import fitted_share
from squibwise.infer import assess
from squibwise.model.belief import Assessment, ComponentBelief
from squibwise.model.evidence import DoneWork, Impact, Look
from squibwise.model.words import Fault

TWO_OPENS = (build.code(1, "driver.front-bag", 1), build.code(2, "driver.front-bag", 2))
TORN = Look(id="look-1", component="driver.front-bag", seen="cover-torn")
WHOLE = Look(id="look-1", component="driver.front-bag", seen="cover-whole")
REFITTED = DoneWork(id="done-1", what="replaced", component="driver.steering-wheel")


def _of(answer: Assessment, component: str) -> ComponentBelief:
    belief = answer.of(component)
    assert belief is not None
    return belief


# Common practice, no source.
@pytest.mark.parametrize(
    "evidence",
    [
        (build.scan(*TWO_OPENS), TORN),
        (build.scan(*TWO_OPENS, build.record()),),
        (build.scan(*TWO_OPENS, build.record()), TORN),
    ],
    ids=["torn-cover", "crash-record", "both"],
)
def test_two_opens_with_a_torn_cover_or_a_record_are_a_fired_bag(evidence: tuple) -> None:
    answer = assess(build.case(*evidence), build.CATALOG)
    bag = _of(answer, "driver.front-bag")
    assert bag.after_crash.fired >= 0.93
    assert bag.stages["1"].fired >= 0.93
    assert bag.stages["2"].fired >= 0.9
    assert answer.event.causes["crash-record"] >= 0.9


# Common practice, no source.
def test_missing_belt_and_passenger_codes_are_given_as_probabilities_only() -> None:
    answer = assess(build.case(build.scan(*TWO_OPENS, build.record())), build.CATALOG)
    usual = assess(build.case(), build.CATALOG)
    assert 0.05 < answer.event.driver_belted < usual.event.driver_belted - 0.1
    empty = answer.event.front_passenger["empty"]
    assert usual.event.front_passenger["empty"] + 0.05 < empty < 0.999
    for component in ("driver.retractor-pretensioner", "passenger.front-bag"):
        assert 1e-4 < _of(answer, component).after_crash.fired < 0.3


# Common practice, no source.
def test_two_opens_with_a_whole_cover_after_a_wheel_was_refitted_are_a_plug_or_clock_spring() -> (
    None
):
    answer = assess(build.case(REFITTED, build.scan(*TWO_OPENS), WHOLE), build.CATALOG)
    causes = answer.event.causes
    assert causes["shared-plug:driver.wheel"] + causes["clock-spring"] > 0.9
    bag = _of(answer, "driver.front-bag")
    assert bag.after_crash.fired < 0.05
    assert bag.stages["1"].fired < 0.05
    assert bag.stages["1"].faulty > 0.5


# Common practice, no source.
def test_two_opens_with_a_whole_cover_and_no_record_are_no_fired_bag() -> None:
    answer = assess(build.case(build.scan(*TWO_OPENS), WHOLE), build.CATALOG)
    causes = answer.event.causes
    assert causes["shared-plug:driver.wheel"] + causes["clock-spring"] > 0.6
    assert _of(answer, "driver.front-bag").after_crash.fired < 0.1


# Common practice, no source.
def test_front_sensors_without_codes_are_not_thereby_proved_sound() -> None:
    hit = Impact(id="body", zone="nose-left", clock=11, extent="severe")
    lines = (*TWO_OPENS, build.record())
    answer = assess(build.case(build.scan(*lines), hit), build.CATALOG)
    sensor = _of(answer, "nose-left.impact-sensor")
    assert sensor.after_crash.damaged > 0.3
    assert sensor.after_crash.sound < 0.7


# Common practice, no source.
def test_a_buckle_switch_code_is_a_fault_of_the_switch_and_no_crash() -> None:
    line = build.code(1, "driver.buckle-switch", status=("stored",))
    answer = assess(build.case(build.scan(line)), build.CATALOG)
    switch = _of(answer, "driver.buckle-switch")
    assert switch.stages["1"].faulty > 0.8
    assert switch.now.damaged < 0.1
    assert answer.event.causes["crash-record"] < 0.2
    assert _of(answer, "driver.front-bag").after_crash.fired < 0.05


# Common practice, no source: such a code asks for programming, or the unit is another car's.
@pytest.mark.parametrize("fault", ["configuration", "identity"])
def test_a_unit_that_is_not_configured_is_unfit_before_it_is_damaged(fault: Fault) -> None:
    unit = "centre.control-unit"
    struck = Impact(id="body", zone="nose-left", extent="severe")
    answer = assess(build.case(struck, build.scan(build.code(1, unit, 1, fault))), build.CATALOG)
    now = _of(answer, unit).now
    assert now.unfit > 0.8
    assert now.damaged < 0.1


# Common practice, no source.
def test_a_part_that_is_not_there_in_a_car_of_assumed_equipment_was_mostly_never_fitted() -> None:
    part = "driver.knee-bag"
    car = build.car("full-modern-set", year=2014, add=(part,))
    gone = Look(id="look", component=part, seen="missing")
    known = assess(build.case(gone, on=car), build.CATALOG)
    assumed = msgspec.structs.replace(car, assumed=True)
    guessed = assess(build.case(gone, on=assumed), build.CATALOG)
    assert _of(known, part).now.missing > 0.9
    assert _of(guessed, part).now.missing < 0.1


def test_a_part_that_few_cars_have_is_no_likelier_to_have_fired_than_to_be_there() -> None:
    # From memory: a charge that cuts the battery off is in 15 to 40 of 100 cars from 2018 on, in
    # 8 to 25 from 2010, and fires with a bag in 60 to 97 of 100.
    car = msgspec.structs.replace(build.car("full-modern-set", year=2018), assumed=True)
    hit = Impact(id="body", zone="nose-left", extent="severe")
    answer = assess(build.case(hit, on=car), build.CATALOG)
    assert 0.15 * 0.6 <= _of(answer, "centre.battery-cutoff").after_crash.fired <= 0.4
    kind = build.CATALOG.kinds["battery-cutoff"]
    assert fitted_share(kind, 2012) == 0.15
    assert fitted_share(kind, None) == pytest.approx((0.01 + 0.07 + 0.15 + 0.25) / 4)
    assert fitted_share(build.CATALOG.kinds["front-bag"], 2012) is None
