"""The same faults in every dress in which people hand them over.

Texts of our own; what they say was written down before they were read. Common practice, no source.
"""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report
from squibwise.model.report import CodeLine

CATALOG = load_catalog()

# Each text, and of each fault that it tells: code, kind, place, stage, fault; "-" for not told.
TEXTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "a table drawn with signs": (
        "| Code | Part | What | State |\n|---|---|---|---|\n"
        "| B1C11-13 | Driver front airbag, stage 2 | open circuit | now |\n"
        "| B1C22-1A | Passenger retractor pretensioner | resistance low | memory |\n",
        (
            "B1C11 front-bag driver 2 open-or-high",
            "B1C22 retractor-pretensioner passenger - low-or-short",
        ),
    ),
    "labels above the code of each block": (
        "Fehlerort: Airbag Beifahrer, Zündkreis 1\nFehlerart: Widerstand zu hoch\n"
        "Fehlercode: B1F11\nStatus: statisch\n\n"
        "Fehlerort: Gurtstraffer Fahrer\nFehlerart: Kurzschluss nach Masse\n"
        "Fehlercode: B1F22\nStatus: sporadisch\n",
        (
            "B1F11 front-bag passenger 1 open-or-high",
            "B1F22 - driver - short-to-ground",
        ),
    ),
    "boxes that are ticked or not": (
        "Restraints check\n[x] driver airbag stage 1 - open\n[x] left curtain - short to ground\n"
        "[ ] passenger airbag\n[ ] clock spring\n",
        ("- front-bag driver 1 open-or-high", "- curtain left - short-to-ground"),
    ),
    "numbers that only look like the standard's": (
        "B7411 driver airbag stage 1 open\nB7412 left curtain short to ground\n"
        "B941C crash stored, cannot be erased\n",
        (
            "B7411 front-bag driver 1 open-or-high",
            "B7412 curtain left - short-to-ground",
            "B941C control-unit centre - event-recorded",
        ),
    ),
    "numbers of one shape behind the words": (
        "Driver airbag, open - 40213\nLeft curtain, touching ground - 40218\n"
        "Belt puller at the spool, driver, ohms too high - 40231\n",
        (
            "40213 front-bag driver - open-or-high",
            "40218 curtain left - short-to-ground",
            "40231 retractor-pretensioner driver - open-or-high",
        ),
    ),
    "numbers of one shape that are called codes": (
        "Driver's side curtain bag: short to positive (code 7A31), intermittent\n"
        "Passenger's front bag stage two: no continuity (code 7A44)\n"
        "Module: needs coding (code 7A90)\n",
        (
            "7A31 curtain left - short-to-battery",
            "7A44 front-bag passenger 2 open-or-high",
            "7A90 control-unit centre - configuration",
        ),
    ),
    "codes said over a radio": (
        '"bravo 1 3 2 delta, left curtain, shorted to ground"\n"uniform 0 1 5 5, no comm"\n',
        ("B132D curtain left - short-to-ground", "U0155 - - - communication"),
    ),
    "two codes with clauses of their own": (
        "left curtain B1330 low res; right curtain B1331 short to ground\n"
        "B1340 LF crash sensor no message, RF crash sensor B1341 wrong ID\n"
        "B1350/B1351 driver bag stage 1 / stage 2 high resistance\n",
        (
            "B1330 curtain left - low-or-short",
            "B1331 curtain right - short-to-ground",
            "B1340 impact-sensor nose-left - communication",
            "B1341 impact-sensor nose-right - identity",
            "B1350 front-bag driver 1 open-or-high",
            "B1351 front-bag driver 2 open-or-high",
        ),
    ),
    "a coded line and a line of another part without a code": (
        "B0020-1A lt side bag low\ndriver airbag stage 2 resistance too high\n",
        ("B0020 seat-bag - - low-or-short", "- front-bag driver 2 open-or-high"),
    ),
    "everyday words": (
        "Prallsack im Lenkrad: Leitung weg\nDachluftsack links: zu wenig Ohm\n"
        "Stoßfühler vorne rechts: keine Antwort\nAirbag-Rechner: Unfall gespeichert\n",
        (
            "- front-bag driver - open-or-high",
            "- curtain left - low-or-short",
            "- impact-sensor nose-right - communication",
            "- control-unit centre - event-recorded",
        ),
    ),
    "parts as headings of their codes": (
        "DRIVER FRONT BAG\n   B1911 stage 1 circuit open / B1912 stage 2 circuit open\n"
        "RIGHT CURTAIN\n   B1933 short to ground\n",
        (
            "B1911 front-bag driver 1 open-or-high",
            "B1912 front-bag driver 2 open-or-high",
            "B1933 curtain right - short-to-ground",
        ),
    ),
    "ditto": (
        "B1461 Fahrerairbag, 1. Zündpille unterbrochen\nB1462 dito, 2. Zündpille\n",
        ("B1461 front-bag driver 1 open-or-high", "B1462 front-bag driver 2 open-or-high"),
    ),
    "inflected words in running text": (
        "Komputer pokazał przerwę w zapłonniku poduszki kierowcy (B1551), zwarcie do masy w "
        "kurtynie po lewej stronie (B1557) i brak kalibracji maty pasażera (B1563).\n",
        (
            "B1551 front-bag driver - open-or-high",
            "B1557 curtain left - short-to-ground",
            "B1563 occupant-sensor passenger - calibration",
        ),
    ),
    "a maker's number with a count before it": (
        "00 - 01221 Side airbag igniter driver side (N199): Resistance too high\n"
        "01222 Side airbag igniter passenger side (N200): open circuit\n",
        ("01221 seat-bag driver - open-or-high", "01222 seat-bag passenger - open-or-high"),
    ),
}


def told(line: CodeLine, expected: str) -> str:
    """What a line says of the fields that the expectation tells."""
    values = (line.code, line.kind, line.place, line.stage, line.fault)
    said = ["-" if v is None else str(v) for v in values]
    pairs = enumerate(zip(said, expected.split(), strict=True))
    return " ".join("-" if w == "-" and at else s for at, (s, w) in pairs)


@pytest.mark.parametrize("dress", TEXTS)
def test_faults_are_read_in_every_dress(dress: str) -> None:
    text, expected = TEXTS[dress]
    lines = read_report(text.encode(), "r.txt", CATALOG).lines
    assert len(lines) == len(expected)
    assert [told(ln, e) for ln, e in zip(lines, expected, strict=True)] == list(expected)


def test_a_legend_tells_what_its_letters_mean() -> None:
    text = (
        "B1001 driver airbag, open   (C)\nB1002 left curtain, open   (H)\n(C)=current (H)=history\n"
    )
    lines = read_report(text.encode(), "r.txt", CATALOG).lines
    assert [ln.status for ln in lines] == [("present",), ("stored",)]


def test_a_status_byte_of_zero_is_no_present_fault() -> None:
    text = "9A6000   status 00   left curtain\n9A6113   status 09   right curtain, open\n"
    lines = read_report(text.encode(), "r.txt", CATALOG).lines
    assert [ln.present for ln in lines] == [False, True]


def test_what_comes_straight_back_is_present() -> None:
    text = "B1028-13 driver airbag open\nPRESENT\ncleared it, comes straight back\n"
    (line,) = read_report(text.encode(), "r.txt", CATALOG).lines
    assert line.present


def test_a_check_without_a_result_is_no_fault() -> None:
    read = read_report(b"driver pretensioner loop checked for open\n", "r.txt", CATALOG)
    assert read.lines == ()


@pytest.mark.parametrize(
    "text",
    [
        "The driver seat is torn and the dash is cracked near the glove box.",
        "Brakes done, front pads low. Roof has a small dent above the door.",
        "Zderzak pęknięty, fotel kierowcy przetarty, drzwi lewe wgniecione.",
        "El asiento del conductor está roto y el tablero rajado.",
        "Il paraurti è rotto, il sedile guida consumato.",
    ],
)
def test_plain_talk_about_a_car_makes_no_fault(text: str) -> None:
    assert read_report(text.encode(), "r.txt", CATALOG).lines == ()
