"""Reports: dropped, pasted or photographed, read line by line, and a misread line corrected."""

import hashlib
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from squibwise.catalog.codes import NO_FAULT
from squibwise.catalog.load import Catalog
from squibwise.entering import case_text
from squibwise.entering.correcting import NO_CODE, Correction, correct_line
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.intake.case_file.car_files import is_picture
from squibwise.intake.report.language.code_forms import find_codes
from squibwise.model.names import split_component
from squibwise.model.report import CodeLine, Report
from squibwise.model.words import FAULTS
from squibwise.present.figures import percent
from squibwise.present.phrases import in_words, name
from squibwise.present.tell_report import name_file, tell_code
from squibwise.web.bench import Bench, NotThereError, Opened, now
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import (
    Pairs,
    Sent,
    as_file,
    changing,
    common,
    enter,
    pick,
    refuse_unnamed,
    sends,
)

LONGEST_LINE, MOST_LINES = 2000, 500
PLAIN = (".txt", ".csv", ".tsv", ".log")
STAGES = ("1", "2", "3")
WHENS = ("before-repair", "after-repair", "unknown")


def add_page(request: Request) -> Response:
    """A form that takes a report: a file, a photograph of it, or its text."""
    return car_page(request, "add.html", opened_for(request), whens=WHENS)


@sends
def add(request: Request, sent: Sent) -> Response:
    """Add a report, or the block of a bench card, to a car."""
    opened = opened_for(request)
    files, text = sent.files.get("report", ()), sent.words.get("text", "")
    pictures: tuple[tuple[str, bytes], ...] = ()
    if text.strip():  # its lines were typed off: a picture beside them is a photograph of it
        pictures = tuple((name, data) for name, data in files if is_picture(data))
        files = tuple(f for f in files if f not in pictures)
        files = (*files, ("pasted.txt", text.encode("utf-8")))
    if not files:
        raise InputError("Nothing was handed in.", remedy="Choose a file or paste the text.")

    files = tuple({data: (name, data) for name, data in files}.values())
    _refuse_again(files, opened, bench_of(request))

    def make(folder: Path) -> tuple[Pairs, ...]:
        shown = [_photographed(folder, *f) | common(sent) for f in pictures]
        return (*(e for f in files for e in _entries(folder, *f, sent)), *shown)

    enter(request, opened, sent, f"add {', '.join(n for n, _ in files)[:80]}", make)
    mark = _id(files[-1][1])
    found = any(e.id == mark for e in bench_of(request).open(opened.id).case.evidence)
    return go(f"/car/{opened.id}/report/{mark}" if found else f"/car/{opened.id}")


def _photographed(folder: Path, file_name: str, data: bytes) -> dict[str, Any]:
    with as_file(file_name, data) as file:
        return dict(case_text.photo_entry(folder, file, "", None))


def _id(data: bytes) -> str:
    return f"scan-{hashlib.sha256(data).hexdigest()[:8]}"


def _refuse_again(files: tuple[tuple[str, bytes], ...], opened: Opened, bench: Bench) -> None:
    """Stop a report that is in the car already, whoever added it: it would count for nothing.

    Raises:
        InputError: It is.
    """
    named = {e.file for e in opened.case.evidence if isinstance(e, Report) and e.file}
    with connected(bench.place) as garage:
        known = set(store.content(garage, opened.id, named).values())
    if any(data in known for _, data in files):
        remedy = "Read the unit again: its report bears the time at which it was read."
        raise InputError("This very report is in the car already.", remedy=remedy)


def _entries(folder: Path, file_name: str, data: bytes, sent: Sent) -> tuple[Pairs, ...]:
    """Return what a file stands for: the entries of a block, or a report."""
    with as_file(file_name, data) as file:
        entries = case_text.entries_of(file, file_name) if file.suffix == ".txt" else None
        if entries is not None:
            return tuple({**common(sent), **e} for e in entries)
        stated: dict[str, Any] = {"when": when} if (when := pick(sent, "when", WHENS)) else {}
        stated |= {"complete": True} if sent.get("complete") == "yes" else {}
        place = case_text.copy_report(folder, file)
    return ({"kind": "report", "id": _id(data), "file": place, **stated, **common(sent)},)


def lines(request: Request) -> Response:
    """A report line by line: what each was taken for, and what was not understood."""
    opened, bench = opened_for(request), bench_of(request)
    report = _find(opened, request.path_params["report"])
    reading, catalog = report.reading, bench.catalog
    able, known = _coded(opened, catalog), set(opened.case.car.components)
    return car_page(
        request,
        "report.html",
        opened,
        report=report,
        title=name_file(report.file or report.id),
        when=in_words(report.when),
        sheet=_sheet(bench, opened, report),
        lines=[_line(x, bench) for x in reading.lines],
        unread=reading.unread,
        why=reading.coverage.why,
        findings=[f.text() for f in reading.findings],
        components=[(c, name(c, catalog)) for c in opened.case.car.components if c in able],
        others=sorted(((c, name(c, catalog)) for c in able - known), key=lambda other: other[1]),
        no_code=NO_CODE,
        stages=STAGES,
        faults=[(NO_FAULT, "no fault"), *((f, in_words(f)) for f in FAULTS)],
    )


def _coded(opened: Opened, catalog: Catalog) -> set[str]:
    """Return the parts that a code can be of: those of the car, and those that others have."""
    every = {c for t in catalog.templates.values() for c in t.components}
    every |= {*opened.case.car.components}
    return {c for c in every if catalog.kinds[split_component(c).kind].circuit}


def _find(opened: Opened, report_id: str) -> Report:
    found = [e for e in opened.case.evidence if isinstance(e, Report) and e.id == report_id]
    if not found:
        raise NotThereError(f"There is no report '{report_id[:60]}'.")
    return found[0]


def _line(line: CodeLine, bench: Bench) -> dict[str, Any]:
    part = name(line.component, bench.catalog) if line.component else ""
    perhaps = [f"{c.component or c.kind or '?'} {percent(c.weight)}" for c in line.candidates]
    is_told = bool(line.component) and len(line.candidates) <= 1 and not line.repeats
    return {
        "of": line,
        "part": part or " / ".join(perhaps) or "?",
        "fault": in_words(line.fault) if line.present else "no fault now",
        "status": ", ".join(map(in_words, line.status)),
        "sure": is_told or line.unit == "other",
        "code": tell_code(line) if line.code else NO_CODE,
        "likely": dict.fromkeys(c.component for c in line.candidates if c.component),
    }


def _sheet(bench: Bench, opened: Opened, report: Report) -> list[str]:
    """Return the lines of a report that was handed in as text; none of another file."""
    if report.file is None or Path(report.file).suffix.lower() not in PLAIN:
        return []
    with connected(bench.place) as garage:
        data = store.content(garage, opened.id, (report.file,)).get(report.file, b"")
    return data.decode("utf-8", "replace").splitlines()[:MOST_LINES]


@sends
def correct(request: Request, sent: Sent) -> Response:
    """Write down what a line means; the report itself stays as it was."""
    opened, bench = opened_for(request), bench_of(request)
    report = _find(opened, request.path_params["report"])
    refuse_unnamed(sent, "Say who reads the line so.")
    correction = _read_correction(sent, opened, report, bench.catalog)
    code = sent.get("code", 30)
    what = f"corrected {correction.text[:60] if code == NO_CODE else code} of {report.id}"
    source = f"read on the report by {sent.get('by', 60)}"
    with changing(request, opened, sent, what) as folder:
        correct_line(folder, correction, source, what, now(), bench.catalog)
    return go(f"/car/{opened.id}/report/{report.id}")


def _read_correction(sent: Sent, opened: Opened, report: Report, catalog: Catalog) -> Correction:
    """Return what somebody says that a line means: its code, or part and fault, or no fault.

    Raises:
        InputError: It is no line of the report, no code, or only half of what it means is said.
    """
    component = pick(sent, "component", _coded(opened, catalog))
    fault = pick(sent, "fault", (NO_FAULT, *FAULTS))
    code, text = sent.get("code", 30), sent.get("text", LONGEST_LINE)
    right, line = sent.get("right_code", 30).upper() or code, _find_line(code, text, report)
    is_recoded = right != code
    if is_recoded and not find_codes(right):
        remedy = "Write it as the report prints it, such as B0001-1B."
        raise InputError(f"'{right}' is no code.", remedy=remedy)
    if is_recoded and line and (component, fault) == (line.component or "", line.fault):
        component = fault = ""  # left as the wrong code had it: the right one tells
    is_left = is_recoded and not component and not fault
    if not (is_left or fault == NO_FAULT or (component and fault)):
        told = "Part or fault is missing."
        raise InputError(told, remedy="Choose both, or correct the code.")
    stage = int(pick(sent, "stage", STAGES) or 0)
    return Correction(code=right, component=component, stage=stage, fault=fault, text=text)


def _find_line(code: str, text: str, report: Report) -> CodeLine | None:
    """Return the fault of a line that is corrected; None for one that was read as none.

    Raises:
        InputError: The report has no such line.
    """
    for line in report.reading.lines:
        if (tell_code(line) if line.code else NO_CODE, _shorten(line.raw)) == (
            code,
            _shorten(text),
        ):
            return line
    if code == NO_CODE and _shorten(text) in {_shorten(x.raw) for x in report.reading.unread}:
        return None
    told = "This line is not in the report."
    raise InputError(told, remedy="Correct it on the page of its report.")


def _shorten(line: str) -> str:
    """Return a line of a report as a form sends it, whatever stands between its words."""
    return " ".join(line.strip()[:LONGEST_LINE].split())
