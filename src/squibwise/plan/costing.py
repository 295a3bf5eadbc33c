"""What is still to be paid, under the followed profile and under every other one."""

from collections.abc import Sequence
from fractions import Fraction

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.car import Price
from squibwise.model.case import Case
from squibwise.model.cost import Cost, CostLine
from squibwise.model.money import Money
from squibwise.model.origin import Finding
from squibwise.model.work import Work, WorkItem
from squibwise.plan.prices import LABOUR, PriceBook, part_keys, price_book, task_keys, unused

MINUTES_PER_HOUR = 60


class _Limits(msgspec.Struct, frozen=True, kw_only=True):
    sure: float
    ruled_out: float


def cost(case: Case, work: Work, catalog: Catalog) -> tuple[Cost, ...]:
    """Return what is still to be paid, the followed profile first, then every other one.

    Work that is already done is not counted. Three sums are formed: ``low`` counts what is
    sure to be needed at its lowest price; ``likely`` counts that at its likely price and what
    is only probable at its likely price times its probability; ``high`` counts all of it at
    the highest price. A line whose probability is below the fact ``cost.ruled-out`` is shown
    and not summed. Lines without a price are named in ``unpriced``.
    """
    book = price_book(case)
    limits = _Limits(
        sure=catalog.fact("cost.sure").number(),
        ruled_out=catalog.fact("cost.ruled-out").number(),
    )
    plans = _plans(work)
    keys = {k for items in plans.values() for i in items for k in _keys(i)}
    findings = (*book.findings, *unused(book, keys))
    return tuple(
        _profile_cost(name, items, book, limits, case.currency, findings)
        for name, items in plans.items()
    )


def _plans(work: Work) -> dict[str, tuple[WorkItem, ...]]:
    """Return the open items by profile, the followed one first."""
    plans = {work.profile: tuple(i for i in work.items if _costs(i))}
    steps = tuple(i for i in work.items if i.id.startswith("step:") and _costs(i))
    for name, ids in work.spread.items():
        items = [_under(name, i, work) for i in ids if not i.startswith("step:")]
        plans.setdefault(name, tuple(i for i in items if _costs(i)) + steps)
    return plans


def _under(profile: str, item_id: str, work: Work) -> WorkItem:
    """Return an item as a profile asks for it, with the probability it has there."""
    item = next((i for i in work.items if i.id == item_id), None) or _guest(item_id, work)
    chance = work.chances.get(profile, {}).get(item_id, item.probability)
    return msgspec.structs.replace(item, probability=chance)


def _costs(item: WorkItem) -> bool:
    return not item.done and item.action != "keep"


def _guest(item_id: str, work: Work) -> WorkItem:
    """Return an item that only another profile asks for; its working time is not known."""
    component, _, action = item_id.rpartition(":")
    known = [i.probability for i in work.items if i.component == component]
    return WorkItem(
        id=item_id,
        action=action,
        component=component or None,
        title=item_id,
        strict="always",
        probability=max(known, default=1.0),
    )


def _keys(item: WorkItem) -> tuple[str, ...]:
    parts = part_keys(item.component) if item.action == "replace" and item.component else ()
    return parts + task_keys(item)


def _profile_cost(
    name: str,
    items: Sequence[WorkItem],
    book: PriceBook,
    limits: _Limits,
    currency: str,
    findings: tuple[Finding, ...],
) -> Cost:
    lines = tuple(line for item in items for line in _lines(item, book))
    low, likely, high = _sums(lines, limits)
    counted = [i for i in items if i.probability > limits.ruled_out]
    unpriced = (x.what for x in lines if x.likely is None and x.probability > limits.ruled_out)
    return Cost(
        profile=name,
        low=Money(minor=low, currency=currency),
        likely=Money(minor=likely, currency=currency),
        high=Money(minor=high, currency=currency),
        minutes=round(sum(_weight(i.probability, limits) * i.minutes for i in counted)),
        lines=lines,
        unpriced=tuple(dict.fromkeys(unpriced)),
        findings=findings + _timeless(name, counted, book),
    )


def _lines(item: WorkItem, book: PriceBook) -> list[CostLine]:
    """Return the part, then the work: at the outside price when there is one, else by the hour."""
    lines = []
    if item.action == "replace" and item.component is not None:
        keys = part_keys(item.component)
        lines.append(_line(item, keys[-1], book.find(*keys)))
    outside = book.find(*task_keys(item))
    if outside is not None:
        lines.append(_line(item, outside.what, outside))
    elif item.minutes:
        lines.append(_line(item, LABOUR, book.find(LABOUR), Fraction(item.minutes)))
    return lines


def _line(
    item: WorkItem, what: str, price: Price | None, minutes: Fraction | None = None
) -> CostLine:
    if price is None:
        return CostLine(item=item.id, what=what, probability=item.probability)
    share = Fraction(1) if minutes is None else minutes / MINUTES_PER_HOUR
    return CostLine(
        item=item.id,
        what=price.what,
        probability=item.probability,
        low=_times(price.low, share),
        likely=_times(price.likely, share),
        high=_times(price.high, share),
    )


def _times(money: Money, share: Fraction) -> Money:
    """Return a share of an amount, rounded half-even to the minor unit."""
    return Money(minor=round(money.minor * share), currency=money.currency)


def _weight(probability: float, limits: _Limits) -> Fraction:
    return Fraction(1) if probability >= limits.sure else Fraction(probability)


def _sums(lines: Sequence[CostLine], limits: _Limits) -> tuple[int, int, int]:
    low = high = 0
    likely = Fraction(0)
    for line in lines:
        if line.low is None or line.likely is None or line.high is None:
            continue
        if line.probability <= limits.ruled_out:
            continue
        low += line.low.minor if line.probability >= limits.sure else 0
        likely += line.likely.minor * _weight(line.probability, limits)
        high += line.high.minor
    return low, round(likely), high


def _timeless(name: str, items: Sequence[WorkItem], book: PriceBook) -> tuple[Finding, ...]:
    """Return a note when working time is missing, so that nobody reads it as no time."""
    ids = [i.id for i in items if not i.minutes and book.find(*task_keys(i)) is None]
    if not ids:
        return ()
    shown = ", ".join(ids[:3]) + (" ..." if len(ids) > 3 else "")
    return (
        Finding(
            code="cost-no-minutes",
            severity="note",
            message=f"No working time is known for {len(ids)} item(s) under '{name}': {shown}.",
            remedy="Their labour is not in the sum; price them as a task to count it.",
        ),
    )
