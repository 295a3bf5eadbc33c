"""A table's channels to one record: recorder series as they are, accelerations integrated."""

from collections.abc import Sequence

import numpy as np

from squibwise.intake.crash_data.channels import Heard, heard, rate_findings
from squibwise.intake.crash_data.records import Array, Settings
from squibwise.intake.crash_data.speeds import (
    Course,
    Speeds,
    aimed,
    direction_findings,
    judged,
    possible,
    trigger_findings,
    worst,
)
from squibwise.intake.crash_data.table import Channel, Table
from squibwise.model.evidence import Recorder
from squibwise.model.origin import Finding, Origin
from squibwise.numerics.pulse import Direction

_AXES = {"x": "long", "y": "lat"}


def record_of(
    table: Table, settings: Settings
) -> tuple[Recorder | None, Direction | None, list[Finding]]:
    """Return what a table says of one event; no record when no channel can speak for the car."""
    series = [c for c in table.channels if c.quantity == "speed" and c.axis in _AXES]
    pulses = [c for c in table.channels if c.quantity == "acceleration" and c.axis in _AXES]
    if series:
        return _from_series(table, series, settings)
    course, u_kmh, findings = integrated(table.time_s, pulses, settings)
    if course is None:
        message = "no channel along or across the car can be used: no delta-V was taken from it."
        remedy = "See the reasons above; type a known delta-V in as kind = 'recorder'."
        findings.append(
            settings.finding("crash-data-no-channel", "error", message, remedy, table.line)
        )
        return None, None, findings
    found, notes = possible(worst(course), settings)
    findings += notes
    speeds = aimed(found.get("long"), found.get("lat"), u_kmh, settings)
    findings += direction_findings(speeds, settings) + trigger_findings(course, {}, settings)
    return _recorder(table, speeds, "pulse", settings), speeds.direction, findings


def _from_series(
    table: Table, series: Sequence[Channel], settings: Settings
) -> tuple[Recorder | None, Direction | None, list[Finding]]:
    by_axis, findings = dict[str, Array](), list[Finding]()
    for channel in series:
        axis = _AXES[channel.axis]
        if axis in by_axis:
            text = f"column '{channel.name}' was not used: another one is for the same axis."
            findings.append(settings.finding("crash-data-column", "note", text, line=table.line))
            continue
        by_axis[axis] = _held(channel.values)
    zeros = np.zeros(len(table.time_s))
    course = Course(
        time_s=table.time_s,
        long_kmh=by_axis.get("long", zeros),
        lat_kmh=by_axis.get("lat", zeros),
        has_long="long" in by_axis,
        has_lat="lat" in by_axis,
    )
    speeds, notes = judged(course, {}, settings)
    return _recorder(table, speeds, "recorder", settings), speeds.direction, findings + notes


def _held(values: Array) -> Array:
    """Return a series whose missing samples hold the last one before them."""
    there = np.isfinite(values)
    last = np.maximum.accumulate(np.where(there, np.arange(len(values)), 0))
    return np.nan_to_num(values[last])


def integrated(
    time_s: Array, channels: Sequence[Channel], settings: Settings
) -> tuple[Course | None, float, list[Finding]]:
    """Return the course of delta-V from accelerations, its uncertainty, and the findings.

    The channels of one axis that can be used are averaged, after one that disagrees with at
    least two others has been left out.
    """
    usable, findings = list[Heard](), rate_findings(time_s, settings) if channels else []
    for channel in channels:
        one, notes = heard(time_s, channel, settings)
        findings += notes
        usable += [one] if one is not None else []
    means, parts = dict[str, Array](), list[float]()
    for axis, name in _AXES.items():
        group, notes = agreeing([h for h in usable if h.axis == axis], settings)
        findings += notes
        if group:
            means[name] = np.asarray(np.mean([h.delta_v for h in group], axis=0))
            parts.append(_u_of(group, means[name]))
    if not means:
        return None, 0.0, findings
    zeros = np.zeros(len(time_s))
    course = Course(
        time_s=time_s,
        long_kmh=means.get("long", zeros),
        lat_kmh=means.get("lat", zeros),
        has_long="long" in means,
        has_lat="lat" in means,
    )
    largest = max(float(np.abs(v).max()) for v in means.values())
    gain = settings.figures["pulse-gain"] / 100.0 * largest
    return course, float(np.hypot(max(parts), gain)), findings


def _u_of(group: Sequence[Heard], mean: Array) -> float:
    at = int(np.abs(mean).argmax())
    spread = float(np.std([h.delta_v[at] for h in group], ddof=1)) if len(group) > 1 else 0.0
    return float(np.hypot(spread / len(group) ** 0.5, max(h.u_kmh for h in group)))


def agreeing(group: list[Heard], settings: Settings) -> tuple[list[Heard], list[Finding]]:
    """Return the channels of one axis that agree, and a warning for each that does not."""
    limit, findings = settings.figures["disagreement"], list[Finding]()
    while len(group) > 1:
        middle = np.median([h.delta_v for h in group], axis=0)
        apart = [float(np.abs(h.delta_v - middle).max()) for h in group]
        k = int(np.argmax(apart))
        if apart[k] <= limit / (2.0 if len(group) == 2 else 1.0):
            break
        others = "the other one" if len(group) == 2 else "the others"
        distance = apart[k] * (2.0 if len(group) == 2 else 1.0)
        message = f"channel '{group[k].name}' lies up to {distance:.1f} km/h from {others}."
        if len(group) == 2:
            remedy = "Both were used, with the wider uncertainty: find out which one is right."
            findings.append(settings.finding("crash-data-disagree", "warning", message, remedy))
            break
        remedy = "It was left out."
        findings.append(settings.finding("crash-data-disagree", "warning", message, remedy))
        group = [h for j, h in enumerate(group) if j != k]
    return group, findings


def _recorder(table: Table, speeds: Speeds, method: str, settings: Settings) -> Recorder:
    return Recorder(
        id=f"event-{table.event}",
        record="stored" if method == "recorder" else "unknown",
        delta_v_long_kmh=speeds.long_kmh,
        delta_v_lat_kmh=speeds.lat_kmh,
        method=method,
        u_kmh=speeds.u_kmh,
        event=table.event,
        origin=Origin(file=settings.name, line=table.line),
    )
