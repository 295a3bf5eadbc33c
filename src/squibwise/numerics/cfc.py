"""The channel filter of crash tests, SAE J211-1 / ISO 6487: two poles, run forward and backward."""

import math

import numpy as np
import numpy.typing as npt

from squibwise.errors import ModelError

Array = npt.NDArray[np.float64]
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
