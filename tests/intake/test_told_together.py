"""Parts of one line that share one fault word: a fault for each, or the line as it is.

Lines of our own, common practice, no source; the car is driven on the left.
"""

import pytest
from texts import read_text

SHARED = (
    """
driver.front-bag left.curtain|driver airbag and left curtain open
driver.front-bag left.curtain|driver airbag, left curtain: open
driver.front-bag left.curtain|I found driver airbag and left curtain open
driver.front-bag left.curtain|fault: driver airbag and left curtain open
driver.front-bag left.curtain|driver airbag / left curtain open
driver.front-bag left.curtain|1. driver airbag, left curtain open
driver.front-bag left.curtain passenger.retractor-pretensioner|\
open: driver airbag, left curtain, passenger pretensioner
driver.front-bag left.curtain passenger.retractor-pretensioner|\
driver airbag, left curtain and passenger pretensioner all open
driver.front-bag left.curtain|Fahrerairbag und Kopfairbag links Unterbrechung
driver.front-bag left.curtain|Unterbrechung: Fahrerairbag, Kopfairbag links
driver.front-bag left.curtain|airbag conductor y cortina izquierda abiertos
driver.front-bag left.curtain|circuit ouvert : airbag conducteur, rideau gauche
left.curtain passenger.front-bag|rideau gauche en court-circuit, airbag passager aussi
driver.front-bag left.curtain|airbag conducente e tendina sinistra circuito aperto
driver.front-bag left.curtain|poduszka kierowcy i kurtyna lewa przerwa
driver.front-bag left.curtain|bestuurdersairbag en gordijnairbag links onderbreking
driver.retractor-pretensioner left.curtain|driver pretensioner and left curtain open
driver.retractor-pretensioner passenger.buckle-switch|\
pretensor conductor y hebilla acompañante en corto
driver.front-bag left.curtain|driver airbag open, left curtain too
driver.front-bag passenger.front-bag|driver airbag and passenger airbag open
driver.seat-bag left.curtain|left seat bag and curtain open
driver.seat-bag left.curtain|seat bag and curtain left open
driver.retractor-pretensioner passenger.retractor-pretensioner|\
Gurtstraffer Fahrer, Gurtstraffer Beifahrer: Kurzschluss gegen Masse
passenger.seat-bag passenger.retractor-pretensioner passenger.buckle-switch|\
passenger seat bag, pretensioner and buckle unplugged
passenger.seat-bag passenger.retractor-pretensioner passenger.buckle-switch|\
Seitenairbag, Gurtstraffer und Gurtschloss Beifahrer abgesteckt
passenger.seat-bag passenger.retractor-pretensioner passenger.buckle-switch|\
airbag latéral, prétensionneur et boucle passager débranchés
passenger.seat-bag passenger.retractor-pretensioner passenger.buckle-switch|\
passenger seat bag / pretensioner / buckle: open
driver.buckle-switch driver.retractor-pretensioner driver.seat-bag|\
driver buckle, pretensioner and seat bag all shorted to ground
left.curtain driver.seat-bag driver.retractor-pretensioner|\
left curtain and seat bag, driver pretensioner open
driver.front-bag left.curtain|the driver airbag and the left curtain are open
driver.front-bag left.curtain|l'airbag conducteur et le rideau gauche sont ouverts
driver.front-bag left.curtain|el airbag conductor y la cortina izquierda están abiertos
nose-left.impact-sensor nose-right.impact-sensor|\
left front impact sensor and right front impact sensor no signal
""".replace("\\\n", "")
    .strip()
    .splitlines()
)


@pytest.mark.parametrize("row", SHARED)
def test_each_part_before_or_behind_one_fault_word_has_that_fault(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text(f"SRS\n{line}", "r.txt").lines
    assert [ln.component for ln in told] == want.split()
    assert len({ln.fault for ln in told}) == 1
    assert told[0].fault != "unknown"
    assert all(ln.present for ln in told)


CODED = """
driver.buckle-switch driver.seat-bag|B1E61 left buckle switch and left seat bag open
driver.front-bag left.curtain|B1E61 open: driver airbag, left curtain
driver.seat-bag left.curtain|B1E61 left seat bag and curtain short to ground
driver.front-bag left.curtain|B1E61 driver airbag, left curtain - open circuit
""".strip().splitlines()


@pytest.mark.parametrize("row", CODED)
def test_the_code_before_the_parts_is_kept_by_each(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text(f"SRS\n{line}", "r.txt").lines
    assert [(ln.code, ln.component) for ln in told] == [("B1E61", c) for c in want.split()]


@pytest.mark.parametrize(("count", "differs"), [(1, False), (2, False), (3, True)])
def test_a_code_of_two_parts_may_be_counted_once(count: int, differs: bool) -> None:
    rows = f"SRS\nFaults: {count}\nB1E61 left buckle switch and left seat bag open"
    found = {f.code for f in read_text(rows, "r.txt").findings}
    assert ("count-differs" in found) == differs


EITHER = """
driver.front-bag left.curtain|driver airbag or left curtain open
driver.front-bag left.curtain|B1E61 driver airbag or left curtain open
driver.front-bag left.curtain|Fahrerairbag oder Kopfairbag links Unterbrechung
driver.front-bag left.curtain|airbag guida o tendina sinistra aperta
driver.front-bag left.curtain|bestuurdersairbag of gordijnairbag links open
driver.clock-spring driver.front-bag|driver airbag or its clock spring open
""".strip().splitlines()


@pytest.mark.parametrize("row", EITHER)
def test_one_of_two_parts_is_one_fault_of_either(row: str) -> None:
    want, _, line = row.partition("|")
    read = read_text(f"SRS\n{line}", "r.txt")
    (fault,) = read.lines
    assert (fault.component, fault.fault, fault.present) == (None, "open-or-high", True)
    assert sorted(str(c.component) for c in fault.candidates) == want.split()
    assert not read.unread


LAMPS = [
    "driver airbag open, warning lamp on",
    "lamp and driver airbag open",
    "Lampe an, Fahrerairbag Unterbrechung",
    "testigo encendido y airbag conductor abierto",
    "B1E61 lamp and driver airbag open",
]


@pytest.mark.parametrize("line", LAMPS)
def test_a_lamp_beside_a_part_takes_none_of_its_fault(line: str) -> None:
    read = read_text(f"SRS\n{line}", "r.txt")
    assert [(ln.component, ln.fault) for ln in read.lines] == [("driver.front-bag", "open-or-high")]
    assert [u.recognised for u in read.unread] == [("lamp",)]


def test_a_reading_beside_a_fault_leaves_it_there() -> None:
    for line in (
        "driver airbag open, 2 ohm too high",
        "Fahrerairbag 2,1 Ohm zu hoch",
        "the driver airbag is open, I measured 9.9 ohm",
        "airbag conducteur 5 ohms trop élevé",
        "bestuurdersairbag 5 ohm te hoog",
    ):
        (fault,) = read_text(line, "r.txt").lines
        assert (fault.component, fault.fault, fault.present) == (
            "driver.front-bag",
            "open-or-high",
            True,
        )


def test_a_reading_is_no_number_of_a_part() -> None:
    (good,) = read_text("left curtain 2.1 ohm ok", "r.txt").coverage.clean
    assert good.component == "left.curtain"


ONE_PART = """
door-left.impact-sensor|front left door sensor open
passenger.occupant-sensor|passenger airbag, occupant sensor: open
driver.clock-spring|clock spring / driver airbag open
driver.buckle-pretensioner|driver buckle / pretensioner open
driver.retractor-pretensioner|front airbags: left pretensioner open
driver.retractor-pretensioner|Airbag front - driver pretensioner open
driver.front-bag|Driver airbag: open, left curtain fine
left.curtain|driver airbag fine, left curtain open
left.curtain|left curtain open, driver airbag fine too
left.curtain|driver airbag new, left curtain open
left.curtain|driver airbag not fired, left curtain open
left.curtain|B1E61 driver airbag fine, left curtain open
left.curtain|airbag conductor bien, cortina izquierda abierta
""".strip().splitlines()


@pytest.mark.parametrize("row", ONE_PART)
def test_two_words_for_one_part_a_heading_and_praise_make_no_second_fault(row: str) -> None:
    want, _, line = row.partition("|")
    assert [ln.component for ln in read_text(f"SRS\n{line}", "r.txt").lines] == [want]


SEVERAL = (
    """
driver.retractor-pretensioner driver.buckle-switch driver.seat-bag|\
left retractor open, left buckle also, left seat bag too
driver.front-bag passenger.front-bag driver.knee-bag passenger.knee-bag|\
driver airbag, passenger airbag, plus both knee bags all open
driver.front-bag left.curtain|driver airbag open (also left curtain)
driver.front-bag driver.knee-bag left.curtain|driver: airbag open; knee bag and curtain too
driver.clock-spring driver.front-bag passenger.front-bag|\
clock spring, driver airbag and passenger airbag all read open
left.curtain passenger.seat-bag passenger.buckle-switch|\
left curtain high resistance, likewise right seat bag and passenger buckle
passenger.front-bag driver.front-bag left.curtain|\
passenger airbag shorted (driver airbag too) and left curtain open
driver.front-bag driver.retractor-pretensioner passenger.retractor-pretensioner|\
Fahrerairbag offen sowie Gurtstraffer links und rechts
driver.front-bag passenger.front-bag|Fahrerairbag: Unterbrechung. Beifahrerairbag: dito.
left.curtain driver.seat-bag driver.buckle-switch|\
Kopfairbag links Kurzschluss nach Masse, Seitenairbag links ebenso, Gurtschloss Fahrer auch
driver.clock-spring driver.front-bag passenger.knee-bag|\
Wickelfeder und Fahrerairbag hochohmig, dazu Knieairbag Beifahrer
left.curtain right.curtain passenger.buckle-switch|\
rideau gauche en court-circuit, rideau droit aussi, boucle passager coupée
driver.knee-bag driver.clock-spring passenger.front-bag|\
airbag genoux conducteur et contacteur tournant coupés (airbag passager de même)
driver.front-bag driver.knee-bag driver.retractor-pretensioner|\
conductor: airbag abierto, rodilla también, pretensor en corto
driver.front-bag passenger.front-bag right.curtain|\
circuito abierto en airbag conductor, airbag acompañante y cortina derecha
right.curtain passenger.seat-bag|cortina derecha en corto a masa así como el airbag lateral derecho
driver.front-bag passenger.front-bag driver.buckle-switch|\
airbag guida e airbag passeggero aperti, fibbia guida bloccata
left.curtain right.curtain driver.buckle-switch|\
kurtyna lewa przerwa, kurtyna prawa też, zamek kierowcy zablokowany
driver.retractor-pretensioner passenger.retractor-pretensioner right.curtain|\
pré-tensor do condutor e do passageiro abertos, bem como a cortina direita
driver.retractor-pretensioner passenger.retractor-pretensioner right.curtain|\
gordelspanner bestuurder en passagier onderbreking, evenals gordijnairbag rechts
""".replace("\\\n", "")
    .strip()
    .splitlines()
)


@pytest.mark.parametrize("row", SEVERAL)
def test_each_of_two_to_four_parts_of_a_sentence_is_a_fault_of_its_own(row: str) -> None:
    want, _, line = row.partition("|")
    read = read_text(line)
    assert [ln.component for ln in read.lines] == want.split()
    assert all(ln.present and ln.fault != "unknown" for ln in read.lines)
    assert not read.unread


LEFT_OUT = [
    "right curtain open - same for the passenger seat bag",
    "airbag latéral gauche, plus le prétensionneur conducteur, tous ouverts",
    "tendina sinistra aperta e così la destra",
    "driver airbag plug and left curtain open",
    "mended driver airbag and left curtain open",
]


@pytest.mark.parametrize("line", LEFT_OUT)
def test_a_part_that_is_in_no_fault_leaves_its_line_unread_as_well(line: str) -> None:
    read = read_text(f"SRS\n{line}", "r.txt")
    assert len(read.lines) == 1
    assert [u.raw for u in read.unread] == [line]
    assert not read_text("SRS\ndriver airbag and left curtain open", "r.txt").unread


def test_what_follows_the_fault_word_is_said_of_every_part() -> None:
    told = read_text("SRS\ndriver airbag and left curtain open, current", "r.txt").lines
    assert [ln.status for ln in told] == [("present",), ("present",)]
    gone = read_text("SRS\nleft curtain and driver airbag no longer open", "r.txt")
    assert not [ln for ln in gone.lines if ln.present]
    assert len(gone.unread) == 1
    stages = read_text("driver airbag stage 1 and passenger airbag stage 2 open", "r.txt").lines
    assert [(ln.component, ln.stage) for ln in stages] == [
        ("driver.front-bag", 1),
        ("passenger.front-bag", 2),
    ]


APART = (
    """
driver.front-bag open-or-high left.curtain low-or-short|driver airbag open left curtain short
driver.front-bag open-or-high left.curtain short-to-ground|\
B1E61 driver airbag stage 1 open left curtain shorted to ground
driver.front-bag open-or-high left.curtain low-or-short|\
airbag conducteur ouvert rideau gauche en court-circuit
driver.front-bag open-or-high left.curtain short-to-ground|\
Fahrerairbag Unterbrechung aber Kopfairbag links Masseschluss
right.curtain low-or-short passenger.occupant-sensor communication|\
B1E61 kurtyna prawa zwarcie, mata pasażera brak sygnału
driver.front-bag open-or-high driver.front-bag low-or-short|\
driver airbag stage 1 open, stage 2 shorted
driver.clock-spring unknown nose-left.impact-sensor communication|\
B1E61 clock spring // front left crash sensor no signal
driver.clock-spring unknown door-left.impact-sensor communication|\
B1E61 Wickelfeder // Drucksensor Tür links kein Signal
""".replace("\\\n", "")
    .strip()
    .splitlines()
)


@pytest.mark.parametrize("row", APART)
def test_a_part_with_its_own_fault_is_a_fault_of_its_own(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text(f"SRS\n{line.replace(' // ', chr(10))}", "r.txt").lines
    assert " ".join(f"{ln.component} {ln.fault}" for ln in told) == want
    assert [ln.code for ln in told] == [
        "B1E61" if "B1E61" in line and at == 0 else None for at in range(len(told))
    ]


def test_both_of_one_kind_beside_another_part_are_two() -> None:
    told = read_text("SRS\nboth pretensioners and the driver airbag are open", "r.txt").lines
    assert [ln.component for ln in told] == [
        "driver.retractor-pretensioner",
        "passenger.retractor-pretensioner",
        "driver.front-bag",
    ]


LED = (
    """
B1A07 left.curtain open-or-high B1A08 right.curtain low-or-short|\
left B1A07 curtain open right B1A08 curtain shorted
B1A05 driver.knee-bag open-or-high B1A06 passenger.knee-bag low-or-short|\
driver knee bag B1A05 open passenger knee bag B1A06 shorted
B1A07 left.curtain open-or-high B1A08 right.curtain low-or-short|\
links B1A07 Kopfairbag offen rechts B1A08 Kopfairbag Kurzschluss
B1A07 left.curtain open-or-high B1A08 right.curtain low-or-short|\
gauche B1A07 rideau coupé droite B1A08 rideau en court-circuit
B1A07 left.curtain open-or-high B1A08 right.curtain low-or-short|\
Left - B1A07 curtain open - Right - B1A08 curtain shorted
""".replace("\\\n", "")
    .strip()
    .splitlines()
)


@pytest.mark.parametrize("row", LED)
def test_a_place_or_part_before_each_code_of_a_line_is_that_codes_own(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text(f"SRS\n{line}").lines
    assert " ".join(f"{ln.code} {ln.component} {ln.fault}" for ln in told) == want


STAGES = """
2 open-or-high|driver front bag: stage 1 good, stage 2 open
2 open-or-high|driver airbag stage 1 ok, stage 2 open circuit
2 low-or-short|driver airbag stage 1 fine but stage 2 shorted
1 open-or-high|B1A12 driver airbag stage 1 open, stage 2 ok
2 open-or-high|Fahrerairbag Stufe 1 i. O., Stufe 2 Unterbrechung
2 open-or-high|airbag conductor etapa 1 bien, etapa 2 abierta
2 low-or-short|airbag conducteur étage 1 bon, étage 2 en court-circuit
2 open-or-high|poduszka kierowcy stopień 1 dobra, stopień 2 przerwa
""".strip().splitlines()


@pytest.mark.parametrize("row", STAGES)
def test_a_stage_called_good_beside_one_at_fault_takes_nothing_from_it(row: str) -> None:
    want, _, line = row.partition("|")
    read = read_text(line)
    (fault,) = read.lines
    assert (fault.component, fault.present) == ("driver.front-bag", True)
    assert f"{fault.stage} {fault.fault}" == want
    assert all(c.stage not in (None, fault.stage) for c in read.coverage.clean)


OTHER_SIDE = (
    """
right.curtain short-to-ground|left curtain open // the one on the other side, short to ground
passenger.seat-bag short-to-ground|\\
airbag lateral izquierdo abierto // el del otro lado, en corto a masa
passenger.retractor-pretensioner short-to-ground|\
Gurtstraffer links offen // auf der anderen Seite Kurzschluss nach Masse
right.curtain open-or-high|left curtain open // same on the other side
""".replace("\\\n", "")
    .strip()
    .splitlines()
)


@pytest.mark.parametrize("row", OTHER_SIDE)
def test_the_other_side_is_that_of_the_part_above(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text(line.replace(" // ", "\n")).lines
    assert [f"{ln.component} {ln.fault}" for ln in told[1:]] == [want]


def test_a_place_before_a_comma_and_its_part_behind_are_one_fault() -> None:
    for line in (
        "row 2 left, pretensioner: open",
        "2e rang gauche, prétensionneur en circuit ouvert",
        "Zweite Reihe links, Gurtstraffer: Unterbrechung",
    ):
        (fault,) = read_text(line).lines
        assert fault.component == "row2-left.retractor-pretensioner"


def test_a_part_called_fine_among_faults_has_none() -> None:
    for good in ("left curtain fine", "cort. izda. bien"):
        read = read_text(f"right curtain open\n{good}\ndriver knee bag open")
        assert [ln.component for ln in read.lines] == ["right.curtain", "driver.knee-bag"]
        assert [u.raw for u in read.unread] == [good]


PLACED_BEHIND = """
pillar|entrambi i montanti B senza segnale, B1944 (sx) e B1945 (dx)
door|both door sensors no signal, B1944 (left) and B1945 (right)
pillar|les deux pieds milieu sans signal : B1944 gauche, B1945 droite
""".strip().splitlines()


@pytest.mark.parametrize("row", PLACED_BEHIND)
def test_a_place_behind_each_code_is_that_codes_own(row: str) -> None:
    zone, _, line = row.partition("|")
    told = read_text(f"SRS\n{line}").lines
    assert [(ln.code, ln.component) for ln in told] == [
        ("B1944", f"{zone}-left.impact-sensor"),
        ("B1945", f"{zone}-right.impact-sensor"),
    ]


OTHER_GOOD = (
    """
left.curtain|La tendina sinistra ha resistenza troppo bassa mentre la destra va bene.
left.curtain|left curtain low resistance while the right one is fine
row2-left.buckle-switch row2-centre.buckle-switch|\
Fibbia posteriore sinistra e centrale aperte, la destra funziona.
row2-left.buckle-switch row2-centre.buckle-switch|\
left and centre rear buckles open, right one fine
""".replace("\\\n", "")
    .strip()
    .splitlines()
)


@pytest.mark.parametrize("row", OTHER_GOOD)
def test_a_place_called_good_has_no_fault_of_the_others(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text(line).lines
    assert [ln.component for ln in told if ln.present] == want.split()


def test_a_fault_of_the_supply_or_the_unit_is_no_parts() -> None:
    for line in (
        "Tensione di alimentazione bassa e sensore frontale centrale senza segnale.",
        "supply voltage low and front center sensor no signal",
    ):
        read = read_text(line)
        assert [ln.fault for ln in read.lines] == ["communication"]
        assert [u.raw for u in read.unread] == [line]
    for line in (
        "Le calculateur a un choc mémorisé et demande un codage.",
        "La centralina ha dati d'urto memorizzati e la codifica è errata.",
    ):
        told = read_text(line).lines
        assert [ln.fault for ln in told] == ["event-recorded", "configuration"]
        assert {ln.component for ln in told} == {"centre.control-unit"}
