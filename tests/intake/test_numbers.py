"""Numbers of a report: a unit's own shape of code, labels of things, mentions, what was tested.

Texts of our own; what they say was written down before they were read. Common practice, no source.
"""

import pytest
from texts import codes_in, read_text

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report

TABLE = "7E3011  Driver airbag 1 open  current\n7E3018  Left curtain short to ground  stored\n"


@pytest.mark.parametrize(
    ("tail", "more"),
    [
        ("nothing printed beside these: 7E30A0, 7E30A4", ["7E30A0", "7E30A4"]),
        ("7E30B2, 7E30B9 without text", ["7E30B2", "7E30B9"]),
        ("and 7E30C1 had no description either", ["7E30C1"]),
        ("part number 7E30C1", []),
        ("Order 7E3055", []),
        ("7E3011.44 on the box", []),
        ("a 9F3011 is another unit's", []),
    ],
)
def test_numbers_that_begin_as_the_codes_do_are_codes(tail: str, more: list[str]) -> None:
    assert codes_in(TABLE + tail) == ["7E3011", "7E3018", *more]


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("It still holds A2C1E1 for the left curtain, short to ground", ["A2C1E1"]),
        ("open circuit on the driver airbag, code A2C1E1, since march", ["A2C1E1"]),
        ("seat position sensor 5C6959  61.00", []),
        ("the paint is A2C1E1", []),
    ],
)
def test_six_digits_amid_words_are_a_code_beside_part_and_fault(
    text: str, codes: list[str]
) -> None:
    assert [c for c in codes_in(text) if c] == codes


@pytest.mark.parametrize(
    "line",
    ["van green: run of 11, 12, 27", "estate, white: 11, 12, 27", "Bus: again 11, 12, 27"],
)
def test_a_list_behind_a_colon_is_flash_codes_among_flash_codes(line: str) -> None:
    text = f"van red: flashes 4-1\nvan red: flash code 32\n{line}\n"
    assert codes_in(text) == ["4-1", "32", "11", "12", "27"]


TOLD = "B1A11 driver airbag open circuit\nB1A22 left curtain short to ground\n"


@pytest.mark.parametrize(
    "label",
    [
        "Bay C0003",
        "Desk B1002",
        "Stellplatz: B0203",
        "Berth No. B0203",
        "Sachnummer 5Q-B1099-22",
        "Box 12.B1099",
        "Prüfsumme 5D2C",
        "Signed B0017",
    ],
)
def test_a_number_of_a_thing_is_no_code(label: str) -> None:
    assert codes_in(f"{label}\n{TOLD}") == ["B1A11", "B1A22"]
    assert codes_in(f"{TOLD}{label}\n") == ["B1A11", "B1A22"]


@pytest.mark.parametrize(
    ("line", "more"),
    [
        ("Calibration B0021-04", []),
        ("Kalibrierung: B0021-04", []),
        ("Calibración B0021-04", []),
        ("Calibrazione B0021-04", []),
        ("Calibration missing B0021-54", ["B0021"]),
        ("Calibration B0021-54 stored", ["B0021"]),
        ("Kalibrierung fehlt B0021-54", ["B0021"]),
    ],
)
def test_the_number_of_a_calibration_is_no_code(line: str, more: list[str]) -> None:
    assert codes_in(f"{line}\n{TOLD}") == [*more, "B1A11", "B1A22"]


@pytest.mark.parametrize("line", ["B1003", "code B1003", "also B1003", "DTC-B1003", "B1003 again"])
def test_a_bare_code_stays_a_code(line: str) -> None:
    assert "B1003" in codes_in(f"B1A11 driver airbag open circuit\n{line}\n{TOLD}")


def test_cars_that_name_bare_codes_keep_them() -> None:
    assert codes_in("Saloon: B1003\nEstate: B1004\nB1005 driver airbag open\n") == [
        "B1003",
        "B1004",
        "B1005",
    ]


def test_a_bill_that_mentions_a_code_repeats_it() -> None:
    text = (
        "B4E04 driver buckle pretensioner, open\n1  buckle with pretensioner  118.40  for B4E04\n"
    )
    first, second = read_text(text).lines
    assert (first.repeats, second.repeats) == ((), (1,))


@pytest.mark.parametrize(
    "line",
    [
        "0 faults, all tests complete",
        "all other circuits ok",
        "übrige Zündkreise i.O.",
        "tous les autres circuits ok",
        "los demás circuitos ok",
        "altri circuiti ok",
        "demais circuitos ok",
        "pozostałe obwody ok",
    ],
)
def test_a_report_that_calls_every_circuit_good_is_complete(line: str) -> None:
    report = read_text(f"B1A11-13 driver airbag stage 1 open, cleared\n{line}\n")
    assert report.coverage.complete is True
    assert [f.code for f in report.findings] == []


@pytest.mark.parametrize(
    "line",
    [
        "not all circuits ok",
        "are all circuits ok?",
        "all other circuits not tested",
        "all other circuits open",
        "all other looks ok",
        "left curtain circuit ok",
    ],
)
def test_other_talk_of_circuits_makes_no_report_complete(line: str) -> None:
    assert read_text(f"B1A11-13 driver airbag stage 1 open\n{line}\n").coverage.complete is None


def test_a_count_may_leave_out_what_was_cleared() -> None:
    text = "After repair: 1 fault\nB1A11 driver airbag open, cleared\nB1A22 clock spring open\n"
    assert "count-differs" not in [f.code for f in read_text(text).findings]


@pytest.mark.parametrize(
    "line",
    [
        "The instrument cluster moans U2C03 airbag unit lost",
        "Das Kombiinstrument meckert U2C03 Airbagsteuergerät fehlt",
        "gearbox computer spits U2C03 no message from airbag unit",
    ],
)
def test_a_unit_that_tells_a_code_holds_it(line: str) -> None:
    (_, _, told) = read_text(f"{TOLD}{line}\n").lines
    assert told.unit == "other"


@pytest.mark.parametrize(
    ("words", "component"),
    [
        ("air bag / RF seat", "passenger.seat-bag"),
        ("airbag, seat, left front", "driver.seat-bag"),
        ("Airbag Sitz vorne links", "driver.seat-bag"),
        ("right front airbag", "passenger.front-bag"),
        ("passenger seat airbag stage 2", "passenger.front-bag"),
    ],
)
def test_a_bag_at_a_seat_by_its_side_is_the_seats(words: str, component: str) -> None:
    (line,) = read_text(f"B1A11 {words}, open").lines
    assert line.component == component


def test_other_circuits_that_are_good_announce_no_number_of_faults() -> None:
    text = "B1A11 driver airbag open\nall other circuits ok\nB1A22 left curtain open\n"
    assert "count-differs" not in [f.code for f in read_text(text).findings]


def test_four_digits_that_lead_lines_of_one_block_are_codes() -> None:
    """In a page of which they are the smaller part. Common practice, no source."""
    text = (
        "bench book, page 12\ngrey saloon, hit at the front, came on a trailer\n"
        "charged it before reading\n\nSRS:\n"
        "6104  driver airbag stage 1   o/c   present\n"
        "6105  driver airbag stage 2   o/c   present\n"
        "6118  left curtain   short to ground   stored\n"
        "6190  ECU   crash output set\n"
        "\nradiator and fan to order\nmirror gone\nask about the belts\nring the owner\n"
    )
    assert codes_in(text) == ["6104", "6105", "6118", "6190"]


def test_years_that_lead_lines_are_none() -> None:
    text = (
        "history as told\n2016 driver airbag renewed after a crash\n2017 buckle switch stuck\n"
        "2018 curtain connector reseated\n2019 lamp on again, clock spring renewed\n"
    )
    assert not [c for c in codes_in(text) if c]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "B1A10 through B1A13, which is driver stage 1, driver stage 2, passenger stage 1, "
            "passenger stage 2, all open circuit",
            {
                "B1A10": ("driver.front-bag", 1),
                "B1A11": ("driver.front-bag", 2),
                "B1A12": ("passenger.front-bag", 1),
                "B1A13": ("passenger.front-bag", 2),
            },
        ),
        (
            "8E10 bis 8E12 alle Unterbrechung: Fahrerairbag Zünder 1, Fahrerairbag Zünder 2, "
            "Beifahrerairbag",
            {
                "B0E10": ("driver.front-bag", 1),
                "B0E11": ("driver.front-bag", 2),
                "B0E12": ("passenger.front-bag", None),
            },
        ),
        (
            "codes B1710-B1712: driver airbag, passenger airbag, left curtain, all open circuit",
            {
                "B1710": ("driver.front-bag", None),
                "B1711": ("passenger.front-bag", None),
                "B1712": ("left.curtain", None),
            },
        ),
        (
            "B1963 and 64 rear belt pretensioners left and right, open circuit",
            {
                "B1963": ("row2-left.retractor-pretensioner", None),
                "B1964": ("row2-right.retractor-pretensioner", None),
            },
        ),
        (
            "B1963 und 64 Gurtstraffer hinten links und rechts, Unterbrechung",
            {
                "B1963": ("row2-left.retractor-pretensioner", None),
                "B1964": ("row2-right.retractor-pretensioner", None),
            },
        ),
    ],
)
def test_codes_of_a_range_take_the_parts_listed_behind_it_in_order(
    text: str, told: dict[str, tuple[str, int | None]]
) -> None:
    lines = read_text(text).lines
    assert {ln.code: (ln.component, ln.stage) for ln in lines} == told
    assert {ln.fault for ln in lines} == {"open-or-high"}


@pytest.mark.parametrize(
    "text",
    [
        "B1963 and 12 volts at the plug",
        "B1963 and 64 km since then",
        "B1963 and 5 other cars",
    ],
)
def test_a_number_behind_a_code_is_not_always_the_end_of_another(text: str) -> None:
    assert codes_in(text) == ["B1963"]


@pytest.mark.parametrize(
    "text",
    [
        "if B1001 comes back put in a clock spring",
        "B1001 can be the clock spring too, measure first",
        "falls B1001 wiederkommt, Kabelbaum prüfen",
        "B1001 kann auch die Wickelfeder sein",
        "si B1001 revient, changer le contact tournant",
        "B1001 puede ser el muelle, medir antes",
        "B1001 pode ser a fita do volante, medir primeiro",
        "se torna... se B1001 ritorna cambiare la spirale",
        "jeśli B1001 wróci, sprawdzić taśmę",
        "Reader kit B2-100, now 59.99!",
        "Ref. pieza B1699-40, estante B16",
    ],
)
def test_what_a_code_may_mean_is_no_fault_nor_is_a_price(text: str) -> None:
    lines = read_text(f"B1A20 driver airbag open circuit\n{text}\n").lines
    assert [ln.code for ln in lines if ln.present] == ["B1A20"]


def test_a_number_that_rows_of_codes_share_is_the_cars_and_no_code() -> None:
    rows = [
        "place;key;lamp;part;text;number",
        "A3;K-771;on;driver airbag;open circuit;07721",
        "A3;K-771;on;driver pretensioner;resistance high;07731",
        "A3;K-771;on;passenger pretensioner;resistance high;07732",
        "A3;K-771;on;left curtain;nothing entered;-",
    ]
    data = "\n".join(rows).encode()
    lines = read_report(data, "yard.csv", load_catalog()).lines
    assert [ln.code for ln in lines if ln.present] == ["07721", "07731", "07732"]


def test_a_row_that_says_that_its_unit_has_no_fault_is_held_against_these() -> None:
    rows = "unit;code;text;count\nAirbag;B1A20;driver airbag open;1\n{}Radio;;no faults;0\n"
    for more, told in (("", []), ("Radio;B1510;speaker open;1\n", ["count-differs"])):
        found = read_report(rows.format(more).encode(), "all.csv", load_catalog()).findings
        assert [f.code for f in found if f.code == "count-differs"] == told
