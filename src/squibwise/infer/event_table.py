"""The events of the event table: a scenario and what the restraint unit commanded in it."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.blows import Blow, struck
from squibwise.infer.crash import HANDS, BlowChances, Scenario, blow_chances, hand_hit, scenarios
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, Recorder

Array = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
OTHER_BAGS = ("seat-bag", "curtain", "knee-bag")
_FASTEST_BAND = "above-60"


class EventTable(msgspec.Struct, frozen=True):
    """The event table without the firing-logic family.

    Attributes:
        scenarios: Distinct scenarios.
        scenario: Index of each row's scenario.
        front: Front bags were commanded.
        others: 0 = no other bags, 1 = those of the struck side (the driver's in a hit from the
            front or rear), 2 = those of both front seats.
        belts: Pretensioners were commanded.
        dead: The unit had no power, so nothing was commanded.
        weight: Prior weight of each row; they sum to one.
        belted: Chance that the driver's belt was latched, by row.
        speed: Resultant of the worst blow. [km/h]
        rollover: The car rolled over.
    """

    scenarios: tuple[Scenario, ...]
    scenario: npt.NDArray[np.int64]
    front: Bools
    others: npt.NDArray[np.int64]
    belts: Bools
    dead: Bools
    weight: Array
    belted: Array
    speed: Array
    rollover: Bools

    @property
    def bags(self) -> Bools:
        """Were any bags commanded, by row."""
        return np.asarray(self.front | (self.others > 0))

    def by_scenario(self, values: Array) -> Array:
        """Return a value per scenario spread over the events."""
        return np.asarray(values[self.scenario])

    def holds(self, tests: list[bool]) -> Bools:
        """Return a test per scenario spread over the events."""
        return np.array(tests, dtype=bool)[self.scenario]


def event_table(
    case: Case, catalog: Catalog, shifts: Mapping[str, float], side: str | None = None
) -> EventTable:
    """Return the event table of a case, with learned intercepts of the deployment curves.

    Args:
        case: The case.
        catalog: Priors.
        shifts: Learned intercepts by curve id. [log odds]
        side: Only crashes on this side of the body; None = any.
    """
    cases = scenarios(case, catalog)
    if side is not None:
        cases = tuple(s for s in cases if s.blows and {b.zone.side for b in s.blows} == {side})
    blows = blow_chances({b for s in cases for b in s.blows}, case.car, catalog, shifts)
    rolled = _curtains_in_a_roll(case, catalog)
    chances = [_chances(s, blows, case.car, rolled, catalog) for s in cases]
    shares = np.array([[1.0 - c.belted, c.belted] for c in chances])
    shares *= np.array([s.weight for s in cases])[:, None]
    rows = [_commanded(shares, chances)]
    if _asks_unpowered(case):
        rows.append(_dead(shares, cases, catalog))
    return _table(cases, [np.concatenate(columns) for columns in zip(*rows, strict=True)])


def _table(cases: tuple[Scenario, ...], columns: list[npt.NDArray[Any]]) -> EventTable:
    """Return the events with a weight."""
    keep = columns[-1].sum(axis=1) > 0.0
    scenario, front, others, belts, dead, by_belt = (c[keep] for c in columns)
    weight = by_belt.sum(axis=1)
    return EventTable(
        scenarios=cases,
        scenario=scenario,
        front=front.astype(bool),
        others=others,
        belts=belts.astype(bool),
        dead=dead.astype(bool),
        weight=weight / weight.sum(),
        belted=by_belt[:, 1] / weight,
        speed=np.array([s.speed for s in cases])[scenario],
        rollover=np.array([s.rollover for s in cases])[scenario],
    )


class Chances(msgspec.Struct, frozen=True):
    """Chances of each command in one scenario, unlatched and latched driver.

    Attributes:
        belted: Chance that the driver's belt was latched.
        front: Chance of front bags; one value per belt.
        others: Chance of other bags on none, the struck and both sides, by front bag fired and
            belt: shape (2, 2, 3).
        belts: Chance of pretensioners, by front bag fired and other bags fired: shape (2, 2).
    """

    belted: float
    front: Array
    others: Array
    belts: Array


def _curtains_in_a_roll(case: Case, catalog: Catalog) -> float:
    """Return the chance that a roll fires the curtains: a unit that records one senses it."""
    recorded = any(isinstance(e, Recorder) and e.rollover for e in case.evidence)
    name = "curtains_in_sensed_rollover" if recorded else "curtains_in_rollover"
    return catalog.firing.events.chances[name].value


def _chances(
    scenario: Scenario, blows: dict[Blow, BlowChances], car: Car, rolled: float, catalog: Catalog
) -> Chances:
    """Return the chances of one scenario."""
    if scenario.kind == "none":
        return Chances(_belted(0.0, catalog), np.zeros(2), _sure(0), np.zeros((2, 2)))
    if scenario.kind == "outside":
        return _outside(car, catalog)
    front = _any_of([blows[b].front for b in scenario.blows])
    others = _others(scenario, blows, car, rolled, catalog)
    belts = _belt_chances(scenario, float(front.max()), catalog)
    return Chances(_belted(scenario.speed, catalog), front, others, belts)


Rows = tuple[npt.NDArray[Any], ...]
"""Scenario, front bags, other bags, belts, no power, and the weight by belt of the driver."""


def _commanded(shares: Array, chances: list[Chances]) -> Rows:
    """Return what the unit may have commanded in every scenario: twelve rows for each."""
    fired = np.array([c.front for c in chances])
    front = np.stack([1.0 - fired, fired], axis=1)[:, :, None, None]
    others = np.array([c.others for c in chances]).swapaxes(2, 3)[:, :, :, None]
    went = np.array([c.belts for c in chances])[:, :, [0, 1, 1]]
    belts = np.stack([1.0 - went, went], axis=-1)[..., None]
    weight = shares[:, None, None, None] * front * others * belts
    index = np.indices(weight.shape[:-1]).reshape(4, -1)
    return (*index, np.zeros_like(index[0]), weight.reshape(-1, 2))


def _dead(shares: Array, cases: tuple[Scenario, ...], catalog: Catalog) -> Rows:
    """Return every scenario without power, in which nothing was commanded."""
    odds = catalog.firing.events.chances["unpowered"].value
    found = np.flatnonzero([s.kind in ("crash", "none") for s in cases])
    nothing = np.zeros_like(found)
    return found, nothing, nothing, nothing, np.ones_like(found), odds * shares[found]


def _asks_unpowered(case: Case) -> bool:
    words = ("unpowered", "parked")
    return any(isinstance(e, Circumstance) and e.what in words for e in case.evidence)


def _belted(speed: float, catalog: Catalog) -> float:
    bands = catalog.firing.events.belt_bands
    band = next((name for name, limit in bands.items() if speed < limit), _FASTEST_BAND)
    return catalog.priors.share("belts", band).p


def _any_of(chances: list[Array]) -> Array:
    """Return the chance that at least one of several independent things happens."""
    result = np.ones(2)
    for chance in chances:
        result = result * (1.0 - chance)
    return 1.0 - result


def _others(
    scenario: Scenario, blows: dict[Blow, BlowChances], car: Car, rolled: float, catalog: Catalog
) -> Array:
    """Return chances of other bags: by front bag fired, belt, and how many sides."""
    if not _has_other_bags(car.components):
        return _sure(0)
    hand = hand_hit(scenario) or car.drive_hand
    own, other = np.zeros((2, 2)), np.zeros((2, 2))
    for blow in scenario.blows:
        here, there = _seats_of(blow, blows[blow].others, hand, car, catalog)
        own, other = np.maximum(own, here), np.maximum(other, there)
    one, two = np.maximum(own, other), np.minimum(own, other)
    if len(scenario.blows) > 1:
        add = catalog.firing.events.several_impacts_add
        one, two = _with_odds(one, add), _with_odds(two, add)
    if scenario.rollover:
        two = 1.0 - (1.0 - two) * (1.0 - rolled)
    one = np.maximum(one, two)
    return np.stack([1.0 - one, one - two, two], axis=-1)


@lru_cache(maxsize=64)
def _has_other_bags(components: tuple[str, ...]) -> bool:
    return any(c.endswith(OTHER_BAGS) for c in components)


def _with_odds(chance: Array, add: float) -> Array:
    """Return chances with something added to their log odds."""
    raised = chance * np.exp(add)
    return np.asarray(raised / (1.0 - chance + raised))


def _seats_of(
    blow: Blow, chances: Array, hand: str, car: Car, catalog: Catalog
) -> tuple[Array, Array]:
    """Return the chance of other bags at the front seat on a hand, and at the other.

    Each by front bag fired and belt. From front and rear the driver's seat goes first.
    """
    if blow.zone.side in HANDS:
        own = HANDS.index(hand)
        return chances[own], chances[1 - own]
    alike = catalog.firing.events.chances["both_seats_alike"].value * chances[0]
    return (chances[0], alike) if hand == car.drive_hand else (alike, chances[0])


def _belt_chances(scenario: Scenario, front: float, catalog: Catalog) -> Array:
    """Return the chance of pretensioners by front bag fired and other bags fired.

    Pretensioners have the lower threshold: the harder the blow, the rarer a front bag without them,
    so that in no blow they are rarer than front bags, which fire with this chance.
    """

    def share(name: str) -> float:
        return catalog.priors.share("pretensioners", name).p

    with_front = share("front-hit-frontal-bag-fired")
    with_side = share("side-hit-side-bag-fired")
    alone = 0.0
    for blow in scenario.blows:
        side = struck(blow.zone.side, "left")
        name = {"front": "front-hit-frontal-bag-not-fired", "rear": "rear-hit"}
        alone = 1 - (1 - alone) * (1 - blow.gate * share(name.get(side, "side-hit-no-bag")))
    if scenario.rollover:
        alone = 1 - (1 - alone) * (1 - share("rollover"))
        with_side = share("rollover-curtain-fired")
    follow = catalog.firing.events.follow["retractor-pretensioner"].value
    with_front = max(with_front, 1.0 - alone * follow * (1.0 - front) / max(front, _LEAST))
    return np.array([[alone, max(alone, with_side)], [with_front, with_front]])


_LEAST = 1e-9


def _outside(car: Car, catalog: Catalog) -> Chances:
    """Return the chances when a charge went off without a crash."""
    fires = catalog.firing.events.chances["outside_fires"].value
    fitted = _has_other_bags(car.components)
    each = np.array([1 - fires, fires / 2, fires / 2]) if fitted else np.array([1.0, 0.0, 0.0])
    others = np.broadcast_to(each, (2, 2, 3)).copy()
    return Chances(0.0, np.full(2, fires), others, np.full((2, 2), fires))


def _sure(others: int) -> Array:
    result = np.zeros((2, 2, 3))
    result[:, :, others] = 1.0
    return result
