"""Odd reports of many workshops and languages, all of our own invention, read by their words.

Bounds: 98 % of codes and 95 % of fault words right, no confidently wrong place or stage.
Expectations are common practice, no source.
"""

import sys
import unicodedata
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import FrameType

import odd_reports as odd
import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers import extract
from squibwise.intake.report.reader import read_report
from squibwise.model.car import Car
from squibwise.model.report import CodeLine

CATALOG = load_catalog()
FOLDER = Path(__file__).parent
FILES = ("odd_reports.txt",)
Pairs = list[tuple[odd.Expected, CodeLine | None]]


def read(report: odd.OddReport, data: bytes) -> tuple[Pairs, list[CodeLine]]:
    car = Car(equipment="full-modern-set", components=(), drive_hand=report.hand)
    found = read_report(data, f"{report.name}.txt", CATALOG, car)
    return odd.pair(report.expected, found.lines)


@cache
def reads_of(file: str) -> dict[str, tuple[odd.OddReport, Pairs, list[CodeLine]]]:
    """Every report of a file, read once, by its name."""
    reports = odd.load(FOLDER / file)
    return {r.name: (r, *read(r, r.text.encode())) for r in reports}


@cache
def pairs_of(file: str) -> tuple[tuple[odd.OddReport, odd.Expected, CodeLine | None], ...]:
    return tuple(
        (report, want, line) for report, pairs, _ in reads_of(file).values() for want, line in pairs
    )


def share(file: str, is_right: Callable[[odd.Expected, CodeLine | None], bool]) -> float:
    pairs = pairs_of(file)
    return sum(is_right(want, line) for _, want, line in pairs) / len(pairs)


@pytest.mark.parametrize("file", FILES)
def test_codes_are_read(file: str) -> None:
    assert share(file, odd.is_code_right) >= 0.98


@pytest.mark.parametrize("file", FILES)
def test_fault_words_are_read(file: str) -> None:
    assert share(file, odd.is_fault_right) >= 0.95


@pytest.mark.parametrize("file", FILES)
def test_components_are_read(file: str) -> None:
    assert share(file, odd.is_component_right) >= 0.95


@pytest.mark.parametrize("file", FILES)
def test_no_place_is_confidently_wrong(file: str) -> None:
    wrong = [
        (report.name, want.code)
        for report, want, line in pairs_of(file)
        if odd.is_place_wrong(want, line, report.hand)
    ]
    assert wrong == []


@pytest.mark.parametrize("file", FILES)
def test_no_stage_is_confidently_wrong(file: str) -> None:
    wrong = [
        (report.name, want.code)
        for report, want, line in pairs_of(file)
        if odd.is_stage_wrong(want, line)
    ]
    assert wrong == []


@pytest.mark.parametrize("name", [r.name for r in odd.load(FOLDER / FILES[0])])
def test_nothing_but_faults_is_read_as_a_fault(name: str) -> None:
    _, _, false = reads_of(FILES[0])[name]
    assert [line.raw for line in false] == []


def without_accents(text: str) -> bytes:
    plain = unicodedata.normalize("NFD", text.replace("ł", "l").replace("ß", "ss"))
    return "".join(c for c in plain if not unicodedata.combining(c)).encode()


SAME: dict[str, Callable[[str], bytes]] = {
    "windows line ends": lambda text: text.replace("\n", "\r\n").encode(),
    "utf-16": lambda text: text.encode("utf-16"),
}
WRITTEN: dict[str, Callable[[str], bytes]] = {
    "decomposed letters": lambda text: unicodedata.normalize("NFD", text).encode(),
    "capitals": lambda text: text.upper().encode(),
    "small letters": lambda text: text.lower().encode(),
    "no accents": without_accents,
}


@pytest.mark.parametrize("write", SAME.values(), ids=SAME.keys())
def test_line_ends_and_encodings_change_no_line(write: Callable[[str], bytes]) -> None:
    for report in odd.load(FOLDER / FILES[0]):
        plain = extract(report.text.encode(), "report.txt").lines
        assert extract(write(report.text), "report.txt").lines == plain != ()


@pytest.mark.parametrize("write", WRITTEN.values(), ids=WRITTEN.keys())
def test_how_a_report_is_written_down_changes_little(write: Callable[[str], bytes]) -> None:
    right = total = 0
    for report in odd.load(FOLDER / FILES[0]):
        for want, line in read(report, write(report.text))[0]:
            total += 1
            right += odd.is_component_right(want, line) and odd.is_fault_right(want, line)
            assert not odd.is_place_wrong(want, line, report.hand)
            assert not odd.is_stage_wrong(want, line)
    assert right / total >= 0.9


@pytest.mark.parametrize(
    ("start", "wrap"), [("a b   " * 300, "open"), ("driver airbag " * 100, "of the")]
)
def test_many_parts_on_a_line_that_goes_on_cost_calls_with_their_number(
    start: str, wrap: str
) -> None:
    """Three times the text takes about three times the calls, not nine."""
    one = f"B1001 {start}\n" + f"      {wrap}\n" * 8
    _calls(one)  # what is kept of its words is kept for both
    assert _calls(one * 45) < 4.0 * _calls(one * 15)


def _calls(text: str) -> int:
    """Return how many functions are called while a text is read."""
    called = 0

    def count(_frame: FrameType, event: str, _arg: object) -> None:
        nonlocal called
        called += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        read_report(text.encode(), "report.txt", CATALOG)
    finally:
        sys.setprofile(before)
    return called
