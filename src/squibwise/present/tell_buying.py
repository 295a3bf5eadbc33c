"""What to buy from whom, when the car is ready, and what other ways would come to."""

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.cost import Money
from squibwise.model.market import BuyAnswer, BuyPlan, Need, Purchase, ScheduledTask, ShopTerms
from squibwise.model.origin import Finding
from squibwise.present.figures import bare_sum, minutes, money, percent, ranges
from squibwise.present.phrases import standing, tell_car, tell_findings
from squibwise.present.telling import Block, Bullets, Section, Table, Telling, filled, section, text

_ALIKE = 5  # findings of one kind that are told one by one


def tell_buying(
    case: Case, answer: BuyAnswer, terms: ShopTerms, today: dt.date, catalog: Catalog
) -> Telling:
    """Return three plans side by side, the recommended one's orders by supplier, and its days."""
    best = answer.plans[-1]
    first = (f.code == "buy-no-offer" or f in _list_guesses(answer) for f in answer.findings)
    told = [f for f, is_first in zip(answer.findings, first, strict=True) if not is_first]
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                _guessed(answer),
                _missing(answer),
                _asked(answer),
                _plans(answer, terms, today),
                _late(answer, today),
                *_orders(best, answer, today),
                _curve(answer, today),
                *_days(best, terms, today),
                tell_findings(gather_rows((*case.findings, *told))),
            )
        ),
        closing=standing(catalog),
    )


def _list_guesses(answer: BuyAnswer) -> list[Finding]:
    """Return what was only guessed of the columns that decide what is bought from whom."""
    return [f for f in answer.findings if f.code == "column-guessed" and f.severity == "warning"]


def _guessed(answer: BuyAnswer) -> Section | None:
    """Return the columns that have to be confirmed before anything here is ordered."""
    guesses = _list_guesses(answer)
    if not guesses:
        return None
    told = (text(f"{f.origin.file}: {f.message} {f.remedy}", "check") for f in guesses)
    return section("Columns to confirm before anything is ordered", *told)


def gather_rows(found: Sequence[Finding]) -> list[Finding]:
    """Return findings with those that say the same of several lines, or too much alike, as one."""
    alike: dict[tuple[str, str, str], list[Finding]] = {}
    for one in found:
        alike.setdefault((one.code, one.message, one.origin.file or ""), []).append(one)
    by_code: dict[str, list[list[Finding]]] = {}
    for same in alike.values():
        by_code.setdefault(same[0].code, []).append(same)
    return [f for groups in by_code.values() for f in _most_of(groups)]


def _on_lines(same: Sequence[Finding]) -> Finding:
    if len(same) == 1:
        return same[0]
    lines = _lines_of(same)
    message = f"{same[0].message} So on lines {lines}." if lines else same[0].message
    return msgspec.structs.replace(same[0], message=message)


def _lines_of(found: Iterable[Finding]) -> str:
    return ranges(f.origin.line for f in found if f.origin.line)


def _most_of(groups: Sequence[Sequence[Finding]]) -> list[Finding]:
    """Return at most so many findings of a kind, the last saying how many more there are."""
    if len(groups) <= _ALIKE + 1:
        return [_on_lines(same) for same in groups]
    more = [f for same in groups[_ALIKE:] for f in same]
    lines = _lines_of(more)
    rest = f"And {len(more)} more like it{f', on lines {lines}' if lines else ''}."
    remedy = "--json tells each by itself."
    last = msgspec.structs.replace(more[0], message=rest, remedy=remedy)
    return [*(_on_lines(same) for same in groups[:_ALIKE]), last]


def _plans(answer: BuyAnswer, terms: ShopTerms, today: dt.date) -> Section:
    """Return the plans in columns, then the habits."""
    sums = ["total", "parts", "shipping", "labour"]
    sums += ["outside"] if any(p.outside.minor for p in answer.plans) else []
    sums += ["standing", "late", "rework"]
    sums += ["cancelled"] if any(p.cancelled.minor for p in answer.plans) else []
    plans = (
        answer.plans[-1:] + answer.plans[:-1]
    )  # what a narrow screen shows is the recommended one
    rows = [(_WORDS[w], *(bare_sum(getattr(p, w)) for p in plans)) for w in sums]
    ready = "ready but for those" if answer.without_offer else "ready"
    has_times = all(f.code != "buy-no-time" for f in answer.findings)
    ready = ready if has_times else f"{ready}, work without a time not counted"
    rows.append((ready, *(_date(p.ready_day, today) for p in plans)))
    drawn = [p.ready for p in plans if p.ready]
    if len(drawn) == len(answer.plans):
        rows.append(("4 times in 5 by", *(_date(r.p80, today) for r in drawn)))
        kept = "that day kept" if terms.deadline is None else f"by day {terms.deadline}"
        rows.append((kept, *(percent(r.on_time) for r in drawn)))
    if any(p.all_pass < 1.0 for p in plans):
        rows.append(("used parts all pass", *(percent(p.all_pass) for p in plans)))
    head = ("", *(_PLANS.get(p.name, p.name) for p in plans))
    right = tuple(range(1, len(head)))
    blocks: list[Block] = [
        Table(rows=tuple(rows), head=head, right=right),
        text(_proof(answer.plans), "quiet"),
        *_expected(answer.plans[-1]),
        *_habits(answer),
        *_free_work(answer),
    ]
    return section("Three plans", *blocks, note=answer.plans[0].total.currency)


def _expected(plan: BuyPlan) -> list[Block]:
    """Return why the parts are less than the lists of what is ordered come to."""
    listed = sum(p.price.minor * p.times for p in plan.purchases)
    if listed == plan.parts.minor:
        return []
    whole = bare_sum(Money(minor=listed, currency=plan.total.currency))
    words = (
        f"The recommended plan's lists come to {whole}, its parts to {bare_sum(plan.parts)}: what "
        "waits for a look counts by its chance, and what may go back less what it then brings."
    )
    return [text(words, "quiet")]


def _free_work(answer: BuyAnswer) -> list[Block]:
    """Return that labour counts as nothing where no hour of work has a price."""
    if any(p.labour.minor for p in answer.plans):
        return []
    words = "No hour of work has a price, so labour counts as nothing in these sums: state it."
    return [text(words, "check")]


def _habits(answer: BuyAnswer) -> list[Block]:
    """Return what three habits come to, and whether there is anything left to choose."""
    best = answer.plans[-1]
    alike = {(p.total, p.ready_day) for p in answer.plans} == {(best.total, best.ready_day)}
    words = "The three plans are the same: these offers leave nothing to choose between."
    told: list[Block] = [text(words, "quiet")] if alike else []
    rows = tuple(
        (p.name, bare_sum(p.total), f"day {p.ready_day}", ", ".join(p.broken) or "-")
        for p in answer.habits
        if (p.total, p.ready_day, p.broken) != (best.total, best.ready_day, ())
    )
    if rows:
        head = ("a habit instead", "total", "ready", "breaks")
        told.append(Table(rows=rows, head=head, right=(1,)))
    return told


_PLANS = {"cheapest": "least paid out"}
_WORDS = {
    "total": "all together",
    "parts": "parts",
    "shipping": "freight",
    "labour": "labour",
    "outside": "work of others",
    "standing": "days it stands",
    "late": "after the deadline",
    "rework": "what fails, and the days that this or an unlikely part adds",
    "cancelled": "orders cancelled",
}


def _proof(plans: Sequence[BuyPlan]) -> str:
    unproven = [p for p in plans if not p.optimal]
    if not unproven:
        return "Proven: with these offers, hours and appointments no plan does better."
    return "; ".join(f"{p.name}: no plan costs less than {money(p.bound)}" for p in unproven)


def _late(answer: BuyAnswer, today: dt.date) -> Section | None:
    """Return what becomes of each order that is late: waited for, or cancelled."""
    if not answer.late_orders:
        return None
    items = []
    for line in answer.late_orders:
        what = f"{line.title} from {line.supplier} ({line.offer})"
        by = _date(line.there_day, today)
        if line.elsewhere is None:
            told = f"WAIT for {what}, there by {by}: no other offer can take its place."
        elif line.cancel:
            told = f"CANCEL {what}, which is there by {by} only, and order {line.instead} instead."
        else:
            told = f"WAIT for {what}, there by {by}."
        if line.elsewhere is not None:
            told += (
                f" All together: waiting {money(line.waited)}, elsewhere {money(line.elsewhere)}, "
                f"{money(line.lost)} of it lost by cancelling."
            )
        items.append(told)
    return section("Orders that are late", Bullets(items=tuple(items)))


def _orders(plan: BuyPlan, answer: BuyAnswer, today: dt.date) -> list[Section]:
    """Return a section a supplier: what is ordered from it, how, and when each part is there."""
    barred = {j.offer.id for j in answer.judged if j.is_barred}
    head = ("part", "sold as", "each", "there by", "offer", "")
    found = []
    for name in dict.fromkeys(p.supplier for p in plan.purchases):
        mine = [p for p in plan.purchases if p.supplier == name]
        rows = tuple(_purchase(p, today, barred=p.offer in barred) for p in _gather_pieces(mine))
        goods = sum(p.price.minor * p.times for p in mine)
        total = money(Money(minor=goods, currency=plan.total.currency))
        table = Table(rows=rows, head=head, right=(2,))
        verb = "Ordered" if all(p.kept for p in mine) else "Order"
        found.append(section(f"{verb} from {name}", table, note=f"{total} without freight"))
    return found


def _gather_pieces(purchases: Iterable[Purchase]) -> Iterable[Purchase]:
    """Yield what is bought, the pieces of one offer that are alike in one line."""
    alike: dict[tuple[object, ...], list[Purchase]] = {}
    for p in purchases:
        is_one = p.after_look, p.chance, p.arrives_day
        alike.setdefault((p.offer, *is_one), []).append(p)
    for first, *more in alike.values():
        if not more:
            yield first
            continue
        mine = (first, *more)
        head = first.title.partition(": ")[0].partition(", ")[0]
        places = ", ".join(re.split(", |: ", p.title, maxsplit=1)[-1] for p in mine)
        paid = sum(p.price.minor * p.times for p in mine)
        whole = Money(minor=paid, currency=first.price.currency)
        yield msgspec.structs.replace(
            first,
            title=f"{head}: {places}",
            quantity=sum(p.quantity for p in mine),
            price=whole if first.as_set else first.price,
            times=1 if first.as_set else sum(p.times for p in mine),
        )


def _purchase(purchase: Purchase, today: dt.date, *, barred: bool) -> tuple[str, ...]:
    pieces = f"{purchase.quantity} x " if purchase.quantity > 1 else ""
    as_set = ", as a set" if purchase.times < purchase.quantity else ""
    notes = ["here" if purchase.here else "ordered already"] if purchase.kept else []
    unfit = "NOT TO BE FITTED as things stand" if barred else "FOR NOTHING ON THE LIST"
    notes += [unfit] if not purchase.chance else []
    late = f"ONLY AFTER THE LOOK ({percent(purchase.chance)}), ordered the day after it"
    notes += [late] if purchase.after_look else []
    asks = f"where it finds nothing, the maker's answer decides ({purchase.question})"
    notes += [asks] if purchase.question else []
    notes += [f"if it fails: {purchase.instead}"] if purchase.instead else []
    return (
        pieces + purchase.title,
        f"{purchase.condition} {purchase.part_number}".strip() + as_set,
        bare_sum(purchase.price),
        _date(purchase.arrives_day, today),
        purchase.offer,
        ", ".join(notes),
    )


def _missing(answer: BuyAnswer) -> Section | None:
    if not answer.without_offer:
        return None
    words = (
        "Nobody offers a usable part for these: they are in no sum below, no day waits for them, "
        "and where they are needed the car is not ready without them. "
        "`buy CASE --request` prints a sheet to send out."
    )
    items = tuple(need.title + _why_not(need, answer) for need in answer.missing)
    return section("Missing from these plans", text(words, "check"), Bullets(items=items))


def _asked(answer: BuyAnswer) -> Section | None:
    """Return what no plan buys yet, with who decides and the cheapest offer that counts."""
    if not answer.asked:
        return None
    rows = []
    for need in answer.asked:
        offers = [j.offer for j in answer.judged if j.need == need.key and j.is_usable]
        best = min(offers, key=lambda o: o.sum_for(need), default=None)
        paid = Money(minor=best.sum_for(need), currency=best.price.currency) if best else None
        decides = _say_who_decides(need)
        offered = bare_sum(paid) if paid else "no offer"
        rows.append((need.title, percent(need.chance), decides, offered))
    words = "In no sum and on no day below, until this has decided on them."
    head = ("part", "needed", "decided by", "offered for")
    return section(
        "Still to be decided", text(words), Table(rows=tuple(rows), head=head, right=(3,))
    )


def _say_who_decides(need: Need) -> str:
    asked = f" ({need.question})" if need.question else ""
    if need.asks_maker:
        return f"the maker's answer{asked}"
    return f"a look: {need.settled_by}" + (f"; then the maker's answer{asked}" if asked else "")


def _why_not(need: Need, answer: BuyAnswer) -> str:
    """Return how likely a need is one, and why what is offered does not count, line by line."""
    told = [f"needed: {percent(need.chance)}"] if need.chance < 1.0 else []
    for found in (j for j in answer.judged if j.need == need.key):
        why = "not counted on"
        if found.is_wrong:
            why = "arrived, another part"
        elif found.policy in ("forbid", "price-only"):
            why = "refused" if found.policy == "forbid" else "price only"
        told.append(f"{found.offer.supplier}, line {found.offer.origin.line}: {why}")
    return f" ({'; '.join(told)})" if told else ""


def _days(plan: BuyPlan, terms: ShopTerms, today: dt.date) -> list[Section]:
    """Return a section a day: operations by the clock, as if everything doubtful is needed."""
    days: dict[int, list[ScheduledTask]] = {}
    for task in plan.schedule:
        days.setdefault(task.day, []).append(task)
    titles = {p.need: p.title for p in plan.purchases}
    found = []
    for day, tasks in days.items():
        following = next((t for t in plan.schedule if t.day > day), None)
        stays_on = following is not None and following.powered and tasks[-1].powered
        found.append(
            section(
                f"Work on {_date(day, today)}",
                *_visits(tasks, terms, titles),
                *((text(_OVER_NIGHT, "check"),) if stays_on else ()),
                note=f"{minutes(sum(t.end - t.start for t in tasks if not t.outside))} of work",
            )
        )
    return found


_OVER_NIGHT = (
    "Over night nothing stays switched on: switch off and lock the key away. In the morning power "
    "it up as at the first power, people out."
)


def _visits(
    tasks: Sequence[ScheduledTask], terms: ShopTerms, titles: Mapping[str, str]
) -> list[Block]:
    """Return the tasks of a day in tables, one for each stretch between two changes of power."""
    blocks: list[Block] = []
    head = ("from", "no.", "what to do", "takes", *(("who",) if terms.technicians > 1 else ()))
    for visit, mine in groupby(tasks, key=lambda t: t.visit):
        rows = tuple(_task_row(t, terms, titles) for t in mine)
        blocks += [text(visit, "strong")] if visit else []
        blocks.append(Table(rows=rows, head=head))
    return blocks


def _task_row(task: ScheduledTask, terms: ShopTerms, titles: Mapping[str, str]) -> tuple[str, ...]:
    starts = terms.day_starts.hour * 60 + terms.day_starts.minute + task.minute
    clock = f"{starts // 60 % 24:02}:{starts % 60:02}"
    takes = "outside" if task.outside else minutes(task.end - task.start)
    takes = takes if task.end > task.start else "-"
    over = task.minute + task.end - task.start > terms.day_minutes and not task.outside
    title = f"NO PART YET, {task.title}" if task.lacks else task.title
    title += ", goes on the next working day" if over else ""
    if task.waits_for:
        held = titles.get(task.waits_for, "")
        title += f" (once there: {held})" if held else " (after its wait)"
    who = ("outside" if task.outside else f"tech {task.technician}",)
    number = str(task.number) if task.number else ""
    return (clock, number, title, takes, *(who if terms.technicians > 1 else ()))


def _curve(answer: BuyAnswer, today: dt.date) -> Section | None:
    if len(answer.curve) < 2:
        return None
    rows = tuple((_date(p.day, today), bare_sum(p.cost)) for p in answer.curve)
    table = Table(rows=rows, head=("ready by", "least paid out"), right=(1,))
    return section("What being ready earlier costs", table, note="days of standing not counted")


def _date(day: int, today: dt.date) -> str:
    return f"day {day}, {today + dt.timedelta(days=day):%d %b}"
