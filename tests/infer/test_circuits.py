"""What is believed of a circuit: codes left over, live values, and where its fault lies."""

import math

import build
import msgspec
import pytest

from squibwise.infer import assess
from squibwise.model.belief import Assessment, ComponentBelief
from squibwise.model.evidence import Circumstance, DoneWork, Evidence, Look, Occupant, Reading
from squibwise.model.report import CodeLine
from squibwise.model.words import Done, Fault, Status

BAG = "passenger.front-bag"
NO_CRASH = Circumstance(id="told", what="crash", present=False)
OFF = DoneWork(id="off", what="disconnected", component=BAG)
ON = DoneWork(id="on", what="reseated", component=BAG)
READS = Reading(id="live", component=f"{BAG}/1", quantity="loop-resistance", value=2.2, unit="ohm")


def ask(*evidence: Evidence) -> tuple[Assessment, ComponentBelief]:
    answer = assess(build.case(*evidence), build.CATALOG)
    belief = answer.of(BAG)
    assert belief is not None
    return answer, belief


def both(status: Status) -> tuple[Evidence, ...]:
    lines = (build.code(n, BAG, n, status=(status,)) for n in (1, 2))
    return (build.scan(*lines, id="scan-2"),)


def test_history_codes_of_a_bag_plugged_in_again_are_left_over() -> None:
    # "Key was on once with the bag unplugged, all is plugged again": nothing is wrong now.
    _, bag = ask(NO_CRASH, OFF, ON, *both("stored"), READS)
    assert bag.now.sound > 0.9
    assert bag.after_crash.fired < 0.02
    assert bag.stages["1"].where["nowhere"] > 0.9


def test_a_code_that_is_there_now_is_not_left_over() -> None:
    _, bag = ask(NO_CRASH, OFF, ON, *both("present"))
    assert bag.stages["1"].where.get("nowhere", 0.0) < 0.2


def test_codes_cleared_after_the_work_are_not_left_over() -> None:
    cleared = DoneWork(id="clear", what="cleared", component="codes")
    _, kept = ask(NO_CRASH, OFF, ON, *both("stored"))
    _, new = ask(NO_CRASH, OFF, ON, cleared, *both("stored"))
    assert new.stages["1"].where["nowhere"] < kept.stages["1"].where["nowhere"]


@pytest.mark.parametrize("what", ["disconnected", "repaired"])
def test_a_connector_that_nobody_put_home_leaves_nothing_over(what: Done) -> None:
    work = DoneWork(id="work", what=what, component=BAG)
    _, bag = ask(NO_CRASH, work, *both("stored"))
    assert bag.stages["1"].where.get("nowhere", 0.0) < 0.3


def test_a_live_value_in_the_window_speaks_for_the_connector_too() -> None:
    _, before = ask(NO_CRASH, OFF, *both("present"))
    _, after = ask(NO_CRASH, OFF, *both("present"), READS)
    assert after.stages["1"].live > 2.0 * before.stages["1"].live


def test_where_a_fault_lies_agrees_with_what_the_circuit_is_like() -> None:
    answer, _ = ask(NO_CRASH, OFF, *both("present"))
    for belief in answer.components:
        for stage in belief.stages.values():
            assert math.fsum(stage.where.values()) == pytest.approx(1.0, abs=1e-9)
            good = stage.where.get("nowhere", 0.0) + stage.where.get("load", 0.0)
            assert good == pytest.approx(stage.live, abs=1e-9)
            assert stage.where.get("spent", 0.0) == pytest.approx(stage.fired, abs=1e-9)


DRIVER = "driver.front-bag"


def deployed(*more: Evidence) -> tuple[Assessment, ComponentBelief]:
    lines = (build.code(n, DRIVER, n) for n in (1, 2))
    torn = Look(id="torn", component=DRIVER, seen="cover-torn")
    answer = assess(build.case(build.scan(*lines, build.record()), torn, *more), build.CATALOG)
    belief = answer.of(DRIVER)
    assert belief is not None
    return answer, belief


def test_the_second_charge_of_a_fired_bag_is_a_hazard_whatever_its_probability() -> None:
    answer, bag = deployed()
    assert bag.stages["2"].fired > 0.5
    assert f"{DRIVER}/2" in answer.unproven


def test_only_a_charge_confirmed_spent_by_itself_is_no_hazard() -> None:
    whole = Look(id="seen", component=DRIVER, seen="confirmed-spent")
    second = Look(id="seen", component=f"{DRIVER}/2", seen="confirmed-spent")
    assert f"{DRIVER}/2" in deployed(whole)[0].unproven
    answer, bag = deployed(second)
    assert f"{DRIVER}/2" not in answer.unproven
    assert bag.stages["2"].fired > 0.99


def test_a_fault_that_comes_and_goes_is_not_gone_because_one_scan_is_clean() -> None:
    lines = build.scan(build.code(1, BAG, 1, status=("intermittent",)))
    clean = msgspec.structs.replace(build.scan(id="scan-2", able=True), when="after-repair")
    _, goes = ask(NO_CRASH, lines, clean)
    _, before = ask(NO_CRASH, lines)
    assert goes.stages["1"].live < 0.6
    assert goes.stages["1"].live > before.stages["1"].live


def test_one_open_bag_without_a_crash_did_not_fire() -> None:
    answer, bag = ask(NO_CRASH, build.scan(build.code(1, BAG, 1)))
    assert answer.event.no_crash > 0.95
    assert bag.after_crash.fired < 0.1


LIT = build.code(2, "passenger.off-indicator", None, "unknown")
MAT = build.code(1, "passenger.occupant-sensor", None)


def indicator(*evidence: Evidence) -> Assessment:
    return assess(build.case(*evidence), build.CATALOG)


def faulty_indicator(answer: Assessment) -> float:
    found = answer.of("passenger.off-indicator")
    assert found is not None
    return found.now.faulty


def kinded(line: CodeLine, kind: str) -> CodeLine:
    return msgspec.structs.replace(line, kind=kind)


def test_an_off_indicator_lit_by_a_sensor_at_fault_is_explained() -> None:
    lit, mat = kinded(LIT, "off-indicator"), kinded(MAT, "occupant-sensor")
    alone, both = indicator(build.scan(lit)), indicator(build.scan(mat, lit))
    assert faulty_indicator(alone) > 0.5
    assert faulty_indicator(both) < 0.05
    assert any("lit because passenger.occupant-sensor" in a.text for a in both.assumptions)


def test_an_off_indicator_lit_over_an_empty_seat_is_explained() -> None:
    lit = kinded(LIT, "off-indicator")
    empty = Occupant(id="told", seat="passenger", present=False)
    assert faulty_indicator(indicator(build.scan(lit), empty)) < 0.05


def test_an_electrical_fault_of_the_indicator_itself_stays_one() -> None:
    short = kinded(build.code(2, "passenger.off-indicator", None), "off-indicator")
    mat = kinded(MAT, "occupant-sensor")
    assert faulty_indicator(indicator(build.scan(mat, short))) > 0.3


def test_another_unit_that_misses_the_restraint_unit_is_heard_and_on_nothing_else() -> None:
    def unit_at_fault(fault: Fault) -> float:
        line = build.code(1, "centre.control-unit", None, fault=fault)
        line = msgspec.structs.replace(line, kind="control-unit", unit="other")
        belief = assess(build.case(build.scan(line), NO_CRASH), build.CATALOG).of(
            "centre.control-unit"
        )
        assert belief is not None
        return belief.now.faulty

    assert unit_at_fault("communication") > 3.0 * unit_at_fault("internal")


def test_another_unit_that_once_missed_a_unit_that_answers_weighs_less_than_a_point() -> None:
    # A whole-car print may move no restraint part by more than a point: our own bound.
    own = build.code(2, "driver.front-bag", 1)
    own = msgspec.structs.replace(own, unit="restraint", code="B0001")

    def unit_at_fault(*lines: CodeLine) -> float:
        belief = assess(build.case(build.scan(own, *lines), NO_CRASH), build.CATALOG).of(
            "centre.control-unit"
        )
        assert belief is not None
        return belief.now.faulty

    missed = build.code(1, "centre.control-unit", None, fault="communication")
    missed = msgspec.structs.replace(missed, kind="control-unit", unit="other")
    gone = msgspec.structs.replace(missed, status=("cleared",))
    plain = unit_at_fault()
    assert plain + 1e-5 < unit_at_fault(missed) < plain + 0.01
    assert unit_at_fault(gone) == pytest.approx(plain)
