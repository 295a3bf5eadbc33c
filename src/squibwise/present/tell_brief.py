"""One screen that says what happened, what to order, what it costs, and what comes next.

Forty lines at eighty columns. What does not fit is counted, with the command that shows it;
dangers are never cut.
"""

import textwrap
from collections.abc import Iterable, Sequence

import msgspec

from squibwise.catalog.load import Catalog, holds_charge
from squibwise.history.closing import list_unproved
from squibwise.history.order import History, put_in_order, read_history
from squibwise.history.returned import Return, follow_repairs, is_there
from squibwise.history.signed import find_loads
from squibwise.model.belief import Assessment, ComponentBelief, Located, NextLook
from squibwise.model.case import Case
from squibwise.model.cost import Cost, Money
from squibwise.model.names import loop_id, split_component, split_loop
from squibwise.model.proof import Overview
from squibwise.model.report import Report
from squibwise.model.work import Minutes, Order, Work
from squibwise.present.figures import (
    about,
    counted,
    cut,
    listed,
    minutes,
    percent,
    spread,
)
from squibwise.present.phrases import LIKELY, name, tell_car, tell_grouped
from squibwise.present.tell_assessment import (
    fired_parts,
    tell_dangers,
    tell_look,
    tell_wrong,
)
from squibwise.present.tell_cost import find_followed
from squibwise.present.tell_event import rank_causes, tell_cause, tell_event_shortly
from squibwise.present.tell_orders import (
    group_orders,
    may_be_added,
    open_questions,
    order_now,
    tell_price,
    tell_titled,
    tell_why,
)
from squibwise.present.tell_visits import WIDTH, next_operation, tell_operation_shortly
from squibwise.present.telling import Section, Table, Telling, Text, Tone, filled, section

UNTOLD = "nothing is known yet: no report, no look, nothing told"
LINES = 40
LEAST_ROWS = 3  # of a list that is cut, so that its heading does not stand alone
_LABEL, _GAP = 8, 2
_ROW = WIDTH - _LABEL - 2 * _GAP
_TITLE, _WHY = 50, 14  # columns of what is ordered now
_TITLE_ADDED, _WHY_ADDED = 46, 22  # and of what may be added: its reason needs more room


class BriefParts(msgspec.Struct, frozen=True, kw_only=True):
    """What the parts cost; None where none is priced.

    Attributes:
        chance: Probability that all parts stay below ``at_most``.
        unpriced: Orders that no sum holds, by title.
    """

    likely: Money | None
    at_most: Money | None
    chance: float
    unpriced: tuple[str, ...]


class FaultyCircuit(msgspec.Struct, frozen=True, kw_only=True):
    """A circuit that likely has a fault, to be traced before anything is bought.

    Attributes:
        loop: Its id, as `trace` takes it.
        title: In a mechanic's words.
        p: That the fault is there now. [0..1]
        unproved: Called cured, but it came and went before: the second drive is left.
        returned: The repair that was entered as its cure and did not hold, and the entry that shows
            the fault again; empty for none.
        located: The part in which its tests located the fault; empty for none.
        shared: What to do about the one thing behind several circuits, for which this one is traced
            first; empty for none.
    """

    loop: str
    title: str
    p: float
    unproved: bool = False
    returned: tuple[str, ...] = ()
    located: str = ""
    shared: str = ""


class Brief(msgspec.Struct, frozen=True, kw_only=True):
    """The answer of ``brief``.

    Attributes:
        fired: Ids of what is settled to have fired.
        wrong: What is likely not right now though it did not fire, and causes behind codes.
        circuits: Circuits to be traced, the likeliest first.
        order_now: What is needed for certain or by rule.
        may_be_added: What only a look or the maker decides.
        labour_minutes: Hands-on: certain, by rule, and what a look more likely than not adds. [min]
        waiting_minutes: Waits after power-downs. [min]
        next: What to ask, to look at and to do, the first first.
        open: Gates that keep the record open.
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
        untold=untold,
    )


def _leave_the_key(states: Assessment, todo: Work, catalog: Catalog) -> Assessment:
    """Return the states without the causes that take the key on, where there is no key-on."""
    keyed = {c.cause for c in catalog.tasks.causes.values() if c.powered and todo.unsettled}
    causes = {k: p for k, p in states.event.causes.items() if k.partition(":")[0] not in keyed}
    event = msgspec.structs.replace(states.event, causes=causes)
    return msgspec.structs.replace(states, event=event)


def _tell_loads(case: Case, catalog: Catalog) -> tuple[str, ...]:
    """Return which substitute loads are still in a circuit, if any; what they hide reads good."""
    loads = find_loads(read_history(put_in_order(case).evidence))
    each = [f"{s.serial} at {name(split_loop(s.loop)[0], catalog)}" for s in loads.out]
    each += [f"one at {name(split_loop(c)[0], catalog)}, by its last test" for c in loads.left]
    if not each:
        return ()
    told = ", ".join(each)
    return (f"A substitute load is still in: {told}. What that circuit reads is the load.",)


def _parts(cost: Cost | None) -> BriefParts:
    amount = cost.parts if cost else None
    if cost and cost.missing and amount and not amount.at_most.minor:
        amount = None
    return BriefParts(
        likely=amount.likely if amount else None,
        at_most=amount.at_most if amount else None,
        chance=cost.chance if cost else 0.0,
        unpriced=cost.missing if cost else (),
    )


def find_faulty_circuits(
    case: Case, states: Assessment, todo: Work, catalog: Catalog
) -> tuple[FaultyCircuit, ...]:
    """Return the circuits that the work traces, the likeliest first, one for each part.

    A part that is ordered for sure or by rule is renewed first, and read again.
    """
    found = []
    renewed = {c for o in order_now(todo) for c in o.contains}
    history = read_history(case.evidence)
    returned = follow_repairs(history, case.car, catalog).open
    unproved = list_unproved(history) | states.unproved
    worked = {d for o in todo.operations if o.action == "trace" for d in o.demands}
    for demand in (i for i in todo.items if i.action == "trace" and not i.done):
        belief = states.of(demand.component or "")
        is_rare = demand.probability < LIKELY or demand.component in renewed
        if belief is None or (is_rare and demand.id not in worked):
            continue
        loop, title = _to_trace(belief, catalog)
        if split_loop(loop) in returned:
            continue
        open_still = belief.id in unproved
        found.append(
            FaultyCircuit(loop=loop, title=title, p=demand.probability, unproved=open_still)
        )
    back = (_did_not_hold(loop, told, states, catalog) for loop, told in returned.items())
    located = [_located(x, catalog) for x in states.located if split_loop(x.loop) not in returned]
    settled = {split_loop(c.loop)[0] for c in located} | {x.component for x in states.located}
    rest = sorted((c for c in found if split_loop(c.loop)[0] not in settled), key=lambda c: -c.p)
    return (*back, *located, *_shared_first(rest, history, states, todo, catalog))


def _shared_first(
    found: list[FaultyCircuit], history: History, states: Assessment, todo: Work, catalog: Catalog
) -> list[FaultyCircuit]:
    """Return the circuits with that first at which what several of them share is traced.

    The supply is that of the control unit; it needs the key on. A connector is that of the first
    circuit through it, one with a charge where there is one.
    """
    first: list[FaultyCircuit] = []
    supply = states.event.causes.get(_SUPPLY, 0.0)
    told = supply >= LIKELY or _reads_voltage(history)
    if told and not todo.unsettled and states.of(_UNIT) is not None:
        cause, loop = tell_cause(_SUPPLY, catalog), loop_id(_UNIT, 1)
        first.append(FaultyCircuit(loop=loop, title=name(_UNIT, catalog), p=supply, shared=cause))
    for key, _ in rank_causes(states.event.causes, LIKELY):
        word, _, junction = key.partition(":")
        mates = [c for c in found if word == "shared-plug" and _runs_in(c, junction, catalog)]
        mates.sort(key=lambda c: not holds_charge(c.loop, catalog))
        first += [msgspec.structs.replace(c, shared=tell_cause(key, catalog)) for c in mates[:1]]
    return [*first, *(c for c in found if c.loop not in {x.loop for x in first})]


_SUPPLY, _UNIT = "supply", "centre.control-unit"


def _reads_voltage(history: History) -> bool:
    """Return whether the last report names a supply that is out of range."""
    lines = [r.reading.lines for _, r in history.all_of(Report)][-1:]
    told = (x for each in lines for x in each if x.fault == "voltage" and x.unit != "other")
    return any(is_there(x) for x in told)


def _runs_in(circuit: FaultyCircuit, junction: str, catalog: Catalog) -> bool:
    """Return whether a circuit runs through a connector, written ``<place>.<plug>``."""
    part = split_component(split_loop(circuit.loop)[0])
    return junction == f"{part.place}.{catalog.kinds[part.kind].plug}"


def _located(told: Located, catalog: Catalog) -> FaultyCircuit:
    """Return a circuit whose fault its tests located in a part."""
    component, stage = split_loop(told.loop)
    title = name(component, catalog) + (f", stage {stage}" if stage > 1 else "")
    return FaultyCircuit(
        loop=told.loop, title=title, p=told.p, located=name(told.component, catalog)
    )


def _to_trace(belief: ComponentBelief, catalog: Catalog) -> tuple[str, str]:
    """Return the circuit of a part to trace, and its title, which names every stage at fault."""
    faulty = {s: b.faulty for s, b in sorted(belief.stages.items())}
    likely = [s for s, p in faulty.items() if p >= LIKELY]
    stage = next(iter(likely), max(faulty, key=lambda s: faulty[s], default="1"))
    named = likely if likely != ["1"] else []
    words = f", {_tell_stages(named or [stage])}" if named or stage != "1" else ""
    return loop_id(belief.id, int(stage)), f"{name(belief.id, catalog)}{words}"


def _tell_stages(stages: Sequence[str]) -> str:
    """Return stages as a person says them: ``stage 2``, ``stages 1 and 2``."""
    return f"stage{'s' if len(stages) > 1 else ''} {' and '.join(stages)}"


def _did_not_hold(
    loop: tuple[str, int], told: Return, states: Assessment, catalog: Catalog
) -> FaultyCircuit:
    """Return a circuit whose fault is back after the repair that was entered as its cure."""
    component, stage = loop
    title = f"{name(component, catalog)}" + (f", stage {stage}" if stage > 1 else "")
    belief = states.of(component)
    p = belief.now.faulty if belief else 0.0
    named = (_name_repair(told.repair, component, catalog), told.shown)
    return FaultyCircuit(loop=loop_id(*loop), title=title, p=p, returned=named)


def _name_repair(repair: str, component: str, catalog: Catalog) -> str:
    """Return a repair of a circuit in words; as it was entered where no card has that name."""
    verb, _, point = repair.partition(":")
    part, book = split_component(component), catalog.loops
    chain = book.chain(part.kind, part.place)
    at = next((e for e in chain.element if e.id == point), None) if chain else None
    named = [c for c in book.repairs if c.id in (repair, f"{verb}:{{point}}")]
    here = [c for c in named if at is None or c.at in (at.id, f"<{at.role}>")]
    title = next((c.title for c in here or named), repair)
    return title.format(
        element=(at.title if at else point).format(kind=catalog.kinds[part.kind].title)
    )


def _first_look(states: Assessment, circuits: Sequence[FaultyCircuit]) -> NextLook | None:
    """Return the look worth most; none where there was no crash and a circuit is to be traced."""
    is_fault_only = states.event.no_crash >= LIKELY and bool(circuits)
    return None if is_fault_only else next(iter(states.next_looks), None)


def _next(
    states: Assessment, todo: Work, circuits: Sequence[FaultyCircuit], catalog: Catalog
) -> list[str]:
    told = [f"ask: {q.text}" for q in open_questions(todo)[:1]]
    told += [_tell_circuit(c) for c in circuits[:1]]
    look = _first_look(states, circuits)
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
    for most in (None, _ROW):
        head, tail = _head(brief, catalog, most), _tail(brief, command, most)
        room = LINES - 1 - len(about) - _height(head) - _height(tail)
        if room >= (2 + LEAST_ROWS) * count:
            break
    lists = _cut_lists(brief, room, f"squibwise work {command} --orders")
    return Telling(
        title=case.id,
        subtitle=cut(case.title, WIDTH - len(case.id) - 2),
        about=about,
        sections=filled((head, *lists, tail)),
    )


def _height(part: Section) -> int:
    """Return how many lines a section of tables takes, its heading included."""
    rows = (row for block in part.blocks if isinstance(block, Table) for row in block.rows)
    lines = sum(len(textwrap.wrap(row[-1], _ROW)) or 1 for row in rows)
    return lines + (2 if part.heading else 0)


def _labelled(rows: Iterable[tuple[str, str]], tone: Tone = "plain") -> Table:
    return Table(rows=tuple((f"{label:{_LABEL}}", told) for label, told in rows), tone=tone)


def _head(brief: Brief, catalog: Catalog, most: int | None) -> Section:
    """Return what happened and what is dangerous; ``most`` cuts what is no danger to one line."""
    fired = tell_grouped(brief.fired, catalog) or "nothing is settled to have fired"
    told = "; ".join(brief.wrong)
    wrong = (("wrong", cut(told, most) if most else told),) if brief.wrong else ()
    supply = [c for c in brief.circuits if c.shared and c.loop == loop_id(_UNIT, 1)]
    settled = [c for c in brief.circuits if c.unproved or c.returned or c.located or c in supply]
    plainly = (c for c in brief.circuits if c not in settled)
    faults = "; ".join(f"{c.title} ({percent(c.p)})" for c in plainly)
    unproved = "; ".join(c.title for c in brief.circuits if c.unproved)
    circuits = (("circuit", f"a fault in {faults}: trace before buying"),) if faults else ()
    for c in (c for c in brief.circuits if c.returned):
        repair, shown = c.returned
        told = f"{c.title}: '{repair}' did not hold, {shown} shows the fault again"
        circuits = (("circuit", told), *circuits)
    circuits = (*(("circuit", f"{c.shared}, before any of them") for c in supply), *circuits)
    for c in (c for c in brief.circuits if c.located):
        told = f"the fault of {c.title} lies in the {c.located} ({percent(c.p)}), by its tests"
        circuits = (*circuits, ("circuit", told))
    if unproved:
        told = f"{unproved}: it came and went, and is not proved gone before a second drive"
        circuits = (*circuits, ("circuit", told))
    plain = _labelled((("happened", brief.happened), ("fired", fired), *wrong, *circuits))
    alarm = _labelled((("danger", told) for told in brief.dangers), "alarm")
    return Section(blocks=(plain, alarm) if brief.dangers else (plain,))


def tell_parts(brief: Brief) -> tuple[str, ...]:
    """Return what the parts come to: likely, then at most where there is a sum."""
    parts = brief.parts
    if brief.untold:
        return ("not known yet",)
    if not brief.order_now and not brief.may_be_added:
        return ("no part is needed",)
    if parts.likely is None:
        return ("no part has a price",)
    chance = f" (in {percent(parts.chance)} of cases)" if parts.chance else ""
    return (f"{about(parts.likely)} likely", f"{about(parts.at_most)} at most{chance}")


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


def _tail(brief: Brief, command: str, most: int | None) -> Section:
    rows = [("parts", ", ".join(tell_parts(brief)))]
    rows += [("", told) for told in tell_unpriced(brief)]
    rows.append(("labour", ", and ".join(tell_labour(brief))))
    for told in brief.next:
        label, _, rest = told.partition(": ")
        rest = rest.replace("trace CASE", f"trace {command}")
        rows.append((label, cut(rest, most) if most and label in ("ask", "look") else rest))
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
    return len(textwrap.wrap(row[0], width)) or 1


def _listed(
    heading: str, rows: list[tuple[str, ...]], most: int, more: str, note: str
) -> Section | None:
    """Return the rows that fit into so many lines; what does not is counted."""
    if not rows:
        return None
    width = _TITLE if heading == "Order now" else _TITLE_ADDED
    shown = rows
    while shown and sum(_lines(r, width) for r in shown) + (len(shown) < len(rows)) > most:
        shown = shown[:-1]
    hidden = len(rows) - len(shown)
    tail = (Text(text=f"and {hidden} more: `{more}`", tone="quiet"),) if hidden else ()
    return section(heading, Table(rows=tuple(shown), right=(1,)), *tail, note=note)


def _order_row(group: Sequence[Order]) -> tuple[str, ...]:
    return tell_titled(group), tell_price(group), cut(tell_why(group[0]), _WHY)


def _added_row(group: Sequence[Order]) -> tuple[str, ...]:
    likeliest = max(group, key=lambda o: o.p)
    why = tell_why(likeliest)
    if len(why) > _WHY_ADDED:  # half a sight is none: the order list says it whole
        why = "a look decides" if likeliest.kind == "look-first" else cut(why, _WHY_ADDED)
    return tell_titled(group), percent(likeliest.p), why
