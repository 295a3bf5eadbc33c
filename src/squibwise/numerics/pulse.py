"""From acceleration to change of speed, crush, trigger times and direction of force."""

import math

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.errors import ModelError

Array = npt.NDArray[np.float64]
KMH_PER_MS = 3.6
_CLOCK_DEGREES = 30.0
_ENOUGH = 0.05


class Bias(msgspec.Struct, frozen=True, kw_only=True):
    """Offset of a channel before the impact.

    Attributes:
        mean: Mean of the samples before time zero, in the unit of the channel.
        u: Standard uncertainty of that mean.
        samples: How many there were; 0 = no bias could be taken off.
    """

    mean: float
    u: float
    samples: int


class Rules(msgspec.Struct, frozen=True, kw_only=True):
    """When an event is one, when it starts and when it ends: 49 CFR 563.5.

    Attributes:
        trigger_kmh: Change of speed that makes an event. [km/h]
        trigger_s: Interval it must fall into. [s]
        onset_kmh: Change of speed that marks time zero, and below which the event has ended.
        onset_s: Interval for it, along the car. [s]
        onset_lateral_s: The same across the car. [s]
        end_s: Interval of the end of the event. [s]
    """

    trigger_kmh: float
    trigger_s: float
    onset_kmh: float
    onset_s: float
    onset_lateral_s: float
    end_s: float


class Direction(msgspec.Struct, frozen=True, kw_only=True):
    """Direction of the force, seen from above.

    Attributes:
        degrees: Clockwise from the front, 0 to 360. [deg]
        u_degrees: Standard uncertainty. [deg]
        clocks: Clock positions with their weights, most likely first; they sum to one.
    """

    degrees: float
    u_degrees: float
    clocks: tuple[tuple[int, float], ...]


def bias_before(time_s: Array, signal: Array, until_s: float = 0.0) -> Bias:
    """Return the mean of the samples before the impact, with its uncertainty."""
    before = signal[(time_s < until_s) & np.isfinite(signal)]
    if len(before) == 0:
        return Bias(mean=0.0, u=math.inf, samples=0)
    u = float(before.std(ddof=1) / len(before) ** 0.5) if len(before) > 1 else math.inf
    return Bias(mean=float(before.mean()), u=u, samples=len(before))


def integrate(time_s: Array, signal: Array) -> Array:
    """Return the running integral by trapezoids, zero at time zero (or at the first sample).

    Raises:
        ModelError: Times do not rise, or are not as many as the samples.
    """
    _check_times(time_s, signal)
    steps = np.diff(time_s) * 0.5 * (signal[1:] + signal[:-1])
    total = np.concatenate([[0.0], np.cumsum(steps)])
    return np.asarray(total - np.interp(0.0, time_s, total))


def delta_v_kmh(time_s: Array, acceleration_ms2: Array, bias_ms2: float = 0.0) -> Array:
    """Return the cumulative change of speed, zero at time zero. [km/h].

    A bias b that is left in makes an error of b T after T seconds; noise hardly any.

    Source: cfr-49-563, 563.5 for time zero; trapezoidal rule.
    """
    return KMH_PER_MS * integrate(time_s, acceleration_ms2 - bias_ms2)


def flight_m(time_s: Array, delta_v: Array) -> Array:
    """Return how far a free body has moved inside the car since time zero. [m]."""
    return -integrate(time_s, delta_v / KMH_PER_MS)


def latest_command_s(time_s: Array, delta_v: Array, travel_m: float, fill_s: float) -> float | None:
    """Return when a frontal bag must be fired at the latest to be full in time. [s].

    A free head may move ``travel_m`` before the bag, which takes ``fill_s`` to fill, is there.
    A check of consistency for recorded command times of unbelted occupants, never a verdict.

    Source: five-inch-thirty-ms, from memory. None = the head never moves that far.
    """
    moved = first_crossing(time_s, flight_m(time_s, delta_v), travel_m)
    return None if moved is None else moved - fill_s


def changed_within(time_s: Array, delta_v: Array, window_s: float) -> Array:
    """Return the change of speed over the window that ends at each time. [km/h].

    Before the first sample the speed counts as constant.
    """
    earlier = np.interp(time_s - window_s, time_s, delta_v)
    return np.asarray(delta_v - earlier)


def first_crossing(time_s: Array, values: Array, level: float) -> float | None:
    """Return the time at which values first reach a level, between samples by a line."""
    reached = np.flatnonzero(values >= level)
    if len(reached) == 0:
        return None
    k = int(reached[0])
    if k == 0:
        return float(time_s[0])
    share = (level - values[k - 1]) / (values[k] - values[k - 1])
    return float(time_s[k - 1] + share * (time_s[k] - time_s[k - 1]))


def trigger_s(time_s: Array, delta_v: Array, rules: Rules) -> float | None:
    """Return when the change of speed within the trigger window reaches the threshold. [s].

    Source: cfr-49-563, 563.5 "trigger threshold". None = never: not an event by speed.
    """
    change = np.abs(changed_within(time_s, delta_v, rules.trigger_s))
    return first_crossing(time_s, change, rules.trigger_kmh)


def time_zero_s(
    time_s: Array, delta_v: Array, rules: Rules, *, lateral: bool = False
) -> float | None:
    """Return the first point of the interval in which the onset threshold is passed. [s].

    Source: cfr-49-563, 563.5 "time zero", for algorithms that run continuously.
    """
    window = rules.onset_lateral_s if lateral else rules.onset_s
    change = np.abs(changed_within(time_s, delta_v, window))
    end = first_crossing(time_s, change, rules.onset_kmh)
    return None if end is None else end - window


def end_of_event_s(
    time_s: Array, long_kmh: Array, lat_kmh: Array, rules: Rules, after_s: float
) -> float | None:
    """Return when the resultant change of speed within the window has become small. [s].

    Source: cfr-49-563, 563.5 "end of event time": cumulative change within 20 ms becomes
    0.8 km/h or less. Searched after ``after_s``, the trigger. None = the recording ends before.
    """
    change = np.hypot(
        changed_within(time_s, long_kmh, rules.end_s), changed_within(time_s, lat_kmh, rules.end_s)
    )
    late = time_s > after_s
    return first_crossing(time_s[late], -change[late], -rules.onset_kmh)


def direction_of_force(
    long_kmh: float, lat_kmh: float, u_long_kmh: float, u_lat_kmh: float
) -> Direction:
    """Return where the force came from, and which clock positions fit.

    Source: cfr-49-563, 563.5 for the axes (x forward, y to the right); sae-j224, clock
    positions of 30 degrees each. The angle is ``atan2(-dVy, -dVx)``; its uncertainty is first
    order, at most that of a direction nobody knows.

    Args:
        long_kmh: Change of forward speed. [km/h]
        lat_kmh: Change of speed to the right. [km/h]
        u_long_kmh: Standard uncertainty of the first. [km/h]
        u_lat_kmh: Standard uncertainty of the second. [km/h]

    Raises:
        ModelError: There is no change of speed at all, or a value is not a number.
    """
    size = math.hypot(long_kmh, lat_kmh)
    if not size > 0.0 or not (u_long_kmh >= 0.0 and u_lat_kmh >= 0.0):
        raise ModelError(f"({long_kmh}, {lat_kmh}) km/h has no direction")
    degrees = math.degrees(math.atan2(-lat_kmh, -long_kmh)) % 360.0
    u_square = math.hypot(lat_kmh * u_long_kmh, long_kmh * u_lat_kmh)
    u_degrees = min(math.degrees(u_square / size**2), 180.0 / math.sqrt(3.0))
    return Direction(
        degrees=degrees, u_degrees=u_degrees, clocks=clock_positions(degrees, u_degrees)
    )


def spread_of_rectangular(value_kmh: float, share: float, resolution_kmh: float) -> float:
    """Return the standard uncertainty of a value known to +- share of it and to a resolution.

    Both as rectangular distributions, JCGM 100 4.3.7. [km/h].
    """
    half_step = 0.5 * resolution_kmh
    return math.hypot(share * value_kmh, half_step) / math.sqrt(3.0)


def clock_positions(degrees: float, u_degrees: float) -> tuple[tuple[int, float], ...]:
    """Return every clock position that has at least a twentieth of the probability.

    The angle is taken as normal with standard uncertainty ``u_degrees``.
    """
    weights = {}
    for clock in range(1, 13):
        off = (degrees - clock * _CLOCK_DEGREES + 180.0) % 360.0 - 180.0
        weights[clock] = sum(_inside(off + turn, u_degrees) for turn in (-360.0, 0.0, 360.0))
    kept = {c: w for c, w in weights.items() if w >= _ENOUGH} or weights
    total = math.fsum(kept.values())
    ranked = sorted(kept.items(), key=lambda item: (-item[1], item[0]))
    return tuple((clock, weight / total) for clock, weight in ranked)


def _inside(off: float, u: float) -> float:
    half = 0.5 * _CLOCK_DEGREES
    if u == 0.0:
        return float(-half <= off < half)
    return 0.5 * (math.erf((off + half) / (u * 2**0.5)) - math.erf((off - half) / (u * 2**0.5)))


def _check_times(time_s: Array, signal: Array) -> None:
    if len(time_s) != len(signal) or len(time_s) < 2:
        raise ModelError(f"{len(time_s)} times do not fit {len(signal)} samples")
    if not bool(np.all(np.diff(time_s) > 0.0)):
        raise ModelError("times must rise from sample to sample")


# The channel filter of crash tests, SAE J211-1 / ISO 6487: two poles, run forward and backward.

# Lengths of the blocks that the recursion is cut into; they change speed, not the result.
_BLOCK = 32
_GROUP = 32


def coefficients(cfc: float, sample_hz: float, factor: float) -> tuple[float, ...]:
    """Return a0, a1, a2, b1, b2 of the recursion of the two-pole filter.

    ``y[n] = a0 x[n] + a1 x[n-1] + a2 x[n-2] + b1 y[n-1] + b2 y[n-2]``.

    Source: sae-j211-1, appendix C. ISO 6487 differs in ``factor`` only.

    Args:
        cfc: Channel frequency class, such as 60, 180, 600, 1000. [Hz] It is not the corner
            frequency: the corner of both passes lies at CFC / 0.6.
        sample_hz: Sampling rate. [Hz]
        factor: Design frequency over CFC: 2.0775.

    Raises:
        ModelError: The class is not positive or lies above what the rate can carry.
    """
    if not 0.0 < factor * cfc < 0.5 * sample_hz:
        raise ModelError(
            f"CFC {cfc} cannot be applied at {sample_hz} samples per second",
            remedy="Use a lower class or a recording with more samples per second.",
        )
    wa = math.tan(math.pi * factor * cfc / sample_hz)
    below = 1.0 + math.sqrt(2.0) * wa + wa * wa
    a0 = wa * wa / below
    b1 = -2.0 * (wa * wa - 1.0) / below
    b2 = (-1.0 + math.sqrt(2.0) * wa - wa * wa) / below
    return a0, 2.0 * a0, a0, b1, b2


def causal(signal: Array, taps: tuple[float, ...], settled: bool) -> Array:
    """Return one forward pass over the first axis.

    Args:
        signal: Samples, one channel per column, or one channel.
        taps: From ``coefficients``.
        settled: Start as if the first sample had been there for ever; else from rest.
    """
    columns = np.asarray(signal, dtype=np.float64).reshape(len(signal), -1)
    a0, a1, a2, b1, b2 = taps
    step = np.array([[b1, 1.0], [b2, 0.0]])
    drive = np.array([a1 + b1 * a0, a2 + b2 * a0])
    start = np.zeros((2, columns.shape[1]))
    if settled:
        start = np.outer(np.linalg.solve(np.eye(2) - step, drive), columns[0])
    return _scan(columns, step, drive, a0, start).reshape(np.shape(signal))


def zero_phase(signal: Array, sample_hz: float, cfc: float, factor: float, pad_s: float) -> Array:
    """Return the signal filtered forward and backward, with mirrored ends.

    Source: sae-j211-1, appendix C. Ends are continued odd about their last sample, ``pad_s`` long,
    and each pass starts settled, so that a constant passes unchanged.

    Args:
        signal: Samples, one channel per column, or one channel; no gaps (NaN).
        sample_hz: Sampling rate. [Hz]
        cfc: Channel frequency class. [Hz]
        factor: Design frequency over CFC: 2.0775.
        pad_s: Length of the continuation at each end. [s]

    Raises:
        ModelError: See ``coefficients``; or the signal is too short to be mirrored.
    """
    taps = coefficients(cfc, sample_hz, factor)
    pad = max(6, round(pad_s * sample_hz))
    if len(signal) < pad + 2:
        raise ModelError(
            f"{len(signal)} samples are too few to filter: {pad + 2} are needed",
            remedy="Use a longer recording.",
        )
    front = 2.0 * signal[0] - signal[pad:0:-1]
    back = 2.0 * signal[-1] - signal[-2 : -pad - 2 : -1]
    longer = np.concatenate([front, signal, back])
    forward = causal(longer, taps, settled=True)
    backward = causal(forward[::-1], taps, settled=True)[::-1]
    return np.asarray(backward[pad : pad + len(signal)])


def _scan(columns: Array, step: Array, drive: Array, direct: float, start: Array) -> Array:
    """Run the two-state recursion block by block, as matrix products."""
    count, channels = columns.shape
    blocks = -(-count // _BLOCK)
    padded = np.zeros((blocks * _BLOCK, channels))
    padded[:count] = columns
    powers = _powers(step, _BLOCK)
    impulse = np.concatenate([[direct], (powers[:-1] @ drive)[:, 0]])
    inside = _toeplitz(impulse)
    reach = (powers[_BLOCK - 1 :: -1] @ drive).T
    cut = padded.reshape(blocks, _BLOCK, channels)
    states = _states(reach @ cut, powers[_BLOCK], start)
    result = inside @ cut + powers[:_BLOCK, 0, :] @ states
    return np.asarray(result.reshape(-1, channels)[:count])


def _powers(step: Array, count: int) -> Array:
    powers = np.empty((count + 1, 2, 2))
    powers[0] = np.eye(2)
    for k in range(count):
        powers[k + 1] = powers[k] @ step
    return powers


def _toeplitz(impulse: Array) -> Array:
    lag = np.subtract.outer(np.arange(_BLOCK), np.arange(_BLOCK))
    return np.where(lag >= 0, impulse[np.maximum(lag, 0)], 0.0)


def _states(push: Array, leap: Array, start: Array) -> Array:
    """Return the state at the start of each block: ``s[k+1] = leap s[k] + push[k]``."""
    blocks, _, channels = push.shape
    groups = -(-blocks // _GROUP)
    padded = np.zeros((groups * _GROUP, 2, channels))
    padded[:blocks] = push
    flat = padded.reshape(groups, 2 * _GROUP, channels)
    powers = _powers(leap, _GROUP)
    lag = np.subtract.outer(np.arange(_GROUP), np.arange(_GROUP)) - 1
    mixing = np.where((lag >= 0)[:, :, None, None], powers[np.maximum(lag, 0)], 0.0)
    mixing = mixing.transpose(0, 2, 1, 3).reshape(2 * _GROUP, 2 * _GROUP)
    inside = mixing @ flat
    ends = powers[_GROUP - 1 :: -1].transpose(1, 0, 2).reshape(2, -1) @ flat
    carried = np.empty((groups, 2, channels))
    state = start
    for k in range(groups):
        carried[k] = state
        state = powers[_GROUP] @ state + ends[k]
    full = inside + powers[:_GROUP].reshape(2 * _GROUP, 2) @ carried
    return np.asarray(full.reshape(-1, 2, channels)[:blocks])
