"""Units behind a label on each line, known or not. Our own texts."""

import pytest
from tests.intake.texts import read_text

LINES = [
    "ECU: {}; DTC: B1A01; sensor front left no signal",
    "Module: {}, code B1A01, sensor front left no signal",
    "Steuergerät: {}; B1A01 Sensor vorne links kein Signal",
    "Calculateur : {} | B1A01 capteur avant gauche ne répond pas",
]


@pytest.mark.parametrize("line", LINES)
@pytest.mark.parametrize(
    ("name", "unit", "part"),
    [("SRS", "restraint", "nose-left.impact-sensor"), ("PKA", "unknown", None)],
)
def test_a_label_names_the_unit_of_its_line(
    line: str, name: str, unit: str, part: str | None
) -> None:
    (found,) = read_text(line.format(name) + "\n").lines
    assert (found.code, found.unit, found.component) == ("B1A01", unit, part)


@pytest.mark.parametrize(
    "line", ["calculateur : choc mémorisé, B1950", "Unit: locked, B1950 event stored"]
)
def test_what_a_unit_tells_of_itself_is_no_name_of_another(line: str) -> None:
    (found,) = read_text(line + "\n").lines
    assert (found.unit, found.fault) == ("restraint", "event-recorded")


@pytest.mark.parametrize(
    "line",
    [
        "U0151 message du calculateur airbag absent",
        "U0151 mensaje de centralita de retención ausente",
        "U0151 Telegramm SRS-Modul ausgeblieben",
        "U0151 airbagmodule niet bereikbaar",
    ],
)
def test_another_unit_misses_the_message_of_the_restraint_unit(line: str) -> None:
    text = f"ABS\n{line}\nC1A20 x\nAirbag\nB1A12 left curtain short to ground\n"
    found, own = (ln for ln in read_text(text).lines if ln.code != "C1A20")
    assert (found.unit, found.component, found.fault) == (
        "other",
        "centre.control-unit",
        "communication",
    )
    assert (own.unit, own.component) == ("restraint", "left.curtain")
