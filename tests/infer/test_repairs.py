"""Before and after work on the car: epochs, what work does, and what it tells of the old part."""

import datetime as dt

import build
import msgspec
import pytest

from squibwise.infer import assess
from squibwise.model.belief import Assessment, ComponentBelief
from squibwise.model.evidence import (
    DoneWork,
    Evidence,
    Impact,
    LampCheck,
    Look,
    PartLabel,
    Reading,
    SubstituteLoad,
)
from squibwise.model.evidence import (
    TestOutcome as Entered,
)

NOSE = Impact(id="body", zone="nose-centre", clock=12, extent="moderate")
BAG = "driver.front-bag"


def _ask(*evidence: Evidence) -> Assessment:
    return assess(build.case(*evidence), build.CATALOG)


def of(answer: Assessment, component: str) -> ComponentBelief:
    belief = answer.of(component)
    assert belief is not None
    return belief


def done(what: str, component: str) -> DoneWork:
    return DoneWork(id=f"{what}-{component}", what=what, component=component)  # type: ignore[arg-type]


def fired_then_replaced(*after: Evidence) -> Assessment:
    before = build.scan(build.code(1, BAG, 1), build.code(2, BAG, 2), build.record())
    torn = Look(id="torn", component=BAG, seen="cover-torn")
    return _ask(before, torn, NOSE, done("replaced", BAG), *after)


def test_a_scan_before_and_one_after_the_repair_do_not_contradict() -> None:
    answer = fired_then_replaced(
        done("replaced", "centre.control-unit"), build.scan(id="scan-2", when="after-repair")
    )
    bag = of(answer, BAG)
    assert bag.after_crash.fired > 0.95
    assert bag.now.sound > 0.95
    assert answer.contradictions == ()


def test_low_resistance_after_a_rebuild_is_a_plug_before_it_is_the_new_bag() -> None:
    # Common practice, no source: low right after reassembly = seating or shorting spring first.
    low = build.code(1, BAG, 1, fault="low-or-short")
    answer = fired_then_replaced(build.scan(low, id="scan-2", when="after-repair"))
    assert answer.event.causes[f"loose-plug:{BAG}"] > of(answer, BAG).now.faulty
    assert of(answer, BAG).stages["1"].faulty > 0.8


def test_a_reseated_plug_heals_and_the_clean_scan_after_it_counts() -> None:
    two = build.scan(build.code(1, BAG, 1), build.code(2, BAG, 2))
    whole = Look(id="whole", component=BAG, seen="cover-whole")
    healed = _ask(two, whole, done("reseated", BAG), build.scan(id="scan-2"))
    assert of(healed, BAG).now.sound > 0.95
    assert sum(healed.event.causes.get(c, 0.0) for c in ("shared-plug:driver.wheel",)) < 0.1


def test_clean_scans_after_the_work_clear_the_common_causes() -> None:
    answer = fired_then_replaced(
        done("replaced", "driver.seat-bag"),
        done("replaced", "driver.clock-spring"),
        done("replaced", "centre.control-unit"),
        build.scan(id="scan-2", when="after-repair", able=True),
    )
    plugs = {k: v for k, v in answer.event.causes.items() if k.startswith("shared-plug")}
    assert max(plugs.values(), default=0.0) < 0.15


@pytest.mark.parametrize("part", [BAG, "driver.retractor-pretensioner"])
def test_what_was_fitted_later_says_nothing_of_the_crash(part: str) -> None:
    scan = build.scan(build.code(1, BAG), build.record())
    before = of(_ask(NOSE, scan), part)
    after = of(_ask(NOSE, scan, done("replaced", part)), part)
    assert after.after_crash.fired == pytest.approx(before.after_crash.fired, abs=2e-3)
    assert after.now.fired == pytest.approx(0.0, abs=1e-9)
    assert after.stages["1"].live > 0.6


def test_a_disconnected_part_explains_its_open_code() -> None:
    pulled = done("disconnected", "driver.seat-bag")
    answer = _ask(pulled, build.scan(build.code(1, "driver.seat-bag")))
    bag = of(answer, "driver.seat-bag")
    assert bag.now.fired < 0.1
    assert bag.now.sound > 0.7


def test_a_load_in_place_of_the_device_says_nothing_of_the_device() -> None:
    other = build.code(1, "nose-left.impact-sensor")
    seen = _ask(NOSE, build.scan(other, id="a", able=True))
    load = SubstituteLoad(id="load", serial="L1", loop=f"{BAG}/1", move="issued")
    hidden = _ask(NOSE, load, build.scan(other, id="a", able=True))
    assert of(hidden, BAG).now.fired > of(seen, BAG).now.fired * 2


@pytest.mark.parametrize(
    ("ohm", "state"), [(0.4, "faulty"), (2.2, "sound")], ids=["low", "in-window"]
)
def test_a_live_loop_resistance_tells_of_the_circuit(ohm: float, state: str) -> None:
    reading = Reading(
        id="r", component=f"{BAG}/1", quantity="loop-resistance", value=ohm, unit="ohm"
    )
    plain, read = of(_ask(), BAG).now, of(_ask(reading), BAG).now
    assert getattr(read, state) > getattr(plain, state) * 1.3


def test_a_recycled_part_without_a_recall_check_is_more_often_unfit() -> None:
    label = PartLabel(id="l", component=BAG, number="x", provenance="recycled")
    fitted = fired_then_replaced()
    recycled = fired_then_replaced(label)
    assert of(recycled, BAG).now.unfit > of(fitted, BAG).now.unfit * 1.5


def test_a_lamp_that_goes_out_speaks_for_every_watched_circuit() -> None:
    out = LampCheck(id="lamp", lit=True, out_after_s=6.0, stayed_out=True)
    plain, lamp = of(_ask(NOSE), BAG).now, of(_ask(NOSE, out), BAG).now
    assert lamp.fired < 0.5 * plain.fired


def test_the_lamp_of_a_rebuilt_car_never_makes_a_part_likelier_spent_that_was_left_in() -> None:
    """Whatever a report from before left out: the new unit watches, and sees nothing."""
    out = LampCheck(id="lamp", lit=True, out_after_s=6.0, stayed_out=True)
    unit, left = done("replaced", "centre.control-unit"), "driver.buckle-pretensioner"
    plain, lamp = (of(fired_then_replaced(unit, *more), left).now for more in ((), (out,)))
    assert lamp.fired < 0.5 * plain.fired


def test_the_crash_record_of_a_unit_from_another_car_tells_of_that_car() -> None:
    record = build.scan(build.record())
    foreign = Look(id="unit", component="centre.control-unit", seen="from-another-car")
    own, other = (_ask(record, NOSE, *more) for more in ((), (foreign,)))
    belt = "driver.retractor-pretensioner"
    assert of(other, belt).after_crash.fired < 0.8 * of(own, belt).after_crash.fired
    assert of(other, "centre.control-unit").now.unfit > 0.9


def test_a_lamp_that_never_lights_is_a_fault_of_the_lamp() -> None:
    dark = LampCheck(id="lamp", lit=False)
    assert of(_ask(dark), "centre.warning-lamp").now.faulty > 0.3


def entered(test: str, outcome: str) -> Entered:
    return Entered(id=f"{test}={outcome}", loop=f"{BAG}/1", test=test, outcome=outcome)


def test_a_code_that_goes_with_a_load_at_the_device_lies_in_the_device() -> None:
    code = build.scan(build.code(1, BAG, 1))
    whole = Look(id="whole", component=BAG, seen="cover-whole")
    gone = _ask(code, whole, entered("load-at:device-plug", "gone"))
    stays = _ask(code, whole, entered("load-at:device-plug", "stays"))
    assert of(gone, BAG).now.faulty > of(stays, BAG).now.faulty  # in it, or in its own wiring
    causes = "clock-spring"
    assert stays.event.causes[causes] > gone.event.causes[causes] * 2


def test_a_repair_entered_as_fixed_leaves_a_good_circuit() -> None:
    two = build.scan(build.code(1, BAG, 1), build.code(2, BAG, 2))
    whole = Look(id="whole", component=BAG, seen="cover-whole")
    answer = _ask(two, whole, entered("reseat:device-plug", "fixed"))
    assert of(answer, BAG).now.sound > 0.9
    assert of(answer, BAG).stages["1"].live > 0.85


# A repair counts as fixed only after the codes were cleared and read again (`docs/tracing.md`).
@pytest.mark.parametrize("test", ["dry:device-plug", "reseat:device-plug", "renew:harness"])
def test_a_cure_of_what_a_line_means_leaves_nothing_of_its_other_meaning(test: str) -> None:
    meant, other = "right.curtain", "passenger.seat-bag"
    line = build.code(1, meant, fault="short-to-ground", weight=0.8)
    less = msgspec.structs.replace(line.candidates[0], component=other, weight=0.2)
    scan = build.scan(msgspec.structs.replace(line, candidates=(line.candidates[0], less)))
    fixed = Entered(id="t", loop=f"{meant}/1", test=test, outcome="fixed")
    before, after = _ask(scan), _ask(scan, fixed)
    assert of(after, other).now.faulty <= of(before, other).now.faulty
    assert of(after, meant).now.sound > 0.9


def test_a_fault_read_again_after_a_verified_repair_is_there_again() -> None:
    seat = "driver.seat-bag"
    nine, ten, noon = (dt.datetime(2026, 3, 2, hour) for hour in (9, 10, 12))
    first, again = (
        msgspec.structs.replace(build.scan(build.code(1, seat), id=i), time=time)
        for i, time in (("s1", nine), ("s2", noon))
    )
    fixed = Entered(id="t", loop=f"{seat}/1", test="renew:seat-plug", outcome="fixed", time=ten)
    assert of(_ask(first, fixed), seat).stages["1"].faulty < 0.02
    assert of(_ask(first, fixed, again), seat).stages["1"].faulty > 0.9


@pytest.mark.parametrize("kind", sorted(build.CATALOG.kinds))
def test_every_kind_of_part_can_be_reseated(kind: str) -> None:
    component = f"{build.CATALOG.kinds[kind].places[0]}.{kind}"
    case = build.case(done("reseated", component), on=build.car("front-bags", add=(component,)))
    now = of(assess(case, build.CATALOG), component).now
    assert now.sound > 0.5


@pytest.mark.parametrize(("outcome", "words"), [("whole", ["seam-whole"]), ("torn-or-gone", [])])
def test_a_look_made_for_the_fault_plan_counts_as_that_look_does(
    outcome: str, words: list[str]
) -> None:
    part = "driver.seat-bag"
    code = build.scan(build.code(1, part))
    tested = Entered(id="t", loop=f"{part}/1", test="look-cover", outcome=outcome)
    told, plain = _ask(code, tested), _ask(code)
    for word in words:
        looked = _ask(code, Look(id="l", component=part, seen=word))
        assert of(told, part).now == of(looked, part).now
        both = _ask(code, tested, Look(id="l", component=part, seen=word))
        assert of(both, part).now == of(looked, part).now, "one sight is weighed once"
        assert word not in {n.look for n in told.next_looks if n.component == part}
    spent = [of(a, part).now.fired + of(a, part).now.missing for a in (told, plain)]
    assert spent[0] < 0.02 if outcome == "whole" else spent[0] > max(0.9, spent[1])


def test_a_clean_last_scan_lowers_no_belief_in_a_part_that_was_kept() -> None:
    """A code that is gone after a repair was a connector more often than a part that is hurt."""
    sensor = "nose-centre.impact-sensor"
    before = build.scan(build.code(1, BAG), build.code(2, sensor), build.record())
    kept = Look(id="straight", component=sensor, seen="mount-straight")
    job = (
        before,
        NOSE,
        Look(id="out", component=BAG, seen="deployed"),
        done("replaced", BAG),
        kept,
    )
    last = build.scan(id="scan-2", when="after-repair")
    lamp = LampCheck(id="lamp", lit=True, out_after_s=5, stayed_out=True)
    sound = [of(_ask(*job, *more), sensor).now.sound for more in ((), (last,), (last, lamp))]
    assert sound == sorted(sound)


# A part that is whole beside a circuit that was bad until its lead was renewed fits together.
@pytest.mark.parametrize(("between", "clashes"), [("replaced", 0), ("cleared", 1), ("", 1)])
def test_an_eye_does_not_clash_with_a_circuit_that_reads_good_since_a_repair(
    between: str, clashes: int
) -> None:
    bag = "passenger.seat-bag"
    low = build.scan(build.code(1, bag, fault="low-or-short"))
    work = [done(between, "centre.wiring")] if between else []
    whole = Look(id="whole", component=bag, seen="seam-whole")
    answer = _ask(low, *work, build.scan(id="scan-2", when="after-repair"), whole)
    told = [c for c in answer.contradictions if "the eye is believed" in c.text]
    assert len(told) == clashes


def test_a_circuit_that_reads_bad_again_after_its_repair_clashes_with_the_eye() -> None:
    bag = "passenger.seat-bag"
    code = build.code(1, bag, fault="low-or-short")
    whole = Look(id="whole", component=bag, seen="seam-whole")
    again = build.scan(code, id="scan-3", when="after-repair")
    good = build.scan(id="scan-2", when="after-repair")
    answer = _ask(build.scan(code), done("replaced", "centre.wiring"), good, whole, again)
    assert any("the eye is believed" in c.text for c in answer.contradictions)
