"""Readings at several points of a loop: where resistance or a short sits, if it can be told."""

import math
from collections.abc import Iterable, Mapping

import msgspec
import numpy as np

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Element
from squibwise.isolate.context import Context
from squibwise.isolate.suspects import Suspect, ranked
from squibwise.model.belief import Because
from squibwise.model.case import Case
from squibwise.model.evidence import Reading
from squibwise.model.names import split_loop
from squibwise.model.origin import Finding
from squibwise.numerics.resistance import (
    BRIDGED,
    NOWHERE,
    PointChain,
    likelihoods,
    ohm_per_m,
    perfect,
    posterior,
)

_RAISES = ("open", "spent", "broken", "bad-contact", "other-half", "not-seated", "wrong-part")
_LOWERS = ("shorted", "spring-not-lifted", "pinched", "wet")
_EXTRAS = np.geomspace(0.05, 20.0, 40)
_BRIDGES = np.linspace(0.0, 4.0, 21)  # a path across the pair: above that the load hardly shows it
_TOLD, _SHOWN = 0.9, 0.005
_ROOT_3 = math.sqrt(3.0)


class Points(msgspec.Struct, frozen=True, kw_only=True):
    """Readings with a known load at several points of one loop.

    Attributes:
        chain: The loop from the unit outward, as resistances.
        reached: Number of elements each reading goes through.
        ohm: The readings, less the load. [ohm]
        load: The load. [ohm]
        evidence: Their ids.
    """

    chain: PointChain
    reached: tuple[int, ...]
    ohm: tuple[float, ...]
    load: float
    evidence: tuple[str, ...]


def points_of(case: Case, context: Context, catalog: Catalog) -> Points | None:
    """Return the readings of a loop that can be compared; None for fewer than two points."""
    order = _order_of(context)
    places = {e.id: n for n, e in enumerate(order, start=1)}
    found: dict[str, Reading] = {}
    for item in _readings_at_points(case, context):
        point = _find_point(item.where, context)
        if point in places:
            found[point] = item
    if len(found) < 2 or context.chain.circuit != "igniter":
        return None
    points = sorted(found, key=lambda p: places[p])
    readings = [found[p] for p in points]
    load = catalog.fact("load.ohm").number()
    chain = PointChain(
        names=tuple(e.id for e in order),
        ohm=tuple(_usual(e, catalog)[0] for e in order),
        u_ohm=tuple(_usual(e, catalog)[1] for e in order),
        u_reading=max(_u_of(r, catalog) for r in readings),
        u_common=math.hypot(_half("load.ohm", catalog) / _ROOT_3, catalog.fact("lead.u").number()),
    )
    return Points(
        chain=chain,
        reached=tuple(places[p] for p in points),
        ohm=tuple(r.value * (1e-3 if r.unit == "mohm" else 1.0) - load for r in readings),
        load=load,
        evidence=tuple(r.id for r in readings),
    )


def doubt_points(case: Case, context: Context) -> Iterable[Finding]:
    """Yield each reading with a load at a point that this circuit does not have."""
    if context.chain.circuit != "igniter":
        return
    known = ", ".join(e.id for e in reversed(_order_of(context)))
    for item in _readings_at_points(case, context):
        if not _find_point(item.where, context):
            yield Finding(
                code="reading-point-unknown",
                severity="warning",
                message=f"'{item.where}' is no point of this circuit: the reading of "
                f"{item.value:g} {item.unit} taken there moves no cause.",
                remedy=f"Write the point it was taken at: {known}.",
                origin=item.origin,
            )


def _order_of(context: Context) -> list[Element]:
    """Return what a reading may go through, from the unit outward: the load is the device."""
    apart = ("whole", "unit", "device")
    return [e for e in reversed(context.chain.element) if e.role not in apart]


def _readings_at_points(case: Case, context: Context) -> Iterable[Reading]:
    for item in case.evidence:
        if isinstance(item, Reading) and item.where and _fits(item, context):
            yield item


def _find_point(where: str, context: Context) -> str:
    """Return the element a reading was taken at, by its id or its title; empty = none of them.

    At the device itself the load stands in its place, at its connector.
    """
    said = where.casefold().removeprefix("the ").strip()
    for e in context.chain.element:
        if said in (e.id, e.title.casefold().removeprefix("the ")):
            return "device-plug" if e.role == "device" else e.id
    return ""


def _fits(reading: Reading, context: Context) -> bool:
    return (
        split_loop(reading.component) == split_loop(context.loop)
        and reading.quantity == "loop-resistance"
        and reading.method == "substitute-load"
        and reading.unit in ("ohm", "mohm")
    )


def _u_of(reading: Reading, catalog: Catalog) -> float:
    if reading.u is None:
        return catalog.fact("measurement.u-repeat").number()
    return reading.u * (1e-3 if reading.unit == "mohm" else 1.0)


def _usual(element: Element, catalog: Catalog) -> tuple[float, float]:
    """Return the usual resistance of an element and its standard uncertainty, out and back."""
    if element.role == "coil":
        half = _half("clock-spring.ohm", catalog)
        return catalog.fact("clock-spring.ohm").number(), half / _ROOT_3
    if element.role == "segment":
        return _pair_of_wire(catalog)
    if element.role == "plug":
        contact = catalog.fact("contact.ohm").number()
        return 2.0 * contact, math.sqrt(2.0) * _half("contact.ohm", catalog) / _ROOT_3
    return 0.0, _half("load.ohm", catalog) / _ROOT_3


def _pair_of_wire(catalog: Catalog) -> tuple[float, float]:
    metre = ohm_per_m(
        catalog.fact("wire.harness-mm2").number(),
        catalog.fact("wire.cabin-c").number(),
        catalog.fact("wire.resistivity").number(),
        catalog.fact("wire.alpha").number(),
    )
    length = catalog.fact("wire.harness-m").number()
    return 2.0 * length * metre, 2.0 * _half("wire.harness-m", catalog) * metre / _ROOT_3


def _half(fact_id: str, catalog: Catalog) -> float:
    fact = catalog.fact(fact_id)
    low, high = fact.low, fact.high
    return 0.0 if low is None or high is None else (high - low) / 2.0


def moved_by_readings(
    suspects: tuple[Suspect, ...], points: Points
) -> tuple[tuple[Suspect, ...], Finding]:
    """Return the hypotheses moved by readings at several points, and what they could tell."""
    found = _likelihoods(points.chain, points)
    reason = Because(text="Readings at several points.", evidence=points.evidence, weak="judgement")
    moved = [
        msgspec.structs.replace(s, p=s.p * found[_segment(s, points)], because=(*s.because, reason))
        for s in suspects
    ]
    kept = [s for s in moved if s.p > 0.0]
    return ranked(kept or list(suspects)), _told(points, found)


def _likelihoods(chain: PointChain, points: Points) -> dict[str, float]:
    readings, bridges = np.array(points.ohm), (points.load, _BRIDGES)
    return likelihoods(chain, points.reached, readings, _EXTRAS, bridges=bridges)


def _segment(suspect: Suspect, points: Points) -> str:
    """Return the segment whose resistance a hypothesis raises or bridges; else ``nowhere``."""
    for part in suspect.parts:
        element, _, fault = part.partition(":")
        if element in points.chain.names:
            if fault in _RAISES:
                return element
            if fault in _LOWERS:
                return BRIDGED + element
    return NOWHERE


def _told(points: Points, found: dict[str, float]) -> Finding:
    passed = sorted({n for k in points.reached for n in points.chain.names[:k]})
    low = min(points.ohm) < -points.load / 2.0
    names = [BRIDGED + n for n in passed] if low else [*passed, NOWHERE]
    prior = dict.fromkeys(names, 1.0 / len(names))
    if not any(found[n] for n in names):
        return _finding(
            "The readings fit no single fault of this circuit.", "Null the leads and repeat each."
        )
    belief = posterior(found, prior)
    if low:
        return _told_low(belief)
    best = max(belief, key=lambda n: belief[n])
    if belief[best] >= _TOLD:
        where = "nowhere: they lie within the usual" if best == NOWHERE else f"in {best}"
        return _finding(
            f"The readings place the extra resistance {where} ({belief[best]:.0%}).", ""
        )
    ideal = posterior(_likelihoods(perfect(points.chain), points), prior)
    likely = _likeliest(belief)
    if max(ideal.values()) < _TOLD:
        return _finding(
            f"The readings do not tell where the extra resistance sits ({likely}), and no method "
            "could: the difference lies within the tolerance of the parts themselves.",
            "Move the fault with the harness, or part the loop at another point.",
        )
    return _finding(
        f"The readings do not tell where the extra resistance sits ({likely}).",
        "Null the leads, take the points that are missing, and repeat each reading.",
    )


def _told_low(belief: Mapping[str, float]) -> Finding:
    """Return where the pair is bridged: what reads low lies beyond it, what reads good before."""
    return _finding(
        f"The readings place a short across the pair ({_likeliest(belief)}).",
        "Look there first, and take the points that are missing between.",
    )


def _likeliest(belief: Mapping[str, float]) -> str:
    first = sorted(belief.items(), key=lambda x: -x[1])[:3]
    return ", ".join(f"{n.removeprefix(BRIDGED)} {p:.0%}" for n, p in first if p >= _SHOWN)


def _finding(message: str, remedy: str) -> Finding:
    return Finding(code="readings-compared", severity="note", message=message, remedy=remedy)
