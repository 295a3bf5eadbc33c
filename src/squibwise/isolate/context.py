"""What the case knows of one circuit: the fault as reported, who worked on it, what is beside."""

import re
from typing import get_args

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Chain, Element, LoopRepair
from squibwise.catalog.story_words import Sign
from squibwise.errors import InputError, ModelError
from squibwise.history.apart import list_apart
from squibwise.history.order import History, put_in_order, read_history
from squibwise.history.prices import LABOUR, price_levels, read_price_book
from squibwise.history.signed import loads_on
from squibwise.isolate.reported import Reported, faulty_loops, is_spent, reported_of
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.cost import from_major
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Evidence,
    Impact,
    Look,
    Recorder,
    Statement,
    TestOutcome,
)
from squibwise.model.names import ComponentName, side_of, split_component, split_loop
from squibwise.model.report import Report
from squibwise.model.words import Comes

LIKELY = 0.5  # more likely than not
_COMING = {"coming", "wiggled", "part-moved", "column-moved", "wind", *get_args(Comes)}
_COMING -= {"engine-start"}  # what comes then may well stay
WORK = ("replaced", "reseated", "repaired", "disconnected")
_WHEEL = ("clock-spring", "steering-wheel", "steering-column")
_COVER = "seat-foam-cover"
_SEAT = ("seat-frame", _COVER)
_DASH = ("instrument-panel", "knee-bolster", "steering-column")
_PILLAR = ("pillar-trim", "headliner", "height-adjuster", "belt-webbing")
_DOOR = ("vapour-barrier",)


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """A sign that somebody told.

    Attributes:
        sign: The catalogue's sign.
        evidence: Id of the entry that tells it.
        at: Element that it is told of; empty for the whole circuit.
    """

    sign: Sign
    evidence: str
    at: str = ""


class Context(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that moves the hypotheses of a circuit.

    Attributes:
        case: The case, its evidence in order.
        history: The same as a course of events.
        assessment: What inference believes of it.
        loop: Loop id with its stage.
        name: Its component.
        stage: Its stage.
        chain: Its elements.
        reported: What reports say.
        works: What was done on the car, in order.
        cleared: Ids of entries that say the codes were cleared.
        worked: Evidence ids of work before the fault was first read, by element id.
        unverified: Evidence ids of work after the last report that named the fault.
        faulty: Other circuits at fault in the last report that named this one, with the component
            and stage (0 = not told), which no earlier report named without this one.
        near_crash: Was the car struck beside this circuit.
        fired: Chance that its charge is spent; None for circuits without a charge.
        missing: Chance that its device is not in the car.
        seen_spent: Did an eye see it fired or gone.
        believed: Chance of each common cause on this circuit, by the assessment.
        twin_fired: Greatest chance that another stage of the same device has fired.
        load_out: Ids of loads issued to this circuit and not returned.
        load_before: Those among them that were there when the fault was read.
        apart: What was opened so that its connector is apart now, with no load in its place;
            empty when it is together.
        told: What the owner's prose tells of it, once it has been read; None before.
    """

    case: Case
    history: History
    assessment: Assessment
    loop: str
    name: ComponentName
    stage: int
    chain: Chain
    reported: Reported
    works: tuple[DoneWork, ...] = ()
    cleared: tuple[str, ...] = ()
    worked: dict[str, tuple[str, ...]] = {}
    unverified: tuple[str, ...] = ()
    faulty: frozenset[tuple[str, int]] = frozenset()
    near_crash: bool = False
    fired: float | None = None
    missing: float = 0.0
    seen_spent: bool = False
    believed: dict[str, float] = {}
    twin_fired: float = 0.0
    load_out: tuple[str, ...] = ()
    load_before: tuple[str, ...] = ()
    apart: str = ""
    told: tuple[Told, ...] | None = None

    @property
    def own(self) -> str:
        """Id of the element that is the component itself: the device, the unit, the coil."""
        ids = [e.id for e in self.chain.element]
        return "device" if "device" in ids else ids[0]

    @property
    def load_hides(self) -> bool:
        """Is a load still out on a circuit that reads good: it answers in the device's place."""
        unread = self.name.id in self.assessment.loads_left_in
        return not self.reported.is_told and (bool(self.load_out) or unread)

    @property
    def may_hide(self) -> bool:
        """Has the fault been away before, by the reports or by what is told of when it comes."""
        told = {t.sign.id for t in self.told or ()}
        return self.reported.may_hide or bool(told & _COMING)

    def position(self, evidence: str) -> int:
        """Return where an entry stands in the order of the case."""
        return self.history.place_of(evidence)


def context_of(case: Case, assessment: Assessment, loop: str, catalog: Catalog) -> Context:
    """Return what the case knows of a circuit.

    Raises:
        InputError: The car has no such component, or the component has no circuit.
    """
    component, stage = circuit_of(loop)
    name, chain = _chain(case, component, stage, catalog)
    case, history = put_in_order(case), read_history(case.evidence)
    reported = reported_of(case, assessment, component, stage, chain, catalog)
    works = tuple(w for _, w in history.all_of(DoneWork) if w.what in WORK)
    place, end = history.place_of, len(history.entries)
    first = end if reported.first is None else place(reported.first.id)
    last = end if reported.report is None else place(reported.report.id)
    before = [w for w in works if place(w.id) < first]
    after = [w for w in works if place(w.id) > last]
    recent = [w for w in before if _recent(w, reported.first, catalog)]
    belief = assessment.get(component)
    out = tuple(s.id for s in loads_on(history, (component, stage)))
    return Context(
        case=case,
        history=history,
        assessment=assessment,
        loop=f"{component}/{stage}",
        name=name,
        stage=stage,
        chain=chain,
        reported=reported,
        works=works,
        cleared=tuple(w.id for _, w in history.all_of(DoneWork) if w.what == "cleared"),
        worked=touched_by(chain, name, recent, catalog),
        unverified=tuple(w.id for w in after if touched_by(chain, name, [w], catalog)),
        faulty=_others(case, assessment, reported, component, stage),
        near_crash=_near_crash(case, assessment, name, catalog),
        fired=_fired(case, assessment, component, stage, chain, catalog),
        missing=0.0 if belief is None else belief.now.missing,
        seen_spent=_seen_spent(case, assessment, component),
        believed=_believed(assessment, name),
        twin_fired=_twin_fired(assessment, component, stage, chain),
        load_out=out,
        load_before=tuple(i for i in out if place(i) < last),
        apart="" if out else list_apart(history, case.car, catalog).get(component, ""),
    )


def circuit_of(loop: str) -> tuple[str, int]:
    """Return the component and the stage that a person names.

    Raises:
        InputError: The stage is no number.
    """
    try:
        return split_loop(loop)
    except ModelError as error:
        remedy = "Write COMPONENT or COMPONENT/STAGE, such as driver.front-bag/2."
        raise InputError(f"{error}.", remedy=remedy) from error


def before_tests(case: Case, loop: str) -> Case:
    """Return the case without the outcomes of a circuit's own tests, as it stood before them."""
    own = circuit_of(loop)
    kept = (e for e in case.evidence if not isinstance(e, TestOutcome) or not counts_for(e, own))
    return msgspec.structs.replace(case, evidence=tuple(kept))


_EVERY_TRACK = ("meter:clock-spring", "sound")
_SHARED = ("look:seat-plug", "look:jamb-plug", "look:column-plug")


def counts_for(outcome: TestOutcome, own: tuple[str, int]) -> bool:
    """Return whether an outcome tells of a circuit: its own, or seen of what circuits share.

    What was seen at a part is so for each of its stages, and so is a clock spring every track of
    which is sound; at a connector that circuits of a place share, for each of them.
    """
    component, stage = split_loop(outcome.loop)
    if (component, stage) == own:
        return True
    place = component.partition(".")[0] == own[0].partition(".")[0]
    seen = outcome.test.startswith(("look:", "look-cover", "label:"))
    seen = component == own[0] and (seen or (outcome.test, outcome.outcome) == _EVERY_TRACK)
    return seen or (place and outcome.test in _SHARED)


def _chain(case: Case, component: str, stage: int, catalog: Catalog) -> tuple[ComponentName, Chain]:
    if component not in case.car.components:
        circuits = [c for c in case.car.components if _has_circuit(c, catalog)]
        raise InputError(
            f"this car has no '{component}'",
            remedy=f"Its loops belong to: {', '.join(circuits)}. Add parts under [car] add.",
        )
    name = split_component(component)
    chain = catalog.loops.chain(name.kind, name.place)
    if chain is None or not _has_circuit(component, catalog):
        raise InputError(
            f"'{component}' is in no circuit that the unit watches",
            remedy="Trace a component with a circuit; this one is judged by looking.",
        )
    if stage > case.car.stages.get(component, 1):
        raise InputError(
            f"'{component}' has no stage {stage} on this car",
            remedy=f"It has {case.car.stages.get(component, 1)}; see [car] stages.",
        )
    return name, _named(chain, catalog.kinds[name.kind].title)


def _named(chain: Chain, kind: str) -> Chain:
    """Return a chain whose device is called by its own name."""
    named = tuple(
        msgspec.structs.replace(e, title=e.title.format(kind=kind)) for e in chain.element
    )
    return msgspec.structs.replace(chain, element=named)


def _has_circuit(component: str, catalog: Catalog) -> bool:
    kind = catalog.kinds.get(split_component(component).kind)
    return kind is not None and kind.circuit


def _others(
    case: Case, assessment: Assessment, reported: Reported, component: str, stage: int
) -> frozenset[tuple[str, int]]:
    """Return the other circuits at fault together with this one, spent ones left aside.

    Of a fault that comes and goes each report shows a part: those of all its reports count.
    """
    if reported.report is None or reported.first is None:
        return frozenset()
    reports = [e for e in case.evidence if isinstance(e, Report)]
    newest = {reported.report.id}
    told = set(reported.evidence) if reported.comes_and_goes else newest
    found = set[tuple[str, int]]().union(*(faulty_loops(r) for r in reports if r.id in told))
    for report in reports:
        if report is reported.first:
            break
        named = faulty_loops(report)
        if named.isdisjoint({(component, stage), (component, 0)}):
            found -= named
    spent = _crash(case, assessment) > 0.0
    return frozenset(
        (c, s)
        for c, s in found
        if (c, s) not in ((component, stage), (component, 0))
        and not (spent and is_spent(assessment, c))
    )


# Who worked on it.


def _recent(work: DoneWork, report: Report | None, catalog: Catalog) -> bool:
    if work.time is None or report is None or report.time is None:
        return True
    return (report.time - work.time).days <= catalog.fact("isolation.recent-days").number()


def touched_by(
    chain: Chain, name: ComponentName, works: list[DoneWork], catalog: Catalog
) -> dict[str, tuple[str, ...]]:
    """Return the ids of the work that touched each element of a circuit."""
    found: dict[str, tuple[str, ...]] = {}
    for element in chain.element:
        ids = tuple(w.id for w in works if _touches(w, element, name, catalog))
        if ids:
            found[element.id] = ids
    return found


def _touches(work: DoneWork, element: Element, name: ComponentName, catalog: Catalog) -> bool:
    if "." not in work.component:
        return False
    other = split_component(work.component)
    return any(_touch(word, other, name, catalog) for word in element.touched)


def _touch(word: str, other: ComponentName, name: ComponentName, catalog: Catalog) -> bool:
    """Return whether work on ``other`` touches an element marked with this word."""
    kind, beside = catalog.kinds.get(other.kind), _beside(other.place, name.place)
    plug = kind.plug if kind else ""
    mates = beside and plug != "none" and plug == catalog.kinds[name.kind].plug
    wheel = other.place in ("driver", "centre")
    rules = {
        "self": other == name or is_sold_with(other, name, catalog),
        "plug-mates": mates,
        "seat": beside and (other.kind in _SEAT or plug == "seat"),
        "seat-cover": beside and other.kind == _COVER,
        "wheel": wheel and other.kind in _WHEEL,
        "wheel-top": wheel and other.kind == "front-bag",
        "dash": other.kind in _DASH or (plug == "dash" and beside),
        "pillar": other.kind in _PILLAR or (plug == "pillar" and beside),
        "nose": plug == "nose" and beside,
        "door": other.kind in _DOOR and beside,
        "unit": other.kind == "control-unit",
        "wiring": other.kind == "wiring" and beside,
    }
    return rules[word]


def is_sold_with(other: ComponentName, name: ComponentName, catalog: Catalog) -> bool:
    """Return whether two components of one place are sold and fitted as one: belt and its lock."""
    kinds = {other.kind, name.kind}
    if other.place != name.place or len(kinds) < 2:
        return False
    return any(kinds <= {*a.key, *a.holds} for a in catalog.assemblies.values())


def _beside(place: str, own: str) -> bool:
    return place in (own, "centre")


# What stands beside it.


def _near_crash(case: Case, assessment: Assessment, name: ComponentName, catalog: Catalog) -> bool:
    if _crash(case, assessment) <= 0.5:
        return False
    least = catalog.fact("isolation.near-zone").number()
    struck = [zone for zone, p in assessment.event.zones.items() if p >= least]
    own = side_of(name.place, case.car.drive_hand)
    if name.place.startswith("nose") or own is None:
        return any(z.split("-")[0] == name.place.split("-")[0] for z in struck) or own is None
    return any(side_of(z, case.car.drive_hand) in (own, None) for z in struck)


def _believed(assessment: Assessment, name: ComponentName) -> dict[str, float]:
    """Return the chance of each common cause that the assessment sees on a circuit.

    Which connector is not home, the device's own or one that it shares, is not asked of it: it
    knows no more of it than that one is.
    """
    causes, place = assessment.event.causes, name.place
    shared = [c for c in causes if re.fullmatch(rf"shared-plug:{place}(\.\w+)?", c)]
    own = {
        "connector": [f"loose-plug:{name.id}", *shared],
        "clock-spring": ["clock-spring"] if place == "driver" else [],
        "supply": ["supply", "low-voltage"],
    }
    return {c: max((causes.get(i, 0.0) for i in ids), default=0.0) for c, ids in own.items()}


def _fired(
    case: Case, assessment: Assessment, component: str, stage: int, chain: Chain, catalog: Catalog
) -> float | None:
    """Return the chance of a spent charge as the assessment has it.

    In a car that was in no crash a bag does not fire unseen: there it is bounded.
    """
    belief = assessment.get(component)
    if belief is None or chain.circuit != "igniter":
        return None
    circuit = belief.stages.get(str(stage))
    fired = belief.now.fired if circuit is None else circuit.fired
    crash = _crash(case, assessment)
    most = catalog.fact("isolation.spent-without-crash").number()
    return min(fired, crash + (1.0 - crash) * most)


def _crash(case: Case, assessment: Assessment) -> float:
    """Return the chance of a crash; where it is denied, open codes alone make none."""
    denied = any(
        isinstance(e, Circumstance) and e.what == "crash" and not e.present for e in case.evidence
    )
    if denied and not any(_shows_crash(e, assessment) for e in case.evidence):
        return 0.0
    return 1.0 - assessment.event.no_crash


def _shows_crash(item: Evidence, assessment: Assessment) -> bool:
    """Return whether an entry shows more of a crash than the codes of circuits do."""
    if isinstance(item, Report):
        return any(line.fault == "event-recorded" for line in item.reading.lines)
    if isinstance(item, Look):
        return is_spent(assessment, item.component)
    return isinstance(item, Impact | Recorder | Statement)


def _seen_spent(case: Case, assessment: Assessment, component: str) -> bool:
    """Return whether somebody looked at the device and it is held for fired or gone since."""
    looked = any(isinstance(e, Look) and e.component == component for e in case.evidence)
    return looked and is_spent(assessment, component)


def _twin_fired(assessment: Assessment, component: str, stage: int, chain: Chain) -> float:
    """Return the greatest chance that another stage of the same device has fired."""
    belief = assessment.get(component)
    if belief is None or chain.circuit != "igniter":
        return 0.0
    return max((s.fired for n, s in belief.stages.items() if n != str(stage)), default=0.0)


# What the user pays and waits.


def part_minutes(
    case: Case, context: Context, element: Element, repair: LoopRepair, catalog: Catalog
) -> float:
    """Return what a repair's part costs as minutes of labour: the user's price where entered."""
    kind = context.name.kind if repair.part == "device" else element.kind
    wanted = [context.name.id, kind] if repair.part == "device" else [kind]
    price = read_price_book(case).find(*wanted)
    if not repair.part:
        return repair.part_minutes
    if price is None and repair.part == "device":
        return repair.part_minutes
    minor = price.likely.minor if price else _list_price(element, context, case, catalog)
    return repair.part_minutes if minor is None else minor / minor_per_minute(case, catalog)


def _list_price(element: Element, context: Context, case: Case, catalog: Catalog) -> int | None:
    """Return the catalogue's price of what is ordered, in minor units; of a single lead None."""
    kind, levels = element.kind, price_levels(case.currency, catalog)
    own = map(split_component, case.car.components)
    places = {n.place for n in own if n.kind == kind}
    sold = [a for a in catalog.assemblies.values() if kind in (*a.key, *a.holds)]
    whole = [a for a in sold if not a.instead and places & {*a.places}]
    branch = [a for a in sold if a.element == element.id and context.name.place in a.places]
    best = min(
        branch if element.role == "segment" else whole,
        key=lambda a: kind not in a.holds,
        default=None,
    )
    if best is None or best.new is None or levels is None:
        return None
    return from_major(round(best.new[1] * levels[1]), case.currency).minor


def minor_per_minute(case: Case, catalog: Catalog) -> float:
    """Return what a minute of work costs, in minor units: the user's rate where entered."""
    labour = read_price_book(case).find(LABOUR)
    if labour is not None and labour.likely.minor > 0:
        return labour.likely.minor / 60.0
    hour = 60.0 * catalog.fact("isolation.labour").number()
    return from_major(hour, case.currency).minor / 60.0


def wait_minutes(case: Case, catalog: Catalog) -> float:
    """Return the wait after each power-down: the maker's, or the longest published."""
    given = case.profile.wait_minutes
    return given.value if given else catalog.fact("isolation.longest-wait").number()
