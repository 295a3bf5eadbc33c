"""Trace: hypotheses, what moves them, the plan, replaying outcomes, and what it says beside it."""

import math
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.errors import InputError
from squibwise.history.returned import shows_circuit
from squibwise.isolate import trace
from squibwise.isolate.standing import Standing
from squibwise.isolate.suspects import Suspect, ranked
from squibwise.isolate.tracing import search_of
from squibwise.model.car import Given, OwnRule, Price, Profile
from squibwise.model.cost import Money
from squibwise.model.evidence import DoneWork, Evidence, LampCheck, SubstituteLoad
from squibwise.model.evidence import TestOutcome as Entered
from squibwise.model.report import CodeLine
from squibwise.model.trace import Hypothesis, PlanNode, Trace
from squibwise.numerics.troubleshoot.planner import PlanLimits

from .building import CATALOG, COMPONENTS, a_case, a_line, a_report, believing

BAG, SEAT, UNIT = "passenger.front-bag/1", "driver.seat-bag/1", "centre.control-unit"
QUICK = PlanLimits(exact_states=50_000, rollout_states=300, later_states=50_000)


def traced(
    loop: str, *evidence: Evidence, case: dict[str, Any] | None = None, **belief: Any
) -> Trace:
    return trace(
        a_case(*evidence, **(case or {})), believing(**belief), loop, CATALOG, limits=QUICK
    )


def searched(
    loop: str, *evidence: Evidence, own: dict[str, int] | None = None, **belief: Any
) -> Standing:
    return search_of(a_case(*evidence), believing(**belief), loop, CATALOG, own).standing


def fault(component: str, word: Any, *status: Any) -> Evidence:
    return a_report(a_line(component, word, *status))


def done(what: Any, component: str, name: str = "d1", item: str | None = None) -> DoneWork:
    return DoneWork(id=name, what=what, component=component, item=item)


def outcome(test: str, word: str, loop: str = BAG, name: str = "t1") -> Entered:
    return Entered(id=name, loop=loop, test=test, outcome=word)


def listed(found: Trace | Standing) -> tuple[Hypothesis | Suspect, ...]:
    return found.hypotheses if isinstance(found, Trace) else found.suspects


def first(found: Trace | Standing, count: int = 3) -> list[str]:
    return [h.id for h in listed(found)[:count]]


def chance(found: Trace | Standing, hypothesis: str) -> float:
    return math.fsum(h.p for h in listed(found) if hypothesis in h.id.split("+"))


# Common practice, no source: the order of suspects an experienced person names for each story.
STORIES: list[tuple[str, str, list[Evidence], dict[str, Any], str]] = [
    (
        "low right after the bag was renewed: seating or shorting spring",
        BAG,
        [
            done("replaced", "passenger.front-bag"),
            fault("passenger.front-bag", "low-or-short"),
        ],
        {},
        "device-plug:spring-not-lifted",
    ),
    (
        "open after the seat was out: the plug under the seat",
        SEAT,
        [
            done("disconnected", "driver.seat-bag"),
            fault("driver.seat-bag", "open-or-high"),
        ],
        {},
        "seat-plug:not-seated",
    ),
    (
        "comes and goes in an old car's seat: poor contact under the seat",
        SEAT,
        [fault("driver.seat-bag", "open-or-high", "intermittent")],
        {},
        "seat-plug:bad-contact",
    ),
    (
        "open on the wheel, nobody touched it: clock spring among the first",
        "driver.front-bag/1",
        [fault("driver.front-bag", "open-or-high")],
        {},
        "clock-spring:broken",
    ),
    (
        "open after a crash that fired it: spent",
        "driver.front-bag/1",
        [fault("driver.front-bag", "open-or-high")],
        {"fired": {"driver.front-bag": 0.97}, "no_crash": 0.01},
        "device:spent",
    ),
    (
        "code on the wheel after a new clock spring: wrong or off centre among the first",
        "driver.front-bag/1",
        [
            done("replaced", "driver.clock-spring"),
            fault("driver.front-bag", "open-or-high"),
        ],
        {},
        "clock-spring:wrong-part",
    ),
    (
        "short to ground: chafed harness",
        SEAT,
        [fault("driver.seat-bag", "short-to-ground")],
        {},
        "seat-harness:chafed-to-ground",
    ),
    (
        "loops shorted together: crossed wires",
        "left.curtain/1",
        [fault("left.curtain", "cross-short")],
        {},
        "harness:crossed",
    ),
    (
        "front sensor silent after a nose hit",
        "nose-left.impact-sensor/1",
        [fault("nose-left.impact-sensor", "communication")],
        {"no_crash": 0.01, "zones": {"nose-left": 0.9}},
        "harness:broken",
    ),
    (
        "buckle switch without plausible change",
        "driver.buckle-switch/1",
        [fault("driver.buckle-switch", "performance")],
        {},
        "device:stuck",
    ),
    (
        "seat sensing not calibrated after the seat was out",
        "passenger.occupant-sensor/1",
        [
            done("reseated", "passenger.occupant-sensor"),
            fault("passenger.occupant-sensor", "calibration"),
        ],
        {},
        "device:not-zeroed",
    ),
    (
        "unit says it belongs to another car",
        "centre.control-unit/1",
        [
            done("replaced", "centre.control-unit"),
            fault("centre.control-unit", "configuration"),
        ],
        {},
        "unit:not-configured",
    ),
    (
        "crash record stored",
        "centre.control-unit/1",
        [fault("centre.control-unit", "event-recorded", "stored", "locked")],
        {},
        "record:locked",
    ),
    (
        "unit lost its supply",
        "centre.control-unit/1",
        [a_report(a_line("centre.control-unit", "voltage"), unit_volts=8.1)],
        {},
        "supply:low",
    ),
    (
        "a load was issued and never came back",
        BAG,
        [
            SubstituteLoad(id="l", serial="L1", loop=BAG, ohm=2.1, move="issued"),
            fault("passenger.front-bag", "low-or-short"),
        ],
        {},
        "load:left-in",
    ),
]


@pytest.mark.parametrize(
    ("loop", "evidence", "belief", "cause"), [s[1:] for s in STORIES], ids=[s[0] for s in STORIES]
)
def test_the_cause_is_among_the_first_three_and_the_plan_beats_the_fixed_tree(
    loop: str, evidence: list[Evidence], belief: dict[str, Any], cause: str
) -> None:
    found = traced(loop, *evidence, **belief)
    assert cause in first(found)
    assert found.outward_minutes is not None
    assert found.expected_minutes <= found.outward_minutes + 1e-9
    assert found.lower_bound <= found.expected_minutes


@pytest.mark.parametrize("component", [c for c in COMPONENTS if c != "driver.seat-frame"])
def test_every_circuit_without_a_fault_is_answered_and_says_so(component: str) -> None:
    found = traced(f"{component}/1", a_report())
    assert "loop-no-fault" in {f.code for f in found.findings}
    assert found.hypotheses[0].id == "codes:none"
    assert found.next_test.kind in ("test", "repair")
    assert math.fsum(h.p for h in found.hypotheses) == pytest.approx(1.0)


def test_a_loop_written_without_a_stage_means_the_first() -> None:
    assert traced("driver.seat-bag", a_report()).loop == SEAT


@pytest.mark.parametrize(
    ("loop", "message"),
    [
        ("row2-left.curtain/1", "this car has no"),
        ("driver.seat-frame/1", "in no circuit"),
        ("driver.seat-bag/2", "has no stage 2"),
        ("part/one", "has no stage number"),
        ("driver.front-bag/0", "has no stage number"),
    ],
)
def test_a_loop_that_is_not_there_is_refused_with_a_remedy(loop: str, message: str) -> None:
    with pytest.raises(InputError, match=message) as refusal:
        traced(loop)
    assert refusal.value.remedy


def test_a_report_that_names_every_circuit_lowers_the_units_plug() -> None:
    line = a_line("driver.seat-bag", "open-or-high")
    alone = searched(SEAT, a_report(line))
    unsure = searched(SEAT, a_report(line, complete=None))
    assert chance(alone, "unit-plug:bad-contact") < chance(unsure, "unit-plug:bad-contact")


def test_another_fault_on_the_same_seat_lifts_the_plug_they_share() -> None:
    one = a_line("driver.seat-bag", "open-or-high")
    two = a_line("driver.buckle-pretensioner", "open-or-high", line=2)
    plug = "seat-plug:bad-contact"
    assert chance(searched(SEAT, a_report(one, two)), plug) > chance(
        searched(SEAT, a_report(one)), plug
    )


def test_a_common_cause_of_the_assessment_lifts_the_plug_too() -> None:
    line = fault("driver.seat-bag", "open-or-high")
    plug = "seat-plug:bad-contact"
    caused = searched(SEAT, line, causes={"shared-plug:driver.seat": 0.95})
    assert chance(caused, plug) > chance(searched(SEAT, line), plug)


def test_own_finished_cases_move_the_ranks_and_a_few_do_not_overturn_them() -> None:
    line, cause = fault("driver.seat-bag", "open-or-high"), "seat-harness:broken"
    plain, few, many = (searched(SEAT, line, own={cause: n}) for n in (0, 1, 200))
    assert chance(plain, cause) < chance(few, cause) < chance(many, cause)
    assert first(few, 1) == first(plain, 1)
    assert first(many, 1) == [cause]


def test_a_stored_code_may_be_only_a_memory() -> None:
    present = searched(SEAT, fault("driver.seat-bag", "open-or-high", "present"))
    stored = searched(SEAT, fault("driver.seat-bag", "open-or-high", "stored"))
    assert chance(stored, "codes:left-over") > chance(present, "codes:left-over")


def test_a_later_clean_scan_is_said_and_counts() -> None:
    found = traced(SEAT, fault("driver.seat-bag", "open-or-high"), a_report(name="s2"))
    assert "loop-clean-since" in {f.code for f in found.findings}
    assert "codes:left-over" in first(found)


def test_a_stored_crash_record_warns_that_it_hides_faults() -> None:
    found = traced(
        SEAT,
        a_report(
            a_line("driver.seat-bag", "open-or-high"),
            a_line("centre.control-unit", "event-recorded", "locked", line=2),
        ),
    )
    assert "record-hides-faults" in {f.code for f in found.findings}


LOW = fault("passenger.front-bag", "low-or-short")


def test_an_outcome_moves_the_hypotheses_and_the_plan_goes_on() -> None:
    before = traced(BAG, LOW)
    after = traced(BAG, LOW, outcome("load-at:device-plug", "stays"))
    assert chance(after, "device:shorted") < 0.2 * chance(before, "device:shorted")
    assert chance(after, "harness:pinched") > chance(before, "harness:pinched")
    assert after.next_test.id != "load-at:device-plug"
    assert after.expected_minutes > 0.0


def test_what_is_open_already_is_not_charged_again() -> None:
    found = traced(BAG, LOW, outcome("look:device-plug", "fine"))
    text = " ".join(found.next_test.how)
    assert "Open: glove box" not in text
    assert not found.next_test.opens
    if found.next_test.kind == "test" and found.next_test.hold_minutes == 0:
        assert "Wait" not in text


def test_a_repair_that_did_not_help_takes_its_faults_off_the_list() -> None:
    found = searched(BAG, LOW, outcome("reseat:device-plug", "not fixed"))
    assert not [h for h in found.suspects if h.id == "device-plug:not-seated"]
    assert math.fsum(h.p for h in found.suspects) == pytest.approx(1.0)


def test_a_repair_that_helped_ends_the_search() -> None:
    found = traced(BAG, LOW, outcome("reseat:device-plug", "fixed"))
    assert (found.next_test.kind, found.plan.action, found.expected_minutes) == (
        "stop",
        "stop",
        0.0,
    )


def test_a_test_that_cured_it_ends_the_search() -> None:
    found = traced(BAG, LOW, outcome("load-at:device-plug", "gone-for-good"))
    assert found.next_test.kind == "stop"


@pytest.mark.parametrize(
    ("test", "word", "code"),
    [
        ("poke-at:device", "bad", "unknown-test"),
        ("look:device-plug", "purple", "unknown-outcome"),
        ("reseat:device-plug", "maybe", "unknown-outcome"),
    ],
)
def test_a_strange_outcome_is_a_finding_and_changes_nothing(
    test: str, word: str, code: str
) -> None:
    plain, found = searched(BAG, LOW), searched(BAG, LOW, outcome(test, word))
    assert code in {f.code for f in found.findings}
    assert [h.p for h in found.suspects] == [h.p for h in plain.suspects]


def test_a_repeated_test_counts_again_but_less() -> None:
    look = outcome("look:device-plug", "fine")
    again = outcome("look:device-plug", "fine", name="t2")
    other = outcome("look:unit-plug", "fine", name="t2")
    plug = "device-plug:not-seated"
    none, one = chance(searched(BAG, LOW), plug), chance(searched(BAG, LOW, look), plug)
    two = chance(searched(BAG, LOW, look, again), plug)
    assert two < one < none
    assert two / one > one / none  # the second time tells less than the first
    assert not searched(BAG, LOW, look, other).findings


def test_outcomes_that_contradict_each_other_are_said_with_their_two_explanations() -> None:
    found = searched(
        BAG,
        LOW,
        outcome("load-at:device-plug", "gone"),
        outcome("load-at:device-plug", "stays", name="t2"),
    )
    told = next(f for f in found.findings if f.code == "outcomes-contradict")
    assert "comes and goes" in told.message
    assert "two faults" in told.message


def test_outcomes_of_another_loop_do_not_count() -> None:
    other = outcome("look:device-plug", "found", loop=SEAT)
    assert first(searched(BAG, LOW, other), 5) == first(searched(BAG, LOW), 5)


def test_work_on_the_plan_without_its_verification_asks_for_it() -> None:
    found = searched(BAG, LOW, done("reseated", "passenger.front-bag", item="reseat:device-plug"))
    assert "repair-not-verified" in {f.code for f in found.findings}


def test_the_longest_published_wait_holds_until_the_maker_is_cited() -> None:
    plain = traced(BAG, LOW)
    maker = Profile(wait_minutes=Given(value=3, source="maker"))
    cited = traced(BAG, LOW, case={"profile": maker})
    assert (plain.wait_minutes, cited.wait_minutes) == (30.0, 3.0)
    assert "isolation.longest-wait" in {a.fact for a in plain.assumptions}
    assert "isolation.longest-wait" not in {a.fact for a in cited.assumptions}
    assert cited.expected_minutes < plain.expected_minutes


def test_the_users_price_moves_the_plan() -> None:
    def price(what: str, minor: int) -> Price:
        money = Money(minor=minor, currency="USD")
        return Price(what=what, low=money, likely=money, high=money)

    spent = fault("driver.front-bag", "open-or-high")
    belief = {"fired": {"driver.front-bag": 0.6}, "no_crash": 0.2}
    loop = "driver.front-bag/1"
    cheap = traced(
        loop,
        spent,
        case={"prices": (price("front-bag", 100), price("labour-hour", 10_000))},
        **belief,
    )
    dear = traced(
        loop,
        spent,
        case={"prices": (price("front-bag", 500_000), price("labour-hour", 10_000))},
        **belief,
    )
    assert cheap.expected_minutes < dear.expected_minutes
    costs = [next(a.effort for a in t.comparison if a.id == "plan") for t in (cheap, dear)]
    sums = [c.money.minor for c in costs if c.money]
    assert sums[0] < sums[1]
    assert costs[0].work_minutes == pytest.approx(costs[1].work_minutes, rel=0.5)


def test_clearing_the_record_is_offered_only_where_the_users_rule_lets_the_unit_stay() -> None:
    locked = fault("centre.control-unit", "event-recorded", "locked")
    rule = OwnRule(component="control-unit", action="keep", source="maker")
    kept = traced("centre.control-unit", locked, case={"profile": Profile(rules=(rule,))})
    strict = traced("centre.control-unit", locked)
    assert "clear:record" in _actions(kept.plan)
    assert "clear:record" not in _actions(strict.plan)


def _actions(node: PlanNode) -> set[str]:
    return {node.action}.union(*(_actions(n) for n in node.branches.values()))


def _nodes(node: PlanNode) -> list[PlanNode]:
    return [node, *(n for child in node.branches.values() for n in _nodes(child))]


def test_the_card_carries_steps_cautions_and_what_each_outcome_means() -> None:
    card = traced(BAG, LOW).next_test
    assert card.how[0].startswith("Key off")
    assert "Wait 30 min," in card.how[1]
    assert card.hold_minutes == 30.0
    assert {"maker-first", "full-wait"} <= {c.id for c in card.cautions}
    assert card.outcomes
    assert all(card.outcomes.values())


def test_a_repair_card_ends_with_its_verification() -> None:
    found = traced(
        BAG,
        done("replaced", "passenger.front-bag"),
        fault("passenger.front-bag", "low-or-short"),
    )
    node = next(n for n in _nodes(found.plan) if n.action.startswith("reseat:"))
    assert set(node.branches) <= {"fixed", "not fixed"}


def test_branches_below_two_per_cent_are_folded() -> None:
    for node in _nodes(traced(SEAT, fault("driver.seat-bag", "open-or-high")).plan):
        assert all(n.p >= 0.02 for n in node.branches.values())
        if node.branches:
            shown = math.fsum(n.p for n in node.branches.values())
            assert shown + node.folded <= node.p + 1e-9


def test_a_deadline_that_has_passed_still_gets_an_answer() -> None:
    case, belief = a_case(fault("driver.seat-bag", "open-or-high")), believing()
    limits = PlanLimits(exact_states=0, later_states=0)
    found = trace(case, belief, SEAT, CATALOG, over=lambda: True, limits=limits)
    assert found.method == "two-step"
    assert found.next_test.kind in ("test", "repair")


@pytest.mark.parametrize("component", [c for c in COMPONENTS if c != "driver.seat-frame"])
def test_no_test_offered_for_an_igniter_loop_measures_at_the_device(component: str) -> None:
    for word in ("open-or-high", "low-or-short", "short-to-ground", "cross-short", "unknown"):
        case = a_case(fault(component, word, "intermittent"))
        search = search_of(case, believing(), component, CATALOG)
        if search.context.chain.circuit == "igniter":
            metered = [t for t in search.tests if t.test.meter]
            assert metered
            assert not [t for t in metered if t.point.role in ("device", "plug", "unit")]


@settings(max_examples=12, deadline=None)
@given(
    st.permutations(
        [
            outcome("look:device-plug", "fine", name="a"),
            outcome("look:unit-plug", "fine", name="b"),
            outcome("load-at:unit-plug", "gone", name="c"),
            outcome("second-scan", "comes-back", name="d"),
        ]
    )
)
def test_the_order_of_outcomes_does_not_move_the_hypotheses(order: list[Evidence]) -> None:
    got = {h.id: h.p for h in searched(BAG, LOW, *order).suspects}
    base = searched(BAG, LOW, *sorted(order, key=lambda e: e.id))
    assert got == pytest.approx({h.id: h.p for h in base.suspects})


def test_a_silent_second_stage_of_a_fired_device_is_said_to_be_perhaps_live() -> None:
    two = fault("driver.front-bag", "open-or-high")
    found = traced("driver.front-bag/2", two, fired={"driver.front-bag": 0.9}, no_crash=0.01)
    assert "stage-may-be-live" in {f.code for f in found.findings}
    assert "stage-may-be-live" not in {f.code for f in traced("driver.front-bag/2", two).findings}


def test_without_a_recorded_fault_a_charge_is_spent_only_as_far_as_the_assessment_says() -> None:
    fired = {"driver.front-bag": 0.08}
    found = searched("driver.front-bag/2", a_report(), fired=fired, no_crash=0.1)
    assert chance(found, "device:spent") == pytest.approx(0.08, abs=0.01)


def test_a_car_that_was_in_no_crash_has_no_bag_that_fired_unseen() -> None:
    fired = {"driver.front-bag": 0.6}
    two = fault("driver.front-bag", "open-or-high")
    found = searched("driver.front-bag/2", two, fired=fired, no_crash=0.99)
    assert chance(found, "device:spent") < 0.05


def test_a_load_that_is_out_on_a_circuit_that_reads_good_comes_first() -> None:
    issued = SubstituteLoad(id="l1", serial="R-1", loop=BAG, ohm=2.1, move="issued")
    assert first(searched(BAG, issued, a_report()), 1) == ["load:left-in"]


def test_a_warning_lamp_that_does_not_light_has_a_fault_without_any_code() -> None:
    dark = LampCheck(id="k1", lit=False)
    found = searched("centre.warning-lamp", dark, a_report(name="s2"))
    assert set(first(found, 3)) & {"device:dead", "device:tampered"}
    assert chance(found, "codes:none") == 0.0


def test_rare_causes_are_listed_and_what_the_times_leave_out_is_said() -> None:
    found = traced(BAG, done("replaced", "passenger.front-bag"), LOW)
    assert any("left out of the times" in a.text for a in found.assumptions)
    assert min(h.p for h in found.hypotheses) < 0.01


def test_the_card_says_why_it_comes_first() -> None:
    card = traced(BAG, LOW).next_test
    assert card.because[0].text.startswith("Expected outcomes:")


def test_a_place_that_comes_first_again_says_what_was_tried_there_and_why() -> None:
    """Own case: the connector was seated in vain and still holds most of the belief."""
    seated = outcome("reseat:device-plug", "not fixed")
    found = traced(BAG, fault("passenger.front-bag", "open-or-high"), seated)
    assert found.next_test.id == "look:device-plug"
    text = found.next_test.because[0].text
    assert text.startswith("Tried before: 'Seat the connector at the device again")
    assert "of what is believed lies there" in text
    plain = traced(BAG, fault("passenger.front-bag", "open-or-high"))
    assert not any("Tried before" in b.text for b in plain.next_test.because)


def test_of_causes_believed_alike_the_nearer_comes_first() -> None:
    far = Suspect(parts=("a:open",), title="a", p=0.5, reach=40.0)
    near = Suspect(parts=("b:open",), title="b", p=0.5, reach=5.0)
    assert [s.id for s in ranked([far, near])] == ["b:open", "a:open"]


@pytest.mark.parametrize("fault", ["voltage", "communication", "internal"])
def test_trouble_of_another_unit_moves_nothing_of_the_control_unit(fault: Any) -> None:
    """Own case: a tyre unit's supply beside a crash record of the restraint unit."""
    own = msgspec.structs.replace(a_line(UNIT, "event-recorded"), unit="restraint")
    other = CodeLine(line=2, raw="x", fault=fault, status=("present",), unit="other")
    alone, beside = (traced(UNIT, a_report(*lines)) for lines in [(own,), (own, other)])
    assert beside.hypotheses == alone.hypotheses
    assert shows_circuit(a_report(own), (UNIT, 1), CATALOG)
    assert not shows_circuit(a_report(other), (UNIT, 1), CATALOG)
