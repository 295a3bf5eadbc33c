"""``[[evidence]]`` as written in a case file: one record for each ``kind``."""

from typing import Literal

import msgspec

from squibwise.intake.case_file.fields import (
    CaseFolderFile,
    Celsius,
    Clock,
    Component,
    DoneTo,
    Id,
    Item,
    Kilograms,
    LocalTime,
    Loop,
    NotNegative,
    Ohm,
    Order,
    Passable,
    ReadingUnit,
    SpeedChangeKmh,
    Uncertainty,
    Vin,
    Volts,
    Word,
)
from squibwise.model.names import Seat, Zone
from squibwise.model.words import Belt, Done, Extent, OccupantClass


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
    """What an eye saw on one component; what it means is left to the program."""

    component: Component
    seen: Word
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


class CircumstanceEntry(Entry, tag="circumstance", frozen=True, kw_only=True):
    """Something known of the event as a whole."""

    what: Literal[
        "crash",
        "rollover",
        "rear-impact",
        "unpowered",
        "parked",
        "earlier-crash",
        "earlier-repair",
        "bags-taken-out",
        "fault-before",
    ]
    present: bool


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
    provenance: Literal["new", "recycled", "donor", "repaired", "unknown"] = "unknown"
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
)
