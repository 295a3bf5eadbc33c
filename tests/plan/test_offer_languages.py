"""Sheets of offers in other languages, and the ways in which numbers and days are written there.

The sheets are our own, in words of the trade; each row's meaning was written down beside it first.
"""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.offers import read_offers
from squibwise.model.car import Car, Profile
from squibwise.model.case import Case
from squibwise.model.market import Need, Offer, OfferSheet
from squibwise.plan.offers import judge_offers

CATALOG = load_catalog()
CASE = Case(
    id="c",
    region="DE",
    car=Car(equipment="front-bags", components=("driver.front-bag",)),
    profile=Profile(name="by-condition"),
)
# the order list of a car that is driven from the left: key, title, what it contains
NEEDS = tuple(
    Need(key=key, title=title, contains=(component,))
    for key, title, component in (
        ("driver-bag@driver", "driver airbag module", "driver.front-bag"),
        ("passenger-bag@passenger", "passenger airbag module", "passenger.front-bag"),
        ("knee-bag@driver", "knee airbag module, driver", "driver.knee-bag"),
        ("curtain@left", "curtain airbag module, left", "left.curtain"),
        ("front-belt@driver", "front seat belt assembly, driver", "driver.retractor-pretensioner"),
        (
            "front-belt@passenger",
            "front seat belt assembly, passenger",
            "passenger.retractor-pretensioner",
        ),
        (
            "rear-belt@row2-left",
            "rear belt assembly with pretensioner, row2-left",
            "row2-left.retractor-pretensioner",
        ),
        (
            "front-buckle@driver",
            "front buckle assembly with pretensioner, driver",
            "driver.buckle-pretensioner",
        ),
        ("centre-bag@driver", "center (far-side) airbag module, driver", "driver.centre-bag"),
        ("control-unit@centre", "airbag control module", "centre.control-unit"),
        ("clock-spring@driver", "clock spring", "driver.clock-spring"),
        ("instrument-panel@centre", "instrument panel", "centre.instrument-panel"),
        ("front-sensor@nose-centre", "front impact sensor", "nose-centre.impact-sensor"),
    )
)
UNIT, SPRING, PANEL = "control-unit@centre", "clock-spring@driver", "instrument-panel@centre"
SENSOR, BUCKLE, KNEE = "front-sensor@nose-centre", "front-buckle@driver", "knee-bag@driver"
LEFT, RIGHT = "front-belt@driver", "front-belt@passenger"
DRIVER, PASSENGER = "driver-bag@driver", "passenger-bag@passenger"

# the heading, a row with everything in it, then parts and conditions; prices in minor units
SHEETS = {
    "German": (
        "Bezeichnung;Lieferant;Teilenummer;Zustand;Einzelpreis (EUR);Lieferzeit;Versandkosten;"
        "frei Haus ab;Gefahrgutzuschlag;Rückgabe (Tage);Wiedereinlagerung;Unterlagen",
        "Fahrerairbag;Teilehaus;70-A;neu;1.189,00;4 Tage;12,90;500;18;14;10 %;Rechnung",
        {
            "Beifahrerairbag;gebraucht": (PASSENGER, "recycled"),
            "Gurtstraffer vorne links;wie neu": (LEFT, "recycled"),
            "Sicherheitsgurt Beifahrerseite;Neuteil": (RIGHT, "new"),
            "Airbagsteuergerät;im Austausch": (UNIT, "rebuilt"),
            "Wickelfeder;neu": (SPRING, "new"),
            "Armaturenbrett;gebraucht": (PANEL, "recycled"),
            "Crashsensor vorne;NEU": (SENSOR, "new"),
            "Gurtschloss Fahrer;generalüberholt": (BUCKLE, "rebuilt"),
            "Knieairbag Fahrer;neu": (KNEE, "new"),
            "Kopfairbag links;neu": ("curtain@left", "new"),
            "Gurt hinten links;neu": ("rear-belt@row2-left", "new"),
            "Seitenairbag Fahrer;neu": (None, "new"),
            "Kopfairbag rechts;neu": (None, "new"),
        },
        118_900,
    ),
    "French": (
        "Désignation;Fournisseur;Référence;État;Prix unitaire HT (EUR);Délai;Frais de port;"
        "Franco à partir de;Matières dangereuses;Retour sous (jours);Frais de retour;Justificatifs",
        "Airbag conducteur;Pièces;70-A;neuf;1 189,00;4 jours;12,90;500;18;14;10 %;facture",
        {
            "Airbag passager;occasion": (PASSENGER, "recycled"),
            "Ceinture avant gauche;d'occasion": (LEFT, "recycled"),
            "Ceinture avant droite;neuve": (RIGHT, "new"),
            "Calculateur d'airbag;échange standard": (UNIT, "rebuilt"),
            "Contacteur tournant;neuf": (SPRING, "new"),
            "Planche de bord;comme neuve": (PANEL, "recycled"),
            "Capteur de choc avant;neuf": (SENSOR, "new"),
            "Boucle de ceinture conducteur;reconditionnée": (BUCKLE, "rebuilt"),
            "Airbag de genoux, conducteur;neuf": (KNEE, "new"),
            "Ceinture arrière gauche;neuve": ("rear-belt@row2-left", "new"),
            "Airbag rideau droit;neuf": (None, "new"),
        },
        118_900,
    ),
    "Spanish": (
        "Descripción;Proveedor;Referencia;Estado;Precio (EUR);Plazo de entrega;Gastos de envío;"
        "Portes gratis desde;Mercancía peligrosa;Días de devolución;Gastos de devolución;"
        "Documentos",
        "Airbag del conductor;Recambios;70-A;nuevo;1.189,00;4 días;12,90;500;18;14;10 %;factura",
        {
            "Airbag del acompañante;usado": (PASSENGER, "recycled"),
            "Cinturón delantero izquierdo;de segunda mano": (LEFT, "recycled"),
            "Cinturón de seguridad del pasajero;nuevo": (RIGHT, "new"),
            "Centralita de airbag;reacondicionada": (UNIT, "rebuilt"),
            "Muelle espiral;nuevo": (SPRING, "new"),
            "Salpicadero;como nuevo": (PANEL, "recycled"),
            "Sensor de impacto delantero;nuevo": (SENSOR, "new"),
            "Hebilla de cinturón conductor;reparada": (BUCKLE, "rebuilt"),
            "Airbag de rodilla conductor;nuevo": (KNEE, "new"),
            "Airbag de cortina izquierda;nuevo": ("curtain@left", "new"),
            "Cinturón trasero izquierdo;nuevo": ("rear-belt@row2-left", "new"),
            "Airbag lateral conductor;nuevo": (None, "new"),
        },
        118_900,
    ),
    "Italian": (
        "Descrizione;Fornitore;Codice ricambio;Condizione;Prezzo (EUR);Tempi di consegna;"
        "Spese di spedizione;Spedizione gratuita da;Merci pericolose;Reso (giorni);Costo reso;"
        "Documenti",
        "Airbag guidatore;Ricambi;70-A;nuovo;1.189,00;4 giorni;12,90;500;18;14;10 %;fattura",
        {
            "Airbag passeggero;usato": (PASSENGER, "recycled"),
            "Cintura anteriore sinistra;seconda mano": (LEFT, "recycled"),
            "Cintura ant. dx;nuova": (RIGHT, "new"),
            "Centralina airbag;rigenerata": (UNIT, "rebuilt"),
            "Spirale sterzo;nuovo": (SPRING, "new"),
            "Cruscotto;come nuovo": (PANEL, "recycled"),
            "Sensore d'urto anteriore;nuovo": (SENSOR, "new"),
            "Pretensionatore lato guida;nuovo": (LEFT, "new"),
            "Airbag ginocchia guidatore;nuovo": (KNEE, "new"),
            "Airbag a tendina sinistro;nuovo": ("curtain@left", "new"),
            "Airbag a tendina destro;nuovo": (None, "new"),
        },
        118_900,
    ),
    "Polish": (
        "Nazwa części;Dostawca;Numer części;Stan;Cena brutto (EUR);Czas dostawy;Koszt wysyłki;"
        "Darmowa dostawa od;Materiały niebezpieczne;Zwrot (dni);Koszt zwrotu;Dokumenty",
        "Poduszka powietrzna kierowcy;Części;70-A;nowa;1 189,00;4 dni;12,90;500;18;14;10 %;faktura",
        {
            "Poduszka powietrzna pasażera;używana": (PASSENGER, "recycled"),
            "Pas bezpieczeństwa przedni lewy;jak nowy": (LEFT, "recycled"),
            "Pas przedni prawy;nowy": (RIGHT, "new"),
            "Sterownik poduszek powietrznych;regenerowany": (UNIT, "rebuilt"),
            "Taśma airbag;nowa": (SPRING, "new"),
            "Deska rozdzielcza;używana": (PANEL, "recycled"),
            "Czujnik uderzenia przedni;nowy": (SENSOR, "new"),
            "Zamek pasa kierowcy;po naprawie": (BUCKLE, "rebuilt"),
            "Kurtyna powietrzna lewa;nowa": ("curtain@left", "new"),
            "Kurtyna powietrzna prawa;nowa": (None, "new"),
            "Pas tylny lewy;nowy": ("rear-belt@row2-left", "new"),
        },
        118_900,
    ),
    "Portuguese": (
        "Descrição;Fornecedor;Referência;Estado;Preço (EUR);Prazo de entrega;Portes de envio;"
        "Portes grátis a partir de;Mercadorias perigosas;Dias de devolução;Custo de devolução;"
        "Documentos",
        "Airbag do condutor;Peças;70-A;novo;1.189,00;4 dias;12,90;500;18;14;10 %;fatura",
        {
            "Airbag do passageiro;usado": (PASSENGER, "recycled"),
            "Cinto dianteiro esquerdo;seminovo": (LEFT, "recycled"),
            "Cinto dianteiro direito;novo": (RIGHT, "new"),
            "Centralina do airbag;recondicionada": (UNIT, "rebuilt"),
            "Fita do airbag;nova": (SPRING, "new"),
            "Painel de instrumentos;usado": (PANEL, "recycled"),
            "Sensor de impacto dianteiro;novo": (SENSOR, "new"),
            "Airbag de joelho do motorista;novo": (KNEE, "new"),
            "Cortina esquerda;nova": ("curtain@left", "new"),
            "Cortina direita;nova": (None, "new"),
        },
        118_900,
    ),
}


def _read(text: str, currency: str = "EUR") -> OfferSheet:
    return read_offers(text.encode(), "offers.csv", CATALOG, currency)


def _need(offer: Offer) -> str | None:
    judged, _ = judge_offers((offer,), NEEDS, CASE, CATALOG)
    return judged[0].need if judged else None


@pytest.mark.parametrize("language", SHEETS)
def test_a_sheet_is_read_whole_in_another_language(language: str) -> None:
    heading, row, _, price = SHEETS[language]
    sheet = _read(f"{heading}\n{row}\n")
    assert [f.code for f in sheet.findings if f.code != "offer-tax"] == []
    assert all(g.column and g.sure for g in sheet.columns)
    (offer,), (supplier,) = sheet.offers, sheet.suppliers
    assert _need(offer) == DRIVER
    assert (offer.price.minor, offer.part_number, offer.condition) == (price, "70-A", "new")
    assert (offer.lead.low, offer.lead.high) == (4, 4)
    assert (offer.return_days, offer.restock, offer.documents) == (14, 0.1, ("receipt",))
    assert supplier.dangerous is not None
    assert supplier.free_from is not None
    sums = (supplier.shipping, supplier.free_from, supplier.dangerous)
    assert [m.minor for m in sums] == [1_290, 50_000, 1_800]


@pytest.mark.parametrize("language", SHEETS)
def test_parts_and_conditions_are_known_in_another_language(language: str) -> None:
    heading, row, parts, _ = SHEETS[language]
    filled = row.split(";")
    rows = [";".join((p.split(";")[0], *filled[1:3], p.split(";")[1], *filled[4:])) for p in parts]
    sheet = _read("\n".join((heading, *rows)))
    told = {f"{p}": (_need(o), o.condition) for p, o in zip(parts, sheet.offers, strict=True)}
    assert told == parts


# Common practice, no source: five days of work are a week of the calendar; a month is 30 days.
@pytest.mark.parametrize(
    ("written", "days"),
    [
        ("3-5 Werktage", (5, 7)),
        ("5 jours ouvrés", (7, 7)),
        ("10 business days", (14, 14)),
        ("1 Woche", (7, 7)),
        ("2 à 3 semaines", (14, 21)),
        ("48 h", (2, 2)),
        ("24 godziny", (1, 1)),
        ("1 mese", (30, 30)),
        ("4 bis 6 Tage", (4, 6)),
        ("ca. 10 Tage", (10, 10)),
        ("2\u20133", (2, 3)),
        ("6", (6, 6)),
    ],
)
def test_lead_times_are_read_in_their_units(written: str, days: tuple[int, int]) -> None:
    (offer,) = _read(f"part;supplier;price;lead time\nbelt;Alder;5;{written}\n").offers
    assert (offer.lead.low, offer.lead.high) == days


def test_a_heading_tells_the_unit_of_its_lead_times() -> None:
    (offer,) = _read("part;supplier;price;working days\nbelt;Alder;5;5\n").offers
    assert offer.lead.likely == 7


@pytest.mark.parametrize("written", ["lagernd", "auf Anfrage", "in stock", "sur commande", "?"])
def test_words_without_a_number_of_days_are_no_lead_time(written: str) -> None:
    sheet = _read(f"part;supplier;price;lead time;freight\nbelt;Alder;5;{written};0\n")
    assert sheet.offers[0].lead.low < sheet.offers[0].lead.high
    assert [f.code for f in sheet.findings] == ["offer-lead-assumed"]
    assert f"'{written}'" in sheet.findings[0].message


# What stands before the cents elsewhere in the sheet decides; where nothing tells, nobody guesses.
@pytest.mark.parametrize(
    ("other", "price", "minor"),
    [
        ("62,50", "1.189", 118_900),
        ("62.50", "1,189", 118_900),
        ("62.50", "728.756", None),  # no cents have three figures
        ("62", "1.189", None),
        ("62", "1,189", 118_900),
        ("62", "1.189.000", 118_900_000),
        ("62", "0.189", 19),
        ("62", "120,-", 12_000),
    ],
)
def test_a_point_before_three_digits_is_read_as_the_sheet_writes_it(
    other: str, price: str, minor: int | None
) -> None:
    sheet = _read(f"part;supplier;price;days\nbelt;Alder;{other};3\nbelt;Alder;{price};3\n")
    assert [o.price.minor for o in sheet.offers[1:]] == ([] if minor is None else [minor])
    bad = [f.message for f in sheet.findings if f.code == "offer-row-bad"]
    assert len(bad) == (minor is None)
    assert all("a thousand times" in m for m in bad)


@pytest.mark.parametrize(
    ("word", "state"),
    [
        ("bestellt", "ordered"),
        ("geliefert", "arrived"),
        ("commandée", "ordered"),
        ("reçu", "arrived"),
        ("recibido", "arrived"),
        ("zamówione", "ordered"),
        ("zwrócone", "returned"),
        ("montato", "fitted"),
        ("encomendado", "ordered"),
        ("Delivered", "arrived"),
        ("cancelled", "returned"),
    ],
)
def test_how_far_a_line_has_come_is_read_in_other_words(word: str, state: str) -> None:
    (offer,) = _read(f"part;supplier;price;days;status\nbelt;Alder;5;3;{word}\n").offers
    assert offer.state == state


def test_a_price_in_zloty_stays_in_zloty() -> None:
    text = "Część;Dostawca;Cena;Waluta;Dostawa\nPas lewy;Części;2 450,00 zł;PLN;4\n"
    assert _read(text, "PLN").offers[0].price.minor == 245_000
    assert [f.code for f in _read(text).findings][:1] == ["offer-row-bad"]


def test_a_part_that_is_not_on_the_list_is_not_taken_for_its_neighbour() -> None:
    head = "part;supplier;price;days\n"
    for part in ("side airbag driver", "Seitenairbag Fahrer", "plain belt buckle row 2"):
        assert _need(_read(f"{head}{part};Alder;5;3\n").offers[0]) is None
    (centre,) = _read(f"{head}centre airbag driver;Alder;5;3\n").offers
    assert _need(centre) == "centre-bag@driver"
    (belt,) = _read(f"{head}seat belt, driver;Alder;5;3\n").offers
    assert _need(belt) == LEFT  # and not the one behind, on the driver's side


@pytest.mark.parametrize("written", ["sofort", "In stock", "en stock", "na stanie", "inmediato"])
def test_what_is_in_stock_comes_sooner_than_what_is_on_request(written: str) -> None:
    there, asked = (
        _read(f"part;supplier;price;lead time\nbelt;Alder;5;{w}\n").offers[0].lead
        for w in (written, "auf Anfrage")
    )
    assert there.high < asked.likely
