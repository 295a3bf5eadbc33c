"""Crash data files, as tables or as elements with their values, to recorder entries."""

import re
from collections.abc import Callable, Iterable, Sequence

import msgspec
import numpy as np

from squibwise.catalog.crash_words import Element
from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.intake.crash_data.counted import read_counted
from squibwise.intake.crash_data.pulses import record_of
from squibwise.intake.crash_data.settings import (
    Array,
    CrashData,
    Settings,
    amount,
    flag,
    row,
    settings_of,
    unit_in,
)
from squibwise.intake.crash_data.speeds import Course, Speeds, judged
from squibwise.intake.crash_data.table import refuse_two_vehicles, tables_of
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import MAX_BYTES, MAX_LINES, refuse_large, refuse_many
from squibwise.intake.importers.text import decode, is_binary
from squibwise.intake.patterns import pattern
from squibwise.model.car import Car
from squibwise.model.evidence import Recorder
from squibwise.model.origin import Finding, Origin
from squibwise.numerics.pulse import Direction

_HELP = (
    "Use a table with a time column (time_s or time_ms) and columns such as delta_v_long_kmh or "
    "floor_x_g, or lines such as 'Delta-V, longitudinal: -27 km/h'."
)
_SIGNS = pattern(r"[:=\t|]")
_LONGEST_NAME = 200
_LONGEST_LINE = 20_000
_HEADING = pattern(r"^[\W_]*(?:crash\s+)?event(?:\s+(?:record|data))?\s*(?:no\.?|#)?\s*(\d)\b")
_IN_NAME = pattern(r"\bevent\s*#?\s*(\d)\b")


class CrashEntry(msgspec.Struct, frozen=True, kw_only=True):
    """One element as written.

    Attributes:
        event: Number of the event it belongs to.
        element: What it is.
        name: The name as written, for its unit.
        value: The value as written.
        line: Line number.
    """

    event: int
    element: Element
    name: str
    value: str
    line: int


class Draft(msgspec.Struct, kw_only=True):
    """What has been understood of one event so far. A class because it is filled step by step."""

    event: int
    line: int
    course: dict[str, Array] = {}
    times_s: Array | None = None
    maximum: dict[str, float] = {}
    plain: dict[str, bool | int | str] = {}
    commanded_ms: dict[str, float] = {}
    not_commanded: list[str] = []
    findings: list[Finding] = []


def read_crash_data(data: bytes, name: str, catalog: Catalog) -> CrashData:
    """Return the recorder evidence of a file: elements of 49 CFR 563 as text, or a table.

    Args:
        data: Bytes of the file.
        name: Its name, for messages.
        catalog: Words and figures.

    Raises:
        InputError: Nothing of it can be used.
    """
    refuse_large(name, len(data), MAX_BYTES)
    if not data.strip():
        raise InputError(f"{name}: the file is empty.", remedy=_HELP)
    settings = settings_of(catalog, name)
    text, doubts = _text(data, name)
    tables = tables_of(text, settings)
    if tables is not None:
        made, findings = tables
        return _together([*doubts, *findings], [record_of(t, settings) for t in made])
    entries, findings = entries_of(enumerate(text.splitlines(), start=1), settings)
    if not entries:
        raise InputError(f"{name}: no crash data is recognised in it.", remedy=_HELP)
    refuse_two_vehicles((e.name for e in entries), settings, entries[0].line)
    return _together([*doubts, *findings], _events(entries, settings))


def read_crash_events(data: bytes, name: str, car: Car, catalog: Catalog) -> CrashData:
    """Return what ``read_crash_data`` does, with the devices that a text lists event by event.

    Raises:
        InputError: Nothing of it can be used.
    """
    settings = settings_of(catalog, name)
    text = "" if is_binary(data) else decode(data, name)[0]
    counted, notes = read_counted(text, settings, car, catalog)
    try:
        read = read_crash_data(data, name, catalog)
    except InputError:
        if not counted:
            raise
        none = (None,) * len(counted)
        return CrashData(entries=counted, directions=none, findings=tuple(notes))
    listed = {e.event: e for e in counted}
    entries = [_with_list(e, listed.pop(e.event)) if e.event in listed else e for e in read.entries]
    return msgspec.structs.replace(
        read,
        entries=(*entries, *listed.values()),
        directions=(*read.directions, *(None for _ in listed)),
        findings=(*read.findings, *notes),
    )


def _with_list(entry: Recorder, listed: Recorder) -> Recorder:
    """Return an event's elements with what a list says was commanded in it."""
    return msgspec.structs.replace(
        entry,
        commanded=listed.commanded,
        not_commanded=(*entry.not_commanded, *listed.not_commanded),
        rollover=entry.rollover if listed.rollover is None else listed.rollover,
    )


def _text(data: bytes, name: str) -> tuple[str, tuple[Finding, ...]]:
    if not is_binary(data) and data[:5] != b"%PDF-":
        return decode(data, name)
    extracted = extract(data, name)
    lines = ("\t".join(line.cells) if line.cells else line.text for line in extracted.lines)
    return "\n".join(lines), extracted.findings


def _events(
    entries: list[CrashEntry], settings: Settings
) -> list[tuple[Recorder | None, Direction | None, list[Finding]]]:
    whole = [e for e in entries if e.element.kind in ("count", "gap")]
    numbers = sorted({e.event for e in entries if e not in whole}) or [1]
    counted = [e for e in whole if e.element.kind == "count"]
    made: list[tuple[Recorder | None, Direction | None, list[Finding]]] = []
    for number in numbers:
        own = [e for e in entries if e.event == number and e not in counted]
        made.append(event_of(number, [*own, *counted], settings))
    return made


def _together(
    findings: list[Finding],
    made: list[tuple[Recorder | None, Direction | None, list[Finding]]],
) -> CrashData:
    count = len(made)
    entries, directions = list[Recorder](), list[Direction | None]()
    for entry, direction, notes in made:
        findings += notes
        if entry is not None:
            several = count > 1 and entry.event_count is None
            entries.append(msgspec.structs.replace(entry, event_count=count) if several else entry)
            directions.append(direction)
    return CrashData(entries=tuple(entries), directions=tuple(directions), findings=tuple(findings))


def entries_of(
    lines: Iterable[tuple[int, str]], settings: Settings
) -> tuple[list[CrashEntry], list[Finding]]:
    """Return the elements of a text, and a finding for each line that names none.

    Raises:
        InputError: There are more lines than a record can have.
    """
    event, found, unread = 1, list[CrashEntry](), list[tuple[int, str]]()
    for line, whole in lines:
        refuse_many(settings.name, line, MAX_LINES, "lines")
        text = whole[:_LONGEST_LINE]
        heading = _HEADING.match(text.casefold())
        if heading and not _is_pair(text, settings):
            event = int(heading[1])
            continue
        entry = _entry(line, text, event, settings)
        if entry is not None:
            found.append(entry)
        elif re.search(r"[A-Za-z0-9]", text):
            unread.append((line, text))
        if len(whole) > _LONGEST_LINE:
            unread.append((line, whole[_LONGEST_LINE:]))
    return found, _unread(unread, settings) if found else []


def _is_pair(text: str, settings: Settings) -> bool:
    split = _split(text)
    return split is not None and settings.words.named(split[0]) is not None and split[1] != ""


def _split(text: str) -> tuple[str, str] | None:
    """Return name and value: parted by the first sign, or by the last comma."""
    sign = _SIGNS.search(text)
    at = sign.start() if sign else max(text.rfind(","), text.rfind(";"))
    name, value = text[: max(at, 0)].strip(' "'), text[at + 1 :].strip(' "\t|:=')
    if len(name) > _LONGEST_NAME or not any(c.isalpha() for c in name):
        return None
    return name, value


def _entry(line: int, text: str, event: int, settings: Settings) -> CrashEntry | None:
    split = _split(text)
    if split is None:
        return None
    name, value = split
    element = settings.words.named(name)
    if element is None:
        return None
    if element.kind == "times" and row(value) is None:
        return None
    inside = _IN_NAME.search(name.casefold())
    if inside and element.kind not in ("gap", "count"):
        event = int(inside[1])
    return CrashEntry(event=event, element=element, name=name, value=value, line=line)


def _unread(lines: list[tuple[int, str]], settings: Settings) -> list[Finding]:
    return [
        settings.finding(
            "crash-data-unread",
            "note",
            f"'{text.strip()[:80]}' names no element that is known here; it was not used.",
            "Check it by eye if it matters.",
            line,
        )
        for line, text in lines[:20]
    ]


_AXES = ("long", "lat")


def event_of(
    number: int, entries: Sequence[CrashEntry], settings: Settings
) -> tuple[Recorder, Direction | None, list[Finding]]:
    """Return the record of one event, its direction of force, and what is remarkable."""
    draft = Draft(event=number, line=entries[0].line)
    for entry in entries:
        _TAKE[entry.element.kind](draft, entry, settings)
    course = _course(draft, settings)
    speeds, findings = judged(course, draft.maximum, settings, draft.commanded_ms)
    draft.findings += findings
    if draft.plain.get("complete") is False:
        message = f"event {number} was not recorded completely; what is missing proves nothing."
        draft.findings.append(
            settings.finding("crash-data-incomplete", "warning", message, line=draft.line)
        )
    return _recorder(draft, speeds, settings), speeds.direction, draft.findings


def _recorder(draft: Draft, speeds: Speeds, settings: Settings) -> Recorder:
    plain = draft.plain
    origin = Origin(file=settings.name, line=draft.line)
    known: dict[str, object] = {
        key: plain[key]
        for key in ("driver_belt", "passenger_belt", "passenger_class", "lamp_on", "event_count")
        if key in plain
    }
    values: dict[str, object] = {
        **known,
        "id": f"event-{draft.event}",
        "record": "locked" if plain.get("locked") is True else "stored",
        "delta_v_long_kmh": speeds.long_kmh,
        "delta_v_lat_kmh": speeds.lat_kmh,
        "method": "recorder",
        "u_kmh": speeds.u_kmh,
        "commanded_ms": draft.commanded_ms,
        "not_commanded": tuple(draft.not_commanded),
        "event": draft.event,
        "rollover": plain.get("rollover"),
        "complete": plain.get("complete"),
    }
    return msgspec.structs.replace(msgspec.convert(values, Recorder), origin=origin)


def _course(draft: Draft, settings: Settings) -> Course | None:
    if not draft.course:
        return None
    longest = max(len(series) for series in draft.course.values())
    times = draft.times_s
    if times is None or len(times) != longest:
        step = settings.figures["series-step"]
        times = np.asarray(np.arange(longest) * step / 1e3, dtype=np.float64)
        message = f"the delta-V series of event {draft.event} states no times that fit it."
        remedy = f"Steps of {step:g} ms were taken, as 49 CFR 563 asks for; add a row of times."
        draft.findings.append(
            settings.finding("crash-data-times-assumed", "warning", message, remedy, draft.line)
        )
    series = {axis: _filled(draft.course.get(axis), longest) for axis in _AXES}
    return Course(
        time_s=times,
        long_kmh=series["long"],
        lat_kmh=series["lat"],
        has_long="long" in draft.course,
        has_lat="lat" in draft.course,
    )


def _filled(series: Array | None, count: int) -> Array:
    if series is None:
        return np.zeros(count)
    return np.concatenate([series, np.full(count - len(series), series[-1])])


def _factor(
    entry: CrashEntry, written: str, quantity: str, draft: Draft, settings: Settings
) -> float:
    """Return the factor to km/h or s; without a unit that of Table III, and a finding."""
    usual = {"speed": ("km/h", 1.0), "time": ("ms", 1e-3)}[quantity]
    word = written or unit_in(entry.name, settings.words)
    unit = settings.words.unit_of(word) if word else None
    if unit is not None and unit.quantity == quantity:
        return unit.factor
    message = f"'{entry.name}' states no unit that fits ({word or 'none'})."
    remedy = f"It was read as {usual[0]}, the unit of 49 CFR 563; write the unit behind the value."
    draft.findings.append(
        settings.finding("crash-data-unit-assumed", "note", message, remedy, entry.line)
    )
    return usual[1]


def _take_speed(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    value = amount(entry.value)
    if value is None:
        _not_understood(draft, entry, settings)
        return
    factor = _factor(entry, value.unit, "speed", draft, settings)
    draft.maximum[entry.element.id.removeprefix("maximum-")] = value.number * factor


def _take_series(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    values = row(entry.value)
    if values is None:
        _take_speed(draft, entry, settings)
        return
    factor = _factor(entry, "", "speed", draft, settings)
    draft.course[entry.element.id] = np.array(values) * factor


def _take_times(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    values = row(entry.value)
    if values is not None:
        draft.times_s = np.array(values) * _factor(entry, "", "time", draft, settings)


def _take_command(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    if entry.value.strip().casefold() in settings.words.silent:
        draft.not_commanded.append(entry.element.id)
        return
    value = amount(entry.value)
    if value is None:
        _not_understood(draft, entry, settings)
        return
    factor = _factor(entry, value.unit, "time", draft, settings)
    draft.commanded_ms[entry.element.id] = round(value.number * factor * 1e3, 6)


def _take_flag(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    key = {"lamp": "lamp_on"}.get(entry.element.id, entry.element.id)
    value = flag(entry.value, settings.words)
    if value is None:
        _not_understood(draft, entry, settings)
    else:
        draft.plain[key] = value


def _take_belt(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    low = entry.value.strip().casefold()
    words = {
        "unlatched": settings.words.unlatched,
        "latched": settings.words.latched,
    }
    _take_word(draft, entry, settings, {k: low in v for k, v in words.items()})


def _take_class(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    low = entry.value.strip().casefold()
    words = {
        "adult": settings.words.adult,
        "child-or-small": settings.words.child,
        "empty": settings.words.empty,
    }
    _take_word(draft, entry, settings, {k: low in v for k, v in words.items()})


def _take_word(draft: Draft, entry: CrashEntry, settings: Settings, fits: dict[str, bool]) -> None:
    meant = next((word for word, is_it in fits.items() if is_it), None)
    if meant is None:
        _not_understood(draft, entry, settings)
    else:
        draft.plain[entry.element.id.replace("-", "_")] = meant


def _take_count(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    value = amount(entry.value)
    if value is None or not value.number.is_integer():
        _not_understood(draft, entry, settings)
    else:
        draft.plain["event_count"] = int(value.number)


def _take_gap(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    """Leave the time between events out: the engine asks only for their order."""


def _not_understood(draft: Draft, entry: CrashEntry, settings: Settings) -> None:
    if entry.value.strip().casefold() in settings.words.missing:
        return
    message = f"'{entry.name}' has the value '{entry.value[:60]}', which is not understood."
    remedy = "It counts as not recorded. Type it in by hand as kind = 'recorder' if it matters."
    draft.findings.append(
        settings.finding("crash-data-value", "warning", message, remedy, entry.line)
    )


_TAKE: dict[str, Callable[[Draft, CrashEntry, Settings], None]] = {
    "speed": _take_speed,
    "series": _take_series,
    "times": _take_times,
    "belt": _take_belt,
    "flag": _take_flag,
    "class": _take_class,
    "count": _take_count,
    "gap": _take_gap,
    "command": _take_command,
    "unused": _take_gap,
}
