"""One component: what it can be like, what is believed beforehand, and what work does to it."""

from collections.abc import Sequence
from functools import lru_cache
from operator import itemgetter

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.components import Kind
from squibwise.catalog.firing import ConditionRow
from squibwise.catalog.load import Catalog, list_carriers
from squibwise.history.order import History, is_verified
from squibwise.history.returned import Course
from squibwise.model.evidence import Look, Recorder
from squibwise.model.names import split_loop
from squibwise.model.report import Report
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
    return _micros(stages, circuit=kind.circuit, plug=has_plug(kind), fires=kind.fires)


@lru_cache(maxsize=64)
def _micros(stages: int, *, circuit: bool, plug: bool, fires: bool) -> tuple[Micro, ...]:
    whole = [Micro(0, "ok")]
    if circuit:
        whole += [Micro(0, c, s) for c in ("open", "low") for s in range(1, stages + 1)]
        whole += [Micro(0, c) for c in LOOSE] if plug else []
        whole += [Micro(0, "leak"), Micro(0, "other")]
    if fires:
        whole += [Micro(0, "before")]
    whole += [Micro(0, c) for c in ("damaged", "unfit", "absent", "not-fitted")]
    whole += [Micro(0, "loaded")] if fires else []
    fired = [Micro(k, "ok") for k in range(1, stages + 1)] if fires else []
    fired += [Micro(stages, "bridged")] if fires else []
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
    prior = (fires[:, :1] * _conditions(row, rates.loose, names, stages))[None]
    for column, micro in enumerate(names):
        if micro.condition == "before":
            prior[0, :, column] = row.before
        elif micro.condition in GONE:
            prior[0, :, column] = load if micro.condition == "loaded" else row.absent
        elif micro.condition == "bridged":
            prior[0, :, column] = load * fires[:, stages]
        elif micro.fired:
            prior[0, :, column] = fires[:, micro.fired]
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
    share = _conditions(rates.row, rates.loose, names, 1) / (1.0 - rates.row.damaged)
    prior = (1.0 - damage)[:, :, None] * share
    prior[:, :, names.index(_DAMAGED)] = damage
    return PartModel(component, kind, stages, names, _as_fitted(prior, names, rates), classes)


def _as_fitted(prior: Array, names: tuple[Micro, ...], rates: Rates) -> Array:
    """Return a prior that sums to one, with the chance that the car never had the part."""
    fitted = prior / prior.sum(axis=-1, keepdims=True)
    if rates.fitted < 1.0:
        fitted *= rates.fitted
        fitted[..., names.index(_NEVER_THERE)] = 1.0 - rates.fitted
    return np.asarray(fitted)


_DAMAGED, _NEVER_THERE = Micro(0, "damaged"), Micro(0, "not-fitted")


@lru_cache(maxsize=128)
def _conditions(
    row: ConditionRow, loose: tuple[float, float], names: tuple[Micro, ...], stages: int
) -> Array:
    """Return the chance of each condition of a part that has not fired: never changed."""
    return np.array([_condition(row, loose, micro, stages) for micro in names])


def _condition(row: ConditionRow, loose: tuple[float, float], micro: Micro, stages: int) -> float:
    """Return the chance of one condition of a part that has not fired; 0 for what is told apart."""
    if micro.fired or micro.condition in ("before", "not-fitted", "loaded"):
        return 0.0
    if micro.condition in LOOSE:
        return loose[LOOSE.index(micro.condition)]
    if micro.condition != "ok":
        return float(getattr(row, micro.condition))
    circuits = stages * (row.open + row.low) + row.leak + row.other
    return 1.0 - circuits - sum(loose) - row.damaged - row.unfit - row.absent


class OnComponent(msgspec.Struct, frozen=True):
    """Likelihood over (unit states, causes, micros) of one part at a place in time.

    Attributes:
        part: Component id.
        place: Place in time; a half after a piece of work that it verifies.
        values: (1 or unit states, 1 or causes, micros).
    """

    part: str
    place: float
    values: Array


class EpochChain(msgspec.Struct, frozen=True):
    """The evidence on one part along its epochs.

    Attributes:
        likelihood: Of all its evidence, by what it was like after the crash: (U, C, M).
        works: What each work did: (M, M) before to after.
        told: Likelihood of the evidence of each epoch, one more than works: (U, C, M).
    """

    likelihood: Array
    works: tuple[Array, ...]
    told: tuple[Array, ...]


def work_matrices(
    part: PartModel,
    near: tuple[frozenset[str], frozenset[str]],
    line: History,
    repairs: Course,
    catalog: Catalog,
) -> tuple[tuple[float, Array], ...]:
    """Return the places of work that touched a part and what each does: (M, M) before to after.

    Args:
        part: The part.
        near: Components on its plug, and components beside it.
        line: The case's evidence in order of time.
        repairs: What became of the repairs among it.
        catalog: What work does.
    """
    result = _works_on(part, near, line, repairs, catalog) if line.works else []
    result += _done_unsaid(part, line, catalog)
    at = taken_off_at(part, line, catalog)
    if at is not None:
        result.append((at, _taken_off(part, catalog)))
    return tuple(sorted(result, key=itemgetter(0)))


def _works_on(
    part: PartModel,
    near: tuple[frozenset[str], frozenset[str]],
    line: History,
    repairs: Course,
    catalog: Catalog,
) -> list[tuple[float, Array]]:
    """Return what work on a part, beside it, or on what it is replaced with does to it."""
    (mates, beside), carriers = near, list_carriers(part.id, catalog)
    result: list[tuple[float, Array]] = []
    for place, work in line.works_on(mates | beside | carriers | {part.id}):
        renewed = work.component in carriers and work.what == "replaced"
        if work.component == part.id or renewed:
            entry = line.entries[place]
            held = is_verified(entry) and not repairs.refutes(entry)
            mended = held and work.what == "reseated"
            matrix = _mended(part, catalog) if mended else _work(part, work.what, catalog)
        else:
            figure = "own_disturbed" if work.component in mates else "own_beside"
            matrix = _disturbed(part, work.what, figure, catalog)
        if matrix is not None:
            result.append((float(place), matrix))
    return result


CRASH = -1.0  # place in time of what the crash recorder wrote: before all that was done since


def taken_off_at(part: PartModel, line: History, catalog: Catalog) -> float | None:
    """Return the place at which a part seen gone was taken off unsaid; None when nothing tells.

    What a record lists as fired, or an earlier look saw, was there then: both can be true.
    """
    if not part.kind.fires:
        return None
    looks = [(at, e) for at, e in line.all_of(Look) if split_loop(e.component)[0] == part.id]
    words = catalog.looks(part.kind.kind) if looks else {}
    gone = [(at, e) for at, e in looks if e.seen in words and words[e.seen].shows == "gone"]
    if not gone:
        return None
    last, seen = gone[-1]
    since = max((at for at, w in line.works if w.component == part.id and at < last), default=-1)
    there = [float(at) for at, e in looks if since < at < last and _is_earlier(e, seen)]
    records = [e for _, e in line.all_of(Recorder)] if since < 0 else []
    listed = {split_loop(n)[0] for e in records for n in (*e.commanded, *e.commanded_ms)}
    there += [CRASH] if part.id in listed else []
    return max(there) + _SOON_AFTER if there else None


_SOON_AFTER = 0.125
_SAYS_NOTHING = ("missing", "not-seen")


def _is_earlier(look: Look, than: Look) -> bool:
    """Return whether a look that saw a part is on record as earlier than another."""
    if look.time is None or than.time is None or look.seen in _SAYS_NOTHING:
        return False
    return look.time < than.time


def _taken_off(part: PartModel, catalog: Catalog) -> Array:
    """Return the chance that a part was taken off and nobody wrote it down."""
    chance = catalog.firing.conditions.work["taken_off_unsaid"].value
    gone = np.array([m.condition in GONE for m in part.micros])
    there = np.array([m.condition != "not-fitted" for m in part.micros]) & ~gone
    usual = np.where(gone, part.prior.sum(axis=(0, 1)), 0.0)
    left = np.diag(np.where(there, 1.0 - chance, 1.0))
    return np.asarray(left + np.outer(np.where(there, chance, 0.0), usual / usual.sum()))


def _done_unsaid(part: PartModel, line: History, catalog: Catalog) -> list[tuple[float, Array]]:
    """Return what goes on unsaid with the last work before a report after it.

    Plugs are set home, else a code that the last scan no longer lists could only be a part that is
    hurt. And a load is put in place of what is spent or gone.
    """
    reports = line.all_of(Report)
    done = next((at for at, e in reports if e.when == "after-repair"), None)
    if done is None or done == reports[0][0] or not has_plug(part.kind):
        return []
    chance = catalog.firing.conditions.plugs["set_home_unsaid"].value
    worked = max((at for at, _ in line.works if at < done), default=done - 1)
    matrix = _healing(part, LOOSE, chance)
    if part.kind.fires:
        matrix = matrix @ _loaded(part, catalog.firing.conditions.loads["rebuilt"].value)
    return [(worked + _RIGHT_AFTER, matrix)]


def _loaded(part: PartModel, chance: float) -> Array:
    """Return the chance that a load was put in place of a part that is spent or gone."""
    matrix, bridged = np.eye(len(part.micros)), Micro(part.stages, "bridged")
    for row, micro in enumerate(part.micros):
        if micro.condition == "absent" or (micro.fired and micro != bridged):
            there = bridged if micro.fired else Micro(0, "loaded")
            matrix[row, row], matrix[row, part.micros.index(there)] = 1.0 - chance, chance
    return matrix


_RIGHT_AFTER = 0.25


def _work(part: PartModel, what: str, catalog: Catalog) -> Array | None:
    """Return what work on the part itself does; None = nothing."""
    work, plugs = catalog.firing.conditions.work, catalog.firing.conditions.plugs
    if what == "replaced":
        return np.tile(_new_part(part, catalog), (len(part.micros), 1))
    if what == "reseated":
        matrix = _healing(part, ("open", "low"), work["reseat_heals"].value)
        matrix = matrix @ _healing(part, LOOSE, plugs["own_healed"].value)
        return matrix @ _loosening(part, plugs["own_reseated"].value)
    if what == "repaired":
        return _healing(part, _FAULTS, work["repair_heals"].value)
    figure = "own_disconnected" if what == "disconnected" else "own_disturbed"
    return _disturbed(part, what, figure, catalog)


_FAULTS = ("open", "low", "leak", "other", "before", "damaged", *LOOSE)


def _mended(part: PartModel, catalog: Catalog) -> Array:
    """Return what work at a connector does that held: whatever was wrong may have been there."""
    work, plugs = catalog.firing.conditions.work, catalog.firing.conditions.plugs
    healed = _healing(part, _FAULTS, work["repair_heals"].value)
    return healed @ _loosening(part, plugs["own_reseated"].value)


def _disturbed(part: PartModel, what: str, figure: str, catalog: Catalog) -> Array | None:
    """Return what pulling its plug, or work beside it, does to a part: a loose plug, a fault."""
    if what not in ("disconnected", "replaced", "repaired") or not has_plug(part.kind):
        return None
    plugs = catalog.firing.conditions.plugs
    matrix = _loosening(part, plugs[figure].value)
    faults = [i for i, m in enumerate(part.micros) if m.condition in ("open", "low", "leak")]
    broken = plugs["broken_by_work"].value
    matrix[0, 0] -= broken
    matrix[0, faults] += broken / len(faults)
    return matrix


def _healing(part: PartModel, conditions: tuple[str, ...], chance: float) -> Array:
    matrix = np.eye(len(part.micros))
    for row, micro in enumerate(part.micros):
        if micro.condition in conditions and not micro.fired:
            matrix[row, row] = 1.0 - chance
            matrix[row, 0] += chance
    return matrix


def _loosening(part: PartModel, chance: float) -> Array:
    """Return the chance of leaving a plug loose; a part without a plug of its own stays."""
    matrix = np.eye(len(part.micros))
    if not has_plug(part.kind):
        return matrix
    plugs = [i for i, m in enumerate(part.micros) if m.condition in LOOSE]
    matrix[0, 0] = 1.0 - chance
    matrix[0, plugs] = chance / len(plugs)
    return matrix


def _new_part(part: PartModel, catalog: Catalog) -> Array:
    """Return what a part just fitted is like."""
    work, plugs = catalog.firing.conditions.work, catalog.firing.conditions.plugs
    faulty = [
        i for i, m in enumerate(part.micros) if m.state == "faulty" and m.condition != "before"
    ]
    result = np.zeros(len(part.micros))
    for index, micro in enumerate(part.micros):
        if index in faulty:
            result[index] = work["new_faulty"].value / len(faulty)
        elif micro.condition == "unfit":
            result[index] = work["new_unfit"].value
        elif micro.condition in LOOSE:
            result[index] = plugs["own_new"].value / len(LOOSE)
    result[0] = 1.0 - result.sum()
    return result


def fold_evidence(
    evidence: list[OnComponent], works: tuple[tuple[float, Array], ...], shape: tuple[int, int, int]
) -> EpochChain:
    """Return the evidence on a part folded over its epochs."""
    told = [np.ones(shape) for _ in range(len(works) + 1)]
    for piece in evidence:
        epoch = sum(1 for place, _ in works if place < piece.place)
        told[epoch] = told[epoch] * piece.values
    matrices = tuple(matrix for _, matrix in works)
    return EpochChain(_folded(told[-1], matrices, told), matrices, tuple(told))


def _folded(last: Array, works: Sequence[Array], told: Sequence[Array]) -> Array:
    """Return what the evidence of all epochs says, of the last one with what is asked of it."""
    for matrix, said in zip(reversed(works), reversed(told[:-1]), strict=True):
        last = said * (last @ matrix.T)
    return last


def likelihood_now(made: EpochChain, states: Array) -> Array:
    """Return the likelihood of the evidence and of some micros now, by what it was after the crash.

    Args:
        made: The evidence.
        states: Weights of the micros, 0 to 1: (rows, M).

    Returns:
        (rows, U, C, M).
    """
    return _folded(made.told[-1] * states[:, None, None, :], made.works, made.told)


def chance_now(made: EpochChain, after: Array) -> Array:
    """Return the chance of each micro now, times that of the evidence: (C, M).

    Args:
        made: The evidence.
        after: Chance of what it was like after the crash, this evidence left out: (U, C, M).
    """
    now = after * made.told[0]
    for matrix, said in zip(made.works, made.told[1:], strict=True):
        now = (now @ matrix) * said
    return np.asarray(now.sum(axis=0))


def not_sound(part: PartModel) -> Array:
    """Return which micros call for replacing the part: 0 or 1."""
    return 1.0 - part.states()[:, STATES.index("sound")]
