"""Published examples of limits with guard bands and of straight lines."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.errors import ModelError
from squibwise.numerics.measurement import conformance, decide, fit_line, fit_line_both

X = np.arange(1.0, 7.0)


# Source: ISO/TS 28037 worked example (equal weights), as shipped in public test suites.
def test_equal_weights() -> None:
    line = fit_line(X, np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1]), np.full(6, 0.5))
    assert (line.offset, line.slope) == pytest.approx((1.867, 1.757), abs=5e-4)
    assert (line.u_offset, line.u_slope) == pytest.approx((0.465, 0.120), abs=6e-4)
    assert line.covariance == pytest.approx(-0.050, abs=5e-4)
    assert line.misfit == pytest.approx(1.665, abs=5e-4)


# Source: ISO/TS 28037 worked example (unequal weights).
def test_unequal_weights() -> None:
    u = np.array([0.5, 0.5, 0.5, 1.0, 1.0, 1.0])
    line = fit_line(X, np.array([3.2, 4.3, 7.6, 8.6, 11.7, 12.8]), u)
    assert (line.offset, line.slope) == pytest.approx((0.885, 2.057), abs=5e-4)
    assert (line.u_offset, line.u_slope) == pytest.approx((0.530, 0.178), abs=5e-4)
    assert line.misfit == pytest.approx(4.131, abs=5e-4)
    assert line.fits


# Source: chi-square table, 95 % points: 3.841 (1), 5.991 (2), 9.488 (4).
def test_a_bent_line_does_not_fit() -> None:
    line = fit_line(X, np.array([0.0, 1.0, 4.0, 9.0, 16.0, 25.0]), np.full(6, 0.5))
    assert not line.fits


def test_one_load_is_no_line() -> None:
    with pytest.raises(ModelError):
        fit_line(np.array([2.0, 2.0]), np.array([1.0, 1.1]), np.array([0.1, 0.1]))


# Source: ISO 6143 (B_LEAST) example 1, as shipped with an open package; 9 digits.
ISO_6143_Y, ISO_6143_X = np.array([0.1969, 0.7874, 2.0228]), np.array([4.5, 18.75, 50.0])


def test_errors_in_both_directions() -> None:
    line = fit_line_both(ISO_6143_Y, ISO_6143_X, 0.02 * ISO_6143_Y, 0.01 * ISO_6143_X)
    assert (line.offset, line.slope) == pytest.approx((-0.35746759, 24.61152088), abs=1e-8)
    assert (line.u_offset, line.u_slope) == pytest.approx((0.15713134, 0.48035507), abs=1e-8)
    assert line.covariance == pytest.approx(-0.05689048, abs=1e-8)
    assert line.misfit == pytest.approx(0.67430486, abs=1e-8)


# Source: the same example: least squares that ignores the errors gives -.619 and 24.977.
def test_ordinary_least_squares_would_be_off() -> None:
    line = fit_line(ISO_6143_Y, ISO_6143_X, np.ones(3))
    assert (line.offset, line.slope) == pytest.approx((-0.619, 24.977), abs=5e-4)


def test_exact_loads_give_the_plain_fit() -> None:
    y = np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1])
    plain, both = fit_line(X, y, np.full(6, 0.5)), fit_line_both(X, y, np.zeros(6), np.full(6, 0.5))
    assert both.offset == pytest.approx(plain.offset, rel=1e-12)
    assert both.u_slope == pytest.approx(plain.u_slope, rel=1e-12)


def test_a_load_with_a_negative_uncertainty_is_refused() -> None:
    with pytest.raises(ModelError):
        fit_line_both(X, X, -np.ones(6), np.ones(6))


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


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 8), st.floats(0.001, 2), st.floats(0, 1), st.floats(0, 1))
def test_wider_limits_never_lower_the_chance(
    value: float, u: float, more_low: float, more_high: float
) -> None:
    narrow = conformance(value, u, 1.5, 6.0)
    assert conformance(value, u, 1.5 - more_low, 6.0 + more_high) >= narrow - 1e-12
