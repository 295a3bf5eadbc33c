"""What winning tells, and what knowing something before a decision is worth."""

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
_POINTS, _REACH = 4001, 9.0


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
    x = np.linspace(-_REACH, _REACH, _POINTS)
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
