"""What the case knows of one loop: its fault, who worked on it, what stands beside it."""

import datetime as dt
from collections.abc import Iterator

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Chain, Element
from squibwise.errors import InputError
from squibwise.history.order import History, read_history
from squibwise.history.signed import loads_on
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork
from squibwise.model.names import ComponentName, side_of, split_component, split_loop
from squibwise.model.report import CodeLine, Report

_WORK = ("replaced", "reseated", "repaired", "disconnected")
_WHEEL = ("clock-spring", "steering-wheel", "steering-column", "front-bag")
_SEAT = ("seat-frame", "seat-foam-cover")
_DASH = ("instrument-panel", "knee-bolster", "steering-column")
_PILLAR = ("pillar-trim", "headliner", "height-adjuster", "belt-webbing")
_MANY = 4


class Sign(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What reports say of the loop.

    Attributes:
        weight: Fault words with their share.
        statuses: Status words of the lines.
        report: The report it was last seen in; None when no report names this loop.
        gone_since: Id of a later report that no longer names it; empty when there is none.
        evidence: Ids of the reports.
        sources: Source ids its reading leans on.
    """

    weight: dict[str, float]
    statuses: frozenset[str] = frozenset()
    report: Report | None = None
    gone_since: str = ""
    evidence: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()

    @property
    def comes_and_goes(self) -> bool:
        """Does the fault come and go."""
        return "intermittent" in self.statuses

    @property
    def stored_only(self) -> bool:
        """Is it only remembered, not there."""
        remembered = self.statuses & {"stored", "pending", "cleared"}
        return bool(self.gone_since or (remembered and "present" not in self.statuses))


class Context(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that moves the hypotheses of a loop.

    Attributes:
        loop: Loop id with its stage.
        name: Its component.
        stage: Its stage.
        chain: Its elements.
        sign: What reports say.
        worked: Evidence ids of recent work, by element id.
        unverified: Evidence ids of work after the last report that named the fault.
        replaced: Kinds replaced before that report: ``device`` for the loop's own.
        shared: Elements through which other loops with a fault run.
        alone: Elements that serve many circuits of which no other has a fault.
        near_crash: Was the car struck beside this loop.
        fired: Chance that its charge is spent, among its faults when one is read; None for loops
            without a charge.
        twin_fired: Greatest chance that another stage of the same device has fired.
        load_out: Ids of loads issued to this loop and not returned.
        load_before: Those among them that were there when the fault was read.
        done_before: Ids of work done before the report that named the fault.
    """

    loop: str
    name: ComponentName
    stage: int
    chain: Chain
    sign: Sign
    worked: dict[str, tuple[str, ...]] = {}
    unverified: tuple[str, ...] = ()
    replaced: frozenset[str] = frozenset()
    shared: frozenset[str] = frozenset()
    alone: frozenset[str] = frozenset()
    near_crash: bool = False
    fired: float | None = None
    twin_fired: float = 0.0
    load_out: tuple[str, ...] = ()
    load_before: tuple[str, ...] = ()
    done_before: tuple[str, ...] = ()


def context_of(case: Case, assessment: Assessment, loop: str, catalog: Catalog) -> Context:
    """Return what the case knows of a loop.

    Raises:
        InputError: The car has no such component, or the component has no circuit.
    """
    component, stage = split_loop(loop)
    name, chain = _chain(case, component, stage, catalog)
    sign = sign_of(case, component, stage)
    history = read_history(case.evidence)
    before, after = _split_at(history, sign.report)
    recent = [w for w in before if _recent(w, sign.report, catalog)]
    return Context(
        loop=f"{component}/{stage}",
        name=name,
        stage=stage,
        chain=chain,
        sign=sign,
        worked=_worked(chain, name, recent, catalog),
        unverified=tuple(w.id for w in after if _worked(chain, name, [w], catalog)),
        replaced=_replaced(name, before),
        shared=_shared(assessment, name, stage, sign, catalog),
        alone=_alone(sign, component),
        near_crash=_near_crash(case, assessment, name, catalog),
        fired=_fired(assessment, component, stage, chain, sign),
        twin_fired=_twin_fired(assessment, component, stage, chain),
        load_out=(out := tuple(s.id for s in loads_on(history, (component, stage)))),
        load_before=tuple(i for i in out if _before(i, sign.report, history)),
        done_before=tuple(w.id for w in before),
    )


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
    return name, chain


def _has_circuit(component: str, catalog: Catalog) -> bool:
    kind = catalog.kinds.get(split_component(component).kind)
    return kind is not None and kind.circuit


def lines_for(report: Report, component: str, stage: int) -> Iterator[tuple[CodeLine, str, float]]:
    """Yield the lines of a report that may speak of a loop, each with a fault word and its share.

    A line that names only the kind, or the kind and no place, counts by a share.
    """
    for line in report.reading.lines:
        if line.component == component and line.stage in (None, stage):
            yield line, line.fault, 1.0
        elif line.component is None:
            yield from _perhaps(line, component, stage)


def _perhaps(line: CodeLine, component: str, stage: int) -> Iterator[tuple[CodeLine, str, float]]:
    name = split_component(component)
    for candidate in line.candidates:
        if candidate.stage not in (None, stage):
            continue
        if candidate.component == component:
            yield line, candidate.fault, candidate.weight
        elif candidate.component is None and _may_be(candidate.kind, candidate.place, name):
            yield line, candidate.fault, candidate.weight * _UNPLACED
    if not line.candidates and _may_be(line.kind, line.place, name):
        yield line, line.fault, _UNPLACED


_UNPLACED = 0.5


def _may_be(kind: str | None, place: str | None, name: ComponentName) -> bool:
    return kind == name.kind and place in (None, name.place)


def sign_of(case: Case, component: str, stage: int) -> Sign:
    """Return what the newest report that names a loop says of it."""
    reports = [e for e in case.evidence if isinstance(e, Report)]
    named = [r for r in reports if any(True for _ in lines_for(r, component, stage))]
    if not named:
        return Sign(weight={"unknown": 1.0})
    last = named[-1]
    found = list(lines_for(last, component, stage))
    later = reports[reports.index(last) + 1 :]
    clean = [
        r.id for r in later if r.reading.coverage.complete and r.reading.coverage.able is not False
    ]
    weight: dict[str, float] = {}
    for _, fault, share in found:
        weight[fault] = max(weight.get(fault, 0.0), share)
    return Sign(
        weight=weight,
        statuses=frozenset(s for line, _, _ in found for s in line.status),
        report=last,
        gone_since=clean[-1] if clean else "",
        evidence=tuple(r.id for r in named),
        sources=tuple(dict.fromkeys(s for line, _, _ in found for s in line.sources)),
    )


def _split_at(history: History, report: Report | None) -> tuple[list[DoneWork], list[DoneWork]]:
    """Return the work done before and after a report; all of it came before when there is none."""
    works = [(n, w) for n, w in history.all_of(DoneWork) if w.what in _WORK]
    cut = len(history.entries) if report is None else history.place_of(report.id)
    return [w for n, w in works if n <= cut], [w for n, w in works if n > cut]


def _recent(work: DoneWork, report: Report | None, catalog: Catalog) -> bool:
    if work.time is None or report is None or report.time is None:
        return True
    days = catalog.fact("isolation.recent-days").number()
    return report.time - work.time <= dt.timedelta(days=days)


def _worked(
    chain: Chain, name: ComponentName, works: list[DoneWork], catalog: Catalog
) -> dict[str, tuple[str, ...]]:
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
    rules = {
        "self": other == name,
        "plug-mates": mates,
        "seat": beside and (other.kind in _SEAT or plug == "seat"),
        "wheel": other.place in ("driver", "centre") and other.kind in _WHEEL,
        "dash": other.kind in _DASH or (plug == "dash" and beside),
        "pillar": other.kind in _PILLAR or (plug == "pillar" and beside),
        "nose": plug == "nose" and beside,
        "unit": other.kind == "control-unit",
        "wiring": other.kind == "wiring",
    }
    return rules[word]


def _beside(place: str, own: str) -> bool:
    return place in (own, "centre")


def _replaced(name: ComponentName, works: list[DoneWork]) -> frozenset[str]:
    kinds = set()
    for work in works:
        if work.what == "replaced" and "." in work.component:
            other = split_component(work.component)
            kinds.add("device" if other == name else other.kind)
    return frozenset(kinds)


def _shared(
    assessment: Assessment, name: ComponentName, stage: int, sign: Sign, catalog: Catalog
) -> frozenset[str]:
    """Return the elements through which other loops with an electrical fault run."""
    others = _faulty_loops(sign.report) - {(name.id, stage), (name.id, 0)}
    plug = catalog.kinds[name.kind].plug
    mates = any(c != name.id and _plug_at(c, catalog) == (name.place, plug) for c, _ in others)
    twin = any(c == name.id for c, _ in others)
    threshold = catalog.fact("isolation.cause-counts").number()
    causes = {c for c, p in assessment.event.causes.items() if p >= threshold}
    seat = mates or f"shared-plug:{name.place}.{plug}" in causes
    wheel = twin or mates or bool(causes & _WHEEL_CAUSES)
    lifted = {
        "seat-plug": seat,
        "jamb-plug": seat,
        "clock-spring": wheel,
        "column-plug": wheel,
        "device-plug": twin,
        "unit-plug": len({c for c, _ in others}) >= _MANY,
    }
    return frozenset(element for element, on in lifted.items() if on)


def _alone(sign: Sign, component: str) -> frozenset[str]:
    """Return the unit's plug when a report of all circuits has a fault on this loop only."""
    complete = sign.report is not None and sign.report.reading.coverage.complete
    others = {c for c, _ in _faulty_loops(sign.report)} - {component}
    return frozenset({"unit-plug"}) if complete and not others else frozenset()


_WHEEL_CAUSES = {"clock-spring", "shared-plug:driver.wheel"}


def _faulty_loops(report: Report | None) -> set[tuple[str, int]]:
    """Return component and stage (0 = not told) of loops with a line in a report."""
    if report is None:
        return set()
    return {
        (line.component, line.stage or 0)
        for line in report.reading.lines
        if line.component and line.fault not in ("event-recorded", "configuration", "identity")
    }


def _plug_at(component: str, catalog: Catalog) -> tuple[str, str]:
    name = split_component(component)
    kind = catalog.kinds.get(name.kind)
    return name.place, kind.plug if kind else "none"


def _near_crash(case: Case, assessment: Assessment, name: ComponentName, catalog: Catalog) -> bool:
    if assessment.event.no_crash >= 0.5:
        return False
    least = catalog.fact("isolation.near-zone").number()
    struck = [zone for zone, p in assessment.event.zones.items() if p >= least]
    own = side_of(name.place, case.car.drive_hand)
    if name.place.startswith("nose") or own is None:
        return any(z.split("-")[0] == name.place.split("-")[0] for z in struck) or own is None
    return any(side_of(z, case.car.drive_hand) in (own, None) for z in struck)


def _fired(
    assessment: Assessment, component: str, stage: int, chain: Chain, sign: Sign
) -> float | None:
    """Return the chance of a spent charge: among faults when one is read, else at all."""
    belief = assessment.of(component)
    if belief is None or chain.circuit != "igniter":
        return None
    circuit = belief.stages.get(str(stage))
    fired = belief.now.fired if circuit is None else circuit.fired
    faulty = belief.now.faulty if circuit is None else circuit.faulty
    if sign.report is None:
        return fired
    return fired / (fired + faulty) if fired + faulty > 0.0 else 0.0


def _twin_fired(assessment: Assessment, component: str, stage: int, chain: Chain) -> float:
    """Return the greatest chance that another stage of the same device has fired."""
    belief = assessment.of(component)
    if belief is None or chain.circuit != "igniter":
        return 0.0
    return max((s.fired for n, s in belief.stages.items() if n != str(stage)), default=0.0)


def _before(evidence: str, report: Report | None, history: History) -> bool:
    """Return whether an entry came before the report that named the fault."""
    return report is None or history.place_of(evidence) < history.place_of(report.id)
