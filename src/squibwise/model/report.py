"""What a scan report said, line by line, and how far it reached."""

import datetime as dt
from typing import Literal

import msgspec

from squibwise.errors import ModelError
from squibwise.model.names import Side
from squibwise.model.origin import Finding, Origin, Time
from squibwise.model.words import Basis, Fault, Status

Unit = Literal["restraint", "other", "unknown"]
KM_PER_MILE = 1.609344
"""Source: NIST Special Publication 811 (2008), appendix B.8: 1 mile = 1.609 344 km, exactly."""


class Candidate(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One reading of a code line.

    Attributes:
        component: Component id; None when only the kind or nothing is clear.
        kind: Component kind; None when unclear.
        place: Place; None when unclear.
        stage: Stage of the circuit; None when the line does not tell.
        fault: What is wrong with it.
        weight: Share of belief, 0 to 1; a line's candidates sum to 1.
        code: The code this reading takes the printed one for; None when it is as printed.
    """

    component: str | None
    kind: str | None = None
    place: str | None = None
    stage: int | None = None
    fault: Fault
    weight: float
    code: str | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.weight <= 1.0:
            raise ModelError(f"candidate weight {self.weight} is not in (0, 1]")


class CodeLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One fault as the report states it.

    Attributes:
        line: Line number in the report, from 1.
        raw: The text as it stood.
        code: Normalised code such as ``B0001``; None when the line has only words.
        failure_type: Two hex digits after the code; None when absent.
        status: Status words, in the order read; empty when the line does not tell.
        component: The one component meant, or the clearly likelier one where description and
            number disagree; None when several candidates remain or none is known.
        kind: Its kind, also when the place is unclear; None when unknown.
        place: Its place; None when unknown.
        side: Side of the car that the line itself names; None when it names none or two.
        stage: Stage of the circuit; None when the line does not tell.
        fault: What is wrong, ``unknown`` when the line does not tell.
        candidates: Every reading with its weight; empty when nothing is understood of the part.
        basis: What the reading rests on: ``words``, ``code``, ``words+code`` or ``none``.
        sources: Catalogue source ids the reading leans on.
        weak: The weakest basis among the facts used; None when no fact was used.
        module: Heading of the module it was listed under; None when there was none.
        repeats: Line numbers of earlier codes of the report that tell of the same fault; a line
            with repeats is not counted again.
        also: The same code in other notations, as printed on the line.
        unit: Whether the unit that stores it is the restraint unit, another one or not known; only
            faults of the restraint unit, or of an unknown one, are faults of the restraint system.
        present: False when the text says that the fault is not there: cleared, repaired, past,
            denied; also when it is doubtful, and when it tells only of a test that was not done.
        is_doubtful: The text tells of it, but not surely that it is there now: it is evidence of
            nothing, not of the part's soundness either, until somebody says what it means.
        origin: Where it stands.
    """

    line: int
    raw: str
    code: str | None = None
    failure_type: str | None = None
    status: tuple[Status, ...] = ()
    component: str | None = None
    kind: str | None = None
    place: str | None = None
    side: Side | None = None
    stage: int | None = None
    fault: Fault = "unknown"
    candidates: tuple[Candidate, ...] = ()
    basis: str = "none"
    sources: tuple[str, ...] = ()
    weak: Basis | None = None
    module: str | None = None
    repeats: tuple[int, ...] = ()
    also: tuple[str, ...] = ()
    unit: Unit = "unknown"
    present: bool = True
    is_doubtful: bool = False
    origin: Origin = Origin()

    @property
    def is_untested(self) -> bool:
        """Whether it tells only that a circuit was not tested: of no fault, and of no good one."""
        is_bare = self.code is None and self.fault == "unknown"
        return is_bare and self.status == ("not-tested",) and not self.is_doubtful


UNSURE, ASKED = "told, not sure that it is there now", "a question"


class Unread(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line that was not read as a fault; nothing is dropped.

    Attributes:
        line: Line number in the report, from 1.
        raw: The text as it stood.
        why: Why it is none, such as ``a question``; empty when it was not understood.
        recognised: What was recognised in it, such as ``front-bag`` or ``left``.
    """

    line: int
    raw: str
    why: str = ""
    recognised: tuple[str, ...] = ()


class CleanCircuit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A circuit that the report says was tested and found good.

    Attributes:
        component: Component id.
        stage: Stage of its circuit; None when the text does not tell.
        origin: Where it says so.
    """

    component: str
    stage: int | None = None
    origin: Origin = Origin()


class Coverage(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a report covered, and whether the unit was able to test it.

    Attributes:
        complete: True when every circuit of the restraint unit was read, as the user or the report
            itself says; None when neither does.
        able: False when the unit could not run its tests (voltage, lock, fault); None = unknown.
        unit_volts: Supply at the unit. [V] None when not stated.
        modules: Module headings seen in the report.
        not_tested: Component ids whose test had not completed.
        clean: Circuits that the report says were tested and found good.
        no_crash_record: Where the report says that the unit holds no crash record; None when it
            does not say so.
        why: What limits the coverage, in plain words.
        unit: Whose memory it tells of: the restraint unit's, another one's, or not said; None
            where no text was read.
        days: What the day may be that the report states of itself; empty when it states none.
        odometer: What the report states of the odometer, as printed; None when it states nothing.
        odometer_unit: ``km`` or ``mi``; empty where the report does not say which.
        stand_ins: Lines that name a load, a resistor, a bridge or a simulator, whatever else they
            were read as.
        counts_more: Lines that count faults that are stored, pending or hidden, beside none, or say
            more behind a "no faults" that was not understood.
        serial: Serial number of the restraint unit, letters and digits alone; empty where it
            states none.
        is_vouched: That it is complete is its owner's word, the report itself does not say so.
        silent: Where the report says that the restraint unit did not answer: nothing was read of
            it; None when it does not say so.
        broken_off: Where it says that its reading broke off, whoever calls it complete.
        cleared: Where it says that codes were cleared: before a repair it is then blank.
        names_none: Where it says, of the restraint unit and of every fault, that none is stored;
            None where it only says that all was read or tested, whatever it lists.
    """

    complete: bool | None = None
    able: bool | None = None
    unit_volts: float | None = None
    modules: tuple[str, ...] = ()
    not_tested: tuple[str, ...] = ()
    clean: tuple[CleanCircuit, ...] = ()
    no_crash_record: Origin | None = None
    why: tuple[str, ...] = ()
    unit: Unit | None = None
    days: tuple[dt.date, ...] = ()
    odometer: int | None = None
    odometer_unit: str = ""
    stand_ins: tuple[Unread, ...] = ()
    counts_more: tuple[Unread, ...] = ()
    serial: str = ""
    is_vouched: bool = False
    silent: Origin | None = None
    broken_off: Origin | None = None
    cleared: Origin | None = None
    names_none: Origin | None = None


class ReadReport(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything that was read from one report file: the answer of ``read``.

    Attributes:
        vin: VIN found in the report; None when there was none.
        vin_part: What is legible of one that is masked or cut, ``*`` for the rest; else empty.
        lines: Faults understood, in the order read.
        unread: Lines with text in them that tell of no fault: understood where one says why.
        findings: What is wrong or remarkable with the report.
        coverage: How far the report reached.
    """

    vin: str | None = None
    vin_part: str = ""
    lines: tuple[CodeLine, ...] = ()
    unread: tuple[Unread, ...] = ()
    findings: tuple[Finding, ...] = ()
    coverage: Coverage = Coverage()

    @property
    def own(self) -> tuple[CodeLine, ...]:
        """Lines of the restraint unit: those under its name, or where none is, of no other unit."""
        named = tuple(c for c in self.lines if c.unit == "restraint")
        return named or tuple(c for c in self.lines if c.unit == "unknown")

    @property
    def answers(self) -> bool:
        """Whether the restraint unit itself told a code: it is not silent, whoever says so."""
        own = (c for c in self.lines if c.unit == "restraint" and c.code)
        return any(c.kind != "control-unit" or c.fault != "communication" for c in own)

    @property
    def doubtful(self) -> tuple[CodeLine, ...]:
        """Lines that may tell of a fault that is there now; none that a sure line tells of too."""
        lines = (c for c in self.lines if c.is_doubtful and c.unit != "other" and not c.repeats)
        sure = {(c.component, c.fault) for c in self.lines if c.present and c.component}
        codes = {c.code for c in self.lines if c.present} - {None}
        return tuple(c for c in lines if c.code not in codes and (c.component, c.fault) not in sure)

    @property
    def unsure(self) -> tuple[Unread, ...]:
        """Lines that tell of something that may be there now, or ask whether it is."""
        asked = (u for u in self.unread if u.why == ASKED and u.recognised)
        return (*(u for u in self.unread if u.why == UNSURE), *asked)

    @property
    def strange(self) -> tuple[Unread, ...]:
        """Lines that were not understood."""
        return tuple(u for u in self.unread if not u.why)


class Report(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="report"):
    """A scan report as evidence of a case.

    Attributes:
        id: Name within the case.
        time: When it was read; None when not stated.
        when: ``before-repair``, ``after-repair`` or ``unknown``.
        reading: What the file said.
        file: Path of the file inside the case folder; empty when it was handed in without one.
        origin: Where the case names it.
    """

    id: str
    time: Time | None = None
    when: str = "unknown"
    reading: ReadReport
    file: str = ""
    origin: Origin = Origin()

    @property
    def shows_codes(self) -> bool:
        """Whether it shows any code of the restraint unit, and not only what may be one."""
        return any(c.unit != "other" and not c.is_doubtful for c in self.reading.lines)
