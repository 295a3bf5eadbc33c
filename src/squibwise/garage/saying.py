"""What people at the car say for a part and for what they see, as words of the catalogue."""

import re
from collections.abc import Sequence
from typing import Any, get_args

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.intake.case_file.schema import What
from squibwise.model.car import Car
from squibwise.model.names import PLACES, SEATS, ZONES, split_component
from squibwise.model.words import Extent

_FRONT_SEATS = {"driver", "passenger"}
_APART = re.compile(r"[.\s_/]+")


def find_component(said: str, car: Car, catalog: Catalog) -> str:
    """Return the component of a car that somebody means; what is not understood comes back as said.

    Args:
        said: ``driver.front-bag``, but also ``windshield``, ``left curtain``, ``curtain.left``.
        car: For the parts it has.
        catalog: For kinds, and for what people say.

    Raises:
        InputError: It fits several parts of the car.
    """
    if said in car.components:
        return said
    places, kinds = _read(said.lower(), catalog)
    if places and places <= _FRONT_SEATS:
        kinds = _usual(said.lower(), kinds, catalog)
    found = [
        c
        for c in car.components
        if split_component(c).kind in kinds and (not places or split_component(c).place in places)
    ]
    if len(found) == 1:
        return found[0]
    if found and said.partition(".")[2] not in catalog.kinds:
        remedy = f"Name one: {', '.join(found)}."
        raise InputError(f"'{said}' may be {len(found)} parts of this car.", remedy=remedy)
    return said


def _usual(said: str, kinds: tuple[str, ...], catalog: Catalog) -> tuple[str, ...]:
    """Return the one kind that is meant where nothing but a seat stands beside the word."""
    rest = "-".join(t for t in _APART.split(said) if t and t not in _FRONT_SEATS)
    usual = catalog.said.usual.get(rest)
    return kinds if usual is None else (usual,)


def _read(said: str, catalog: Catalog) -> tuple[set[str], tuple[str, ...]]:
    """Return the places and the kinds that a phrase names."""
    words = catalog.said
    places: set[str] = set()
    rest: list[str] = []
    for token in _APART.split(said):
        named = words.places.get(token) or ((token,) if token in PLACES else ())
        places |= set(named)
        rest += [] if named else [token]
    kind = "-".join(w for w in rest if w)
    return places, (kind,) if kind in catalog.kinds else words.parts.get(kind, ())


def find_seen(said: str, component: str, catalog: Catalog) -> str:
    """Return the word of the catalogue for what was seen; one that is not known comes back as said.

    Args:
        said: ``deployed``, but also ``fired``, ``blown``, ``gone``.
        component: The part that was looked at.
        catalog: For the words of its kind, and for what people say.
    """
    kind = component.partition(".")[2]
    known = catalog.looks(kind) if kind in catalog.kinds else ()
    return said if said in known else catalog.said.seen.get(said.lower(), said)


WHATS: tuple[str, ...] = get_args(What)
EXTENTS: tuple[str, ...] = get_args(Extent)
SEATED: dict[str, dict[str, Any]] = {
    "empty": {"present": False},
    "taken": {"present": True},
    "belted": {"present": True, "belt": "latched"},
    "unbelted": {"present": True, "belt": "unlatched"},
    "child-seat": {"present": True, "child_seat": True},
}


def find_told(words: Sequence[str]) -> dict[str, Any]:
    """Return the entry of what somebody knows of the crash or the car, its time apart.

    Args:
        words: A circumstance (``flood``, ``no crash``), an impact (``nose-left severe``) or a seat
            (``passenger empty``).

    Raises:
        InputError: It is none of these.
    """
    said = [w.lower() for w in words]
    what = said[-1]
    if what in WHATS and said[:-1] in ([], ["no"], ["not"]):
        return {"kind": "circumstance", "what": what, "present": len(said) == 1}
    if said[0] in SEATS and len(said) == 2 and what in SEATED:
        return {"kind": "occupant", "seat": said[0], **SEATED[what]}
    if said[0] in ZONES and len(said) <= 2 and (len(said) == 1 or what in EXTENTS):
        extent = {"extent": what} if len(said) == 2 else {}
        return {"kind": "impact", "zone": said[0], **extent}
    raise InputError(
        f"'{' '.join(words)}' is nothing that can be told so.",
        remedy=(
            f"A circumstance, 'no' before it or not: {', '.join(WHATS)}; or a place that was hit "
            f"and how hard: {', '.join(ZONES)}, {', '.join(EXTENTS)}; or a seat and who sat in it: "
            f"{', '.join(SEATS)}, {', '.join(SEATED)}."
        ),
    )
