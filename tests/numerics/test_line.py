"""Published straight-line examples."""

import numpy as np
import pytest

from squibwise.errors import ModelError
from squibwise.numerics.line import fit_line, fit_line_both, predict, read_back

X = np.arange(1.0, 7.0)


# Source: ISO/TS 28037 worked example (equal weights), as shipped in public test suites.
def test_equal_weights_and_reading_back_keep_the_covariance() -> None:
    line = fit_line(X, np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1]), np.full(6, 0.5))
    assert (line.offset, line.slope) == pytest.approx((1.867, 1.757), abs=5e-4)
    assert (line.u_offset, line.u_slope) == pytest.approx((0.465, 0.120), abs=6e-4)
    assert line.covariance == pytest.approx(-0.050, abs=5e-4)
    assert line.misfit == pytest.approx(1.665, abs=5e-4)
    assert read_back(line, 10.5, 0.5) == pytest.approx((4.91328, 0.32204), abs=1e-5)


# Source: the same example; dropping the covariance gives 0.513, 59 % too wide.
def test_without_the_covariance_the_answer_would_be_far_too_wide() -> None:
    import msgspec

    line = fit_line(X, np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1]), np.full(6, 0.5))
    blind = msgspec.structs.replace(line, covariance=0.0)
    assert read_back(blind, 10.5, 0.5)[1] == pytest.approx(0.513, abs=5e-4)


# Source: ISO/TS 28037 worked example (unequal weights).
def test_unequal_weights() -> None:
    u = np.array([0.5, 0.5, 0.5, 1.0, 1.0, 1.0])
    line = fit_line(X, np.array([3.2, 4.3, 7.6, 8.6, 11.7, 12.8]), u)
    assert (line.offset, line.slope) == pytest.approx((0.885, 2.057), abs=5e-4)
    assert (line.u_offset, line.u_slope) == pytest.approx((0.530, 0.178), abs=5e-4)
    assert line.misfit == pytest.approx(4.131, abs=5e-4)
    assert read_back(line, 10.5, 1.0) == pytest.approx((4.674, 0.533), abs=5e-4)
    assert line.fits


# Source: chi-square table, 95 % points: 3.841 (1), 5.991 (2), 9.488 (4).
def test_a_bent_line_does_not_fit() -> None:
    line = fit_line(X, np.array([0.0, 1.0, 4.0, 9.0, 16.0, 25.0]), np.full(6, 0.5))
    assert not line.fits


def test_one_load_is_no_line() -> None:
    with pytest.raises(ModelError):
        fit_line(np.array([2.0, 2.0]), np.array([1.0, 1.1]), np.array([0.1, 0.1]))


def test_a_flat_line_cannot_be_read_back() -> None:
    line = fit_line(np.array([0.0, 1.0]), np.array([2.0, 2.0]), np.array([0.1, 0.1]))
    with pytest.raises(ModelError):
        read_back(line, 2.0, 0.1)


# Source: ISO 6143 (B_LEAST) example 1, as shipped with an open package; 9 digits.
ISO_6143_Y, ISO_6143_X = np.array([0.1969, 0.7874, 2.0228]), np.array([4.5, 18.75, 50.0])


def test_errors_in_both_directions() -> None:
    line = fit_line_both(ISO_6143_Y, ISO_6143_X, 0.02 * ISO_6143_Y, 0.01 * ISO_6143_X)
    assert (line.offset, line.slope) == pytest.approx((-0.35746759, 24.61152088), abs=1e-8)
    assert (line.u_offset, line.u_slope) == pytest.approx((0.15713134, 0.48035507), abs=1e-8)
    assert line.covariance == pytest.approx(-0.05689048, abs=1e-8)
    assert line.misfit == pytest.approx(0.67430486, abs=1e-8)


# Source: the same example: responses 0.258, 0.6 and 1.8 with 2 %.
@pytest.mark.parametrize(
    ("response", "value", "u"),
    [(0.258, 5.99230, 0.16377), (0.6, 14.40944, 0.35597), (1.8, 43.94327, 1.16297)],
)
def test_values_from_responses(response: float, value: float, u: float) -> None:
    line = fit_line_both(ISO_6143_Y, ISO_6143_X, 0.02 * ISO_6143_Y, 0.01 * ISO_6143_X)
    assert predict(line, response, 0.02 * response) == pytest.approx((value, u), abs=1e-5)


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
