"""Logistic curves of deployment: terms evaluated over whole arrays, and shifts learned of them."""

from typing import Any, Literal

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.errors import CatalogError, ModelError

Struck = Literal["front", "near", "far", "rear"]
SIDE_CODES: dict[str, int] = {"front": 0, "near": 1, "far": 2, "rear": 3}
Quantity = Literal["constant", "forward", "rearward", "lateral", "total", "year", "belted"]
SEVERITIES: tuple[str, ...] = ("forward", "rearward", "lateral", "total")

Array = npt.NDArray[np.float64]
_BELTS = (0.0, 1.0)


class Term(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One addend of a curve: ``coefficient * (clip(quantity, low, high) - centre) / per``.

    Attributes:
        of: Quantity it grows with; ``constant`` is 1. Delta-V in km/h, year in years.
        sides: Struck sides it holds for; empty = all. ``near`` is the side of the seat concerned.
        given: Holds only when the other device fired (1) or did not (0); None = always.
        low: Below this the quantity counts as this. None = no limit.
        high: Above this the quantity counts as this. None = no limit.
        centre: Value at which the term is zero.
        per: Size of the step that the coefficient speaks of.
        coefficient: Change of the log odds per step.
        se: Standard error of the coefficient.
    """

    of: Quantity
    sides: tuple[Struck, ...] = ()
    given: Literal[0, 1] | None = None
    low: float | None = None
    high: float | None = None
    centre: float = 0.0
    per: float = 1.0
    coefficient: float = 0.0
    se: float = 0.0

    def __post_init__(self) -> None:
        if not self.per > 0.0 or not self.se >= 0.0:
            raise CatalogError(f"term of {self.of}: per {self.per} or se {self.se} is out of range")
        if self.of in SEVERITIES and not self.coefficient >= 0.0:
            raise CatalogError(f"term of {self.of}: firing would become rarer with severity")


class Curve(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The log odds of one deployment, as a sum of terms.

    Attributes:
        terms: What is added up.
        belted_share: Share of latched belts, for a belt that is unknown.
        years: Model years and their weights, for a model year that is unknown.
        lapse: Share of outcomes that have nothing to do with the impact, such as wrong coding:
            no probability comes nearer than this to 0 or 1.
    """

    terms: tuple[Term, ...]
    belted_share: float
    years: tuple[tuple[float, float], ...]
    lapse: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.belted_share <= 1.0:
            raise CatalogError(f"belted share {self.belted_share} is not a probability")
        if not self.years or not sum(weight for _, weight in self.years) > 0.0:
            raise CatalogError("a curve needs model years with weights")
        if not 0.0 <= self.lapse < 0.5:
            raise CatalogError(f"lapse {self.lapse} is not a share below a half")


class Hit(msgspec.Struct, frozen=True, kw_only=True):
    """What a curve is asked about; arrays or numbers that broadcast together.

    Attributes:
        side: Codes of ``SIDE_CODES``; near and far are seen from the seat concerned.
        forward_kmh: Loss of forward speed, damage-estimate scale. [km/h] Negative = pushed on.
        lateral_kmh: Sideways change of speed, its sign is not used. [km/h]
        model_year: NaN = unknown: averaged over the curve's years.
        belted: 1 or 0, shares in between mix; NaN = unknown: mixed by the curve's belt share.
    """

    side: Any
    forward_kmh: Any
    lateral_kmh: Any
    model_year: Any = np.nan
    belted: Any = np.nan


def quantities(hit: Hit) -> dict[str, Array]:
    """Return every quantity that terms can use, broadcast to one shape; one side stays one."""
    given = np.asarray(hit.side, dtype=np.float64)
    side, forward, lateral, year, belted = np.broadcast_arrays(
        given,
        *(
            np.asarray(value, dtype=np.float64)
            for value in (hit.forward_kmh, hit.lateral_kmh, hit.model_year, hit.belted)
        ),
    )
    return {
        "side": given if given.ndim == 0 else side,
        "constant": np.ones(side.shape),
        "forward": np.maximum(forward, 0.0),
        "rearward": np.maximum(-forward, 0.0),
        "lateral": np.abs(lateral),
        "total": np.hypot(forward, lateral),
        "year": year,
        "belted": belted,
    }


def column(term: Term, known: dict[str, Array], given: Array | None = None) -> Array:
    """Return the value that a term's coefficient multiplies, zero where it does not hold."""
    side, value = known["side"], known[term.of]
    codes = [SIDE_CODES[s] for s in term.sides]
    if side.ndim == 0 and codes and float(side) not in codes:
        return np.zeros(value.shape)
    value = value if term.low is None else np.maximum(value, term.low)
    value = value if term.high is None else np.minimum(value, term.high)
    value = (value - term.centre) / term.per
    if side.ndim and codes:
        value = np.where(np.isin(side, codes), value, 0.0)
    if term.given is None:
        return np.asarray(value)
    if given is None:
        raise ModelError("this curve needs to know whether the other device fired")
    return np.where(np.asarray(given) == term.given, value, 0.0)


def logit(
    curve: Curve, known: dict[str, Array], given: Array | None = None, shift: float = 0.0
) -> Array:
    """Return the log odds of firing; model year and belt must be known everywhere."""
    total = sum(term.coefficient * column(term, known, given) for term in curve.terms)
    return np.asarray(total, dtype=np.float64) + shift


def expit(odds: npt.ArrayLike) -> Array:
    """Return probabilities from log odds, without overflow."""
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * np.asarray(odds, dtype=np.float64))))


def probability(
    curve: Curve, hit: Hit, given: npt.ArrayLike | None = None, shift: float = 0.0
) -> Array:
    """Return the probability of firing for each hit.

    An unknown model year is averaged over the curve's years, an unknown belt mixed by its belt
    share: both are averages of probabilities, not of log odds.

    Args:
        curve: The fitted curve.
        hit: What is known of the impact; see ``Hit`` for units and signs.
        given: 1 where the other device fired and 0 where not, for curves that ask for it.
        shift: Added to the log odds: the intercept learned from the user's own cases.

    Raises:
        ModelError: The curve asks for ``given`` and there is none.
    """
    known = quantities(hit)
    other = None if given is None else np.asarray(given, dtype=np.float64)
    shape = () if other is None else other.shape
    result = np.zeros(np.broadcast_shapes(known["constant"].shape, shape))
    for year, year_weight in _years(curve, known["year"]):
        for belted, belt_weight in _belts(curve, known["belted"]):
            one = known | {"year": year, "belted": belted}
            result = result + year_weight * belt_weight * expit(logit(curve, one, other, shift))
    return np.asarray(curve.lapse + (1.0 - 2.0 * curve.lapse) * result)


def _uses(curve: Curve, quantity: str) -> bool:
    return any(term.of == quantity for term in curve.terms)


def _years(curve: Curve, year: Array) -> list[tuple[Array, Array | float]]:
    unknown = np.isnan(year)
    if not _uses(curve, "year") or not unknown.any():
        return [(np.where(unknown, 0.0, year), 1.0)]
    total = sum(weight for _, weight in curve.years)
    first = np.arange(len(curve.years)) == 0
    return [
        (np.where(unknown, typical, year), np.where(unknown, weight / total, float(is_first)))
        for (typical, weight), is_first in zip(curve.years, first, strict=True)
    ]


def _belts(curve: Curve, belted: Array) -> list[tuple[Array, Array | float]]:
    if not _uses(curve, "belted"):
        return [(np.zeros(belted.shape), 1.0)]
    share = np.where(np.isnan(belted), curve.belted_share, belted)
    if np.isin(share, _BELTS).all():
        return [(share, 1.0)]
    return [
        (np.full(share.shape, latched), share if latched else 1.0 - share) for latched in _BELTS
    ]


_STEPS = 60
_CLOSE = 1e-10


class Shift(msgspec.Struct, frozen=True, kw_only=True):
    """What the user's own finished cases say of a curve's intercept.

    Attributes:
        value: Shift of the log odds, shrunk towards none.
        se: Standard error of it.
        n: Finished cases it rests on.
        kept: Share of the information that came from the cases; the rest is the prior "no shift".
        observed: Deployments seen.
        expected: Deployments the unshifted curve had foretold.
    """

    value: float
    se: float
    n: int
    kept: float
    observed: float
    expected: float


def learn_shift(chances: npt.ArrayLike, happened: npt.ArrayLike, prior_sd: float) -> Shift:
    """Return the shift of the log odds learned from finished cases, shrunk towards zero.

    The posterior mode under a normal prior of mean 0 and standard deviation ``prior_sd``. Only
    parts that were really seen count: cases where nobody looked must be left out by the caller.

    Args:
        chances: What the unshifted curve said of each case.
        happened: 1 = it fired, 0 = it did not.
        prior_sd: How far intercepts of different populations lie apart, in log odds.

    Raises:
        ModelError: Lengths differ, a chance is not inside (0, 1), or the prior is not positive.
    """
    p, y = np.asarray(chances, dtype=np.float64), np.asarray(happened, dtype=np.float64)
    if p.shape != y.shape or not prior_sd > 0.0 or not bool(np.all((p > 0.0) & (p < 1.0))):
        raise ModelError("finished cases need as many outcomes as chances, chances inside (0, 1)")
    odds, precision = np.log(p / (1.0 - p)), prior_sd**-2
    value, information = 0.0, precision
    for _ in range(_STEPS):
        now = expit(odds + value)
        slope = float((y - now).sum()) - precision * value
        information = float((now * (1.0 - now)).sum()) + precision
        move = slope / information
        value += max(-1.0, min(1.0, move))
        if abs(move) < _CLOSE:
            break
    return Shift(
        value=value,
        se=information**-0.5,
        n=len(p),
        kept=1.0 - precision / information,
        observed=float(y.sum()),
        expected=float(p.sum()),
    )
