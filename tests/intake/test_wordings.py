"""Descriptions of many kinds of reports: part, stage and fault. Common practice, no source."""

from functools import cache
from pathlib import Path

import pytest
from texts import read_text

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.reader import understand
from squibwise.model.names import side_of
from squibwise.model.report import CodeLine

CATALOG = load_catalog()
ROWS = [
    tuple(row.split("\t"))
    for row in (Path(__file__).parent / "wordings.tsv").read_text(encoding="utf-8").splitlines()
    if row and not row.startswith("#")
]
# Right parts that are honestly left open, or told another way than the row asks.
OPEN = {
    "B0040 - Left Front/Driver Side Deployment Loop Resistance Low",
    "B2909 Belt tension sensor fault",
    "33-4 Short to power in driver's side airbag inflator",
    "54-13 Internal failure of the SRS unit: front airbag and seat belt tensioner activated",
}


def read(text: str) -> CodeLine:
    (line,) = understand([RawLine(number=1, text=text)], "test", CATALOG).lines
    return line


@cache
def lines() -> tuple[CodeLine, ...]:
    return tuple(read(row[0]) for row in ROWS)


def place_of(component: str) -> str | None:
    return None if component == "-" else component.partition(".")[0]


def test_wordings_are_read() -> None:
    wrong = [
        f"{text}: {line.component} {line.stage} {line.fault}"
        for (text, component, stage, fault), line in zip(ROWS, lines(), strict=True)
        if fault not in ("*", line.fault)
        or (
            text not in OPEN
            and ((line.component or "-"), str(line.stage or "-")) != (component, stage)
        )
    ]
    assert not wrong


def test_no_wording_is_confidently_wrong_in_side_or_stage() -> None:
    wrong = [
        text
        for (text, component, stage, _), line in zip(ROWS, lines(), strict=True)
        if (line.stage is not None and stage not in ("-", str(line.stage)))
        or (line.place and (place := place_of(component)) and is_elsewhere(line.place, place))
    ]
    assert not wrong


def is_elsewhere(one: str, two: str) -> bool:
    return side_of(one, "left") != side_of(two, "left")


SHORTENED = {
    "opn": "open",
    "crcut": "circuit",
    "lckd": "locked",
    "crsh": "crash",
    "snsr": "sensor",
    "bkl": "buckle",
    "stk": "stuck",
    "crtn": "curtain",
    "cntr": "centre",
    "grnd": "ground",
    "shrt": "short",
    "strd": "stored",
    "crrnt": "current",
    "clsd": "closed",
}


@pytest.mark.parametrize(("short", "whole"), SHORTENED.items())
def test_a_word_without_its_vowels_is_that_word(short: str, whole: str) -> None:
    lines = [f"B5310 driver airbag {word}" for word in (short, whole)]
    one, two = (read_text(f"B5301 left curtain open circuit\n{line}\n").lines[-1] for line in lines)
    told = (one.fault, one.component, one.place, one.status)
    assert told == (two.fault, two.component, two.place, two.status)


ORDINARY = "blk wht gry brn grn yel hrs mls kms pls plz thx tmrw wknd dlr trk trlr whl2 psi gal nxt"


@pytest.mark.parametrize("word", ORDINARY.split())
def test_other_words_without_vowels_tell_nothing(word: str) -> None:
    one, two = (
        read_text(f"B5310 left curtain short to ground {more}\n").lines[0] for more in (word, "")
    )
    told = (one.fault, one.component, one.place, one.status)
    assert told == (two.fault, two.component, two.place, two.status)


SPELT_OUT = [
    ("Airbagsteuergerät: keine Kommunikation", "Airbagsteuergeraet: keine Kommunikation"),
    ("Zündkreis Fahrerairbag, Widerstand zu groß", "Zuendkreis Fahrerairbag, Widerstand zu gross"),
    ("Gurtstraffer Fahrer, Überwiderstand", "Gurtstraffer Fahrer, Ueberwiderstand"),
    ("Aufprallsensor Fahrertür, Signal ungültig", "Aufprallsensor Fahrertuer, Signal ungueltig"),
    ("Kopfairbag rechts, gelöscht", "Kopfairbag rechts, geloescht"),
]


@pytest.mark.parametrize("code", ["B1DAE", "B1FAE", "U0AAE"])
def test_letters_within_a_code_are_no_umlauts(code: str) -> None:
    (line,) = read_text(f"{code} driver buckle switch open\n").lines
    assert line.code == code


@pytest.mark.parametrize(("umlauts", "letters"), SPELT_OUT)
def test_german_without_umlauts_reads_the_same(umlauts: str, letters: str) -> None:
    """Common practice, no source: ae, oe, ue and ss where a device has no umlauts."""
    above = "B5301 Kopfairbag links, Kurzschluss nach Masse\n"
    told = []
    for line in (umlauts, letters):
        last = read_text(f"{above}B5310 {line}\n").lines[-1]
        told.append((last.component, last.fault, last.place, last.status, last.present))
    assert told[0] == told[1]


@pytest.mark.parametrize("line", ["blue plug, true", "does not", "value 2"])
def test_other_words_with_such_letters_stay(line: str) -> None:
    read = read_text(f"B5301 left curtain, short to ground, {line}\n").lines[0]
    assert (read.component, read.fault) == ("left.curtain", "short-to-ground")
