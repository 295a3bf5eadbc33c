"""Cards that can be carried out, parts that wait for a look and a load, faults that come back."""

import datetime as dt
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest

from squibwise import case as line
from squibwise import infer
from squibwise.isolate import before_tests, trace
from squibwise.isolate.bench import BenchRepair, BenchTest, access_of
from squibwise.isolate.cards import card_of
from squibwise.isolate.tracing import effort_of, search_of
from squibwise.model.evidence import Evidence, LampCheck, Look, Passed, Story, SubstituteLoad
from squibwise.model.evidence import TestOutcome as Entered
from squibwise.model.report import Report
from squibwise.model.trace import PlanNode, Trace
from squibwise.numerics.troubleshoot.costs import Costs
from squibwise.numerics.troubleshoot.planner import PlanLimits
from squibwise.present.tell_trace import tell_effort

from .building import CATALOG, a_case, a_line, a_report, believing

PRETENSIONER = "driver.retractor-pretensioner"
BAG, SEAT = "passenger.front-bag/1", "driver.seat-bag/1"
QUICK = PlanLimits(exact_states=20_000, rollout_states=200, later_states=20_000)
MAY = dt.datetime(2026, 5, 1, 9)


def traced(loop: str, *evidence: Evidence, **belief: Any) -> Trace:
    return trace(a_case(*evidence), believing(**belief), loop, CATALOG, limits=QUICK)


def seen(component: str, fault: Any, *status: Any, name: str = "s1", day: int = 0) -> Report:
    report = a_report(a_line(component, fault, *status), name=name)
    return msgspec.structs.replace(report, time=MAY + dt.timedelta(days=day))


def entered(test: str, word: str, loop: str = SEAT, day: int = 1, name: str = "t1") -> Entered:
    time = MAY + dt.timedelta(days=day)
    return Entered(id=name, loop=loop, test=test, outcome=word, time=time)


def paths(node: PlanNode, before: tuple[tuple[str, str], ...] = ()) -> Iterator[Any]:
    yield node, before
    for word, child in node.branches.items():
        yield from paths(child, (*before, (node.action, word)))


LOAD_IN = SubstituteLoad(id="l", serial="1", loop="left.curtain/1", ohm=2.1, move="issued")
LOAD_OUT = SubstituteLoad(id="m", serial="1", loop="left.curtain/1", ohm=2.1, move="returned")
SEAT_OPEN = Passed(id="o", what="open:seat-driver", result="passed")
WHOLE = Passed(id="p", what="step:final-power", result="passed")


@pytest.mark.parametrize(
    ("course", "may_drive"),
    [((), True), ((LOAD_IN,), False), ((LOAD_IN, LOAD_OUT), True), ((SEAT_OPEN,), False),
     ((SEAT_OPEN, WHOLE), True), ((SEAT_OPEN, WHOLE, LOAD_IN), False)],
)  # fmt: skip
def test_no_card_sends_a_car_on_the_road_with_a_load_in_it_or_its_seat_open(
    course: tuple[Evidence, ...], may_drive: bool
) -> None:
    """Common practice, no source: loads counted back and every connector locked, then the road."""
    sensor = "nose-left.impact-sensor/1"
    stored = seen("nose-left.impact-sensor", "communication", "stored")
    gone = entered("second-scan", "stays-away", loop=sensor)
    card = traced(sensor, stored, gone, *course).next_test
    assert card.id == "clear:codes"
    assert any(s.drives for s in card.steps) == may_drive
    assert any("No drive now" in text and "no. 81" in text for text in card.how) != may_drive
    done = entered("clear:codes", "fixed", loop=sensor, day=2, name="t2")
    after = traced(sensor, stored, gone, *course, done).next_test
    assert ("verified" in after.title) == may_drive


FAULTS = [
    (BAG, "low-or-short"),
    (BAG, "open-or-high"),
    (SEAT, "open-or-high"),
    ("driver.front-bag/1", "open-or-high"),
    ("left.curtain/1", "short-to-ground"),
    ("nose-left.impact-sensor/1", "communication"),
    ("driver.buckle-switch/1", "performance"),
]


@pytest.mark.parametrize(("loop", "fault"), FAULTS)
def test_no_part_and_no_wire_is_renewed_before_a_look_and_a_load_have_located_it(
    loop: str, fault: str
) -> None:
    found = traced(loop, seen(loop.partition("/")[0], fault))
    igniter = not loop.startswith(("nose", "driver.buckle-switch"))
    for node, before in paths(found.plan):
        if not node.action.startswith(("replace:", "renew:")):
            continue
        tests = [t for t, _ in before]
        shown = {
            w for t, w in before if t.startswith(("look", "label:", "meter:", "steer", "values:"))
        }
        located = shown & {
            "torn-or-gone", "wrong", "faulty", "steps", "pin-bad", "corroded", "bar-down",
            "lock-open", "found",
        }  # fmt: skip
        looked = any(t.startswith("look") for t in tests)
        loaded = any(t.startswith("load-at:") for t in tests)
        assert located or (looked and (loaded or not igniter)), (node.action, before)


@pytest.mark.parametrize(("loop", "fault"), FAULTS[:4])
def test_work_waiting_and_parts_add_up_to_what_is_minimised(loop: str, fault: str) -> None:
    found = traced(loop, seen(loop.partition("/")[0], fault))
    assert [a.id for a in found.comparison] == ["plan", "outward", "cheapest-first", "fit-parts"]
    plan = found.comparison[0].effort
    assert plan.minutes == pytest.approx(found.expected_minutes, rel=0.02)
    rate = CATALOG.fact("isolation.labour").number()
    for effort in (a.effort for a in found.comparison):
        assert effort.money is not None
        parts = effort.money.minor / 100.0 / rate
        total = effort.work_minutes + effort.wait_minutes + parts
        assert total == pytest.approx(effort.minutes, rel=0.01, abs=1.0)
    assert plan.minutes <= found.comparison[1].effort.minutes + 1e-6
    assert plan.parts < found.comparison[3].effort.parts


@pytest.mark.parametrize(("loop", "fault"), FAULTS)
def test_every_step_of_a_card_says_how_the_power_is_and_nothing_open_is_opened(
    loop: str, fault: str
) -> None:
    card = traced(loop, seen(loop.partition("/")[0], fault)).next_test
    assert card.how == tuple(s.text for s in card.steps)
    assert {s.power for s in card.steps} <= {"off", "on", "any"}
    first_on = next((n for n, s in enumerate(card.steps) if s.power == "on"), len(card.steps))
    assert all(s.power != "off" or n < first_on for n, s in enumerate(card.steps[:first_on]))
    assert f'test = "{card.id}"' in card.entry
    look = entered("look:device-plug", "fine", loop)
    again = traced(loop, seen(loop.partition("/")[0], fault), look).next_test
    opened = {a.title for a in CATALOG.loops.access.values() if a.id in ("wheel", "dash")}
    assert not set(again.opens) & set(card.opens) & opened


# Common practice, no source: wire is measured between the two connectors at its ends.
@pytest.mark.parametrize(
    ("loop", "test", "opened"),
    [
        (SEAT, "meter:seat-harness", {"seat-back", "under-seat"}),
        (SEAT, "meter:harness", {"floor", "under-seat", "console"}),
        (BAG, "meter:harness", {"floor", "dash", "console"}),
        ("centre.wiring/1", "meter:harness", {"floor", "console"}),
    ],
)
def test_a_wire_is_measured_between_its_own_connectors(
    loop: str, test: str, opened: set[str]
) -> None:
    case = a_case(seen(loop.partition("/")[0], "open-or-high"))
    search = search_of(case, believing(), loop, CATALOG)
    bench = next(t for t in search.tests if t.id == test)
    assert set(access_of(bench, search.context)) == opened


# Common practice, no source: a fault that comes with a movement is read in that movement.
@pytest.mark.parametrize(
    ("loop", "when", "moves"),
    [
        (SEAT, "comes and goes when seat is moved", "slide, lift and tilt"),
        ("driver.front-bag/1", "high when the wheel is turned", "from lock to lock"),
        (SEAT, "comes and goes", ""),
    ],
)
def test_a_fault_that_comes_with_a_movement_is_read_in_that_movement(
    loop: str, when: str, moves: str
) -> None:
    line = a_line(loop.partition("/")[0], "open-or-high", "intermittent")
    report = a_report(msgspec.structs.replace(line, raw=f"B1128 - circuit high - {when}"))
    search = search_of(a_case(report), believing(), loop, CATALOG)
    read = ("load-at:device-plug", "renew:harness", "reseat:device-plug")
    benches: list[BenchTest | BenchRepair] = [t for t in search.tests if t.id in read]
    benches += [r for r in search.repairs if r.id in read]
    for bench in benches:
        card = card_of(bench, search.context, search.standing, 30.0, CATALOG)
        at = [n for n, s in enumerate(card.steps) if "stood still says" in s.text]
        if not moves:
            assert not at
            continue
        (moved,) = at
        assert moves in card.steps[moved].text
        assert card.steps[moved].power == "on"
        before = [s for s in card.steps[:moved] if "every igniter in reach" in s.text]
        assert [s.power for s in before] == ["off"], "loads go in before anything moves"
        assert any(
            "the loads out" in s.text or "the load out" in s.text for s in card.steps[moved:]
        )
        assert "movement" in {c.id for c in card.cautions}
        if card.kind == "repair":
            assert card.hold_minutes == 60.0, "once before the repair, once to take the loads out"
            assert "second drive" in card.outcomes["fixed"]
    assert len(benches) == len(read)


def test_a_configuration_is_written_with_the_power_on() -> None:
    line = seen("centre.control-unit", "configuration")
    read = entered("identity-scan", "differs", "centre.control-unit/1")
    card = traced("centre.control-unit/1", line, read).next_test
    assert card.id == "configure:unit"
    assert {s.power for s in card.steps if "key-on gate" not in s.text} == {"on"}
    assert card.hold_minutes == 0.0


@pytest.mark.parametrize(
    ("loop", "fault"),
    [("nose-left.impact-sensor/1", "communication"), ("centre.control-unit/1", "voltage")],
)
def test_no_hand_is_at_a_connector_a_fuse_or_the_battery_while_the_power_is_on(
    loop: str, fault: str
) -> None:
    search = search_of(a_case(seen(loop.partition("/")[0], fault)), believing(), loop, CATALOG)
    handled = [r for r in search.repairs if r.repair.power == "through"]
    assert {"restore:supply"} < {r.id for r in handled}
    for bench in handled:
        card = card_of(bench, search.context, search.standing, 30.0, CATALOG)
        powers = [s.power for s in card.steps]
        first_on = powers.index("on")
        assert powers[0] == "off"
        late = [t for t in bench.repair.how if t.startswith("[")]
        hands = [t.format(element=bench.point.title) for t in bench.repair.how if t not in late]
        texts = [s.text for s in card.steps[:first_on] if s.power == "off"]
        assert set(hands) <= set(texts), bench.id
        assert set(card.opens) <= {t.removeprefix("Open: ").rstrip(".") for t in texts}
        assert bench.id != "restore:supply" or card.hold_minutes == 30.0


def test_a_supply_that_reads_good_warm_is_read_after_a_cold_night_before_it_is_renewed() -> None:
    unit = "centre.control-unit/1"
    story = Story(id="w", text="The lamp is on after cold morning starts. It cranks slowly.")
    low = seen("centre.control-unit", "voltage", "stored", "intermittent")
    good = [("volts:crank", "holds"), ("volts:rest", "in-range"), ("supply-ground", "sound")]
    read = [entered(test, word, unit, name=test) for test, word in good]
    assert traced(unit, low, story, *read).next_test.id == "volts:cold"
    cold = entered("volts:cold", "drops", unit, day=2, name="c")
    assert traced(unit, low, story, *read, cold).next_test.id == "restore:supply"


def test_a_connector_with_no_charge_near_needs_no_wait() -> None:
    card = traced("nose-left.impact-sensor/1", seen("nose-left.impact-sensor", "communication"))
    assert card.next_test.hold_minutes == 0.0 or card.next_test.id.endswith("unit-plug")


WHEEL_2 = "driver.front-bag/2"


def test_a_load_under_one_stage_is_told_on_the_cards_of_the_other_until_a_card_takes_it_out() -> (
    None
):
    """Common practice, no source: a connector that is apart for a load opens what shares it."""
    both = a_report(*(a_line("driver.front-bag", "open-or-high", stage=n, line=n) for n in (1, 2)))
    stays = entered("load-at:device-plug", "stays", "driver.front-bag/1", day=2)
    told = traced(WHEEL_2, both, stays).next_test
    assert "In stage 1 beside it: a substitute load, at the connector at the airbag" in told.load
    assert told.load in [s.text for s in told.steps if s.power == "off"]
    metered = entered("meter:clock-spring", "sound", "driver.front-bag/1", day=3, name="t2")
    for loop in (WHEEL_2, "driver.front-bag/1"):
        assert not traced(loop, both, stays, metered).next_test.load, "that card took it out"


def test_the_card_says_where_the_load_is_and_how_to_enter_it() -> None:
    low = seen("passenger.front-bag", "low-or-short")
    load = SubstituteLoad(
        id="l", serial="L7", loop=BAG, ohm=2.1, move="issued", time=MAY + dt.timedelta(hours=2)
    )
    found = traced(BAG, low, load, entered("load-at:device-plug", "stays", BAG))
    assert "L7" in found.next_test.load
    assert "the connector at the device" in found.next_test.load
    search = search_of(a_case(low), believing(), BAG, CATALOG)
    test = next(t for t in search.tests if t.id == "load-at:device-plug")
    from squibwise.isolate.cards import card_of

    card = card_of(test, search.context, search.standing, 3.0, CATALOG)
    assert 'move = "issued"' in card.entry
    assert "1.8 to 2.3 ohm" in card.figure
    off_again = [s.power for s in card.steps].index("on")
    assert "off" in [s.power for s in card.steps][off_again:]  # the load comes out with power off


def test_a_fault_that_returns_opens_the_search_again_and_says_what_did_not_hold() -> None:
    first = seen("driver.seat-bag", "open-or-high", "intermittent")
    fixed = entered("reseat:seat-plug", "fixed")
    back = seen("driver.seat-bag", "open-or-high", "intermittent", name="s2", day=60)
    found = traced(SEAT, first, fixed, back)
    assert found.next_test.kind != "stop"
    assert "repair-did-not-hold" in {f.code for f in found.findings}
    assert found.hypotheses[0].id == "seat-plug:bad-contact"  # a cleaned contact is not a tight one


def test_a_lamp_that_stays_on_opens_it_again_too() -> None:
    first = seen("driver.seat-bag", "open-or-high")
    fixed = entered("reseat:seat-plug", "fixed")
    assert traced(SEAT, first, fixed).next_test.kind == "stop"
    lamp = LampCheck(id="lamp", lit=True, out_after_s=None, time=MAY + dt.timedelta(days=3))
    assert traced(SEAT, first, fixed, lamp).next_test.kind != "stop"


def test_a_fault_that_comes_and_goes_needs_a_second_drive() -> None:
    first = seen("driver.seat-bag", "open-or-high", "intermittent")
    fixed = entered("reseat:seat-plug", "fixed")
    card = traced(SEAT, first, fixed).next_test
    assert (card.id, set(card.outcomes)) == ("second-drive", {"stays-away", "comes-back"})
    stays = entered("second-drive", "stays-away", day=4, name="t2")
    back = entered("second-drive", "comes-back", day=4, name="t2")
    assert traced(SEAT, first, fixed, stays).next_test.kind == "stop"
    assert traced(SEAT, first, fixed, back).next_test.kind == "test"


@pytest.mark.parametrize(
    ("told", "open_again"), [("logged 11 times", True), ("logged 1 times", False)]
)
def test_a_fault_that_was_counted_several_times_needs_it_too(told: str, open_again: bool) -> None:
    line = msgspec.structs.replace(
        a_line("driver.seat-bag", "open-or-high", "present"), raw=f"B2511 - open - {told}"
    )
    first = msgspec.structs.replace(a_report(line), time=MAY)
    card = traced(SEAT, first, entered("reseat:seat-plug", "fixed")).next_test
    assert (card.id == "second-drive") is open_again


@pytest.mark.parametrize("repair", ["renew:seat-plug", "renew:seat-harness", "replace:device"])
def test_the_only_repair_of_a_cause_is_followed_by_a_second_drive_too(repair: str) -> None:
    first = seen("driver.seat-bag", "open-or-high", "intermittent")
    found = traced(SEAT, first, entered(repair, "fixed"))
    assert (found.next_test.id, found.plan.action) == ("second-drive", "second-drive")
    assert found.expected_minutes == found.next_test.minutes + found.next_test.hold_minutes


def test_a_finished_search_tells_what_was_foretold_and_what_was_spent() -> None:
    found = traced(
        SEAT, seen("driver.seat-bag", "open-or-high"), entered("reseat:seat-plug", "fixed")
    )
    assert found.foretold is not None
    assert found.spent is not None
    assert found.spent.work_minutes == pytest.approx(5 + 5 + 10 + 3)  # access, work, check, key-on
    assert found.spent.wait_minutes == pytest.approx(30)


def test_outcomes_of_the_circuit_are_left_out_of_what_is_believed_before_them() -> None:
    case = a_case(
        seen("driver.seat-bag", "open-or-high"),
        entered("look:seat-plug", "fine"),
        entered("look:device-plug", "fine", BAG, name="t2"),
    )
    assert [e.id for e in before_tests(case, SEAT).evidence] == ["s1", "t2"]


def test_several_dead_circuits_of_a_seat_are_traced_to_what_they_share() -> None:
    report = a_report(
        a_line("driver.seat-bag", "open-or-high"),
        a_line("driver.buckle-pretensioner", "open-or-high", line=2),
        a_line("driver.buckle-switch", "open-or-high", line=3),
    )
    for loop in (SEAT, "driver.buckle-pretensioner/1", "driver.buckle-switch/1"):
        found = traced(loop, report)
        assert found.hypotheses[0].id.startswith("seat-plug:")
        assert found.next_test.id.endswith(("seat-plug", "every-plug"))


@pytest.mark.parametrize("status", ["present", "intermittent"])
def test_a_lock_that_is_found_open_is_closed_before_anything_is_renewed(status: str) -> None:
    line = seen("driver.seat-bag", "open-or-high", status)
    look = entered("look:seat-plug", "lock-open")
    found = traced(SEAT, line, look)
    assert found.next_test.id in ("reseat:seat-plug", "reseat:every-plug")
    assert found.hypotheses[0].id == "seat-plug:not-seated"


# Common practice, no source: what stands still reads good, whatever is read.
@pytest.mark.parametrize(
    ("test", "told"),
    [
        ("feed-at:seat-plug", "stood still says nothing"),
        ("work-switch", "put the seat where the fault came"),
        ("second-scan", "put the seat where the fault came"),
    ],
)
def test_other_readings_too_are_taken_where_the_fault_came(test: str, told: str) -> None:
    line = a_line("driver.buckle-switch", "performance", "intermittent")
    report = a_report(msgspec.structs.replace(line, raw="B2501 - implausible - when seat is moved"))
    search = search_of(a_case(report), believing(), "driver.buckle-switch", CATALOG)
    bench = next(t for t in search.tests if t.id == test)
    card = card_of(bench, search.context, search.standing, 30.0, CATALOG)
    (at,) = [n for n, s in enumerate(card.steps) if told in s.text]
    if test == "feed-at:seat-plug":
        assert any("take the loads out" in s.text for s in card.steps[at:])
        assert {"movement", "loads-out"} <= {c.id for c in card.cautions}
    else:
        assert [card.steps[at].power, card.steps[at + 1].power] == ["off", "on"]
        assert card.hold_minutes == 30.0, "the wait before the seat is set"


@pytest.mark.parametrize("test", ["volts:rest", "bulletin"])
def test_what_no_movement_changes_is_read_as_ever(test: str) -> None:
    line = a_line("driver.buckle-switch", "performance", "intermittent")
    report = a_report(msgspec.structs.replace(line, raw="B2501 - implausible - when seat is moved"))
    search = search_of(a_case(report), believing(), "driver.buckle-switch", CATALOG)
    bench = next(t for t in search.tests if t.id == test)
    assert bench.test == next(t for t in CATALOG.loops.tests if t.id == test)


def test_a_substitution_ends_with_every_load_out_and_the_seat_where_the_fault_came() -> None:
    story = Story(id="s", text="It comes when the seat is slid.")
    report = a_report(a_line("driver.seat-bag", "open-or-high", "intermittent"))
    search = search_of(a_case(report, story), believing(), "driver.seat-bag/1", CATALOG)
    bench = next(t for t in search.tests if t.id == "load-at:seat-plug")
    steps = card_of(bench, search.context, search.standing, 10.0, CATALOG).steps
    texts = [s.text for s in steps]
    assert any(
        "take the loads out, count them back" in t and "put the seat where" in t for t in texts
    )
    assert steps[-1].power == "on"
    assert not any("Leave the rest" in t for t in texts)


# Common practice, no source: nobody reads with the key on in a car that was not looked over for it.
def test_a_card_with_power_on_stands_behind_the_key_on_gate_until_it_is_signed() -> None:
    line = seen("centre.control-unit", "configuration")
    read = entered("identity-scan", "differs", "centre.control-unit/1")
    open_gate = traced("centre.control-unit/1", line, read).next_test
    assert open_gate.steps[0].text.startswith("First the key-on gate, signed as safe: no. 2")
    signed = Passed(id="gate", what="key-on-safe", result="passed")
    card = traced("centre.control-unit/1", line, read, signed).next_test
    assert not any("key-on gate" in s.text for s in card.steps)


# Common practice, no source: a wait counts once it was timed; no card says that it is over.
def test_no_card_says_that_a_wait_is_over() -> None:
    loop = "passenger.front-bag/1"
    line = seen("passenger.front-bag", "low-or-short")
    card = traced(loop, line, entered("look:device-plug", "fine", loop)).next_test
    hands = [s.text for s in card.steps if s.power == "off"]
    assert any("wait" in text.lower() for text in hands)
    assert not any("is over" in text for text in hands)


def test_a_load_that_is_in_comes_out_with_the_power_off_before_a_card_that_needs_none() -> None:
    """And a complete scan that read the load is no clean reading of the circuit."""
    curtain = "left.curtain/1"
    load = SubstituteLoad(id="l1", serial="L-5", loop=curtain, ohm=2.1, move="issued")
    clean = a_report(name="s2")
    case = a_case(a_report(a_line("left.curtain", "open-or-high")), load, clean)
    search = search_of(case, believing(), curtain, CATALOG)
    assert not search.context.reported.gone_since
    powered = [t for t in search.tests if t.test.power == "on" and t.test.igniters != "loads"]
    assert powered
    for bench in powered:
        card = card_of(bench, search.context, search.standing, 30.0, CATALOG)
        first_on = next(n for n, s in enumerate(card.steps) if s.power == "on")
        out = next(n for n, s in enumerate(card.steps) if "load L-5" in s.text)
        assert out < first_on, bench.id
        assert any("Wait 30 min" in s.text for s in card.steps[:out]), bench.id
        assert card.hold_minutes >= 30.0, bench.id


def test_a_bag_seen_missing_whose_circuit_reads_good_has_something_in_its_place() -> None:
    gone = Look(id="k1", component="passenger.front-bag", seen="missing")
    scan = a_report(a_line("driver.seat-bag", "open-or-high"))
    case = line.put_in_order(a_case(scan, gone))
    prior = infer.assess_plainly(case, CATALOG)
    found = trace(case, prior, BAG, CATALOG, limits=QUICK)
    assert found.hypotheses[0].id == "load:left-in"
    assert found.next_test.id == "look-loads"


@pytest.mark.parametrize(("component", "belt"), [("left.curtain", False), (PRETENSIONER, True)])
def test_a_belt_is_looked_at_as_a_belt(component: str, belt: bool) -> None:
    """A reel has no cover that tears: common practice, no source."""
    case = a_case(a_report(a_line(component, "open-or-high")))
    spent = believing({f"{component}/1": 0.6}, no_crash=0.1)
    tests = {t.id for t in search_of(case, spent, f"{component}/1", CATALOG).tests}
    assert ("look-cover:belt" in tests) is belt
    assert ("look-cover" in tests) is not belt


def test_a_sum_in_a_currency_without_prices_is_not_made_of_dollars() -> None:
    """No fact ``cost.level-mxn`` and no rate of the user's: nothing is known of money there."""
    costs = Costs(work=60.0, price=66.0, parts=1.0)
    cases = {w: msgspec.structs.replace(a_case(), currency=w) for w in ("USD", "EUR", "MXN")}
    told = {w: effort_of(costs, case, CATALOG) for w, case in cases.items()}
    assert [w for w, effort in told.items() if effort.money is None] == ["MXN"]
    assert tell_effort(told["MXN"]) == "60 min of work, 0 min of waiting"
    assert tell_effort(told["USD"]).endswith("USD of parts")
