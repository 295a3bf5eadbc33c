"""What the fitted curves say of one blow: chances of front bags and of each seat's other bags."""

from collections.abc import Mapping

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.scenarios import Blow, struck
from squibwise.model.car import Car
from squibwise.numerics.curves import SIDE_CODES, Curve, Hit, probability

Array = npt.NDArray[np.float64]
HANDS = ("left", "right")
FRONT_CURVE, OTHER_CURVE = "driver-front-bag", "own-side-bags"


class BlowChances(msgspec.Struct, frozen=True):
    """Chances after one blow.

    Attributes:
        front: Of the driver's front bag, unlatched and latched.
        others: Of the other bags of the seat on each hand, given that the front bag did not and
            did fire, unlatched and latched: (hand, front, belt).
    """

    front: Array
    others: Array


def blow_chances(
    blows: set[Blow], car: Car, catalog: Catalog, shifts: Mapping[str, float]
) -> dict[Blow, BlowChances]:
    """Return the chances after every blow; all blows on one side are computed at once."""
    result: dict[Blow, BlowChances] = {}
    by_side: dict[str, list[Blow]] = {}
    for blow in blows:
        by_side.setdefault(blow.zone.side, []).append(blow)
    for side, group in by_side.items():
        front, others = _side_chances(side, group, car, catalog, shifts)
        for index, blow in enumerate(group):
            result[blow] = BlowChances(front[index], others[:, :, index])
    return result


def _side_chances(
    side: str, blows: list[Blow], car: Car, catalog: Catalog, shifts: Mapping[str, float]
) -> tuple[Array, Array]:
    """Return chances of front bags (blow, belt) and of others (hand, front, blow, belt)."""
    curves = catalog.priors.curves
    forward, lateral, weight = directions(side, blows, catalog)
    year = np.nan if car.model_year is None else float(car.model_year)

    def chance(curve: str, hand: str, given: float | None = None) -> Array:
        return _averaged(
            curves[curve],
            struck(side, hand),
            (forward, lateral, weight),
            year,
            given,
            shifts.get(curve, 0.0),
        )

    front = chance(FRONT_CURVE, car.drive_hand)
    hands = HANDS if side in HANDS else HANDS[:1]
    others = [[chance(OTHER_CURVE, hand, given) for given in (0.0, 1.0)] for hand in hands]
    return front, np.array(others if len(hands) > 1 else others * 2)


def _averaged(
    curve: Curve,
    side: str,
    blow: tuple[Array, Array, Array],
    year: float,
    given: float | None,
    shift: float,
) -> Array:
    """Return a curve's chance averaged over directions: (blow, belt)."""
    forward, lateral, weight = blow
    belted = np.array([0.0, 1.0])[None, :, None]
    hit = Hit(
        side=float(SIDE_CODES[side]),
        forward_kmh=forward[:, None, :],
        lateral_kmh=lateral[:, None, :],
        model_year=year,
        belted=belted,
    )
    fired = None if given is None else np.full((1, 1, 1), given)
    return np.asarray(probability(curve, hit, fired, shift) @ weight)


def directions(side: str, blows: list[Blow], catalog: Catalog) -> tuple[Array, Array, Array]:
    """Return forward loss and lateral change of blows on one side: (blow, direction), weights."""
    recorded = [b for b in blows if b.forward is not None]
    if recorded:
        forward = np.array([[b.forward or 0.0] for b in blows])
        lateral = np.array([[b.lateral or 0.0] for b in blows])
        return forward, lateral, np.ones(1)
    usual = catalog.priors.severity.directions(struck(side, "left"))
    angle, speed = np.radians(usual.degrees), np.array([[b.speed] for b in blows])
    along, across = speed * np.cos(angle), speed * np.abs(np.sin(angle))
    weight = np.array(usual.weight)
    if side in HANDS:
        return across, along, weight
    return (-along if side == "rear" else along), across, weight
