"""Assemblies: what is sold and fitted as one, what it holds, costs and takes. One TOML each."""

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import msgspec

from squibwise.catalog.components import Kind
from squibwise.catalog.reading import read_folder
from squibwise.catalog.tasks import Opening, check_minutes
from squibwise.errors import CatalogError
from squibwise.model.car import Profile
from squibwise.model.names import SEATS
from squibwise.model.words import Basis

FITS = ("base", "charge", "trim")
Three = tuple[int, int, int]
FRONT = SEATS[:2]
ANY, REAR = "any", "rear"


class Instead(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The other way to fit an assembly, taken where its first way is not opened anyway.

    Attributes:
        minutes: Low, usual, high, once open. [min]
        access: Openings it needs.
    """

    minutes: Three
    access: tuple[str, ...]


class Fitting(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The operation that takes an assembly out and fits a new one.

    Attributes:
        fit: ``charge`` is fitted after the last power-down, ``trim`` after the charges, ``base``
            before any power.
        home: Opening beside which it is listed.
        number: Number of its first place on every work list, from 201; other places follow. It is
            that of taking it out; fitting it and tracing it have theirs from the same.
        minutes: Low, usual, high, once open. [min]
        access: Openings it needs, by place; ``rear`` for seats behind the front ones, ``any`` for
            places not named.
        instead: The other way.
        after: Assemblies of the same seat, side or of the car that are fitted before it.
        out: What is noted of the old one as it comes out, where that is a line of its own.
        out_short: What comes out so, in a word or two, for a line of many.
        how: What to mind, in a mechanic's words.
        follows: What must follow.
        basis: Basis of the minutes.
    """

    fit: str
    home: str
    number: int
    minutes: Three
    access: Mapping[str, tuple[str, ...]]
    instead: Instead | None = None
    after: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    out: str = ""
    out_short: str = ""
    how: str = ""
    follows: str = ""
    source: str
    basis: Basis

    def __post_init__(self) -> None:
        if self.fit not in FITS:
            raise CatalogError(f"unknown fit '{self.fit}'")
        check_minutes("fitting", self.minutes)

    def access_at(self, place: str) -> tuple[str, ...]:
        """Return the openings it needs at a place."""
        if place in self.access:
            return self.access[place]
        if place in SEATS and place not in FRONT and REAR in self.access:
            return self.access[REAR]
        return self.access.get(ANY, ())


class Assembly(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is sold and fitted as one.

    Attributes:
        id: Word in orders.
        title: What the trade calls it in the US; ``title_uk`` in the UK.
        short: The same in two or three words, for a line of many; empty where the title is short.
        titles: What it is called at places that begin so, where parts of several numbers share it.
        key: The car has it where it has one of these kinds.
        holds: Kinds that come inside it; one of them bad asks for the whole.
        brings: Kinds that come with it on some cars, where the case says so; also sold alone.
        unless: The car does not have it where it has one of these kinds.
        places: Where it can be.
        live: It holds a charge: dangerous goods until proven spent.
        one_time: Fasteners that are new each time.
        sold_apart: What is often sold beside it.
        to_desk: What else a parts desk is told or asked.
        used_refused: How often a used one is refused by makers, insurers or inspectors.
        new: Low, usual, high price new, before tax and freight. [USD]
        used: The same used. [USD]
        lead_days: Least, usual, most days until it is there. [day]
        body_work: Ordered and fitted with the body or glass work.
        instead: Never chosen by itself: another way to buy the same.
        element: Element of a circuit: where tests located the fault in it, this is bought, and no
            more of what it belongs to.
        where_kept: Condition of a rule: where the maker keeps the whole part then, this is what is
            bought of it, until an eye sees the whole damaged; empty = never.
        same_number: The same part number at several places: one line of the order list.
        basis: Basis of prices and days.
    """

    id: str
    title: str
    title_uk: str
    short: str = ""
    titles: dict[str, str] = {}
    key: tuple[str, ...]
    holds: tuple[str, ...] = ()
    brings: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    places: tuple[str, ...]
    live: bool
    one_time: str = ""
    sold_apart: str = ""
    to_desk: str = ""
    used_refused: str = ""
    new: Three | None = None
    used: Three | None = None
    lead_days: Three | None = None
    body_work: bool = False
    instead: bool = False
    element: str = ""
    where_kept: str = ""
    same_number: bool = False
    source: str
    basis: Basis
    read_on: dt.date
    operation: Fitting

    def __post_init__(self) -> None:
        for what in (self.new, self.used, self.lead_days):
            check_minutes(f"assembly {self.id}", what or (0, 0, 0))

    def title_at(self, place: str, *, british: bool = False) -> str:
        """Return what it is called at a place."""
        usual = self.title_uk if british else self.title
        return next((t for head, t in self.titles.items() if place.startswith(head)), usual)

    def held_kinds(self, sold: Profile) -> frozenset[str]:
        """Return the kinds inside it for a car, by what is known of how its parts are sold."""
        along = (k for k in self.brings if k in sold.comes_with)
        return frozenset((*self.holds, *along)) - {*sold.sold_apart}


def read_assemblies(
    folder: Path,
    kinds: Mapping[str, Kind],
    openings: Mapping[str, Opening],
    known: Mapping[str, object],
) -> dict[str, Assembly]:
    """Return every assembly by id, checked: each kind at each of its places is sold somehow.

    Args:
        folder: Where the files are.
        kinds: Component kinds.
        openings: Openings by id.
        known: Cautions by id.

    Raises:
        CatalogError: A file is broken, or names something unknown, or a part is in no assembly.
    """
    found = read_folder(folder, Assembly)
    problems = [p for stem, a in found.items() for p in _problems(stem, a, kinds, openings, known)]
    sold = {(k, p) for a in found.values() for k in (*a.key, *a.holds) for p in a.places}
    problems += _shared_numbers(found.values())
    for stem, assembly in found.items():
        problems += _strangers(stem, assembly.operation.after, found)
    problems += [
        f"no assembly holds a {kind.kind} at {place}"
        for kind in kinds.values()
        for place in kind.places
        if (kind.kind, place) not in sold
    ]
    if problems:
        raise CatalogError("assemblies: " + "; ".join(problems), remedy="Correct the files.")
    return found


def _shared_numbers(assemblies: Iterable[Assembly]) -> Iterator[str]:
    taken: dict[int, str] = {}
    for assembly in assemblies:
        for number in range(
            assembly.operation.number, assembly.operation.number + len(assembly.places)
        ):
            if number in taken or not 201 <= number <= 399:
                yield f"{assembly.id}: number {number} is taken by {taken.get(number, 'no list')}"
            taken[number] = assembly.id


def _problems(
    stem: str,
    assembly: Assembly,
    kinds: Mapping[str, Kind],
    openings: Mapping[str, Opening],
    known: Mapping[str, object],
) -> Iterator[str]:
    if stem != assembly.id:
        yield f"{stem}.toml calls itself '{assembly.id}'"
    named = (*assembly.key, *assembly.holds, *assembly.brings, *assembly.unless)
    yield from _strangers(stem, named, kinds)
    work = assembly.operation
    ways = [w for way in work.access.values() for w in way]
    ways += [*(work.instead.access if work.instead else ()), work.home]
    yield from _strangers(stem, ways, openings)
    yield from _strangers(stem, work.cautions, known)


def _strangers(where: str, words: Iterable[str], known: Iterable[str]) -> Iterator[str]:
    for word in sorted(set(words) - set(known)):
        yield f"{where}.toml names an unknown '{word}'"
