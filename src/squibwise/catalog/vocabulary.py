"""Words of reports and what they mean, one TSV per language."""

import re
from functools import cached_property
from pathlib import Path
from typing import get_args

import msgspec

from squibwise.catalog.reading import read_toml, read_tsv, refuse_repeats
from squibwise.catalog.small_words import SmallWords
from squibwise.errors import CatalogError
from squibwise.model.words import FAULTS, Status

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
both otherside opposed infront theone also atwheel atdash atroof atseat atbumper atpost link
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
