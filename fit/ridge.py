"""Logistic regression with a ridge, severity slopes held at or above zero, robust errors."""

from collections.abc import Sequence
from dataclasses import dataclass

import msgspec
import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from squibwise.numerics.curves import (
    SEVERITIES,
    Curve,
    Hit,
    Term,
    column,
    expit,
    probability,
    quantities,
)

from .rows import Array, Rows


@dataclass(frozen=True)
class Fit:
    """A fitted curve.

    Attributes:
        curve: Terms with coefficients and robust standard errors.
        n: Cars or occupants used.
        effective_n: ``n`` over the mean ratio of robust to naive variance, at most ``n``.
    """

    curve: Curve
    n: int
    effective_n: float


def hit_codes(side: npt.NDArray[np.str_]) -> Array:
    """Return side codes as numbers; an unknown side matches no term that names a side."""
    codes = {"front": 0.0, "near": 1.0, "far": 2.0, "rear": 3.0}
    return np.array([codes.get(s, -1.0) for s in side])


def chance(curve: Curve, table: Rows, given: Array | None = None) -> Array:
    """Return the curve's probability for every row."""
    hit = Hit(
        side=hit_codes(table.side),
        forward_kmh=np.nan_to_num(table.forward_kmh),
        lateral_kmh=np.nan_to_num(table.lateral_kmh),
        model_year=table.model_year,
        belted=table.belted,
    )
    return probability(curve, hit, given)


def design(terms: Sequence[Term], rows: Rows, given: Array | None, belted: float) -> Array:
    """Return the matrix whose columns the coefficients multiply.

    An unknown belt counts as the share ``belted``; an unknown delta-V as zero.
    """
    known = quantities(
        Hit(
            side=hit_codes(rows.side),
            forward_kmh=np.nan_to_num(rows.forward_kmh),
            lateral_kmh=np.nan_to_num(rows.lateral_kmh),
            model_year=np.where(
                np.isnan(rows.model_year), np.nanmedian(rows.model_year), rows.model_year
            ),
            belted=np.where(np.isnan(rows.belted), belted, rows.belted),
        )
    )
    return np.column_stack([column(term, known, given) for term in terms])


def ridge_fit(
    terms: Sequence[Term],
    rows: Rows,
    outcome: Array,
    ridge: float,
    given: Array | None = None,
    lapse: float = 0.0,
) -> Fit:
    """Return the curve that fits best, penalised by ``ridge / 2 * coefficient ** 2``.

    Constants are penalised a hundredth of that. The lapse is laid over the fitted curve.
    Standard errors are those of the sandwich with rows of one cluster taken together, and never
    below the naive ones.
    """
    share = float(np.nanmean(rows.belted)) if not np.isnan(rows.belted).all() else 0.5
    matrix = design(terms, rows, given, share)
    penalty = np.array([ridge * (0.01 if t.of == "constant" else 1.0) for t in terms])
    found = _solve(matrix, outcome, rows.weight, penalty, [t.of in SEVERITIES for t in terms])
    free = ~((found <= 0.0) & np.array([t.of in SEVERITIES for t in terms]))
    se, effect = _errors(matrix[:, free], outcome, rows, penalty[free], found[free])
    errors = np.zeros(len(terms))
    errors[free] = se
    fitted = tuple(
        msgspec.structs.replace(term, coefficient=round(float(b), 5), se=round(float(e), 5))
        for term, b, e in zip(terms, found, errors, strict=True)
    )
    n = int(rows.weight.sum())
    curve = Curve(
        terms=fitted, belted_share=round(share, 3), years=typical_years(rows), lapse=lapse
    )
    return Fit(curve=curve, n=n, effective_n=round(n / max(1.0, effect), 1))


def _solve(
    matrix: Array, outcome: Array, weight: Array, penalty: Array, rising: list[bool]
) -> Array:
    def loss(beta: Array) -> tuple[float, Array]:
        odds = matrix @ beta
        value = float(weight @ (np.logaddexp(0.0, odds) - outcome * odds))
        slope = matrix.T @ (weight * (expit(odds) - outcome)) + penalty * beta
        return value + 0.5 * float(penalty @ beta**2), slope

    bounds = [(0.0, None) if up else (None, None) for up in rising]
    start = np.zeros(matrix.shape[1])
    options = {"maxiter": 5000, "maxfun": 20000, "ftol": 1e-13, "gtol": 1e-7}
    found = minimize(loss, start, jac=True, method="L-BFGS-B", bounds=bounds, options=options)
    return np.asarray(found.x)


def _errors(
    matrix: Array, outcome: Array, rows: Rows, penalty: Array, beta: Array
) -> tuple[Array, float]:
    p = expit(matrix @ beta)
    bread = np.linalg.inv((matrix.T * (rows.weight * p * (1 - p))) @ matrix + np.diag(penalty))
    # A row with weight n stands for n cars: their scores add up in squares, not as one.
    scores = matrix * (np.sqrt(rows.weight) * (outcome - p))[:, None]
    groups = np.unique(rows.cluster, return_inverse=True)[1]
    sums = np.zeros((groups.max() + 1, matrix.shape[1]))
    np.add.at(sums, groups, scores)
    robust = bread @ (sums.T @ sums) @ bread
    ratio = np.diag(robust) / np.diag(bread)
    return np.sqrt(np.maximum(np.diag(robust), np.diag(bread))), float(ratio.mean())


def typical_years(rows: Rows) -> tuple[tuple[float, float], ...]:
    """Return five model years with equal weights that stand for those of the rows."""
    years = rows.model_year[~np.isnan(rows.model_year)]
    points = np.quantile(years, (0.1, 0.3, 0.5, 0.7, 0.9))
    return tuple((float(round(year)), 0.2) for year in points)
