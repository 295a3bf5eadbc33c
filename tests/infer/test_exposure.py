"""Water, fire, heat and salt: told once, they reach the unit and every part named."""

import build
import pytest

from squibwise.history.order import read_history
from squibwise.history.signed import speaks_against, unit_exposed
from squibwise.infer import assess
from squibwise.model.belief import Assessment, ComponentBelief
from squibwise.model.evidence import Circumstance, DoneWork, Evidence, Impact, Look, Story

UNIT = "centre.control-unit"
WET = Circumstance(
    id="river", what="flood", present=True, parts=("control-unit", "driver.seat-bag")
)
DRY = Circumstance(id="told", what="crash", present=False)


def ask(*evidence: Evidence) -> Assessment:
    return assess(build.case(*evidence), build.CATALOG)


def of(answer: Assessment, component: str) -> ComponentBelief:
    belief = answer.of(component)
    assert belief is not None
    return belief


def test_internal_fault_and_damage_of_a_flooded_unit_agree() -> None:
    internal = build.scan(build.code(1, UNIT, 1, fault="internal"))
    seen = Look(id="seen", component=UNIT, seen="damaged")
    answer = ask(DRY, WET, internal, seen)
    assert answer.contradictions == ()
    assert of(answer, UNIT).now.damaged > 0.9


def test_water_says_nothing_of_what_fired() -> None:
    crash = Impact(id="body", zone="door-left", clock=9, extent="severe")
    dry, wet = ask(crash), ask(crash, WET)
    of_a_crash = [a.event.no_crash for a in (dry, wet)]  # few struck cars are flooded as well
    fired = [of(a, "driver.seat-bag").after_crash.fired for a in (dry, wet)]
    if_struck = [p / (1.0 - none) for p, none in zip(fired, of_a_crash, strict=True)]
    assert if_struck[1] == pytest.approx(if_struck[0], abs=0.005)


def test_told_of_no_part_it_is_the_unit_and_the_rest_is_asked() -> None:
    answer = ask(DRY, Circumstance(id="river", what="flood", present=True))
    assert of(answer, UNIT).now.damaged > 0.9
    assert "flood" in [q.id for q in answer.open_questions]


def test_a_flooded_unit_keeps_the_power_off_until_it_is_replaced() -> None:
    gates = {word for word, _ in speaks_against(read_history((WET,)), build.CATALOG)}
    assert gates == {"key-on-safe", "unit-bolted", "power-safe"}
    new = DoneWork(id="new", what="replaced", component=UNIT)
    assert unit_exposed(read_history((WET, new))) is None
    salt = Circumstance(id="salt", what="corrosion", present=True)
    assert unit_exposed(read_history((salt,))) is None


def test_a_story_of_water_speaks_against_a_crash_as_a_flood_does() -> None:
    out = Look(id="out", component="driver.front-bag", seen="deployed")
    story = Story(id="story", text="Came out of the basement.", known=("soaked",))
    ashes = Story(id="ashes", text="Wheel burnt to the steel, two bangs.")
    flood = Circumstance(id="flood", what="flood", present=True)
    dry, wet, told, both = (
        assess(build.case(*entries), build.CATALOG).event.no_crash
        for entries in ((out,), (out, story), (out, flood), (out, story, flood))
    )
    assert wet > dry
    assert both == pytest.approx(told, abs=1e-12)  # one water, told twice
    burnt, not_burnt = (
        assess(build.case(out, told), build.CATALOG).event.no_crash
        for told in (ashes, Story(id="ashes", text="Not burnt, no flames."))
    )
    assert burnt > dry
    assert not_burnt == pytest.approx(dry, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "denied"),
    [
        ("No crash. The lamp is lit in the cold.", True),
        ("It has never been in an accident.", True),
        ("Kein Unfall, die Lampe leuchtet.", True),
        ("No crash data stored.", False),
        ("No crash since the accident of last year.", False),
        ("The seller says no crash.", False),
        ("No serious crash.", False),
    ],
)
def test_a_story_without_a_crash_is_read_as_the_same_word_of_the_owner(
    text: str, denied: bool
) -> None:
    story = Story(id="story", text=text)
    word = Circumstance(id="word", what="crash", present=False)
    told, entered, once, silent = (
        assess(build.case(build.scan(), *entries), build.CATALOG)
        for entries in ((story,), (word,), (story, word), ())
    )
    right = entered if denied else silent
    assert told.event.no_crash == pytest.approx(right.event.no_crash, abs=1e-12)
    assert [q.id for q in told.open_questions] == [q.id for q in right.open_questions]
    assert once.event.no_crash == pytest.approx(entered.event.no_crash, abs=1e-12)


@pytest.mark.parametrize("what", ["flood", "fire", "heat", "corrosion"])
def test_what_harmed_the_parts_speaks_against_a_crash_that_nobody_told_of(what: str) -> None:
    told = Circumstance(id="told", what=what, present=True)
    flood = Circumstance(id="wet", what="flood", present=True)
    once, both = ask(told), ask(told, flood)
    assert once.event.no_crash > 0.6
    assert both.event.no_crash < once.event.no_crash + 0.1  # one reason, not two
