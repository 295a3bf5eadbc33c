"""Published worked examples of measurement uncertainty and of limits with guard bands."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from squibwise.errors import ModelError
from squibwise.numerics.uncertainty import (
    Input,
    conformance,
    covariance_of,
    decide,
    draw,
    effective_degrees,
    guard_factor,
    mean_of,
    propagate,
    spread,
)

uncertainties = pytest.importorskip("uncertainties")

# Source: JCGM 100:2008 (GUM), table H.2: five simultaneous readings of V, I and phase.
GUM_H2 = np.array(
    [
        [5.007, 19.663e-3, 1.0456],
        [4.994, 19.639e-3, 1.0438],
        [5.005, 19.640e-3, 1.0468],
        [4.990, 19.685e-3, 1.0428],
        [4.999, 19.678e-3, 1.0433],
    ]
)


def impedance(x: NDArray[np.complex128]) -> NDArray[np.complex128]:
    return np.array([x[0] / x[1] * np.cos(x[2]), x[0] / x[1] * np.sin(x[2]), x[0] / x[1]])


# Source: GUM tables H.3 and H.4; u of R, X, Z to three digits, correlations to two.
def test_gum_h2_impedance_keeps_the_correlations() -> None:
    mean, covariance = mean_of(GUM_H2)
    out = propagate(impedance, mean, covariance)
    np.testing.assert_allclose(out.value, [127.732, 219.847, 254.260], atol=5e-4)
    np.testing.assert_allclose(out.u, [0.071, 0.295, 0.236], atol=1e-3)
    got = out.correlation[np.triu_indices(3, 1)]
    np.testing.assert_allclose(got, [-0.588, -0.485, 0.993], atol=1e-3)


# Source: GUM H.2.4: what ignoring the correlations would give (computed: 0.195, 0.201, 0.204).
def test_gum_h2_without_correlations_is_far_off() -> None:
    mean, covariance = mean_of(GUM_H2)
    naive = propagate(impedance, mean, np.diag(np.diag(covariance)))
    np.testing.assert_allclose(naive.u, [0.195, 0.201, 0.204], atol=1e-3)


# Reference library: uncertainties (linear propagation with correlated inputs).
def test_first_order_equals_an_independent_library() -> None:
    from uncertainties import umath

    mean, covariance = mean_of(GUM_H2)
    out = propagate(impedance, mean, covariance)
    v, i, phi = uncertainties.correlated_values(mean, covariance)
    theirs = [v / i * umath.cos(phi), v / i * umath.sin(phi), v / i]
    matrix = np.array(uncertainties.covariance_matrix(theirs))
    np.testing.assert_allclose(out.covariance, matrix, rtol=1e-9)


# Source: GUM H.1 (gauge block): u 32 nm, 16 effective degrees; contributions of table H.1.
def test_gum_h1_effective_degrees_of_freedom() -> None:
    parts = np.array([25.0, 9.7, 2.9, 16.6])
    degrees = np.array([18.0, 25.6, 50.0, 2.0])
    u = math.sqrt(float((parts**2).sum()))
    assert u == pytest.approx(31.7, abs=0.1)
    assert math.floor(effective_degrees(u, parts, degrees)) == 16


# Source: JCGM 101:2008, 9.2.2 to 9.2.4; +-3.92, +-3.88 and +-17.0 (from memory, recomputed).
@pytest.mark.parametrize(
    ("shape", "last", "half_width", "tolerance"),
    [
        ("normal", 1.0, 3.92, 0.03),
        ("rectangular", math.sqrt(3.0), 3.88, 0.03),
        ("rectangular", 10.0 * math.sqrt(3.0), 17.0, 0.1),
    ],
)
def test_monte_carlo_sum_of_four(
    shape: str, last: float, half_width: float, tolerance: float
) -> None:
    half = 1.0 if shape == "normal" else math.sqrt(3.0)
    inputs = (*(Input(value=0.0, half=half, shape=shape) for _ in range(3)),)  # type: ignore[arg-type]
    inputs += (Input(value=0.0, half=last, shape=shape),)  # type: ignore[arg-type]
    out = spread(draw(inputs, 400_000, np.random.default_rng(20080)).sum(axis=0))
    assert (out.high - out.low) / 2.0 == pytest.approx(half_width, abs=tolerance)


# Source: JCGM 101:2008, 9.3: mean 1.2341 mg, u 0.0754 mg; first order gives 0.0539.
def test_monte_carlo_finds_the_mass_calibration_not_linear() -> None:
    rng = np.random.default_rng(930)
    n = 1_000_000
    mass, trim = 100_000.0 + 0.05 * rng.standard_normal(n), 1.234 + 0.02 * rng.standard_normal(n)
    air = rng.uniform(1.1, 1.3, n)
    dens_w, dens_r = rng.uniform(7000, 9000, n), rng.uniform(7950, 8050, n)
    out = spread((mass + trim) * (1 + (air - 1.2) * (1 / dens_w - 1 / dens_r)) - 100_000.0)
    assert out.mean == pytest.approx(1.2341, abs=5e-4)
    assert out.u == pytest.approx(0.0754, abs=3e-4)
    assert (out.low, out.high) == pytest.approx((1.0834, 1.3825), abs=3e-3)


# Source: computed with assumed inputs (a loop of 3.2 m): u 0.1255, 95 % 2.604 to 3.082 ohm.
def test_loop_model_first_order_agrees_with_monte_carlo() -> None:
    inputs = (
        Input(value=0.20, half=0.02),
        Input(value=3.2, half=0.3, shape="rectangular"),
        Input(value=0.0333, half=0.0003, shape="rectangular"),
        Input(value=20.0, half=15.0, shape="rectangular"),
        Input(value=0.080, half=math.sqrt(8) * 0.008, shape="rectangular"),
        Input(value=0.35, half=0.15, shape="rectangular"),
        Input(value=2.0, half=0.15, shape="rectangular"),
    )

    def loop(x: NDArray[np.complex128]) -> NDArray[np.complex128]:
        return np.array([x[0] + 2 * x[1] * x[2] * (1 + 0.00393 * (x[3] - 20)) + x[4] + x[5] + x[6]])

    first = propagate(loop, np.array([i.value for i in inputs]), np.diag([i.u**2 for i in inputs]))
    draws = draw(inputs, 200_000, np.random.default_rng(5))
    by_draws = spread(loop(draws.astype(np.complex128)).real[0])
    assert first.value[0] == pytest.approx(2.8431, abs=1e-3)
    assert first.u[0] == pytest.approx(0.1255, abs=1e-3)
    assert (by_draws.low, by_draws.high) == pytest.approx((2.6043, 3.0819), abs=5e-3)


# Source: JCGM 106:2012, 7.3.3 example 1 and 2, 7.4 (inputs of the first two from memory).
@pytest.mark.parametrize(
    ("value", "u", "low", "high", "expected"),
    [
        (-5.47, 0.05, None, -5.40, 0.9192),
        (509.7, 8.6, 490.0, None, 0.9890),
        (13.6, 1.8, 12.5, 16.3, 0.6626),
    ],
)
def test_conformance_follows_the_published_examples(
    value: float, u: float, low: float | None, high: float | None, expected: float
) -> None:
    assert conformance(value, u, low, high) == pytest.approx(expected, abs=6e-5)


# Source: closed form; JCGM 106:2012 8.3.2: 1.645 u for 5 %, and 2 u leaves 2.3 %.
def test_guard_band_of_five_per_cent() -> None:
    assert guard_factor(0.05) == pytest.approx(1.6449, abs=1e-4)
    assert guard_factor(0.0227501319) == pytest.approx(2.0, abs=1e-6)


# Own edge cases: a reading on the limit, inside and outside the guard bands, without spread.
@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (6.0, 0.1, "undecided"),
        (5.84, 0.1, "undecided"),
        (5.83, 0.1, "met"),
        (6.16, 0.1, "undecided"),
        (6.17, 0.1, "not met"),
        (6.0, 0.0, "met"),
        (6.001, 0.0, "not met"),
    ],
)
def test_decision_keeps_a_zone_of_doubt(value: float, u: float, expected: str) -> None:
    assert decide(value, u, high=6.0)[0] == expected


def test_a_spread_of_one_reading_is_refused() -> None:
    with pytest.raises(ModelError):
        mean_of(np.array([[1.0]]))


def test_an_input_without_a_number_is_refused() -> None:
    with pytest.raises(ModelError):
        Input(value=math.nan, half=0.1)


def test_a_risk_of_nothing_is_refused() -> None:
    with pytest.raises(ModelError):
        guard_factor(0.0)


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 8), st.floats(0.001, 2), st.floats(0, 1), st.floats(0, 1))
def test_wider_limits_never_lower_the_chance(
    value: float, u: float, more_low: float, more_high: float
) -> None:
    narrow = conformance(value, u, 1.5, 6.0)
    assert conformance(value, u, 1.5 - more_low, 6.0 + more_high) >= narrow - 1e-12


def test_covariance_and_correlation_are_inverse() -> None:
    r = np.array([[1.0, -0.5], [-0.5, 1.0]])
    np.testing.assert_allclose(covariance_of(np.array([2.0, 3.0]), r), [[4, -3], [-3, 9]])
