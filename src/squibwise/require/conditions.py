"""How probable it is that a condition of a rule holds: of the event, or seen from a component."""

from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from itertools import pairwise

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.rules import Condition
from squibwise.history.closing import list_unproved
from squibwise.history.order import read_history
from squibwise.history.signed import (
    CONTROL_UNIT,
    NO_POWER,
    find_soaked,
    is_exposed,
    read_memory,
    was_flooded,
)
from squibwise.model.belief import Assessment, ComponentBelief, Located, SpeedChange
from squibwise.model.case import Case
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Look,
    Occupant,
    Reading,
    Recorder,
)
from squibwise.model.names import seat_at, side_of, split_component


class Trigger(msgspec.Struct, frozen=True, kw_only=True):
    """What makes a condition hold: a component (or zone, or the event), its state, how sure."""

    what: str
    state: str
    probability: float
    evidence: tuple[str, ...] = ()


class Situation(msgspec.Struct, frozen=True, kw_only=True, dict=True):
    """Everything a condition looks at.

    Attributes:
        replaced: Probability that a component is replaced by a rule, by id.
        cleared: Components whose inspection a person signed as passed.
        failed: Components whose inspection a person signed as failed.
        memo: Triggers found already, by condition word and component; not for ``replaced``.
        asked: Beliefs that a condition asks about, found already, by the same.
    """

    case: Case
    assessment: Assessment
    catalog: Catalog
    replaced: Mapping[str, float] = {}
    cleared: frozenset[str] = frozenset()
    failed: frozenset[str] = frozenset()
    memo: dict[tuple[str, str], Trigger] = {}
    asked: dict[tuple[str, str], tuple[ComponentBelief, ...]] = {}

    @cached_property
    def unproved(self) -> Mapping[str, str]:
        """Components whose fault came and went and is not proved gone, with what cured it."""
        return list_unproved(read_history(self.case.evidence)) | self.assessment.unproved

    @cached_property
    def seen_damaged(self) -> frozenset[str]:
        """Components that the last look, since they were last replaced, called damaged."""
        seen: dict[str, bool] = {}
        for e in self.case.evidence:
            if isinstance(e, DoneWork) and e.component and e.what != "disconnected":
                seen[e.component] = False
            if isinstance(e, Look) and e.seen != "not-seen":
                seen[e.component] = e.seen == "damaged"
        return frozenset(c for c, damaged in seen.items() if damaged)

    @cached_property
    def located(self) -> Mapping[str, Located]:
        """Components in which tests located a fault."""
        return {x.component: x for x in self.assessment.located}

    @cached_property
    def reached(self) -> frozenset[str]:
        """Components that somebody named as under water or in a fire."""
        told = [
            e
            for e in self.case.evidence
            if isinstance(e, Circumstance) and e.present and e.parts and e.what in NO_POWER
        ]
        parts = self.case.car.components
        return frozenset(c for c in parts if any(is_exposed(c, e) for e in told))

    @cached_property
    def crash(self) -> float:
        """Probability that there was a crash, or that something fired."""
        return weigh_crash(self.case, self.assessment)


def weigh_state(belief: ComponentBelief, state: str, catalog: Catalog) -> float:
    """Return the probability of a state as rules see it: since the crash, whatever was done.

    A fault and an unfit part are seen as they are now; a fault is one of its circuit, wherever in
    the circuit it likely lies. A charge that fired, or a part that was damaged, in the crash stays
    a reason for its item also after the work was done.
    """
    if state == "faulty":
        return max(belief.now.faulty, weigh_circuit_fault(belief, catalog))
    if state in ("missing", "unfit"):
        return float(getattr(belief.now, state))
    return max(float(getattr(belief.after_crash, state)), float(getattr(belief.now, state)))


def weigh_circuit_fault(belief: ComponentBelief, catalog: Catalog) -> float:
    """Return the probability of a fault in a circuit whose part is there and not damaged.

    0 below the fact ``require.beside-from``: a plug that was merely handled is no reason to trace.
    A part that is set once it is in may only not be set, which the trace finds.
    """
    faulty = max((s.faulty for s in belief.stages.values()), default=0.0)
    is_set = split_component(belief.id).kind in catalog.tasks.settings
    unfit = 0.0 if is_set else belief.now.unfit
    chance = faulty - belief.now.missing - unfit - belief.now.damaged
    return chance if chance >= catalog.fact("require.beside-from").number() else 0.0


RENEWED = frozenset(("fired", "damaged", "missing", "unfit"))


def weigh_renewal(component: str, situation: Situation) -> float:
    """Return the probability that a part is in any state that calls for a new one.

    It is in one of them at a time: a bag behind a made-up cover fired, is gone or is another car's,
    and each wants a new one. A part that is set once it is in may only not be set; one whose
    inspection was passed is not damaged.
    """
    belief = situation.assessment.get(component)
    if belief is None:
        return 0.0
    is_set = split_component(component).kind in situation.catalog.tasks.settings
    let_off = {"unfit"} if is_set else set()
    let_off |= {"damaged"} if component in situation.cleared else set()
    states = RENEWED - let_off
    both = (belief.after_crash, belief.now)
    return min(max(sum(float(getattr(b, s)) for s in states) for b in both), 1.0)


def weigh_condition(condition: Condition, component: str, situation: Situation) -> Trigger:
    """Return the strongest trigger of a condition; probability 0 when nothing triggers it.

    "Any of these" takes the largest probability: the charges of a car fire on one and the same
    crash, so the less willing one fires only when the more willing one did (decision 150).
    """
    if condition.state == "replaced":
        return _strongest(condition, component, situation)
    is_of_car = condition.state == "event" and condition.event in (*_WHOLE_CAR, "count")
    key = (condition.word, "" if is_of_car else component)
    if key not in situation.memo:
        situation.memo[key] = _strongest(condition, component, situation)
    return situation.memo[key]


def _strongest(condition: Condition, component: str, situation: Situation) -> Trigger:
    nothing = Trigger(what="", state=condition.state, probability=0.0)
    found = _triggers(condition, component, situation)
    return max(found, key=lambda t: t.probability, default=nothing)


def _triggers(condition: Condition, component: str, situation: Situation) -> Iterator[Trigger]:
    if condition.state == "event":
        probability, evidence = weigh_event(
            condition, component, situation.case, situation.assessment, situation.catalog
        )
        yield Trigger(what="", state="event", probability=probability, evidence=evidence)
    elif condition.state == "struck":
        zones = {
            zone: probability
            for zone, probability in sorted(situation.assessment.event.zones.items())
            if _places_fit(condition, zone) and _is_near(condition, zone, component, situation)
        }
        if zones:  # a blow struck one of them or another
            likeliest, any_of_them = (
                max(zones, key=lambda z: round(zones[z], 9)),
                min(sum(zones.values()), 1.0),
            )
            yield Trigger(what=likeliest, state="struck", probability=any_of_them)
    else:
        key = (condition.word, component)
        if key not in situation.asked:
            situation.asked[key] = tuple(_list_asked(condition, component, situation))
        for belief in situation.asked[key]:
            yield _trigger(condition, belief, situation)


def _list_asked(
    condition: Condition, component: str, situation: Situation
) -> Iterator[ComponentBelief]:
    """Yield the beliefs that a condition of a component asks about."""
    for belief in situation.assessment.components:
        name = split_component(belief.id)
        kind = situation.catalog.kinds.get(name.kind)
        if kind is None or not _places_fit(condition, name.place):
            continue
        if condition.kinds and name.kind not in condition.kinds:
            continue
        if condition.families and kind.family not in condition.families:
            continue
        if condition.near == "itself" and belief.id != component:
            continue
        if condition.near != "itself" and not _is_near(condition, name.place, component, situation):
            continue
        yield belief


def _trigger(condition: Condition, belief: ComponentBelief, situation: Situation) -> Trigger:
    if condition.state == "replaced":
        chance = situation.replaced.get(belief.id, 0.0)
        return Trigger(what=belief.id, state="replaced", probability=chance)
    if condition.state == "located":
        found = situation.located.get(belief.id)
        chance, ids = (found.p, found.evidence) if found else (0.0, ())
        return Trigger(what=belief.id, state="located", probability=chance, evidence=ids)
    chance = weigh_state(belief, condition.state, situation.catalog)
    may_have_fired = situation.crash >= situation.catalog.fact("require.likely").number()
    if condition.state == "fired" and condition.or_missing and may_have_fired:
        chance = max(chance, belief.now.missing)  # a bag stolen from a sound car did not fire in it
    is_hurt = belief.id in situation.reached or belief.id in situation.seen_damaged
    if condition.state == "damaged" and is_hurt:
        chance = max(chance, situation.catalog.fact("require.seen-damaged").number())
    if condition.state == "damaged" and belief.id in situation.failed:
        chance = 1.0
    if condition.state == "damaged" and belief.id in situation.cleared:
        chance = 0.0
    evidence = _evidence_of(belief)
    if condition.state == "faulty" and belief.id in situation.unproved:
        chance, evidence = 1.0, (situation.unproved[belief.id],)
    return Trigger(what=belief.id, state=condition.state, probability=chance, evidence=evidence)


def _evidence_of(belief: ComponentBelief) -> tuple[str, ...]:
    """Return the ids of the evidence that a belief rests on, each once."""
    return tuple(dict.fromkeys(e for b in belief.because for e in b.evidence))


def _places_fit(condition: Condition, place: str) -> bool:
    return not condition.places or place in condition.places


def _is_near(condition: Condition, place: str, component: str, situation: Situation) -> bool:
    own = split_component(component).place
    if condition.near in ("itself", "same-seat"):
        return place == own
    if condition.near == "same-side":
        hand = situation.case.car.drive_hand
        side = side_of(own, hand)
        return side is not None and side_of(place, hand) == side
    return True


STORED_EVENTS = "stored-events"
RECORD_CAUSE = "crash-record"
Chance = tuple[float, tuple[str, ...]]


def weigh_event(
    condition: Condition, component: str, case: Case, assessment: Assessment, catalog: Catalog
) -> Chance:
    """Return the probability that an event word holds, and the evidence it rests on."""
    if condition.event == "in-use":
        return _in_use(component, case, assessment, catalog)
    if condition.event == "child-seat":
        return _held_child_seat(component, case)
    if condition.event == "missing":
        return max(_missing(component, case), _believed_missing(component, assessment, catalog))
    if condition.event == "count":
        return _count(condition.count, case, assessment, catalog)
    return _WHOLE_CAR[condition.event](case, assessment, catalog)


def weigh_any_fired(assessment: Assessment) -> float:
    """Return the probability that any charge fired: that of the likeliest one."""
    return max((max(c.after_crash.fired, c.now.fired) for c in assessment.components), default=0.0)


def weigh_crash_record(case: Case, assessment: Assessment) -> Chance:
    """Return the probability that the control unit holds a crash record, with its evidence."""
    memory = read_memory(read_history(case.evidence))
    if memory.seen:
        return 1.0, memory.seen
    return max(weigh_any_fired(assessment), assessment.event.causes.get(RECORD_CAUSE, 0.0)), ()


def weigh_crash(case: Case, assessment: Assessment) -> float:
    """Return the probability that there was a crash, or that something fired."""
    record, _ = weigh_crash_record(case, assessment)
    return max(1.0 - assessment.event.no_crash, weigh_any_fired(assessment), record)


def _always(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    return 1.0, ()


def _crash(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    return weigh_crash(case, assessment), weigh_crash_record(case, assessment)[1]


def _record(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    return weigh_crash_record(case, assessment)


def _record_stays(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    record, seen = weigh_crash_record(case, assessment)
    memory = read_memory(read_history(case.evidence))
    if memory.read_since:
        return (1.0, memory.still) if memory.still else (0.0, memory.read_since)
    fact = catalog.fact("require.locked-stays" if memory.locked else "require.stored-stays")
    return record * fact.number(), seen


def _record_locked(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    """Return 1 when the record was read as locked, until it is read again and found gone."""
    memory = read_memory(read_history(case.evidence))
    if not memory.locked or (memory.read_since and not memory.still):
        return 0.0, memory.read_since
    return 1.0, memory.seen


def _soaked(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    """Return 1 for a car that stood in water, 0 where it is told which parts the water reached."""
    if any(isinstance(e, Circumstance) and e.what == "flood" and e.parts for e in case.evidence):
        return 0.0, ()
    return float(was_flooded(case, catalog)), find_soaked(case, catalog)


def _wet_floor(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    """Return 1 for a car in which water stood, whether or not it is told which parts it reached."""
    told = tuple(e.id for e in _told_floods(case) if e.parts)
    return (1.0, told) if told else _soaked(case, assessment, catalog)


def _wet_seats(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    """Return 1 for a car in which water stood above the floor, or nobody told what it reached."""
    floor = {*next(iter(catalog.said.levels.values()), ())}
    higher = (
        e.id
        for e in _told_floods(case)
        if any(not {part, part.rpartition(".")[2]} & floor for part in e.parts)
    )
    told = tuple(higher)
    return (1.0, told) if told else _soaked(case, assessment, catalog)


def _told_floods(case: Case) -> Iterator[Circumstance]:
    events = (e for e in case.evidence if isinstance(e, Circumstance))
    return (e for e in events if e.present and e.what == "flood")


def _severe(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    speed = assessment.event.delta_v_kmh
    if speed is None:
        return 0.0, ()
    limit = catalog.fact("require.severe-delta-v").number()
    return _chance_above(speed, limit) * (1.0 - assessment.event.no_crash), ()


def _chance_above(speed: SpeedChange, limit: float) -> float:
    """Return the probability of being above a limit, linear between the three quantiles."""
    points = ((speed.p10, 0.9), (speed.p50, 0.5), (speed.p90, 0.1))
    if limit <= points[0][0]:
        return 1.0
    for (low, p_low), (high, p_high) in pairwise(points):
        if limit <= high:
            return p_low + (p_high - p_low) * (limit - low) / (high - low)
    return 0.0


def _rollover(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    return assessment.event.rollover, ()


def _count(count: int, case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    """Return the probability that this is at least the n-th stored firing event."""
    readings = [e for e in case.evidence if isinstance(e, Reading) and e.quantity == STORED_EVENTS]
    if readings:
        return (1.0 if readings[-1].value >= count else 0.0), (readings[-1].id,)
    record, seen = weigh_crash_record(case, assessment)
    if _events_named(case) >= count:
        return record, seen
    return record * catalog.fact(f"require.count-{count}").number(), seen


def _events_named(case: Case) -> int:
    recorded = [max(e.event, e.event_count or 1) for e in case.evidence if isinstance(e, Recorder)]
    earlier = any(
        isinstance(e, Circumstance) and e.what == "earlier-crash" and e.present
        for e in case.evidence
    )
    return max(recorded, default=1) + int(earlier)


def _in_use(component: str, case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    """Return the probability that the belt at a component was worn or held a child seat."""
    seat = seat_at(split_component(component).place, case.car.drive_hand)
    if seat is None:
        return 0.0, ()
    told = [e for e in case.evidence if isinstance(e, Occupant) and e.seat == seat]
    ids = tuple(e.id for e in told)
    if any(e.child_seat for e in told):
        return 1.0, ids
    if any(e.present is False for e in told):
        return 0.0, ids
    return _worn(seat, told, assessment, catalog), ids


def _held_child_seat(component: str, case: Case) -> Chance:
    seat = seat_at(split_component(component).place, case.car.drive_hand)
    told = [e for e in case.evidence if isinstance(e, Occupant) and e.seat == seat]
    return float(any(e.child_seat for e in told)), tuple(e.id for e in told)


def _missing(component: str, case: Case) -> Chance:
    """Return 1 when the part was seen not to be there, whatever was fitted since.

    A later look at the place takes it back, unless a part was fitted in between.
    """
    seen: tuple[str, ...] = ()
    for e in case.evidence:
        if isinstance(e, DoneWork) and e.component == component and e.what == "replaced" and seen:
            break
        if isinstance(e, Look) and e.component == component and e.seen != "not-seen":
            seen = (e.id,) if e.seen == "missing" else ()
    return float(bool(seen)), seen


def _believed_missing(component: str, assessment: Assessment, catalog: Catalog) -> Chance:
    """Return the belief that a part is, or was, not there, where that is near certain.

    A later look at its connector does not bring the part back.
    """
    belief = assessment.get(component)
    if belief is None:
        return 0.0, ()
    chance = max(belief.after_crash.missing, belief.now.missing)
    if chance < catalog.fact("require.certain-from").number():
        return 0.0, ()
    return chance, _evidence_of(belief)


def is_unit_gone(case: Case) -> bool:
    """Was a control unit seen not to be there."""
    units = (c for c in case.car.components if split_component(c).kind == CONTROL_UNIT)
    return any(_missing(c, case)[0] > 0.0 for c in units)


def _worn(seat: str, told: list[Occupant], assessment: Assessment, catalog: Catalog) -> float:
    event = assessment.event
    if seat == "driver":
        return event.driver_belted
    if seat == "passenger":
        return min(event.passenger_belted, 1.0 - event.front_passenger.get("empty", 0.0))
    belts = [e.belt for e in told if e.belt is not None]
    if belts:
        return 1.0 if belts[-1] == "latched" else 0.0
    return catalog.fact("require.rear-in-use").number()


_WHOLE_CAR: dict[str, Callable[[Case, Assessment, Catalog], Chance]] = {
    "always": _always,
    "crash": _crash,
    "record": _record,
    "record-stays": _record_stays,
    "record-locked": _record_locked,
    "soaked": _soaked,
    "wet-floor": _wet_floor,
    "wet-seats": _wet_seats,
    "severe": _severe,
    "rollover": _rollover,
}
