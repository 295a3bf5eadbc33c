"""Reports written from a known list of faults, in any supported language and several layouts.

The phrases are the trade's own; common practice, no source.
"""

from collections.abc import Callable

import msgspec

PARTS: dict[str, dict[tuple[str, int | None], str]] = {
    "en": {
        ("driver.front-bag", 1): "Driver airbag, squib 1",
        ("driver.front-bag", 2): "Driver frontal inflator, 2nd stage",
        ("passenger.front-bag", 1): "Front passenger airbag stage 1",
        ("passenger.seat-bag", None): "Passenger side impact airbag",
        ("left.curtain", None): "Left curtain airbag",
        ("right.curtain", None): "RH roof rail airbag",
        ("driver.knee-bag", None): "Driver knee airbag",
        ("driver.retractor-pretensioner", None): "Driver belt retractor pretensioner",
        ("passenger.buckle-pretensioner", None): "Passenger buckle pretensioner",
        ("row2-left.retractor-pretensioner", None): "Rear left retractor pretensioner",
        ("nose-right.impact-sensor", None): "Right front impact sensor",
        ("pillar-left.impact-sensor", None): "Left B-pillar satellite sensor",
        ("driver.buckle-switch", None): "Driver seat belt buckle switch",
        ("passenger.occupant-sensor", None): "Passenger occupant classification sensor",
        ("driver.clock-spring", None): "Clock spring",
    },
    "de": {
        ("driver.front-bag", 1): "Fahrerairbag Zündkreis Stufe 1",
        ("driver.front-bag", 2): "Zünder 2 Fahrerairbag",
        ("passenger.front-bag", 1): "Beifahrerairbag, 1. Stufe",
        ("passenger.seat-bag", None): "Seitenairbag Beifahrerseite",
        ("left.curtain", None): "Kopfairbag links",
        ("driver.knee-bag", None): "Knieairbag Fahrer",
        ("passenger.buckle-pretensioner", None): "Gurtschlossstraffer Beifahrer",
        ("row2-left.retractor-pretensioner", None): "Aufrollerstraffer hinten links",
        ("nose-right.impact-sensor", None): "Upfrontsensor rechts",
        ("driver.buckle-switch", None): "Gurtschlossschalter Fahrer",
        ("passenger.occupant-sensor", None): "Sitzbelegungserkennung Beifahrersitz",
        ("driver.clock-spring", None): "Wickelfeder",
    },
    "fr": {
        ("driver.front-bag", 1): "Airbag frontal conducteur, allumeur 1",
        ("passenger.front-bag", 2): "Airbag frontal passager étage 2",
        ("passenger.seat-bag", None): "Airbag latéral passager",
        ("left.curtain", None): "Airbag rideau gauche",
        ("driver.knee-bag", None): "Airbag genoux conducteur",
        ("passenger.buckle-pretensioner", None): "Prétensionneur de boucle passager",
        ("nose-right.impact-sensor", None): "Capteur de choc frontal droit",
        ("driver.buckle-switch", None): "Contacteur de boucle conducteur",
        ("driver.clock-spring", None): "Contacteur tournant",
    },
    "es": {
        ("driver.front-bag", 1): "Airbag del conductor, etapa 1",
        ("passenger.front-bag", 2): "Airbag del acompañante etapa 2",
        ("passenger.seat-bag", None): "Airbag lateral del acompañante",
        ("left.curtain", None): "Airbag de cortina izquierdo",
        ("driver.knee-bag", None): "Airbag de rodilla del conductor",
        ("nose-right.impact-sensor", None): "Sensor de impacto frontal derecho",
        ("driver.buckle-switch", None): "Interruptor de hebilla del conductor",
    },
    "it": {
        ("driver.front-bag", 1): "Airbag conducente, stadio 1",
        ("passenger.front-bag", 2): "Airbag passeggero 2° stadio",
        ("passenger.seat-bag", None): "Airbag laterale passeggero",
        ("left.curtain", None): "Airbag a tendina sinistro",
        ("driver.knee-bag", None): "Airbag ginocchia conducente",
        ("nose-right.impact-sensor", None): "Sensore di impatto frontale destro",
    },
    "pt": {
        ("driver.front-bag", 1): "Airbag do condutor, estágio 1",
        ("passenger.front-bag", 2): "Airbag do passageiro estágio 2",
        ("passenger.seat-bag", None): "Airbag lateral do passageiro",
        ("left.curtain", None): "Airbag de cortina esquerdo",
        ("driver.knee-bag", None): "Airbag de joelho do condutor",
        ("nose-right.impact-sensor", None): "Sensor de impacto frontal direito",
    },
    "pl": {
        ("driver.front-bag", 1): "Poduszka powietrzna kierowcy, stopień 1",
        ("passenger.front-bag", 2): "Poduszka powietrzna pasażera stopień 2",
        ("passenger.seat-bag", None): "Boczna poduszka powietrzna pasażera",
        ("left.curtain", None): "Kurtyna powietrzna lewa",
        ("driver.knee-bag", None): "Poduszka kolanowa kierowcy",
        ("nose-right.impact-sensor", None): "Czujnik zderzenia przedni prawy",
    },
    "ja-en": {
        ("driver.front-bag", 1): "D squib 1st step circuit",
        ("driver.front-bag", 2): "D squib (2nd step) circuit",
        ("passenger.seat-bag", None): "Side squib RH circuit",
        ("left.curtain", None): "Curtain shield squib LH circuit",
        ("nose-right.impact-sensor", None): "Front airbag sensor RH",
        ("driver.clock-spring", None): "Spiral cable",
    },
}

FAULTS: dict[str, dict[str, tuple[str, str]]] = {
    "en": {
        "open-or-high": ("open or increased resistance", "13"),
        "low-or-short": ("circuit resistance too low", "1A"),
        "short-to-ground": ("short to ground", "11"),
        "short-to-battery": ("short to battery", "12"),
    },
    "de": {
        "open-or-high": ("Widerstand zu groß", "1B"),
        "low-or-short": ("Widerstand zu klein", "1A"),
        "short-to-ground": ("Kurzschluss nach Masse", "11"),
        "short-to-battery": ("Kurzschluss nach Plus", "12"),
    },
    "fr": {
        "open-or-high": ("circuit ouvert", "13"),
        "low-or-short": ("résistance trop faible", "1A"),
        "short-to-ground": ("court-circuit à la masse", "11"),
        "short-to-battery": ("court-circuit au plus", "12"),
    },
    "es": {
        "open-or-high": ("circuito abierto", "13"),
        "low-or-short": ("resistencia demasiado baja", "1A"),
        "short-to-ground": ("cortocircuito a masa", "11"),
        "short-to-battery": ("cortocircuito a positivo", "12"),
    },
    "it": {
        "open-or-high": ("circuito aperto", "13"),
        "low-or-short": ("resistenza troppo bassa", "1A"),
        "short-to-ground": ("cortocircuito a massa", "11"),
        "short-to-battery": ("cortocircuito a positivo", "12"),
    },
    "pt": {
        "open-or-high": ("circuito aberto", "13"),
        "low-or-short": ("resistência muito baixa", "1A"),
        "short-to-ground": ("curto-circuito à massa", "11"),
        "short-to-battery": ("curto-circuito ao positivo", "12"),
    },
    "pl": {
        "open-or-high": ("przerwa w obwodzie", "13"),
        "low-or-short": ("rezystancja za niska", "1A"),
        "short-to-ground": ("zwarcie do masy", "11"),
        "short-to-battery": ("zwarcie do plusa", "12"),
    },
    "ja-en": {
        "open-or-high": ("open", "13"),
        "low-or-short": ("short", "1A"),
        "short-to-ground": ("short to GND", "11"),
        "short-to-battery": ("short to B+", "12"),
    },
}

STATUSES: dict[str, dict[str, str]] = {
    "en": {"present": "current", "stored": "history", "intermittent": "intermittent"},
    "de": {"present": "statisch", "stored": "gespeichert", "intermittent": "sporadisch"},
    "fr": {"present": "présent", "stored": "mémorisé", "intermittent": "fugitif"},
    "es": {"present": "presente", "stored": "memorizado", "intermittent": "esporádico"},
    "it": {"present": "presente", "stored": "memorizzato", "intermittent": "sporadico"},
    "pt": {"present": "presente", "stored": "memorizado", "intermittent": "intermitente"},
    "pl": {"present": "aktualny", "stored": "zapamiętany", "intermittent": "sporadyczny"},
    "ja-en": {"present": "present", "stored": "past", "intermittent": "intermittent"},
}
LANGUAGES = tuple(PARTS)


class Known(msgspec.Struct, frozen=True, kw_only=True):
    """One fault that a report is written from."""

    code: str
    component: str
    stage: int | None
    fault: str
    status: str

    def read(self) -> tuple[str, str | None, int | None, str, tuple[str, ...]]:
        """What reading must give back."""
        return self.code, self.component, self.stage, self.fault, (self.status,)


def _words(known: Known, language: str) -> tuple[str, str, str, str]:
    part = PARTS[language][known.component, known.stage]
    fault, failure_type = FAULTS[language][known.fault]
    return part, fault, failure_type, STATUSES[language][known.status]


def one_line(known: Known, language: str) -> str:
    part, fault, failure_type, status = _words(known, language)
    return f"{known.code}-{failure_type}  {part} - {fault}   {status}"


def status_first(known: Known, language: str) -> str:
    part, fault, failure_type, status = _words(known, language)
    return f"[{status}] {known.code}:{failure_type} {part}: {fault}"


def words_first(known: Known, language: str) -> str:
    part, fault, _, status = _words(known, language)
    return f"{part}, {fault} ({known.code}) {status}"


def piped(known: Known, language: str) -> str:
    part, fault, failure_type, status = _words(known, language)
    return f"| {known.code} {failure_type} | {part} | {fault} | {status} |"


def block(known: Known, language: str) -> str:
    part, fault, failure_type, status = _words(known, language)
    return f"{known.code}-{failure_type}\n   {part}\n   {fault}\n   {status}\n   Km: 61204\n"


def hexadecimal(known: Known, language: str) -> str:
    part, fault, failure_type, status = _words(known, language)
    number = "PCBU".index(known.code[0]) << 14 | int(known.code[1:], 16)
    return f"0x{number:04X}{failure_type} {part} - {fault}, {status}"


def twin(known: Known, language: str) -> str:
    part, fault, failure_type, status = _words(known, language)
    number = "PCBU".index(known.code[0]) << 14 | int(known.code[1:], 16)
    return (
        f"{known.code} {failure_type} / {number:04X} {failure_type}: {part} - {fault}\n  {status}"
    )


LAYOUTS: tuple[Callable[[Known, str], str], ...] = (
    one_line,
    status_first,
    words_first,
    piped,
    block,
    hexadecimal,
    twin,
)
