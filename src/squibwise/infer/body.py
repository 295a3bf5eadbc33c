"""What the body and the recorder say of struck zone, direction and severity."""

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.scenarios import Blow, Scenario, struck
from squibwise.infer.stories import Stories
from squibwise.model.evidence import Impact, Recorder
from squibwise.model.words import Extent

Array = npt.NDArray[np.float64]
_HOURS = 12


def impact_rows(entry: Impact, rows: Stories, catalog: Catalog) -> Array:
    """Return how likely the body looks like this, by row of the event table."""
    floor = catalog.firing.scans.floor
    values = [max(floor, _seen(entry, s, catalog)) for s in rows.scenarios]
    return rows.where(np.array(values))


def _seen(entry: Impact, scenario: Scenario, catalog: Catalog) -> float:
    body = catalog.firing.scans.body
    if entry.extent == "none":
        quiet = scenario.kind in ("none", "outside")
        return 1.0 if quiet else body["nothing_seen_after_crash"].value
    if scenario.kind == "none":
        return body["impact_seen_without_crash"].value
    if scenario.kind in ("earlier", "outside"):
        earlier = scenario.kind == "earlier"
        return body["dent_of_an_earlier_crash" if earlier else "dent_made_otherwise"].value
    chances = [
        _blow_seen(entry, blow, catalog)
        for order, blow in enumerate(scenario.blows, start=1)
        if entry.order is None or entry.order == order
    ]
    return max(chances, default=body["dent_of_an_earlier_crash"].value)


def _blow_seen(entry: Impact, blow: Blow, catalog: Catalog) -> float:
    result = 1.0
    if entry.zone is not None:
        result *= _zone(entry.zone, blow, catalog)
    if entry.clock is not None:
        result *= _clock(entry.clock, blow, catalog)
    if entry.extent is not None:
        result *= _extent(entry.extent, blow, catalog)
    return result


def _zone(zone: str, blow: Blow, catalog: Catalog) -> float:
    """Return the chance that this zone is named for a blow; the wrong side is a floor's worth."""
    body, zones = catalog.firing.scans.body, catalog.firing.events.zone
    same_side = [z.name for z in zones if z.side == blow.zone.side]
    if zone == blow.zone.name:
        return body["same_zone"].value if len(same_side) > 1 else 1.0
    if zone in same_side:
        return (1.0 - body["same_zone"].value) / (len(same_side) - 1)
    return catalog.firing.scans.floor


def _clock(clock: int, blow: Blow, catalog: Catalog) -> float:
    body = catalog.firing.scans.body
    apart = abs(clock - blow.zone.clock) % _HOURS
    apart = min(apart, _HOURS - apart)
    names = {0: "clock_exact", 1: "clock_next"}
    return body[names.get(apart, "clock_other")].value


def _extent(extent: Extent, blow: Blow, catalog: Catalog) -> float:
    """Return the density of this severity for an extent, against that of any extent."""
    severity, side = catalog.priors.severity, struck(blow.zone.side, "left")
    speed = np.log(max(blow.speed, 1.0))
    seen, usual = severity.of(side, extent), severity.of(side)
    if seen.extent is None:
        return 1.0
    return float(
        _density(speed, seen.log_mean, seen.log_sd) / _density(speed, usual.log_mean, usual.log_sd)
    )


def _density(value: float, mean: float, sd: float) -> float:
    return float(np.exp(-0.5 * ((value - mean) / sd) ** 2) / sd)


def recorder_direction(entry: Recorder, rows: Stories, catalog: Catalog) -> Array:
    """Return how well a recorded delta-V points at the zone struck, by row."""
    forward = -(entry.delta_v_long_kmh or 0.0)
    lateral = entry.delta_v_lat_kmh or 0.0
    vague = catalog.fact("crash-data.vague-below").number()
    if entry.delta_v_long_kmh is None or np.hypot(forward, lateral) < vague:
        return np.ones(len(rows.weight))
    angle = np.degrees(np.arctan2(-lateral, forward)) % 360.0
    clock = int(np.round(angle / 30.0)) % _HOURS or _HOURS
    other = catalog.firing.scans.body["dent_of_an_earlier_crash"].value
    values = [
        max((_pointing(clock, b, catalog) for b in _meant(entry, s)), default=other)
        for s in rows.scenarios
    ]
    return rows.where(np.array(values))


def _meant(entry: Recorder, scenario: Scenario) -> tuple[Blow, ...]:
    """Return the blow that a recorded event tells of; the only one when there is one."""
    if len(scenario.blows) < 2:
        return scenario.blows
    return scenario.blows[entry.event - 1 : entry.event]


def _pointing(clock: int, blow: Blow, catalog: Catalog) -> float:
    """Return the chance of this direction for a blow, generous to neighbours."""
    body = catalog.firing.scans.body
    apart = abs(clock - blow.zone.clock) % _HOURS
    apart = min(apart, _HOURS - apart)
    return max(body["clock_other"].value, body["clock_exact"].value * 0.5**apart)
