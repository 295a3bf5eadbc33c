"""Reports: dropped, pasted or photographed, read line by line, and a misread line corrected."""

import hashlib
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from squibwise.errors import InputError
from squibwise.garage import entering
from squibwise.garage.correcting import NO_CODE, Correction, correct_line
from squibwise.model.report import CodeLine, Report
from squibwise.model.words import FAULTS
from squibwise.present.figures import percent
from squibwise.present.phrases import in_words, name
from squibwise.present.tell_report import tell_code
from squibwise.web.bench import Bench, NotThereError, Opened, now
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import Pairs, Sent, as_file, changing, common, enter, sends

LONGEST_LINE = 2000
WHENS = ("before-repair", "after-repair", "unknown")


def add_page(request: Request) -> Response:
    """A form that takes a report: a file, a photograph of it, or its text."""
    return car_page(request, "add.html", opened_for(request), whens=WHENS)


@sends
def add(request: Request, sent: Sent) -> Response:
    """Add a report, or the block of a bench card, to a car."""
    opened = opened_for(request)
    files, text = sent.files.get("report", ()), sent.words.get("text", "")
    if text.strip():
        files = (*files, ("pasted.txt", text.encode("utf-8")))
    if not files:
        raise InputError("Nothing was handed in.", remedy="Choose a file or paste the text.")

    for _, data in files:
        _refuse_again(data, opened)

    def make(folder: Path) -> tuple[Pairs, ...]:
        return tuple(e for f in files for e in _entries(folder, *f, sent))

    enter(request, opened, sent, f"add {', '.join(n for n, _ in files)[:80]}", make)
    mark = _id(files[-1][1])
    found = any(e.id == mark for e in bench_of(request).open(opened.id).case.evidence)
    return go(f"/car/{opened.id}/report/{mark}" if found else f"/car/{opened.id}")


def _id(data: bytes) -> str:
    return f"scan-{hashlib.sha256(data).hexdigest()[:8]}"


def _refuse_again(data: bytes, opened: Opened) -> None:
    """Stop a report that is in the car already: it would count for nothing.

    Raises:
        InputError: It is.
    """
    if any(e.id == _id(data) for e in opened.case.evidence):
        remedy = "Read the unit again: its report bears the time at which it was read."
        raise InputError("This very report is in the car already.", remedy=remedy)


def _entries(folder: Path, file_name: str, data: bytes, sent: Sent) -> tuple[Pairs, ...]:
    """Return what a file stands for: the entries of a block, or a report."""
    with as_file(file_name, data) as file:
        entries = entering.entries_of(file, file_name) if file.suffix == ".txt" else None
        if entries is not None:
            return tuple({**common(sent), **e} for e in entries)
        stated: dict[str, Any] = {"when": sent.get("when", 20)} if sent.get("when") else {}
        stated |= {"complete": True} if sent.get("complete") == "yes" else {}
        place = entering.copy_report(folder, file)
    return ({"kind": "report", "id": _id(data), "file": place, **stated, **common(sent)},)


def lines(request: Request) -> Response:
    """A report line by line: what each was taken for, and what was not understood."""
    opened, bench = opened_for(request), bench_of(request)
    report = _find(opened, request.path_params["report"])
    reading = report.reading
    return car_page(
        request,
        "report.html",
        opened,
        report=report,
        when=in_words(report.when),
        lines=[_line(x, bench) for x in reading.lines],
        unread=reading.unread,
        why=reading.coverage.why,
        findings=[f.text() for f in reading.findings],
        components=[(c, name(c, bench.catalog)) for c in opened.case.car.components],
        faults=[(f, in_words(f)) for f in FAULTS],
    )


def _find(opened: Opened, report_id: str) -> Report:
    found = [e for e in opened.case.evidence if isinstance(e, Report) and e.id == report_id]
    if not found:
        raise NotThereError(f"There is no report '{report_id[:60]}'.")
    return found[0]


def _line(line: CodeLine, bench: Bench) -> dict[str, Any]:
    part = name(line.component, bench.catalog) if line.component else ""
    perhaps = [f"{c.component or c.kind or '?'} {percent(c.weight)}" for c in line.candidates]
    return {
        "of": line,
        "part": part or " / ".join(perhaps) or "?",
        "fault": in_words(line.fault),
        "status": ", ".join(map(in_words, line.status)),
        "sure": bool(line.component) and len(line.candidates) <= 1 and not line.repeats,
        "code": tell_code(line) if line.code else NO_CODE,
    }


@sends
def correct(request: Request, sent: Sent) -> Response:
    """Write down what a line means; the report itself stays as it was."""
    opened, bench = opened_for(request), bench_of(request)
    report, by = _find(opened, request.path_params["report"]), sent.get("by", 60)
    stage = sent.get("stage", 2)
    correction = Correction(
        code=sent.get("code", 30),
        component=sent.get("component", 80),
        stage=int(stage) if stage.isdecimal() else 0,
        fault=sent.get("fault", 30),
        text=sent.get("text", LONGEST_LINE),
    )
    if not correction.code or not by:
        raise InputError("Nobody is named.", remedy="Say who reads the line so.")
    named = correction.text[:60] if correction.code == NO_CODE else correction.code
    what, source = f"corrected {named} of {report.id}", f"read on the report by {by}"
    with changing(request, opened, sent, what) as folder:
        correct_line(folder, correction, source, what, now(), bench.catalog)
    return go(f"/car/{opened.id}/report/{report.id}")
