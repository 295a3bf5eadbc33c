"""Where the fault of each circuit lies, as tracing holds it, for the answer about the whole car."""

import math
from collections.abc import Callable, Mapping, Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.history.returned import lines_for
from squibwise.isolate.context import LIKELY
from squibwise.isolate.one_code import OneCode, mark_shares, read_open_codes
from squibwise.isolate.outcomes import word_of_part
from squibwise.isolate.places import place_of
from squibwise.isolate.tracing import Search, search_of
from squibwise.model.belief import Assessment, CircuitCause, FaultyCircuit, OpenQuestion
from squibwise.model.case import Case
from squibwise.model.evidence import LampCheck, TestOutcome
from squibwise.model.names import loop_id, split_loop
from squibwise.model.report import Report

UNIT = "centre.control-unit"
_PARTS = ("part", "device")


def causes_of_circuits(
    case: Case,
    states: Assessment,
    prior_of: Callable[[str], Assessment],
    catalog: Catalog,
    own_cases: Mapping[str, int] | None = None,
) -> tuple[FaultyCircuit, ...]:
    """Return the causes of every circuit that the last report names or that was tested.

    Args:
        case: Everything known of the car, in order.
        states: What is believed of it; a device held for fired is left out.
        prior_of: What tracing starts from, by loop.
        catalog: Loops, tests, repairs and their figures.
        own_cases: How often each ``element:fault`` was proved in the user's own finished cases.
    """
    found = []
    codes = read_open_codes(case, states, catalog)
    for component, stage in _list_loops(case, states, codes, catalog):
        loop = loop_id(component, stage)
        try:
            search = search_of(case, prior_of(loop), loop, catalog, own_cases)
        except InputError:  # said where it is traced
            continue
        known = search.context.reported.is_told or search.standing.weighed
        if known and not _is_over(search):
            found.append(_lay_out(search))
    return mark_shares(found, codes)


def _list_loops(
    case: Case, states: Assessment, codes: Sequence[OneCode], catalog: Catalog
) -> list[tuple[str, int]]:
    """Return the circuits that the last report speaks of, or that were tested."""
    least = catalog.fact("isolation.may-be-meant").number()
    meant = {c for code in codes for c, p in code.shares.items() if p >= least}
    unlikely = {c for code in codes for c in code.shares} - meant
    last = [e for e in case.evidence if isinstance(e, Report)][-1:]
    tested = {split_loop(e.loop) for e in case.evidence if isinstance(e, TestOutcome)}
    loops = {(c.id, int(stage)) for c in states.components for stage in c.stages}
    told = {c for c in loops for r in last if _names(r, *c, catalog, c[0] in meant)}
    told = {c for c in told if c[0] not in unlikely}
    if any(r.reading.coverage.silent is not None for r in last):
        told |= {c for c in loops if c[0] == UNIT}
    if any(isinstance(e, LampCheck) for e in case.evidence):
        told |= {c for c in loops if c[0].endswith(".warning-lamp")}
    spent = {c.id for c in states.components if c.now.fired >= LIKELY}
    return sorted(c for c in told | tested if c[0] not in spent)


def _names(report: Report, component: str, stage: int, catalog: Catalog, is_meant: bool) -> bool:
    told = sum(share for _, _, share in lines_for(report, component, stage, catalog))
    return told >= LIKELY or (is_meant and told > 0.0)


def _is_over(search: Search) -> bool:
    """Return whether nothing is left to look for: cured, or no cause on the list is left."""
    return bool(search.standing.fixed or search.standing.unconfirmed or search.standing.exhausted)


def _lay_out(search: Search) -> FaultyCircuit:
    """Return the causes, and the same by place: of single faults, as pairs have two places."""
    suspects, tested = search.standing.suspects, bool(search.standing.weighed)
    where: dict[str, float] = {}
    for suspect in (s for s in suspects if len(s.parts) == 1):
        place = place_of(suspect.parts[0], search.context)
        if place in _PARTS:
            place = word_of_part(suspect.parts[0], search.context) if tested else "part"
        where[place] = where.get(place, 0.0) + suspect.p
    total = math.fsum(where.values())
    return FaultyCircuit(
        loop=search.context.loop,
        causes=tuple(CircuitCause(id=s.id, title=s.title, p=s.p) for s in suspects),
        where={place: p / total for place, p in where.items()},
    )


def place_faults(
    states: Assessment,
    circuits: tuple[FaultyCircuit, ...],
    asked: tuple[OpenQuestion, ...] = (),
) -> Assessment:
    """Return the assessment with these circuits, each stage's fault lying where tracing has it.

    What is asked of them comes before all else that is asked.
    """
    at = {split_loop(c.loop): c.where for c in circuits}
    components = tuple(
        msgspec.structs.replace(
            c,
            stages={
                s: msgspec.structs.replace(b, where=at.get((c.id, int(s)), b.where))
                for s, b in c.stages.items()
            },
        )
        if any(c.id == component for component, _ in at)
        else c
        for c in states.components
    )
    return msgspec.structs.replace(
        states,
        components=components,
        circuits=circuits,
        open_questions=(*asked, *states.open_questions),
    )
