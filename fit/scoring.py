"""How good probabilities were: log loss, Brier score, calibration."""

import math

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.errors import ModelError

Array = npt.NDArray[np.float64]
_FLOOR = 1e-12
_STEPS = 60
_CLOSE = 1e-10


class Score(msgspec.Struct, frozen=True, kw_only=True):
    """The score of one task.

    Attributes:
        n: Cases.
        log_loss: Mean of -ln of the probability given to what happened.
        se: Standard error of that mean.
        brier: Mean squared error; for several classes summed over the classes.
        slope: Calibration slope: 1 = neither too bold nor too timid.
        slope_se: Its standard error.
    """

    n: float
    log_loss: float
    se: float
    brier: float
    slope: float
    slope_se: float


class Bin(msgspec.Struct, frozen=True, kw_only=True):
    """One group of a reliability table.

    Attributes:
        n: Cases in it.
        predicted: Mean probability given.
        observed: Share that happened.
        low: Low end of the 95 % interval of ``observed`` (Wilson).
        high: High end.
    """

    n: float
    predicted: float
    observed: float
    low: float
    high: float


def log_losses(chances: Array, happened: npt.NDArray[np.int64]) -> Array:
    """Return -ln of the probability given to what happened, row by row.

    Args:
        chances: One row per case, one column per class; rows sum to one.
        happened: Column number of what happened.
    """
    given = chances[np.arange(len(happened)), happened]
    return np.asarray(-np.log(np.maximum(given, _FLOOR)))


def score(chances: Array, happened: npt.ArrayLike, weight: npt.ArrayLike | None = None) -> Score:
    """Return the score of probabilities over two or more classes.

    For two classes the Brier score is the usual one of the event (not doubled). Weights count
    cases: weight 3 is three equal cases.

    Args:
        chances: One row per case, one column per class.
        happened: Column number of what happened.
        weight: Number of equal cases a row stands for; None = 1 each.

    Raises:
        ModelError: No cases, or shapes that do not fit.
    """
    classes = np.asarray(happened, dtype=np.int64)
    if chances.ndim != 2 or len(chances) != len(classes) or len(classes) == 0:
        raise ModelError(f"{chances.shape} probabilities do not fit {classes.shape} outcomes")
    cases = np.ones(len(classes)) if weight is None else np.asarray(weight, dtype=np.float64)
    n = float(cases.sum())
    losses = log_losses(chances, classes)
    mean = float(cases @ losses) / n
    spread = float(cases @ (losses - mean) ** 2) / n
    truth = np.eye(chances.shape[1])[classes]
    squares = ((chances - truth) ** 2).sum(axis=1) / (2.0 if chances.shape[1] == 2 else 1.0)
    slope, slope_se = calibration_slope(chances, classes, cases)
    return Score(
        n=n,
        log_loss=mean,
        se=math.sqrt(spread / n),
        brier=float(cases @ squares) / n,
        slope=slope,
        slope_se=slope_se,
    )


def calibration_slope(
    chances: Array, happened: npt.NDArray[np.int64], weight: Array
) -> tuple[float, float]:
    """Return the slope of the log odds given against those found, and its standard error.

    ``ln P(k) ~ a[k] + slope * ln p[k]``, with one free constant per class but the first: for two
    classes the usual logistic recalibration. NaN when the outcome or the forecast never varies.
    """
    logs = np.log(np.maximum(chances, _FLOOR))
    classes = logs.shape[1]
    # Columns of the design, by class: slope first, then a constant for each later class.
    design = np.zeros((len(logs), classes, classes))
    design[:, :, 0] = logs
    for k in range(1, classes):
        design[:, k, k] = 1.0
    truth = np.eye(classes)[happened]
    beta = np.zeros(classes)
    beta[0] = 1.0
    information = np.zeros((classes, classes))
    for _ in range(_STEPS):
        odds = design @ beta
        odds -= odds.max(axis=1, keepdims=True)
        p = np.exp(odds)
        p /= p.sum(axis=1, keepdims=True)
        mean = np.einsum("nk,nkd->nd", p, design)
        slope = np.einsum("n,nkd,nk->d", weight, design, truth - p)
        information = np.einsum("n,nk,nkd,nke->de", weight, p, design, design)
        information -= np.einsum("n,nd,ne->de", weight, mean, mean)
        if np.linalg.cond(information) > 1.0 / _FLOOR:
            return math.nan, math.nan
        move = np.linalg.solve(information, slope)
        beta = beta + move / max(1.0, float(np.abs(move).max()))
        if float(np.abs(move).max()) < _CLOSE:
            break
    return float(beta[0]), float(np.sqrt(np.linalg.inv(information)[0, 0]))


def reliability(
    chances: npt.ArrayLike,
    happened: npt.ArrayLike,
    groups: int,
    weight: npt.ArrayLike | None = None,
) -> tuple[Bin, ...]:
    """Return groups of about equal size, ordered by forecast, with Wilson 95 % intervals."""
    p, y = np.asarray(chances, dtype=np.float64), np.asarray(happened, dtype=np.float64)
    w = np.ones(len(p)) if weight is None else np.asarray(weight, dtype=np.float64)
    order = np.argsort(p, kind="stable")
    reached = np.cumsum(w[order]) - 0.5 * w[order]
    group = np.minimum((reached / w.sum() * groups).astype(int), groups - 1)
    found = []
    for k in np.unique(group):
        rows = order[group == k]
        n = float(w[rows].sum())
        observed = float(w[rows] @ y[rows]) / n
        low, high = wilson(observed, n)
        predicted = float(w[rows] @ p[rows]) / n
        found.append(Bin(n=n, predicted=predicted, observed=observed, low=low, high=high))
    return tuple(found)


def wilson(share: float, n: float, z: float = 1.959963984540054) -> tuple[float, float]:
    """Return the Wilson interval of a share seen in n cases. Source: wilson-1927."""
    below = 1.0 + z * z / n
    centre = (share + z * z / (2.0 * n)) / below
    half = z * math.sqrt(share * (1.0 - share) / n + z * z / (4.0 * n * n)) / below
    return max(0.0, centre - half), min(1.0, centre + half)
