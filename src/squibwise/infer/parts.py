"""One component in inference: its conditions, circuits and what is believed of them beforehand."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.components import Kind
from squibwise.catalog.firing import ConditionRow
from squibwise.model.words import STATES, State

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
_FAULTY = ("open", "low", "leak", "other", "before")
GONE = ("absent", "loaded")  # loaded: with a resistor left in its place


class Micro(msgspec.Struct, frozen=True):
    """One thing a component can be like.

    Attributes:
        fired: How many of its charges are spent, counted from the first stage.
        condition: ``ok``, ``plug``, ``open``, ``low``, ``leak``, ``other``, ``before``,
            ``damaged``, ``unfit`` or ``absent``. ``plug`` = sound, but its own plug is not home;
            ``before`` = its circuit was open already before the crash.
        stage: Circuit that ``open``, ``low`` and ``plug`` hold for.
    """

    fired: int
    condition: str
    stage: int = 1

    @property
    def state(self) -> State:
        """The component's state in the words of the model."""
        if self.fired:
            return "fired"
        if self.condition in _FAULTY:
            return "faulty"
        if self.condition in GONE:
            return "missing"
        return "sound" if self.condition in ("ok", "plug") else self.condition  # type: ignore[return-value]

    def circuit(self, stage: int) -> str:
        """Return what the circuit of one stage is like, as a row of the scan table."""
        if self.condition == "absent":
            return "unplugged"
        if self.fired >= stage:
            return "spent"
        if self.condition in ("damaged", "unfit"):
            return self.condition
        if self.stage != stage or self.condition in ("ok", "loaded"):
            return "good"
        return {"plug": "half-seated", "before": "open"}.get(self.condition, self.condition)


class PartModel(msgspec.Struct, frozen=True):
    """One component.

    Attributes:
        id: Component id.
        kind: Its kind.
        stages: Number of circuits; 0 for parts without one.
        micros: What it can be like.
        prior: Chance of each micro by damage class and by what its cluster fired: (K, Z, M).
        classes: Damage class of each row of the event table; None = one class.
    """

    id: str
    kind: Kind
    stages: int
    micros: tuple[Micro, ...]
    prior: Array
    classes: Ints | None = None

    def states(self) -> Array:
        """Return which state each micro belongs to: (M, states) of 0 and 1."""
        table = np.zeros((len(self.micros), len(STATES)))
        for row, micro in enumerate(self.micros):
            table[row, STATES.index(micro.state)] = 1.0
        return table


def has_plug(kind: Kind) -> bool:
    """Return whether a kind has a plug of its own that can be left loose."""
    return kind.circuit and kind.family not in ("wiring", "unit")


def micros(kind: Kind, stages: int) -> tuple[Micro, ...]:
    """Return what a component of this kind can be like."""
    whole = [Micro(0, "ok")]
    if kind.circuit:
        kept = ("open", "low", "plug") if has_plug(kind) else ("open", "low")
        whole += [Micro(0, c, s) for c in kept for s in range(1, stages + 1)]
        whole += [Micro(0, "leak"), Micro(0, "other")]
    if kind.fires:
        whole += [Micro(0, "before")]
    whole += [Micro(0, c) for c in ("damaged", "unfit", "absent")]
    whole += [Micro(0, "loaded")] if kind.fires else []
    fired = [Micro(k, "ok") for k in range(1, stages + 1)] if kind.fires else []
    return tuple(whole + fired)


def charged_part(
    component: str, kind: Kind, stages: int, row: ConditionRow, fires: Array, loose: float
) -> PartModel:
    """Return a part with charges.

    Args:
        component: Component id.
        kind: Its kind.
        stages: Number of charges.
        row: Prior conditions of its family.
        fires: Chance of 0, 1 ... spent charges by what its cluster fired: (Z, stages + 1).
        loose: Chance that its own plug is not home.
    """
    names = micros(kind, stages)
    free = 1.0 - row.before - row.absent - row.loaded
    prior = np.zeros((1, fires.shape[0], len(names)))
    for column, micro in enumerate(names):
        if micro.condition in ("before", *GONE):
            prior[0, :, column] = getattr(row, micro.condition)
        elif micro.fired:
            prior[0, :, column] = free * fires[:, micro.fired]
        else:
            prior[0, :, column] = free * fires[:, 0] * _condition(row, micro, stages, loose)
    return PartModel(component, kind, stages, names, prior / prior.sum(axis=-1, keepdims=True))


def plain_part(
    component: str,
    kind: Kind,
    row: ConditionRow,
    damage: Array,
    loose: float,
    classes: Ints | None,
) -> PartModel:
    """Return a part without a charge.

    Args:
        component: Component id.
        kind: Its kind.
        row: Prior conditions of its family.
        damage: Chance of damage by damage class and by what its cluster fired: (K, Z).
        loose: Chance that its own plug is not home, for parts with a circuit.
        classes: Damage class by row of the event table.
    """
    stages = 1 if kind.circuit else 0
    names = micros(kind, stages)
    prior = np.zeros((*damage.shape, len(names)))
    for column, micro in enumerate(names):
        if micro.condition == "damaged":
            prior[:, :, column] = damage
        else:
            share = _condition(row, micro, 1, loose) / (1.0 - row.damaged)
            prior[:, :, column] = (1.0 - damage) * share
    return PartModel(
        component, kind, stages, names, prior / prior.sum(axis=-1, keepdims=True), classes
    )


def _condition(row: ConditionRow, micro: Micro, stages: int, loose: float) -> float:
    """Return the chance of one condition of a part that has not fired."""
    if micro.condition == "plug":
        return loose / stages
    if micro.condition != "ok":
        return float(getattr(row, micro.condition))
    circuits = stages * (row.open + row.low) + row.leak + row.other
    return 1.0 - circuits - loose - row.damaged - row.unfit - row.absent
