"""The channel filter of SAE J211-1 / ISO 6487 against published coefficients and scipy."""

import math

import numpy as np
import pytest
from scipy.signal import butter, sosfiltfilt, sosfreqz

from squibwise.errors import ModelError
from squibwise.numerics.pulse import causal, coefficients, zero_phase

FACTOR = 2.0775
# Coefficients by the formula of SAE J211-1 appendix C (class, samples per second, a0, b1, b2);
# they equal a bilinear Butterworth of 2.0775 CFC.
TABLE = [
    (60, 10_000, 0.0014523675, 1.8893432242, -0.8951526941),
    (180, 10_000, 0.0117962711, 1.6701174633, -0.7173025477),
    (600, 10_000, 0.0971846253, 0.9455740091, -0.3343125102),
    (1000, 10_000, 0.2192314172, 0.3118965450, -0.1888222139),
    (180, 20_000, 0.0031826362, 1.8341964219, -0.8469269669),
    (1000, 100_000, 0.0038951745, 1.8158557277, -0.8314364256),
]


@pytest.mark.parametrize(("cfc", "hz", "a0", "b1", "b2"), TABLE)
def test_the_coefficients_are_the_published_ones(
    cfc: float, hz: float, a0: float, b1: float, b2: float
) -> None:
    found = coefficients(cfc, hz, FACTOR)
    assert found == pytest.approx((a0, 2 * a0, a0, b1, b2), abs=1.2e-10)
    assert sum(found) == pytest.approx(1.0)


def two_pass_db(cfc: float, hz: float, at_hz: float) -> float:
    a0, a1, a2, b1, b2 = coefficients(cfc, hz, FACTOR)
    sos = np.array([[a0, a1, a2, 1.0, -b1, -b2]])
    return float(40.0 * math.log10(abs(sosfreqz(sos, worN=[at_hz], fs=hz)[1][0])))


# Two-pass gain at CFC and at CFC/0.6, in dB. The three usual mistakes give -12.46, -6.02 and
# another corner altogether at CFC/0.6.
@pytest.mark.parametrize(
    ("cfc", "hz", "at_cfc", "at_corner"),
    [
        (60, 10_000, -0.454, -3.008),
        (180, 10_000, -0.448, -2.994),
        (600, 10_000, -0.387, -2.819),
        (1000, 10_000, -0.279, -2.447),
        (180, 20_000, -0.453, -3.006),
        (1000, 100_000, -0.452, -3.005),
    ],
)
def test_both_passes_together_have_the_published_gain(
    cfc: float, hz: float, at_cfc: float, at_corner: float
) -> None:
    assert two_pass_db(cfc, hz, cfc) == pytest.approx(at_cfc, abs=6e-4)
    assert two_pass_db(cfc, hz, cfc / 0.6) == pytest.approx(at_corner, abs=6e-4)


def test_a_sine_at_the_corner_really_comes_out_three_decibels_lower() -> None:
    time = np.arange(20_000) / 10_000
    out = zero_phase(np.sin(2 * np.pi * 100.0 * time), 10_000, 60, FACTOR, 0.02)
    gain = 20 * math.log10(float(np.abs(out[5_000:15_000]).max()))
    assert gain == pytest.approx(-3.01, abs=0.01)


def test_the_causal_step_response_from_rest_is_the_published_one() -> None:
    step = causal(np.ones(6), coefficients(60, 10_000, FACTOR), settled=False)
    expected = [0.001452367, 0.007101123, 0.017925838, 0.033320941, 0.052717802, 0.075584161]
    assert step == pytest.approx(expected, abs=6e-10)


@pytest.mark.parametrize(("cfc", "hz"), [(60, 10_000), (180, 10_000), (1000, 100_000)])
@pytest.mark.parametrize("count", [300, 1024, 3501])
def test_the_filter_equals_scipy(cfc: float, hz: float, count: int) -> None:
    signal = np.random.default_rng(count).normal(size=(count, 3)).cumsum(axis=0)
    pad_s = 200 / hz
    sos = butter(2, FACTOR * cfc, fs=hz, output="sos")
    expected = sosfiltfilt(sos, signal, axis=0, padtype="odd", padlen=200)
    found = zero_phase(signal, hz, cfc, FACTOR, pad_s)
    assert np.abs(found - expected).max() <= 1e-12 * np.abs(expected).max()
    assert zero_phase(signal[:, 1], hz, cfc, FACTOR, pad_s) == pytest.approx(found[:, 1], abs=1e-12)


def test_a_constant_and_a_straight_line_pass_unchanged() -> None:
    line = 3.0 + 0.01 * np.arange(2_000)
    assert zero_phase(np.full(2_000, 7.0), 10_000, 60, FACTOR, 0.02) == pytest.approx(7.0)
    assert zero_phase(line, 10_000, 180, FACTOR, 0.02)[500:1500] == pytest.approx(line[500:1500])


def test_a_class_that_the_rate_cannot_carry_is_refused() -> None:
    with pytest.raises(ModelError, match="cannot be applied") as refusal:
        coefficients(1000, 4_000, FACTOR)
    assert "more samples" in refusal.value.remedy


def test_a_recording_shorter_than_its_continuation_is_refused() -> None:
    with pytest.raises(ModelError, match="too few to filter"):
        zero_phase(np.zeros(50), 10_000, 60, FACTOR, 0.02)
