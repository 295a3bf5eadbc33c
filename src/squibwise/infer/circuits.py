"""What a circuit is like, its common causes included, and how likely what a scan said of it is."""

from functools import lru_cache

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS, OUTCOMES, Firing
from squibwise.catalog.load import Catalog
from squibwise.history.order import History
from squibwise.infer.parts import LOOSE, Micro, PartModel
from squibwise.model.car import Car
from squibwise.model.evidence import DoneWork
from squibwise.model.names import split_component
from squibwise.model.report import Report

Array = npt.NDArray[np.float64]
_BESIDES = {
    "wheel": ("driver.steering-wheel", "driver.steering-column", "driver.clock-spring"),
    "seat": ("seat-frame", "seat-foam-cover"),
}
_DISTURBS = ("disconnected", "replaced", "repaired")
_HEALS = ("reseated", "repaired", "replaced")
_EVER = 1 << 30
_MOST_READINGS = 8
SPRING = "clock-spring"
OFF, BAR_DOWN = "unplugged", "connector-low"
_ALONE = dict(zip(CIRCUITS, np.eye(len(CIRCUITS)), strict=True))


class Cause(msgspec.Struct, frozen=True):
    """One common cause.

    Attributes:
        name: ``none``, ``shared-plug:<place>.<plug>`` or ``clock-spring``.
        members: Components whose circuits it opens.
        weight: Prior chance; of the clock spring, what turns its part's prior into its own.
        opens: Chance that it opens any one of its circuits.
        start: Place in time from which it is there.
        end: Place in time at which it is gone.
        circuit: What a circuit is like under it, as a row of the scan table.
        reading: Component meant by each line of a report that may mean one of several here:
            ((report, line), component).
    """

    name: str
    members: frozenset[str]
    weight: float
    opens: float
    start: int = -1
    end: int = _EVER
    circuit: str = OFF
    reading: tuple[tuple[tuple[str, int], str], ...] = ()

    def active(self, place: int) -> bool:
        """Return whether it is there at a place in time."""
        return self.start < place < self.end


def list_causes(
    group: str, components: tuple[str, ...], car: Car, line: History, catalog: Catalog
) -> tuple[Cause, ...]:
    """Return the common causes that a case gives reason to think of, ``none`` first.

    Each comes once per way to read the lines that may mean one of several components here.
    """
    found = [c for plug in _plugs(group, car, catalog) for c in _plug_causes(plug, line, catalog)]
    rest = 1.0 - sum(c.weight for c in found)
    found.insert(0, Cause(name="none", members=frozenset(), weight=rest, opens=0.0))
    if group == "driver":
        found += _spring_causes(car, line, catalog)
    readings = _readings(frozenset(components), line)
    return tuple(
        msgspec.structs.replace(cause, weight=cause.weight * share, reading=reading)
        for cause in found
        for share, reading in readings
    )


Way = tuple[tuple[tuple[str, int], str], ...]


def _readings(components: frozenset[str], line: History) -> list[tuple[float, Way]]:
    """Return every way to read the lines that mean one of several components of a group."""
    readings: list[tuple[float, Way]] = [(1.0, ())]
    for entry in line.entries:
        for code in entry.reading.lines if isinstance(entry, Report) else ():
            meant = [c for c in code.candidates if c.component in components]
            inside = len(meant) == len(code.candidates) and len({c.component for c in meant}) > 1
            if not inside or len(readings) * len(meant) > _MOST_READINGS:
                continue
            total = sum(c.weight for c in meant)
            readings = [
                (share * c.weight / total, (*known, ((entry.id, code.line), c.component or "")))
                for share, known in readings
                for c in meant
            ]
    return readings


class Plug(msgspec.Struct, frozen=True):
    """A junction that circuits of one place share; ``charged`` are those with a shorting bar."""

    name: str
    members: frozenset[str]
    nearby: frozenset[str]
    charged: frozenset[str]


def _plugs(group: str, car: Car, catalog: Catalog) -> list[Plug]:
    """Return the plugs of a group that at least two circuits share."""
    by_plug: dict[str, list[str]] = {}
    seats = () if "." in group else car.components  # a part that stands alone shares none
    for component in (c for c in seats if c.startswith(f"{group}.")):
        name = split_component(component)
        kind = catalog.kinds[name.kind]
        shared = kind.circuit and kind.plug in ("seat", "wheel", "pillar")
        wheel = kind.plug == "wheel"
        if wheel and (group != "driver" or kind.kind == "clock-spring"):
            continue
        if shared:
            by_plug.setdefault(kind.plug, []).append(component)
    plugs = []
    for plug, members in by_plug.items():
        circuits = sum(car.stages.get(m, 1) for m in members)
        if circuits > 1:
            nearby = {b if "." in b else f"{group}.{b}" for b in _BESIDES.get(plug, ())}
            charged = frozenset(m for m in members if catalog.kinds[split_component(m).kind].fires)
            plugs.append(Plug(f"{group}.{plug}", frozenset(members), frozenset(nearby), charged))
    return plugs


def _plug_causes(plug: Plug, line: History, catalog: Catalog) -> list[Cause]:
    """Return a shared connector that is off, or loose, since ever or since work there.

    Beside those that open circuits, one that is half home may leave shorting bars down.
    """
    if not _asked(plug.members, line):
        return []
    chances = catalog.firing.conditions.plugs
    works = line.works_on(plug.members | plug.nearby)
    disturbed = [at for at, w in works if w.what in _DISTURBS]
    off = chances["shared_is_off"].value
    bars = chances["own_is_shorting_bar"].value if len(plug.charged) > 1 else 0.0
    gone, half = chances["off_opens_a_part"].value, chances["loose_opens_a_part"].value
    found: list[Cause] = []
    for share, opens, members, circuit in (
        (off, gone, plug.members, OFF),
        (1.0 - off, half, plug.members, OFF),
        ((1.0 - off) * bars, half, plug.charged, BAR_DOWN),
    ):
        name, weight = f"shared-plug:{plug.name}", share * chances["shared"].value
        ever = Cause(name, members, weight, opens, circuit=circuit)
        found += _with_healing(ever, works, catalog) if share else []
        if disturbed and share:
            weight = share * chances["shared_after_work"].value
            later = msgspec.structs.replace(ever, weight=weight, start=disturbed[0])
            found += _with_healing(later, works, catalog)
    return found


def _spring_causes(car: Car, line: History, catalog: Catalog) -> list[Cause]:
    """Return the clock spring as a cause; its own chance sits in the part's prior."""
    bag, spring = "driver.front-bag", "driver.clock-spring"
    if bag not in car.components or spring not in car.components:
        return []
    if not _asked(frozenset({bag}), line):
        return []
    plugs = catalog.firing.conditions.plugs
    opens = plugs["spring_opens_a_circuit"].value
    ends = [at for at, w in line.works_on(frozenset({spring})) if w.what == "replaced"]
    shown = max((at for at, e in enumerate(line.entries) if isinstance(e, Report)), default=-1)
    works = line.works_on(frozenset({bag, *_BESIDES["wheel"]}))
    worked = [at for at, _ in works if at < shown]
    share = plugs["spring_faulty_after_work" if worked else "spring_faulty"].value
    row = catalog.firing.condition_rows["wiring"]
    usual = row.open + row.low + row.leak + row.other
    weight = share / (1.0 - share) * (1.0 - usual) / usual
    return [Cause(SPRING, frozenset({bag}), weight, opens, end=min(ends, default=_EVER))]


def _with_healing(
    cause: Cause, works: tuple[tuple[int, DoneWork], ...], catalog: Catalog
) -> list[Cause]:
    """Return the cause split into healed by a later reseating, and still there."""
    ends = [at for at, w in works if w.what in _HEALS and at > cause.start]
    if not ends:
        return [cause]
    heals = catalog.firing.conditions.work["reseat_heals"].value
    return [
        msgspec.structs.replace(cause, weight=cause.weight * heals, end=ends[-1]),
        msgspec.structs.replace(cause, weight=cause.weight * (1.0 - heals)),
    ]


def _asked(members: frozenset[str], line: History) -> bool:
    """Return whether a code was found on, or work was done on, any of these components."""
    if line.works_on(members):
        return True
    return any(
        candidate.component in members
        for entry in line.entries
        if isinstance(entry, Report)
        for code in entry.reading.lines
        for candidate in code.candidates
    )


def neighbours(car: Car, catalog: Catalog) -> dict[str, tuple[frozenset[str], frozenset[str]]]:
    """Return by component those on the same plug, and those beside it at the same place."""
    places: dict[str, list[str]] = {}
    for component in car.components:
        places.setdefault(split_component(component).place, []).append(component)
    found = {}
    for place, components in places.items():
        plugs = _plugs(place, car, catalog)
        for component in components:
            own = next((p.members | p.nearby for p in plugs if component in p.members), None)
            mates = (own or frozenset()) - {component}
            beside = frozenset(components) - mates - {component}
            found[component] = mates, beside if own or place != "centre" else frozenset()
    return found


OUTCOME_OF = {
    "open-or-high": "open",
    "low-or-short": "low",
    "short-to-ground": "leak",
    "short-to-battery": "leak",
    "cross-short": "leak",
}
_STATUS_WORDS = ("present", "intermittent", "pending", "stored")
_OWN_STATUS = ("good", "spent", "unplugged")
_LEFT_OVER = "left-over"


class Reach(msgspec.Struct, frozen=True):
    """How far one scan reached on one circuit.

    Attributes:
        clean: Weight of silence as evidence, by state of unit and report: 0 = none, 1 = full.
        listed: Chance that a code which is stored stands in the report, by the same states.
        watch: What the unit did, by state of the unit: ``watching``, ``stopped`` or ``disturbed``.
        disturbed: Share of circuits with a code, where supply or bus may be behind them; None
            where this report gives no sign of it.
    """

    clean: tuple[float, ...]
    listed: tuple[float, ...]
    watch: tuple[str, ...]
    disturbed: float | None


def circuit_table(part: PartModel, reasons: tuple[Cause, ...], place: int, loose: float) -> Array:
    """Return what each circuit is like by itself: weights over (causes, micros, stages, circuits).

    Args:
        part: The component.
        reasons: Common causes of its group.
        place: Place in time of the scan.
        loose: Chance that it was unplugged at the time.
    """
    found = circuits_of(part, reasons, place, loose)
    return _opened(found.home, found.off[:, None, None, None]) if found.off.any() else found.home


def _opened(circuits: Array, chance: Array | float, like: str = OFF) -> Array:
    """Return what circuits are like when all but the spent ones are so with this chance."""
    spent = circuits[..., CIRCUITS.index("spent"), None] > 0.0
    return np.where(spent, circuits, chance * _ALONE[like] + (1.0 - chance) * circuits)


class Circuits(msgspec.Struct, frozen=True):
    """What the circuits of a part are like.

    Attributes:
        home: While its connector is home: (causes, micros, stages, circuits). A torn clock spring
            opens each by itself, and each has a shorting bar of its own.
        off: Chance that its connector is off, which opens all of them together: (causes,).
    """

    home: Array
    off: Array


def circuits_of(part: PartModel, reasons: tuple[Cause, ...], place: int, loose: float) -> Circuits:
    """Return what the circuits of a part are like at a place in time."""
    own = _own_circuits(part.micros, part.stages)
    tables, off = [], []
    for cause in reasons:
        opens = cause.opens if cause.active(place) and part.id in cause.members else 0.0
        alone = cause.name == SPRING or cause.circuit != OFF
        together = 0.0 if alone else opens
        off.append(1.0 - (1.0 - together) * (1.0 - loose))
        tables.append(_opened(own, opens, cause.circuit) if alone and opens else own)
    return Circuits(np.array(tables), np.array(off))


@lru_cache(maxsize=64)
def _own_circuits(micros: tuple[Micro, ...], stages: int) -> Array:
    """Return what circuits are like by what their part is like: never changed."""
    circuits = range(1, stages + 1)
    return np.array([[_ALONE[micro.circuit(s)] for s in circuits] for micro in micros])


def chances_of_status(status: tuple[str, ...], firing: Firing) -> Array:
    """Return the chance of a code's status word by circuit; ones when it tells nothing."""
    word = status_word(status)
    if word is None:
        return np.ones(len(CIRCUITS))
    behind = {c: c for c in _OWN_STATUS} | dict.fromkeys(LOOSE, "half-seated")
    return np.array([status_chance(behind.get(c, "fault"), word, firing) for c in CIRCUITS])


def status_word(status: tuple[str, ...]) -> str | None:
    """Return the status word that counts; None when a line tells none."""
    return next((w for w in _STATUS_WORDS if w in status), None)


def status_chance(behind: str, word: str, firing: Firing) -> float:
    """Return how often a code carries a status word, by what is behind it."""
    return float(getattr(firing.status_rows[behind], word))


class LineReading(msgspec.Struct, frozen=True):
    """One line of a report, as far as it may be about this part.

    Attributes:
        stage: Stage it names; None when it names none.
        outcome: Place in ``OUTCOMES``; None = some fault, not told which.
        weight: Chance that the line is about this part at all.
        elsewhere: Chance that its other readings would have been found, were it about them.
        status: Status words.
        left_over: Chance that it only tells of what was cured before and never cleared.
        not_configured: It asks for coding, or says that the part is another car's.
    """

    stage: int | None
    outcome: int | None
    weight: float
    status: tuple[str, ...]
    elsewhere: float
    left_over: float = 0.0
    not_configured: bool = False


def scan_likelihood(
    part: PartModel, circuits: Circuits, told: tuple[LineReading, ...], reach: Reach, firing: Firing
) -> Array:
    """Return how likely it is that a scan says exactly this: (unit states, causes, micros)."""
    rows, noted = scan_tables(firing)
    size, known = (len(circuits.off), len(part.micros)), dict[tuple[float, float, str], Array]()
    states = tuple(zip(reach.clean, reach.listed, reach.watch, strict=True))
    for clean, listed, watch in states:
        key = (clean, listed if told else 1.0, watch)
        if key not in known and watch == "disturbed" and reach.disturbed is not None:
            known[key] = np.full(size, _disturbed(part, told, clean, reach.disturbed))
        elif key not in known and watch == "taken-off" and part.kind.fires:
            known[key] = np.full(size, _taken_off(told, clean, firing))
        elif key not in known:
            shown = (noted if watch == "stopped" else rows) * np.array([1.0, *[key[1]] * 4])
            known[key] = _said_of_all(part, circuits, told, clean, shown, firing)
            share = min((line.left_over for line in told), default=0.0)
            if share > 0.0:
                old = chance_left_over(part, told, firing)
                known[key] = (1.0 - share) * known[key] + share * old
    return np.stack([known[c, n if told else 1.0, w] for c, n, w in states])


def _said_of_all(
    part: PartModel,
    circuits: Circuits,
    told: tuple[LineReading, ...],
    clean: float,
    rows: Array,
    firing: Firing,
) -> Array:
    """Return the likelihood with the part's connector home or off: one thing for all circuits."""
    home = _said(part, circuits.home, told, clean, rows, firing)
    if not circuits.off.any():
        return home
    gone = _said(part, _opened(circuits.home, 1.0), told, clean, rows, firing)
    return np.asarray((1.0 - circuits.off)[:, None] * home + circuits.off[:, None] * gone)


def _disturbed(part: PartModel, told: tuple[LineReading, ...], clean: float, share: float) -> float:
    """Return the likelihood of a part's codes when supply or bus is behind them.

    Any circuit may then show a code, good or not: as often as circuits do in this very report.
    """
    found = min(len(told), part.stages)
    return float(share**found * (1.0 - clean * share) ** (part.stages - found))


def _taken_off(told: tuple[LineReading, ...], clean: float, firing: Firing) -> float:
    """Return the likelihood of a part's codes where hands left connectors off in this car.

    What they opened hangs together by place, so many open circuits are hardly rarer than a few.
    """
    off = firing.scans.reach.off_if_taken_off.value
    if not told:
        return 1.0 - clean * (1.0 - off) * off
    row = firing.circuit_rows["unplugged"]
    return off * min(sum(row[1:]) if t.outcome is None else row[t.outcome] for t in told)


def chance_left_over(part: PartModel, told: tuple[LineReading, ...], firing: Firing) -> float:
    """Return the likelihood of these lines when all tell of what was wrong and is cured."""
    row = firing.circuit_rows["unplugged"]
    result = 1.0
    for line in told[: max(part.stages, 1)]:
        found = sum(row[1:]) if line.outcome is None else row[line.outcome]
        word = status_word(line.status)
        result *= found * (1.0 if word is None else status_chance(_LEFT_OVER, word, firing))
    return result


@lru_cache(maxsize=4)
def scan_tables(firing: Firing) -> tuple[Array, Array]:
    """Return the scan table, and that of a unit that stopped watching: it shows what it noted."""
    reach, rows = firing.scans.reach, np.array([firing.circuit_rows[c] for c in CIRCUITS])
    kept = [
        reach.kept_if_spent.value if c == "spent" else reach.kept_if_not_spent.value
        for c in CIRCUITS
    ]
    noted = rows * np.array(kept)[:, None]
    noted[:, 0] = 1.0 - noted[:, 1:].sum(axis=1)
    return rows, noted


def _said(
    part: PartModel,
    table: Array,
    told: tuple[LineReading, ...],
    clean: float,
    rows: Array,
    firing: Firing,
) -> Array:
    """Return the likelihood under one scan table, over every reading of the lines."""
    silent = 1.0 - clean * (1.0 - table @ rows[:, 0])
    shown = {id(line): _chance_shown(line, rows, firing) for line in told}
    total: Array | float = 0.0
    all_meant = firing.scans.reach.all_stages_meant.value
    for weight, said in _meanings(told, part.stages, all_meant):
        likelihood: Array | float = 1.0
        for stage in range(part.stages):
            line, own = said.get(stage), table[:, :, stage]
            like = silent[:, :, stage] if line is None else own @ shown[id(line)]
            likelihood = likelihood * like
        total = total + weight * likelihood
    return np.asarray(total)


def _chance_shown(line: LineReading, rows: Array, firing: Firing) -> Array:
    """Return the chance of what a line says by what the circuit is like: (circuits,)."""
    found = rows[:, 1:].sum(axis=1) if line.outcome is None else rows[:, line.outcome]
    if line.not_configured:
        usual = firing.scans.asks_for_coding
        found = np.array([usual.get(c, usual["otherwise"]) for c in CIRCUITS])
    return np.asarray(found * chances_of_status(line.status, firing))


def _meanings(
    told: tuple[LineReading, ...], stages: int, all_meant: float
) -> list[tuple[float, dict[int, LineReading]]]:
    """Return every way to read the lines, with its weight: which stage each of them is about."""
    meanings: list[tuple[float, dict[int, LineReading]]] = [(1.0, {})]
    for line in told:
        extended = []
        for weight, said in meanings:
            if line.weight < 1.0:
                extended.append((weight * (1.0 - line.weight) * line.elsewhere, said))
            for share, hit in _stages_of(line, stages, all_meant):
                both = dict.fromkeys(hit, line) | said
                extended.append((weight * line.weight * share, both))
        meanings = extended
    return meanings


def _stages_of(
    line: LineReading, stages: int, all_meant: float
) -> list[tuple[float, tuple[int, ...]]]:
    """Return which circuits a line may be about: one that names no stage may mean all."""
    if line.stage is not None:
        return [(1.0, (min(line.stage, stages) - 1,))]
    if stages == 1:
        return [(1.0, (0,))]
    every = tuple(range(stages))
    return [(all_meant, every), *(((1.0 - all_meant) / stages, (s,)) for s in every)]


def outcome_of(fault: str, *, fires: bool) -> int | None:
    """Return the place of a fault word among the outcomes; None when it only says faulty.

    A sensor or switch that does not answer is as good as open.
    """
    if fault == "unknown" or (fault == "communication" and not fires):
        return None
    return OUTCOMES.index(OUTCOME_OF.get(fault, "other"))
