"""What is asserted stays a fault beside what is denied of a part. Common practice, no source."""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report
from squibwise.model.report import ReadReport

CONTRASTS = """
passenger airbag open, not shorted @ passenger.front-bag open-or-high
left curtain open (not short) @ left.curtain open-or-high
driver airbag isn't open, it's shorted to ground @ driver.front-bag short-to-ground
driver airbag shorted to ground rather than open @ driver.front-bag short-to-ground
no short on the left curtain, it is open @ left.curtain open-or-high
left curtain was shorted, now open @ left.curtain open-or-high
left curtain not shorted anymore but still open @ left.curtain open-or-high
napinacz prawy nie ma zwarcia tylko przerwę @ passenger.retractor-pretensioner open-or-high
clock spring not shorted but open @ driver.clock-spring open-or-high
no short found, left curtain open @ left.curtain open-or-high
Seitenairbag links nicht kurzgeschlossen, sondern unterbrochen @ driver.seat-bag open-or-high
Fahrerairbag kurzgeschlossen statt unterbrochen @ driver.front-bag low-or-short
rideau gauche pas en court-circuit mais ouvert @ left.curtain open-or-high
cortina derecha no en corto sino abierta @ right.curtain open-or-high
pretensore destro non è in corto, è aperto @ passenger.retractor-pretensioner open-or-high
tendina sinistra non in corto ma aperta @ left.curtain open-or-high
kurtyna lewa nie zwarta, tylko przerwa @ left.curtain open-or-high
cortina direita não em curto, mas aberta @ right.curtain open-or-high
gordijnairbag links niet kortgesloten maar onderbroken @ left.curtain open-or-high
"""


def _read(text: str) -> ReadReport:
    return read_report(f"{text}\n".encode(), "scan.txt", load_catalog())


@pytest.mark.parametrize("row", CONTRASTS.strip().split("\n"))
@pytest.mark.parametrize("code", ["", "B1A11 "])
def test_what_is_asserted_beside_a_denial_is_a_fault(row: str, code: str) -> None:
    text, _, told = row.partition(" @ ")
    (fault,) = _read(code + text).lines
    assert (f"{fault.component} {fault.fault}", fault.present) == (told, True)
    assert not _read(code + text).coverage.clean


@pytest.mark.parametrize(
    "text",
    [
        "no opens, shorts or high resistance found on left curtain",
        "left curtain: no open, short to ground or short to battery",
        "Kopfairbag links kein Kurzschluss, Unterbrechung oder hoher Widerstand",
        "left curtain not open, not shorted",
        "left curtain not open anymore",
        "rideau gauche plus en court-circuit",
        "Seitenairbag links nicht unterbrochen, kein Kurzschluss",
    ],
)
def test_a_list_under_one_denial_is_no_fault(text: str) -> None:
    assert not _read(text).lines


def test_both_of_not_only_one_are_told() -> None:
    (fault,) = _read("Gurtstraffer links nicht nur kurzgeschlossen, sondern auch offen").lines
    assert (fault.component, fault.fault) == ("driver.retractor-pretensioner", "unknown")


def test_a_denial_of_one_part_calls_no_other_good() -> None:
    assert not _read("driver airbag not open but right curtain is").coverage.clean
    assert not _read("left buckle switch stuck closed not open").coverage.clean
    assert not _read("short to ground not short to battery on left curtain").coverage.clean


TURNED = """
no crash event stored, but passenger airbag open @ passenger.front-bag
kein Crash gespeichert, aber Fahrerairbag Unterbrechung @ driver.front-bag
pas de choc enregistré, mais airbag conducteur coupé @ driver.front-bag
sin choque guardado, pero airbag conductor abierto @ driver.front-bag
nessun urto memorizzato ma airbag guida aperto @ driver.front-bag
sem colisão gravada, mas airbag do condutor aberto @ driver.front-bag
geen botsing opgeslagen, maar bestuurdersairbag open @ driver.front-bag
"""


@pytest.mark.parametrize("row", TURNED.strip().split("\n"))
def test_a_fault_behind_a_denied_crash_record_is_there(row: str) -> None:
    text, _, component = row.partition(" @ ")
    read = _read(text)
    (fault,) = read.lines
    assert (fault.component, fault.present) == (component, True)
    assert read.coverage.no_crash_record is not None


GUESSED = """
driver airbag open, perhaps the clock spring @ driver.front-bag
driver airbag open, I think the clock spring @ driver.front-bag
left curtain short to ground, might be water @ left.curtain
Kopfairbag links Masseschluss, vielleicht Wasser @ left.curtain
cortina izquierda abierta, quizá el conector @ left.curtain
tendina sinistra aperta, forse il connettore @ left.curtain
cortina esquerda aberta, talvez a ficha @ left.curtain
gordijn links onderbroken, misschien de stekker @ left.curtain
"""


@pytest.mark.parametrize("row", GUESSED.strip().split("\n"))
def test_a_guess_at_the_cause_doubts_no_fault(row: str) -> None:
    text, _, component = row.partition(" @ ")
    (fault,) = _read(text).lines
    assert (fault.component, fault.present) == (component, True)
    assert not [ln for ln in _read("left curtain perhaps open").lines if ln.present]


@pytest.mark.parametrize(
    "text",
    [
        "passenger airbag open when wet otherwise ok",
        "Beifahrerairbag bei Nässe Unterbrechung sonst i.O.",
        "airbag passager coupé quand il pleut, sinon bon",
        "airbag passeggero aperto quando piove altrimenti ok",
    ],
)
def test_a_fault_of_some_days_is_no_tested_circuit(text: str) -> None:
    read = _read(text)
    (fault,) = read.lines
    assert (fault.component, fault.fault) == ("passenger.front-bag", "open-or-high")
    assert not read.coverage.clean


def test_a_line_of_nothing_but_a_code_is_read() -> None:
    assert {ln.code for ln in _read("B0001 B0001 ").lines} == {"B0001"}
