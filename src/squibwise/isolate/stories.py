"""What the owner tells of a circuit at fault, as evidence for the whole car.

The steps by which a story moves the causes are weighed where the circuit is known, once; assessing
takes them over by where each cause lies, so that it and tracing believe the same.
"""

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.isolate.context import Context, context_of
from squibwise.isolate.one_code import read_open_codes
from squibwise.isolate.places import place_of
from squibwise.isolate.prose import told_of
from squibwise.isolate.reported import faulty_loops, is_spent
from squibwise.isolate.suspects import Found, found_in
from squibwise.model.belief import Assessment, StoryWeight
from squibwise.model.case import Case
from squibwise.model.evidence import Story
from squibwise.model.names import loop_id
from squibwise.model.report import Report


def weigh_stories(
    case: Case, assessment: Assessment, catalog: Catalog
) -> dict[str, tuple[StoryWeight, ...]]:
    """Return what is told of the circuits at fault, by the last report that names them.

    A line that may be of several parts names each of them: what is told says whose it is.
    Several stages of one part share what is told of it: the first of them counts. Circuits of one
    place share their story: each takes its part of it.

    Args:
        case: Everything known of the car, in order.
        assessment: What is believed without the story.
        catalog: Loops, signs and their figures.
    """
    reports = [e for e in case.evidence if isinstance(e, Report)]
    if not reports or not any(isinstance(e, Story) for e in case.evidence):
        return {}
    first: dict[str, int] = {}
    meant = {c for x in read_open_codes(case, assessment, catalog) for c in x.shares}
    for component, stage in sorted({*faulty_loops(reports[-1]), *((c, 0) for c in meant)}):
        if not is_spent(assessment, component):
            first.setdefault(component, max(stage, 1))
    told = [t for c, s in first.items() if (t := _told(case, assessment, c, s, catalog))]
    places = [t.component.partition(".")[0] for t in told]
    shared = tuple(
        _share(t, 1.0 / places.count(place)) for t, place in zip(told, places, strict=True)
    )
    return {reports[-1].id: shared} if shared else {}


def _told(
    case: Case, assessment: Assessment, component: str, stage: int, catalog: Catalog
) -> StoryWeight | None:
    """Return what is told of one circuit; None when it is nothing."""
    try:
        context = context_of(case, assessment, loop_id(component, stage), catalog)
    except InputError:  # said where it is traced
        return None
    told = told_of(context, catalog)
    ids = tuple(dict.fromkeys(t.evidence for t in told if t.evidence))
    if not ids:
        return None
    found = found_in(context, catalog)
    factors = _by_place(found, context)
    most = max(factors.values(), default=1.0)
    return StoryWeight(
        component=component,
        stage=stage,
        evidence=ids,
        likely={place: f / most for place, f in factors.items()},
        otherwise=min(1.0, 1.0 / most),
    )


def _by_place(found: list[Found], context: Context) -> dict[str, float]:
    """Return how many times likelier the story is, by where the fault lies.

    It is averaged over the causes of a place by what they weigh without it.
    """
    before: dict[str, float] = {}
    after: dict[str, float] = {}
    for fault in found:
        for place in {place_of(fault.id, context), *_also(fault.id, context)}:
            before[place] = before.get(place, 0.0) + fault.weight / fault.told
            after[place] = after.get(place, 0.0) + fault.weight
    return {place: after[place] / before[place] for place in before}


def _also(part: str, context: Context) -> tuple[str, ...]:
    """Return the wider place of a cause: the part and its own wiring hold the part itself."""
    return ("part",) if place_of(part, context) == "device" else ()


def _share(weight: StoryWeight, power: float) -> StoryWeight:
    return StoryWeight(
        component=weight.component,
        stage=weight.stage,
        evidence=weight.evidence,
        likely={place: p**power for place, p in weight.likely.items()},
        otherwise=weight.otherwise**power,
    )
