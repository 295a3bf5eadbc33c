"""Words of crash data: elements and units by the names that tables give them."""

import re
from collections.abc import Iterable
from typing import Literal

import msgspec

from squibwise.errors import CatalogError
from squibwise.model.names import split_component, split_loop
from squibwise.model.words import Basis

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
