"""What is wrong or remarkable with a report as a whole."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator

from squibwise.intake.report.entries import Entry, Gathered
from squibwise.intake.report.layout import MAX_LINE, Sheet
from squibwise.intake.report.meaning import Meaning
from squibwise.intake.report.parts import Scope
from squibwise.model.origin import Finding, Origin, Severity
from squibwise.model.report import CodeLine

COMMON_FAULTS = ("voltage", "communication", "configuration")
_MANY = 3
_MAJORITY = 0.5

Pair = tuple[Entry, Meaning]


def remarks(
    pairs: list[Pair],
    read: list[CodeLine],
    gathered: Gathered,
    sheet: Sheet,
    scope: Scope,
    name: str,
) -> Iterator[Finding]:
    """Yield findings about a report.

    Args:
        pairs: Entries with what they mean.
        read: The same as code lines.
        gathered: Counts of faults.
        sheet: All lines.
        scope: Car and drive hand.
        name: Of the file.
    """
    for (entry, meaning), line in zip(pairs, read, strict=True):
        yield from _clashes(entry, meaning, line, name)
        yield from _cut_short(entry, name)
    yield from _counts(gathered, name)
    yield from _one_cause(read, name)
    yield from _assumed_hand(pairs, scope, name)
    yield from _not_fitted(read, scope, name)
    yield from _overlong(sheet, name)
    if sheet.is_recorder:
        yield _make(
            "crash-data-not-a-report",
            "warning",
            "This file holds data of a crash recorder, not the faults of a unit; none was read.",
            'Give it as evidence of kind = "crash-data".',
            Origin(file=name),
        )
    elif not read and not gathered.counts:
        yield _make(
            "no-fault-found",
            "warning",
            "No fault was understood in this report.",
            "Check that it is the report of the restraint unit; no codes read is not a clean scan.",
            Origin(file=name),
        )


def _clashes(entry: Entry, meaning: Meaning, line: CodeLine, name: str) -> Iterator[Finding]:
    origin = Origin(file=name, line=entry.line, raw=entry.raws[0])
    if "part" in meaning.clash:
        yield _make(
            "words-against-code",
            "warning",
            f"The description of {line.code} names another part or stage than the code tables "
            f"({meaning.code_title}); the description counts, both are kept.",
            "Look the code up in the maker's own list.",
            origin,
        )
    if "fault" in meaning.clash:
        yield _make(
            "words-against-failure-type",
            "note",
            f"The description of {line.code} tells of another fault than its failure type "
            f"{line.failure_type}; the description counts, both are kept.",
            "Look the failure type up in the maker's own list.",
            origin,
        )


def _cut_short(entry: Entry, name: str) -> Iterator[Finding]:
    if entry.token is not None and entry.token.style == "cut":
        yield _make(
            "code-cut-short",
            "warning",
            f"The code '{entry.token.printed}' is cut short.",
            "Read it again from the scanner.",
            Origin(file=name, line=entry.line, raw=entry.raws[0]),
        )


def _counts(gathered: Gathered, name: str) -> Iterator[Finding]:
    """A count agrees with its own section, with all that follows or with the whole report."""
    total = len(gathered.entries)
    sections = sorted(e.section for e in gathered.entries)
    starts = [c.section for c in gathered.counts]
    for place, count in enumerate(gathered.counts):
        first = bisect_left(sections, count.section)
        own = bisect_right(sections, count.section) - first
        end = starts[place + 1] if place + 1 < len(starts) else count.section + total + 1
        until_next = bisect_left(sections, end) - first
        if count.count not in (own, until_next, total - first, total):
            yield _make(
                "count-differs",
                "warning",
                f"The report announces {count.count} faults here, {own or until_next} were read.",
                "Compare with the report: a line is missing or was not understood.",
                Origin(file=name, line=count.line, raw=count.raw),
            )


def _one_cause(read: list[CodeLine], name: str) -> Iterator[Finding]:
    """Many codes of supply, communication or configuration have one cause. Common practice."""
    common = [ln for ln in read if ln.fault in COMMON_FAULTS]
    present = [ln for ln in read if "present" in ln.status]
    alone = len(present) > 1 and all(ln.fault in COMMON_FAULTS for ln in present)
    many = len(common) >= _MANY and len(common) >= _MAJORITY * len(read)
    if not (many or alone):
        return
    kinds = ", ".join(sorted({ln.fault for ln in common}))
    yield _make(
        "one-cause-behind-many",
        "warning",
        f"{len(common)} of {len(read)} codes tell of {kinds}"
        f"{', and nothing else is present' if alone else ''}: likely one cause behind them all.",
        "Check battery, supply, ground and the unit's connector and coding before anything else; "
        "these codes do not count against the parts they name.",
        Origin(file=name, line=common[0].line, raw=common[0].raw),
    )


def _assumed_hand(pairs: list[Pair], scope: Scope, name: str) -> Iterator[Finding]:
    assumed = [e for e, m in pairs if m.part is not None and m.part.assumed]
    if assumed:
        yield _make(
            "drive-hand-assumed",
            "note",
            f"Left and right were turned into seats, or seats into sides, for a driver on the "
            f"{scope.hand.side}, on {len(assumed)} lines.",
            "State drive_hand for the car.",
            Origin(file=name, line=assumed[0].line, raw=assumed[0].raws[0]),
        )


def _not_fitted(read: list[CodeLine], scope: Scope, name: str) -> Iterator[Finding]:
    if scope.car is None:
        return
    has = scope.car.components
    for line in read:
        if line.component is not None and line.component not in has:
            yield _make(
                "part-not-in-equipment",
                "note" if scope.car.assumed else "warning",
                f"The report names {line.component}, which the car is not taken to have.",
                "Add it to the car's equipment, or check the line.",
                Origin(file=name, line=line.line, raw=line.raw),
            )


def _overlong(sheet: Sheet, name: str) -> Iterator[Finding]:
    for line in sheet.lines:
        if line.is_cut:
            yield _make(
                "line-too-long",
                "warning",
                f"A line of more than {MAX_LINE} characters was read only up to there.",
                "Break it up.",
                Origin(file=name, line=line.number, raw=line.text[:80]),
            )


def _make(code: str, severity: Severity, message: str, remedy: str, origin: Origin) -> Finding:
    return Finding(code=code, severity=severity, message=message, remedy=remedy, origin=origin)
