"""Codes said aloud, in the words of seven languages, or with the letter apart.

Source: sae-j2012 for the shape, a letter and four digits of which the first is 0 to 3; how people
say it: common practice, no source. Texts of our own.
"""

import pytest
from texts import codes_in, read_text

SAID = [
    ("bee sixteen oh four driver airbag open", "be 1613 left curtain short to ground"),
    ("B sixteen oh four driver airbag open", "bee one six one three left curtain short to ground"),
    ("b 16 04 driver airbag open", "B 16 13 left curtain short to ground"),
    ("bravo sixteen zero four driver airbag open", "bee sixteen thirteen left curtain shorted"),
    ("Berta eins sechs null vier, Fahrerairbag offen", "Berta sechzehn dreizehn, Kopfairbag links"),
    ("be dieciséis cero cuatro airbag conductor abierto", "be dieciséis trece cortina izquierda"),
    ("bé seize zéro quatre airbag conducteur circuit ouvert", "b seize treize rideau gauche"),
    ("bi sedici zero quattro airbag guida circuito aperto", "b sedici tredici tendina sinistra"),
    ("be szesnaście zero cztery poduszka kierowcy przerwa", "b szesnaście trzynaście kurtyna lewa"),
    ("b dezasseis zero quatro airbag condutor aberto", "b dezasseis treze cortina esquerda"),
]


@pytest.mark.parametrize("lines", SAID)
def test_codes_said_aloud_are_read_where_two_lines_have_one(lines: tuple[str, str]) -> None:
    assert codes_in("\n".join(lines) + "\n") == ["B1604", "B1613"]


def test_tens_and_units_and_doubled_digits() -> None:
    text = "bee fourteen forty two driver airbag open\nbee one four double three curtain shorted\n"
    assert codes_in(text) == ["B1442", "B1433"]


@pytest.mark.parametrize(
    "line",
    [
        "it should be 1600 for the lot",
        "see 1200 miles on the trip meter",
        "you owe me 1450",
        "be 9914 at the yard",
    ],
)
def test_one_line_or_another_number_makes_no_code(line: str) -> None:
    read = read_text(f"B5310 left curtain short to ground\n{line}\n")
    assert [ln.code for ln in read.lines] == ["B5310"]


def test_letter_digit_and_two_signs_in_a_column_are_codes() -> None:
    text = (
        "now       where                     count   ref     trouble\n"
        "yes       passenger airbag          255     D1-07   line open\n"
        "yes       driver airbag             255     D1-08   line open\n"
        "no        left curtain              2       D1-1A   line to earth\n"
        "yes       buckle switch, driver     3       D1-41   not plausible\n"
    )
    assert codes_in(text) == ["D1-07", "D1-08", "D1-1A", "D1-41"]
