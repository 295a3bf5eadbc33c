"""Unknown is not zero: what leaving a number out does, for every optional number of the records.

The numbers are found in the records themselves, so that a new one is refused until it stands in one
of the two tables here. Leaving a number out is a mean over what it may be, so no belief may leave
the span of the beliefs with it; a number that inference does not use changes nothing.
"""

import inspect
import typing
from collections.abc import Callable, Iterator

import build
import msgspec
import numpy as np
import pytest

from squibwise.infer import assess, assess_plainly
from squibwise.infer.building import build_network
from squibwise.infer.engine import Engine
from squibwise.infer.evidence import weigh_evidence
from squibwise.model import car, evidence, report
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.evidence import (
    Evidence,
    Impact,
    LampCheck,
    Reading,
    Recorder,
    SeatTrial,
    SubstituteLoad,
)
from squibwise.model.report import CleanCircuit
from squibwise.model.words import Extent

BAG, SENSOR = "driver.front-bag", "passenger.occupant-sensor"
NOSE = Impact(id="body", zone="nose-centre", extent="moderate")
SIDE = Impact(id="body", zone="door-left", extent="moderate")
Make = Callable[[float | None], Case]


def of(*entries: Evidence) -> Case:
    return build.case(*entries)


def coded(stage: float | None) -> Case:
    """Return a case with a code on stage 1, on stage 2, on both (3), or on nobody knows which."""
    stages = {None: (None,), 1: (1,), 2: (2,), 3: (1, 2)}[stage]
    lines = [build.code(n, BAG, s) for n, s in enumerate(stages, start=1)]
    return of(NOSE, build.scan(*lines, build.record()))


def recorded(field: str) -> Make:
    base = Recorder(id="r", delta_v_long_kmh=-25.0, delta_v_lat_kmh=4.0, u_kmh=2.0, complete=True)
    return lambda value: of(NOSE, msgspec.structs.replace(base, **{field: value}))


def counted(value: float | None) -> Case:
    base = Recorder(id="r", delta_v_long_kmh=-25.0, delta_v_lat_kmh=4.0)
    return of(
        NOSE, msgspec.structs.replace(base, event_count=None if value is None else int(value))
    )


def scanned(value: float | None) -> Case:
    return of(NOSE, build.scan(build.code(1, BAG), build.record(), volts=value))


def dated(value: float | None) -> Case:
    year = None if value is None else int(value)
    return build.case(NOSE, on=build.car("belts-and-front-bags", year=year))


def weighed(value: float | None) -> Case:
    trial = SeatTrial(id="t", component=SENSOR, applied_kg=30.0, read_kg=value)
    return of(build.scan(when="after-repair"), trial)


def at_the_hour(value: float | None) -> Case:
    return of(msgspec.structs.replace(SIDE, clock=None if value is None else int(value)))


# What inference uses: a case by the number, and what the number may be.
USED: dict[tuple[str, str], tuple[Make, tuple[float, ...]]] = {
    ("Recorder", "delta_v_long_kmh"): (
        recorded("delta_v_long_kmh"),
        (-60, -40, -25, -12, -4, 0, 8),
    ),
    ("Recorder", "delta_v_lat_kmh"): (recorded("delta_v_lat_kmh"), (-40, -20, -8, 0, 8, 20, 40)),
    ("Recorder", "u_kmh"): (recorded("u_kmh"), (0.1, 1, 2, 4, 8)),
    ("Recorder", "event_count"): (counted, (1, 2, 3)),
    ("Impact", "clock"): (at_the_hour, tuple(range(1, 13))),
    ("SeatTrial", "read_kg"): (weighed, (0, 5, 15, 25, 30, 35, 60)),
    ("Car", "model_year"): (dated, tuple(range(1998, 2022))),
    ("CodeLine", "stage"): (coded, (1, 2, 3)),
    ("Candidate", "stage"): (coded, (1, 2, 3)),
    ("Coverage", "unit_volts"): (scanned, (6, 8.5, 9.5, 12, 14, 18)),
}


def loaded(**value: object) -> Case:
    load = SubstituteLoad(id="l", serial="L-1", loop=f"{BAG}/1", move="issued", **value)  # type: ignore[arg-type]
    return of(NOSE, load, build.scan())


def read_as(**value: object) -> Case:
    reading = Reading(
        id="ohm", component=f"{BAG}/1", quantity="loop-resistance", value=2.1, unit="ohm", **value
    )  # type: ignore[arg-type]
    return of(NOSE, reading)


def tried(**value: object) -> Case:
    trial = SeatTrial(id="t", component=SENSOR, applied_kg=30.0, read_kg=3.0, **value)  # type: ignore[arg-type]
    return of(trial)


def lit(**value: object) -> Case:
    return of(NOSE, LampCheck(id="lamp", lit=True, stayed_out=True, **value))  # type: ignore[arg-type]


def ordered(**value: object) -> Case:
    return of(msgspec.structs.replace(NOSE, **value))


def driven(**value: object) -> Case:
    scan = build.scan(build.code(1, BAG))
    coverage = msgspec.structs.replace(scan.reading.coverage, **value)
    reading = msgspec.structs.replace(scan.reading, coverage=coverage)
    return of(NOSE, msgspec.structs.replace(scan, reading=reading))


def clean(**value: object) -> Case:
    found = (CleanCircuit(component="left.curtain", **value),)  # type: ignore[arg-type]
    return driven(clean=found)


# What inference does not use: a case with and without it, and one value.
UNUSED: dict[tuple[str, str], tuple[Callable[..., Case], object]] = {
    ("Reading", "u"): (read_as, 0.3),
    ("Reading", "low"): (read_as, 1.7),
    ("Reading", "high"): (read_as, 3.0),
    ("Impact", "order"): (ordered, 1),
    ("SeatTrial", "cabin_c"): (tried, -20.0),
    ("SeatTrial", "volts"): (tried, 9.0),
    ("LampCheck", "out_after_s"): (lit, 6.0),
    ("SubstituteLoad", "ohm"): (loaded, 2.1),
    ("CleanCircuit", "stage"): (clean, 1),
    ("Coverage", "odometer"): (driven, 88_140),
}
READ_BEFORE = {("OwnCode", "stage")}  # spent when a report is read: the lines carry what it says


def optional_numbers() -> Iterator[tuple[str, str]]:
    for module in (evidence, car, report):
        for name, found in vars(module).items():
            own = inspect.isclass(found) and found.__module__ == module.__name__
            if own and issubclass(found, msgspec.Struct):
                for field in msgspec.structs.fields(found):
                    kinds = set(typing.get_args(field.type))
                    if type(None) in kinds and kinds & {int, float}:
                        yield name, field.name


def test_every_optional_number_stands_in_one_of_the_tables() -> None:
    assert set(optional_numbers()) == USED.keys() | UNUSED.keys() | READ_BEFORE


def told(answer: Assessment) -> dict[tuple[str, str], float]:
    """Return every belief of an answer by what it is about."""
    beliefs = {
        (c.id, state): getattr(c.after_crash, state)
        for c in answer.components
        for state in ("sound", "fired", "faulty", "damaged")
    }
    return beliefs | {("event", "no-crash"): answer.event.no_crash}


def chance_of(case: Case) -> float:
    """Return the probability of all evidence of a case."""
    net = build_network(case, build.CATALOG, {})
    engine = Engine(net, build.CATALOG)
    return float(np.exp(engine.run(weigh_evidence(net, build.CATALOG)).log_evidence))


@pytest.mark.parametrize("field", USED, ids="-".join)
def test_without_a_number_no_belief_leaves_the_span_of_those_with_it(
    field: tuple[str, str],
) -> None:
    make, values = USED[field]
    without = told(assess(make(None), build.CATALOG))
    each = [told(assess(make(value), build.CATALOG)) for value in values]
    for about, belief in without.items():
        span = [answer[about] for answer in each]
        assert min(span) - 5e-3 <= belief <= max(span) + 5e-3, about
    moved = max(max(a[k] for a in each) - min(a[k] for a in each) for k in without)
    assert moved > 0.01  # the number says something, else it would stand in the other table


@pytest.mark.parametrize("field", UNUSED, ids="-".join)
def test_a_number_that_says_nothing_of_the_state_changes_nothing(field: tuple[str, str]) -> None:
    make, value = UNUSED[field]
    without, with_it = (assess(make(**{field[1]: v}), build.CATALOG) for v in (None, value))
    assert told(with_it) == pytest.approx(told(without), abs=1e-12)


# What is said of a blow on one axis, and the sort of blow that the data know directions of.
ONE_AXIS = {
    "front, mild": (NOSE, "delta_v_long_kmh", -12.0, "front"),
    "front, hard": (NOSE, "delta_v_long_kmh", -50.0, "front"),
    "front, at the bound": (Impact(id="b", zone="nose-left"), "delta_v_long_kmh", -8.0, "front"),
    "side": (SIDE, "delta_v_lat_kmh", 20.0, "near"),
}


@pytest.mark.parametrize("case", ONE_AXIS)
def test_one_axis_alone_is_the_mean_over_the_usual_directions(case: str) -> None:
    """The law of total probability, over what the other axis may be where the zone is known.

    A direction counts as often as the data have it and as its speed is usual of such damage.
    """
    body, field, value, side = ONE_AXIS[case]
    severity = build.CATALOG.priors.severity
    usual, spread = severity.directions(side), severity.of(side, body.extent)

    def recorded_as(**axes: float) -> dict[tuple[str, str], float]:
        seen = Recorder(id="r", u_kmh=0.5, complete=True, **axes)
        on = build.car("belts-and-front-bags")
        return told(assess_plainly(build.case(body, seen, on=on), build.CATALOG))

    shares, rows = [], []
    for degrees, share in sorted({(d, usual.degrees.count(d)) for d in usual.degrees}):
        angle = np.radians(degrees)
        far = np.log(severity.bias * abs(value) / np.cos(angle)) - spread.log_mean
        shares.append(share * np.exp(-0.5 * (far / spread.log_sd) ** 2))
        across = abs(value) * np.tan(angle)
        other = {"delta_v_lat_kmh": across} if side == "front" else {"delta_v_long_kmh": -across}
        rows.append(recorded_as(**{field: value}, **other))
    without = recorded_as(**{field: value})
    for about in (a for a in without if a[1] in ("fired", "no-crash")):  # zones are told apart too
        mean = float(np.average([row[about] for row in rows], weights=shares))
        assert without[about] == pytest.approx(mean, abs=2e-2), about


ALONG, ACROSS = "delta_v_long_kmh", "delta_v_lat_kmh"
LONE: dict[str, tuple[str | None, Extent | None, str, float, str]] = {
    "weak, on a crushed nose": ("nose-left", "severe", ALONG, -4.0, "unknown"),
    "weak, from behind": ("nose-left", "severe", ALONG, 4.0, "unknown"),
    "away from a nose": ("nose-left", "severe", ALONG, 12.0, "unknown"),
    "weak, across a nose": ("nose-left", "severe", ACROSS, 4.0, "unknown"),
    "weak, on a crushed door": ("door-left", "severe", ACROSS, 4.0, "unknown"),
    "weak, on a crushed door, no record": ("door-left", "severe", ACROSS, 4.0, "none"),
    "weak, on a crushed door, locked": ("door-left", "severe", ACROSS, 4.0, "locked"),
    "weak, on a crushed pillar, no record": ("pillar-right", "severe", ACROSS, -4.0, "none"),
    "weak, on a crushed nose, locked": ("nose-left", "severe", ALONG, -4.0, "locked"),
    "away from a door": ("door-left", "severe", ACROSS, -30.0, "unknown"),
    "hard, on a door": ("door-left", "moderate", ACROSS, 25.0, "unknown"),
    "weak, across a door": ("door-left", "severe", ALONG, -4.0, "unknown"),
    "pushed on, across a door": ("door-left", "moderate", ALONG, 12.0, "unknown"),
    "weak, without a sight": (None, None, ALONG, -4.0, "unknown"),
}


@pytest.mark.parametrize("case", LONE)
def test_one_axis_alone_stays_within_what_its_values_on_the_other_give(case: str) -> None:
    """The law of total probability asks that much, whatever the other axis may be."""
    zone, extent, field, value, record = LONE[case]
    seen = () if zone is None else (Impact(id="b", zone=zone, extent=extent),)
    other = ACROSS if field == ALONG else ALONG

    def beliefs(**axes: float) -> dict[tuple[str, str], float]:
        read = Recorder(id="r", record=record, **axes)
        answer = told(assess_plainly(of(*seen, read), build.CATALOG))
        return {about: answer[about] for about in WATCHED}

    without = beliefs(**{field: value})
    each = [beliefs(**{field: value, other: float(v)}) for v in (-50, -20, 0, 20, 50)]
    for about, belief in without.items():
        span = [answer[about] for answer in each]
        assert min(span) - 0.01 <= belief <= max(span) + 0.01, about


WATCHED = ((BAG, "fired"), ("driver.seat-bag", "fired"), ("event", "no-crash"))


EXACT = {
    ("Impact", "clock"): (tuple(range(1, 13)), 2e-3),
    ("SeatTrial", "read_kg"): ((3, 30), 5e-3),  # far off, or near
    ("CodeLine", "stage"): ((1, 2, 3), 1.5e-2),
    ("Recorder", "event_count"): ((1, 2), 1e-9),
}


@pytest.mark.parametrize("field", EXACT, ids="-".join)
def test_without_a_number_each_belief_is_the_mean_over_what_it_may_be(
    field: tuple[str, str],
) -> None:
    """Each value counts as much as the rest of the evidence makes it likely: the law of total
    probability, wherever inference gives every value of the number its chance.
    """
    make, (values, within) = USED[field][0], EXACT[field]
    without, *each = (assess(make(value), build.CATALOG) for value in (None, *values))
    chances = [chance_of(make(value)) for value in values]
    weighed = [
        {about: p * chance for about, p in told(answer).items()}
        for answer, chance in zip(each, chances, strict=True)
    ]
    for about, belief in told(without).items():
        mean = sum(row[about] for row in weighed) / sum(chances)
        assert belief == pytest.approx(mean, abs=within), about


def test_a_belt_recorded_as_unlatched_is_that_of_an_empty_seat_too() -> None:
    """Between latched and unlatched lies what nobody recorded; nobody latches an empty seat."""
    nose, bag = Impact(id="nose", zone="nose-centre", extent="severe"), "passenger.front-bag"
    cases = {
        belt: of(nose, Recorder(id="edr", record="locked", passenger_belt=belt))
        for belt in ("latched", None, "unlatched")
    }
    fired = {belt: told(assess(case, build.CATALOG))[bag, "fired"] for belt, case in cases.items()}
    assert fired["unlatched"] < fired[None] < fired["latched"]
