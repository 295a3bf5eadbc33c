"""A crash record is stored or none only by words of storing; every circuit is good or it is not.

The lines are ours, in eight languages; common practice, no source.
"""

from pathlib import Path

import pytest
from texts import read_text

HEADS = {
    "en": "Restraint module",
    "de": "Steuergerät Airbag",
    "fr": "Calculateur airbag",
    "es": "Módulo airbag",
    "it": "Centralina airbag",
    "pl": "Sterownik poduszek",
    "pt": "Módulo airbag",
    "nl": "Airbag regeleenheid",
}
ROWS = [
    tuple(row.split("\t"))
    for row in (Path(__file__).parent / "crash_records.tsv")
    .read_text(encoding="utf-8")
    .splitlines()
    if not row.startswith("#")
]
WHOLE = (
    "the other circuits: no fault",
    "all other circuits of the airbag unit passed",
    "all circuits tested ok",
    "all remaining squib loops are good",
    "alle anderen Kreise in Ordnung",
    "alle übrigen Zündkreise geprüft und in Ordnung",
    "los demás circuitos sin fallos",
    "los demás circuitos del airbag sin fallos",
    "gli altri circuiti sono a posto",
    "pozostałe obwody bez usterek",
    "demais circuitos sem falhas",
    "overige circuits in orde",
    "all other circuits good, no faults",
    "Rest of the circuits ok.",
)
NOT_WHOLE = (
    "nearly all circuits passed",
    "all other circuits passed in March",
    "all circuits passed before airbag fired",
    "alle anderen Kreise waren vor dem Unfall in Ordnung",
    "fast alle Kreise in Ordnung",
    "presque tous les circuits sont bons",
    "tous les autres circuits de la porte sont bons",
    "casi todos los circuitos sin fallos",
    "quasi tutti i circuiti a posto",
    "prawie wszystkie obwody bez usterek",
    "quase todos os circuitos sem falhas",
    "bijna alle circuits in orde",
    "all other circuits good according to the seller",
    "most of the other circuits ok",
    "all circuits passed once",
    "all circuits ok on the left side",
    "no other circuits passed",
    "none of the other circuits passed",
)
STUBBORN = (
    ("en", "left curtain open, no longer clears"),
    ("de", "Vorhang links Unterbrechung, lässt sich nicht mehr löschen"),
    ("de", "Vorhang links Unterbrechung, geht nicht mehr weg"),
    ("fr", "rideau gauche coupure, plus effaçable"),
    ("es", "cortina izquierda abierta, ya no se borra"),
    ("it", "tendina sinistra interrotta, cancellato ma ritorna"),
    ("pt", "cortina esquerda aberta, já não apaga"),
    ("nl", "gordijn links onderbroken, niet meer te wissen"),
    ("en", "left curtain open, connector no longer present"),
    ("en", "left curtain open, stored, no longer present"),
    ("en", "left curtain open, not present"),
    ("fr", "rideau gauche coupure, mémorisé, n'est plus présent"),
)
OVER = (
    ("en", "left curtain open, no longer present"),
    ("en", "left curtain open - not present any more"),
    ("en", "left curtain open, no longer there after clearing"),
    ("de", "Vorhang links Unterbrechung, nicht mehr da nach dem Löschen"),
    ("fr", "rideau gauche : défaut disparu"),
    ("pt", "cortina esquerda aberta, já não aparece depois de apagar"),
)


@pytest.mark.parametrize(("language", "says", "line"), ROWS)
def test_a_crash_record_is_stored_or_none_only_by_words_of_storing(
    language: str, says: str, line: str
) -> None:
    report = read_text(f"{HEADS[language]}\n{line}\n")
    stored = any(x.fault == "event-recorded" and x.present for x in report.lines)
    none = report.coverage.no_crash_record is not None
    assert (stored, none) == (says == "stored", says == "none")
    assert not report.coverage.clean
    assert stored or none or report.unread or report.lines


@pytest.mark.parametrize("line", WHOLE)
def test_a_line_that_says_nothing_else_calls_every_circuit_good(line: str) -> None:
    report = read_text(f"Airbag\nB0001-1B driver airbag stage 1 resistance high\n{line}\n")
    assert report.coverage.complete is True


@pytest.mark.parametrize("line", NOT_WHOLE)
def test_some_circuits_once_or_of_another_unit_are_listed_and_not_every_one(line: str) -> None:
    report = read_text(f"Airbag\nB0001-1B driver airbag stage 1 resistance high\n{line}\n")
    assert report.coverage.complete is None
    assert [u.raw for u in report.unread] == [line]


@pytest.mark.parametrize(("language", "line"), STUBBORN)
def test_what_no_longer_clears_is_there(language: str, line: str) -> None:
    (told,) = read_text(f"{HEADS[language]}\nB1A12 {line}\n").lines
    assert (told.component, told.fault, told.present) == ("left.curtain", "open-or-high", True)


@pytest.mark.parametrize(("language", "line"), OVER)
def test_what_is_no_longer_present_is_gone(language: str, line: str) -> None:
    (told,) = read_text(f"{HEADS[language]}\nB1A12 {line}\n").lines
    assert (told.component, told.present) == ("left.curtain", False)
