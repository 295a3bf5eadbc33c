"""The case file as written: one record per table. ``docs/case.schema.json`` is made from these."""

import types
from typing import Any, Literal, get_args

import msgspec

from squibwise.intake.case_file.evidence import AnyEntry, Entry
from squibwise.intake.case_file.fields import (
    CaseFolderFile,
    Component,
    Currency,
    Day,
    Id,
    NotNegative,
    PriceKey,
    ProfileName,
    Region,
    Rule,
    Stages,
    TemplateName,
    Vin,
    Word,
    Year,
)
from squibwise.model.names import Side
from squibwise.model.words import Action


class CaseTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``[case]``: what the case is called and where the car will be registered."""

    id: Id | None = None
    title: str = ""
    region: Region | None = None
    currency: Currency = "USD"


class CarTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``[car]``: the car as far as known."""

    vin: Vin | None = None
    model_year: Year | None = None
    drive_hand: Side = "left"
    equipment: TemplateName | None = None
    add: tuple[Component, ...] = ()
    remove: tuple[Component, ...] = ()
    stages: dict[Component, Stages] = {}


class GivenTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A figure of the maker with its citation: ``{ value = 3, source = "..." }``."""

    value: NotNegative
    source: Word


class RuleTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``[[profile.rules]]``: a rule of the maker for this car, with its citation."""

    component: Rule
    action: Action
    when: Word = "always"
    source: Word


class ProfileTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``[profile]``: the rules that apply to this car."""

    name: ProfileName = "unknown"
    wait_minutes: GivenTable | None = None
    loop_low_ohm: GivenTable | None = None
    loop_high_ohm: GivenTable | None = None
    rules: tuple[RuleTable, ...] = ()


class PriceTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``[[price]]``: what one thing costs, in whole units of the case's currency."""

    what: PriceKey
    low: NotNegative
    likely: NotNegative
    high: NotNegative
    source: str = ""
    on: Day | None = None


class CodesTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``[[codes]]``: a table of the maker's codes for this car, with its citation."""

    file: CaseFolderFile
    source: Word


class CaseFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A whole case file."""

    case: CaseTable = CaseTable()
    car: CarTable = CarTable()
    profile: ProfileTable = ProfileTable()
    evidence: tuple[AnyEntry, ...] = ()
    price: tuple[PriceTable, ...] = ()
    codes: tuple[CodesTable, ...] = ()


def _by_kind(union: types.UnionType) -> dict[str, type[Entry]]:
    return {record.__struct_config__.tag: record for record in get_args(union)}


ENTRIES: dict[str, type[Entry]] = _by_kind(AnyEntry)
SINGLE: tuple[Literal["case", "car", "profile"], ...] = ("case", "car", "profile")
MANY: dict[str, type[msgspec.Struct]] = {"price": PriceTable, "codes": CodesTable}


def schema() -> dict[str, Any]:
    """Return the JSON Schema of a case file, made from the records."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Squibwise case file",
        **msgspec.json.schema(CaseFile),
    }
