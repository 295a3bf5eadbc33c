"""What is still to be paid: parts, labour and the work of others, with what it is at most."""

from collections.abc import Iterable, Sequence
from fractions import Fraction

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.prices import LABOUR, PriceBook, list_task_keys, list_unused, read_price_book
from squibwise.model.case import Case
from squibwise.model.cost import Amount, Cost, CostLine, Money
from squibwise.model.names import split_component
from squibwise.model.work import Minutes, Operation, Order, Work

MINUTES_PER_HOUR = 60
CERTAIN, FOLLOWED, STRICTEST = "certain", "followed", "strictest"
ENTERED = "entered"


class _CostLine(msgspec.Struct, frozen=True, kw_only=True):
    """One payment: for a part, for hands-on work, or for the work of others.

    Attributes:
        amounts: Least, likely, most. [minor units] None = no price is known.
        group: ``parts``, ``labour`` or ``outside``.
    """

    item: str
    what: str
    chance: float
    amounts: tuple[int, int, int] | None
    group: str


class _Sheet(msgspec.Struct, frozen=True, kw_only=True):
    """What every sum of a case is made with."""

    case: Case
    work: Work
    book: PriceBook
    ruled_out: float
    at_most: float


def cost(case: Case, work: Work, catalog: Catalog) -> tuple[Cost, ...]:
    """Return what is still to be paid: followed first, then certain, strictest, each profile.

    A sum is what is expected, the mean of the same triangles that a bid adds up, so that parts,
    labour and others add up to the whole.

    Parts that are on order by certainty or by a rule that is followed count in full; what a look
    or an answer decides counts by its chance. A part without a price of the user takes the
    catalogue's dated range, and is named; in a currency whose level of prices the catalogue does
    not state it is named as missing. Body and glass work counts only where the user priced it.
    ``at_most`` is the quantile of the fact ``cost.at-most-chance``, never a sum of highs.
    """
    book = read_price_book(case)
    sheet = _Sheet(
        case=case,
        work=work,
        book=book,
        ruled_out=catalog.fact("cost.ruled-out").number(),
        at_most=catalog.fact("cost.at-most-chance").number(),
    )
    findings = (*book.findings, *list_unused(book, set(_keys(work))))
    names = (FOLLOWED, CERTAIN, STRICTEST, *(n for n in work.spread if len(work.spread) > 1))
    sums = [_sum(name, sheet) for name in names]
    return tuple(msgspec.structs.replace(s, findings=findings) for s in sums)


def _keys(work: Work) -> Iterable[str]:
    for order in work.orders:
        yield order.assembly
        for component in order.contains:
            yield component
            yield split_component(component).kind
    for operation in work.operations:
        yield from list_task_keys(operation)


def _sum(name: str, sheet: _Sheet) -> Cost:
    lines = [
        *_parts(name, sheet),
        *_outside(sheet),
        *_labour(_minutes_left(name, sheet), sheet.book),
    ]
    priced = [x for x in lines if x.amounts is not None]
    groups = {g: [x for x in priced if x.group == g] for g in ("parts", "labour", "outside")}
    total = _amount(priced, sheet)
    minutes = _minutes_left(name, sheet)
    return Cost(
        profile=sheet.work.profile if name == FOLLOWED else name,
        name=name,
        low=total.at_least or total.likely,
        likely=total.likely,
        high=total.at_most,
        minutes=minutes.likely,
        lines=tuple(_shown(x, sheet.case.currency) for x in lines),
        unpriced=tuple(dict.fromkeys(x.what for x in lines if x.amounts is None)),
        parts=_amount(groups["parts"], sheet),
        labour=_amount(groups["labour"], sheet) if groups["labour"] else None,
        outside=_amount(groups["outside"], sheet),
        total=total,
        chance=sheet.at_most,
        labour_minutes=(minutes.low, minutes.likely, minutes.high),
        waiting_minutes=sum(o.hold_minutes for o in sheet.work.operations if not o.done),
        from_memory=tuple(o.title for o, _ in _wanted(name, sheet) if _is_from_memory(o)),
        missing=tuple(o.title for o, _ in _wanted(name, sheet) if o.price is None),
    )


def _is_from_memory(order: Order) -> bool:
    return order.price is not None and order.price.basis != ENTERED


def _wanted(name: str, sheet: _Sheet) -> list[tuple[Order, float]]:
    """Return the orders that a sum holds, each with the chance that it must be paid."""
    found = [
        (o, _chance(o, name, sheet.work))
        for o in sheet.work.orders
        if not o.done and (not o.body_work or (o.price is not None and o.price.basis == ENTERED))
    ]
    return [(o, c) for o, c in found if c > sheet.ruled_out]


def _chance(order: Order, name: str, work: Work) -> float:
    """Return the chance that an order must be paid under a sum's rules."""
    if order.kind == "certain":
        return 1.0
    if name == CERTAIN:
        return 0.0
    if name == FOLLOWED:
        return 1.0 if order.kind == "rule" else order.p
    asked = [
        max((work.chances.get(n, {}).get(d, 0.0) for d in order.demands), default=0.0)
        for n in (work.spread if name == STRICTEST else (name,))
    ]
    by_state = order.p if order.kind == "look-first" else 0.0
    return min(1.0, max(*asked, by_state)) if asked else by_state


def _parts(name: str, sheet: _Sheet) -> Iterable[_CostLine]:
    for order, chance in _wanted(name, sheet):
        price = order.price
        yield _CostLine(
            item=order.demands[0] if order.demands else order.assembly,
            what=order.title,
            chance=chance,
            amounts=None
            if price is None
            else (
                price.low.minor * order.quantity,
                price.likely.minor * order.quantity,
                price.high.minor * order.quantity,
            ),
            group="outside" if order.body_work else "parts",
        )


def _outside(sheet: _Sheet) -> Iterable[_CostLine]:
    """Return the operations that the user priced as done by somebody else."""
    for operation in sheet.work.operations:
        price = sheet.book.find(*list_task_keys(operation))
        if price is not None and not operation.done:
            yield _CostLine(
                item=operation.id,
                what=price.what,
                chance=operation.p if operation.kind == "look-first" else 1.0,
                amounts=(price.low.minor, price.likely.minor, price.high.minor),
                group="outside",
            )


def _minutes_left(name: str, sheet: _Sheet) -> Minutes:
    """Return the hands-on work of a sum, without what others do."""
    others = sum(
        o.minutes.likely
        for o in sheet.work.operations
        if not o.done and o.counted and sheet.book.find(*list_task_keys(o)) is not None
    )
    whole = sheet.work.hours.get(name, _plain(sheet.work.operations))
    share = max(whole.likely - others, 0) / whole.likely if whole.likely else 0.0
    return whole.times(share) if others else whole


def _plain(operations: Iterable[Operation]) -> Minutes:
    total = Minutes()
    for operation in operations:
        if operation.counted and not operation.done:
            total += operation.minutes
    return total


def _labour(minutes: Minutes, book: PriceBook) -> Iterable[_CostLine]:
    if not minutes.likely:
        return
    rate = book.find(LABOUR)
    amounts = None
    if rate is not None:
        amounts = (
            _share(rate.low, minutes.low),
            _share(rate.likely, minutes.likely),
            _share(rate.high, minutes.high),
        )
    yield _CostLine(item=LABOUR, what=LABOUR, chance=1.0, amounts=amounts, group="labour")


def _share(rate: Money, minutes: int) -> int:
    """Return an hourly rate for some minutes, rounded half-even to the minor unit."""
    return round(rate.minor * Fraction(minutes, MINUTES_PER_HOUR))


def _amount(lines: Sequence[_CostLine], sheet: _Sheet) -> Amount:
    """Return what some lines come to: their mean as in a bid, with the range of its chances."""
    mean = sum(Fraction(sum(x.amounts)) * Fraction(x.chance) / 3 for x in lines if x.amounts)
    expected = round(mean)
    least, most = _range(lines, sheet)
    return Amount(
        likely=_money(expected, sheet),
        at_most=_money(max(most, expected), sheet),
        at_least=_money(min(least, expected), sheet),
    )


def _range(lines: Sequence[_CostLine], sheet: _Sheet) -> tuple[int, int]:
    """Return what the sum of some lines is not below, and not above, with the stated chance."""
    open_ones = [x for x in lines if x.amounts and not _is_exact(x)]
    fixed = sum(x.amounts[1] for x in lines if x.amounts and _is_exact(x))
    if not open_ones:
        return fixed, fixed
    # NumPy starts slowly: only where there is something to add up.
    from squibwise.plan.cost_belief import Payment, World, believe_cost

    payments = tuple(
        Payment(
            what=x.what, chance=x.chance, low=x.amounts[0], likely=x.amounts[1], high=x.amounts[2]
        )
        for x in open_ones
        if x.amounts
    )
    belief = believe_cost((World(weight=1.0, payments=payments),), sheet.case.currency)
    ends = (belief.quantile(q).minor for q in (1.0 - sheet.at_most, sheet.at_most))
    least, most = (fixed + e for e in ends)
    return least, most


def _is_exact(line: _CostLine) -> bool:
    """Is a line paid for sure at one price."""
    return line.amounts is not None and line.chance == 1.0 and line.amounts[0] == line.amounts[2]


def _money(minor: int, sheet: _Sheet) -> Money:
    return Money(minor=minor, currency=sheet.case.currency)


def _shown(line: _CostLine, currency: str) -> CostLine:
    if line.amounts is None:
        return CostLine(item=line.item, what=line.what, probability=line.chance)
    low, likely, high = (Money(minor=a, currency=currency) for a in line.amounts)
    return CostLine(
        item=line.item, what=line.what, probability=line.chance, low=low, likely=likely, high=high
    )
