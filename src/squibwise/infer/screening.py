"""Many cars at once, and one car in several worlds: the event tables as matrix products."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.history.order import read_history
from squibwise.infer.building import build_network
from squibwise.infer.crash import asks_pairs, asks_rollover
from squibwise.infer.engine import Engine, GroupResult, spread
from squibwise.infer.evidence import weigh_evidence
from squibwise.infer.marginals import free_of, given_event_each
from squibwise.infer.network import Likelihood, Network
from squibwise.model.belief import Assessment, ComponentBelief, StateBelief
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, DoneWork, Impact, Recorder
from squibwise.model.report import Report
from squibwise.model.words import STATES
from squibwise.numerics.enumerate import Patterns, enumerate_many

Array = npt.NDArray[np.float64]
_OWN_TABLE = (Report, DoneWork, Recorder)
_FLOOR = 1e-300
Key = tuple[int, bytes]
Pattern = tuple[Array, Array, tuple[str, ...]]


class Screened(msgspec.Struct, frozen=True):
    """What is believed of one car in a list.

    Attributes:
        id: Case id.
        fired: Chance of each charged component having fired in the crash.
        sound: Chance of each component being sound now.
        worlds: The same beliefs in worlds from the mildest to the worst, where they were asked
            for; each with its weight.
    """

    id: str
    fired: dict[str, float]
    sound: dict[str, float]
    worlds: tuple["ScreenedWorld", ...] = ()


class ScreenedWorld(msgspec.Struct, frozen=True):
    """What is believed of one car if the crash was of one size: a share of the event states.

    Attributes:
        weight: Chance of this world; all sum to one.
    """

    weight: float
    fired: dict[str, float]
    sound: dict[str, float]


def screen(
    cases: Sequence[Case],
    catalog: Catalog,
    shifts: Mapping[str, float] | None = None,
    worlds: int = 0,
) -> tuple[Screened, ...]:
    """Return what is believed of many cars, in their order.

    Cars of the same equipment and year whose evidence asks for the same event table share it; the
    answers are those of ``assess``.

    Args:
        cases: The cars.
        catalog: Priors, firing logic and likelihoods.
        shifts: Learned intercepts by curve id. [log odds]
        worlds: Into how many worlds the event states are gathered, by how many parts they are
            expected to have spoiled; what parts have in common is kept between them.
    """
    tables: dict[bytes, list[int]] = {}
    for index, case in enumerate(cases):
        tables.setdefault(_table_of(case, index), []).append(index)
    found: dict[int, Screened] = {}
    for members in tables.values():
        answers = _together([cases[i] for i in members], catalog, shifts or {}, worlds)
        found.update(zip(members, answers, strict=True))
    return tuple(found[i] for i in range(len(cases)))


def _table_of(case: Case, index: int) -> bytes:
    """Return what decides the shape of a case's event table, or a name of its own."""
    if any(isinstance(e, _OWN_TABLE) for e in case.evidence) or asks_pairs(case):
        return f"own {index}".encode()
    words = sorted({e.what for e in case.evidence if isinstance(e, Circumstance)})
    return msgspec.json.encode((case.car, asks_rollover(case), words))


def _together(
    cases: list[Case], catalog: Catalog, shifts: Mapping[str, float], worlds: int
) -> list[Screened]:
    """Return the answers of cases that share one event table."""
    net = build_network(cases[0], catalog, shifts)
    engine = Engine(net, catalog)
    book = _Book(engine, net)
    impacts: dict[Impact, Array] = {}
    shown = [book.add(weigh_evidence(_with(net, case), catalog, impacts)) for case in cases]
    table = np.zeros((len(cases), book.size))
    for row, keys in enumerate(shown):
        table[row, keys] = 1.0
    weights, values = enumerate_many(np.log(engine.prior.ravel()), book.patterns(), table)
    return [
        book.answer(c.id, keys, v[:, 0], book.split(w, keys, worlds))
        for c, keys, w, v in zip(cases, shown, weights, values, strict=True)
    ]


def _with(net: Network, case: Case) -> Network:
    """Return the network with another case's evidence."""
    return msgspec.structs.replace(net, line=read_history(case.evidence))


class _Book:
    """Patterns of evidence, each worked out once. A class because cases add to it one by one.

    Args:
        engine: The network.
        net: The same.
    """

    def __init__(self, engine: Engine, net: Network) -> None:
        self.engine, self.net = engine, net
        self.blank = engine.run(())
        self.index: dict[Key, int] = {}
        self.logs: list[Array] = []
        self.columns: list[Array] = []
        self.names: list[tuple[str, ...]] = []
        self.masks = {
            part.id: np.array(
                [[m.fired > 0, m.state == "sound"] for m in part.micros], dtype=np.float64
            ).T
            for *_, part in net.parts()
        }

    @property
    def size(self) -> int:
        """Number of patterns."""
        return len(self.logs)

    def add(self, likelihoods: tuple[Likelihood, ...]) -> list[int]:
        """Return the patterns that a case shows: one of the event, and one of each group."""
        events = self.engine.event(likelihoods)
        keys = [self._known((-1, events.tobytes()), partial(self._event, events))]
        for group in range(len(self.net.groups)):
            mine = tuple(i for i in likelihoods if group in self.engine.touched(i))
            make = partial(self._group, group, mine)
            keys.append(self._known((group, _content(mine)), make))
        return keys

    def _known(self, key: Key, make: Callable[[], Pattern]) -> int:
        if key not in self.index:
            self.index[key] = self.size
            log, columns, names = make()
            self.logs.append(log)
            self.columns.append(columns)
            self.names.append(names)
        return self.index[key]

    def _event(self, events: Array) -> Pattern:
        shape = self.engine.prior.shape
        log = np.log(np.maximum(np.broadcast_to(events, shape), _FLOOR)).ravel()
        return log, np.zeros((log.size, 0)), ()

    def _group(self, index: int, likelihoods: tuple[Likelihood, ...]) -> Pattern:
        """Return a group's log likelihood and its parts' chances of fired and sound, by event."""
        result = self.engine.group(index, likelihoods)
        log = _log_table(result, self.net, index, self.engine.prior.shape)
        groups = (*self.blank.groups[:index], result, *self.blank.groups[index + 1 :])
        posterior = msgspec.structs.replace(self.blank, groups=groups)
        columns, names, free = [], [], free_of(result)
        for c, cluster in enumerate(self.net.groups[index].clusters):
            for p, part in enumerate(cluster.parts):
                told = given_event_each(posterior, (index, c, p), self.masks[part.id], free)
                columns.append(told.reshape(2, -1))
                names.append(part.id)
        return log, np.concatenate(columns).T, tuple(names)

    def patterns(self) -> Patterns:
        """Return all patterns as tables."""
        return Patterns(np.array(self.logs), np.concatenate(self.columns, axis=1), 1)

    def split(self, weights: Array, keys: list[int], worlds: int) -> tuple[ScreenedWorld, ...]:
        """Return a case's beliefs in worlds of about equal weight, the mildest first."""
        if worlds < 1:
            return ()
        spoiled = sum((self.columns[k][:, 1::2].sum(axis=1) for k in keys), np.zeros(len(weights)))
        order = np.argsort(-spoiled)
        reached = np.cumsum(weights[order]) - 0.5 * weights[order]
        places = np.minimum((reached * worlds).astype(int), worlds - 1)
        shares = np.zeros((worlds, len(weights)))
        shares[places, order] = weights[order]
        totals = shares.sum(axis=1)
        kept = totals > 0.0
        shares, totals = shares[kept] / totals[kept, None], totals[kept]
        fired: list[dict[str, float]] = [{} for _ in totals]
        sound: list[dict[str, float]] = [{} for _ in totals]
        for key in keys:
            for number, means in enumerate((shares @ self.columns[key]).tolist()):
                fired[number].update(zip(self.names[key], means[0::2], strict=True))
                sound[number].update(zip(self.names[key], means[1::2], strict=True))
        rows = zip(totals.tolist(), fired, sound, strict=True)
        return tuple(ScreenedWorld(*row) for row in rows)

    def answer(
        self, case: str, keys: list[int], values: Array, worlds: tuple[ScreenedWorld, ...]
    ) -> Screened:
        """Return one case's beliefs out of the columns of the patterns it shows."""
        starts = np.concatenate([[0], np.cumsum([c.shape[1] for c in self.columns])])
        fired, sound = {}, {}
        for key in keys:
            for place, name in enumerate(self.names[key]):
                column = int(starts[key]) + 2 * place
                fired[name], sound[name] = float(values[column]), float(values[column + 1])
        charged = {p.id for *_, p in self.net.parts() if p.kind.fires}
        told = {n: p for n, p in fired.items() if n in charged}
        return Screened(case, told, sound, worlds)


def _content(likelihoods: tuple[Likelihood, ...]) -> bytes:
    """Return what a group's likelihoods say, as bytes: equal for cases that say the same."""
    parts = sorted((on.part, on.values.tobytes()) for i in likelihoods for on in i.parts)
    seats = sorted((on.group, on.values.tobytes()) for i in likelihoods for on in i.seats)
    return repr((parts, seats)).encode()


def _log_table(result: GroupResult, net: Network, index: int, shape: tuple[int, ...]) -> Array:
    if result.table is None:
        return np.zeros(int(np.prod(shape)))
    table = np.broadcast_to(spread(result.table, net.groups[index]), shape)
    return np.asarray(np.log(np.maximum(table, _FLOOR)).ravel())


_WORLDS = 5


def assess_worlds(
    case: Case,
    assessment: Assessment,
    catalog: Catalog,
    shifts: Mapping[str, float] | None = None,
    worlds: int = _WORLDS,
) -> tuple[tuple[float, Assessment], ...]:
    """Return what would be believed if the crash was mild, harder and so on, each with its chance.

    Chances of fired and sound parts are those of each world; what is neither keeps the shares it
    has over all worlds. Beliefs about the event itself stay as they are.

    Args:
        case: The case.
        assessment: What is believed over all worlds.
        catalog: Priors, firing logic and likelihoods.
        shifts: Learned intercepts by curve id. [log odds]
        worlds: How many at most.
    """
    (found,) = screen((case,), catalog, shifts, worlds)
    return tuple((w.weight, _within(w, assessment)) for w in found.worlds)


def _within(world: ScreenedWorld, assessment: Assessment) -> Assessment:
    components = tuple(_belief(world, c) for c in assessment.components)
    return msgspec.structs.replace(assessment, components=components)


def _belief(world: ScreenedWorld, belief: ComponentBelief) -> ComponentBelief:
    if belief.id not in world.sound:
        return belief
    fired, sound = world.fired[belief.id], world.sound[belief.id]
    now = _moved(belief.now, fired if belief.now.fired > 0.0 else 0.0, sound)
    after = _moved(belief.after_crash, fired, min(sound, 1.0 - fired))
    return msgspec.structs.replace(belief, now=now, after_crash=after)


def _moved(belief: StateBelief, fired: float, sound: float) -> StateBelief:
    """Return a belief with these chances of fired and sound, the rest in the shares it had."""
    fired = min(fired, 1.0 - sound)
    rest = {s: getattr(belief, s) for s in STATES if s not in ("fired", "sound")}
    total = sum(rest.values())
    left = max(0.0, 1.0 - fired - sound)
    if total <= 0.0:
        return StateBelief(
            **(dict.fromkeys(STATES, 0.0) | {"fired": fired, "sound": 1.0 - fired})  # nothing else
        )
    shares = {s: left * v / total for s, v in rest.items()}
    sound = max(0.0, 1.0 - fired - sum(shares.values()))  # rounding may leave it below nothing
    return StateBelief(**(shares | {"fired": fired, "sound": sound}))
