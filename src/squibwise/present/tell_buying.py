"""What to buy from whom, when the car is ready, and what other ways would come to."""

import datetime as dt
from collections.abc import Sequence

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.market import BuyAnswer, BuyPlan, Purchase, ScheduledTask
from squibwise.present.figures import bare_sum, listed, minutes, money, percent
from squibwise.present.phrases import standing, tell_car, tell_findings
from squibwise.present.telling import Block, Bullets, Section, Table, Telling, filled, section, text


def tell_buying(case: Case, answer: BuyAnswer, today: dt.date, catalog: Catalog) -> Telling:
    """Return three plans side by side, the recommended one's orders by supplier, and its days."""
    best = answer.plans[-1]
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                _plans(answer, today),
                *_orders(best, today),
                _missing(answer),
                _curve(answer, today),
                *_days(best, today),
                tell_findings((*case.findings, *answer.findings)),
            )
        ),
        closing=standing(catalog),
    )


def _plans(answer: BuyAnswer, today: dt.date) -> Section:
    """Return the plans in columns, then the habits."""
    sums = ("total", "parts", "shipping", "labour", "standing", "late", "rework")
    rows = [(_WORDS[w], *(bare_sum(getattr(p, w)) for p in answer.plans)) for w in sums]
    rows.append(("ready", *(_date(p.ready_day, today) for p in answer.plans)))
    rows.append(("used parts all pass", *(percent(p.all_pass) for p in answer.plans)))
    head = ("", *(p.name for p in answer.plans))
    right = tuple(range(1, len(head)))
    blocks: list[Block] = [
        Table(rows=tuple(rows), head=head, right=right),
        text(_proof(answer.plans), "quiet"),
    ]
    if answer.habits:
        habits = tuple(
            (p.name, bare_sum(p.total), f"day {p.ready_day}", ", ".join(p.broken) or "-")
            for p in answer.habits
        )
        head = ("a habit instead", "total", "ready", "breaks")
        blocks.append(Table(rows=habits, head=head, right=(1,)))
    return section("Three plans", *blocks, note=answer.plans[0].total.currency)


_WORDS = {
    "total": "all together",
    "parts": "parts",
    "shipping": "freight",
    "labour": "labour",
    "standing": "days it stands",
    "late": "after the deadline",
    "rework": "parts that fail",
}


def _proof(plans: Sequence[BuyPlan]) -> str:
    unproven = [p for p in plans if not p.optimal]
    if not unproven:
        return "Proven: with these offers no plan does better."
    return "; ".join(f"{p.name}: no plan costs less than {money(p.bound)}" for p in unproven)


def _orders(plan: BuyPlan, today: dt.date) -> list[Section]:
    suppliers = dict.fromkeys(p.supplier for p in plan.purchases)
    return [
        section(
            f"Order from {name}",
            Bullets(items=tuple(_purchase(p, today) for p in plan.purchases if p.supplier == name)),
        )
        for name in suppliers
    ]


def _purchase(purchase: Purchase, today: dt.date) -> str:
    pieces = f"{purchase.quantity} x " if purchase.quantity > 1 else ""
    number = f" {purchase.part_number}" if purchase.part_number else ""
    when = f"there by {_date(purchase.arrives_day, today)}"
    if purchase.kept:
        when = f"ordered already, {when}"
    if purchase.after_look:
        when = f"ONLY AFTER THE LOOK ({percent(purchase.chance)}), then {when}"
    sold = f"{purchase.condition}{number}, {bare_sum(purchase.price)}"
    return f"{pieces}{purchase.title}: {sold} [{purchase.offer}], {when}"


def _missing(answer: BuyAnswer) -> Section | None:
    if not answer.without_offer:
        return None
    words = f"Nobody offers a usable part for {listed(answer.without_offer, 12)}."
    return section("Not in these plans", text(words, "check"))


def _days(plan: BuyPlan, today: dt.date) -> list[Section]:
    """Return a section a day: operations in their order, as if everything doubtful is needed."""
    days: dict[int, list[ScheduledTask]] = {}
    for task in plan.schedule:
        days.setdefault(task.day, []).append(task)
    return [
        section(
            f"Work on {_date(day, today)}",
            Bullets(items=tuple(_line(t) for t in tasks)),
            note=f"{minutes(sum(t.end - t.start for t in tasks if not t.outside))} of work",
        )
        for day, tasks in days.items()
    ]


def _line(task: ScheduledTask) -> str:
    return f"{task.title}, {'outside' if task.outside else minutes(task.end - task.start)}"


def _curve(answer: BuyAnswer, today: dt.date) -> Section | None:
    if len(answer.curve) < 2:
        return None
    rows = tuple((_date(p.day, today), bare_sum(p.cost)) for p in answer.curve)
    table = Table(rows=rows, head=("ready by", "least paid out"), right=(1,))
    return section("What being ready earlier costs", table, note="days of standing not counted")


def _date(day: int, today: dt.date) -> str:
    return f"day {day}, {today + dt.timedelta(days=day):%d %b}"
