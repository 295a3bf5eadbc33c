"""How the car stands at the end: the lamp check and the final scan, against the last work."""

import datetime as dt

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.apart import find_off, tell_off
from squibwise.history.order import CURED, History, last_touch
from squibwise.history.power import SETTING
from squibwise.history.reports import is_of_another_car
from squibwise.history.signed import (
    is_decided,
    last_clearing,
    last_signed,
)
from squibwise.model.evidence import (
    DoneWork,
    Evidence,
    LampCheck,
    Passed,
    TestOutcome,
)
from squibwise.model.names import split_component, split_loop
from squibwise.model.report import KM_PER_MILE, CodeLine, Coverage, Report, Unread
from squibwise.model.words import Outcome

LAMP_CHECK = ("lamp-check", "step:lamp-check")
FINAL_SCAN = ("final-scan", "step:final-scan")
AGAIN, STAYS, BACK = "second-drive", "stays-away", "comes-back"
_THERE = frozenset({"present", "locked", "intermittent"})
_WAITING = frozenset({"not-tested", "pending"})
_HARMLESS = frozenset({"cleared"})


class Problem(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that keeps a check from being met.

    Attributes:
        word: Which: ``none``, ``early``, ``dark`` ...; the telling belongs to whoever prints it.
        detail: Names or figures that belong to it.
        decided: Does it decide against the check; else it leaves it undecided.
    """

    word: str
    detail: str = ""
    decided: bool = False


class Standing(msgspec.Struct, frozen=True, kw_only=True):
    """How a check stands.

    Attributes:
        entry: The evidence that counts, the last of its kind; None when there is none.
        problems: What keeps it from being met, the hardest first; empty when it is met.
        decided_by: Id of the signature that decided what no limit does; empty = none.
        read: What that signature decided.
    """

    entry: Evidence | None
    problems: tuple[Problem, ...] = ()
    decided_by: str = ""
    read: tuple[Problem, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """``met``, ``not met`` or ``undecided``."""
        if not self.problems:
            return "met"
        return "not met" if any(p.decided for p in self.problems) else "undecided"


def judge_lamp(history: History, catalog: Catalog) -> Standing:
    """Return how the last lamp check stands against the last work on the car.

    A time to go out outside every published one may be decided by a named person with the
    document; nothing else may.
    """
    checks = history.all_of(LampCheck)
    if not checks:
        return Standing(entry=None, problems=(Problem(word="none"),))
    place, last = checks[-1]
    problems = [p for p in _lamp_problems(last, place, history, catalog) if p is not None]
    signed = last_signed(history, *LAMP_CHECK)
    decided = ""
    if signed and signed[0] > place and signed[1].result == "failed":
        problems.insert(0, Problem(word="signed-failed", detail=signed[1].note, decided=True))
    elif signed and is_decided(history, catalog, *LAMP_CHECK, after=place):
        decided = signed[1].id if any(p.word in _TO_COMPARE for p in problems) else ""
        problems = [p for p in problems if p.word not in _TO_COMPARE]
    return Standing(entry=last, problems=_hardest_first(problems), decided_by=decided)


_TO_COMPARE = ("soon", "late")


def _lamp_problems(
    check: LampCheck, place: int, history: History, catalog: Catalog
) -> list[Problem | None]:
    soonest, latest = (catalog.fact(f"lamp.{end}-out").number() for end in ("earliest", "latest"))
    out = check.out_after_s
    return [
        Problem(word="dark", decided=True) if not check.lit else None,
        Problem(word="came-on", decided=True) if check.stayed_out is False else None,
        _hidden_lamp(place, history, catalog),
        _late_or_timeless(check, place, history),
        Problem(word="not-timed") if check.lit and out is None else None,
        Problem(word="not-watched") if check.lit and check.stayed_out is None else None,
        Problem(word="soon", detail=f"{out:g}") if out is not None and out < soonest else None,
        Problem(word="late", detail=f"{out:g}") if out is not None and out > latest else None,
    ]


def _hidden_lamp(place: int, history: History, catalog: Catalog) -> Problem | None:
    """Return that the lamp was covered or off when it was checked, or is now."""
    off = find_off(history, catalog, place) | find_off(history, catalog)
    said = [x for c, x in off.items() if split_component(c).kind == _LAMP]
    words = [tell_off(x) for x in said]
    return Problem(word="hidden", detail=words[0], decided=True) if words else None


_LAMP = "warning-lamp"


def judge_scan(history: History, catalog: Catalog, vin: str | None = None) -> Standing:
    """Return how the last scan stands against the last work on the car.

    Lines that nobody understood, which unit it is of, what its date and its odometer mean may be
    read by a named person; nothing else may be decided so.

    Args:
        history: The course of events.
        catalog: What the unit needs for its tests.
        vin: Of the car; None = not known.
    """
    scans = history.all_of(Report)
    if not scans:
        return Standing(entry=None, problems=(Problem(word="none"),))
    place, last = scans[-1]
    problems = [
        *_scan_of_what(last, [r for _, r in scans[:-1]], vin),
        *_scan_of_which_unit(last),
        *_scan_of_which_day(last),
        *_scan_at_which_distance(last, [r for _, r in scans[:-1]]),
        *(p for p in (_late_or_timeless(last, place, history),) if p is not None),
        *_scan_before(place, history),
        *_scan_while_off(place, history, catalog),
        *_scan_lines(last),
        *_scan_coverage(last, catalog),
    ]
    signed = last_signed(history, *FINAL_SCAN)
    decided = ""
    read: tuple[Problem, ...] = ()
    if signed and signed[0] > place and signed[1].result == "failed":
        problems.insert(0, Problem(word="signed-failed", detail=signed[1].note, decided=True))
    elif _TO_READ & {p.word for p in problems} and is_decided(
        history, catalog, *FINAL_SCAN, after=place
    ):
        decided = signed[1].id if signed else ""
        read = tuple(p for p in problems if p.word in _TO_READ)
        problems = [p for p in problems if p.word not in _TO_READ]
    return Standing(entry=last, problems=_hardest_first(problems), decided_by=decided, read=read)


def _scan_of_what(last: Report, earlier: list[Report], vin: str | None) -> list[Problem]:
    """Return whether the last scan is of another car, or a file that was handed in before."""
    named = last.reading.vin or last.reading.vin_part
    other = is_of_another_car(last, vin, slips=0)
    again = [r.id for r in earlier if last.file and r.file == last.file]
    found = [Problem(word="other-car", detail=named or "", decided=True)] if other else []
    twice = [f.message for f in last.reading.findings if f.code == "two-vins"]
    found += [Problem(word="two-cars", detail=text.rstrip(".")) for text in twice[:1]]
    return found + [Problem(word="same-file", detail=r, decided=True) for r in again[:1]]


def _scan_before(place: int, history: History) -> list[Problem]:
    """Return that the memory was cleared, a part set or the car driven after a scan.

    A fault that comes back on the drive, or that a setting leaves, is in no scan then.
    """
    cleared = last_clearing(history)
    later = (n for n, p in history.all_of(Passed) if p.result == "passed" and _is_tried(p.what))
    return (
        [Problem(word="early")] if place < max([-1 if cleared is None else cleared, *later]) else []
    )


def _is_tried(what: str) -> bool:
    return what in DRIVE or what.endswith(SETTING)


def _scan_while_off(place: int, history: History, catalog: Catalog) -> list[Problem]:
    """Return that parts were on record as off their circuit when a scan was read."""
    off = [c for c in find_off(history, catalog, place) if split_component(c).kind != _LAMP]
    return [Problem(word="off", detail=", ".join(off), decided=True)] if off else []


_TO_READ = frozenset({"unread", "two-cars", "no-unit", "other-day", "odometer-back"})


def _scan_of_which_unit(last: Report) -> list[Problem]:
    """Return whether a scan without a fault tells of the restraint unit's memory at all."""
    unit = last.reading.coverage.unit
    if unit in (None, "restraint"):
        return []
    return [Problem(word="other-unit" if unit == "other" else "no-unit", decided=unit == "other")]


def _scan_of_which_day(last: Report) -> list[Problem]:
    """Return whether a scan states another day of itself than that of its entry."""
    days, told = last.reading.coverage.days, last.time
    if not days or told is None or any(abs(d - told.date()) <= _NEXT_DAY for d in days):
        return []
    return [Problem(word="other-day", detail=days[0].isoformat())]


_NEXT_DAY = dt.timedelta(days=1)


def _scan_at_which_distance(last: Report, earlier: list[Report]) -> list[Problem]:
    """Return whether the odometer of the last scan stands lower than that of one before it."""
    now = last.reading.coverage
    before = [r.reading.coverage for r in earlier if r.reading.coverage.odometer]
    higher = [c for c in before if now.odometer is not None and _is_lower(now, c)]
    if not higher:
        return []
    worst = max(higher, key=lambda c: c.odometer or 0)
    detail = " after ".join(f"{c.odometer} {c.odometer_unit}".rstrip() for c in (now, worst))
    return [Problem(word="odometer-back", detail=detail)]


def _is_lower(now: Coverage, before: Coverage) -> bool:
    """Return whether one odometer stands lower than another; False where the units do not tell.

    Whole figures of two units are compared to the kilometre.
    """
    if now.odometer is None or before.odometer is None:
        return False
    if now.odometer_unit == before.odometer_unit:
        return now.odometer < before.odometer
    if not (now.odometer_unit and before.odometer_unit):
        return False
    km = {"km": 1.0, "mi": KM_PER_MILE}
    here, there = (
        c.odometer * km[c.odometer_unit] for c in (now, before) if c.odometer is not None
    )
    return here + 2 * KM_PER_MILE < there


def _late_or_timeless(check: Evidence, place: int, history: History) -> Problem | None:
    """Return whether a check came too early; its place counts only where nothing has a time."""
    if place < last_touch(history):
        return Problem(word="early")
    return Problem(word="no-time") if check.time is None and is_work_timed(history) else None


def is_work_timed(history: History) -> bool:
    """Return whether any work on the car has a time, so that what proves it needs one too."""
    return any(w.time is not None for _, w in history.all_of(DoneWork))


def _scan_lines(report: Report) -> list[Problem]:
    told = [x for x in report.reading.lines if x.unit != "other"]
    own = [x for x in told if x.present or x.is_untested]
    lines = [x for x in own if not set(x.status) <= _HARMLESS or not x.status]
    there = [x for x in lines if set(x.status) & _THERE]
    waiting = [x for x in lines if x not in there and set(x.status) & _WAITING]
    stored = [x for x in lines if x not in there and x not in waiting]
    read = report.reading
    beside = (*read.coverage.stand_ins, *read.coverage.counts_more)
    asked: list[Unread | CodeLine] = [*read.strange, *read.unsure, *read.doubtful, *beside]
    raws = {x.line: x.raw for x in asked}
    short = (f.origin for f in read.findings if f.code == "count-differs")
    raws |= {o.line: o.raw for o in short if o.line is not None}
    raws = {line: " ".join(raw.split()) for line, raw in sorted(raws.items())}
    unread = [f'line {number}, "{raw[:80]}"' for number, raw in raws.items()]
    more = [f"{len(unread) - _TOLD} more"] if unread[_TOLD:] else []
    found = {
        "faults": (_names(there), True),
        "waiting": (_names(waiting), False),
        "stored": (_names(stored), False),
        "unread": (", ".join([*unread[:_TOLD], *more]), False),
    }
    return [Problem(word=w, detail=d, decided=no) for w, (d, no) in found.items() if d]


_TOLD = 3


def _scan_coverage(report: Report, catalog: Catalog) -> list[Problem]:
    coverage, found = report.reading.coverage, []
    if coverage.complete is not True:
        found.append(Problem(word="incomplete"))
    if coverage.able is False:
        found.append(Problem(word="unable"))
    if coverage.not_tested:
        found.append(Problem(word="not-tested", detail=", ".join(coverage.not_tested)))
    low, high = (catalog.fact(f"unit-volts.{end}").number() for end in ("low", "high"))
    if coverage.unit_volts is not None and not low <= coverage.unit_volts <= high:
        found.append(Problem(word="volts", detail=f"{coverage.unit_volts:g} V"))
    return found


def _names(lines: list[CodeLine]) -> str:
    return ", ".join(dict.fromkeys(x.code or x.component or x.raw.strip() for x in lines))


def _hardest_first(problems: list[Problem]) -> tuple[Problem, ...]:
    return tuple(sorted(problems, key=lambda p: not p.decided))


class Cleared(msgspec.Struct, frozen=True, kw_only=True):
    """How the memory was cleared before the last scan.

    Attributes:
        entry: What says so; None where nothing does.
        before: How long before the scan; None where either has no time.
        drive: Who signed for a drive between them; None where nobody did.
    """

    entry: Evidence | None
    before: dt.timedelta | None = None
    drive: Passed | None = None


def judge_clearing(history: History) -> Cleared | None:
    """Return how the memory was cleared before the last scan; None where nobody scanned."""
    scans = history.all_of(Report)
    if not scans:
        return None
    place, scan = scans[-1]
    at = last_clearing(history, place)
    if at is None:
        return Cleared(entry=None)
    entry = history.entries[at]
    timed = entry.time is not None and scan.time is not None
    drives = [p for n, p in history.all_of(Passed) if at < n < place and p.what in DRIVE]
    return Cleared(
        entry=entry,
        before=_since(entry, scan) if timed else None,
        drive=next((p for p in reversed(drives) if p.result == "passed"), None),
    )


def find_undriven(history: History) -> tuple[Report, Report] | None:
    """Return two scans with one odometer between which somebody signed for a drive; else None."""
    scans = [(n, r) for n, r in history.all_of(Report) if r.reading.coverage.odometer is not None]
    drives = [n for n, p in history.all_of(Passed) if p.what in DRIVE and p.result == "passed"]
    if not scans or not drives:
        return None
    last, now = scans[-1]
    read, unit = now.reading.coverage.odometer, now.reading.coverage.odometer_unit
    same = (
        r
        for n, r in scans[:-1]
        if any(n < at < last for at in drives)
        and (r.reading.coverage.odometer, r.reading.coverage.odometer_unit) == (read, unit)
    )
    first = next(same, None)
    return None if first is None else (first, now)


def _since(earlier: Evidence, later: Evidence) -> dt.timedelta:
    one, other = (e.time or dt.datetime.min for e in (earlier, later))
    return other.replace(tzinfo=None) - one.replace(tzinfo=None)


DRIVE = ("step:drive", "drive")


def list_unproved(history: History) -> dict[str, str]:
    """Return the evidence that calls a fault cured that came and went, by component, until proved.

    Gone once is no proof of such a fault: it is open until a second drive is told on which it
    stayed away. One that came back is open until it is cured again and driven again.
    """
    open_now: dict[tuple[str, int], TestOutcome] = {}
    for _, entry in history.all_of(TestOutcome):
        loop = split_loop(entry.loop)
        if entry.test == AGAIN and entry.outcome == STAYS:
            open_now.pop(loop, None)
        elif entry.outcome == BACK or (
            entry.outcome in CURED and loop not in open_now and _came_and_went(loop, history)
        ):
            open_now[loop] = entry
        elif entry.outcome in CURED and open_now.get(loop, entry).outcome in CURED:
            open_now.pop(loop, None)
        elif entry.outcome in CURED:
            open_now[loop] = entry
    return {component: entry.id for (component, _), entry in open_now.items()}


def _came_and_went(loop: tuple[str, int], history: History) -> bool:
    """Return whether the last report that names a circuit calls its fault intermittent."""
    component, stage = loop
    named = [
        line.status
        for _, report in history.all_of(Report)
        for line in report.reading.lines
        if line.component == component and line.stage in (None, stage)
    ]
    return bool(named) and "intermittent" in named[-1]
