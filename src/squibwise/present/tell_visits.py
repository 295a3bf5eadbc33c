"""The order of work: operations in visits, by area, between two changes of power."""

from collections.abc import Iterable, Sequence
from itertools import groupby

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.work import Area, Operation, Visit, Work
from squibwise.present.figures import hours, listed, minutes, percent, ranges
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
    "out": "take out, bag and label",
    "fit": "fit",
    "join": "plug in and lock",
    "close": "close",
}
_NAMED = ("out", "fit")  # what is taken out or fitted is named
_MERGED = ({"open"}, {"open", "look"}, {"look"}, {"join"}, {"close"})
_KIT = "bolts-kit"
_SURE = 0.995  # a chance is told below it


def tell_visits(todo: Work, *, full: bool = False) -> tuple[Section, ...]:
    """Return the work under one heading for each visit.

    Args:
        todo: The work.
        full: Every operation on its own line; else one line for each area.
    """
    return tuple(_visit(n, v, full=full) for n, v in enumerate(todo.visits, start=1))


def _visit(number: int, visit: Visit, *, full: bool) -> Section:
    due = [o for o in visit.operations if not o.done]
    time = f"{hours(hands_on(due))} hands-on" if due else "done"
    blocks = tuple(_in_full(visit)) if full else (Steps(steps=tuple(_by_area(visit))),)
    note = f"{POWER[visit.power]}; {time}"
    return section(f"{number}. {visit.title}", *blocks, note=note)


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
    """Return one line for each area; neighbours where nothing but the same is done share one."""
    for key, group in groupby(visit.areas, key=_mergeable):
        together = list(group)
        if key is None:
            yield from (_area_step((a,)) for a in together)
        else:
            yield _area_step(together)


def _mergeable(area: Area) -> tuple[str, str] | None:
    actions = {o.action for o in area.operations}
    return (area.phase, " ".join(sorted(actions))) if actions in _MERGED else None


def _area_step(areas: Sequence[Area]) -> Step:
    operations = [o for a in areas for o in a.operations]
    due = [o for o in operations if not o.done]
    names = "; ".join(a.title for a in areas)
    told = _doings(operations)
    notes = []
    if due:
        time = hands_on(due)
        notes += [minutes(time)] if time else []
        hold = max(o.hold_minutes for o in due)
        notes += [f"wait {minutes(hold)}"] if hold else []
        held = list(dict.fromkeys(g for o in due for g in o.blocked_by))
        notes += [f"held by {', '.join(held)}"] if held else []
    notes.append(f"no. {ranges(o.n for o in operations)}")
    return Step(done=not due, title=f"{names}: {told}", notes=tuple(notes))


def _doings(operations: Sequence[Operation]) -> str:
    """Return what is done in an area: each kind of action once, what is moved by name."""
    told: list[str] = []
    for action, group in groupby(operations, key=lambda o: o.action):
        together = list(group)
        if action in _NAMED:
            names = listed([o.title.partition(": ")[2] or o.title for o in together], 4)
            told.append(f"{_ACTIONS[action]} {names}")
        elif action in _ACTIONS:
            told.append(_ACTIONS[action])
        else:
            told += [o.title[:1].lower() + o.title[1:] for o in together]
    return "; ".join(dict.fromkeys(told))


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
    where: dict[str, list[int]] = {}
    for operation in todo.operations:
        for caution in operation.cautions if not operation.done else ():
            where.setdefault(caution.text, []).append(operation.n)
    return tell_cautions(
        f"{t} (no. {ranges(numbers)})" if full else t for t, numbers in where.items()
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
