"""What a story tells last of a code counts, praise of a look measures nothing, news denies nothing.

Our own sentences; common practice, no source.
"""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.reader import understand
from squibwise.model.report import ReadReport

CATALOG = load_catalog()
BACK = [
    "B1A20 left curtain open / Monday: B1A20 gone / Wednesday: B1A20 back again",
    "B1A20 left curtain open / cleared B1A20, did not return / next morning B1A20 returned",
    "B1A20 left curtain open / B1A20 did not come back after clearing / it came back today",
    "B1A20 left curtain open / B1A20 cleared, stayed away / Thursday: B1A20 popped up again",
    "B1A20 left curtain open / 02.05. B1A20 not found / 09.05. B1A20",
    "B1A20 Kopfairbag links Unterbrechung / Montag: B1A20 weg / Mittwoch: B1A20 wieder da",
    "B1A20 Gurtstraffer rechts Masseschluss / Gelöscht, B1A20 nicht mehr da / heute wieder da",
    "B1A20 rideau gauche ouvert / mardi : B1A20 effacé, ne revient pas / jeudi : est revenu B1A20",
    "B1A20 cortina izquierda abierta / martes: B1A20 borrado / viernes: ha vuelto a salir B1A20",
    "B1A20 airbag passeggero aperto / lunedì B1A20 sparito / mercoledì B1A20 di nuovo presente",
    "B1A20 napinacz prawy przerwa / B1A20 skasowany, nie wraca / dziś znowu jest",
    "B1A20 cortina esquerda aberta / segunda: B1A20 apagado, não voltou / quarta: B1A20 voltou",
    "B1A20 gordijnairbag links onderbreking / maandag: B1A20 weg / woensdag: B1A20 is er weer",
    "B1A20 prétensionneur droit coupé / effacé, disparu / réapparu ce matin",
    "B1A20 Gurtstraffer rechts Unterbrechung / gelöscht, weg / heute früh wieder aufgetaucht",
    "B1A20 napinacz prawy przerwa / skasowany, zniknął / dziś rano wrócił",
    "B1A20 gordelspanner rechts onderbroken / gewist, weg / kwam gisteren weer terug",
    "B1A20 right pretensioner open / cleared, gone / turned up again on Thursday",
    "B1A20 is back, see below / > B1A20 left curtain open / > B1A20 gone today",
]
GONE = [
    "B1A20 left curtain open, present / B1A20 is gone since today, the rest is still there",
    "> B1A20 gordijn links open, aanwezig / B1A20 is weg sinds gisteren, de rest staat er nog.",
    "Fout op gordijn (B1A20) is weg. / Botsing staat er niet in. / > B1A20 gordijn rechts open",
    "since Friday not there any more: B1A20 left curtain open",
    "not there since yesterday: B1A20 left curtain open",
    "kommt nicht vor: B1A20 Kopfairbag links Unterbrechung",
    "depuis hier plus là : B1A20 rideau gauche coupé",
    "replaced the left curtain for B1A20 in May",
    "En mars on a changé le rideau gauche à cause de B1A20",
    "Im März haben wir wegen B1A20 den Kopfairbag links gewechselt",
    "W marcu wymieniliśmy kurtynę lewą z powodu B1A20",
    "B1A20 left curtain open / Monday: B1A20 gone / Wednesday: B1A20 back / Friday: B1A20 gone",
    "B1A20 left curtain open / B1A20 gone / the customer came back today",
    "B1A20 left curtain open / B1A20 gone / does B1A20 come back?",
    "B1A20 left curtain open / B1A20 gone / if B1A20 comes back I will swap it",
    "B1A20 is gone now / > B1A20 left curtain open / > B1A20 is back",
    "No longer there as before: B1A20 left curtain open",
    "had not come back: B1A20 left curtain open",
    "other lots: B1A20 left curtain open",
    "andere Lose: B1A20 Kopfairbag links Unterbrechung",
    "autres lots : B1A20 rideau gauche ouvert",
    "otros lotes: B1A20 cortina izquierda abierta",
    "altro lotto: B1A20 tendina sinistra aperta",
    "nicht mehr wie vorher: B1A20 Kopfairbag links Unterbrechung",
]
AT_FAULT = {"driver.front-bag", "left.curtain"}
LISTS = [
    "Restraint unit / Fault: / driver airbag / left curtain / No fault: / passenger airbag / x",
    "Bought: / passenger airbag / right curtain / Faults: / driver airbag / left curtain",
    "Not OK: / driver airbag / left curtain / OK: / passenger airbag",
    "Fehler: / Fahrerairbag / Kopfairbag links / Schon gekauft: / Beifahrerairbag",
    "Nicht in Ordnung: / Fahrerairbag / Kopfairbag links / In Ordnung: / Beifahrerairbag",
    "Défaut : / airbag conducteur / rideau gauche / À commander : / airbag passager",
    "Défaut : / airbag conducteur / rideau gauche / Bon : / airbag passager / rideau droit",
    "Avería: / airbag conductor / cortina izquierda / Comprado: / airbag acompañante",
    "Usterka: / poduszka kierowcy / kurtyna lewa / Sprawne: / poduszka pasażera",
]
MENDED = [
    "B1A20 left curtain was open, new one fitted, clear",
    "B1A20 Kopfairbag links war offen, neuer eingebaut, sauber",
    "B1A20 rideau gauche était ouvert, neuf monté, propre",
    "B1A20 cortina izquierda estaba abierta, puesta una nueva, limpio",
    "B1A20 tendina sinistra era aperta, montata una nuova, pulito",
    "B1A20 kurtyna lewa była przerwa, założono nową, czysto",
    "B1A20 cortina esquerda estava aberta, nova montada, limpo",
    "B1A20 gordijnairbag links was onderbreking, nieuwe gemonteerd, schoon",
]
GUESSED = [
    "the clock spring could be open",
    "passenger buckle probably shorted to ground",
    "left curtain perhaps short, not measured",
    "die Wickelfeder könnte unterbrochen sein",
    "rideau gauche peut-être ouvert",
    "cortina izquierda quizás abierta",
    "tendina destra forse aperta",
    "kurtyna lewa chyba przerwa",
    "pretensor direito talvez aberto",
]
UNLATCHED = [
    "driver buckle does not latch",
    "Gurtschloss Fahrer rastet nicht ein",
    "boucle conducteur ne s'enclenche pas",
    "hebilla conductor no engancha",
    "fibbia guida non si aggancia",
    "klamra kierowcy nie zatrzaskuje się",
    "fivela motorista não engata",
    "gordelslot bestuurder klikt niet",
]
NEWS = [
    "New since last time, was not there on Friday: B1A20 driver knee bag open",
    "B1A20 driver knee bag open, was not there on Friday",
    "not there yesterday: B1A20 driver knee bag open",
    "Nuevo, el viernes no estaba: B1A20 airbag rodilla conductor abierto",
    "One I had not seen before is B1A20 left curtain open",
    "One I had not seen: B1A20 right door pressure sensor no signal",
    "B1A20 left curtain open, not seen before",
    "forgot to say, not in my first list: B1A20 left curtain open",
    "Den hatte ich noch nicht gesehen: B1A20 Kopfairbag links Unterbrechung",
    "bisher nie da gewesen: B1A20 Beifahrerairbag Stufe 2 Unterbrechung",
    "pas vu avant : B1A20 rideau gauche ouvert",
    "no lo había visto: B1A20 cortina izquierda abierta, presente",
    "non l'avevo notato: B1A20 airbag passeggero aperto",
    "nie było go wcześniej: B1A20 napinacz prawy przerwa",
    "não tinha visto antes: B1A20 cortina esquerda aberta",
    "had ik nog niet gezien: B1A20 gordijnairbag links onderbreking",
]
OTHER_COLOUR = [
    "the silver crossover is on the lift / {} / the red one had B1A20 left curtain open",
    "white van, LHD / {} / blue one has B1A20 left curtain open",
    "der weiße Kombi ist da / {} / beim roten war auch B1A20 Kopfairbag links Unterbrechung",
    "le break gris est monté / {} / la rouge avait B1A20 rideau gauche coupé",
    "furgoneta blanca / {} / la roja del patio tiene B1A20 cortina izquierda abierta",
    "berlina verde sul ponte / {} / quella rossa ha B1A20 tendina sinistra aperta",
    "carrinha preta / {} / o vermelho do pátio tem B1A20 cortina esquerda aberta",
    "białe auto / {} / czerwony na placu ma B1A20 kurtyna lewa przerwa",
    "blauwe stationwagen / {} / die grijze had ook B1A20 gordijnairbag links onderbroken",
]
OWN_COLOUR = [
    "silver crossover on the lift / silver one: B1A20 left curtain open",
    "der weiße Kombi ist da / im weißen steht B1A20 Kopfairbag links Unterbrechung",
    "le break gris est monté / oui, dans la grise B1A20 rideau gauche coupé",
    "berlina verde sul ponte / nella verde c'è B1A20 tendina sinistra aperta",
    "blauwe stationwagen / terug naar de blauwe: B1A20 gordijnairbag links onderbroken",
    "the light is on, B1A20 left curtain open",
    "the yellow connector is wet, B1A20 left curtain open",
    "die rote Lampe ist an, B1A20 Kopfairbag links Unterbrechung",
]
LED = [  # a part that another clause names before the code
    ("curtain", "still there after cleaning the plug: B1A20 left curtain open"),
    (
        "impact-sensor",
        "my guess was the clock spring, but B1A20 is the right front sensor, no signal",
    ),
    (
        "front-bag",
        "nach dem Tausch der Wickelfeder immer noch B1A20 Fahrerairbag Widerstand zu hoch",
    ),
    ("front-bag", "contacteur tournant remplacé, reste B1A20 airbag conducteur circuit ouvert"),
    ("curtain", "cambiada la hebilla, sigue B1A20 cortina izquierda abierta"),
    ("front-bag", "po wymianie taśmy dalej B1A20 poduszka pasażera przerwa"),
    ("buckle-switch", "everything cleared except B1A20 driver buckle switch implausible"),
    ("buckle-switch", "todo borrado menos B1A20 hebilla conductor no plausible"),
    ("retractor-pretensioner", "only one left: B1A20 right retractor high resistance"),
    ("front-bag", "einen vergessen: B1A20 Beifahrerairbag Masseschluss"),
    ("front-bag", "nee, der Beifahrerairbag: B1A20 Unterbrechung"),
    ("curtain", "ne resta uno solo: B1A20 tendina destra aperta"),
]
SEEN = [
    "passenger airbag intact",
    "passenger airbag: intact",
    "left seat bag looks good",
    "driver knee bag cover intact",
    "Beifahrerairbag unversehrt",
    "rideau gauche intact",
    "cortina derecha intacta",
    "tendina destra integra",
    "kurtyna lewa cała",
    "gordijnairbag links ongeschonden",
]
MEASURED = [
    "Poduszka kierowcy: obwód sprawdzony, bez przerwy.",
    "Kurtyna prawa: obwód bez przerwy.",
    "Kurtyna lewa: pętla zmierzona, bez przerwy",
    "left curtain circuit intact",
    "passenger airbag tested, intact",
    "Zündkreis Fahrerairbag intakt",
    "left curtain ok",
]


def _read(said: str) -> ReadReport:
    lines = [RawLine(number=at, text=t) for at, t in enumerate(said.split(" / "), start=1)]
    return understand(lines, "x", CATALOG)


@pytest.mark.parametrize("said", BACK + NEWS)
def test_what_came_back_or_is_news_is_there_with_its_part(said: str) -> None:
    (line,) = _read(said).lines
    assert (line.code, line.present, line.is_doubtful) == ("B1A20", True, False)
    assert line.component is not None
    assert line.fault != "unknown"


@pytest.mark.parametrize(
    "head",
    [
        *("Mark, Monday:", "Marek, poniedziałek:", "LL-Kombi, Mitschrift am Telefon, Airbag:"),
        *(
            "Ergebnis vom Samstag:",
            "Relevé de ce matin :",
            "Three odd things:",
            "12.03. 14:20, Jo:",
        ),
        "In der Airbageinheit habe ich das:",
    ],
)
def test_a_day_or_the_unit_heads_what_was_read(head: str) -> None:
    told = _read(f"{head} / driver airbag open circuit / left curtain short to ground").lines
    assert [(ln.component, ln.present) for ln in told] == [
        ("driver.front-bag", True),
        ("left.curtain", True),
    ]


@pytest.mark.parametrize(
    ("donor", "own"),
    [
        *(("donor car", "our car"), ("Spender", "unser Wagen"), ("donorauto", "onze auto")),
        *(("voiture donneuse", "notre voiture"), ("coche donante", "nuestro coche")),
        *(
            ("auto donatrice", "la nostra auto"),
            ("dawca", "nasze auto"),
            ("parts car:", "this one:"),
        ),
    ],
)
def test_a_heading_of_this_car_ends_the_list_of_another(donor: str, own: str) -> None:
    told = _read(f"{donor} / B1A10 driver airbag open / {own} / B1A20 left curtain open").lines
    assert [(ln.code, ln.present) for ln in told] == [("B1A10", False), ("B1A20", True)]


@pytest.mark.parametrize(
    "said",
    [
        "Occupant sensor never got zeroed after the seat swap",
        "Sitzmatte nicht kalibriert nach Tausch",
        "capteur d'occupation pas calibré après remplacement",
    ],
)
def test_work_that_only_tells_when_is_no_work_on_the_fault(said: str) -> None:
    (line,) = _read(said).lines
    assert (line.component, line.fault) == ("passenger.occupant-sensor", "calibration")


def test_a_list_of_codes_that_words_follow_is_told_once() -> None:
    said = "B1A20 left curtain open / B1A21 driver airbag open"
    read = _read(f"Read?   A: Yes. He wrote down B1A20 and B1A21. / {said}")
    assert [(ln.code, ln.kind) for ln in read.lines] == [
        ("B1A20", "curtain"),
        ("B1A21", "front-bag"),
    ]


@pytest.mark.parametrize("said", OTHER_COLOUR)
def test_what_is_told_of_a_car_of_another_colour_is_none_of_this_one(said: str) -> None:
    told = [(ln.code, ln.present) for ln in _read(said.format("B1A10 airbag")).lines]
    assert told == [("B1A10", True), ("B1A20", False)]


@pytest.mark.parametrize("said", OWN_COLOUR)
def test_the_colour_of_this_car_or_of_a_thing_in_it_names_no_other(said: str) -> None:
    assert [(ln.code, ln.present) for ln in _read(said).lines] == [("B1A20", True)]


def test_two_cars_by_colour_where_none_is_known_to_be_this_one_are_asked_about() -> None:
    said = "the blue one has B1A20 driver airbag open, the red one has B1A21 knee bag open"
    told = [(ln.code, ln.kind, ln.is_doubtful) for ln in _read(said).lines]
    assert told == [("B1A20", "front-bag", True), ("B1A21", "knee-bag", True)]


@pytest.mark.parametrize(("kind", "said"), LED)
def test_a_part_named_before_the_clause_of_a_code_is_not_its_own(kind: str, said: str) -> None:
    (line,) = _read(said).lines
    assert line.present
    assert line.kind == kind


@pytest.mark.parametrize(
    "said",
    """tomorrow I swap the clock spring and check that the open is gone|
    if I swap the clock spring the open circuit should be gone|
    hopefully the short of the driver airbag is gone after that|
    next step: see if the driver airbag open is gone|
    morgen vervang ik de klokveer, kijken of de onderbreking weg is|
    domani cambio la spirale, vediamo se il circuito aperto è sparito""".replace("\n", "").split(
        "|"
    ),
)
def test_a_plan_measures_nothing(said: str) -> None:
    read = _read(said.strip())
    assert (read.lines, read.coverage.clean) == ((), ())


@pytest.mark.parametrize("said", LISTS)
def test_a_heading_tells_what_the_parts_below_it_are(said: str) -> None:
    read = _read(said)
    assert {ln.component for ln in read.lines if ln.present} == AT_FAULT
    assert not AT_FAULT & {c.component for c in read.coverage.clean}


@pytest.mark.parametrize("said", GUESSED)
def test_a_guess_is_asked_about(said: str) -> None:
    assert [(ln.present, ln.is_doubtful) for ln in _read(said).lines] == [(False, True)]


def test_what_is_guessed_of_the_cause_leaves_the_fault() -> None:
    (line,) = _read("B1A20 left curtain open, maybe the plug").lines
    assert line.present


@pytest.mark.parametrize("said", UNLATCHED)
def test_a_buckle_that_does_not_latch_is_the_fault(said: str) -> None:
    (line,) = _read(said).lines
    assert (line.component, line.fault, line.present) == (
        "driver.buckle-switch",
        "mechanical",
        True,
    )


def test_a_new_part_below_which_the_fault_still_stands_ends_nothing() -> None:
    (line,) = _read("B1A20 left curtain was open, new one fitted, still open").lines
    assert line.present


@pytest.mark.parametrize("said", GONE + MENDED)
def test_what_did_not_come_back_is_gone(said: str) -> None:
    assert [ln.code for ln in _read(said).lines if ln.present] == []


def test_a_title_ends_what_is_told_of_another_car() -> None:
    told = _read("B1A20 on my old truck was the left curtain / Still there: B1A21").lines
    assert [ln.code for ln in told if ln.present] == ["B1A21"]


@pytest.mark.parametrize("said", SEEN)
def test_a_part_seen_whole_is_no_tested_circuit(said: str) -> None:
    read = _read(said)
    assert (read.lines, read.coverage.clean) == ((), ())
    assert [u.raw for u in read.unread] == [said]


@pytest.mark.parametrize("said", MEASURED)
def test_a_circuit_called_whole_is_tested(said: str) -> None:
    assert len(_read(said).coverage.clean) == 1


@pytest.mark.parametrize(
    "head",
    """All OK except:|Everything OK but:|No longer OK:|Was OK last week:|Not sure if OK:|
    Should be OK:|Alles i.O. außer:|Nicht mehr in Ordnung:|Tout est bon sauf :|Todo bien menos:|
    Ya no funciona bien:|Tutto a posto tranne:|Wszystko w porządku oprócz:|Looks fine:|
    Optisch in Ordnung:|Looks OK from outside:""".replace("\n", "").split("|"),
)
def test_a_heading_that_says_more_than_praise_makes_no_tested_circuit(head: str) -> None:
    text = f"airbag list / Fault: / driver airbag / left curtain / {head.strip()} / right curtain"
    assert _read(text).coverage.clean == ()


@pytest.mark.parametrize("head", ["No fault:", "In Ordnung:", "Bon :", "Sin avería:", "OK:"])
def test_a_heading_of_praise_keeps_the_parts_below_it_from_being_faults(head: str) -> None:
    text = f"airbag list / Fault: / driver airbag / left curtain / {head} / right curtain"
    assert [ln.component for ln in _read(text).lines] == ["driver.front-bag", "left.curtain"]
