"""The catalogue as one object; each section is read when it is first asked for."""

from functools import cached_property
from pathlib import Path

from squibwise.catalog.components import CommonLooks, Kind, LookWord
from squibwise.catalog.equipment import Template
from squibwise.catalog.facts import Fact, FactFile, Source, SourceFile
from squibwise.catalog.reading import read_folder, read_toml, refuse_repeats
from squibwise.errors import CatalogError

DATA = Path(__file__).parent / "data"


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
        sources = read_toml(self.root / "sources.toml", SourceFile).source
        refuse_repeats((s.id for s in sources), "sources.toml")
        return {s.id: s for s in sources}

    @cached_property
    def kinds(self) -> dict[str, Kind]:
        """Component kinds by word."""
        kinds = read_folder(self.root / "components", Kind)
        for stem, kind in kinds.items():
            if stem != kind.kind:
                raise CatalogError(f"components/{stem}.toml calls itself '{kind.kind}'")
        return kinds

    @cached_property
    def common_looks(self) -> dict[str, tuple[LookWord, ...]]:
        """Look words that every kind of a family accepts, by family."""
        return {k: v.look for k, v in read_folder(self.root / "looks", CommonLooks).items()}

    @cached_property
    def templates(self) -> dict[str, Template]:
        """Equipment templates by name."""
        return read_folder(self.root / "equipment", Template)

    @cached_property
    def facts(self) -> dict[str, Fact]:
        """Every free-standing fact and every kind's facts, by id."""
        files = read_folder(self.root / "facts", FactFile).values()
        facts = [f for file in files for f in file.fact]
        facts += [f for kind in self.kinds.values() for f in kind.fact]
        refuse_repeats((f.id for f in facts), "facts")
        return {f.id: f for f in facts}

    def fact(self, fact_id: str) -> Fact:
        """Return one fact.

        Raises:
            CatalogError: There is no such fact.
        """
        try:
            return self.facts[fact_id]
        except KeyError:
            raise CatalogError(f"the catalogue has no fact '{fact_id}'") from None

    def looks(self, kind: str) -> dict[str, LookWord]:
        """Return the look words of a kind, its own before those of its family."""
        record = self.kinds[kind]
        words = {w.word: w for w in self.common_looks.get(record.family, ())}
        return words | {w.word: w for w in record.look}


def load_catalog(root: Path = DATA) -> Catalog:
    """Return the catalogue under a folder; sections are read when asked for."""
    return Catalog(root)
