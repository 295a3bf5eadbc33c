"""What stands between faults and tells of none: labels, numbers, bills, hearsay, past, repairs.

Texts of our own, common practice, no source. The labels are words that the vocabulary does not
hold, so that what is tested is the form and not a list.
"""

from itertools import product
from pathlib import Path

import pytest
from texts import read_text

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.language.lexicon import flat, lexicon_of
from squibwise.intake.report.reader import understand
from squibwise.model.report import CodeLine

CATALOG = load_catalog()
FAULTS = {
    "en": (
        "B1A11-13 driver airbag stage 1 open circuit, present",
        "B1A22-11 left curtain short to ground, stored",
    ),
    "de": (
        "B1A11-13 Fahrerairbag Stufe 1 Unterbrechung, vorhanden",
        "B1A22-11 Kopfairbag links Kurzschluss nach Masse, gespeichert",
    ),
    "fr": (
        "B1A11-13 airbag conducteur étage 1 circuit ouvert, présent",
        "B1A22-11 rideau gauche court-circuit à la masse, mémorisé",
    ),
    "es": (
        "B1A11-13 airbag conductor etapa 1 circuito abierto, presente",
        "B1A22-11 cortina izquierda corto a masa, memorizado",
    ),
    "it": (
        "B1A11-13 airbag guida stadio 1 circuito aperto, presente",
        "B1A22-11 tendina sinistra corto a massa, memorizzato",
    ),
    "pt": (
        "B1A11-13 airbag motorista estágio 1 circuito aberto, presente",
        "B1A22-11 cortina esquerda curto à massa, memorizado",
    ),
    "pl": (
        "B1A11-13 poduszka kierowcy stopień 1 przerwa w obwodzie, obecny",
        "B1A22-11 kurtyna lewa zwarcie do masy, zapisany",
    ),
    "nl": (
        "B1A11-13 airbag bestuurder trap 1 onderbroken, aanwezig",
        "B1A22-11 gordijnairbag links kortsluiting naar massa, opgeslagen",
    ),
}


def _lines() -> list[tuple[str, str]]:
    text = (Path(__file__).parent / "no_faults.txt").read_text(encoding="utf-8")
    found, language = [], ""
    for row in text.splitlines():
        if row.startswith("@"):
            language = row[1:]
        elif row and not row.startswith("#"):
            found.append((language, row))
    return found


def _read(texts: list[str]) -> tuple[CodeLine, ...]:
    raws = [RawLine(number=at, text=text) for at, text in enumerate(texts, start=1)]
    return understand(raws, "x", CATALOG).lines


def _is_present_fault(line: CodeLine) -> bool:
    return line.present and not line.repeats and line.unit != "other"


@pytest.mark.parametrize("language", FAULTS)
def test_a_line_between_faults_adds_none_and_changes_none(language: str) -> None:
    first, last = FAULTS[language]
    alone = [(ln.code, ln.component, ln.fault, ln.status) for ln in _read([first, last])]
    wrong = []
    for _, between in (row for row in _lines() if row[0] == language):
        read = [ln for ln in _read([first, between, last]) if _is_present_fault(ln)]
        if [(ln.code, ln.component, ln.fault, ln.status) for ln in read] != alone:
            wrong.append(between)
    assert wrong == []


LABELS = ("Crate", "Armadio", "Szafka", "Taquilla", "Gaveta", "Casier", "Schrank", "Foglio")
DRESSES = (
    *("{label} {number}", "{label}: {number}", "{label} no. {number}", "{label} #{number}"),
    *("{label}={number}", "{label}-Nr. {number}", "{label} n° {number}", "({label} {number})"),
)
NUMBERS = (
    *("B1020", "C0003", "U0121", "B1A31-13", "9B2013", "12345", "00412", "22", "5Q0-959-655"),
    *("2024-11-03", "03/04/24", "01632 960112", "+49 170 5550142", "555-0142", "118,40", "H07"),
    *("A7-B1020-11", "12.5", "0312", "B1.22", "1200-33", "B 1234"),
)
REPORTS = {
    "codes": FAULTS["en"],
    "hex": ("8C4101  Driver airbag 1 open  current", "8C4102  Left curtain short to ground"),
    "decimal": (
        "01741  igniter driver airbag  resistance too high",
        "00611  module internal fault",
    ),
    "flash": ("flash code 32 driver airbag open", "lamp flashes 2-3, clock spring open"),
    "words": ("driver airbag stage 1 open circuit", "left curtain short to ground"),
}


def test_the_labels_are_words_that_nobody_told_the_reader() -> None:
    lexicon = lexicon_of(CATALOG)
    assert not [word for word in LABELS if lexicon.means_alone(flat(word))]


@pytest.mark.parametrize("at", [0, 2], ids=["above", "below"])
@pytest.mark.parametrize("kind", REPORTS)
def test_the_number_of_a_thing_that_nobody_knows_is_no_fault(kind: str, at: int) -> None:
    wrong = []
    for place, (number, dress) in enumerate(product(NUMBERS, DRESSES)):
        label = dress.format(label=LABELS[place % len(LABELS)], number=number)
        read = _read([*REPORTS[kind][:at], label, *REPORTS[kind][at:]])
        if len([ln for ln in read if _is_present_fault(ln)]) != len(REPORTS[kind]):
            wrong.append(label)
    assert wrong == []


def test_a_remark_in_a_row_is_no_question_of_its_fault() -> None:
    text = (
        "unit,code,what,state,remark\n"
        "SRS,B5310,driver buckle switch signal invalid,stored,plug loose?\n"
        "SRS,B5311,left curtain short to ground,present,\n"
        "SRS,B5312,passenger airbag open circuit,present,ordered\n"
    )
    assert [ln.code for ln in read_text(text, "list.csv").lines] == ["B5310", "B5311", "B5312"]


def test_a_code_with_a_question_mark_is_asked_about() -> None:
    text = (
        "B5310 left curtain short to ground\n"
        "Could the clock spring also cause B5399? I do not think so.\n"
    )
    assert [ln.code for ln in read_text(text).lines] == ["B5310"]


REPAIRED = {
    "en": ("Before repair:", "After repair:"),
    "de": ("Vor der Reparatur", "Nach der Reparatur"),
    "fr": ("Avant réparation :", "Après réparation :"),
    "es": ("Antes de la reparación:", "Después de la reparación:"),
    "it": ("Prima della riparazione:", "Dopo la riparazione:"),
    "pt": ("Antes do reparo:", "Depois do reparo:"),
    "pl": ("Przed naprawą:", "Po naprawie:"),
}


@pytest.mark.parametrize("language", REPAIRED)
def test_a_list_before_a_repair_is_past_where_one_after_it_follows(language: str) -> None:
    (before, after), (first, last) = REPAIRED[language], FAULTS[language]
    read = _read([before, first, last, after, last])
    assert [ln.code for ln in read if ln.present and not ln.repeats] == ["B1A22"]
    assert [ln.present for ln in _read([before, first, last])] == [True, True]


@pytest.mark.parametrize(
    "said",
    [
        "> on mine B1A11 was just the plug",
        "that's the other van. B1A11 that was last year",
        "Moi j'avais B1A11 sur mon ancienne, juste le connecteur, réparé depuis.",
        "-- reply: bij mij was B1A11 ook, stekker onder stuur, nu weg",
        "kev: B1A11 was on my old one years ago, long gone",
        "My B1A11 was the plug, cured it in 2021.",
    ],
)
def test_another_car_with_the_same_code_takes_none_away_here(said: str) -> None:
    read = _read([*FAULTS["en"], said])
    assert [ln.code for ln in read if ln.present] == ["B1A11", "B1A22"]


def test_all_of_a_line_are_gone_where_the_next_sentence_says_all() -> None:
    read = _read(["The unit held B1A31, B1A32 and B1A33. All three are gone.", *FAULTS["en"]])
    assert [ln.code for ln in read if ln.present] == ["B1A11", "B1A22"]


def test_running_text_that_goes_on_in_the_next_line_tells_of_the_same_car() -> None:
    told = "The red one that I had here last month came with B1A41 passenger knee"
    read = _read([*FAULTS["en"], told, "bag and a dead clock spring."])
    assert [ln.code for ln in read if ln.present] == ["B1A11", "B1A22"]


def test_a_column_that_answers_whether_there_is_a_fault_leaves_out_the_parts_without() -> None:
    text = (
        "part                     fault   number   remark\n"
        "driver airbag            no\n"
        "left curtain             yes     7A115    short to ground, present\n"
        "clock spring             no\n"
        "passenger knee airbag    yes     7A122    open, stored\n"
        "right curtain            yes     7A131    open, present\n"
    )
    assert [ln.code for ln in read_text(text).lines] == ["7A115", "7A122", "7A131"]


def test_the_key_of_a_car_in_a_column_is_no_code_where_its_row_has_none() -> None:
    text = (
        "bay;key;part;what;number\n"
        "A3;K-771;left curtain;open;07721\nA3;K-771;clock spring;open;07731\n"
        "A3;K-771;driver airbag;short to ground;07732\nB1;K-774;;lamp off after 5 s;\n"
    )
    assert [ln.code for ln in read_text(text, "l.csv").lines] == ["07721", "07731", "07732"]


def test_a_row_that_says_no_fault_of_one_place_announces_no_number() -> None:
    first, last = FAULTS["en"]
    texts = [first, "5 drv fr bgg stg 1 - no fault", last, "faults: 2"]
    raws = [RawLine(number=at, text=text) for at, text in enumerate(texts, start=1)]
    assert understand(raws, "x", CATALOG).findings == ()


@pytest.mark.parametrize(
    "row",
    [
        "no        left curtain            2           B1A22-13    short to ground",
        "no lol. B1A22 left curtain short to ground, history",
        "no, B1A22 left curtain short to ground",
        "nein, B1A22 Kopfairbag links Kurzschluss nach Masse",
    ],
)
def test_a_no_in_front_of_a_fault_answers_somebody_and_denies_nothing(row: str) -> None:
    read = _read([FAULTS["en"][0], row])
    assert [(ln.code, ln.present) for ln in read] == [("B1A11", True), ("B1A22", True)]


@pytest.mark.parametrize(
    "said",
    [
        "Bottom line: driver airbag open circuit.",
        "Cleared it all, drove ten miles, and the driver airbag open circuit is back.",
        "the driver airbag is open, I unplugged it twice and scratched my head",
        "Der Fahrerairbag hat weiterhin eine Unterbrechung.",
        "Habe gelöscht, nach 200 m war die Unterbrechung am Fahrerairbag wieder da.",
        "Il reste l'airbag conducteur, résistance trop élevée.",
        "There is nothing else, only the driver airbag open.",
        "Sonst ist nichts drin, nur Fahrerairbag Unterbrechung.",
        "Se queja del airbag del conductor, resistencia alta.",
        "La diagnosi dà airbag guida aperto e non si cancella.",
        "O aparelho acusa airbag do motorista em circuito aberto.",
        "Poduszka kierowcy nadal ma przerwę w obwodzie.",
    ],
)
def test_a_sentence_that_asserts_its_fault_is_one(said: str) -> None:
    told = [(ln.component, ln.fault, ln.present) for ln in _read([said])]
    assert told == [("driver.front-bag", "open-or-high", True)]


UNSURE = "Whoever told you the driver airbag is open circuit is talking rubbish."


def test_a_sentence_that_may_deny_its_fault_is_asked_about_once() -> None:
    read = read_text(f"{UNSURE}\nleft curtain short to ground\n")
    doubtful, sure = read.lines
    assert (doubtful.component, doubtful.fault) == ("driver.front-bag", "open-or-high")
    assert (doubtful.present, sure.present, read.doubtful) == (False, True, (doubtful,))
    assert [f.origin.line for f in read.findings if f.code == "told-not-sure"] == [1]


def test_a_sentence_is_not_asked_about_where_another_line_is_sure() -> None:
    read = read_text(f"{UNSURE}\ndriver airbag open circuit\n")
    assert [(ln.present, ln.repeats) for ln in read.lines] == [(False, ()), (True, ())]
    assert read.doubtful == ()


@pytest.mark.parametrize(
    "said",
    [
        "Wickelfeder unterbrochen, die Hupe quakt auch nicht",
        "contacteur tournant coupé, le klaxon ne marche pas non plus",
        "spirale interrotta, non suona neanche il clacson",
    ],
)
def test_what_is_denied_of_something_else_denies_no_fault(said: str) -> None:
    read = _read([said])
    assert [(ln.kind, ln.fault, ln.is_doubtful) for ln in read] == [
        ("clock-spring", "open-or-high", True)
    ]


@pytest.mark.parametrize(
    "said",
    [
        "U0 none. B1A11 driver airbag open, present",
        "B1A11 driver airbag open, gone, back after 200 m",
        "B1A11 driver airbag open, passenger one nil",
        "B1A11 Fahrerairbag Unterbrechung - vorhanden     heute morgen noch nicht da",
        "What I do not get is B1A11, driver airbag open, the belt pulls fine.",
        "B1A11 Fahrerairbag Unterbrechung, Schraube fehlt",
        "falta uno: B1A11 airbag del conductor abierto",
        "B1A11 driver airbag open circuit, no idea why.",
        "B1A11 driver airbag open, not shorted",
        "Not much in there, just B1A11 driver airbag open.",
        "Keine Crashdaten, aber B1A11 Fahrerairbag Unterbrechung steht drin.",
        "Pas de données de choc mais B1A11 airbag conducteur ouvert.",
        "Non c'è molto, solo B1A11 airbag guida aperto.",
    ],
)
def test_what_is_denied_beside_a_code_leaves_it_there(said: str) -> None:
    read = _read([said, FAULTS["en"][1]])
    assert [(ln.code, ln.present) for ln in read] == [("B1A11", True), ("B1A22", True)]


@pytest.mark.parametrize(
    "said",
    [
        "NOT SUPPORTED ON THIS MODULE: B1A31, B1A32",
        "His threw B1A31 and B1A32, both curtains, after the lining had been out.",
        "dads wagon had B1A31 rear buckle open",
        "WORK ORDER  A-B1077        wagon, silver, wheel on the left",
        "van 5   lamp on steady, no count",
    ],
)
def test_codes_that_are_not_supported_of_others_or_of_papers_are_none(said: str) -> None:
    for texts in ([said, *FAULTS["en"]], [*FAULTS["en"], said]):
        assert [ln.code for ln in _read(texts) if ln.present] == ["B1A11", "B1A22"]


def test_a_column_of_answers_goes_on_past_a_row_without_one() -> None:
    read = _read(
        [
            "part                              fault?   what the screen said",
            "driver front airbag, stage 1      YES      open loop",
            "driver knee airbag                YES      high resistance",
            "passenger knee airbag             n/a      not fitted",
            "left seat side airbag             NO",
            "right curtain                     YES      shorted to battery",
            "clock spring                      ?        could not tell",
            "passenger seat weight sensor      NO",
        ]
    )
    assert [(ln.line, ln.present) for ln in read] == [(2, True), (3, True), (6, True)]


def test_the_label_of_a_form_that_nothing_answers_is_asked_about() -> None:
    form = "keys: two    driver airbag open: {}"
    assert [(ln.present, ln.is_doubtful) for ln in _read([form.format("see below")])] == [
        (False, True)
    ]
    assert [ln.present for ln in _read([form.format("yes")])] == [True]


CHATS = [  # a line of another car, of hearsay or of the past ends with `#`
    """la mienne : airbag conducteur ouvert
l'autre : airbag passager ouvert #
le vendeur m'avait dit que le prétensionneur droit était HS #
je l'ai remplacé, le défaut est parti #
chez moi le contacteur tournant est bon #
avant réparation : airbag genoux conducteur ouvert #
et maintenant ? plus rien sur le genou #
rideau gauche en court-circuit, intermittent""",
    """olá, segue a lista #
airbag do condutor aberto, presente
o vendedor disse que a cortina direita estava em curto #
aqui a cortina direita está boa #
o carro do meu primo tinha o pré-tensor direito aberto #
o meu pré-tensor direito não tem defeito #
antes do acidente já tinha o sensor da porta esquerda sem sinal #
fecho do passageiro em curto, não aberto""",
    """mine: driver airbag open, not shorted
the other: left curtain open #
before the repair: driver knee bag open #
now: passenger pretensioner short to ground
my mate's van had the right curtain open, turned out to be the plug #
seller claimed the buckle was replaced, was open before #
left door sensor no signal, comes and goes""",
    """u mnie: poduszka kierowcy przerwa, obecny
drugie: kurtyna lewa przerwa #
poprzedni właściciel mówił że kurtyna prawa była zwarta #
kolega miał przerwę w napinaczu prawym #
mata fotela nieskalibrowana""",
]


@pytest.mark.parametrize("chat", CHATS)
def test_a_chat_tells_the_faults_of_its_own_car_alone(chat: str) -> None:
    lines = chat.split("\n")
    read = _read([line.removesuffix(" #") for line in lines])
    told = [n for n, line in enumerate(lines, 1) if not line.endswith("#")]
    assert [ln.line for ln in read if ln.present] == told
    assert all(ln.fault != "unknown" for ln in read if ln.present)


def test_an_article_is_no_yes_below_a_word_of_praise() -> None:
    text = CHATS[1].replace(" #", "")
    read = read_text(text, "r.txt")
    assert {u.line for u in read.unread} | {ln.line for ln in read.lines} == set(range(1, 9))
    assert "right.curtain" in {c.component for c in read.coverage.clean}
