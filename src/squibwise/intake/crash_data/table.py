"""Tables with a time column."""

import array
import csv
import io
import itertools
import math
from collections.abc import Iterable, Iterator
from typing import Literal

import msgspec
import numpy as np

from squibwise.catalog.crash_words import CrashWords, UnitWords
from squibwise.errors import InputError
from squibwise.intake.crash_data.settings import Array, Settings, number, unit_in
from squibwise.intake.patterns import pattern
from squibwise.model.origin import Finding

Axis = Literal["x", "y", "z"]
_TOKENS = pattern(r"[a-z0-9]+")
_PEEK = 60
_FEWEST = 3
_PEEK_CHARS = 200_000
_LONGEST_LINE = 100_000
_MOST_COLUMNS = 100
_MOST_FINDINGS = 10


class Channel(msgspec.Struct, frozen=True, kw_only=True):
    """One column of measurements.

    Attributes:
        name: Header as written.
        axis: Direction it measures.
        quantity: ``acceleration`` in m/s2 or ``speed`` in km/h.
        values: Samples, NaN where a cell is empty.
        not_rigid: Word of the header that names a place off the occupant compartment; or empty.
    """

    name: str
    axis: Axis
    quantity: str
    values: Array
    not_rigid: str = ""


class Table(msgspec.Struct, frozen=True, kw_only=True):
    """One event's channels over its own times.

    Attributes:
        event: Number of the event, from 1.
        time_s: Times as the file states them. [s]
        channels: Columns that are understood.
        line: Line of the header.
    """

    event: int
    time_s: Array
    channels: tuple[Channel, ...]
    line: int


class _Head(msgspec.Struct, frozen=True, kw_only=True):
    row: int
    names: tuple[str, ...]
    first: int


def tables_of(text: str, settings: Settings) -> tuple[tuple[Table, ...], list[Finding]] | None:
    """Return a table per event and what was not used; None when the text is no such table.

    Raises:
        InputError: It is a table with a time column, but one that cannot be used.
    """
    if max(map(len, text.splitlines()), default=0) > _LONGEST_LINE:
        return None
    sign = _sign(text)
    head = _head(list(itertools.islice(_records(text, sign, settings), _PEEK)), settings.words)
    if head is None:
        return None
    if len(head.names) > _MOST_COLUMNS:
        raise InputError(
            f"{settings.name}:{head.row + 1}: {len(head.names)} columns are too many.",
            remedy=f"Keep at most {_MOST_COLUMNS}: the time and the channels of the body.",
        )
    refuse_two_vehicles(head.names, settings, head.row + 1)
    columns, findings = _columns(_records(text, sign, settings), head, settings)
    _refuse_vehicle_column(columns, head, settings)
    if len(columns[0]) < _FEWEST:
        raise InputError(
            f"{settings.name}:{head.row + 1}: {len(columns[0])} rows below a time are no series.",
            remedy="Save the whole series.",
        )
    time, at = _time(columns, head, settings)
    channels, notes = _channels(columns, at, head, settings)
    events = _events(columns, head, settings, len(time))
    made = tuple(
        _table(event, time, channels, events, head, settings)
        for event in _order(events, head, settings)
    )
    return made, findings + notes


_VEHICLE = pattern(
    r"(?<![a-z])(?:(?:vehicle|veh|car|v)[\s_#.:-]*([0-9]|[ab](?![a-z]|[\s_-]*(?:pillar|post)))"
    r"|(bullet|target|striking|struck)[\s_-]+(?:vehicle|veh|car)(?![a-z]))(?![0-9])"
)
_VEHICLE_COLUMN = pattern(r"\s*(?:vehicle|veh|car)[\s_]*(?:no\.?|number|id|#)?\s*")


def refuse_two_vehicles(names: Iterable[str], settings: Settings, line: int) -> None:
    """Raise when names of channels or elements speak of more than one vehicle.

    Raises:
        InputError: They do; a mean over two cars belongs to neither.
    """
    marks = {m[1] or m[2] for name in names if (m := _VEHICLE.search(name.casefold()))}
    if len(marks) > 1:
        raise _two_vehicles(sorted(marks), settings, line)


def _refuse_vehicle_column(columns: list[Array], head: _Head, settings: Settings) -> None:
    for name, column in zip(head.names, columns, strict=True):
        if _VEHICLE_COLUMN.fullmatch(name.casefold()):
            marks = sorted({f"{value:g}" for value in column[np.isfinite(column)]})
            if len(marks) > 1:
                raise _two_vehicles(marks, settings, head.row + 1)


def _two_vehicles(marks: list[str], settings: Settings, line: int) -> InputError:
    return InputError(
        f"{settings.name}:{line}: the file holds channels of several vehicles: {', '.join(marks)}.",
        remedy="Keep the columns of this car, or make one file per vehicle and give its own.",
    )


def _sign(text: str) -> str:
    head = text[:_PEEK_CHARS].splitlines()[:_PEEK]
    return max("\t;|,", key=lambda s: (_regular(head, s), s != ","))


def _records(text: str, sign: str, settings: Settings) -> Iterator[list[str]]:
    try:
        yield from csv.reader(io.StringIO(text), delimiter=sign)
    except csv.Error as error:
        raise InputError(
            f"{settings.name}: a table that cannot be read: {error}.", remedy="Save it as CSV."
        ) from error


def _regular(head: list[str], sign: str) -> int:
    counts = [line.count(sign) for line in head if line.strip()]
    most = max(set(counts), key=counts.count) if counts else 0
    return counts.count(most) if most > 0 else 0


def _head(rows: list[list[str]], words: CrashWords) -> _Head | None:
    for at, row in enumerate(rows[:_PEEK]):
        numbers = sum(number(cell) is not None for cell in row)
        time_at = next((j for j, cell in enumerate(row) if _is_time(cell, words)), None)
        if len(row) < 2 or numbers > 0 or time_at is None:
            continue
        units = rows[at + 1] if at + 1 < len(rows) else []
        if len(units) == len(row) and all(_is_unit(cell, words) for cell in units):
            names = tuple(f"{n.strip()} [{_bare(u)}]" for n, u in zip(row, units, strict=True))
            return _Head(row=at, names=names, first=at + 2)
        below = rows[at + 1 : at + 1 + _FEWEST]
        if below and all(len(r) > time_at and number(r[time_at]) is not None for r in below):
            return _Head(row=at, names=tuple(cell.strip() for cell in row), first=at + 1)
    return None


def _is_time(cell: str, words: CrashWords) -> bool:
    tokens = _TOKENS.findall(cell.casefold())
    return bool(tokens) and tokens[0] in words.time and len(tokens) <= 3


def _is_unit(cell: str, words: CrashWords) -> bool:
    return not cell.strip() or words.unit_of(_bare(cell)) is not None


def _bare(cell: str) -> str:
    return cell.strip().strip("[]()").strip()


def _columns(
    records: Iterator[list[str]], head: _Head, settings: Settings
) -> tuple[list[Array], list[Finding]]:
    """Return every column as numbers, NaN where a cell is empty or no number."""
    width = len(head.names)
    flat, findings = array.array("d"), list[Finding]()
    for line, row in enumerate(itertools.islice(records, head.first, None), start=head.first + 1):
        if not any(cell.strip() for cell in row):
            continue
        values = [number(cell) for cell in row[:width]]
        for cell, value in zip(row, values, strict=False):
            if value is None and len(findings) < _MOST_FINDINGS and _is_wrong(cell, settings):
                message = f"'{cell.strip()[:40]}' is not a number; the sample counts as missing."
                findings.append(settings.finding("crash-data-value", "warning", message, line=line))
        flat.extend(math.nan if value is None else value for value in values)
        flat.extend([math.nan] * (width - len(values)))
    table = np.array(flat, dtype=np.float64).reshape(-1, width)
    return [table[:, j] for j in range(width)], findings


def _is_wrong(cell: str, settings: Settings) -> bool:
    low = cell.strip().casefold()
    return low not in settings.words.missing and low != "nan"


def _time(columns: list[Array], head: _Head, settings: Settings) -> tuple[Array, int]:
    at = next(j for j, name in enumerate(head.names) if _is_time(name, settings.words))
    unit = _unit(head.names[at], settings.words)
    if unit is None or unit.quantity != "time":
        raise InputError(
            f"{settings.name}:{head.row + 1}: the time column '{head.names[at]}' states no unit.",
            remedy="Write it into the header: time_s or time (ms).",
        )
    time = columns[at] * unit.factor
    if not bool(np.isfinite(time).all()):
        line = head.first + int(np.flatnonzero(~np.isfinite(time))[0]) + 1
        raise InputError(
            f"{settings.name}:{line}: a row without a time.", remedy="Fill in the time."
        )
    return time, at


def _unit(name: str, words: CrashWords) -> UnitWords | None:
    return words.unit_of(unit_in(name, words))


def _channels(
    columns: list[Array], time_at: int, head: _Head, settings: Settings
) -> tuple[tuple[Channel, ...], list[Finding]]:
    channels: list[Channel] = []
    findings: list[Finding] = []
    for j, name in enumerate(head.names):
        if j == time_at or _is_event(name, settings.words):
            continue
        channel = _channel(name, columns[j], settings.words)
        if isinstance(channel, Channel):
            channels.append(channel)
        else:
            message = f"column '{name}' was not used: {channel}."
            remedy = "Name axis and unit in the header, such as floor_x_g or delta_v_long_kmh."
            line = head.row + 1
            findings.append(settings.finding("crash-data-column", "note", message, remedy, line))
    return tuple(channels), findings


def _channel(name: str, values: Array, words: CrashWords) -> Channel | str:
    """Return the channel, or why the column is not one."""
    tokens = _TOKENS.findall(words.plain(name))
    unit = _unit(name, words)
    if unit is None or unit.quantity == "time":
        return "its header states no unit of acceleration or speed"
    if unit.quantity == "speed" and "deltav" not in tokens and set(tokens) & set(words.untaken):
        return "it is not the change of speed in the crash"
    found = [axis for axis in ("x", "y", "z") if set(tokens) & set(getattr(words, axis))]
    if len(found) != 1:
        return "its header names no axis, or several"
    place = next((t for t in tokens if t in words.not_rigid), "")
    return Channel(
        name=name,
        axis=msgspec.convert(found[0], Axis),
        quantity=unit.quantity,
        values=values * unit.factor,
        not_rigid=place,
    )


def _is_event(name: str, words: CrashWords) -> bool:
    tokens = _TOKENS.findall(name.casefold())
    return bool(tokens) and tokens[0] in words.event and len(tokens) <= 2


def _events(columns: list[Array], head: _Head, settings: Settings, count: int) -> Array:
    at = next((j for j, n in enumerate(head.names) if _is_event(n, settings.words)), None)
    return np.ones(count) if at is None else columns[at]


def _order(events: Array, head: _Head, settings: Settings) -> list[int]:
    """Return the numbers of the events, in order."""
    bad = ~np.isfinite(events) | (events != np.round(events)) | (events < 1) | (events > 99)
    if bool(bad.any()):
        raise InputError(
            f"{settings.name}:{head.row + 1}: the column 'event' has to hold 1, 2 ... in all rows.",
            remedy="Number the events, or leave the column out when there is one.",
        )
    return sorted({int(e) for e in events})


def _table(
    event: int,
    time: Array,
    channels: tuple[Channel, ...],
    events: Array,
    head: _Head,
    settings: Settings,
) -> Table:
    rows = events == event
    times = time[rows]
    first = head.first + int(np.flatnonzero(rows)[0]) + 1
    if len(times) < _FEWEST:
        raise InputError(
            f"{settings.name}:{first}: {len(times)} rows of event {event} are no series.",
            remedy="Save the whole series of every event.",
        )
    falls = np.flatnonzero(np.diff(times) <= 0.0)
    if len(falls):
        line = head.first + int(np.flatnonzero(rows)[falls[0] + 1]) + 1
        raise InputError(
            f"{settings.name}:{line}: the times of event {event} do not rise from row to row.",
            remedy="Put the rows in order, and several events apart by a column 'event'.",
        )
    cut = tuple(msgspec.structs.replace(c, values=c.values[rows]) for c in channels)
    return Table(event=event, time_s=times, channels=cut, line=head.row + 1)
