"""Scores, calibration and the learned shift."""

import math

import numpy as np
import pytest
from fit.scoring import calibration_slope, reliability, score, wilson
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from squibwise.errors import ModelError
from squibwise.numerics.curves import learn_shift

# Worked case: ten forecasts of .1 with one event, five of .8 with four. The decomposition follows
# Murphy (1973); log loss .3835227902 was also computed by scikit-learn.
P = np.array([0.1] * 10 + [0.8] * 5)
Y = np.array([1] + [0] * 9 + [1] * 4 + [0])


def two(p: np.ndarray) -> np.ndarray:
    return np.column_stack([1.0 - p, p])


def test_the_worked_case_has_its_log_loss_and_slope_one() -> None:
    found = score(two(P), Y)
    assert found.log_loss == pytest.approx(0.3835227902, abs=2e-10)
    assert found.brier == pytest.approx(0.1133333, abs=5e-8)
    assert found.slope == pytest.approx(1.0, abs=1e-6)


def test_a_weight_counts_equal_cases() -> None:
    grouped = score(two(np.array([0.1, 0.1, 0.8, 0.8])), [1, 0, 1, 0], weight=[1, 9, 4, 1])
    plain = score(two(P), Y)
    for name in ("n", "log_loss", "se", "brier", "slope", "slope_se"):
        assert getattr(grouped, name) == pytest.approx(getattr(plain, name)), name


def test_the_slope_is_that_of_a_logistic_recalibration_found_by_another_solver() -> None:
    rng = np.random.default_rng(5)
    odds = rng.normal(size=400)
    y = (rng.random(400) < 1.0 / (1.0 + np.exp(-(0.3 + 0.6 * odds)))).astype(int)
    p = 1.0 / (1.0 + np.exp(-odds))

    def loss(b: np.ndarray) -> float:
        return float((np.logaddexp(0, b[0] + b[1] * odds) - y * (b[0] + b[1] * odds)).sum())

    best = minimize(loss, [0.0, 1.0], method="BFGS", options={"gtol": 1e-8})
    slope, slope_se = calibration_slope(two(p), y, np.ones(400))
    assert slope == pytest.approx(best.x[1], abs=1e-5)
    assert slope_se == pytest.approx(best.hess_inv[1, 1] ** 0.5, rel=0.05)


def test_too_bold_forecasts_have_a_slope_below_one() -> None:
    bold = np.where(P > 0.5, 0.95, 0.02)
    assert score(two(bold), Y).slope < 0.8


def test_a_forecast_that_never_varies_has_no_slope() -> None:
    assert math.isnan(score(two(np.full(15, 0.3)), Y).slope)


def test_four_classes_are_scored_by_the_chance_of_what_happened() -> None:
    chances = np.array([[0.1, 0.2, 0.3, 0.4], [0.7, 0.1, 0.1, 0.1], [0.25] * 4])
    found = score(chances, [3, 0, 1])
    assert found.log_loss == pytest.approx(-math.log(0.4 * 0.7 * 0.25) / 3)
    expected = (0.01 + 0.04 + 0.09 + 0.36 + 0.09 + 3 * 0.01 + 3 * 0.0625 + 0.5625) / 3
    assert found.brier == pytest.approx(expected)


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ModelError, match="do not fit"):
        score(two(P), Y[:-1])


def test_reliability_groups_hold_every_case_once_and_bracket_what_was_seen() -> None:
    bins = reliability(P, Y, groups=3)
    assert sum(b.n for b in bins) == 15
    assert all(b.low <= b.observed <= b.high for b in bins)


def test_wilson_intervals_are_the_published_ones() -> None:
    # Source: Newcombe 1998, Statistics in Medicine 17:857, method 3: 0/20 gives 0.0000-0.1611,
    # 1/29 gives 0.0061-0.1718, 81/263 gives 0.2553-0.3662. From memory.
    assert wilson(0.0, 20.0) == pytest.approx((0.0, 0.1611), abs=5e-5)
    assert wilson(1 / 29, 29.0) == pytest.approx((0.0061, 0.1718), abs=5e-5)
    assert wilson(81 / 263, 263.0) == pytest.approx((0.2553, 0.3662), abs=5e-5)


def test_without_finished_cases_there_is_no_shift() -> None:
    shift = learn_shift([], [], prior_sd=0.8)
    assert (shift.value, shift.n, shift.kept) == (0.0, 0, 0.0)
    assert shift.se == pytest.approx(0.8)


def test_the_shift_is_the_posterior_mode_found_by_a_grid() -> None:
    p, y = np.array([0.3, 0.5, 0.6, 0.9]), np.array([0, 0, 0, 1])
    grid = np.linspace(-4, 4, 800_001)
    odds = np.log(p / (1 - p))[:, None] + grid
    log_posterior = (y[:, None] * odds - np.logaddexp(0, odds)).sum(axis=0) - grid**2 / (2 * 0.64)
    shift = learn_shift(p, y, prior_sd=0.8)
    assert shift.value == pytest.approx(grid[log_posterior.argmax()], abs=2e-5)
    assert shift.expected == pytest.approx(2.3)


def test_many_cases_of_one_kind_pull_the_shift_to_the_true_one() -> None:
    # .3 foretold, .5 seen: the log odds lie ln(7/3) = .8473 apart.
    shift = learn_shift(np.full(4000, 0.3), np.tile([0, 1], 2000), prior_sd=0.8)
    assert shift.value == pytest.approx(0.8473, abs=0.005)
    assert shift.kept > 0.99


def test_outcomes_that_cannot_be_are_refused() -> None:
    with pytest.raises(ModelError, match="inside"):
        learn_shift([1.0], [1], prior_sd=0.8)
    with pytest.raises(ModelError, match="as many"):
        learn_shift([0.5], [1, 0], prior_sd=0.8)


@given(
    p=st.lists(st.floats(0.02, 0.98), min_size=1, max_size=30),
    fired=st.integers(0, 30),
    sd=st.floats(0.1, 2.0),
)
@settings(max_examples=60, deadline=None)
def test_one_more_deployment_never_lowers_the_shift(p: list[float], fired: int, sd: float) -> None:
    y = np.array([1.0 if k < fired else 0.0 for k in range(len(p))])
    now = learn_shift(p, y, sd)
    more = learn_shift([*p, 0.5], [*y, 1.0], sd)
    assert more.value >= now.value - 1e-9
    assert now.se <= sd + 1e-12
    assert abs(now.value) <= sd**2 * len(p) + 1e-9
