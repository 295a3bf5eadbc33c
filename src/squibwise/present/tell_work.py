"""What must be done: what it comes to, what to ask and to order, the visits, the money."""

import textwrap
from collections.abc import Iterable, Mapping, Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.cost import Cost, Money
from squibwise.model.work import Caution, Demand, Order, Question, Work
from squibwise.present.figures import about, counted, cut, minutes, money, percent, spread
from squibwise.present.phrases import (
    in_words,
    source_title,
    standing,
    tell_car,
    tell_cautions,
    tell_findings,
    tell_grounds,
    tell_reasons,
)
from squibwise.present.tell_cost import find_followed, tell_sums
from squibwise.present.tell_orders import (
    group_orders,
    may_be_added,
    open_questions,
    order_now,
    tell_price,
    tell_titled,
    tell_why,
)
from squibwise.present.tell_visits import (
    WIDTH,
    count_lines,
    next_operation,
    tell_operation_cautions,
    tell_operation_shortly,
    tell_visit,
    tell_visits,
    tell_visits_shortly,
)
from squibwise.present.telling import (
    Bullets,
    Entry,
    Section,
    Table,
    Telling,
    Text,
    filled,
    section,
)
from squibwise.require.progress import entry_for

QUESTIONS_SHOWN = 6
PAGE = 66  # lines of a printed page


def tell_work(
    case: Case, todo: Work, costs: Sequence[Cost], catalog: Catalog, *, full: bool = False
) -> Telling:
    """Return the work: what to ask, what to order, and the visits in order.

    Args:
        case: The case.
        todo: The work.
        costs: What it costs.
        catalog: Names, gates and the notice below it.
        full: Every operation on its own line.
    """
    if not full:
        return _on_a_page(case, todo, costs, catalog)
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(_in_full(case, todo, costs, catalog)),
        closing=standing(catalog),
    )


def _on_a_page(case: Case, todo: Work, costs: Sequence[Cost], catalog: Catalog) -> Telling:
    """Return the work on one page of `PAGE` lines at 80 columns; no danger is cut for it."""
    about = tuple(cut(line, WIDTH - 2) for line in tell_car(case))
    findings = (*case.findings, *todo.findings)
    short = tell_work_shortly(todo, costs)
    tail = filled(
        (
            tell_operation_cautions(todo, full=False),
            tell_findings(f for f in findings if f.severity != "note"),
            Section(blocks=(Text(text=_MORE, tone="quiet"),)),
        )
    )
    closing = standing(catalog)
    taken = 1 + len(about) + sum(map(_height, (short, *tail))) + 1 + count_lines(closing)
    return Telling(
        title=case.id,
        subtitle=cut(case.title, WIDTH - len(case.id) - 2),
        about=about,
        sections=(short, tell_visits_shortly(todo, PAGE - taken - 2), *tail),
        closing=closing,
    )


def _height(part: Section) -> int:
    """Return how many lines a section of texts and tables of two columns takes."""
    tables = (b for b in part.blocks if isinstance(b, Table) and b.rows)
    lines = count_lines(part.blocks) + (2 if part.heading else 1)
    for table in tables:
        room = WIDTH - 4 - max(len(row[0]) for row in table.rows)
        lines += sum(len(textwrap.wrap(row[1], room)) for row in table.rows)
    return lines


def tell_one_visit(case: Case, todo: Work, number: int, catalog: Catalog) -> Telling:
    """Return one visit, every operation on its own line, with its gates and cautions.

    Args:
        case: The case.
        todo: The work.
        number: The visit, from 1.
        catalog: Gates and the notice below it.
    """
    visit = todo.visits[number - 1]
    alone = msgspec.structs.replace(todo, visits=(visit,))
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                _gates(alone, catalog),
                tell_visit(number, visit),
                tell_operation_cautions(alone, full=True),
                Section(blocks=(Text(text=_WHY, tone="quiet"),)),
            )
        ),
        closing=standing(catalog),
    )


_WHY = "Why? `squibwise work CASE --why NUMBER`. Tick: `squibwise did CASE NUMBERS`."
_MORE = "`--visit 3` opens a visit, `--full` all; `--why 22`. Tick: `squibwise did`."


def _in_full(
    case: Case, todo: Work, costs: Sequence[Cost], catalog: Catalog
) -> tuple[Section | None, ...]:
    return (
        tell_work_shortly(todo, costs),
        _questions(todo),
        _orders("Order now", order_now(todo), "needed surely or by rule"),
        _orders("May be added", may_be_added(todo), "a look or the maker decides"),
        _body_work(todo),
        _gates(todo, catalog),
        *tell_visits(todo),
        _not_counted(todo),
        _kept(todo.items),
        tell_operation_cautions(todo, full=True),
        tell_sums(case.currency, costs),
        _notices(todo.notices),
        tell_findings((*case.findings, *todo.findings)),
        Section(blocks=(Text(text=_WHY, tone="quiet"),)),
    )


def tell_work_shortly(todo: Work, costs: Sequence[Cost]) -> Section:
    """Return what the whole comes to, in ten lines."""
    rules = f"rules: {todo.profile}"
    if len(todo.spread) > 1:
        rules = f"rules not known: the strictest of {len(todo.spread)} kinds of rules"
    now, added = order_now(todo), may_be_added(todo)
    cost = find_followed(costs)
    rows = [("danger", told) for told in todo.no_power]
    lines = [f"{_count_lines(now)}{_sum_of(now)}" if now else "nothing"]
    lines += [f"{_count_lines(added)} may be added"] if added else []
    rows.append(("order now", "; ".join(lines) + (": `--orders`" if now or added else "")))
    asked = open_questions(todo)
    rows += [("ask first", asked[0].text)] if asked else []
    rows.append(("hands-on", _time(todo, cost)))
    operation = next_operation(todo)
    done = sum(o.done for o in todo.operations)
    told = f"no. {tell_operation_shortly(operation)}; " if operation else ""
    rows.append(("next", f"{told}{done} of {len(todo.operations)} done"))
    return section("In short", Table(rows=tuple(rows)), note=rules)


def _sum_of(orders: Sequence[Order]) -> str:
    """Return what these orders come to, of those that have a price."""
    priced = [(o.price.likely, o.quantity) for o in orders if o.price is not None]
    if not priced:
        return "; none has a price"
    total = sum(each.minor * count for each, count in priced)
    told = about(Money(minor=total, currency=priced[0][0].currency))
    unpriced = len(orders) - len(priced)
    return f"; {told} likely" + (f", {unpriced} without a price" if unpriced else "")


def _count_lines(orders: Sequence[Order]) -> str:
    return counted(len(group_orders(orders)), "line")


def _time(todo: Work, cost: Cost | None) -> str:
    due = [o for o in todo.operations if not o.done]
    low, likely, high = (
        sum(getattr(o.minutes, k) for o in due if o.counted) for k in ("low", "likely", "high")
    )
    if cost and cost.labour_minutes[1]:
        low, likely, high = cost.labour_minutes
    waits = sum(o.hold_minutes for o in due)
    waiting = f", and {minutes(waits)} of waiting" if waits else ""
    return f"{spread(low, likely, high)}{waiting}"


def _questions(todo: Work) -> Section | None:
    asked = open_questions(todo)
    rows = tuple((q.id, tell_question(q)) for q in asked[:QUESTIONS_SHOWN])
    if not rows:
        return None
    hidden = len(asked) - len(rows)
    more = (Text(text=f"and {hidden} more with --json", tone="quiet"),) if hidden else ()
    note = "squibwise answer CASE QUESTION yes|no --source TEXT"
    return section("Ask first", Table(rows=rows, tone="strong"), *more, note=note)


def tell_question(question: Question) -> str:
    """Return a question with what a no saves, and what most makers say."""
    saved = [money(question.saves.parts)] if question.saves.parts else []
    saved += [minutes(question.saves.minutes)] if question.saves.minutes else []
    saves = f" A no saves {' and '.join(saved)}." if saved else ""
    typical = f" Most: {question.typical}." if question.typical else ""
    whom = {"maker": "", "owner": " (ask the owner)", "parts-desk": " (ask the parts desk)"}
    return f"{question.text}{whom.get(question.ask, '')}{saves}{typical}"


def _orders(heading: str, orders: Sequence[Order], note: str) -> Section | None:
    rows = tuple(_order_row(group) for group in group_orders(orders))
    head = ("order", "price", "needed", "why")
    note += "; ~ from memory, ask for quotes" if any("~" in row[1] for row in rows) else ""
    return section(heading, Table(rows=rows, head=head, right=(1, 2)), note=note) if rows else None


def _order_row(group: Sequence[Order]) -> tuple[str, ...]:
    likeliest = max(group, key=lambda o: o.p)
    return tell_titled(group), tell_price(group), percent(likeliest.p), tell_why(likeliest)


def _body_work(todo: Work) -> Section | None:
    told = "; ".join(
        f"{o.title} ({percent(o.p)}; {tell_why(o)})"
        for o in todo.orders
        if o.body_work and not o.done
    )
    return section("Body work", Text(text=told), note="ordered and paid with it") if told else None


def _not_counted(todo: Work) -> Section | None:
    told = ", ".join(todo.not_counted)
    return section("Not in these hours", Text(text=told)) if told else None


def _gates(todo: Work, catalog: Catalog) -> Section | None:
    words = dict.fromkeys(word for o in todo.operations if not o.done for word in o.blocked_by)
    texts = catalog.tasks.gates
    rows = tuple((w, f"{texts[w].text} {texts[w].remedy}" if w in texts else "") for w in words)
    note = "the work behind them does not start before they are passed"
    return section("Closed gates", Table(rows=rows, tone="strong"), note=note) if rows else None


def _notices(notices: Sequence[Caution]) -> Section | None:
    told = tuple(f"{n.text}{' (from memory)' if n.basis == 'from-memory' else ''}" for n in notices)
    return section("Law and custom", Bullets(items=told)) if told else None


def _kept(items: Iterable[Demand]) -> Section | None:
    kept = ", ".join(i.component for i in items if i.action == "keep" and i.component)
    note = "once its inspection has passed, where one is asked"
    return section("Stays in the car", Text(text=kept), note=note) if kept else None


def tell_item(case: Case, item: Demand, catalog: Catalog) -> Telling:
    """Return one demand with its reasons, tools, cautions and what it waits for."""
    because = tell_reasons(item.because, case, catalog)
    cautions = (f"{c.text} ({source_title(c.source, catalog)})" for c in item.cautions)
    entry = tell_entry(entry_for(item, catalog) | {"by": "your name"})
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                section(item.title, _about(item), note=item.id),
                section("Because", because, note="strongest first"),
                tell_cautions(cautions),
                None
                if item.done
                else section("Write it into case.toml", entry, note="once it is done"),
            )
        ),
        closing=standing(catalog),
    )


def _about(item: Demand) -> Table:
    rows = [("action", item.action), ("rule", in_words(item.strict))]
    rows += [("needed with", percent(item.probability))] if item.component else []
    rows += [("hands-on", minutes(item.minutes))]
    rows += [("wait before it", minutes(item.hold_minutes))] if item.hold_minutes else []
    rows += [("after", ", ".join(item.after))] if item.after else []
    rows += [("held by", ", ".join(item.blocked_by))] if item.blocked_by else []
    rows += [("tools", ", ".join(item.tools))] if item.tools else []
    rows += [("settled by", item.settled_by)] if item.settled_by else []
    rows += [("counts as done when", item.passes_when)] if item.passes_when else []
    return Table(rows=tuple(rows))


def tell_order(case: Case, order: Order, catalog: Catalog) -> Telling:
    """Return one order with what comes with it, why, and what it costs."""
    price, used = order.price, order.used_price
    rows = [("contains", ", ".join(order.contains)), ("why", tell_why(order))]
    rows += [
        ("needed with", percent(order.p)),
        ("rules that ask for it", ", ".join(order.profiles)),
    ]
    if price is not None:
        told = f"{money(price.low)}, {money(price.likely)}, {money(price.high)}"
        rows.append(("new, low likely high", f"{told} ({tell_grounds('', price.basis, catalog)})"))
    if used is not None:
        rows.append(("used", f"{money(used.low)} to {money(used.high)}"))
    if order.lead_days is not None:
        low, likely, high = order.lead_days
        rows.append(("days until it is there", f"{likely} ({low} to {high})"))
    rows += [("dangerous goods", "yes, until proven spent" if order.live else "")]
    rows += [("settled by", order.settled_by), ("mind", order.note)]
    because = tell_reasons(order.because, case, catalog)
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                section(order.title, Table(rows=tuple(r for r in rows if r[1])), note=order.key),
                section("Because", because, note="strongest first") if order.because else None,
            )
        ),
        closing=standing(catalog),
    )


def tell_entry(pairs: Mapping[str, str]) -> Entry:
    """Return an entry as it is written into a case file."""
    lines = (f'{key} = "{value}"' for key, value in pairs.items())
    return Entry(lines=("[[evidence]]", *lines))
