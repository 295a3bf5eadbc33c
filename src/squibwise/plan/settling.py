"""Bid against outcome, line by line, and what a user's settled cars correct in the next bid."""

import math
from collections.abc import Mapping, Sequence

from squibwise.catalog.load import Catalog
from squibwise.model.bid import (
    COMEBACKS,
    BidLimit,
    BidSheet,
    CameBack,
    Comebacks,
    Figures,
    Lessons,
    Settled,
    SettledLine,
)
from squibwise.model.cost import Cost, Money, minor_digits
from squibwise.model.market import OfferSheet
from squibwise.model.origin import Finding

_PRIOR, _MOST = "market.prior-cars", "market.one-car-most"
_BOUGHT = ("ordered", "arrived", "fitted")


def settled_lines(settled: Settled, catalog: Catalog) -> tuple[SettledLine, ...]:
    """Return expected against actual, line by line, in the order they were expected."""
    back = settled.paid_for_returns
    actual = settled.actual if back is None else settled.actual | {COMEBACKS: back}
    names = dict.fromkeys((*settled.expected, *actual, *[COMEBACKS] * bool(settled.returns)))
    adds = None if back is None else back / (1.0 + catalog.fact(_PRIOR).number())
    return tuple(
        SettledLine(
            what=n,
            expected=settled.expected.get(n, 0.0),
            actual=actual.get(n),
            adds=adds if n == COMEBACKS else None,
        )
        for n in names
    )


def learn_settled(cars: Sequence[Settled], currency: str, catalog: Catalog) -> Lessons:
    """Return what settled cars teach a bid in a currency."""
    return Lessons(factors=learn_factors(cars, catalog), came_back=count_comebacks(cars, currency))


def expect_sale(sheet: BidSheet, answer: BidLimit) -> dict[str, float]:
    """Return what a bid expected, by line of a settled car, in whole units and days."""
    unit = 10.0 ** minor_digits(answer.cost.currency)
    means = {x.what: abs(x.mean.minor) / unit for x in answer.lines}
    found = {"resale": sheet.resale.mean * (1.0 - sheet.brand_discount.mean)}
    found |= {k: means[k] for k in ("parts", "labour", "reserve", *sheet.shares) if k in means}
    found["days"] = sheet.days.mean
    return found | {k: v for k, v in means.items() if k == COMEBACKS}


def expect_work(expected: Cost) -> dict[str, float]:
    """Return what the order list expects, by line of a settled car, in whole units."""
    unit = 10.0 ** minor_digits(expected.likely.currency)
    sums = {"parts": expected.parts, "labour": expected.labour}
    return {k: s.likely.minor / unit for k, s in sums.items() if s is not None and s.likely.minor}


def sum_paid(sheet: OfferSheet) -> tuple[int, Money | None]:
    """Return how many lines of a sheet of offers were bought, and the price of a piece of each."""
    bought = [o for o in sheet.offers if o.state in _BOUGHT]
    if not bought:
        return 0, None
    total = sum(o.price.minor for o in bought)
    return len(bought), Money(minor=total, currency=bought[0].price.currency)


def count_comebacks(cars: Sequence[Settled], currency: str) -> CameBack:
    """Return which cars came back, of those whose comebacks are known, in one currency."""
    known = [c for c in cars if c.currency in ("", currency) and c.paid_for_returns is not None]
    return CameBack(
        cars=len(known),
        costs=tuple(c.paid_for_returns or 0.0 for c in known if c.returns),
    )


def expect_comebacks(
    stated: Comebacks | None, came_back: CameBack, catalog: Catalog
) -> tuple[tuple[float, Figures], ...]:
    """Return what may come back of the next car: the chance of each cost; else nothing does.

    Each settled car counts once, and what is stated as two more cars; where nothing is stated
    those two are cars that did not come back.
    """
    others = catalog.fact(_PRIOR).number()
    cars = came_back.cars + others
    own = [(1.0 / cars, Figures(low=c, likely=c, high=c)) for c in came_back.costs]
    prior = [] if stated is None else [(stated.share * others / cars, stated.cost)]
    return (*prior, *own)


def learn_factors(cars: Sequence[Settled], catalog: Catalog) -> dict[str, float]:
    """Return by how much each line was off, as a factor on the next expectation.

    The mean log ratio of actual to expected, shrunk towards none as if two more cars had come out
    as expected; one car moves a line by at most a factor of three. Lines that were expected or
    came out as nothing teach nothing here.
    """
    others, most = catalog.fact(_PRIOR).number(), math.log(catalog.fact(_MOST).number())
    logs: dict[str, list[float]] = {}
    for car in cars:
        for line in settled_lines(car, catalog):
            if (
                line.what != COMEBACKS
                and line.actual is not None
                and line.expected > 0.0
                and line.actual > 0.0
            ):
                ratio = math.log(line.actual / line.expected)
                logs.setdefault(line.what, []).append(max(-most, min(most, ratio)))
    return {n: math.exp(sum(v) / (len(v) + others)) for n, v in sorted(logs.items())}


def correct_restraint(factors: Mapping[str, float]) -> tuple[float, float]:
    """Return the factors on restraint parts and on restraint labour.

    ``restraint`` corrects both alike where no line of their own was settled.
    """
    whole = factors.get("restraint", 1.0)
    return factors.get("parts", whole), factors.get("labour", factors.get("hours", whole))


def doubt_settled(cars: Sequence[Settled], currency: str) -> tuple[Finding, ...]:
    """Return what came out of settled cars and teaches a bid in a currency nothing."""
    found = []
    for car in cars:
        if strange := [word for word in car.actual if not car.expected.get(word)]:
            found.append(_unexpected(car, strange))
        if free := [c.what for c in car.returns if c.cost is None]:
            found.append(_unpriced(car, free))
        if car.returns and car.currency not in ("", currency):
            found.append(_foreign(car, currency))
    return tuple(found)


def _unexpected(car: Settled, strange: Sequence[str]) -> Finding:
    return Finding(
        code="settled-not-expected",
        severity="note",
        message=f"{car.case}: {', '.join(strange)} came out and was not expected; it corrects "
        "nothing.",
        remedy=f"If it is another word for an expected line, write that: "
        f"{', '.join(car.expected)}.",
    )


def _unpriced(car: Settled, free: Sequence[str]) -> Finding:
    return Finding(
        code="settled-comeback-unpriced",
        severity="warning",
        message=f"{car.case}: what came back has no cost: {'; '.join(free)}. This car does not "
        "count among those that came back, nor among those that did not.",
        remedy='Write what it cost, 0 if nothing: { what = "...", cost = 180 }.',
    )


def _foreign(car: Settled, currency: str) -> Finding:
    return Finding(
        code="settled-comeback-foreign",
        severity="warning",
        message=f"{car.case}: what came back was paid in {car.currency}; it is not counted in a "
        f"bid in {currency}.",
        remedy="Convert the costs in its settled.toml, and write that currency there.",
    )
