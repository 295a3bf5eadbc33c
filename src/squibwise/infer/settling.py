"""What settles the doubt about one part, and what would turn the decision on it."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.explain import decibans, find_ranges
from squibwise.infer.marginals import GroupBelief, PartBelief
from squibwise.infer.next_look import Candidate, Stakes, not_sound
from squibwise.model.belief import SettlingLook, StateRange
from squibwise.model.case import Case
from squibwise.model.words import State

Array = npt.NDArray[np.float64]


class Flip(msgspec.Struct, frozen=True):
    """What would change the decision on one part.

    Attributes:
        text: The one observation that most likely would; empty when none does by itself.
        move_db: How far the odds of not being sound could move before it changes; None = no stake.
        settled_by: What settles the doubt about it.
        ranges: Where the figures behind a state carry it across a limit of decision.
    """

    text: str
    move_db: float | None
    settled_by: SettlingLook | None
    ranges: dict[State, StateRange]


def find_flips(
    candidates: list[Candidate],
    case: Case,
    groups: tuple[GroupBelief, ...],
    stakes: Stakes,
    catalog: Catalog,
) -> dict[str, Flip]:
    """Return for every part what would change the decision on it."""
    offers: dict[str, list[Candidate]] = {}
    for candidate in candidates:
        offers.setdefault(candidate.component, []).append(candidate)
    place = {n: i for i, n in enumerate(stakes.names)}
    result = {}
    for group in groups:
        for name, part in group.parts.items():
            ranges, own = find_ranges(part, case, catalog), offers.get(name, [])
            settling = choose_settling(part, own, catalog, in_doubt=bool(ranges))
            text, move_db = _flip(part, own, place[name], stakes)
            result[name] = Flip(text, move_db, settling, ranges)
    return result


def choose_settling(
    part: PartBelief, offers: list[Candidate], catalog: Catalog, *, in_doubt: bool = False
) -> SettlingLook | None:
    """Return the one thing to do that says most about a part in doubt; None when none is needed.

    That of the largest expected information about its state; of two alike the shorter one. A part
    is in doubt, sure as it looks, where the ranges behind it carry it across a limit.
    """
    states = part.part.states()
    limits = catalog.firing.scans.tests
    if not in_doubt and float((part.now.sum(axis=0) @ states).max()) >= limits.settled_from:
        return None
    told = [(_information(part, offer, states), -offer.minutes, offer) for offer in offers]
    best = max(told, key=lambda t: t[:2], default=None)
    if best is None or best[0] < limits.least_information:
        return None
    offer = best[2]
    return SettlingLook(
        component=offer.component, look=offer.look, text=offer.text, minutes=offer.minutes
    )


def _information(part: PartBelief, offer: Candidate, states: Array) -> float:
    """Return the expected information of both outcomes about a part's state. [bit]."""
    prior = part.now.sum(axis=0) @ states
    found = 0.0
    for likelihood in (offer.yes, 1.0 - offer.yes):
        joint = (part.now * likelihood).sum(axis=0) @ states
        chance = float(joint.sum())
        positive = (joint > 0.0) & (prior > 0.0)
        ratio = joint[positive] / (chance * prior[positive])
        found += float(joint[positive] @ np.log2(ratio))
    return found


def _flip(
    part: PartBelief, offers: list[Candidate], index: int, stakes: Stakes
) -> tuple[str, float | None]:
    threshold = stakes.threshold(index)
    if threshold is None:
        return "", None
    bad = not_sound(part.part)
    now = float((part.now * bad).sum())
    best = max(_turning(part, offers, bad, threshold), default=(0.0, ""))
    return best[1], round(float(decibans(threshold) - decibans(now)), 2)


def _turning(
    part: PartBelief, offers: list[Candidate], bad: Array, threshold: float
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
