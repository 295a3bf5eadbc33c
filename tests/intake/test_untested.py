"""A part that nobody could read is a test not done: no fault, no denial, no clean bill.

Lines of our own, in the words of eight languages. Common practice, no source.
"""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report
from squibwise.model.report import ReadReport

UNTESTED = {
    "Passenger loop not read.": "passenger.front-bag",
    "Passenger front airbag not responding": "passenger.front-bag",
    "Passenger front airbag: no communication": "passenger.front-bag",
    "Front passenger airbag wasn't measured": "passenger.front-bag",
    "Driver knee airbag: test skipped": "driver.knee-bag",
    "Gurtstraffer Fahrer meldet sich nicht": "driver.retractor-pretensioner",
    "Kopfairbag links: nicht ausgelesen": "left.curtain",
    "Airbag de cortina izquierda: sin respuesta": "left.curtain",
    "Airbag passager avant ne répond pas": "passenger.front-bag",
    "Airbag passeggero non risponde": "passenger.front-bag",
    "Airbag bestuurder niet gemeten": "driver.front-bag",
    "Napinacz pasa kierowcy nie odpowiada": "driver.retractor-pretensioner",
    "Airbag do passageiro não foi lido": "passenger.front-bag",
    "Seat weight sensor: not measured": "passenger.occupant-sensor",
    "Left curtain has not been tested": "left.curtain",
    "Driver airbag loop skipped, rest ok": "driver.front-bag",
    "Fahrerairbag nicht geprüft, sonst alles in Ordnung": "driver.front-bag",
    "Airbag conducteur non contrôlé, le reste ok": "driver.front-bag",
    "Pretensor pasajero sin comprobar, resto bien": "passenger.retractor-pretensioner",
}


def read(line: str) -> ReadReport:
    return read_report(f"RESTRAINT SYSTEM\n{line}\n".encode(), "scan.txt", load_catalog())


@pytest.mark.parametrize(("line", "component"), UNTESTED.items())
def test_a_part_that_was_not_read_is_a_test_not_done(line: str, component: str) -> None:
    report = read(line)
    (told,) = report.lines
    assert (told.component, told.fault, told.status) == (component, "unknown", ("not-tested",))
    assert (told.is_untested, told.present) == (True, False)
    assert report.coverage.not_tested == (component,)
    assert report.coverage.clean == ()


def test_a_whole_reading_with_one_part_unread_is_not_complete() -> None:
    whole = read("All circuits ok. All tests complete.").coverage
    unread = read("All circuits ok. All tests complete.\nPassenger loop not read.").coverage
    assert (whole.complete, unread.complete) == (True, None)


@pytest.mark.parametrize(
    "line",
    ["No communication with left satellite sensor", "Seitenaufprallsensor links: keine Antwort"],
)
def test_a_sensor_that_does_not_answer_is_a_fault_as_before(line: str) -> None:
    (told,) = read(line).lines
    assert (told.kind, told.fault, told.present) == ("impact-sensor", "communication", True)
