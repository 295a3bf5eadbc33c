"""A table's channels to one record: series as they are, accelerations integrated."""

from collections.abc import Sequence

import msgspec
import numpy as np

from squibwise.intake.crash_data.settings import Array, Settings
from squibwise.intake.crash_data.speeds import (
    Course,
    Speeds,
    aimed,
    direction_findings,
    judged,
    possible,
    time_findings,
    trigger_findings,
    worst,
)
from squibwise.intake.crash_data.table import Channel, Table
from squibwise.model.evidence import Recorder
from squibwise.model.origin import Finding, Origin
from squibwise.numerics.pulse import Direction, bias_before, delta_v_kmh, zero_phase


class Heard(msgspec.Struct, frozen=True, kw_only=True):
    """A channel that may be used.

    Attributes:
        name: Header as written.
        axis: Direction.
        delta_v: Cumulative change of speed. [km/h]
        u_kmh: Standard uncertainty from its bias at the end of the event. [km/h]
        peak_ms2: Peak of the CFC 60 acceleration, with its sign; NaN when not filtered. [m/s2]
        swing: Largest opposite peak as a share of the main one; 0 when not filtered.
    """

    name: str
    axis: str
    delta_v: Array
    u_kmh: float
    peak_ms2: float
    swing: float = 0.0


def heard(
    time_s: Array, channel: Channel, settings: Settings
) -> tuple[Heard | None, list[Finding]]:
    """Return an acceleration channel integrated, or None and the reason for rejecting it."""
    reason = rejection(time_s, channel, settings)
    if reason:
        return None, [_rejected(channel, reason, settings)]
    samples = _bridged(time_s, channel.values)
    bias = bias_before(time_s, samples)
    findings = _bias_findings(channel, bias.samples, settings)
    smooth = _filtered(time_s, samples - bias.mean, settings.figures["cfc-integrate"], settings)
    shown = _filtered(time_s, samples - bias.mean, settings.figures["cfc-show"], settings)
    used = samples - bias.mean if smooth is None else smooth
    length = float(time_s[-1])
    return Heard(
        name=channel.name,
        axis=channel.axis,
        delta_v=delta_v_kmh(time_s, used),
        u_kmh=3.6 * length * bias.u if np.isfinite(bias.u) else 0.0,
        peak_ms2=float("nan") if shown is None else float(shown[int(np.abs(shown).argmax())]),
        swing=0.0 if shown is None else _swing(shown),
    ), findings


def steady(group: list[Heard], settings: Settings) -> tuple[list[Heard], list[Finding]]:
    """Return the channels of one axis that may speak, and why the others may not.

    One that swings back is no rigid part of the body. Where all of an axis swing back, as across
    the car in a hit from the front, each is judged against the others: those speak that differ
    from another one by less than a share of what they have in common.
    """
    limit = settings.figures["swing"] / 100.0
    calm = [h for h in group if h.swing <= limit]
    if not calm:
        calm = [h for h in group if any(_alike(h, o, settings) for o in group if o is not h)]
    ending = "" if any(h.swing <= limit for h in group) else ", and no other one agrees with it"
    return calm, [
        _named_rejected(
            h.name,
            f"it swings back by {h.swing:.0%} of its peak, as no rigid part of the body does"
            + ending,
            settings,
        )
        for h in group
        if not any(h is c for c in calm)
    ]


def _alike(one: Heard, other: Heard, settings: Settings) -> bool:
    """Return whether two channels differ by little beside what they have in common."""
    apart = float(np.abs(one.delta_v - other.delta_v).max())
    common = 0.5 * float(np.abs(one.delta_v + other.delta_v).max())
    share = settings.figures["returning-apart"] / 100.0
    return apart <= min(share * common, settings.figures["disagreement"])


def rejection(time_s: Array, channel: Channel, settings: Settings) -> str:
    """Return why a channel cannot speak for the car; empty when nothing is wrong with it."""
    if channel.not_rigid:
        return f"'{channel.not_rigid}' is not a rigid part of the occupant compartment"
    gap_s = longest_gap_s(time_s, channel.values)
    if gap_s > settings.figures["gap"] / 1e3:
        return f"samples are missing for {gap_s * 1e3:.0f} ms"
    stuck_s = longest_stuck_s(time_s, channel.values)
    if stuck_s > settings.figures["stuck"] / 1e3:
        return f"one and the same sample stands for {stuck_s * 1e3:.0f} ms: stuck or cut off"
    return ""


def longest_gap_s(time_s: Array, values: Array) -> float:
    """Return the longest time between two samples that are there, beyond the usual step."""
    there = time_s[np.isfinite(values)]
    if len(there) < 2:
        return float(time_s[-1] - time_s[0])
    edges = np.concatenate([[time_s[0]], there, [time_s[-1]]])
    usual = float(np.median(np.diff(time_s)))
    return max(0.0, float(np.diff(edges).max()) - 1.5 * usual)


def longest_stuck_s(time_s: Array, values: Array) -> float:
    """Return how long one and the same value stands while the channel is away from rest."""
    spread = float(np.nanmax(values) - np.nanmin(values))
    away = np.abs(values - np.nanmedian(values)) > 0.1 * spread
    same = (np.diff(values) == 0.0) & away[1:] & away[:-1]
    longest, run_from = 0.0, None
    for k, repeats in enumerate(same):
        if repeats and run_from is None:
            run_from = k
        if not repeats and run_from is not None:
            longest, run_from = max(longest, float(time_s[k] - time_s[run_from])), None
    if run_from is not None:
        longest = max(longest, float(time_s[-1] - time_s[run_from]))
    return longest


def rate_findings(time_s: Array, settings: Settings) -> list[Finding]:
    """Return a warning when the filter lies too high for the sampling rate, or cannot be run."""
    rate, cfc = _rate(time_s), settings.figures["cfc-integrate"]
    needed = settings.figures["rate-per-cfc"] * cfc
    if rate >= needed:
        return []
    message = f"{rate:.0f} samples per second are few for channel class {cfc:g}."
    remedy = f"From {needed:.0f} the filter is true; change of speed hardly depends on it."
    return [settings.finding("crash-data-rate", "note", message, remedy)]


def _rate(time_s: Array) -> float:
    return 1.0 / float(np.median(np.diff(time_s)))


def _filtered(time_s: Array, samples: Array, cfc: float, settings: Settings) -> Array | None:
    """Return the filtered samples; None when rate or length do not carry the filter."""
    rate, factor = _rate(time_s), settings.figures["cfc-factor"]
    pad_s = settings.figures["pad"] / 1e3
    steps = np.diff(time_s)
    even = float(np.ptp(steps)) <= 0.01 * float(np.median(steps))
    fits = 2.0 * factor * cfc < 0.9 * rate and len(samples) > round(pad_s * rate) + 8
    return zero_phase(samples, rate, cfc, factor, pad_s) if even and fits else None


def _swing(shown: Array) -> float:
    low, high = -float(shown.min()), float(shown.max())
    return min(low, high) / max(low, high) if max(low, high) > 0.0 else 0.0


def _bridged(time_s: Array, values: Array) -> Array:
    there = np.isfinite(values)
    return np.asarray(np.interp(time_s, time_s[there], values[there]))


def _bias_findings(channel: Channel, samples: int, settings: Settings) -> list[Finding]:
    if samples > 0:
        return []
    message = f"'{channel.name}' has no samples before time zero: its offset is not known."
    remedy = "Half a g of offset makes 2.65 km/h in 150 ms; save the recording from before impact."
    return [settings.finding("crash-data-bias", "warning", message, remedy)]


def _rejected(channel: Channel, reason: str, settings: Settings) -> Finding:
    return _named_rejected(channel.name, reason, settings)


def _named_rejected(name: str, reason: str, settings: Settings) -> Finding:
    message = f"channel '{name}' was rejected as a source of delta-V: {reason}."
    return settings.finding(
        "crash-data-channel", "note", message, "Use channels of floor, sill or tunnel."
    )


_AXES = {"x": "long", "y": "lat"}
_REASONS = 3  # that a refusal tells


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
        why = " ".join(f.message for f in findings[:_REASONS])
        message = f"no channel along or across the car can be used: no delta-V is known. {why}"
        remedy = "Keep channels of this car's floor, or type a known delta-V in, kind = 'recorder'."
        findings.append(
            settings.finding("crash-data-no-channel", "error", message, remedy, table.line)
        )
        return None, None, findings
    found, notes = possible(worst(course), settings)
    findings += notes
    speeds = aimed(found.get("long"), found.get("lat"), u_kmh, settings)
    findings += direction_findings(speeds, settings) + trigger_findings(course, {}, settings)
    findings += time_findings(course, table.event, settings)
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
    notes += time_findings(course, table.event, settings)
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
        calm, swinging = steady([h for h in usable if h.axis == axis], settings)
        group, notes = agreeing(calm, settings)
        findings += swinging + notes
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
    """Return the channels of one axis that agree, and a warning for each that does not.

    None where as many are far from the strongest as are with it: they are no one body's.
    """
    limit, findings = settings.figures["disagreement"], list[Finding]()
    far = _far_from_strongest(group, settings)
    if 2 * len(far) >= len(group) > 1:
        ends = [float(h.delta_v[np.abs(h.delta_v).argmax()]) for h in group]
        named = ", ".join(f"'{h.name}' {e:+.0f} km/h" for h, e in zip(group, ends, strict=True))
        message = f"channels of one axis are too far apart to be one body's: {named}."
        remedy = "None of them was used. Keep those of this car, mounted as the file says."
        return [], [settings.finding("crash-data-disagree", "warning", message, remedy)]
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


def _far_from_strongest(group: list[Heard], settings: Settings) -> list[Heard]:
    """Return the channels that differ from the strongest by more than one body's can."""
    if not group:
        return []
    first = max(group, key=lambda h: float(np.abs(h.delta_v).max()))
    most = float(np.abs(first.delta_v).max()) * settings.figures["two-bodies"] / 100.0
    most = max(most, settings.figures["disagreement"])
    return [h for h in group if float(np.abs(h.delta_v - first.delta_v).max()) > most]


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
