"""What a report says: the faults, what was not understood, how far it reached."""

import re
from collections.abc import Iterator
from pathlib import PurePosixPath

from squibwise.model.report import Candidate, CodeLine, Coverage, ReadReport
from squibwise.present.figures import counted, percent
from squibwise.present.phrases import in_words, tell_findings
from squibwise.present.telling import Bullets, Section, Table, Telling, filled, section

_MARK = re.compile(r"-[0-9a-f]{8}(?=\.)")
"""What tells files of one name apart in a case."""


def tell_report(report: ReadReport) -> Telling:
    """Return what a report says."""
    count = len(report.lines)
    head = f"{counted(count, 'fault')} read" if count else "No fault was read"
    return Telling(
        title=head,
        subtitle=report.vin or "no VIN in it",
        sections=filled(
            (
                Section(blocks=(_faults(report),)) if count else None,
                _no_fault_now(report),
                _unread(report),
                section("How far it reached", Bullets(items=tell_coverage(report.coverage))),
                tell_findings(report.findings, "About the report"),
            )
        ),
    )


def _faults(report: ReadReport) -> Table:
    rows: list[tuple[str, str, str]] = []
    for line in report.lines:
        rows.append((str(line.line), tell_code(line) or "-", tell_meaning(line)))
        rows += [("", "", note) for note in (" ".join(line.raw.split()), *_doubts(line))]
    return Table(rows=tuple(rows), right=(0,))


def _no_fault_now(report: ReadReport) -> Section | None:
    rows = [(str(u.line), " ".join(u.raw.split()), u.why) for u in report.unread if u.why]
    if not rows:
        return None
    return section("Understood, and no fault now", Table(rows=tuple(rows), right=(0,)))


def _unread(report: ReadReport) -> Section | None:
    rows = tuple((str(u.line), " ".join(u.raw.split())) for u in report.unread if not u.why)
    if not rows:
        return None
    return section("Not understood", Table(rows=rows, right=(0,)), note="nothing is dropped")


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
    gone = "" if line.present else now
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
    said += ["The unit was not able to run its tests."] if covered.able is False else []
    if covered.unit_volts is not None:
        said.append(f"Supply at the unit {covered.unit_volts:g} V.")
    if covered.modules:
        said.append(f"Modules: {', '.join(covered.modules)}.")
    if covered.not_tested:
        said.append(f"Tests not finished: {', '.join(covered.not_tested)}.")
    return (*said, *covered.why)
