"""What is wrong or remarkable with a report as a whole."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator

from squibwise.intake.report.candidates import Scope
from squibwise.intake.report.clauses.lines import MAX_LINE
from squibwise.intake.report.coverage import unit_of_report
from squibwise.intake.report.language.lexicon import lexicon_of
from squibwise.intake.report.language.words import has_fault, has_part
from squibwise.intake.report.layout.other_files import (
    is_priced,
    tell_events,
    tell_language,
    tell_other,
)
from squibwise.intake.report.sheet import Fault, Sheet
from squibwise.intake.report.whole.silence import find_silence
from squibwise.model.origin import Finding, Origin, Severity
from squibwise.model.report import CodeLine, ReadReport

COMMON_FAULTS = ("voltage", "communication", "configuration")
_MANY = 3
_LONGEST = 200  # characters of a list in a message
_MOST_LINES = 8
_MAJORITY = 0.5


def remarks(sheet: Sheet, told: list[CodeLine], scope: Scope) -> Iterator[Finding]:
    """Yield findings about a report."""
    name = sheet.name
    for fault, line in zip(sheet.faults, told, strict=True):
        yield from _clashes(fault, line, name)
        yield from _cut_short(fault, name)
    yield from _counts(sheet, told)
    yield from _one_cause(told, name)
    yield from _assumed_hand(sheet.faults, scope, name)
    yield from _not_fitted(told, scope, name)
    yield from _overlong(sheet)
    yield from _as_a_camera_saw(sheet)
    yield from _without_table(sheet.faults, name)
    silent = find_silence(sheet, told)
    yield from _not_understood(sheet, silent)
    yield from _not_sure(told, name)
    yield from tell_events(sheet.unread, name)
    yield from tell_language(sheet.lines, lexicon_of(scope.catalog), name)
    kind = sheet.other_kind or ("prices" if not told and is_priced(sheet.lines) else "")
    if kind:
        yield tell_other(kind, name)
    elif silent:
        yield _make(
            "unit-silent",
            "warning",
            "The airbag control unit did not answer: nothing was read of it, which is no clean "
            "scan.",
            "See to its supply, fuse, ground and connector, then read it again.",
            silent[0],
        )
    elif not told and not sheet.counts and unit_of_report(told, sheet) != "restraint":
        yield _make(
            "no-fault-found",
            "warning",
            "No fault was understood in this report.",
            "Check that it is the report of the restraint unit; no codes read is not a clean scan.",
            Origin(file=name),
        )


def _clashes(fault: Fault, line: CodeLine, name: str) -> Iterator[Finding]:
    origin = Origin(file=name, line=fault.first.number, raw=fault.raws[0])
    if "part" in fault.clash:
        yield _make(
            "words-against-code",
            "warning",
            f"The description of {line.code} names another part or stage than the code tables "
            f"({fault.code_title}); the description counts, both are kept.",
            "Look the code up in the maker's own list.",
            origin,
        )
    if "fault" in fault.clash:
        yield _make(
            "words-against-failure-type",
            "note",
            f"The description of {line.code} tells of another fault than its failure type "
            f"{line.failure_type}; the description counts, both are kept.",
            "Look the failure type up in the maker's own list.",
            origin,
        )


def _cut_short(fault: Fault, name: str) -> Iterator[Finding]:
    if fault.code is not None and fault.code.style == "cut":
        yield _make(
            "code-cut-short",
            "warning",
            f"The code '{fault.code.printed}' is cut short.",
            "Read it again from the scanner.",
            Origin(file=name, line=fault.first.number, raw=fault.raws[0]),
        )


def _counts(sheet: Sheet, told: list[CodeLine]) -> Iterator[Finding]:
    """A count agrees with its own section, with all that follows or with the whole report.

    Counts that stand below what they count, with nothing under the last, agree with what is above.
    It may count the faults that are there now, or those that were there as well, a code with
    several parts once, or the faults of the unit that its row names.
    """
    pairs = list(zip(sheet.faults, told, strict=True))
    every = sorted(f.section for f, _ in pairs)
    now = sorted(f.section for f, ln in pairs if ln.present)
    told_by = {(f.section, f.first.number, ln.code or n) for n, (f, ln) in enumerate(pairs)}
    once = sorted(section for section, _, _ in told_by)
    begins = list(sheet.counts)
    starts = [0, *begins, None]
    is_foot = bool(begins and every) and every[0] < begins[0] and every[-1] < begins[-1]
    for (begin, line), before, end in zip(sheet.counts.items(), starts, starts[2:], strict=False):
        place = (before, begin) if is_foot else (begin, end)
        counted = _counted(every, *place)
        of_unit = line.module and sum(f.first.module == line.module for f, _ in pairs)
        if line.count not in (*counted, *_counted(now, *place), *_counted(once, *place), of_unit):
            yield _make(
                "count-differs",
                "warning",
                f"The report announces {line.count} faults here, "
                f"{counted[0] or counted[1]} were read.",
                "Compare with the report: a line is missing or was not understood.",
                Origin(file=sheet.name, line=line.number, raw=line.raw),
            )


def _counted(sections: list[int], section: int, end: int | None) -> tuple[int, ...]:
    """How many faults stand in a section, up to the next count, from here on, and altogether."""
    first = bisect_left(sections, section)
    until = len(sections) if end is None else bisect_left(sections, end)
    own = bisect_right(sections, section) - first
    return (own, until - first, len(sections) - first, len(sections))


def _one_cause(read: list[CodeLine], name: str) -> Iterator[Finding]:
    """Many codes of supply, communication or configuration have one cause. Common practice."""
    read = [ln for ln in read if ln.unit != "other" and ln.present]
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


def _assumed_hand(faults: list[Fault], scope: Scope, name: str) -> Iterator[Finding]:
    assumed = [f for f in faults if f.part is not None and f.part.assumed]
    if assumed:
        yield _make(
            "drive-hand-assumed",
            "note",
            f"Left and right were turned into seats, or seats into sides, for a driver on the "
            f"{scope.hand.side}, on {len(assumed)} lines.",
            "State drive_hand for the car.",
            Origin(file=name, line=assumed[0].first.number, raw=assumed[0].raws[0]),
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


def _overlong(sheet: Sheet) -> Iterator[Finding]:
    for line in sheet.lines:
        if line.is_cut:
            yield _make(
                "line-too-long",
                "warning",
                f"A line of more than {MAX_LINE} characters was read only up to there.",
                "Break it up.",
                Origin(file=sheet.name, line=line.number, raw=line.text[:80]),
            )


def _as_a_camera_saw(sheet: Sheet) -> Iterator[Finding]:
    """One confirmation for all codes in which signs were taken for one another."""
    seen = [f for f in sheet.faults if f.code is not None and f.code.style == "camera"]
    if seen:
        read = ", ".join(f"'{f.code.printed}' as {f.code.readings[0]}" for f in seen if f.code)
        yield _make(
            "codes-repaired",
            "warning",
            f"A camera or a reader of print mistook signs: {read[:_LONGEST]}.",
            "Compare these codes with the screen or the print; correct the file if one is wrong.",
            Origin(file=sheet.name, line=seen[0].first.number, raw=seen[0].raws[0]),
        )
    elif sheet.is_machine_read and not any(f.code for f in sheet.faults):
        yield _make(
            "machine-read-no-code",
            "warning",
            "This text was read by a machine, with digits among letters, and no code was found.",
            "Take a sharper picture, or type the codes and their words into a text file.",
            Origin(file=sheet.name),
        )


def _without_table(faults: list[Fault], name: str) -> Iterator[Finding]:
    """Once for all numbers of a maker that no words explain."""
    bare = [
        f
        for f in faults
        if f.code is not None and not f.code.is_exact and f.code.style != "cut" and not f.candidates
    ]
    if bare:
        codes = ", ".join(dict.fromkeys(f.code.printed for f in bare if f.code))
        yield _make(
            "no-table-for-code",
            "note",
            f"Only the maker's own list tells what these numbers stand for: {codes[:_LONGEST]}.",
            "Name a code table under [[codes]] in the case, with where you read it.",
            Origin(file=name, line=bare[0].first.number, raw=bare[0].raws[0]),
        )


def _not_understood(sheet: Sheet, silent: tuple[Origin, ...]) -> Iterator[Finding]:
    """Once for all lines that name a part or a fault and still made none."""
    silence = {at.line for at in silent}
    open_lines = [
        ln
        for ln in sheet.unread
        if ln.number not in silence
        and not ln.why
        and (has_part(ln.words) or has_fault(ln.words) or ln.codes)
    ]
    if open_lines:
        numbers = ", ".join(str(ln.number) for ln in open_lines[:_MOST_LINES])
        some = "1 line names" if len(open_lines) == 1 else f"{len(open_lines)} lines name"
        were = "was" if len(open_lines) == 1 else "were"
        features = sorted({f for ln in open_lines for f in ln.words.features - {"skip"}})
        yield _make(
            "line-not-understood",
            "note",
            f"{some} a part or a fault and {were} not understood (line "
            f"{numbers}); recognised in them: {', '.join(features)[:_LONGEST]}.",
            "Write part, side and fault on one line, or add a code table under [[codes]].",
            Origin(file=sheet.name, line=open_lines[0].number, raw=open_lines[0].raw),
        )


def _not_sure(told: list[CodeLine], name: str) -> Iterator[Finding]:
    """Once for all sentences that tell of a fault and may deny, remember or suppose it."""
    lines = ReadReport(lines=tuple(told)).doubtful
    if lines:
        numbers = ", ".join(str(ln.line) for ln in lines[:_MOST_LINES])
        more = f" and {len(lines) - _MOST_LINES} more" if lines[_MOST_LINES:] else ""
        yield _make(
            "told-not-sure",
            "warning",
            f"Told of as faults, but not surely there now: line {numbers}{more}. Are they?",
            "Ask who wrote it. If it is, say under [[codes]] what the line means, or write part "
            "and fault on a line of their own.",
            Origin(file=name, line=lines[0].line, raw=lines[0].raw),
        )


def _make(code: str, severity: Severity, message: str, remedy: str, origin: Origin) -> Finding:
    return Finding(code=code, severity=severity, message=message, remedy=remedy, origin=origin)
