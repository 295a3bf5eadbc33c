"""Steps of the procedure, gates, and what work on each kind takes."""

from collections.abc import Iterable
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import msgspec

from squibwise.catalog.components import Kind
from squibwise.catalog.facts import Source
from squibwise.catalog.reading import read_toml, refuse_repeats
from squibwise.catalog.texts import CautionText
from squibwise.errors import CatalogError
from squibwise.model.words import Basis

FITS = ("base", "charge", "trim")
STEP_WHEN = ("always", "crash", "fired", "charge-work", "key-on-refused", "key-on", "key-on-crash")
CLASSES = (
    "inspect",
    "cause",
    "trace",
    "fit-base",
    "fit-charge",
    "fit-trim",
    "configure",
    "calibrate",
)
DONE_BY = (
    "",
    "report",
    "recorder",
    "battery-off",
    "cleared",
    "lamp-check",
    "final-scan",
    "loads",
    "loads-issued",
)


class Step(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One step of the procedure.

    Attributes:
        id: Word after ``step:`` in item ids.
        title: What to do.
        text: How, and what to watch, in our own words.
        rank: Place in the order among steps that are free at the same time.
        after: Steps, or classes written ``all:<class>``, that must be finished first.
        when: When the step is on the list; one of ``STEP_WHEN``.
        gates: Gates that hold it.
        hold: It may start only after the full wait.
        passes_when: What must be recorded.
        done_by: Kind of evidence that also finishes it; one of ``DONE_BY``.
        low: Least minutes. [min]
        minutes: Usual. [min]
        high: Most. [min]
    """

    id: str
    title: str
    text: str
    rank: int
    after: tuple[str, ...] = ()
    when: str = "always"
    gates: tuple[str, ...] = ()
    hold: bool = False
    passes_when: str
    done_by: str = ""
    low: int
    minutes: int
    high: int
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    source: str
    at: str = ""
    basis: Basis

    def __post_init__(self) -> None:
        if self.when not in STEP_WHEN or self.done_by not in DONE_BY:
            raise CatalogError(f"step {self.id}: unknown when or done_by")
        _check_minutes(f"step {self.id}", self.low, self.minutes, self.high)


class GateText(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One gate of the work: a word that a ``passed`` evidence signs for.

    Attributes:
        step: Step that closes it; the gate holds nothing while that step is not on the list.
            Empty = it holds in every case.
    """

    word: str
    step: str = ""
    text: str
    remedy: str
    source: str
    basis: Basis


class KindWork(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What an action on a kind takes.

    Attributes:
        kind: Component kind.
        fit: ``charge`` is fitted after the last power-down, ``trim`` after the charges.
        rank: Place in the order within its class.
        replace: Low, usual, high minutes of replacing it. [min]
        inspect: The same of inspecting it. [min]
        calibrate: The same of calibrating it. [min]
        look: What the inspection must look at.
        after: Kinds of the same place or side that are fitted before it.
        gates: Gates that hold replacing it.
        source: Source id.
        basis: Basis of the minutes.
    """

    kind: str
    fit: str
    rank: int
    replace: tuple[int, int, int]
    inspect: tuple[int, int, int]
    calibrate: tuple[int, int, int] = (10, 20, 60)
    look: str
    after: tuple[str, ...] = ()
    gates: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    source: str = "judgement"
    basis: Basis = "judgement"

    def __post_init__(self) -> None:
        if self.fit not in FITS:
            raise CatalogError(f"work on {self.kind}: unknown fit '{self.fit}'")
        for what in ("replace", "inspect", "calibrate"):
            _check_minutes(f"work on {self.kind}: {what}", *getattr(self, what))


class Cause(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What to do about a common cause of faults; ``{place}`` in the title is filled in."""

    cause: str
    title: str
    text: str
    low: int
    minutes: int
    high: int
    cautions: tuple[str, ...] = ()
    source: str
    basis: Basis

    def __post_init__(self) -> None:
        _check_minutes(f"cause {self.cause}", self.low, self.minutes, self.high)


class TaskFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One file of ``tasks/``; every list may be left out."""

    step: tuple[Step, ...] = ()
    gate: tuple[GateText, ...] = ()
    work: tuple[KindWork, ...] = ()
    cause: tuple[Cause, ...] = ()


class TaskBook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Steps by id, gates by word, work by kind, causes by word."""

    steps: dict[str, Step]
    gates: dict[str, GateText]
    work: dict[str, KindWork]
    causes: dict[str, Cause]

    def __len__(self) -> int:
        """Return the number of entries."""
        return len(self.steps) + len(self.gates) + len(self.work) + len(self.causes)


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
    files = [read_toml(path, TaskFile) for path in sorted(folder.glob("*.toml"))]
    steps = tuple(s for f in files for s in f.step)
    gates = tuple(g for f in files for g in f.gate)
    work = tuple(w for f in files for w in f.work)
    causes = tuple(c for f in files for c in f.cause)
    for ids in ([s.id for s in steps], [g.word for g in gates]):
        refuse_repeats(ids, "tasks")
    refuse_repeats((w.kind for w in work), "tasks")
    refuse_repeats((c.cause for c in causes), "tasks")
    book = TaskBook(
        steps={s.id: s for s in steps},
        gates={g.word: g for g in gates},
        work={w.kind: w for w in work},
        causes={c.cause: c for c in causes},
    )
    _check_book(book, kinds, cautions, sources)
    return book


def _refuse_circles(steps: dict[str, Step]) -> None:
    before = {s.id: [a for a in s.after if a in steps] for s in steps.values()}
    try:
        TopologicalSorter(before).prepare()
    except CycleError as error:
        circle = ", ".join(error.args[1])
        raise CatalogError(f"steps wait for each other in a circle: {circle}") from error


def _check_book(
    book: TaskBook,
    kinds: dict[str, Kind],
    cautions: dict[str, CautionText],
    sources: dict[str, Source],
) -> None:
    afters = {*book.steps, *(f"all:{c}" for c in CLASSES)}
    for step in book.steps.values():
        _refuse(f"step {step.id}", step.after, afters)
        _refuse(f"step {step.id}", step.gates, book.gates)
    _refuse_circles(book.steps)
    for kind, work in book.work.items():
        _refuse(f"work on {kind}", (kind, *work.after), kinds)
        _refuse(f"work on {kind}", work.gates, book.gates)
    missing = sorted(set(kinds) - set(book.work))
    if missing:
        raise CatalogError(f"tasks: nothing says what work takes on {', '.join(missing)}")
    entries: list[Step | KindWork | Cause] = [*book.steps.values(), *book.work.values()]
    for entry in (*entries, *book.causes.values()):
        _refuse("tasks", entry.cautions, cautions)
        _refuse("tasks", (entry.source,), sources)
    for gate in book.gates.values():
        _refuse(f"gate {gate.word}", (gate.step,) if gate.step else (), book.steps)
        _refuse(f"gate {gate.word}", (gate.source,), sources)


def _refuse(where: str, words: Iterable[str], known: Iterable[str]) -> None:
    strange = sorted(set(words) - set(known))
    if strange:
        raise CatalogError(f"{where}: unknown {', '.join(strange)}", remedy="Correct the file.")


def _check_minutes(what: str, low: int, likely: int, high: int) -> None:
    if not 0 <= low <= likely <= high:
        raise CatalogError(f"{what}: minutes {low}, {likely}, {high} are out of order")
