"""Copies are not evidence: what a file, a source or an entry says twice is weighed once."""

from collections.abc import Iterable

import msgspec

from squibwise.model.case import Case
from squibwise.model.evidence import Evidence, Impact, Recorder, Statement
from squibwise.model.origin import Finding
from squibwise.model.report import Coverage, Report

_APART = 1_000_000  # added to the line numbers of a report joined to another


def drop_copies(case: Case) -> tuple[Case, tuple[Finding, ...]]:
    """Return the case with each thing said once, and a finding for each copy left out.

    Reports of one minute are one report. An impact that says nothing of zone, direction or extent
    is no evidence.
    """
    kept: list[Evidence] = []
    findings: list[Finding] = []
    seen: dict[bytes, str] = {}
    for entry in case.evidence:
        key = _content(entry)
        if isinstance(entry, Impact) and (entry.zone, entry.clock, entry.extent) == (None,) * 3:
            continue  # reading the case has said so
        if key is not None and key in seen:
            text = f"{entry.id}: says the same as {seen[key]} and is weighed once"
            findings.append(_finding("weighed-once", text, entry))
        else:
            kept.append(entry)
            if key is not None:
                seen[key] = entry.id
    joined = tuple(_join_reports(kept))
    return msgspec.structs.replace(case, evidence=joined), tuple(findings)


def _finding(code: str, text: str, entry: Evidence) -> Finding:
    return Finding(code=code, severity="note", message=text, origin=entry.origin)


def _content(entry: Evidence) -> bytes | None:
    """Return what an entry says, as bytes; None for what may well be said or done twice."""
    if isinstance(entry, Statement):
        who = entry.from_.strip().lower()
        return msgspec.json.encode(("statement", entry.component, entry.says, who))
    if isinstance(entry, Report):
        lines = [(c.raw, c.code, c.status, c.module) for c in entry.reading.lines]
        cover = entry.reading.coverage
        said = (cover.complete, cover.able, cover.unit_volts)
        return msgspec.json.encode(("report", entry.time, entry.when, lines, said))
    if isinstance(entry, Impact | Recorder):
        plain = msgspec.structs.asdict(entry) | {"id": "", "origin": ""}
        return msgspec.json.encode((type(entry).__name__, plain))
    return None


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
