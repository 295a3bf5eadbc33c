"""How far a job goes: which assemblies are changed, and what is opened for them and for looks."""

from collections.abc import Callable, Iterable, Sequence
from functools import wraps
from typing import TypeVar

import msgspec

from squibwise.catalog.load import holds_charge
from squibwise.catalog.tasks import Three, Tick
from squibwise.history.apart import find_parted, is_in
from squibwise.model.names import SEATS, SIDES, split_component, split_loop
from squibwise.model.report import Report
from squibwise.model.work import Demand, Minutes, Order
from squibwise.require.access import FRONT, Way, close_over, find_ways
from squibwise.require.conditions import weigh_any_fired
from squibwise.require.job import Job
from squibwise.require.orders import Piece

COUNTED = ("certain", "rule")
Answer = TypeVar("Answer")


class Scope(msgspec.Struct, frozen=True, kw_only=True, dict=True):
    """What is done in this job: the pieces that are changed and what is opened for them.

    Attributes:
        job: The job.
        pieces: Every assembly of the car.
        changed: Pieces that are replaced, as far as hours count them.
        orders: Their orders, by piece id, and those of what others fit.
        outside: Pieces that others fit: glass, body work.
        demands: Every demand, by id.
        traced: Components whose circuit is traced.
        ways: Openings, in order.
        taken_off: Pieces that come off on the way and go back.
    """

    job: Job
    pieces: tuple[Piece, ...]
    changed: tuple[Piece, ...]
    orders: dict[str, Order]
    demands: dict[str, Demand]
    outside: tuple[Piece, ...] = ()
    traced: tuple[str, ...] = ()
    ways: tuple[Way, ...] = ()
    taken_off: tuple[Piece, ...] = ()

    def fires(self, component: str) -> bool:
        """Does a component hold a charge."""
        return holds_charge(component, self.job.catalog)

    def has(self, assembly: str) -> bool:
        """Is an assembly of this name replaced."""
        return any(p.assembly.id == assembly for p in self.changed)

    def is_new(self, component: str) -> bool:
        """Is a component replaced with its assembly."""
        return any(component in p.contains for p in self.changed)

    def is_to_be_fitted(self, component: str) -> bool:
        """Is a component replaced with its assembly, and not yet in."""
        return any(component in p.contains and not self.orders[p.id].done for p in self.changed)


def once(ask: Callable[[Scope], Answer]) -> Callable[[Scope], Answer]:
    """Return a question about a scope that is answered once: what is done does not change."""
    name = f"{ask.__module__}.{ask.__name__}"

    @wraps(ask)
    def answer(scope: Scope) -> Answer:
        kept = scope.__dict__
        if name not in kept:
            kept[name] = ask(scope)
        found: Answer = kept[name]
        return found

    return answer


def set_scope(
    job: Job,
    orders: Iterable[Order],
    demands: dict[str, Demand],
    pieces: tuple[Piece, ...],
) -> Scope:
    """Return what is done: orders that count, the openings they and the looks need.

    Args:
        job: The job.
        orders: The order list; those that hours do not count are left out.
        demands: Every demand, by id.
        pieces: Every assembly of the car.
    """
    by_piece = {
        p.id: o
        for o in orders
        if is_counted(o, job)
        for p in pieces
        if p.assembly.id == o.assembly and set(p.key) <= set(o.contains)
    }
    fitted = tuple(p for p in pieces if p.id in by_piece)
    changed = tuple(p for p in fitted if not p.assembly.body_work)
    renewed = {c for p in changed if _is_renewed(by_piece[p.id]) for c in p.contains}
    located = (x for x in job.assessment.located if x.component in renewed)
    renewed |= {split_loop(x.loop)[0] for x in located}
    traced = tuple(
        d.component
        for d in demands.values()
        if d.action == "trace"
        and d.component
        and d.component not in renewed
        and _is_traced(d, d.component, job)
    )
    scope = Scope(
        job=job,
        pieces=pieces,
        changed=changed,
        orders=by_piece,
        demands=demands,
        outside=tuple(p for p in fitted if p.assembly.body_work),
        traced=traced,
    )
    ways = close_over(
        (
            *_ways_of_work(scope),
            *_ways_of_looks(scope),
            *_high_voltage(scope),
            *_opened(scope),
        ),
        job.case.car,
        job.catalog,
    )
    off = {w.opening.takes_off for w in ways if w.opening.takes_off}
    taken = tuple(
        p
        for p in pieces
        if p not in changed and (p.assembly.id in off or is_signed(f"out:{p.id}", scope))
    )
    return msgspec.structs.replace(scope, ways=ways, taken_off=taken)


def _is_renewed(order: Order) -> bool:
    """Is a part still to be renewed, whatever its circuit reads: it is read again once it is in."""
    return order.kind in COUNTED and not order.done


def _opened(scope: Scope) -> frozenset[Way]:
    """Return what somebody opened: it is closed again, though nothing asks for it any more."""
    every = (
        Way(opening=opening, at=at)
        for opening in scope.job.catalog.tasks.openings.values()
        for at in {"seat": FRONT, "side": SIDES}.get(opening.per, ("",))
    )
    return frozenset(way for way in every if is_signed(f"open:{way.id}", scope))


def _high_voltage(scope: Scope) -> frozenset[Way]:
    """Return that the high voltage is made safe, wherever a car that has it is opened."""
    job = scope.job
    if not job.has_high_voltage or not (job.had_crash or scope.changed):
        return frozenset()
    return find_ways(("hv",), "centre", job.case.car, job.catalog)


def is_counted(order: Order, job: Job) -> bool:
    """Does an order count in the hours: certain, by rule, or more likely than not."""
    return order.kind in COUNTED or (order.kind == "look-first" and order.p >= job.limits.likely)


def _ways_of_work(scope: Scope) -> frozenset[Way]:
    """Return the openings that fitting needs; the other way where the first is not open anyway."""
    car, catalog = scope.job.case.car, scope.job.catalog
    first = [p for p in scope.changed if p.assembly.operation.instead is None]
    ways = {w for p in first for w in find_piece_ways(p, scope)}
    open_now = close_over(ways, car, catalog)
    for piece in scope.changed:
        instead = piece.assembly.operation.instead
        if instead is not None:
            usual = find_piece_ways(piece, scope)
            is_free = usual <= set(open_now)
            ways |= usual if is_free else find_ways(instead.access, piece.place, car, catalog)
    return frozenset(ways)


def find_piece_ways(piece: Piece, scope: Scope) -> frozenset[Way]:
    """Return the openings that fitting a piece needs by its first way."""
    words = piece.assembly.operation.access_at(piece.place)
    return find_ways(words, piece.place, scope.job.case.car, scope.job.catalog)


def find_all_ways(piece: Piece, scope: Scope) -> tuple[Way, ...]:
    """Return the openings that a piece lies behind by its first way, with all that they need."""
    known = scope.job.ways_of_pieces
    if piece.id not in known:
        car, catalog = scope.job.case.car, scope.job.catalog
        known[piece.id] = close_over(find_piece_ways(piece, scope), car, catalog)
    return known[piece.id]


def _ways_of_looks(scope: Scope) -> frozenset[Way]:
    """Return the openings made for a look alone: a part in it is in doubt, or the crash asks."""
    job = scope.job
    least = job.catalog.fact("require.open-for-look").number()
    doubtful = {
        d.component
        for d in scope.demands.values()
        if d.action == "replace"
        and d.kind == "look-first"
        and d.needed >= least
        and not scope.is_new(d.component or "")
    }
    found: set[Way] = set()
    for tick in job.catalog.tasks.ticks.values() if job.had_crash else ():
        for at in list_places(tick):
            inside = list_inside(tick, at, job)
            asked = bool(inside) and _is_asked(tick, scope)
            if tick.when == "open" and (asked or doubtful.intersection(inside)):
                place = at or _place_of(inside)
                found |= find_ways(tick.opens, place, job.case.car, job.catalog)
    return frozenset(found)


def _place_of(components: Sequence[str]) -> str:
    return split_component(components[0]).place if components else "centre"


def _is_asked(tick: Tick, scope: Scope) -> bool:
    job = scope.job
    if tick.opens_when == "driver-bag":
        return scope.has("driver-bag")
    if tick.opens_when == "fired":
        return weigh_any_fired(job.assessment) >= job.limits.likely
    return False


def list_places(tick: Tick) -> tuple[str, ...]:
    """Return the seats or sides that a look is made at; one empty word for once in the car."""
    return {"seat": SEATS[:2], "side": SIDES}.get(tick.per, ("",))


def list_inside(tick: Tick, at: str, job: Job) -> tuple[str, ...]:
    """Return the components that are looked at with a line of the car, at a place."""
    found = job.seen_from.get((tick.id, at))
    if found is None:
        car = job.case.car
        kinds = (c for c in car.components if split_component(c).kind in tick.kinds)
        found = tuple(c for c in kinds if is_in(c, tick.rows, at, car))
        job.seen_from[tick.id, at] = found
    return found


def list_parted(way: Way, job: Job) -> tuple[str, ...]:
    """Return the components whose connectors come apart when an opening is made."""
    if way.id not in job.parted:
        job.parted[way.id] = find_parted(way.opening, way.at, job.case.car)
    return job.parted[way.id]


def is_signed(word: str, scope: Scope) -> bool:
    """Was an operation signed or named as done."""
    progress = scope.job.progress
    return progress.passed(word) or word in progress.done_items


def to_minutes(three: Three, times: float = 1) -> Minutes:
    """Return low, usual, high minutes of the catalogue, several times."""
    return Minutes(low=three[0], likely=three[1], high=three[2]).times(times)


def _is_traced(demand: Demand, component: str, job: Job) -> bool:
    """Return whether a circuit is traced: its fault is likely, or read now and likelier than spent.

    A current code is the car's own word; that the part may be spent is looked at on the way.
    """
    if demand.probability >= job.limits.likely:
        return True
    belief = job.assessment.get(component)
    gone = 1.0 if belief is None else belief.now.fired + belief.now.missing
    return demand.probability > gone and component in _read_now(job)


def name_at_fault(job: Job) -> frozenset[str]:
    """Return the components that the last report of all names, and does not call cleared."""
    reports = [r for _, r in job.progress.history.all_of(Report)]
    lines = reports[-1].reading.lines if reports else ()
    return frozenset(x.component for x in lines if x.component and "cleared" not in x.status)


def _read_now(job: Job) -> frozenset[str]:
    """Return the components that the last report with any fault names as being at fault now."""
    reports = [r for _, r in job.progress.history.all_of(Report) if r.reading.lines]
    lines = reports[-1].reading.lines if reports else ()
    return frozenset(x.component for x in lines if x.component and "present" in x.status)
