"""A plain assertion is a fault that is there, a plain denial none, whatever idiom says it.

Usage of workshops and owners; common practice, no source.
"""

from pathlib import Path

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.reader import understand
from squibwise.model.report import CodeLine

CATALOG = load_catalog()
ROWS = [
    tuple(row.split("\t"))
    for row in (Path(__file__).parent / "told_plainly.tsv").read_text("utf-8").splitlines()
    if row and not row.startswith("#")
]


def present(sentence: str) -> list[CodeLine]:
    read = understand([RawLine(number=1, text=sentence)], "test", CATALOG)
    return [line for line in read.lines if line.present]


def kinds(lines: list[CodeLine]) -> set[str | None]:
    return {kind for ln in lines for kind in (ln.kind, *(c.kind for c in ln.candidates))}


def test_a_plain_assertion_is_a_fault_that_is_there() -> None:
    told = [(kind, sentence) for is_told, kind, sentence in ROWS if is_told == "yes"]
    missed = [s for kind, s in told if not kinds(present(s)) & set(kind.split("|"))]
    assert (missed, len(told) > 60) == ([], True)


def test_a_plain_denial_is_no_fault_that_is_there() -> None:
    denied = [sentence for is_told, _, sentence in ROWS if is_told == "no"]
    assert ([s for s in denied if present(s)], len(denied) > 60) == ([], True)


@pytest.mark.parametrize(
    "sentence",
    [
        "The open in the driver airbag went the way of the old steering wheel.",
        "The short in the left curtain is dead since the new harness.",
        "The left curtain is supposedly open.",
        "The left curtain is hardly open.",
    ],
)
def test_what_is_said_of_the_fault_itself_or_doubted_is_not_taken(sentence: str) -> None:
    assert present(sentence) == []
