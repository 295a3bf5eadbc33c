"""Say in plain words what a key wants and what stood there instead; test one value against it."""

import datetime as dt
import math
import re
from collections.abc import Callable
from typing import Any

from msgspec import inspect

_LONGEST = 40
_FAR = 1e300  # nothing on a car is beyond it; keeps infinities and endless digits out


def bare(info: inspect.Type) -> tuple[inspect.Type, str | None]:
    """Return a type without ``None`` and without its notes, and the name of its check."""
    if isinstance(info, inspect.UnionType):
        info = next(t for t in info.types if not isinstance(t, inspect.NoneType))
    if isinstance(info, inspect.Metadata):
        return info.type, (info.extra or {}).get("check")
    return info, None


def show(value: object) -> str:
    """Return a value as a person wrote it, cut to a readable length."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}..."


def describe(info: inspect.Type) -> str:
    """Return what a key wants, in plain words."""
    info, _ = bare(info)
    if isinstance(info, inspect.LiteralType):
        return f"one of {', '.join(str(v) for v in info.values if v != '')}"
    if isinstance(info, inspect.IntType):
        return f"a whole number{_range(info)}"
    if isinstance(info, inspect.FloatType):
        return f"a number{_range(info)}"
    if isinstance(info, inspect.VarTupleType):
        return "a list in square brackets"
    if isinstance(info, inspect.StrType) and info.pattern:
        return "a name of letters, digits, dots, dashes and underscores, in quotes"
    return next((text for kind, text in _PLAIN if isinstance(info, kind)), "a table")


_PLAIN: tuple[tuple[type[inspect.Type], str], ...] = (
    (inspect.BoolType, "true or false"),
    (inspect.DateTimeType, "a local time such as 2026-03-02T09:10:00, without offset"),
    (inspect.DateType, "a day such as 2026-03-02"),
    (inspect.StrType, "a text in quotes"),
)


def _range(info: inspect.IntType | inspect.FloatType) -> str:
    if info.ge is not None and info.le is not None:
        return f" from {info.ge:g} to {info.le:g}"
    return "" if info.ge is None else f" from {info.ge:g}"


def settle(value: object, info: inspect.Type) -> object | None:
    """Return the value as the record takes it; None when it does not fit.

    A day given where a time is wanted counts from its start; a time may also stand in quotes.
    """
    for kind, reader in _READERS.items():
        if isinstance(info, kind):
            return reader(value, info)
    return value


def _literal(value: object, info: inspect.LiteralType) -> object | None:
    return value if isinstance(value, str) and value in info.values else None


def _flag(value: object, _: inspect.BoolType) -> bool | None:
    return value if isinstance(value, bool) else None


def _number(value: object, info: inspect.IntType | inspect.FloatType) -> object | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    if isinstance(value, float) and isinstance(info, inspect.IntType):
        return None
    low = -math.inf if info.ge is None else info.ge
    high = math.inf if info.le is None else info.le
    fits = -_FAR < value < _FAR and low <= value <= high  # NaN fails too
    return value if fits else None


def _day(value: object, info: inspect.Type) -> dt.date | None:
    moment = _time(value, info)
    return None if moment is None else moment.date()


def _time(value: object, _: inspect.Type) -> dt.datetime | None:
    if isinstance(value, str):
        try:
            value = dt.datetime.fromisoformat(value.strip())
        except ValueError:
            return None
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        value = dt.datetime.combine(value, dt.time())
    return value if isinstance(value, dt.datetime) and value.tzinfo is None else None


def _text(value: object, info: inspect.StrType) -> str | None:
    if not isinstance(value, str) or len(value.strip()) < (info.min_length or 0):
        return None
    return value if info.pattern is None or re.search(info.pattern, value) else None


_READERS: dict[type[inspect.Type], Callable[[object, Any], object | None]] = {
    inspect.LiteralType: _literal,
    inspect.BoolType: _flag,
    inspect.IntType: _number,
    inspect.FloatType: _number,
    inspect.DateTimeType: _time,
    inspect.DateType: _day,
    inspect.StrType: _text,
}
