"""What is left of a car's resale after every cost but bid, fees and tax, as chances of amounts."""

import itertools
from collections.abc import Mapping, Sequence

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.model.bid import NOTHING, BidSheet, Figures
from squibwise.model.cost import CostBelief, minor_digits
from squibwise.plan.cost_belief import World, believe_cost, nice_step, triangle_on_grid

Array = npt.NDArray[np.float64]
_GRID = 4096
_CUTS, _DUST = 48, 1e-9
_RESALES = 256  # values that the resale is told by, in each size of crash
_BRAND = "brand"


def split_sizes(worlds: Sequence[World], currency: str) -> list[tuple[float, CostBelief]]:
    """Return each size of crash with its chance and what the restraint share comes to in it."""
    found = []
    for size in sorted({w.size for w in worlds}):
        mine = [w for w in worlds if w.size == size]
        found.append((sum(w.weight for w in mine), believe_cost(mine, currency)))
    return found


class Left(msgspec.Struct, frozen=True):
    """What is left of the resale after every cost but the bid: amounts and their chances.

    Attributes:
        parted: Chance that the car brings more in parts than repaired.
    """

    amounts: Array
    chances: Array
    parted: float

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
    rare: Sequence[tuple[float, Figures]] = (),
    mean: float | None = None,
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
        rare: Costs of which at most one comes, each with its chance.
        mean: What is left on average where no part-out is set, summed up line by line: the grid
            keeps it to some cents only, and moves by those; None = as the grid has it.
    """
    unit = 10.0 ** minor_digits(sizes[0][1].currency)
    trades, costs = list_trades(sheet, together), list_sale_costs(sheet)
    top = sum(c.high for c in (*costs, *(c for c, _ in trades)))
    top += max((c.high for _, c in rare), default=0.0)
    top += max(len(c.chances) * c.step for _, c in sizes) / unit
    step = nice_step(top * unit / (_GRID / 2)) / unit
    alike = np.fft.rfft(_rarely(rare, step))
    for c in costs:
        alike = alike * np.fft.rfft(triangle_on_grid(c.low, c.likely, c.high, step, _GRID))
    amounts, joint = [], []
    goes = brand_goes(sheet, together)
    for (weight, cost), band in zip(sizes, split_bands([w for w, _ in sizes]), strict=True):
        mine = alike * np.fft.rfft(_on_grid(cost, unit, step))
        for c, share in trades:
            mine = mine * np.fft.rfft(_moved_with(c, share, band, step))
        chances = np.maximum(np.fft.irfft(mine, n=_GRID), 0.0)
        kept = np.nonzero(chances > _DUST)[0]
        resale, weights = _resale(sheet, winning, goes, band)
        amounts.append((resale[:, None] - (kept * step)[None, :]).ravel())
        joint.append((weight * weights[:, None] * (chances[kept] / chances[kept].sum())).ravel())
    left, shares = np.concatenate(amounts), np.concatenate(joint)
    shares = shares / shares.sum()
    left = left if mean is None else left + (mean - float(left @ shares))
    if sheet.part_out <= 0.0:
        return Left(left, shares, 0.0)
    floor = net_of_parts(sheet)
    return Left(np.maximum(left, floor), shares, float(shares[left < floor].sum()))


def net_of_parts(sheet: BidSheet) -> float:
    """Return what the car brings in parts once it is fetched: transport, title, days come off."""
    fetched = sheet.transport.mean + sheet.title.mean + sheet.days.mean * sheet.day
    return sheet.part_out - fetched


def brand_goes(sheet: BidSheet, together: Mapping[str, float]) -> float:
    """Return how far the discount of the brand goes with the size of the crash."""
    told = sheet.brand_together
    return together.get(_BRAND, 0.0) if told is None else told


def list_trades(sheet: BidSheet, together: Mapping[str, float]) -> list[tuple[Figures, float]]:
    """Return what each trade costs, and how far that goes with the size of the crash."""
    return [
        (s.cost, together.get(trade, 0.0) if s.together is None else s.together)
        for trade, s in sheet.shares.items()
        if s.cost is not None and s.cost != NOTHING
    ]


def split_bands(weights: Sequence[float]) -> list[tuple[float, float]]:
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


def mean_in_band(c: Figures, band: tuple[float, float]) -> float:
    """Return the mean of a triangle within a part of its chances."""
    return float(_cuts(c, band).mean())


def list_sale_costs(sheet: BidSheet) -> list[Figures]:
    """Return what the sale and the time until it takes, trades and fees aside."""
    asked = [g.price for g in sheet.gates.values() if g.price is not None]
    own = [sheet.transport, sheet.inspection, sheet.title, sheet.selling, sheet.reserve]
    found = [*asked, *own, sheet.days.times(sheet.day)]
    return [c for c in found if c != NOTHING]


def _rarely(rare: Sequence[tuple[float, Figures]], step: float) -> Array:
    """Return the chances on the grid of costs of which at most one comes."""
    found = np.zeros(_GRID)
    found[0] = 1.0 - sum(chance for chance, _ in rare)
    for chance, c in rare:
        found += chance * triangle_on_grid(c.low, c.likely, c.high, step, _GRID)
    return found


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


def resale_mean(sheet: BidSheet) -> float:
    """Return the expected resale under the brand of the title."""
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
