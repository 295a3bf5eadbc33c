"""Lists of lots in four languages, half of their rows bad in one of many ways; the same seed
gives the same list.

The words are ours, those of the trade in each language. Each good row has a twin in plain English.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass, field

PLAIN = (
    "id", "model_year", "drive_hand", "zone", "clock", "extent", "deployed", "not_deployed",
    "airbags", "driver_belt", "passenger", "resale", "other_costs",
)  # fmt: skip
Row = dict[str, str]


@dataclass(frozen=True)
class Language:
    """How a list is written.

    Attributes:
        above: Lines above the headings.
        heads: Headings by column; those of ``more`` are of no column.
        words: What the words of each column are called.
        parts: What parts are called where they fired, by their ids.
        more: Headings and cells that say nothing of the restraint system.
        sums: Ways of writing a sum.
        foreign: A sum in another currency.
        strange: A word that is in no column.
    """

    above: tuple[str, ...]
    heads: dict[str, str]
    words: dict[str, dict[str, tuple[str, ...]]]
    parts: dict[str, tuple[str, ...]]
    more: dict[str, tuple[str, ...]]
    sums: tuple[Callable[[int], str], ...]
    foreign: str
    strange: str
    encoding: str = "utf-8"
    years: tuple[str, ...] = ("{y}", "03/{y}", "{y}-03-14")


@dataclass
class BadList:
    """A list as it is written, and what has to come of it.

    Attributes:
        kinds: Of badness, by the line it stands in.
        twins: Good rows in plain English, by their line in the list.
    """

    data: bytes
    kinds: dict[int, str] = field(default_factory=dict)
    twins: dict[int, Row] = field(default_factory=dict)


def _grouped(sign: str, cents: str) -> Callable[[int], str]:
    return lambda amount: f"{amount:,}".replace(",", sign) + cents


_POINTS = (_grouped(".", ",00"), _grouped(".", ",00 $"), _grouped(".", ""), str)
_SPACES = (_grouped("\u00a0", ",00"), _grouped(" ", ",00 USD"), _grouped(" ", ""), str)

LANGUAGES = {
    "German": Language(
        above=("Auktion vom 12.03.2026;;;;", "Alle Angaben ohne Gewähr"),
        heads={
            "id": "Los-Nr.", "model_year": "Erstzulassung", "drive_hand": "Lenkung",
            "zone": "Hauptschaden", "clock": "Anstoßrichtung", "extent": "Schadensgrad",
            "deployed": "Ausgelöste Airbags", "not_deployed": "Nicht ausgelöste Airbags",
            "airbags": "Airbags ausgelöst", "driver_belt": "Fahrergurt", "passenger": "Beifahrer",
            "resale": "Wert nach Reparatur", "other_costs": "Sonstige Kosten",
        },
        words={
            "drive_hand": {"left": ("links", "Linkslenker"), "right": ("rechts",)},
            "zone": {
                "nose-centre": ("Front", "vorne"), "nose-left": ("vorn links", "Links vorne"),
                "door-right": ("rechte Seite", "Seite rechts"), "tail": ("Heck", "hinten links"),
            },
            "extent": {"light": ("leicht",), "moderate": ("mittel",),
                "severe": ("schwer", "STARK")},
            "airbags": {"deployed": ("ja", "Ausgelöst"), "not-deployed": ("nein", "intakt")},
            "driver_belt": {"latched": ("angelegt",), "unlatched": ("nicht angelegt",)},
            "passenger": {"yes": ("ja",), "no": ("nein",)},
        },
        parts={
            "driver.front-bag": ("Fahrer", "Fahrerairbag", "AB Fahrer ausgelöst", "Lenkrad"),
            "driver.front-bag;passenger.front-bag": ("Fahrer + Beifahrer", "Front",
                "Fahrer- und Beifahrerairbag", "beide Frontairbags"),
        },
        more={
            "Kilometerstand": ("84.300 km", "k.A.", "120000"), "Titel": ("Totalschaden", "Brief"),
            "Auktionsdatum": ("12.03.2026",), "Restwert": ("2.400,00",), "Farbe": ("grün; matt",),
        },
        sums=_POINTS, foreign="13.750,00 €", strange="unterm Dach",
        encoding="cp1252", years=("{y}", "03/{y}", "14.03.{y}", "{y}-03-14"),
    ),
    "Spanish": Language(
        above=(),
        heads={
            "id": "Nº de lote", "model_year": "Fecha de matriculación", "drive_hand": "Volante",
            "zone": "Zona del golpe", "clock": "Dirección del golpe", "extent": "Gravedad",
            "deployed": "Airbags disparados", "not_deployed": "Airbags no desplegados",
            "airbags": "Airbags saltados", "driver_belt": "Cinturón del conductor",
            "passenger": "Acompañante", "resale": "Valor una vez reparado (USD)",
            "other_costs": "Chapa y pintura",
        },
        words={
            "drive_hand": {"left": ("izquierda",), "right": ("derecha", "a la derecha")},
            "zone": {
                "nose-centre": ("frontal", "Parte delantera"),
                "nose-left": ("delantero izquierdo",),
                "door-right": ("lateral derecho", "costado derecho"), "tail": ("trasero",),
            },
            "extent": {"light": ("leve",), "moderate": ("medio",), "severe": ("grave", "Fuerte")},
            "airbags": {"deployed": ("sí", "Saltados"), "not-deployed": ("no", "intactos")},
            "driver_belt": {"latched": ("abrochado",), "unlatched": ("sin abrochar",)},
            "passenger": {"yes": ("sí",), "no": ("no",)},
        },
        parts={
            "driver.front-bag": ("conductor", "airbag conductor saltado", "volante"),
            "driver.front-bag;passenger.front-bag": ("conductor y acompañante",
                "airbags frontales", "conductor, copiloto"),
        },
        more={
            "Kilometraje": ("84.300 km", "52.000 mi"), "Título": ("siniestro total",),
            "Fecha de subasta": ("12/03/2026",), "Daño secundario": ("lateral", ""),
        },
        sums=_POINTS, foreign="13.750,00 EUR", strange="por debajo",
        years=("{y}", "03/{y}", "14/03/{y}"),
    ),
    "French": Language(
        above=("Vente du 12/03/2026", ""),
        heads={
            "id": "N° de lot", "model_year": "Date de mise en circulation", "drive_hand": "Volant",
            "zone": "Zone de choc", "clock": "Direction du choc", "extent": "Gravité",
            "deployed": "Éléments déclenchés", "not_deployed": "Airbags non déclenchés",
            "airbags": "Airbags déclenchés", "driver_belt": "Ceinture du conducteur",
            "passenger": "Passager avant", "resale": "Valeur de revente",
            "other_costs": "Autres réparations",
        },
        words={
            "drive_hand": {"left": ("gauche", "à gauche"), "right": ("à droite",)},
            "zone": {
                "nose-centre": ("avant", "Face avant"), "nose-left": ("avant gauche", "AVG"),
                "door-right": ("côté droit", "latéral droit"), "tail": ("arrière", "Choc arrière"),
            },
            "extent": {"light": ("léger",), "moderate": ("moyen",),
                "severe": ("grave", "important")},
            "airbags": {"deployed": ("oui", "Déclenchés"), "not-deployed": ("non", "intacts")},
            "driver_belt": {"latched": ("bouclée",), "unlatched": ("non bouclée",)},
            "passenger": {"yes": ("oui",), "no": ("non",)},
        },
        parts={
            "driver.front-bag": ("conducteur", "airbag conducteur", "volant"),
            "driver.front-bag;passenger.front-bag": ("conducteur et passager",
                "airbags frontaux", "conducteur + passager"),
        },
        more={
            "Kilométrage": ("84 300 km", "n.c."), "Titre": ("épave",), "Couleur": ("gris; nacré",),
            "Date de vente": ("12/03/2026",), "Valeur résiduelle": ("2 400,00",),
        },
        sums=_SPACES, foreign="13 750,00 €", strange="dans la boîte",
        years=("{y}", "03/{y}", "14/03/{y}"),
    ),
    "Polish": Language(
        above=(),
        heads={
            "id": "Nr aukcji", "model_year": "Data pierwszej rejestracji",
            "drive_hand": "Strona kierownicy", "zone": "Główne uszkodzenie",
            "clock": "Kierunek uderzenia", "extent": "Stopień uszkodzenia",
            "deployed": "Odpalone elementy", "not_deployed": "Niewystrzelone",
            "airbags": "Wystrzelone poduszki", "driver_belt": "Pas kierowcy",
            "passenger": "Pasażer", "resale": "Wartość po naprawie",
            "other_costs": "Pozostałe koszty",
        },
        words={
            "drive_hand": {"left": ("lewa", "po lewej"), "right": ("prawa",)},
            "zone": {
                "nose-centre": ("przód",), "nose-left": ("lewy przód", "Przód lewy"),
                "door-right": ("prawy bok", "prawa strona"), "tail": ("tył", "Tył prawy"),
            },
            "extent": {"light": ("lekkie",), "moderate": ("średnie",),
                "severe": ("ciężkie", "Duże")},
            "airbags": {"deployed": ("tak", "Wystrzelone"), "not-deployed": ("nie", "całe")},
            "driver_belt": {"latched": ("zapięty",), "unlatched": ("niezapięty",)},
            "passenger": {"yes": ("tak",), "no": ("nie",)},
        },
        parts={
            "driver.front-bag": ("kierowca", "poduszka kierowcy", "kierownica"),
            "driver.front-bag;passenger.front-bag": ("kierowca i pasażer",
                "poduszki czołowe", "kierowcy + pasażera"),
        },
        more={
            "Przebieg": ("84 300 km", "b.d."), "Tytuł": ("szkoda całkowita",),
            "Data aukcji": ("12.03.2026",), "Wartość pozostałości": ("2 400,00",),
        },
        sums=_SPACES, foreign="13 750,00 zł", strange="wszędzie", encoding="cp1250",
        years=("{y}", "03.{y}", "14.03.{y}"),
    ),
}  # fmt: skip

# what is wrong, as cells by column; those that break the row itself are in _broken
BAD_CELLS: dict[str, Callable[[Language], Row]] = {
    "no id": lambda _: {"id": " "},
    "year in words": lambda _: {"model_year": "MMXIV"},
    "year before cars had them": lambda _: {"model_year": "1912"},
    "year to come": lambda _: {"model_year": "03/2099"},
    "strange zone": lambda x: {"zone": x.strange},
    "clock with thirteen hours": lambda _: {"clock": "13"},
    "clock between hours": lambda _: {"clock": "2,5"},
    "strange extent": lambda x: {"extent": x.strange},
    "strange airbags": lambda _: {"airbags": "50/50"},
    "strange belt": lambda x: {"driver_belt": x.strange},
    "strange passenger": lambda x: {"passenger": x.strange},
    "strange hand": lambda x: {"drive_hand": x.strange},
    "part this car has not": lambda _: {"deployed": "driver.rocket"},
    "part in strange words": lambda x: {"deployed": x.strange},
    "part in doubt": lambda _: {"deployed": "driver?"},
    "part that is gone": lambda _: {"deployed": "driver airbag missing"},
    "part of no side": lambda _: {"not_deployed": "driver airbag; sensor"},
    "part out and in": lambda _: {
        "deployed": "driver.front-bag",
        "not_deployed": "driver.front-bag",
    },
    "sum in words": lambda x: {"resale": x.strange},
    "sum below nothing": lambda _: {"resale": "-13750"},
    "sum without end": lambda _: {"other_costs": "inf"},
    "sum that is no number": lambda _: {"other_costs": "nan"},
    "sum of a fortune": lambda _: {"resale": "1e308"},
    "sum as a formula": lambda _: {"resale": "=SUM(A1:A9)"},
    "two sums": lambda _: {"other_costs": "500-900"},
    "another currency": lambda x: {"resale": x.foreign},
}
BROKEN = ("too few cells", "too many cells", "a mark not closed", "a mark inside a cell")
KINDS = (*BAD_CELLS, *BROKEN)


def write_bad_list(language: str, bad: int, good: int, seed: int) -> BadList:
    """Return a list with so many bad and good rows in any order, every kind of badness in it."""
    rng = random.Random(seed)
    how = LANGUAGES[language]
    pool = [_invent(rng) for _ in range(12)]
    columns = [*how.heads, *how.more]
    rng.shuffle(columns)
    lines = [*how.above, ";".join(how.heads.get(c, c) for c in columns)]
    found = BadList(data=b"")
    kinds = [KINDS[n % len(KINDS)] for n in range(bad)] + [""] * good
    rng.shuffle(kinds)
    for number, kind in enumerate(kinds, start=1):
        row = rng.choice(pool) | {"id": f"L-{number}"}
        row |= {"resale": str(rng.randrange(3000, 24_000, 50)), "other_costs": "1500"}
        cells = _translate(row, how, rng)
        if kind in BAD_CELLS:
            cells |= BAD_CELLS[kind](how)
        lines.append(_broken(kind, [_cell(cells[c]) for c in columns]))
        if kind:
            found.kinds[len(lines)] = kind
        else:
            found.twins[len(lines)] = row
        if rng.random() < 0.05:
            lines.append(";" * (len(columns) - 1))  # an empty row is nobody's lot
    found.data = "\r\n".join(lines).encode(how.encoding)
    return found


def _invent(rng: random.Random) -> Row:
    return {
        "model_year": rng.choice(("2014", "2018")),
        "drive_hand": rng.choice(("left", "left", "right")),
        "zone": rng.choice(("nose-centre", "nose-left", "door-right", "tail", "")),
        "clock": rng.choice(("12", "", "11")),
        "extent": rng.choice(("light", "moderate", "severe", "")),
        "deployed": rng.choice(("driver.front-bag", "driver.front-bag;passenger.front-bag", "")),
        "not_deployed": "",
        "airbags": rng.choice(("deployed", "not-deployed", "")),
        "driver_belt": rng.choice(("latched", "unlatched", "")),
        "passenger": rng.choice(("yes", "no", "")),
    }


def _translate(row: Row, how: Language, rng: random.Random) -> Row:
    """Return a row in the words of a language, and with the cells that are of no column."""
    cells = {c: rng.choice(words) for c, words in how.more.items()}
    for column, plain in row.items():
        words = (
            how.parts.get(plain) if column == "deployed" else how.words.get(column, {}).get(plain)
        )
        cells[column] = rng.choice(words) if words else plain
    cells["model_year"] = rng.choice(how.years).format(y=row["model_year"])
    for column in ("resale", "other_costs"):
        cells[column] = rng.choice(how.sums)(int(row[column]))
    return cells


def _cell(text: str) -> str:
    return f'"{text}"' if ";" in text or '"' in text else text


def _broken(kind: str, cells: list[str]) -> str:
    if kind == "too few cells":
        cells = cells[:-3]
    elif kind == "too many cells":
        cells = [*cells, "and more"]
    elif kind == "a mark not closed":
        cells = [*cells[:2], f'"{cells[2]}', *cells[3:]]
    elif kind == "a mark inside a cell":
        cells = [*cells[:2], f'"{cells[2]}" x"', *cells[3:]]
    return ";".join(cells)
