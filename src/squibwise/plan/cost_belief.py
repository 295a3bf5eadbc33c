"""What a job may come to: payments summed within each world, then the worlds mixed.

A world is what is common to all parts of one crash: what happened, and how the maker's rules are
written. Within a world payments are independent; across worlds they are not, because a hard crash
needs many parts at once. The sum within a world is a product of characteristic functions on the
money grid, so that the mixture is one inverse transform, exact but for the grid.
"""

from collections.abc import Iterable, Mapping, Sequence

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.errors import ModelError
from squibwise.history.prices import LABOUR
from squibwise.model.belief import Assessment
from squibwise.model.cost import Cost, CostBelief, CostLine, Driver, Money
from squibwise.model.origin import Finding

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
_POINTS = 2048
_SHOWN = 6
_SUMS = ("followed", "certain", "strictest")
_NICE = (1, 2, 5)
_DUST = 1e-12


class Payment(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that may have to be paid, triangular between least and most.

    Attributes:
        chance: That it has to be paid.
        low: Least. [minor units]
        likely: Most likely. [minor units]
        high: Most. [minor units]
    """

    what: str
    chance: float
    low: int
    likely: int
    high: int

    def __post_init__(self) -> None:
        if not (0.0 <= self.chance <= 1.0 and 0 <= self.low <= self.likely <= self.high):
            raise ModelError(f"payment {self.what}: chance or amounts out of order")

    def times(self, factor: float) -> "Payment":
        """Return it with its amounts multiplied."""
        low, likely, high = (round(x * factor) for x in (self.low, self.likely, self.high))
        return msgspec.structs.replace(self, low=low, likely=likely, high=high)

    @property
    def mean(self) -> float:
        """Expected amount, whether or not it has to be paid, in minor units."""
        return self.chance * (self.low + self.likely + self.high) / 3.0

    @property
    def variance(self) -> float:
        """Variance of the amount, whether or not it has to be paid."""
        a, c, b = self.low, self.likely, self.high
        paid = (a + b + c) / 3.0
        inner = (a * a + b * b + c * c - a * b - a * c - b * c) / 18.0
        return self.chance * (inner + paid * paid) - (self.chance * paid) ** 2


class World(msgspec.Struct, frozen=True, kw_only=True):
    """One way the crash and the rules may be, and what is paid in it.

    Attributes:
        size: Place of its crash among the sizes, the mildest first.
    """

    weight: float
    size: int = 0
    payments: tuple[Payment, ...]


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


def believe_cost(worlds: Sequence[World], currency: str, points: int = _POINTS) -> CostBelief:
    """Return what the sum of the payments may come to over all worlds.

    Each amount is put on the grid so that its mean stays exact.

    Args:
        worlds: Weights need not sum to one.
        currency: Of every amount.
        points: Least number of points of the grid.

    Raises:
        ModelError: There is no world with a weight above zero.
    """
    total = sum(w.weight for w in worlds)
    if not total > 0.0:
        raise ModelError("a cost needs at least one world with a weight above zero")
    top = max(sum(p.high for p in w.payments) for w in worlds)
    step = nice_step(top / points)
    size = 1 << (int(top / step) + 3).bit_length()
    cache: dict[tuple[int, int, int], Complex] = {}
    mixed = np.zeros(size // 2 + 1, dtype=np.complex128)
    for world in worlds:
        mixed += world.weight / total * _world_transform(world, step, size, cache)
    chances = np.maximum(np.fft.irfft(mixed, n=size), 0.0)
    chances[chances < _DUST] = 0.0
    last = int(np.nonzero(chances)[0][-1]) + 1
    kept = chances[:last] / chances[:last].sum()
    mean = sum(w.weight / total * sum(p.mean for p in w.payments) for w in worlds)
    return CostBelief(
        currency=currency, start=0, step=step, chances=tuple(map(float, kept)), mean=mean
    )


def rank_drivers(worlds: Sequence[World], currency: str) -> tuple[Driver, ...]:
    """Return what drives the spread of the sum, the largest share first.

    The share of a payment is its covariance with the sum over the variance of the sum: its own
    variance within the worlds, and how it moves with the rest between them.
    """
    total = sum(w.weight for w in worlds)
    names = list(dict.fromkeys(p.what for w in worlds for p in w.payments))
    place = {n: i for i, n in enumerate(names)}
    weights = np.array([w.weight / total for w in worlds])
    means, within = np.zeros((len(worlds), len(names))), np.zeros((len(worlds), len(names)))
    for row, world in enumerate(worlds):
        for p in world.payments:
            means[row, place[p.what]] += p.mean
            within[row, place[p.what]] += p.variance
    middle = weights @ means
    sums = means.sum(axis=1)
    between = (weights * (sums - weights @ sums)) @ (means - middle)
    shares = between + weights @ within
    whole = float(shares.sum())
    shares = shares / whole if whole > 0.0 else np.zeros(len(names))
    found = [
        Driver(
            what=n,
            share=float(shares[i]),
            mean=Money(minor=round(float(middle[i])), currency=currency),
        )
        for n, i in place.items()
    ]
    return tuple(sorted(found, key=lambda d: (-d.share, d.what)))


def _world_transform(
    world: World, step: int, size: int, cache: dict[tuple[int, int, int], Complex]
) -> Complex:
    product = np.ones(size // 2 + 1, dtype=np.complex128)
    for p in world.payments:
        key = (p.low, p.likely, p.high)
        if key not in cache:
            cache[key] = np.fft.rfft(triangle_on_grid(*key, step, size))
        product *= 1.0 + p.chance * (cache[key] - 1.0)
    return product


def triangle_on_grid(low: float, likely: float, high: float, step: float, size: int) -> Array:
    """Return the chances of a triangular amount on a grid from 0, its mean kept exactly.

    A value between two points counts for both by its nearness: the second difference of the
    distribution's twofold integral.
    """
    points = np.arange(-1, size + 1, dtype=np.float64) * float(step)
    twofold = _integral(points, low, likely, high)
    chances = (twofold[2:] - 2.0 * twofold[1:-1] + twofold[:-2]) / step
    return np.asarray(np.maximum(chances, 0.0))


def _integral(x: Array, low: float, likely: float, high: float) -> Array:
    """Return the integral of the distribution function of a triangular amount up to ``x``."""
    width = high - low
    if width <= 0.0:
        return np.maximum(x - low, 0.0)
    mean = (low + likely + high) / 3.0
    rising = np.zeros_like(x)
    if likely > low:
        rising = np.maximum(x - low, 0.0) ** 3 / (3.0 * width * (likely - low))
    falling = x - mean
    if high > likely:
        falling = x - mean + np.maximum(high - x, 0.0) ** 3 / (3.0 * width * (high - likely))
    return np.where(x <= likely, rising, falling)


def nice_step(least: float) -> int:
    """Return the least of 1, 2, 5, 10, 20 ... that is not below a number."""
    scale = 1
    while True:
        for factor in _NICE:
            if factor * scale >= least:
                return factor * scale
        scale *= 10


def list_worlds(weighted: Sequence[tuple[float, Sequence[Cost]]]) -> tuple[World, ...]:
    """Return one world for each size of crash and each kind of rules.

    Where the maker's rules are not known, each kind counts alike; where they are, only theirs.

    Args:
        weighted: Chance of a size of crash, and what the job costs then, by kind of rules.
    """
    return tuple(
        World(weight=weight / len(found), size=size, payments=_payments(cost.lines))
        for size, (weight, costs) in enumerate(weighted)
        for found in [_under_rules(costs)]
        for cost in found
    )


def _under_rules(costs: Sequence[Cost]) -> list[Cost]:
    found = [c for c in costs if c.name not in _SUMS and c.profile != "unknown"]
    return found or list(costs[:1])


def _payments(lines: Sequence[CostLine]) -> tuple[Payment, ...]:
    return tuple(
        Payment(
            what=line.what,
            chance=line.probability,
            low=line.low.minor,
            likely=line.likely.minor,
            high=line.high.minor,
        )
        for line in lines
        if line.low is not None and line.likely is not None and line.high is not None
    )


def list_unpriced(weighted: Sequence[tuple[float, Sequence[Cost]]]) -> tuple[str, ...]:
    """Return what is in no sum because it has no price: names of parts and services, the hour."""
    costs = [c for _, found in weighted for c in _under_rules(found)]
    return tuple(dict.fromkeys(word for c in costs for word in c.unpriced))


def doubt_prices(weighted: Sequence[tuple[float, Sequence[Cost]]]) -> Iterable[Finding]:
    """Yield what is in no sum because nobody stated its price: a limit without it is too high."""
    costs = [c for _, found in weighted for c in _under_rules(found)]
    unpriced = list_unpriced(weighted)
    if LABOUR in unpriced:
        hours = [c.minutes / 60.0 for c in costs]
        yield Finding(
            code="bid-work-free",
            severity="warning",
            message=f"{min(hours):.0f} to {max(hours):.0f} hours of work on the restraint system "
            "count as nothing: no hour of work has a price.",
            remedy="Write a [[price]] of 'labour-hour' into the case; 0 if your own work is free.",
        )
    others = [word for word in unpriced if word != LABOUR]
    if others:
        more = f" and {len(others) - _SHOWN} more" if len(others) > _SHOWN else ""
        yield Finding(
            code="bid-unpriced",
            severity="warning",
            message=f"No price is known of: {'; '.join(others[:_SHOWN])}{more}. They are in no sum "
            "of this bid.",
            remedy="Write a [[price]] of each into the case; `squibwise cost CASE` names them all. "
            "The catalogue knows the level of prices of some currencies only.",
        )


def list_evidence(
    weighted: Sequence[tuple[float, Sequence[Cost]]],
    states: Sequence[Assessment],
    minutes: Mapping[str, tuple[float, str]],
    misleads: float,
    scan: float,
) -> tuple[Evidence, ...]:
    """Return what could be known before a bid: a scan, the maker's rules, a look at each charge.

    Args:
        weighted: As for ``list_worlds``.
        states: What is believed in each size of crash, in the same order.
        minutes: What a look takes, and how it is made, by component id. [min]
        misleads: How often a look at a charge misleads. [0..1]
        scan: What a scan before buying takes. [min]
    """
    sizes = [i for i, (_, costs) in enumerate(weighted) for _ in _under_rules(costs)]
    rules = [c.profile for _, costs in weighted for c in _under_rules(costs)]
    found = [Evidence(what="a scan before buying", minutes=scan, shown=_told(sizes))]
    if len(set(rules)) > 1:
        found.append(Evidence(what="the maker's rules for this car", shown=_told(rules)))
    for place, belief in enumerate(states[0].components if states else ()):
        chances = [s.components[place].now.fired for s in states]
        if belief.id in minutes and max(chances) - min(chances) > misleads:
            seen = [chances[i] * (1.0 - misleads) + (1.0 - chances[i]) * misleads for i in sizes]
            shown = (tuple(seen), tuple(1.0 - p for p in seen))
            takes, how = minutes[belief.id]
            found.append(Evidence(what=belief.id, minutes=takes, how=how, shown=shown))
    return tuple(found)


def _told(words: Sequence[object]) -> tuple[tuple[float, ...], ...]:
    """Return the answers of something that tells a word for sure, by world."""
    return tuple(tuple(float(w == word) for w in words) for word in dict.fromkeys(words))
