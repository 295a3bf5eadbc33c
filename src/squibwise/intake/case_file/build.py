"""Entries as written to evidence as the stages take it."""

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any, get_args

import msgspec

from squibwise.intake.case_file.evidence import Entry, ReportEntry
from squibwise.intake.case_file.records import PriceTable
from squibwise.model.car import Price
from squibwise.model.cost import from_major
from squibwise.model.evidence import Evidence
from squibwise.model.origin import Origin
from squibwise.model.report import ReadReport, Report

MODELS: dict[str, type[Any]] = {e.__struct_config__.tag: e for e in get_args(Evidence)}


def plain(entry: Entry, entry_id: str, origin: Origin) -> Any:  # noqa: ANN401 - any Evidence
    """Return the evidence that an entry without a file stands for."""
    given = msgspec.structs.asdict(entry) | {"id": entry_id, "origin": origin}
    if given.get("donor_vin"):
        given["donor_vin"] = given["donor_vin"].strip().upper()
    return MODELS[str(entry.__struct_config__.tag)](**given)


def person(entry: Entry) -> str | None:
    """Return who saw, said or did it; None when the entry names nobody."""
    return getattr(entry, "by", None) or getattr(entry, "from_", None) or None


def report(entry: ReportEntry, entry_id: str, reading: ReadReport, origin: Origin) -> Report:
    """Return a report as evidence; what the user states of its coverage goes before its text."""
    stated = {"complete": entry.complete, "unit_volts": entry.unit_volts}
    known = {key: value for key, value in stated.items() if value is not None}
    coverage = msgspec.structs.replace(reading.coverage, **known)
    return Report(
        id=entry_id,
        time=entry.time,
        when=entry.when,
        reading=msgspec.structs.replace(reading, coverage=coverage),
        origin=origin,
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


def in_order_of_time(evidence: Iterable[Any]) -> tuple[Any, ...]:
    """Return evidence by time; an entry without one stays behind the entry it was written after.

    Entries before the first timed one come first. Equal times keep the order written.
    """
    keyed, moment = [], dt.datetime.min
    for entry in evidence:
        moment = entry.time or moment
        keyed.append((moment, entry))
    return tuple(entry for _, entry in sorted(keyed, key=lambda pair: pair[0]))


def price(table: PriceTable, currency: str, origin: Origin) -> Price:
    """Return a price in minor units of the case's currency."""
    return Price(
        what=table.what,
        low=from_major(table.low, currency),
        likely=from_major(table.likely, currency),
        high=from_major(table.high, currency),
        source=table.source,
        on=table.on,
        origin=origin,
    )
