"""Hypotheses: what can be at fault in a loop, how likely, and what moved it."""

import math
from collections.abc import Mapping

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Element, LoopFault
from squibwise.catalog.story_words import Sign
from squibwise.isolate.context import LIKELY, Context
from squibwise.isolate.prose import told_of
from squibwise.isolate.signs import USED, Signs, signs_of
from squibwise.model.belief import Because
from squibwise.model.evidence import PartLabel

Move = tuple[float, Sign, Because]


class Found(msgspec.Struct, frozen=True, kw_only=True):
    """A fault of an element that can show as what was read.

    Attributes:
        element: Where.
        fault: Which.
        because: What moved it.
        weight: What it weighs beside the others.
        told: By what factor the owner's story alone has moved it.
    """

    element: Element
    fault: LoopFault
    because: tuple[Because, ...]
    weight: float
    told: float

    @property
    def id(self) -> str:
        """``element:fault``."""
        return f"{self.element.id}:{self.fault.fault}"


class Suspect(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One hypothesis: one fault, or several that are there together.

    Attributes:
        parts: ``element:fault`` of each.
        title: In a mechanic's words.
        p: Probability.
        because: What moved it.
        reach: What it takes to open its place; of causes believed alike the nearer comes first.
            [min]
    """

    parts: tuple[str, ...]
    title: str
    p: float
    because: tuple[Because, ...] = ()
    reach: float = 0.0

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
    found = found_in(context, catalog)
    found = _as_assessed(_leaning(found, context, catalog), context, catalog)
    total = math.fsum(f.weight for f in found)
    p = _shrunk([f.id for f in found], [f.weight / total for f in found], own_cases, catalog)
    singles = [
        Suspect(
            parts=(f.id,),
            title=_title(f, context),
            p=chance,
            because=f.because,
            reach=_reach(f.element, catalog),
        )
        for f, chance in zip(found, p, strict=True)
    ]
    return ranked([*singles, *_pairs(singles, catalog)])


_GONE = "the fault is gone, and no code of it is stored"


def _title(found: Found, context: Context) -> str:
    gone = found.element.id == "codes" and context.reported.gone_since
    return _GONE if gone else found.fault.title.format(element=found.element.title)


def _reach(element: Element, catalog: Catalog) -> float:
    return catalog.loops.access[element.access].minutes if element.access else 0.0


def found_in(context: Context, catalog: Catalog) -> list[Found]:
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
    ids = {t.sign.id for t in told}
    out: list[Found] = []
    for (element, fault), rank in zip(faults, ranks, strict=True):
        moves = _moves(fault, signs[element.id], catalog)
        story = [m for m in moves if m[1].id in ids]
        if rank > 0.0:
            out.append(
                Found(
                    element=element,
                    fault=fault,
                    because=tuple(b for _, _, b in moves),
                    weight=rank * step ** _together(moves, catalog),
                    told=step ** _together(story, catalog),
                )
            )
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
    """Return hypotheses with probabilities that sum to one, likeliest first.

    Of those that are believed alike, up to rounding, the one that is reached soonest comes first.
    """
    total = math.fsum(s.p for s in suspects)
    scaled = [msgspec.structs.replace(s, p=s.p / total) for s in suspects]
    return tuple(sorted(scaled, key=lambda s: (-round(s.p, _ALIKE), s.reach, s.id)))


_ALIKE = 9


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


def _leaning(found: list[Found], context: Context, catalog: Catalog) -> list[Found]:
    """Return the faults, leaning towards the common causes that the assessment believes in.

    It sees the whole report and no story. A place moves by one step at most; the supply, which the
    report itself speaks of, all the way among what may be there now, and what is told of it speaks
    beside the report.
    """
    found = list(found)
    total, step = math.fsum(f.weight for f in found), catalog.fact("isolation.step").number()
    least = catalog.fact("isolation.cause-counts").number()
    most = catalog.fact("isolation.assessed-most").number()
    for cause, p in context.believed.items():
        at = [i for i, f in enumerate(found) if _is_of(cause, f)]
        mass = math.fsum(found[i].weight for i in at) / total
        if not at or p < least or mass <= 0.0:
            continue
        its = p if cause != "supply" else _after(p, mass / _untold([found[i] for i in at], total))
        if its <= mass:
            continue
        share = min(step, math.sqrt(its / mass))
        if cause == "supply":
            there = 1.0 - math.fsum(f.weight for f in found if f.element.id == "codes") / total
            its = min(its, most) * there
            share = max(share, its * (there - mass) / ((there - its) * mass))
        reason = Because(text=f"{_CAUSES[cause]}: {p:.0%} in the assessment.", weak="judgement")
        for i in at:
            found[i] = _with(found[i], found[i].weight * share, (*found[i].because, reason))
    return found


def _untold(found: list[Found], total: float) -> float:
    """Return what share of all weight some faults would have, had nothing been told of them."""
    return math.fsum(f.weight / f.told for f in found) / total


def _with(found: Found, weight: float, because: tuple[Because, ...]) -> Found:
    return msgspec.structs.replace(found, weight=weight, because=because)


def _after(p: float, factor: float) -> float:
    """Return a chance after evidence that is so many times likelier if it is so."""
    return p * factor / (p * factor + 1.0 - p)


_CAUSES = {
    "connector": "A connector of this circuit is not home or makes poor contact",
    "clock-spring": "The clock spring is at fault",
    "supply": "The supply is at fault",
}


def _is_of(cause: str, found: Found) -> bool:
    """Return whether a cause of the assessment is a fault of an element."""
    element, fault = found.element, found.fault
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


def _as_assessed(found: list[Found], context: Context, catalog: Catalog) -> list[Found]:
    """Return the faults; a spent or missing device has the chance that the assessment gives it.

    What is told of it, which the assessment does not read, moves that chance.
    """
    least, most = (catalog.fact(f"isolation.assessed-{end}").number() for end in ("least", "most"))
    given = _given(context, catalog)
    named = {
        i: _after(min(most, max(least, given[f.id])), f.told)
        for i, f in enumerate(found)
        if f.id in given
    }
    rest = math.fsum(f.weight for i, f in enumerate(found) if i not in named)
    taken = math.fsum(named.values())
    scale = min(1.0, most / taken) if taken else 1.0
    used = _spent_elsewhere(context, catalog) > (context.fired or 0.0)
    out = list(found)
    for i, p in named.items():
        what = _USED if used and found[i].fault.fault == "spent" else _GIVEN[found[i].fault.fault]
        reason = Because(text=f"{what}: {given[found[i].id]:.1%}.", weak="judgement")
        weight = rest * p * scale / (1.0 - taken * scale)
        out[i] = _with(found[i], weight, (reason, *found[i].because))
    return out


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
                        reach=one.reach + two.reach,
                    )
                )
    return found
