"""The fit itself: against another solver, against truth it was drawn from, and its bounds."""

import numpy as np
import pytest
from fit.ridge import design, ridge_fit
from fit.rows import Rows, join, seen_from
from fit.severity import kish
from fit.shares import share
from fit.toml import pairs, value
from scipy.optimize import minimize

from squibwise.numerics.curves import Term

TERMS = (
    Term(of="constant"),
    Term(of="forward", high=60.0, per=10.0),
    Term(of="belted", centre=0.9),
    Term(of="constant", sides=("near",), given=1),
)


def rows(count: int, seed: int) -> tuple[Rows, np.ndarray, np.ndarray]:
    """Return invented rows and outcomes drawn from -2 + .8 forward/10 - .5 belt + 1 near&given."""
    rng = np.random.default_rng(seed)
    side = rng.choice(["front", "near"], size=count)
    forward, belted = rng.uniform(0, 60, count), rng.integers(0, 2, count).astype(float)
    given = rng.integers(0, 2, count).astype(float)
    odds = -2 + 0.8 * forward / 10 - 0.5 * (belted - 0.9) + 1.0 * given * (side == "near")
    fired = (rng.random(count) < 1 / (1 + np.exp(-odds))).astype(float)
    table = Rows(
        side=side,
        forward_kmh=forward,
        lateral_kmh=np.zeros(count),
        model_year=np.full(count, 2010.0),
        belted=belted,
        front=fired,
        other=np.full(count, np.nan),
        weight=np.ones(count),
        cluster=np.arange(count),
    )
    return table, fired, given


def test_the_fit_is_the_optimum_that_another_solver_finds() -> None:
    table, fired, given = rows(800, 3)
    found = ridge_fit(TERMS, table, fired, ridge=2.0, given=given)
    matrix = design(TERMS, table, given, found.curve.belted_share)
    penalty = np.array([0.02, 2.0, 2.0, 0.02])

    def loss(b: np.ndarray) -> float:
        odds = matrix @ b
        return float((np.logaddexp(0, odds) - fired * odds).sum() + 0.5 * penalty @ b**2)

    best = minimize(loss, np.zeros(4), method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9})
    assert [t.coefficient for t in found.curve.terms] == pytest.approx(list(best.x), abs=2e-4)


def test_truth_lies_within_three_standard_errors() -> None:
    table, fired, given = rows(6000, 11)
    found = ridge_fit(TERMS, table, fired, ridge=0.1, given=given)
    for term, truth in zip(found.curve.terms, (-2.0, 0.8, -0.5, 1.0), strict=True):
        assert abs(term.coefficient - truth) < 3.0 * term.se
    assert 0.9 * 6000 < found.effective_n <= 6000


def test_standard_errors_are_the_spread_of_repeated_fits() -> None:
    fits = [ridge_fit(TERMS, *_drawn(seed)) for seed in range(40)]
    slopes = np.array([f.curve.terms[1].coefficient for f in fits])
    claimed = np.mean([f.curve.terms[1].se for f in fits])
    assert claimed == pytest.approx(slopes.std(ddof=1), rel=0.35)


def _drawn(seed: int) -> tuple[Rows, np.ndarray, float, np.ndarray]:
    table, fired, given = rows(600, 100 + seed)
    return table, fired, 0.1, given


def test_firing_that_falls_with_severity_in_the_data_is_held_at_flat() -> None:
    table, fired, given = rows(500, 5)
    found = ridge_fit(TERMS, table, 1.0 - fired, ridge=1.0, given=given)
    assert found.curve.terms[1].coefficient == 0.0


def test_rows_that_come_in_pairs_count_as_half() -> None:
    table, fired, given = rows(400, 7)
    twice = join(table, table)
    found = ridge_fit(TERMS, twice, np.tile(fired, 2), 1e-6, np.tile(given, 2))
    assert found.n == 800
    assert found.effective_n == pytest.approx(400, rel=0.15)


def test_a_share_has_the_standard_error_of_its_effective_number() -> None:
    equal = share(np.array([1.0] * 30 + [0.0] * 70))
    assert equal["p"] == 0.3
    assert equal["se"] == pytest.approx((0.3077 * 0.6923 / 104) ** 0.5, abs=1e-4)
    assert equal["effective_n"] == 100.0
    uneven = share(np.array([1.0, 0.0, 0.0]), np.array([1.0, 1.0, 8.0]))
    assert uneven["effective_n"] == pytest.approx(round(100 / 66, 1))


def test_the_effective_number_of_weights_is_that_of_kish() -> None:
    assert kish(np.array([2.0, 2.0, 2.0])) == 3.0
    assert kish(np.array([1.0, 0.0])) == 1.0


@pytest.mark.parametrize(
    ("side", "seat", "expected"),
    [
        ("left", "left", "near"),
        ("right", "left", "far"),
        ("left", "right", "far"),
        ("front", "left", "front"),
        ("top", "left", ""),
    ],
)
def test_sides_are_seen_from_the_seat(side: str, seat: str, expected: str) -> None:
    assert seen_from(side, seat) == expected


def test_values_are_written_as_toml() -> None:
    assert value({"a": [1.5, True], "b": 'say "x"'}) == '{ a = [1.5, true], b = "say \\"x\\"" }'
    assert pairs({"a": 1, "b": None}) == "a = 1"
