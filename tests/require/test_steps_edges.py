"""Which steps a job needs: on which way it goes, what stands on a load, what leaves the heat.

Each row is one that a changed program would have got through the other tests; see docs/mutation.md.
Expected values follow the docstrings of the functions and common practice, no source.
"""

from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.model.car import Profile
from squibwise.model.evidence import DoneWork, Look, Passed, Story, SubstituteLoad
from squibwise.model.work import Operation, Work
from squibwise.require import work
from squibwise.require.examples import build_belief
from squibwise.require.steps import find_live_stages

CLOCK, UNIT, BAG = "driver.clock-spring", "centre.control-unit", "driver.front-bag"
DOOR, NOSE = "door-left.impact-sensor", "nose-right.impact-sensor"
BELT, SIDE, SEAT = "driver.retractor-pretensioner", "driver.seat-bag", "passenger.seat-bag"
CUT, HIGH = "nose-left.battery-cutoff", "centre.high-voltage-cutoff"
FEW = tuple(sorted((CLOCK, UNIT, BAG, DOOR, NOSE, BELT, SIDE, SEAT)))
FIRED, BROKEN, DOUBTED, GONE = (
    {"fired": 0.98},
    {"damaged": 0.98},
    {"faulty": 0.6},
    {"missing": 0.98},
)
NEW = {UNIT: BROKEN, BAG: FIRED}

DRY = {"components": (DOOR, NOSE, UNIT)}  # nothing live that water could have reached


class Ask:
    """Asks for the work on a car of few parts."""

    def __init__(self, made: SimpleNamespace, catalog: Catalog) -> None:
        self.made, self.catalog = made, catalog

    def __call__(
        self,
        states: dict[str, dict[str, float]],
        *evidence: Any,
        calm: bool = False,
        components: tuple[str, ...] = FEW,
        zones: dict[str, float] | None = None,
        **car: Any,
    ) -> Work:
        event = self.made.calm if calm else self.made.crash
        event = msgspec.structs.replace(event, zones=zones if zones is not None else event.zones)
        profile = Profile(name="by-condition")
        case = self.made.case(*evidence, components=components, profile=profile)
        case = msgspec.structs.replace(case, car=msgspec.structs.replace(case.car, **car))
        return work(case, self.made.assessment(states, event, components), self.catalog)


@pytest.fixture(scope="module")
def ask(made: SimpleNamespace, catalog: Catalog) -> Ask:
    return Ask(made, catalog)


def read_ids(done: Work) -> set[str]:
    return {o.id.removeprefix("step:") for o in done.operations}


def find(done: Work, word: str) -> Operation:
    return next(o for o in done.operations if o.id == word)


def passed(*words: str) -> tuple[Passed, ...]:
    return tuple(Passed(id=f"p{n}", what=w, result="passed", by="R") for n, w in enumerate(words))


def load(move: Any) -> SubstituteLoad:
    return SubstituteLoad(id=move, serial="S", loop=f"{BAG}/1", ohm=2.1, move=move)


WAYS = [
    (NEW, False, {}, (), True),
    ({UNIT: BROKEN}, False, {}, (), False),  # no airbag is out while it is programmed
    ({BAG: FIRED}, False, {}, (), False),
    ({UNIT: BROKEN, BAG: BROKEN}, False, {}, (), False),  # an airbag is torn, none has fired
    ({UNIT: BROKEN, BELT: FIRED}, False, {}, (), False),  # after belts alone
    (NEW, False, {"model_year": 2003}, (), False),  # a unit of those years is not programmed
    (NEW, False, {"model_year": 2004}, (), True),
    ({SEAT: DOUBTED}, False, {}, (), True),  # traced after a crash
    ({SEAT: DOUBTED}, True, {}, (), False),  # nothing is changed: the cards bring their load
    ({SEAT: DOUBTED, NOSE: BROKEN}, True, {}, (), True),
    ({NOSE: BROKEN}, True, {}, (), False),
    ({}, True, {}, (load("issued"),), False),
    ({}, False, {}, (load("issued"),), True),
    ({SEAT: GONE}, True, {}, (), True),  # a load may have been left in its place
    ({BELT: FIRED}, True, {}, (Story(id="s", known=("soaked",)),), True),
    ({NOSE: BROKEN}, True, DRY, (Story(id="s", known=("soaked",)),), False),
]


@pytest.mark.parametrize(("states", "calm", "car", "evidence", "on_loads"), WAYS)
def test_a_first_power_on_loads_is_asked_for_only_where_it_is_needed(
    states: dict[str, dict[str, float]],
    calm: bool,
    car: dict[str, Any],
    evidence: tuple[Any, ...],
    on_loads: bool,
    ask: Ask,
) -> None:
    assert ("first-power" in read_ids(ask(states, *evidence, calm=calm, **car))) is on_loads


NO_UNIT = Look(id="u", component=UNIT, seen="missing")
UNSAFE = Passed(id="g", what="key-on-safe", result="failed")
STEPS = [
    ("save-codes", {}, False, (), True),
    ("save-codes", {}, False, (UNSAFE,), False),
    ("save-codes", {UNIT: GONE}, False, (NO_UNIT,), False),
    ("save-codes", {SEAT: GONE}, False, (), False),  # a load may stand in its place
    ("bench-read", {}, False, (), False),
    ("bench-read", {}, False, (UNSAFE,), True),
    ("bench-read", {UNIT: GONE}, False, (NO_UNIT, UNSAFE), False),
    ("save-crash-data", {BAG: FIRED}, False, (), True),
    ("save-crash-data", {BAG: FIRED}, False, (UNSAFE,), False),
    ("save-crash-data", {}, True, (), False),
    ("save-coding", {UNIT: BROKEN}, False, (), True),
    ("save-coding", {UNIT: BROKEN}, False, (UNSAFE,), False),
    ("save-coding", {BAG: FIRED}, False, (), False),
    ("unit-bolted", {}, True, (), False),
    ("unit-bolted", {}, False, (), True),
    ("unit-bolted", {UNIT: BROKEN}, True, (), True),
    ("unit-bolted", {UNIT: GONE}, True, (), True),
    ("unit-bolted", {}, True, (UNSAFE,), True),
    ("heat-out", {}, False, (), True),
    ("heat-out", {}, True, (), False),
    ("heat-out", {}, False, passed("structure-sound"), False),
    ("heat-out", {}, False, passed("structure-sound", "step:heat-out"), True),
    ("move-steering", {CLOCK: BROKEN, **NEW}, False, (), True),
    ("move-steering", {CLOCK: BROKEN, UNIT: BROKEN, SEAT: DOUBTED}, False, (), False),
    ("move-steering", {CLOCK: BROKEN, BAG: FIRED}, False, (), False),  # no loads
    ("second-scan", NEW, False, (), True),
    ("second-scan", NEW, False, (load("issued"),), True),
    ("second-scan", NEW, False, (load("issued"), load("returned")), False),
    (
        "second-scan",
        NEW,
        False,
        (load("issued"), load("returned"), *passed("step:second-scan")),
        True,
    ),
]


@pytest.mark.parametrize(("step", "states", "calm", "evidence", "needed"), STEPS)
def test_a_step_is_on_the_list_where_its_situation_holds(
    step: str,
    states: dict[str, dict[str, float]],
    calm: bool,
    evidence: tuple[Any, ...],
    needed: bool,
    ask: Ask,
) -> None:
    assert (step in read_ids(ask(states, *evidence, calm=calm))) is needed


@pytest.mark.parametrize(
    ("states", "calm", "held"),
    [({}, True, False), ({NOSE: BROKEN}, True, True), ({}, False, True)],
)
def test_power_is_held_where_something_was_opened(
    states: dict[str, dict[str, float]], calm: bool, held: bool, ask: Ask
) -> None:
    assert ("power-safe" in find(ask(states, calm=calm), "step:final-power").blocked_by) is held


@pytest.mark.parametrize(
    ("states", "expected"),
    [
        (NEW, {BAG}),
        (NEW | {SIDE: FIRED}, {BAG, SIDE}),
        (NEW | {SEAT: DOUBTED}, {BAG, SEAT}),
        (NEW | {CUT: FIRED, HIGH: FIRED}, {BAG}),  # neither cut-off is in an igniter loop
    ],
)
def test_a_load_stands_where_a_device_is_off_or_a_circuit_is_traced_and_nowhere_else(
    states: dict[str, dict[str, float]], expected: set[str], ask: Ask
) -> None:
    done = ask(states, components=tuple(sorted({*FEW, *states})))
    step = find(done, "step:fit-loads")
    assert set(step.components) == expected
    assert step.loads == tuple(f"{c}/1" for c in step.components)
    off = {c for o in done.operations[: done.operations.index(step)] for c in o.undoes}
    again = {c for o in done.operations[: done.operations.index(step)] for c in o.joins}
    fires = {BAG, BELT, SIDE, SEAT}
    assert (off - again) & fires <= expected


def test_a_device_that_is_in_and_joined_gets_no_load(ask: Ask) -> None:
    new = DoneWork(id="d", what="replaced", component=SIDE)
    assert set(find(ask(NEW | {SIDE: FIRED}, new), "step:fit-loads").components) == {BAG, SIDE}
    sound = {SIDE: {"fired": 0.3}}
    assert set(find(ask(NEW | sound, new), "step:fit-loads").components) == {BAG}


@pytest.mark.parametrize(
    ("after", "done"),
    [
        ((), True),
        (("step:power-down",), False),  # what is done on loads is still open
        (("step:second-scan", "step:power-down"), False),  # the wheel is still to be turned
        (("step:second-scan", "step:move-steering", "step:power-down"), True),
        (("step:second-scan", "step:move-steering", "step:second-power-down"), True),
    ],
)
def test_the_power_is_due_again_when_it_came_off_too_early(
    after: tuple[str, ...], done: bool, ask: Ask
) -> None:
    states = {CLOCK: BROKEN, **NEW}
    entries = (load("issued"), *passed("power-safe", "unit-bolted", "step:first-power", *after))
    assert find(ask(states, *entries), "step:first-power").done is done
    taken = (*entries, load("returned"))  # with the loads out nothing is done on them any more
    assert find(ask(states, *taken), "step:first-power").done


HEAT = [
    ({"door-left": 0.97}, "left", {UNIT, DOOR, BAG, BELT, SIDE}),
    ({"door-left": 0.97}, "right", {UNIT, DOOR, SEAT}),
    ({"pillar-left": 0.97}, "left", {UNIT, DOOR, BAG, BELT, SIDE}),
    ({"nose-right": 0.97}, "left", {UNIT, NOSE}),
    ({"nose-right": 0.49}, "left", {UNIT}),
]


@pytest.mark.parametrize(("zones", "hand", "expected"), HEAT)
def test_what_body_work_could_heat_is_out_before_it_and_back_after_it(
    zones: dict[str, float], hand: str, expected: set[str], ask: Ask
) -> None:
    done = ask({}, zones=zones, drive_hand=hand)
    assert set(find(done, "step:heat-out").undoes) == expected
    assert set(find(done, "step:heat-back").joins) == expected


def test_what_stands_on_a_load_or_is_renewed_does_not_come_back_from_the_heat(ask: Ask) -> None:
    zones = {"door-left": 0.97}
    on_loads = find(ask(NEW | {SIDE: DOUBTED}, zones=zones), "step:heat-back")
    assert set(on_loads.joins) == {DOOR, BELT}
    short = find(ask({SIDE: FIRED}, zones=zones), "step:heat-back")
    assert SIDE not in short.joins
    assert {UNIT, DOOR, BAG, BELT} == set(short.joins)


def test_a_stage_may_be_live_exactly_from_and_up_to_the_limits(catalog: Catalog) -> None:
    least = catalog.fact("require.replace-from").number()
    sure = catalog.fact("require.sure").number()
    one = build_belief(BAG, {"fired": least})
    cases = {least: True, least - 0.001: False, sure: False, sure - 0.001: True}
    for fired, is_live in cases.items():
        belief = build_belief(BAG, {"fired": fired})
        empty = SimpleNamespace(components=(belief,))
        assert bool(find_live_stages(empty, catalog)) is is_live, fired  # type: ignore[arg-type]
    for name in ("after_crash", "now"):
        half = msgspec.structs.replace(one, **{name: build_belief(BAG, {}).now})
        known = SimpleNamespace(components=(half,))
        assert find_live_stages(known, catalog) == ((f"{BAG}/1", 1.0 - least),)  # type: ignore[arg-type]


def test_minutes_of_a_step_go_by_what_it_is_done_to(ask: Ask, catalog: Catalog) -> None:
    done = ask(NEW | {SIDE: FIRED, DOOR: BROKEN})
    steps = catalog.tasks.steps
    for word, count in (
        ("fit-loads", 2),
        ("return-loads", 2),
        ("part-labels", 5),
    ):  # the clock spring too
        each = steps[word].minutes
        minutes = find(done, f"step:{word}").minutes
        assert (minutes.low, minutes.likely, minutes.high) == tuple(m * count for m in each), word
    hunt = find(ask({SEAT: GONE}), "step:hunt-loads").minutes
    assert hunt.likely == steps["hunt-loads"].minutes[1] * 4  # BAG, BELT and both seat airbags


def test_a_seat_that_waits_for_nothing_is_closed_before_the_power_and_keeps_its_airbag(
    ask: Ask,
) -> None:
    """Its airbag is plugged in again, and gets no load; the other seat waits for a new one."""
    mat = "passenger.occupant-sensor"
    states = NEW | {mat: BROKEN, SIDE: FIRED}
    done = ask(states, components=tuple(sorted({*FEW, mat})))
    phases = {o.id: a.phase for v in done.visits for a in v.areas for o in a.operations}
    closings = {w: p for w, p in phases.items() if w.startswith("close:")}
    assert closings["close:wheel"] == closings["close:seat-passenger"] == "build"
    assert closings["close:seat-driver"] == closings["close:back-driver"] == "fit"
    assert closings["close:console"] == "fit"
    assert SEAT not in find(done, "step:fit-loads").components
    assert SEAT in find(done, "open:seat-passenger").undoes
    assert SEAT in find(done, "join:seat-passenger").joins
    assert phases["join:seat-passenger"] == "build"


def test_what_a_trim_parted_comes_back_from_the_heat_where_it_stands_on_no_load(ask: Ask) -> None:
    pillar = "pillar-left.impact-sensor"
    components = tuple(sorted({*FEW, pillar}))
    done = ask({pillar: BROKEN}, zones={"pillar-left": 0.97}, components=components)
    assert "step:fit-loads" not in {o.id for o in done.operations}
    assert BELT in find(done, "open:b-left").undoes
    assert BELT in find(done, "step:heat-back").joins


@pytest.mark.parametrize(
    ("gate", "step"),
    [
        ("unit-bolted", "unit-bolted"),
        ("structure-sound", "structure"),
        ("key-on-safe", "key-on-gate"),
    ],
)
def test_a_step_that_closes_a_gate_is_done_when_the_gate_was_signed(
    gate: str, step: str, ask: Ask
) -> None:
    assert not find(ask({}), f"step:{step}").done
    assert find(ask({}, *passed(gate)), f"step:{step}").done
