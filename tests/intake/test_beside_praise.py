"""A part and its fault stay a fault beside praise of all others. Common practice, no source."""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report


@pytest.mark.parametrize(
    "line",
    [
        "Driver side airbag open, all other circuits ok",
        "All other circuits ok, driver side airbag: resistance too high",
        "All ok except passenger front airbag: open",
        "No faults except passenger front airbag open",
        "Rest ok. Passenger front airbag open.",
        "All circuits ok; driver side airbag open",
        "No other faults than passenger front airbag open",
        "Alles in Ordnung außer Airbag Beifahrer: Unterbrechung",
        "Alles i.O. ausser Beifahrerairbag, Unterbrechung",
        "Alles in Ordnung, ausgenommen Gurtstraffer Fahrer, Widerstand zu hoch",
        "Todo bien excepto el airbag del pasajero: circuito abierto",
        "Tout est ok hormis prétensionneur passager, circuit ouvert",
        "Tutto a posto tranne airbag passeggero: circuito aperto",
        "Alles in orde behalve airbag passagier: onderbreking",
        "Wszystko w porządku oprócz poduszki pasażera: przerwa w obwodzie",
        "Tudo certo menos airbag do condutor, resistência alta",
    ],
)
def test_a_fault_beside_praise_is_there(line: str) -> None:
    read = read_report(f"RESTRAINT SYSTEM\n{line}\n".encode(), "scan.txt", load_catalog())
    (fault,) = [c for c in read.lines if c.present]
    assert fault.fault == "open-or-high"


@pytest.mark.parametrize(
    "line",
    ["Driver front airbag ok, all other circuits ok", "No open on the driver airbag, rest ok"],
)
def test_praise_alone_tells_no_fault(line: str) -> None:
    read = read_report(f"RESTRAINT SYSTEM\n{line}\n".encode(), "scan.txt", load_catalog())
    assert not [c for c in read.lines if c.present]


@pytest.mark.parametrize(
    "line",
    [
        "All circuits ok except the clock spring",
        "Alles außer dem Fahrerairbag ist in Ordnung",
        "Tutto ok eccetto airbag passeggero",
    ],
)
def test_a_part_that_praise_takes_out_is_neither_good_nor_faulty(line: str) -> None:
    read = read_report(f"RESTRAINT SYSTEM\n{line}\n".encode(), "scan.txt", load_catalog())
    assert not read.coverage.clean
    assert [u.raw for u in read.strange] == [line]


@pytest.mark.parametrize(
    ("line", "at_fault", "good"),
    [
        ("driver airbag open and left curtain ok", ["driver.front-bag"], ["left.curtain"]),
        ("left curtain ok, B1234 driver airbag open", ["driver.front-bag"], ["left.curtain"]),
        ("B1234 driver airbag open but left curtain ok", ["driver.front-bag"], ["left.curtain"]),
        ("Fahrerairbag offen, aber Kopfairbag links i.O.", ["driver.front-bag"], ["left.curtain"]),
        ("airbag guida aperto e tendina sinistra ok", ["driver.front-bag"], ["left.curtain"]),
        ("poduszka kierowcy przerwa i kurtyna lewa ok", ["driver.front-bag"], ["left.curtain"]),
        (
            "driver airbag open, left curtain ok and right curtain short",
            ["driver.front-bag", "right.curtain"],
            ["left.curtain"],
        ),
        (
            "left curtain and passenger airbag ok, driver airbag open",
            ["driver.front-bag"],
            ["left.curtain", "passenger.front-bag"],
        ),
        (
            "B1B05 left curtain and passenger airbag ok, driver airbag open",
            ["driver.front-bag"],
            ["passenger.front-bag"],
        ),
        ("Fahrerairbag und Kopfairbag links i.O.", [], ["driver.front-bag", "left.curtain"]),
        ("airbag guida ok, tendina sinistra ok", [], ["driver.front-bag", "left.curtain"]),
        ("driver airbag was open, driver airbag ok now", [], []),
        ("Lewa kurtyna ma przerwę, poduszka kierowcy ok", ["left.curtain"], ["driver.front-bag"]),
    ],
)
def test_a_part_called_good_takes_no_fault_of_another(
    line: str, at_fault: list[str], good: list[str]
) -> None:
    read = read_report(f"{line}\n".encode(), "scan.txt", load_catalog())
    assert [c.component for c in read.lines if c.present] == at_fault
    assert [c.component for c in read.coverage.clean] == good
