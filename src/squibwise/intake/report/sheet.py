"""A report in the making: its lines, the faults gathered from them, and what is known of it."""

import msgspec

from squibwise.intake.report.candidates import Candidate
from squibwise.intake.report.language.code_forms import Code
from squibwise.intake.report.language.lexicon import Token
from squibwise.intake.report.language.words import Words
from squibwise.model.names import Side
from squibwise.model.origin import Finding
from squibwise.model.report import Unit
from squibwise.model.words import Basis, Status
from squibwise.model.words import Fault as FaultWord

CLEAR = 0.75  # from this share on a reading is the one meant


class Line(msgspec.Struct, kw_only=True):
    """One line of a report, taken apart.

    Attributes:
        number: In the file, from 1.
        raw: As it stood, without the rest of an overlong line.
        text: The same without who says it, marks of a quotation, names of modules in a column.
        role: ``blank``, ``code``, ``words``, ``heading``, ``count``, ``clean``, ``header``,
            ``meta``, ``aside`` or ``unread``.
        cells: Of a table's row; empty when there are none.
        codes: Codes on it.
        status_byte: That it labels as one; None where it does not.
        failure_type: That it labels as one; None where it does not.
        tokens: Its words without its codes.
        words: What its words say.
        count: Faults it announces.
        is_module: It names a module of the car.
        is_alike: It names another one in the form of the restraint unit's heading.
        is_whole: It says that every circuit, or every other one, was tested and is good.
        is_keyed: It begins with a label and a colon.
        is_praised: It ends with praise, and tells no fault.
        is_of_car: It began with the name of a car, so that it is a row of its own.
        is_either: Another line of its number may be meant in its place: ``driver or knee bag``.
        why: Why it tells of no fault that is there now, such as ``a question``; empty when it may.
        module: Name of the module that it stands under; None when there was none.
        unit: Which unit that is.
        group: What a heading above says of every line below it, such as a side; None for nothing.
        tells_hand: It tells the driver's side, and has no code.
        known_share: Share of its words that are known.
        is_cut: It was longer than can be read.
    """

    number: int
    raw: str
    text: str
    role: str = "unread"
    cells: tuple[str, ...] = ()
    codes: tuple[Code, ...] = ()
    status_byte: int | None = None
    failure_type: str | None = None
    tokens: tuple[Token, ...] = ()
    words: Words = msgspec.field(default_factory=Words)
    count: int | None = None
    is_module: bool = False
    is_alike: bool = False
    is_whole: bool = False
    is_keyed: bool = False
    is_praised: bool = False
    is_of_car: bool = False
    is_either: bool = False
    why: str = ""
    module: str | None = None
    unit: Unit = "unknown"
    group: Words | None = None
    tells_hand: bool = False
    known_share: float = 0.0
    is_cut: bool = False


def cell_of(row: Line, column: int) -> str:
    """Return what stands in a column of a table's row; empty where the row is too short."""
    return row.cells[column] if column < len(row.cells) else ""


class Fault(msgspec.Struct, kw_only=True):
    """One fault in the making: first its text, then what that means.

    Attributes:
        first: The line that it begins on.
        raws: Lines of text that belong to it, as they stood.
        texts: The same without codes, as far as they are read as one text.
        code: Its code; None when it has only words.
        words: What all its words say.
        unit: Which unit stores it.
        absent: Why it is not there now, such as ``gone``; empty when it may be.
        section: Number of the counted heading it stands under; 0 before the first.
        candidates: Parts it may mean, the likeliest first.
        readings: Faults it may mean, the likeliest first.
        basis: ``words``, ``code``, ``words+code`` or ``none``.
        sources: Sources of the tables used.
        weak: The weakest basis used.
        clash: What description and number disagree on: ``part``, ``fault``, both or nothing.
        code_title: What the table calls the code.
        typed_status: Status that the failure type adds.
    """

    first: Line
    raws: list[str]
    texts: list[str] = msgspec.field(default_factory=list)
    code: Code | None = None
    words: Words
    unit: Unit = "unknown"
    absent: str = ""
    section: int = 0
    candidates: tuple[Candidate, ...] = ()
    readings: tuple[tuple[FaultWord, float], ...] = ()
    basis: str = "none"
    sources: tuple[str, ...] = ()
    weak: Basis | None = None
    clash: tuple[str, ...] = ()
    code_title: str = ""
    typed_status: Status | None = None

    @property
    def is_told(self) -> bool:
        """True when its words name a part or a fault already."""
        return bool(self.words.features - {"skip", "stagehead"})

    @property
    def part(self) -> Candidate | None:
        """The part meant; None while several are left or its place is unknown."""
        first = next(iter(self.candidates), None)
        return first if first and first.weight >= CLEAR and first.place is not None else None

    @property
    def meant(self) -> FaultWord:
        """The fault meant; ``unknown`` while several are left."""
        if self.readings and self.readings[0][1] >= CLEAR:
            return self.readings[0][0]
        return "unknown"


class Sheet(msgspec.Struct, kw_only=True):
    """A report in the making.

    Attributes:
        name: Of the file.
        lines: All its lines.
        faults: Faults gathered from them.
        counts: Lines that announce a number of faults, by the section that each begins, in order.
        modules: Names of the units that it has headings for.
        unread: Lines that tell of no fault, or were not understood.
        volts: Supply that it states. [V] None when it does not.
        vin: VIN that it names.
        vin_part: What is legible of a masked one.
        hand: Side of the driver that it names.
        is_coded: Some code in it identifies itself.
        other_kind: What it is where it is no report, such as ``recorder``; empty when it may be.
        is_machine_read: A camera or a reader of print made its text.
        lists_parts: It is a list of parts.
        counts_blinks: Its numbers are counts of a lamp's blinks.
        language: Its own language beside English; None when no other was seen.
        findings: What is wrong with single lines.
    """

    name: str
    lines: list[Line]
    faults: list[Fault] = msgspec.field(default_factory=list)
    counts: dict[int, Line] = msgspec.field(default_factory=dict)
    modules: dict[str, None] = msgspec.field(default_factory=dict)
    unread: list[Line] = msgspec.field(default_factory=list)
    volts: float | None = None
    vin: str | None = None
    vin_part: str = ""
    hand: Side | None = None
    is_coded: bool = False
    other_kind: str = ""
    is_machine_read: bool = False
    lists_parts: bool = False
    counts_blinks: bool = False
    language: str | None = None
    findings: list[Finding] = msgspec.field(default_factory=list)
