"""The procedure: steps, gates, openings, looks while open, settings, and what kinds take."""

from collections.abc import Mapping
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import msgspec

from squibwise.catalog.components import Kind
from squibwise.catalog.facts import Source
from squibwise.catalog.reading import key_entries, read_files, refuse_unknown
from squibwise.catalog.texts import CautionText
from squibwise.errors import CatalogError
from squibwise.model.words import Basis

PHASES = ("arrive", "read", "open", "body", "build", "prove", "fit", "final")
STEP_WHEN = (
    "always",
    "crash",
    "fired",
    "parts",
    "charge-work",
    "body-work",
    "long-way",
    "loads-left",
    "read-on-loads",
    "wheel-on-loads",
    "weight-set",
    "key-on-refused",
    "key-on",
    "key-on-crash",
    "key-on-new-unit",
    "unit-loose",
    "opened-up",
    "dry",
    "soaked",
)
EACH = ("", "label", "load", "igniter")
CLASSES = (
    "open",
    "look",
    "out",
    "cause",
    "trace",
    "fit-base",
    "fit",
    "join-build",
    "join",
    "close",
    "set",
)
DONE_BY = (
    "",
    "report",
    "bench-report",
    "recorder",
    "battery-off",
    "cleared",
    "lamp-check",
    "final-scan",
    "loads",
    "loads-issued",
)
TICK_WHEN = ("always", "open", "bag-fired")
OPENS_WHEN = ("", "driver-bag", "fired", "struck-nose")
PER = ("", "seat", "side")
ROWS = ("", "front", "rear", "driver", "passenger", "centre", "door", "nose", "tail", "car")
ROOMS = ("driver", "passenger", "rear", "nose", "tail")
Three = tuple[int, int, int]


class Step(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One step of the procedure.

    Attributes:
        id: Word after ``step:`` in the ids of operations.
        number: Its number on every work list, 1 to 99.
        phase: One of ``PHASES``.
        title: What to do.
        short: The same in a few words, for a page that holds the whole job.
        text: How, and what to watch, in our own words.
        after: What must be finished first: steps, classes written ``all:<class>``, or
            ``<action>:<assembly, area or setting>``; what is not on the list holds nothing.
        when: When the step is on the list; one of ``STEP_WHEN``.
        gates: Gates that hold it.
        hold: It may start only after the full wait.
        advice: No gate of release waits for it.
        passes_when: What must be recorded.
        done_by: Kind of evidence that also finishes it; one of ``DONE_BY``.
        minutes: Low, usual, high. [min]
        undamaged: The same without a crash, water, fire or new part, where it is less; None = the
            same.
        each: The minutes are for each of these; one of ``EACH``.
    """

    id: str
    number: int
    phase: str
    title: str
    short: str
    text: str
    after: tuple[str, ...] = ()
    when: str = "always"
    gates: tuple[str, ...] = ()
    hold: bool = False
    advice: bool = False
    passes_when: str
    done_by: str = ""
    minutes: Three
    undamaged: Three | None = None
    each: str = ""
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    source: str
    at: str = ""
    basis: Basis

    def __post_init__(self) -> None:
        if self.when not in STEP_WHEN or self.done_by not in DONE_BY or self.each not in EACH:
            raise CatalogError(f"step {self.id}: unknown when, done_by or each")
        if self.phase not in PHASES or not 1 <= self.number <= 99:
            raise CatalogError(f"step {self.id}: unknown phase, or number not from 1 to 99")
        check_minutes(f"step {self.id}", self.minutes)
        check_minutes(f"step {self.id}", self.undamaged or self.minutes)


class GateText(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One gate of the work: a word that a ``passed`` evidence signs for.

    Attributes:
        step: Step that closes it; the gate holds nothing while that step is not on the list.
        when: When it holds anything, where no step closes it; one of ``STEP_WHEN``.
    """

    word: str
    step: str = ""
    when: str = "always"
    text: str
    remedy: str
    source: str
    basis: Basis


class Opening(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is opened and closed once in a visit, however many operations use it.

    Attributes:
        slot: Its place in the order of opening and in the numbers of operations; the second side
            or seat has the next one.
        per: ``seat`` for each front seat, ``side`` for each side, empty for once in the car.
        open: Low, usual, high minutes of opening it; ``close`` of closing it. [min]
        swallows: Openings that are open with it.
        needs: Openings that come before it.
        both: Opening that it stands for where that is open on both sides.
        takes_off: Assembly that comes off first, new or not.
        first_out: Assembly that comes out before it where it is renewed: it holds the opening.
        parts: Kinds whose connectors come apart on the way.
        rows: Whose of them; one of ``ROWS``.
        rooms: Parts of the car that are taken while somebody works there; empty = its own seat, or
            the front seat at its side.
    """

    id: str
    slot: int
    per: str = ""
    title: str
    open: Three
    close: Three
    swallows: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    both: str = ""
    takes_off: str = ""
    first_out: str = ""
    parts: tuple[str, ...] = ()
    rows: str = ""
    rooms: tuple[str, ...] = ()
    note: str = ""
    source: str
    basis: Basis

    def __post_init__(self) -> None:
        known = self.per in PER and self.rows in ROWS and set(self.rooms) <= set(ROOMS)
        if not (known and 1 <= self.slot <= 42):
            raise CatalogError(f"opening {self.id}: unknown per, rows or room, or slot not 1 to 42")
        check_minutes(f"opening {self.id}", self.open)
        check_minutes(f"opening {self.id}", self.close)


class Tick(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Looks to make in one area, as one line.

    Attributes:
        number: Its number where it belongs to no opening; 0 = that of its opening.
        per: As of an opening.
        kinds: What is looked at here.
        rows: Whose of them; one of ``ROWS``.
        seen_in: Openings any of which lets it be seen.
        opens: Openings made for the look alone, where a part in it is in doubt.
        when: ``always`` after a crash, ``open`` where it can be seen, ``bag-fired``.
        opens_when: What opens it though no part is in doubt; one of ``OPENS_WHEN``.
        minutes: Low, usual, high. [min]
    """

    id: str
    number: int = 0
    per: str = ""
    title: str
    text: str
    minutes: Three
    kinds: tuple[str, ...] = ()
    rows: str = ""
    seen_in: tuple[str, ...] = ()
    opens: tuple[str, ...] = ()
    when: str
    opens_when: str = ""
    source: str
    basis: Basis

    def __post_init__(self) -> None:
        if self.when not in TICK_WHEN or self.opens_when not in OPENS_WHEN:
            raise CatalogError(f"look {self.id}: unknown when")
        if self.per not in PER or self.rows not in ROWS:
            raise CatalogError(f"look {self.id}: unknown per or rows")
        check_minutes(f"look {self.id}", self.minutes)


class Setting(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is programmed, zeroed, taught or aimed on a kind once the power is on.

    Attributes:
        short: The title in a few words.
        follows: Kinds of the same seat (or of the car) after whose replacement it is due.
    """

    id: str
    kind: str
    number: int
    title: str
    short: str
    text: str
    follows: tuple[str, ...]
    minutes: Three
    source: str
    basis: Basis

    def __post_init__(self) -> None:
        check_minutes(f"setting {self.id}", self.minutes)


class KindWork(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What work on a kind must mind.

    Attributes:
        kind: Component kind.
        look: What the inspection must look at.
        gates: Gates that hold replacing it.
    """

    kind: str
    look: str
    gates: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    source: str = "judgement"
    basis: Basis = "judgement"


class Cause(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What to do about a common cause of faults; ``{place}`` in the title is filled in.

    Attributes:
        powered: Is it done with the key on.
    """

    cause: str
    title: str
    text: str
    powered: bool = False
    minutes: Three
    cautions: tuple[str, ...] = ()
    source: str
    basis: Basis

    def __post_init__(self) -> None:
        check_minutes(f"cause {self.cause}", self.minutes)


class Area(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The words of the areas and visits that no opening names."""

    id: str
    title: str


class TaskFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One file of ``tasks/``; every list may be left out."""

    step: tuple[Step, ...] = ()
    gate: tuple[GateText, ...] = ()
    opening: tuple[Opening, ...] = ()
    tick: tuple[Tick, ...] = ()
    set: tuple[Setting, ...] = ()
    work: tuple[KindWork, ...] = ()
    cause: tuple[Cause, ...] = ()
    area: tuple[Area, ...] = ()


class TaskBook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything of ``tasks/``, by id; settings and work by kind."""

    steps: dict[str, Step]
    gates: dict[str, GateText]
    openings: dict[str, Opening]
    ticks: dict[str, Tick]
    settings: dict[str, Setting]
    work: dict[str, KindWork]
    causes: dict[str, Cause]
    areas: dict[str, Area]

    def __len__(self) -> int:
        """Return the number of entries."""
        return sum(len(getattr(self, name)) for name in self.__struct_fields__)


def read_tasks(
    folder: Path,
    kinds: dict[str, Kind],
    cautions: dict[str, CautionText],
    sources: dict[str, Source],
) -> TaskBook:
    """Return every task under a folder, checked.

    Raises:
        CatalogError: A file is broken, repeats an id, or names something unknown.
    """
    files = read_files(folder, TaskFile)
    book = TaskBook(
        steps=key_entries((s for f in files for s in f.step), "tasks"),
        gates=key_entries((g for f in files for g in f.gate), "tasks", "word"),
        openings=key_entries((o for f in files for o in f.opening), "tasks"),
        ticks=key_entries((t for f in files for t in f.tick), "tasks"),
        settings=key_entries((s for f in files for s in f.set), "tasks", "kind"),
        work=key_entries((w for f in files for w in f.work), "tasks", "kind"),
        causes=key_entries((c for f in files for c in f.cause), "tasks", "cause"),
        areas=key_entries((a for f in files for a in f.area), "tasks"),
    )
    _check_book(book, kinds, cautions, sources)
    return book


def _check_book(
    book: TaskBook,
    kinds: Mapping[str, Kind],
    cautions: Mapping[str, CautionText],
    sources: Mapping[str, Source],
) -> None:
    classes = {f"all:{c}" for c in CLASSES}
    for step in book.steps.values():
        words = {a for a in step.after if ":" not in a or a.startswith("all:")}
        refuse_unknown(f"step {step.id}", words, {*book.steps, *classes})
        refuse_unknown(f"step {step.id}", step.gates, book.gates)
    _refuse_circles(book.steps)
    for kind, work in book.work.items():
        refuse_unknown(f"work on {kind}", (kind,), kinds)
        refuse_unknown(f"work on {kind}", work.gates, book.gates)
    for opening in book.openings.values():
        both = (opening.both,) if opening.both else ()
        refuse_unknown(
            f"opening {opening.id}", (*opening.swallows, *opening.needs, *both), book.openings
        )
        refuse_unknown(f"opening {opening.id}", opening.parts, kinds)
    for tick in book.ticks.values():
        refuse_unknown(f"look {tick.id}", tick.kinds, kinds)
        refuse_unknown(f"look {tick.id}", (*tick.seen_in, *tick.opens), book.openings)
    refuse_unknown("settings", book.settings, kinds)
    missing = sorted(set(kinds) - set(book.work))
    if missing:
        raise CatalogError(f"tasks: nothing says what work takes on {', '.join(missing)}")
    entries: list[Step | KindWork | Cause] = [*book.steps.values(), *book.work.values()]
    for entry in (*entries, *book.causes.values()):
        refuse_unknown("tasks", entry.cautions, cautions)
        refuse_unknown("tasks", (entry.source,), sources)
    for gate in book.gates.values():
        refuse_unknown(f"gate {gate.word}", (gate.step,) if gate.step else (), book.steps)
        refuse_unknown(f"gate {gate.word}", (gate.source,), sources)
    _refuse_shared_numbers(book)


def _refuse_circles(steps: Mapping[str, Step]) -> None:
    before = {s.id: [a for a in s.after if a in steps] for s in steps.values()}
    try:
        TopologicalSorter(before).prepare()
    except CycleError as error:
        circle = ", ".join(error.args[1])
        raise CatalogError(f"steps wait for each other in a circle: {circle}") from error


def _refuse_shared_numbers(book: TaskBook) -> None:
    numbers: dict[int, str] = {}
    named = [(s.number, f"step {s.id}") for s in book.steps.values()]
    named += [(t.number, f"look {t.id}") for t in book.ticks.values() if t.number]
    named += [(s.number, f"setting {s.id}") for s in book.settings.values()]
    named += [
        (100 + o.slot + side, f"opening {o.id}")
        for o in book.openings.values()
        for side in range(2 if o.per else 1)
    ]
    for number, name in named:
        if number in numbers:
            raise CatalogError(f"tasks: {name} has the number of {numbers[number]}")
        numbers[number] = name


def check_minutes(what: str, minutes: Three) -> None:
    """Refuse minutes that are out of order.

    Raises:
        CatalogError: They are not 0 <= low <= usual <= high.
    """
    if not 0 <= minutes[0] <= minutes[1] <= minutes[2]:
        raise CatalogError(f"{what}: minutes {minutes} are out of order")
