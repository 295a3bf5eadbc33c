"""Where things stand on a page: columns, wrapped words, rows of their own, misread codes.

The texts are ours.
"""

import io

import openpyxl
import pytest
from tests.intake.texts import CATALOG, read_text

from squibwise.intake.report.reader import read_report

COLUMNS = """Airbag control unit

Current                                      Current, continued

B2312 Passenger airbag stage 1 open          B2334 Passenger weight sensor not calibrated
B2320 Left curtain open                      History
B2327 Driver knee airbag open
                                             B2341 Right curtain short to battery
                                             B234D Clock spring open
"""


def test_a_heading_holds_for_its_own_column_from_there_down() -> None:
    told = {ln.code: ln.status for ln in read_text(COLUMNS).lines}
    here, once = ("present",), ("stored",)
    assert told == {
        "B2312": here,
        "B2320": here,
        "B2327": here,
        "B2334": here,
        "B2341": once,
        "B234D": once,
    }


STAGGERED = """Steuergerät Airbag              gelesen am 3.
Aktuell                         Aktuell, Fortsetzung
B2C2F Gurtstraffer Schloss      B2C48 Crashdaten gespeichert
      Fahrer Unterbrechung      B2C33 Sitzmatte Beifahrer
B2C12 Airbag Beifahrer Stufe 1        nicht kalibriert
      Unterbrechung
B2C13 Airbag Beifahrer Stufe 2  Historisch
      Widerstand zu hoch        B2C3C Wickelfeder Unterbrechung
"""


def test_columns_whose_rows_do_not_stand_beside_each_other_keep_their_own_words() -> None:
    told = [(ln.code, ln.component, ln.fault, ln.status) for ln in read_text(STAGGERED).lines]
    here, once = ("present",), ("stored",)
    assert told == [
        ("B2C2F", "driver.buckle-pretensioner", "open-or-high", here),
        ("B2C12", "passenger.front-bag", "open-or-high", here),
        ("B2C13", "passenger.front-bag", "open-or-high", here),
        ("B2C48", "centre.control-unit", "event-recorded", here),
        ("B2C33", "passenger.occupant-sensor", "calibration", here),
        ("B2C3C", "driver.clock-spring", "open-or-high", once),
    ]


def test_units_that_head_columns_side_by_side_keep_their_own_codes() -> None:
    text = (
        "Motore                                  Airbag\n\n"
        "P0301 mancata accensione cilindro 1     B1520 tendina destra aperta\n"
        "P0171 miscela magra                     B1522 spiralato aperto\n"
    )
    units = [(ln.code, ln.unit) for ln in read_text(text).lines]
    assert units == [
        ("P0301", "other"),
        ("P0171", "other"),
        ("B1520", "restraint"),
        ("B1522", "restraint"),
    ]


def test_headings_above_a_single_row_of_two_faults_hold_for_their_own() -> None:
    text = (
        "AKTUELL                               HISTORISCH\n"
        "B1951 Fahrerairbag Unterbrechung      B1961 Kopfairbag links Unterbrechung\n"
    )
    assert [ln.status for ln in read_text(text).lines] == [("present",), ("stored",)]


WRAPPED = [  # words cut on any line, and a last line of one word
    (
        "B172A   Airbag rideau    ancien\n        gauche résis-\n        tance trop basse\n",
        ("left.curtain", "low-or-short"),
    ),
    (
        "B172A   Kurtyna          zapisany\n        lewa prze-\n        rwa\n",
        ("left.curtain", "open-or-high"),
    ),
    (
        "B172A   Left curtain     stored\n        airbag resis-\n        tance too low\n",
        ("left.curtain", "low-or-short"),
    ),
    (
        "B1713   Beifahrerairbag     aktuell\n        Kurzschluss nach\n        Masse\n",
        ("passenger.front-bag", "short-to-ground"),
    ),
    (
        "B1713   Cortina          actual\n        izquierda corto a\n        positivo\n",
        ("left.curtain", "short-to-battery"),
    ),
]


@pytest.mark.parametrize(("text", "meant"), WRAPPED)
def test_a_description_is_read_over_all_its_lines(text: str, meant: tuple[str, str]) -> None:
    (line,) = read_text(text).lines
    assert (line.component, line.fault) == meant


OWN_ROWS = [
    "B1A12 left seat bag\npassenger pretensioner open\nB1A14 driver airbag open\n",
    "B1A12 airbag latéral gauche\nprétensionneur passager coupé\nB1A14 airbag conducteur coupé\n",
    "B1A12 pod. boczna lewa\nnapinacz pasażera przerwa\nB1A14 poduszka kierowcy przerwa\n",
    "B1A12 Seitenairbag links\nGurtstraffer Beifahrer Unterbrechung\n",
]


@pytest.mark.parametrize("text", OWN_ROWS)
def test_a_line_that_names_another_part_is_a_fault_of_its_own(text: str) -> None:
    first, second, *_ = read_text(text).lines
    assert (first.component, first.fault) == ("driver.seat-bag", "unknown")
    assert (second.component, second.fault) == ("passenger.retractor-pretensioner", "open-or-high")


def test_a_part_below_a_code_that_names_none_is_that_code_s() -> None:
    (line,) = read_text("B1A12 open circuit\nDriver airbag\n").lines
    assert (line.component, line.fault) == ("driver.front-bag", "open-or-high")


def test_what_stands_in_the_column_of_codes_is_one_however_it_is_misread() -> None:
    text = (
        "B14I0-13  Driver airbag circuit 0pen           current\n"
        "B1422-1B  Left curtain resistance high         current\n"
        "UO1SS     No comrnunication with cluster        stored\n"
        "BISOO-I3  Right curtain open                    stored\n"
        "B1 47O-00 Crash recorded                       current\n"
    )
    read = read_text(text)
    codes = [ln.code for ln in read.lines]
    assert codes == ["B14I0-13", "B1422", "UO1SS", "BISOO-I3", "B1 47O-00"]
    (asked,) = [f.message for f in read.findings if f.code == "codes-repaired"]
    repaired = ["as B1410-13", "as U0155", "as B1500-13", "as B1470-00"]
    assert all(code in asked for code in repaired), asked


def test_a_word_in_the_column_of_codes_is_none() -> None:
    text = "B1410  Driver airbag open\nB1422  Left curtain open\nBASIS  Right curtain open\n"
    assert [ln.code for ln in read_text(text).lines] == ["B1410", "B1422", None]


@pytest.mark.parametrize(
    ("text", "clean"),
    [
        ("LH: pretensioner open, seat bag ok", "driver.seat-bag"),
        ("rear left: buckle ok, pretensioner open", "row2-left.buckle-switch"),
    ],
)
def test_a_place_before_a_colon_is_that_of_what_is_praised_too(text: str, clean: str) -> None:
    read = read_text(text, "r.txt")
    assert [c.component for c in read.coverage.clean] == [clean]
    assert [ln.kind for ln in read.lines] == ["retractor-pretensioner"]
    assert read.lines[0].component is not None


def test_names_that_begin_or_end_a_list_with_faults_are_named() -> None:
    told = read_text("Fahrerairbag\nKopfairbag links Unterbrechung\nGurtstraffer Beifahrer\n").lines
    assert [(ln.component, ln.fault) for ln in told] == [
        ("driver.front-bag", "unknown"),
        ("left.curtain", "open-or-high"),
        ("passenger.retractor-pretensioner", "unknown"),
    ]


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        ("Aktualne", "Zapisane", [("present", "restraint"), ("stored", "restraint")]),
        ("Silnik", "Airbag", [(None, "other"), (None, "restraint")]),
        ("Arkusz1", "Arkusz2", [(None, "restraint"), (None, "restraint")]),
    ],
)
def test_the_name_of_a_sheet_heads_its_rows_where_one_says_something(
    first: str, second: str, told: list[tuple[str | None, str]]
) -> None:
    book = openpyxl.Workbook()
    for name, row in (
        (first, ["B2301", "kurtyna lewa", "zwarcie"]),
        (second, ["B2302", "kurtyna prawa", "zwarcie"]),
    ):
        sheet = book.create_sheet(name)
        sheet.append(["kod", "element", "usterka"])
        sheet.append(row)
    file = io.BytesIO()
    book.save(file)
    lines = read_report(file.getvalue(), "r.xlsx", CATALOG).lines
    assert [(next(iter(ln.status), None), ln.unit) for ln in lines] == told
