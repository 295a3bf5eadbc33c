"""Scan reports at their place in time."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.network import Network
from squibwise.model.report import CodeLine, Report

Array = npt.NDArray[np.float64]
UNIT = "centre.control-unit"
_MANY = 3


class Scan(msgspec.Struct, frozen=True):
    """One report at its place in time.

    Attributes:
        report: The report.
        place: Place in time.
        same_unit: Is the unit still the one of the crash.
        first: Is it the first report of that unit.
        doubtful: One cause behind most of its codes: supply, ground or communication.
    """

    report: Report
    place: int
    same_unit: bool
    first: bool
    doubtful: bool


def scans(net: Network) -> tuple[Scan, ...]:
    """Return the reports of a case in order."""
    swaps = [at for at, w in net.line.works_on(frozenset({UNIT})) if w.what == "replaced"]
    result: list[Scan] = []
    for place, entry in enumerate(net.line.entries):
        if isinstance(entry, Report):
            same = not swaps or place < swaps[0]
            first = same and not any(s.same_unit for s in result)
            result.append(Scan(entry, place, same, first, one_cause(entry)))
    return tuple(result)


def one_cause(report: Report) -> bool:
    """Return whether most codes speak of supply, ground or communication, not of parts."""
    lines = [c for c in report.reading.lines if c.fault != "event-recorded"]
    general = [c for c in lines if c.fault in ("voltage", "communication")]
    return len(general) >= _MANY and 2 * len(general) > len(lines)


def signs_of_disturbance(report: Report, catalog: Catalog) -> int:
    """Return how many signs a report gives of supply, ground or bus being at fault: 0 to 2."""
    coverage, reach = report.reading.coverage, catalog.firing.scans.reach
    volts = coverage.unit_volts
    strange = volts is not None and not reach.lowest_volts <= volts <= reach.highest_volts
    general = any(c.fault in ("voltage", "communication") for c in report.reading.lines)
    return int(strange) + int(general and _of_the_unit(report))


def _of_the_unit(report: Report) -> bool:
    """Return whether a supply or bus code is about the unit or the car, not about one sensor."""
    return any(
        c.fault == "voltage" or (c.fault == "communication" and (c.kind in (None, "control-unit")))
        for c in report.reading.lines
    )


def event_lines(report: Report) -> tuple[CodeLine, ...]:
    """Return the lines that tell of a crash record."""
    return tuple(
        c for c in report.reading.lines if c.fault == "event-recorded" and "cleared" not in c.status
    )


def unit_able(report: Report, catalog: Catalog) -> bool | None:
    """Return whether the unit could run its tests; None when nothing tells."""
    coverage, reach = report.reading.coverage, catalog.firing.scans.reach
    if coverage.able is not None or coverage.unit_volts is None:
        return coverage.able
    inside = reach.lowest_volts <= coverage.unit_volts <= reach.highest_volts
    return None if inside else False


def last_scan(net: Network, component: str) -> Scan | None:
    """Return the last report since anybody worked on a component; None when there is none."""
    near = frozenset({component}).union(*net.near[component])
    worked = max((at for at, _ in net.line.works_on(near)), default=-1)
    later = [s for s in scans(net) if s.place > worked and not s.doubtful]
    return later[-1] if later else None


def loose_chance(component: str, place: int, net: Network, catalog: Catalog) -> float:
    """Return the chance that a component was still unplugged at a place in time."""
    last = None
    for at, work in net.line.works_on(frozenset({component})):
        if at < place and work.what in ("disconnected", "reseated", "replaced"):
            last = work.what
    figure = catalog.firing.conditions.plugs["still_unplugged"]
    return figure.value if last == "disconnected" else 0.0
