"""A leading line speaks for the lines below it, a column for its rows, a name for its car and unit.

Sentences of our own in eight languages, each set written before it was read; common practice, no
source.
"""

from pathlib import Path

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.reader import understand
from squibwise.model.report import CodeLine

CATALOG = load_catalog()
FIELDS = ("code", "place", "fault", "status")
LATER = ("system", "bare")  # below a code of the restraint unit
FIRST = "B1FFF driver airbag stage 1 open circuit"
ROWS = [
    tuple(row.split("\t"))
    for row in (Path(__file__).parent / "leads.tsv").read_text("utf-8").splitlines()
    if row and not row.startswith("#")
]


def read(texts: list[str]) -> list[CodeLine]:
    raws = [RawLine(number=at, text=text) for at, text in enumerate(texts, start=1)]
    return list(understand(raws, "x", CATALOG).lines)


def told_now(about: str, text: str) -> list[str]:
    """Code and part of what is there now in the restraint unit."""
    texts = [*([FIRST] if about in LATER else []), *text.split("\\n")]
    there = [ln for ln in read(texts) if ln.present and ln.unit == "restraint"]
    return [f"{ln.code or '-'} {ln.kind or '-'}" for ln in there if ln.code != "B1FFF"]


def told_of(text: str) -> set[str]:
    """Code, place, fault and statuses of every fault that is told, gone or not."""
    lines = read(text.split("\\n"))
    found = {f"{name} {getattr(ln, name)}" for ln in lines for name in ("code", "place", "fault")}
    return found | {f"status {status}" for ln in lines for status in ln.status}


@pytest.mark.parametrize("about", sorted({row[0] for row in ROWS}))
def test_what_is_told_below_beside_or_of_another_is_read_so(about: str) -> None:
    rows = [row for row in ROWS if row[0] == about]
    wrong = []
    for _, _, wanted, text in rows:
        is_part = wanted.partition(" ")[0] in FIELDS
        told = told_of(text) if is_part else told_now(about, text)
        if told if wanted == "none" else wanted not in told:
            wrong.append((text, told))
    assert (wrong, len(rows) > 1) == ([], True)


def test_a_list_that_is_put_right_is_not_asserted_by_its_quotation() -> None:
    texts = [
        "Sorry, read the wrong line. Corrected list:",
        "B2C16 passenger's tensioner, open circuit, present",
        "> B2C15 driver's tensioner open circuit",
    ]
    told = [(ln.code, ln.present, ln.is_doubtful) for ln in read(texts)]
    assert told == [("B2C16", True, False), ("B2C15", False, True)]


def test_numbers_of_a_list_whose_words_stand_below_are_told_once_with_their_state() -> None:
    texts = [
        "The unit reads: B3A02, B3A07, B3A1C",
        "B3A02 = driver frontal inflator, second circuit, open",
        "B3A07 = passenger frontal inflator, second circuit, low",
        "(3A02 still active today, 3A07 cleared and gone)",
    ]
    told = [ln for ln in read(texts) if ln.present and not ln.repeats]
    assert {ln.code: ln.status for ln in told} == {"B3A02": ("present",), "B3A1C": ()}


def test_an_end_of_a_code_that_two_codes_share_names_neither() -> None:
    texts = ["B0A02 driver airbag open", "C0A02 right wheel sensor open", "0A02 is gone now"]
    assert [ln.present for ln in read(texts) if ln.code == "B0A02"] == [True]


def test_deployed_without_a_code_is_told_and_asked_about() -> None:
    read_lines = read(["Airbags (driver) ........... deployed", "B2E11 left curtain open, current"])
    told = [(ln.code, ln.present, ln.is_doubtful) for ln in read_lines]
    assert told == [(None, False, True), ("B2E11", True, False)]
