"""Find what a person named, or say what it may have been."""

from collections.abc import Iterable, Sequence
from typing import Protocol, TypeVar

from squibwise.errors import InputError


class Named(Protocol):
    """Anything with an id."""

    @property
    def id(self) -> str:
        """The id as people write it."""


N = TypeVar("N", bound=Named)


def known_component(name: str, among: Sequence[N]) -> N:
    """Return the one with this id.

    Raises:
        InputError: There is none.
    """
    return known(name, among, "component of this car")


def known(name: str, among: Sequence[N], what: str) -> N:
    """Return the one with this id.

    Raises:
        InputError: There is none; the message suggests the nearest.
    """
    found = next((one for one in among if one.id == name), None)
    if found is None:
        raise InputError(f"'{name}' is no {what}.", remedy=nearest(name, (o.id for o in among)))
    return found


def nearest(name: str, words: Iterable[str]) -> str:
    """Return ``Did you mean 'x'?`` with up to three words, or an empty text."""
    from rapidfuzz import fuzz, process

    found = process.extract(name.lower(), list(words), scorer=fuzz.WRatio, limit=3, score_cutoff=60)
    return f"Did you mean {' or '.join(repr(word) for word, _, _ in found)}?" if found else ""
