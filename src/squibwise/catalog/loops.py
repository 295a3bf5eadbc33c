"""Loops: their elements, what can be wrong with them, the tests that tell and the repairs."""

from collections.abc import Iterable
from pathlib import Path

import msgspec

from squibwise.catalog.facts import Source
from squibwise.catalog.reading import read_toml, refuse_repeats
from squibwise.catalog.texts import CautionText
from squibwise.errors import CatalogError
from squibwise.model.words import FAULTS, Basis

CIRCUITS = ("igniter", "satellite", "switch", "occupant", "lamp", "motor", "unit", "wiring")
ROLES = ("device", "plug", "segment", "coil", "unit", "whole")
RULES = ("split", "find")
POWERS = ("off", "through", "on")
IGNITERS = ("not-touched", "unplugged", "loads")
TOUCHED = ("self", "plug-mates", "wheel", "seat", "unit", "wiring", "dash", "pillar", "nose")


class Element(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One piece of a loop.

    Attributes:
        id: Word in hypothesis ids.
        title: What a mechanic calls it.
        role: One of ``ROLES``; ``whole`` for what concerns the loop as a whole.
        access: Access cluster that must be open to reach it; empty for none.
        touched: Work on these touches it; words of ``TOUCHED``.
        kind: Component kind that this element is, when it is one of its own.
    """

    id: str
    title: str
    role: str
    access: str = ""
    touched: tuple[str, ...] = ()
    kind: str = ""

    def __post_init__(self) -> None:
        if self.role not in ROLES or not set(self.touched) <= set(TOUCHED):
            raise CatalogError(f"element {self.id}: unknown role or touched word")


class Chain(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The elements of a loop, from the device to the control unit.

    Attributes:
        id: Name.
        circuit: One of ``CIRCUITS``; only an ``igniter`` is ever tested with a substitute load.
        kinds: Component kinds whose loops it describes.
        places: Places it holds for; empty for every place.
        element: Elements in series; those of role ``whole`` come last.
    """

    id: str
    circuit: str
    kinds: tuple[str, ...]
    places: tuple[str, ...] = ()
    element: tuple[Element, ...]

    def __post_init__(self) -> None:
        if self.circuit not in CIRCUITS:
            raise CatalogError(f"chain {self.id}: unknown circuit '{self.circuit}'")
        refuse_repeats((e.id for e in self.element), f"chain {self.id}")


class LoopFault(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing that can be wrong with an element.

    Attributes:
        element: Element id it belongs to; ``<role>`` in angle brackets for every one of a role.
            An entry for an element goes before one for its role, one for a chain before both.
        chains: Chains it holds for; empty for all.
        fault: Word after the colon in hypothesis ids.
        title: In a mechanic's words; ``{element}`` stands for the element's title.
        circuits: Circuits it occurs in; empty for all.
        shows: Ordinal rank by fault word of the report: 0 rare, 1 seldom, 2 sometimes, 3 often.
        worked: Steps up when its element was worked on recently; negative for down.
        new: Steps up when its device was replaced recently.
        crash: Steps up after a crash near it.
        coming: Steps up when the fault comes and goes.
        shared: Steps up when other loops through the same element have a fault too.
        alone: Steps when it serves every circuit and no other has a fault.
        stored: Steps up when the code is stored and not present.
        source: Source id of the ranking.
        basis: Its basis.
    """

    element: str
    chains: tuple[str, ...] = ()
    fault: str
    title: str
    circuits: tuple[str, ...] = ()
    shows: dict[str, int]
    worked: int = 0
    new: int = 0
    crash: int = 0
    coming: int = 0
    shared: int = 0
    alone: int = 0
    stored: int = 0
    source: str = "judgement"
    basis: Basis = "judgement"

    def __post_init__(self) -> None:
        strange = [word for word in self.shows if word not in FAULTS]
        if strange or not all(-2 <= rank <= 4 for rank in self.shows.values()):
            raise CatalogError(f"{self.element}:{self.fault}: unknown fault {strange} or rank")


class LoopTest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One test.

    Attributes:
        id: Name; with ``{point}`` one test per element of role or id ``at``.
        title: What is done.
        at: Element id, or ``<role>``, where it is done.
        circuits: Circuits it is for; empty for all.
        symptoms: Fault words it is for; empty for all.
        minutes: Hands-on time without access. [min]
        power: ``off``, ``through`` (fitted with the power off, read with it on) or ``on``.
        access: Further access clusters, or ``{all}`` for every element of the loop.
        opens: Must the access of the element it is done at be open.
        meter: Does it put a resistance or insulation meter on a circuit.
        igniters: What happens with the charges: ``not-touched``, ``unplugged`` or ``loads``.
        moves: Is the steering or a seat moved.
        rule: ``split``: tells the device's side from the unit's; ``find``: finds faults by name.
        clear: Outcome that speaks against what it looks for; for ``split`` the device's side.
        bad: The other outcome.
        cured: Outcome that the handling itself has cured the fault; empty for none.
        finds: Detection probability by ``element:fault``; ``{point}`` and ``*`` are allowed.
        cures: Chance that it cures a fault, same keys.
        false_alarm: Chance of ``bad`` when nothing it looks for is there.
        means: What each outcome means.
        how: Steps, in order.
        needs: Tools.
        cautions: Caution ids.
        source: Source id.
        basis: Basis of minutes and error rates.
    """

    id: str
    title: str
    at: str
    circuits: tuple[str, ...] = ()
    symptoms: tuple[str, ...] = ()
    minutes: float
    power: str
    access: tuple[str, ...] = ()
    opens: bool = True
    meter: bool = False
    igniters: str = "not-touched"
    moves: bool = False
    rule: str
    clear: str
    bad: str
    cured: str = ""
    finds: dict[str, float] = {}
    cures: dict[str, float] = {}
    false_alarm: float
    means: dict[str, str]
    how: tuple[str, ...]
    needs: tuple[str, ...] = ()
    cautions: tuple[str, ...]
    source: str = "judgement"
    basis: Basis = "judgement"

    def __post_init__(self) -> None:
        _refuse_danger(self)
        words = {self.clear, self.bad} | ({self.cured} if self.cured else set())
        if self.rule not in RULES or set(self.means) != words:
            raise CatalogError(f"test {self.id}: unknown rule, or an outcome without a meaning")
        chances = (*self.finds.values(), *self.cures.values(), self.false_alarm)
        if not all(0.0 <= chance < 1.0 for chance in chances) or not self.minutes > 0.0:
            raise CatalogError(f"test {self.id}: a chance or the minutes are out of range")


def _refuse_danger(test: LoopTest) -> None:
    """Refuse a test that could hurt somebody.

    Raises:
        CatalogError: With what is dangerous.
    """
    where = f"test {test.id}"
    if test.power not in POWERS or test.igniters not in IGNITERS:
        raise CatalogError(f"{where}: unknown power or igniters word")
    if test.meter and (test.igniters != "unplugged" or test.power != "off"):
        raise CatalogError(f"{where}: a meter only with every igniter unplugged and the power off")
    if test.meter and "no-meter" not in test.cautions:
        raise CatalogError(f"{where}: a meter needs the caution 'no-meter'")
    if test.moves and (test.igniters != "loads" or "movement" not in test.cautions):
        raise CatalogError(f"{where}: movement only with loads in place of every igniter in reach")
    if test.power != "off" and "key-on" not in test.cautions:
        raise CatalogError(f"{where}: power needs the caution 'key-on'")
    if test.rule == "split" and test.circuits != ("igniter",):
        raise CatalogError(f"{where}: a substitute load only in igniter loops")


class LoopRepair(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One repair.

    Attributes:
        id: Name; with ``{point}`` one repair per element of role or id ``at``.
        title: What is done.
        at: Element id, or ``<role>``.
        circuits: Circuits it is for; empty for all.
        fixes: Faults it removes, as ``element:fault`` with ``{point}`` and ``*``.
        access: Further access clusters; ``{plugs}`` for every plug of the loop.
        opens: Must the access of the element it is done at be open.
        ruled: Only where the user's own rule lets the unit be kept.
        minutes: Hands-on time without access. [min]
        part: Whose price applies: ``device``, ``element`` or empty for none.
        part_minutes: Price of the part as minutes of labour while the user entered none. [min]
        check_minutes: Verification after it. [min]
        how: Steps, in order.
        cautions: Caution ids.
        source: Source id.
        basis: Basis of the minutes.
    """

    id: str
    title: str
    at: str
    circuits: tuple[str, ...] = ()
    fixes: tuple[str, ...]
    access: tuple[str, ...] = ()
    opens: bool = True
    ruled: bool = False
    minutes: float
    part: str = ""
    part_minutes: float = 0.0
    check_minutes: float
    how: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    source: str = "judgement"
    basis: Basis = "judgement"


class Access(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Trim that is opened once.

    Attributes:
        id: Name of the cluster.
        title: What is opened.
        minutes: To open and close it. [min]
        source: Source id.
        basis: Basis of the minutes.
    """

    id: str
    title: str
    minutes: float
    source: str = "judgement"
    basis: Basis = "judgement"


class LoopBook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything about loops.

    Attributes:
        steps_off: Steps before hands go in; ``{wait}`` stands for the minutes.
        steps_on: Steps before key-on.
        steps_check: Steps that verify a repair.
    """

    chains: tuple[Chain, ...]
    faults: tuple[LoopFault, ...]
    tests: tuple[LoopTest, ...]
    repairs: tuple[LoopRepair, ...]
    access: dict[str, Access]
    steps_off: tuple[str, ...]
    steps_on: tuple[str, ...]
    steps_check: tuple[str, ...]

    def __len__(self) -> int:
        """Return the number of entries."""
        return len(self.chains) + len(self.faults) + len(self.tests) + len(self.repairs)

    def chain(self, kind: str, place: str) -> Chain | None:
        """Return the chain of a component; the one named for its place first."""
        fitting = [c for c in self.chains if kind in c.kinds]
        named = [c for c in fitting if place in c.places]
        return next(iter(named or [c for c in fitting if not c.places]), None)


class _Chains(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    chain: tuple[Chain, ...]
    access: tuple[Access, ...]


class _Faults(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    fault: tuple[LoopFault, ...]


class _Tests(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    steps_off: tuple[str, ...]
    steps_on: tuple[str, ...]
    test: tuple[LoopTest, ...]


class _Repairs(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    steps_check: tuple[str, ...]
    repair: tuple[LoopRepair, ...]


def read_loops(
    folder: Path, cautions: dict[str, CautionText], sources: dict[str, Source]
) -> LoopBook:
    """Return the section.

    Raises:
        CatalogError: A file is broken, or names a caution, source or access that is not there.
    """
    chains = read_toml(folder / "chains.toml", _Chains)
    tests = read_toml(folder / "tests.toml", _Tests)
    repairs = read_toml(folder / "repairs.toml", _Repairs)
    book = LoopBook(
        chains=chains.chain,
        faults=read_toml(folder / "faults.toml", _Faults).fault,
        tests=tests.test,
        repairs=repairs.repair,
        access={a.id: a for a in chains.access},
        steps_off=tests.steps_off,
        steps_on=tests.steps_on,
        steps_check=repairs.steps_check,
    )
    _check_names(book, cautions, sources)
    return book


def _check_names(
    book: LoopBook, cautions: dict[str, CautionText], sources: dict[str, Source]
) -> None:
    refuse_repeats((c.id for c in book.chains), "loops/chains.toml")
    refuse_repeats((f"{t.id} at {t.at}" for t in book.tests), "loops/tests.toml")
    refuse_repeats((f"{r.id} at {r.at}" for r in book.repairs), "loops/repairs.toml")
    refuse_repeats((f"{f.element}:{f.fault} {f.chains}" for f in book.faults), "loops/faults.toml")
    used = [c for t in book.tests for c in t.cautions] + [
        c for r in book.repairs for c in r.cautions
    ]
    _refuse_unknown("caution", used, cautions)
    cited = [f.source for f in book.faults] + [t.source for t in book.tests]
    cited += [r.source for r in book.repairs] + [a.source for a in book.access.values()]
    _refuse_unknown("source", cited, sources)
    access = [e.access for c in book.chains for e in c.element if e.access]
    access += [a for t in book.tests for a in t.access if a != "{all}"]
    _refuse_unknown("access", access, book.access)


def _refuse_unknown(what: str, names: Iterable[str], known: Iterable[str]) -> None:
    strange = sorted(set(names) - set(known))
    if strange:
        raise CatalogError(f"loops: {what} '{strange[0]}' does not exist")
