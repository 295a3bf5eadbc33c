"""How far a conclusion moves within the stated ranges of the figures behind it."""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import Figure
from squibwise.catalog.load import Catalog
from squibwise.infer.engine import PartBelief
from squibwise.model.belief import StateRange
from squibwise.model.case import Case
from squibwise.model.evidence import Look
from squibwise.model.names import split_component
from squibwise.model.words import STATES, State

Array = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
_TOLD: tuple[State, ...] = ("fired", "damaged")


def find_ranges(part: PartBelief, case: Case, catalog: Catalog) -> dict[State, StateRange]:
    """Return by state how far its probability moves, where that crosses a limit of decision.

    Each figure that speaks of this part alone is moved to both ends of its range, everything else
    as it is: the odds of the micros it speaks of move with it.
    """
    limits = catalog.firing.scans.tests.decision_limits
    chance, states = part.after.sum(axis=0), part.part.states()
    result: dict[State, StateRange] = {}
    for state in _TOLD:
        column = states[:, STATES.index(state)]
        base = float(chance @ column)
        low, high, figure = base, base, ""
        for name, micros, ratios in _figures(part, case, catalog):
            moved = [_moved(chance, column, micros, ratio) for ratio in ratios]
            if max(moved) - min(moved) > high - low:
                low, high, figure = min(*moved, base), max(*moved, base), name
        if any(low < limit <= high for limit in limits):
            result[state] = StateRange(low=low, high=high, figure=figure)
    return result


def _moved(chance: Array, column: Array, micros: Bools, ratio: float) -> float:
    """Return the chance of a state when the odds of some micros change by a ratio."""
    weighed = np.where(micros, ratio * chance, chance)
    return float(weighed @ column / weighed.sum())


def _figures(
    part: PartBelief, case: Case, catalog: Catalog
) -> Iterator[tuple[str, Bools, tuple[float, float]]]:
    """Yield figures that speak of a part: in words, the micros they raise, and their two ends."""
    kind, events = part.part.kind.kind, catalog.firing.events
    fired = np.array([m.fired > 0 for m in part.part.micros])
    damaged = np.array([m.condition == "damaged" for m in part.part.micros])
    words = catalog.looks(kind)
    for entry in case.evidence:
        if isinstance(entry, Look) and entry.component == part.part.id and entry.seen in words:
            row = words[entry.seen]
            ends = (1.0 / row.range_factor, row.range_factor)
            yield f"how often '{row.text}' is seen of a part that fired", fired, ends
    if kind in events.follow:
        yield "how often it fires with the belts of its seat", fired, _ends(events.follow[kind])
    for charge in events.charge:
        figures = (charge.front, charge.other, charge.belts, charge.rear, charge.rollover)
        known = [f for f in figures if f is not None]
        if charge.kind == kind and known:
            widest = max(known, key=lambda f: f.high - f.low)
            yield "how often it fires with the bags and belts", fired, _ends(widest)
    conditions = catalog.firing.conditions
    for struck in conditions.struck:
        if struck.kind == kind:
            yield "how often a crash hurts it", damaged, _ends(struck.moderate)
    for link in conditions.link:
        if link.kind == kind:
            by = split_component(link.by).kind if "." in link.by else link.by
            yield f"how often a {by} hurts it", damaged, _ends(link.damaged)


def _ends(figure: Figure) -> tuple[float, float]:
    """Return by how much the odds of a figure change towards both ends of its range."""
    low, value, high = (
        p / (1.0 - p) for p in np.clip((figure.low, figure.value, figure.high), 1e-6, 1.0 - 1e-6)
    )
    return float(low / value), float(high / value)
