"""What would change the decision on a part: one observation, or how far its odds could move."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.candidates import Candidate, candidates
from squibwise.infer.explain import decibans
from squibwise.infer.marginals import GroupMarginal, PartMarginal
from squibwise.infer.network import Network
from squibwise.infer.stakes import Stakes, not_sound
from squibwise.model.case import Case

Array = npt.NDArray[np.float64]


class Flip(msgspec.Struct, frozen=True):
    """What would change the decision on one part.

    Attributes:
        text: The one observation that most likely would; empty when none does by itself.
        move_db: How far the odds of not being sound could move before it changes; None = no stake.
    """

    text: str
    move_db: float | None


def flips(
    case: Case,
    net: Network,
    groups: tuple[GroupMarginal, ...],
    stakes: Stakes,
    catalog: Catalog,
) -> dict[str, Flip]:
    """Return for every part what would change the decision on it."""
    offers: dict[str, list[Candidate]] = {}
    for candidate in candidates(case, net, groups, catalog):
        offers.setdefault(candidate.component, []).append(candidate)
    place = {n: i for i, n in enumerate(stakes.names)}
    return {
        name: _flip(part, offers.get(name, []), place[name], stakes)
        for group in groups
        for name, part in group.parts.items()
    }


def _flip(part: PartMarginal, offers: list[Candidate], index: int, stakes: Stakes) -> Flip:
    threshold = stakes.threshold(index)
    if threshold is None:
        return Flip("", None)
    bad = not_sound(part.part)
    now = float((part.now * bad).sum())
    best = max(_turning(part, offers, bad, threshold), default=(0.0, ""))
    return Flip(best[1], round(float(decibans(threshold) - decibans(now)), 2))


def _turning(
    part: PartMarginal, offers: list[Candidate], bad: Array, threshold: float
) -> list[tuple[float, str]]:
    """Return outcomes that would turn the decision, each with its chance."""
    replaces = float((part.now * bad).sum()) > threshold
    result = []
    for offer in offers:
        for seen, likelihood in ((True, offer.yes), (False, 1.0 - offer.yes)):
            joint = part.now * likelihood
            chance = float(joint.sum())
            if chance > 0.0 and (float((joint * bad).sum()) / chance > threshold) != replaces:
                word = "yes" if seen else "no"
                result.append((chance, f"{offer.text} - if {word}"))
    return result
