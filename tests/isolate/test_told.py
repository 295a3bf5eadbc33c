"""What owners write, in four languages, and the signs that are read from it.

The sentences are invented here; they are not from any collection of cases.
"""

import csv
from pathlib import Path

import pytest

from squibwise.isolate.prose import told_of
from squibwise.isolate.tracing import search_of
from squibwise.model.evidence import Story

from .building import CATALOG, a_case, a_line, a_report, believing

with (Path(__file__).parent / "told.tsv").open(encoding="utf-8") as file:
    ROWS = [
        (row["loop"], row["text"], set(row["tells"].split()), set((row["not"] or "").split()))
        for row in csv.DictReader(file, delimiter="\t")
    ]


@pytest.mark.parametrize(("loop", "text", "tells", "other"), ROWS, ids=[r[1] for r in ROWS])
def test_a_sentence_tells_its_sign(loop: str, text: str, tells: set[str], other: set[str]) -> None:
    component = loop.split("/")[0]
    case = a_case(a_report(a_line(component, "unknown")), Story(id="s", text=text))
    context = search_of(case, believing(), loop, CATALOG).context
    found = {t.sign.id for t in told_of(context, CATALOG)}
    assert tells <= found
    assert not other & found
