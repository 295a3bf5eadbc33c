"""Who sat where and belted: the variables that touch one seat only."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.stories import Stories

Array = npt.NDArray[np.float64]
DRIVER = ("unlatched", "latched")
PASSENGER = ("empty", "child-unlatched", "child-latched", "adult-unlatched", "adult-latched")
REAR = ("empty", "unlatched", "latched")
NOBODY = ("nobody",)


class People(msgspec.Struct, frozen=True):
    """The occupant of one seat.

    Attributes:
        words: What can be; each stands twice where gating is open.
        gated: Does a seat sensor gate this seat's charges, by word.
        prior: Chance of each by row of the event table: (rows or 1, words).
    """

    words: tuple[str, ...]
    gated: tuple[bool, ...]
    prior: Array

    def chances(self, values: Array) -> dict[str, float]:
        """Return the chance of each word, gated or not, from chances in the order of ``words``."""
        result = dict.fromkeys(self.words, 0.0)
        for word, value in zip(self.words, values, strict=True):
            result[word] += float(value)
        return result


def people(place: str, rows: Stories, catalog: Catalog) -> People:
    """Return who may have sat at a place; ``nobody`` for places that are no seats."""
    if place == "driver":
        return _ungated(DRIVER, np.stack([1.0 - rows.belted, rows.belted], axis=-1))
    if place == "passenger":
        gate = catalog.priors.share("pretensioners", "family-passenger-by-seat-sensor").p
        prior = np.outer([gate, 1.0 - gate], _passenger(catalog)).reshape(1, -1)
        size = len(PASSENGER)
        return People(2 * PASSENGER, (True,) * size + (False,) * size, prior)
    if place.startswith("row"):
        chances = catalog.firing.events.chances
        loose, belted = chances["rear_seat_unbelted"].value, chances["rear_seat_belted"].value
        return _ungated(REAR, np.array([[1.0 - loose - belted, loose, belted]]))
    return _ungated(NOBODY, np.ones((1, 1)))


def _ungated(words: tuple[str, ...], prior: Array) -> People:
    return People(words, (False,) * len(words), prior)


def _passenger(catalog: Catalog) -> Array:
    priors = catalog.priors
    taken = priors.share("occupancy", "front-passenger").p
    child = catalog.firing.events.chances["child_share"].value
    driver = priors.share("belts", "driver-nationwide").p
    latched = driver * priors.share("belts", "passenger-if-driver-latched").p
    latched += (1.0 - driver) * priors.share("belts", "passenger-if-driver-not").p
    belts = np.array([1.0 - latched, latched])
    return np.concatenate([[1.0 - taken], taken * child * belts, taken * (1 - child) * belts])
