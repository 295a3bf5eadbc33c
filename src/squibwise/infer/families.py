"""Families of firing logic: the choices a maker's control unit is built on.

Whether the seat sensor gates the passenger's charges is one of them too, but it touches that seat
only and is summed out there: see ``people``.
"""

from itertools import product

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog


class Family(msgspec.Struct, frozen=True):
    """One family.

    Attributes:
        belts: ``latched`` or ``always``.
        second: ``staged`` or ``both``.
        weight: Prior chance.
    """

    belts: str
    second: str
    weight: float


def families(catalog: Catalog) -> tuple[Family, ...]:
    """Return every family with its prior chance."""
    share = catalog.priors.share
    latched = share("pretensioners", "family-only-if-latched").p
    both = catalog.firing.families.second_stage_always.value
    choices = product(
        (("latched", latched), ("always", 1.0 - latched)),
        (("staged", 1.0 - both), ("both", both)),
    )
    return tuple(Family(b, s, wb * ws) for (b, wb), (s, ws) in choices)


def chosen(table: tuple[Family, ...], field: str, word: str) -> npt.NDArray[np.bool_]:
    """Return which families make a choice."""
    return np.array([getattr(f, field) == word for f in table])
