"""Pieces of evidence as likelihoods, each tied to what it speaks of."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.model.words import Basis

Array = npt.NDArray[np.float64]


class OnPart(msgspec.Struct, frozen=True):
    """Likelihood over (unit states, causes, micros) of one part at a place in time.

    Attributes:
        part: Component id.
        place: Place in time; a half after a piece of work that it verifies.
        values: (1 or unit states, 1 or causes, micros).
    """

    part: str
    place: float
    values: Array


class OnSeat(msgspec.Struct, frozen=True):
    """Likelihood over the words of one seat's occupant."""

    group: str
    values: Array


class Item(msgspec.Struct, frozen=True):
    """One piece of evidence, or the share of a report that speaks of one component.

    Attributes:
        evidence: Id of the evidence.
        about: Component id; empty when it is about the event.
        text: What it says, in a mechanic's words.
        rows: Likelihood over the rows of the event table; None = silent on it.
        unit: Likelihood over the unit's states.
        parts: Likelihoods on parts.
        seats: Likelihoods on occupants.
        broad: It speaks of many parts at once and so clashes with none of them.
        weak: Weakest basis of the figures used.
        sources: Source ids.
    """

    evidence: str
    about: str
    text: str
    rows: Array | None = None
    unit: Array | None = None
    parts: tuple[OnPart, ...] = ()
    seats: tuple[OnSeat, ...] = ()
    broad: bool = False
    weak: Basis | None = "judgement"
    sources: tuple[str, ...] = ("judgement",)
