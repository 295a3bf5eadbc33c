"""One screen that says what happened, what to order, what it costs, and what comes next.

Forty lines at eighty columns. What does not fit is counted, with the command that shows it;
dangers are never cut.
"""

import textwrap
from collections.abc import Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.cost import Cost, Money
from squibwise.model.proof import Overview
from squibwise.model.work import Minutes, Operation, Order, Question, Work
from squibwise.present.figures import cut, hours, listed, minutes, money, percent
from squibwise.present.phrases import LIKELY, is_inflator, name, tell_car
from squibwise.present.tell_assessment import fired_parts, hazards_shortly, tell_look
from squibwise.present.tell_event import tell_event_shortly
from squibwise.present.telling import Bullets, Section, Table, Telling, Text, filled, section

LINES, WIDTH = 40, 80
LEAST_ROWS = 2  # of a list that is cut, so that its heading does not stand alone
_LABEL, _ORDER_TITLE, _GAP = 10, 40, 2
KEY_ON = "key-on-safe"


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


class Brief(msgspec.Struct, frozen=True, kw_only=True):
    """The answer of ``brief``.

    Attributes:
        fired: Ids of what is settled to have fired.
        order_now: What is needed for certain or by rule.
        may_be_added: What only a look or the maker decides.
        labour_minutes: Hands-on: certain, by rule, and what a look more likely than not adds. [min]
        waiting_minutes: Waits after power-downs. [min]
        next: What to ask, to look at and to do, the first first.
        open: Gates that keep the record open.
    """

    happened: str
    fired: tuple[str, ...]
    dangers: tuple[str, ...]
    order_now: tuple[Order, ...]
    may_be_added: tuple[Order, ...]
    parts: BriefParts
    labour_minutes: Minutes
    waiting_minutes: int
    next: tuple[str, ...]
    open: tuple[str, ...]


def make_brief(case: Case, whole: Overview, catalog: Catalog) -> Brief:
    """Return what one screen says of a case."""
    states, todo = whole.states, whole.todo
    orders = [o for o in todo.orders if not o.done and not o.body_work]
    now = tuple(o for o in orders if o.kind in ("certain", "rule"))
    followed = find_followed(whole.costs)
    low, likely, high = followed.labour_minutes if followed else (0, 0, 0)
    return Brief(
        happened=tell_event_shortly(states.event, case.region),
        fired=tuple(c.id for c in fired_parts(states, catalog)),
        dangers=_dangers(states, todo, catalog),
        order_now=now,
        may_be_added=tuple(o for o in orders if o not in now),
        parts=_parts(followed),
        labour_minutes=Minutes(low=low, likely=likely, high=high),
        waiting_minutes=followed.waiting_minutes if followed else 0,
        next=tuple(_next(states, todo, catalog)),
        open=tuple(g.id for g in whole.gates if g.open),
    )


def find_followed(costs: Sequence[Cost]) -> Cost | None:
    """Return the sum under the rules that are followed."""
    return next((c for c in costs if c.name == "followed"), costs[0] if costs else None)


def _parts(cost: Cost | None) -> BriefParts:
    amount = cost.parts if cost else None
    return BriefParts(
        likely=amount.likely if amount else None,
        at_most=amount.at_most if amount else None,
        chance=cost.chance if cost else 0.0,
        unpriced=cost.missing if cost else (),
    )


def _dangers(states: Assessment, todo: Work, catalog: Catalog) -> tuple[str, ...]:
    """Return every danger once, for all the parts it is about."""
    told = list(hazards_shortly(states, catalog))
    live = [
        name(c.id, catalog)
        for c in states.components
        if is_inflator(c.id, catalog) and c.now.fired < LIKELY and c.now.missing < LIKELY
    ]
    if live:
        told.append(f"Live, and to be handled so ({len(live)}): {', '.join(live)}.")
    gate = catalog.tasks.gates.get(KEY_ON)
    if gate and any(KEY_ON in i.blocked_by for i in todo.items if not i.done):
        told.append(f"Do not switch it on before this is signed for: {gate.text}")
    return tuple(told)


def _next(states: Assessment, todo: Work, catalog: Catalog) -> list[str]:
    told = [f"ask: {q.text}" for q in open_questions(todo)[:1]]
    if states.next_looks:
        look = states.next_looks[0]
        told.append(f"look: {tell_look(look, catalog)}")
    operation = next_operation(todo)
    if operation is not None:
        told.append(f"do: {tell_operation_shortly(operation)}")
    return told


def open_questions(todo: Work) -> tuple[Question, ...]:
    """Return the questions nobody has answered, most worth asking first."""
    return tuple(q for q in todo.questions if not q.answered)


def next_operation(todo: Work) -> Operation | None:
    """Return the first operation that is neither done nor held; a held one when all are."""
    due = [o for o in todo.operations if not o.done]
    done = {o.id for o in todo.operations if o.done}
    free = (o for o in due if not o.blocked_by and set(o.after) <= done)
    return next(free, due[0] if due else None)


def tell_operation_shortly(operation: Operation) -> str:
    """Return an operation with its number, time and wait in one line."""
    wait = f", after a wait of {minutes(operation.hold_minutes)}" if operation.hold_minutes else ""
    return f"{operation.n}  {operation.title} ({minutes(operation.minutes.likely)}{wait})"


def tell_brief(case: Case, brief: Brief, command: str, catalog: Catalog) -> Telling:
    """Return the one screen.

    Args:
        case: The case.
        brief: What it says.
        command: The case as the person named it, for the commands that show more.
        catalog: Names, and the notice below it.
    """
    fixed = filled((_head(brief, catalog), _danger(brief)))
    tail = filled((_sums(brief), _due(brief), _open(brief, command)))
    about = tuple(cut(line, WIDTH - 2) for line in tell_car(case))
    room = LINES - 1 - len(about) - sum(map(_height, (*fixed, *tail)))
    now, added = _cut_lists(brief, room, command)
    return Telling(
        title=case.id,
        subtitle=cut(case.title, WIDTH - len(case.id) - 2),
        about=about,
        sections=filled((*fixed, now, added, *tail)),
    )


def _height(part: Section) -> int:
    """Return how many lines a section takes at eighty columns, its heading included."""
    lines = 2 if part.heading else 0
    for block in part.blocks:
        if isinstance(block, Text):
            lines += len(textwrap.wrap(block.text, WIDTH - 2)) or 1
        elif isinstance(block, Bullets):
            lines += sum(len(textwrap.wrap(i, WIDTH - 5)) or 1 for i in block.items)
        elif isinstance(block, Table):
            lines += sum(_row_height(row) for row in block.rows)
    return lines


def _row_height(row: tuple[str, ...]) -> int:
    return len(textwrap.wrap(row[-1], WIDTH - _LABEL - 2 * _GAP)) or 1


def _head(brief: Brief, catalog: Catalog) -> Section:
    names = [name(c, catalog) for c in brief.fired]
    fired = listed(names, 10) or "nothing is settled to have fired"
    rows = (("happened", brief.happened), ("fired", fired))
    return Section(blocks=(Table(rows=rows, tone="strong"),))


def _danger(brief: Brief) -> Section | None:
    if not brief.dangers:
        return None
    return section("Danger", Bullets(items=brief.dangers, mark="!", tone="alarm"), tone="alarm")


def _sums(brief: Brief) -> Section:
    parts = brief.parts
    likely = f"{money(parts.likely)} likely, {money(parts.at_most)} at most"
    if parts.likely is None:
        likely = "no part has a price"
    elif parts.chance:
        likely += f" (in {percent(parts.chance)} of cases)"
    rows = [("parts", likely)]
    if parts.unpriced:
        rows.append(("", f"without a price, in no sum: {listed(parts.unpriced, 3)}"))
    work = brief.labour_minutes
    rows.append(("labour", f"{hours(work.likely)} ({hours(work.low)} to {hours(work.high)})"))
    if brief.waiting_minutes:
        rows.append(("waiting", f"{minutes(brief.waiting_minutes)} after power-downs"))
    return section("What it comes to", Table(rows=tuple(rows)))


def _due(brief: Brief) -> Section | None:
    rows = tuple(line.partition(": ")[::2] for line in brief.next)
    return section("Next", Table(rows=rows, tone="strong")) if rows else None


def _open(brief: Brief, command: str) -> Section | None:
    if not brief.open:
        return section("The record", Text(text="No gate is open."))
    told = f"{len(brief.open)} gates keep it open: {listed(brief.open, 5)}."
    shown = f"`squibwise release {command} -o record.pdf` tells each."
    return section("The record", Text(text=told), Text(text=shown, tone="quiet"))


def _cut_lists(brief: Brief, room: int, command: str) -> tuple[Section | None, Section | None]:
    """Return both lists, cut to the lines that are left; what is cut is counted."""
    now = [_order_row(o) for o in brief.order_now]
    added = [_added_row(o) for o in brief.may_be_added]
    heads = 2 * bool(now) + 2 * bool(added)
    left = max(room - heads, LEAST_ROWS * (bool(now) + bool(added)))
    for_added = min(len(added), max(LEAST_ROWS, left - len(now))) if added else 0
    for_now = left - for_added
    return (
        _listed("Order now", now, for_now, f"squibwise work {command}", "needed surely or by rule"),
        _listed(
            "May be added",
            added,
            for_added,
            f"squibwise work {command}",
            "a look or the maker decides",
        ),
    )


def _listed(
    heading: str, rows: list[tuple[str, ...]], most: int, more: str, note: str
) -> Section | None:
    if not rows:
        return None
    shown = rows if len(rows) <= most else rows[: most - 1]
    hidden = len(rows) - len(shown)
    tail = (Text(text=f"and {hidden} more: `{more}`", tone="quiet"),) if hidden else ()
    return section(heading, Table(rows=tuple(shown), right=(1,)), *tail, note=note)


def _order_row(order: Order) -> tuple[str, ...]:
    return _titled(order), _price(order), cut(_why(order), _REST)


_REST = WIDTH - 2 - _ORDER_TITLE - 12 - 2 * _GAP


def _titled(order: Order) -> str:
    count = f"{order.quantity} x " if order.quantity > 1 else ""
    return cut(f"{count}{order.title}", _ORDER_TITLE)


def _price(order: Order) -> str:
    if order.price is None:
        return "no price"
    total = order.price.likely.minor * order.quantity
    told = Money(minor=total, currency=order.price.likely.currency).text().rpartition(" ")[0]
    return f"~{told}" if order.price.basis == "from-memory" else told


def _why(order: Order) -> str:
    if order.kind == "rule":
        return f"rule, {len(order.profiles)} of {order.of_profiles}"
    return "certain"


def _added_row(order: Order) -> tuple[str, ...]:
    decides = f"look: {order.settled_by}" if order.settled_by else ""
    decides = decides or (f"ask: {order.question}" if order.question else "ask the maker")
    return _titled(order), percent(order.p), cut(decides, _REST + 4)
