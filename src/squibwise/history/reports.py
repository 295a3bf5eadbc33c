"""Which reports are this car's, and which of them are one."""

from collections.abc import Iterable, Iterator

import msgspec

from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Evidence, SubstituteLoad, TestOutcome
from squibwise.model.origin import Finding
from squibwise.model.report import Coverage, Report


def settle_reports(case: Case) -> Case:
    """Return the case with its reports as every stage takes them.

    Without another car's, those of one minute as one, those without a time in one order. The
    record keeps every entry as it came, and judges the last scan, whichever car it is of.
    """
    evidence = put_together(of_this_car(case).evidence)
    return msgspec.structs.replace(case, evidence=evidence)


def of_this_car(case: Case) -> Case:
    """Return the case without the reports that name another car's VIN."""
    kept = tuple(e for e in case.evidence if not is_of_another_car(e, case.car.vin))
    return msgspec.structs.replace(case, evidence=kept)


def tell_of_others(case: Case) -> tuple[Finding, ...]:
    """Return a finding for each report that is set aside as another car's."""
    return tuple(
        Finding(
            code="report-of-another-car",
            severity="note",
            message=f"{e.id}: a report of another car; nothing of it is weighed",
            origin=e.origin,
        )
        for e in case.evidence
        if is_of_another_car(e, case.car.vin)
    )


def list_at_odds(case: Case) -> tuple[str, ...]:
    """Return the whole reports without a time, read at one stage, that disagree on faults."""
    untimed: dict[str, list[Report]] = {}
    for entry in of_this_car(case).evidence:
        if isinstance(entry, Report) and entry.time is None and entry.reading.coverage.complete:
            untimed.setdefault(entry.when, []).append(entry)
    for reports in untimed.values():
        if len({frozenset(_at_fault(report)) for report in reports}) > 1:
            return tuple(report.id for report in reports)
    return ()


def ask_for_times(case: Case) -> tuple[Finding, ...]:
    """Return that times are wanted, where reports without one disagree on what is at fault."""
    names = list_at_odds(case)
    if not names:
        return ()
    first = next(e for e in case.evidence if e.id == names[0])
    text = (
        f"{', '.join(names)} have no time and disagree on what is at fault; the one that names a "
        "fault is taken for the later"
    )
    remedy = "Write when each was read: time = 2026-01-31T09:30:00."
    found = Finding(
        code="reports-without-time",
        severity="warning",
        message=text,
        remedy=remedy,
        origin=first.origin,
    )
    return (found,)


def _at_fault(report: Report) -> Iterator[str]:
    """Yield the components that a report has a fault of."""
    for line in report.reading.lines:
        if line.component and line.present and line.fault != "event-recorded":
            yield line.component


def is_of_another_car(entry: Evidence, vin: str | None, slips: int = 2) -> bool:
    """Return whether a report names another car's VIN; a hidden character differs from none.

    Args:
        entry: A report; anything else is of this car.
        vin: Of the car; None = not known.
        slips: How many characters may differ by a slip of who read or typed them. A last scan that
            is to prove a repair may have none.
    """
    named = (entry.reading.vin or entry.reading.vin_part) if isinstance(entry, Report) else None
    if not named or not vin:
        return False
    if len(named) != len(vin):
        return slips == 0  # cut off or run together: of which car it is cannot be told
    return sum(a not in ("*", b) for a, b in zip(named, vin, strict=True)) > slips


def put_together(entries: Iterable[Evidence]) -> tuple[Evidence, ...]:
    """Return entries, in order, with the reports of one minute as one and untimed ones in order."""
    return tuple(_join_reports(_put_untimed_alike(list(entries))))


def what_it_says(report: Report) -> str:
    """Return what a report says, whenever it was read and however its lines are laid out."""
    lines = sorted(
        {
            repr((c.code or c.raw, c.component, c.fault, c.status, c.unit == "other"))
            for c in report.reading.lines
        }
    )
    cover = report.reading.coverage
    return repr((report.when, lines, cover.complete, cover.able, cover.unit_volts))


def _put_untimed_alike(entries: list[Evidence]) -> list[Evidence]:
    """Return entries with reports that have no time, between two that have one, in one order.

    In which order somebody wrote them down says nothing of when they were read: one that names a
    fault comes after one that names none, so that nothing is gone for want of a time.
    """
    runs: list[list[int]] = [[]]
    for at, entry in enumerate(entries):
        if entry.time is not None or isinstance(entry, DoneWork | SubstituteLoad | TestOutcome):
            runs.append([])
        elif isinstance(entry, Report):
            runs[-1].append(at)
    put = list(entries)
    for run in (r for r in runs if len(r) > 1):
        reports = [e for at in run if isinstance(e := entries[at], Report)]
        for at, report in zip(run, sorted(reports, key=_faults_last), strict=True):
            put[at] = report
    return put


_APART = 1_000_000  # added to the line numbers of a report joined to another


def _faults_last(report: Report) -> tuple[bool, str]:
    return any(line.present for line in report.reading.lines), what_it_says(report)


def _join_reports(entries: Iterable[Evidence]) -> list[Evidence]:
    """Return the entries with the reports of one minute joined to the first of them."""
    result: list[Evidence] = []
    places: dict[tuple[object, str], int] = {}
    for entry in entries:
        key = (entry.time, entry.when) if isinstance(entry, Report) and entry.time else None
        first = None if key is None else places.get(key)
        if isinstance(entry, Report) and first is not None:
            known = result[first]
            assert isinstance(known, Report)  # noqa: S101
            result[first] = _joined(known, entry)
            continue
        if key is not None:
            places[key] = len(result)
        result.append(entry)
    return result


def _joined(one: Report, two: Report) -> Report:
    """Return two reports of one minute as one."""
    moved = tuple(
        msgspec.structs.replace(
            c, line=c.line + _APART, repeats=tuple(n + _APART for n in c.repeats)
        )
        for c in two.reading.lines
    )
    reading = msgspec.structs.replace(
        one.reading,
        lines=one.reading.lines + moved,
        coverage=_both(one.reading.coverage, two.reading.coverage),
    )
    return msgspec.structs.replace(one, reading=reading)


def _both(one: Coverage, two: Coverage) -> Coverage:
    """Return how far two reports of one minute reached together."""
    volts = one.unit_volts if one.unit_volts is not None else two.unit_volts
    return msgspec.structs.replace(
        one,
        complete=one.complete if one.complete == two.complete else None,
        able=one.able if one.able == two.able else one.able or two.able,
        unit_volts=volts,
        modules=one.modules + two.modules,
        not_tested=one.not_tested + two.not_tested,
        clean=one.clean + two.clean,
        no_crash_record=one.no_crash_record or two.no_crash_record,
        why=one.why + two.why,
    )
