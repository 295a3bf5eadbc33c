"""Verdicts on seat trials: conditions, up and down, tolerance, straightness, hysteresis."""

import math

import numpy as np

from squibwise.catalog.load import Catalog
from squibwise.history.order import History
from squibwise.model.evidence import SeatTrial
from squibwise.model.names import split_component
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome
from squibwise.numerics.measurement import fit_line_both
from squibwise.prove.limits import Limits, because_of, judged

Judged = tuple[Outcome, str, str]


def seat_verdicts(history: History, catalog: Catalog) -> list[Verdict]:
    """Return a verdict on the trials of every seat sensor that was tried."""
    components = dict.fromkeys(t.component for _, t in history.all_of(SeatTrial))
    return [_verdict(component, history, catalog) for component in components]


def _verdict(component: str, history: History, catalog: Catalog) -> Verdict:
    every = [(n, t) for n, t in history.all_of(SeatTrial) if t.component == component]
    work = last_seat_work(history, component, catalog)
    trials = [t for n, t in every if n > work]
    outcome, text, remedy = _judge(trials, component, catalog)
    facts = (catalog.fact("seat-trial.tolerance"), catalog.fact("seat-trial.empty"))
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


def _judge(trials: list[SeatTrial], component: str, catalog: Catalog) -> Judged:
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
    if not _up_and_down(trials):
        text = "The loads were not laid on and taken off in steps, up and down."
        return "undecided", text, "Load in at least two steps up and down again, ending empty."
    return _judge_readings(trials, component, catalog)


def _missing_conditions(trials: list[SeatTrial]) -> list[str]:
    asked = {
        "temperature": all(t.cabin_c is not None for t in trials),
        "voltage": all(t.volts is not None for t in trials),
        "seat position": all(t.seat_position for t in trials),
        "reading": all(t.read_kg is not None for t in trials),
    }
    return [name for name, there in asked.items() if not there]


def _odd_conditions(trials: list[SeatTrial], catalog: Catalog) -> list[str]:
    cold, warm = (catalog.fact(f"seat-trial.{e}").number() for e in ("coldest", "warmest"))
    volts = catalog.fact("seat-trial.least-volts").number()
    odd = [f"{t.cabin_c:g} degC" for t in trials if not cold <= (t.cabin_c or 0.0) <= warm]
    odd += [f"{t.volts:g} V" for t in trials if (t.volts or 0.0) < volts]
    return list(dict.fromkeys(odd))


def _up_and_down(trials: list[SeatTrial]) -> bool:
    """Return whether a load was laid on in steps and taken off again."""
    applied = [t.applied_kg for t in trials]
    top = applied.index(max(applied))
    up, down = applied[: top + 1], applied[top:]
    rises = len(set(up)) >= 3 and up == sorted(up)
    falls = len(set(down)) >= 2 and down == sorted(down, reverse=True)
    return rises and falls


def _judge_readings(trials: list[SeatTrial], component: str, catalog: Catalog) -> Judged:
    """Return the decision on readings; the example tolerance can refuse but never pass them."""
    u = catalog.fact("measurement.u-seat").number()
    worst = max((t for t in trials), key=lambda t: abs((t.read_kg or 0.0) - t.applied_kg))
    deviation = (worst.read_kg or 0.0) - worst.applied_kg
    half = catalog.fact("seat-trial.tolerance").number()
    limits = Limits(low=-half, high=half, source="one maker's example")
    u_mass = catalog.fact("measurement.u-mass").number()
    outcome, _ = judged(deviation, math.hypot(u, u_mass), limits, catalog)
    figures = f"{_figures(trials, u, u_mass)} Worst {deviation:+.1f} kg at {worst.applied_kg:g} kg"
    if outcome == "not met":
        return "not met", f"{figures}: more than {half:g} kg, one maker's example.", ""
    remedy = (
        "Compare with the maker's limits for this car and record passed "
        f"'seat-trials:{component}' with the document in its note and who compared it."
    )
    return "undecided", f"{figures}. The maker's tolerance is not known here.", remedy


def _figures(trials: list[SeatTrial], u: float, u_mass: float) -> str:
    x = np.array([t.applied_kg for t in trials])
    y = np.array([t.read_kg or 0.0 for t in trials])
    line = fit_line_both(x, y, np.full(len(trials), u_mass), np.full(len(trials), u))
    gap = max((float(np.ptp(y[x == load])) for load in np.unique(x)), default=0.0)
    straight = "straight" if line.fits else "not straight"
    return (
        f"Zero {line.offset:+.2f} kg ({line.u_offset:.2g}), slope {line.slope:.3f} "
        f"({line.u_slope:.2g}), {straight}, up-down gap {gap:.1f} kg."
    )
