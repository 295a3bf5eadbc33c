"""Texts that count the events of a crash and list what fired in each."""

import re
from collections.abc import Iterator
from functools import lru_cache

import msgspec

from squibwise.catalog.crash_words import CountedWords
from squibwise.catalog.load import Catalog
from squibwise.intake.crash_data.settings import Settings
from squibwise.model.car import Car
from squibwise.model.evidence import Recorder
from squibwise.model.names import side_of, split_component
from squibwise.model.origin import Finding, Origin

_PARTED = re.compile(r"[,;+/]|&")
_WORD = re.compile(r"[^\W\d_]+")
_LONGEST = 2_000
_FRONT_SEATS = frozenset(("driver", "passenger"))


class _Event(msgspec.Struct, frozen=True, kw_only=True):
    """One event as a text tells it: what stands before the colon, and behind it."""

    number: int
    head: str
    tail: str
    line: int


class _Heard(msgspec.Struct, kw_only=True):
    """What one event lists, and the words that name nothing.

    Attributes:
        none: It says that nothing was commanded.
        only: It says that nothing but what it lists was.
    """

    line: int
    commanded: list[str] = []
    unread: list[str] = []
    rollover: bool = False
    none: bool = False
    only: bool = False

    @property
    def says_something(self) -> bool:
        """Whether it tells anything of what fired."""
        return bool(self.commanded) or self.rollover or self.none


def read_counted(
    text: str, settings: Settings, car: Car, catalog: Catalog
) -> tuple[tuple[Recorder, ...], list[Finding]]:
    """Return an entry for each event whose fired devices a text lists, and what was not used.

    That a device is listed is evidence that it was commanded; one that is not listed may only not
    have been written down. Several of a sort are those of both sides, or of the side named; a belt
    or a front bag without a seat is the driver's.
    """
    words = catalog.crash_words.counted
    heard: dict[int, _Heard] = {}
    for event in _events(text, words):
        _listen(event, heard.setdefault(event.number, _Heard(line=event.line)), car, words)
    told = {number: one for number, one in heard.items() if one.says_something}
    entries = (_entry(n, one, len(told), settings, car) for n, one in sorted(told.items()))
    return tuple(entries), [f for one in told.values() for f in _unread(one, settings)]


def counts_events(text: str, catalog: Catalog) -> bool:
    """Tell whether a line counts an event and lists something behind its colon."""
    words = catalog.crash_words.counted
    return any(event.tail.strip() for event in _events(text, words))


def _entry(number: int, one: _Heard, count: int, settings: Settings, car: Car) -> Recorder:
    silent = one.only or (one.none and not one.commanded)
    listed = tuple(dict.fromkeys(one.commanded))
    return Recorder(
        id=f"event-{number}",
        record="stored",
        event=number,
        event_count=count,
        commanded=listed,
        not_commanded=tuple(f"{c}/1" for c in car.components if silent and c not in listed),
        rollover=True if one.rollover else None,
        origin=Origin(file=settings.name, line=one.line),
    )


@lru_cache
def _beginning(words: tuple[str, ...]) -> re.Pattern[str]:
    """Return the pattern of the words that begin an event, at the start of a line or clause."""
    named = "|".join(map(re.escape, sorted(words, key=len, reverse=True)))
    return re.compile(rf"(?:^|[;:.])[\W_]*(?:{named})\s*(?:no\.?|nr\.?|#)?\s*([1-9])(?![0-9])")


def _events(text: str, words: CountedWords) -> Iterator[_Event]:
    """Yield the events of a text, several on a line if it counts them so."""
    begins = _beginning(words.begins)
    for line, whole in enumerate(text.splitlines(), start=1):
        low = whole[:_LONGEST].casefold()
        found = list(begins.finditer(low))
        ends = [*(m.start() for m in found[1:]), len(low)]
        for match, end in zip(found, ends, strict=False):
            head, sign, tail = low[match.end() : end].partition(":")
            if sign:
                yield _Event(number=int(match[1]), head=head, tail=tail, line=line)


def _listen(event: _Event, heard: _Heard, car: Car, words: CountedWords) -> None:
    """Take down what one event says."""
    struck = words.sides_of(_WORD.findall(event.head))
    heard.rollover |= bool(set(_WORD.findall(event.head)) & set(words.rollover))
    tail = event.tail
    for word in words.joins:
        tail = re.sub(rf"\b{re.escape(word)}\b", ",", tail)
    for item in _PARTED.split(tail):
        told = _WORD.findall(item)
        if not told or set(told) <= set(words.besides):
            continue
        if " ".join(told) in words.none:
            heard.none = True
            continue
        heard.only |= bool(set(told) & set(words.only))
        meant = list(_meant(item, struck, car, words))
        heard.commanded += meant
        if not meant:
            heard.unread.append(item.strip())


def _meant(item: str, struck: frozenset[str], car: Car, words: CountedWords) -> Iterator[str]:
    """Yield the components of a car that one item of a list names; none if it names others too."""
    key = next((k for k in sorted(words.parts, key=len, reverse=True) if k in item), None)
    if key is None:
        return
    sides = words.sides_of(_WORD.findall(item))
    told = set(_WORD.findall(item.replace(key, " ")))
    several = bool(told & set(words.both)) or key in words.plurals
    if told - {*words.besides, *words.both, *words.only} - words.side_words():
        return
    for component in car.components:
        split = split_component(component)
        if split.kind not in words.parts[key] or split.place.startswith("row"):
            continue
        if _is_there(split.place, sides or struck, several, car):
            yield component


def _is_there(place: str, named: frozenset[str], several: bool, car: Car) -> bool:
    """Return whether a place is meant by the sides or seats named; by none: all, or the driver."""
    if named & _FRONT_SEATS:
        return place in named
    if named:
        return side_of(place, car.drive_hand) in named
    return several or place == "driver"


def _unread(one: _Heard, settings: Settings) -> list[Finding]:
    return [
        settings.finding(
            "crash-data-unread",
            "note",
            f"'{item[:80]}' names no part of this car, or says more than that it fired; not used.",
            "Write part and side, such as: right curtain.",
            one.line,
        )
        for item in one.unread[:20]
    ]
