"""Verdicts on trials of a seat: zero, weight and the gap between up and down."""

import math
import re

import msgspec
import numpy as np

from squibwise.catalog.load import Catalog
from squibwise.errors import ModelError
from squibwise.history.order import History
from squibwise.model.car import Given, Profile
from squibwise.model.evidence import SeatTrial
from squibwise.model.names import split_component
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome
from squibwise.numerics.measurement import FittedLine, fit_line_both
from squibwise.prove.limits import Limits, because_of, judged

Judged = tuple[Outcome, str, str]


def seat_verdicts(
    history: History, catalog: Catalog, profile: Profile | None = None
) -> list[Verdict]:
    """Return a verdict on the trials of every seat sensor that was tried.

    Args:
        history: The course of the case.
        catalog: Published conditions, and one maker's example of a tolerance.
        profile: The maker's own limits where the user entered them; None = none.
    """
    components = dict.fromkeys(t.component for _, t in history.all_of(SeatTrial))
    return [
        _trials_verdict(component, history, catalog, profile or Profile())
        for component in components
    ]


def _trials_verdict(
    component: str, history: History, catalog: Catalog, profile: Profile
) -> Verdict:
    every = [(n, t) for n, t in history.all_of(SeatTrial) if t.component == component]
    work = last_seat_work(history, component, catalog)
    trials = [t for n, t in every if n > work]
    outcome, text, remedy = _judge(trials, component, catalog, profile)
    words = ("tolerance", "empty", "off-below", "on-above")
    facts = tuple(catalog.fact(f"seat-trial.{word}") for word in words)
    return Verdict(
        what=f"seat-trials:{component}",
        outcome=outcome,
        text=text,
        decide=remedy,
        because=because_of(facts, tuple(t.id for t in trials)),
        origin=every[-1][1].origin,
    )


def last_seat_work(history: History, sensor: str, catalog: Catalog) -> int:
    """Return the place of the last work on the seat a sensor sits in; -1 when there was none."""
    place = split_component(sensor).place
    works = (n for n, w in history.works if _is_of_seat(w.component, place, catalog))
    return max(works, default=-1)


def _is_of_seat(component: str, place: str, catalog: Catalog) -> bool:
    if "." not in component:
        return False
    name = split_component(component)
    kind = catalog.kinds.get(name.kind)
    return (
        kind is not None
        and name.place == place
        and (kind.plug == "seat" or kind.kind.startswith("seat-"))
    )


def _judge(trials: list[SeatTrial], component: str, catalog: Catalog, profile: Profile) -> Judged:
    if not trials:
        text = "Every seat trial came before the last work on the seat."
        return "undecided", text, "Set to zero and try it again."
    missing = _missing_conditions(trials)
    if missing:
        text = f"Not recorded with every trial: {', '.join(missing)}."
        return "undecided", text, "Repeat the trials and write the conditions down."
    odd = _odd_conditions(trials, catalog)
    if odd:
        remedy = "Compare with the maker's range, or repeat inside it."
        return "undecided", f"Outside the published conditions: {', '.join(odd)}.", remedy
    if not all(_up_and_down(of) for of in _by_position(trials).values()):
        text = "The loads were not laid on and taken off in steps, up and down."
        return "undecided", text, "Load in at least two steps up and down again, ending empty."
    return _judge_readings(trials, component, catalog, profile)


def _missing_conditions(trials: list[SeatTrial]) -> list[str]:
    asked = {
        "temperature": all(t.cabin_c is not None for t in trials),
        "voltage": all(t.volts is not None for t in trials),
        "seat position": all(t.seat_position for t in trials),
        "what covers the cushion": all(t.cover for t in trials),
        "dry or not": all(t.dry is not None for t in trials),
        "buckle": all(t.buckle for t in trials),
        "reading": all(t.read_kg is not None for t in trials),
    }
    return [name for name, there in asked.items() if not there]


def _odd_conditions(trials: list[SeatTrial], catalog: Catalog) -> list[str]:
    cold, warm = (catalog.fact(f"seat-trial.{e}").number() for e in ("coldest", "warmest"))
    volts = catalog.fact("seat-trial.least-volts").number()
    odd = [f"{t.cabin_c:g} degC" for t in trials if not cold <= (t.cabin_c or 0.0) <= warm]
    odd += [f"{t.volts:g} V" for t in trials if (t.volts or 0.0) < volts]
    odd += ["a cushion that is not dry" for t in trials if t.dry is False]
    odd += [f"'{t.cover}' on the cushion" for t in trials if not _is_own_cover(t.cover, catalog)]
    odd += ["more than one cover" for _ in trials if len({t.cover for t in trials}) > 1]
    odd += ["a buckle now latched, now open" for _ in trials if len({t.buckle for t in trials}) > 1]
    odd += ["a buckle that is latched" for t in trials if t.buckle == "latched"]
    odd += ["one seat position only" for _ in trials if len(_by_position(trials)) < 2]
    return list(dict.fromkeys(odd))


def _is_own_cover(text: str, catalog: Catalog) -> bool:
    """Tell whether a cushion has its own cover or none: anything more weighs, or bridges it."""
    own = catalog.said.stories["own_cover"]
    return all(word in own for word in re.findall(r"\w+", text.casefold()))


def _by_position(trials: list[SeatTrial]) -> dict[str, list[SeatTrial]]:
    found: dict[str, list[SeatTrial]] = {}
    for trial in trials:
        found.setdefault(_as_said(trial.seat_position), []).append(trial)
    return found


def _as_said(position: str) -> str:
    return " ".join(re.findall(r"\w+", position.casefold()))


def _up_and_down(trials: list[SeatTrial]) -> bool:
    """Return whether a load was laid on in steps and taken off again."""
    applied = [t.applied_kg for t in trials]
    top = applied.index(max(applied))
    up, down = applied[: top + 1], applied[top:]
    rises = len(set(up)) >= 3 and up == sorted(up)
    falls = len(set(down)) >= 2 and down == sorted(down, reverse=True)
    return rises and falls


class _Judgement(msgspec.Struct, frozen=True, kw_only=True):
    """How one thing that the trials show stands against its limit."""

    outcome: Outcome
    text: str = ""
    key: str = ""


def _judge_readings(
    trials: list[SeatTrial], component: str, catalog: Catalog, profile: Profile
) -> Judged:
    """Return the decision on readings: both how far they are off and the gap of up and down.

    By the maker's limits; the example of a tolerance can refuse but never pass them, and without
    the maker's word nothing published judges the gap.
    """
    parts = (
        _judge_deviation(trials, profile.seat_off_kg, catalog),
        _judge_gap(trials, profile.seat_gap_kg, catalog),
        _judge_slope(trials, catalog),
        _judge_lamp(trials, catalog),
    )
    text = f"{_figures(trials, catalog)} {' '.join(p.text for p in parts if p.text)}"
    outcomes = {p.outcome for p in parts}
    if "not met" in outcomes:
        return "not met", text, ""
    if outcomes == {"met"}:
        return "met", text, ""
    keys = " and ".join(p.key for p in parts if p.key)
    enter = f"Enter the maker's limits under [profile]: {keys}; or compare" if keys else "Compare"
    remedy = (
        f"{enter} with the maker's limits for this car and record passed "
        f"'seat-trials:{component}' with the document in its note and who compared it."
    )
    return "undecided", text, remedy


def _judge_slope(trials: list[SeatTrial], catalog: Catalog) -> _Judgement:
    """Return whether the loads are heavy enough to tell how the seat weighs."""
    most = catalog.fact("seat-trial.slope-known").number()
    if _fit(trials, catalog).u_slope <= most:
        return _Judgement(outcome="met")
    heaviest = max(t.applied_kg for t in trials)
    text = f"Loads of at most {heaviest:g} kg are too light to tell how it weighs."
    return _Judgement(outcome="undecided", text=text)


def _judge_lamp(trials: list[SeatTrial], catalog: Catalog) -> _Judgement:
    """Return whether the passenger airbag was on and off as over every published weight.

    Makers' examples; what another maker does may differ, so they leave it to a person.
    """
    off_below, on_above = (
        catalog.fact(f"seat-trial.{w}").number() for w in ("off-below", "on-above")
    )
    armed = [t.applied_kg for t in trials if t.status == "on" and t.applied_kg < off_below]
    silent = [t.applied_kg for t in trials if t.status == "off" and t.applied_kg > on_above]
    told = []
    if armed:
        over = f"{min(armed):g} kg" if min(armed) else "an empty seat"
        told.append(f"The passenger airbag is ON over {over}: it would fire at a child.")
    if silent:
        told.append(f"It is OFF over {max(silent):g} kg: it would not protect an adult.")
    return _Judgement(outcome="undecided" if told else "met", text=" ".join(told))


def _judge_deviation(trials: list[SeatTrial], given: Given | None, catalog: Catalog) -> _Judgement:
    worst = max((t for t in trials), key=lambda t: abs(_read(t) - t.applied_kg))
    deviation = _read(worst) - worst.applied_kg
    half = catalog.fact("seat-trial.tolerance").number() if given is None else given.value
    limits = Limits(low=-half, high=half, source="one maker's example")
    outcome, _ = judged(deviation, math.hypot(*_uncertainties(catalog)), limits, catalog)
    told = f"Worst {deviation:+.1f} kg at {worst.applied_kg:g} kg"
    if given is not None:
        text = f"{told}; the maker allows {half:g} kg ({given.source})."
        return _Judgement(outcome=outcome, text=text)
    if outcome == "not met":
        text = f"{told}: more than {half:g} kg, one maker's example."
        return _Judgement(outcome=outcome, text=text)
    text = f"{told}. The maker's tolerance is not known here."
    return _Judgement(outcome="undecided", text=text, key="seat_off_kg")


def _judge_gap(trials: list[SeatTrial], given: Given | None, catalog: Catalog) -> _Judgement:
    """Return how the gap of up and down stands; two readings, each with its uncertainty."""
    if given is None:
        return _Judgement(outcome="undecided", key="seat_gap_kg")
    u, _ = _uncertainties(catalog)
    limits = Limits(low=None, high=given.value, source=given.source)
    outcome, _ = judged(_gap(trials), math.sqrt(2.0) * u, limits, catalog)
    text = f"Between up and down the maker allows {given.value:g} kg ({given.source})."
    return _Judgement(outcome=outcome, text=text)


def _gap(trials: list[SeatTrial]) -> float:
    """Return the widest gap between readings of one load in one position of the seat, in kg."""
    readings: dict[tuple[str, float], list[float]] = {}
    for trial in trials:
        at = _as_said(trial.seat_position), trial.applied_kg
        readings.setdefault(at, []).append(_read(trial))
    return max(max(r) - min(r) for r in readings.values())


def _read(trial: SeatTrial) -> float:
    """Return what a trial read; one without a reading was asked for before anything is judged."""
    if trial.read_kg is None:
        raise ModelError(f"{trial.id}: a seat trial without a reading cannot be judged")
    return trial.read_kg


def _uncertainties(catalog: Catalog) -> tuple[float, float]:
    """Return the standard uncertainty of what a seat reads and of a mass laid on it, in kg."""
    names = ("measurement.u-seat", "measurement.u-mass")
    seat, mass = (catalog.fact(name).number() for name in names)
    return seat, mass


def _fit(trials: list[SeatTrial], catalog: Catalog) -> FittedLine:
    u, u_mass = _uncertainties(catalog)
    x = np.array([t.applied_kg for t in trials])
    y = np.array([_read(t) for t in trials])
    return fit_line_both(x, y, np.full(len(trials), u_mass), np.full(len(trials), u))


def _figures(trials: list[SeatTrial], catalog: Catalog) -> str:
    line = _fit(trials, catalog)
    straight = "straight" if line.fits else "not straight"
    return (
        f"Zero {line.offset:+.2f} kg ({line.u_offset:.2g}), slope {line.slope:.3f} "
        f"({line.u_slope:.2g}), {straight}, up-down gap {_gap(trials):.1f} kg."
    )
