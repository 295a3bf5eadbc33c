"""The user's own rules, with a citation, go before the shipped archetypes; safety does not bend."""

from types import SimpleNamespace

import msgspec
import pytest
from tests.require.conftest import CRASH

from squibwise.catalog.load import Catalog
from squibwise.model.car import OwnRule, Profile
from squibwise.model.evidence import Occupant, Passed
from squibwise.model.work import Work
from squibwise.require import work
from squibwise.require.questions import answer_rules

FRONT = {"driver.front-bag": {"fired": 0.98}, "passenger.front-bag": {"fired": 0.97}}
CITED = "own book for this car, page 7"


def own(component: str, action: str, when: str = "always", source: str = CITED) -> OwnRule:
    return OwnRule(component=component, action=action, when=when, source=source)


def ids(done: Work) -> set[str]:
    return {i.id for i in done.items}


@pytest.fixture
def run(made: SimpleNamespace, catalog: Catalog):  # noqa: ANN201
    def run(*rules: OwnRule, evidence: tuple[object, ...] = (), name: str = "unknown") -> Work:
        case = made.case(*evidence, profile=Profile(name=name, rules=rules))
        return work(case, made.assessment(FRONT), catalog)

    return run


def test_an_own_rule_relaxes_the_archetypes_for_its_component(run) -> None:  # noqa: ANN001
    assert "driver.steering-column:replace" in ids(run())
    done = run(own("steering-column", "inspect"))
    assert "driver.steering-column:replace" not in ids(done)
    assert "driver.steering-column:inspect" in ids(done)


def test_an_own_rule_to_keep_still_asks_for_an_inspection_first(run) -> None:  # noqa: ANN001
    done = run(own("driver.clock-spring", "keep"))
    assert "driver.clock-spring:inspect" in ids(done)
    assert not {"driver.clock-spring:replace", "driver.clock-spring:keep"} & ids(done)
    looked = Passed(id="p", what="driver.clock-spring:inspect", result="passed")
    assert "driver.clock-spring:keep" in ids(run(own("clock-spring", "keep"), evidence=(looked,)))


def test_an_own_rule_never_keeps_a_fired_bag(run) -> None:  # noqa: ANN001
    assert "driver.front-bag:replace" in ids(run(own("front-bag", "keep")))


def test_an_own_rule_to_replace_is_followed_and_cited(run) -> None:  # noqa: ANN001
    done = run(own("windshield", "replace", "passenger-bag-fired"), name="by-condition")
    item = next(i for i in done.items if i.id == "centre.windshield:replace")
    assert item.probability == pytest.approx(0.97)
    assert any(CITED in b.text for b in item.because)


def test_an_own_rule_whose_condition_does_not_hold_relaxes_nothing(run) -> None:  # noqa: ANN001
    done = run(own("steering-column", "keep", "curtain-fired"))
    assert "driver.steering-column:replace" in ids(done)


@pytest.mark.parametrize(
    ("rule", "why"),
    [
        (own("teapot", "replace"), "the car has no 'teapot'"),
        (own("curtain", "polish"), "'polish' is not an action"),
        (own("curtain", "replace", "full-moon"), "'full-moon' is not a condition word"),
        (own("curtain", "replace", source=" "), "it cites no source"),
    ],
)
def test_an_own_rule_that_cannot_be_used_is_reported(run, rule: OwnRule, why: str) -> None:  # noqa: ANN001
    done = run(rule)
    assert [f.message for f in done.findings if f.code == "own-rule-unusable"] == [
        f"Your rule on {rule.component} is not used: {why}."
    ]
    assert "left.curtain:replace" not in ids(done)


def test_the_cars_own_profile_is_followed_alone(run) -> None:  # noqa: ANN001
    done = run(name="by-condition")
    assert done.profile == "by-condition"
    followed = {i for i in ids(done) if not i.startswith("step:")}
    assert list(done.spread) == ["by-condition"]
    assert followed == set(done.spread["by-condition"])
    assert "profile-unknown" not in {f.code for f in done.findings}
    assert "driver.steering-column:replace" not in followed


def test_a_profile_that_is_not_shipped_is_reported_and_all_are_computed(run) -> None:  # noqa: ANN001
    done = run(name="the-usual")
    assert done.profile == "unknown"
    assert "profile-not-shipped" in {f.code for f in done.findings}
    assert len(done.spread) == 6


def test_keeping_a_part_of_a_car_without_a_crash_asks_for_an_inspection_too(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    profile = Profile(rules=(own("driver.clock-spring", "keep"),))
    beliefs = made.assessment({}, made.calm, usual={"fired": 0.001})
    done = work(made.case(profile=profile), beliefs, catalog)
    item = next(i for i in done.items if i.component)
    assert item.id == "driver.clock-spring:inspect"
    assert item.because


@pytest.mark.parametrize(
    ("question", "ordered", "left_alone"),
    [
        ("side-sensors", "pillar-left.impact-sensor", "pillar-right.impact-sensor"),
        ("height-adjusters", "pillar-left.height-adjuster", "pillar-right.height-adjuster"),
        ("buckles", "driver.buckle-switch", "passenger.buckle-switch"),
        ("anchors", "driver.belt-anchor", "passenger.belt-anchor"),
        ("rear-belts", "row2-left.belt-webbing", "row2-right.belt-webbing"),
    ],
)
def test_a_yes_orders_what_it_speaks_of_the_struck_side_and_the_belt_that_fired_or_was_worn(
    made: SimpleNamespace, catalog: Catalog, question: str, ordered: str, left_alone: str
) -> None:
    hit = msgspec.structs.replace(CRASH, zones={"door-left": 0.97, "door-right": 0.01})
    states = {"driver.retractor-pretensioner": {"fired": 0.98}, "left.curtain": {"fired": 0.98}}
    rules = answer_rules(catalog.rules.questions[question], "yes", made.case(), CITED)
    rear = (
        Occupant(id="a", seat="row2-left", present=True, belt="latched"),
        Occupant(id="b", seat="row2-right", present=False),
    )
    case = made.case(*rear, profile=Profile(name="by-condition", rules=rules))
    done = work(case, made.assessment(states, hit), catalog)
    assert f"{ordered}:replace" in ids(done)
    assert f"{left_alone}:replace" not in ids(done)
    assert next(q.answered for q in done.questions if q.id == question) == "yes"
