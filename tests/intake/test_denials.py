"""A fault that is denied, past, mended or asked about is never read as a present fault.

Swept over every fault wording of the vocabulary, with negations of its own language before, inside
and after it; common practice, no source. "No communication", "not calibrated" and the like are
faults themselves: wordings that hold a negation, or name what a fault is the lack of, are denied
only after the fact.
"""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.catalog.vocabulary import LAYOUT, Term
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.language.lexicon import fold, lexicon_of
from squibwise.intake.report.reader import read_report, understand

CATALOG = load_catalog()
ELECTRIC = frozenset("open high low short cross crashrecord voltage internal".split())
SOFT = frozenset("communication calibration configuration performance mechanical identity".split())
PART = {
    "en": "driver airbag",
    "de": "Fahrerairbag",
    "fr": "airbag conducteur",
    "es": "airbag conductor",
    "it": "airbag guida",
    "pt": "airbag do motorista",
    "pl": "poduszka kierowcy",
}
BEFORE = {
    "en": ("no", "never any", "without", "not a trace of", "no sign of"),
    "de": ("kein", "keinerlei", "ohne", "niemals"),
    "fr": ("pas de", "aucun", "sans", "jamais de"),
    "es": ("sin", "ningún", "no hay", "nunca"),
    "it": ("nessun", "senza", "non c'è", "mai"),
    "pt": ("sem", "nenhum", "não há", "nunca"),
    "pl": ("bez", "nie ma", "żadnego", "nigdy"),
}
AFTER = {
    "en": ("not found", "none", "ruled out", "could not be reproduced", "no longer exists"),
    "de": ("nicht gefunden", "ausgeschlossen", "nicht feststellbar", "nicht mehr da"),
    "fr": ("non trouvé", "exclu", "n'existe plus", "introuvable"),
    "es": ("descartado", "no encontrado", "ya no existe", "no se confirma"),
    "it": ("escluso", "non trovato", "sparito", "non si conferma"),
    "pt": ("descartado", "não encontrado", "já não existe", "não se confirma"),
    "pl": ("wykluczono", "nie stwierdzono", "zniknęło", "nie potwierdza się"),
}


def wordings(language: str, faults: frozenset[str]) -> list[Term]:
    return [
        t
        for t in CATALOG.vocabulary.terms
        if t.language == language and t.means[0] not in LAYOUT and faults & set(t.means)
    ]


def lacks(language: str) -> set[str]:
    """Words whose denial is a fault of its own, such as signal."""
    terms = [t for t in CATALOG.vocabulary.terms if t.language == language]
    return {s for t in terms if "lacking" in " ".join(t.means) for s in t.spellings()}


def holds_negation(phrase: str) -> bool:
    return any(w in lexicon_of(CATALOG).denying for w in fold(phrase).split())


def denials(term: Term) -> list[str]:
    phrase, part = term.spellings()[0], PART[term.language]
    after = [f"{part}, {phrase}: {no}" for no in AFTER[term.language]]
    if holds_negation(phrase):
        return after
    before = [f"{no} {phrase} {part}" for no in BEFORE[term.language]]
    words = phrase.split()
    no = BEFORE[term.language][1]
    parts = len(words) > 2 and not lacks(term.language) & set(words[:2])
    inside = [f"{part} {words[0]} {no} {' '.join(words[1:])}"] if parts else []
    return before + after + inside


def some_denials(term: Term, at: int) -> list[str]:
    """Return every denial of each tenth wording, and one of each other one, by turns."""
    every = denials(term)
    return every if at % 10 == 0 else [every[at % len(every)]]


def is_read_as_present(text: str) -> bool:
    read = understand([RawLine(number=1, text=text)], "x", CATALOG)
    return any(line.present and line.fault != "unknown" for line in read.lines)


@pytest.mark.parametrize("faults", [ELECTRIC, SOFT], ids=["electric", "soft"])
@pytest.mark.parametrize("language", PART)
def test_a_denied_fault_is_no_present_fault(language: str, faults: frozenset[str]) -> None:
    wrong = []
    for at, term in enumerate(wordings(language, faults)):
        if is_a_lack(term):
            continue
        for text in some_denials(term, at):
            line = f"B1FFF {text}" if at % 2 else text
            if is_read_as_present(line):
                wrong.append(line)
    assert wrong == []


def is_a_lack(term: Term) -> bool:
    """Tell whether a wording is of a thing whose lack is the fault: no signal, no coding."""
    words = set(fold(term.spellings()[0]).split())
    return "lacking" in " ".join(term.means) or bool(words & LACKED[term.language])


# What a car should have, so that to deny it is to tell the fault; common usage, no source.
LACKED = {
    "en": set(
        """signal signals message messages communication comm comms com coms data transmission
        response reply config continuity supply power cal calibration zero point telegram frames
        frame coded coding set
        calibrated learned zeroed need needs programmed baseline""".split()
    ),
    "de": set(
        """signal signale kommunikation codierung kodierung parametrierung datensatz kalibrierung
        grundeinstellung abgleich kalibriert codiert angelernt botschaft nachricht daten muss
        nullpunkt normierung verbindung durchgang versorgung""".split()
    ),
    "fr": set(
        """communication dialogue signal message messages reponse donnees trame codage configuration
        parametrage calibrage calibration etalonnage initialisation apprentissage doit demande code
        calibre zero tarage continuite alimentation""".split()
    ),
    "es": set(
        """comunicacion senal mensaje mensajes respuesta datos trama codificacion configuracion
        parametrizacion calibracion ajuste aprendizaje adaptacion cero tara codificar configurar
        programar calibrar inicializar continuidad alimentacion""".split()
    ),
    "it": set(
        """comunicazione segnale messaggio messaggi risposta dati codifica configurazione
        parametrizzazione calibrazione taratura azzeramento zero apprendimento inizializzazione
        codificare calibrare tarare tensione alimentazione continuita deve""".split()
    ),
    "pt": set(
        """comunicacao sinal mensagem mensagens resposta dados codificacao configuracao
        parametrizacao calibracao zero aprendizagem inicializacao codificar calibrar
        continuidade ajuste aprendizado tem deve apertado alimentacao""".split()
    ),
    "pl": set(
        """komunikacja komunikacji sygnal sygnalu odpowiedzi danych ramki kodowanie kodowania
        konfiguracji parametryzacji musi kalibracja kalibracji adaptacji zera zero""".split()
    ),
}


@pytest.mark.parametrize("language", PART)
def test_a_lack_that_is_denied_afterwards_is_no_present_fault(language: str) -> None:
    part = PART[language]
    wrong = []
    for at, term in enumerate(wordings(language, SOFT | ELECTRIC)):
        if is_a_lack(term):
            every = AFTER[language]
            some = every if at % 10 == 0 else every[at % len(every) :][:1]
            texts = [f"{part}, {term.spellings()[0]}: {no}" for no in some]
            wrong += [t for t in texts if is_read_as_present(t)]
    assert wrong == []


GONE = [
    "No crash event stored",
    "crash record: none",
    "no short to ground found on the passenger airbag circuit",
    "driver airbag checked for open circuit: OK",
    "the open on the left curtain no longer exists",
    "mine had an open driver airbag last year",
    "the driver airbag was open before the plug was cleaned",
    "passenger buckle switch open, replaced in May",
    "could the driver airbag be open circuit?",
    "anyone know whether the left curtain is shorted",
    "nie ma zapisu kolizji",
    "kein Crash gespeichert",
    "aucun choc mémorisé",
]


@pytest.mark.parametrize("text", GONE)
def test_what_is_denied_past_mended_or_asked_is_told_as_unread(text: str) -> None:
    read = understand([RawLine(number=1, text=text)], "x", CATALOG)
    assert read.lines == ()
    assert [u.raw for u in read.unread] == [text]
    assert read.unread[0].why


def test_an_absent_crash_record_and_a_good_circuit_are_coverage() -> None:
    text = (
        "B1001 left curtain open\nNo crash record in the unit.\n"
        "Driver airbag measured, within limits\nno short to ground on the driver knee bag\n"
    )
    read = read_report(text.encode(), "r.txt", CATALOG)
    assert read.coverage.no_crash_record is not None
    assert read.coverage.no_crash_record.line == 2
    good = [(c.component, c.origin.line) for c in read.coverage.clean]
    assert good == [("driver.front-bag", 3), ("driver.knee-bag", 4)]


STILL_FAULTS = [
    ("B1001 front left crash sensor not answering", "communication"),
    ("B1001 control unit is not coded", "configuration"),
    ("B1001 passenger weight sensor never calibrated", "calibration"),
    ("B1001 Beifahrer Sitzmatte noch nicht angelernt", "calibration"),
    ("B1001 capteur de choc avant gauche ne répond toujours pas", "communication"),
    ("B1001 sensor de choque delantero izquierdo sin respuesta", "communication"),
    ("B1001 centralina non ancora codificata", "configuration"),
    ("B1001 czujnik zderzenia przód lewy w ogóle nie odpowiada", "communication"),
    ("B1001 driver airbag open, cannot be cleared", "open-or-high"),
]


@pytest.mark.parametrize(("text", "fault"), STILL_FAULTS)
def test_the_lack_of_something_is_a_fault(text: str, fault: str) -> None:
    (line,) = understand([RawLine(number=1, text=text)], "x", CATALOG).lines
    assert line.present
    assert line.fault == fault


# Our own sentences; common practice, no source.
@pytest.mark.parametrize(
    "said",
    [
        "B1FFF driver airbag open, no crash stored",
        "B1FFF Fahrerairbag Unterbrechung, kein Crash gespeichert",
        "B1FFF airbag conductor abierto, sin choque memorizado",
    ],
)
def test_a_record_denied_behind_a_fault_is_kept_as_denied(said: str) -> None:
    read = read_report(f"SRS\n{said}\n".encode(), "scan.txt", CATALOG)
    assert [(ln.fault, ln.present) for ln in read.lines] == [("open-or-high", True)]
    assert read.coverage.no_crash_record is not None


# Our own sentences; common practice, no source.
@pytest.mark.parametrize(
    "said",
    [
        "B1FFF knee bag driver open, crash flag clear",
        "B1FFF right pretensioner open, collision record empty",
        "B1FFF driver buckle switch open, crash memory clean",
        "B1FFF Beifahrerairbag Unterbrechung, Crashdaten nicht vorhanden",
        "B1FFF Vorhangairbag links Unterbrechung, Crashspeicher leer",
        "B1FFF airbag de cortina izquierdo abierto, memoria de choque limpia",
        "B1FFF airbag conducteur circuit ouvert / aucun choc mémorisé",
    ],
)
def test_an_empty_crash_record_behind_a_fault_is_kept_as_empty(said: str) -> None:
    read = read_report(f"SRS\n{said}\n".encode(), "scan.txt", CATALOG)
    assert [(ln.fault, ln.present) for ln in read.lines] == [("open-or-high", True)]
    assert read.coverage.no_crash_record is not None


@pytest.mark.parametrize(
    "said",
    [
        "B1511 knee bag open / B1FFF left curtain open / crash logged",
        "B1FFF left curtain open / deployment record present",
        "B1FFF Gurtstraffer rechts Unterbrechung / Crash gespeichert",
        "B1FFF prétensionneur droit circuit ouvert / choc mémorisé",
        "B1FFF pretensor derecho circuito abierto / choque memorizado",
    ],
)
def test_a_crash_record_behind_a_fault_is_one_of_its_own(said: str) -> None:
    *faults, record = understand([RawLine(number=1, text=said)], "x", CATALOG).lines
    assert {ln.fault for ln in faults} == {"open-or-high"}
    assert (record.code, record.component) == (None, "centre.control-unit")
    assert (record.fault, record.present) == ("event-recorded", True)


@pytest.mark.parametrize(
    "said",
    [
        "no longer intermittent, now permanent: driver bag open",
        "driver bag open, it's not intermittent",
        "Gurtstraffer rechts Unterbrechung, nicht mehr sporadisch sondern ständig",
        "pretensor derecho abierto, ya no es intermitente",
        "airbag passager circuit ouvert, n'est plus intermittent",
        "knee bag driver open, but no stored event in the box",
        "knee bag driver open, der Stecker war's nicht",
        "prétensionneur droit circuit ouvert, ce n'était pas la prise",
    ],
)
def test_what_is_there_all_the_time_or_has_another_cause_is_there(said: str) -> None:
    (line,) = understand([RawLine(number=1, text=f"B1FFF {said}")], "x", CATALOG).lines
    assert (line.fault, line.present) == ("open-or-high", True)
    assert "intermittent" not in line.status
