"""Signs: what the case and its prose tell of each element, that moves its causes up or down."""

import datetime as dt
import re
from collections.abc import Iterable

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import Element
from squibwise.history.returned import is_whole
from squibwise.history.signed import ORIGINAL
from squibwise.isolate.context import Context, Told, is_sold_with, touched_by
from squibwise.isolate.reported import faulty_loops
from squibwise.model.evidence import DoneWork, Look, PartLabel, Reading, SeatTrial
from squibwise.model.names import ComponentName, side_of, split_component, split_loop
from squibwise.model.report import Report

_UNIT_SIDE = ("unit-plug", "unit", "supply", "ground", "bus")

Signs = dict[str, tuple[str, ...]]


def signs_of(element: Element, context: Context, told: Iterable[Told], catalog: Catalog) -> Signs:
    """Return every sign that speaks of an element, with the evidence it rests on."""
    told = tuple(told)
    found: Signs = {
        t.sign.id: (t.evidence,) if t.evidence else ()
        for t in told
        if not t.sign.touches and t.at in ("", element.id)
    }
    found |= _of_work(element, context, told, catalog)
    found |= _of_reports(element, context, catalog)
    found |= _of_neighbours(element, context, catalog)
    found |= _of_the_part(element, context, catalog)
    trials = (t for _, t in context.history.all_of(SeatTrial) if t.component == context.name.id)
    if wet := tuple(t.id for t in trials if t.dry is False):
        found["soaked"] = wet
    if "new-no-effect" in found:
        found.pop("not-handled", None)
    if element.role == "plug" and not found.keys().isdisjoint(_CLOSED):
        found.pop("worked", None)  # whatever that left open was closed since, in vain
    elif "worked" in found:
        found.pop("untouched", None)
    else:
        found.pop("rough", None)
    return found


_CLOSED = ("seated-again", "tried-connector", "tried-under-seat")
_TRIED = {
    "plug": (*_CLOSED, "renewed-connector", "looked-fine"),
    "coil": ("new-no-effect", "tried-coil"),
    "device": ("new-no-effect", "tried-device", "did-not-hold"),
    "unit": ("new-no-effect", "tried-unit"),
}


def tried_at(context: Context, told: Iterable[Told], catalog: Catalog) -> dict[str, str]:
    """Return the elements that were worked on against the fault in vain, with what tells it."""
    told, found = tuple(told), dict[str, str]()
    for element in context.chain.element:
        signs = signs_of(element, context, told, catalog)
        own = (s for s in _TRIED.get(element.role, ()) if s in signs)
        if sign := next(own, None):
            found[element.id] = catalog.loops.signs[sign].title
    return found


def _of_work(element: Element, context: Context, told: tuple[Told, ...], catalog: Catalog) -> Signs:
    """Return what was worked on before the fault was read, and what was tried against it."""
    found: Signs = {}
    tried = _tried(context)
    handled = tuple(
        t.evidence for t in told if t.sign.touches and set(t.sign.touches) & set(element.touched)
    )
    if any(_touches(element, w, context, catalog) for w in tried):
        handled = ()  # what is told of it is that work, done after the fault was first read
    seated = {w.id for w in tried if w.what == "reseated"}
    worked = [i for i in context.worked.get(element.id, ()) if i not in seated]
    ids = (*worked, *(i for i in handled if i))
    if ids or handled:
        found["worked"] = ids
    elif context.worked:
        found["other-handled"] = tuple(dict.fromkeys(i for w in context.worked.values() for i in w))
    elif context.reported.report is None or context.reported.report.when != "after-repair":
        found["not-handled"] = ()
    for work in tried:
        if not _touches(element, work, context, catalog):
            continue
        word = {"reseated": "seated-again", "repaired": "did-not-hold"}.get(work.what)
        if word and (element.role == "plug" or word == "did-not-hold"):
            found[word] = (*found.get(word, ()), work.id)
    if context.unverified and not context.apart:
        found["worked-since"] = context.unverified
    if put_right := _put_right(context, catalog):
        found["put-right"] = put_right
    elif context.reported.stored_only and (apart := _apart(context, told)):
        found["apart-before"] = apart
    return found | _of_new_parts(element, context, catalog)


def _touches(element: Element, work: DoneWork, context: Context, catalog: Catalog) -> bool:
    return element.id in touched_by(context.chain, context.name, [work], catalog)


def _apart(context: Context, told: tuple[Told, ...]) -> tuple[str, ...]:
    """Return what tells that the circuit was apart before its fault was read."""
    done = [i for ids in context.worked.values() for i in ids]
    places = {word for e in context.chain.element for word in e.touched}
    handled = [t.evidence for t in told if set(t.sign.touches) & places]
    return tuple(dict.fromkeys(i for i in (*done, *handled) if i))


def _put_right(context: Context, catalog: Catalog) -> tuple[str, ...]:
    """Return the seating that came before a reading in which the fault is only remembered."""
    report, place = context.reported.report, context.position
    if report is None or not context.reported.stored_only:
        return ()
    works = [w for w in context.works if place(w.id) < place(report.id)]
    last = {w.component: w for w in works if touched_by(context.chain, context.name, [w], catalog)}
    return tuple(w.id for w in last.values() if w.what == "reseated")


def _tried(context: Context) -> list[DoneWork]:
    """Return the work done against the fault: after it was first read, before it was read again.

    With one report only, it is what was seated again before the codes were cleared for it, where
    nothing had been taken apart.
    """
    first, last = context.reported.first, context.reported.report
    if first is None or last is None:
        return []
    place = context.position
    if first is not last:
        return [w for w in context.works if place(first.id) < place(w.id) < place(last.id)]
    before = [w for w in context.works if place(w.id) < place(last.id)]
    apart = {w.component for w in before if w.what in ("disconnected", "replaced")}
    cleared = [place(i) for i in context.cleared if place(i) < place(last.id)]
    return [
        w
        for w in before
        if w.what == "reseated"
        and w.component not in apart
        and any(place(w.id) < c for c in cleared)
    ]


def _of_new_parts(element: Element, context: Context, catalog: Catalog) -> Signs:
    """Return whether the element, or the circuit's device, was renewed, and to what effect."""
    found: Signs = {}
    tried = {w.id for w in _tried(context)}
    last = context.reported.report
    for work in context.works:
        if work.what != "replaced" or "." not in work.component:
            continue
        other = split_component(work.component)
        own = other.kind == element.kind
        if element.role == "device":
            own = _is_part(work.component, element, context, catalog)
        here = other == context.name
        if work.id in tried and here and element.id == "device-plug":
            found["seated-again"] = (work.id,)  # it was parted and closed for the new device
        elif work.id in tried and (own or (here and element.role in ("plug", "segment"))):
            found["new-no-effect"] = (work.id,)
            if own and _cured_its_other(work, context):
                found["other-cured"] = (work.id,)
        elif own and (last is None or context.position(work.id) < context.position(last.id)):
            found["new"] = (work.id,)
    return found


def _cured_its_other(work: DoneWork, context: Context) -> bool:
    """Return whether the device's other circuit was at fault before a work, and is so no longer."""
    before, after = context.reported.first, context.reported.report
    if before is None or after is None or not is_whole(after):
        return False
    own, place = context.name.id, context.position
    others = [
        {s for c, s in faulty_loops(r) if c == own and s not in (0, context.stage)}
        for r in (before, after)
    ]
    return place(before.id) < place(work.id) < place(after.id) and bool(others[0] - others[1])


def _of_reports(element: Element, context: Context, catalog: Catalog) -> Signs:
    """Return how the fault is reported: coming and going, remembered, with what supply."""
    reported = context.reported
    ids = reported.evidence[-1:]
    out, own = voltage_out(context, catalog), context.chain.circuit == "unit"
    holds = {
        "coming": reported.comes_and_goes,
        "steady": "present" in reported.statuses and not reported.comes_and_goes,
        "stored": reported.stored_only and not reported.comes_and_goes,
        "clean-since": bool(reported.gone_since),
        "old": _is_old(context, catalog),
        "supply-out": out is True,
        "supply-in": own and out is False and context.reported.stored_only,
        "load-out": element.id == "load" and bool(context.load_before),
        "crash": context.near_crash,
        "lamp-stays-on": context.reported.held_on,
    }
    found = {sign: ids for sign, on in holds.items() if on}
    if "load-out" in found:
        found["load-out"] = context.load_before
    return found | _of_live_values(context, catalog)


def voltage_out(context: Context, catalog: Catalog) -> bool | None:
    """Return whether the supply was out of range when the fault was read; None = not known."""
    report = context.reported.report
    volts = report.reading.coverage.unit_volts if report else None
    low, high = (catalog.fact(f"unit-volts.{end}").number() for end in ("low", "high"))
    return None if volts is None else not low <= volts <= high


def _is_old(context: Context, catalog: Catalog) -> bool:
    times = [e.time for e in context.case.evidence if isinstance(e.time, dt.datetime)]
    year = context.case.car.model_year
    if year is None or not times:
        return False
    return max(times).year - year >= catalog.fact("isolation.old-car-years").number()


def _of_live_values(context: Context, catalog: Catalog) -> Signs:
    """Return what the newest live resistance of this circuit says."""
    readings = [
        e
        for e in context.case.evidence
        if isinstance(e, Reading)
        and split_loop(e.component) == split_loop(context.loop)
        and (e.quantity, e.method, e.unit) == ("loop-resistance", "scan-live-value", "ohm")
    ]
    last = context.reported.report
    if (
        not readings
        or last is None
        or context.position(readings[-1].id) < context.position(last.id)
    ):
        return {}
    value, ids = readings[-1].value, (readings[-1].id,)
    low, high = (catalog.fact(f"loop.{end}-widest").number() for end in ("low", "high"))
    if low <= value <= high:
        return {} if "present" in context.reported.statuses else {"reads-right": ids}
    if value <= catalog.fact("isolation.bridge").number():
        return {"reads-bridged": ids}
    half = catalog.fact("load.ohm").number() / 2.0
    span = catalog.fact("isolation.side-by-side").number()
    return {"reads-low": ids} if abs(value - half) <= span else {}


_ASKS = ("occupant-sensor", "passenger-switch")


def _of_neighbours(element: Element, context: Context, catalog: Catalog) -> Signs:
    """Return what other circuits at fault, or the lack of them, say of an element."""
    report = context.reported.report
    if report is None:
        return {}
    ids, found = (report.id,), Signs()
    if element.id == "asked" and any(split_component(c).kind in _ASKS for c, _ in context.faulty):
        found["asker-at-fault"] = ids
    alone = not context.faulty
    if element.role == "plug" and not _is_wet(context):
        context = _of_one_kind(context, report)
    through = _shared(context, catalog)
    alike = bool(context.faulty) and _same_status(context)
    if element.id in through:
        found["shared"] = ids
        if through[element.id] > 1:
            found["shared-many"] = ids
    elif alike and element.role != "whole":
        found["not-shared"] = ids
        if len(context.faulty) > 1:
            found["not-shared-many"] = ids
    near = _nearer_explains(through, context)
    runs = [] if near or len(context.faulty) < 2 else _runs_of_all(through, context)
    if element.id in runs:
        found["one-run"] = ids
    if alike and not near and not runs:
        found["unlike-circuits"] = ids
    if alone:
        found |= _alone(element, context, report)
    return found


_WET = ("soaked", "rain", "corrosion", "spilt")
_KINDS = (
    ("open-or-high", "communication"),
    ("low-or-short",),
    ("short-to-ground", "short-to-battery", "cross-short"),
)


def _is_wet(context: Context) -> bool:
    """Return whether water is told of: one wet connector shows as faults of any kind."""
    return any(t.sign.id in _WET for t in context.told or ())


def _of_one_kind(context: Context, report: Report) -> Context:
    """Return the context with those circuits alone whose kind of fault one connector may make too.

    A bar that is down makes circuits read low; it opens none, and leaves no sensor silent.
    """
    kinds = {word: n for n, words in enumerate(_KINDS) for word in words}
    own = {kinds[word] for word in context.reported.weight if word in kinds}
    unlike = {
        (line.component, line.stage or 0)
        for line in report.reading.lines
        if own and kinds.get(line.fault, min(own, default=0)) not in own
    }
    alike = frozenset(c for c in context.faulty if c not in unlike)
    return msgspec.structs.replace(context, faulty=alike)


def _alone(element: Element, context: Context, report: Report) -> Signs:
    """Return what it says that no other circuit is at fault."""
    ids = (report.id,)
    found: Signs = {}
    if element.id in _UNIT_SIDE and report.reading.coverage.complete:
        found["alone"] = ids
    told = report.reading.coverage.complete and any(
        line.component == context.name.id and line.stage == context.stage
        for line in report.reading.lines
    )
    if told and context.case.car.stages.get(context.name.id, 1) > 1:
        own = element.role == "device" or element.id == "device-plug"
        if own or element.role in ("coil", "plug"):
            found["one-stage-own" if own else "one-stage"] = ids
    return found


def _same_status(context: Context) -> bool:
    """Return whether the circuits at fault together are so in the same way, as one cause is."""
    names = {context.name.id, *(c for c, _ in context.faulty)}
    reports = [e for e in context.case.evidence if isinstance(e, Report)]
    told = [r for r in reports if r.id in context.reported.evidence]
    lines = [x for r in told[-1:] for x in r.reading.lines]
    if context.reported.comes_and_goes:
        lines = [x for r in told for x in r.reading.lines]
    return len({frozenset(x.status) for x in lines if x.component in names}) == 1


def _nearer_explains(through: dict[str, int], context: Context) -> bool:
    """Return whether a joint nearer than the control unit carries all the circuits at fault.

    A harness that they share does not: wires of several circuits seldom break together.
    """
    joints = {e.id for e in context.chain.element if e.role != "segment"} - set(_UNIT_SIDE)
    return max((through.get(i, 0) for i in joints), default=0) == len(context.faulty)


def _runs_of_all(through: dict[str, int], context: Context) -> list[str]:
    """Return the wiring in which all the circuits at fault run side by side."""
    runs = {e.id for e in context.chain.element if e.role == "segment"} - set(_UNIT_SIDE)
    return [i for i in runs if through.get(i, 0) == len(context.faulty)]


def _shared(context: Context, catalog: Catalog) -> dict[str, int]:
    """Return how many other circuits at fault run through each element.

    What only the control unit shares counts when no joint nearer to the device carries them all.
    """
    counts = {
        e.id: sum(runs_through(e, c, context, catalog) for c, _ in context.faulty)
        for e in context.chain.element
    }
    near = max((n for i, n in counts.items() if i not in _UNIT_SIDE), default=0)
    wide = not _nearer_explains(counts, context)
    return {i: n for i, n in counts.items() if n and (wide if i in _UNIT_SIDE else n == near)}


def runs_through(element: Element, other: str, context: Context, catalog: Catalog) -> bool:
    """Return whether another component's circuit runs through an element of this one."""
    if element.id in _UNIT_SIDE:
        return True
    own, name = context.name, split_component(other)
    if element.role == "segment" and element.id != "seat-harness":
        return _same_run(own, name, context, catalog)
    twin = other == own.id
    mates = name.place == own.place and _plug(name.kind, catalog) == _plug(own.kind, catalog)
    wheel = {
        "device": twin,
        "clock-spring": twin or (mates and own.place == "driver"),
        "column-plug": twin or (mates and own.place == "driver"),
        "seat-plug": twin or mates,
        "jamb-plug": twin or mates,
    }
    return wheel.get(element.id, False)


def _same_run(own: ComponentName, other: ComponentName, context: Context, catalog: Catalog) -> bool:
    """Return whether the wires of two components run in one harness: of a sill, or of the nose."""
    if "nose" in (own.place.split("-")[0], other.place.split("-")[0]):
        return own.place.split("-")[0] == other.place.split("-")[0]
    inside = {_plug(n.kind, catalog) for n in (own, other)} & {"dash", "wheel", "unit", "none"}
    sides = [side_of(n.place, context.case.car.drive_hand) for n in (own, other)]
    return own != other and not inside and sides[0] is not None and sides[0] == sides[1]


def _plug(kind: str, catalog: Catalog) -> str:
    return catalog.kinds[kind].plug if kind in catalog.kinds else "none"


def _of_the_part(element: Element, context: Context, catalog: Catalog) -> Signs:
    """Return what the label on a part says, and what an eye saw of the device."""
    labels = [
        e
        for e in context.case.evidence
        if isinstance(e, PartLabel) and _is_part(e.component, element, context, catalog)
    ]
    found: Signs = {}
    if labels and _is_donor(labels[-1], context.case.car.model_year, catalog):
        found["donor-unit" if element.role == "unit" else "donor"] = (labels[-1].id,)
    found |= _of_numbers([e for e in labels if e.number])
    if element.role != "device":
        return found
    own = [e for e in context.case.evidence if getattr(e, "component", "") == context.name.id]
    looks = [e for e in own if isinstance(e, Look) and e.seen != "not-seen"]
    if looks and looks[-1].seen == "damaged" and not _renewed_after(looks[-1], context):
        found["seen-damaged"] = (looks[-1].id,)
    return found


def _of_numbers(labels: list[PartLabel]) -> Signs:
    """Return whether the part fitted bears the number of the one that the car came with."""
    first = [e for e in labels if e.provenance == ORIGINAL]
    fitted = [e for e in labels if e.provenance != ORIGINAL]
    if not first or not fitted:
        return {}
    numbers = [
        "".join(c for c in e.number.casefold() if c.isalnum()) for e in (first[-1], fitted[-1])
    ]
    sign = "number-agrees" if numbers[0] == numbers[1] else "number-differs"
    return {sign: (first[-1].id, fitted[-1].id)}


def _is_part(component: str, element: Element, context: Context, catalog: Catalog) -> bool:
    """Return whether a component is what an element is made of, alone or sold as one with it."""
    other = split_component(component)
    if element.role != "device":
        return bool(element.kind) and other.kind == element.kind and element.role != "segment"
    return other == context.name or is_sold_with(other, context.name, catalog)


def _renewed_after(look: Look, context: Context) -> bool:
    place = context.position
    renewed = [w for w in context.works if w.what == "replaced" and w.component == look.component]
    return any(place(w.id) > place(look.id) for w in renewed)


USED = ("donor", "recycled", "repaired")


def _is_donor(label: PartLabel, year: int | None, catalog: Catalog) -> bool:
    made = re.match(r"\d{4}", label.made_on)
    apart = catalog.fact("isolation.label-years").number()
    other_time = made is not None and year is not None and abs(int(made[0]) - year) > apart
    return other_time or label.provenance in USED
