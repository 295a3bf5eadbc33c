"""Every line that the maker decides names its question, and an answer to it has an effect."""

from types import SimpleNamespace

import msgspec
import pytest

from squibwise.catalog.load import Catalog, load_catalog
from squibwise.catalog.rules import DEFAULT, Example
from squibwise.model.belief import SpeedChange
from squibwise.model.car import Profile
from squibwise.model.evidence import Look
from squibwise.model.names import split_component
from squibwise.require import work
from squibwise.require.examples import build_example, list_examples
from squibwise.require.questions import answer_rules

CATALOG = load_catalog()
SEATS = ("driver", "passenger")
RULED = [
    pytest.param(example, id=f"{profile}-{rule}-{number}")
    for profile, rule, number, example in list_examples(CATALOG)
    if profile != DEFAULT and example.expect == "replace"
]


@pytest.mark.parametrize("example", RULED)
def test_what_a_kind_of_rules_asks_for_has_a_question_that_takes_it_off(example: Example) -> None:
    case, states = build_example(example)
    word = f"{example.component}:replace"
    [demand] = [i for i in work(case, states, CATALOG).items if i.id == word]
    if demand.kind == "certain" or not demand.profiles:
        return  # its own state asks for it
    assert demand.question
    rules = answer_rules(CATALOG.rules.questions[demand.question], "no", case, "own book, page 1")
    told = msgspec.structs.replace(case, profile=Profile(rules=rules))
    left = [i for i in work(told, states, CATALOG).items if i.id == word]
    assert not any(i.profiles for i in left)


@pytest.mark.parametrize("answer", ["yes", "no"])
def test_an_answer_writes_no_rule_on_what_the_car_has_not(
    answer: str, made: SimpleNamespace, catalog: Catalog
) -> None:
    case = made.case()
    there = {split_component(c).kind for c in case.car.components}
    asked = [q for q in catalog.rules.questions.values() if there & {*q.kinds}]
    assert any({*q.kinds} - there for q in asked), "one that speaks of more than this car has"
    rules = [r for q in asked for r in answer_rules(q, answer, case, "own book, page 1")]
    words = {r.component for r in rules}
    assert words <= {*there, *case.car.components}


def test_belts_alone_with_the_nose_struck_ask_of_the_front_sensors(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    belts = ("driver.retractor-pretensioner", "passenger.retractor-pretensioner")
    done = work(made.case(), made.assessment({c: {"fired": 0.98} for c in belts}), catalog)
    [sensors] = [o for o in done.orders if "nose-right.impact-sensor" in o.contains]
    assert (sensors.kind, sensors.question) == ("ask", "front-sensors-hit")
    assert "front-sensors-hit" in {q.id for q in done.questions}


@pytest.mark.parametrize("fired", [0.15, 0.4, 0.98])
def test_no_line_is_asked_of_the_maker_without_a_question(
    fired: float, made: SimpleNamespace, catalog: Catalog
) -> None:
    devices = ("passenger.front-bag", "left.curtain", "driver.retractor-pretensioner")
    speed = SpeedChange(p10=30, p50=45, p90=80)
    states = made.assessment(
        {c: {"fired": fired} for c in devices},
        msgspec.structs.replace(made.crash, delta_v_kmh=speed),
    )
    done = work(made.case(), states, catalog)
    assert {o.kind for o in done.orders} >= {"ask"}
    assert [o.title for o in done.orders if o.kind == "ask" and not o.question] == []


def test_the_buckle_of_a_belt_that_fired_while_worn_is_no_less_likely_than_an_empty_seat_s(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """Three of the six kinds of rules ask for it, for the empty seat's one does (judgement)."""
    fired = ("driver.front-bag", "passenger.front-bag", "driver.retractor-pretensioner")
    perhaps = {"driver.buckle-pretensioner": {"fired": 0.15}}
    states = made.assessment({c: {"fired": 0.999} for c in fired} | perhaps)
    nobody = {"empty": 0.998, "child-or-small": 0.001, "adult": 0.001}
    event = msgspec.structs.replace(states.event, front_passenger=nobody, passenger_belted=0.001)
    seen = [Look(id=c, component=c, seen="deployed") for c in fired]
    done = work(made.case(*seen), msgspec.structs.replace(states, event=event), catalog)
    buckles = {
        c: (o.kind, o.p)
        for o in done.orders
        for c in o.contains
        if c.endswith("buckle-pretensioner")
    }
    (kind, worn), (other, idle) = (buckles[f"{at}.buckle-pretensioner"] for at in SEATS)
    assert (kind, other) == ("look-first", "ask")
    assert worn >= idle > 0.3
