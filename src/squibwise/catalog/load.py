"""The catalogue as one object, each section read when it is first asked for; its check."""

import copy
import datetime as dt
from collections.abc import Callable, Iterator, Mapping
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from squibwise.catalog.assemblies import Assembly, read_assemblies
from squibwise.catalog.codes import CodeBook
from squibwise.catalog.components import (
    CommonLooks,
    Kind,
    LookWord,
    PlaceGuesses,
    SaidWords,
    Template,
    VinRules,
)
from squibwise.catalog.crash_words import CrashWords
from squibwise.catalog.facts import Currencies, Fact, FactFile, Source, SourceFile
from squibwise.catalog.firing import Firing
from squibwise.catalog.loops import LoopBook, read_loops
from squibwise.catalog.market import BidBook, LotBook, MarketBook, read_lot_book, read_market
from squibwise.catalog.reading import SHIPPED, key_entries, read_files, read_folder, read_toml
from squibwise.catalog.rules import DEFAULT, RuleBook, read_rules
from squibwise.catalog.screens import load_pages, load_screens
from squibwise.catalog.tasks import TaskBook, read_tasks
from squibwise.catalog.texts import (
    CautionText,
    Notice,
    Paper,
    Question,
    RecordText,
    ReleaseFile,
    ReleaseGate,
    WordSet,
    hash_words,
    read_cautions,
    read_notices,
    read_word_sets,
)
from squibwise.catalog.vocabulary import Vocabulary
from squibwise.errors import CatalogError, ModelError
from squibwise.model.names import PLACES, split_component, split_loop

if TYPE_CHECKING:
    from squibwise.catalog.priors import Priors

DATA = SHIPPED


class Catalog:
    """Reviewed facts by section. A class because each section is loaded on first use.

    Args:
        root: Folder with the data; the shipped one by default.
    """

    def __init__(self, root: Path = DATA) -> None:
        self.root = root

    @cached_property
    def sources(self) -> dict[str, Source]:
        """Citations by id."""
        return key_entries(read_toml(self.root / "sources.toml", SourceFile).source, "sources.toml")

    @cached_property
    def kinds(self) -> dict[str, Kind]:
        """Component kinds by word."""
        kinds = read_folder(self.root / "components", Kind)
        for stem, kind in kinds.items():
            if stem != kind.kind:
                raise CatalogError(f"components/{stem}.toml calls itself '{kind.kind}'")
        return kinds

    @cached_property
    def place_shares(self) -> dict[str, dict[str, float]]:
        """Shares of the places of a part that is named without one, by what is told of it."""
        book = read_toml(self.root / "places.toml", PlaceGuesses)
        return {guess.id: guess.shares for guess in book.guess}

    @cached_property
    def common_looks(self) -> dict[str, tuple[LookWord, ...]]:
        """Look words that every kind of a family accepts, by family."""
        return {k: v.look for k, v in read_folder(self.root / "looks", CommonLooks).items()}

    @cached_property
    def said(self) -> SaidWords:
        """What people at the car say for parts, places and what they see."""
        said = read_toml(self.root / "said.toml", SaidWords)
        strange = {k for kinds in said.parts.values() for k in kinds} - set(self.kinds)
        strange |= {*said.usual.values()} - set(self.kinds)
        reached = {word.rpartition(".")[2] for words in said.levels.values() for word in words}
        strange |= (reached - set(self.kinds)) | ({*said.level_words.values()} - set(said.levels))
        strange |= {p for places in said.places.values() for p in places} - set(PLACES)
        if strange:
            raise CatalogError(f"said.toml names unknown {', '.join(sorted(strange))}")
        return said

    @cached_property
    def templates(self) -> dict[str, Template]:
        """Equipment templates by name."""
        return read_folder(self.root / "equipment", Template)

    @cached_property
    def crash_words(self) -> CrashWords:
        """Words of crash data: recorder elements, table headers, units."""
        return read_toml(self.root / "crash-data.toml", CrashWords)

    @cached_property
    def currencies(self) -> Currencies:
        """Currency codes that a case may name."""
        return read_toml(self.root / "currencies.toml", Currencies)

    @cached_property
    def vin(self) -> VinRules:
        """Tables of the vehicle identification number."""
        return read_toml(self.root / "vin.toml", VinRules)

    @cached_property
    def rules(self) -> RuleBook:
        """Rule profiles over one shared default, with their condition words."""
        return read_rules(self.root / "rules", self.kinds, self.sources)

    @cached_property
    def profile_names(self) -> tuple[str, ...]:
        """Names of the rule profiles, without reading the rules."""
        names = (path.stem for path in (self.root / "rules").glob("*.toml"))
        return tuple(sorted(n for n in names if n != DEFAULT))

    @cached_property
    def cautions(self) -> dict[str, CautionText]:
        """Cautions by id."""
        return read_cautions(self.root / "cautions", self.sources)

    @cached_property
    def notices(self) -> tuple[Notice, ...]:
        """Notices of law and custom by region."""
        return read_notices(self.root / "notices", self.sources)

    @cached_property
    def tasks(self) -> TaskBook:
        """Steps, gates, and what work on each kind takes."""
        return read_tasks(self.root / "tasks", self.kinds, self.cautions, self.sources)

    @cached_property
    def market(self) -> MarketBook:
        """Headings of sheets, and which parts may be bought used where."""
        return read_market(self.root / "market", self.sources)

    @cached_property
    def bidding(self) -> BidBook:
        """What is asked before any bid."""
        return read_toml(self.root / "bidding.toml", BidBook)

    @cached_property
    def assemblies(self) -> dict[str, Assembly]:
        """What is sold and fitted as one, by id."""
        return read_assemblies(
            self.root / "assemblies", self.kinds, self.tasks.openings, self.cautions
        )

    @cached_property
    def lots(self) -> LotBook:
        """Words of lists of lots, and what screening takes for granted."""
        return read_lot_book(self.root / "lots")

    @cached_property
    def vocabulary(self) -> Vocabulary:
        """Words of reports in every language, and the rules that join them."""
        return Vocabulary(self.root / "vocabulary", frozenset(self.kinds))

    @cached_property
    def codes(self) -> CodeBook:
        """Tables of fault codes and failure types."""
        return CodeBook(self.root / "codes")

    @cached_property
    def loops(self) -> LoopBook:
        """Loops: elements, what can be wrong, tests and repairs."""
        return read_loops(self.root / "loops", self.cautions, self.sources)

    @cached_property
    def facts(self) -> dict[str, Fact]:
        """Every free-standing fact and every kind's facts, by id."""
        facts = [f for file in read_files(self.root / "facts", FactFile) for f in file.fact]
        facts += [f for kind in self.kinds.values() for f in kind.fact]
        return key_entries(facts, "facts")

    @cached_property
    def _release(self) -> ReleaseFile:
        """Everything about release, as its file has it."""
        return read_toml(self.root / "release.toml", ReleaseFile)

    @cached_property
    def release_gates(self) -> dict[str, ReleaseGate]:
        """Conditions of release by word, in the order they are listed."""
        return key_entries(self._release.gate, "release.toml")

    @cached_property
    def papers(self) -> dict[str, Paper]:
        """Papers that are asked for, by word, in the order they are listed."""
        return key_entries(self._release.paper, "release.toml")

    @cached_property
    def words(self) -> WordSet:
        """The fixed words that a record of today carries."""
        return WordSet(
            name="today",
            gates=tuple((g.id, hash_words(g.text)) for g in self.release_gates.values()),
            texts=frozenset((t.id, hash_words(t.text)) for t in self.record_texts.values()),
            cautions=frozenset((c.id, hash_words(c.text)) for c in self.cautions.values()),
            papers=tuple(self.papers),
            questions=tuple((q.id, hash_words(q.text)) for q in self.questions.values()),
        )

    @cached_property
    def word_sets(self) -> tuple[WordSet, ...]:
        """The fixed words of today, and those of versions that were released."""
        return (self.words, *read_word_sets(self.root / "words"))

    @cached_property
    def questions(self) -> dict[str, Question]:
        """What readers of a record ask, by word, in the order they ask it."""
        return key_entries(self._release.question, "release.toml")

    @cached_property
    def record_texts(self) -> dict[str, RecordText]:
        """Texts that stand in every record, by id."""
        return key_entries(self._release.text, "release.toml")

    @cached_property
    def priors(self) -> "Priors":
        """What is believed before a car is looked at: curves, shares, severities."""
        from squibwise.catalog.priors import read_priors  # brings NumPy: only when asked for

        return read_priors(self.root / "priors")

    @cached_property
    def firing(self) -> Firing:
        """Firing logic, faults and how reliable each kind of evidence is."""
        return Firing(self.root / "firing")

    def fact(self, fact_id: str) -> Fact:
        """Return one fact.

        Raises:
            CatalogError: There is no such fact.
        """
        try:
            return self.facts[fact_id]
        except KeyError:
            raise CatalogError(f"the catalogue has no fact '{fact_id}'") from None

    def with_value(self, fact_id: str, value: float) -> "Catalog":
        """Return the same catalogue with another value of one fact."""
        other = copy.copy(self)
        fact = msgspec.structs.replace(self.fact(fact_id), value=value)
        other.__dict__["facts"] = self.facts | {fact_id: fact}
        return other

    def looks(self, kind: str) -> dict[str, LookWord]:
        """Return the look words of a kind, its own before those of its family."""
        record = self.kinds[kind]
        words = {w.word: w for w in self.common_looks.get(record.family, ())}
        return words | {w.word: w for w in record.look}


def load_catalog(root: Path = DATA) -> Catalog:
    """Return the catalogue under a folder, the shipped one the same each time.

    Sections are read when asked for.
    """
    return _shipped() if root == DATA else Catalog(root)


@cache
def _shipped() -> Catalog:
    return Catalog()


def holds_charge(part: str, catalog: Catalog) -> bool:
    """Return whether a component, or that of a circuit, holds something that burns; else False.

    What is no id, or of a kind that is not known, holds none.
    """
    try:
        kind = catalog.kinds.get(split_component(split_loop(part)[0]).kind)
    except ModelError:
        return False
    return kind is not None and kind.fires


def list_carriers(component: str, catalog: Catalog) -> frozenset[str]:
    """Return the components with which one is replaced, as one: the webbing with its reel."""
    name = split_component(component)
    return frozenset(
        f"{name.place}.{key}"
        for assembly in catalog.assemblies.values()
        if name.kind in assembly.holds and name.kind not in assembly.key
        for key in assembly.key
    )


def component_title(component: str, catalog: Catalog) -> str:
    """Return a component in words, such as ``driver front airbag`` or ``row 2 left belt buckle``.

    A component at the centre of the car, or whose kind names its place, gets no place in front.
    """
    name = split_component(component)
    place = "" if name.place == "centre" else name.place.replace("row", "row ").replace("-", " ")
    kind = catalog.kinds.get(name.kind)
    title = kind.title if kind else name.kind
    place = "" if title.startswith(f"{place} ") else place
    number = "" if name.number == 1 else str(name.number)
    return " ".join(w for w in (place, title, number) if w)


def sections() -> tuple[str, ...]:
    """Return the names of the catalogue's sections."""
    found = (n for n, v in vars(Catalog).items() if isinstance(v, cached_property))
    return tuple(name for name in found if not name.startswith("_"))


def check_all(catalog: Catalog) -> dict[str, int]:
    """Return the number of entries by section, after every check has passed.

    Raises:
        CatalogError: With every problem found, one per line.
    """
    counts = {name: _entries(getattr(catalog, name)) for name in sections()}
    counts["screens"] = len(load_screens().words) + len(load_pages().words)
    problems = [p for rule in _RULES for p in rule(catalog)]
    if problems:
        raise CatalogError("\n".join(problems), remedy="Correct the named catalogue files.")
    return counts


def _entries(section: object) -> int:
    """Count the entries of a section; parts that load when asked for are asked for."""
    if isinstance(section, Mapping | tuple | list | frozenset):
        return len(section)
    parts = _parts(section)
    return sum(_entries(part) for part in parts) if parts else 1


def _parts(value: object) -> list[object]:
    if isinstance(value, msgspec.Struct):
        parts = [getattr(value, name) for name in value.__struct_fields__]
        return [p for p in parts if isinstance(p, Mapping | tuple | list | msgspec.Struct)]
    lazy = [n for n, v in vars(type(value)).items() if isinstance(v, cached_property)]
    return [getattr(value, name) for name in lazy]


def _unknown_sources(catalog: Catalog) -> Iterator[str]:
    for name in sections():
        for source in sorted(set(_cited(getattr(catalog, name)))):
            if source not in catalog.sources:
                yield f"{name}: source '{source}' is not in sources.toml"


def _cited(value: Any) -> Iterator[str]:  # noqa: ANN401 - walks records of every section
    if isinstance(value, msgspec.Struct):
        for field in value.__struct_fields__:
            item = getattr(value, field)
            if field == "source" and isinstance(item, str) and item:
                yield item
            elif field != "source":
                yield from _cited(item)
    elif isinstance(value, dict):
        for item in value.values():
            yield from _cited(item)
    elif isinstance(value, tuple | list):
        for item in value:
            yield from _cited(item)
    elif value is not None and not isinstance(value, str | int | float | dt.date):
        for part in _parts(value):
            yield from _cited(part)


def _wrong_equipment(catalog: Catalog) -> Iterator[str]:
    for name, template in catalog.templates.items():
        if template.base and template.base not in catalog.templates:
            yield f"equipment/{name}.toml: base '{template.base}' does not exist"
        for component in template.components:
            problem = component_problem(component, catalog)
            if problem:
                yield f"equipment/{name}.toml: {problem}"


def with_article(title: str) -> str:
    """Return a title behind ``a`` or ``an``."""
    return f"{'an' if title[:1].lower() in 'aeio' else 'a'} {title}"


def component_problem(component_id: str, catalog: Catalog) -> str | None:
    """Return what is wrong with a component id under this catalogue; None when it is fine."""
    try:
        name = split_component(component_id)
    except ModelError as error:
        return f"{error}; {error.remedy}"
    kind = catalog.kinds.get(name.kind)
    if kind is None:
        return f"'{name.kind}' is not a component kind"
    if name.place not in kind.places:
        at = ", ".join(kind.places)
        return f"{with_article(name.kind)} is never at '{name.place}'; places: {at}"
    return None


def _broken_patterns(catalog: Catalog) -> Iterator[str]:
    for sign in catalog.loops.signs.values():
        yield from sign.problems()


_RULES: tuple[Callable[[Catalog], Iterator[str]], ...] = (
    _unknown_sources,
    _wrong_equipment,
    _broken_patterns,
)
