"""Reading never fails and never takes long, whatever stands in the lines."""

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.reader import understand
from squibwise.model.report import ReadReport

CATALOG = load_catalog()
WORDS = sorted({w for t in CATALOG.vocabulary.terms for s in t.spellings() for w in s.split()})
CODES = ["B0001", "B0010-1B", "B00", "9001", "9001 11", "13", "4-11", "01221", "80 01 11 2F"]
SIGNS = [":", ";", ",", "-", "/", "|", "\t", "   ", "(", ")", "[2F]", "0x", "1.", "#", "12.4 V"]
SOUP = st.lists(
    st.sampled_from(WORDS) | st.sampled_from(CODES) | st.sampled_from(SIGNS) | st.text(max_size=6),
    max_size=14,
).map(" ".join)


def read(lines: list[str]) -> ReadReport:
    raws = [RawLine(number=n, text=text) for n, text in enumerate(lines, start=1)]
    return understand(raws, "soup", CATALOG)


def account_for(report: ReadReport, lines: list[str]) -> None:
    """Weights sum to one, ids are possible, and no line is told of twice as unread."""
    for line in report.lines:
        assert 1 <= line.line <= len(lines)
        if line.candidates:
            assert sum(c.weight for c in line.candidates) == pytest.approx(1.0)
        if line.component is not None and line.kind is not None:
            assert line.place in CATALOG.kinds[line.kind].places
        assert line.stage in (None, 1, 2, 3)
    unread = [u.line for u in report.unread]
    assert unread == sorted(set(unread))


@given(st.lists(SOUP, max_size=8))
@settings(max_examples=250, deadline=None)
def test_any_soup_of_known_words_is_read(lines: list[str]) -> None:
    account_for(read(lines), lines)


@given(st.lists(st.text(max_size=60), max_size=8))
@settings(max_examples=250, deadline=None)
def test_any_text_is_read(lines: list[str]) -> None:
    account_for(read(lines), lines)


@given(st.lists(SOUP, max_size=6))
@settings(max_examples=60, deadline=None)
def test_the_same_report_is_read_the_same(lines: list[str]) -> None:
    assert read(lines) == read(lines)


HOSTILE = [
    "long " * 400,
    "long long long long short " * 80,
    "B0001 " * 400,
    "a" * 2000,
    "driverdriverdriver" * 100,
    "- " * 1000,
    "1." * 1000,
    "0x" * 1000,
    "80 01 11 " * 250,
    "(" * 2000,
    "VIN " + "1 " * 990,
    "Fehler" * 300,
    "9" * 2000,
    " " * 2000,
    "é" * 2000,
    "status status status " * 90,
    "zuendkreiszuendkreiszuendkreis " * 60,
    "wrod xyzzyq plughh frobnic " * 70,
    "B1A20 dropped " + "0112 ordinary 1-2 shelf 3/4 " * 12 + "1:",  # the tail of a thing's number
]


@pytest.mark.parametrize("line", HOSTILE, ids=lambda s: s[:12])
def test_no_line_makes_reading_slow(line: str) -> None:
    read(["B0001 warm up"])
    begin = time.process_time()
    read([line] * 4)
    assert time.process_time() - begin < 2.0


def test_an_overlong_line_is_read_in_part_and_reported() -> None:
    report = read(["B1001 Left curtain open " + "x" * 5000])
    assert report.lines[0].component == "left.curtain"
    assert "line-too-long" in [f.code for f in report.findings]
