"""What the user's own finished cases say of the intercepts of the deployment curves."""

from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.pattern import firing_patterns
from squibwise.infer.stories import OTHER_BAGS
from squibwise.model.case import Case
from squibwise.model.evidence import Look, Occupant
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


def learned_shifts(cases: Iterable[Case], catalog: Catalog) -> dict[str, Shift]:
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
        curve: learn_shift([_open(p) for p, _ in rows], [fired for _, fired in rows], sd)
        for curve, rows in found.items()
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
