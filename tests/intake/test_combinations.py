"""Parts, places and faults put together from words, also misspelt or cut short ones.

No list of the vocabulary holds these lines: what they are made of must be enough.
"""

from itertools import product

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.lexicon import lexicon_of
from squibwise.intake.report.reader import understand
from squibwise.model.report import CodeLine

CATALOG = load_catalog()
PARTS = {
    "driver airbag": "driver.front-bag",
    "left curtain": "left.curtain",
    "passenger buckle pretensioner": "passenger.buckle-pretensioner",
    "right pillar sensor": "pillar-right.impact-sensor",
    "clock spring": "driver.clock-spring",
    "passenger seat occupancy sensor": "passenger.occupant-sensor",
}
FAULTS = {
    "resistance too high": "open-or-high",
    "short to ground": "short-to-ground",
    "shorted to battery": "short-to-battery",
    "no communication": "communication",
}


def read_one(text: str) -> CodeLine:
    lines = understand([RawLine(number=1, text=text)], "test", CATALOG).lines
    assert len(lines) == 1, text
    return lines[0]


def slips(word: str) -> list[str]:
    """The word with two letters exchanged, one left out, one typed twice, inside it."""
    at = len(word) // 2
    return [
        word[:at] + word[at + 1] + word[at] + word[at + 2 :],
        word[:at] + word[at + 1 :],
        word[:at] + word[at] + word[at:],
    ]


def misspelt(text: str) -> list[str]:
    """The text with one of its long words misspelt, in every way that is no word itself."""
    known = lexicon_of(CATALOG).known
    return [
        text.replace(word, slip)
        for word in text.split()
        if len(word) >= 7
        for slip in slips(word)
        if slip not in known
    ]


@pytest.mark.parametrize("part", PARTS)
def test_one_slip_in_any_long_word_changes_nothing(part: str) -> None:
    wrong = []
    for fault in FAULTS:
        for text in misspelt(f"{part} {fault}"):
            line = read_one(f"B1A11 {text}")
            if (line.component, line.fault) != (PARTS[part], FAULTS[fault]):
                wrong.append((text, line.component, line.fault))
    assert wrong == []


CUT = {  # words of three languages, cut short with a full stop
    "cierre izq. cort. de techo circ. abierto": ("left.curtain", "open-or-high"),
    "airb. frontal cond. corto a tierr.": ("driver.front-bag", "short-to-ground"),
    "Airb. Fahrer Unterbrech.": ("driver.front-bag", "open-or-high"),
    "Gurtstr. Beif. Kurzschl. nach Masse": ("passenger.retractor-pretensioner", "short-to-ground"),
    "prétens. boucle passag. circ. ouvert": ("passenger.buckle-pretensioner", "open-or-high"),
}


def test_words_that_are_cut_short_are_read_where_one_meaning_goes_on_from_them() -> None:
    read = {text: read_one(f"B1A11 {text}") for text in CUT}
    assert {t: (ln.component, ln.fault) for t, ln in read.items()} == CUT


def test_a_beginning_of_several_meanings_is_left_open() -> None:
    assert read_one("B1A11 driver airbag s. circuit").fault == "unknown"


ACTS = ("cut off", "cutoff", "isolator", "disconnect")
SORTS = ("", "pyrotechnic ", "pyro ", "safety ", "emergency ")


@pytest.mark.parametrize(("sort", "act"), list(product(SORTS, ACTS)))
def test_what_parts_the_high_voltage_is_known_by_what_it_does(sort: str, act: str) -> None:
    line = read_one(f"B1A11 high voltage {sort}{act} circuit open")
    assert (line.kind, line.fault) == ("high-voltage-cutoff", "open-or-high")


RECORDS = list(product(("crash", "collision", "accident"), ("memory", "log", "buffer", "data")))


@pytest.mark.parametrize("record", RECORDS, ids=" ".join)
def test_a_crash_memory_that_is_empty_is_no_fault(record: tuple[str, str]) -> None:
    lines = (f"{' '.join(record)} empty", "B1A11 driver airbag open circuit")
    read = understand([RawLine(number=n, text=t) for n, t in enumerate(lines, 1)], "t", CATALOG)
    assert [ln.code for ln in read.lines] == ["B1A11"]
    assert read.coverage.no_crash_record is not None
