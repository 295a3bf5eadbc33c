"""The verdict on the scan after the repair."""

from squibwise.catalog.load import Catalog
from squibwise.check.limits import because_of
from squibwise.check.when import is_after_last_change, last_change
from squibwise.model.case import Case
from squibwise.model.proof import Verdict
from squibwise.model.report import CodeLine, Report
from squibwise.model.words import Outcome

Judged = tuple[Outcome, str, str]

_HARMLESS = frozenset({"cleared"})
_THERE = frozenset({"present", "locked", "intermittent"})
_WAITING = frozenset({"not-tested", "pending"})


def scan_verdicts(case: Case, catalog: Catalog) -> list[Verdict]:
    """Return the verdict on the last scan, once something was done to the car."""
    if last_change(case) is None:
        return []
    reports = [e for e in case.evidence if isinstance(e, Report)]
    after = [r for r in reports if is_after_last_change(r, case)]
    if not after:
        return [_none()]
    last = after[-1]
    outcome, text, remedy = _judge(last, catalog)
    facts = (catalog.fact("unit-volts.low"), catalog.fact("unit-volts.high"))
    used = last.reading.coverage.unit_volts is not None
    return [
        Verdict(
            what="second-scan",
            outcome=outcome,
            text=text,
            decide=remedy,
            because=because_of(facts if used else (), (last.id,)),
            origin=last.origin,
        )
    ]


def _none() -> Verdict:
    return Verdict(
        what="second-scan",
        outcome="undecided",
        text="No scan was read after the last work on the car.",
        decide="Drive, then read a complete scan whose tests have all run.",
    )


def _judge(report: Report, catalog: Catalog) -> Judged:
    lines = report.reading.lines
    there = [x for x in lines if set(x.status) & _THERE]
    if there:
        return "not met", f"{report.id} still names {_names(there)}.", ""
    doubts = [*_doubts_of_lines(report), *_doubts_of_coverage(report, catalog)]
    if doubts:
        remedy = "Clear, drive, and read a complete scan whose tests have all run."
        return "undecided", f"{report.id}: {'; '.join(doubts)}.", remedy
    return "met", f"{report.id} is complete, its tests have run, and it names no fault.", ""


def _doubts_of_lines(report: Report) -> list[str]:
    left = [x for x in report.reading.lines if not set(x.status) <= _HARMLESS or not x.status]
    waiting = [x for x in left if set(x.status) & _WAITING]
    stored = [x for x in left if x not in waiting]
    doubts = []
    if waiting:
        doubts.append(f"not tested yet: {_names(waiting)}")
    if stored:
        doubts.append(f"stored, or of unknown status: {_names(stored)}")
    if report.reading.unread:
        doubts.append(f"{len(report.reading.unread)} lines were not understood")
    return doubts


def _doubts_of_coverage(report: Report, catalog: Catalog) -> list[str]:
    coverage, doubts = report.reading.coverage, []
    if coverage.complete is not True:
        doubts.append("it is not stated that every circuit was read")
    if coverage.able is False:
        doubts.append("the unit was not able to run its tests")
    if coverage.not_tested:
        doubts.append(f"tests not completed: {', '.join(coverage.not_tested)}")
    low, high = (catalog.fact(f"unit-volts.{end}").number() for end in ("low", "high"))
    if coverage.unit_volts is not None and not low <= coverage.unit_volts <= high:
        doubts.append(f"{coverage.unit_volts:g} V is outside {low:g} to {high:g} V")
    return doubts


def _names(lines: list[CodeLine]) -> str:
    return ", ".join(dict.fromkeys(x.code or x.component or x.raw.strip() for x in lines))
