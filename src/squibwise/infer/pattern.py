"""The firing pattern of the front seats alone: the event table without the rest of the car."""

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.body import impact_rows, recorder_direction
from squibwise.infer.logic import passenger_curves, seat_fires
from squibwise.infer.people import DRIVER
from squibwise.infer.stories import Stories, stories
from squibwise.model.case import Case
from squibwise.model.evidence import Impact, Occupant, Recorder

Array = npt.NDArray[np.float64]


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
        rows = stories(case, catalog, shifts or {}, _side(case, catalog))
        yield _pattern(rows, rows.weight * _evidence(case, rows, catalog), case, catalog)


def _side(case: Case, catalog: Catalog) -> str | None:
    """Return the struck side where a zone was named; only that side is then followed up."""
    side_of = {z.name: z.side for z in catalog.firing.events.zone}
    named = {side_of[e.zone] for e in case.evidence if isinstance(e, Impact) and e.zone in side_of}
    return named.pop() if len(named) == 1 else None


def _evidence(case: Case, rows: Stories, catalog: Catalog) -> Array:
    result = np.ones(len(rows.weight))
    for entry in case.evidence:
        if isinstance(entry, Impact):
            result = result * impact_rows(entry, rows, catalog)
        elif isinstance(entry, Recorder):
            result = result * recorder_direction(entry, rows, catalog)
            if entry.driver_belt is not None:
                right = catalog.firing.scans.people["recorder_right"].value
                result = result * _belt(rows, entry.driver_belt, right)
        elif isinstance(entry, Occupant) and entry.seat == "driver" and entry.belt is not None:
            result = result * _belt(rows, entry.belt, 1.0)
    return result


def _belt(rows: Stories, belt: str, right: float) -> Array:
    """Return the chance of this word on the driver's belt, by row."""
    latched = right if belt == DRIVER[1] else 1.0 - right
    return rows.belted * latched + (1.0 - rows.belted) * (1.0 - latched)


def _pattern(rows: Stories, weights: Array, case: Case, catalog: Catalog) -> Array:
    other = seat_fires(rows, case.car.drive_hand, is_driver=True)
    year = np.nan if case.car.model_year is None else float(case.car.model_year)
    followed, alone = passenger_curves(rows, year, catalog)
    passenger = np.where(rows.front, followed, alone)
    result = np.zeros((2, 2, 2))
    place = (rows.front.astype(int), other.astype(int))
    np.add.at(result[:, :, 1], place, weights * passenger)
    np.add.at(result[:, :, 0], place, weights * (1.0 - passenger))
    return np.asarray(result / result.sum())
