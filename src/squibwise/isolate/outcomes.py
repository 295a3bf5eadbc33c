"""What the tests of a case say, as evidence for the whole car: where a fault lies, what it is in.

Each outcome is weighed by the figures of its card and the causes that were left before it, so that
assessing and tracing move by the same measure, each once.
"""

import math
from collections.abc import Mapping

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.isolate.bench import BenchRepair
from squibwise.isolate.context import Context
from squibwise.isolate.places import place_of
from squibwise.isolate.repaired import fixes
from squibwise.isolate.reported import faulty_loops
from squibwise.isolate.suspects import Suspect
from squibwise.isolate.tracing import Search, search_of
from squibwise.model.belief import Assessment, BenchBelief, Located, TestWeight
from squibwise.model.case import Case
from squibwise.model.evidence import TestOutcome
from squibwise.model.names import loop_id, side_of, split_component, split_loop
from squibwise.model.report import Report
from squibwise.numerics.troubleshoot.planner import NOT_FIXED

_PART = "part"
_PARTS = ("part", "device")
_ELSEWHERE = {"plug": "contact", "segment": "wiring", "coil": "wiring", "unit": "unit"}
_SUPPLY = ("supply", "ground", "bus")


def weigh_tests(
    case: Case, assessment: Assessment, catalog: Catalog, own_cases: Mapping[str, int] | None = None
) -> BenchBelief:
    """Return what the outcomes entered say of every circuit that was tested.

    Args:
        case: Everything known of the car, in order.
        assessment: What is believed without any outcome.
        catalog: Loops, tests, repairs and their figures.
        own_cases: How often each ``element:fault`` was proved in the user's own finished cases.
    """
    weights: dict[str, TestWeight] = {}
    parts: dict[tuple[str, int], dict[str, float]] = {}
    located: dict[str, Located] = {}
    unproved: dict[str, str] = {}
    outcomes = [e for e in case.evidence if isinstance(e, TestOutcome)]
    tested = {split_loop(e.loop) for e in outcomes}
    for component, stage in sorted(tested | _reported(case)):
        try:
            search = search_of(case, assessment, loop_id(component, stage), catalog, own_cases)
        except InputError:  # said where it is traced
            continue
        done = [e.id for e in outcomes if e.test == search.standing.unverified]
        if done:
            unproved[component] = done[-1]
        if (component, stage) not in tested:
            continue
        if search.standing.fixed:
            weights |= _of_the_old_state(search, outcomes)
        else:
            weights |= {w.evidence: w for w in search.standing.weighed}
        parts[component, stage] = _share_parts(search)
        if search.standing.unconfirmed:
            unproved[component] = search.standing.unconfirmed
        for found in _locate(search, case, catalog):
            known = located.get(found.component)
            located[found.component] = found if known is None or found.p > known.p else known
    return BenchBelief(
        weights=weights, parts=parts, located=tuple(located.values()), unproved=unproved
    )


def _of_the_old_state(search: Search, outcomes: list[TestOutcome]) -> dict[str, TestWeight]:
    """Return no weight for repairs in vain before a fault was cured: they told of the old state."""
    own = split_loop(search.context.loop)
    vain = [e for e in outcomes if split_loop(e.loop) == own and e.outcome == NOT_FIXED]
    return {
        e.id: TestWeight(evidence=e.id, test=e.test, outcome=e.outcome, likely={}, otherwise=1.0)
        for e in vain
    }


def _reported(case: Case) -> set[tuple[str, int]]:
    """Return the circuits of the last report: what they share with a tested one may be mended."""
    reports = [e for e in case.evidence if isinstance(e, Report)]
    return {(c, max(s, 1)) for r in reports[-1:] for c, s in faulty_loops(r)}


def _share_parts(search: Search) -> dict[str, float]:
    """Return where a fault of the part or its own wiring lies, by what is left to suspect."""
    found: dict[str, float] = {}
    for suspect in search.standing.suspects:
        if len(suspect.parts) == 1 and place_of(suspect.parts[0], search.context) in _PARTS:
            word = word_of_part(suspect.parts[0], search.context)
            found[word] = found.get(word, 0.0) + suspect.p
    total = math.fsum(found.values())
    return {word: p / total for word, p in found.items()} if total else {}


def word_of_part(part: str, context: Context) -> str:
    """Return what a fault of the part or its wiring is in: the part alone, or what else."""
    name = part.partition(":")[0]
    element = next((e for e in context.chain.element if e.id == name), None)
    if name == context.own or element is None:
        return _PART
    return "supply" if name in _SUPPLY else _ELSEWHERE.get(element.role, _PART)


def _locate(search: Search, case: Case, catalog: Catalog) -> list[Located]:
    """Return the parts that the tests allow to renew, as far as the fault is believed in them."""
    standing, context = search.standing, search.context
    if standing.fixed or standing.unconfirmed or standing.exhausted or not standing.seen:
        return []
    least = catalog.fact("isolation.located").number()
    found = []
    for repair in (r for r in search.repairs if r.repair.part and r.id not in standing.done):
        component = _component_of(repair, case, context)
        ids = _locating(repair, search)
        worked = context.history.last_work_on(component)
        if not ids or worked > max(context.position(i) for i in ids):
            continue
        p = math.fsum(s.p for s in standing.suspects if _needs(repair, s.parts, search))
        if p >= least:
            found.append(
                Located(
                    component=component,
                    loop=context.loop,
                    element=repair.point.id,
                    p=min(1.0, p),
                    evidence=ids,
                )
            )
    return found


def _locating(repair: BenchRepair, search: Search) -> tuple[str, ...]:
    """Return the outcomes that open the way to a repair; empty while one of its tests is left."""
    standing, known = search.standing, {t.id for t in search.tests}
    entered = [w for w in standing.weighed if w.test in known]
    enough = tuple(w.evidence for w in entered if (w.test, w.outcome) in repair.unless)
    if enough:
        return enough
    wanted = repair.after & known
    if not wanted or wanted - standing.done:
        return ()
    return tuple(w.evidence for w in entered if w.test in wanted)


def _needs(repair: BenchRepair, parts: tuple[str, ...], search: Search) -> bool:
    """Return whether a cause is in the part itself, and nothing but the part mends it."""
    own = (p for p in parts if p.startswith(f"{repair.point.id}:"))
    milder = [r for r in search.repairs if not r.repair.part]
    return any(not any(fixes(r, p) for r in milder) for p in own)


def _component_of(repair: BenchRepair, case: Case, context: Context) -> str:
    """Return the component of the car that a repair renews; wiring is that nearest the part."""
    kind, own = repair.point.kind, context.name
    if repair.repair.part == "device" or not kind or kind == own.kind:
        return own.id
    side = side_of(own.place, case.car.drive_hand)
    order = [own.place, side, "centre"]
    alike = [c for c in case.car.components if split_component(c).kind == kind]
    places = (c for place in order for c in alike if split_component(c).place == place)
    return next(places, next(iter(alike), own.id))


def proved_causes(case: Case, assessment: Assessment, catalog: Catalog) -> dict[str, int]:
    """Return how often each ``<element>:<fault>`` was proved in one case, by its repairs.

    A repair that was entered as the one that fixed a loop proves the cause that it removes. When it
    removes several, one counts only if it holds most of their probability
    (``isolation.proved-share``): otherwise nothing was proved.
    """
    outcomes = {e.id: e for e in case.evidence if isinstance(e, TestOutcome)}
    causes: dict[str, int] = {}
    for loop in sorted({e.loop for e in outcomes.values()}):
        search = search_of(case, assessment, loop, catalog)
        cause = _proved(search, outcomes, catalog)
        if cause:
            causes[cause] = causes.get(cause, 0) + 1
    return causes


def _proved(search: Search, outcomes: dict[str, TestOutcome], catalog: Catalog) -> str | None:
    last = outcomes.get(search.standing.fixed)
    repair = next((r for r in search.repairs if last and r.id == last.test), None)
    if repair is None:
        return None
    removed = _removed(search.standing.suspects, repair)
    best = max(removed, key=lambda s: s.p, default=None)
    share = catalog.fact("isolation.proved-share").number()
    if best is None or best.p < share * math.fsum(s.p for s in removed):
        return None
    return best.id


def _removed(suspects: tuple[Suspect, ...], repair: BenchRepair) -> list[Suspect]:
    return [s for s in suspects if len(s.parts) == 1 and fixes(repair, s.parts[0])]
