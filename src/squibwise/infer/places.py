"""Where a fault of a circuit lies: what a part is like, its causes, and what tests say of each."""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS, Firing
from squibwise.infer.circuits import BAR_DOWN, OFF, SPRING, Cause
from squibwise.infer.marginals import PartBelief
from squibwise.infer.network import Group
from squibwise.infer.parts import LOOSE, Micro, PartModel
from squibwise.model.belief import StoryWeight, TestWeight

Array = npt.NDArray[np.float64]


def find_places(marginal: PartBelief, like: Array, group: Group, now: int) -> dict[str, float]:
    """Return by where its fault lies what a circuit is like now, from (C, M, K)."""
    joint = marginal.now[:, :, None] * like
    joint = joint / joint.sum()
    places = _fault_places(marginal.part.micros).reshape(len(_FAULT_PLACES), -1)
    found = dict(zip(_FAULT_PLACES, (places @ joint.sum(axis=0).ravel()).tolist(), strict=True))
    for cause, chances in zip(group.causes, joint, strict=True):
        place = _place_by(cause, marginal.part.id, now)
        found[place] += float((chances * _is_by_cause(marginal.part.micros)).sum())
    return {place: chance for place, chance in found.items() if chance > 0.0}


_OF_THE_PART = ("damaged", "unfit")  # the rest may be in its wiring as well
_FAULT_PLACES = (
    "nowhere",
    "spent",
    "left-out",
    "load",
    "own-connector",
    "shared-connector",
    "clock-spring",
    "part",
)


@lru_cache(maxsize=64)
def _fault_places(micros: tuple[Micro, ...]) -> Array:
    """Return whether a fault lies at each place, by micro and circuit: (places, M, K).

    Of a circuit that is off, or whose shorting bar is down, not by its part, the causes tell where.
    """
    table = np.zeros((len(_FAULT_PLACES), len(micros), len(CIRCUITS)))
    for row, micro in enumerate(micros):
        for column, circuit in enumerate(CIRCUITS):
            if not _is_by_cause(micros)[row, column]:
                place = _FAULT_PLACES.index(_fault_place(circuit, micro.condition))
                table[place, row, column] = 1.0
    return table


@lru_cache(maxsize=64)
def _is_by_cause(micros: tuple[Micro, ...]) -> Array:
    """Return which circuits are so by a cause, and not by what the part is like: (M, K)."""
    table = np.zeros((len(micros), len(CIRCUITS)))
    table[:, CIRCUITS.index(OFF)] = [m.condition != "absent" for m in micros]
    table[:, CIRCUITS.index(BAR_DOWN)] = [m.condition != BAR_DOWN for m in micros]
    return table


def _fault_place(circuit: str, condition: str) -> str:
    """Return where a fault lies, from what the circuit and the part are like."""
    if circuit == "good":
        return "load" if condition in ("loaded", "bridged") else "nowhere"
    places = {OFF: "left-out", "spent": "spent"} | dict.fromkeys(LOOSE, "own-connector")
    return places.get(circuit, "part")


def values_of_outcome(
    weight: TestWeight | StoryWeight,
    table: Array,
    part: PartModel,
    causes: tuple[Cause, ...],
    now: int,
) -> Array:
    """Return how likely an outcome or a story is by what a circuit is like: (causes, micros).

    Args:
        weight: How likely it is by where the fault of the circuit lies.
        table: What the circuit is like: (causes, micros, circuits).
        part: The component.
        causes: Common causes of its group.
        now: Place in time of the outcome.
    """
    told = weight.likely
    likely = np.array([told.get(place, weight.otherwise) for place in _FAULT_PLACES])
    places = np.einsum("pmk,p->mk", _fault_places(part.micros), likely)
    alone = [m.condition in _OF_THE_PART for m in part.micros]
    places[alone] = told.get("device", weight.otherwise)
    by_cause = _is_by_cause(part.micros)
    values = np.einsum("cmk,mk->cm", table, places)
    for row, cause in enumerate(causes):
        chance = likely[_FAULT_PLACES.index(_place_by(cause, part.id, now))]
        values[row] += chance * (table[row] * by_cause).sum(axis=-1)
    return np.asarray(values)


def _place_by(cause: Cause, part: str, now: int) -> str:
    """Return where a circuit is at fault that its part leaves sound."""
    if not cause.active(now) or part not in cause.members:
        return "own-connector"
    return "clock-spring" if cause.name == SPRING else "shared-connector"


def chance_gone_with_load(part: PartModel, table: Array, firing: Firing) -> Array:
    """Return the chance that a code goes once a load stands in place of the device, by micro.

    A fault of the circuit lies in the device or behind it, in connectors and harness. The table
    holds the chance of each of ``CIRCUITS``: (causes, micros, circuits) to (causes, micros).
    """
    tests = firing.scans.tests
    chance = np.full(len(CIRCUITS), tests.gone_if_device.value)
    chance[np.isin(CIRCUITS, ("open", "low", "leak", "other"))] = tests.gone_if_circuit.value
    chance[CIRCUITS.index("unplugged")] = tests.gone_if_elsewhere.value
    result = table @ chance
    special = {"absent": tests.gone_if_device.value}
    special |= dict.fromkeys(LOOSE, tests.gone_if_plug.value)
    own = np.array([special.get(m.condition, np.nan) for m in part.micros])
    return np.asarray(np.where(np.isnan(own), result, own))
