"""What a lamp blinked, in the dress of notes: lists, columns, cars, a reader's code beside it.

The texts are ours; that makers before numbered codes had the lamp blink a count, and 12 for no
fault, is common practice, no source.
"""

import pytest
from tests.intake.texts import read_text

# a text, and code, other notations, component and fault of each present fault
SHEETS = [
    (
        "Airbag-Lampe, Blinkzahlen\nTransporter   blinkt nacheinander 31, 42, 15\n",
        [("31", (), None, "unknown"), ("42", (), None, "unknown"), ("15", (), None, "unknown")],
    ),
    (
        "Voyant airbag, comptage des éclats\nutilitaire blanc : 31 et 34, pas de tableau\n"
        "berline grise : 12 ou 13, à recompter\n",
        [("31", (), None, "unknown"), ("34", (), None, "unknown")],
    ),
    (
        "Kody migowe lampki airbag\nauto A  kod 31  kurtyna lewa przerwa\n"
        "auto B  15  czujnik zderzenia prawy przód przerwa\n",
        [
            ("31", (), "left.curtain", "open-or-high"),
            ("15", (), "nose-right.impact-sensor", "open-or-high"),
        ],
    ),
    (
        "coche | luz SRS | avería\nfurgón gris | 17 | airbag conductor abierto\n"
        "cupé rojo | 22 y 24 | sin tabla\n",
        [
            ("17", (), "driver.front-bag", "open-or-high"),
            ("22", (), None, "unknown"),
            ("24", (), None, "unknown"),
        ],
    ),
    (
        "Airbaglampje\n2x kort, pauze, 5x kort: airbag bestuurder onderbroken\n",
        [("2-5", (), "driver.front-bag", "open-or-high")],
    ),
    (
        "Knippercodes SRS\nZwarte stationwagen\n  knippercode 22 gordijnairbag links onderbroken\n",
        [("22", (), "left.curtain", "open-or-high")],
    ),
    (
        "break : code éclat 34, airbag passager en court-circuit\n"
        "break : code éclat 38, rideau gauche ouvert\n",
        [
            ("34", (), "passenger.front-bag", "low-or-short"),
            ("38", (), "left.curtain", "open-or-high"),
        ],
    ),
    (
        "kod błyskowy 36 a w testerze B2136: kurtyna lewa przerwa\n",
        [("B2136", ("36",), "left.curtain", "open-or-high")],
    ),
    (
        "SRS lamp sheet\nvan: 53 (reader B1A53) clock spring open\nvan: flash 22 buckle open\n"
        "van: 41 left curtain open   B1D20 on the tool\n",
        [
            ("B1A53", ("53",), "driver.clock-spring", "open-or-high"),
            ("22", (), None, "open-or-high"),
            ("B1D20", ("41",), "left.curtain", "open-or-high"),
        ],
    ),
    (
        "Codici lampeggio\nsuv  CL 26 / B1A60 oppure B1A63  pretensionatore guida aperto\n",
        [("B1A60", ("B1A63", "26"), "driver.retractor-pretensioner", "open-or-high")],
    ),
    (
        "furgone  codice 33 sulla spia, tendina sinistra aperta\n",
        [("33", (), "left.curtain", "open-or-high")],
    ),
    (
        "SRS lamp\nvan  short short long = 21, left curtain open\n",
        [("21", (), "left.curtain", "open-or-high")],
    ),
    (
        "Lampenblinken gezählt\nPritsche alt:  26 / 28, Buch fehlt\n",
        [("26", (), None, "unknown"), ("28", (), None, "unknown")],
    ),
    (
        "lampje: vier keer kort, pauze, een keer kort: klokveer onderbroken\n",
        [("4-1", (), "driver.clock-spring", "open-or-high")],
    ),
    (
        "coche       parpadeos   máquina   qué\n"
        "furgón      31          B1A31     airbag conductor abierto\n",
        [("B1A31", ("31",), "driver.front-bag", "open-or-high")],
    ),
    (
        "old coupe   flashed 24 last fall, clockspring swapped, nothing since\n"
        "bus   het lampje geeft code 33, gordijnairbag links onderbroken\n",
        [("33", (), "left.curtain", "open-or-high")],
    ),
    (
        "Kombi  Blinkcode 12, das heißt System in Ordnung\nbreak  code éclat 12 = aucun défaut\n",
        [],
    ),
]


@pytest.mark.parametrize(("text", "faults"), SHEETS)
def test_counts_of_a_lamp_are_read_in_the_dress_of_notes(
    text: str, faults: list[tuple[str, tuple[str, ...], str | None, str]]
) -> None:
    told = [ln for ln in read_text(text).lines if ln.present]
    assert [(ln.code, ln.also, ln.component, ln.fault) for ln in told] == faults


@pytest.mark.parametrize(
    "line",
    ["sockets 10, 12 and 14 mm", "lampje 7 seconden aan", "12 or 13, count again", "14 blinks?"],
)
def test_numbers_of_other_things_are_no_counts(line: str) -> None:
    codes = [ln.code for ln in read_text(f"SRS lamp counts\nvan: flash 31\n{line}\n").lines]
    assert codes == ["31"]
