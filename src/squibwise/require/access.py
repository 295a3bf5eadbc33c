"""Openings: which ones a set of operations needs, each once, and what lies behind them."""

from collections.abc import Iterable, Iterator

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.tasks import Opening
from squibwise.model.car import Car
from squibwise.model.names import SEATS, SIDES, side_of

FRONT = SEATS[:2]


class Way(msgspec.Struct, frozen=True, kw_only=True):
    """One opening at one seat, at one side, or once in the car.

    Attributes:
        at: Seat or side; empty = once in the car.
    """

    opening: Opening
    at: str = ""

    @property
    def id(self) -> str:
        """Word in the ids of operations: ``b-left``, ``seat-driver``, ``panel``."""
        return f"{self.opening.id}-{self.at}" if self.at else self.opening.id

    @property
    def slot(self) -> int:
        """Place in the order of opening."""
        return self.opening.slot + (self.at in ("passenger", "right"))

    @property
    def title(self) -> str:
        """What is opened, in a mechanic's words."""
        return f"{self.opening.title}, {self.at}" if self.at else self.opening.title


def find_ways(words: Iterable[str], place: str, car: Car, catalog: Catalog) -> frozenset[Way]:
    """Return the openings a place needs; none where the place has no such opening.

    Args:
        words: Ids of openings.
        place: Seat, side or zone that work is done at.
        car: For the side a seat is on.
        catalog: For the openings.
    """
    openings = catalog.tasks.openings
    return frozenset(w for word in words for w in _ways_at(openings[word], place, car))


def _ways_at(opening: Opening, place: str, car: Car) -> Iterator[Way]:
    if opening.per == "seat":
        if place in FRONT:
            yield Way(opening=opening, at=place)
    elif opening.per == "side":
        side = side_of(place, car.drive_hand)
        for at in (side,) if side else SIDES:
            yield Way(opening=opening, at=at)
    else:
        yield Way(opening=opening)


def close_over(ways: Iterable[Way], car: Car, catalog: Catalog) -> tuple[Way, ...]:
    """Return these openings with all they need and without what opens with them, in order.

    What opens with one and lies over another stays a line of its own: it is off for both.
    """
    found = set(ways)
    while more := {n for w in found for n in _needs(w, car, catalog)} - found:
        found |= more
    joined = [o for o in catalog.tasks.openings.values() if o.both and _is_both(o.both, found)]
    if any(Way(opening=o) not in found for o in joined):
        return close_over({*found, *(Way(opening=o) for o in joined)}, car, catalog)
    open_with = (w for w in found if any(swallows(o, w) for o in found))
    merged = {w for w in open_with if not any(covers(w, inner) for inner in found)}
    kept = found - merged
    return tuple(sorted(kept, key=lambda w: w.slot))


def _needs(way: Way, car: Car, catalog: Catalog) -> Iterator[Way]:
    """Yield what must be opened before an opening: at its place, else at each there is."""
    for word in way.opening.needs:
        opening = catalog.tasks.openings[word]
        if not way.at:
            ats = {"seat": FRONT, "side": SIDES}.get(opening.per, ("",))
            yield from (Way(opening=opening, at=at) for at in ats)
        else:
            yield from _ways_at(opening, way.at, car)


def _is_both(word: str, found: set[Way]) -> bool:
    return {w.at for w in found if w.opening.id == word} >= set(SIDES)


def swallows(outer: Way, inner: Way) -> bool:
    """Does an opening open with another one."""
    is_same = not outer.at or not inner.at or outer.at == inner.at
    return inner.opening.id in outer.opening.swallows and is_same


def covers(outer: Way, inner: Way) -> bool:
    """Does an opening lie over another: it is the first off and the last on."""
    is_same = not outer.at or not inner.at or outer.at == inner.at
    return outer.opening.id in inner.opening.needs and is_same


def is_open(word: str, at: str, ways: Iterable[Way], car: Car) -> bool:
    """Is an opening open, itself or with another one.

    Args:
        word: Id of the opening.
        at: Seat or side; empty = anywhere.
        ways: What is open.
        car: For the side a seat is on.
    """
    own = side_of(at, car.drive_hand) if at in SEATS else at
    for way in ways:
        same = not at or not way.at or way.at in (at, own)
        if same and (way.opening.id == word or word in way.opening.swallows):
            return True
    return False
