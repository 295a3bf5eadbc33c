"""All tables of a case file as records, with everything that is wrong in them."""

from collections.abc import Mapping
from typing import Any, TypeVar

import msgspec

from squibwise.intake.case_file import checks
from squibwise.intake.case_file.build import name_entries
from squibwise.intake.case_file.evidence import Entry
from squibwise.intake.case_file.locate import Path
from squibwise.intake.case_file.notes import Notes, suggest
from squibwise.intake.case_file.records import (
    ENTRIES,
    CarTable,
    CaseFile,
    CaseTable,
    CodesTable,
    PriceTable,
    ProfileTable,
)
from squibwise.intake.case_file.tables import read_table
from squibwise.intake.case_file.wording import show

T = TypeVar("T", bound=msgspec.Struct)


class WrittenEntry(msgspec.Struct, frozen=True, kw_only=True):
    """One ``[[evidence]]`` table.

    Attributes:
        id: Its own id, or the one it was given.
        path: Where it stands.
        entry: What it says.
    """

    id: str
    path: Path
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


def _entry(table: object, path: Path, notes: Notes) -> Entry | None:
    kind = _get(table, "kind")
    record = ENTRIES.get(kind) if isinstance(kind, str) else None
    if record is None and isinstance(table, dict):
        _complain_of_kind(kind, path, notes)
        return None
    if kind == "look":
        _check_seen(table, path, notes)
    return read_table(table, record or Entry, path, notes)


def _complain_of_kind(kind: object, path: Path, notes: Notes) -> None:
    if kind is None:
        remedy = f"Add kind = one of: {', '.join(ENTRIES)}."
        notes.add("case-missing-key", path, "the entry does not say its kind.", remedy)
        return
    message = f"there is no kind of evidence {show(kind)}."
    notes.add("case-unknown-kind", (*path, "kind"), message, suggest(str(kind), ENTRIES))


def _check_seen(table: object, path: Path, notes: Notes) -> None:
    component, seen = _get(table, "component"), _get(table, "seen")
    if isinstance(component, str) and isinstance(seen, str) and seen.strip():
        kind = checks.kind_word(component.partition(".")[2])
        if kind in notes.catalog.kinds:
            checks.seen(seen, kind, (*path, "seen"), notes)
