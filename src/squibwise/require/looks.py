"""Looks of a job: one line for each area, with all that is seen in it, and nothing behind it."""

from collections.abc import Iterator, Mapping, Sequence

import msgspec

from squibwise.catalog.load import component_title
from squibwise.catalog.tasks import Tick
from squibwise.history.apart import is_in
from squibwise.history.signed import is_seen_hurt, last_seen_bad, last_signed
from squibwise.model.belief import Because
from squibwise.model.names import SEATS, split_component
from squibwise.model.words import CLOSED_AREAS
from squibwise.model.work import Demand, Operation, Order
from squibwise.require.access import Way, is_open
from squibwise.require.job import Job
from squibwise.require.orders import Piece
from squibwise.require.scope import (
    Scope,
    is_signed,
    list_inside,
    list_places,
    name_at_fault,
    once,
    to_minutes,
)

LOOK = 150
CABIN = "cabin"
REAR_ROW = "rear"
HARNESS = "harness"


@once
def look(scope: Scope) -> tuple[Operation, ...]:
    """Return one look per area: what is seen in it is ticked with it, and nothing else.

    What lies in an area that nothing opens is a look of its own, made where the maker asks for it.
    """
    return tuple(_looks(scope))


def _looks(scope: Scope) -> Iterator[Operation]:
    job = scope.job
    asked = {
        d.component: d for d in scope.demands.values() if d.action == "inspect" and d.component
    }
    left = set(asked)
    ticks = sorted(job.catalog.tasks.ticks.values(), key=lambda t: t.id == CABIN)
    for tick in ticks:
        for at in list_places(tick):
            inside = sorted(left.intersection(list_inside(tick, at, job)))
            if tick.id == REAR_ROW:
                inside = [c for c in sorted(left) if is_in(c, "rear", "", job.case.car)]
            if _is_seen(tick, at, inside, scope):
                left -= set(inside)
                yield _look(tick, at, [asked[c] for c in inside], scope)
    yield from _closed_looks(ticks, asked, left, scope)


def list_passed(job: Job) -> frozenset[str]:
    """Return the parts whose look a person signed as passed, and that no eye saw bad since.

    By their own inspection, or with the line of their area: that is an eye on all it names, but no
    proof of a circuit or a charge. What the last report names is at fault whatever an eye says.
    """
    coded = name_at_fault(job)
    words = {c: [f"{c}:inspect"] for c in job.case.car.components}
    for tick in job.catalog.tasks.ticks.values():
        for at in list_places(tick):
            for component in list_inside(tick, at, job):
                kind = job.catalog.kinds[split_component(component).kind]
                if not (kind.circuit or kind.fires):
                    words[component].append(f"look:{tick.id}-{at}" if at else f"look:{tick.id}")
    return frozenset(c for c, told in words.items() if c not in coded and _is_passed(c, told, job))


def _is_passed(component: str, words: Sequence[str], job: Job) -> bool:
    history = job.progress.history
    if is_seen_hurt(history, component, job.catalog):
        words = words[:1]  # its own inspection decides on it, the line of its area does not
    signed = last_signed(history, *words)
    if signed is None or signed[1].result != "passed":
        return False
    return signed[0] > last_seen_bad(history, component, job.catalog)


def _closed_looks(
    ticks: Sequence[Tick], asked: Mapping[str, Demand], left: set[str], scope: Scope
) -> Iterator[Operation]:
    """Yield the looks into areas that nothing opens, each counted only once somebody asks."""
    for tick in ticks:
        for at in list_places(tick):
            inside = sorted(left.intersection(list_inside(tick, at, scope.job)))
            left -= set(inside)
            if inside:
                yield _asked_look(tick, at, [asked[c] for c in inside], scope)


def _asked_look(tick: Tick, at: str, demands: Sequence[Demand], scope: Scope) -> Operation:
    """Return a look into a closed area, with what it takes to open and close it.

    The maker says whether it is made: counted where he does, advice where he does not.
    """
    progress = scope.job.progress
    openings = [scope.job.catalog.tasks.openings[w] for w in tick.opens]
    minutes = sum(
        (to_minutes(three) for o in openings for three in (o.open, o.close)),
        to_minutes(tick.minutes),
    )
    opened = " and ".join(o.title for o in openings)
    usual = _look(tick, at, demands, scope)
    return msgspec.structs.replace(
        usual,
        title=f"{usual.title}{f' ({opened} off)' if opened else ''}",
        minutes=minutes,
        kind="rule" if progress.passed(CLOSED_AREAS) else "ask",
        p=max(d.probability for d in demands),
        counted=progress.passed(CLOSED_AREAS),
        is_advice=progress.failed(CLOSED_AREAS),
    )


def _is_seen(tick: Tick, at: str, inside: Sequence[str], scope: Scope) -> bool:
    if tick.id == HARNESS and inside and scope.job.was_soaked:
        return True
    if not scope.job.had_crash:
        opened = bool(tick.seen_in) and _is_open_for(tick, at, scope)
        there = bool(list_inside(tick, at, scope.job))
        return opened and (bool(inside) or (there and bool(scope.changed)))
    if tick.when == "always":
        return bool(inside) or not tick.kinds or _is_in_doubt(tick, at, scope)
    if tick.when == "bag-fired":
        return any(p.assembly.live and _is_bag(p, scope) for p in scope.changed)
    return bool(list_inside(tick, at, scope.job)) and _is_open_for(tick, at, scope)


def _is_in_doubt(tick: Tick, at: str, scope: Scope) -> bool:
    """Does a look at something in an area decide whether it is replaced."""
    asked = (d for d in scope.demands.values() if d.action == "replace" and not d.done)
    doubtful = {d.component for d in asked if d.kind == "look-first"}
    return not doubtful.isdisjoint(list_inside(tick, at, scope.job))


def _is_open_for(tick: Tick, at: str, scope: Scope) -> bool:
    car, where = scope.job.case.car, _look_from(tick, at)
    return any(is_open(word, where, scope.ways, car) for word in tick.seen_in) or not tick.seen_in


def _look_from(tick: Tick, at: str) -> str:
    """Return the seat or side a look is made from; the driver's for the steering column."""
    return at or (tick.rows if tick.rows in SEATS else "")


def _is_bag(piece: Piece, scope: Scope) -> bool:
    kinds = scope.job.catalog.kinds
    return any(kinds[split_component(c).kind].family == "bag" for c in piece.key)


_WET = (Because(text="Water or fire was at it."),)


def _look(tick: Tick, at: str, demands: Sequence[Demand], scope: Scope) -> Operation:
    way = _way_seen(tick, at, scope)
    word = f"look:{tick.id}-{at}" if at else f"look:{tick.id}"
    title = f"Look: {tick.title}" + (f", {at}" if at else "")
    hands = ("step:make-safe",) if tick.seen_in or tick.when == "bag-fired" else ()
    needs = (f"open:{way.id}",) if way is not None else hands
    history, catalog = scope.job.progress.history, scope.job.catalog
    hurt = [d for d in demands if d.component and is_seen_hurt(history, d.component, catalog)]
    return Operation(
        n=tick.number or LOOK + _slot(tick, at, scope),
        id=word,
        action="look",
        title=title,
        components=tuple(d.component for d in demands if d.component),
        minutes=to_minutes(tick.minutes),
        after=needs,
        demands=tuple(d.id for d in demands),
        done=all(d.done for d in demands) if demands else _was_made(tick, at, word, scope),
        because=_WET if tick.id == HARNESS and scope.job.was_soaked else (),
        sees=list_inside(tick, at, scope.job),
        seen_hurt=tuple(component_title(d.component or "", catalog) for d in hurt),
        passes_when=f"passed {word}: {tick.text}",
    )


def _was_made(tick: Tick, at: str, word: str, scope: Scope) -> bool:
    """Was a look that nothing asks of any part signed: as itself, or part by part while one did."""
    parts = list_inside(tick, at, scope.job)
    return is_signed(word, scope) or any(is_signed(f"{c}:inspect", scope) for c in parts)


def _way_seen(tick: Tick, at: str, scope: Scope) -> Way | None:
    where = _look_from(tick, at)
    own = [w for w in scope.ways if w.opening.id in tick.seen_in and where in ("", w.at)]
    own += [w for w in scope.ways if w.opening.id in tick.seen_in and not at and not w.at]
    outer = [w for w in scope.ways if set(w.opening.swallows) & set(tick.seen_in) and not w.at]
    return next(iter((*own, *outer)), None)


def _slot(tick: Tick, at: str, scope: Scope) -> int:
    opening = scope.job.catalog.tasks.openings[tick.seen_in[0]]
    return opening.slot + (at in ("passenger", "right"))


def list_deciding(piece: Piece, order: Order | None, scope: Scope) -> list[str]:
    """Return the looks that decide whether a piece comes out: none where that is near certain.

    Nor at what is in the way of the look: it is out before its area is open.
    """
    certain = scope.job.catalog.fact("require.certain-from").number()
    is_first = any(w.opening.first_out == piece.assembly.id for w in scope.ways)
    if order is None or order.done or order.kind != "look-first" or is_first:
        return []
    if order.p >= certain:
        return []
    own = set(piece.key)
    return [x.id for x in look(scope) if own & {*x.components, *x.sees}]
