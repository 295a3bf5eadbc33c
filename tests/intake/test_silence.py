"""A report that says only that the unit did not answer: nothing was read, and nothing is clean.

Lines of our own. Common practice, no source.
"""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report
from squibwise.model.report import ReadReport

SILENT = (
    "No communication with airbag control unit",
    "SRS module not responding",
    "Airbag module does not answer",
    "Unable to establish communication with RCM",
    "Airbag: no communication",
    "15 Airbag - no communication",
    "U0151 lost communication with restraints control module",
    "No communication with airbag control unit\nU0151 lost communication with restraints module",
    "Unable to connect to airbag module",
    "Could not establish link to airbag ECU",
    "Airbag-Steuergerät antwortet nicht",
    "Steuergerät Airbag nicht erreichbar",
    "La centralita del airbag no responde",
    "Pas de communication avec le calculateur d'airbag",
    "Nessuna comunicazione con centralina airbag",
    "Geen communicatie met airbag regeleenheid",
    "Brak komunikacji ze sterownikiem poduszek",
    "Sem comunicação com a unidade do airbag",
)
ANSWERING = (
    "No communication error with airbag control unit",
    "SRS module communication ok",
    "Does the SRS module answer?",
    "Airbag control unit: no communication\nB1001 driver airbag open",
    "B1A12 left front crash sensor no communication",
    "Passenger front airbag: no communication",
    "Airbag control unit answers again\nno faults",
    "U0151 lost communication with restraints control module, history",
    "U0151 lost communication with restraints control module\nB1001 driver airbag open",
    "U0151 lost communication with restraints control module\nDriver airbag open",
    "Engine\nU0151 lost communication with restraints module\nSRS airbag module\nno faults",
)


def read(text: str) -> ReadReport:
    return read_report(f"{text}\n".encode(), "scan.txt", load_catalog())


@pytest.mark.parametrize("text", SILENT)
def test_a_unit_that_does_not_answer_was_not_read(text: str) -> None:
    report = read(text)
    assert report.coverage.silent is not None
    assert report.coverage.complete is False
    assert [f.code for f in report.findings] == ["unit-silent"]
    assert not [x for x in report.lines if x.kind != "control-unit"]


def test_it_is_one_of_a_list_of_units() -> None:
    report = read("Engine: no faults\nABS: C1234 left front wheel sensor open\nSRS: no response")
    assert report.coverage.silent is not None
    assert report.coverage.silent.line == 3


@pytest.mark.parametrize("text", ANSWERING)
def test_a_unit_that_answers_or_is_not_spoken_of_is_not_silent(text: str) -> None:
    report = read(text)
    assert report.coverage.silent is None
    assert "unit-silent" not in {f.code for f in report.findings}
