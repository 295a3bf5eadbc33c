"""Operations in visits: the stretches of a job between two changes of power, area by area."""

import heapq
from collections.abc import Iterable, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter

import msgspec

from squibwise.catalog.load import component_title
from squibwise.catalog.tasks import Step
from squibwise.errors import CatalogError
from squibwise.model.names import Side, seat_at, split_component, split_loop
from squibwise.model.work import ON_LOADS, UNDER_POWER, Area, Operation, Power, Visit
from squibwise.require.access import FRONT, Way
from squibwise.require.demands import pick_cautions
from squibwise.require.job import hold_gates
from squibwise.require.looks import look
from squibwise.require.operations import (
    HIGH_VOLTAGE_WAY,
    PLUG_BACK,
    PLUG_IN,
    close,
    fit,
    fit_outside,
    join,
    open_up,
    set_up,
    take_out,
)
from squibwise.require.orders import FASTENERS
from squibwise.require.progress import KEY_ON_GATE
from squibwise.require.progress import LATER_KEY_ON_GATE as LATER
from squibwise.require.scope import Scope, is_signed
from squibwise.require.steps import (
    MOUNTED_EARLY,
    UNIT_WAYS,
    cause_operations,
    find_situations,
    goes_in_after_loads,
    is_long_way,
    list_left_open,
    list_loads,
    list_steps,
    loads_of,
    seats_out,
    stays_open,
    step_operations,
)
from squibwise.require.traces import trace

VISITS: tuple[tuple[str, Power, tuple[str, ...]], ...] = (
    ("arrive", "as-found", ("arrive",)),
    ("read", "on", ("read",)),
    ("strip", "off", ("open", "body", "build")),
    ("prove", "on", ("prove",)),
    ("fit", "off", ("fit",)),
    ("final", "on", ("final",)),
)
BEFORE_AREAS = (
    "power-down",
    "make-safe",
    "bench-read",
    "hunt-loads",
    "part-labels",
    "heat-back",
    "second-power-down",
    "second-make-safe",
    "return-loads",
)
HV_CUTOFF = "hv-cutoff"


class Placed(msgspec.Struct, frozen=True, kw_only=True):
    """An operation with its place in the order of work.

    Attributes:
        phase: As of a step.
        area: Id of an opening with its side or seat, or a word for the whole car.
        rank: Within its phase.
    """

    phase: str
    area: str
    rank: tuple[int, ...]
    operation: Operation


def arrange(scope: Scope) -> tuple[Visit, ...]:
    """Return every operation of a job in its visits, with ``after`` and gates filled in."""
    steps = list_steps(scope)
    held = hold_gates(scope.job, frozenset(s.id for s in steps), find_situations(scope))
    long = is_long_way(scope)
    listed = _linked(_ordered(_place_all(scope, held, long=long)), held)
    return _visits(listed, scope, long=long)


def count_minutes(scope: Scope) -> int:
    """Return the usual minutes of a job that are counted and still open. [min]."""
    placed = _place_all(scope, frozenset(), long=is_long_way(scope))
    operations = (p.operation for p in placed)
    return sum(o.minutes.likely for o in operations if o.counted and not o.done)


def _place_all(scope: Scope, held: frozenset[str], *, long: bool) -> list[Placed]:
    return [
        *_place_steps(scope, held),
        *_place_strip(scope),
        *_place_fits(scope, long=long),
        *_place_outside(scope),
        *_place_faults(scope, long=long),
        *_place_settings(scope, long=long),
    ]


def _place_steps(scope: Scope, held: frozenset[str]) -> list[Placed]:
    steps = list_steps(scope)
    found = step_operations(scope, steps, held)
    return [_placed_step(s, o, scope) for s, o in zip(steps, found, strict=True)]


def _placed_step(step: Step, operation: Operation, scope: Scope) -> Placed:
    """Return a step in its place; the unit is bolted down while its area is open."""
    area = _step_area(step.id, step.phase)
    rank: tuple[int, ...] = (_half(step.id), step.number)
    way = next((w for w in scope.ways if w.opening.id in UNIT_WAYS), None)
    if step.id == "unit-bolted" and way is not None:
        area, rank = way.id, (1, 99 - way.slot, 0, 480, 1)
    return Placed(phase=step.phase, area=area, rank=rank, operation=operation)


def _half(step: str) -> int:
    """Return whether a step comes before the areas of its phase (0) or after them (2)."""
    return 0 if step in BEFORE_AREAS else 2


def _step_area(step: str, phase: str) -> str:
    if step in ("order-closed", "live-charges"):
        return "order"
    if phase in ("body",):
        return "body"
    if step in ("lamp-check", "drive", "final-scan", "papers"):
        return "proof"
    if step in ("clear", "weigh-seat"):
        return "settings"
    return "power" if phase in ("open", "fit", "prove", "final") else "car"


def _place_strip(scope: Scope) -> list[Placed]:
    """Return openings, what comes out behind them, and the looks, area by area."""
    opened = {o.id.partition(":")[2]: o for o in open_up(scope)}
    found = [
        Placed(phase="open", area=w.id, rank=_open_rank(w), operation=opened[w.id])
        for w in scope.ways
    ]
    for operation in take_out(scope):
        way = _way_behind(operation, scope)
        off = way is None or operation.assembly == way.opening.takes_off
        slot = way.slot if way else 0
        area = way.id if way else "wheel" if operation.assembly == "driver-bag" else "car"
        rank: tuple[int, ...] = (
            1,
            slot if not off else min(slot, 1),
            -1 if off else 1,
            operation.n,
        )
        rank = (0, operation.n) if area == "car" else rank
        found.append(Placed(phase="open", area=area, rank=rank, operation=operation))
    for operation in look(scope):
        way = _way_behind(operation, scope)
        area = way.id if way else "asked" if operation.kind == "ask" else "car"
        if operation.id == "look:cabin":
            found.append(Placed(phase="arrive", area="car", rank=(2, 1, 5), operation=operation))
        else:
            rank = (1, way.slot if way else 99 + (area == "asked"), 2, operation.n)
            found.append(Placed(phase="open", area=area, rank=rank, operation=operation))
    return found


def _open_rank(way: Way) -> tuple[int, ...]:
    """Return where an opening comes; a qualified person makes high voltage safe first of all."""
    return (0, 21, 1) if way.opening.id == HIGH_VOLTAGE_WAY else (1, way.slot, 0)


def _way_behind(operation: Operation, scope: Scope) -> Way | None:
    """Return the innermost opening that an operation lies behind."""
    opened = {f"open:{w.id}": w for w in scope.ways}
    behind = [opened[a] for a in operation.after if a in opened]
    return max(behind, key=lambda w: w.slot, default=None)


def _place_fits(scope: Scope, *, long: bool) -> list[Placed]:
    """Return fits, joins and closings: from the middle outwards, the driver's airbag last.

    On the long way what holds no charge is fitted before the first power; airbags and pretensioners
    follow after the loads are out. What was opened stays open until then, but for what must be firm
    while the wheel is turned and the unit powered: the panel with the column, the steering wheel, a
    seat that waits for nothing. High voltage comes back last of all.
    """
    found: list[Placed] = []
    out = seats_out(scope) if long else frozenset()
    late: set[str] = set()
    early = MOUNTED_EARLY if long else frozenset()
    waiting = {p.assembly.id for p in scope.pieces if goes_in_after_loads(p)}
    for operation in fit(scope, connects_later=list_left_open(scope) if long else frozenset()):
        way = _way_behind(operation, scope)
        after_power = long and operation.assembly in waiting
        if after_power:
            kept = (a for a in operation.after if a != "open:panel")
            operation = msgspec.structs.replace(operation, after=(*kept, "step:return-loads"))
            late.add(operation.id)
        found.append(_placed_fit(operation, way, "fit" if after_power else "build", scope))
        if operation.assembly in early:
            found.append(_plug_in(operation, way, scope))
    found += _plug_back(found, scope) if long else []
    for way, operation in join(scope, _stand_on_loads(scope) if long else frozenset()):
        is_late = way.opening.id == "seat" and way.at in out
        after = tuple(a for a in operation.after if is_late or a not in late)
        after = (*after, "step:return-loads") if is_late else after
        operation = msgspec.structs.replace(operation, after=after)
        rank = (1, 99 - way.slot, 3, operation.n)
        phase = "fit" if is_late else "build"
        found.append(Placed(phase=phase, area=way.id, rank=rank, operation=operation))
    for way, operation in close(scope):
        stays = stays_open(way, scope)
        phase = "fit" if long and stays else "build"
        if long and not stays:
            after = tuple(a for a in operation.after if a not in late)
            operation = msgspec.structs.replace(operation, after=after)
        if phase == "fit":  # no hand behind a trim while the wait runs
            after = (*operation.after, "step:return-loads", f"join:{ON_LOADS}")
            operation = msgspec.structs.replace(operation, after=after)
        is_last = way.opening.id == HIGH_VOLTAGE_WAY
        rank = (3, 1, 0, operation.n) if is_last else (1, 99 - way.slot, 4, operation.n)
        found.append(Placed(phase=phase, area=way.id, rank=rank, operation=operation))
    return found


def _place_outside(scope: Scope) -> list[Placed]:
    """Return what others fit, with the body work."""
    found = fit_outside(scope)
    return [Placed(phase="body", area="body", rank=(2, 99, o.n), operation=o) for o in found]


def _placed_fit(operation: Operation, way: Way | None, phase: str, scope: Scope) -> Placed:
    fits = scope.job.catalog.assemblies[operation.assembly or ""].operation.fit
    if operation.assembly == HV_CUTOFF:
        return Placed(phase=phase, area="hv", rank=(3, 0, operation.n), operation=operation)
    if operation.assembly == FASTENERS:
        after = (*operation.after, "all:fit", "all:close")
        operation = msgspec.structs.replace(operation, after=after)
        return Placed(phase=phase, area="car", rank=(2, operation.n), operation=operation)
    layer = ("base", "charge", "trim").index(fits)
    slot = way.slot if way else 0 if operation.assembly == "driver-bag" else 42
    area = way.id if way else "wheel" if operation.assembly == "driver-bag" else "car"
    return Placed(
        phase=phase, area=area, rank=(1, 99 - slot, layer, operation.n), operation=operation
    )


def _stand_on_loads(scope: Scope) -> frozenset[str]:
    """Return what gets a load and is plugged in after it, but for what is behind a seat then."""
    out = seats_out(scope)
    seats = (o for w, o in join(scope) if w.opening.id == "seat" and w.at in out)
    return frozenset(loads_of(list_loads(scope))) - {c for o in seats for c in o.joins}


def _plug_back(fitted: Sequence[Placed], scope: Scope) -> list[Placed]:
    """Return the line that plugs in again what had a load and is neither new nor behind a seat."""
    joined = {c for p in fitted if p.phase == "fit" for c in p.operation.joins}
    left = tuple(sorted(_stand_on_loads(scope) - joined, key=loads_of(list_loads(scope)).index))
    if not left:
        return []
    names = ", ".join(component_title(c, scope.job.catalog) for c in left)
    operation = Operation(
        n=PLUG_BACK,
        id=f"join:{ON_LOADS}",
        action="join",
        title=f"Plug in and lock again where a load was: {names}",
        components=left,
        after=("step:return-loads",),
        joins=left,
        cautions=pick_cautions(("full-wait", "static", "no-meter"), scope.job.catalog),
        done=is_signed(f"join:{ON_LOADS}", scope),
        passes_when=f"passed join:{ON_LOADS}: each connector lock felt home",
    )
    return [Placed(phase="fit", area="connectors", rank=(1, 0, 1, PLUG_BACK), operation=operation)]


def _plug_in(fitted: Operation, way: Way | None, scope: Scope) -> Placed:
    """Return the line that plugs in what was mounted before the first power."""
    word = fitted.id.partition(":")[2]
    operation = Operation(
        n=PLUG_IN,
        id=f"join:{word}",
        action="join",
        title=f"Plug in and lock, through the glove box opening: {fitted.title.partition(': ')[2]}",
        assembly=fitted.assembly,
        components=fitted.components,
        after=("step:return-loads", fitted.id),
        joins=fitted.components,
        cautions=fitted.cautions,
        done=is_signed(f"join:{word}", scope),
        passes_when=f"passed join:{word}: each connector lock felt home",
    )
    area = way.id if way else "car"
    return Placed(phase="fit", area=area, rank=(1, 0, 0, operation.n), operation=operation)


def _place_faults(scope: Scope, *, long: bool) -> list[Placed]:
    found = [_place_cause(o, scope, long=long) for o in cause_operations(scope.job)]
    apart = {c for _, joined in join(scope) for c in joined.joins}
    for operation in trace(scope, powered=long):
        phase, half = ("prove", 2) if long else ("open", 1)
        if long and _needs_its_connector(operation, apart, scope):
            operation = msgspec.structs.replace(operation, after=("step:final-power", "all:cause"))
            phase, half = "final", 1
        rank = (half, 99, operation.n)
        found.append(Placed(phase=phase, area="connectors", rank=rank, operation=operation))
    return found


def _needs_its_connector(operation: Operation, apart: set[str], scope: Scope) -> bool:
    """Is a circuit that takes no load traced, and its connector apart until the end."""
    return any(c in apart and not scope.fires(c) for c in operation.components)


def _place_cause(operation: Operation, scope: Scope, *, long: bool) -> Placed:
    """Return a common cause in its visit: what needs the key on is done while the power is on."""
    if "step:make-safe" in operation.after:
        return Placed(
            phase="open", area="connectors", rank=(1, 98, operation.n), operation=operation
        )
    reads = "key-on" in find_situations(scope)
    phase, before, gate = (
        ("prove", "first-power", LATER) if long else ("final", "final-power", LATER)
    )
    if reads:
        phase, before, gate = "read", "save-codes", KEY_ON_GATE
    powered = msgspec.structs.replace(operation, after=(f"step:{before}",), blocked_by=(gate,))
    return Placed(phase=phase, area="connectors", rank=(2, 98, operation.n), operation=powered)


_PROGRAM = "set:program"


def _place_settings(scope: Scope, *, long: bool) -> list[Placed]:
    """Return the settings; what a unit keeps is set after the unit was programmed, not before."""
    found = []
    settings = tuple(set_up(scope))
    programmed = tuple(o.id for o in settings if o.id == _PROGRAM)
    for operation in settings:
        is_first = operation.id == _PROGRAM
        early = long and is_first
        later = operation.after if is_first else (*operation.after, *programmed)
        after = ("step:first-power",) if early else later
        placed = msgspec.structs.replace(operation, after=after)
        phase = "prove" if early else "final"
        number = 62 if early else operation.n
        found.append(Placed(phase=phase, area="settings", rank=(2, number), operation=placed))
    return found


def _ordered(placed: Iterable[Placed]) -> list[Placed]:
    """Return the operations by phase and area, each after all it names.

    Raises:
        CatalogError: The catalogue lets operations wait for each other in a circle.
    """
    phases = [p for _, _, group in VISITS for p in group]
    by_id = {p.operation.id: p for p in placed}
    sorter = TopologicalSorter({i: _named(p.operation, by_id) for i, p in by_id.items()})
    try:
        sorter.prepare()
    except CycleError as error:
        circle = ", ".join(error.args[1])
        raise CatalogError(f"tasks wait for each other in a circle: {circle}") from error
    free: list[tuple[int, tuple[int, ...], str]] = []
    found = []
    while sorter.is_active():
        for word in sorter.get_ready():
            one = by_id[word]
            heapq.heappush(free, (phases.index(one.phase), one.rank, word))
        word = heapq.heappop(free)[2]
        found.append(by_id[word])
        sorter.done(word)
    return found


def _named(operation: Operation, by_id: Mapping[str, Placed]) -> set[str]:
    """Return the operations that one names as finished before it; classes follow from phases."""
    found = set()
    for word in operation.after:
        action, _, name = word.partition(":")
        found |= {i for i in by_id if i == word or i.startswith(f"{action}:{name}@")}
    return found - {operation.id}


def _linked(ordered: Sequence[Placed], held: frozenset[str]) -> list[Placed]:
    """Return the operations with every ``after`` an operation of the list, each edge said once."""
    operations = [p.operation for p in ordered]
    before: dict[str, set[str]] = {}
    found = []
    for index, placed in enumerate(ordered):
        operation = placed.operation
        earlier = operations[:index]
        wanted = {i for word in operation.after for i in _expand(word, earlier, ordered)}
        wanted.discard(operation.id)
        implied = {x for w in wanted for x in before[w]}
        before[operation.id] = wanted | implied
        slim = tuple(o.id for o in earlier if o.id in wanted - implied)
        gates = () if operation.done else tuple(g for g in operation.blocked_by if g in held)
        new = msgspec.structs.replace(operation, after=slim, blocked_by=gates)
        found.append(msgspec.structs.replace(placed, operation=new))
    return found


def _expand(word: str, earlier: Sequence[Operation], ordered: Sequence[Placed]) -> set[str]:
    """Return the operations before this one that a word stands for."""
    if not word.startswith("all:"):
        action, _, name = word.partition(":")
        return {o.id for o in earlier if o.id == word or o.id.startswith(f"{action}:{name}@")}
    group = word.removeprefix("all:")
    if group == "cause":
        return {o.id for o in earlier if o.id.startswith("step:check-")}
    if group == "join-build":
        return {o.id for o in earlier if o.action == "join"}
    if group == "fit-base":
        return {o.id for o in earlier if o.action == "fit"}
    return {o.id for o in earlier if o.action == group}


def _visits(listed: Sequence[Placed], scope: Scope, *, long: bool) -> tuple[Visit, ...]:
    titles = scope.job.catalog.tasks.areas
    found = []
    for word, power, phases in VISITS:
        inside = [p for p in listed if p.phase in phases]
        if inside:
            title = titles["strip-long" if word == "strip" and long else word].title
            found.append(
                Visit(id=word, title=title, power=power, areas=_areas(inside, scope, power))
            )
    return tuple(found)


def _areas(inside: Sequence[Placed], scope: Scope, power: Power) -> tuple[Area, ...]:
    """Return runs of operations in one area and phase."""
    runs: list[list[Placed]] = []
    for placed in inside:
        same = runs and (runs[-1][0].area, runs[-1][0].phase) == (placed.area, placed.phase)
        if same:
            runs[-1].append(placed)
        else:
            runs.append([placed])
    return tuple(
        Area(
            area=run[0].area,
            phase=run[0].phase,
            title=_area_title(run[0].area, scope),
            operations=tuple(
                msgspec.structs.replace(p.operation, rooms=_rooms(p, scope, power)) for p in run
            ),
        )
        for run in runs
    )


def _rooms(placed: Placed, scope: Scope, power: Power) -> tuple[str, ...]:
    """Return the parts of the car that it takes: those of its opening, else where its parts are.

    Substitute loads hang at every seat where a circuit gets one. Under power one thing is done at a
    time: there is one diagnostic connector, and nobody is in the cabin meanwhile.
    """
    if power == "on":
        return (UNDER_POWER,)
    hand = scope.job.case.car.drive_hand
    way = next((w for w in scope.ways if w.id == placed.area), None)
    loads = {split_loop(loop)[0] for loop in placed.operation.loads}
    places = {split_component(c).place for c in loads or placed.operation.components}
    if way is not None:
        if way.opening.rooms:
            return way.opening.rooms
        places = {way.at} if way.at else set()
    rooms = {r for p in places if (r := _room(p, hand))}
    return tuple(sorted(rooms)) if loads or len(rooms) == 1 else ()


def _room(place: str, hand: Side) -> str:
    """Return the part of the car that one works in at a place; empty = it lies in the middle."""
    if (end := place.partition("-")[0]) in ("nose", "tail"):
        return end
    seat = seat_at(place, hand) or ""
    return seat if seat in ("", *FRONT) else "rear"


def _area_title(area: str, scope: Scope) -> str:
    way = next((w for w in scope.ways if w.id == area), None)
    if way is not None:
        return way.title[0].upper() + way.title[1:]
    words = scope.job.catalog.tasks.areas
    return words[area].title if area in words else "Steering wheel"
