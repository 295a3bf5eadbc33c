"""The order of work: operations in visits, by area, between two changes of power."""

from collections.abc import Iterable, Sequence
from itertools import groupby, zip_longest

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.names import PLACES
from squibwise.model.work import Area, Caution, Operation, Visit, Work
from squibwise.present.figures import hours, minutes, percent, ranges
from squibwise.present.phrases import (
    name,
    source_title,
    standing,
    tell_car,
    tell_cautions,
    tell_reasons,
)
from squibwise.present.telling import (
    Block,
    Entry,
    Section,
    Step,
    Steps,
    Table,
    Telling,
    Text,
    filled,
    section,
)

POWER = {"as-found": "power as found", "on": "POWER ON", "off": "power off"}
_ACTIONS = {
    "open": "open",
    "look": "look",
    "out": "take out",
    "fit": "fit",
    "join": "plug in and lock",
    "close": "close",
}
_NAMED = ("out", "fit")  # what is taken out or fitted is named
_MERGED = ({"open"}, {"open", "look"}, {"look"}, {"join"}, {"close"})
_EVERYWHERE = ("car", "power", "order", "body", "settings", "proof")  # it goes without saying
_ASKED = "asked"
_KIT = "bolts-kit"
_SURE = 0.995  # a chance is told below it


def tell_visits(todo: Work, *, full: bool = False) -> tuple[Section, ...]:
    """Return the order of work: a heading for each visit, its operations below.

    Args:
        todo: The work.
        full: Every operation on its own line; else one line for each area, all on one page.
    """
    if full:
        return tuple(_visit(n, v) for n, v in enumerate(todo.visits, start=1))
    blocks = (b for n, v in enumerate(todo.visits, start=1) for b in _visit_shortly(n, v))
    return filled((section("The order of work", *blocks),))


def _visit(number: int, visit: Visit) -> Section:
    due = [o for o in visit.operations if not o.done]
    note = f"{POWER[visit.power]}; " + (f"{hours(hands_on(due))} hands-on" if due else "done")
    return section(f"{number}. {visit.title}", *_in_full(visit), note=note)


def _visit_shortly(number: int, visit: Visit) -> Iterable[Block]:
    power = "" if visit.title.startswith("Power") else f"{POWER[visit.power]}; "
    due = [o for o in visit.operations if not o.done]
    held = ", ".join(dict.fromkeys(g for o in due for g in o.blocked_by))
    time = hours(hands_on(due)) if due else "done"
    tail = f"; held by {held}" if held else ""
    yield Text(text=f"{number}. {visit.title}: {power}{time}{tail}", tone="strong")
    yield Steps(steps=tuple(_by_area(visit)))


def hands_on(operations: Iterable[Operation]) -> int:
    """Return the likely time of hands on the car that is left. [min]."""
    return sum(o.minutes.likely for o in operations if o.counted and not o.done)


def _in_full(visit: Visit) -> Iterable[Block]:
    for area in visit.areas:
        yield Text(text=area.title, tone="quiet")
        yield Steps(steps=tuple(_step(o) for o in area.operations))


def _step(operation: Operation) -> Step:
    return Step(
        done=operation.done,
        number=str(operation.n),
        title=operation.title,
        notes=() if operation.done else (*tell_holds(operation), *tell_sureness(operation)),
    )


def tell_holds(operation: Operation) -> tuple[str, ...]:
    """Return how long an operation takes, and what holds it up."""
    told = [minutes(operation.minutes.likely)] if operation.minutes.likely else []
    told += [f"wait {minutes(operation.hold_minutes)} before it"] if operation.hold_minutes else []
    told += ["new one-time fasteners"] if _has_fasteners(operation) else []
    return (
        *told,
        *([f"held by {', '.join(operation.blocked_by)}"] if operation.blocked_by else []),
    )


def _has_fasteners(operation: Operation) -> bool:
    """Are fasteners undone here that are new each time."""
    is_one_time = any(c.id == "one-time" for c in operation.cautions)
    return is_one_time and operation.action in ("fit", "close") and operation.assembly != _KIT


def tell_sureness(operation: Operation) -> tuple[str, ...]:
    """Return how sure it is that an operation is needed; nothing when it is."""
    if operation.kind == "rule":
        return ("by rule",)
    if operation.kind == "look-first":
        return (f"only if a look says so ({percent(operation.p)})",)
    if operation.kind == "ask":
        return ("only if the maker asks for it",)
    return (f"needed with {percent(operation.p)}",) if operation.p < _SURE else ()


def _by_area(visit: Visit) -> Iterable[Step]:
    """Return one line for each area; neighbours share one.

    Neighbours are left and right of the same opening, and areas where nothing but the same is done.
    """
    for key, group in groupby(visit.areas, key=_mergeable):
        together = list(group)
        if key is None:
            yield from (_area_step((a,)) for a in together)
        else:
            yield _area_step(together)


def _mergeable(area: Area) -> tuple[str, ...] | None:
    actions = {o.action for o in area.operations}
    if area.area == _ASKED:
        return None
    if actions in _MERGED:
        return (area.phase, *sorted(actions))
    stem, _, at = area.title.rpartition(", ")
    return (area.phase, stem, *(o.action for o in area.operations)) if at in PLACES else None


def _area_step(areas: Sequence[Area]) -> Step:
    operations = [o for a in areas for o in a.operations]
    due = [o for o in operations if not o.done]
    notes = []
    time, hold = hands_on(due), max((o.hold_minutes for o in due), default=0)
    notes += [minutes(time)] if time else []
    notes += [f"wait {minutes(hold)}"] if hold else []
    told = f"{_doings(areas)} ({ranges(o.n for o in operations)})"
    if any(a.area not in _EVERYWHERE for a in areas):
        told = f"{_named_together(a.title for a in areas)}: {told}"
    return Step(done=not due, title=told[:1].upper() + told[1:], notes=tuple(notes))


def _doings(areas: Sequence[Area]) -> str:
    """Return what is done in areas, in order; alike areas are told as one."""
    runs = [[list(g) for _, g in groupby(a.operations, key=_doing)] for a in areas]
    told = (
        _do_together([o for run in alike for o in run])
        for alike in zip_longest(*runs, fillvalue=[])
    )
    return "; ".join(dict.fromkeys(told))


def _doing(operation: Operation) -> str:
    """Return what operations of one kind have in common; others stand alone."""
    return operation.action if operation.action in _ACTIONS else operation.id


def _do_together(alike: Sequence[Operation]) -> str:
    first = alike[0]
    if first.action in _NAMED:
        titles = [o.title.partition(": ")[2] or o.title for o in alike]
        return f"{_ACTIONS[first.action]} {_named_together(titles)}"
    return _ACTIONS.get(first.action) or first.short or first.title[:1].lower() + first.title[1:]


def _named_together(titles: Iterable[str]) -> str:
    """Return titles in a row; those that differ by their place alone as one with its places."""
    places: dict[str, list[str]] = {}
    for title in titles:
        stem, _, at = title.rpartition(", ")
        is_placed = at in PLACES
        places.setdefault(stem if is_placed else title, []).append(at if is_placed else "")
    named = (
        f"{stem} ({', '.join(dict.fromkeys(at))})" if any(at) else stem
        for stem, at in places.items()
    )
    return ", ".join(named)


def next_operation(todo: Work) -> Operation | None:
    """Return the first operation that is neither done nor held; a held one when all are."""
    due = [o for o in todo.operations if not o.done and o.counted]
    done = {o.id for o in todo.operations if o.done or not o.counted}
    free = (o for o in due if not o.blocked_by and set(o.after) <= done)
    return next(free, due[0] if due else None)


def tell_operation_shortly(operation: Operation) -> str:
    """Return an operation with its number, time and wait in one line."""
    wait = f", after a wait of {minutes(operation.hold_minutes)}" if operation.hold_minutes else ""
    return f"{operation.n}  {operation.title} ({minutes(operation.minutes.likely)}{wait})"


def tell_operation_cautions(todo: Work, *, full: bool) -> Section | None:
    """Return every caution once; in full, with the numbers of the operations it is about."""
    where: dict[Caution, list[int]] = {}
    for operation in todo.operations:
        for caution in operation.cautions if not operation.done else ():
            where.setdefault(caution, []).append(operation.n)
    if full:
        return tell_cautions(f"{c.text} (no. {ranges(n)})" for c, n in where.items())
    told = tuple(dict.fromkeys(c.short or c.text for c in where))
    words = Text(text=f"{'; '.join(told)}.", tone="alarm")
    return (
        section("Cautions", words, tone="alarm", note="each in full with --full") if told else None
    )


def tell_operation(case: Case, operation: Operation, todo: Work, catalog: Catalog) -> Telling:
    """Return one operation with its reasons, tools, cautions and what it waits for.

    Args:
        case: Where the evidence stands.
        operation: The operation.
        todo: The work it belongs to.
        catalog: Names and sources.
    """
    because = tell_reasons(operation.because, case, catalog)
    cautions = (f"{c.text} ({source_title(c.source, catalog)})" for c in operation.cautions)
    entry = Entry(lines=(f"squibwise did {case.id} {operation.n} --by NAME",))
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                section(
                    operation.title, _about(operation, todo, catalog), note=f"no. {operation.n}"
                ),
                section("Because", because) if operation.because else None,
                tell_cautions(cautions),
                None if operation.done else section("Tick it", entry, note="once it is done"),
            )
        ),
        closing=standing(catalog),
    )


def _about(operation: Operation, todo: Work, catalog: Catalog) -> Table:
    numbers = {o.id: o.n for o in todo.operations}
    time = operation.minutes
    rows = [("parts", ", ".join(name(c, catalog) for c in operation.components))]
    rows += [("hands-on", f"{time.likely} min ({time.low} to {time.high})")]
    rows += [("wait before it", minutes(operation.hold_minutes) if operation.hold_minutes else "")]
    rows += [("after", ranges(numbers[a] for a in operation.after if a in numbers))]
    rows += [("held by", ", ".join(operation.blocked_by))]
    rows += [("tools", ", ".join(operation.tools))]
    rows += [("connectors parted", ", ".join(name(c, catalog) for c in operation.undoes))]
    rows += [("connectors joined", ", ".join(name(c, catalog) for c in operation.joins))]
    rows += [("substitute loads", ", ".join(operation.loads))]
    rows += [("how sure", "; ".join(tell_sureness(operation)))]
    rows += [("counts as done when", operation.passes_when)]
    rows += [("stands for", ", ".join(operation.demands))]
    return Table(rows=tuple((label, told) for label, told in rows if told))
