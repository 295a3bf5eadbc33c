"""Integration, trigger times and direction of force against closed forms and check vectors."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.errors import ModelError
from squibwise.numerics.pulse import (
    Rules,
    bias_before,
    clock_positions,
    delta_v_kmh,
    direction_of_force,
    end_of_event_s,
    flight_m,
    integrate,
    latest_command_s,
    spread_of_rectangular,
    time_zero_s,
    trigger_s,
)

G = 9.80665
# Source: 49 CFR 563.5: 8 km/h in 150 ms; 0.8 km/h in 20 ms along, in 5 ms across.
RULES = Rules(
    trigger_kmh=8.0,
    trigger_s=0.150,
    onset_kmh=0.8,
    onset_s=0.020,
    onset_lateral_s=0.005,
    end_s=0.020,
)
TIME = np.arange(-5_000, 30_001) / 1e5


def pulse(shape: str, peak: float, length: float, time: np.ndarray = TIME) -> np.ndarray:
    """Return a pulse that slows the car, in m/s2; samples on an edge count half."""
    u = time / length
    inside = (u >= 0) & (u <= 1)
    height = {
        "square": np.ones_like(u),
        "half-sine": np.sin(math.pi * u),
        "haversine": np.sin(math.pi * u) ** 2,
        "triangle": 1 - np.abs(2 * u - 1),
        "early": 1 - u,
        "late": u,
    }[shape]
    edge = np.isclose(u, 0) | np.isclose(u, 1)
    return -peak * np.where(inside, height, 0.0) * np.where(edge, 0.5, 1.0)


# Closed forms for 20 g and 100 ms: dV / (P T) is 1, 2/pi, 1/2; travel to T / (P T^2) is 1/2, 1/pi,
# 1/4, 1/4, 1/3 (early peak), 1/6 (late peak).
SHAPES = [
    ("square", 1.0, 0.5),
    ("half-sine", 2 / math.pi, 1 / math.pi),
    ("haversine", 0.5, 0.25),
    ("triangle", 0.5, 0.25),
    ("early", 0.5, 1 / 3),
    ("late", 0.5, 1 / 6),
]


@pytest.mark.parametrize(("shape", "speed", "travel"), SHAPES)
def test_pulses_integrate_to_their_closed_forms(shape: str, speed: float, travel: float) -> None:
    peak, length = 20 * G, 0.1
    dv = delta_v_kmh(TIME, pulse(shape, peak, length))
    assert (dv[0] - dv[-1]) / 3.6 == pytest.approx(speed * peak * length, rel=1e-6)
    at_end = int(np.argmin(np.abs(TIME - length)))
    assert flight_m(TIME, dv)[at_end] == pytest.approx(travel * peak * length**2, rel=2e-4)


def test_a_full_stop_at_a_wall_crushes_as_far_as_a_free_body_would_not_fly() -> None:
    dv = delta_v_kmh(TIME, pulse("half-sine", 20 * G, 0.1))
    crush = -dv[-1] / 3.6 * TIME + integrate(TIME, dv / 3.6)  # v0 t + integral of dV
    assert crush.max() == pytest.approx(20 * G * 0.1**2 / math.pi, rel=1e-4)


HALF_SINE = delta_v_kmh(TIME, pulse("half-sine", 20 * G, 0.08))


def test_the_half_sine_series_is_the_computed_one() -> None:
    # 20 g, 80 ms by the closed form (A T / pi) (1 - cos(pi t / T)), at 10 ms steps, km/h.
    expected = [0, 1.37, 5.27, 11.10, 17.98, 24.86, 30.69, 34.59, 35.96, 35.96]
    found = [-float(np.interp(0.01 * k, TIME, HALF_SINE)) for k in range(10)]
    assert found == pytest.approx(expected, abs=0.006)


def test_the_half_sine_passes_the_trigger_and_the_ends_at_the_closed_form_times() -> None:
    # Source: definitions of 49 CFR 563.5 on the closed form: 25.015, -12.375 and 92.375 ms.
    trigger = trigger_s(TIME, HALF_SINE, RULES)
    assert trigger == pytest.approx(0.025015, abs=1e-6)
    assert time_zero_s(TIME, HALF_SINE, RULES) == pytest.approx(-0.012375, abs=1e-6)
    zeros = np.zeros_like(HALF_SINE)
    assert trigger is not None
    end = end_of_event_s(TIME, HALF_SINE, zeros, RULES, trigger)
    assert end == pytest.approx(0.092375, abs=1e-6)


@pytest.mark.parametrize(("share", "triggered"), [(0.999, False), (1.001, True)])
def test_a_constant_pulse_triggers_at_the_computed_level(share: float, triggered: bool) -> None:
    # 8 km/h in 150 ms are 1.5107 g.
    acceleration = np.where(TIME >= 0.0, -1.5107 * G * share, 0.0)
    dv = delta_v_kmh(TIME, acceleration)
    within = TIME <= 0.16
    assert (trigger_s(TIME[within], dv[within], RULES) is not None) == triggered


@pytest.mark.parametrize(
    ("level_g", "lateral", "starts"),
    [(1.132, False, False), (1.135, False, True), (4.53, True, False), (4.54, True, True)],
)
def test_time_zero_needs_the_computed_rate(level_g: float, lateral: bool, starts: bool) -> None:
    # 0.8 km/h in 20 ms are 1.133 g; in 5 ms 4.532 g.
    dv = delta_v_kmh(TIME, np.where(TIME >= 0.0, -level_g * G, 0.0))
    assert (time_zero_s(TIME, dv, RULES, lateral=lateral) is not None) == starts


def test_an_event_that_goes_on_to_the_end_of_the_recording_has_no_end() -> None:
    dv = delta_v_kmh(TIME, np.where(TIME >= 0.0, -10.0 * G, 0.0))
    assert end_of_event_s(TIME, dv, np.zeros_like(dv), RULES, 0.01) is None


# Five inches less thirty milliseconds, from memory: 20 g, 100 ms.
@pytest.mark.parametrize(
    ("shape", "latest_ms"), [("square", 5.99), ("half-sine", 22.1), ("haversine", 29.3)]
)
def test_the_latest_command_is_the_closed_form_one(shape: str, latest_ms: float) -> None:
    dv = delta_v_kmh(TIME, pulse(shape, 20 * G, 0.1))
    latest = latest_command_s(TIME, dv, travel_m=0.127, fill_s=0.030)
    assert latest == pytest.approx(latest_ms / 1e3, abs=6e-5)


def test_a_gentle_stop_never_moves_the_head_that_far() -> None:
    dv = delta_v_kmh(TIME, pulse("square", 1.0 * G, 0.02))
    assert latest_command_s(TIME[:6_000], dv[:6_000], travel_m=0.127, fill_s=0.030) is None


def test_a_bias_left_in_costs_what_the_error_budget_says() -> None:
    # Half a g over 150 ms: 2.65 km/h and 55 mm.
    time = np.arange(0, 15_001) / 1e5
    dv = delta_v_kmh(time, np.full(len(time), 0.5 * G))
    assert dv[-1] == pytest.approx(2.65, abs=0.005)
    assert -flight_m(time, dv)[-1] == pytest.approx(0.055, abs=0.0005)


def test_the_bias_is_the_mean_before_time_zero_with_its_uncertainty() -> None:
    time = np.array([-0.004, -0.003, -0.002, -0.001, 0.0, 0.001])
    bias = bias_before(time, np.array([1.0, 3.0, np.nan, 2.0, 99.0, 99.0]))
    assert (bias.mean, bias.samples) == (2.0, 3)
    assert bias.u == pytest.approx(1.0 / math.sqrt(3.0))


def test_without_samples_before_the_impact_the_bias_is_unknown() -> None:
    bias = bias_before(np.array([0.0, 0.1]), np.array([5.0, 5.0]))
    assert (bias.mean, bias.samples, bias.u) == (0.0, 0, math.inf)


@pytest.mark.parametrize("times", [[0.0, 0.2, 0.1], [0.0, 0.1, 0.1], [0.0, 0.1]])
def test_times_that_do_not_rise_or_fit_are_refused(times: list[float]) -> None:
    with pytest.raises(ModelError, match="times"):
        integrate(np.array(times), np.zeros(3))


# Source: axes of 49 CFR 563.5, clock positions of SAE J224; computed vectors.
VECTORS = [
    (-40.0, 0.0, 0.0, 12),
    (-34.64, -20.0, 30.0, 1),
    (-34.64, 20.0, 330.0, 11),
    (0.0, -25.0, 90.0, 3),
    (0.0, 25.0, 270.0, 9),
    (15.0, 0.0, 180.0, 6),
]


@pytest.mark.parametrize(("long", "lat", "degrees", "clock"), VECTORS)
def test_the_direction_of_force_is_the_computed_one(
    long: float, lat: float, degrees: float, clock: int
) -> None:
    found = direction_of_force(long, lat, 1.0, 1.0)
    assert found.degrees == pytest.approx(degrees, abs=1e-3)
    assert found.clocks[0][0] == clock


def test_the_uncertainty_of_the_direction_is_the_computed_one() -> None:
    # (-32, -12) km/h, +-10 % and 1 km/h resolution, both rectangular: 20.556 deg, u 1.61 deg.
    u_long, u_lat = (spread_of_rectangular(v, 0.10, 1.0) for v in (32.0, 12.0))
    found = direction_of_force(-32.0, -12.0, u_long, u_lat)
    assert found.degrees == pytest.approx(20.556, abs=5e-4)
    assert found.u_degrees == pytest.approx(1.61, abs=5e-3)
    # (-50, 20) km/h with 3 km/h each: 3.2 deg.
    assert direction_of_force(-50.0, 20.0, 3.0, 3.0).u_degrees == pytest.approx(3.2, abs=0.05)


def test_a_direction_near_a_boundary_returns_both_clock_positions() -> None:
    clocks = dict(clock_positions(15.5, 1.6))
    assert set(clocks) == {12, 1}
    assert clocks[1] > clocks[12] > 0.3


def test_a_direction_that_nobody_knows_returns_many_clock_positions() -> None:
    assert len(direction_of_force(-1.0, 0.5, 8.0, 8.0).clocks) > 5


def test_no_change_of_speed_has_no_direction() -> None:
    with pytest.raises(ModelError, match="no direction"):
        direction_of_force(0.0, 0.0, 1.0, 1.0)


@given(degrees=st.floats(0, 359.99), u=st.floats(0, 120))
@settings(max_examples=80, deadline=None)
def test_clock_weights_sum_to_one_and_the_nearest_leads(degrees: float, u: float) -> None:
    clocks = clock_positions(degrees, u)
    assert sum(w for _, w in clocks) == pytest.approx(1.0)
    off = abs((degrees - clocks[0][0] * 30.0 + 180.0) % 360.0 - 180.0)
    assert off <= 15.0 + 1e-6


@given(
    long=st.floats(-100, 100), lat=st.floats(-100, 100), turn=st.floats(0, 359), u=st.floats(0.1, 5)
)
@settings(max_examples=60, deadline=None)
def test_turning_the_speed_change_turns_the_direction(
    long: float, lat: float, turn: float, u: float
) -> None:
    if math.hypot(long, lat) < 1.0:
        return
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    first = direction_of_force(long, lat, u, u)
    second = direction_of_force(c * long - s * lat, s * long + c * lat, u, u)
    off = (second.degrees - first.degrees - turn + 180.0) % 360.0 - 180.0
    assert off == pytest.approx(0.0, abs=1e-6)
    assert second.u_degrees == pytest.approx(first.u_degrees, rel=1e-6)
