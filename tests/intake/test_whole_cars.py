"""Prints of the whole car in many dresses: other units' lines name no part and change nothing.

Texts of our own, common practice, no source.
"""

import re
from pathlib import Path

import pytest
from texts import CATALOG, read_text

from squibwise import case
from squibwise.model.report import CodeLine

PRINTS = re.findall(
    r"(?ms)^=== (\S+) (\w+)\n(.*?)(?=^===|\Z)",
    (Path(__file__).parent / "whole_cars.txt").read_text(encoding="utf-8"),
)
Told = dict[str | None, tuple[object, ...]]


def _told(lines: tuple[CodeLine, ...]) -> Told:
    """What the lines of the restraint unit tell, which are those that our texts number B1A1x."""
    own = [ln for ln in lines if (ln.code or "").startswith("B1A1")]
    return {ln.code: (ln.component, ln.fault, ln.status, ln.present, ln.unit) for ln in own}


@pytest.mark.parametrize(("name", "ending", "text"), PRINTS, ids=[p[0] for p in PRINTS])
def test_lines_of_other_units_name_no_part_and_change_none(
    name: str, ending: str, text: str
) -> None:
    rows = text.splitlines(keepends=True)
    own = [row for at, row in enumerate(rows) if row.startswith("*") or (at == 0 and "|" in row)]
    own = rows[:1] + own if ending != "txt" else own
    whole = read_text(text.replace("*", ""), f"r.{ending}").lines
    alone = read_text("".join(own).replace("*", ""), f"r.{ending}").lines
    assert _told(whole) == _told(alone) != {}
    others = [ln for ln in whole if ln.code not in _told(whole) and ln.unit != "other"]
    assert [(ln.code, ln.kind) for ln in others if ln.kind or ln.unit == "restraint"] == []


ONE_LINE = """
SRS unit: B1A10 driver airbag open; also the ABS unit: C0035 left front sensor open
airbag module B1A10 driver airbag open, body module B1B21 voltage low, radio B1B30 left speaker
The SRS says B1A10 driver airbag open and the ABS says C0035 left front sensor.
Airbag: B1A10 driver open, climate: B1B30 passenger sensor open, tailgate: B1B31 left sensor open
Airbag: B1A10 Airbag Fahrer Unterbrechung; Türsteuergerät: B1B21 Sensor links kein Signal
Le calculateur ABS a C0035 capteur avant gauche ouvert, le calculateur airbag B1A10 airbag cond. CO
ABS: C0035 sensor delantero izquierdo abierto; airbag: B1A10 airbag conductor abierto
quadro strumenti U0151 nessuna comunicazione; centralina airbag B1A10 airbag guida aperto
SRS: B1A10 airbag conductor abierto / ABS: C0045 sensor trasero izquierdo / BCM: B1B33 tensión baja
Airbag: B1A10 Fahrerairbag Unterbrechung | Lenkung: C0051 Lenkwinkelsensor links kein Signal
SRS: driver airbag open / ABS: left front sensor open // Tyres: right sensor low
""".strip().splitlines()


@pytest.mark.parametrize("line", ONE_LINE)
def test_units_named_on_one_line_each_keep_their_codes(line: str) -> None:
    told = read_text(line, "r.txt").lines
    own = [ln.component for ln in told if ln.unit == "restraint"]
    assert own == ["driver.front-bag"]
    assert [ln.kind for ln in told if ln.unit == "other"] == [None] * (len(told) - 1) != []


def test_a_heading_with_a_sign_before_it_starts_a_unit_where_its_codes_are_set_in() -> None:
    rows = ["* Airbag", "  - B1A11 driver airbag open", "* Sunroof", "  - B1B40 left sensor open"]
    told = read_text("\n".join(["* Engine", "  - P0562 voltage low", *rows]), "r.txt").lines
    assert [(ln.code, ln.unit) for ln in told if ln.unit != "other"] == [("B1A11", "restraint")]


OF_TWO = """
Airbag|driver airbag open current|supply voltage low current|left sensor open current|Zorvex
Airbag|Fahrerairbag Unterbrechung vorhanden|Spannung zu niedrig|Sensor links offen|Trittbretter
Airbag|airbag conducteur ouvert présent|tension basse|capteur gauche ouvert|Mémoire de siège
Airbag|airbag conductor abierto presente|tensión baja|sensor izquierdo abierto|Estribos
Airbag|airbag guida aperto presente|tensione bassa|sensore sinistro aperto|Amplificatore
Airbag|poduszka kierowcy przerwa obecny|napięcie niskie|czujnik lewy przerwa|Wzmacniacz
Airbag|airbag bestuurder onderbreking actief|spanning te laag|sensor links open|Treeplanken
""".strip().splitlines()


@pytest.mark.parametrize("row", OF_TWO)
@pytest.mark.parametrize("is_first", [True, False], ids=["before", "behind"])
def test_a_name_that_nobody_knows_starts_a_unit_in_a_print_of_two(row: str, is_first: bool) -> None:
    head, own, volts, sensor, name = row.split("|")
    other = [name, f"B1B33 {volts}", f"B1B34 {sensor}"]
    block = [head, f"B1A01 {own}"]
    text = "\n".join([*other, *block] if is_first else [*block, *other])
    told = {ln.code: (ln.unit == "restraint", ln.kind) for ln in read_text(text, "r.txt").lines}
    assert told == {
        "B1A01": (True, "front-bag"),
        "B1B33": (False, None),
        "B1B34": (False, None),
    }


CAR = """[case]
id = "whole"
title = "a print of the whole car"
region = "US-OH"
currency = "USD"
[car]
model_year = 2019
drive_hand = "left"
equipment = "curtains-and-weight-sensing"
[profile]
name = "unknown"
[[evidence]]
kind = "impact"
id = "body"
zone = "nose-right"
clock = 1
extent = "moderate"
[[evidence]]
kind = "report"
id = "scan"
file = "FILE"
when = "before-repair"
"""
WHOLE = {
    "blocks.txt": """*Complete scan, LHD hatch
 [0x10] Powertrain
   P0420-00 catalyst efficiency below threshold, stored
   U0151-00 lost communication with restraint control module, current
*[0x58] Occupant restraints
*  B0001-13 driver airbag stage 1 circuit open, current
*  B0070-1A left curtain resistance low, current
*  B0055 event record locked
 [0x40] Body electronics
   B1342-16 battery voltage low, current
 [0x62] Park aid
   B1B31-87 rear left outer sensor no message
""",
    "labels.txt": """*Informe de averías
 MOT: P0442 fuga pequeña
 FRE: C0045 sensor trasero izquierdo sin señal
*SRS: B1301 pretensor conductor circuito abierto, presente
*SRS: B1302 airbag pasajero resistencia alta, presente
*SRS: B1303 datos de choque memorizados, bloqueado
 PUE: B2210 motor elevalunas izquierdo corto a masa
 BUS: U0151 sin comunicación con SRS
""",
    "table.csv": """*Steuergerät;Nr;Fehlertext;Zustand
 Getriebe;P0730;Übersetzung falsch;gespeichert
 Sitzheizung;B2402;Heizmatte Fahrersitz Unterbrechung;vorhanden
*Rückhaltesystem;B1A11;Kopfairbag rechts Unterbrechung;vorhanden
*Rückhaltesystem;B1A12;Frontsensor links antwortet nicht;vorhanden
*Rückhaltesystem;B1A13;Crashdaten gespeichert, verriegelt;vorhanden
 Gateway;U0151;Airbag keine Kommunikation;vorhanden
""",
}


def _chances(folder: Path, name: str, rows: list[str]) -> dict[str, dict[str, float]]:
    (folder / name).write_text("\n".join(row[1:] for row in rows) + "\n", encoding="utf-8")
    (folder / "case.toml").write_text(CAR.replace("FILE", name), encoding="utf-8")
    states = case.assess(case.open_case(folder, CATALOG), CATALOG)
    return {c.id: {s: getattr(c.now, s) for s in ("sound", "fired")} for c in states.components}


@pytest.mark.parametrize("name", WHOLE)
def test_other_units_lines_change_no_chance_of_a_restraint_by_a_point(
    name: str, tmp_path: Path
) -> None:
    rows = WHOLE[name].splitlines()
    whole = _chances(tmp_path, name, rows)
    alone = _chances(tmp_path, name, [row for row in rows if row.startswith("*")])
    moved = {c for c in whole for s in whole[c] if abs(whole[c][s] - alone[c][s]) > 0.01}
    assert whole.keys() == alone.keys()
    assert moved == set()


@pytest.mark.parametrize(
    "told",
    [
        "B1A11 impact sensor in the door right, no answer",
        "B1A11 capteur de choc dans la porte droite, muet",
        "B1A11 il sensore urto nella porta destra non risponde",
    ],
)
def test_a_crash_sensor_in_a_door_is_of_no_door_unit(told: str) -> None:
    (line,) = read_text(f"Airbag unit\n{told}\n").lines
    assert (line.component, line.unit) == ("door-right.impact-sensor", "restraint")


OF_OTHERS = """
P0301 Cylinder 1 misfire detected
P0171 System too lean bank 1
P0700 Transmission control - stored
P0301 raté d'allumage cylindre 1
P0301 Zündaussetzer Zylinder 1, vorhanden
P1234
C0035 Left front wheel speed sensor
C1A02 Radsensor
U0140 lost communication with body control
""".strip().splitlines()
OURS = ("Driver airbag stage 1 open circuit", "Gurtstraffer Beifahrer Unterbrechung")


@pytest.mark.parametrize("below", OURS)
@pytest.mark.parametrize("other", OF_OTHERS)
def test_a_fault_without_a_code_stands_below_a_code_of_another_unit(other: str, below: str) -> None:
    """SAE J2012: P is powertrain, C chassis; no restraint part describes such a code."""
    told = read_text(f"Passenger airbag open circuit\n{other}\n{below}\n").lines
    assert [ln.raw for ln in told] == ["Passenger airbag open circuit", other, below]


@pytest.mark.parametrize("other", ["C1217 ABS pump motor", "P0442", "C0265 EBCM relay", "P0171"])
def test_faults_without_codes_are_not_those_of_a_code_of_another_unit_below(other: str) -> None:
    told = read_text("\n".join(["Left curtain airbag open", *OURS, other])).lines
    assert [ln.raw for ln in told] == ["Left curtain airbag open", *OURS, other]
    last = read_text("\n".join(["Left curtain airbag open", *OURS, "B1999"])).lines
    assert [(ln.code, ln.component) for ln in last] == [
        (None, "left.curtain"),
        (None, "driver.front-bag"),
        ("B1999", "passenger.retractor-pretensioner"),
    ]


ABOUT = """
Cluster|U1401 Lost comms with restraint control
Gateway|U1401 Rückhalteelektronik, fehlende Botschaft
Gateway|U1401 perte de communication calculateur de retenue
Motore|U1401 dati non validi dal modulo ritenuta
Gateway|U1401 veiligheidssysteem, geen communicatie
""".strip().splitlines()


@pytest.mark.parametrize("row", ABOUT)
def test_a_network_code_elsewhere_about_the_restraint_unit_names_it(row: str) -> None:
    """SAE J2012: U codes are of the network."""
    (line,) = read_text(row.replace("|", "\n") + "\n", "r.txt").lines
    assert (line.component, line.unit) == ("centre.control-unit", "other")
