"""Thirteen rough reports of our own invention, in seven languages, with what each of them says.

Chat, slips, whole-car prints, flash codes, lists of names, denials, a machine-read page, tables.
Expectations are common practice, no source.
"""

from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report
from squibwise.model.report import CodeLine, ReadReport

CATALOG = load_catalog()
FOLDER = Path(__file__).parent / "rough"


class Truth(NamedTuple):
    """One row of ``truth.tsv``; ``-`` where the text does not tell."""

    file: str
    line: str
    code: str
    unit: str
    kind: str
    place: str
    stage: str
    fault: str
    status: str


TRUTH = [
    Truth(*row.split("\t"))
    for row in (FOLDER / "truth.tsv").read_text(encoding="utf-8").splitlines()
    if row and not row.startswith("#")
]
FILES = sorted({t.file for t in TRUTH})


@cache
def read(file: str) -> ReadReport:
    return read_report((FOLDER / file).read_bytes(), file, CATALOG)


def codes_of(line: CodeLine) -> set[str | None]:
    return {line.code, *line.also, *(c.code for c in line.candidates)}


def line_of(truth: Truth) -> CodeLine | None:
    number = int(truth.line.lstrip("!"))
    at = [ln for ln in read(truth.file).lines if ln.line == number]
    return next((ln for ln in at if truth.code == "-" or truth.code in codes_of(ln)), None)


def differences(truth: Truth) -> list[str]:
    line = line_of(truth)
    if truth.line.startswith("!"):
        return ["present"] if line is not None and line.present else []
    if line is None:
        return ["not read"]
    told = {
        "unit": (truth.unit, line.unit),
        "kind": (truth.kind, str(line.kind or "-")),
        "place": (truth.place, str(line.place or "-")),
        "stage": (truth.stage, str(line.stage or "-")),
        "fault": (truth.fault, line.fault),
    }
    wrong = [f"{k} {got}" for k, (want, got) in told.items() if not is_right(k, want, got)]
    is_told = truth.status == "-" or truth.status in line.status
    return wrong + ([] if is_told else [f"status {line.status}"])


def is_right(field: str, want: str, got: str) -> bool:
    if field == "kind" and want == "pretensioner":
        return got.endswith(want)
    return want == got or (field == "fault" and want == "-")


@pytest.mark.parametrize("file", FILES)
def test_a_rough_report_is_read_as_it_is_meant(file: str) -> None:
    wrong = [(t.line, t.code, d) for t in TRUTH if t.file == file and (d := differences(t))]
    assert wrong == []


@pytest.mark.parametrize("file", FILES)
def test_a_rough_report_yields_no_fault_that_is_not_in_it(file: str) -> None:
    meant = [id(line_of(t)) for t in TRUTH if t.file == file and not t.line.startswith("!")]
    more = [ln.raw for ln in read(file).lines if ln.present and id(ln) not in meant]
    assert more == []


def test_faults_of_other_units_name_no_part_of_the_restraint_system() -> None:
    lines = [ln for f in FILES for ln in read(f).lines if ln.unit == "other"]
    assert lines
    assert {ln.kind for ln in lines} == {None, "control-unit"}
    assert {ln.fault for ln in lines if ln.kind} == {"communication"}


def test_lines_of_other_units_change_no_reading_of_the_restraint_unit() -> None:
    text = (FOLDER / "03-toutes-unites.txt").read_text(encoding="utf-8").splitlines()
    alone = "\n".join(text[7:13])
    own = [ln for ln in read("03-toutes-unites.txt").lines if ln.unit == "restraint"]
    bare = read_report(alone.encode(), "r.txt", CATALOG).lines
    assert [(a.code, a.component, a.fault, a.status) for a in own] == [
        (b.code, b.component, b.fault, b.status) for b in bare
    ]
