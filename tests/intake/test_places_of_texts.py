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


# Text of several lines, parted by "/"; then the parts it tells of, in order.
UNDER_A_PLACE = """
SRS/Driver side:/seat bag open/Passenger side:/curtain short|driver.seat-bag right.curtain
SRS/Izquierda:/airbag lateral abierto/Derecha:/cortina corto a masa|driver.seat-bag right.curtain
SRS/Fahrer:/Seitenairbag offen/Beifahrer:/Knieairbag offen|driver.seat-bag passenger.knee-bag
SRS/LEFT/seat bag open/RIGHT/curtain short|driver.seat-bag right.curtain
SRS/Lato guida/airbag laterale aperto/Lato passeggero/tendina in corto|driver.seat-bag right.curtain
B1E30 seat bag open/Right side:/B1E32 curtain short|None right.curtain
Rear:/B1951 left buckle open|row2-left.buckle-switch
Second row/B1951 left buckle open|row2-left.buckle-switch
Hinten/B1951 Gurtschloss links offen|row2-left.buckle-switch
Vordersitze/B1 Gurtschloss links offen/Rücksitze/Gurtschloss links offen|driver row2-left
Front/B1960 crash sensor, left, open|nose-left.impact-sensor
Tylna kanapa/B1951 klamra lewa przerwa|row2-left.buckle-switch
left: seat bag open, curtain open/right: nothing|driver.seat-bag left.curtain
gauche : airbag latéral ouvert, rideau en court-circuit/droite : rien|driver.seat-bag left.curtain
left: B1410 seat bag open, B1411 curtain open/right: nothing|driver.seat-bag left.curtain
hinten: Gurtschloss links offen, Gurtschloss rechts Kurzschluss|row2-left row2-right
""".strip().splitlines()


@pytest.mark.parametrize("row", UNDER_A_PLACE)
def test_a_place_above_or_before_parts_is_that_of_each_and_of_none_above(row: str) -> None:
    text, _, want = row.partition("|")
    told = [str(ln.component) for ln in read_text(text.replace("/", "\n"), "r.txt").lines]
    assert len(told) == len(want.split())
    assert all(said.startswith(place) for said, place in zip(told, want.split(), strict=True))


def test_seats_above_belts_are_a_place_and_above_a_seat_motor_another_unit() -> None:
    rows = ["Front seats", "B1950 left buckle open", "Rear seats", "B1951 left buckle open"]
    told = read_text("\n".join(rows), "r.txt").lines
    assert [ln.component for ln in told] == ["driver.buckle-switch", "row2-left.buckle-switch"]
    rows = ["Airbag", "B1A01 driver airbag open", "Driver seat", "B2402 lumbar motor open"]
    assert [ln.unit for ln in read_text("\n".join(rows), "r.txt").lines] == ["restraint", "other"]


TOLD_BESIDE = """
driver.knee-bag|knee bag below the steering column open
passenger.knee-bag|knee bag glove box side open
row2-centre.buckle-switch|B1500 rr ctr belt buckle open
row2-centre.buckle-switch|B1500 middelste gordelsluiting achter kortsluiting
driver.seat-bag|B1426 airbag in driver's seat open
passenger.seat-bag|B1426 Airbag im Beifahrersitz Unterbrechung
driver.seat-bag|B1426 airbag dans le siège conducteur circuit ouvert
driver.seat-bag|B1D43 airbag in rugleuning bestuurder onderbreking
right.curtain|B1425 A pillar airbag right short
driver.seat-bag|RHD no, LHD/Seat bags? left one B1F31 high resistance, right one fine
driver.seat-bag|Sitzairbags? der linke B1F31 Widerstand hoch, der rechte gut
left.curtain|Curtains? left B1F32 open, right ok
""".strip().splitlines()


@pytest.mark.parametrize("row", TOLD_BESIDE)
def test_what_stands_around_a_part_tells_its_place(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text("SRS\n" + line.replace("/", "\n"), "r.txt").lines
    assert [ln.component for ln in told] == [want]


PAIRS = [
    "Gurtschloss hinten links und rechts Unterbrechung",
    "boucles arrière gauche et droite ouvertes",
    "buckle rear left and right open circuit",
    "hebilla trasera izquierda y derecha abierta",
    "fibbia posteriore sinistra e destra aperta",
    "gordelsluiting achter links en rechts onderbreking",
]


@pytest.mark.parametrize("line", PAIRS)
def test_two_places_of_a_part_without_a_code_are_two_faults(line: str) -> None:
    told = {ln.component for ln in read_text(f"SRS\n{line}", "r.txt").lines}
    assert told == {"row2-left.buckle-switch", "row2-right.buckle-switch"}


def test_a_sensor_relay_or_fuse_called_after_the_airbag_is_no_airbag() -> None:
    rows = ["B1 engine bay airbag sensor left open", "B1A12 airbag relay open circuit"]
    kinds = [ln.kind for ln in read_text("\n".join(rows), "r.txt").lines]
    assert len(kinds) == len(rows)
    assert not {"front-bag", "seat-bag"} & set(kinds)


def test_a_number_like_those_above_is_a_code_in_a_sentence_too() -> None:
    rows = ["01578 Crashsensor vorn links, kein Signal", "01221 Gurtstraffer Fahrer offen"]
    rows += ["00532 Airbag Fahrer Widerstand zu hoch"]
    rows += ["Im Komfortsteuergerät steht noch 00934 Fensterheber hinten links, Unterbrechung."]
    told = read_text("\n".join(rows), "r.txt").lines
    assert [(ln.code, ln.unit) for ln in told][-1] == ("00934", "other")


PLUGS = """
driver|B1410 driver belt pretensioner open, connector in the back
driver|B1410 Gurtstraffer Fahrer offen, Stecker hinten am Sitz
driver|B1410 napinacz kierowcy przerwa (wtyczka z tyłu fotela)
driver|B1410 gordelspanner bestuurder onderbreking, stekker achter de stoel
passenger|B1410 pretensionatore passeggero aperto, connettore dietro al sedile
row2-left|B1410 rear left pretensioner open, plug under the front seat
""".strip().splitlines()


@pytest.mark.parametrize("row", PLUGS)
def test_where_a_connector_is_tells_no_place_of_the_part(row: str) -> None:
    want, _, line = row.partition("|")
    assert [ln.place for ln in read_text(line, "r.txt").lines] == [want]


INFLECTED = """
row2-left.buckle-switch|B1F01 Gurtschloss rückwärtig links Unterbrechung
row2-right.buckle-switch|B1F01 fivela traseiros direitos circuito aberto
row2-left.buckle-switch|B1F01 klamra tylnych lewych przerwa
row2-right.buckle-switch|B1F01 boucle arrières droite en circuit ouvert
row2-left.buckle-switch|B1F01 fibbia sul retro sinistra circuito aperto
row2-left.buckle-switch|Plazas traseras:/B1F01 hebilla izquierda abierta
""".strip().splitlines()


@pytest.mark.parametrize("row", INFLECTED)
def test_words_for_the_rear_are_known_in_every_form(row: str) -> None:
    want, _, text = row.partition("|")
    assert [ln.component for ln in read_text(text.replace("/", "\n"), "r.txt").lines] == [want]


ELSEWHERE = """
seat bag not driver side, open
curtain open, not left
curtain on the side opposite the driver, open
curtain open, left as you stand in front of the car
right curtain (seen from the front) open
Kopfairbag auf der dem Fahrer gegenüberliegenden Seite offen
airbag de siège pas côté conducteur, coupé
poduszka fotela nie kierowcy, przerwa
gordijn rechts van voren gezien, onderbroken
""".strip().splitlines()


@pytest.mark.parametrize("words", ELSEWHERE)
def test_a_place_that_is_denied_faced_or_seen_in_a_mirror_is_none(words: str) -> None:
    (told,) = read_text(f"SRS\nB1A10 {words}", "r.txt").lines
    assert (told.place, told.side, told.fault, told.present) == (None, None, "open-or-high", True)


def test_what_is_denied_takes_no_other_place_away() -> None:
    (told,) = read_text("SRS\nB1A10 passenger seat bag open, not driver side", "r.txt").lines
    assert told.component == "passenger.seat-bag"
