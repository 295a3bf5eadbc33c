"""What a meter, a load or a look at the bench settles, assess, brief and the order list take over.

One car: lamp on, the driver's bag open, no crash, nobody touched it. What a technician expects of
each outcome is common practice, no source; bands, not our own output.
"""

from functools import cache
from typing import Any

import pytest

import squibwise
from squibwise import case as line
from squibwise import infer, isolate
from squibwise.isolate.context import minor_per_minute
from squibwise.isolate.tracing import search_of
from squibwise.model.case import Case
from squibwise.model.proof import Overview
from squibwise.present.tell_brief import Brief, make_brief

CATALOG = squibwise.load_catalog()
BAG, SPRING, LOOP = "driver.front-bag", "driver.clock-spring", "driver.front-bag/1"
SCAN = """Restraint control unit, complete scan
B0001-13 Driver frontal inflator, 1st stage - circuit open present
"""
BAD, GOOD = ("meter:clock-spring", "faulty"), ("meter:clock-spring", "sound")
LOOKED, GONE = ("look:device-plug", "fine"), ("load-at:device-plug", "gone")
STAYS, HURT = ("load-at:column-plug", "stays"), ("meter:harness", "faulty")
RENEWED = {"kind": "done", "what": "replaced", "component": SPRING}


def car(*told: Any) -> Case:
    entries = [
        one
        if isinstance(one, dict)
        else {"kind": "test-outcome", "loop": LOOP, "test": one[0], "outcome": one[1]}
        for one in told
    ]
    tables = {
        "case": {"id": "one-belief"},
        "car": {"model_year": 2014, "equipment": "front-bags"},
        "evidence": [
            {"kind": "circumstance", "what": "crash", "present": False},
            {"kind": "report", "file": "scan.txt", "when": "before-repair", "complete": True},
            *entries,
        ],
    }
    return line.make_case(tables, CATALOG, {"scan.txt": SCAN})


@cache
def answered(*told: Any) -> tuple[Overview, Brief]:
    case = car(*told) if told != ("renewed",) else car(BAD, RENEWED)
    whole = line.overview(case, CATALOG)
    return whole, make_brief(case, whole, CATALOG)


def ordered(*told: Any) -> list[str]:
    return [o.assembly for o in answered(*told)[1].order_now if o.assembly != "bolts-kit"]


def where(*told: Any) -> dict[str, float]:
    belief = answered(*told)[0].states.of(BAG)
    assert belief is not None
    return belief.stages["1"].where


def faulty(component: str, *told: Any) -> float:
    belief = answered(*told)[0].states.of(component)
    assert belief is not None
    return belief.now.faulty


def test_untested_nothing_is_ordered_and_the_circuit_is_traced() -> None:
    _, brief = answered()
    assert ordered() == []
    assert [c.loop for c in brief.circuits] == [LOOP]
    assert not brief.circuits[0].located


def test_a_spring_measured_bad_is_ordered_once_and_fitted_next() -> None:
    whole, brief = answered(BAD)
    assert faulty(SPRING, BAD) > 0.7
    assert faulty(BAG, BAD) < faulty(BAG) / 2
    assert [o.quantity for o in whole.todo.orders if o.assembly == "clock-spring"] == [1]
    assert ordered(BAD) == ["clock-spring"]
    assert next(n for n in brief.next if not n.startswith("ask")).startswith("renew: ")


def test_a_spring_measured_good_is_suspected_no_longer() -> None:
    assert faulty(SPRING, GOOD) < faulty(SPRING) / 2
    assert ordered(GOOD) == []


def test_a_load_at_the_connector_that_reads_good_leaves_the_bag() -> None:
    assert where(LOOKED, GONE)["part"] > where()["part"]
    assert where(LOOKED, GONE).get("wiring", 0.0) < 0.05
    assert ordered(LOOKED, GONE) == ["driver-bag"]


def test_wiring_that_a_load_clears_is_not_ordered_and_wiring_measured_bad_is() -> None:
    assert where(("load-at:column-plug", "gone")).get("wiring", 0.0) < 0.05
    column = ("look:column-plug", "fine")
    assert ordered(STAYS, column) == []
    assert ordered(STAYS, column, HURT) == ["harness-section"]


def test_the_same_outcome_twice_moves_less_than_the_first_time() -> None:
    once, twice = faulty(SPRING, BAD), faulty(SPRING, BAD, BAD)
    assert once < twice < 1.0
    assert twice - once < once - faulty(SPRING)
    assert ordered(BAD, BAD) == ["clock-spring"]


def test_once_the_spring_was_replaced_the_outcome_tells_of_the_old_one() -> None:
    assert faulty(SPRING, "renewed") < 0.05
    assert ordered("renewed") == []
    assert answered("renewed")[0].states.located == ()


def test_after_it_was_replaced_the_next_card_proves_it() -> None:
    found = squibwise.trace(car(BAD, RENEWED), LOOP, CATALOG)
    assert found.next_test.id == "replace:clock-spring"
    assert not any("wheel off" in step for step in found.next_test.how)
    assert found.next_test.outcomes.keys() == {"fixed", "not fixed"}


def test_what_handling_cured_is_wrong_no_longer() -> None:
    cured = ("load-at:device-plug", "gone-for-good")
    assert where(cured)["nowhere"] > 0.9
    assert answered(cured)[1].circuits == ()


TOLD = {"kind": "story", "text": "The lamp comes on when I turn the wheel to full lock."}
CURED = ("replace:clock-spring", "fixed")


def test_a_fault_told_to_come_with_the_wheel_is_not_cured_before_a_second_drive() -> None:
    case, driven = car(TOLD, BAD, CURED), car(TOLD, BAD, CURED, ("second-drive", "stays-away"))
    assert squibwise.trace(case, LOOP, CATALOG).next_test.id == "second-drive"
    whole = line.overview(case, CATALOG)
    assert [c.unproved for c in make_brief(case, whole, CATALOG).circuits] == [True]
    assert not next(i for i in whole.todo.items if i.id == f"{BAG}:trace").done
    assert line.assess(driven, CATALOG).unproved == {}


def test_one_of_which_nothing_is_told_is_cured_at_once() -> None:
    assert squibwise.trace(car(BAD, CURED), LOOP, CATALOG).next_test.id == "stop"


def spring_traced(*told: Any) -> float:
    found = squibwise.trace(car(*told), LOOP, CATALOG, over=lambda: True)
    return sum(h.p for h in found.hypotheses if h.id.startswith("clock-spring:"))


def test_what_is_told_of_a_circuit_moves_assess_the_way_it_moves_trace() -> None:
    states = line.assess(car(TOLD), CATALOG)
    told = states.of(BAG).stages["1"].where
    step = CATALOG.fact("isolation.step").number()
    assert odds(told["clock-spring"]) > step * odds(where()["clock-spring"])
    assert told["clock-spring"] == max(told.values())
    assert spring_traced(TOLD) > spring_traced()
    assert states.of(SPRING).now.faulty > 2.0 * faulty(SPRING)


def odds(p: float) -> float:
    return p / (1.0 - p)


@pytest.mark.parametrize("told", [(LOOKED, GONE), (TOLD, STAYS)])
def test_assess_lays_out_the_causes_of_a_circuit_as_trace_has_them(told: Any) -> None:
    traced = squibwise.trace(car(*told), LOOP, CATALOG, over=lambda: True)
    (laid,) = line.assess(car(*told), CATALOG).circuits
    assert [c.id for c in laid.causes] == [h.id for h in traced.hypotheses]
    assert [c.p for c in laid.causes] == pytest.approx([h.p for h in traced.hypotheses])


def test_a_story_is_weighed_once_in_tracing() -> None:
    case = line.put_in_order(car(TOLD))
    untold = infer.assess_plainly(case, CATALOG)
    suspects = search_of(case, untold, LOOP, CATALOG).standing.suspects
    once = sum(s.p for s in suspects if s.id.startswith("clock-spring:"))
    assert spring_traced(TOLD) == pytest.approx(once, abs=1e-6)


def test_the_same_story_of_both_stages_is_weighed_once() -> None:
    both = {"scan.txt": SCAN + SCAN.splitlines()[1].replace("1st", "2nd").replace("0001", "0002")}
    tables = {
        "case": {"id": "both"},
        "car": {"model_year": 2014, "equipment": "front-bags", "stages": {BAG: 2}},
        "evidence": [{"kind": "report", "file": "scan.txt", "complete": True}, TOLD],
    }
    case = line.put_in_order(line.make_case(tables, CATALOG, both))
    told = isolate.weigh_stories(case, infer.assess_plainly(case, CATALOG), CATALOG)
    assert [(t.component, t.stage) for weights in told.values() for t in weights] == [(BAG, 1)]


@pytest.mark.parametrize("told", [(BAD,), (LOOKED, GONE), (STAYS,)])
def test_assess_and_trace_place_the_fault_alike(told: Any) -> None:
    case = line.put_in_order(car(*told))
    suspects = search_of(case, answered()[0].states, LOOP, CATALOG).standing.suspects
    spring = sum(s.p for s in suspects if s.parts[0].startswith("clock-spring:"))
    assert where(*told).get("clock-spring", 0.0) == pytest.approx(spring, abs=0.1)


def test_a_seat_sensing_that_its_card_cured_is_let_go_once_it_reads_clean() -> None:
    """What was read, and repaired in vain, before a repair that held is of the old state."""
    loop, mat = "passenger.occupant-sensor/1", "passenger.occupant-sensor"
    tried = (("empty-value", "off"), ("torque:seat", "not fixed"), ("zero:seat", "fixed"))
    entries = [
        {"kind": "test-outcome", "loop": loop, "test": test, "outcome": word}
        for test, word in tried
    ]
    tables = {
        "case": {"id": "seat"},
        "car": {"model_year": 2015, "equipment": "curtains-and-weight-sensing"},
        "evidence": [
            {"kind": "circumstance", "what": "crash", "present": False},
            {"kind": "report", "file": "r.txt", "when": "before-repair", "complete": True},
            *entries,
        ],
    }
    told = {"r.txt": "B1709 passenger weight sensing signal implausible present\n"}
    case = line.make_case(tables, CATALOG, told)
    whole = line.overview(case, CATALOG)
    assert whole.states.of(mat).now.faulty < 0.2
    assert mat not in [c.loop.partition("/")[0] for c in make_brief(case, whole, CATALOG).circuits]


# Common practice, no source: a seat's own harness is a part of its own, not a section of the car's.
def test_a_fault_located_inside_a_seat_orders_its_harness_at_the_price_that_trace_reckons() -> None:
    loop = "driver.seat-bag/1"
    tried = {"look:seat-plug": "fine", "load-at:seat-plug": "gone", "meter:seat-harness": "faulty"}
    tables = {
        "case": {"id": "branch"},
        "car": {"model_year": 2010, "equipment": "curtains-and-weight-sensing"},
        "evidence": [
            {"kind": "circumstance", "what": "crash", "present": False},
            {"kind": "report", "file": "r.txt", "when": "before-repair", "complete": True},
            *(
                {"kind": "test-outcome", "loop": loop, "test": test, "outcome": word}
                for test, word in tried.items()
            ),
        ],
    }
    case = line.make_case(tables, CATALOG, {"r.txt": "Side airbag driver seat open present\n"})
    whole = line.overview(case, CATALOG)
    ordered = {o.assembly: o for o in whole.todo.orders if o.kind == "certain"}
    assert "harness-section" not in ordered
    search = search_of(line.put_in_order(case), whole.states, loop, CATALOG)
    (branch,) = (r for r in search.repairs if r.id == "renew:seat-harness")
    minor = branch.price * minor_per_minute(case, CATALOG)
    assert minor == pytest.approx(ordered["seat-harness"].price.likely.minor)
