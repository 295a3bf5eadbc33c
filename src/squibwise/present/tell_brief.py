"""One screen that says what happened, what to order, what it costs, and what comes next.

Forty lines at eighty columns. What does not fit is counted, with the command that shows it;
dangers are never cut.
"""

import textwrap
from collections.abc import Collection, Iterable, Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.order import put_in_order, read_history
from squibwise.history.signed import find_loads
from squibwise.model.belief import Assessment, NextLook
from squibwise.model.case import Case
from squibwise.model.cost import Cost, Money
from squibwise.model.evidence import DoneWork, Look
from squibwise.model.names import loop_id, split_component, split_loop
from squibwise.model.proof import Overview
from squibwise.model.report import Report
from squibwise.model.work import Minutes, Order, Work
from squibwise.present.faulty_circuits import UNIT, FaultyCircuit, find_faulty_circuits
from squibwise.present.figures import (
    counted,
    cut,
    listed,
    minutes,
    percent,
    spread,
)
from squibwise.present.phrases import LIKELY, tell_car, tell_grouped
from squibwise.present.tell_assessment import (
    fired_parts,
    tell_dangers,
    tell_look,
)
from squibwise.present.tell_cost import find_followed, tell_expected
from squibwise.present.tell_event import tell_event_shortly
from squibwise.present.tell_orders import (
    group_orders,
    may_be_added,
    open_questions,
    order_now,
    tell_price,
    tell_titled,
    tell_why,
)
from squibwise.present.tell_report import SILENT
from squibwise.present.tell_trouble import tell_wrong
from squibwise.present.tell_visits import WIDTH, next_operation, tell_operation_shortly
from squibwise.present.telling import Section, Table, Telling, Text, Tone, filled, section

UNTOLD = "nothing is known yet: no report, no look, nothing told"
LINES = 40
LEAST_ROWS = 3  # of a list that is cut, so that its heading does not stand alone
_CUT: tuple[tuple[str, ...], ...] = (
    (),
    ("wrong", "ask", "look"),
    ("happened", "fired", "seen", "wrong", "circuit", "ask", "look", "do", "record"),
)
"""Rows that are cut to one line until both lists have room: never a danger, a sum or a command."""
_LABEL, _GAP = 8, 2
_ROW = WIDTH - _LABEL - 2 * _GAP
_TITLE, _WHY = 50, 14  # columns of what is ordered now
_TITLE_ADDED, _WHY_ADDED = 46, 22  # and of what may be added: its reason needs more room


class BriefParts(msgspec.Struct, frozen=True, kw_only=True):
    """What the parts cost; None where none is priced.

    Attributes:
        likely: What they are expected to come to.
        chance: Probability that all parts stay below ``at_most``, and that of above ``at_least``.
        unpriced: Orders that no sum holds, by title.
    """

    likely: Money | None
    at_least: Money | None
    at_most: Money | None
    chance: float
    unpriced: tuple[str, ...]


class Brief(msgspec.Struct, frozen=True, kw_only=True):
    """The answer of ``brief``.

    Attributes:
        fired: Ids of what is settled to have fired.
        seen: Ids of what somebody saw to have fired, though it is not settled by all that is told.
        wrong: What is likely not right now though it did not fire, and causes behind codes.
        circuits: Circuits to be traced, the likeliest first.
        order_now: What is needed for certain or by rule.
        may_be_added: What only a look or the maker decides.
        labour_minutes: Hands-on: certain, by rule, and what a look more likely than not adds. [min]
        waiting_minutes: Waits after power-downs. [min]
        next: What to ask, to look at and to do, the first first.
        open: Gates that keep the record open.
        silent: Reports that only say that the control unit did not answer, by the entry's id.
        untold: Nothing was handed in, seen or told yet: what is believed is of any car.
    """

    happened: str
    fired: tuple[str, ...]
    wrong: tuple[str, ...]
    circuits: tuple[FaultyCircuit, ...]
    dangers: tuple[str, ...]
    order_now: tuple[Order, ...]
    may_be_added: tuple[Order, ...]
    parts: BriefParts
    labour_minutes: Minutes
    waiting_minutes: int
    next: tuple[str, ...]
    open: tuple[str, ...]
    seen: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    untold: bool = False


def make_brief(case: Case, whole: Overview, catalog: Catalog) -> Brief:
    """Return what one screen says of a case."""
    states, todo = whole.states, whole.todo
    followed = find_followed(whole.costs)
    circuits = find_faulty_circuits(case, states, todo, catalog)
    low, likely, high = followed.labour_minutes if followed else (0, 0, 0)
    fired = tuple(c.id for c in fired_parts(states, catalog))
    untold = not (case.evidence or fired or order_now(todo))
    return Brief(
        happened=UNTOLD if untold else tell_event_shortly(states.event, case.measures),
        fired=fired,
        wrong=tuple(tell_wrong(_leave_the_key(states, todo, catalog), catalog)),
        circuits=circuits,
        dangers=(
            *_tell_loads(case, catalog),
            *tell_dangers(states, catalog, known=not untold),
            *todo.no_power,
        ),
        order_now=order_now(todo),
        may_be_added=may_be_added(todo),
        parts=_parts(followed),
        labour_minutes=Minutes(low=low, likely=likely, high=high),
        waiting_minutes=followed.waiting_minutes if followed else 0,
        next=tuple(_next(states, todo, circuits, catalog)),
        open=tuple(g.id for g in whole.gates if g.open),
        seen=tuple(c for c in _list_seen_spent(case, catalog) if c not in fired),
        silent=_list_silent(case),
        untold=untold,
    )


def _list_seen_spent(case: Case, catalog: Catalog) -> tuple[str, ...]:
    """Return the parts whose last look, since they were last replaced, shows them spent."""
    seen: dict[str, bool] = {}
    for entry in put_in_order(case).evidence:
        if isinstance(entry, DoneWork) and entry.what == "replaced":
            seen[entry.component] = False
        elif isinstance(entry, Look) and entry.seen != "not-seen":
            component = split_loop(entry.component)[0]
            word = catalog.looks(split_component(component).kind).get(entry.seen)
            seen[component] = word is not None and word.proves_spent
    return tuple(c for c, is_spent in seen.items() if is_spent)


def _list_silent(case: Case) -> tuple[str, ...]:
    """Return the last report, where the control unit did not answer; nothing is known by it."""
    last = [e for e in put_in_order(case).evidence if isinstance(e, Report)][-1:]
    return tuple(r.id for r in last if r.reading.coverage.silent is not None)


def _leave_the_key(states: Assessment, todo: Work, catalog: Catalog) -> Assessment:
    """Return the states without the causes that take the key on, where there is no key-on."""
    keyed = {c.cause for c in catalog.tasks.causes.values() if c.powered and todo.unsettled}
    causes = {k: p for k, p in states.event.causes.items() if k.partition(":")[0] not in keyed}
    event = msgspec.structs.replace(states.event, causes=causes)
    return msgspec.structs.replace(states, event=event)


def _tell_loads(case: Case, catalog: Catalog) -> tuple[str, ...]:
    """Return which substitute loads are still in a circuit, if any; what they hide reads good."""
    loads = find_loads(read_history(put_in_order(case).evidence))
    marks = ", ".join(x.serial for x in loads.out if x.serial != f"load {x.loop}")
    told = (
        (f"A substitute load is still in ({len(loads.out)})", [x.loop for x in loads.out], marks),
        ("A substitute load was left in, by its last test", loads.left, ""),
    )
    return tuple(
        f"{where}: {_group_loops(loops, catalog)}{f'; marked {marks}' if marks else ''}. "
        "What such a circuit reads is the load."
        for where, loops, marks in told
        if loops
    )


def _group_loops(loops: Sequence[str], catalog: Catalog) -> str:
    """Return circuits by part, each named once, those of later stages apart."""
    split = [split_loop(loop) for loop in loops]
    first = tell_grouped((c for c, stage in split if stage == 1), catalog)
    later = tell_grouped(dict.fromkeys(c for c, stage in split if stage > 1), catalog)
    return "; ".join(filter(None, (first, f"in a later stage: {later}" if later else "")))


def _parts(cost: Cost | None) -> BriefParts:
    amount = cost.parts if cost else None
    if cost and cost.missing and amount and not amount.at_most.minor:
        amount = None
    return BriefParts(
        likely=amount.likely if amount else None,
        at_least=amount.at_least if amount else None,
        at_most=amount.at_most if amount else None,
        chance=cost.chance if cost else 0.0,
        unpriced=cost.missing if cost else (),
    )


def _first_look(
    states: Assessment, circuits: Sequence[FaultyCircuit], catalog: Catalog
) -> NextLook | None:
    """Return the look worth most; none where there was no crash and a circuit is to be traced.

    Of parts of one kind, the one whose circuit is at fault is looked at first.
    """
    looks = states.next_looks
    if not looks or (states.event.no_crash >= LIKELY and circuits):
        return None
    first, kind = looks[0], split_component(looks[0].component).kind
    faulty = {split_loop(c.loop)[0] for c in circuits}
    doubted = {c.component for c in states.contradictions}
    words = catalog.looks(kind)
    if first.component in faulty | doubted or first.look not in words:
        return first
    alike = (x for x in looks if split_component(x.component).kind == kind and x.look in words)
    return next((x for x in alike if x.component in faulty and x.minutes <= first.minutes), first)


def _next(
    states: Assessment, todo: Work, circuits: Sequence[FaultyCircuit], catalog: Catalog
) -> list[str]:
    told = [f"ask: {q.text}" for q in open_questions(todo)[:1]]
    told += [_tell_circuit(c) for c in circuits[:1]]
    look = _first_look(states, circuits, catalog)
    if look is not None:
        told.append(f"look: {tell_look(look, catalog)}")
    operation = next_operation(todo)
    if operation is not None:
        told.append(f"do: {tell_operation_shortly(operation)}")
    return told


def _tell_circuit(circuit: FaultyCircuit) -> str:
    """Return what comes next of a circuit: to trace it, or to renew what its tests located."""
    card = f"`squibwise trace CASE {circuit.loop}`"
    if circuit.located:
        return f"renew: {circuit.located}, at fault by its tests; how and what came of it: {card}"
    if circuit.shared:
        return f"trace: {circuit.title}, before any other ({circuit.shared}), with {card}"
    held = "" if circuit.returned else "; labour holds its first cards"
    return f"trace: {circuit.title}, with {card}{held}"


def tell_brief(case: Case, brief: Brief, command: str, catalog: Catalog) -> Telling:
    """Return the one screen.

    Args:
        case: The case.
        brief: What it says.
        command: The case as the person named it, for the commands that show more.
        catalog: Names of the parts.
    """
    about = tuple(cut(line, WIDTH - 2) for line in tell_car(case))
    count = bool(brief.order_now) + bool(brief.may_be_added)
    more = f"squibwise work {command} --orders"
    for labels in _CUT:
        head, tail = (_cut_rows(p, labels) for p in (_head(brief, catalog), _tail(brief, command)))
        room = LINES - 1 - len(about) - _height(head) - _height(tail)
        if room >= (2 + LEAST_ROWS) * count:
            break
    lists = _cut_lists(brief, room, more)
    return Telling(
        title=case.id,
        subtitle=cut(case.title, WIDTH - len(case.id) - 2),
        about=about,
        sections=filled((head, *lists, tail)),
    )


def _cut_rows(part: Section, labels: Collection[str]) -> Section:
    """Return a section of tables whose rows of these labels take one line each."""
    blocks = [
        msgspec.structs.replace(
            block,
            rows=tuple(
                (label, cut(told, _ROW)) if label.strip() in labels else (label, told)
                for label, told in block.rows
            ),
        )
        for block in part.blocks
        if isinstance(block, Table)
    ]
    return msgspec.structs.replace(part, blocks=tuple(blocks))


def _height(part: Section) -> int:
    """Return how many lines a section of tables takes, its heading included."""
    rows = (row for block in part.blocks if isinstance(block, Table) for row in block.rows)
    lines = sum(len(textwrap.wrap(row[-1], _ROW)) or 1 for row in rows)
    return lines + (2 if part.heading else 0)


def _labelled(rows: Iterable[tuple[str, str]], tone: Tone = "plain") -> Table:
    return Table(rows=tuple((f"{label:{_LABEL}}", told) for label, told in rows), tone=tone)


def _head(brief: Brief, catalog: Catalog) -> Section:
    """Return what happened and what is dangerous."""
    fired = tell_grouped(brief.fired, catalog) or "nothing is settled to have fired"
    wrong = (("wrong", "; ".join(brief.wrong)),) if brief.wrong else ()
    supply = [c for c in brief.circuits if c.shared and c.loop == loop_id(UNIT, 1)]
    settled = [
        c
        for c in brief.circuits
        if c.unproved or c.unread or c.returned or c.located or c in supply
    ]
    plainly = (c for c in brief.circuits if c not in settled)
    faults = "; ".join(_tell_fault(c) for c in plainly)
    unproved, unread = (
        "; ".join(c.title for c in each)
        for each in (
            [c for c in brief.circuits if c.unproved],
            [c for c in brief.circuits if c.unread],
        )
    )
    circuits = (("circuit", f"a fault in {faults}: trace before buying"),) if faults else ()
    for c in (c for c in brief.circuits if c.returned):
        repair, shown = c.returned
        told = f"{c.title}: '{repair}' did not hold, {shown} shows the fault again"
        circuits = (("circuit", told), *circuits)
    circuits = (*(("circuit", f"{c.shared}, before any of them") for c in supply), *circuits)
    for c in (c for c in brief.circuits if c.located):
        told = f"the fault of {c.title} lies in the {c.located} ({percent(c.p)}), by its tests"
        circuits = (*circuits, ("circuit", told))
    if unread:
        told = f"{unread}: what it shares with another circuit was mended since; read it again"
        circuits = (*circuits, ("circuit", told))
    if unproved:
        told = f"{unproved}: it came and went, and is not proved gone before a second drive"
        circuits = (*circuits, ("circuit", told))
    silent = tuple(("report", told) for told in tell_silent(brief))
    seen = tuple(("seen", told) for told in tell_seen(brief, catalog))
    head = (("happened", brief.happened), *silent, ("fired", fired), *seen)
    plain = _labelled((*head, *wrong, *circuits))
    alarm = _labelled((("danger", told) for told in brief.dangers), "alarm")
    return Section(blocks=(plain, alarm) if brief.dangers else (plain,))


def _tell_fault(circuit: FaultyCircuit) -> str:
    """Return a circuit at fault with its chance, and the other that the same code may mean."""
    told = f"{circuit.title} ({percent(circuit.p)})"
    other = f", or by the same code {circuit.instead} ({percent(circuit.instead_p)})"
    return told + other if circuit.instead else told


def tell_silent(brief: Brief) -> tuple[str, ...]:
    """Return that the last report tells nothing, where the control unit did not answer."""
    return tuple(f"{SILENT[0].lower()}{SILENT[1:]} ({one})" for one in brief.silent)


def tell_seen(brief: Brief, catalog: Catalog) -> tuple[str, ...]:
    """Return what somebody saw to have fired though it is not settled; nothing where it is."""
    parts = tell_grouped(brief.seen, catalog)
    return (f"{parts}, by eye; a good reading does not undo it",) if parts else ()


def tell_parts(brief: Brief) -> tuple[str, ...]:
    """Return what the parts come to: expected, then the range where there is one."""
    parts = brief.parts
    if brief.untold:
        return ("not known yet",)
    if not brief.order_now and not brief.may_be_added:
        return ("no part is needed",)
    if parts.likely is None:
        return ("no part has a price",)
    return tell_expected(parts.likely, parts.at_least, parts.at_most, parts.chance)


def tell_unpriced(brief: Brief) -> tuple[str, ...]:
    """Return what no sum holds; nothing where all parts have a price."""
    unpriced = () if brief.untold else brief.parts.unpriced
    return (f"without a price, in no sum: {listed(unpriced, 3)}",) if unpriced else ()


def tell_labour(brief: Brief) -> tuple[str, ...]:
    """Return the time hands-on, then the waiting where there is any."""
    if brief.untold:
        return ("not known yet",)
    work, wait = brief.labour_minutes, brief.waiting_minutes
    waiting = (f"{minutes(wait)} of waiting",) if wait else ()
    return (spread(work.low, work.likely, work.high), *waiting)


def _tail(brief: Brief, command: str) -> Section:
    rows = [("parts", ", ".join(tell_parts(brief)))]
    rows += [("", told) for told in tell_unpriced(brief)]
    rows.append(("labour", ", and ".join(tell_labour(brief))))
    for told in brief.next:
        label, _, rest = told.partition(": ")
        rows.append((label, rest.replace("trace CASE", f"trace {command}")))
    record = f"{counted(len(brief.open), 'gate')} open: {listed(brief.open, 4)}"
    rows.append(("record", record if brief.open else "no gate is open"))
    return section("What it comes to, and what is next", _labelled(rows))


def _cut_lists(brief: Brief, room: int, more: str) -> tuple[Section | None, Section | None]:
    """Return both lists, cut to the lines that are left; what is cut is counted."""
    now = [_order_row(group) for group in group_orders(brief.order_now)]
    added = [_added_row(group) for group in group_orders(brief.may_be_added)]
    left = max(room - 2 * bool(now) - 2 * bool(added), LEAST_ROWS * (bool(now) + bool(added)))
    wanted = sum(_lines(row, _TITLE) for row in now)
    for_added = max(LEAST_ROWS, left - wanted) if added else 0
    for_added = min(for_added, sum(_lines(row, _TITLE_ADDED) for row in added))
    memory = "; ~ from memory, ask for quotes" if any("~" in row[1] for row in now) else ""
    return (
        _listed("Order now", now, left - for_added, more, f"needed surely or by rule{memory}"),
        _listed("May be added", added, for_added, more, "a look or the maker decides"),
    )


def _lines(row: Sequence[str], width: int) -> int:
    """Return how many lines a row takes; what is ordered is never cut."""
    return len(textwrap.wrap(row[0], width))


def _listed(
    heading: str, rows: list[tuple[str, ...]], most: int, more: str, note: str
) -> Section | None:
    """Return the rows that fit into so many lines; what does not is counted."""
    if not rows:
        return None
    width = _TITLE if heading == "Order now" else _TITLE_ADDED
    shown, tail = rows, ""
    while shown and sum(_lines(r, width) for r in shown) + _lines((tail,), WIDTH - 2) > most:
        shown = shown[:-1]
        tail = f"and {len(rows) - len(shown)} more: `{more}`"
    rest = (Text(text=tail, tone="quiet"),) if tail else ()
    return section(heading, Table(rows=tuple(shown), right=(1,)), *rest, note=note)


def _order_row(group: Sequence[Order]) -> tuple[str, ...]:
    return tell_titled(group), tell_price(group), cut(tell_why(group[0]), _WHY)


def _added_row(group: Sequence[Order]) -> tuple[str, ...]:
    likeliest = max(group, key=lambda o: o.p)
    why = tell_why(likeliest)
    if len(why) > _WHY_ADDED:  # half a sight is none: the order list says it whole
        why = "a look decides" if likeliest.kind == "look-first" else cut(why, _WHY_ADDED)
    return tell_titled(group), percent(likeliest.p), why
