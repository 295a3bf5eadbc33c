"""Measurement uncertainty: first order with correlations, Monte Carlo, guarded limits."""

import math
from collections.abc import Callable
from statistics import NormalDist
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from squibwise.errors import ModelError

Array = NDArray[np.float64]
Model = Callable[[NDArray[np.complex128]], NDArray[np.complex128]]
Shape = Literal["normal", "rectangular", "arcsine"]
Decision = Literal["met", "not met", "undecided"]

_STEP = 1e-30
_NORMAL = NormalDist()


class Input(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One input quantity of a measurement.

    Attributes:
        value: Best estimate, in the unit of the quantity.
        half: Half width for ``rectangular`` and ``arcsine``, standard deviation for ``normal``.
        shape: Form of its distribution.
    """

    value: float
    half: float
    shape: Shape = "normal"

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and self.half >= 0.0):
            raise ModelError(f"{self.value} +- {self.half} is no input quantity")

    @property
    def u(self) -> float:
        """Standard uncertainty (JCGM 100, 4.3.7 and 4.3.9 for the bounded shapes)."""
        divisor = {"normal": 1.0, "rectangular": math.sqrt(3.0), "arcsine": math.sqrt(2.0)}
        return self.half / divisor[self.shape]


class Combined(msgspec.Struct, frozen=True, kw_only=True):
    """The answer of a propagation.

    Attributes:
        value: One value per output.
        covariance: Covariance of the outputs.
        sensitivity: Derivative of each output by each input (outputs x inputs).
    """

    value: Array
    covariance: Array
    sensitivity: Array

    @property
    def u(self) -> Array:
        """Standard uncertainty of each output."""
        root: Array = np.sqrt(np.diag(self.covariance))
        return root

    @property
    def correlation(self) -> Array:
        """Correlation of the outputs; an output without uncertainty correlates with nothing."""
        return correlation_of(self.covariance)


class Spread(msgspec.Struct, frozen=True, kw_only=True):
    """The answer of a Monte Carlo propagation of one output.

    Attributes:
        mean: Mean of the draws.
        u: Their standard deviation.
        low: Lower end of the probabilistically symmetric interval.
        high: Upper end.
    """

    mean: float
    u: float
    low: float
    high: float


def covariance_of(u: Array, correlation: Array) -> Array:
    """Return the covariance of inputs with these standard uncertainties and correlations."""
    return np.asarray(correlation * np.outer(u, u), dtype=np.float64)


def correlation_of(covariance: Array) -> Array:
    """Return the correlations that belong to a covariance."""
    u = np.sqrt(np.diag(covariance))
    safe = np.where(u > 0.0, u, 1.0)
    out: Array = covariance / np.outer(safe, safe)
    return out


def mean_of(samples: Array) -> tuple[Array, Array]:
    """Return mean and covariance of the mean of simultaneous readings (rows = readings).

    Source: jcgm-100, 4.2.3 and 5.2.3 (type A evaluation with covariance).

    Raises:
        ModelError: Fewer than two readings.
    """
    count = samples.shape[0]
    if count < 2:
        raise ModelError("a spread needs at least two readings")
    deviation = samples - samples.mean(axis=0)
    covariance = deviation.T @ deviation / (count - 1) / count
    return samples.mean(axis=0), covariance


def propagate(model: Model, values: Array, covariance: Array) -> Combined:
    """Return the outputs of a model with their covariance, to first order.

    The derivative is taken by a complex step, which is exact to rounding for models built of
    analytic functions (no ``abs``, no comparison).

    Source: jcgm-100, equation 13 and H.2.3.
    """
    base = np.atleast_1d(model(values.astype(np.complex128)))
    columns = [_slope(model, values, index) for index in range(values.size)]
    sensitivity = np.stack(columns, axis=1)
    return Combined(
        value=base.real.astype(np.float64),
        covariance=sensitivity @ covariance @ sensitivity.T,
        sensitivity=sensitivity,
    )


def _slope(model: Model, values: Array, index: int) -> Array:
    stepped = values.astype(np.complex128)
    stepped[index] += 1j * _STEP
    return np.asarray(np.atleast_1d(model(stepped)).imag / _STEP, dtype=np.float64)


def effective_degrees(u: float, parts: Array, degrees: Array) -> float:
    """Return the effective degrees of freedom of a combined uncertainty.

    Args:
        u: Combined standard uncertainty.
        parts: Contribution of each input, ``|sensitivity| * u``.
        degrees: Degrees of freedom of each; infinite is allowed.

    Source: jcgm-100, equation G.2b (Welch-Satterthwaite).
    """
    total = float(np.sum(parts**4 / degrees))
    return math.inf if total == 0.0 else u**4 / total


def draw(inputs: tuple[Input, ...], count: int, rng: np.random.Generator) -> Array:
    """Return draws of independent inputs, one row per input."""
    return np.stack([_draw_one(item, count, rng) for item in inputs])


def _draw_one(item: Input, count: int, rng: np.random.Generator) -> Array:
    if item.shape == "normal":
        return item.value + item.half * rng.standard_normal(count)
    if item.shape == "rectangular":
        return item.value + item.half * rng.uniform(-1.0, 1.0, count)
    return np.asarray(item.value + item.half * np.sin(math.pi * rng.uniform(-0.5, 0.5, count)))


def spread(draws: Array, coverage: float = 0.95) -> Spread:
    """Return mean, standard deviation and symmetric coverage interval of an output's draws.

    Source: jcgm-101, 7.6 and 7.7.
    """
    tail = (1.0 - coverage) / 2.0
    low, high = np.quantile(draws, [tail, 1.0 - tail])
    return Spread(
        mean=float(draws.mean()), u=float(draws.std(ddof=1)), low=float(low), high=float(high)
    )


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


def guard_factor(risk: float) -> float:
    """Return the guard band in standard uncertainties that keeps a one-sided risk.

    1.645 for 5 %; closed form, jcgm-106 8.3.2.

    Raises:
        ModelError: The risk does not lie between 0 and 1.
    """
    if not 0.0 < risk < 1.0:
        raise ModelError(f"a risk of {risk} cannot be guarded")
    return _NORMAL.inv_cdf(1.0 - risk)


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
