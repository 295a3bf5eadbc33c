"""What the user's own finished cases say of the intercepts of the deployment curves."""

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.crash_record import weigh_direction
from squibwise.infer.event_table import OTHER_BAGS, EventTable, event_table
from squibwise.infer.firing_logic import DRIVER, passenger_curves, seat_fires
from squibwise.infer.told import weigh_impact
from squibwise.model.case import Case
from squibwise.model.evidence import Impact, Look, Occupant, Recorder
from squibwise.numerics.scoring import Shift, learn_shift

Array = npt.NDArray[np.float64]
Seen = tuple[float, bool]
FRONT_CURVE, OTHER_CURVE, PASSENGER_CURVE = (
    "driver-front-bag",
    "own-side-bags",
    "passenger-front-bag",
)
_DRIVER_FRONT, _PASSENGER_FRONT = "driver.front-bag", "passenger.front-bag"
_LEAST = 1e-6
_WORDS = {"deployed": True, "intact": False}


def learn_shifts(cases: Iterable[Case], catalog: Catalog) -> dict[str, Shift]:
    """Return the learned shift of every curve, shrunk towards none; see ``learn_shift``.

    Only what somebody saw counts: a look ``deployed`` or ``intact`` at the driver's front bag, at
    its other bags (one deployed, or all fitted ones intact), and at the passenger's front bag over
    a taken seat. What the curves had foretold comes from the case's impact, severity, belt and
    model year alone. Where those are uncertain the foretold chance is an average over them and
    the shift is that of the average: a little smaller than that of the curve itself.

    Args:
        cases: Finished cases; those without such a look say nothing.
        catalog: Curves, and the prior standard deviation ``calibration.shift-sd``.

    Returns:
        A shift by curve id, of 0 where nothing was seen. Hand ``{id: shift.value}`` to ``assess``.
    """
    finished = tuple(case for case in cases if _seen(case).keys())
    sd = catalog.fact("calibration.shift-sd").number()
    found: dict[str, list[Seen]] = {FRONT_CURVE: [], OTHER_CURVE: [], PASSENGER_CURVE: []}
    for case, pattern in zip(finished, firing_patterns(finished, catalog), strict=True):
        for curve, seen in _outcomes(case, pattern):
            found[curve].append(seen)
    return {
        curve: learn_shift([_open(p) for p, _ in events], [fired for _, fired in events], sd)
        for curve, events in found.items()
    }


def _outcomes(case: Case, pattern: Array) -> Iterator[tuple[str, Seen]]:
    """Yield what was foretold and seen of a case, by curve: each given what is known before it."""
    seen = _seen(case)
    front = seen.get(_DRIVER_FRONT)
    if front is None:
        return
    yield FRONT_CURVE, (float(pattern[1].sum()), front)
    given = pattern[int(front)] / pattern[int(front)].sum()
    other = _other(case, seen)
    if other is not None:
        yield OTHER_CURVE, (float(given[1].sum()), other)
    passenger = seen.get(_PASSENGER_FRONT)
    if passenger is not None and _seat_taken(case):
        yield PASSENGER_CURVE, (float(given[:, 1].sum()), passenger)


def _open(p: float) -> float:
    """Return a chance that is neither 0 nor 1, whatever was rounded on the way."""
    return min(max(p, _LEAST), 1.0 - _LEAST)


def _seen(case: Case) -> dict[str, bool]:
    """Return the last clear look at each component: deployed or intact."""
    looks = (e for e in case.evidence if isinstance(e, Look) and e.seen in _WORDS)
    return {look.component: _WORDS[look.seen] for look in looks}


def _other(case: Case, seen: dict[str, bool]) -> bool | None:
    """Return whether any other bag of the driver's seat fired; None when not all were seen."""
    places = {"curtain": case.car.drive_hand}
    names = [f"{places.get(kind, 'driver')}.{kind}" for kind in OTHER_BAGS]
    fitted = [name for name in names if name in case.car.components]
    if any(seen.get(name) for name in fitted):
        return True
    return False if fitted and all(name in seen for name in fitted) else None


def _seat_taken(case: Case) -> bool:
    return any(
        isinstance(e, Occupant) and e.seat == "passenger" and bool(e.present) for e in case.evidence
    )


def firing_patterns(
    cases: Iterable[Case], catalog: Catalog, shifts: Mapping[str, float] | None = None
) -> Iterator[Array]:
    """Yield the joint chance of what fired in each case, from the event's evidence only.

    Used where many cases carry nothing but side, severity, model year and belt: same event table,
    same curves, nothing else of the car.

    Args:
        cases: Cases; impacts, recorders and the driver's belt are used, everything else is not.
        catalog: Priors.
        shifts: Learned intercepts by curve id. [log odds]

    Yields:
        Chance by driver's front bag, any other bag of the driver's seat, and passenger's front
        bag over an adult: shape (2, 2, 2), 0 = not fired, 1 = fired; it sums to one.
    """
    for case in cases:
        events = event_table(case, catalog, shifts or {}, _side(case, catalog))
        yield _pattern(events, events.weight * _evidence(case, events, catalog), case, catalog)


def _side(case: Case, catalog: Catalog) -> str | None:
    """Return the struck side where a zone was named; only that side is then followed up."""
    side_of = {z.name: z.side for z in catalog.firing.events.zone}
    named = {side_of[e.zone] for e in case.evidence if isinstance(e, Impact) and e.zone in side_of}
    return named.pop() if len(named) == 1 else None


def _evidence(case: Case, events: EventTable, catalog: Catalog) -> Array:
    result = np.ones(len(events.weight))
    for entry in case.evidence:
        if isinstance(entry, Impact):
            result = result * weigh_impact(entry, events, catalog)
        elif isinstance(entry, Recorder):
            result = result * weigh_direction(entry, events, catalog)
            if entry.driver_belt is not None:
                right = catalog.firing.scans.people["recorder_right"].value
                result = result * _belt(events, entry.driver_belt, right)
        elif isinstance(entry, Occupant) and entry.seat == "driver" and entry.belt is not None:
            result = result * _belt(events, entry.belt, 1.0)
    return result


def _belt(events: EventTable, belt: str, right: float) -> Array:
    """Return the chance of this word on the driver's belt, by row."""
    latched = right if belt == DRIVER[1] else 1.0 - right
    return events.belted * latched + (1.0 - events.belted) * (1.0 - latched)


def _pattern(events: EventTable, weights: Array, case: Case, catalog: Catalog) -> Array:
    other = seat_fires(events, case.car.drive_hand, is_driver=True)
    year = np.nan if case.car.model_year is None else float(case.car.model_year)
    followed, alone = passenger_curves(events, year, case.car.drive_hand, catalog)
    passenger = np.where(events.front, followed, alone)
    result = np.zeros((2, 2, 2))
    place = (events.front.astype(int), other.astype(int))
    np.add.at(result[:, :, 1], place, weights * passenger)
    np.add.at(result[:, :, 0], place, weights * (1.0 - passenger))
    return np.asarray(result / result.sum())
