"""Every phrase of the vocabulary is read as its own test says."""

from functools import cache
from pathlib import Path

import pytest

from squibwise.catalog.load import DATA, load_catalog
from squibwise.catalog.vocabulary import LAYOUT, Term, read_terms
from squibwise.errors import CatalogError
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.layout import sort_lines
from squibwise.intake.report.text import understand
from squibwise.model.report import ReadReport

CATALOG = load_catalog()
LANGUAGES = sorted(p.stem for p in (DATA / "vocabulary").glob("*.tsv"))
# Two words of a language before the line, so that a phrase is read in its own language.
PRIMERS = {
    "de": "Unterbrechung im Stromkreis",
    "fr": "circuit ouvert, résistance trop élevée",
    "es": "circuito abierto, resistencia demasiado alta",
    "it": "circuito aperto, resistenza troppo alta",
    "pt": "circuito aberto, resistência muito alta",
    "pl": "przerwa w obwodzie, rezystancja za wysoka",
}


def lines_of(term: Term) -> tuple[RawLine, ...]:
    primer = PRIMERS.get(term.language)
    lines = [RawLine(number=1, text=term.test)]
    if primer:
        lines.append(RawLine(number=9, text=f"B1FFF {primer}"))
    return tuple(lines)


def reads(term: Term, text: tuple[RawLine, ...]) -> list[str]:
    """What differs between the term's expectation and what was read."""
    read = understand(text, "test", CATALOG)
    return [
        f"{want} but {got}"
        for want in term.reads.split()
        if (got := seen(want.partition("=")[0], read, term)) != want.partition("=")[2]
    ]


def seen(key: str, read: ReadReport, term: Term) -> str:
    line = next((ln for ln in read.lines if ln.line == 1), None)
    if line is None:
        return "no line"
    if key == "status":
        want = term.reads.partition("status=")[2].split()[0]
        return want if want in line.status else str(line.status)
    if key == "seat":
        return "-" if line.place not in ("driver", "passenger") else str(line.place)
    value = getattr(line, key)
    return "-" if value is None else str(value)


@cache
def wrong(language: str) -> list[str]:
    found = []
    for term in read_terms(DATA / "vocabulary" / f"{language}.tsv"):
        if term.means[0] in LAYOUT or term.reads == "skip":
            continue
        problems = reads(term, lines_of(term))
        if problems:
            found.append(f"{term.phrase!r}: {term.test!r}: {'; '.join(problems)}")
    return found


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_phrase_is_read_as_its_own_test_says(language: str) -> None:
    assert not wrong(language)


LAYOUT_ROLES = {
    "count": "count",
    "clean": "clean",
    "othermodule": "heading",
    "header": "header heading words",
    "key": "words",
    "module": "heading meta words",
    "meta": "meta",
    "volts": "meta",
    "advice": "unread",
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_layout_phrase_gives_its_line_its_role(language: str) -> None:
    found = []
    for term in read_terms(DATA / "vocabulary" / f"{language}.tsv"):
        if term.means[0] not in LAYOUT:
            continue
        sheet = sort_lines([RawLine(number=1, text=term.test)], "test", CATALOG)
        line = sheet.lines[0]
        role = LAYOUT_ROLES[term.reads.partition("=")[2]]
        good = line.role in role.split() and (term.means[0] != "supplyvolts" or line.volts == 12.4)
        if not good:
            found.append(f"{term.phrase!r}: {term.test!r} is {line.role}")
    assert not found


BROKEN = [
    ("phrase\tmeans\ttest\treads\nx\tnothing-known\tx\tskip\n", "unknown 'nothing-known'"),
    ("phrase\tmeans\ttest\treads\nx\tseat:roof\tx\tskip\n", "unknown 'seat:roof'"),
    ("phrase\tmeans\ttest\treads\nx\tbag\tx\tskip\nx\tcharge\tx\tskip\n", "stands twice"),
    ("phrase\tmeans\ttest\treads\nx\tbag\t\tskip\n", "lacks a meaning or a test"),
    ("phrase\tmeans\nx\tbag\n", "the columns must be"),
    ("phrase\tmeans\ttest\treads\nx\tbag\n", "2 cells, not 4"),
]


@pytest.mark.parametrize(("text", "message"), BROKEN)
def test_a_broken_vocabulary_is_refused(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "xx.tsv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CatalogError, match=message):
        read_terms(path)
