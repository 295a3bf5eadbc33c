"""What one piece of a report says of several codes, or of another than its own. Our own texts."""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.reader import understand
from squibwise.model.report import CodeLine

CATALOG = load_catalog()


def read(*texts: str) -> tuple[CodeLine, ...]:
    lines = [RawLine(number=n, text=t) for n, t in enumerate(texts, 1)]
    return understand(lines, "test", CATALOG).lines


def test_a_sentence_that_says_both_are_current_is_said_of_both() -> None:
    text = (
        "B1A11 driver bag stage 2, short to ground. Also B1A15 passenger buckle open. Both current."
    )
    assert [ln.status for ln in read(text)] == [("present",), ("present",)]


def test_the_same_is_of_the_same_status() -> None:
    _, second = read(
        "B1A11 driver airbag squib 1 open - stored", "B1A12 driver airbag squib 2 - same"
    )
    assert (second.stage, second.fault, second.status) == (2, "open-or-high", ("stored",))


def test_a_place_alone_behind_a_code_is_of_the_part_and_fault_before() -> None:
    _, second = read("B1A11 left front buckle pretensioner open, right front one too (B1A12)")
    assert (second.component, second.fault) == ("passenger.buckle-pretensioner", "open-or-high")


def test_what_is_denied_of_another_seat_does_not_widen_the_place() -> None:
    (line,) = read("B1A11 driver retractor pretensioner open, nothing for the passenger belt")
    assert line.component == "driver.retractor-pretensioner"


def test_a_word_of_two_letters_is_no_misspelt_side() -> None:
    (line,) = read("oh and left front crash sensor no communication B1A11")
    assert line.component == "nose-left.impact-sensor"


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("PRE-REPAIR SCAN  04/11  8:31", "POST-REPAIR SCAN  05/02  15:10"),
        ("Eingangsscan", "Abschlussscan"),
        ("Initial scan", "Final scan"),
    ],
)
def test_what_the_last_list_shows_is_there_and_the_list_before_is_past(
    first: str, second: str
) -> None:
    lines = read(
        first,
        "B1A11 driver airbag stage 1 open - present",
        "B1A12 left curtain open - present",
        second,
        "B1A12 left curtain open - stored",
    )
    assert [(ln.code, ln.present, ln.repeats) for ln in lines] == [
        ("B1A11", False, ()),
        ("B1A12", False, ()),
        ("B1A12", True, ()),
    ]


def test_a_code_that_came_back_is_no_repetition_of_the_one_that_was_cleared() -> None:
    _, second = read("B1A11 left curtain open - cleared", "B1A11 left curtain open - present")
    assert second.present
    assert second.repeats == ()


def test_a_legend_on_one_line_is_read_into_the_column_of_its_letters() -> None:
    rows = (
        "| 1 | B1A11 | driver airbag loop 1 open | A | 40 |",
        "| 2 | B1A12 | left curtain open | H | 2 |",
        "| 3 | U0100 | no comm w/ ECM | I | 1 |",
        "A = active H = history I = intermittent",
    )
    found = read(*rows)
    assert [ln.status for ln in found] == [("present",), ("stored",), ("intermittent",)]
    assert found[2].unit == "restraint"


@pytest.mark.parametrize(
    ("text", "component"),
    [
        ("PS BAG 1 resistance high", "passenger.front-bag"),
        ("DS BAG 2 open", "driver.front-bag"),
        ("zijairb stoel bestuurder weerstand te laag", "driver.seat-bag"),
    ],
)
def test_shortened_names_are_read(text: str, component: str) -> None:
    (line,) = read(f"B1A11 {text}")
    assert line.component == component


def test_answers_in_columns_of_seats_name_the_seat() -> None:
    cells = (
        ("check", "driver", "passenger", "remark"),
        ("front airbag circuit open", "yes", "no", "B1A11"),
        ("retractor pretensioner open", "yes", "yes", "B1A12 and B1A13"),
        ("seat airbag shorted", "no", "no", ""),
        ("buckle switch shorted", "no", "yes", "B1A14"),
    )
    lines = [RawLine(number=n, text="\t".join(row), cells=row) for n, row in enumerate(cells, 1)]
    found = understand(lines, "test", CATALOG).lines
    assert [(ln.code, ln.component, ln.present) for ln in found] == [
        ("B1A11", "driver.front-bag", True),
        ("B1A12", "driver.retractor-pretensioner", True),
        ("B1A13", "passenger.retractor-pretensioner", True),
        ("B1A14", "passenger.buckle-switch", True),
    ]


def test_blinks_counted_one_after_the_other_in_a_story_are_read_and_a_neighbour_s_are_not() -> None:
    lines = read(
        "The lamp of the car blinks its codes when the test pin is grounded.",
        "Then 3-4 passenger airbag open",
        "Next 4-1 driver airbag shorted",
        "My neighbor's coupe also blinks a 3-2 but that one is a clock spring he says.",
    )
    assert [(ln.code, ln.kind, ln.present) for ln in lines] == [
        ("3-4", "front-bag", True),
        ("4-1", "front-bag", True),
        ("3-2", "clock-spring", False),
    ]


def test_a_correction_of_the_code_may_correct_the_place_as_well() -> None:
    (line,) = read(
        "car is right-hand drive",
        "B1A11  offside seat airbag open circuit",
        "correction: first line should read NEARSIDE seat airbag, B1A12 not B1A11.",
    )
    assert (line.code, line.component) == ("B1A12", "passenger.seat-bag")


@pytest.mark.parametrize(
    ("texts", "places"),
    [
        (["B1A11 Left/Right curtain     both resistance low"], ["left", "right"]),
        (["B1A11 Drv / Pass airbag   Drv: open   Pass: shorted"], ["driver", "passenger"]),
        (["B1A11 left curtain open, right shorted to ground"], ["left", "right"]),
        (["curtain bags: left open B1A11, right ok"], ["left"]),
        (
            [
                "Code    Item        Left            Right",
                "B1A11   curtain     -               open circuit",
                "B1A12   seat bag    short circuit   ok",
                "B1A13   knee bag    open circuit    open circuit",
            ],
            ["right", "driver", "driver", "passenger"],
        ),
        (
            ["RHD", "B1A11 and B1A12 curtains, offside and nearside in that order, both open"],
            ["right", "left"],
        ),
    ],
)
def test_each_place_of_a_line_or_a_row_has_its_own_fault(
    texts: list[str], places: list[str]
) -> None:
    found = [ln.place for ln in read(*texts)]
    assert found == places


# Which parts are at fault, of texts that tell of several; our own.
SEVERAL = {
    "Seitenairbag rechts offen, Kopfairbag rechts ohne Befund": ["passenger.seat-bag"],
    "left seat bag open, left curtain good": ["driver.seat-bag"],
    "left seat bag open, left curtain not shorted": ["driver.seat-bag"],
    "airbag lateral derecho abierto, cortina derecha sin averías": ["passenger.seat-bag"],
    "gordijnairbag rechts onderbroken, zijairbag rechts geen fouten": ["right.curtain"],
    "On the right side seat bag and curtain both open": ["passenger.seat-bag", "right.curtain"],
    "Rechts Seitenairbag und Kopfairbag beide offen": ["passenger.seat-bag", "right.curtain"],
    "B1A15 airbag conducteur ouvert ; prétensionneur droit en court-circuit": [
        "driver.front-bag",
        "passenger.retractor-pretensioner",
    ],
    "B1A15 driver airbag open / passenger pretensioner short to ground": [
        "driver.front-bag",
        "passenger.retractor-pretensioner",
    ],
    "B1A12 left seat bag\npassenger pretensioner open": [
        "driver.seat-bag",
        "passenger.retractor-pretensioner",
    ],
    "B1A12 left seat bag\n  circuit open": ["driver.seat-bag"],
}


@pytest.mark.parametrize("text", SEVERAL)
def test_of_several_parts_each_that_is_at_fault_is_told_and_no_other(text: str) -> None:
    assert [ln.component for ln in read(*text.split("\n")) if ln.present] == SEVERAL[text]


# Our own sentences.
@pytest.mark.parametrize(
    "text",
    [
        "Left curtain: shorted to ground one time, next time not.",
        "Kopfairbag rechts hat mal einen Masseschluss und mal keinen.",
        "Rideau gauche : court-circuit à la masse un coup oui un coup non.",
        "Lewa kurtyna raz ma zwarcie do masy, raz nie.",
        "Tendina sinistra ora in corto, ora no.",
        "La tendina sinistra era aperta, sistemata ieri",
        "Left curtain: never opened, code says open",
        "Kurzschluss am rechten Kopfairbag konnte ich nicht nachvollziehen",
    ],
)
def test_what_comes_and_goes_or_was_mended_or_not_reproduced_is_no_circuit_found_good(
    text: str,
) -> None:
    assert understand([RawLine(number=1, text=text)], "test", CATALOG).coverage.clean == ()


@pytest.mark.parametrize(
    "text",
    [
        "B1C77 right curtain circuit open, no stored impact in the module",
        "B1C77 Kopfairbag rechts Unterbrechung, ein Aufprall ist nicht gespeichert",
        "B1C77 cortina derecha abierta, ningún impacto guardado en la unidad",
    ],
)
def test_a_record_that_a_clause_denies_is_denied_of_the_unit(text: str) -> None:
    read = understand([RawLine(number=1, text=text)], "test", CATALOG)
    assert read.coverage.no_crash_record is not None
    assert [ln.present for ln in read.lines] == [True]


BAG_AND_CURTAIN = ["driver.front-bag", "right.curtain"]


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("Wagen 3 Code 42, Kopfairbag links, Unterbrechung", ["left.curtain"]),
        ("red van 2 codes, left curtain, open circuit", ["left.curtain"]),
        ("Coche 4 código 32 cortina derecha circuito abierto", ["right.curtain"]),
        ("SRS 2 faults: driver airbag open, right curtain shorted", BAG_AND_CURTAIN),
        ("2 défauts, airbag conducteur ouvert et rideau droit en court-circuit", BAG_AND_CURTAIN),
        ("Airbags: 2 Fehler, Fahrerairbag Schluss, Kopfairbag rechts offen", BAG_AND_CURTAIN),
        ("Airbag: 1 fallo, cortina derecha abierta", ["right.curtain"]),
        ("2 faults stored in airbag module", []),
        ("Airbag: 3 codes", []),
    ],
)
def test_a_line_that_counts_and_tells_is_read_for_what_it_tells(line: str, told: list[str]) -> None:
    assert [ln.component for ln in read(line)] == told
