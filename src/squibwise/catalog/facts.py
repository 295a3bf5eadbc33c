"""Facts, sources and cited lists: all from the outside world, with where it was read."""

import datetime as dt
import re

import msgspec

from squibwise.errors import CatalogError
from squibwise.model.words import WEAK_BASES, Basis

_UNITS = """
- ohm Mohm mohm/m V mA A kg mm m km/h g s ms Hz min h d degC deg % 1/K dB count year USD
"""
UNITS = frozenset(_UNITS.split())


class Source(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One citation.

    Attributes:
        id: Short id that facts name.
        title: What it is.
        by: Who published it.
        kind: ``standard``, ``government``, ``published``, ``own`` or ``practice``.
        note: How much of it was read.
    """

    id: str
    title: str
    by: str
    kind: str
    url: str = ""
    note: str = ""


class Fact(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One fact.

    Attributes:
        id: ``<topic>.<name>``.
        value: Number or word.
        unit: One of ``UNITS``; ``-`` for none.
        source: Source id.
        at: Place in the source.
        basis: What kind of ground it stands on.
        read_on: Day it was read.
        low: Low end of the range; required for numbers that are judgement or from memory.
        high: High end of the range.
        maker: Maker it holds for; empty = not bound to one.
        years: First and last model year it holds for.
        region: Region it holds for.
        note: What a reader must know.
    """

    id: str
    value: float | str | bool
    unit: str
    source: str
    at: str
    basis: Basis
    read_on: dt.date
    low: float | None = None
    high: float | None = None
    maker: str = ""
    years: tuple[int, int] | None = None
    region: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise CatalogError(f"fact {self.id}: unknown unit '{self.unit}'")
        number = isinstance(self.value, float | int) and not isinstance(self.value, bool)
        if number and self.basis in WEAK_BASES and (self.low is None or self.high is None):
            raise CatalogError(f"fact {self.id}: basis {self.basis} needs a range (low, high)")
        if self.low is not None and self.high is not None and not self.low <= self.high:
            raise CatalogError(f"fact {self.id}: low {self.low} is above high {self.high}")
        if number and self.low is not None and self.high is not None:
            _check_inside(self.id, float(self.value), self.low, self.high)

    def number(self) -> float:
        """Return the value as a number.

        Raises:
            CatalogError: The fact is a word.
        """
        if isinstance(self.value, str):
            raise CatalogError(f"fact {self.id} is a word, not a number")
        return float(self.value)


def _check_inside(fact_id: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise CatalogError(f"fact {fact_id}: value {value} lies outside {low} to {high}")


class FactFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A file with nothing but facts: ``facts/<topic>.toml``."""

    fact: tuple[Fact, ...] = ()


class SourceFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``sources.toml``."""

    source: tuple[Source, ...]


class Currencies(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``currencies.toml``: codes of currencies in use.

    Attributes:
        codes: ISO 4217 codes, sorted.
        regions: Code by country, of those whose money is known here.
        right_hand: Countries where the driver sits on the right.
        source: Source id.
        at: Place in the source.
        basis: What kind of ground the list stands on.
        read_on: Day it was written down.
    """

    codes: tuple[str, ...]
    source: str
    at: str
    basis: Basis
    read_on: dt.date
    regions: dict[str, str] = {}
    right_hand: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        strange = [c for c in self.codes if not re.fullmatch(r"[A-Z]{3}", c)]
        if strange or not self.codes or len(set(self.codes)) != len(self.codes):
            raise CatalogError(f"currencies.toml: repeated or broken codes {strange}")
        strange = [c for c in self.regions.values() if c not in self.codes]
        strange += [c for c in self.right_hand if c not in self.regions]
        if strange:
            raise CatalogError(f"currencies.toml: regions name unknown {strange}")
