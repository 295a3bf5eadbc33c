"""The work, its cautions and what is still to pay, as the pages of a record tell them."""

from squibwise.model.belief import Because
from squibwise.model.cost import Cost, CostLine, Money
from squibwise.model.work import Caution, Work, WorkItem
from squibwise.present.figures import listed, minutes, money, percent
from squibwise.present.phrases import in_words
from squibwise.present.record_content import Content
from squibwise.present.tell_cost import rules_of
from squibwise.present.telling import Block, Section, Step, Steps, Table, Text, section

LABOUR = "labour-hour"
_SURE = 0.99  # a chance is told below it


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
    found = {c.id: c for i in work.items for c in i.cautions}
    rows = tuple((str(numbers[c.id]), f"{c.text} {tell_ground(c)}".strip()) for c in found.values())
    if not rows:
        return ()
    words = Text(text="The work list names them by number.", tone="quiet")
    return (section("Cautions", words, Table(rows=rows, tone="strong")),)


def _numbers(work: Work) -> dict[str, int]:
    ids = dict.fromkeys(c.id for i in work.items for c in i.cautions)
    return {one: n for n, one in enumerate(ids, start=1)}


def tell_due(work: Work) -> Section:
    """Return the work in order, with numbers instead of ids where a person looks things up."""
    if not work.items:
        return section("Work, in order", Text(text="There is nothing to do."))
    numbers = {i.id: n for n, i in enumerate(work.items, start=1)}
    signs = _numbers(work)
    steps = Steps(
        steps=tuple(_step(i, numbers, signs) for i in work.items),
        head=("Done", "No.", "What", "Wait, time, order, what to record"),
    )
    return section("Work, in order", steps)


def _step(item: WorkItem, numbers: dict[str, int], signs: dict[str, int]) -> Step:
    notes = [f"chance {percent(item.probability)}"] if item.probability < _SURE else []
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


def _aside(item: WorkItem, numbers: dict[str, int]) -> list[str]:
    after = listed([str(n) for n in sorted(numbers[a] for a in item.after if a in numbers)], 4)
    told = [item.id]
    told += [f"Wait {minutes(item.hold_minutes)} first."] if item.hold_minutes else []
    work = [f"Work {minutes(item.minutes)}."] if item.minutes else []
    work += [f"After {after}."] if after else []
    told += [" ".join(work)] if work else []
    return told + ([f"Record: {item.passes_when}"] if item.passes_when else [])


def tell_payments(content: Content) -> tuple[Section, ...]:
    """Return the sums by kind of rules and what is to be bought; nothing in a copy without."""
    if not content.costs:
        return ()
    first, costs = content.costs[0], content.costs
    head = ("Under the rules", "Low", "Likely", "High", "Work", "Unpriced")
    rows = tuple(_sum_row(c) for c in costs)
    sums = Table(rows=rows, head=head, right=(1, 2, 3, 4, 5), widths=(1, 0, 0, 0, 0, 0))
    blocks: list[Block] = [sums, Text(text=_HOW, tone="quiet")]
    if first.unpriced:
        missing = f"Without a price, and in no sum: {', '.join(first.unpriced)}."
        blocks.append(Text(text=missing, tone="strong"))
    notes = dict.fromkeys(f.message for c in costs for f in c.findings)
    blocks += [Text(text=n, tone="quiet") for n in notes]
    return section("Still to pay", *blocks), _bought(first, content.currency)


_HOW = (
    "Low counts what is sure to be needed, at the lowest price and in the least time; likely adds "
    "what is only probable by its probability; high is a bound: all that is not ruled out, at the "
    "highest price and in the most time. The prices are the user's own."
)


def _sum_row(cost: Cost) -> tuple[str, ...]:
    sums = (money(m) for m in (cost.low, cost.likely, cost.high))
    return (rules_of(cost), *sums, minutes(cost.minutes), str(len(cost.unpriced) or ""))


def _bought(cost: Cost, currency: str) -> Section:
    """Return a row for each thing to buy, and one for all the work that is paid by the hour."""
    hourly = [x for x in cost.lines if x.what == LABOUR]
    rows = [_line(x) for x in cost.lines if x.what != LABOUR]
    rows += [_hourly(hourly, currency)] if hourly else []
    head = ("Work item", "Price of", "Chance", "Low", "Likely", "High")
    table = Table(rows=tuple(rows), head=head, right=(2, 3, 4, 5), widths=(3, 2, 0, 0, 0, 0))
    return Section(heading=f"Lines under {rules_of(cost)}", blocks=(table,), level=2)


def _line(line: CostLine) -> tuple[str, ...]:
    sums = tuple(money(m) for m in (line.low, line.likely, line.high))
    if line.likely is None:
        sums = ("", money(None), "")
    chance = "sure" if line.probability == 1.0 else percent(line.probability)
    return (line.item, line.what, chance, *sums)


def _hourly(lines: list[CostLine], currency: str) -> tuple[str, ...]:
    name = f"work on {len(lines)} items, if all are needed"
    three = [(x.low, x.likely, x.high) for x in lines]
    if any(m is None for row in three for m in row):
        return (name, LABOUR, "", "", money(None), "")
    sums = (sum(m.minor for m in column if m) for column in zip(*three, strict=True))
    return (name, LABOUR, "", *(money(Money(minor=s, currency=currency)) for s in sums))
