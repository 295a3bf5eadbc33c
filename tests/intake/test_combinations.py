"""Parts, places and faults put together from words, also misspelt or cut short ones.

No list of the vocabulary holds these lines: what they are made of must be enough.
"""

from itertools import product

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.language.lexicon import lexicon_of
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


def read_all(text: str) -> list[CodeLine]:
    lines = [RawLine(number=n, text=t) for n, t in enumerate(text.splitlines(), 1)]
    return list(understand(lines, "test", CATALOG).lines)


BOTH = {
    "both {part} {fault}": ("front belt pretensioners", "curtains", "side airbags", "buckles"),
    "{part} {fault}, left and right": ("curtains", "side airbags"),
    "left {part} {fault}, same on the other side": ("curtain", "side airbag"),
    "driver and passenger {part} {fault}": ("airbags", "belt pretensioners", "side airbags"),
    "left and right {part} {fault}": ("curtains", "front belt pretensioners"),
}
TWICE = [(frame, part) for frame, parts in BOTH.items() for part in parts]


@pytest.mark.parametrize("fault", ["open circuit", "shorted to ground", "resistance too high"])
@pytest.mark.parametrize(("frame", "part"), TWICE)
def test_what_is_said_of_two_parts_is_a_fault_of_each(frame: str, part: str, fault: str) -> None:
    text = frame.format(part=part, fault=fault)
    found = read_all(text)
    assert len(found) == 2, text
    assert len({ln.place for ln in found} - {None}) == 2, text
    assert len({(ln.kind, ln.fault) for ln in found}) == 1, text


@pytest.mark.parametrize("part", ["left curtain", "driver side airbag", "passenger airbag"])
def test_a_code_of_the_same_on_the_other_side_names_the_opposite_part(part: str) -> None:
    one, other = read_all(f"B1A01 {part} open circuit\nB1A02 same on the other side")
    assert (one.kind, one.fault) == (other.kind, other.fault)
    assert {one.place, other.place} in ({"left", "right"}, {"driver", "passenger"})


def test_a_status_behind_a_list_of_parts_is_that_of_each() -> None:
    found = read_all("driver and passenger airbags open circuit, intermittent")
    assert [ln.status for ln in found] == [("intermittent",)] * 2


LEADS = ("e.g. {}", "Example: {}", 'for example "{}"', "z.B. {}", "par exemple {}", "p. ej. {}")


@pytest.mark.parametrize("lead", LEADS)
def test_a_line_that_is_given_as_an_example_is_no_fault(lead: str) -> None:
    real = "B1A01 left curtain open circuit"
    found = read_all(f"{real}\n{lead.format('B1448 driver airbag open circuit')}")
    assert [ln.code for ln in found] == ["B1A01"]


PRICES = ("$85", "85 EUR", "\u20ac 120,00", "120,00 \u20ac", "240 PLN", "\u00a365")


@pytest.mark.parametrize("price", PRICES)
def test_a_line_of_a_price_list_is_no_fault_unless_it_tells_one(price: str) -> None:
    real = f"B1A01 left curtain open circuit, {price} to mend"
    found = read_all(f"{real}\nB1450 clock spring {price}")
    assert [ln.code for ln in found] == ["B1A01"]


@pytest.mark.parametrize("unit", ["OCU", "OCS", "[OCU]"])
def test_an_abbreviated_unit_above_its_codes_names_the_part_that_they_do_not(unit: str) -> None:
    found = read_all(f"{unit}\nB1A10 seat mat out of range\nB1A11 not calibrated")
    assert [(ln.kind, ln.unit) for ln in found] == [("occupant-sensor", "restraint")] * 2


def test_a_front_sensor_of_no_side_is_one_of_those_in_the_nose() -> None:
    line = read_one("B1A11 front crash sensor open circuit")
    assert line.component is None
    assert {c.place for c in line.candidates} == {"nose-left", "nose-right", "nose-centre"}


def test_numbers_of_a_maker_with_a_byte_behind_a_stroke_are_codes() -> None:
    text = "412/2F  driver airbag open\n431/28  left curtain short to battery\n455/50  buckle left"
    assert [ln.code for ln in read_all(text)] == ["412", "431", "455"]


def test_a_date_that_begins_a_line_is_no_code() -> None:
    text = "12/03 driver airbag open\n13/03 left curtain open\n14/03 right curtain open"
    assert [ln.code for ln in read_all(text)] == [None] * 3
