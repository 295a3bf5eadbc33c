"""Seats, sides and statuses in the words of seven languages, before, behind and beside the part.

Tables of our own, written before they were read; common practice, no source. The car is driven on
the left unless a test says otherwise, so that left is the driver's side.
"""

from pathlib import Path

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.reader import understand
from squibwise.model.report import CodeLine

CATALOG = load_catalog()
LANGUAGES = ("en", "de", "fr", "es", "it", "pt", "pl")
PRETENSIONER = {
    "en": "retractor pretensioner",
    "de": "Gurtstraffer",
    "fr": "prétensionneur",
    "es": "pretensor",
    "it": "pretensionatore",
    "pt": "pretensor",
    "pl": "napinacz",
}
CURTAIN = {
    "en": "curtain airbag",
    "de": "Kopfairbag",
    "fr": "airbag rideau",
    "es": "airbag de cortina",
    "it": "airbag a tendina",
    "pt": "airbag de cortina",
    "pl": "kurtyna",
}
BAG = {
    "en": "driver airbag stage 1",
    "de": "Fahrerairbag Stufe 1",
    "fr": "airbag conducteur étage 1",
    "es": "airbag conductor etapa 1",
    "it": "airbag guida stadio 1",
    "pt": "airbag motorista estágio 1",
    "pl": "poduszka kierowcy stopień 1",
}
RECORD = {
    "en": "unit crash data stored",
    "de": "Steuergerät Crashdaten",
    "fr": "calculateur données de choc",
    "es": "centralita datos de choque",
    "it": "centralina dati urto",
    "pt": "módulo dados de colisão",
    "pl": "sterownik dane zderzenia",
}
OPEN = {
    "en": "open circuit",
    "de": "Unterbrechung",
    "fr": "circuit ouvert",
    "es": "circuito abierto",
    "it": "circuito aperto",
    "pt": "circuito aberto",
    "pl": "przerwa w obwodzie",
}
SEATS = {
    "FL": "driver",
    "FR": "passenger",
    "L": "driver",
    "R": "passenger",
    "D": "driver",
    "P": "passenger",
    "RC": "row2-centre",
    "RL": "row2-left",
    "RR": "row2-right",
}
SIDES = {"FL": "left", "FR": "right", "RL": "left", "RR": "right", "L": "left", "R": "right"}
SIDES |= {"D": "left", "P": "right"}


def table(name: str, language: str) -> list[tuple[str, str]]:
    """Rows of a table: what the words mean, and the words."""
    text = (Path(__file__).parent / name).read_text(encoding="utf-8")
    rows = (row.split("\t") for row in text.splitlines() if not row.startswith("#"))
    return [(row[1], words) for row in rows if row[0] == language for words in row[2].split("|")]


def read(text: str, language: str) -> list[CodeLine]:
    """The faults of a text in a report of a language."""
    lines = [*text.split("\n"), f"B1FFF {BAG[language]} {OPEN[language]}"]
    raws = [RawLine(number=at, text=line) for at, line in enumerate(lines, start=1)]
    return [ln for ln in understand(raws, "x", CATALOG).lines if ln.code != "B1FFF"]


def places(text: str, language: str) -> set[str]:
    """Every place that a fault may be at."""
    found = {ln.place for ln in read(text, language)}
    found |= {c.place for ln in read(text, language) for c in ln.candidates}
    return {p for p in found if p is not None}


@pytest.mark.parametrize("dress", ["{part} {place}, {fault}", "{part}   {place}   {fault}"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_words_for_a_seat_or_a_side_place_the_part(language: str, dress: str) -> None:
    wrong = []
    for where, words in table("places.tsv", language):
        for part, of in ((PRETENSIONER, SEATS), (CURTAIN, SIDES)):
            text = dress.format(part=part[language], place=words, fault=OPEN[language])
            if where in of and places(f"B1A11 {text}", language) != {of[where]}:
                wrong.append(text)
    assert wrong == []


@pytest.mark.parametrize("dress", ["{place} {part} {fault}", "{part} - {place} - {fault}"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_no_words_for_a_place_are_read_as_the_opposite(language: str, dress: str) -> None:
    opposite = {"driver": "passenger", "row2-left": "row2-right"}
    opposite |= {other: one for one, other in opposite.items()}
    wrong = []
    for where, words in table("places.tsv", language):
        text = dress.format(part=PRETENSIONER[language], place=words, fault=OPEN[language])
        if opposite.get(SEATS[where]) in places(f"B1A11 {text}", language):
            wrong.append(text)
    assert wrong == []


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("RHD car\nB1A11 o/s/f retractor pretensioner open", "driver"),
        ("RHD car\nB1A11 right front retractor pretensioner open", "driver"),
        ("wagon, R/H drive\nB1A11 right front retractor pretensioner open", "driver"),
        ("LH drive\nB1A11 right front retractor pretensioner open", "passenger"),
        ("LHD car\nB1A11 right front retractor pretensioner open", "passenger"),
        ("B1A10 FL buckle switch open\nB1A11 RR buckle switch open", "row2-right"),
        ("B1A10 LF buckle switch open\nB1A11 RR buckle switch open", "row2-right"),
        ("B1A10 FR LH buckle switch open\nB1A11 RR LH buckle switch open", "row2-left"),
    ],
)
def test_a_corner_is_named_as_the_report_names_corners(text: str, expected: str) -> None:
    (line,) = (ln for ln in read(text, "en") if ln.code == "B1A11")
    assert line.place == expected


@pytest.mark.parametrize("letter", ["L", "R"])
def test_a_letter_for_a_side_counts_beside_a_part_and_alone(letter: str) -> None:
    side = {"L": "left", "R": "right"}[letter]
    for text in (f"curtain {letter} open", f"{letter} curtain open", f"curtain / {letter} / open"):
        assert places(f"B1A11 {text}", "en") == {side}, text
    assert places("B1A11 retractor pretensioner R high", "en") == set()


@pytest.mark.parametrize("dress", ["{fault}, {status}", "{fault}   {status}", "{fault} ({status})"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_words_for_a_status_are_that_status(language: str, dress: str) -> None:
    wrong = []
    for status, words in table("statuses.tsv", language):
        bag = f"{BAG[language]} {OPEN[language]}"
        fault = RECORD[language] if status == "locked" else bag
        lines = read(f"B1A11 {dress.format(fault=fault, status=words)}", language)
        told = [status in ln.status and (ln.present or status == "cleared") for ln in lines]
        if told != [True]:
            wrong.append(words)
    assert wrong == []


def test_a_denied_status_without_a_code_is_a_denied_fault() -> None:
    assert read("short to ground on the driver airbag: not active", "en") == []
