"""The order of work: operations in visits, by area, between two changes of power."""

import textwrap
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from itertools import groupby

from squibwise.catalog.load import Catalog
from squibwise.entering.tick_visit import find_entering
from squibwise.model.case import Case
from squibwise.model.names import PLACES
from squibwise.model.work import Area, Caution, Operation, Visit, Work
from squibwise.present.figures import counted, hours, minutes, percent, ranges
from squibwise.present.phrases import (
    name,
    source_title,
    standing,
    tell_car,
    tell_cautions,
    tell_from,
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
_COUNTED = {  # far ahead it is told in how many areas it is done
    "open": ("open", "area"),
    "look": ("look in", "area"),
    "join": ("plug in and lock in", "area"),
    "close": ("close", "area"),
}
_PARTS = {"out": ("take out", "part"), "fit": ("fit", "part")}
_LEAST_TOLD = 5  # minutes below it are not told
_MERGED = ({"open", "look"}, {"join"}, {"close"})  # areas where no more is done share a line
_EVERYWHERE = ("car", "power", "order", "body", "settings", "proof")  # it goes without saying
_ASKED, _PROOF = "asked", "proof"
_ALWAYS_NAMED = ("connectors", "hv")  # faults and high voltage have a line of their own
_KIT = "bolts-kit"
WIDTH = 80
_INDENT, _BOX = 2, 5  # columns before a text, and those of the box before a step


def tell_visits(todo: Work) -> tuple[Section, ...]:
    """Return the order of work: a section for each visit, every operation on its own line."""
    return tuple(tell_visit(n, v) for n, v in enumerate(todo.visits, start=1))


def tell_visit(number: int, visit: Visit) -> Section:
    """Return one visit, area by area, every operation on its own line."""
    due = [o for o in visit.operations if not o.done]
    note = f"{POWER[visit.power]}; " + (f"{hours(hands_on(due))} hands-on" if due else "done")
    return section(f"{number}. {visit.title}", *_in_full(visit), note=note)


def tell_visits_shortly(todo: Work, room: int) -> Section:
    """Return the order of work with a line for each area, in so many lines where that can be.

    Where there is no room, what is far ahead is told more shortly: by the parts that are taken out
    and fitted, then by their number. What comes next is cut last. Waits and gates always stand.

    Args:
        todo: The work.
        room: Lines there are for the visits at `WIDTH` columns.
    """
    stretches = [
        (n, tuple(areas))
        for n, visit in enumerate(todo.visits, start=1)
        for _, areas in groupby(visit.areas, key=lambda a: a.phase)
    ]
    heads = [_head(n, v) for n, v in enumerate(todo.visits, start=1)]
    told = [_by_count(areas) if _is_done(areas) else _by_area(areas) for _, areas in stretches]
    room -= count_lines(heads)
    for index, tell in _shorten_in_turn([areas for _, areas in stretches]):
        if count_lines(told) <= room:
            break
        told[index] = min(told[index], tell(stretches[index][1]), key=lambda s: count_lines((s,)))
    blocks: list[Block] = []
    for number, head in enumerate(heads, start=1):
        own = [steps for (n, _), steps in zip(stretches, told, strict=True) if n == number]
        is_done = all(s.done for steps in own for s in steps.steps)
        blocks += [head, *(() if is_done else own)]
    return section("The order of work", *blocks)


def _shorten_in_turn(
    stretches: Sequence[Sequence[Area]],
) -> Iterator[tuple[int, Callable[[Sequence[Area]], Steps]]]:
    """Yield which stretch is told more shortly, and how: the farthest first, the next one last."""
    due = [n for n, areas in enumerate(stretches) if not _is_done(areas)]
    for turn in (due[:0:-1], due[:1]):
        for tell in (_by_doing, _by_count):
            yield from ((n, tell) for n in turn)


def _is_done(areas: Iterable[Area]) -> bool:
    return all(o.done for a in areas for o in a.operations)


def count_lines(blocks: Iterable[Block]) -> int:
    """Return how many lines texts and steps take on a screen of `WIDTH` columns."""
    lines = 0
    for block in blocks:
        if isinstance(block, Text):
            lines += len(textwrap.wrap(block.text, WIDTH - _INDENT))
        elif isinstance(block, Steps):
            told = ("; ".join((s.title, *s.notes)) for s in block.steps)
            lines += sum(len(textwrap.wrap(t, WIDTH - _INDENT - _BOX)) for t in told)
    return lines


def _head(number: int, visit: Visit) -> Text:
    power = "" if visit.title.startswith("Power") else f"{POWER[visit.power]}; "
    due = [o for o in visit.operations if not o.done]
    held = ", ".join(dict.fromkeys(g for o in due for g in o.blocked_by))
    time = hours(hands_on(due)) if due else f"done ({ranges(o.n for o in visit.operations)})"
    tail = f"; held by {held}" if held else ""
    return Text(text=f"{number}. {visit.title}: {power}{time}{tail}", tone="strong")


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
    told += [
        f"{part}: seen hurt, a tick leaves it open; look again" for part in operation.seen_hurt
    ]
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
    is_told = operation.p < tell_from("chance-below")
    if operation.kind == "look-first" and is_told:
        return (f"only if a look says so ({percent(operation.p)})",)
    if is_left_closed(operation):
        return ("stays closed: the maker does not ask for it",)
    if operation.kind == "ask":
        return ("only if the maker asks for it",)
    return (f"needed with {percent(operation.p)}",) if is_told else ()


def is_left_closed(operation: Operation) -> bool:
    """Is it a look into an area that stays closed, by what the maker answered."""
    return operation.kind == "ask" and operation.is_advice


def _by_area(areas: Sequence[Area]) -> Steps:
    """Return one line for each area; areas where the like is done share one."""
    return Steps(steps=tuple(_area_step(line) for line in _lines(areas, _alike)))


def _by_doing(areas: Sequence[Area]) -> Steps:
    """Return one line for all areas, by what is done in them; steps of the whole car stay."""
    return Steps(steps=tuple(_phase_step(line) for line in _lines(areas, _of_a_phase)))


def _by_count(areas: Sequence[Area]) -> Steps:
    """Return a single line: the steps of the whole car, and how many parts and areas."""
    if any(a.area in _ALWAYS_NAMED for a in areas):
        return _by_doing(areas)
    return Steps(steps=(_counted_step(areas, _COUNTED | _PARTS),))


def _lines(areas: Iterable[Area], alike: Callable[[Area], tuple[str, ...]]) -> list[list[Area]]:
    """Return areas in lines; areas that are alike share one.

    An area goes up into an earlier line where nothing that stands between must come before it.
    """
    lines: list[list[Area]] = []
    for area in areas:
        line = _line_before(area, lines, alike)
        if line is None:
            lines.append([area])
        else:
            line.append(area)
    return lines


def _line_before(
    area: Area, lines: Sequence[list[Area]], alike: Callable[[Area], tuple[str, ...]]
) -> list[Area] | None:
    """Return the last line that an area may join; None where it must have one of its own."""
    needed = {word for o in area.operations for word in o.after}
    for line in reversed(lines):
        if alike(line[0]) == alike(area):
            return line
        if needed & {o.id for one in line for o in one.operations}:
            return None
    return None


def _alike(area: Area) -> tuple[str, ...]:
    """Return what areas that share a line have in common.

    Those that are only opened, looked at, plugged in or closed; the same opening left and right
    with the same parts; steps on the whole car.
    """
    actions = {o.action for o in area.operations}
    if area.area in _EVERYWHERE and not actions & {*_NAMED}:
        word = "look" if actions == {"look"} else _PROOF if area.area == _PROOF else "steps"
        return (area.phase, word)
    unnamed = next((sorted(m) for m in _MERGED if actions <= m), None)
    if unnamed and area.area not in (_ASKED, *_ALWAYS_NAMED):
        return (area.phase, *unnamed)
    stem, _, at = area.title.rpartition(", ")
    named = (o.assembly or o.action for o in area.operations if o.action in _NAMED)
    return (area.phase, stem, *named) if at in PLACES else (area.phase, area.area)


def _of_a_phase(area: Area) -> tuple[str, ...]:
    """Return what areas have in common that share a line where there is no room."""
    alike = _alike(area)
    keeps_apart = area.area in _ALWAYS_NAMED or alike[1] in ("steps", _PROOF)
    return alike if keeps_apart else (area.phase, "areas")


def _area_step(areas: Sequence[Area]) -> Step:
    told = _doings(areas)
    if any(a.area not in _EVERYWHERE for a in areas):
        told = f"{_named_together(a.title for a in areas)}: {told}"
    numbers = ranges(o.n for a in areas for o in a.operations)
    return _step_of(f"{told} ({numbers})", areas)


def _phase_step(areas: Sequence[Area]) -> Step:
    """Return one line for areas far ahead: the parts by name, what is opened by its count."""
    if all(a.area in _EVERYWHERE for a in areas) or areas[0].area in _ALWAYS_NAMED:
        return _area_step(areas)
    return _counted_step(areas, _COUNTED)


def _counted_step(areas: Sequence[Area], words: Mapping[str, tuple[str, str]]) -> Step:
    told = {}
    for word, run in _by_likeness(areas).items():
        verb, what = words.get(word, ("", ""))
        told[word] = f"{verb} {counted(len(run), what)}" if verb else _do_together(run)
    first = [told.pop("open")] if "open" in told and "out" in told else []
    last = [told.pop(word) for word in ("join", "close") if word in told]
    return _step_of("; ".join((*first, *told.values(), *last)), areas)


def _step_of(told: str, areas: Sequence[Area]) -> Step:
    due = [o for a in areas for o in a.operations if not o.done]
    time = hands_on(due)
    notes = (minutes(time),) if time >= _LEAST_TOLD else ()
    return Step(done=not due, title=f"{told[:1].upper()}{told[1:]}", notes=notes)


def _doings(areas: Sequence[Area]) -> str:
    """Return what is done in areas, in order; the like is told once."""
    if len(areas) > 1:
        runs = list(_by_likeness(areas).values())
    else:
        runs = [list(g) for _, g in groupby(areas[0].operations, key=_doing)]
    return "; ".join(dict.fromkeys(_do_together(run) for run in runs))


def _by_likeness(areas: Sequence[Area]) -> dict[str, list[Operation]]:
    alike: dict[str, list[Operation]] = {}
    for operation in (o for a in areas for o in a.operations):
        alike.setdefault(_doing(operation), []).append(operation)
    return alike


def _doing(operation: Operation) -> str:
    """Return what operations of one kind have in common; others stand alone."""
    return operation.action if operation.action in _ACTIONS else operation.id


def _do_together(alike: Sequence[Operation]) -> str:
    first = alike[0]
    if first.action in _NAMED:
        titles = [o.short or o.title.partition(": ")[2] or o.title for o in alike]
        return f"{_ACTIONS[first.action]} {_named_together(titles)}"
    told = _ACTIONS.get(first.action) or first.short or _in_a_row(first.title)
    wait = first.hold_minutes if not first.done else 0
    return f"wait {minutes(wait)}; {told}" if wait else told


def _named_together(titles: Iterable[str]) -> str:
    """Return titles in a row; those that differ by their place alone as one with its places."""
    places: dict[str, list[str]] = {}
    for title in titles:
        stem, _, at = title.rpartition(", ")
        is_placed = at in PLACES
        word = _in_a_row(stem if is_placed else title)
        places.setdefault(word, []).append(at if is_placed else "")
    named = (
        f"{stem} ({', '.join(dict.fromkeys(at))})" if any(at) else stem
        for stem, at in places.items()
    )
    return ", ".join(named)


def _in_a_row(title: str) -> str:
    """Return a title as it stands within a sentence: ``B-pillar trims`` keeps its letter."""
    return title[:1].lower() + title[1:] if title[1:2].islower() else title


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
    command, when = find_entering(operation, todo, catalog, case.evidence)
    signed = " --by NAME" if " did " in command else ""
    entry = Entry(lines=(command.replace("CASE", case.id) + signed,))
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
                None if operation.done else section("Enter it", entry, note=when),
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


def list_cautions(operations: Iterable[Operation]) -> list[str]:
    """Return the cautions of operations, each once."""
    return list(dict.fromkeys(c.text for o in operations for c in o.cautions))


def list_gate_points(
    visit: Visit, along: Collection[str], catalog: Catalog
) -> dict[str, tuple[str, ...]]:
    """Return by operation what whoever decides the gate of it makes sure of, point by point.

    Args:
        visit: The visit.
        along: Gates that are signed with the step they hold; the others have a step of their own.
        catalog: The gates.
    """
    gates = catalog.tasks.gates
    own = {f"step:{g.step}": w for w, g in gates.items() if g.step}
    found = {}
    for operation in (o for o in visit.operations if not o.done and o.id.startswith("step:")):
        held = [w for w in operation.blocked_by if w in along]
        words = [own[operation.id], *held] if operation.id in own else held
        if words:
            found[operation.id] = tuple(p for w in words for p in _points(gates[w].text))
    return found


def _points(text: str) -> tuple[str, ...]:
    """Return what a gate asks for, point by point, without when it is asked."""
    asked = text.rpartition(": ")[2].removesuffix(".")
    return tuple(f"{point[:1].upper()}{point[1:]}" for point in asked.split(", "))


def tell_gates_of(visit: Visit, catalog: Catalog) -> list[tuple[str, str]]:
    """Return the gates that hold a visit: each with what it asks and what closes it."""
    words = dict.fromkeys(w for o in visit.operations if not o.done for w in o.blocked_by)
    known = catalog.tasks.gates
    return [(w, f"{known[w].text} {known[w].remedy}" if w in known else "") for w in words]
