"""Operations in visits: the stretches of a job between two changes of power, area by area."""

import heapq
from collections.abc import Iterable, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter

import msgspec

from squibwise.errors import CatalogError
from squibwise.model.names import Side, seat_at, split_component, split_loop
from squibwise.model.work import UNDER_POWER, Area, Operation, Power, Visit
from squibwise.require.access import FRONT
from squibwise.require.job import hold_gates
from squibwise.require.placing import Placed, place_all
from squibwise.require.scope import Scope
from squibwise.require.steps import find_situations, is_long_way, list_steps

VISITS: tuple[tuple[str, Power, tuple[str, ...]], ...] = (
    ("arrive", "as-found", ("arrive",)),
    ("read", "on", ("read",)),
    ("strip", "off", ("open", "body", "build")),
    ("prove", "on", ("prove",)),
    ("fit", "off", ("fit",)),
    ("final", "on", ("final",)),
)


def arrange(scope: Scope) -> tuple[Visit, ...]:
    """Return every operation of a job in its visits, with ``after`` and gates filled in."""
    steps = list_steps(scope)
    held = hold_gates(scope.job, frozenset(s.id for s in steps), find_situations(scope))
    long = is_long_way(scope)
    listed = _linked(_ordered(place_all(scope, held, long=long)), held)
    return _visits(listed, scope, long=long)


def count_minutes(scope: Scope) -> int:
    """Return the usual minutes of a job that are counted and still open. [min]."""
    placed = place_all(scope, frozenset(), long=is_long_way(scope))
    operations = (p.operation for p in placed)
    return sum(o.minutes.likely for o in operations if o.counted and not o.done)


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
