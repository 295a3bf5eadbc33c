"""The work, its cautions and what is still to pay, as the pages of a record tell them."""

from squibwise.model.belief import Because
from squibwise.model.cost import Cost, CostLine
from squibwise.model.work import Caution, Demand, Operation, Order, Visit, Work
from squibwise.present.figures import bare_sum, listed, minutes, money, percent, ranges
from squibwise.present.phrases import in_words, tell_from
from squibwise.present.record_content import Content
from squibwise.present.tell_cost import rules_of, tell_sum
from squibwise.present.tell_orders import tell_why
from squibwise.present.tell_visits import POWER, tell_sureness
from squibwise.present.telling import Block, Section, Step, Steps, Table, Text, section


def tell_ground(stated: Caution) -> str:
    """Return what a caution or a notice stands on, in brackets, as far as stated."""
    grounds = [in_words(g) for g in (stated.source, stated.basis) if g]
    return f"({', '.join(dict.fromkeys(grounds))})" if grounds else ""


def tell_because(reason: Because, *, weighed: bool = False) -> str:
    """Return a reason with what it stands on, and its weight in decibans if asked for."""
    tail = [*reason.sources, *([in_words(reason.weak)] if reason.weak else [])]
    grounds = f" ({', '.join(dict.fromkeys(tail))})" if tail else ""
    weight = ""
    if weighed and reason.alone_db is not None:
        last = "" if reason.last_db is None else f" / {reason.last_db:+.1f}"
        weight = f" [{reason.alone_db:+.1f}{last} dB]"
    return f"{reason.text}{grounds}{weight}"


def tell_numbered_cautions(work: Work) -> tuple[Section, ...]:
    """Return every caution of the work once, numbered in the order it is met."""
    numbers = _numbers(work)
    found = {c.id: c for i in _lines(work) for c in i.cautions}
    rows = tuple((str(numbers[c.id]), f"{c.text} {tell_ground(c)}".strip()) for c in found.values())
    if not rows:
        return ()
    words = Text(text="The work list names them by number.", tone="quiet")
    return (section("Cautions", words, Table(rows=rows, tone="strong")),)


def _numbers(work: Work) -> dict[str, int]:
    ids = dict.fromkeys(c.id for i in _lines(work) for c in i.cautions)
    return {one: n for n, one in enumerate(ids, start=1)}


def _lines(work: Work) -> tuple[Operation, ...] | tuple[Demand, ...]:
    """Return what the list of work is made of."""
    return work.operations or work.items


def tell_due(work: Work) -> tuple[Section, ...]:
    """Return the work in order, with numbers instead of ids where a person looks things up."""
    if work.visits:
        return _visits(work)
    if not work.items:
        return (section("Work, in order", Text(text="There is nothing to do.")),)
    numbers = {i.id: n for n, i in enumerate(work.items, start=1)}
    signs = _numbers(work)
    steps = Steps(
        steps=tuple(_step(i, numbers, signs) for i in work.items),
        head=_HEAD,
    )
    return (section("Work, in order", steps),)


_HEAD = ("Done", "No.", "What", "Wait, time, order, what to record")


def _visits(work: Work) -> tuple[Section, ...]:
    signs = _numbers(work)
    numbers = {o.id: o.n for o in work.operations}
    return (
        section("Work, in order", Text(text=_HOW_ORDERED, tone="quiet")),
        *(_visit(v, numbers, signs) for v in work.visits),
    )


_HOW_ORDERED = "Between two changes of power, by area of the car. Numbers stay for the whole case."


def _visit(visit: Visit, numbers: dict[str, int], signs: dict[str, int]) -> Section:
    steps = tuple(_line(o, a.title, numbers, signs) for a in visit.areas for o in a.operations)
    block = Steps(steps=steps, head=_HEAD)
    return Section(heading=visit.title, note=POWER[visit.power], blocks=(block,), level=2)


def _line(operation: Operation, area: str, numbers: dict[str, int], signs: dict[str, int]) -> Step:
    cautions = ranges(signs[c.id] for c in operation.cautions)
    notes = list(tell_sureness(operation))
    notes += [f"cautions {cautions}"] if cautions else []
    notes += [f"held by {listed(operation.blocked_by)}"] if operation.blocked_by else []
    notes += [f"needs {listed(operation.tools, 10)}"] if operation.tools else []
    aside = [area]
    hold = operation.hold_minutes
    aside += [f"Wait {minutes(hold)} first."] if hold else []
    after = ranges(numbers[a] for a in operation.after if a in numbers)
    time = operation.minutes.likely
    work = [f"Work {minutes(time)}."] if time else []
    work += [f"After {after}."] if after else []
    aside += [" ".join(work)] if work else []
    aside += [f"Record: {operation.passes_when}"] if operation.passes_when else []
    return Step(
        done=operation.done,
        number=str(operation.n),
        title=operation.title,
        notes=tuple(notes),
        reason=tell_because(operation.because[0]) if operation.because else "",
        aside=tuple(aside),
    )


def tell_ordered(work: Work) -> Section | None:
    """Return what was to be ordered, with what comes with it and why."""
    rows = tuple(
        (o.title, _fitted(o), tell_why(o), ", ".join(o.contains))
        for o in work.orders
        if o.kind in ("certain", "rule") or o.done
    )
    head = ("Assembly", "State", "Why", "Contains")
    table = Table(rows=rows, head=head, widths=(6, 0, 4, 8))
    return section("Assemblies", table) if rows else None


def _fitted(order: Order) -> str:
    return "fitted" if order.done else f"{order.quantity} to order"


def _step(item: Demand, numbers: dict[str, int], signs: dict[str, int]) -> Step:
    is_told = item.probability < tell_from("record-chance-below")
    notes = [f"chance {percent(item.probability)}"] if is_told else []
    notes += ["advice"] if item.strict == "advice" else []
    cautions = listed([str(signs[c.id]) for c in item.cautions], 20)
    notes += [f"cautions {cautions}"] if cautions else []
    notes += [f"held by {listed(item.blocked_by)}"] if item.blocked_by else []
    notes += [f"needs {listed(item.tools, 10)}"] if item.tools else []
    return Step(
        done=item.done,
        number=str(numbers[item.id]),
        title=item.title,
        notes=tuple(notes),
        reason=tell_because(item.because[0]) if item.because else "",
        aside=tuple(_aside(item, numbers)),
    )


def _aside(item: Demand, numbers: dict[str, int]) -> list[str]:
    after = listed([str(n) for n in sorted(numbers[a] for a in item.after if a in numbers)], 4)
    told = [item.id]
    told += [f"Wait {minutes(item.hold_minutes)} first."] if item.hold_minutes else []
    work = [f"Work {minutes(item.minutes)}."] if item.minutes else []
    work += [f"After {after}."] if after else []
    told += [" ".join(work)] if work else []
    return told + ([f"Record: {item.passes_when}"] if item.passes_when else [])


def tell_payments(content: Content) -> tuple[Section, ...]:
    """Return the sums by kind of rules and what is to be paid; nothing in a copy without."""
    if not content.costs:
        return ()
    first, costs = content.costs[0], content.costs
    head = ("Under the rules", "Parts", "Labour", "Others", "Expected", "At most", "Hands-on")
    rows = tuple((*tell_sum(rules_of(c), c), minutes(c.minutes)) for c in costs)
    widths = (1, 0, 0, 0, 0, 0, 0)
    sums = Table(rows=rows, head=head, right=(1, 2, 3, 4, 5, 6), widths=widths)
    how = f"All in {content.currency}. {_HOW.format(chance=percent(first.chance))}"
    blocks: list[Block] = [sums, Text(text=how, tone="quiet")]
    if first.missing:
        missing = f"Without a price, and in no sum: {', '.join(first.missing)}."
        blocks.append(Text(text=missing, tone="strong"))
    if first.from_memory:
        told = f"Priced from the catalogue's wide range: {', '.join(first.from_memory)}."
        blocks.append(Text(text=told, tone="quiet"))
    notes = dict.fromkeys(f.message for c in costs for f in c.findings)
    blocks += [Text(text=n, tone="quiet") for n in notes]
    return section("Still to pay", *blocks), _bought(first)


_HOW = (
    "Each price counts with the mean of its low, likely and high; what is certain or asked for by "
    "the rules in full, what is only probable by its probability. At most is the sum that is not "
    "passed in {chance} of cases, no sum of highs."
)


def _bought(cost: Cost) -> Section:
    """Return a row for each thing to pay."""
    head = ("What", "Chance", "Low", "Likely", "High")
    rows = tuple(_cost_line(x) for x in cost.lines)
    table = Table(rows=rows, head=head, right=(1, 2, 3, 4), widths=(1, 0, 0, 0, 0))
    return Section(heading=f"Lines under {rules_of(cost)}", blocks=(table,), level=2)


def _cost_line(line: CostLine) -> tuple[str, ...]:
    sums = tuple(bare_sum(m) for m in (line.low, line.likely, line.high))
    if line.likely is None:
        sums = ("", money(None), "")
    chance = "sure" if line.probability == 1.0 else percent(line.probability)
    return (line.what, chance, *sums)
