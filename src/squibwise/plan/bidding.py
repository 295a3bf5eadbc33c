"""The most to bid: first whether at all, then the largest bid whose risk of a loss is accepted."""

from collections.abc import Mapping, Sequence

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.model.bid import (
    NOTHING,
    BidLimit,
    BidSheet,
    BidVerdict,
    Fee,
    Figures,
    Gate,
    GateAnswer,
    Go,
    LookWorth,
)
from squibwise.model.cost import Money, minor_digits
from squibwise.model.market import CostBelief
from squibwise.plan.cost_belief import (
    World,
    believe_cost,
    nice_step,
    rank_drivers,
    triangle_on_grid,
)
from squibwise.plan.information import value_of_knowing, winning_excess

Array = npt.NDArray[np.float64]
_GRID = 4096
_CUTS = 48


class Evidence(msgspec.Struct, frozen=True, kw_only=True):
    """Something that could be seen before the bid.

    Attributes:
        shown: Chance of each answer in each world: (answers, worlds); None = tells the world.
    """

    what: str
    minutes: float = 0.0
    shown: tuple[tuple[float, ...], ...] | None = None


def limit_bid(
    sheet: BidSheet,
    worlds: Sequence[World],
    currency: str,
    catalog: Catalog,
    looks: Sequence[Evidence] = (),
    learned: Mapping[str, float] | None = None,
) -> BidLimit:
    """Return whether to bid and up to what.

    While a question that comes first is open, or a trade's share is not stated, there is no limit.

    Args:
        sheet: What the user knows of the car and the sale.
        worlds: Payments of the restraint share, by world.
        currency: Of the case.
        catalog: The questions and trades.
        looks: What could be seen before the bid.
        learned: Factors from settled cars, by line.
    """
    factors = dict(learned or {})
    sheet, worlds = _corrected(sheet, worlds, factors)
    gates = tuple(
        Gate(id=q.id, text=q.text, go=_standing(a), answer=a)
        for q in catalog.bidding.question
        for a in [sheet.gates.get(q.id, GateAnswer())]
    )
    unstated = tuple(t for t in catalog.bidding.trades if t not in sheet.shares)
    cost = believe_cost(worlds, currency)
    answer = BidLimit(
        verdict=_early_verdict(gates, unstated),
        gates=gates,
        unstated=unstated,
        cost=cost,
        drivers=rank_drivers(worlds, currency),
        corrected=factors,
    )
    if answer.verdict != "do-not-bid" or any(g.go == "no-go" for g in gates):
        return answer
    return _limited(answer, sheet, worlds, looks)


def _standing(answer: GateAnswer) -> Go:
    """Return where a question stands; an answer without source and date is not one."""
    if answer.answer == "unknown" or not answer.source or answer.on is None:
        return "ask"
    return "go" if answer.answer == "yes" else "no-go"


def _early_verdict(gates: Sequence[Gate], unstated: Sequence[str]) -> BidVerdict:
    """Return the verdict before any sum: not to bid, unless something has to be asked first."""
    if any(g.go == "no-go" for g in gates):
        return "do-not-bid"
    if any(g.go == "ask" for g in gates):
        return "ask-first"
    return "restraint-share-only" if unstated else "do-not-bid"


def _corrected(
    sheet: BidSheet, worlds: Sequence[World], factors: Mapping[str, float]
) -> tuple[BidSheet, Sequence[World]]:
    """Return sheet and worlds with what the user's settled cars taught."""
    if not factors:
        return sheet, worlds
    restraint = factors.get("restraint", 1.0)
    moved = [
        msgspec.structs.replace(
            w,
            payments=tuple(
                msgspec.structs.replace(
                    p,
                    low=round(p.low * restraint),
                    likely=round(p.likely * restraint),
                    high=round(p.high * restraint),
                )
                for p in w.payments
            ),
        )
        for w in worlds
    ]
    shares = {
        t: s
        if s.cost is None
        else msgspec.structs.replace(s, cost=s.cost.times(factors.get(t, 1.0)))
        for t, s in sheet.shares.items()
    }
    return msgspec.structs.replace(
        sheet,
        shares=shares,
        days=sheet.days.times(factors.get("days", 1.0)),
        resale=sheet.resale.times(factors.get("resale", 1.0)),
    ), moved


def _limited(
    answer: BidLimit, sheet: BidSheet, worlds: Sequence[World], looks: Sequence[Evidence]
) -> BidLimit:
    unit = 10.0 ** minor_digits(answer.cost.currency)
    winning = winning_excess(sheet.bidders) * sheet.estimate_error * _resale_mean(sheet)
    left = believe_left(sheet, answer.cost, winning)
    bid = largest_bid(sheet, left)
    worths = _worths(sheet, worlds, looks, left, answer.cost.currency)

    def money(amount: float) -> Money:
        return Money(minor=round(amount * unit), currency=answer.cost.currency)

    answer = msgspec.structs.replace(answer, winning=money(winning), worths=worths)
    if bid is None:
        return answer
    return msgspec.structs.replace(
        answer,
        verdict="bid-up-to",
        limit=money(bid),
        chance_of_loss=left.chance_below(outlay(sheet, bid) + sheet.target),
        outlay=money(outlay(sheet, bid)),
        fees={f.name: money(fee_at(f, bid)) for f in sheet.fees},
        expected_profit=money(left.mean - outlay(sheet, bid)),
    )


def fee_at(fee: Fee, price: float) -> float:
    """Return a fee at a price: that of the last band that begins at or below it."""
    band = [b for b in fee.bands if b.from_price <= price][-1]
    return band.flat + band.share * price


def outlay(sheet: BidSheet, bid: float) -> float:
    """Return what a bid costs in the end: bid, fees, tax."""
    fees = sum(fee_at(f, bid) for f in sheet.fees)
    return bid + fees + sheet.tax * (bid + (fees if sheet.tax_on_fees else 0.0))


class Left(msgspec.Struct, frozen=True):
    """What is left of the resale after every cost but the bid: amounts and their chances."""

    amounts: Array
    chances: Array

    @property
    def mean(self) -> float:
        """Expected amount."""
        return float(self.amounts @ self.chances)

    def chance_below(self, amount: float) -> float:
        """Return the chance that less than an amount is left."""
        return float(self.chances[self.amounts < amount - 1e-9].sum())


def believe_left(sheet: BidSheet, cost: CostBelief, winning: float) -> Left:
    """Return what is left of the resale after every cost but bid, fees and tax.

    Resale and discount, and each cost, are taken as independent of one another; only the
    restraint share holds what its parts have in common. An estimate that won is too high: the
    resale is moved down by that.
    """
    unit = 10.0 ** minor_digits(cost.currency)
    costs = _other_costs(sheet)
    top = sum(c.high for c in costs) + (len(cost.chances) * cost.step) / unit
    step = nice_step(top * unit / (_GRID / 2)) / unit
    spent = np.fft.rfft(_on_grid(cost, unit, step))
    for c in costs:
        spent = spent * np.fft.rfft(triangle_on_grid(c.low, c.likely, c.high, step, _GRID))
    chances = np.maximum(np.fft.irfft(spent, n=_GRID), 0.0)
    resale, weights = _resale(sheet, winning)
    amounts = resale[:, None] - (np.arange(_GRID) * step)[None, :]
    amounts = np.maximum(amounts, sheet.part_out) if sheet.part_out > 0.0 else amounts
    joint = weights[:, None] * (chances / chances.sum())[None, :]
    return Left(amounts.ravel(), joint.ravel())


def _other_costs(sheet: BidSheet) -> list[Figures]:
    trades = [s.cost for s in sheet.shares.values() if s.cost is not None]
    asked = [g.price for g in sheet.gates.values() if g.price is not None]
    own = [sheet.transport, sheet.inspection, sheet.title, sheet.selling, sheet.reserve]
    found = [*trades, *asked, *own, sheet.days.times(sheet.day)]
    return [c for c in found if c != NOTHING]


def _on_grid(cost: CostBelief, unit: float, step: float) -> Array:
    """Return a cost belief on another grid from 0, its mean kept exactly."""
    places = (cost.start + np.arange(len(cost.chances)) * cost.step) / unit / step
    low = np.floor(places).astype(int)
    share = places - low
    grid = np.zeros(_GRID)
    np.add.at(grid, low, np.array(cost.chances) * (1.0 - share))
    np.add.at(grid, np.minimum(low + 1, _GRID - 1), np.array(cost.chances) * share)
    return grid


def _resale_mean(sheet: BidSheet) -> float:
    return sheet.resale.mean * (1.0 - sheet.brand_discount.mean)


def _resale(sheet: BidSheet, winning: float) -> tuple[Array, Array]:
    """Return resale values with their chances: equal cuts of each triangle, by their middles."""
    price = _cuts(sheet.resale)
    kept = 1.0 - _cuts(sheet.brand_discount)
    values = (price[:, None] * kept[None, :]).ravel() - winning
    return values, np.full(values.size, 1.0 / values.size)


def _cuts(figures: Figures) -> Array:
    """Return the quantiles of a triangle at the middles of equal shares."""
    a, c, b = figures.low, figures.likely, figures.high
    if b <= a:
        return np.array([a])
    p = (np.arange(_CUTS) + 0.5) / _CUTS
    turn = (c - a) / (b - a)
    rising = a + np.sqrt(p * (b - a) * (c - a))
    falling = b - np.sqrt((1.0 - p) * (b - a) * (b - c))
    return np.where(p <= turn, rising, falling)


def largest_bid(sheet: BidSheet, left: Left) -> float | None:
    """Return the largest bid whose chance of a loss is at most the accepted one; None = no bid.

    Every bid is tried, from the top: fees jump, so that a higher bid can cost less in the end.
    """
    order = np.argsort(left.amounts)
    amounts, below = left.amounts[order], np.cumsum(left.chances[order])
    # the most that may be laid out: less than it is left with at most the accepted chance
    place = int(np.searchsorted(below, sheet.loss_chance, side="right"))
    most = float(amounts[min(place, len(amounts) - 1)]) - sheet.target
    steps = int(max(most, 0.0) / sheet.increment)
    for number in range(steps, 0, -1):
        if outlay(sheet, number * sheet.increment) <= most + 1e-9:
            return number * sheet.increment
    return None


def _worths(
    sheet: BidSheet,
    worlds: Sequence[World],
    looks: Sequence[Evidence],
    left: Left,
    currency: str,
) -> tuple[LookWorth, ...]:
    """Return what each look is worth to one who may buy at the going price or leave it.

    Where the user names no price, it is the one at which both are alike on average: there
    knowing is worth most.
    """
    unit = 10.0 ** minor_digits(currency)
    prior = np.array([w.weight for w in worlds])
    prior = prior / prior.sum()
    costs = np.array([sum(p.mean for p in w.payments) for w in worlds]) / unit
    going = sheet.expected_price
    paid = left.mean if going is None else outlay(sheet, going)
    buying = left.mean - paid - (costs - prior @ costs)
    pay = np.stack([buying, np.zeros(len(worlds))])
    found = [
        LookWorth(
            what=look.what,
            minutes=look.minutes,
            worth=Money(
                minor=round(value_of_knowing(pay, prior, _shown(look)) * unit), currency=currency
            ),
        )
        for look in looks
    ]
    return tuple(sorted(found, key=lambda f: (-f.worth.minor, f.what)))


def _shown(look: Evidence) -> Array | None:
    return None if look.shown is None else np.array(look.shown)
