"""What is still to be paid, under the followed profile and under every other one."""

from collections.abc import Sequence
from fractions import Fraction

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.car import Price
from squibwise.model.case import Case
from squibwise.model.cost import Cost, CostLine, Money
from squibwise.model.origin import Finding
from squibwise.model.work import Work, WorkItem
from squibwise.plan.prices import LABOUR, PriceBook, part_keys, price_book, task_keys, unused
from squibwise.plan.times import MINUTES_PER_HOUR, Minutes, catalogued, minutes_of


class _Limits(msgspec.Struct, frozen=True, kw_only=True):
    currency: str
    sure: float
    ruled_out: float


def cost(case: Case, work: Work, catalog: Catalog) -> tuple[Cost, ...]:
    """Return what is still to be paid, the followed profile first, then every other one.

    Work that is already done is not counted. ``low`` counts what is sure to be needed, at its
    lowest price and in the least time. ``likely`` counts that at its likely price and time, and
    what is only probable by its probability. ``high`` counts all of it at the highest price and
    in the most time. A line whose probability is below the fact ``cost.ruled-out`` is shown and
    not summed. Lines without a price are named in ``unpriced``.
    """
    book = price_book(case)
    limits = _Limits(
        currency=case.currency,
        sure=catalog.fact("cost.sure").number(),
        ruled_out=catalog.fact("cost.ruled-out").number(),
    )
    plans = _plans(work, catalog)
    keys = {k for items in plans.values() for i in items for k in _keys(i)}
    findings = (*book.findings, *unused(book, keys))
    return tuple(
        _profile_cost(name, [(i, minutes_of(i, catalog)) for i in items], book, limits, findings)
        for name, items in plans.items()
    )


def _plans(work: Work, catalog: Catalog) -> dict[str, tuple[WorkItem, ...]]:
    """Return the open items by profile, the followed one first."""
    plans = {work.profile: tuple(i for i in work.items if _costs(i))}
    steps = tuple(i for i in work.items if i.id.startswith("step:") and _costs(i))
    for name, ids in work.spread.items():
        items = [_under(name, i, work, catalog) for i in ids if not i.startswith("step:")]
        plans.setdefault(name, tuple(i for i in items if _costs(i)) + steps)
    return plans


def _under(profile: str, item_id: str, work: Work, catalog: Catalog) -> WorkItem:
    """Return an item as a profile asks for it, with the probability it has there."""
    item = next((i for i in work.items if i.id == item_id), None) or _guest(item_id, work, catalog)
    chance = work.chances.get(profile, {}).get(item_id, item.probability)
    return msgspec.structs.replace(item, probability=chance)


def _costs(item: WorkItem) -> bool:
    return not item.done and item.action != "keep"


def _guest(item_id: str, work: Work, catalog: Catalog) -> WorkItem:
    """Return an item that only another profile asks for; a part already replaced is done."""
    component, _, action = item_id.rpartition(":")
    own = [i for i in work.items if i.component == component]
    item = WorkItem(
        id=item_id,
        action=action,
        component=component or None,
        title=item_id,
        strict="always",
        probability=max((i.probability for i in own), default=1.0),
        done=any(i.action == "replace" and i.done for i in own),
    )
    return msgspec.structs.replace(item, minutes=catalogued(item, catalog)[1])


def _keys(item: WorkItem) -> tuple[str, ...]:
    parts = part_keys(item.component) if item.action == "replace" and item.component else ()
    return parts + task_keys(item)


def _profile_cost(
    name: str,
    items: Sequence[tuple[WorkItem, Minutes]],
    book: PriceBook,
    limits: _Limits,
    findings: tuple[Finding, ...],
) -> Cost:
    lines = tuple(line for item, minutes in items for line in _lines(item, minutes, book))
    low, likely, high = _sums(lines, limits)
    counted = [i for i, _ in items if i.probability > limits.ruled_out]
    unpriced = (x.what for x in lines if x.likely is None and x.probability > limits.ruled_out)
    return Cost(
        profile=name,
        low=Money(minor=low, currency=limits.currency),
        likely=Money(minor=likely, currency=limits.currency),
        high=Money(minor=high, currency=limits.currency),
        minutes=round(sum(_weight(i.probability, limits) * i.minutes for i in counted)),
        lines=lines,
        unpriced=tuple(dict.fromkeys(unpriced)),
        findings=findings + _timeless(name, counted, book),
    )


def _lines(item: WorkItem, minutes: Minutes, book: PriceBook) -> list[CostLine]:
    """Return the part, then the work: at the outside price when there is one, else by the hour."""
    lines = []
    if item.action == "replace" and item.component is not None:
        keys = part_keys(item.component)
        lines.append(_line(item, keys[-1], book.find(*keys)))
    outside = book.find(*task_keys(item))
    if outside is not None:
        lines.append(_line(item, outside.what, outside))
    elif item.minutes:
        lines.append(_line(item, LABOUR, book.find(LABOUR), minutes))
    return lines


def _line(
    item: WorkItem, what: str, price: Price | None, minutes: Minutes | None = None
) -> CostLine:
    if price is None:
        return CostLine(item=item.id, what=what, probability=item.probability)
    low, likely, high = minutes or (MINUTES_PER_HOUR,) * 3
    return CostLine(
        item=item.id,
        what=price.what,
        probability=item.probability,
        low=_times(price.low, Fraction(low, MINUTES_PER_HOUR)),
        likely=_times(price.likely, Fraction(likely, MINUTES_PER_HOUR)),
        high=_times(price.high, Fraction(high, MINUTES_PER_HOUR)),
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
