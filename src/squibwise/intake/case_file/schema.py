"""What a case file may hold: tables, keys and kinds of evidence as records, and its JSON Schema."""

import datetime as dt
import sys
import types
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

import msgspec
from msgspec import Meta

from squibwise.model.names import Seat, Side, Zone
from squibwise.model.words import Action, Belt, Comes, Done, Extent, Known, OccupantClass

LocalTime = Annotated[dt.datetime, Meta(tz=False, description="Local time, no offset.")]
Day = Annotated[dt.date, Meta(description="Day, such as 2026-03-01.")]
Id = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$",
        description="Letters, digits, dot, dash and underscore; unique in the case.",
    ),
]
Component = Annotated[
    str, Meta(description="<place>.<kind>", extra={"check": "component"}, examples=["left.curtain"])
]
DoneTo = Annotated[
    str,
    Meta(description="<place>.<kind>, battery or codes", extra={"check": "done-to"}),
]
Loop = Annotated[
    str,
    Meta(description="<component>/<stage>", extra={"check": "loop"}, examples=["left.curtain/1"]),
]
Rule = Annotated[str, Meta(description="A component or a kind.", extra={"check": "rule"})]
PriceKey = Annotated[
    str,
    Meta(description="A component, a kind, a task or labour-hour.", extra={"check": "price-key"}),
]
Item = Annotated[
    str, Meta(description="Id of a demand, as `work` prints it.", extra={"check": "item"})
]
Passable = Annotated[
    str, Meta(description="A gate, a step or a demand.", extra={"check": "passed"})
]
CaseFolderFile = Annotated[
    str,
    Meta(min_length=1, description="Path inside the case folder.", extra={"check": "file"}),
]
Region = Annotated[
    str, Meta(description="ISO 3166-1 or 3166-2, such as US-OH.", extra={"check": "region"})
]
Currency = Annotated[str, Meta(description="ISO 4217, such as USD.", extra={"check": "currency"})]
Vin = Annotated[str, Meta(description="17 characters, no I, O, Q.", extra={"check": "vin"})]
TemplateName = Annotated[
    str, Meta(description="An equipment template.", extra={"check": "template"})
]
ProfileName = Annotated[
    str, Meta(description="A rule profile, or unknown.", extra={"check": "profile"})
]
Year = Annotated[int, Meta(ge=1970, le=2060, description="Model year.")]
Volts = Annotated[float, Meta(ge=0, le=60, description="[V]")]
Kilograms = Annotated[float, Meta(ge=0, le=300, description="[kg]")]
Celsius = Annotated[float, Meta(ge=-60, le=90, description="[degC]")]
SpeedChangeKmh = Annotated[float, Meta(ge=-300, le=300, description="[km/h]")]
Uncertainty = Annotated[
    float, Meta(ge=0, le=1e9, description="Standard uncertainty, unit of the value.")
]
NotNegative = Annotated[float, Meta(ge=0, le=1e9)]
Ohm = Annotated[float, Meta(ge=0, le=1000, description="[ohm]")]
Clock = Annotated[int, Meta(ge=1, le=12, description="Direction of force, 12 = from the front.")]
Stages = Annotated[int, Meta(ge=1, le=4, description="Number of circuits.")]
Order = Annotated[int, Meta(ge=1, le=9)]
Word = Annotated[str, Meta(min_length=1)]
Digest = Annotated[
    str, Meta(pattern=r"^([0-9a-f]{64})?$", description="SHA-256, 64 characters 0-9 and a-f.")
]

ReadingUnit = Literal[
    "ohm",
    "mohm",
    "kohm",
    "Mohm",
    "V",
    "mV",
    "mA",
    "A",
    "kg",
    "mm",
    "Nm",
    "ft-lb",
    "deg",
    "degC",
    "s",
    "%",
    "count",
]


class Entry(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind"
):
    """What every entry may have: its name in the case and when it was seen or done."""

    id: Id | None = None
    time: LocalTime | None = None


class ReportEntry(Entry, tag="report", frozen=True, kw_only=True):
    """A scan report in a file of the case folder."""

    file: CaseFolderFile
    when: Literal["before-repair", "after-repair", "unknown"] = "unknown"
    complete: bool | None = None
    unit_volts: Volts | None = None


class CrashDataEntry(Entry, tag="crash-data", frozen=True, kw_only=True):
    """Crash recorder data or an acceleration pulse in a file of the case folder."""

    file: CaseFolderFile


class LookEntry(Entry, tag="look", frozen=True, kw_only=True):
    """What an eye saw on a component, or on one circuit; what it means is left to the program."""

    component: Loop
    seen: Word
    asked: Word | None = None
    note: str = ""
    by: str | None = None


class StatementEntry(Entry, tag="statement", frozen=True, kw_only=True, rename={"from_": "from"}):
    """Second-hand word about a component, or about the car when no component is named."""

    component: Component | None = None
    says: Literal["deployed", "not-deployed"]
    from_: str = ""


class ReadingEntry(Entry, tag="reading", frozen=True, kw_only=True):
    """One measured value."""

    component: Loop
    quantity: Word
    value: float
    unit: ReadingUnit
    u: Uncertainty | None = None
    method: str = ""
    where: str = ""
    low: float | None = None
    high: float | None = None
    source: str = ""


class RecorderEntry(Entry, tag="recorder", frozen=True, kw_only=True):
    """What a crash recorder says, typed in by hand."""

    record: Literal["stored", "locked", "none", "unknown"] = "unknown"
    delta_v_long_kmh: SpeedChangeKmh | None = None
    delta_v_lat_kmh: SpeedChangeKmh | None = None
    method: Literal["recorder", "pulse", "estimate"] = "recorder"
    u_kmh: Uncertainty | None = None
    driver_belt: Belt | None = None
    passenger_belt: Belt | None = None
    passenger_class: OccupantClass | None = None
    lamp_on: bool | None = None
    commanded_ms: dict[Loop, NotNegative] = {}
    commanded: tuple[Component, ...] = ()
    event_count: Order | None = None
    event: Order = 1
    rollover: bool | None = None
    complete: bool | None = None


class ImpactEntry(Entry, tag="impact", frozen=True, kw_only=True):
    """What the body shows of one impact."""

    zone: Zone | None = None
    clock: Clock | None = None
    extent: Extent | None = None
    order: Order | None = None


What = Literal[
    "crash",
    "rollover",
    "rear-impact",
    "unpowered",
    "parked",
    "earlier-crash",
    "earlier-repair",
    "bags-taken-out",
    "fault-before",
    "flood",
    "fire",
    "heat",
    "corrosion",
    "long-standing",
]


class CircumstanceEntry(Entry, tag="circumstance", frozen=True, kw_only=True):
    """Something known of the event as a whole."""

    what: What
    present: bool
    parts: tuple[Rule, ...] = ()


class OccupantEntry(Entry, tag="occupant", frozen=True, kw_only=True):
    """Who sat where, and belted or not, at the crash."""

    seat: Seat
    present: bool | None = None
    size: OccupantClass | None = None
    belt: Belt | None = None
    child_seat: bool | None = None


class SeatTrialEntry(Entry, tag="seat-trial", frozen=True, kw_only=True):
    """One loading of a seat with dead weights."""

    component: Component
    applied_kg: Kilograms
    read_kg: Kilograms | None = None
    status: Literal["on", "off", ""] = ""
    cabin_c: Celsius | None = None
    volts: Volts | None = None
    seat_position: str = ""
    cover: str = ""
    dry: bool | None = None
    buckle: Literal["latched", "open", ""] = ""


class LampCheckEntry(Entry, tag="lamp-check", frozen=True, kw_only=True):
    """What the restraint warning lamp did after key-on."""

    lit: bool
    out_after_s: NotNegative | None = None
    stayed_out: bool | None = None
    by: str | None = None


class SubstituteLoadEntry(Entry, tag="substitute-load", frozen=True, kw_only=True):
    """A test load issued to the car or taken back."""

    serial: Word
    loop: Loop
    ohm: Ohm | None = None
    move: Literal["issued", "returned"]


class PartLabelEntry(Entry, tag="part-label", frozen=True, kw_only=True):
    """What is printed on a part, and where the part came from."""

    component: Component
    number: Word
    serial: str = ""
    made_on: str = ""
    provenance: Literal["new", "recycled", "donor", "repaired", "original", "unknown"] = "unknown"
    donor_vin: Vin | None = None
    seller: str = ""
    recall_checked: bool | None = None


class TestOutcomeEntry(Entry, tag="test-outcome", frozen=True, kw_only=True):
    """The outcome of one test from a bench card of ``trace``."""

    loop: Loop
    test: Word
    outcome: Word
    by: str | None = None


class DoneEntry(Entry, tag="done", frozen=True, kw_only=True):
    """Something that was done to the car."""

    what: Done
    component: DoneTo
    item: Item | None = None
    by: str | None = None


class PassedEntry(Entry, tag="passed", frozen=True, kw_only=True):
    """A check, inspection or gate that a person signs for."""

    what: Passable
    result: Literal["passed", "failed"]
    note: str = ""
    by: str | None = None


class StoryEntry(Entry, tag="story", frozen=True, kw_only=True):
    """What the owner tells of a fault: when it comes, what was handled, what was tried."""

    text: str = ""
    comes: tuple[Comes, ...] = ()
    known: tuple[Known, ...] = ()
    loop: Loop | None = None


class PhotoEntry(Entry, tag="photo", frozen=True, kw_only=True):
    """A picture in a file of the case folder, of a component or of an operation."""

    file: CaseFolderFile
    sha256: Digest = ""
    component: Component | None = None
    operation: Item | None = None
    note: str = ""
    by: str | None = None


AnyEntry = (
    ReportEntry
    | CrashDataEntry
    | LookEntry
    | StatementEntry
    | ReadingEntry
    | RecorderEntry
    | ImpactEntry
    | CircumstanceEntry
    | OccupantEntry
    | SeatTrialEntry
    | LampCheckEntry
    | SubstituteLoadEntry
    | PartLabelEntry
    | TestOutcomeEntry
    | DoneEntry
    | PassedEntry
    | StoryEntry
    | PhotoEntry
)


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
    seat_off_kg: GivenTable | None = None
    seat_gap_kg: GivenTable | None = None
    rules: tuple[RuleTable, ...] = ()
    sold_apart: tuple[Rule, ...] = ()
    comes_with: tuple[Rule, ...] = ()


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


def schema() -> dict[str, Any]:
    """Return the JSON Schema of a case file, made from the records."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Squibwise case file",
        **msgspec.json.schema(CaseFile),
    }


def write_schema(path: Path) -> None:
    """Write the schema: ``python -m squibwise.intake.case_file.schema FILE``."""
    text = msgspec.json.format(msgspec.json.encode(schema()), indent=2)
    path.write_bytes(text + b"\n")


if __name__ == "__main__":
    write_schema(Path(sys.argv[1]))
