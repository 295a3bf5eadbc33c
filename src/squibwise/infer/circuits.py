"""What a scan should say of each circuit, and how likely what it did say is."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS, OUTCOMES, Firing
from squibwise.infer.causes import Cause
from squibwise.infer.parts import Part

Array = npt.NDArray[np.float64]
OUTCOME_OF = {
    "open-or-high": "open",
    "low-or-short": "low",
    "short-to-ground": "leak",
    "short-to-battery": "leak",
    "cross-short": "leak",
}
_STATUS_WORDS = ("present", "intermittent", "pending")
_OWN_STATUS = ("good", "spent", "unplugged")


class Reach(msgspec.Struct, frozen=True):
    """How far one scan reached on one circuit.

    Attributes:
        clean: Weight of silence as evidence while the unit watches: 0 = none, 1 = full.
        unit_states: Number of states of the unit in the event table.
        may_stop: May this unit have stopped watching by the time of the scan.
        disturbed: Share of circuits with a code, where supply or bus may be behind them; None
            where this report gives no sign of it.
    """

    clean: float
    unit_states: int
    may_stop: bool
    disturbed: float | None


def circuit_table(part: Part, reasons: tuple[Cause, ...], place: int, loose: float) -> Array:
    """Return what each circuit is like: weights over (causes, micros, stages, ``CIRCUITS``).

    Args:
        part: The component.
        reasons: Common causes of its group.
        place: Place in time of the scan.
        loose: Chance that it was unplugged at the time.
    """
    own = np.zeros((len(part.micros), part.stages, len(CIRCUITS)))
    for m, micro in enumerate(part.micros):
        for s in range(part.stages):
            own[m, s, CIRCUITS.index(micro.circuit(s + 1))] = 1.0
    unplugged = np.eye(len(CIRCUITS))[CIRCUITS.index("unplugged")]
    spent = own[:, :, CIRCUITS.index("spent"), None] > 0.0
    result = []
    for cause in reasons:
        opens = cause.opens if cause.active(place) and part.id in cause.members else 0.0
        opens = 1.0 - (1.0 - opens) * (1.0 - loose)
        result.append(np.where(spent, own, opens * unplugged + (1.0 - opens) * own))
    return np.array(result)


def _status(status: tuple[str, ...], firing: Firing) -> Array:
    """Return the chance of a code's status word by circuit; ones when it tells nothing."""
    word = next((w for w in _STATUS_WORDS if w in status), None)
    if word is None:
        return np.ones(len(CIRCUITS))
    rows = {r.circuit: float(getattr(r, word)) for r in firing.scans.status}
    return np.array([rows[c if c in _OWN_STATUS else "fault"] for c in CIRCUITS])


class Told(msgspec.Struct, frozen=True):
    """One line of a report, as far as it may be about this part.

    Attributes:
        stage: Stage it names; None when it names none.
        outcome: Place in ``OUTCOMES``; None = some fault, not told which.
        weight: Chance that the line is about this part at all.
        elsewhere: Chance that its other readings would have been found, were it about them.
        status: Status words.
    """

    stage: int | None
    outcome: int | None
    weight: float
    status: tuple[str, ...]
    elsewhere: float


def scan_likelihood(
    part: Part, table: Array, told: tuple[Told, ...], reach: Reach, firing: Firing
) -> Array:
    """Return how likely it is that a scan says exactly this: (unit states, causes, micros)."""
    rows = np.array([firing.circuit_rows[c] for c in CIRCUITS])
    watching = _said(part, table, told, reach.clean, rows, firing)
    if reach.unit_states == 1:
        return watching[None]
    stopped = watching
    if reach.may_stop:
        stopped = _said(part, table, told, reach.clean, _stopped_rows(rows, firing), firing)
    states = [watching, stopped]
    if reach.unit_states > len(states):
        states.append(_disturbed(watching, part, told, reach))
    return np.stack(states)


def _disturbed(watching: Array, part: Part, told: tuple[Told, ...], reach: Reach) -> Array:
    """Return the likelihood of a part's codes when supply or bus is behind them.

    Any circuit may then show a code, good or not: as often as circuits do in this very report.
    """
    if reach.disturbed is None:
        return watching
    found = min(len(told), part.stages)
    chance = reach.disturbed**found * (1.0 - reach.clean * reach.disturbed) ** (part.stages - found)
    return np.full_like(watching, chance)


def _stopped_rows(rows: Array, firing: Firing) -> Array:
    """Return the scan table of a unit that stopped watching: it shows what it had noted."""
    reach = firing.scans.reach
    kept = [
        reach.kept_if_spent.value if c == "spent" else reach.kept_if_not_spent.value
        for c in CIRCUITS
    ]
    result = rows * np.array(kept)[:, None]
    result[:, 0] = 1.0 - result[:, 1:].sum(axis=1)
    return np.asarray(result)


def _said(
    part: Part, table: Array, told: tuple[Told, ...], clean: float, rows: Array, firing: Firing
) -> Array:
    """Return the likelihood under one scan table, over every reading of the lines."""
    silent = 1.0 - clean * (1.0 - table @ rows[:, 0])
    total = np.zeros(table.shape[:2])
    for weight, said in _meanings(told, part.stages):
        likelihood = np.ones(table.shape[:2])
        for stage in range(part.stages):
            line = said.get(stage)
            if line is None:
                likelihood = likelihood * silent[:, :, stage]
            else:
                found = rows[:, 1:].sum(axis=1) if line.outcome is None else rows[:, line.outcome]
                shown = found * _status(line.status, firing)
                likelihood = likelihood * (table[:, :, stage] @ shown)
        total = total + weight * likelihood
    return total


def _meanings(told: tuple[Told, ...], stages: int) -> list[tuple[float, dict[int, Told]]]:
    """Return every way to read the lines, with its weight: which stage each of them is about."""
    meanings: list[tuple[float, dict[int, Told]]] = [(1.0, {})]
    for line in told:
        extended = []
        for weight, said in meanings:
            if line.weight < 1.0:
                extended.append((weight * (1.0 - line.weight) * line.elsewhere, said))
            for share, hit in _stages_of(line, stages):
                both = dict.fromkeys(hit, line) | said
                extended.append((weight * line.weight * share, both))
        meanings = extended
    return meanings


def _stages_of(line: Told, stages: int) -> list[tuple[float, tuple[int, ...]]]:
    """Return which circuits a line may be about: one that names no stage may mean all."""
    if line.stage is not None:
        return [(1.0, (min(line.stage, stages) - 1,))]
    if stages == 1:
        return [(1.0, (0,))]
    every = tuple(range(stages))
    return [(0.5, every), *((0.5 / stages, (s,)) for s in every)]


def outcome_of(fault: str, *, fires: bool) -> int | None:
    """Return the place of a fault word among the outcomes; None when it only says faulty.

    A sensor or switch that does not answer is as good as open.
    """
    if fault == "unknown" or (fault == "communication" and not fires):
        return None
    return OUTCOMES.index(OUTCOME_OF.get(fault, "other"))


def gone_with_a_load(part: Part, table: Array, firing: Firing) -> Array:
    """Return the chance that a code goes with a load in place of the device: (causes, micros).

    Args:
        part: The device.
        table: What its circuit is like: weights over (causes, micros, ``CIRCUITS``).
        firing: The catalogue's figures.
    """
    tests = firing.scans.tests
    unplugged = table[:, :, CIRCUITS.index("unplugged")]
    elsewhere = tests.gone_if_elsewhere.value
    result = (1.0 - unplugged) * tests.gone_if_device.value + unplugged * elsewhere
    own = np.array([m.condition == "absent" for m in part.micros])
    loose = np.array([m.condition == "plug" for m in part.micros])
    result = np.where(own, tests.gone_if_device.value, result)
    return np.asarray(np.where(loose, tests.gone_if_plug.value, result))
