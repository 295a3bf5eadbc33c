"""Loops: their elements, what can be wrong with them, the tests that tell and the repairs."""

import math
from pathlib import Path

import msgspec

from squibwise.catalog.facts import Source
from squibwise.catalog.reading import key_entries, read_toml, refuse_repeats, refuse_unknown
from squibwise.catalog.story_words import DEVICE, TOUCHED, Sign, StoryWord
from squibwise.catalog.texts import CautionText, MovedSteps
from squibwise.errors import CatalogError
from squibwise.model.words import FAULTS, Basis

CIRCUITS = ("igniter", "satellite", "switch", "occupant", "lamp", "motor", "unit", "wiring")
OTHERWISE_SHOWN = ("dark", "held-on", "silent")
ROLES = ("device", "plug", "segment", "coil", "unit", "whole")
RULES = ("split", "find")
POWERS = ("off", "through", "on", "any")
IGNITERS = ("not-touched", "unplugged", "loads")
ENDS = "{ends}"
_MOST_STEPS = 5
_SHOWS = {"live", "spent", "gone"}


class Element(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One piece of a loop.

    Attributes:
        id: Word in hypothesis ids.
        title: What a mechanic calls it.
        role: One of ``ROLES``; ``whole`` for what concerns the loop as a whole.
        access: Access cluster that must be open to reach it; empty for none.
        touched: Work on these touches it; words of ``TOUCHED``.
        kind: Component kind that this element is, when it is one of its own.
        calm: No charge is near it, so that no wait is needed before hands go there.
    """

    id: str
    title: str
    role: str
    access: str = ""
    touched: tuple[str, ...] = ()
    kind: str = ""
    calm: bool = False

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
        danger: What can hurt on this circuit, before anything else is said.
        element: Elements in series; those of role ``whole`` come last.
    """

    id: str
    circuit: str
    kinds: tuple[str, ...]
    places: tuple[str, ...] = ()
    danger: str
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
        unreported: Holds only for a circuit that no report names.
        like: Family of signs that move it; ``moves`` says what differs.
        shows: Ordinal rank by fault word of the report: 0 rare, 1 seldom, 2 sometimes, 3 often.
        moves: Steps up, or down when negative, by sign.
    """

    element: str
    chains: tuple[str, ...] = ()
    fault: str
    title: str
    circuits: tuple[str, ...] = ()
    unreported: bool = False
    like: str = ""
    shows: dict[str, float]
    moves: dict[str, float] = {}
    source: str = "judgement"
    basis: Basis = "judgement"

    def __post_init__(self) -> None:
        strange = [word for word in self.shows if word not in FAULTS or word == "unknown"]
        if strange or not all(-2 <= rank <= 4 for rank in self.shows.values()):
            raise CatalogError(f"{self.element}:{self.fault}: unknown fault {strange} or rank")
        if not all(abs(steps) <= _MOST_STEPS for steps in self.moves.values()):
            raise CatalogError(f"{self.element}:{self.fault}: more than {_MOST_STEPS} steps")


class Sight(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing that a look can show.

    Attributes:
        word: Outcome.
        means: What it means, and what it asks for.
        false_alarm: Chance to see it where it is not the fault.
        finds: Chance to see it, by ``element:fault``; ``{point}`` and ``*`` are allowed.
    """

    word: str
    means: str
    finds: dict[str, float]
    false_alarm: float


class LoopTest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One test.

    Attributes:
        id: Name; with ``{point}`` one test per element of role or id ``at``.
        title: What is done.
        at: Element id, or ``<role>``, where it is done.
        circuits: Circuits it is for; empty for all.
        chains: Chains it is for; empty for all of those circuits.
        symptoms: Fault words it is for; empty for all.
        told: Signs of which one must be there; empty for none.
        kinds: Kinds of device it is for; empty for all.
        minutes: Hands-on time without access. [min]
        power: ``off``, ``through`` (fitted with the power off, read with it on), ``on``, or ``any``
            where it does not matter.
        access: Further access clusters, or ``{ends}`` for those of the connectors at
            both ends of the element it is done at; of every element where it has not two.
        opens: Must the access of the element it is done at be open.
        meter: Does it put a resistance or insulation meter on a circuit.
        igniters: What happens with the charges: ``not-touched``, ``unplugged`` or ``loads``.
        looks_first: Look with the power off that comes before it where that connector may well be
            half seated, or, where there are causes that it is done ``rather`` for, while these are
            not likely; empty for none.
        rather: Causes that make it worth doing before that look.
        moves, bare: Is the steering or a seat moved; is the unit unplugged with the power on.
        rule: ``split``: tells the device's side from the unit's; ``find``: finds faults by name.
        clear: Outcome that speaks against what it looks for; for ``split`` the device's side.
        bad: The other outcome; empty where there are several ``sights``.
        sights: What can be seen, one word each; ``clear`` = none of it.
        cured: Outcome that the handling itself has cured the fault; empty for none.
        finds: Detection probability by ``element:fault``; ``{point}`` and ``*`` are allowed.
        cures: Chance that it cures a fault, same keys.
        steady: What it looks for is there all the time, also when the fault comes and goes.
        false_alarm: Chance of ``bad``, or of any sight, when nothing it looks for is there.
        figure: The number that separates the outcomes; empty where the eye decides.
        shows: Of a look at the part itself, what an outcome shows: ``shows`` of look words, any of
            which it may be.
        means: What each outcome means.
        how: Steps, in order; ``[off]`` or ``[on]`` before a step says that the power is so, where
            that is not plain from ``power``.
        at_unit: Steps in place of ``how`` at the connector of the control unit.
        needs: Tools.
        at_unit_needs: Further tools there.
        cautions: Caution ids.
        source: Source id.
        basis: Basis of minutes and error rates.
    """

    id: str
    title: str
    at: str
    circuits: tuple[str, ...] = ()
    chains: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    symptoms: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    minutes: float
    power: str
    access: tuple[str, ...] = ()
    opens: bool = True
    meter: bool = False
    igniters: str = "not-touched"
    looks_first: str = ""
    rather: tuple[str, ...] = ()
    moves: bool = False
    bare: bool = False
    rule: str
    clear: str
    bad: str = ""
    sights: tuple[Sight, ...] = ()
    cured: str = ""
    finds: dict[str, float] = {}
    cures: dict[str, float] = {}
    steady: bool = False
    false_alarm: float
    figure: str = ""
    shows: dict[str, tuple[str, ...]] = {}
    means: dict[str, str]
    how: tuple[str, ...]
    at_unit: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    at_unit_needs: tuple[str, ...] = ()
    cautions: tuple[str, ...]
    source: str = "judgement"
    basis: Basis = "judgement"

    def __post_init__(self) -> None:
        _refuse_danger(self)
        words = {self.clear, self.bad, self.cured} - {""}
        both = bool(self.bad) == bool(self.sights)
        if self.rule not in RULES or set(self.means) != words or both:
            raise CatalogError(f"test {self.id}: unknown rule, or an outcome without a meaning")
        if not set(self.shows) <= words or not all(set(s) <= _SHOWS for s in self.shows.values()):
            raise CatalogError(f"test {self.id}: an outcome that is not there, or shows no look")
        seen = [c for s in self.sights for c in s.finds.values()]
        seen += [s.false_alarm for s in self.sights]
        chances = (*self.finds.values(), *self.cures.values(), *seen, self.false_alarm)
        if not all(0.0 <= chance < 1.0 for chance in chances) or not self.minutes > 0.0:
            raise CatalogError(f"test {self.id}: a chance or the minutes are out of range")

    @property
    def outcomes(self) -> dict[str, str]:
        """What each outcome means, by its word."""
        return self.means | {s.word: s.means for s in self.sights}


def _refuse_danger(test: LoopTest) -> None:
    where = f"test {test.id}"
    if test.power not in POWERS or test.igniters not in IGNITERS:
        raise CatalogError(f"{where}: unknown power or igniters word")
    if test.meter and (test.igniters != "unplugged" or test.power != "off"):
        raise CatalogError(f"{where}: a meter only with every igniter unplugged and the power off")
    if test.meter and "no-meter" not in test.cautions:
        raise CatalogError(f"{where}: a meter needs the caution 'no-meter'")
    if test.moves and (test.igniters != "loads" or "movement" not in test.cautions):
        raise CatalogError(f"{where}: movement only with loads in place of every igniter in reach")
    if test.power in ("through", "on") and "key-on" not in test.cautions:
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
        chains: Chains it is for; empty for all of those circuits.
        fixes: Faults it removes, as ``element:fault`` with ``{point}`` and ``*``.
        leaves: Causes that it does not reach or makes itself, each with its share of what was
            believed of those it removes; ``{wire}`` is the wiring beside the point.
        eases: Causes that it takes away for a while only, each with its share, as above, once the
            fault is back.
        access: Further access clusters; ``{plugs}`` for every plug of the loop.
        opens: Must the access of the element it is done at be open.
        ruled: Only where the user's own rule lets the unit be kept.
        stored: Only where a code of the circuit is stored, or where none is any more.
        power: ``through``, or ``on`` where no hands go near the circuit.
        after: Tests that must have located the fault before it, with ``{point}`` and ``{near}``
            (the connector nearest to it); those that this circuit does not have are left aside.
        unless: ``<test>=<outcome>``, each of which is enough without them.
        until: Of igniter circuits: tests that must be done besides while what it fixes is not
            believed in enough (``isolation.located``); ``{wire}`` and ``{behind}`` are the wiring
            and the connector next to the point towards the control unit.
        enough: ``<test>=<outcome>``, each of which ends that.
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
    chains: tuple[str, ...] = ()
    fixes: tuple[str, ...]
    leaves: dict[str, float] = {}
    eases: dict[str, float] = {}
    access: tuple[str, ...] = ()
    opens: bool = True
    ruled: bool = False
    stored: bool | None = None
    power: str = "through"
    after: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    until: tuple[str, ...] = ()
    enough: tuple[str, ...] = ()
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
        words: Words that owners use, by id.
        signs: What moves a cause, by id.
        untold: Shares of the fault words by circuit, where a report does not tell the kind.
        steps_off, steps_held: Before hands go in, where it is on and where still off; ``{wait}``.
        steps_fast: Before power comes on; ``{opening}`` is what is off.
        steps_on, steps_bare: Before key-on; with the control unit unplugged.
        steps_check: Steps that verify a repair.
        moved: Steps where a fault came with a movement, by the sign that tells it.
        steps_again, steps_again_calm: The second drive; where no charge is near.
    """

    chains: tuple[Chain, ...]
    faults: tuple[LoopFault, ...]
    words: dict[str, StoryWord]
    signs: dict[str, Sign]
    untold: dict[str, dict[str, float]]
    tests: tuple[LoopTest, ...]
    repairs: tuple[LoopRepair, ...]
    access: dict[str, Access]
    steps_off: tuple[str, ...]
    steps_held: tuple[str, ...]
    steps_fast: tuple[str, ...]
    steps_on: tuple[str, ...]
    steps_bare: tuple[str, ...]
    steps_check: tuple[str, ...]
    moved: dict[str, MovedSteps]
    steps_again: tuple[str, ...]
    steps_again_calm: tuple[str, ...]

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
    families: dict[str, dict[str, float]]
    untold: dict[str, dict[str, float]]

    def moved(self) -> tuple[LoopFault, ...]:
        """Return the faults, each with the moves of its family and its own."""
        strange = {f.like for f in self.fault if f.like} - set(self.families)
        if strange:
            raise CatalogError(f"loops/faults.toml: unknown family {sorted(strange)}")
        return tuple(
            msgspec.structs.replace(f, moves=self.families.get(f.like, {}) | f.moves)
            for f in self.fault
        )

    def __post_init__(self) -> None:
        for circuit, shares in self.untold.items():
            if circuit not in (*CIRCUITS, *OTHERWISE_SHOWN) or not set(shares) <= set(FAULTS):
                raise CatalogError(f"untold {circuit}: unknown circuit or fault word")
            if not abs(math.fsum(shares.values()) - 1.0) <= 1e-9:
                raise CatalogError(f"untold {circuit}: shares do not sum to one")


class _Words(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    word: tuple[StoryWord, ...]


class _Signs(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    sign: tuple[Sign, ...]


class _Tests(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    steps_off: tuple[str, ...]
    steps_held: tuple[str, ...]
    steps_fast: tuple[str, ...]
    steps_on: tuple[str, ...]
    steps_bare: tuple[str, ...]
    moved: dict[str, MovedSteps]
    test: tuple[LoopTest, ...]


class _Repairs(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    steps_check: tuple[str, ...]
    steps_again: tuple[str, ...]
    steps_again_calm: tuple[str, ...]
    repair: tuple[LoopRepair, ...]


def read_loops(
    folder: Path, cautions: dict[str, CautionText], sources: dict[str, Source]
) -> LoopBook:
    """Return the section.

    Raises:
        CatalogError: A file is broken, or names a caution, source or access that is not there.
    """
    chains = read_toml(folder / "chains.toml", _Chains)
    faults = read_toml(folder / "faults.toml", _Faults)
    tests = read_toml(folder / "tests.toml", _Tests)
    repairs = read_toml(folder / "repairs.toml", _Repairs)
    book = LoopBook(
        chains=chains.chain,
        faults=faults.moved(),
        words=key_entries(read_toml(folder / "words.toml", _Words).word, "loops/words.toml"),
        signs=key_entries(read_toml(folder / "signs.toml", _Signs).sign, "loops/signs.toml"),
        untold=faults.untold,
        tests=tests.test,
        repairs=repairs.repair,
        access={a.id: a for a in chains.access},
        steps_off=tests.steps_off,
        steps_held=tests.steps_held,
        steps_fast=tests.steps_fast,
        steps_on=tests.steps_on,
        steps_bare=tests.steps_bare,
        steps_check=repairs.steps_check,
        moved=tests.moved,
        steps_again=repairs.steps_again,
        steps_again_calm=repairs.steps_again_calm,
    )
    _check_names(book, cautions, sources)
    return book


def _check_names(
    book: LoopBook, cautions: dict[str, CautionText], sources: dict[str, Source]
) -> None:
    refuse_repeats((c.id for c in book.chains), "loops/chains.toml")
    refuse_repeats((f"{t.id} at {t.at} {t.circuits}" for t in book.tests), "loops/tests.toml")
    refuse_repeats((f"{r.id} at {r.at} {r.circuits}" for r in book.repairs), "loops/repairs.toml")
    refuse_repeats((f"{f.element}:{f.fault} {f.chains}" for f in book.faults), "loops/faults.toml")
    moved = [sign for f in book.faults for sign in f.moves] + list(book.moved)
    moved += [sign for t in book.tests for sign in t.told]
    refuse_unknown("loops", moved, book.signs, "sign")
    for held in (book.faults, book.tests, book.repairs):
        meant = [c for entry in held for c in entry.chains]
        refuse_unknown("loops", meant, {c.id for c in book.chains}, "chain")
    told = [w for s in book.signs.values() for text in (*s.tells, *s.unless) for w in text.split()]
    refuse_unknown("loops/signs.toml", told, {*book.words, DEVICE}, "word")
    used = [c for t in book.tests for c in t.cautions] + [
        c for r in book.repairs for c in r.cautions
    ]
    refuse_unknown("loops", used, cautions, "caution")
    cited = [f.source for f in book.faults] + [t.source for t in book.tests]
    cited += [r.source for r in book.repairs] + [a.source for a in book.access.values()]
    refuse_unknown("loops", cited, sources, "source")
    access = [e.access for c in book.chains for e in c.element if e.access]
    access += [a for t in book.tests for a in t.access if a != ENDS]
    refuse_unknown("loops", access, book.access, "access")
