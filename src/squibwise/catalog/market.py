"""Headings of sheets, words in them, and which parts may be bought used where."""

import datetime as dt
from collections.abc import Iterable
from pathlib import Path

import msgspec

from squibwise.catalog.facts import Source
from squibwise.catalog.reading import key_entries, read_files, refuse_unknown_sources
from squibwise.catalog.story_words import plain
from squibwise.errors import CatalogError
from squibwise.model.market import Condition, Policy
from squibwise.model.words import Basis


class Column(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One column of a sheet.

    Attributes:
        headings: How people head it.
    """

    word: str
    headings: tuple[str, ...]


class CellWord(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What some words in a column mean."""

    column: str
    means: str
    words: tuple[str, ...]


def bare(text: str) -> str:
    """Return a text in small letters, without accents and hyphens, blanks evened out."""
    return " ".join(plain(text).replace("-", " ").replace("_", " ").split())


def list_meanings(words: Iterable[CellWord]) -> dict[tuple[str, str], str]:
    """Return what each word of each column means; the first that says so counts."""
    found: dict[tuple[str, str], str] = {}
    for word in words:
        for text in word.words:
            found.setdefault((word.column, bare(text)), word.means)
    return found


class UsedPolicy(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A rule on which parts may be bought.

    Attributes:
        place: ISO 3166 code, the beginning of one, or ``everywhere``.
        profiles: Rule profiles it holds for; empty = every one.
        conditions: Conditions of the part that it speaks of.
        live_only: It speaks only of parts that hold a charge.
        restraint_only: It speaks only of parts of the restraint system.
        kinds: It speaks only of what one of these kinds is in; empty = of every part.
        without: It applies while one of these papers or particulars is missing; empty = always.
    """

    id: str
    place: str
    says: Policy
    text: str
    source: str
    at: str
    basis: Basis
    read_on: dt.date
    conditions: tuple[Condition, ...]
    profiles: tuple[str, ...] = ()
    live_only: bool = False
    restraint_only: bool = False
    kinds: tuple[str, ...] = ()
    without: tuple[str, ...] = ()


class MarketFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A file of the section ``market``.

    Attributes:
        denials: Words that turn a heading into its opposite.
        restraint_families: Families of kinds that are parts of the restraint system.
        restraint_kinds: Kinds of other families that are.
    """

    denials: frozenset[str] = frozenset()
    restraint_families: frozenset[str] = frozenset()
    restraint_kinds: frozenset[str] = frozenset()

    column: tuple[Column, ...] = ()
    word: tuple[CellWord, ...] = ()
    policy: tuple[UsedPolicy, ...] = ()


class MarketBook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is known of sheets and of buying used.

    Attributes:
        columns: By word.
        words: In the order of the file.
        policies: By id.
        meanings: Of each word, by its column.
        denials: Words that turn a heading into its opposite.
        restraint_families: Families of kinds that are parts of the restraint system.
        restraint_kinds: Kinds of other families that are.
    """

    columns: dict[str, Column]
    words: tuple[CellWord, ...]
    policies: dict[str, UsedPolicy]
    meanings: dict[tuple[str, str], str]
    denials: frozenset[str] = frozenset()
    restraint_families: frozenset[str] = frozenset()
    restraint_kinds: frozenset[str] = frozenset()

    def meaning(self, column: str, text: str) -> str | None:
        """Return what a cell means; None when no word of that column is known."""
        return self.meanings.get((column, bare(text)))


def read_market(place: Path, sources: dict[str, Source]) -> MarketBook:
    """Return the section ``market``.

    Raises:
        CatalogError: A file is broken, a word stands twice or a source is not known.
    """
    files = read_files(place, MarketFile)
    policies = [p for f in files for p in f.policy]
    refuse_unknown_sources("market", policies, sources)
    words = tuple(w for f in files for w in f.word)
    return MarketBook(
        columns=_join_columns(files, "market"),
        words=words,
        policies=key_entries(policies, "market"),
        meanings=list_meanings(words),
        denials=frozenset(d for f in files for d in f.denials),
        restraint_families=frozenset().union(*(f.restraint_families for f in files)),
        restraint_kinds=frozenset().union(*(f.restraint_kinds for f in files)),
    )


def _join_columns(files: Iterable["MarketFile | LotBook"], section: str) -> dict[str, Column]:
    """Return the columns with their headings in every language: each file adds its own.

    Raises:
        CatalogError: A heading stands for two columns.
    """
    columns: dict[str, Column] = {}
    heads: dict[str, str] = {}
    for column in (c for f in files for c in key_entries(f.column, section, "word").values()):
        known = columns.get(column.word, column)
        joined = dict.fromkeys((*known.headings, *column.headings))
        columns[column.word] = Column(word=column.word, headings=tuple(joined))
        for heading in column.headings:
            if heads.setdefault(bare(heading), column.word) != column.word:
                raise CatalogError(f"{section}: '{heading}' heads two columns")
    return columns


class FirstQuestion(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A question that has to be answered before a bid has any limit."""

    id: str
    text: str
    source: str
    at: str
    basis: Basis
    read_on: dt.date


class Together(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How far a trade's cost rises and falls with the size of the crash, within its range.

    Attributes:
        low: Low end of the judgement; ``high`` the high end.
    """

    trade: str
    share: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.share <= self.high <= 1.0:
            raise CatalogError(f"bidding: share of {self.trade} is out of its range")


class BidField(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A field of a bid sheet: what it means, and the usual figure with its range.

    Attributes:
        usual: What a new sheet proposes; None = the buyer's own figure only.
        low: Low end of the judgement; ``high`` the high end.
    """

    name: str
    means: str
    usual: float | None = None
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        if self.usual is None:
            return
        if self.low is None or self.high is None or not self.low <= self.usual <= self.high:
            raise CatalogError(f"bidding: the usual {self.name} is out of its range, or has none")


class BidBook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``bidding.toml``: what comes before a limit.

    Attributes:
        trades: Whose work on the car has to be stated.
        field: What a bid sheet asks for.
    """

    trades: tuple[str, ...]
    question: tuple[FirstQuestion, ...]
    field: tuple[BidField, ...]
    together: tuple[Together, ...] = ()

    def usual(self) -> dict[str, float]:
        """Return what a new sheet proposes, by field."""
        return {f.name: f.usual for f in self.field if f.usual is not None}

    def means(self) -> dict[str, str]:
        """Return what each field means."""
        return {f.name: f.means for f in self.field}


class Follows(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How often an assembly is asked for because something else fired.

    Attributes:
        after: Components, or ``any`` for any charge of the car.
        share: Share of makers. [0..1]
        low: Low end of it; ``high`` the high end.
    """

    assembly: str
    after: tuple[str, ...]
    share: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.share <= self.high <= 1.0:
            raise CatalogError(f"lots: share of {self.assembly} is out of its range")


class LotBook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The section ``lots``, or one file of it.

    How lists of lots are headed and worded in each language, and what screening takes for granted.

    Attributes:
        unknown: What is written where nothing is known.
        meanings: Of each word, by its column; not in the files.
    """

    follows: tuple[Follows, ...] = ()
    column: tuple[Column, ...] = ()
    word: tuple[CellWord, ...] = ()
    unknown: frozenset[str] = frozenset()
    meanings: dict[tuple[str, str], str] = {}

    def meaning(self, column: str, text: str) -> str:
        """Return what a cell means; the text itself, in small letters, where no word is known."""
        spelled = (bare(text), bare(text.replace(".", " ")))
        return next((m for t in spelled if (m := self.meanings.get((column, t)))), text.lower())

    def stated(self, text: str) -> str:
        """Return a cell without blanks round it; empty where it says that nothing is known."""
        plain = text.strip()
        return "" if plain.lower() in self.unknown else plain


def read_lot_book(place: Path) -> LotBook:
    """Return the section ``lots``, its files joined.

    Raises:
        CatalogError: A file is broken, or a heading stands for two columns.
    """
    files = read_files(place, LotBook)
    words = tuple(w for f in files for w in f.word)
    return LotBook(
        follows=tuple(x for f in files for x in f.follows),
        column=tuple(_join_columns(files, "lots").values()),
        word=words,
        unknown=frozenset(u for f in files for u in f.unknown),
        meanings=list_meanings(words),
    )
