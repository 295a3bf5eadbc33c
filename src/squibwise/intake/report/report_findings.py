"""How far a report reached, and what is wrong or remarkable with it as a whole."""

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from functools import lru_cache

from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
from squibwise.intake.report.assertions import DENYING
from squibwise.intake.report.candidates import Scope, candidates_of
from squibwise.intake.report.cut_short import find_cleared, find_end
from squibwise.intake.report.joints import one_of
from squibwise.intake.report.lexicon import Lexicon, lexicon_of
from squibwise.intake.report.line_words import words_of
from squibwise.intake.report.lines import MAX_LINE
from squibwise.intake.report.other_clauses import clauses_of
from squibwise.intake.report.other_files import is_priced, tell_events, tell_language, tell_other
from squibwise.intake.report.own_words import read_days, read_odometer, read_serial
from squibwise.intake.report.said_beside import find_more, find_stand_ins
from squibwise.intake.report.sheet import Fault, Line, Sheet
from squibwise.intake.report.silence import find_silence
from squibwise.intake.report.words import (
    TELLS,
    Words,
    has_fault,
    has_part,
    heads_of,
    names_another,
)
from squibwise.model.origin import Finding, Origin, Severity
from squibwise.model.report import CleanCircuit, CodeLine, Coverage, ReadReport, Unit

_ELECTRIC = frozenset("open high low short cross resistance range ground battery".split())


def coverage(sheet: Sheet, told: list[CodeLine], scope: Scope) -> Coverage:
    """Return what was covered, as far as the report itself tells.

    ``able`` is False when the unit could not run its tests, None when that is not known. It is
    complete only where a line says so of every circuit; the user's own word goes before it.

    Args:
        sheet: The report, with the lines that are no faults.
        told: Its faults.
        scope: Catalogue, car and drive hand.
    """
    own = [ln for ln in told if ln.unit != "other" and (ln.present or ln.is_untested)]
    able, why = _able(own, sheet.volts, scope.catalog)
    odometer, unit = read_odometer(sheet)
    silent = next(iter(find_silence(sheet, told)), None)
    broken_off = find_end(sheet, scope.catalog)
    return Coverage(
        complete=False if silent or broken_off else _complete(own, sheet),
        able=able,
        unit_volts=sheet.volts,
        modules=tuple(sheet.modules),
        not_tested=_not_tested(own),
        clean=_clean(sheet, scope),
        no_crash_record=_no_crash_record(own, sheet),
        why=why,
        unit=_unit_of(told, sheet),
        days=read_days(sheet),
        odometer=odometer,
        odometer_unit=unit,
        stand_ins=find_stand_ins(sheet, scope.catalog),
        counts_more=find_more(sheet, scope.catalog),
        serial=read_serial(sheet, scope.catalog),
        silent=silent,
        broken_off=broken_off,
        cleared=find_cleared(sheet),
    )


def _unit_of(told: list[CodeLine], sheet: Sheet) -> Unit:
    """Whose memory the report tells of: that of the unit that a fault or a clean line stands under.

    A unit that is said not to be there has said nothing.
    """
    if any(ln.unit == "restraint" for ln in told):
        return "restraint"
    gone = [ln for ln in sheet.lines if _ABSENT.search(ln.text)]
    under = {ln.module or ln.text for ln in gone}
    spoken = [ln for ln in sheet.lines if ln.role in ("clean", "count") or ln.is_whole]
    if any(ln.unit == "restraint" and (ln.module or ln.text) not in under for ln in spoken):
        return "unknown" if any(ln.unit == "restraint" for ln in gone) else "restraint"
    named = [ln.unit for ln in sheet.lines if ln in spoken or ln.is_module]
    is_spoken_of = any(ln.words.features & _RESTRAINTS for ln in sheet.lines)
    return "other" if "other" in named and not is_spoken_of else "unknown"


_RESTRAINTS = frozenset({"airbagmodule", "bag", "system"})
_ABSENT = pattern(
    r"not (?:fitted|installed|equipped|present|available|supported|found)|no response|"
    r"nicht (?:verbaut|vorhanden|erreichbar)|keine antwort|non (?:install|mont|pr[eé]sent)|"
    r"no (?:instalad|equipad|responde|presente)",
    re.IGNORECASE,
)


def _complete(own: list[CodeLine], sheet: Sheet) -> bool | None:
    """True where a line calls every circuit, or every other one, good; None when none does."""
    if any("not-tested" in ln.status for ln in own):
        return None
    return any(ln.is_whole for ln in sheet.lines) or None


def _clean(sheet: Sheet, scope: Scope) -> tuple[CleanCircuit, ...]:
    """Circuits that a line says were tested and found good."""
    found = []
    for line in sheet.unread:
        is_good = _is_found_good(line, scope.catalog)
        is_good = is_good and not _asserts_one(line, sheet, scope.catalog)
        named = candidates_of(line.words, scope) if is_good else ()
        if len(named) == 1 and named[0].component is not None:
            origin = Origin(file=sheet.name, line=line.number, raw=line.raw)
            stage = named[0].stage
            found.append(CleanCircuit(component=named[0].component, stage=stage, origin=origin))
    return tuple(found)


def _asserts_one(line: Line, sheet: Sheet, catalog: Catalog) -> bool:
    """``Left curtain: never opened, code says open``: a clause tells a fault and denies none.

    Nor is a part good of which the denial is not said: ``driver bag not open but the curtain is``.
    """
    is_denied = line.why in ("denied", "gone")
    clauses = clauses_of(line.text, lexicon_of(catalog), sheet.language) if is_denied else []
    said = [words_of(text, catalog, sheet.language) for text in clauses] if clauses[1:] else []
    denied = [w for w in said if w.voices & DENYING]
    free = [w for w in said if not w.voices & DENYING]
    is_other = any(heads_of(d) and names_another(w, d) for d in denied for w in free)
    if is_other or any(w.features & _ELECTRIC and not w.voices for w in said):
        return True
    halves = _denial(lexicon_of(catalog)).split(line.text, maxsplit=1) if is_denied else []
    told = [words_of(text, catalog, sheet.language).features for text in halves]
    faults = [features & (TELLS | _ELECTRIC) for features in told]
    return len(faults) > 1 and all(faults) and faults[0] != faults[1]  # "stuck closed not open"


@lru_cache(maxsize=4)
def _denial(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"\s{one_of(lexicon.small.denies)}\s")


def _is_found_good(line: Line, catalog: Catalog) -> bool:
    """Tell whether a line denies a circuit's fault or calls it good; ``no code`` does neither.

    Nor does ``passenger airbag intact``: somebody saw the part, and nobody measured.
    """
    if line.words.voices & {"worked", "was"}:
        return False
    denies_fault = line.why in ("denied", "gone") and bool(line.words.features & _ELECTRIC)
    return (
        denies_fault
        or line.role == "clean"
        or (line.why == "found good" and not _is_look(line, catalog))
    )


def _is_look(line: Line, catalog: Catalog) -> bool:
    texts = {t.text for t in line.tokens}
    is_measured = (
        line.words.features & {"loop", *(_ELECTRIC - {"high"})} or "tested" in line.words.voices
    )
    return not (is_measured or lexicon_of(catalog).small.looks.isdisjoint(texts))


def _no_crash_record(own: list[CodeLine], sheet: Sheet) -> Origin | None:
    """Where a line denies that the unit holds a crash record, and no other line has one."""
    if any(ln.fault == "event-recorded" for ln in own):
        return None
    denied = [ln for ln in sheet.unread if ln.why in ("denied", "gone")]
    denied += [ln for ln in sheet.lines if ln.codes and ln.words.voices & {"not", "gone"}]
    line = next((ln for ln in denied if _denies_record(ln.words)), None)
    return None if line is None else Origin(file=sheet.name, line=line.number, raw=line.raw)


def _denies_record(words: Words) -> bool:
    """``no crash data``, ``no stored impact in the module``; not ``no impact sensor stored``."""
    is_impact = "impact" in words.features and "sensor" not in words.features
    return "crashrecord" in words.features or (is_impact and bool(words.voices & {"not", "gone"}))


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
    if any("not-tested" in ln.status and not ln.is_untested for ln in read):
        why.append("Some tests had not completed since the memory was last cleared.")
    return (False if unable else None), tuple(dict.fromkeys(why))


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


def remarks(sheet: Sheet, told: list[CodeLine], scope: Scope) -> Iterator[Finding]:
    """Yield findings about a report.

    Args:
        sheet: The report with its faults.
        told: The faults as lines of the answer.
        scope: Car and drive hand.
    """
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
    elif not told and not sheet.counts and _unit_of(told, sheet) != "restraint":
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
    It may count the faults that are there now, or those that were there as well, and a code with
    several parts once.
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
        if line.count not in (*counted, *_counted(now, *place), *_counted(once, *place)):
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
