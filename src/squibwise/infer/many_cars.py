"""Many cars at once, one car in several worlds, and what finished cars teach of the curves."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.components import find_market
from squibwise.catalog.load import Catalog
from squibwise.history.order import read_history
from squibwise.infer.building import build_network
from squibwise.infer.crash import asks_pairs, asks_rollover, named_hours
from squibwise.infer.crash_record import weigh_direction
from squibwise.infer.engine import Engine, GroupResult, spread
from squibwise.infer.event_table import OTHER_BAGS, EventTable, event_table
from squibwise.infer.evidence import weigh_evidence
from squibwise.infer.firing_logic import DRIVER, passenger_curves, seat_fires
from squibwise.infer.marginals import free_of, given_event_each
from squibwise.infer.network import Likelihood, Network
from squibwise.infer.told import weigh_impact
from squibwise.model.belief import Assessment, ComponentBelief, StateBelief
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, DoneWork, Impact, Look, Occupant, Recorder
from squibwise.model.report import Report
from squibwise.model.words import STATES
from squibwise.numerics.curves import Shift, learn_shift
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
    answers are those of ``assess``, but for how a named direction of the blow bears on the belts.

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
    market = find_market(case.region) if case.car.assumed else ""
    return msgspec.json.encode((case.car, market, asks_rollover(case), words))


def _together(
    cases: list[Case], catalog: Catalog, shifts: Mapping[str, float], worlds: int
) -> list[Screened]:
    """Return the answers of cases that share one event table."""
    bare = tuple(e for e in cases[0].evidence if not isinstance(e, Impact))
    net = build_network(msgspec.structs.replace(cases[0], evidence=bare), catalog, shifts)
    engine = Engine(net, catalog)
    book = _Book(engine, net)
    impacts: dict[Impact, Array] = {}
    turned: dict[bytes, Array] = {}
    shown = [
        book.add(
            weigh_evidence(_with(net, case), catalog, impacts),
            _weigh_turn(case, net, catalog, shifts, turned),
        )
        for case in cases
    ]
    table = np.zeros((len(cases), book.size))
    for row, keys in enumerate(shown):
        table[row, keys] = 1.0
    weights, values = enumerate_many(np.log(engine.prior.ravel()), book.patterns(), table)
    return [
        book.answer(c.id, keys, v[:, 0], book.split(w, keys, worlds))
        for c, keys, w, v in zip(cases, shown, weights, values, strict=True)
    ]


def _weigh_turn(
    case: Case,
    net: Network,
    catalog: Catalog,
    shifts: Mapping[str, float],
    known: dict[bytes, Array],
) -> Array:
    """Return by how much the direction that is named of a blow makes each event likelier.

    That belts were worn more or less often in such an event is left as it is without a direction.
    """
    named = named_hours(case, catalog)
    key = msgspec.json.encode(named)
    if key not in known:
        turn = np.ones(len(net.events.weight))
        for side in named:
            told = [{b.zone.side for b in s.blows} == {side} for s in net.events.scenarios]
            rows = net.events.holds(told)
            usual = net.events.weight[rows]
            turn[rows] = event_table(case, catalog, shifts, side).weight * usual.sum() / usual
        known[key] = turn
    return known[key]


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

    def add(self, likelihoods: tuple[Likelihood, ...], turn: Array) -> list[int]:
        """Return the patterns that a case shows: one of the event, and one of each group."""
        events = self.engine.event(likelihoods) * turn[:, None, None]
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


Seen = tuple[float, bool]
FRONT_CURVE, OTHER_CURVE, PASSENGER_CURVE = (
    "driver-front-bag",
    "own-side-bags",
    "passenger-front-bag",
)
_DRIVER_FRONT, _PASSENGER_FRONT = "driver.front-bag", "passenger.front-bag"
_LEAST = 1e-6
_WORDS = {"deployed": True, "intact": False}


def learn_shifts(cases: Iterable[Case], catalog: Catalog) -> dict[str, Shift]:
    """Return the learned shift of every curve, shrunk towards none; see ``learn_shift``.

    Only what somebody saw counts: a look ``deployed`` or ``intact`` at the driver's front bag, at
    its other bags (one deployed, or all fitted ones intact), and at the passenger's front bag over
    a taken seat. What the curves had foretold comes from the case's impact, severity, belt and
    model year alone. Where those are uncertain the foretold chance is an average over them and
    the shift is that of the average: a little smaller than that of the curve itself.

    Args:
        cases: Finished cases; those without such a look say nothing.
        catalog: Curves, and the prior standard deviation ``calibration.shift-sd``.

    Returns:
        A shift by curve id, of 0 where nothing was seen. Hand ``{id: shift.value}`` to ``assess``.
    """
    finished = tuple(case for case in cases if _seen(case).keys())
    sd = catalog.fact("calibration.shift-sd").number()
    found: dict[str, list[Seen]] = {FRONT_CURVE: [], OTHER_CURVE: [], PASSENGER_CURVE: []}
    for case, pattern in zip(finished, firing_patterns(finished, catalog), strict=True):
        for curve, seen in _outcomes(case, pattern):
            found[curve].append(seen)
    return {
        curve: learn_shift([_open(p) for p, _ in events], [fired for _, fired in events], sd)
        for curve, events in found.items()
    }


def _outcomes(case: Case, pattern: Array) -> Iterator[tuple[str, Seen]]:
    """Yield what was foretold and seen of a case, by curve: each given what is known before it."""
    seen = _seen(case)
    front = seen.get(_DRIVER_FRONT)
    if front is None:
        return
    yield FRONT_CURVE, (float(pattern[1].sum()), front)
    given = pattern[int(front)] / pattern[int(front)].sum()
    other = _other(case, seen)
    if other is not None:
        yield OTHER_CURVE, (float(given[1].sum()), other)
    passenger = seen.get(_PASSENGER_FRONT)
    if passenger is not None and _seat_taken(case):
        yield PASSENGER_CURVE, (float(given[:, 1].sum()), passenger)


def _open(p: float) -> float:
    """Return a chance that is neither 0 nor 1, whatever was rounded on the way."""
    return min(max(p, _LEAST), 1.0 - _LEAST)


def _seen(case: Case) -> dict[str, bool]:
    """Return the last clear look at each component: deployed or intact."""
    looks = (e for e in case.evidence if isinstance(e, Look) and e.seen in _WORDS)
    return {look.component: _WORDS[look.seen] for look in looks}


def _other(case: Case, seen: dict[str, bool]) -> bool | None:
    """Return whether any other bag of the driver's seat fired; None when not all were seen."""
    places = {"curtain": case.car.drive_hand}
    names = [f"{places.get(kind, 'driver')}.{kind}" for kind in OTHER_BAGS]
    fitted = [name for name in names if name in case.car.components]
    if any(seen.get(name) for name in fitted):
        return True
    return False if fitted and all(name in seen for name in fitted) else None


def _seat_taken(case: Case) -> bool:
    return any(
        isinstance(e, Occupant) and e.seat == "passenger" and bool(e.present) for e in case.evidence
    )


def firing_patterns(
    cases: Iterable[Case], catalog: Catalog, shifts: Mapping[str, float] | None = None
) -> Iterator[Array]:
    """Yield the joint chance of what fired in each case, from the event's evidence only.

    Used where many cases carry nothing but side, severity, model year and belt: same event table,
    same curves, nothing else of the car.

    Args:
        cases: Cases; impacts, recorders and the driver's belt are used, everything else is not.
        catalog: Priors.
        shifts: Learned intercepts by curve id. [log odds]

    Yields:
        Chance by driver's front bag, any other bag of the driver's seat, and passenger's front
        bag over an adult: shape (2, 2, 2), 0 = not fired, 1 = fired; it sums to one.
    """
    for case in cases:
        events = event_table(case, catalog, shifts or {}, _side(case, catalog))
        yield _pattern(events, events.weight * _evidence(case, events, catalog), case, catalog)


def _side(case: Case, catalog: Catalog) -> str | None:
    """Return the struck side where a zone was named; only that side is then followed up."""
    side_of = {z.name: z.side for z in catalog.firing.events.zone}
    named = {side_of[e.zone] for e in case.evidence if isinstance(e, Impact) and e.zone in side_of}
    return named.pop() if len(named) == 1 else None


def _evidence(case: Case, events: EventTable, catalog: Catalog) -> Array:
    result = np.ones(len(events.weight))
    for entry in case.evidence:
        if isinstance(entry, Impact):
            result = result * weigh_impact(entry, events, catalog)
        elif isinstance(entry, Recorder):
            result = result * weigh_direction(entry, events, catalog)
            if entry.driver_belt is not None:
                right = catalog.firing.scans.people["recorder_right"].value
                result = result * _belt(events, entry.driver_belt, right)
        elif isinstance(entry, Occupant) and entry.seat == "driver" and entry.belt is not None:
            result = result * _belt(events, entry.belt, 1.0)
    return result


def _belt(events: EventTable, belt: str, right: float) -> Array:
    """Return the chance of this word on the driver's belt, by row."""
    latched = right if belt == DRIVER[1] else 1.0 - right
    return events.belted * latched + (1.0 - events.belted) * (1.0 - latched)


def _pattern(events: EventTable, weights: Array, case: Case, catalog: Catalog) -> Array:
    other = seat_fires(events, case.car.drive_hand, is_driver=True)
    year = np.nan if case.car.model_year is None else float(case.car.model_year)
    followed, alone = passenger_curves(events, year, case.car.drive_hand, catalog)
    passenger = np.where(events.front, followed, alone)
    result = np.zeros((2, 2, 2))
    place = (events.front.astype(int), other.astype(int))
    np.add.at(result[:, :, 1], place, weights * passenger)
    np.add.at(result[:, :, 0], place, weights * (1.0 - passenger))
    return np.asarray(result / result.sum())
