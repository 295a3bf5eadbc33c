"""Resistance along a circuit: its wire, and which segment holds an extra one."""

import math

import msgspec
import numpy as np
from numpy.typing import NDArray

from squibwise.errors import ModelError

Array = NDArray[np.float64]

NOWHERE = "nowhere"
BRIDGED = "bridged:"
"""Before the name of a segment whose pair is bridged."""


def ohm_per_m(mm2: float, cabin_c: float, resistivity: float, alpha_20: float) -> float:
    """Return the resistance of one metre of wire, in ohm/m.

    Args:
        mm2: Copper cross-section. [mm2]
        cabin_c: Temperature of the wire. [degC] Good from about -50 to 150 degC.
        resistivity: At 20 degC. [ohm mm2/m] 1/58 for standard annealed copper.
        alpha_20: Temperature coefficient at 20 degC. [1/K]

    Raises:
        ModelError: A cross-section not above 0.

    Source: iec-60287, table 1 for the coefficient; linear in temperature. Solid wire: stranded
    wire is some per cent higher.
    """
    if not mm2 > 0.0:
        raise ModelError(f"a wire of {mm2} mm2 has no resistance")
    return resistivity / mm2 * (1.0 + alpha_20 * (cabin_c - 20.0))


class PointChain(msgspec.Struct, frozen=True, kw_only=True):
    """Resistances in series, from the point of reading outward.

    Attributes:
        names: Segments in order.
        ohm: Usual resistance of each. [ohm]
        u_ohm: Standard uncertainty of each: its own tolerance. [ohm]
        u_reading: Standard uncertainty of one reading by itself. [ohm]
        u_common: Standard uncertainty of what all readings share: leads, load. [ohm]
    """

    names: tuple[str, ...]
    ohm: tuple[float, ...]
    u_ohm: tuple[float, ...]
    u_reading: float
    u_common: float

    def __post_init__(self) -> None:
        if not len(self.names) == len(self.ohm) == len(self.u_ohm):
            raise ModelError("every segment needs a resistance and an uncertainty")
        if not all(u >= 0.0 for u in (*self.u_ohm, self.u_reading, self.u_common)):
            raise ModelError("uncertainties are numbers from 0")


def likelihoods(
    chain: PointChain,
    reached: tuple[int, ...],
    ohm: Array,
    extras: Array,
    *,
    bridges: tuple[float, Array] | None = None,
    correlated: bool = True,
) -> dict[str, float]:
    """Return the relative likelihood of the readings for an extra in each segment and in none.

    Args:
        chain: The segments.
        reached: Number of segments that each reading goes through.
        ohm: The readings, less the known load at their end. [ohm]
        extras: Sizes of extra resistance to allow for, equally likely. [ohm]
        bridges: The load, and sizes of a path across the pair in a segment that are equally
            likely; None = no such path is thought of. [ohm]
        correlated: Keep what the readings share; False only to show what that costs.

    Returns:
        By segment name, by name behind ``bridged:``, and ``nowhere``; the largest is one.

    Raises:
        ModelError: A reading without a point, or beyond the chain.
    """
    if len(reached) != len(ohm) or not all(0 < k <= len(chain.names) for k in reached):
        raise ModelError("every reading needs a point of the chain")
    through = np.array([[float(s < k) for s in range(len(chain.names))] for k in reached])
    covariance = _covariance(chain, through)
    if not correlated:
        covariance = np.diag(np.diag(covariance))
    left = ohm - through @ np.array(chain.ohm)
    logs = {NOWHERE: _log_normal(left, covariance)}
    for s, name in enumerate(chain.names):
        each = [_log_normal(left - extra * through[:, s], covariance) for extra in extras]
        logs[name] = _log_mean(each)
        if bridges is not None:
            load, sizes = bridges
            lower = (_bridge(chain, s, reached, load, float(size)) for size in sizes)
            logs[BRIDGED + name] = _log_mean([_log_normal(left - x, covariance) for x in lower])
    top = max(logs.values())
    return {name: math.exp(value - top) for name, value in logs.items()}


def _bridge(
    chain: PointChain, segment: int, reached: tuple[int, ...], load: float, size: float
) -> Array:
    """Return what a path across the pair adds to each reading: less than nought beyond it."""
    beyond = [load + math.fsum(chain.ohm[segment + 1 : k]) for k in reached]
    shifts = [size * b / (size + b) - b for b in beyond]
    return np.array([x if segment < k else 0.0 for x, k in zip(shifts, reached, strict=True)])


def _covariance(chain: PointChain, through: Array) -> Array:
    """Return the covariance of the readings: tolerances they share, their own, and the common."""
    count = through.shape[0]
    shared = through @ np.diag(np.square(chain.u_ohm)) @ through.T
    own = chain.u_reading**2 * np.eye(count)
    # A picoohm keeps the matrix regular when every uncertainty is said to be nought.
    return np.asarray(shared + own + chain.u_common**2 + 1e-24 * np.eye(count))


def _log_normal(left: Array, covariance: Array) -> float:
    _, log_det = np.linalg.slogdet(covariance)
    return -0.5 * (float(left @ np.linalg.solve(covariance, left)) + float(log_det))


def _log_mean(logs: list[float]) -> float:
    top = max(logs)
    return top + math.log(math.fsum(math.exp(v - top) for v in logs) / len(logs))


def posterior(likelihood: dict[str, float], prior: dict[str, float]) -> dict[str, float]:
    """Return probabilities of the segments from likelihoods and prior weights."""
    weight = {name: likelihood[name] * prior[name] for name in prior}
    total = math.fsum(weight.values())
    return {name: w / total for name, w in weight.items()}


def perfect(chain: PointChain) -> PointChain:
    """Return the chain as a meter without any error would see it: only the tolerances are left."""
    return msgspec.structs.replace(chain, u_reading=1e-6, u_common=1e-6)
