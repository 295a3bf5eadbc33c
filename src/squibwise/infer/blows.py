"""An impact: how hard it may have been, as usual, or as a recorder tells it on one axis or both."""

import math
from collections.abc import Iterator

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import ZoneRow
from squibwise.catalog.load import Catalog
from squibwise.model.evidence import Recorder
from squibwise.numerics.curves import Struck

Array = npt.NDArray[np.float64]
_RECORDED_STEPS = np.linspace(-1.7, 1.7, 5)
SIGNS = {"front": -1.0, "rear": 1.0, "left": 1.0, "right": -1.0}
"""Of the change of speed along the axis on which a side lies, by the side that is struck."""


class Blow(msgspec.Struct, frozen=True):
    """One impact.

    Attributes:
        zone: Struck zone.
        speed: Resultant delta-V on the scale of damage estimates. [km/h]
        forward: Forward speed lost. [km/h] None = spread over the usual directions of that side.
        lateral: Sideways change. [km/h] None likewise.
        gate: Share of the curves' chances that is left at this speed: 0 at a standstill, and
            where it was measured below the published lower bound of firing.
        hour: Direction of force that somebody named, 1 to 12; None = none, or of another side.
        is_completed: One axis alone was recorded; the other is that of a usual direction.
        is_missed: A recorder shows too little of it: what that says is of another event or none.
    """

    zone: ZoneRow
    speed: float
    forward: float | None = None
    lateral: float | None = None
    gate: float = 1.0
    hour: int | None = None
    is_completed: bool = False
    is_missed: bool = False


def struck(side: str, driver_side: str) -> Struck:
    """Return a struck side as seen from the seat on ``driver_side``."""
    if side in ("left", "right"):
        return "near" if side == driver_side else "far"
    return "rear" if side == "rear" else "front"


def usual_blows(zone: ZoneRow, hour: int | None, catalog: Catalog) -> Iterator[tuple[Blow, float]]:
    """Yield blows on a zone as hard as usual, with their shares; they sum to one."""
    grid = np.array(catalog.firing.events.severity_grid_kmh)
    spread = catalog.priors.severity.of(struck(zone.side, "left"))
    weights = lognormal_share(grid, spread.log_mean, spread.log_sd)
    for speed, weight in zip(grid, weights, strict=True):
        gate = _gate_of_estimate(float(speed), catalog)
        yield Blow(zone, float(speed), gate=gate, hour=hour), float(weight)


def lognormal_share(grid: Array, log_mean: float, log_sd: float) -> Array:
    """Return a lognormal density on grid points, summing to one."""
    density = np.exp(-0.5 * ((np.log(grid) - log_mean) / log_sd) ** 2)
    weights = density * np.gradient(np.log(grid))
    return np.asarray(weights / weights.sum())


def recorded_blows(
    zone: ZoneRow, recorder: Recorder, catalog: Catalog, *, is_completed: bool = False
) -> Iterator[tuple[Blow, float]]:
    """Return the blow that a recorder, pulse or estimate tells of, with its uncertainty."""
    forward = -(recorder.delta_v_long_kmh or 0.0)
    lateral = recorder.delta_v_lat_kmh or 0.0
    speed = float(np.hypot(forward, lateral))
    ahead, aside = (forward / speed, lateral / speed) if speed else _AXES[zone.side]
    spread = _estimated if recorder.method == "estimate" else _measured
    for true, gate, weight in spread(recorder, speed, catalog):
        along, across = ahead * true, aside * true
        yield Blow(zone, true, along, across, gate, None, is_completed), weight


_AXES = {"front": (1.0, 0.0), "rear": (-1.0, 0.0), "left": (0.0, 1.0), "right": (0.0, -1.0)}
_Spread = Iterator[tuple[float, float, float]]


def _measured(recorder: Recorder, speed: float, catalog: Catalog) -> _Spread:
    """Yield what speeds a reading may mean, on the scale of estimates, their gates and weights."""
    own = _own_spread(recorder, speed, catalog) if speed else 0.0
    for true, weight in _around(speed, own):
        yield catalog.priors.severity.bias * true, _gate(recorder, true, catalog), weight


def _estimated(recorder: Recorder, speed: float, catalog: Catalog) -> _Spread:
    """Yield the same for an estimate from the damage.

    The usual scatter of estimates stands in the curves already. One less sure than usual is spread
    over what it scatters more. One that is surer is a measured one by the share of the usual
    variance that it is without, and an estimate as usual by the rest.
    """
    severity = catalog.priors.severity
    usual = severity.sd_kmh
    own = usual if recorder.u_kmh is None else recorder.u_kmh
    surer = max(0.0, 1.0 - (own / usual) ** 2)
    more = math.sqrt(max(0.0, own**2 - usual**2))
    for told, weight in _around(speed, more) if surer < 1.0 else ():
        yield told, _gate_of_estimate(told, catalog), (1.0 - surer) * weight
    for told, weight in _around(speed, own) if surer else ():
        yield told, gate_of_measured(told / severity.bias, catalog), surer * weight


def _around(speed: float, spread: float) -> Iterator[tuple[float, float]]:
    """Yield speeds around one, with their shares of a normal distribution; none is below zero."""
    if not spread:
        yield speed, 1.0
        return
    weights = np.exp(-0.5 * _RECORDED_STEPS**2)
    for step, weight in zip(_RECORDED_STEPS, weights / weights.sum(), strict=True):
        yield max(0.0, speed + float(step) * spread), float(weight)


def _own_spread(recorder: Recorder, speed: float, catalog: Catalog) -> float:
    """Return the standard uncertainty of a reading: as stated, or as the rule asks of a recorder.

    The scatter of estimates stands in the curves already; a reading is not blurred by it again.
    """
    if recorder.u_kmh is not None:
        return recorder.u_kmh
    return catalog.firing.scans.recorder["accuracy"].value * speed / math.sqrt(3.0)


def measured_speed(recorder: Recorder) -> float | None:
    """Return the change of speed that was measured; None for an estimate or one axis only."""
    along, across = recorder.delta_v_long_kmh, recorder.delta_v_lat_kmh
    if recorder.method == "estimate" or along is None or across is None or recorder.rollover:
        return None
    return float(np.hypot(along, across))


def _gate(recorder: Recorder, speed: float, catalog: Catalog) -> float:
    """Return the share of the curves' chances that is left at a speed of what is recorded."""
    if measured_speed(recorder) is None:
        return _gate_of_estimate(speed, catalog)
    return gate_of_measured(speed, catalog)


def gate_of_measured(speed: float, catalog: Catalog) -> float:
    """Return the same for a speed that was measured: nothing fires below the published bound."""
    events = catalog.firing.events
    span = events.fires_fully_from_kmh - events.fires_from_kmh
    return min(1.0, max(0.0, (speed - events.fires_from_kmh) / span))


def shows_a_crash(recorder: Recorder, catalog: Catalog) -> float:
    """Return how far a recorder with both axes shows enough for something to have fired: 0 to 1."""
    if recorder.rollover:
        return 1.0
    axes = recorder.delta_v_long_kmh or 0.0, recorder.delta_v_lat_kmh or 0.0
    speed = float(np.hypot(*axes))
    if recorder.method == "estimate":
        return sum(gate * weight for _, gate, weight in _estimated(recorder, speed, catalog))
    return _gate(recorder, speed, catalog)


def _gate_of_estimate(speed: float, catalog: Catalog) -> float:
    return min(1.0, speed / catalog.firing.events.estimate_full_from_kmh)


def told_axis(recorder: Recorder, side: str) -> float | None:
    """Return the change of speed on the axis of a struck side, where it alone is told.

    None where both axes are recorded or neither, and where it is the other one.
    """
    along, across = recorder.delta_v_long_kmh, recorder.delta_v_lat_kmh
    value, other = (along, across) if side in ("front", "rear") else (across, along)
    return None if other is not None or recorder.method == "estimate" else value


def own_axis(recorder: Recorder, side: str) -> float | None:
    """Return the same, and None too where it points elsewhere."""
    value = told_axis(recorder, side)
    return value if value is not None and value * SIGNS[side] >= 0.0 else None


def is_on_one_axis(recorder: Recorder) -> bool:
    """Return whether a recorder gives the change of speed of a blow on one axis alone."""
    axes = (recorder.delta_v_long_kmh, recorder.delta_v_lat_kmh)
    return axes.count(None) == 1 and recorder.method != "estimate" and not recorder.rollover


def blows_across(
    zone: ZoneRow, recorder: Recorder, catalog: Catalog
) -> Iterator[tuple[Blow, float]]:
    """Yield usual blows on a zone, turned so far that they give the axis across that is told."""
    lengthwise = zone.side in ("front", "rear")
    across = recorder.delta_v_lat_kmh if lengthwise else recorder.delta_v_long_kmh
    off = catalog.priors.severity.bias * (across or 0.0)
    for blow, share in usual_blows(zone, None, catalog):
        main = SIGNS[zone.side] * math.sqrt(max(0.0, blow.speed**2 - off * off))
        forward, lateral = (-main, off) if lengthwise else (-off, main)
        speed = max(blow.speed, abs(off))
        yield msgspec.structs.replace(blow, speed=speed, forward=forward, lateral=lateral), share


def complete_axes(
    recorder: Recorder, zone: ZoneRow, catalog: Catalog
) -> Iterator[tuple[Recorder, float]]:
    """Yield a recorder with the axis that it leaves out, by the usual directions of a side.

    Each direction counts as often as it is and as the speed that then was is usual. Weights sum to
    one; nothing is yielded where the axis of the side is not the one that is told.
    """
    value = told_axis(recorder, zone.side)
    if value is None:
        return
    severity = catalog.priors.severity
    usual = severity.directions(struck(zone.side, "left"))
    spread = severity.of(struck(zone.side, "left"))
    shares: dict[float, float] = {}
    for degrees, share in zip(usual.degrees, usual.weight, strict=True):
        speed = severity.bias * max(abs(value), 1.0) / math.cos(math.radians(degrees))
        far = (math.log(speed) - spread.log_mean) / spread.log_sd
        shares[degrees] = shares.get(degrees, 0.0) + share * math.exp(-0.5 * far * far)
    for degrees, share in shares.items():
        other = abs(value) * math.tan(math.radians(degrees))
        axes = (value, other) if zone.side in ("front", "rear") else (-other, value)
        told = msgspec.structs.replace(recorder, delta_v_long_kmh=axes[0], delta_v_lat_kmh=axes[1])
        yield told, share / sum(shares.values())


def unrecorded(recorders: tuple[Recorder, ...], catalog: Catalog) -> float:
    """Return the chance that a blow was as hard as usual instead of as recorded.

    A recorder that shows too little to fire anything may be that of another unit or event, erased,
    or one that had no power.
    """
    if not recorders:
        return 1.0
    if any(r.method == "estimate" for r in recorders):
        return 0.0  # of this very damage
    weak = 1.0 - max(shows_a_crash(r, catalog) for r in recorders)
    misses = weak * chance_of_a_miss(catalog)
    so_mild = 1.0 - weak + weak * catalog.firing.events.crash_below_bound.value
    return misses / (misses + so_mild)


def shows_on_one_axis(recorder: Recorder, catalog: Catalog) -> float:
    """Return how far the one axis that a recorder gives shows enough to fire anything: 0 to 1."""
    value = recorder.delta_v_long_kmh or recorder.delta_v_lat_kmh or 0.0
    return 1.0 if recorder.rollover else gate_of_measured(abs(value), catalog)


def missed_on_one_axis(recorder: Recorder, catalog: Catalog) -> float:
    """Return how likely a crash is to leave so little on one axis for being missed."""
    return (1.0 - shows_on_one_axis(recorder, catalog)) * chance_of_a_miss(catalog)


def chance_so_mild(recorder: Recorder, catalog: Catalog) -> float:
    """Return how likely a crash is to be as mild as a recorder with both axes shows, or harder."""
    shown = shows_a_crash(recorder, catalog)
    return shown + (1.0 - shown) * catalog.firing.events.crash_below_bound.value


def chance_of_showing(shown: float, catalog: Catalog) -> float:
    """Return how likely a crash is to leave a record that shows so much of it, 0 to 1, or less."""
    little = catalog.firing.events.crash_below_bound.value + chance_of_a_miss(catalog)
    return shown + (1.0 - shown) * little


def chance_of_a_miss(catalog: Catalog) -> float:
    """Return how often a recorder shows too little of a crash to fire anything."""
    return catalog.firing.scans.recorder["misses_the_event"].value
