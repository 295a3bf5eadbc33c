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


@pytest.mark.parametrize(
    ("line", "is_clean"),
    [
        ("left curtain circuit looks good, not measured", False),
        ("left curtain circuit is good if the plug is held", False),
        ("left curtain plug looks ok", False),
        ("left curtain airbag ok, not deployed", False),
        ("Kreis Kopfairbag links sieht gut aus", False),
        ("circuit rideau gauche bon si on tient la fiche", False),
        ("left curtain circuit ok, measured 2.1 ohm", True),
        ("left curtain circuit checked and good", True),
        ("Kreis Kopfairbag links gemessen, in Ordnung", True),
    ],
)
def test_a_look_or_a_condition_makes_no_good_circuit(line: str, is_clean: bool) -> None:
    assert bool(read(line).coverage.clean) is is_clean


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


RIDERS = (
    "Vehicle: airbag lamp lit",
    "Software 0102.3 crash data stored",
    "Module: Airbag control unit - locked",
    "Time 14:31 - scan aborted",
    "Page 1 of 3",
    "Date 2026-03-07, before repair",
    "Voltage fell to 7 V during the scan",
    "Datum 07.03.2026, Prüfung abgebrochen",
    "Scan status: aborted",
    "System status: fault",
    "Status: unvollständig",
    "Estado: incompleto",
    "Report status: partial",
    "Unit: not programmed",
    "Vehicle status: airbag lamp on",
    "Fault counter: 3",
    "Fehlerzähler: 3",
    "Event counter: 2 deployments",
    "Seite 1/3",
    "Pág. 1/3",
    "Circuits read: 12/24",
    "Stromkreise gelesen: 12/24",
    "Software version 1.0 read aborted",
    "Time 12:40 aborted",
    "Part number 4471 unit locked",
    "Serial number 77 of another car",
    "Codierung 00000 nicht plausibel",
    "Codificación 00000 incorrecta",
    "Note: see reverse",
    "Counter: aborted",
    "No other faults stored",
    "No hard faults",
    "Keine neuen Fehler",
    "Sin fallos actuales",
    "Aucun autre défaut",
    "Nessun altro guasto",
    "Faults 3/3",
    "Fehler 3/3",
    "Softwarestand 0012 unvollständig",
)
PLAIN_HEADS = (
    "SRS module - System pass",
    "Vehicle: 0Z9HB5A26KR000417   Odometer 61,231 mi",
    "RESTRAINT SYSTEM - STORED FAULTS",
    "Vehicle: 2015 Harrow Estate",
    "Software 0102.3",
    "Module: Airbag control unit",
    "Time 14:31",
    "VIN 0Z9HB5A26KR000417",
    "Supply 12.6 V",
    "Odometer 120300 km",
    "Page 1 of 1",
    "Page 2/2",
    "Circuits read: 24/24",
    "Software version 1.0 rev B",
    "Date 28 November 2026, 14:31 Uhr",
    "Serial number 4471-A",
    "Fault counter: 0",
    "0 faults active, 0 stored",
    "Keine Fehler gespeichert",
    "Faults 0/0",
    "Steuergerät: Airbag",
    "Fahrzeug: Harrow Kombi 2015",
    "Unit: SRS",
    "Report: 1",
    "System: airbag",
)


@pytest.mark.parametrize("line", [*RIDERS, *PLAIN_HEADS])
def test_what_rides_behind_a_label_of_a_clean_scan_waits_to_be_read(line: str) -> None:
    text = f"Supply 12.6 V\nNo faults.\nAll circuits ok. All tests complete.\n{line}\n"
    coverage = read(text).coverage
    assert [u.line for u in coverage.counts_more] == ([5] if line in RIDERS else [])


@pytest.mark.parametrize(
    ("line", "day"),
    [
        ("VIN 0Z9HB5A26KR000417   2026-11-01 10:00", 1),
        ("Created 2026-11-01", 1),
        ("Session start 2026-11-01 10:00", 1),
        ("Built 2016-03-02\nPrinted 2026-11-10", 10),
        ("Created 2026-11-01\nScan date: 2026-11-28", 28),
        ("Baujahr 02.03.2016", None),
        ("B1A01 open 2026-11-01", None),
    ],
)
def test_a_day_without_a_label_is_that_of_the_reading(line: str, day: int | None) -> None:
    days = read(f"No faults.\n{line}\n").coverage.days
    assert [d.day for d in days if d.month == 11] == ([] if day is None else [day])
