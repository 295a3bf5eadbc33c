"""What an experienced person suspects first, by circuit, kind of fault and history.

Common practice, no source; the histories are invented here. One row is one story; `within` is how
far down the list an expected cause may stand.
"""

import csv
import datetime as dt
from pathlib import Path
from typing import Any

import msgspec
import pytest

from squibwise.isolate.tracing import search_of
from squibwise.model.evidence import DoneWork, Evidence, Story
from squibwise.model.report import Report

from .building import CATALOG, a_case, a_line, a_report, believing

with (Path(__file__).parent / "expected.tsv").open(encoding="utf-8") as file:
    ROWS = list(csv.DictReader(file, delimiter="\t"))
BEFORE, READ = dt.datetime(2025, 3, 1), dt.datetime(2025, 3, 3)


def a_story(row: dict[str, str]) -> list[Evidence]:
    """Return the entries of a row: work, the story, then the report."""
    found: list[Evidence] = []
    for n, entry in enumerate(row["done"].split()):
        what: Any = entry.partition(":")[0]
        component = entry.partition(":")[2]
        found.append(DoneWork(id=f"d{n}", what=what, component=component, time=BEFORE))
    found.append(Story(id="t", text=row["told"], time=BEFORE))
    status: Any = row["status"]
    lines = [a_line(row["loop"].split("/")[0], row["word"], status)]
    lines += [
        a_line(c, w, status, line=n + 2)
        for n, (c, _, w) in enumerate(x.partition(":") for x in row["also"].split())
    ]
    report = a_report(*lines)
    assert isinstance(report, Report)
    return [*found, msgspec.structs.replace(report, time=READ)]


def suspected(row: dict[str, str]) -> list[str]:
    """Return the hypotheses of a row, likeliest first."""
    case = a_case(*a_story(row))
    car = msgspec.structs.replace(case.car, model_year=int(row["year"]))
    case = msgspec.structs.replace(case, car=car)
    return [s.id for s in search_of(case, believing(), row["loop"], CATALOG).standing.suspects]


@pytest.mark.parametrize(
    "row", ROWS, ids=[f"{r['loop']} {r['word']} {r['done']} {r['told']}" for r in ROWS]
)
def test_the_expected_cause_comes_early(row: dict[str, str]) -> None:
    wanted = set(row["expected"].split("/"))
    assert wanted & set(suspected(row)[: int(row["within"])])
