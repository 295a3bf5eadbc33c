"""One report as a whole: how far it reaches, whether it can be believed, what disturbs it."""

from squibwise.catalog.firing import Figure
from squibwise.catalog.load import Catalog
from squibwise.history.order import History
from squibwise.infer.crash import measured_speed
from squibwise.model.evidence import Circumstance, Impact, Recorder
from squibwise.model.report import CodeLine, Report

_MANY = 3


def one_cause(report: Report) -> bool:
    """Return whether most codes speak of supply, ground or communication, not of parts."""
    lines = [c for c in report.reading.lines if c.fault != "event-recorded" and c.unit != "other"]
    general = [c for c in lines if c.fault in ("voltage", "communication")]
    return len(general) >= _MANY and 2 * len(general) > len(lines)


def signs_of_disturbance(report: Report, catalog: Catalog) -> int:
    """Return how many signs a report gives of supply, ground or bus being at fault: 0 to 2."""
    coverage, reach = report.reading.coverage, catalog.firing.scans.reach
    volts = coverage.unit_volts
    strange = volts is not None and not reach.lowest_volts <= volts <= reach.highest_volts
    return int(strange) + int(any(_is_of_the_unit(c) for c in report.reading.lines))


def _is_of_the_unit(line: CodeLine) -> bool:
    """Return whether a code is of the restraint unit's own supply or bus, not of one sensor's."""
    own = line.unit != "other" and line.present
    bus = line.fault == "communication" and line.kind in (None, "control-unit")
    return own and (line.fault == "voltage" or bus)


def unit_is_silent(report: Report) -> bool:
    """Return whether a report says that the restraint unit does not answer."""
    return any(
        c.kind == "control-unit" and c.fault == "communication" and c.present
        for c in report.reading.lines
    )


def is_crash_denied(line: History, catalog: Catalog) -> bool:
    """Return whether somebody says, saw or read that the car was not struck, or stood asleep."""
    bound = catalog.firing.events.fires_from_kmh
    speeds = [measured_speed(e) for _, e in line.all_of(Recorder)]
    return (
        any((e.what, e.present) in _DENIALS for _, e in line.all_of(Circumstance))
        or any(e.extent == "none" for _, e in line.all_of(Impact))
        or any(speed is not None and speed < bound for speed in speeds)
    )


_DENIALS = (("crash", False), ("parked", True))


def is_supply_low(report: Report, catalog: Catalog) -> bool:
    """Return whether the supply was too low when a report was read, as measured or as coded."""
    volts = report.reading.coverage.unit_volts
    if volts is not None:
        return volts < catalog.firing.scans.reach.charge_below_volts
    return any(
        c.fault == "voltage" and c.unit != "other" and "present" in c.status
        for c in report.reading.lines
    )


def event_lines(report: Report) -> tuple[CodeLine, ...]:
    """Return the lines that tell of a crash record."""
    return tuple(
        c
        for c in report.reading.lines
        if c.fault == "event-recorded"
        and "cleared" not in c.status
        and c.present
        and c.unit != "other"
    )


def chance_whole(report: Report, line: History, catalog: Catalog) -> float:
    """Return the chance that a report shows every code that the unit of this car stores.

    It does not when it was erased before, read from another unit or car, or cut short. That is one
    thing for the whole report, not one for each circuit.
    """
    reach, coverage = catalog.firing.scans.reach, report.reading.coverage
    nothing = any(f.code == _NOTHING_UNDERSTOOD for f in report.reading.findings)
    if nothing and len(report.reading.unread) >= _A_LIST:
        return 0.0
    if coverage.complete is False:
        return 1.0 - reach.unread_if_partial.value
    if coverage.complete is None and report.reading.lines and not _names_a_part(report):
        return 0.0  # a list of another unit, or of codes that nobody could read
    if coverage.complete is None:
        return 1.0 - reach.unread_if_unstated.value
    return 1.0 - (reach.cut_short if report.shows_codes else _blank(report, line, catalog)).value


_NOTHING_UNDERSTOOD = "no-fault-found"  # not one line understood, not even that there is no fault
_A_LIST = 5  # lines: fewer are a heading and a word that all is well, which nobody knew to read


def _blank(report: Report, line: History, catalog: Catalog) -> Figure:
    """Return the chance that a report without codes shows none of those that the unit stores."""
    place, reach = line.place_of(report.id), catalog.firing.scans.reach
    done = {work.what for at, work in line.works if at < place}
    if report.when == "after-repair" or done - {"cleared"}:
        return reach.blank_after_work
    return reach.blank_after_clearing if done else reach.blank


def _names_a_part(report: Report) -> bool:
    """Return whether any line is known to be of the restraint unit, or to mean a part of it."""
    return any(
        c.unit == "restraint" or c.kind or c.component or c.candidates for c in report.reading.lines
    )


def unit_able(report: Report, catalog: Catalog) -> bool | None:
    """Return whether the unit could run its tests; None when nothing tells."""
    coverage, reach = report.reading.coverage, catalog.firing.scans.reach
    if coverage.able is not None or coverage.unit_volts is None:
        return coverage.able
    inside = reach.lowest_volts <= coverage.unit_volts <= reach.highest_volts
    return None if inside else False
