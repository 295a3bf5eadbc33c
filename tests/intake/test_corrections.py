"""What a writer puts right further down changes the fault above it, and is no fault itself.

Texts of our own; what they say was written down before they were read. Common practice, no source.
"""

import pytest
from texts import read_text

from squibwise.catalog.load import load_catalog

# fault above, and the right part as its correction names it
SIDES = {
    "en": ("left curtain, short to ground", "it is the right curtain"),
    "de": ("Kopfairbag links, Kurzschluss nach Masse", "es ist der Kopfairbag rechts"),
    "fr": ("rideau gauche, court-circuit à la masse", "c'est le rideau droit"),
    "es": ("cortina izquierda, corto a masa", "es la cortina derecha"),
    "it": ("tendina sinistra, corto a massa", "è la tendina destra"),
    "pl": ("kurtyna lewa, zwarcie do masy", "to kurtyna prawa"),
    "pt": ("cortina esquerda, curto à massa", "é a cortina direita"),
}
CUES = [(t.language, t.phrase) for t in load_catalog().vocabulary.terms if t.means == ("amends",)]


@pytest.mark.parametrize(("language", "cue"), CUES)
def test_every_word_that_amends_moves_the_part_to_its_other_side(language: str, cue: str) -> None:
    wrong, right = SIDES[language]
    text = f"B5310 {wrong}\nB5320 crash recorded\n{cue}, {right}\n"
    lines = read_text(text).lines
    assert [(ln.code, ln.component) for ln in lines if ln.code == "B5310"] == [
        ("B5310", "right.curtain")
    ]
    assert len(lines) == 2


@pytest.mark.parametrize(
    "said",
    [
        "B5310 is the right curtain not the left",
        "B5310 is the right curtain, not the left",
        "the curtain is the right one not the left one",
    ],
)
def test_one_place_and_not_the_other_needs_no_word_for_it(said: str) -> None:
    lines = read_text(f"B5310 left curtain, short to ground\nB5320 crash recorded\n{said}\n").lines
    assert [ln.component for ln in lines if ln.code == "B5310"] == ["right.curtain"]
    assert len(lines) == 2


@pytest.mark.parametrize(
    "said",
    [
        "no hang on, the short to earth one is the offside curtain, nearside is fine",
        "no wait the shorted curtain is the offside one. nearside is ok",
    ],
)
def test_what_is_said_of_the_other_side_behind_it_is_no_matter(said: str) -> None:
    lines = read_text(f"B5310 nearside curtain, short to ground\n{said}\n").lines
    assert [ln.component for ln in lines] == ["right.curtain"]


@pytest.mark.parametrize(
    "said",
    [
        "my mistake, it is the right seat airbag",  # no seat airbag is told above
        "i meant the left curtain",  # the same side as above
        "sorry, will send the rest tomorrow",
    ],
)
def test_what_fits_no_fault_changes_none(said: str) -> None:
    above = "B5310 left curtain, short to ground\nB5311 driver airbag, open circuit\n"
    lines = read_text(f"{above}{said}\n").lines
    assert [ln.component for ln in lines[:2]] == ["left.curtain", "driver.front-bag"]


def test_where_two_parts_fit_none_is_moved() -> None:
    text = (
        "B5310 left front retractor pretensioner, open circuit\n"
        "B5311 left rear retractor pretensioner, open circuit\n"
        "no wait, the pretensioner is the right one\n"
    )
    assert [ln.side for ln in read_text(text).lines[:2]] == ["left", "left"]


def test_a_new_fault_behind_such_a_word_is_a_fault() -> None:
    text = "B5310 left curtain, short to ground\nno wait, B5320 right curtain, open circuit too\n"
    lines = read_text(text).lines
    assert [(ln.code, ln.component) for ln in lines] == [
        ("B5310", "left.curtain"),
        ("B5320", "right.curtain"),
    ]


# fault above, and what a later line makes of its code
SLIPS = {
    "en": ("B1E17 driver buckle pretensioner open circuit", "no wait, that is B1E71 not B1E17"),
    "en, read": ("B1E17 driver buckle pretensioner open circuit", "B1E17 should read B1E71"),
    "de": ("B1E17 Gurtstraffer Fahrer Unterbrechung", "vertippt: B1E71 statt B1E17"),
    "de, sharp s": ("B1E17 Gurtstraffer Fahrer Unterbrechung", "heißt: B1E71 statt B1E17"),
    "de, must": ("B1E17 Gurtstraffer Fahrer Unterbrechung", "B1E17 muss B1E71 heißen"),
    "fr": ("B1E17 prétensionneur conducteur circuit ouvert", "erratum : B1E71 et non B1E17"),
    "es": ("B1E17 pretensor conductor circuito abierto", "me equivoqué, es B1E71 en vez de B1E17"),
    "it": ("B1E17 pretensionatore guidatore circuito aperto", "ho sbagliato, B1E71 non B1E17"),
    "pt": ("B1E17 pré-tensor condutor circuito aberto", "errei: B1E71 em vez de B1E17"),
    "pl": ("B1E17 napinacz kierowcy przerwa", "pomyłka: B1E71, nie B1E17"),
}


@pytest.mark.parametrize("language", SLIPS)
def test_a_code_taken_back_gives_its_fault_the_code_that_holds(language: str) -> None:
    fault, slip = SLIPS[language]
    lines = read_text(f"{fault}\nB5320 crash recorded\n{slip}\n").lines
    assert [(ln.code, ln.fault) for ln in lines] == [
        ("B1E71", "open-or-high"),
        ("B5320", "event-recorded"),
    ]


def test_a_slip_of_one_line_leaves_only_the_code_that_holds() -> None:
    text = "Where I wrote B1E17 it should say B1E71, driver's buckle pretensioner, open\n"
    assert [ln.code for ln in read_text(text).lines] == ["B1E71"]


@pytest.mark.parametrize(
    "said", ["now only B1001 is stored, not B1002", "B1001 is back, not B1002"]
)
def test_a_code_that_stood_before_is_no_slip_of_another(said: str) -> None:
    text = f"B1001 driver airbag open circuit\nB1002 passenger airbag open circuit\n{said}\n"
    assert {"B1001", "B1002"} <= {ln.code for ln in read_text(text).lines}


@pytest.mark.parametrize("tail", ["not 61", "not six one", "nicht 61"])
def test_a_code_is_taken_back_by_its_last_digits(tail: str) -> None:
    text = f"B1461 driver buckle switch stuck\nthe buckle switch is B1462, {tail}\n"
    assert [(ln.code, ln.kind) for ln in read_text(text).lines] == [("B1462", "buckle-switch")]
