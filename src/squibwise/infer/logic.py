"""Which charges fire, given what the unit commanded, the family and who sat there.

Every function returns chances over (rows, families, people, what fired), broadcastable.
"""

from itertools import product

import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import ChargeRow
from squibwise.catalog.load import Catalog
from squibwise.infer.families import Family, chosen
from squibwise.infer.people import People
from squibwise.infer.scenarios import Scenario, struck
from squibwise.infer.stories import Stories
from squibwise.model.names import Side
from squibwise.numerics.curves import SIDE_CODES, Hit, probability

Array = npt.NDArray[np.float64]


def driver_front(rows: Stories, table: tuple[Family, ...], stages: int, catalog: Catalog) -> Array:
    """Return the chance of 0, 1 ... spent charges in the driver's front bag."""
    return _staged(_column(rows.front.astype(float)), rows, table, stages, catalog)


def passenger_front(
    rows: Stories,
    table: tuple[Family, ...],
    seat: People,
    year: float,
    stages: int,
    catalog: Catalog,
) -> Array:
    """Return the chance of 0, 1 ... spent charges in the passenger's front bag."""
    followed, alone = passenger_curves(rows, year, catalog)
    gates = _passenger_gates(seat, catalog)
    base = np.where(rows.front, followed, alone)[:, None, None, None]
    fires = np.where(rows.front[:, None, None, None], _gated(base, gates), base * gates)
    return _staged(fires * (~rows.dead)[:, None, None, None], rows, table, stages, catalog)


def _gated(base: Array, gates: Array) -> Array:
    """Return the chance with the seat's own share where it is not that of an adult."""
    return np.where(gates < 1.0, gates, base)


def passenger_curves(rows: Stories, year: float, catalog: Catalog) -> tuple[Array, Array]:
    """Return the chance given the driver's bag fired and given it did not, seat taken."""
    sides = [
        SIDE_CODES[struck(s.blows[0].zone.side, "left")] if s.blows else 0 for s in rows.scenarios
    ]
    hit = Hit(side=np.array(sides), forward_kmh=0.0, lateral_kmh=0.0, model_year=year)
    curve = catalog.priors.curves["passenger-front-bag"]
    ones = np.ones(len(sides))
    followed, alone = probability(curve, hit, ones), probability(curve, hit, 0.0 * ones)
    return rows.where(followed), rows.where(alone)


def _passenger_gates(seat: People, catalog: Catalog) -> Array:
    """Return the share of an occupied adult's chance: (1, 1, people, 1)."""
    share = catalog.priors.share
    empty = {True: share("empty-seat", "suppression").p, False: share("empty-seat", "none").p}
    child = {True: share("empty-seat", "child-with-suppression").p, False: 1.0}
    result = np.ones(len(seat.words))
    for column, (word, gated) in enumerate(zip(seat.words, seat.gated, strict=True)):
        if word == "empty":
            result[column] = empty[gated]
        elif word.startswith("child"):
            result[column] = child[gated]
    return result[None, None, :, None]


def _column(values: Array) -> Array:
    return values[:, None, None, None]


def _staged(
    fires: Array, rows: Stories, table: tuple[Family, ...], stages: int, catalog: Catalog
) -> Array:
    """Return chances of 0 to ``stages`` spent charges from the chance of the first."""
    second = catalog.firing.events.second_stage
    by_speed = 1.0 / (1.0 + np.exp(-(rows.speed - second.mid_kmh) / second.width_kmh))
    both = chosen(table, "second", "both")[None, :, None, None]
    later = np.where(both, second.always.value, by_speed[:, None, None, None])
    columns = [1.0 - fires]
    reached = fires
    for _ in range(1, stages):
        columns.append(reached * (1.0 - later))
        reached = reached * later
    columns.append(reached)
    return np.concatenate(np.broadcast_arrays(*columns), axis=-1)


def other_bags(
    rows: Stories, seat: People, kinds: tuple[str, ...], hand: Side, catalog: Catalog
) -> Array:
    """Return the chance of each subset of a front seat's other bags."""
    fires = seat_fires(rows, hand, is_driver="empty" not in seat.words)
    sides = [struck(s.blows[-1].zone.side, hand) if s.blows else "far" for s in rows.scenarios]
    code = np.array([SIDE_CODES[side] for side in sides])[rows.scenario]
    usual = np.array(
        [
            [_subsets(catalog.priors.splits[side, front], kinds) for front in (False, True)]
            for side in SIDE_CODES
        ]
    )
    none = np.zeros(2 ** len(kinds))
    none[0] = 1.0
    picked = usual[code, rows.front.astype(int)]
    result = np.where(fires[:, None], picked, none)[:, None, None, :]
    return _without_knee(result, seat, kinds, catalog)


def seat_fires(rows: Stories, hand: Side, *, is_driver: bool) -> npt.NDArray[np.bool_]:
    """Return in which rows other bags of the front seat on one hand fire."""
    own = [_concerns(s, hand, is_driver) for s in rows.scenarios]
    return np.asarray((rows.others == 2) | ((rows.others == 1) & rows.holds(own)))


def _concerns(scenario: Scenario, hand: Side, is_driver: bool) -> bool:
    """Return whether bags of one side only are those of this seat: the driver's by default."""
    if scenario.blows and scenario.blows[-1].zone.side in ("left", "right"):
        return scenario.blows[-1].zone.side == hand
    return is_driver


def _subsets(split: dict[str, float], kinds: tuple[str, ...]) -> Array:
    """Return the chance of each subset of the kinds fitted, some of all kinds having fired.

    The curve was fitted on cars with every kind, so a car with fewer fires none of them at times.
    """
    result = np.zeros((2,) * len(kinds))
    for subset in product((0, 1), repeat=len(split)):
        bits = dict(zip(split, subset, strict=True))
        p = np.prod([split[k] if bit else 1.0 - split[k] for k, bit in bits.items()])
        if any(subset):
            result[tuple(bits[k] for k in kinds)] += float(p)
    return np.asarray(result.ravel() / result.sum())


def subset_fires(kinds: tuple[str, ...], kind: str) -> Array:
    """Return whether a kind belongs to each subset: 0 or 1 by subset."""
    place = kinds.index(kind)
    return np.array([float(s[place]) for s in product((0, 1), repeat=len(kinds))])


def _without_knee(chances: Array, seat: People, kinds: tuple[str, ...], catalog: Catalog) -> Array:
    """Return the chances with a knee bag kept silent over an empty, gated seat."""
    if "knee-bag" not in kinds or "empty" not in seat.words:
        return chances
    keeps = catalog.firing.events.chances["gated_knee"].value
    knee = subset_fires(kinds, "knee-bag")
    moved = np.zeros_like(chances)
    step = 2 ** (len(kinds) - 1 - kinds.index("knee-bag"))
    for column in range(chances.shape[-1]):
        target = column - step if knee[column] else column
        moved[..., target] += chances[..., column] * (1.0 - keeps)
        moved[..., column] += chances[..., column] * keeps
    silent = [g and w == "empty" for w, g in zip(seat.words, seat.gated, strict=True)]
    return np.where(np.array(silent)[None, None, :, None], moved, chances)


def belts(
    rows: Stories, table: tuple[Family, ...], seat: People, place: str, catalog: Catalog
) -> Array:
    """Return the chance that the pretensioners of a seat did not and did get fired."""
    who = tuple(zip(seat.words, seat.gated, strict=True))
    gates = np.array([[_belt_gate(f, w, gated, place, catalog) for w, gated in who] for f in table])
    fires = rows.belts.astype(float)[:, None, None, None] * gates[None, :, :, None]
    return np.concatenate([1.0 - fires, fires], axis=-1)


def _belt_gate(family: Family, word: str, gated: bool, place: str, catalog: Catalog) -> float:
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


def own_logic(rows: Stories, row: ChargeRow) -> Array:
    """Return the chance that a charge with its own logic did not and did fire."""
    rear = [any(b.zone.side == "rear" for b in s.blows) for s in rows.scenarios]
    causes = {
        "front": rows.front,
        "other": rows.others > 0,
        "belts": rows.belts,
        "rear": rows.holds(rear) & ~rows.dead,
        "rollover": rows.rollover & ~rows.dead,
    }
    silent = np.ones(len(rows.weight))
    for name, happened in causes.items():
        figure = getattr(row, name)
        if figure is not None:
            silent = silent * np.where(happened, 1.0 - figure.value, 1.0)
    return np.stack([silent, 1.0 - silent], axis=-1)[:, None, None, :]
