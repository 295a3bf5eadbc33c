"""Laws of whole answers: mirrored cars, sights, and what says nothing."""

import build
import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.infer.building import build_network
from squibwise.infer.engine import Engine
from squibwise.infer.evidence import weigh_evidence
from squibwise.infer.marginals import group_beliefs
from squibwise.infer.reports import drop_copies
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence, Impact, Look, PartLabel, Recorder, Story
from squibwise.model.report import CodeLine, Report
from squibwise.model.words import STATES

_WORDS = {"left": "right", "right": "left"}
LOOKS = [
    ("driver.front-bag", "cover-torn"),
    ("passenger.front-bag", "cover-whole"),
    ("left.curtain", "deployed"),
    ("right.curtain", "intact"),
    ("driver.seat-bag", "damaged"),
    ("passenger.retractor-pretensioner", "webbing-locked"),
]
CODES = [
    "driver.front-bag",
    "passenger.seat-bag",
    "left.curtain",
    "driver.retractor-pretensioner",
    "nose-right.impact-sensor",
    "row2-left.buckle-switch",
]
ZONES = ["nose-left", "nose-right", "door-left", "door-right", "tail"]


def mirrored(name: str) -> str:
    """Return an id as it is in the mirrored car; seats stay, sides change."""
    place, dot, rest = name.partition(".")
    return "-".join(_WORDS.get(w, w) for w in place.split("-")) + dot + rest


def mirror_car(car: Car) -> Car:
    return msgspec.structs.replace(
        car,
        drive_hand=_WORDS[car.drive_hand],
        components=tuple(sorted(map(mirrored, car.components))),
        stages={mirrored(k): v for k, v in car.stages.items()},
    )


def mirror(entry: Evidence) -> Evidence:
    if isinstance(entry, Look):
        return msgspec.structs.replace(entry, component=mirrored(entry.component))
    if isinstance(entry, Impact):
        clock = None if entry.clock is None else 12 - entry.clock % 12
        return msgspec.structs.replace(entry, zone=mirrored(entry.zone or ""), clock=clock)
    assert isinstance(entry, Report)
    lines = (build.code(c.line, mirrored(c.component or ""), c.stage) for c in entry.reading.lines)
    return build.scan(*lines)


@st.composite
def evidence(draw: st.DrawFn) -> tuple[Evidence, ...]:
    looks = draw(st.lists(st.sampled_from(LOOKS), max_size=3, unique_by=lambda x: x[0]))
    found: list[Evidence] = [Look(id=f"l-{c}", component=c, seen=w) for c, w in looks]
    codes = draw(st.lists(st.sampled_from(CODES), max_size=3, unique=True))
    found.append(build.scan(*(build.code(n + 1, c) for n, c in enumerate(codes))))
    zone = draw(st.sampled_from(ZONES))
    clock = draw(st.sampled_from([None, 1, 3, 6, 10, 12]))
    found.append(Impact(id="body", zone=zone, clock=clock, extent="moderate"))
    return tuple(found)


def beliefs(*found: Evidence, on: Car | None = None) -> dict[str, list[float]]:
    """Return the states of every part now, as ``assess`` has them, without its reasons."""
    case, _ = drop_copies(Case(id="made", car=on or build.car(), evidence=found), build.CATALOG)
    net = build_network(case, build.CATALOG, {})
    groups = group_beliefs(Engine(net, build.CATALOG).run(weigh_evidence(net, build.CATALOG)))
    parts = {name: part for group in groups for name, part in group.parts.items()}
    return {n: list(p.now.sum(axis=0) @ p.part.states()) for n, p in parts.items()}


def same(one: dict[str, list[float]], two: dict[str, list[float]]) -> None:
    assert one.keys() == two.keys()
    for name, values in one.items():
        assert two[name] == pytest.approx(values, abs=1e-9), name


@settings(max_examples=8, deadline=None)
@given(evidence())
def test_a_mirrored_car_driven_from_the_other_side_has_mirrored_answers(found: tuple) -> None:
    plain = beliefs(*found)
    other = beliefs(*map(mirror, found), on=mirror_car(build.car()))
    same({mirrored(k): v for k, v in plain.items()}, other)


def test_a_mirrored_car_struck_twice_has_mirrored_answers() -> None:
    found = (
        Impact(id="first", zone="tail", clock=1, extent="moderate", order=1),
        Impact(id="then", zone="door-right", extent="severe", order=2),
        Look(id="sensor", component="nose-right.impact-sensor", seen="damaged"),
    )
    plain = beliefs(*found)
    other = beliefs(*map(mirror, found), on=mirror_car(build.car()))
    same({mirrored(k): v for k, v in plain.items()}, other)


def test_a_belt_recorded_open_says_the_same_in_a_mirrored_car() -> None:
    found = Recorder(id="r", driver_belt="unlatched")
    plain, other = beliefs(found), beliefs(found, on=mirror_car(build.car()))
    same({mirrored(k): v for k, v in plain.items()}, other)


SIGHTS = [
    ("driver.front-bag", "cover-torn", "fired", True),
    ("driver.front-bag", "cover-whole", "fired", False),
    ("left.curtain", "deployed", "fired", True),
    ("left.curtain", "intact", "fired", False),
    ("passenger.front-bag", "missing", "missing", True),
    ("driver.seat-bag", "damaged", "damaged", True),
]


@settings(max_examples=10, deadline=None)
@given(evidence(), st.sampled_from(SIGHTS))
def test_a_sight_never_moves_its_part_the_wrong_way(found: tuple, sight: tuple) -> None:
    part, word, state, up = sight
    rest = tuple(e for e in found if not isinstance(e, Look) or e.component != part)
    column = STATES.index(state)
    seen = Look(id="s", component=part, seen=word)
    moved = beliefs(*rest, seen)[part][column] - beliefs(*rest)[part][column]
    assert moved >= -1e-9 if up else moved <= 1e-9


def with_line(found: tuple, line: CodeLine) -> tuple[Evidence, ...]:
    """Return the evidence with one more line in its report."""
    result = []
    for entry in found:
        if isinstance(entry, Report):
            reading = msgspec.structs.replace(entry.reading, lines=(*entry.reading.lines, line))
            entry = msgspec.structs.replace(entry, reading=reading)
        result.append(entry)
    return tuple(result)


@settings(max_examples=6, deadline=None)
@given(evidence())
def test_other_systems_labels_stories_and_copies_change_nothing(found: tuple) -> None:
    plain = beliefs(*found)
    other = CodeLine(line=50, raw="engine misfire", code="P0300", fault="unknown", unit="other")
    same(plain, beliefs(*with_line(found, other)))
    label = PartLabel(id="n", component="driver.front-bag", number="1", provenance="new")
    same(plain, beliefs(*found, label, Story(id="told", text="lamp on since spring")))
    body = next(e for e in found if isinstance(e, Impact))
    same(plain, beliefs(*found, msgspec.structs.replace(body, id="again")))


@settings(max_examples=6, deadline=None)
@given(evidence())
def test_two_reports_of_one_minute_are_one(found: tuple) -> None:
    time = build.MINUTE
    (report,) = (e for e in found if isinstance(e, Report))
    rest = tuple(e for e in found if not isinstance(e, Report))
    lines = report.reading.lines
    halves = [
        msgspec.structs.replace(build.scan(*part, id=f"half-{n}"), time=time)
        for n, part in enumerate((lines[:1], lines[1:]))
    ]
    whole = msgspec.structs.replace(report, time=time)
    same(beliefs(*rest, whole), beliefs(*rest, *halves))


@settings(max_examples=8, deadline=None)
@given(
    evidence(),
    st.lists(st.sampled_from(CODES), max_size=3, unique=True),
    st.sampled_from([True, None, False]),
)
def test_the_order_of_reports_without_a_time_says_nothing(
    found: tuple, codes: list[str], complete: bool | None
) -> None:
    lines = (build.code(n + 1, c) for n, c in enumerate(codes))
    other = build.scan(*lines, id="other", complete=complete)
    same(beliefs(*found, other), beliefs(other, *found))
