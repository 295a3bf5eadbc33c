"""What people at the car say for a part and for what they see, as words of the catalogue."""

import re

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.model.car import Car
from squibwise.model.names import PLACES, split_component

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
