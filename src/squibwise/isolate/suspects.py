"""Hypotheses: what can be at fault in a loop, how likely, and what moved it."""

import math
from collections.abc import Mapping

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Element, LoopFault
from squibwise.isolate.context import Context
from squibwise.model.belief import Because

_SURE = 0.98
_FLOOR = 0.002


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
    found = _found(context, catalog) or _found(_of_unknown_fault(context), catalog)
    weights = _with_fired(found, context)
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


def _found(
    context: Context, catalog: Catalog
) -> list[tuple[Element, LoopFault, tuple[Because, ...], float]]:
    """Return every fault that can show as what was read, with its reasons and weight."""
    step = catalog.fact("isolation.step").number()
    return [
        (element, fault, reasons, step**rank)
        for element in context.chain.element
        for fault in _faults_of(element, context, catalog)
        for rank, reasons in [_rank(fault, element, context, catalog)]
        if rank is not None
    ]


def _of_unknown_fault(context: Context) -> Context:
    """Return the context as if only a fault were known: what was read fits no element."""
    sign = msgspec.structs.replace(context.sign, weight={"unknown": 1.0})
    return msgspec.structs.replace(context, sign=sign)


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


def _rank(
    fault: LoopFault, element: Element, context: Context, catalog: Catalog
) -> tuple[float | None, tuple[Because, ...]]:
    """Return the ordinal rank of a fault after everything that moves it, and why."""
    sign = context.sign
    shares = [(fault.shows[w], share) for w, share in sign.weight.items() if w in fault.shows]
    step = catalog.fact("isolation.step").number()
    mass = math.fsum(share * step**rank for rank, share in shares)
    if mass <= 0.0:
        return None, ()
    moves = _moves(fault, element, context, catalog)
    rank = math.log(mass, step) + math.fsum(steps for steps, _ in moves)
    return rank, tuple(reason for steps, reason in moves if steps)


def _moves(
    fault: LoopFault, element: Element, context: Context, catalog: Catalog
) -> list[tuple[float, Because]]:
    """Return the steps up or down, each with its reason."""
    sign, new = context.sign, "device" if element.role == "device" else element.kind
    worked = context.worked.get(element.id, ())
    reports = sign.evidence[-1:]
    when = [
        (fault.worked, bool(worked), "It was worked on shortly before the fault was read.", worked),
        (fault.new, new in context.replaced, "The part was new when the fault was read.", ()),
        (fault.crash, context.near_crash, "The car was struck beside it.", ()),
        (fault.coming, sign.comes_and_goes, "The fault comes and goes.", reports),
        (fault.stored, sign.stored_only, "The code is remembered, not present.", reports),
        (fault.stored, bool(context.unverified), "Work was done since.", context.unverified),
        (
            fault.shared,
            element.id in context.shared,
            "Other loops through it are at fault.",
            reports,
        ),
        (
            fault.alone,
            element.id in context.alone,
            "No other of its circuits is at fault.",
            reports,
        ),
    ]
    moves = [(steps if holds else 0, text, ids) for steps, holds, text, ids in when]
    if element.id == "load" and context.load_before:
        steps = catalog.fact("isolation.load-issued-steps").number()
        moves.append(
            (int(steps), "A load was issued to this loop and not returned.", context.load_before)
        )
    if element.id == "supply" and _voltage_out(context, catalog):
        moves.append((3, "The supply was out of range when the codes were read.", reports))
    return [(steps, _because(text, steps, ids)) for steps, text, ids in moves]


def _because(text: str, steps: int, ids: tuple[str, ...]) -> Because:
    way = "up" if steps > 0 else "down"
    plural = "s" if abs(steps) > 1 else ""
    return Because(text=f"{text} {abs(steps)} step{plural} {way}.", evidence=ids, weak="judgement")


def _voltage_out(context: Context, catalog: Catalog) -> bool:
    report = context.sign.report
    volts = report.reading.coverage.unit_volts if report else None
    low, high = (catalog.fact(f"unit-volts.{end}").number() for end in ("low", "high"))
    return volts is not None and not low <= volts <= high


def _with_fired(
    found: list[tuple[Element, LoopFault, tuple[Because, ...], float]], context: Context
) -> list[float]:
    """Return the weights, with the spent charge given the share that inference gives it."""
    weights = [w for _, _, _, w in found]
    spent = [i for i, (e, f, _, _) in enumerate(found) if (e.id, f.fault) == ("device", "spent")]
    if not spent or context.fired is None:
        return weights
    p = min(_SURE, max(_FLOOR, context.fired))
    rest = math.fsum(weights) - weights[spent[0]]
    weights[spent[0]] = rest * p / (1.0 - p)
    element, fault, reasons, weight = found[spent[0]]
    reason = Because(text=f"The assessment gives {p:.0%} for a spent charge as the reason.")
    found[spent[0]] = (element, fault, (reason, *reasons), weight)
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
