"""Published straight-line examples."""

import numpy as np
import pytest

from squibwise.errors import ModelError
from squibwise.numerics.line import fit_line, read_back

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
