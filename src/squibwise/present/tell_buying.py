"""What to buy from whom, when the car is ready, and what other ways would come to."""

import datetime as dt
from collections.abc import Sequence

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.market import BuyAnswer, BuyPlan, Purchase, ScheduledTask
from squibwise.present.figures import bare_sum, counted, listed, minutes, money, percent
from squibwise.present.phrases import standing, tell_car, tell_findings
from squibwise.present.telling import Section, Table, Telling, filled, section, text


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
                _days(best, today),
                _curve(answer, today),
                tell_findings((*case.findings, *answer.findings)),
            )
        ),
        closing=standing(catalog),
    )


def _plans(answer: BuyAnswer, today: dt.date) -> Section:
    head = ("plan", "total", "parts", "freight", "labour", "standing", "late", "ready", "")
    rows = [_plan(p, today) for p in answer.plans]
    rows += [(f"habit: {r[0]}", *r[1:]) for r in (_plan(p, today) for p in answer.habits)]
    table = Table(rows=tuple(rows), head=head, right=(1, 2, 3, 4, 5, 6))
    proven = [p for p in answer.plans if p.optimal]
    words = "every plan is proven: nothing with these offers costs less"
    if len(proven) < len(answer.plans):
        open_plans = [p for p in answer.plans if not p.optimal]
        words = "; ".join(f"{p.name}: no plan costs less than {money(p.bound)}" for p in open_plans)
    return section("Three plans, and three habits beside them", table, text(words, "quiet"))


def _plan(plan: BuyPlan, today: dt.date) -> tuple[str, ...]:
    passes = f"used parts all pass {percent(plan.all_pass)}" if plan.all_pass < 1.0 else ""
    broken = f"breaks: {', '.join(plan.broken)}" if plan.broken else ""
    sums = (plan.total, plan.parts, plan.shipping, plan.labour, plan.standing, plan.late)
    return (
        plan.name,
        *(bare_sum(m) for m in sums),
        _date(plan.ready_day, today),
        "; ".join(w for w in (passes, broken) if w),
    )


def _orders(plan: BuyPlan, today: dt.date) -> list[Section]:
    suppliers = dict.fromkeys(p.supplier for p in plan.purchases)
    return [
        section(
            f"Order from {name}",
            Table(
                rows=tuple(_purchase(p, today) for p in plan.purchases if p.supplier == name),
                head=("part", "pieces", "price", "offer", "there by", ""),
                right=(1, 2),
            ),
        )
        for name in suppliers
    ]


def _purchase(purchase: Purchase, today: dt.date) -> tuple[str, ...]:
    number = f" {purchase.part_number}" if purchase.part_number else ""
    note = "ordered already" if purchase.kept else ""
    if purchase.after_look:
        note = f"only after the look, {percent(purchase.chance)}"
    return (
        purchase.title,
        str(purchase.quantity),
        bare_sum(purchase.price),
        f"{purchase.condition}{number} [{purchase.offer}]",
        _date(purchase.arrives_day, today),
        note,
    )


def _missing(answer: BuyAnswer) -> Section | None:
    if not answer.without_offer:
        return None
    words = f"Nobody offers a usable part for {listed(answer.without_offer, 12)}."
    return section("Not in these plans", text(words, "check"))


def _days(plan: BuyPlan, today: dt.date) -> Section | None:
    if not plan.schedule:
        return None
    days: dict[int, list[ScheduledTask]] = {}
    for task in plan.schedule:
        days.setdefault(task.day, []).append(task)
    rows = tuple(
        (_date(day, today), minutes(sum(t.end - t.start for t in tasks)), _lines(tasks))
        for day, tasks in days.items()
    )
    note = f"{counted(len(plan.schedule), 'operation')}, as if everything doubtful is needed"
    return section("Day plan", Table(rows=rows, head=("day", "work", "operations")), note=note)


def _lines(tasks: Sequence[ScheduledTask]) -> str:
    return "; ".join(f"{t.title}{' (outside)' if t.outside else ''}" for t in tasks)


def _curve(answer: BuyAnswer, today: dt.date) -> Section | None:
    if len(answer.curve) < 2:
        return None
    rows = tuple((_date(p.day, today), bare_sum(p.cost)) for p in answer.curve)
    table = Table(rows=rows, head=("ready by", "least paid out"), right=(1,))
    return section("What being ready earlier costs", table, note="days of standing not counted")


def _date(day: int, today: dt.date) -> str:
    return f"{(today + dt.timedelta(days=day)).isoformat()} (day {day})"
