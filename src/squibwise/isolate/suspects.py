"""Hypotheses: what can be at fault in a loop, how likely, and what moved it."""

import math
from collections.abc import Mapping

import msgspec
import numpy as np

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Element, LoopFault
from squibwise.catalog.vocabulary import Sign
from squibwise.isolate.context import LIKELY, Context
from squibwise.isolate.prose import told_of
from squibwise.isolate.signs import USED, Signs, signs_of
from squibwise.model.belief import Because
from squibwise.model.case import Case
from squibwise.model.evidence import PartLabel, Reading
from squibwise.model.names import split_loop
from squibwise.model.origin import Finding
from squibwise.numerics.resistance import (
    NOWHERE,
    Chain,
    likelihoods,
    ohm_per_m,
    perfect,
    posterior,
)

Found = tuple[Element, LoopFault, tuple[Because, ...], float]
Move = tuple[float, Sign, Because]


class Suspect(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One hypothesis: one fault, or several that are there together.

    Attributes:
        parts: ``element:fault`` of each.
        title: In a mechanic's words.
        p: Probability.
        because: What moved it.
    """

    parts: tuple[str, ...]
    title: str
    p: float
    because: tuple[Because, ...] = ()

    @property
    def id(self) -> str:
        """Hypothesis id; several faults joined by ``+``."""
        return "+".join(self.parts)


def suspects_of(
    context: Context, catalog: Catalog, own_cases: Mapping[str, int] | None = None
) -> tuple[Suspect, ...]:
    """Return the hypotheses of a loop, likeliest first, before any test of this loop.

    Args:
        context: What the case knows of the loop.
        catalog: Ranks, and the factor between them.
        own_cases: How often each ``element:fault`` was the proved cause in the user's own
            finished cases of this kind; shrunk towards the ranks.
    """
    found = _found(context, catalog)
    weights = _as_assessed(found, context, catalog)
    total = math.fsum(weights)
    p = _shrunk(
        [f"{e.id}:{f.fault}" for e, f, _, _ in found],
        [w / total for w in weights],
        own_cases,
        catalog,
    )
    singles = [
        Suspect(
            parts=(f"{element.id}:{fault.fault}",),
            title=_title(element, fault, context),
            p=chance,
            because=reasons,
        )
        for (element, fault, reasons, _), chance in zip(found, p, strict=True)
    ]
    return ranked([*singles, *_pairs(singles, catalog)])


_GONE = "the fault is gone, and no code of it is stored"


def _title(element: Element, fault: LoopFault, context: Context) -> str:
    gone = element.id == "codes" and context.reported.gone_since
    return _GONE if gone else fault.title.format(element=element.title)


def _found(context: Context, catalog: Catalog) -> list[Found]:
    """Return every fault that can show as what was read, with its reasons and weight."""
    told = told_of(context, catalog)
    signs = {e.id: signs_of(e, context, told, catalog) for e in context.chain.element}
    faults = [
        (element, fault)
        for element in context.chain.element
        for fault in _faults_of(element, context, catalog)
    ]
    step = catalog.fact("isolation.step").number()
    ranks = _ranks(faults, context, catalog)
    out: list[Found] = []
    for (element, fault), rank in zip(faults, ranks, strict=True):
        moves = _moves(fault, signs[element.id], catalog)
        steps = _together(moves, catalog)
        if rank > 0.0:
            out.append((element, fault, tuple(b for _, _, b in moves), rank * step**steps))
    return out


def _together(moves: list[Move], catalog: Catalog) -> float:
    """Return the steps of several signs: of what is told, each further one in a direction less.

    Signs of one story depend on each other; adding them up would count the story several times.
    What is read from the car counts in full.
    """
    next_sign = catalog.fact("isolation.next-sign").number()
    told = [n for n, sign, _ in moves if not sign.hard]
    ways = ([n for n in told if n > 0], [n for n in told if n < 0])
    steps = math.fsum(m * next_sign**n for way in ways for n, m in enumerate(way))
    return steps + sum(n for n, sign, _ in moves if sign.hard)


def _ranks(
    faults: list[tuple[Element, LoopFault]], context: Context, catalog: Catalog
) -> list[float]:
    """Return the weight of each fault before anything moves it.

    Within a kind of fault the ranks are shares; kinds count by what the report says of them.
    """
    unreported = not context.reported.is_told
    step = catalog.fact("isolation.step").number()
    no_fault = catalog.fact("isolation.no-fault").number()
    out = [0.0] * len(faults)
    for word, share in context.reported.weight.items():
        each = [step ** f.shows[word] if word in f.shows else 0.0 for _, f in faults]
        total = math.fsum(each)
        out = [w + share * e / total if total else w for w, e in zip(out, each, strict=True)]
    if not any(out) and not unreported:
        return _ranks(faults, _of_untold_kind(context), catalog)
    none = [i for i, (_, f) in enumerate(faults) if f.unreported]
    for i in none:
        out[i] = no_fault * math.fsum(out) if unreported else 0.0
    return out


def _of_untold_kind(context: Context) -> Context:
    """Return the context as if only a fault were known: what was read fits no element."""
    kinds = {w: 1.0 / len(_ANY_KIND) for w in _ANY_KIND}
    reported = msgspec.structs.replace(context.reported, weight=kinds)
    return msgspec.structs.replace(context, reported=reported)


_ANY_KIND = ("open-or-high", "low-or-short", "communication", "internal", "performance")


def ranked(suspects: list[Suspect]) -> tuple[Suspect, ...]:
    """Return hypotheses with probabilities that sum to one, likeliest first."""
    total = math.fsum(s.p for s in suspects)
    scaled = [msgspec.structs.replace(s, p=s.p / total) for s in suspects]
    return tuple(sorted(scaled, key=lambda s: (-s.p, s.id)))


def _faults_of(element: Element, context: Context, catalog: Catalog) -> list[LoopFault]:
    """Return the entries of an element: the most particular one for each fault word."""
    found: dict[str, LoopFault] = {}
    entries = [f for f in catalog.loops.faults if _applies(f, element, context)]
    for fault in sorted(entries, key=lambda f: (bool(f.chains), f.element == element.id)):
        found[fault.fault] = fault
    return list(found.values())


def _applies(fault: LoopFault, element: Element, context: Context) -> bool:
    return (
        fault.element in (element.id, f"<{element.role}>")
        and (not fault.circuits or context.chain.circuit in fault.circuits)
        and (not fault.chains or context.chain.id in fault.chains)
    )


def _moves(fault: LoopFault, signs: Signs, catalog: Catalog) -> list[Move]:
    """Return the steps up or down, each with its sign and its reason; the largest first."""
    book = catalog.loops.signs
    moves = [
        (steps, book[sign], _because(book[sign].title, steps, signs[sign]))
        for sign, steps in fault.moves.items()
        if steps and sign in signs
    ]
    return sorted(moves, key=lambda m: -abs(m[0]))


def coming_steps(context: Context, catalog: Catalog) -> dict[str, float]:
    """Return by how many steps each cause gains or loses once the fault is seen to come and go."""
    return {
        f"{element.id}:{fault.fault}": fault.moves["coming"]
        for element in context.chain.element
        for fault in _faults_of(element, context, catalog)
        if "coming" in fault.moves
    }


def _because(text: str, steps: float, ids: tuple[str, ...]) -> Because:
    way = "up" if steps > 0 else "down"
    plural = "s" if abs(steps) > 1 else ""
    return Because(
        text=f"{text} {abs(steps):g} step{plural} {way}.", evidence=ids, weak="judgement"
    )


def _leaning(found: list[Found], context: Context, catalog: Catalog) -> list[float]:
    """Return the weights, leaning towards the common causes that the assessment believes in.

    It sees the whole report and no story. A place moves by one step at most; the supply, which the
    report itself speaks of, all the way among what may be there now.
    """
    weights = [w for _, _, _, w in found]
    total, step = math.fsum(weights), catalog.fact("isolation.step").number()
    least = catalog.fact("isolation.cause-counts").number()
    most = catalog.fact("isolation.assessed-most").number()
    for cause, p in context.believed.items():
        at = [i for i, (e, f, _, _) in enumerate(found) if _is_of(cause, e, f)]
        mass = math.fsum(weights[i] for i in at) / total
        if not at or p < least or p <= mass or mass <= 0.0:
            continue
        share = min(step, math.sqrt(p / mass))
        if cause == "supply":
            there = 1.0 - math.fsum(w for e, _, _, w in found if e.id == "codes") / total
            its = min(p, most) * there
            share = max(share, its * (there - mass) / ((there - its) * mass))
        reason = Because(text=f"{_CAUSES[cause]}: {p:.0%} in the assessment.", weak="judgement")
        for i in at:
            element, fault, reasons, weight = found[i]
            weights[i] = weight * share
            found[i] = (element, fault, (*reasons, reason), weights[i])
    return weights


_CAUSES = {
    "connector": "A connector of this circuit is not home",
    "clock-spring": "The clock spring is at fault",
    "supply": "The supply is at fault",
}


def _is_of(cause: str, element: Element, fault: LoopFault) -> bool:
    """Return whether a cause of the assessment is a fault of an element."""
    seated = fault.fault in ("not-seated", "spring-not-lifted", "bad-contact")
    places = {
        "connector": seated and element.role == "plug" and element.id != "unit-plug",
        "clock-spring": element.id == "clock-spring",
        "supply": element.id in ("supply", "ground"),
    }
    return places[cause]


_GIVEN = {
    "spent": "The assessment gives for a device that is spent",
    "left-out": "The assessment gives for a part that is not in the car",
    "left-in": "A load or resistor in its place may hide it: the circuit reads good",
}


_USED = "The part fitted is a used one, and may have fired in the car that it comes from"


def _spent_elsewhere(context: Context, catalog: Catalog) -> float:
    """Return the chance that a used part, open since it was fitted, came with its charge spent."""
    own = context.name.id
    labels = [e for _, e in context.history.all_of(PartLabel) if e.component == own]
    fitted = any(w.what == "replaced" and w.component == own for w in context.works)
    if not fitted or not labels or labels[-1].provenance not in USED:
        return 0.0
    share = context.reported.weight.get("open-or-high", 0.0)
    return share * catalog.fact("isolation.used-part-spent").number()


def _given(context: Context, catalog: Catalog) -> dict[str, float]:
    """Return the causes whose chance the assessment gives.

    A device that is probably gone, in a circuit that reads good, has something in its place.
    """
    hides = catalog.fact("isolation.load-hides").number()
    gone = {f"{context.own}:left-out": context.missing}
    if context.chain.circuit != "igniter":
        return gone
    gone["device:spent"] = max(context.fired or 0.0, _spent_elsewhere(context, catalog))
    likely = context.reported.clean and sum(gone.values()) >= LIKELY
    if not context.load_hides and not likely:
        return gone
    load = hides if context.load_hides else hides * sum(gone.values())
    return {cause: p * (1.0 - hides) for cause, p in gone.items()} | {"load:left-in": load}


def _as_assessed(found: list[Found], context: Context, catalog: Catalog) -> list[float]:
    """Return the weights; a spent or missing device has the chance that the assessment gives it."""
    weights = _leaning(found, context, catalog)
    least, most = (catalog.fact(f"isolation.assessed-{end}").number() for end in ("least", "most"))
    given = _given(context, catalog)
    named = {
        i: min(most, max(least, given[f"{e.id}:{f.fault}"]))
        for i, (e, f, _, _) in enumerate(found)
        if f"{e.id}:{f.fault}" in given
    }
    rest = math.fsum(w for i, w in enumerate(weights) if i not in named)
    taken = math.fsum(named.values())
    scale = min(1.0, most / taken) if taken else 1.0
    used = _spent_elsewhere(context, catalog) > (context.fired or 0.0)
    for i, p in named.items():
        element, fault, reasons, _ = found[i]
        weights[i] = rest * p * scale / (1.0 - taken * scale)
        what = _USED if used and fault.fault == "spent" else _GIVEN[fault.fault]
        reason = Because(text=f"{what}: {p:.1%}.", weak="judgement")
        found[i] = (element, fault, (reason, *reasons), weights[i])
    return weights


def _shrunk(
    ids: list[str], p: list[float], own: Mapping[str, int] | None, catalog: Catalog
) -> list[float]:
    """Return probabilities moved by the user's own finished cases (Dirichlet, prior = ranks)."""
    counts = [float((own or {}).get(i, 0)) for i in ids]
    prior = catalog.fact("isolation.own-cases").number()
    total = math.fsum(counts) + prior
    return [(count + prior * q) / total for count, q in zip(counts, p, strict=True)]


def _pairs(singles: list[Suspect], catalog: Catalog) -> list[Suspect]:
    """Return pairs of faults of different elements whose chance is above the cutoff."""
    together = catalog.fact("isolation.pair").number()
    cutoff = catalog.fact("isolation.pair-cutoff").number()
    found = []
    for i, one in enumerate(singles):
        for two in singles[i + 1 :]:
            p = together * one.p * two.p * 2.0
            apart = one.parts[0].split(":")[0] != two.parts[0].split(":")[0]
            memory = any(x.parts[0].startswith("codes:") for x in (one, two))
            if apart and p >= cutoff and not memory:
                found.append(
                    Suspect(
                        parts=(*one.parts, *two.parts),
                        title=f"{one.title}; and {two.title}",
                        p=p,
                        because=(Because(text="Two faults together.", weak="judgement"),),
                    )
                )
    return found


# Readings at several points of a loop: where the extra resistance sits, if it can be told.

_RAISES = ("open", "spent", "broken", "bad-contact", "other-half", "not-seated", "wrong-part")
_EXTRAS = np.geomspace(0.05, 20.0, 40)
_TOLD = 0.9
_ROOT_3 = math.sqrt(3.0)


class Points(msgspec.Struct, frozen=True, kw_only=True):
    """Readings with a known load at several points of one loop.

    Attributes:
        chain: The loop from the unit outward, as resistances.
        reached: Number of elements each reading goes through.
        ohm: The readings, less the load. [ohm]
        evidence: Their ids.
    """

    chain: Chain
    reached: tuple[int, ...]
    ohm: tuple[float, ...]
    evidence: tuple[str, ...]


def points_of(case: Case, context: Context, catalog: Catalog) -> Points | None:
    """Return the readings of a loop that can be compared; None for fewer than two points."""
    order = [e for e in reversed(context.chain.element) if e.role not in ("whole", "unit")]
    places = {e.id: n for n, e in enumerate(order, start=1)}
    found: dict[str, Reading] = {}
    for item in case.evidence:
        if isinstance(item, Reading) and _fits(item, context) and item.where in places:
            found[item.where] = item
    if len(found) < 2 or context.chain.circuit != "igniter":
        return None
    readings = sorted(found.values(), key=lambda r: places[r.where])
    load = catalog.fact("load.ohm").number()
    chain = Chain(
        names=tuple(e.id for e in order),
        ohm=tuple(_usual(e, catalog)[0] for e in order),
        u_ohm=tuple(_usual(e, catalog)[1] for e in order),
        u_reading=max(_u_of(r, catalog) for r in readings),
        u_common=math.hypot(_half("load.ohm", catalog) / _ROOT_3, catalog.fact("lead.u").number()),
    )
    return Points(
        chain=chain,
        reached=tuple(places[r.where] for r in readings),
        ohm=tuple(r.value * (1e-3 if r.unit == "mohm" else 1.0) - load for r in readings),
        evidence=tuple(r.id for r in readings),
    )


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
    found = likelihoods(points.chain, points.reached, np.array(points.ohm), _EXTRAS)
    reason = Because(text="Readings at several points.", evidence=points.evidence, weak="judgement")
    moved = [
        msgspec.structs.replace(s, p=s.p * found[_segment(s, points)], because=(*s.because, reason))
        for s in suspects
    ]
    kept = [s for s in moved if s.p > 0.0]
    return ranked(kept or list(suspects)), _told(points, found)


def _segment(suspect: Suspect, points: Points) -> str:
    """Return the segment whose resistance a hypothesis raises; ``nowhere`` when it raises none."""
    for part in suspect.parts:
        element, _, fault = part.partition(":")
        if fault in _RAISES and element in points.chain.names:
            return element
    return NOWHERE


def _told(points: Points, found: dict[str, float]) -> Finding:
    names = sorted({n for k in points.reached for n in points.chain.names[:k]} | {NOWHERE})
    prior = dict.fromkeys(names, 1.0 / len(names))
    belief = posterior(found, prior)
    best = max(belief, key=lambda n: belief[n])
    if belief[best] >= _TOLD:
        where = "nowhere: they lie within the usual" if best == NOWHERE else f"in {best}"
        return _finding(
            f"The readings place the extra resistance {where} ({belief[best]:.0%}).", ""
        )
    ideal = posterior(
        likelihoods(perfect(points.chain), points.reached, np.array(points.ohm), _EXTRAS), prior
    )
    likely = ", ".join(f"{n} {p:.0%}" for n, p in sorted(belief.items(), key=lambda x: -x[1])[:3])
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


def _finding(message: str, remedy: str) -> Finding:
    return Finding(code="readings-compared", severity="note", message=message, remedy=remedy)
