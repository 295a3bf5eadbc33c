"""What a report says: the faults, what was not understood, how far it reached."""

import re
from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import PurePosixPath

from squibwise.model.report import Candidate, CodeLine, Coverage, ReadReport
from squibwise.present.figures import counted, cut, percent
from squibwise.present.phrases import in_words, tell_findings
from squibwise.present.telling import Bullets, Section, Table, Telling, filled, section

_MARK = re.compile(r"-[0-9a-f]{8}(?=\.)")
"""What tells files of one name apart in a case."""


SILENT = "Nothing was read: the airbag control unit did not answer"


def tell_report(report: ReadReport) -> Telling:
    """Return what a report says: faults of the restraint system, then those of other units."""
    ours = [line for line in report.lines if line.unit != "other"]
    return Telling(
        title=_tell_title(report),
        subtitle=report.vin or "no VIN in it",
        sections=filled(
            (
                Section(blocks=(_faults(ours),)) if ours else None,
                _of_others([line for line in report.lines if line.unit == "other"]),
                _no_fault_now(report),
                _unread(report),
                section("How far it reached", Bullets(items=tell_coverage(report.coverage))),
                tell_findings(report.findings, "About the report"),
            )
        ),
    )


def _tell_title(report: ReadReport) -> str:
    sure, *unsure = count_faults(report.lines)
    if sure.startswith("0") and report.coverage.silent is not None:
        return ", ".join((SILENT, *unsure))
    head = "No fault was read" if sure.startswith("0") else f"{sure} read"
    return ", ".join((head, *unsure))


def count_faults(lines: Sequence[CodeLine]) -> tuple[str, ...]:
    """Return how many faults were read, then what counts apart.

    These are faults told and not sure, tests not done, and all that other units store.
    """
    ours = [line for line in lines if line.unit != "other"]
    unsure = sum(line.is_doubtful for line in ours)
    undone = sum(line.is_untested for line in ours)
    others = len(lines) - len(ours)
    told = [f"{unsure} told and not sure"] if unsure else []
    told += [f"{counted(undone, 'test')} not done"] if undone else []
    told += [f"{others} of other units"] if others else []
    return (counted(len(ours) - unsure - undone, "fault"), *told)


def _of_others(lines: Sequence[CodeLine]) -> Section | None:
    """Return what other units store, by unit; none of it is a fault of the restraint system."""
    rows = [(str(x.line), tell_code(x) or "-", x.module or "", _told(x.raw)) for x in lines]
    note = "kept apart: no fault of the restraint system"
    return section("Stored in other units", _bounded(rows), note=note) if rows else None


def _faults(lines: Sequence[CodeLine]) -> Table:
    """Return the faults; beyond the most of one line, and of all, the rest is counted."""
    rows: list[tuple[str, str, str]] = []
    shown, left, raw = 0, 0, ""
    for number, group in groupby(lines, key=lambda line: line.line):
        alike = list(group)
        told = alike[: min(_MOST_OF_LINE, _MOST - shown)]
        for line in told:
            rows.append((str(number), tell_code(line) or "-", tell_meaning(line)))
            as_it_stands = () if (line is not alike[0] and line.raw == raw) else (_told(line.raw),)
            rows += [("", "", note) for note in (*as_it_stands, *_doubts(line))]
            raw = line.raw
        shown, over = shown + len(told), len(alike) - len(told)
        if told and over:
            rows.append(("", "", _and_more(over, "on this line")))
        left += 0 if told else over
    rows += [("", "", _and_more(left, "on other lines"))] if left else []
    return Table(rows=tuple(rows), right=(0,))


_MOST_OF_LINE, _MOST = 40, 1_000  # a wrecked car with every unit read lists some hundred
_LONGEST = 1_000


def _told(raw: str) -> str:
    """Return a line of the report as it stands there, of a very long one its beginning."""
    return cut(" ".join(raw.split()), _LONGEST)


def _and_more(count: int, where: str) -> str:
    return f"and {count:,} more {where}; --json tells each"


def _bounded(rows: Sequence[tuple[str, ...]]) -> Table:
    """Return rows of lines; beyond the most the rest is counted."""
    told = list(rows[:_MOST])
    if rows[_MOST:]:
        more = _and_more(len(rows) - _MOST, "lines")
        told.append(("", more, *("" for _ in rows[0][2:])))
    return Table(rows=tuple(told), right=(0,))


def _no_fault_now(report: ReadReport) -> Section | None:
    rows = [(str(u.line), _told(u.raw), u.why) for u in report.unread if u.why]
    return section("Understood, and no fault now", _bounded(rows)) if rows else None


def _unread(report: ReadReport) -> Section | None:
    silent = report.coverage.silent
    known = silent.line if silent is not None else None
    rows = [(str(u.line), _told(u.raw)) for u in report.unread if not u.why and u.line != known]
    if not rows:
        return None
    return section("Not understood", _bounded(rows), note="nothing is dropped")


def tell_code(line: CodeLine) -> str:
    """Return the code of a line with its failure type; empty when it has neither."""
    return "-".join(part for part in (line.code, line.failure_type) if part)


def name_file(file: str) -> str:
    """Return the name of a file of the case as it was handed in: without folder and mark."""
    return _MARK.sub("", PurePosixPath(file).name)


def tell_meaning(line: CodeLine) -> str:
    """Return component, stage, fault and status of a code line in one phrase; when it is gone."""
    part = line.component or _unsure(line)
    stage = f" stage {line.stage}" if line.stage else ""
    told = tuple(s for s in line.status if line.present or s != "present")
    status = f" [{', '.join(told)}]" if told else ""
    now = ", not sure that it is there now" if line.is_doubtful else ", no fault now"
    gone = "" if line.present or line.is_untested else now
    return f"{part}{stage}: {in_words(line.fault)}{status}{gone}"


def _unsure(line: CodeLine) -> str:
    if line.kind:
        return f"{line.kind} (which place is unclear)"
    return "component unclear" if not line.place else f"something at {line.place}"


def _part(candidate: Candidate) -> str:
    stage = f" stage {candidate.stage}" if candidate.stage else ""
    code = f" (read as {candidate.code})" if candidate.code else ""
    return f"{candidate.component or candidate.kind or 'unknown part'}{stage}{code}"


def _doubts(line: CodeLine) -> Iterator[str]:
    if len(line.candidates) > 1:
        several = (f"{_part(c)}: {in_words(c.fault)} {percent(c.weight)}" for c in line.candidates)
        yield f"may be {'; or '.join(several)}"
    if line.repeats:
        yield f"same fault as line {', '.join(map(str, line.repeats))}"
    if line.weak:
        yield f"its meaning is {in_words(line.weak)}: look it up in the maker's own list"


def tell_coverage(covered: Coverage) -> tuple[str, ...]:
    """Return how far a report reached, as sentences."""
    whole = {
        True: "Every circuit of the restraint unit was read.",
        False: "Not every circuit of the restraint unit was read.",
        None: "Nobody stated whether every circuit was read: a missing code proves nothing.",
    }
    said = [whole[covered.complete]]
    if covered.silent is not None:
        said = [f"The airbag control unit did not answer (line {covered.silent.line})."]
    if covered.broken_off is not None:
        said.append(f"It says that its reading broke off (line {covered.broken_off.line}).")
    if covered.cleared is not None:
        said.append(f"It says that codes were cleared (line {covered.cleared.line}).")
    said += ["The unit was not able to run its tests."] if covered.able is False else []
    if covered.unit_volts is not None:
        said.append(f"Supply at the unit {covered.unit_volts:g} V.")
    if covered.modules:
        said.append(f"Modules: {', '.join(covered.modules)}.")
    if covered.not_tested:
        said.append(f"Tests not finished: {', '.join(covered.not_tested)}.")
    return (*said, *covered.why)
