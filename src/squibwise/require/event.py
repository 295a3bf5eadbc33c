"""How probable it is that a word about the crash as a whole holds."""

from collections.abc import Callable
from itertools import pairwise

from squibwise.catalog.load import Catalog
from squibwise.catalog.rules import Condition
from squibwise.history.order import read_history
from squibwise.history.signed import CONTROL_UNIT, read_memory
from squibwise.model.belief import Assessment, SpeedChange
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, DoneWork, Look, Occupant, Reading, Recorder
from squibwise.model.names import SEATS, side_of, split_component

STORED_EVENTS = "stored-events"
RECORD_CAUSE = "crash-record"
Chance = tuple[float, tuple[str, ...]]


def event_chance(
    condition: Condition, component: str, case: Case, assessment: Assessment, catalog: Catalog
) -> Chance:
    """Return the probability that an event word holds, and the evidence it rests on."""
    if condition.event == "in-use":
        return _in_use(component, case, assessment, catalog)
    if condition.event == "missing":
        return _missing(component, case)
    if condition.event == "count":
        return _count(condition.count, case, assessment, catalog)
    return _WHOLE_CAR[condition.event](case, assessment, catalog)


def any_fired(assessment: Assessment) -> float:
    """Return the probability that any charge fired: that of the likeliest one."""
    return max((max(c.after_crash.fired, c.now.fired) for c in assessment.components), default=0.0)


def crash_record(case: Case, assessment: Assessment) -> Chance:
    """Return the probability that the control unit holds a crash record, with its evidence."""
    memory = read_memory(read_history(case.evidence))
    if memory.seen:
        return 1.0, memory.seen
    return max(any_fired(assessment), assessment.event.causes.get(RECORD_CAUSE, 0.0)), ()


def crash_chance(case: Case, assessment: Assessment) -> float:
    """Return the probability that there was a crash, or that something fired."""
    record, _ = crash_record(case, assessment)
    return max(1.0 - assessment.event.no_crash, any_fired(assessment), record)


def _always(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    return 1.0, ()


def _crash(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    return crash_chance(case, assessment), crash_record(case, assessment)[1]


def _record(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    return crash_record(case, assessment)


def _record_stays(case: Case, assessment: Assessment, catalog: Catalog) -> Chance:
    record, seen = crash_record(case, assessment)
    memory = read_memory(read_history(case.evidence))
    if memory.read_since:
        return (1.0, memory.still) if memory.still else (0.0, memory.read_since)
    fact = catalog.fact("require.locked-stays" if memory.locked else "require.stored-stays")
    return record * fact.number(), seen


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
    record, seen = crash_record(case, assessment)
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
    seat = _seat_of(component, case)
    if seat is None:
        return 0.0, ()
    told = [e for e in case.evidence if isinstance(e, Occupant) and e.seat == seat]
    ids = tuple(e.id for e in told)
    if any(e.child_seat for e in told):
        return 1.0, ids
    if any(e.present is False for e in told):
        return 0.0, ids
    return _worn(seat, told, assessment, catalog), ids


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


def unit_is_gone(case: Case) -> bool:
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


def _seat_of(component: str, case: Case) -> str | None:
    place = split_component(component).place
    if place in SEATS:
        return place
    side = side_of(place, case.car.drive_hand)
    if side is None:
        return None
    return "driver" if side == case.car.drive_hand else "passenger"


_WHOLE_CAR: dict[str, Callable[[Case, Assessment, Catalog], Chance]] = {
    "always": _always,
    "crash": _crash,
    "record": _record,
    "record-stays": _record_stays,
    "severe": _severe,
    "rollover": _rollover,
}
