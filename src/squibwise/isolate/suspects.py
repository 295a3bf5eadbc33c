"""Hypotheses: what can be at fault in a loop, how likely, and what moved it."""

import math
from collections.abc import Mapping

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Element, LoopFault
from squibwise.isolate.context import Context
from squibwise.isolate.signs import Signs, signs_of, told_of
from squibwise.model.belief import Because

Found = tuple[Element, LoopFault, tuple[Because, ...], float]


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
            title=fault.title.format(element=element.title),
            p=chance,
            because=reasons,
        )
        for (element, fault, reasons, _), chance in zip(found, p, strict=True)
    ]
    return ranked([*singles, *_pairs(singles, catalog)])


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
        steps = _together([n for n, _ in moves], catalog)
        if rank > 0.0:
            out.append((element, fault, tuple(b for _, b in moves), rank * step**steps))
    return out


def _together(moves: list[int], catalog: Catalog) -> float:
    """Return the steps of several signs: each further one in a direction tells less.

    Signs of one story depend on each other; adding them up would count the story several times.
    """
    next_sign = catalog.fact("isolation.next-sign").number()
    ways = ([m for m in moves if m > 0], [m for m in moves if m < 0])
    return math.fsum(m * next_sign**n for way in ways for n, m in enumerate(way))


def _ranks(
    faults: list[tuple[Element, LoopFault]], context: Context, catalog: Catalog
) -> list[float]:
    """Return the weight of each fault before anything moves it.

    Within a kind of fault the ranks are shares; kinds count by what the report says of them.
    """
    unreported = context.reported.report is None
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


def _moves(fault: LoopFault, signs: Signs, catalog: Catalog) -> list[tuple[int, Because]]:
    """Return the steps up or down, each with its reason; the largest first."""
    moves = [
        (steps, _because(catalog.loops.signs[sign].title, steps, signs[sign]))
        for sign, steps in fault.moves.items()
        if steps and sign in signs
    ]
    return sorted(moves, key=lambda m: -abs(m[0]))


def _because(text: str, steps: int, ids: tuple[str, ...]) -> Because:
    way = "up" if steps > 0 else "down"
    plural = "s" if abs(steps) > 1 else ""
    return Because(text=f"{text} {abs(steps)} step{plural} {way}.", evidence=ids, weak="judgement")


def _as_assessed(found: list[Found], context: Context, catalog: Catalog) -> list[float]:
    """Return the weights; a spent or missing device has the chance that the assessment gives it."""
    weights = [w for _, _, _, w in found]
    least, most = (catalog.fact(f"isolation.assessed-{end}").number() for end in ("least", "most"))
    given = {"spent": context.fired or 0.0, "left-out": context.missing}
    named = {
        i: min(most, max(least, given[f.fault]))
        for i, (e, f, _, _) in enumerate(found)
        if e.id == "device" and f.fault in given
    }
    rest = math.fsum(w for i, w in enumerate(weights) if i not in named)
    taken = math.fsum(named.values())
    scale = min(1.0, most / taken) if taken else 1.0
    for i, p in named.items():
        element, fault, reasons, _ = found[i]
        weights[i] = rest * p * scale / (1.0 - taken * scale)
        what = "spent" if fault.fault == "spent" else "not in the car"
        reason = Because(text=f"The assessment gives {p:.1%} for a device that is {what}.")
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
