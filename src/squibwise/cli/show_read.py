"""Show what a report says."""

from rich.console import RenderableType

from squibwise.cli import page
from squibwise.model.report import Candidate, CodeLine, Coverage, ReadReport


def blocks(report: ReadReport) -> list[RenderableType]:
    """Return the faults, then what was not understood, then how far the report reached."""
    shown: list[RenderableType] = [page.heading(_counted(report), report.vin or "no VIN in it")]
    for line in report.lines:
        shown.append(page.rows([(f"{line.line:4}", f"{_code(line):8}", meaning(line))]))
        shown += [page.para(" ".join(line.raw.split()), indent=8, style="dim")]
        shown += _doubts(line)
    if report.unread:
        shown.append(page.heading("Not understood", "nothing is dropped"))
        shown.append(
            page.rows(((str(u.line), " ".join(u.raw.split())) for u in report.unread), right=(0,))
        )
    shown += [page.heading("How far it reached"), page.bullets(coverage(report.coverage))]
    return shown + page.findings(report.findings, "About the report")


def _counted(report: ReadReport) -> str:
    count = len(report.lines)
    return "No fault was read" if not count else f"{count} fault{'s' if count > 1 else ''} read"


def _code(line: CodeLine) -> str:
    return "-".join(part for part in (line.code, line.failure_type) if part) or "-"


def meaning(line: CodeLine) -> str:
    """Return component, stage, fault and status of a code line in one phrase."""
    part = line.component or _unsure(line)
    stage = f" stage {line.stage}" if line.stage else ""
    status = f" [{', '.join(line.status)}]" if line.status else ""
    return f"{part}{stage}: {line.fault.replace('-', ' ')}{status}"


def _unsure(line: CodeLine) -> str:
    if line.kind:
        return f"{line.kind} (which place is unclear)"
    return "component unclear" if not line.place else f"something at {line.place}"


def _part(candidate: Candidate) -> str:
    stage = f" stage {candidate.stage}" if candidate.stage else ""
    code = f" (read as {candidate.code})" if candidate.code else ""
    return f"{candidate.component or candidate.kind or 'unknown part'}{stage}{code}"


def _doubts(line: CodeLine) -> list[RenderableType]:
    notes = []
    if len(line.candidates) > 1:
        several = (f"{_part(c)}: {c.fault} {page.percent(c.weight)}" for c in line.candidates)
        notes.append(f"may be {'; or '.join(several)}")
    if line.repeats:
        notes.append(f"same fault as line {', '.join(map(str, line.repeats))}")
    if line.weak:
        notes.append(f"leans on a fact of basis: {line.weak.replace('-', ' ')}")
    return [page.para(note, indent=8) for note in notes]


def coverage(covered: Coverage) -> list[str]:
    """Return how far a report reached, as sentences."""
    whole = {
        True: "Every circuit of the restraint unit was read.",
        False: "Not every circuit of the restraint unit was read.",
        None: "Nobody stated whether every circuit was read: a missing code proves nothing.",
    }
    said = [whole[covered.complete]]
    if covered.able is False:
        said.append("The unit was not able to run its tests.")
    if covered.unit_volts is not None:
        said.append(f"Supply at the unit {covered.unit_volts:g} V.")
    if covered.modules:
        said.append(f"Modules: {', '.join(covered.modules)}.")
    if covered.not_tested:
        said.append(f"Tests not finished: {', '.join(covered.not_tested)}.")
    return said + list(covered.why)
