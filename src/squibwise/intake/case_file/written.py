"""All tables of a case file as records, with everything that is wrong in them."""

import datetime as dt
import math
import re
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any, TypeVar

import msgspec
from msgspec import NODEFAULT, inspect

from squibwise.intake.case_file import checks
from squibwise.intake.case_file.checks import CHECKS, Notes, show, suggest
from squibwise.intake.case_file.schema import (
    ENTRIES,
    CarTable,
    CaseFile,
    CaseTable,
    CodesTable,
    Entry,
    PriceTable,
    ProfileTable,
)
from squibwise.intake.case_file.toml_text import KeyPath

_FAR = 1e300  # nothing on a car is beyond it; keeps infinities and endless digits out


def bare(info: inspect.Type) -> tuple[inspect.Type, str | None]:
    """Return a type without ``None`` and without its notes, and the name of its check."""
    if isinstance(info, inspect.UnionType):
        info = next(t for t in info.types if not isinstance(t, inspect.NoneType))
    if isinstance(info, inspect.Metadata):
        return info.type, (info.extra or {}).get("check")
    return info, None


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


T = TypeVar("T", bound=msgspec.Struct)
_BAD: Any = object()


def read_table(raw: object, record: type[T], path: KeyPath, notes: Notes) -> T | None:
    """Return a table as a record; None when something in it is wrong (then ``notes`` tells)."""
    settled = _settle_table(raw, record, path, notes)
    return None if settled is _BAD else msgspec.convert(settled, record)


def table_name(path: KeyPath) -> str:
    """Return how a table is called in messages: ``[car]`` or ``[[evidence]] 3``."""
    head = str(path[0]) if path else "file"
    if len(path) > 1 and isinstance(path[1], int):
        return f"[[{head}]] {path[1] + 1}"
    return f"[{head}]"


@cache
def _describe_record(record: type) -> inspect.Type:
    return inspect.type_info(record)


def _settle_table(raw: object, record: type, path: KeyPath, notes: Notes) -> Any:  # noqa: ANN401
    if not isinstance(raw, dict):
        remedy = f"Write it as {table_name(path)}."
        notes.add(
            "case-wrong-type", path, f"'{path[-1]}' must be a table, not {show(raw)}.", remedy
        )
        return _BAD
    info = _describe_record(record)
    if not isinstance(info, inspect.StructType):
        return _BAD
    fields = {field.encode_name: field for field in info.fields}
    whole = _no_strangers(
        raw, [*fields, *([info.tag_field] if info.tag_field else [])], path, notes
    )
    settled = {info.tag_field: info.tag} if info.tag_field else {}
    for key, field in fields.items():
        if key in raw:
            settled[key] = _settle(raw[key], field.type, (*path, key), notes)
        elif field.default is NODEFAULT and field.default_factory is NODEFAULT:
            remedy = f"Add {key} = ... ({describe(field.type)})."
            notes.add("case-missing-key", path, f"{table_name(path)} needs '{key}'.", remedy)
            whole = False
    return settled if whole and not any(v is _BAD for v in settled.values()) else _BAD


def _no_strangers(raw: dict[str, Any], known: list[str], path: KeyPath, notes: Notes) -> bool:
    strangers = [key for key in raw if key not in known]
    for key in strangers:
        message = f"{table_name(path)} has no key '{key}'."
        notes.add("case-unknown-key", (*path, key), message, suggest(key, known))
    return not strangers


def _settle(value: object, info: inspect.Type, path: KeyPath, notes: Notes) -> Any:  # noqa: ANN401
    info, check = bare(info)
    if isinstance(info, inspect.StructType):
        return _settle_table(value, info.cls, path, notes)
    if isinstance(info, inspect.VarTupleType):
        return _settle_list(value, info, path, notes)
    if isinstance(info, inspect.DictType):
        return _settle_map(value, info, path, notes)
    settled = settle(value, info)
    if settled is None:
        _complain(value, info, path, notes)
        return _BAD
    return settled if check is None or CHECKS[check](str(settled), path, notes) else _BAD


def _complain(value: object, info: inspect.Type, path: KeyPath, notes: Notes) -> None:
    key = f"'{path[-1]}'" if isinstance(path[-1], str) else f"'{path[-2]}' ({path[-1] + 1})"
    if isinstance(info, inspect.LiteralType) and isinstance(value, str):
        words = [str(v) for v in info.values if v != ""]
        notes.add(
            "case-unknown-word", path, f"{key} cannot be {show(value)}.", suggest(value, words)
        )
        return
    message = f"{key} must be {describe(info)}, not {show(value)}."
    notes.add("case-wrong-value", path, message, "Correct the value.")


def _settle_list(value: object, info: inspect.VarTupleType, path: KeyPath, notes: Notes) -> Any:  # noqa: ANN401
    if not isinstance(value, list):
        _complain(value, info, path, notes)
        return _BAD
    settled = [_settle(v, info.item_type, (*path, i), notes) for i, v in enumerate(value)]
    return _BAD if any(v is _BAD for v in settled) else settled


def _settle_map(value: object, info: inspect.DictType, path: KeyPath, notes: Notes) -> Any:  # noqa: ANN401
    if not isinstance(value, dict):
        _complain(value, info, path, notes)
        return _BAD
    keys = [_settle(key, info.key_type, (*path, key), notes) for key in value]
    values = [_settle(v, info.value_type, (*path, key), notes) for key, v in value.items()]
    bad = any(v is _BAD for v in [*keys, *values])
    return _BAD if bad else dict(zip(keys, values, strict=True))


class WrittenEntry(msgspec.Struct, frozen=True, kw_only=True):
    """One ``[[evidence]]`` table.

    Attributes:
        id: Its own id, or the one it was given.
        path: Where it stands.
        entry: What it says.
    """

    id: str
    path: KeyPath
    entry: Entry


class Written(msgspec.Struct, frozen=True, kw_only=True):
    """A whole case file as records; tables with a mistake in them are left out."""

    case: CaseTable
    car: CarTable
    profile: ProfileTable
    entries: tuple[WrittenEntry, ...]
    prices: dict[int, PriceTable]
    codes: dict[int, CodesTable]


def read_written(raw: Mapping[str, Any], notes: Notes) -> Written:
    """Return every table as a record; what is wrong stands in ``notes`` afterwards."""
    known = CaseFile.__struct_fields__
    for key in raw:
        if key not in known:
            message = f"a case file has no '{key}'."
            notes.add("case-unknown-key", (key,), message, suggest(key, known))
    prices = _many(raw, "price", PriceTable, notes)
    _check_order(prices, notes)
    return Written(
        case=_one(raw, "case", CaseTable, notes),
        car=_one(raw, "car", CarTable, notes),
        profile=_one(raw, "profile", ProfileTable, notes),
        entries=_entries(raw, notes),
        prices=prices,
        codes=_many(raw, "codes", CodesTable, notes),
    )


def _one(raw: Mapping[str, Any], key: str, record: type[T], notes: Notes) -> T:
    return read_table(raw.get(key, {}), record, (key,), notes) or record()


def _listed(raw: Mapping[str, Any], key: str, notes: Notes) -> list[Any]:
    value = raw.get(key, [])
    if isinstance(value, list):
        return value
    remedy = f"Write [[{key}]] with two brackets on each side, once for each."
    notes.add("case-wrong-type", (key,), f"'{key}' is a list of tables.", remedy)
    return []


def _many(raw: Mapping[str, Any], key: str, record: type[T], notes: Notes) -> dict[int, T]:
    read = {
        i: read_table(t, record, (key, i), notes) for i, t in enumerate(_listed(raw, key, notes))
    }
    return {index: table for index, table in read.items() if table is not None}


def _check_order(prices: Mapping[int, PriceTable], notes: Notes) -> None:
    for index, price in prices.items():
        if not price.low <= price.likely <= price.high:
            message = f"the prices of '{price.what}' are not low <= likely <= high."
            notes.add("case-price-order", ("price", index), message, "Put the three in order.")


def _entries(raw: Mapping[str, Any], notes: Notes) -> tuple[WrittenEntry, ...]:
    tables = _listed(raw, "evidence", notes)
    read = [_entry(table, ("evidence", index), notes) for index, table in enumerate(tables)]
    kinds = [str(_get(t, "kind")) for t in tables]
    given = [_given_id(t) for t in tables]
    _refuse_repeats(given, notes)
    return tuple(
        WrittenEntry(id=name, path=("evidence", index), entry=entry)
        for index, (name, entry) in enumerate(zip(name_entries(kinds, given), read, strict=True))
        if entry is not None
    )


def name_entries(kinds: Sequence[str], given: Sequence[str | None]) -> list[str]:
    """Return an id for every entry: its own, or ``<kind>-<n>`` with the first number that is free.

    Args:
        kinds: Kind of each entry, in the order written.
        given: The id each entry states; None where it states none.
    """
    taken = {name for name in given if name is not None}
    names, counts = [], dict.fromkeys(kinds, 0)
    for kind, stated in zip(kinds, given, strict=True):
        counts[kind] += 1
        if stated is None:
            while f"{kind}-{counts[kind]}" in taken:
                counts[kind] += 1
        names.append(stated or f"{kind}-{counts[kind]}")
    return names


def _get(table: object, key: str) -> object:
    return table.get(key) if isinstance(table, dict) else None


def _given_id(table: object) -> str | None:
    given = _get(table, "id")
    return given if isinstance(given, str) else None


def _refuse_repeats(given: list[str | None], notes: Notes) -> None:
    first: dict[str, int] = {}
    for index, name in enumerate(given):
        if name is not None and first.setdefault(name, index) != index:
            line = notes.origin(("evidence", first[name], "id")).line
            message = f"the id '{name}' already stands in line {line}."
            notes.add("case-repeated-id", ("evidence", index, "id"), message, "Choose another id.")


def _entry(table: object, path: KeyPath, notes: Notes) -> Entry | None:
    kind = _get(table, "kind")
    record = ENTRIES.get(kind) if isinstance(kind, str) else None
    if record is None and isinstance(table, dict):
        _complain_of_kind(kind, path, notes)
        return None
    if kind == "look":
        _check_seen(table, path, notes)
    return read_table(table, record or Entry, path, notes)


def _complain_of_kind(kind: object, path: KeyPath, notes: Notes) -> None:
    if kind is None:
        remedy = f"Add kind = one of: {', '.join(ENTRIES)}."
        notes.add("case-missing-key", path, "the entry does not say its kind.", remedy)
        return
    message = f"there is no kind of evidence {show(kind)}."
    notes.add("case-unknown-kind", (*path, "kind"), message, suggest(str(kind), ENTRIES))


def _check_seen(table: object, path: KeyPath, notes: Notes) -> None:
    component, seen = _get(table, "component"), _get(table, "seen")
    if isinstance(component, str) and isinstance(seen, str) and seen.strip():
        kind = checks.kind_word(component.partition("/")[0].partition(".")[2])
        if kind in notes.catalog.kinds:
            checks.seen(seen, kind, (*path, "seen"), notes)
