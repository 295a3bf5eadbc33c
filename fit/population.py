"""Which cars the priors are of: all that were towed from a crash in the country."""

from pathlib import Path

import msgspec
import numpy as np
from scipy.optimize import brentq
from scipy.special import expit, logit

from squibwise.numerics.curves import Curve

from . import rows
from .ridge import chance

MOST_OF_THE_MEDIAN = 5.0
"""Weights above this many medians are cut: a few rows of four digits would else be the answer."""


def trim(weight: rows.Array) -> rows.Array:
    """Return sampling weights with the largest cut."""
    return np.minimum(weight, MOST_OF_THE_MEDIAN * np.median(weight))


def measure_shift(curve: Curve, data: Path) -> tuple[float, float]:
    """Return what the curve's log odds lack on weighted cars of 2015, and the standard error of it.

    The file the curve was fitted on has no weights; severe injuries are over-represented in it.
    Clusters are the sampling units.
    """
    table = rows.inspected(data / rows.INSPECTED)
    known = ~np.isnan(table.front)
    weight, table = trim(rows.inspected_weights(data / rows.INSPECTED)[known]), table.keep(known)
    odds = logit(chance(curve, table))

    def scores(shift: float) -> rows.Array:
        return weight * (table.front - expit(odds + shift))

    shift = float(brentq(lambda b: float(scores(b).sum()), -4.0, 4.0))
    p = expit(odds + shift)
    sums = [scores(shift)[table.cluster == c].sum() for c in np.unique(table.cluster)]
    return shift, float(np.sqrt(np.square(sums).sum()) / (weight * p * (1.0 - p)).sum())


def move(curve: Curve, shift: float, se: float) -> Curve:
    """Return the curve with its constants moved, their standard errors widened."""
    terms = tuple(
        msgspec.structs.replace(
            t,
            coefficient=round(t.coefficient + shift, 5),
            se=round(float(np.hypot(t.se or 0.0, se)), 5),
        )
        if t.of == "constant"
        else t
        for t in curve.terms
    )
    return msgspec.structs.replace(curve, terms=terms)
