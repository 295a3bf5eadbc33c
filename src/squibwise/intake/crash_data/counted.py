"""Text that counts events: ``event 2, 1.4 s later, right: curtain, seat bag``."""

import re
from collections.abc import Iterator

from squibwise.catalog.load import Catalog
from squibwise.catalog.vocabulary import CrashWords
from squibwise.intake.patterns import pattern
from squibwise.model.car import Car
from squibwise.model.evidence import Recorder
from squibwise.model.names import side_of, split_component
from squibwise.model.origin import Origin

_EVENT = pattern(
    r"^[\W_]*(?:crash\s+)?event\s*(?:no\.?|#)?\s*([1-9])(?![0-9])([^:]*):(.+)$", re.IGNORECASE
)
_PARTED = pattern(r"[,;+]|\band\b")
_WORD = pattern(r"[a-z]+")
_BESIDES = frozenset(
    "left right driver passenger front side the fired deployed commanded triggered".split()
)
_FRONT_SEATS = ("driver", "passenger")


def read_counted(text: str, name: str, car: Car, catalog: Catalog) -> tuple[Recorder, ...]:
    """Return an entry for each event whose fired devices a text lists; none when it lists none.

    That a device is listed is evidence that it was commanded; one that is not listed may only not
    have been written down. Belts and front bags without a seat are those of the driver.
    """
    listed: dict[int, tuple[int, list[str]]] = {}
    for line, whole in enumerate(text.splitlines(), start=1):
        found = _EVENT.match(whole[:_LONGEST])
        if found is None:
            continue
        parts = list(_commanded(found[2], found[3], car, catalog.crash_words))
        if parts:
            listed.setdefault(int(found[1]), (line, []))[1].extend(parts)
    return tuple(
        Recorder(
            id=f"event-{event}",
            record="stored",
            event=event,
            event_count=len(listed),
            commanded=tuple(dict.fromkeys(parts)),
            origin=Origin(file=name, line=line),
        )
        for event, (line, parts) in sorted(listed.items())
    )


_LONGEST = 2_000


def _commanded(head: str, tail: str, car: Car, words: CrashWords) -> Iterator[str]:
    """Yield the components of a car that one event lists."""
    struck = set(_WORD.findall(head.casefold()))
    for item in _PARTED.split(words.plain(tail)):
        key = next((k for k in sorted(words.counted, key=len, reverse=True) if k in item), None)
        rest = set(_WORD.findall(item.replace(key or "", " "))) - {"s"}
        if key is None or rest - _BESIDES:
            continue
        for component in car.components:
            split = split_component(component)
            if split.kind in words.counted[key] and _is_meant(
                split.place, rest & _PLACES or struck & _SIDES, car
            ):
                yield component


_SIDES = frozenset(("left", "right"))
_PLACES = frozenset(("left", "right", *_FRONT_SEATS))


def _is_meant(place: str, named: frozenset[str] | set[str], car: Car) -> bool:
    """Return whether a part is meant by the sides or seats named: the driver's if none."""
    if place.startswith("row"):
        return False
    if named & set(_FRONT_SEATS):
        return place in named
    return side_of(place, car.drive_hand) in named if named else place == "driver"
