"""A course of delta-V, and the greatest values: one answer, checked against itself."""

import msgspec
import numpy as np

from squibwise.intake.crash_data.settings import Array, Settings
from squibwise.model.origin import Finding
from squibwise.numerics.pulse import (
    Direction,
    Rules,
    direction_of_force,
    end_of_event_s,
    latest_command_s,
    spread_of_rectangular,
    time_zero_s,
    trigger_s,
)

_FRONT_LOOP = "driver.front-bag/1"
_AXIS_WORDS = {"long": "longitudinal", "lat": "lateral"}


class Course(msgspec.Struct, frozen=True, kw_only=True):
    """Cumulative change of speed over time; zeros on an axis that was not recorded."""

    time_s: Array
    long_kmh: Array
    lat_kmh: Array
    has_long: bool
    has_lat: bool


class Speeds(msgspec.Struct, frozen=True, kw_only=True):
    """The change of speed of one event.

    Attributes:
        long_kmh: Along the car; None when not recorded. [km/h]
        lat_kmh: Across it, to the right; None when not recorded. [km/h]
        u_kmh: Standard uncertainty of both; None when neither is known. [km/h]
        direction: Direction of force; None when it cannot be told.
    """

    long_kmh: float | None = None
    lat_kmh: float | None = None
    u_kmh: float | None = None
    direction: Direction | None = None


def judged(
    course: Course | None,
    maximum: dict[str, float],
    settings: Settings,
    commanded_ms: dict[str, float] | None = None,
) -> tuple[Speeds, list[Finding]]:
    """Return the change of speed at the worst moment, and whatever does not fit together.

    Args:
        course: The series; None when there is none.
        maximum: Greatest values as stated, by ``long`` and ``lat``. [km/h]
        settings: Figures of the catalogue.
        commanded_ms: Command times by loop, for the check of consistency. [ms]
    """
    stated = worst(course) | {k: v for k, v in maximum.items() if k in ("long", "lat")}
    found, findings = possible(stated, settings)
    if not found:
        return Speeds(), findings
    u_kmh = recorder_u(found, settings)
    speeds = aimed(found.get("long"), found.get("lat"), u_kmh, settings)
    findings += _outside(found, settings) + direction_findings(speeds, settings)
    if course is not None and found == stated:
        findings += _against_maximum(course, maximum, settings)
        findings += trigger_findings(course, commanded_ms or {}, settings)
        findings += _late(course, commanded_ms or {}, settings)
    return speeds, findings


def worst(course: Course | None) -> dict[str, float]:
    """Return the change of speed by axis at the moment of the greatest resultant."""
    if course is None:
        return {}
    at = int(np.hypot(course.long_kmh, course.lat_kmh).argmax())
    both = {"long": (course.has_long, course.long_kmh), "lat": (course.has_lat, course.lat_kmh)}
    return {axis: float(series[at]) for axis, (there, series) in both.items() if there}


def possible(
    stated: dict[str, float], settings: Settings
) -> tuple[dict[str, float], list[Finding]]:
    """Return the values that a car can have, and a warning for each that is no measurement."""
    limit = settings.figures["impossible"]
    found = {axis: value for axis, value in stated.items() if abs(value) <= limit}
    return found, [
        settings.finding(
            "crash-data-impossible",
            "warning",
            f"{_AXIS_WORDS[axis]} delta-V {value:g} km/h is beyond anything measured: not used.",
            "Check the unit and the scale of the file.",
        )
        for axis, value in stated.items()
        if axis not in found
    ]


def recorder_u(found: dict[str, float], settings: Settings) -> float:
    """Return the standard uncertainty of a recorder's delta-V, by Table III of 49 CFR 563."""
    size = max(abs(v) for v in found.values())
    share = settings.figures["accuracy"] / 100.0
    return spread_of_rectangular(size, share, settings.figures["resolution"])


def aimed(long: float | None, lat: float | None, u_kmh: float, settings: Settings) -> Speeds:
    """Return the components with the direction of force they give, if both are known."""
    direction = None
    if long is not None and lat is not None:
        large = float(np.hypot(long, lat)) >= settings.figures["vague-below"]
        direction = direction_of_force(long, lat, u_kmh, u_kmh) if large else None
    return Speeds(long_kmh=long, lat_kmh=lat, u_kmh=u_kmh, direction=direction)


def direction_findings(speeds: Speeds, settings: Settings) -> list[Finding]:
    """Return a note when the direction of force fits several clock positions, or none."""
    if speeds.long_kmh is None or speeds.lat_kmh is None:
        return []
    if speeds.direction is None:
        limit = settings.figures["vague-below"]
        message = f"the change of speed is below {limit:g} km/h: it has no direction to speak of."
        return [settings.finding("crash-data-direction", "note", message)]
    clocks = speeds.direction.clocks
    if len(clocks) == 1:
        return []
    shares = ", ".join(f"{clock} o'clock {weight:.0%}" for clock, weight in clocks)
    angle = f"{speeds.direction.degrees:.0f} +- {speeds.direction.u_degrees:.0f} degrees"
    message = f"the direction of force ({angle}) fits several clock positions: {shares}."
    return [settings.finding("crash-data-direction", "note", message)]


def _outside(found: dict[str, float], settings: Settings) -> list[Finding]:
    limit = settings.figures["range"]
    return [
        settings.finding(
            "crash-data-range",
            "warning",
            f"{_AXIS_WORDS[axis]} delta-V {value:g} km/h reaches the end of the range "
            f"(+-{limit:g} km/h): it may be cut off or a placeholder.",
            "Look at the raw record.",
        )
        for axis, value in found.items()
        if abs(value) >= limit
    ]


def _against_maximum(
    course: Course, maximum: dict[str, float], settings: Settings
) -> list[Finding]:
    limit, findings = settings.figures["disagreement"], []
    for axis, series in (("long", course.long_kmh), ("lat", course.lat_kmh)):
        if axis not in maximum:
            continue
        greatest = float(series[int(np.abs(series).argmax())])
        if abs(greatest - maximum[axis]) > limit and _recorded(course, axis):
            message = (
                f"the greatest {_AXIS_WORDS[axis]} delta-V is stated as {maximum[axis]:g} km/h, "
                f"its series reaches {greatest:.1f} km/h."
            )
            remedy = "The stated value is used; look whether both belong to one event."
            findings.append(settings.finding("crash-data-disagree", "warning", message, remedy))
    return findings


def _recorded(course: Course, axis: str) -> bool:
    return course.has_long if axis == "long" else course.has_lat


def _triggered(course: Course, rules: Rules, otherwise: float) -> float:
    """Return when the change of speed first makes an event; a value of yours when it never does."""
    moments = [trigger_s(course.time_s, v, rules) for v in (course.long_kmh, course.lat_kmh)]
    return min((m for m in moments if m is not None), default=otherwise)


def trigger_findings(
    course: Course, commanded_ms: dict[str, float], settings: Settings
) -> list[Finding]:
    """Return a note when the course never triggers, or stops before the event has ended."""
    rules = settings.rules
    never = float("inf")
    if _triggered(course, rules, never) == never and not commanded_ms:
        message = (
            f"the change of speed stays below {rules.trigger_kmh:g} km/h within "
            f"{rules.trigger_s * 1e3:g} ms: by 49 CFR 563 no event without a firing."
        )
        return [settings.finding("crash-data-below-trigger", "note", message)]
    start = _triggered(course, rules, float(course.time_s[0]))
    end = end_of_event_s(course.time_s, course.long_kmh, course.lat_kmh, rules, start)
    if end is not None:
        return []
    message = "the recording stops before the event has ended: the change of speed may be greater."
    return [settings.finding("crash-data-cut-short", "note", message)]


def time_findings(course: Course, event: int, settings: Settings) -> list[Finding]:
    """Return a note with time zero, time of the greatest change of speed, end and duration."""
    time, rules = course.time_s, settings.rules
    both = ((course.long_kmh, False), (course.lat_kmh, True))
    zeros = [time_zero_s(time, series, rules, lateral=lateral) for series, lateral in both]
    starts = [zero for zero in zeros if zero is not None]
    if not starts:
        return []
    size = np.hypot(course.long_kmh, course.lat_kmh)
    at = int(np.round(size, 1).argmax())  # as it is printed: a plateau has no one greatest sample
    start = max(min(starts), float(time[0]))
    end = end_of_event_s(
        time, course.long_kmh, course.lat_kmh, rules, _triggered(course, rules, start)
    )
    over = (
        "it had not ended when the recording stopped"
        if end is None
        else f"it ended at {end * 1e3:.0f} ms and lasted {(end - start) * 1e3:.0f} ms"
    )
    message = (
        f"event {event}: time zero at {start * 1e3:.0f} ms of the file, greatest change of speed "
        f"{size[at]:.1f} km/h at {time[at] * 1e3:.0f} ms; {over}."
    )
    return [settings.finding("crash-data-course", "note", message)]


def _late(course: Course, commanded_ms: dict[str, float], settings: Settings) -> list[Finding]:
    commanded = commanded_ms.get(_FRONT_LOOP)
    if commanded is None or not course.has_long:
        return []
    travel, fill = settings.figures["head-travel"] / 1e3, settings.figures["fill-time"] / 1e3
    latest = latest_command_s(course.time_s, course.long_kmh, travel, fill)
    if latest is None or commanded / 1e3 <= latest + fill:
        return []
    message = (
        f"the driver's front bag was commanded at {commanded:g} ms; a free head would have been "
        f"{travel * 1e3:g} mm forward at {(latest + fill) * 1e3:.0f} ms."
    )
    remedy = "A rule of thumb from memory: check that series and command are of one event."
    return [settings.finding("crash-data-late-command", "note", message, remedy)]
