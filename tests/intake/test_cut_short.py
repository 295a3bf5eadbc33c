"""What a report says of its own end stands before who ticks it as complete.

Lines of our own. Common practice, no source.
"""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report
from squibwise.model.report import Coverage

CATALOG = load_catalog()


def covered(text: str) -> Coverage:
    return read_report(f"{text}\n".encode(), "r.txt", CATALOG).coverage


@pytest.mark.parametrize(
    "text",
    [
        "Scan aborted",
        "Read failed after 3 of 24 circuits",
        "Reading stopped at circuit 3",
        "Connection lost",
        "Auslesen abgebrochen",
        "lecture interrompue à 4 sur 20",
        "lectura fallida",
        "odczyt przerwany",
        "lettura interrotta",
        "leitura interrompida",
        "uitlezing afgebroken",
    ],
)
def test_a_reading_that_broke_off_is_not_complete(text: str) -> None:
    told = covered(f"{text}\nNo faults")
    assert told.complete is False
    assert told.broken_off is not None
    assert told.broken_off.raw == text


@pytest.mark.parametrize(
    "text",
    [
        "circuit interrompu",
        "left curtain circuit interrompu",
        "Scan 3 of 3 circuits done",
        "was the scan aborted?",
        "B1001 left curtain, circuit interrupted",
        "All circuits ok",
    ],
)
def test_an_open_circuit_is_no_reading_that_broke_off(text: str) -> None:
    assert covered(text).broken_off is None


def test_codes_that_were_cleared_are_told_and_denials_are_not() -> None:
    assert covered("Codes cleared before towing. No faults stored.").cleared is not None
    assert covered("Fehler vor dem Abschleppen gelöscht").cleared is not None
    assert covered("errori cancellati ieri").cleared is not None
    assert covered("codes not cleared").cleared is None
    assert covered("B1001 left curtain open, cleared").cleared is None


@pytest.mark.parametrize(
    "text",
    [
        "No faults except passenger belt open",
        "No faults, only the seat plug open",
        "Keine Fehler außer Gurt Beifahrer offen",
        "sin averías salvo cinturón del acompañante",
    ],
)
def test_praise_with_an_exception_is_read_by_a_person(text: str) -> None:
    told = read_report(f"Airbag module\nAll circuits ok.\n{text}\n".encode(), "r.txt", CATALOG)
    asked = (*told.coverage.counts_more, *told.strange, *told.unsure, *told.lines)
    assert 3 in {each.line for each in asked}
