"""Facts of the trade that the answers must agree with. Common practice, no source."""

import build
import pytest

from squibwise.infer import assess
from squibwise.model.belief import Assessment, ComponentBelief
from squibwise.model.evidence import DoneWork, Impact, Look

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
