"""Which inflators and pretensioners fire, by what was commanded, firing logic and occupants.

Functions return chances over (events, firing logics, occupants, what fired), broadcastable.
"""

from itertools import product

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import ChargeRow
from squibwise.catalog.load import Catalog
from squibwise.infer.blows import struck
from squibwise.infer.crash import Scenario, hand_hit
from squibwise.infer.event_table import EventTable
from squibwise.model.car import Car
from squibwise.model.names import Side
from squibwise.numerics.curves import SIDE_CODES, Hit, probability

Array = npt.NDArray[np.float64]


class FiringLogic(msgspec.Struct, frozen=True):
    """One family.

    Attributes:
        belts: ``latched`` or ``always``.
        second: ``staged`` or ``both``.
        weight: Prior chance.
    """

    belts: str
    second: str
    weight: float


def firing_logics(catalog: Catalog) -> tuple[FiringLogic, ...]:
    """Return every family with its prior chance."""
    share = catalog.priors.share
    latched = share("pretensioners", "family-only-if-latched").p
    both = catalog.firing.families.second_stage_always.value
    choices = product(
        (("latched", latched), ("always", 1.0 - latched)),
        (("staged", 1.0 - both), ("both", both)),
    )
    return tuple(FiringLogic(b, s, wb * ws) for (b, wb), (s, ws) in choices)


def which_choose(logics: tuple[FiringLogic, ...], field: str, word: str) -> npt.NDArray[np.bool_]:
    """Return which families make a choice."""
    return np.array([getattr(f, field) == word for f in logics])


DRIVER = ("unlatched", "latched")
PASSENGER = ("empty", "child-unlatched", "child-latched", "adult-unlatched", "adult-latched")
REAR = ("empty", "unlatched", "latched")
NOBODY = ("nobody",)


class Occupants(msgspec.Struct, frozen=True):
    """The occupant of one seat.

    Attributes:
        words: What can be.
        gated: Chance that a seat sensor gates this seat's pretensioners.
        prior: Chance of each by row of the event logics: (events or 1, words).
    """

    words: tuple[str, ...]
    gated: float
    prior: Array

    def chances(self, values: Array) -> dict[str, float]:
        """Return the chance of each word from chances in the order of ``words``."""
        return dict(zip(self.words, values.tolist(), strict=True))


def occupants_at(place: str, events: EventTable, sensed: float, catalog: Catalog) -> Occupants:
    """Return who may have sat at a place; ``nobody`` for places that are no seats.

    Args:
        place: The place.
        events: The event table.
        sensed: Chance that the passenger's seat is sensed: only then may belts wait for it.
        catalog: Priors.
    """
    if place == "driver":
        return Occupants(DRIVER, 0.0, np.stack([1.0 - events.belted, events.belted], axis=-1))
    if place == "passenger":
        gate = sensed * catalog.priors.share("pretensioners", "family-passenger-by-seat-sensor").p
        return Occupants(PASSENGER, gate, _passenger(catalog)[None])
    if place.startswith("row"):
        chances = catalog.firing.events.chances
        loose, belted = chances["rear_seat_unbelted"].value, chances["rear_seat_belted"].value
        return Occupants(REAR, 0.0, np.array([[1.0 - loose - belted, loose, belted]]))
    return Occupants(NOBODY, 0.0, np.ones((1, 1)))


def _passenger(catalog: Catalog) -> Array:
    priors = catalog.priors
    taken = priors.share("occupancy", "front-passenger").p
    child = catalog.firing.events.chances["child_share"].value
    driver = priors.share("belts", "driver-nationwide").p
    latched = driver * priors.share("belts", "passenger-if-driver-latched").p
    latched += (1.0 - driver) * priors.share("belts", "passenger-if-driver-not").p
    belts = np.array([1.0 - latched, latched])
    return np.concatenate([[1.0 - taken], taken * child * belts, taken * (1 - child) * belts])


def driver_front(
    events: EventTable, logics: tuple[FiringLogic, ...], stages: int, catalog: Catalog
) -> Array:
    """Return the chance of 0, 1 ... spent charges in the driver's front bag."""
    return _staged(_column(events.front.astype(float)), events, logics, stages, catalog)


def passenger_front(
    events: EventTable,
    logics: tuple[FiringLogic, ...],
    seat: Occupants,
    car: Car,
    stages: int,
    sensed: float,
    catalog: Catalog,
) -> Array:
    """Return the chance of 0, 1 ... spent charges in the passenger's front bag."""
    year = np.nan if car.model_year is None else float(car.model_year)
    followed, alone = passenger_curves(events, year, car.drive_hand, catalog)
    alone = _taking_belts_along(alone, events, catalog)
    gates = _passenger_gates(seat, sensed, catalog)
    base = np.where(events.front, followed, alone)[:, None, None, None]
    fires = np.where(events.front[:, None, None, None], _gated(base, gates), base * gates)
    return _staged(fires * (~events.dead)[:, None, None, None], events, logics, stages, catalog)


def _taking_belts_along(alone: Array, events: EventTable, catalog: Catalog) -> Array:
    """Return the chance of a lone passenger bag split by whether belts were commanded.

    A front bag takes the belts along, whichever of the two it is; the mean over both stays.
    """
    with_bag = catalog.priors.share("pretensioners", "front-hit-frontal-bag-fired").p
    size = len(events.scenarios)
    lone = ~events.front & ~events.dead
    weight = np.where(lone, events.weight, 0.0)
    total = np.bincount(events.scenario, weights=weight, minlength=size)
    belted = np.bincount(events.scenario, weights=weight * events.belts, minlength=size)
    share = np.clip(belted / np.maximum(total, _LEAST), _LEAST, 1.0 - _LEAST)[events.scenario]
    wanted = np.maximum(share, np.minimum(with_bag, share / np.maximum(alone, share)))
    return np.where(events.belts, alone * wanted / share, alone * (1.0 - wanted) / (1.0 - share))


_LEAST = 1e-9


def _gated(base: Array, gates: Array) -> Array:
    """Return the chance with the seat's own share where it is not that of an adult."""
    return np.where(gates < 1.0, gates, base)


def passenger_curves(
    events: EventTable, year: float, hand: Side, catalog: Catalog
) -> tuple[Array, Array]:
    """Return the chance given the driver's bag fired and given it did not, seat taken.

    Without a crash, and with none gone off by itself, it did not fire alone either.
    """
    sides = [
        SIDE_CODES[struck(s.blows[0].zone.side, hand)] if s.blows else 0 for s in events.scenarios
    ]
    hit = Hit(side=np.array(sides), forward_kmh=0.0, lateral_kmh=0.0, model_year=year)
    curve = catalog.priors.curves["passenger-front-bag"]
    cause = np.array([bool(s.blows) or s.kind == "outside" for s in events.scenarios])
    gate = np.array([max((b.gate for b in s.blows), default=1.0) for s in events.scenarios])
    followed, alone = probability(curve, hit, np.array([[1.0], [0.0]]))
    alone = alone * cause * gate
    return events.by_scenario(followed), events.by_scenario(alone)


def _passenger_gates(seat: Occupants, sensed: float, catalog: Catalog) -> Array:
    """Return the share of an occupied adult's chance: (1, 1, people, 1).

    A car that senses the seat keeps the bag in over an empty one, one that does not fires it.
    """
    share = catalog.priors.share
    empty = share("empty-seat", "suppression").p, share("empty-seat", "none").p
    child = share("empty-seat", "child-with-suppression").p, 1.0
    by_class = {"empty": empty, "child": child}
    pairs = [by_class.get(word.split("-")[0], (1.0, 1.0)) for word in seat.words]
    result = np.array([sensed * kept + (1.0 - sensed) * loose for kept, loose in pairs])
    return result[None, None, :, None]


def _column(values: Array) -> Array:
    return values[:, None, None, None]


def _staged(
    fires: Array, events: EventTable, logics: tuple[FiringLogic, ...], stages: int, catalog: Catalog
) -> Array:
    """Return chances of 0 to ``stages`` spent charges from the chance of the first."""
    second = catalog.firing.events.second_stage
    by_speed = 1.0 / (1.0 + np.exp(-(events.speed - second.mid_kmh) / second.width_kmh))
    both = which_choose(logics, "second", "both")[None, :, None, None]
    later = np.where(both, second.always.value, by_speed[:, None, None, None])
    columns = [1.0 - fires]
    reached = fires
    for _ in range(1, stages):
        columns.append(reached * (1.0 - later))
        reached = reached * later
    columns.append(reached)
    return np.concatenate(np.broadcast_arrays(*columns), axis=-1)


def other_bags(
    events: EventTable,
    seat: Occupants,
    kinds: tuple[str, ...],
    hand: Side,
    sensed: float,
    catalog: Catalog,
) -> Array:
    """Return the chance of each subset of a front seat's other bags."""
    fires = seat_fires(events, hand, is_driver="empty" not in seat.words)
    sides = [_sides_seen(s, hand) for s in events.scenarios]
    sorts = sorted(set(sides))
    code = np.array([sorts.index(seen) for seen in sides])[events.scenario]
    usual = np.array(
        [
            [_subsets(_split(seen, front, catalog), kinds) for front in (False, True)]
            for seen in sorts
        ]
    )
    none = np.zeros(2 ** len(kinds))
    none[0] = 1.0
    picked = usual[code, events.front.astype(int)]
    result = np.where(fires[:, None], picked, none)
    if "knee-bag" in kinds:
        ahead = [any(b.zone.side == "front" for b in s.blows) for s in events.scenarios]
        together = events.front & events.holds(ahead)
        result = np.where(together[:, None], _with_front_bag(result, kinds, catalog), result)
    result = result[:, None, None, :]
    return _without_knee(result, seat, kinds, sensed, catalog)


def seat_fires(events: EventTable, hand: Side, *, is_driver: bool) -> npt.NDArray[np.bool_]:
    """Return in which events other bags of the front seat on one hand fire."""
    own = [_concerns(s, hand, is_driver) for s in events.scenarios]
    return np.asarray((events.others == 2) | ((events.others == 1) & events.holds(own)))


def _concerns(scenario: Scenario, hand: Side, is_driver: bool) -> bool:
    """Return whether bags of one seat only are those of this seat: the driver's by default."""
    hit = hand_hit(scenario)
    return is_driver if hit is None else hit == hand


_ROLL = "roll"


def _sides_seen(scenario: Scenario, hand: Side) -> tuple[str, ...]:
    """Return the sides that were struck as seen from the seat on a hand, and a roll."""
    sides: set[str] = {struck(blow.zone.side, hand) for blow in scenario.blows}
    if scenario.rollover or not sides:
        sides.add(_ROLL if scenario.rollover else "far")
    return tuple(sorted(sides))


def _split(sides: tuple[str, ...], front: bool, catalog: Catalog) -> dict[str, float]:
    """Return the chance of each kind of a seat's bags; of several sides struck the highest.

    Each side's are those given that it fired any, so that no other side takes from them. A roll
    counts as far, whether or not a blow from the front fired the front bag.
    """
    splits = catalog.priors.splits
    each = [splits["far", False] if side == _ROLL else splits[side, front] for side in sides]
    if len(each) > 1:
        any_of = [1.0 - float(np.prod([1.0 - p for p in split.values()])) for split in each]
        each = [{k: p / one for k, p in s.items()} for s, one in zip(each, any_of, strict=True)]
    return {kind: max(split[kind] for split in each) for kind in each[0]}


def _subsets(split: dict[str, float], kinds: tuple[str, ...]) -> Array:
    """Return the chance of each subset of the kinds fitted, some of all kinds having fired.

    The curve was fitted on cars with every kind, so a car with fewer fires none of them at times.
    """
    table = np.ones(1)
    for name in (*kinds, *(k for k in split if k not in kinds)):
        table = np.outer(table, [1.0 - split[name], split[name]]).ravel()
    table[0] = 0.0
    result = table.reshape(2 ** len(kinds), -1).sum(axis=1)
    return np.asarray(result / result.sum())


def subset_fires(kinds: tuple[str, ...], kind: str) -> Array:
    """Return whether a kind belongs to each subset: 0 or 1 by subset."""
    place = kinds.index(kind)
    return np.array([float(s[place]) for s in product((0, 1), repeat=len(kinds))])


def _with_front_bag(chances: Array, kinds: tuple[str, ...], catalog: Catalog) -> Array:
    """Return the chances with the knee bag going with its seat's front bag, whatever others do."""
    goes = catalog.firing.events.chances["knee_with_front"].value
    knee = subset_fires(kinds, "knee-bag") > 0.0
    without = chances[:, ~knee] + chances[:, knee]
    result = np.empty_like(chances)
    result[:, ~knee], result[:, knee] = (1.0 - goes) * without, goes * without
    return result


def _without_knee(
    chances: Array, seat: Occupants, kinds: tuple[str, ...], sensed: float, catalog: Catalog
) -> Array:
    """Return the chances with a knee bag kept silent over a seat sensed as empty."""
    if "knee-bag" not in kinds or "empty" not in seat.words:
        return chances
    keeps = 1.0 - sensed * (1.0 - catalog.firing.events.chances["gated_knee"].value)
    knee = subset_fires(kinds, "knee-bag")
    moved = np.zeros_like(chances)
    step = 2 ** (len(kinds) - 1 - kinds.index("knee-bag"))
    for column in range(chances.shape[-1]):
        target = column - step if knee[column] else column
        moved[..., target] += chances[..., column] * (1.0 - keeps)
        moved[..., column] += chances[..., column] * keeps
    silent = [word == "empty" for word in seat.words]
    return np.where(np.array(silent)[None, None, :, None], moved, chances)


def belts(
    events: EventTable,
    logics: tuple[FiringLogic, ...],
    seat: Occupants,
    place: str,
    catalog: Catalog,
) -> Array:
    """Return the chance that the pretensioners of a seat did not and did get fired."""

    def gates_if(gated: bool) -> Array:
        return np.array(
            [[_belt_gate(f, w, gated, place, catalog) for w in seat.words] for f in logics]
        )

    gates = seat.gated * gates_if(gated=True) + (1.0 - seat.gated) * gates_if(gated=False)
    fires = events.belts.astype(float)[:, None, None, None] * gates[None, :, :, None]
    return np.concatenate([1.0 - fires, fires], axis=-1)


def _belt_gate(family: FiringLogic, word: str, gated: bool, place: str, catalog: Catalog) -> float:
    """Return the chance that this family fires this seat's belts when it fires belts."""
    chances = catalog.firing.events.chances
    if word == "child-latched" and gated:
        return chances["child_belt_gated"].value
    if word.endswith("-latched") or word == "latched":
        return 1.0
    if family.belts == "latched":
        return chances["buckle_misread"].value
    if word == "empty" and place.startswith("row"):
        return chances["always_rear_empty"].value
    if word == "empty" and gated:
        return chances["always_gated_empty"].value
    return 1.0


def own_logic(events: EventTable, row: ChargeRow) -> Array:
    """Return the chance that a charge with its own logic did not and did fire."""
    rear = [any(b.zone.side == "rear" for b in s.blows) for s in events.scenarios]
    causes = {
        "front": events.front,
        "other": events.others > 0,
        "belts": events.belts,
        "rear": events.holds(rear) & ~events.dead,
        "rollover": events.rollover & ~events.dead,
    }
    silent = np.ones(len(events.weight))
    for name, happened in causes.items():
        figure = getattr(row, name)
        if figure is not None:
            silent = silent * np.where(happened, 1.0 - figure.value, 1.0)
    return np.stack([silent, 1.0 - silent], axis=-1)[:, None, None, :]
