"""One component in inference: its conditions, circuits and what is believed of them beforehand."""

from functools import lru_cache

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
LOOSE = ("connector-open", "connector-low")  # off, or its shorting bar not lifted: all stages


class Micro(msgspec.Struct, frozen=True):
    """One thing a component can be like.

    Attributes:
        fired: How many of its charges are spent, counted from the first stage.
        condition: ``ok``, ``open``, ``low``, ``leak``, ``other``, ``before``, ``damaged``,
            ``unfit``, one of ``GONE`` or one of ``LOOSE``. Loose = sound, but its own connector is
            not home; ``before`` = its circuits were open already before the crash; ``bridged`` =
            fired, with a load in its circuit; ``not-fitted`` = the car never had it.
        stage: Circuit that ``open`` and ``low`` hold for.
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
        if self.condition in ("ok", "not-fitted", *LOOSE):
            return "sound"
        return self.condition  # type: ignore[return-value]

    def circuit(self, stage: int) -> str:
        """Return what the circuit of one stage is like, as a row of the scan table."""
        if self.condition == "absent":
            return "unplugged"
        if self.condition in ("ok", "loaded", "bridged", "not-fitted"):
            return "spent" if self.fired >= stage and self.condition == "ok" else "good"
        if self.condition in ("damaged", "unfit", *LOOSE):
            return self.condition
        if self.condition == "before":
            return "open"
        return self.condition if self.stage == stage else "good"


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
        return _state_table(self.micros)


@lru_cache(maxsize=64)
def _state_table(micros: tuple[Micro, ...]) -> Array:
    return np.array([[float(m.state == s) for s in STATES] for m in micros])


def has_plug(kind: Kind) -> bool:
    """Return whether a kind has a plug of its own that can be left loose."""
    return kind.circuit and kind.family not in ("wiring", "unit")


def micros(kind: Kind, stages: int) -> tuple[Micro, ...]:
    """Return what a component of this kind can be like."""
    whole = [Micro(0, "ok")]
    if kind.circuit:
        whole += [Micro(0, c, s) for c in ("open", "low") for s in range(1, stages + 1)]
        whole += [Micro(0, c) for c in LOOSE] if has_plug(kind) else []
        whole += [Micro(0, "leak"), Micro(0, "other")]
    if kind.fires:
        whole += [Micro(0, "before")]
    whole += [Micro(0, c) for c in ("damaged", "unfit", "absent", "not-fitted")]
    whole += [Micro(0, "loaded")] if kind.fires else []
    fired = [Micro(k, "ok") for k in range(1, stages + 1)] if kind.fires else []
    fired += [Micro(stages, "bridged")] if kind.fires else []
    return tuple(whole + fired)


class Rates(msgspec.Struct, frozen=True):
    """What a part is like before anything is seen of it, whatever the crash did.

    Attributes:
        row: Conditions of its family.
        loose: Chance of each of ``LOOSE``; zeros for a part without a connector of its own.
        load: Chance that a load was left in its circuit, had it fired or been taken out.
        fitted: Chance that the car has it at all.
    """

    row: ConditionRow
    loose: tuple[float, float] = (0.0, 0.0)
    load: float = 0.0
    fitted: float = 1.0


def charged_part(component: str, kind: Kind, stages: int, rates: Rates, fires: Array) -> PartModel:
    """Return a part with charges.

    Args:
        component: Component id.
        kind: Its kind.
        stages: Number of charges.
        rates: What it is like beforehand.
        fires: Chance of 0, 1 ... spent charges by what its cluster fired: (Z, stages + 1).
    """
    row, load = rates.row, rates.load
    names = micros(kind, stages)
    prior = np.zeros((1, fires.shape[0], len(names)))
    for column, micro in enumerate(names):
        if micro.condition == "before":
            prior[0, :, column] = row.before
        elif micro.condition in GONE:
            prior[0, :, column] = load if micro.condition == "loaded" else row.absent
        elif micro.condition == "bridged":
            prior[0, :, column] = load * fires[:, stages]
        elif micro.fired:
            prior[0, :, column] = fires[:, micro.fired]
        elif micro.condition != "not-fitted":
            prior[0, :, column] = fires[:, 0] * _condition(rates, micro, stages)
    return PartModel(component, kind, stages, names, _as_fitted(prior, names, rates))


def plain_part(
    component: str, kind: Kind, rates: Rates, damage: Array, classes: Ints | None = None
) -> PartModel:
    """Return a part without a charge.

    Args:
        component: Component id.
        kind: Its kind.
        rates: What it is like beforehand.
        damage: Chance of damage by damage class and by what its cluster fired: (K, Z).
        classes: Damage class by row of the event table.
    """
    stages = 1 if kind.circuit else 0
    names = micros(kind, stages)
    prior = np.zeros((*damage.shape, len(names)))
    for column, micro in enumerate(names):
        if micro.condition == "damaged":
            prior[:, :, column] = damage
        elif micro.condition != "not-fitted":
            share = _condition(rates, micro, 1) / (1.0 - rates.row.damaged)
            prior[:, :, column] = (1.0 - damage) * share
    return PartModel(component, kind, stages, names, _as_fitted(prior, names, rates), classes)


def _as_fitted(prior: Array, names: tuple[Micro, ...], rates: Rates) -> Array:
    """Return a prior that sums to one, with the chance that the car never had the part."""
    absent = np.array([m.condition == "not-fitted" for m in names])
    fitted = prior / prior.sum(axis=-1, keepdims=True)
    return np.asarray(np.where(absent, 1.0 - rates.fitted, rates.fitted * fitted))


def _condition(rates: Rates, micro: Micro, stages: int) -> float:
    """Return the chance of one condition of a part that has not fired."""
    row = rates.row
    if micro.condition in LOOSE:
        return rates.loose[LOOSE.index(micro.condition)]
    if micro.condition != "ok":
        return float(getattr(row, micro.condition))
    circuits = stages * (row.open + row.low) + row.leak + row.other
    return 1.0 - circuits - sum(rates.loose) - row.damaged - row.unfit - row.absent
