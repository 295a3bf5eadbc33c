"""How far a report reached, and what is wrong or remarkable with it as a whole."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator

from squibwise.catalog.load import Catalog
from squibwise.intake.report.faults import Entry, Gathered
from squibwise.intake.report.lines import Line
from squibwise.intake.report.meaning import Meaning
from squibwise.intake.report.parts import Scope, parts
from squibwise.intake.report.sense import has_fault, has_part
from squibwise.intake.report.sheet import MAX_LINE, Sheet
from squibwise.model.origin import Finding, Origin, Severity
from squibwise.model.report import CleanCircuit, CodeLine, Coverage

_ELECTRIC = frozenset("open high low short cross resistance range ground battery".split())


def coverage(read: list[CodeLine], gathered: Gathered, scope: Scope, name: str) -> Coverage:
    """Return what was covered, as far as the report itself tells.

    ``able`` is False when the unit could not run its tests, None when that is not known: a report
    alone never proves that every circuit was tested.

    Args:
        read: Its faults.
        gathered: The same in the making, with the lines that are none.
        scope: Catalogue, car and drive hand.
        name: Of the file.
    """
    own = [ln for ln in read if ln.unit != "other" and ln.present]
    able, why = _able(own, gathered.volts, scope.catalog)
    return Coverage(
        able=able,
        unit_volts=gathered.volts,
        modules=tuple(gathered.modules),
        not_tested=_not_tested(own),
        clean=_clean(gathered, scope, name),
        no_crash_record=_no_crash_record(own, gathered, name),
        why=why,
    )


def _clean(gathered: Gathered, scope: Scope, name: str) -> tuple[CleanCircuit, ...]:
    """Circuits that a line says were tested and found good."""
    found = []
    for line in gathered.unread:
        named = parts(line.sense, scope) if _is_found_good(line) else ()
        if len(named) == 1 and named[0].component is not None:
            origin = Origin(file=name, line=line.number, raw=line.raw)
            stage = named[0].stage
            found.append(CleanCircuit(component=named[0].component, stage=stage, origin=origin))
    return tuple(found)


def _is_found_good(line: Line) -> bool:
    """Tell whether a line denies a circuit's fault or calls it good; ``no code`` does neither."""
    if "worked" in line.sense.voices:
        return False
    denies_fault = line.why in ("denied", "gone") and bool(line.sense.features & _ELECTRIC)
    return denies_fault or line.role == "clean" or line.why == "found good"


def _no_crash_record(own: list[CodeLine], gathered: Gathered, name: str) -> Origin | None:
    """Where a line denies that the unit holds a crash record, and no other line has one."""
    if any(ln.fault == "event-recorded" for ln in own):
        return None
    denied = (
        ln
        for ln in gathered.unread
        if ln.why in ("denied", "gone") and "crashrecord" in ln.sense.features
    )
    line = next(denied, None)
    return None if line is None else Origin(file=name, line=line.number, raw=line.raw)


def _not_tested(read: list[CodeLine]) -> tuple[str, ...]:
    ids = (ln.component for ln in read if "not-tested" in ln.status)
    return tuple(dict.fromkeys(i for i in ids if i is not None))


def _able(
    read: list[CodeLine], volts: float | None, catalog: Catalog
) -> tuple[bool | None, tuple[str, ...]]:
    why = list(_voltage(volts, catalog))
    unable = bool(why)
    for line in read:
        if line.component != "centre.control-unit":
            continue
        if line.fault in ("configuration", "identity"):
            unable = True
            why.append(
                f"Line {line.line}: the unit is not configured for this car; "
                "until it is, it may not test any circuit."
            )
        elif line.fault == "event-recorded":
            why.append(
                f"Line {line.line}: the unit holds a crash record; "
                "some units stop testing circuits once they do."
            )
        elif line.fault == "internal":
            why.append(f"Line {line.line}: a unit with an internal fault may not test circuits.")
        elif line.fault == "voltage":
            why.append(f"Line {line.line}: the unit's supply was at fault; tests may not have run.")
    if any("not-tested" in ln.status for ln in read):
        why.append("Some tests had not completed since the memory was last cleared.")
    return (False if unable else None), tuple(why)


def _voltage(volts: float | None, catalog: Catalog) -> tuple[str, ...]:
    if volts is None:
        return ()
    low = catalog.fact("supply.test-low").number()
    high = catalog.fact("supply.test-high").number()
    if low <= volts <= high:
        return ()
    return (
        f"Supply {volts:g} V is outside {low:g} to {high:g} V: the unit may not run its tests.",
    )


COMMON_FAULTS = ("voltage", "communication", "configuration")
_MANY = 3
_LONGEST = 200  # characters of a list in a message
_MOST_LINES = 8
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
    yield from _as_a_camera_saw(pairs, sheet, name)
    yield from _without_table(pairs, name)
    yield from _not_understood(gathered, name)
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


def _as_a_camera_saw(pairs: list[Pair], sheet: Sheet, name: str) -> Iterator[Finding]:
    """One confirmation for all codes in which signs were taken for one another."""
    seen = [e for e, _ in pairs if e.token is not None and e.token.style == "camera"]
    if seen:
        read = ", ".join(f"'{e.token.printed}' as {e.token.readings[0]}" for e in seen if e.token)
        yield _make(
            "codes-repaired",
            "warning",
            f"A camera or a reader of print mistook signs: {read[:_LONGEST]}.",
            "Compare these codes with the screen or the print; correct the file if one is wrong.",
            Origin(file=name, line=seen[0].line, raw=seen[0].raws[0]),
        )
    elif sheet.is_machine_read and not any(e.token for e, _ in pairs):
        yield _make(
            "machine-read-no-code",
            "warning",
            "This text was read by a machine, with digits among letters, and no code was found.",
            "Take a sharper picture, or type the codes and their words into a text file.",
            Origin(file=name),
        )


def _without_table(pairs: list[Pair], name: str) -> Iterator[Finding]:
    """Once for all numbers of a maker that no words explain."""
    bare = [
        e
        for e, m in pairs
        if e.token is not None and not e.token.is_exact and e.token.style != "cut" and not m.parts
    ]
    if bare:
        codes = ", ".join(dict.fromkeys(e.token.printed for e in bare if e.token))
        yield _make(
            "no-table-for-code",
            "note",
            f"Only the maker's own list tells what these numbers stand for: {codes[:_LONGEST]}.",
            "Name a code table under [[codes]] in the case, with where you read it.",
            Origin(file=name, line=bare[0].line, raw=bare[0].raws[0]),
        )


def _not_understood(gathered: Gathered, name: str) -> Iterator[Finding]:
    """Once for all lines that name a part or a fault and still made none."""
    open_lines = [
        ln
        for ln in gathered.unread
        if not ln.why and (has_part(ln.sense) or has_fault(ln.sense) or ln.codes)
    ]
    if open_lines:
        numbers = ", ".join(str(ln.number) for ln in open_lines[:_MOST_LINES])
        words = sorted({f for ln in open_lines for f in ln.sense.features - {"skip"}})
        yield _make(
            "line-not-understood",
            "note",
            f"{len(open_lines)} lines name a part or a fault and were not understood (line "
            f"{numbers}); recognised in them: {', '.join(words)[:_LONGEST]}.",
            "Write part, side and fault on one line, or add a code table under [[codes]].",
            Origin(file=name, line=open_lines[0].number, raw=open_lines[0].raw),
        )


def _make(code: str, severity: Severity, message: str, remedy: str, origin: Origin) -> Finding:
    return Finding(code=code, severity=severity, message=message, remedy=remedy, origin=origin)
