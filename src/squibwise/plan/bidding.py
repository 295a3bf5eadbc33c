"""The most to bid: first whether at all, then the largest bid whose risk of a loss is accepted."""

import itertools
import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.model.bid import (
    GATE_PRICE,
    NOTHING,
    BidLimit,
    BidLine,
    BidPoint,
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
from squibwise.plan.prices import LABOUR

Array = npt.NDArray[np.float64]
_GRID = 4096
_CUTS, _DUST = 48, 1e-9
_RESALES = 256  # values that the resale is told by, in each size of crash
_BRAND = "brand"
_POINTS = 12  # even ones of the bids that are told


class Evidence(msgspec.Struct, frozen=True, kw_only=True):
    """Something that could be seen before the bid.

    Attributes:
        shown: Chance of each answer in each world: (answers, worlds); None = tells the world.
        how: What to look at; empty where there is nothing to say.
    """

    what: str
    minutes: float = 0.0
    how: str = ""
    shown: tuple[tuple[float, ...], ...] | None = None


def limit_bid(
    sheet: BidSheet,
    worlds: Sequence[World],
    currency: str,
    catalog: Catalog,
    looks: Sequence[Evidence] = (),
    learned: Mapping[str, float] | None = None,
    unpriced: Sequence[str] = (),
) -> BidLimit:
    """Return whether to bid and up to what.

    While a question that comes first is open, or a trade's share is not stated, or something of
    the restraint share has no price, there is no limit.

    Args:
        sheet: What the user knows of the car and the sale.
        worlds: Payments of the restraint share, by world.
        currency: Of the case.
        catalog: The questions and trades.
        looks: What could be seen before the bid.
        learned: Factors from settled cars, by line.
        unpriced: What of the restraint share is in no sum, in words.
    """
    factors = dict(learned or {})
    sheet, worlds = _corrected(sheet, worlds, factors)
    gates = tuple(
        Gate(id=q.id, text=q.text, go=_standing(a), answer=a)
        for q in catalog.bidding.question
        for a in [sheet.gates.get(q.id, GateAnswer())]
    )
    unstated = tuple(t for t in catalog.bidding.trades if t not in sheet.shares)
    is_sold = max(sheet.resale.high, sheet.part_out) > 0.0
    unstated = unstated if is_sold else ("resale", *unstated)
    verdict = _early_verdict(gates, (*unstated, *unpriced))
    cost = believe_cost(worlds, currency)
    answer = BidLimit(
        verdict=verdict,
        gates=gates,
        unstated=unstated,
        unpriced=tuple(unpriced),
        cost=cost,
        drivers=rank_drivers(worlds, currency),
        corrected=factors,
    )
    if not is_sold or any(g.go == "no-go" for g in gates):
        return answer
    together = {t.trade: t.share for t in catalog.bidding.together}
    sums = _sum_up(sheet, worlds, currency, together)
    answer = msgspec.structs.replace(
        answer,
        worths=_worths(sums, worlds, looks),
        lines=_list_lines(sums, worlds),
        is_hopeless=largest_bid(sheet, sums.left) is None,
        target=sums.money(sheet.target) if sheet.target else None,
    )
    return answer if answer.verdict != "do-not-bid" else _limited(answer, sums)


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
    """Return sheet and worlds with what the user's settled cars taught.

    ``restraint`` corrects parts and labour alike where no line of their own was settled.
    """
    if not factors:
        return sheet, worlds
    whole = factors.get("restraint", 1.0)
    parts = factors.get("parts", whole)
    labour = factors.get("labour", factors.get("hours", whole))
    moved = [
        msgspec.structs.replace(
            w,
            payments=tuple(p.times(labour if p.what == LABOUR else parts) for p in w.payments),
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
        reserve=sheet.reserve.times(factors.get("reserve", 1.0)),
        days=sheet.days.times(factors.get("days", 1.0)),
        resale=sheet.resale.times(factors.get("resale", 1.0)),
    ), moved


class _Sums(msgspec.Struct, frozen=True):
    """What the bid is decided on.

    Attributes:
        winning: Taken off because winning is news, in whole units.
        left: Of the resale after every cost but the bid.
        trades: Expected cost of the trades in each size of crash, and what it does to the discount
            of the brand, in whole units.
    """

    sheet: BidSheet
    currency: str
    winning: float
    left: "Left"
    trades: dict[int, float]

    def money(self, amount: float) -> Money:
        """Return an amount in whole units as money."""
        return Money(minor=round(amount * self.unit), currency=self.currency)

    @property
    def unit(self) -> float:
        """Minor units of a whole one."""
        return 10.0 ** minor_digits(self.currency)

    def point(self, bid: float) -> BidPoint:
        """Return what a bid comes to."""
        paid = outlay(self.sheet, bid)
        return BidPoint(
            bid=self.money(bid),
            outlay=self.money(paid),
            chance_of_loss=self.left.chance_below(paid + self.sheet.target),
            expected_profit=self.money(self.left.mean - paid),
        )


def _sum_up(
    sheet: BidSheet, worlds: Sequence[World], currency: str, together: Mapping[str, float]
) -> _Sums:
    winning = winning_excess(sheet.bidders) * sheet.estimate_error * _resale_mean(sheet)
    sizes = split_sizes(worlds, currency)
    left = believe_left(sheet, sizes, winning, together)
    bands = _bands([weight for weight, _ in sizes])
    brand, goes = sheet.brand_discount, _brand_goes(sheet, together)
    trades = {
        size: sum(c.mean + t * (_band_mean(c, band) - c.mean) for c, t in _trades(sheet, together))
        + sheet.resale.mean * goes * (_band_mean(brand, band) - brand.mean)
        for size, band in zip(sorted({w.size for w in worlds}), bands, strict=True)
    }
    return _Sums(sheet, currency, winning, left, trades)


def split_sizes(worlds: Sequence[World], currency: str) -> list[tuple[float, CostBelief]]:
    """Return each size of crash with its chance and what the restraint share comes to in it."""
    found = []
    for size in sorted({w.size for w in worlds}):
        mine = [w for w in worlds if w.size == size]
        found.append((sum(w.weight for w in mine), believe_cost(mine, currency)))
    return found


def _limited(answer: BidLimit, sums: _Sums) -> BidLimit:
    sheet = sums.sheet
    bid = largest_bid(sheet, sums.left)
    point = sums.point(sheet.increment if bid is None else bid)
    return msgspec.structs.replace(
        answer,
        verdict="do-not-bid" if bid is None else "bid-up-to",
        limit=None if bid is None else point.bid,
        chance_of_loss=point.chance_of_loss,
        outlay=point.outlay,
        fees={f.name: sums.money(fee_at(f, bid or sheet.increment)) for f in sheet.fees},
        expected_profit=point.expected_profit,
        winning=sums.money(sums.winning),
        curve=tuple(sums.point(b) for b in _pick_bids(sums, bid)),
        going=None if sheet.expected_price is None else sums.point(sheet.expected_price),
    )


def _pick_bids(sums: _Sums, limit: float | None) -> list[float]:
    """Return a few bids of the scale: even ones, the limit, and both sides of each fee's jump.

    Where there is no limit the least bid is among them: that is why.
    """
    step = sums.sheet.increment
    going = 1.1 * (sums.sheet.expected_price or 0.0)
    top = max(1.5 * (limit or 0.0), 0.6 * sums.left.mean, 10.0 * step, going)
    even = [step * max(1, round(top * n / _POINTS / step)) for n in range(1, _POINTS + 1)]
    starts = [b.from_price for f in sums.sheet.fees for b in f.bands if 0 < b.from_price <= top]
    edges = [step * math.ceil(s / step) for s in starts]
    found = {*even, *edges, *(e - step for e in edges if e > step), limit or step}
    return sorted(found)


def _list_lines(sums: _Sums, worlds: Sequence[World]) -> tuple[BidLine, ...]:
    """Return the expected resale and what comes off it, line by line."""
    sheet, total = sums.sheet, sum(w.weight for w in worlds)
    paid = {LABOUR: 0.0, "parts": 0.0}
    for world in worlds:
        for p in world.payments:
            key = LABOUR if p.what == LABOUR else "parts"
            paid[key] += world.weight / total * p.mean / sums.unit
    rows = {
        "resale": sheet.resale.mean,
        "brand of the title": -sheet.resale.mean * sheet.brand_discount.mean,
        "winning is news": -sums.winning,
        "parts": -paid["parts"],
        "labour": -paid[LABOUR],
    }
    rows |= {t: -s.cost.mean for t, s in sheet.shares.items() if s.cost is not None}
    rows |= {GATE_PRICE + k: -g.price.mean for k, g in sheet.gates.items() if g.price is not None}
    own = ("transport", "inspection", "title", "selling", "reserve")
    rows |= {word: -getattr(sheet, word).mean for word in own}
    rows["days"] = -sheet.days.mean * sheet.day
    return tuple(BidLine(what=k, mean=sums.money(v)) for k, v in rows.items() if v)


def fee_at(fee: Fee, price: float) -> float:
    """Return a fee at a price: that of the last band that begins at or below it."""
    band = fee.bands[bisect_right(fee.bands, price, key=lambda b: b.from_price) - 1]
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


def believe_left(
    sheet: BidSheet,
    sizes: Sequence[tuple[float, CostBelief]],
    winning: float,
    together: Mapping[str, float],
) -> Left:
    """Return what is left of the resale after every cost but bid, fees and tax.

    A hard crash makes the restraint share and the other trades dear together: within a size of
    crash a trade's cost lies, so far as it goes with the size, in that size's part of its range; so
    does what the brand takes off. The resale with a clean title is independent of the crash. An
    estimate that won is too high: the resale is moved down by that.

    Args:
        sheet: What the user knows.
        sizes: Sizes of crash, the mildest first: chance, and the restraint share in it.
        winning: What winning takes off, in whole units.
        together: How far each trade goes with the size, where the sheet does not say. [0..1]
    """
    unit = 10.0 ** minor_digits(sizes[0][1].currency)
    trades, costs = _trades(sheet, together), _other_costs(sheet)
    top = sum(c.high for c in (*costs, *(c for c, _ in trades)))
    top += max(len(c.chances) * c.step for _, c in sizes) / unit
    step = nice_step(top * unit / (_GRID / 2)) / unit
    alike = np.ones(_GRID // 2 + 1, dtype=np.complex128)
    for c in costs:
        alike = alike * np.fft.rfft(triangle_on_grid(c.low, c.likely, c.high, step, _GRID))
    amounts, joint = [], []
    goes = _brand_goes(sheet, together)
    for (weight, cost), band in zip(sizes, _bands([w for w, _ in sizes]), strict=True):
        mine = alike * np.fft.rfft(_on_grid(cost, unit, step))
        for c, share in trades:
            mine = mine * np.fft.rfft(_moved_with(c, share, band, step))
        chances = np.maximum(np.fft.irfft(mine, n=_GRID), 0.0)
        kept = np.nonzero(chances > _DUST)[0]
        resale, weights = _resale(sheet, winning, goes, band)
        amounts.append((resale[:, None] - (kept * step)[None, :]).ravel())
        joint.append((weight * weights[:, None] * (chances[kept] / chances[kept].sum())).ravel())
    left, shares = np.concatenate(amounts), np.concatenate(joint)
    left = np.maximum(left, sheet.part_out) if sheet.part_out > 0.0 else left
    return Left(left, shares / shares.sum())


def _brand_goes(sheet: BidSheet, together: Mapping[str, float]) -> float:
    """Return how far the discount of the brand goes with the size of the crash."""
    told = sheet.brand_together
    return together.get(_BRAND, 0.0) if told is None else told


def _trades(sheet: BidSheet, together: Mapping[str, float]) -> list[tuple[Figures, float]]:
    """Return what each trade costs, and how far that goes with the size of the crash."""
    return [
        (s.cost, together.get(trade, 0.0) if s.together is None else s.together)
        for trade, s in sheet.shares.items()
        if s.cost is not None and s.cost != NOTHING
    ]


def _bands(weights: Sequence[float]) -> list[tuple[float, float]]:
    """Return the part of every range that belongs to each size, the mildest first."""
    ends = np.concatenate([[0.0], np.cumsum(weights) / sum(weights)])
    return [(float(a), float(b)) for a, b in itertools.pairwise(ends)]


def _moved_with(c: Figures, share: float, band: tuple[float, float], step: float) -> Array:
    """Return the chances of a cost on the grid: in its band by so much, anywhere by the rest."""
    free = triangle_on_grid(c.low, c.likely, c.high, step, _GRID)
    if share <= 0.0:
        return free
    cuts = _cuts(c, band)
    held = put_on_grid(cuts, np.full(cuts.size, 1.0 / cuts.size), step, _GRID)
    return share * held + (1.0 - share) * free


def _band_mean(c: Figures, band: tuple[float, float]) -> float:
    return float(_cuts(c, band).mean())


def _other_costs(sheet: BidSheet) -> list[Figures]:
    asked = [g.price for g in sheet.gates.values() if g.price is not None]
    own = [sheet.transport, sheet.inspection, sheet.title, sheet.selling, sheet.reserve]
    found = [*asked, *own, sheet.days.times(sheet.day)]
    return [c for c in found if c != NOTHING]


def _on_grid(cost: CostBelief, unit: float, step: float) -> Array:
    """Return a cost belief on another grid from 0."""
    places = (cost.start + np.arange(len(cost.chances)) * cost.step) / unit
    return put_on_grid(places, np.array(cost.chances), step, _GRID)


def put_on_grid(amounts: Array, chances: Array, step: float, size: int) -> Array:
    """Return amounts on a grid from 0, their mean kept exactly."""
    places = amounts / step
    low = np.floor(places).astype(int)
    share = places - low
    grid = np.zeros(size)
    np.add.at(grid, low, chances * (1.0 - share))
    np.add.at(grid, np.minimum(low + 1, size - 1), chances * share)
    return grid


def _resale_mean(sheet: BidSheet) -> float:
    return sheet.resale.mean * (1.0 - sheet.brand_discount.mean)


def _resale(
    sheet: BidSheet, winning: float, goes: float, band: tuple[float, float]
) -> tuple[Array, Array]:
    """Return resale values in a size of crash with their chances, each the mean of like ones.

    The discount of the brand lies in the band of the size by so much, anywhere by the rest.
    """
    price = _cuts(sheet.resale)
    held, free = _cuts(sheet.brand_discount, band), _cuts(sheet.brand_discount)
    kept = 1.0 - np.concatenate([held, free])
    chances = np.concatenate(
        [np.full(held.size, goes / held.size), np.full(free.size, (1.0 - goes) / free.size)]
    )
    values = (price[:, None] * kept[None, :]).ravel() - winning
    weights = np.broadcast_to(chances / price.size, (price.size, chances.size)).ravel()
    order = np.argsort(values)
    pieces = np.array_split(order[weights[order] > 0.0], _RESALES)
    sums = [(float(weights[p].sum()), float(weights[p] @ values[p])) for p in pieces if p.size]
    return np.array([v / w for w, v in sums]), np.array([w for w, _ in sums])


def _cuts(figures: Figures, band: tuple[float, float] = (0.0, 1.0)) -> Array:
    """Return the quantiles of a triangle at the middles of equal shares of a band of chances."""
    a, c, b = figures.low, figures.likely, figures.high
    if b <= a:
        return np.array([a])
    p = band[0] + (band[1] - band[0]) * (np.arange(_CUTS) + 0.5) / _CUTS
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
    sums: _Sums, worlds: Sequence[World], looks: Sequence[Evidence]
) -> tuple[LookWorth, ...]:
    """Return what each look is worth to one who may buy at the going price or leave it.

    Where the user names no price, it is the one at which both are alike on average: there
    knowing is worth most.
    """
    prior = np.array([w.weight for w in worlds])
    prior = prior / prior.sum()
    costs = np.array(
        [sum(p.mean for p in w.payments) / sums.unit + sums.trades[w.size] for w in worlds]
    )
    going = sums.sheet.expected_price
    paid = sums.left.mean if going is None else outlay(sums.sheet, going)
    buying = sums.left.mean - paid - (costs - prior @ costs)
    pay = np.stack([buying, np.zeros(len(worlds))])
    found = [
        LookWorth(
            what=look.what,
            minutes=look.minutes,
            how=look.how,
            in_yard="." in look.what,
            worth=sums.money(value_of_knowing(pay, prior, _shown(look))),
        )
        for look in looks
    ]
    return tuple(sorted(found, key=lambda f: (-f.worth.minor, f.what)))


def _shown(look: Evidence) -> Array | None:
    return None if look.shown is None else np.array(look.shown)
