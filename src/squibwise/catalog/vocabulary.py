"""Words of reports and what they mean, one TSV per language; of crash data; of owners' stories."""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from functools import cached_property
from pathlib import Path
from typing import Literal, get_args

import msgspec

from squibwise.catalog.reading import read_toml, read_tsv, refuse_repeats
from squibwise.catalog.small_words import SmallWords
from squibwise.errors import CatalogError
from squibwise.model.names import split_component, split_loop
from squibwise.model.words import FAULTS, Basis, Status

TERM_COLUMNS = ("phrase", "means")
RULE_COLUMNS = ("needs", "without", "gives")
_FEATURES = """
bag frontal side curtain knee middle cushion inflatablebelt charge pretension retractor buckle lap
motorbelt loadlimiter belt cut switch belttension sensor impact door pillar pillarc occupant
seatposition offswitch offlamp lamp clockspring unit airbagmodule system columncharge headcharge
rollbar bonnet batterycut hv hvcut ventcharge harness foreign off seatbag byside nearside offside
stagehead loop dualstage electronics electronics? open high low resistance range short ground
battery cross voltage
communication configuration identity calibration internal performance mechanical stuck defect
crashrecord deployed notfired crashsignal skip alone same
both otherside theone also atwheel atdash atroof atseat atbumper atpost link
"""
_VOICES = """
not gone past was mine worked good asked sure exists need tested away elsewhere wondered sought
amends empty before after own
"""  # what is said of a fault
_LAYOUT = """
count total clean whole othermodule key header module meta supplyvolts advice flash label area
restraint supposed kin had example earlier plain holds
"""
NO_PART = "none"  # what a rule gives when the features tell of no restraint part
VOICES = frozenset(_VOICES.split())
FEATURES = frozenset(_FEATURES.split()) | VOICES
LAYOUT = frozenset(_LAYOUT.split())
VALUES = {
    "seat": ("driver", "passenger"),
    "side": ("left", "right", "centre"),
    "end": ("front", "rear"),
    "row": ("1", "2", "3"),
    "stage": ("1", "2", "3"),
    "nth": ("1", "2", "3"),
    "status": get_args(Status),
    "lacking": (
        "communication",
        "calibration",
        "configuration",
        "performance",
        "open",
        "mechanical",
        "identity",
        "locked",
    ),
}


_MEANINGS = FEATURES | LAYOUT | {f"{key}:{v}" for key, values in VALUES.items() for v in values}

_PLACED = ("side:", "seat:", "end:", "byside")
_ONE_WORD_OF_PLACE = re.compile(rf"^([^\t\n ]+)\t((?:{'|'.join(_PLACED)})[^\n]*)$", re.MULTILINE)


class Term(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One phrase of one language.

    Attributes:
        phrase: Words as written; ``|`` parts alternatives of one word.
        means: Features and values that it adds to a line, such as ``bag`` or ``side:left``.
        language: Name of the file.
    """

    phrase: str
    means: tuple[str, ...]
    language: str

    def spellings(self) -> tuple[str, ...]:
        """Return the phrase with every choice of alternatives."""
        return spell(self.phrase)


class Rule(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a set of features means together; the first rule that fits counts.

    Attributes:
        needs: Features that must all be there.
        without: Features none of which may be there.
        gives: Meanings with their shares of belief, which sum to one.
    """

    needs: frozenset[str]
    without: frozenset[str]
    gives: tuple[tuple[str, float], ...]

    def fits(self, features: set[str]) -> bool:
        """Tell whether the rule holds for these features."""
        return self.needs <= features and not self.without & features


class Vocabulary:
    """The terms of a folder, and its rules. A class because each part is read on first use.

    Args:
        folder: Holds ``<language>.tsv``, ``small.toml``, ``rules/`` with ``kinds.tsv``,
            ``faults.tsv`` and ``japanese.tsv``.
        kinds: Component kinds that rules may give.
    """

    def __init__(self, folder: Path, kinds: frozenset[str]) -> None:
        self._folder = folder
        self._kinds = kinds

    @cached_property
    def terms(self) -> tuple[Term, ...]:
        """All terms, each checked; a report is read without that, from ``texts``."""
        return tuple(t for path in self._paths() for t in read_terms(path))

    @cached_property
    def kinds(self) -> tuple[Rule, ...]:
        """Rules from features to component kinds."""
        return read_rules(self._folder / "rules" / "kinds.tsv", self._kinds | {NO_PART})

    @cached_property
    def faults(self) -> tuple[Rule, ...]:
        """Rules from features to faults."""
        return read_rules(self._folder / "rules" / "faults.tsv", frozenset(FAULTS))

    @cached_property
    def japanese(self) -> dict[str, str]:
        """Japanese words, in English; particles that say nothing alone are a blank."""
        path = self._folder / "rules" / "japanese.tsv"
        rows = read_tsv(path, ("written", "english"))
        refuse_repeats((row["written"] for row in rows), path.name)
        return {row["written"]: row["english"].removeprefix("-") for row in rows}

    @cached_property
    def small(self) -> SmallWords:
        """Small words of sentences by what they do there."""
        return read_toml(self._folder / "small.toml", SmallWords)

    @cached_property
    def places(self) -> dict[str, tuple[str, ...]]:
        """Single words that say where and nothing else: the sides, seats and ends they name."""
        found: dict[str, tuple[str, ...]] = {}
        for text in self.texts().values():
            for phrase, told in _ONE_WORD_OF_PLACE.findall(text):
                means = tuple(told.split())
                if all(m.startswith(_PLACED) for m in means):
                    for word in phrase.split("|"):
                        found.setdefault(word, means)
        return found

    def texts(self) -> dict[str, str]:
        """Return the rows of each language as they stand, unchecked: phrase, tab, meanings."""
        files = ((path.stem, path.read_text(encoding="utf-8")) for path in self._paths())
        return {language: text.partition("\n")[2] for language, text in files}

    def _paths(self) -> list[Path]:
        return sorted(self._folder.glob("*.tsv"))


def spell(phrase: str) -> tuple[str, ...]:
    """Return a phrase with every choice of the alternatives that ``|`` parts in its words."""
    if "|" not in phrase:
        return (phrase,)
    spelled = [""]
    for word in phrase.split():
        spelled = [f"{s} {w}".strip() for s in spelled for w in word.split("|")]
    return tuple(spelled)


def read_terms(path: Path) -> tuple[Term, ...]:
    """Return the terms of one language.

    Raises:
        CatalogError: An unknown feature, a phrase twice or a term without a meaning.
    """
    language = path.stem
    terms = tuple(
        Term(
            phrase=row["phrase"],
            means=tuple(row["means"].split()),
            language=language,
        )
        for row in read_tsv(path, TERM_COLUMNS)
    )
    for term in terms:
        _check_term(term, path.name)
    spelled = (f"{_group(t)}: {s}" for t in terms for s in t.spellings())
    refuse_repeats(spelled, path.name)
    return terms


def read_rules(path: Path, meanings: frozenset[str]) -> tuple[Rule, ...]:
    """Return the rules of one file, in order.

    Raises:
        CatalogError: An unknown feature or meaning, or shares that do not sum to one.
    """
    return tuple(
        Rule(
            needs=_features(row["needs"], path.name),
            without=_features(row["without"], path.name),
            gives=shares(row["gives"], meanings, path.name),
        )
        for row in read_tsv(path, RULE_COLUMNS)
    )


def _group(term: Term) -> str:
    """Layout phrases may repeat as words, and under another layout meaning."""
    return term.means[0] if term.means[0] in LAYOUT else "word"


def _check_term(term: Term, name: str) -> None:
    if not term.phrase or not term.means:
        raise CatalogError(f"{name}: '{term.phrase}' lacks a meaning")
    for mean in term.means:
        if mean not in _MEANINGS:
            raise CatalogError(f"{name}: '{term.phrase}' means unknown '{mean}'")


def _features(cell: str, name: str) -> frozenset[str]:
    words = frozenset(cell.replace("-", "").split())
    strange = sorted(w for w in words if w not in FEATURES and w not in _FLAT_VALUES)
    if strange:
        raise CatalogError(f"{name}: unknown features {strange}")
    return words


_FLAT_VALUES = frozenset(f"{k}:{v}" for k, values in VALUES.items() for v in values) | {
    "anyseat",
    "anyside",
    "staged",
    "sidecue",
    "haspart",
}


def shares(cell: str, meanings: frozenset[str], name: str) -> tuple[tuple[str, float], ...]:
    """Return the meanings of a cell such as ``open-or-high=0.5 low-or-short=0.5``.

    Raises:
        CatalogError: An unknown meaning, or shares that do not sum to one.
    """
    found = []
    for part in cell.split():
        meaning, _, share = part.partition("=")
        if meaning not in meanings:
            raise CatalogError(f"{name}: '{meaning}' is not a known meaning")
        found.append((meaning, float(share or 1.0)))
    if not found or not abs(sum(s for _, s in found) - 1.0) < 1e-9:
        raise CatalogError(f"{name}: the shares '{cell}' do not sum to one")
    return tuple(found)


ElementKind = Literal[
    "speed", "series", "times", "belt", "flag", "class", "count", "gap", "command", "unused"
]
Quantity = Literal["acceleration", "speed", "time"]
_TOKEN = re.compile(r"[a-z0-9]+")


class UnitWords(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One unit: factor to m/s2, km/h or s, and how it is written."""

    quantity: Quantity
    factor: float
    words: tuple[str, ...]


class Element(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One data element and the words that name it.

    Attributes:
        id: Element word; for ``command`` the loop that was commanded.
        kind: What its value is.
        all: Every group must have one of its words in the name.
        none: None of these may be in the name.
    """

    id: str
    kind: ElementKind
    all: tuple[tuple[str, ...], ...]
    none: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.kind == "command":
            split_component(split_loop(self.id)[0])
        if not self.all or not all(self.all):
            raise CatalogError(f"crash data element {self.id}: no words")

    def fits(self, tokens: frozenset[str]) -> bool:
        """Tell whether a name with these words means this element."""
        return all(tokens.intersection(group) for group in self.all) and not (
            tokens.intersection(self.none)
        )


class CountedWords(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Words of texts that count events and list what fired in each.

    Attributes:
        begins: What stands before the number of an event.
        joins: Words between two items of a list.
        rollover: The event was one.
        none: A whole item that says that nothing fired.
        only: Words that say that nothing but what is listed fired.
        both: Those of both sides or seats.
        plurals: Keys of ``parts`` that mean those of both sides or seats by their form.
        besides: Words that an item may hold besides part and place.
        sides: Words of each side and front seat.
        parts: Component kinds by what they are called.
    """

    begins: tuple[str, ...]
    joins: tuple[str, ...]
    rollover: tuple[str, ...]
    none: tuple[str, ...]
    only: tuple[str, ...]
    both: tuple[str, ...]
    plurals: tuple[str, ...]
    besides: tuple[str, ...]
    sides: dict[str, tuple[str, ...]]
    parts: dict[str, tuple[str, ...]]

    def sides_of(self, told: Iterable[str]) -> frozenset[str]:
        """Return the sides and seats that words name."""
        heard = set(told)
        return frozenset(side for side, words in self.sides.items() if heard & set(words))

    def side_words(self) -> frozenset[str]:
        """Return every word of a side or a seat."""
        return frozenset(word for words in self.sides.values() for word in words)


class CrashWords(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``crash-data.toml``; see the comments there for each list."""

    source: str
    basis: Basis
    alias: tuple[tuple[str, str], ...]
    missing: tuple[str, ...]
    yes: tuple[str, ...]
    no: tuple[str, ...]
    latched: tuple[str, ...]
    unlatched: tuple[str, ...]
    silent: tuple[str, ...]
    adult: tuple[str, ...]
    child: tuple[str, ...]
    empty: tuple[str, ...]
    not_rigid: tuple[str, ...]
    x: tuple[str, ...]
    y: tuple[str, ...]
    z: tuple[str, ...]
    time: tuple[str, ...]
    event: tuple[str, ...]
    untaken: tuple[str, ...]
    unit: dict[str, UnitWords]
    element: tuple[Element, ...]
    counted: CountedWords

    def __post_init__(self) -> None:
        words = [w for unit in self.unit.values() for w in unit.words]
        twice = sorted({w for w in words if words.count(w) > 1})
        if twice:
            raise CatalogError(f"crash data units: {twice} stand twice")

    def __len__(self) -> int:
        """Return the number of elements and units."""
        return len(self.element) + len(self.unit)

    def plain(self, text: str) -> str:
        """Return a text in lower case with every alias replaced."""
        low = text.casefold()
        for spelling, word in self.alias:
            low = low.replace(spelling, word)
        return low

    def tokens(self, text: str) -> frozenset[str]:
        """Return the words of a name, aliases replaced."""
        return frozenset(_TOKEN.findall(self.plain(text)))

    def named(self, text: str) -> Element | None:
        """Return the element that a name means; None when none fits."""
        tokens = self.tokens(text)
        return next((e for e in self.element if e.fits(tokens)), None)

    def unit_of(self, word: str) -> UnitWords | None:
        """Return the unit that is written so; None when it is none."""
        low = word.casefold().strip()
        return next((u for u in self.unit.values() if low in u.words), None)


# What owners tell of a fault.

TOUCHED = (
    "self",
    "plug-mates",
    "wheel",
    "wheel-top",
    "seat",
    "seat-cover",
    "unit",
    "wiring",
    "dash",
    "pillar",
    "nose",
    "door",
)
DEVICE = "device"
"""Stands in a sign for the words of the device of the circuit that is traced."""


_LETTERS = {"\u00e4": "ae", "\u00f6": "oe", "\u00fc": "ue", "\u00df": "ss", "\u0142": "l"}


def plain(text: str) -> str:
    """Return a text in small letters without accents; umlauts become two letters."""
    small = text.strip().lower().replace("\u2019", "'")
    for letter, written in _LETTERS.items():
        small = small.replace(letter, written)
    return "".join(c for c in unicodedata.normalize("NFKD", small) if not unicodedata.combining(c))


class StoryWord(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Words of four languages that mean one thing, as owners write them.

    Attributes:
        id: Name, used by signs.
        kinds: Component kinds that it means, when it means the device of a circuit.
        en: English words, apart by spaces; ``*`` = any letters, ``_`` = a space or nothing.
        de: German words.
        fr: French words.
        es: Spanish words.
    """

    id: str
    kinds: tuple[str, ...] = ()
    en: str
    de: str
    fr: str
    es: str

    def __post_init__(self) -> None:
        words = f"{self.en} {self.de} {self.fr} {self.es}"
        if not re.fullmatch(r"[a-z0-9*_ '/.-]+", words):
            raise CatalogError(f"word {self.id}: write it in small letters, without accents")

    def pattern(self) -> re.Pattern[str]:
        """Return what finds any of the words in a text of small letters without accents."""
        words = f"{self.en} {self.de} {self.fr} {self.es}".split()
        each = {re.escape(w).replace(r"\*", r"\w*").replace("_", "[ -]?") for w in words}
        longest = sorted(each, key=len, reverse=True)
        return re.compile(rf"(?<!\w)(?:{'|'.join(longest)})(?!\w)")


class Sign(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Something that moves causes up or down.

    Attributes:
        id: Name; faults say how many steps it moves them.
        title: The reason in a mechanic's words.
        tells: Word ids, apart by spaces, that tell it when they stand close together.
        reach: How many words apart they may stand.
        unless: Word ids that void it.
        phrases: Patterns of further words in which it is told.
        negative: Is it told as a denial, so that "never" does not turn it round.
        hard: Is it read from the car, so that it tells as much beside other signs as alone.
        touches: Words of ``TOUCHED``: it tells that these were worked on.
        at: Element id that it speaks of; empty for the whole circuit.
        placed: Is it told of one connector: the one that its sentence names, if it names one.
    """

    id: str
    title: str
    tells: tuple[str, ...] = ()
    reach: int = 7
    unless: tuple[str, ...] = ()
    phrases: tuple[str, ...] = ()
    negative: bool = False
    hard: bool = False
    touches: tuple[str, ...] = ()
    at: str = ""
    placed: bool = False
    source: str = "judgement"
    basis: Basis = "judgement"

    def __post_init__(self) -> None:
        if not set(self.touches) <= set(TOUCHED):
            raise CatalogError(f"sign {self.id}: unknown touched word")

    def problems(self) -> Iterator[str]:
        """Yield what is wrong with its patterns; not asked at each start, as it takes long."""
        for phrase in self.phrases:
            try:
                re.compile(phrase)
            except re.error as error:
                yield f"sign {self.id}: '{phrase}' is no pattern: {error}"
