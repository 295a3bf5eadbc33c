"""Places in the dress of texts: cut words, letters, the tail, two places of one line.

Lines of our own, common practice, no source; the car is driven on the left.
"""

import pytest
from texts import read_text

CUT_SHORT = """
row2-right.seat-bag|- hi. re. Seitenairbag Unterbrechung
row2-left.buckle-switch|- tras. izq. hebilla: circuito abierto
row2-left.seat-bag|- ar. g. airbag de siège circuit ouvert
row2-right.buckle-switch|- post. dx fibbia: circuito aperto
row2-left.buckle-switch|B158E 2e rij links gordelsluiting, onderbreking
row2-right.buckle-switch|B158E klamra pasa 2 rząd prawy, przerwa w obwodzie
left.curtain|(L) roof airbag open circuit
left.curtain|B1A15 gordijnairbag L weerstand te laag
passenger.seat-bag|B1A15 zijairbag stoel R weerstand te hoog
nose-right.impact-sensor|B1A15 czujnik uderzenia PP, przerwa w obwodzie
tail.impact-sensor|01578 Crashsensor Heck, kein Signal
tail.impact-sensor|B1515 Aufprallsensor hinten Mitte Unterbrechung
tail.impact-sensor|B1515 sensore d'urto coda, nessun segnale
nose-left.impact-sensor|sensors: up front left NO SIGNAL, front right ok, left door ok
""".strip().splitlines()


@pytest.mark.parametrize("row", CUT_SHORT)
def test_a_place_is_read_however_it_is_written(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text(f"SRS\n{line}", "r.txt").lines
    assert [ln.component for ln in told] == [want]


def test_a_bare_name_among_faults_without_codes_is_a_part_whose_fault_is_not_told() -> None:
    rows = ["Rideau gauche : circuit ouvert", "Contacteur boucle passager"]
    told = read_text("\n".join([*rows, "Rideau droit : circuit ouvert"]), "r.txt").lines
    assert [(ln.component, ln.fault) for ln in told] == [
        ("left.curtain", "open-or-high"),
        ("passenger.buckle-switch", "unknown"),
        ("right.curtain", "open-or-high"),
    ]
