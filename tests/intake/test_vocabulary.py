"""Every phrase of the vocabulary is read as its own test says."""

from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import pytest

from squibwise.catalog.load import DATA, load_catalog
from squibwise.catalog.reading import read_toml
from squibwise.catalog.small_words import SmallWords
from squibwise.catalog.vocabulary import LAYOUT, Term, read_terms, spell
from squibwise.errors import CatalogError
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report import sorting
from squibwise.intake.report.language.lexicon import lexicon_of, tokenise, words_of_each
from squibwise.intake.report.reader import understand
from squibwise.intake.report.sorting import sort_lines
from squibwise.intake.report.units.line_units import name_unit
from squibwise.model.report import ReadReport

CATALOG = load_catalog()
FOLDER = Path(__file__).parent / "phrases"
LANGUAGES = sorted(p.stem for p in (DATA / "vocabulary").glob("*.tsv"))
# What a report in a language holds.
PRIMERS = {
    "de": "Unterbrechung im Stromkreis",
    "fr": "circuit ouvert, résistance trop élevée",
    "es": "circuito abierto, resistencia demasiado alta",
    "it": "circuito aperto, resistenza troppo alta",
    "pt": "circuito aberto, resistência muito alta",
    "pl": "przerwa w obwodzie, rezystancja za wysoka",
    "nl": "onderbreking van de bestuurder, weerstand te hoog",
}


class Phrase(NamedTuple):
    """One phrase as it is tested: ``as`` is ``word`` or its meaning for the layout."""

    phrase: str
    group: str
    test: str
    reads: str


@cache
def phrases(language: str) -> tuple[Phrase, ...]:
    rows = (FOLDER / f"{language}.tsv").read_text(encoding="utf-8").splitlines()[1:]
    return tuple(Phrase(*row.split("\t")) for row in rows if row)


def test_a_bar_parts_words_not_whole_phrases() -> None:
    """``not coded|not code`` would read ``not coded code``, and never what was meant."""
    doubled = [
        f"{term.language}: {term.phrase}"
        for term in CATALOG.vocabulary.terms
        if "|" in term.phrase
        and any(a == b for s in term.spellings() for a, b in pairwise(s.split()))
    ]
    assert doubled == []


def key_of(term: Term) -> tuple[str, str]:
    return term.phrase, term.means[0] if term.means[0] in LAYOUT else "word"


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_term_has_a_test_and_every_test_a_term(language: str) -> None:
    terms = {key_of(t) for t in CATALOG.vocabulary.terms if t.language == language}
    assert terms == {p[:2] for p in phrases(language)}


def differences(phrase: Phrase) -> list[str]:
    """What differs between the expectation and what was read."""
    read = understand((RawLine(number=1, text=phrase.test),), "test", CATALOG)
    return [
        f"{want} but {got}"
        for want in phrase.reads.split()
        if (got := seen(want.partition("=")[0], read, phrase)) != want.partition("=")[2]
    ]


def seen(key: str, read: ReadReport, phrase: Phrase) -> str:
    line = next((ln for ln in read.lines if ln.line == 1), None)
    if line is None:
        return "no line"
    if key == "status":
        want = phrase.reads.partition("status=")[2].split()[0]
        return want if want in line.status else str(line.status)
    if key == "seat":
        return "-" if line.place not in ("driver", "passenger") else str(line.place)
    value = getattr(line, key)
    return "-" if value is None else str(value)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_phrase_is_read_as_its_own_test_says(
    language: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = language if language in PRIMERS else None  # once, not from a second line each time
    monkeypatch.setattr(sorting, "_language", lambda *_: own)
    found = []
    for phrase in phrases(language):
        if phrase.group == "word" and phrase.reads != "skip":
            problems = differences(phrase)
            if problems:
                found.append(f"{phrase.phrase!r}: {phrase.test!r}: {'; '.join(problems)}")
    assert not found


@pytest.mark.parametrize("language", PRIMERS)
def test_the_language_of_a_report_is_found(language: str) -> None:
    lines = [RawLine(number=1, text=f"B1FFF {PRIMERS[language]}")]
    assert sort_lines(lines, "test", CATALOG).language == language


LAYOUT_ROLES = {
    "count": "count",
    "clean": "clean",
    "othermodule": "heading",
    "header": "header heading words",
    "key": "words",
    "module": "heading meta words",
    "meta": "meta",
    "volts": "meta",
    "advice": "unread aside",
}


def lays_out_wrongly(phrase: Phrase) -> str | None:
    """What a phrase for the layout of a report is taken for, where that is wrong."""
    if phrase.group in ("area", "restraint"):
        unit, _ = name_unit(phrase.test, lexicon_of(CATALOG))
        good = unit in ("restraint", {"area": "other"}.get(phrase.group))
        return None if good else unit
    sheet = sort_lines([RawLine(number=1, text=phrase.test)], "test", CATALOG)
    line = sheet.lines[0]
    if phrase.group == "flash":
        return None if [c.code for c in line.codes] == ["24"] else str(line.codes)
    if phrase.group in ("earlier", "whole"):
        good = (
            line.is_whole
            if phrase.group == "whole"
            else lexicon_of(CATALOG).is_earlier(phrase.test)
        )
        return None if good else line.role
    if phrase.group in ("plain", "holds"):
        lexicon, words = lexicon_of(CATALOG), [t.text for t in tokenise(phrase.test)]
        strange = [w for w in words if not lexicon.is_told(w, phrase.group, LANGUAGES)]
        return ", ".join(strange) or None
    if phrase.group in ("label", "supposed", "kin", "had", "example"):
        return None if not line.codes else str(line.codes)
    role = LAYOUT_ROLES[phrase.reads.partition("=")[2]]
    good = line.role in role.split() and (phrase.group != "supplyvolts" or sheet.volts == 12.4)
    return None if good else line.role


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_layout_phrase_gives_its_line_its_role(language: str) -> None:
    found = [
        f"{phrase.phrase!r}: {phrase.test!r} is {wrong}"
        for phrase in phrases(language)
        if phrase.group != "word" and (wrong := lays_out_wrongly(phrase)) is not None
    ]
    assert not found


def test_rows_opened_by_their_first_word_are_the_terms_as_they_are_checked() -> None:
    lexicon = lexicon_of(CATALOG)
    told: dict[tuple[str, tuple[str, ...]], tuple[str, ...]] = {}
    for term in (t for t in CATALOG.vocabulary.terms if t.means[0] not in LAYOUT):
        for spelling in term.spellings():
            words = tuple(token.text for token in tokenise(spelling))
            told.setdefault((term.language, words), term.means)
    assert {key: lexicon.meaning(*key) for key in told} == told


def test_words_of_a_text_that_nobody_knows_are_not_kept() -> None:
    lexicon = lexicon_of(CATALOG)
    assert lexicon.open("quorflimb") is lexicon.open("zandresk")


def test_odd_spellings_folded_all_at_once_read_as_each_alone() -> None:
    rows = "\n".join(CATALOG.vocabulary.texts().values()).splitlines()
    spelled = (s for row in rows for s in spell(row.partition("\t")[0]))
    odd = [s for s in spelled if not s.replace(" ", "").isalpha()]
    assert len(odd) > 500
    assert words_of_each(odd) == {s: " ".join(t.text for t in tokenise(s)) for s in odd}


BROKEN = [
    ("phrase\tmeans\nx\tnothing-known\n", "unknown 'nothing-known'"),
    ("phrase\tmeans\nx\tseat:roof\n", "unknown 'seat:roof'"),
    ("phrase\tmeans\nx\tbag\nx\tcharge\n", "stands twice"),
    ("phrase\tmeans\nx\t\n", "lacks a meaning"),
    ("phrase\tmeaning\nx\tbag\n", "the columns must be"),
    ("phrase\tmeans\nx\tbag\tskip\n", "3 cells, not 2"),
]


@pytest.mark.parametrize(("text", "message"), BROKEN)
def test_a_broken_vocabulary_is_refused(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "xx.tsv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CatalogError, match=message):
        read_terms(path)


@pytest.mark.parametrize("word", ["Just", "bloß"])
def test_a_small_word_that_no_folded_line_can_hold_is_refused(word: str, tmp_path: Path) -> None:
    file = tmp_path / "small.toml"
    shipped = (DATA / "vocabulary" / "small.toml").read_text(encoding="utf-8")
    file.write_text(shipped.replace('"just"', f'"{word}"'), encoding="utf-8")
    with pytest.raises(CatalogError, match=f"write {word} in small letters"):
        read_toml(file, SmallWords)
