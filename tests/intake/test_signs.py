"""Signs of a report's own: legends, status bits, keys, columns, headings, shapes of codes.

Texts of our own; what they say was written down before they were read. Common practice, no source.
"""

import pytest
from texts import codes_in, read_text


def test_letters_of_a_legend_in_words_are_statuses() -> None:
    text = (
        "P = still present   M = only stored   E = erased\n"
        "P  8121  driver airbag stage 1 open circuit\n"
        "M  8134  left curtain short to ground\n"
        "P  8142  right rear retractor pretensioner open circuit\n"
        "E  8150  passenger knee bag resistance too high\n"
    )
    lines = read_text(text).lines
    assert [ln.code for ln in lines] == ["8121", "8134", "8142", "8150"]
    assert [ln.status[:1] for ln in lines] == [
        ("present",),
        ("stored",),
        ("present",),
        ("cleared",),
    ]


def test_eight_bits_beside_a_code_are_its_status_byte() -> None:
    """Source: iso-14229-1: bit 0 test failed, bit 3 confirmed."""
    text = (
        "B5310  00001001  driver airbag stage 1 open circuit\n"
        "B5318  00001000  left curtain short to ground\n"
        "B5320  00000000  passenger seat side airbag\n"
    )
    lines = read_text(text).lines
    assert [ln.status for ln in lines] == [("present", "stored"), ("stored",), ()]
    assert [ln.present for ln in lines] == [True, True, False]


def test_numbered_keys_of_one_fault_are_read_together() -> None:
    text = (
        "[airbag]\nfault.1.code=8D0A12\nfault.1.text=right curtain airbag open circuit\n"
        "fault.1.state=history\nfault.2.code=8D1B07\n"
        "fault.2.text=driver knee airbag short to ground\nfault.2.state=current\n"
    )
    told = [(ln.component, ln.fault, ln.status) for ln in read_text(text).lines]
    assert told == [
        ("right.curtain", "open-or-high", ("stored",)),
        ("driver.knee-bag", "short-to-ground", ("present",)),
    ]


def test_columns_of_yes_and_no_say_what_their_heading_says() -> None:
    text = (
        "module;code;text;place;active;stored\n"
        "AIRBAG;8C21;curtain airbag short to ground;left;no;yes\n"
        "AIRBAG;8C22;knee airbag open circuit;driver;yes;yes\n"
        "DOOR;A441;window motor stuck;left;no;yes\n"
        "LIGHTS;A462;dipped beam open circuit;left;yes;yes\n"
    )
    lines = read_text(text, "r.csv").lines
    assert [ln.status for ln in lines[:2]] == [("stored",), ("present", "stored")]


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        (
            "driver airbag stage 1 open (52 1A)\nleft curtain short to ground (52 2B)\n"
            "clock spring resistance too high (52 3C)\n",
            ["52 1A", "52 2B", "52 3C"],
        ),
        (
            "POINT               RESULT   REMARK\n"
            "Left curtain        NOK      F4C05 resistance too high\n"
            "Driver knee bag     NOK      F4C0A open circuit\n"
            "Clock spring        NOK      F4C11 open circuit\n",
            ["F4C05", "F4C0A", "F4C11"],
        ),
        (
            "belt puller at the reel, driver, open circuit [B1D51-13]\n"
            "left curtain, short to ground [B1D52-11]\n",
            ["B1D51", "B1D52"],
        ),
        (
            "C3 left curtain open 7A-0212\nD3 right curtain open 7A-0231\n"
            "E3 driver knee bag open 7A-0240\n",
            ["7A-0212", "7A-0231", "7A-0240"],
        ),
    ],
)
def test_codes_of_one_shape_are_found_where_they_stand(text: str, codes: list[str]) -> None:
    assert codes_in(text) == codes


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("van, after the pause 4 then 1, left curtain open", "4-1"),
        ("trois éclats, pause, deux éclats : airbag conducteur coupé", "3-2"),
        ("drei Blinker, Pause, fünf Blinker: Gurtstraffer Fahrer offen", "3-5"),
        ("●●● ●● airbag conducteur coupé", "3-2"),
    ],
)
def test_blinks_are_counted_however_they_are_told(line: str, code: str) -> None:
    assert code in codes_in(line + "\nflash 2-4 passenger airbag open\n")


def test_the_lamp_that_told_a_code_is_not_the_part() -> None:
    (line,) = read_text("lamp: 3 long 2 short => right crash sensor open\n").lines
    assert line.kind == "impact-sensor"


def test_a_unit_without_a_name_does_not_inherit_the_restraints() -> None:
    text = (
        "Address 01 -> Engine -> 1 DTC\nP0401 EGR flow low\nAddress 0B -> (no name) -> 1 DTC\n"
        "C1401 front left sensor no signal\n"
        "Address 15 -> Airbag -> 1 DTC\nB4217 right curtain open\n"
    )
    assert [ln.unit for ln in read_text(text).lines] == ["other", "unknown", "restraint"]


def test_a_label_before_the_code_names_its_unit() -> None:
    text = "Airbag module:\n- B1A24 left curtain open\nBrakes: C1044 ABS sensor unplugged\n"
    assert [ln.unit for ln in read_text(text).lines] == ["restraint", "other"]


def test_a_part_named_once_is_carried_to_the_next_side() -> None:
    text = "curtains: right resistance low (B3430), left short to ground (B3431)\n"
    told = [(ln.component, ln.fault) for ln in read_text(text).lines]
    assert told == [("right.curtain", "low-or-short"), ("left.curtain", "short-to-ground")]


def test_two_codes_at_the_end_share_the_words_before_them() -> None:
    text = "passenger airbag, igniter 1 and igniter 2, resistance high, B3420 and B3421\n"
    told = [(ln.component, ln.stage, ln.fault) for ln in read_text(text).lines]
    assert told == [
        ("passenger.front-bag", 1, "open-or-high"),
        ("passenger.front-bag", 2, "open-or-high"),
    ]


def test_names_in_a_row_are_parts_of_their_own() -> None:
    text = (
        "The reader gives no numbers, only names:\ndriver knee bag, left curtain;\n"
        "clock spring; right door pressure sensor.\n"
    )
    kinds = [ln.kind for ln in read_text(text).lines]
    assert kinds == ["knee-bag", "curtain", "clock-spring", "impact-sensor"]


def test_a_row_with_its_answer_heads_no_unit() -> None:
    text = "Unit locked        no\nLeft curtain       NOK   B4C05 resistance high\n"
    assert read_text(text).lines[-1].component == "left.curtain"


def test_silence_of_the_airbag_elsewhere_is_about_the_unit() -> None:
    text = "Engine control unit\nU1C21 no signal from airbag\n"
    (line,) = read_text(text).lines
    assert (line.kind, line.fault, line.unit) == ("control-unit", "communication", "other")


def test_a_heading_in_the_past_holds_until_the_next() -> None:
    text = (
        "BEFORE (all cleared afterwards)\n  B2510-13  driver airbag stage 1 open circuit\n"
        "  B2511-11  left curtain short to ground\nAFTER (airbag fitted)\n"
        "  B2512-54  passenger seat mat calibration missing\n"
    )
    assert [ln.status for ln in read_text(text).lines] == [("cleared",), ("cleared",), ()]


def test_a_line_that_begins_with_a_year_is_history() -> None:
    (line,) = read_text("2018: B7702 clock spring open, replaced\nairbag module today ok\n").lines
    assert not line.present


def test_words_with_signs_in_them_are_put_right() -> None:
    text = (
        "84l0I-13  Driver airbag stage l circuit 0pen   CUR\n"
        "B412O-ll  Left curtain sh0rt t0 gr0und   HIST\n"
    )
    told = [(ln.kind, ln.fault) for ln in read_text(text).lines]
    assert told[1] == ("curtain", "short-to-ground")


@pytest.mark.parametrize(
    ("tail", "status"),
    [
        ("Fehler momentan vorhanden: ja", ("present",)),
        ("Fehler momentan vorhanden: nein", ("stored",)),
        ("present: no", ("stored",)),
        ("present: yes", ("present",)),
        ("intermittent: no", ()),
    ],
)
def test_a_status_that_is_answered_yes_or_no(tail: str, status: tuple[str, ...]) -> None:
    (line,) = read_text(f"B5310  driver airbag stage 1 open circuit   {tail}\n").lines
    assert (line.status, line.present) == (status, True)


def test_tags_of_languages_say_nothing_of_the_car() -> None:
    text = (
        "[DE] Fahrerairbag Stufe 2 hochohmig, B0501\n"
        "[FR] boucle AR gauche en court-circuit, B0502\n"
        "[IT] tendina destra interrotta, B0503\n[EN] crash logged, B0508\n"
    )
    assert [(ln.place, ln.fault) for ln in read_text(text).lines] == [
        ("driver", "open-or-high"),
        ("row2-left", "low-or-short"),
        ("right", "open-or-high"),
        ("centre", "event-recorded"),
    ]


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("the lamp does 1 blink then 9 blinks", "1-9"),
        ("van: 2 destellos largos y 5 cortos", "25"),
        ("saloon: the lamp blinks 1, 1, 6. unit", "1-1-6"),
        ("taxi: 3 4, 3 4, 3 4 (and on)", "3-4"),
    ],
)
def test_blinks_are_counted_in_every_dress(line: str, code: str) -> None:
    assert codes_in(f"flash code 32 first\nlamp flashes 4-1\n{line}\n") == ["32", "4-1", code]


def test_a_decorated_heading_tells_of_the_past() -> None:
    text = (
        "== CURRENT ==\nB1F01 driver bag 1 open\n== NOT RUN ==\nB1F30 passenger weight sensor\n"
        "== CLEARED TODAY, DID NOT RETURN ==\nB1F38 battery voltage low\n"
    )
    assert [(ln.status, ln.present) for ln in read_text(text).lines] == [
        (("present",), True),
        (("not-tested",), True),
        (("cleared",), False),
    ]


def test_faults_told_for_both_share_their_status() -> None:
    text = "driver airbag 1 open, driver airbag 2 open (both current)\nleft curtain short\n"
    assert [ln.status for ln in read_text(text).lines] == [("present",), ("present",), ()]


def test_five_digits_with_words_of_their_own_are_codes_in_running_text() -> None:
    text = "He wrote: 41207 driver airbag circuit open, 41211 right front belt tensioner open,\n"
    assert codes_in(text) == ["41207", "41211"]


def test_what_lies_under_the_wheel_is_no_low_value() -> None:
    (line,) = read_text("B431C contactor giratorio bajo volante, circuito abierto\n").lines
    assert line.fault == "open-or-high"


def test_a_side_puts_a_roll_bar_behind_the_seat_of_that_side() -> None:
    left, none = read_text("B5310 roll bar left open circuit\nB5311 roll bar open circuit\n").lines
    assert (left.place, none.place) == ("row2-left", "centre")


def test_lines_that_go_on_with_anothers_unit_stay_its_own() -> None:
    text = (
        "Airbag unit: B5D10 driver airbag open\nDash: B5C01 airbag lamp circuit,\n"
        "      U1C2F airbag message invalid\n"
    )
    assert [ln.unit for ln in read_text(text).lines] == ["restraint", "other", "other"]


def test_a_row_between_bars_says_nothing_of_the_row_above() -> None:
    text = (
        "| # | Part | Fault | Code |\n| 1 | driver airbag | open | B1601 |\n"
        "| 2 | passenger airbag | fine | - |\n| 3 | left curtain | short to ground | B1605 |\n"
    )
    assert [(ln.code, ln.present) for ln in read_text(text).lines] == [
        ("B1601", True),
        ("B1605", True),
    ]


def test_a_place_as_well_is_the_part_and_fault_before() -> None:
    text = "RHD van\nB1C10 o/s/f tensioner, ohms high\nand n/s/f as well B1C11\n"
    _, line = read_text(text).lines
    assert (line.place, line.fault) == ("passenger", "open-or-high")


@pytest.mark.parametrize(
    ("said", "place"),
    [
        ("volante a la derecha", "driver"),
        ("guida a dx", "driver"),
        ("kierownica po prawej", "driver"),
        ("volant à gauche", "passenger"),
        ("rechtsgelenkt", "driver"),
        ("linksgestuurd", "passenger"),
        ("steering wheel on the right", "driver"),
        ("RH drive", "driver"),
        ("right hand drive import, not touched", "driver"),
        ("not LHD but RHD", "driver"),
        ("blue estate, RHD. Is it safe?", "driver"),
        ("Lenkrad rechts", "driver"),
    ],
)
def test_where_the_wheel_is_tells_the_drivers_side(said: str, place: str) -> None:
    (line,) = read_text(f"{said}\nB1C10 right front retractor pretensioner open\n").lines
    assert line.place == place


@pytest.mark.parametrize(
    "said",
    [
        "wheel on the right front bent",
        "alloy wheel on the right kerbed",
        "RH drive shaft clicking",
        "right hand drive belt squeals",
        "steering wheel bag right screw missing",
        "Lenkrad rechts verkratzt",
        "Lenkrad rechts oben gerissen",
        "volante a destra graffiato",
        "not right hand drive",
        "kein Rechtslenker",
        "no es volante a la derecha",
        "pas de volant à droite",
        "is it right hand drive?",
        "RHD and LHD listed in the manual",
        "donor unit was from a right-hand drive car",
        "the other car is RHD",
    ],
)
def test_a_wheel_or_shaft_a_denial_or_another_car_is_no_drivers_side(said: str) -> None:
    read = read_text(f"{said}\nSRS\nB1C10 right front retractor pretensioner open\n").lines
    assert [ln.place for ln in read if ln.code == "B1C10"] == ["passenger"]


@pytest.mark.parametrize(
    ("said", "statuses"),
    [
        ("SENSOR LATERAL PORTA DTA SEM SINAL ACTIVO", ("present",)),
        ("Sitzmatte Beifahrer nicht angelernt  aktiv", ("present",)),
        ("Sitzmatte Beifahrer Unterbrechung  nicht aktiv", ("stored",)),
    ],
)
def test_a_negation_of_the_fault_is_none_of_the_status(
    said: str, statuses: tuple[str, ...]
) -> None:
    (line,) = read_text(f"B1C10 {said}\n").lines
    assert (line.status, line.present) == (statuses, True)


@pytest.mark.parametrize(
    ("heading", "yes", "no"),
    [
        ("Count  Current  Stored  What                              Code", "Y", "N"),
        ("Zahl | aktuell | gespeichert | Befund                     | Code", "ja", "nein"),
        ("fois | présent | mémorisé | constat                       | code", "oui", "non"),
        ("volte  presente  memorizzato  esito                       codice", "SI", "NO"),
    ],
)
def test_columns_of_yes_and_no_that_blanks_or_bars_draw(heading: str, yes: str, no: str) -> None:
    """What both columns deny is no fault; what one of them affirms has its status."""
    bar = "|" if "|" in heading else " "
    words = [w for w in heading.replace("|", " ").split() if w][:4]
    starts = [heading.index(w) for w in words]

    def row(*cells: str) -> str:
        text = ""
        for start, cell in zip(starts, cells, strict=True):
            text = text.ljust(max(start - 2, 0)) + (f"{bar} " if start else "") + cell
        return text

    rows = [
        row("03", yes, no, "driver airbag, circuit open        B5310-13"),
        row("02", no, yes, "left curtain, short to ground      B5318-11"),
        row("07", yes, yes, "passenger knee airbag, low resistance  B5320-1A"),
        row("00", no, no, "right curtain, short to ground     B5319-11"),
    ]
    lines = {ln.code: ln for ln in read_text("\n".join([heading, *rows]) + "\n").lines}
    assert {code: ln.present for code, ln in lines.items()} == {
        "B5310": True,
        "B5318": True,
        "B5320": True,
        "B5319": False,
    }
    assert lines["B5310"].status == ("present",)
    assert lines["B5318"].status == ("stored",)
    assert set(lines["B5320"].status) == {"present", "stored"}


@pytest.mark.parametrize("letters", [("D", "P"), ("F", "BF")])
def test_a_column_of_letters_names_seats(letters: tuple[str, str]) -> None:
    driver, passenger = letters
    text = (
        "no;code;what;side;found\n"
        f"1;B5310;seat side airbag;{driver};low resistance\n"
        f"2;B5311;retractor pretensioner;{passenger};open circuit\n"
        f"3;B5312;buckle switch;{driver};stuck\n"
        "4;B5313;curtain;R;short to ground\n"
    )
    lines = read_text(text, "list.csv").lines
    assert [ln.place for ln in lines] == ["driver", "passenger", "driver", "right"]
