"""A fault whose code came back after clearing is there; one told not to have come back is gone.

Our own sentences; common practice, no source.
"""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.reader import read_report, understand

CATALOG = load_catalog()
ONE_BACK = [
    "B1410 driver airbag open circuit and B1415 left seat bag high resistance. "
    "he cleared both, B1415 came straight back, the other didnt",
    "B1410 right pretensioner open and B1415 left curtain open. "
    "Erased both, B1415 returned at once, the other stayed away",
    "B1410 Gurtstraffer rechts Unterbrechung, B1415 Kopfairbag links Kurzschluss. "
    "Beide gelöscht, B1415 kam sofort wieder, der andere nicht",
    "B1410 prétensionneur droit ouvert et B1415 rideau gauche court-circuit. "
    "effacés tous les deux, B1415 est revenu, l'autre non",
    "B1410 pretensor derecho abierto y B1415 cortina izquierda en corto. "
    "borré los dos, B1415 volvió enseguida, el otro no",
    "B1410 kurtyna lewa przerwa, B1415 poduszka kierowcy zwarcie. "
    "skasowane oba, B1415 wrócił od razu, drugi nie",
]


@pytest.mark.parametrize("said", ONE_BACK)
def test_the_code_that_came_back_keeps_its_fault(said: str) -> None:
    gone, back = understand([RawLine(number=1, text=said)], "x", CATALOG).lines
    assert (gone.code, gone.present) == ("B1410", False)
    assert (back.code, back.present, back.status) == ("B1415", True, ("present",))
    assert back.component is not None
    assert back.fault != "unknown"


def test_a_code_that_did_not_come_back_stays_cleared() -> None:
    said = "B1410 right pretensioner open, cleared, has not come back"
    (line,) = understand([RawLine(number=1, text=said)], "x", CATALOG).lines
    assert not line.present


@pytest.mark.parametrize(
    "text",
    [
        "SRS\nB1008-13 right seat bag open\nDoor\nB1008-13 no fault\n",
        "Tür\nB1008 kein Fehler\nSRS\nB1008 right seat bag open\n",
        "SRS\nB1008 right seat bag open\nPuerta\nB1008 sin fallo\n",
    ],
)
def test_a_code_that_another_unit_calls_good_is_still_ours(text: str) -> None:
    told = read_report(text.encode(), "r.txt", CATALOG).lines
    assert [ln.component for ln in told if ln.present] == ["passenger.seat-bag"]


def test_the_address_of_a_unit_on_each_row_is_no_code() -> None:
    rows = ("B3C20;left pretensioner open", "B3C24;passenger bag shorted", "B3C2B;curtain open")
    text = "card;unit;DTC;text\n" + "".join(f"A118;Airbag;{row}\n" for row in rows)
    told = read_report(text.encode(), "r.csv", CATALOG).lines
    assert [ln.code for ln in told] == ["B3C20", "B3C24", "B3C2B"]
