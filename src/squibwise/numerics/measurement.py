"""Readings with an uncertainty: a decision against limits, and a straight line through them."""

import math
from statistics import NormalDist
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from squibwise.errors import ModelError

Array = NDArray[np.float64]
Decision = Literal["met", "not met", "undecided"]

_NORMAL = NormalDist()


def conformance(
    value: float, u: float, low: float | None = None, high: float | None = None
) -> float:
    """Return the probability that the true value lies within its limits.

    A normal distribution around the reading and no prior knowledge; a limit of None is absent.

    Source: jcgm-106, 7.3.3 and 7.4.
    """
    if u == 0.0:
        return float((low is None or value >= low) and (high is None or value <= high))
    below = 0.0 if low is None else _NORMAL.cdf((low - value) / u)
    above = 0.0 if high is None else _NORMAL.cdf((value - high) / u)
    return min(1.0, max(0.0, 1.0 - below - above))


def decide(
    value: float,
    u: float,
    low: float | None = None,
    high: float | None = None,
    risk: float = 0.05,
) -> tuple[Decision, float]:
    """Return the decision on a reading, and the probability that the limits are met.

    Guarded on both sides: ``met`` only when the chance of being outside is at most ``risk``,
    ``not met`` only when the chance of being inside is; otherwise ``undecided``, never a pass.
    The guard band is applied once, to the probability; limits are exact.

    Source: jcgm-106, 8.3.2 (guarded acceptance) and 8.3.3 (guarded rejection).
    """
    p_met = conformance(value, u, low, high)
    if p_met >= 1.0 - risk:
        return "met", p_met
    return ("not met" if p_met <= risk else "undecided"), p_met


class FittedLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``y = offset + slope * x`` with its covariance.

    Attributes:
        offset: Value at x = 0, in the unit of y.
        slope: Unit of y per unit of x.
        u_offset: Standard uncertainty of the offset.
        u_slope: Standard uncertainty of the slope.
        covariance: Covariance of offset and slope.
        misfit: Sum of squared weighted residuals; compare with ``degrees``.
        degrees: Readings minus two.
    """

    offset: float
    slope: float
    u_offset: float
    u_slope: float
    covariance: float
    misfit: float
    degrees: int

    @property
    def fits(self) -> bool:
        """Is the misfit within what the stated uncertainties allow (about 95 %)."""
        return self.degrees == 0 or self.misfit <= _chi_square_95(self.degrees)


def _chi_square_95(degrees: int) -> float:
    # Wilson-Hilferty approximation of the 95 % point; within 1 % from 3 degrees on.
    third = 2.0 / (9.0 * degrees)
    return float(degrees * (1.0 - third + 1.6448536269514722 * math.sqrt(third)) ** 3)


def fit_line(x: Array, y: Array, u: Array) -> FittedLine:
    """Return the weighted least-squares line; x is taken as exact.

    Args:
        x: Applied values, at least two different ones.
        y: Readings.
        u: Standard uncertainty of each reading, above 0.

    Raises:
        ModelError: Fewer than two different x, or an uncertainty not above 0.

    Source: iso-28037, clause 6 (known and possibly unequal weights).
    """
    if np.unique(x).size < 2 or not bool(np.all(u > 0.0)):
        raise ModelError("a line needs two different loads and uncertainties above 0")
    weight = 1.0 / u**2
    total = weight.sum()
    x_mean, y_mean = float((weight * x).sum() / total), float((weight * y).sum() / total)
    spread = float((weight * (x - x_mean) ** 2).sum())
    slope = float((weight * (x - x_mean) * (y - y_mean)).sum() / spread)
    offset = y_mean - slope * x_mean
    return FittedLine(
        offset=offset,
        slope=slope,
        u_offset=math.sqrt(1.0 / total + x_mean**2 / spread),
        u_slope=math.sqrt(1.0 / spread),
        covariance=-x_mean / spread,
        misfit=float((weight * (y - offset - slope * x) ** 2).sum()),
        degrees=x.size - 2,
    )


def fit_line_both(x: Array, y: Array, u_x: Array, u_y: Array) -> FittedLine:
    """Return the line through points that are uncertain in both directions.

    Args:
        x: Applied values, at least two different ones.
        y: Readings.
        u_x: Standard uncertainty of each applied value, from 0.
        u_y: Standard uncertainty of each reading, above 0.

    Raises:
        ModelError: Fewer than two different x, or an uncertainty out of range.

    Source: york-2004, equations 13 (table 1); the same answer as ISO 6143 gives for a line.
    """
    first = fit_line(x, y, u_y)
    if not bool(np.all(u_x >= 0.0)):
        raise ModelError("uncertainties are numbers from 0")
    slope = first.slope
    for _ in range(_ROUNDS):
        beta, weight, x_mean, y_mean = _york(x, y, u_x, u_y, slope)
        better = float((weight * beta * (y - y_mean)).sum() / (weight * beta * (x - x_mean)).sum())
        if abs(better - slope) <= 1e-14 * abs(better):
            break
        slope = better
    beta, weight, x_mean, y_mean = _york(x, y, u_x, u_y, slope)
    adjusted = x_mean + beta
    centre = float((weight * adjusted).sum() / weight.sum())
    spread = float((weight * (adjusted - centre) ** 2).sum())
    offset = y_mean - slope * x_mean
    return FittedLine(
        offset=offset,
        slope=slope,
        u_offset=math.sqrt(1.0 / float(weight.sum()) + centre**2 / spread),
        u_slope=math.sqrt(1.0 / spread),
        covariance=-centre / spread,
        misfit=float((weight * (y - offset - slope * x) ** 2).sum()),
        degrees=x.size - 2,
    )


_ROUNDS = 200


def _york(
    x: Array, y: Array, u_x: Array, u_y: Array, slope: float
) -> tuple[Array, Array, float, float]:
    """Return the shifts of x, the weights and the weighted means at one slope."""
    weight = 1.0 / (u_y**2 + slope**2 * u_x**2)
    x_mean = float((weight * x).sum() / weight.sum())
    y_mean = float((weight * y).sum() / weight.sum())
    beta = weight * ((x - x_mean) * u_y**2 + slope * (y - y_mean) * u_x**2)
    return beta, weight, x_mean, y_mean
