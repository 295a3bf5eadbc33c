"""Everything that somebody saw, heard, measured or did. All of it carries time and origin."""

import msgspec

from squibwise.errors import ModelError
from squibwise.model.origin import Origin, Time
from squibwise.model.report import Report
from squibwise.model.words import Belt, Comes, Done, Extent, Known, OccupantClass


class Look(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="look"):
    """What an eye saw on one component; what it means is for inference.

    Attributes:
        component: Component id, or a loop id when it was one circuit or charge of it.
        seen: ``intact``, ``deployed``, ``damaged``, ``missing``, ``not-seen``, or a kind's word.
        asked: The look word that was looked for, where another was seen; None when not stated.
        note: What was said beside it.
        by: Who looked; None when not stated.
    """

    id: str
    time: Time | None = None
    component: str
    seen: str
    asked: str | None = None
    note: str = ""
    by: str | None = None
    origin: Origin = Origin()


class Statement(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="statement"
):
    """Second-hand word about a component; often wrong.

    Attributes:
        component: Component id; None when it speaks of the whole car.
        says: ``deployed`` or ``not-deployed``.
        from_: Who says so, such as ``auction listing``.
    """

    id: str
    time: Time | None = None
    component: str | None = None
    says: str
    from_: str = ""
    origin: Origin = Origin()


class Reading(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="reading"):
    """One measured value.

    Attributes:
        component: Component id or loop id it was taken on.
        quantity: What was measured, such as ``loop-resistance`` or ``unit-supply``.
        value: In ``unit``.
        unit: ``ohm``, ``V``, ``kg``, ``mA``, ``mm``, ``Mohm`` ...
        u: Standard uncertainty in ``unit``; None when not stated.
        method: How: ``substitute-load``, ``scan-live-value``, ``meter`` ...
        where: Point it was taken at, such as an element of the loop; empty when plain.
        low: Lowest value that the maker's procedure allows, in ``unit``; None = none entered.
        high: Highest.
        source: Where the maker's limits stand; needed beside ``low`` or ``high``.
    """

    id: str
    time: Time | None = None
    component: str
    quantity: str
    value: float
    unit: str
    u: float | None = None
    method: str = ""
    where: str = ""
    low: float | None = None
    high: float | None = None
    source: str = ""
    origin: Origin = Origin()

    def __post_init__(self) -> None:
        if self.value != self.value or (self.u is not None and not self.u >= 0.0):
            raise ModelError(f"{self.origin.where()}: {self.value} +- {self.u} is no reading")


class Recorder(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="recorder"
):
    """What a crash recorder or a pulse says. Axes of 49 CFR 563.5: x forward +, y to the right +.

    Attributes:
        record: ``stored``, ``locked``, ``none`` or ``unknown``: is there a crash record at all.
        delta_v_long_kmh: Change of forward speed, negative when slowed. [km/h]
        delta_v_lat_kmh: Change of speed to the right. [km/h]
        method: ``recorder`` (measured), ``pulse`` (integrated) or ``estimate`` (from damage).
        u_kmh: Standard uncertainty of both. [km/h] None = as the method usually has.
        driver_belt: At one second before; None when not recorded.
        passenger_belt: The same for the front passenger.
        passenger_class: What the seat sensor told the unit; None when not recorded.
        lamp_on: Was the warning lamp lit before the crash.
        commanded_ms: Time from time zero to the firing command, by loop id. [ms]
        commanded: Components whose firing it lists without a time.
        not_commanded: Loops that the record lists as not commanded. A loop in neither was not
            recorded: for most devices the standard does not ask for it.
        event_count: Number of events recorded within five seconds; None when not recorded.
        event: Which event this entry is, from 1.
        rollover: Did it record a rollover.
        complete: Was the file recorded whole.
        file: Path of its file inside the case folder; empty when it was typed in by hand.
    """

    id: str
    time: Time | None = None
    record: str = "unknown"
    delta_v_long_kmh: float | None = None
    delta_v_lat_kmh: float | None = None
    method: str = "recorder"
    u_kmh: float | None = None
    driver_belt: Belt | None = None
    passenger_belt: Belt | None = None
    passenger_class: OccupantClass | None = None
    lamp_on: bool | None = None
    commanded_ms: dict[str, float] = {}
    commanded: tuple[str, ...] = ()
    not_commanded: tuple[str, ...] = ()
    event_count: int | None = None
    event: int = 1
    rollover: bool | None = None
    complete: bool | None = None
    file: str = ""
    origin: Origin = Origin()

    def __post_init__(self) -> None:
        for value in (self.delta_v_long_kmh, self.delta_v_lat_kmh):
            if value is not None and not abs(value) <= 300.0:
                raise ModelError(f"{self.origin.where()}: delta-V {value} km/h is out of range")


class Impact(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="impact"):
    """What the body shows of one impact.

    Attributes:
        zone: Struck zone of ``ZONES``; None when only the clock is known.
        clock: Direction of force, 1 to 12, 12 = from the front; None when not judged.
        extent: How bad it looks; None when not judged.
        order: 1 for the first impact, 2 for a second; None when unknown.
    """

    id: str
    time: Time | None = None
    zone: str | None = None
    clock: int | None = None
    extent: Extent | None = None
    order: int | None = None
    origin: Origin = Origin()


class Circumstance(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="circumstance"
):
    """Something known of the event as a whole.

    Attributes:
        what: ``crash``, ``rollover``, ``rear-impact``, ``unpowered``, ``parked``,
            ``earlier-crash``, ``earlier-repair``, ``bags-taken-out``, ``fault-before``, ``flood``,
            ``fire``, ``heat``, ``corrosion`` or ``long-standing``.
        present: True when it was so, False when it surely was not.
        parts: What was under water, burnt, heated or corroded: component ids and kinds; empty =
            not told.
    """

    id: str
    time: Time | None = None
    what: str
    present: bool
    parts: tuple[str, ...] = ()
    origin: Origin = Origin()


class Occupant(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="occupant"
):
    """Who sat where, and belted or not, at the crash.

    Attributes:
        seat: One of ``SEATS``.
        present: None when unknown.
        size: Class of a front passenger; None when unknown.
        belt: None when unknown.
        child_seat: True when a child seat was belted in; None when unknown.
    """

    id: str
    time: Time | None = None
    seat: str
    present: bool | None = None
    size: OccupantClass | None = None
    belt: Belt | None = None
    child_seat: bool | None = None
    origin: Origin = Origin()


class SeatTrial(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="seat-trial"
):
    """One loading of the passenger seat with dead weights.

    Attributes:
        component: The occupant sensor.
        applied_kg: Mass laid on the seat. [kg]
        read_kg: What the system reported. [kg] None when it only shows on or off.
        status: ``on``, ``off`` or empty, of the passenger bag.
        cabin_c: Temperature. [degC]
        volts: Supply. [V]
        seat_position: As the procedure asks for it.
        cover: What lies on the cushion: ``own cover``, ``none`` or other words; empty = not stated.
        dry: Was cushion and cover dry; None = not stated.
        buckle: ``latched`` or ``open``; empty = not stated.
    """

    id: str
    time: Time | None = None
    component: str
    applied_kg: float
    read_kg: float | None = None
    status: str = ""
    cabin_c: float | None = None
    volts: float | None = None
    seat_position: str = ""
    cover: str = ""
    dry: bool | None = None
    buckle: str = ""
    origin: Origin = Origin()


class LampCheck(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="lamp-check"
):
    """What the restraint warning lamp did after key-on.

    Attributes:
        lit: Did it light at key-on.
        out_after_s: Seconds until it went out; None when it stayed on.
        stayed_out: Did it stay out while it was watched; None when nobody watched. The drive is
            signed for by itself.
    """

    id: str
    time: Time | None = None
    lit: bool
    out_after_s: float | None = None
    stayed_out: bool | None = None
    by: str | None = None
    origin: Origin = Origin()


class SubstituteLoad(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="substitute-load"
):
    """A test load issued to the car or taken back.

    Attributes:
        serial: Mark on the load.
        loop: Loop id it is fitted to.
        ohm: Its resistance. [ohm]
        move: ``issued`` or ``returned``.
    """

    id: str
    time: Time | None = None
    serial: str
    loop: str
    ohm: float | None = None
    move: str
    origin: Origin = Origin()


class PartLabel(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="part-label"
):
    """What is printed on a part, and where the part came from.

    Attributes:
        provenance: ``new``, ``recycled``, ``donor``, ``repaired``, ``original`` (what the car came
            with, whose number the desk is told) or ``unknown``.
        donor_vin: VIN of the donor car; None when new or unknown.
        recall_checked: Was it checked against recalls, by donor VIN and part number.
    """

    id: str
    time: Time | None = None
    component: str
    number: str
    serial: str = ""
    made_on: str = ""
    provenance: str = "unknown"
    donor_vin: str | None = None
    seller: str = ""
    recall_checked: bool | None = None
    origin: Origin = Origin()


class TestOutcome(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="test-outcome"
):
    """The outcome of one fault-isolation test.

    Attributes:
        loop: Loop id.
        test: Test id as printed on the bench card.
        outcome: One of that test's outcomes.
    """

    id: str
    time: Time | None = None
    loop: str
    test: str
    outcome: str
    by: str | None = None
    origin: Origin = Origin()


class DoneWork(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="done"):
    """Something that was done to the car; opens a new epoch for what it touched.

    Attributes:
        what: ``replaced``, ``reseated``, ``cleared``, ``disconnected`` or ``repaired``.
        component: Component id, ``battery``, or ``codes`` for the unit's whole memory.
        item: Work item id it finishes; None when it is not on the plan.
    """

    id: str
    time: Time | None = None
    what: Done
    component: str
    item: str | None = None
    by: str | None = None
    origin: Origin = Origin()


class Passed(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="passed"):
    """A check, inspection or gate that a person signs for.

    Attributes:
        what: Gate word or demand id, see ``docs/case-file.md``.
        result: ``passed`` or ``failed``.
    """

    id: str
    time: Time | None = None
    what: str
    result: str
    note: str = ""
    by: str | None = None
    origin: Origin = Origin()


class Story(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="story"):
    """What the owner tells of a fault: when it comes, what was handled, what was tried.

    Attributes:
        text: In plain words; what it says plainly is read.
        comes: When the fault comes.
        known: What else is known.
        loop: The circuit it is told of; None for the car as a whole.
    """

    id: str
    time: Time | None = None
    text: str = ""
    comes: tuple[Comes, ...] = ()
    known: tuple[Known, ...] = ()
    loop: str | None = None
    origin: Origin = Origin()


class Photo(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="photo"):
    """A picture in the case folder, of a component, of an operation, or of the car as a whole.

    Attributes:
        file: Path inside the case folder.
        sha256: Digest of the file when it was added, in hexadecimal; empty when nobody noted it.
        component: Component id it shows; None when it shows none.
        operation: Id of the operation it documents; None when it documents none.
        note: What is to be seen.
    """

    id: str
    time: Time | None = None
    file: str
    sha256: str = ""
    component: str | None = None
    operation: str | None = None
    note: str = ""
    by: str | None = None
    origin: Origin = Origin()


Evidence = (
    Report
    | Look
    | Statement
    | Reading
    | Recorder
    | Impact
    | Circumstance
    | Occupant
    | SeatTrial
    | LampCheck
    | SubstituteLoad
    | PartLabel
    | TestOutcome
    | DoneWork
    | Passed
    | Story
    | Photo
)
