"""The examples beside the rules, run as cases: what comes out for the component asked about."""

import datetime as dt
from collections.abc import Iterator

from squibwise.catalog.load import Catalog
from squibwise.catalog.rules import DEFAULT, Example
from squibwise.errors import CatalogError
from squibwise.model.belief import (
    Assessment,
    ComponentBelief,
    EventBelief,
    Located,
    SpeedChange,
    StageBelief,
    StateBelief,
)
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Evidence, Look, Occupant, Reading, Recorder, Story
from squibwise.model.names import ZONES, split_component
from squibwise.model.words import STATES, Belt
from squibwise.require.conditions import STORED_EVENTS, Situation
from squibwise.require.demands import find_demands, gather_profile_asks

_STRENGTH = ("replace", "calibrate", "trace", "inspect")
_NO_CRASH, _CALM, _SEVERE = 0.99, (5.0, 8.0, 10.0), (60.0, 70.0, 80.0)
_NOON = dt.datetime(2026, 1, 1, 12)


def find_wrong_examples(catalog: Catalog) -> tuple[str, ...]:
    """Return one line for every example whose rule set gives another answer than it expects."""
    return tuple(
        f"{profile}: rule {rule_id}, example {number}: {example.component} gives '{found}', "
        f"not '{example.expect}'"
        for profile, rule_id, number, example in list_examples(catalog)
        if (found := answer_example(profile, example, catalog)) != example.expect
    )


def list_examples(catalog: Catalog) -> Iterator[tuple[str, str, int, Example]]:
    """Return every example with its profile, rule id and number from 1."""
    files = {DEFAULT: catalog.rules.default, **catalog.rules.profiles}
    for profile, file in files.items():
        for rule in file.rule:
            for number, example in enumerate(rule.example, start=1):
                yield profile, rule.id, number, example


def answer_example(profile: str, example: Example, catalog: Catalog) -> str:
    """Return the strongest action that a profile asks for in an example; ``none`` for nothing."""
    book = catalog.rules
    rules = book.default.rule if profile == DEFAULT else book.rules(profile)
    case, assessment = build_example(example)
    situation = Situation(case=case, assessment=assessment, catalog=catalog)
    found = find_demands(gather_profile_asks(rules, case, catalog), (), situation, frozenset())
    actions = {d.action for d in found.values() if d.component == example.component}
    return next((a for a in _STRENGTH if a in actions), "none")


def build_example(example: Example) -> tuple[Case, Assessment]:
    """Return the case and the beliefs an example describes.

    Raises:
        CatalogError: A key of ``given`` is neither a component with a state or ``located``, nor
            ``struck`` with a zone, ``in-use`` with a seat, ``missing`` with a component, or
            ``event`` with a word.
    """
    states: dict[str, dict[str, float]] = {example.component: {}}
    zones: dict[str, float] = {}
    event: dict[str, float] = {}
    in_use: dict[str, float] = {}
    missing: list[str] = []
    located: list[Located] = []
    for key, value in example.given.items():
        head, _, rest = key.partition(" ")
        if head == "struck" and rest in ZONES:
            zones[rest] = value
        elif head == "event":
            event[rest] = value
        elif head == "in-use":
            in_use[rest] = value
        elif head == "missing":
            states.setdefault(rest, {})
            missing.append(rest)
        elif rest == "located":
            states.setdefault(head, {})
            located.append(
                Located(component=head, loop=f"{head}/1", element="device", p=value, evidence=())
            )
        elif rest in STATES:
            states.setdefault(head, {})[rest] = value
        else:
            raise CatalogError(f"example for {example.component}: '{key}' says nothing known")
    beliefs = tuple(build_belief(c, s) for c, s in sorted(states.items()))
    evidence = (*_gone(missing), *_evidence(event, in_use))
    return _case(tuple(sorted(states)), evidence), Assessment(
        event=_event(zones, event, in_use, beliefs),
        components=beliefs,
        located=tuple(located),
    )


def build_belief(component: str, states: dict[str, float]) -> ComponentBelief:
    """Return a belief with the given states; the rest is sound."""
    split_component(component)
    rest = 1.0 - sum(states.values())
    both = StateBelief(**({s: states.get(s, 0.0) for s in STATES} | {"sound": rest}))
    stage = StageBelief(fired=both.fired, faulty=both.faulty, live=1.0 - both.fired - both.faulty)
    return ComponentBelief(id=component, after_crash=both, now=both, stages={"1": stage})


def _event(
    zones: dict[str, float],
    event: dict[str, float],
    in_use: dict[str, float],
    beliefs: tuple[ComponentBelief, ...],
) -> EventBelief:
    speed = _SEVERE if event.get("severe", 0.0) > 0.5 else _CALM
    is_crash = bool(zones) or "severe" in event or any(b.now.fired > 0.5 for b in beliefs)
    return EventBelief(
        zones=zones,
        delta_v_kmh=SpeedChange(p10=speed[0], p50=speed[1], p90=speed[2]),
        driver_belted=in_use.get("driver", 0.0),
        passenger_belted=in_use.get("passenger", 0.0),
        front_passenger={"empty": 0.0, "child-or-small": 0.0, "adult": 1.0},
        rollover=event.get("rollover", 0.0),
        second_impact=0.0,
        no_crash=event.get("no_crash", 0.0 if is_crash else _NO_CRASH),
    )


def _case(components: tuple[str, ...], evidence: tuple[Evidence, ...]) -> Case:
    return Case(
        id="example",
        car=Car(equipment="example", components=components),
        evidence=evidence,
    )


def _gone(missing: list[str]) -> Iterator[Evidence]:
    for component in missing:
        yield Look(id=f"gone-{component}", component=component, seen="missing")


def _evidence(event: dict[str, float], in_use: dict[str, float]) -> Iterator[Evidence]:
    for seat, value in in_use.items():
        if seat not in ("driver", "passenger"):
            belt: Belt = "latched" if value > 0.5 else "unlatched"
            yield Occupant(id=f"who-{seat}", seat=seat, present=True, belt=belt)
    if "record" in event:
        yield Recorder(id="record", time=_NOON, record="locked")
    if "record_stays" in event:
        later, last = _NOON + dt.timedelta(hours=1), _NOON + dt.timedelta(hours=2)
        yield DoneWork(id="clear", time=later, what="cleared", component="codes")
        record = "locked" if event["record_stays"] > 0.5 else "none"
        yield Recorder(id="again", time=last, record=record)
    if "soaked" in event:
        yield Story(id="told", known=("soaked",))
    if "count" in event:
        yield Reading(
            id="counter",
            component="centre.control-unit",
            quantity=STORED_EVENTS,
            value=event["count"],
            unit="count",
        )
