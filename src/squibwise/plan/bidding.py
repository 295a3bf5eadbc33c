"""The most to bid: first whether at all, then the largest bid whose risk of a loss is accepted."""

import math
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.history.prices import LABOUR
from squibwise.model.bid import (
    COMEBACKS,
    GATE_PRICE,
    NO_LESSONS,
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
    Lessons,
    LookWorth,
)
from squibwise.model.cost import Money, minor_digits
from squibwise.plan.cost_belief import Evidence, World, believe_cost, rank_drivers
from squibwise.plan.left_over import (
    Left,
    believe_left,
    brand_goes,
    list_trades,
    mean_in_band,
    net_of_parts,
    resale_mean,
    split_bands,
    split_sizes,
)
from squibwise.plan.settling import correct_restraint, expect_comebacks

Array = npt.NDArray[np.float64]
FEES, PARTED = "fees", "part-out"
_RIVALS_GRID, _RIVALS_REACH = 4001, 9.0  # points, and standard deviations to either side
_POINTS = 12  # even ones of the bids that are told


def limit_bid(
    sheet: BidSheet,
    worlds: Sequence[World],
    currency: str,
    catalog: Catalog,
    looks: Sequence[Evidence] = (),
    lessons: Lessons = NO_LESSONS,
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
        lessons: What settled cars teach.
        unpriced: What of the restraint share is in no sum, in words.
    """
    sheet, worlds = _corrected(sheet, worlds, lessons.factors)
    gates = tuple(
        Gate(id=q.id, text=q.text, go=_standing(a), answer=a)
        for q in catalog.bidding.question
        for a in [sheet.gates.get(q.id, GateAnswer())]
    )
    is_sold = max(sheet.resale.high, sheet.part_out) > 0.0
    unstated = _list_unstated(sheet, catalog, is_sold=is_sold)
    verdict = _early_verdict(gates, (*unstated, *unpriced))
    cost = believe_cost(worlds, currency)
    answer = BidLimit(
        verdict=verdict,
        gates=gates,
        unstated=unstated,
        unpriced=tuple(unpriced),
        left_out=tuple(w for w in sheet.left_out if w != FEES),
        cost=cost,
        drivers=rank_drivers(worlds, currency),
        corrected=dict(lessons.factors),
        came_back=lessons.came_back,
    )
    if not is_sold or any(g.go == "no-go" for g in gates):
        return answer
    together = {t.trade: t.share for t in catalog.bidding.together}
    rare = expect_comebacks(sheet.comebacks, lessons.came_back, catalog)
    sums = _sum_up(sheet, worlds, currency, together, rare)
    answer = msgspec.structs.replace(
        answer,
        worths=_worths(sums, worlds, looks),
        lines=sums.lines,
        is_hopeless=largest_bid(sheet, sums.left) is None,
        target=sums.money(sheet.target) if sheet.target else None,
        parted=sums.left.parted,
        part_out=sums.money(net_of_parts(sheet)) if sheet.part_out else None,
    )
    return answer if answer.verdict != "do-not-bid" else _limited(answer, sums)


def _list_unstated(sheet: BidSheet, catalog: Catalog, *, is_sold: bool) -> tuple[str, ...]:
    """Return what there is no limit without: the resale, each trade, the fees of the venue."""
    trades = (t for t in catalog.bidding.trades if t not in sheet.shares)
    fees = (w for w in sheet.left_out if w == FEES)
    return (*(() if is_sold else ("resale",)), *trades, *fees)


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
    parts, labour = correct_restraint(factors)
    moved = [
        msgspec.structs.replace(
            w,
            payments=tuple(p.times(labour if p.what == LABOUR else parts) for p in w.payments),
        )
        for w in worlds
    ]
    return correct_sheet(sheet, factors), moved


def correct_sheet(sheet: BidSheet, factors: Mapping[str, float]) -> BidSheet:
    """Return a sheet with what the user's settled cars taught of its lines."""
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
    )


class _Sums(msgspec.Struct, frozen=True):
    """What the bid is decided on.

    Attributes:
        winning: Taken off because winning is news, in whole units.
        left: Of the resale after every cost but the bid.
        rare: What may come back after the sale, each cost with its chance.
        trades: Expected cost of the trades in each size of crash, and what it does to the discount
            of the brand, in whole units.
        lines: The expected resale and what comes off it: their sum is what is left on average.
    """

    sheet: BidSheet
    currency: str
    winning: float
    left: Left
    rare: Sequence[tuple[float, Figures]]
    trades: dict[int, float]
    lines: tuple[BidLine, ...]

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
        left, spent = self.money(self.left.mean), self.money(paid)
        return BidPoint(
            bid=self.money(bid),
            outlay=spent,
            chance_of_loss=self.left.chance_below(paid + self.sheet.target),
            expected_profit=Money(minor=left.minor - spent.minor, currency=self.currency),
        )


def _sum_up(
    sheet: BidSheet,
    worlds: Sequence[World],
    currency: str,
    together: Mapping[str, float],
    rare: Sequence[tuple[float, Figures]],
) -> _Sums:
    winning = winning_excess(sheet.bidders) * sheet.estimate_error * resale_mean(sheet)
    sizes = split_sizes(worlds, currency)
    lines = _list_lines(sheet, worlds, currency, winning, rare)
    mean = sum(x.mean.minor for x in lines) / 10.0 ** minor_digits(currency)
    left = believe_left(sheet, sizes, winning, together, rare, mean)
    lines = (*lines, *_list_parted(left, mean, currency))
    bands = split_bands([weight for weight, _ in sizes])
    brand, goes = sheet.brand_discount, brand_goes(sheet, together)
    trades = {
        size: sum(
            c.mean + t * (mean_in_band(c, band) - c.mean) for c, t in list_trades(sheet, together)
        )
        + sheet.resale.mean * goes * (mean_in_band(brand, band) - brand.mean)
        for size, band in zip(sorted({w.size for w in worlds}), bands, strict=True)
    }
    return _Sums(sheet, currency, winning, left, rare, trades, lines)


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


def _list_lines(
    sheet: BidSheet,
    worlds: Sequence[World],
    currency: str,
    winning: float,
    rare: Sequence[tuple[float, Figures]],
) -> tuple[BidLine, ...]:
    """Return the expected resale and what comes off it, line by line."""
    total, unit = sum(w.weight for w in worlds), 10.0 ** minor_digits(currency)
    paid = {LABOUR: 0.0, "parts": 0.0}
    for world in worlds:
        for p in world.payments:
            key = LABOUR if p.what == LABOUR else "parts"
            paid[key] += world.weight / total * p.mean / unit
    rows = {
        "resale": sheet.resale.mean,
        "brand of the title": -sheet.resale.mean * sheet.brand_discount.mean,
        "winning is news": -winning,
        "parts": -paid["parts"],
        "labour": -paid[LABOUR],
    }
    rows |= {t: -s.cost.mean for t, s in sheet.shares.items() if s.cost is not None}
    rows |= {GATE_PRICE + k: -g.price.mean for k, g in sheet.gates.items() if g.price is not None}
    own = ("transport", "inspection", "title", "selling", "reserve")
    rows |= {word: -getattr(sheet, word).mean for word in own}
    rows["days"] = -sheet.days.mean * sheet.day
    rows[COMEBACKS] = -sum(chance * cost.mean for chance, cost in rare)
    told = ((k, Money(minor=round(v * unit), currency=currency)) for k, v in rows.items())
    return tuple(BidLine(what=k, mean=m) for k, m in told if m.minor)


def _list_parted(left: Left, mean: float, currency: str) -> list[BidLine]:
    """Return what is gained where the car brings more in parts than repaired."""
    gained = round((left.mean - mean) * 10.0 ** minor_digits(currency))
    more = Money(minor=gained, currency=currency)
    return [BidLine(what=PARTED, mean=more)] if left.parted and gained else []


def fee_at(fee: Fee, price: float) -> float:
    """Return a fee at a price: that of the last band that begins at or below it."""
    band = fee.bands[bisect_right(fee.bands, price, key=lambda b: b.from_price) - 1]
    return band.flat + band.share * price


def outlay(sheet: BidSheet, bid: float) -> float:
    """Return what a bid costs in the end: bid, fees, tax."""
    fees = sum(fee_at(f, bid) for f in sheet.fees)
    return bid + fees + sheet.tax * (bid + (fees if sheet.tax_on_fees else 0.0))


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


def winning_excess(bidders: int, error: str = "normal") -> float:
    """Return by how much the highest of equally good estimates is expected to be too high.

    Source: methods of auctions with a common value (Wilson 1977, Kagel and Levin 1986, from
    memory): the expected maximum of independent errors. We take every rival's estimate as good as
    the user's; rivals who looked closer make it worse.

    Args:
        bidders: Estimates, the user's among them.
        error: ``normal``: in standard deviations; ``uniform``: in half widths.
    """
    if error == "uniform":
        return (bidders - 1) / (bidders + 1)
    x = np.linspace(-_RIVALS_REACH, _RIVALS_REACH, _RIVALS_GRID)
    density = np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
    below = np.array([0.5 * math.erfc(-v / math.sqrt(2.0)) for v in x])
    return float(np.trapezoid(x * bidders * density * below ** (bidders - 1), x))


def expected_profit(
    bid: float, worth: Array, weights: Array, wins: Callable[[float, Array], Array]
) -> float:
    """Return the expected profit of a bid on a thing whose worth decides whether the bid wins.

    Args:
        bid: The bid.
        worth: What the thing is worth to the bidder, by case.
        weights: Chance of each case; they sum to one.
        wins: Chance that the bid wins, by case.
    """
    return float((weights * wins(bid, worth) * (worth - bid)).sum())


def value_of_knowing(pay: Array, prior: Array, likelihood: Array | None = None) -> float:
    """Return what an observation is worth before a decision, its own cost not taken off.

    Source: Raiffa and Schlaifer 1961 (from memory): the expected value of sample information, of
    perfect information when ``likelihood`` is None.

    Args:
        pay: What each decision brings in each state: (decisions, states).
        prior: Chance of each state.
        likelihood: Chance of each result in each state: (results, states).
    """
    known = np.eye(len(prior)) if likelihood is None else likelihood
    joint = known * prior
    after = (joint @ pay.T).max(axis=1).sum()
    return float(after - (pay @ prior).max())
