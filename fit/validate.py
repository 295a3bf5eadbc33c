"""Held-back scores of the curves: ``python -m fit.validate DATA [--json]``.

Every row is scored by a fit that has not seen it: hash folds for the tow-away file, the whole
2015 file for the frontal curve, crash years for the pairs, sampling units for the other bags.
"""

import argparse
import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np
import numpy.typing as npt

from fit.scoring import Score, score
from squibwise.numerics.curves import Curve

from . import rows
from .ridge import chance
from .run import both_seats, fit_frontal, fit_own_side, fit_passenger

FOLDS = 5


@dataclass(frozen=True)
class Held:
    """Probabilities given to rows that the fit had not seen.

    Attributes:
        chances: One row per case, one column per class.
        happened: Column number of what happened.
        weight: Cases a row stands for.
    """

    chances: rows.Array
    happened: npt.NDArray[np.int64]
    weight: rows.Array

    def score(self) -> Score:
        """Return the score of these rows."""
        return score(self.chances, self.happened, self.weight)


def two(p: rows.Array, happened: rows.Array, weight: rows.Array) -> Held:
    """Return a yes-no task: column 0 = not, column 1 = fired."""
    return Held(np.column_stack([1.0 - p, p]), happened.astype(np.int64), weight)


def hash_fold(index: int) -> int:
    """Return the fold of a row of the tow-away file: SHA-256 of its number, modulo five."""
    return int(hashlib.sha256(str(index).encode()).hexdigest(), 16) % FOLDS


def folded(
    fold: npt.NDArray[np.int64], fit: Callable[[npt.NDArray[np.bool_]], Callable[..., rows.Array]]
) -> rows.Array:
    """Return held-back values: ``fit(train)`` gives a function from a mask to values."""
    parts = {k: fit(fold != k) for k in np.unique(fold)}
    first = parts[fold[0]](fold == fold[0])
    out = np.zeros((len(fold), *first.shape[1:]))
    for k, predict in parts.items():
        out[fold == k] = predict(fold == k)
    return out


def frontal_towaway(data: Path, only: int | None = None) -> Held:
    """Return all five hash folds of the 2000-2012 file, or one of them."""
    table = rows.tow_away(data / rows.TOW_AWAY)
    fold = np.array([hash_fold(i) for i in range(len(table))])

    def fit(train: npt.NDArray[np.bool_]) -> Callable[..., rows.Array]:
        curve = fit_frontal(table.keep(train)).curve
        return lambda test: chance(curve, table.keep(test))

    held = two(folded(fold, fit), table.front, table.weight)
    if only is None:
        return held
    mask = fold == only
    return Held(held.chances[mask], held.happened[mask], held.weight[mask])


def frontal(data: Path) -> Held:
    """Return the inspected 2015 cars under the curve fitted on the 2000-2012 file only."""
    curve = fit_frontal(rows.tow_away(data / rows.TOW_AWAY)).curve
    table = rows.inspected(data / rows.INSPECTED)
    table = table.keep(~np.isnan(table.front))
    return two(chance(curve, table), table.front, table.weight)


def right_front(data: Path) -> Held:
    """Return the fatal-crash pairs, folds by crash year."""
    pairs = rows.pairs(data / rows.PAIRS)

    def fit(train: npt.NDArray[np.bool_]) -> Callable[..., rows.Array]:
        curve = fit_passenger(pairs.rows.keep(train), pairs.driver[train]).curve
        return lambda test: chance(curve, pairs.rows.keep(test), pairs.driver[test])

    p = folded(pairs.year.astype(np.int64), fit)
    return two(p, pairs.rows.front, pairs.rows.weight)


def _own_side(data: Path) -> tuple[rows.Rows, rows.Array]:
    """Return the 2015 drivers and P(none, front only, other only, both), folds by unit."""
    frontal_curve = fit_frontal(rows.tow_away(data / rows.TOW_AWAY)).curve
    table = rows.inspected(data / rows.INSPECTED)
    table = table.keep(~np.isnan(table.other))
    both = both_seats(data / rows.INSPECTED)

    def fit(train: npt.NDArray[np.bool_]) -> Callable[..., rows.Array]:
        units = np.unique(table.cluster[train])
        curve = fit_own_side(both.keep(np.isin(both.cluster, units))).curve
        return lambda test: pattern_of(frontal_curve, curve, table.keep(test))

    return table, folded(table.cluster, fit)


def pattern_of(frontal_curve: Curve, own_side: Curve, table: rows.Rows) -> rows.Array:
    """Return P(none), P(front only), P(other only), P(both), one row per case."""
    front = chance(frontal_curve, table)
    without, beside = (chance(own_side, table, np.full(len(table), g)) for g in (0.0, 1.0))
    rest = 1.0 - front
    return np.column_stack(
        [rest * (1.0 - without), front * (1.0 - beside), rest * without, front * beside]
    )


def other(data: Path) -> Held:
    """Return the driver's side, curtain and knee bags together, folds by sampling unit."""
    table, p = _own_side(data)
    return two(p[:, 2] + p[:, 3], table.other, table.weight)


def pattern(data: Path) -> Held:
    """Return the four-class pattern of the driver's bags, folds by sampling unit."""
    table, p = _own_side(data)
    known = ~np.isnan(table.front)
    happened = (table.front + 2.0 * table.other)[known].astype(np.int64)
    return Held(p[known], happened, table.weight[known])


TASKS: dict[str, Callable[[Path], Held]] = {
    "frontal_towaway": frontal_towaway,
    "frontal": frontal,
    "right_front": right_front,
    "other": other,
    "pattern": pattern,
}


def main() -> None:
    """Print the held-back score of every task."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    found = {name: msgspec.to_builtins(task(given.data).score()) for name, task in TASKS.items()}
    one_fold = msgspec.to_builtins(frontal_towaway(given.data, only=0).score())
    found["frontal_towaway, first fold"] = one_fold
    if given.json:
        print(json.dumps(found, indent=1))
        return
    for name, values in found.items():
        print(f"{name:28s}", "  ".join(f"{k} {v:.4f}" for k, v in values.items()))


if __name__ == "__main__":
    main()
