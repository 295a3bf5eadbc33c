"""Whole reports: layouts, counts, scope of code tables, coverage. Texts of our own making."""

from pathlib import Path

import pytest
from texts import read_text

from squibwise.catalog.codes import read_own_codes
from squibwise.catalog.load import load_catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.errors import InputError
from squibwise.intake.report.reader import read_report
from squibwise.model.car import Car, OwnCode
from squibwise.model.report import ReadReport

CATALOG = load_catalog()
CASES = DEMO_CASES
KINDS = frozenset(CATALOG.kinds)


def read(text: str, car: Car | None = None) -> ReadReport:
    return read_report(text.encode("utf-8"), "report.txt", CATALOG, car)


def found(report: ReadReport) -> list[tuple[str | None, str | None, int | None, str]]:
    return [(ln.code, ln.component, ln.stage, ln.fault) for ln in report.lines]


def findings(report: ReadReport) -> list[str]:
    return [f.code for f in report.findings]


def car_with(*components: str, hand: str = "left", codes: tuple[OwnCode, ...] = ()) -> Car:
    side = "left" if hand == "left" else "right"
    return Car(drive_hand=side, equipment="own", components=components, codes=codes)


# Demo case (a): what a mechanic reads off its report.
def test_the_front_corner_hit_is_read_in_full() -> None:
    data = (CASES / "harrow-07" / "evidence" / "scan-before.txt").read_bytes()
    report = read_report(data, "scan-before.txt", CATALOG)
    assert found(report) == [
        ("B0001", "driver.front-bag", 1, "open-or-high"),
        ("B0010", "passenger.front-bag", 1, "open-or-high"),
        ("B0004", "driver.knee-bag", None, "open-or-high"),
        ("B0070", "driver.retractor-pretensioner", None, "open-or-high"),
        ("B0072", "passenger.retractor-pretensioner", None, "open-or-high"),
        ("B1193", "centre.control-unit", None, "event-recorded"),
        ("B0095", "nose-right.impact-sensor", None, "open-or-high"),
    ]
    assert report.vin == "0Z9HB5A26KR000417"
    assert report.coverage.unit_volts == 12.4
    assert report.unread == ()


@pytest.mark.parametrize("case", sorted(p.name for p in CASES.iterdir() if p.is_dir()))
def test_no_line_of_a_demo_report_is_unread(case: str) -> None:
    for path in (CASES / case).glob("evidence/*.txt"):
        report = read_report(path.read_bytes(), path.name, CATALOG)
        assert report.unread == (), path.name
        assert "count-differs" not in findings(report), path.name


def test_a_block_with_counters_times_and_raw_bytes_is_one_fault() -> None:
    report = read(
        "DTC: B0001-13\nDescription: Driver airbag stage 1\nFailure type: circuit open\n"
        "Status: active\nOccurrence counter: 3\nOdometer: 61204 km\nTime: 10:22:31\n"
        "Raw: 80 01 13 2F\n"
    )
    (line,) = report.lines
    assert (line.code, line.failure_type, line.fault) == ("B0001", "13", "open-or-high")
    assert line.status == ("present", "pending", "stored")
    assert line.also == ("800113",)
    assert report.unread == ()


def test_the_status_may_stand_on_the_following_line() -> None:
    (line,) = read("B1234 Left curtain airbag open\n   intermittent\n").lines
    assert line.status == ("intermittent",)


def test_the_failure_type_may_stand_on_its_own_line() -> None:
    (line,) = read("B1234 Left curtain airbag\nFailure type: 12\n").lines
    assert (line.failure_type, line.fault) == ("12", "short-to-battery")


def test_descriptions_may_stand_above_their_codes() -> None:
    report = read("Left curtain - open\nB1001\nRight curtain - short to ground\nB1002\n")
    assert found(report) == [
        ("B1001", "left.curtain", None, "open-or-high"),
        ("B1002", "right.curtain", None, "short-to-ground"),
    ]


def test_a_count_that_agrees_says_nothing_and_one_that_does_not_is_a_finding() -> None:
    lines = "B1001 Driver airbag open\nB1002 Left curtain open\n"
    assert "count-differs" not in findings(read("Airbag: 2 faults\n" + lines))
    report = read("Airbag: 3 faults\n" + lines)
    (finding,) = [f for f in report.findings if f.code == "count-differs"]
    assert finding.origin.line == 1
    assert "3 faults" in finding.message


# Ours: a count that stands below what it counts, as some scanners print it.
@pytest.mark.parametrize(
    ("foot", "told"),
    [("2 Fehler", ""), ("2 DTCs", ""), ("4 Fehler", "announces 4 faults here, 2 were read")],
)
def test_a_count_at_the_foot_counts_what_stands_above(foot: str, told: str) -> None:
    codes = "B1001 Driver airbag open\nB1002 Left curtain open\n"
    report = read(f"Airbag control unit\n{codes}{foot}\nBody\nB1003 Right curtain open\n1 fault\n")
    differs = [f.message for f in report.findings if f.code == "count-differs"]
    assert [told in m for m in differs] == ([True] if told else [])


def test_counts_go_by_module() -> None:
    text = (
        "Engine control module: 1 fault\nP0301 Misfire\n"
        "Airbag module: 2 faults\nB1001 Driver airbag open\nB1002 Left curtain open\n"
        "Total faults: 3\n"
    )
    report = read(text)
    assert "count-differs" not in findings(report)
    assert [ln.module for ln in report.lines] == ["Engine control module"] + ["Airbag module"] * 2
    assert report.coverage.modules == ("Engine control module", "Airbag module")


def test_two_codes_for_one_fault_are_counted_once() -> None:
    report = read(
        "B1001 Driver airbag squib 1 open\nB1002 Driver airbag, stage 1, resistance too high\n"
        "B1003 Driver airbag squib 2 open\n"
    )
    assert [ln.repeats for ln in report.lines] == [(), (1,), ()]


def test_the_same_code_current_and_in_history_is_counted_once() -> None:
    report = read("B1001 Left curtain open - current\nB1001 Left curtain open - history\n")
    assert [ln.repeats for ln in report.lines] == [(), (1,)]


def test_nothing_is_dropped() -> None:
    report = read("B1001 Left curtain open\n\nzzz qqq xyzzy\n*** ---\nOdometer: 61204 km\n")
    assert [(u.line, u.raw) for u in report.unread] == [(3, "zzz qqq xyzzy")]


def test_advice_is_neither_a_fault_nor_part_of_one() -> None:
    report = read("B1001 Driver airbag open\nCheck clock spring for open circuit\n")
    assert found(report) == [("B1001", "driver.front-bag", None, "open-or-high")]
    assert [u.line for u in report.unread] == [2]


def test_one_line_of_a_workshop_note_may_hold_several_faults() -> None:
    report = read("driver bag both stages open, left curtain open and RH front sensor no comms\n")
    assert found(report) == [
        (None, "driver.front-bag", 1, "open-or-high"),
        (None, "driver.front-bag", 2, "open-or-high"),
        (None, "left.curtain", None, "open-or-high"),
        (None, "nose-right.impact-sensor", None, "communication"),
    ]


# Source: SAE J2012 codes that two independent public reproductions share.
@pytest.mark.parametrize(
    ("code", "component", "stage"),
    [
        ("B0001", "driver.front-bag", 1),
        ("B0002", "driver.front-bag", 2),
        ("B0003", "driver.front-bag", 3),
        ("B0004", "driver.knee-bag", None),
        ("B0005", "driver.column-charge", None),
        ("B0010", "passenger.front-bag", 1),
        ("B0011", "passenger.front-bag", 2),
        ("B0013", "passenger.knee-bag", None),
        ("B0020", "driver.seat-bag", None),
        ("B0021", "left.curtain", None),
        ("B0022", "left.curtain-2", None),
        ("B0028", "passenger.seat-bag", None),
        ("B0029", "right.curtain", None),
        ("B002A", "right.curtain-2", None),
        ("B0052", "passenger.buckle-switch", None),
        ("B0080", "driver.load-limiter-charge", None),
        ("B00A0", "passenger.occupant-sensor", None),
        ("B00B5", "driver.seat-position-sensor", None),
        ("B00C0", "passenger.occupant-sensor", None),
    ],
)
def test_a_confirmed_code_without_words_names_its_part(
    code: str, component: str, stage: int | None
) -> None:
    (line,) = read(code).lines
    assert (line.component, line.stage, line.basis) == (component, stage, "code")
    assert line.sources == ("sae-j2012",)


@pytest.mark.parametrize("code", ["B0070", "B0072", "B0090", "B0095"])
def test_an_unconfirmed_code_without_words_is_only_a_candidate(code: str) -> None:
    (line,) = read(code).lines
    assert line.component is None
    assert line.weak == "from-memory"
    assert sum(c.weight for c in line.candidates) == pytest.approx(1.0)
    assert any(c.component is None for c in line.candidates)


def test_a_maker_code_without_words_means_nothing_here() -> None:
    (line,) = read("B1193").lines
    assert (line.component, line.candidates, line.basis) == (None, (), "none")


def test_a_side_code_follows_the_drive_hand() -> None:
    car = car_with("driver.seat-bag", "passenger.seat-bag", hand="right")
    (line,) = read("B0020", car).lines
    assert line.component == "passenger.seat-bag"


def test_description_beats_number_and_both_are_kept() -> None:
    report = read("B0010-13 Driver knee airbag open\n")
    (line,) = report.lines
    assert line.component == "driver.knee-bag"
    weights = {c.component: c.weight for c in line.candidates}
    assert weights == pytest.approx({"driver.knee-bag": 0.9, "passenger.front-bag": 0.1})
    assert "words-against-code" in findings(report)


def test_a_stage_that_the_number_contradicts_is_reported() -> None:
    report = read("B0001 Driver airbag stage 2 open\n")
    assert report.lines[0].stage == 2
    assert "words-against-code" in findings(report)


def test_words_and_failure_type_that_disagree_are_reported() -> None:
    report = read("B1234-1A Left curtain airbag open circuit\n")
    assert report.lines[0].fault == "open-or-high"
    assert {c.fault for c in report.lines[0].candidates} == {"open-or-high", "low-or-short"}
    assert "words-against-failure-type" in findings(report)


def test_the_users_own_table_reads_codes_that_no_shipped_table_knows(tmp_path: Path) -> None:
    path = tmp_path / "own.tsv"
    path.write_text(
        "code\tcomponent\tstage\tfault\ttext\n"
        "01221\tpillar-left.impact-sensor\t-\t-\tside sensor\n"
        "13\tdriver.front-bag\t1\topen-or-high\tflash code 13\n"
        "B1555-13\tleft.curtain\t-\topen-or-high\t-\n",
        encoding="utf-8",
    )
    codes = read_own_codes(path, "maker's code list, page 3", KINDS)
    car = car_with("left.curtain", codes=codes)
    assert found(read("13", car)) == [("13", "driver.front-bag", 1, "open-or-high")]
    assert found(read("B1555-13", car)) == [("B1555", "left.curtain", None, "open-or-high")]
    report = read("01221 - no communication", car)
    assert found(report) == [("01221", "pillar-left.impact-sensor", None, "communication")]
    assert report.lines[0].sources == ("maker's code list, page 3",)


# A camera read one sign of the code wrong, or the line says that all is well.
@pytest.mark.parametrize(
    ("row", "expected", "present"),
    [
        ("B0021-1B\t-\t-\t-", ("B0021", "left.curtain", None, "open-or-high"), True),
        ("B0028-1B\t-\t-\tnone", ("B0028", "left.curtain", None, "open-or-high"), False),
        ("B0021-1B\tright.curtain\t-\tlow-or-short",
         ("B0021", "right.curtain", None, "low-or-short"), True),
        ("-\t-\t-\tnone", ("B0028", "left.curtain", None, "open-or-high"), False),
    ],
)  # fmt: skip
def test_what_a_person_reads_in_a_line_is_its_code_or_that_it_tells_of_no_fault(
    tmp_path: Path, row: str, expected: tuple[object, ...], present: bool
) -> None:
    path, line = tmp_path / "own.tsv", "B0028-1B left curtain airbag open"
    path.write_text(f"code\tcomponent\tstage\tfault\ttext\n{row}\t{line}\n", encoding="utf-8")
    codes = read_own_codes(path, "read on the report by R", KINDS)
    report = read(line, car_with("left.curtain", "right.curtain", codes=codes))
    assert found(report) == [expected]
    assert report.lines[0].present is present


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("13\troof.thing\t-\t-\t-", "not a place"),
        ("13\tdriver.thing\t-\t-\t-", "own.tsv:2: unknown component 'driver.thing'"),
        ("13\t-\tone\t-\t-", "own.tsv:2: stage 'one' is no number"),
        ("13\t-\t-\tbroken\t-", "own.tsv:2: unknown fault 'broken'"),
        ("13\t-", "2 cells, not 5"),
    ],
)
def test_a_broken_table_of_the_user_names_its_line(tmp_path: Path, row: str, message: str) -> None:
    path = tmp_path / "own.tsv"
    path.write_text("code\tcomponent\tstage\tfault\ttext\n" + row + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_own_codes(path, "somewhere", KINDS)


def test_a_table_of_the_user_needs_a_source(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="needs a source"):
        read_own_codes(tmp_path / "own.tsv", " ", KINDS)


@pytest.mark.parametrize(
    ("text", "component", "fault"),
    [
        ("B1A01 Implausible crash signal", None, "performance"),
        ("B1A02 Crash memory full", "centre.control-unit", "event-recorded"),
        ("B1A03 Deployment commanded", "centre.control-unit", "event-recorded"),
        ("B1A04 Crash data stored - locked", "centre.control-unit", "event-recorded"),
        (
            "B1A05 Front crash sensor left, signal implausible",
            "nose-left.impact-sensor",
            "performance",
        ),
    ],
)
def test_event_words_are_told_apart(text: str, component: str | None, fault: str) -> None:
    (line,) = read(text).lines
    assert (line.component, line.fault) == (component, fault)


def test_left_and_right_follow_the_cars_drive_hand() -> None:
    parts = ("driver.front-bag", "passenger.front-bag")
    text = "B1001 Left front airbag open\n"
    assert read(text, car_with(*parts)).lines[0].component == "driver.front-bag"
    assert read(text, car_with(*parts, hand="right")).lines[0].component == "passenger.front-bag"
    assumed = read(text)
    assert assumed.lines[0].component == "driver.front-bag"
    assert "drive-hand-assumed" in findings(assumed)


def test_a_report_that_names_seat_and_side_together_shows_the_drive_hand() -> None:
    report = read("B1001 Driver (RH) airbag open\nB1002 Left front pretensioner open\n")
    assert report.lines[1].place == "passenger"
    assert "drive-hand-assumed" not in findings(report)


def test_a_seat_that_contradicts_the_cars_hand_is_left_open() -> None:
    car = car_with("driver.front-bag", "passenger.front-bag")
    (line,) = read("B1001 Driver right front airbag open\n", car).lines
    assert line.component is None
    assert {c.component for c in line.candidates} == {"driver.front-bag", "passenger.front-bag"}


@pytest.mark.parametrize(
    "text",
    [
        "B1001 Driver and passenger airbag open",
        "B1001 Left or right curtain open",
        "B1001 Driver stage fault open",
        "B1001 Airbag squib open",
        "B1001 FR pretensioner open",
    ],
)
def test_an_unclear_seat_is_never_guessed(text: str) -> None:
    (line,) = read(text).lines
    assert line.place is None or line.kind == "control-unit"


def test_an_unclear_stage_is_never_guessed() -> None:
    (line,) = read("B1001 Driver airbag squib 1 or 2 open").lines
    assert (line.component, line.stage) == ("driver.front-bag", None)


@pytest.mark.parametrize(
    ("text", "place", "kind"),
    [
        ("B1001 Driver stage 2 squib open", "driver", "front-bag"),
        ("B1001 Passenger squib driver short", "centre", "control-unit"),
        ("B1001 Low side driver failure, passenger airbag", "centre", "control-unit"),
        ("B1001 Airbag lamp driver circuit open", "centre", "warning-lamp"),
        ("B1001 Driver squib open", "driver", "front-bag"),
    ],
)
def test_driver_is_a_seat_or_an_output_stage(text: str, place: str, kind: str) -> None:
    (line,) = read(text).lines
    assert (line.place, line.kind) == (place, kind)


@pytest.mark.parametrize(
    ("text", "component"),
    [
        ("B1001 dirver airbag open", "driver.front-bag"),
        ("B1001 pasenger airbag open", "passenger.front-bag"),
        ("B1001 rigth curtian airbag open", "right.curtain"),
        ("B1001 Driver seatbelt pretentioner open", "driver.retractor-pretensioner"),
    ],
)
def test_slips_of_the_pen_are_read(text: str, component: str) -> None:
    assert read(text).lines[0].component == component


@pytest.mark.parametrize("word", ["eight", "might", "bright", "drive", "river", "lift", "passage"])
def test_ordinary_words_are_not_taken_for_misspelt_sides_or_seats(word: str) -> None:
    (line,) = read(f"B1001 {word} curtain airbag open").lines
    assert (line.place, line.side) == (None, None)


def test_one_cause_behind_many_codes_is_flagged() -> None:
    report = read(
        "U0100 Lost communication with engine control module\n"
        "B1001 Left front impact sensor no communication\n"
        "B1002 Right front impact sensor no communication\nB1003 Supply voltage too low\n"
        "B1004 Left curtain open\n"
    )
    assert "one-cause-behind-many" in findings(report)
    assert "one-cause-behind-many" not in findings(read("B1003 Supply voltage too low\n"))


# Source: one maker's service text, as reposted: circuit tests run from 9 to 16 V.
@pytest.mark.parametrize(
    ("volts", "able"), [("8.9", False), ("9.0", None), ("12.4", None), ("16.1", False)]
)
def test_a_supply_out_of_range_means_that_the_unit_could_not_test(
    volts: str, able: bool | None
) -> None:
    coverage = read(f"Supply {volts} V\nB1001 Left curtain open\n").coverage
    assert (coverage.unit_volts, coverage.able) == (float(volts), able)


def test_tests_that_had_not_run_are_listed_by_component() -> None:
    coverage = read("B1001-13 Left curtain\n Status: 0x50\n").coverage
    assert coverage.not_tested == ("left.curtain",)
    assert coverage.why


def test_a_crash_locked_unit_limits_what_the_report_covers() -> None:
    coverage = read("B1193 Crash data stored, locked\n").coverage
    assert coverage.able is None
    assert "crash record" in coverage.why[0]


def test_a_unit_that_is_not_configured_may_not_test_at_all() -> None:
    assert read("B1194 Control unit not configured\n").coverage.able is False


def test_a_part_the_car_does_not_have_is_reported() -> None:
    report = read("B1001 Driver knee airbag open\n", car_with("driver.front-bag"))
    assert "part-not-in-equipment" in findings(report)


def test_the_cars_equipment_decides_between_readings() -> None:
    car = car_with("driver.buckle-pretensioner")
    assert read("B1001 Driver belt tensioner open\n", car).lines[0].component == (
        "driver.buckle-pretensioner"
    )


def test_a_code_cut_short_lists_what_it_may_have_been() -> None:
    report = read("B000\n")
    (line,) = report.lines
    assert line.code is None
    assert {c.code for c in line.candidates} >= {"B0001", "B0002", "B0004"}
    assert "code-cut-short" in findings(report)


def test_a_clean_report_is_no_proof() -> None:
    report = read("Airbag control module\nNo faults found\n")
    assert report.lines == ()
    assert report.coverage.able is None


def test_a_report_without_any_fault_or_count_says_so() -> None:
    assert "no-fault-found" in findings(read("hello world\n"))


def test_two_vins_are_reported() -> None:
    assert "two-vins" in findings(read("VIN 1M8GDM9AXKP042788\nVIN LJCPCBLCX11000237\n"))


def test_a_description_broken_over_lines_is_read_as_one() -> None:
    report = read(
        "B0F00-12 Second row left seat belt\n   pretensioner circuit short to\n"
        "   battery (PENDING)\n"
        "B1002-13 Driver air bag stage\n   2 squib circuit\n   open\n"
    )
    assert found(report) == [
        ("B0F00", "row2-left.retractor-pretensioner", None, "short-to-battery"),
        ("B1002", "driver.front-bag", 2, "open-or-high"),
    ]
    assert report.lines[0].status == ("pending",)


@pytest.mark.parametrize(
    "text",
    [
        "Airbag light is on since I had the seats out. This is what it said:",
        "SRS lamp blink codes (read from lamp, long flashes then short)",
        "Do I need to replace the clock spring?",
        "lot 55120331 (stock no. B1044)",
    ],
)
def test_talk_is_no_fault(text: str) -> None:
    assert [ln.line for ln in read(text + "\nB1001 Left curtain open\n").lines] == [2]


def test_an_unknown_word_joined_to_a_seat_leaves_the_seat_open() -> None:
    (line,) = read("B1001 diver & passenger airbags deployed").lines
    assert line.component is None


def test_british_corners_are_the_same_wherever_the_driver_sits() -> None:
    text = "OSR seat belt buckle s/c gnd\nNSF crash sensor o/c\n"
    corners = ["row2-right.buckle-switch", "nose-left.impact-sensor"]
    for car in (None, car_with(*corners)):
        assert [ln.component for ln in read(text, car).lines] == corners


# Our own texts.
@pytest.mark.parametrize(
    "counted",
    [
        "event 1 frontal: belts, driver airbag",
        "Crash record: event 1 frontal: belts; event 2, 1.4 s later, right: curtain",
        "Ereignis 2, rechts: Kopfairbag",
    ],
)
def test_a_counted_event_in_a_report_is_no_fault_and_it_is_said_where_it_goes(counted: str) -> None:
    report = read(f"B1A10 driver airbag stage 1 open\n{counted}\n")
    assert [(ln.code, ln.raw) for ln in report.lines] == [
        ("B1A10", "B1A10 driver airbag stage 1 open")
    ]
    assert "events-in-report" in findings(report)


# Source: 49 CFR 563 tables I and II, names of the elements.
def test_crash_recorder_data_is_told_apart_from_faults() -> None:
    report = read(
        "Maximum delta-V, longitudinal: -31 km/h\nIgnition cycle, crash: 1201\n"
        "Frontal air bag deployment, time to first stage deployment, driver: 12 ms\n"
    )
    assert report.lines == ()
    assert findings(report) == ["crash-data-not-a-report"]


def test_a_unit_that_reports_no_faults_is_no_warning() -> None:
    report = read("SRS fault memory\nNo faults stored\nAll tests complete\n")
    assert report.findings == ()
    assert report.unread == ()


@pytest.mark.parametrize("where", ["Front", "Side", "Rear"])
@pytest.mark.parametrize("what", ["crash", "collision", "impact"])
def test_crash_records_of_any_side_are_events_of_the_unit(where: str, what: str) -> None:
    (line,) = read(f"B1193-00 {where} {what} recorded, locked").lines
    assert (line.component, line.fault) == ("centre.control-unit", "event-recorded")


def test_present_supply_faults_alone_are_flagged() -> None:
    report = read(
        "B1318 Battery voltage low - present\nU0151 Lost communication with SRS module - present\n"
        "B1001 Left curtain open - stored\nB1002 Right curtain open - stored\n"
        "B1003 Driver airbag open - stored\n"
    )
    assert "one-cause-behind-many" in findings(report)


def test_prose_after_a_list_is_not_part_of_its_last_fault() -> None:
    report = read("B1001 Airbag squib open\n\nThe guy said the driver seat was out last summer.\n")
    assert report.lines[0].place is None
    assert [u.line for u in report.unread] == [3]


def test_the_same_code_in_two_modules_is_two_lines() -> None:
    report = read(
        "Module: Airbag\nU1000 no communication\nModule: Gateway\nU1000 no communication\n"
    )
    assert [ln.module for ln in report.lines] == ["Airbag", "Gateway"]


def test_a_block_that_says_its_code_three_times_is_one_fault() -> None:
    block = (
        "===RCM DTC B00B5:13-08===\nCode: B00B5 - Driver Seat Track Position Restraints Sensor\n\n"
        "Additional Fault Symptom:\n - Circuit Open\n\nModule: Restraint Control Module\n"
        "===END RCM DTC B00B5:13-08===\n\n"
    )
    report = read(block.replace("B00B5", "B0001").replace("Seat Track", "Knee") + block)
    assert [(ln.code, ln.failure_type, ln.status) for ln in report.lines] == [
        ("B0001", "13", ("stored",)),
        ("B00B5", "13", ("stored",)),
    ]
    assert report.lines[1].component == "driver.seat-position-sensor"
    assert report.lines[1].module == "Restraint Control Module"


def test_left_or_right_written_with_a_slash_leaves_the_side_open() -> None:
    (line,) = read("B1001 L/R curtain airbag open").lines
    assert (line.place, line.side) == (None, None)


@pytest.mark.parametrize("thing", ["Foobar igniter", "Quetschkopf Zünder", "Cross member squib"])
def test_an_igniter_of_an_unknown_thing_is_not_taken_for_a_front_bag(thing: str) -> None:
    (line,) = read(f"B1001-1B {thing} open circuit - present").lines
    assert (line.component, line.kind, line.fault) == (None, None, "open-or-high")
    assert max(c.weight for c in line.candidates) < 0.5


def test_codes_as_a_camera_sees_them_are_candidates_with_one_confirmation() -> None:
    report = read("B2Ol4-13 Driver airbag 0pen\nBZ0I9-11 Left curtain short to gr0und\n")
    assert [ln.code for ln in report.lines] == ["B2Ol4-13", "BZ0I9-11"]
    assert [{c.code for c in ln.candidates} for ln in report.lines] == [{"B2014-13"}, {"B2019-11"}]
    assert [ln.fault for ln in report.lines] == ["open-or-high", "short-to-ground"]
    assert [f for f in findings(report) if f == "codes-repaired"] == ["codes-repaired"]


def test_a_machine_read_text_without_codes_says_so() -> None:
    report = read("RESTRA1NT M0DULE rep0rt\nPage l of l\nC0unt unkn0wn\n")
    assert "machine-read-no-code" in findings(report)


def test_numbers_without_words_or_table_are_told_once() -> None:
    report = read("Flash codes: 13, 24\nlamp 31\n")
    assert [f for f in findings(report) if f == "no-table-for-code"] == ["no-table-for-code"]


def test_a_line_that_names_a_part_and_is_not_understood_is_told_with_what_was_seen() -> None:
    report = read("B1001 left curtain open\nthe driver airbag looks shiny\n")
    assert "line-not-understood" in findings(report)
    assert "bag" in report.unread[0].recognised


def test_a_label_of_fault_and_state_under_a_code_belongs_to_it_however_its_cells_stand() -> None:
    report = read(
        "Código : B2C08        Componente : Cortina inflable derecha\n"
        "Fallo  : circuito interrumpido            Estado : histórico\n"
        "Código : B2C0E        Componente : Airbag central del conductor\n"
        "Fallo  : cortocircuito a tierra           Estado : actual\n"
    )
    assert [(ln.component, ln.fault) for ln in report.lines] == [
        ("right.curtain", "open-or-high"),
        ("driver.centre-bag", "short-to-ground"),
    ]
    assert report.unread == ()


def test_a_label_before_the_code_names_the_unit_of_its_line_whatever_stands_above() -> None:
    report = read(
        "Skan całego auta\n"
        "Silnik: P0113 czujnik temperatury powietrza, przerwa\n"
        "Skrzynia: brak błędów\n"
        "Airbag: B4904 poduszka pasażera 2, zwarcie z masą\n"
        "Klimatyzacja: B1A05 czujnik nasłonecznienia, przerwa\n"
    )
    assert [(ln.unit, ln.component) for ln in report.lines] == [
        ("other", None),
        ("restraint", "passenger.front-bag"),
        ("other", None),
    ]


def test_a_label_that_names_parts_names_the_unit_as_a_part_too() -> None:
    block = "[{}] Code: {}\n    Item: {}\n    Symptom: {}\n    State: {}\n"
    rows = (
        ("B1D01", "Steering wheel airbag squib #1", "circuit is open", "current"),
        ("B1D0C", "Side air curtain, right", "shorted to B+", "past"),
        ("B1D33", "Restraint controller", "internal error", "current"),
    )
    report = read("".join(block.format(n, *row) for n, row in enumerate(rows, 1)))
    assert [(ln.component, ln.fault, ln.status) for ln in report.lines] == [
        ("driver.front-bag", "open-or-high", ("present",)),
        ("right.curtain", "short-to-battery", ("stored",)),
        ("centre.control-unit", "internal", ("present",)),
    ]


def test_a_line_above_codes_sorts_them_by_status() -> None:
    report = read(
        "SRS freeze list   <<< current >>>\n"
        "B2A04:13 LEFT FRONT SEAT AIR BAG LOOP OPEN\n"
        "SRS freeze list   <<< history >>>\n"
        "B2A22:0D RIGHT ROOF RAIL AIR BAG LOOP OPEN\n"
    )
    assert [ln.status for ln in report.lines] == [("present",), ("stored",)]


def test_a_stage_alone_is_one_of_the_part_before() -> None:
    report = read("B4701 airbag volante stadio 1 interrotto\nB4702 anche lo stadio 2, interrotto\n")
    assert [(ln.component, ln.stage) for ln in report.lines] == [
        ("driver.front-bag", 1),
        ("driver.front-bag", 2),
    ]


def test_a_row_whose_result_is_pass_is_no_fault_now() -> None:
    report = read(
        "B1A33-87   Driver front airbag - missing message       Active\n"
        "B1A52      Passenger Airbag Indicator Lamp             Pass\n"
    )
    assert [ln.present for ln in report.lines] == [True, False]


def test_a_sentence_below_a_gap_that_names_a_part_of_its_own_is_no_part_of_the_fault_above() -> (
    None
):
    report = read(
        "B2B24 Aufprallsensor vorn Mitte: kein Signal\n"
        "B2B30 Steckverbindung Seitenairbag Beifahrersitz: Wackelkontakt\n"
        "\n"
        "Der Schleifring ist neu (März), Lenkrad stand gerade.\n"
    )
    assert "Schleifring" not in report.lines[1].raw
    assert report.lines[1].kind != "clock-spring"


def test_rows_of_a_printed_table_belong_to_the_unit_that_each_begins_with() -> None:
    report = read(
        "ENGINE       U0151  no comms, restraints              current\n"
        "CLUSTER      B1A11  airbag tell-tale lit by default   current\n"
        "RESTRAINTS   B1A90  passenger retractor pretensioner open  current\n"
        "BODY         B1A30  door lock motor open              current\n"
    )
    assert [(ln.unit, ln.component) for ln in report.lines] == [
        ("other", "centre.control-unit"),
        ("other", None),
        ("restraint", "passenger.retractor-pretensioner"),
        ("other", None),
    ]


def test_a_supply_fault_below_a_whole_fault_is_one_of_its_own() -> None:
    report = read(
        "B1128 - side airbag driver seat, circuit resistance too high - intermittent\n"
        "battery voltage low - history\n"
    )
    assert [(ln.fault, ln.status) for ln in report.lines] == [
        ("open-or-high", ("intermittent",)),
        ("voltage", ("stored",)),
    ]


def test_what_two_clauses_of_a_line_say_of_one_fault_is_one_fault() -> None:
    report = read("B0001 driver airbag open\nCrash data stored, ecu locked - history\n")
    assert [(ln.fault, ln.status) for ln in report.lines] == [
        ("open-or-high", ()),
        ("event-recorded", ("locked", "stored")),
    ]
    assert len(report.coverage.why) == 1


def test_a_part_that_is_called_good_announces_no_count_of_faults() -> None:
    report = read(
        "SRS module - 2 faults\nB0001 driver airbag open\n"
        "side airbag n/s: ok\nB0010 pass airbag open\n"
    )
    assert "count-differs" not in findings(report)


def test_a_status_told_before_a_list_of_codes_is_that_of_each() -> None:
    report = read(
        "B1464 airbag passager ouvert\nCodes effacés avant remise : B1490, B1491 (2023)\n"
    )
    assert [ln.present for ln in report.lines] == [True, False, False]


def test_codes_in_the_subject_of_a_mail_that_names_no_part_are_numbers_of_its_job() -> None:
    report = read("Subject: Re: preventivo pratica 4-1 / B2044\nB1464 airbag guidatore aperto\n")
    assert [ln.code for ln in report.lines] == ["B1464"]


@pytest.mark.parametrize(
    ("text", "stands"),
    [
        ("Odometer 61,204 mi", (61_204, "mi")),
        ("Mileage: 88121", (88_121, "")),
        ("Kilometerstand 88.014 km", (88_014, "km")),
        ("km-Stand 148220", (148_220, "")),
        ("Kilométrage : 96 412 km     Temps", (96_412, "km")),
        ("Odometer (km): 70231.5", (70_231, "km")),
        ("mileage at last occurrence: 61204", (None, "")),  # of a fault, not of the scan
        ("Odometer: not available", (None, "")),
        ("Odometer 99999999999 km", (None, "")),
    ],
)
def test_the_odometer_that_a_report_states_is_read(
    text: str, stands: tuple[int | None, str]
) -> None:
    covered = read(f"Restraint system\n{text}\nNo faults stored.\n").coverage
    assert (covered.odometer, covered.odometer_unit) == stands


def test_a_letter_for_the_seat_leads_the_parts_of_a_report_in_english() -> None:
    report = read_text(
        "B1A11 D frontal 1 open\nB1A12 D buckle pretensioner open\nB1A13 P knee open\n"
    )
    assert [ln.place for ln in report.lines] == ["driver", "driver", "passenger"]


def test_words_behind_a_denial_of_another_part_go_with_no_fault_above() -> None:
    report = read_text(
        "B1A11 module not coded\nno fault on the driver knee airbag\nSeat back: cover torn\n"
    )
    assert [ln.raw for ln in report.lines] == ["B1A11 module not coded"]


@pytest.mark.parametrize(
    "lead",
    [
        "He cleared them once with the key on and these came right back:",
        "Cleared, and these came back:",
        "Alles gelöscht, diese kommen wieder:",
    ],
)
def test_codes_that_came_back_after_clearing_are_there(lead: str) -> None:
    report = read_text(
        f"{lead}\n\n  * B1A11 - driver airbag, open circuit\n  * B1A12 - left curtain open\n"
    )
    assert [(ln.component, ln.present) for ln in report.lines] == [
        ("driver.front-bag", True),
        ("left.curtain", True),
    ]
    assert not any("cleared" in ln.status for ln in report.lines)


def test_what_a_person_reads_in_an_unsure_sentence_counts() -> None:
    said = "Whoever told you the driver airbag is open circuit is talking rubbish."
    part = "driver.front-bag"
    own = OwnCode(code="", component=part, fault="open-or-high", text=said, source="the owner")
    assert [ln.present for ln in read(said, car_with(part)).lines] == [False]
    assert [ln.present for ln in read(said, car_with(part, codes=(own,))).lines] == [True]


@pytest.mark.parametrize("bar", [" | ", "   |   "])
def test_each_piece_between_bars_says_what_its_own_part_is_like(bar: str) -> None:
    pieces = ["stage 1 open", "stage 2 open", "stage 2 2.2 ohm ok", "stage 1 2.1 ohm pass"]
    who = ["drv", "drv", "pass", "pass"]
    text = bar.join(f"{w} front bag {p}" for w, p in zip(who, pieces, strict=True))
    assert found(read(text)) == [
        (None, "driver.front-bag", 1, "open-or-high"),
        (None, "driver.front-bag", 2, "open-or-high"),
    ]


@pytest.mark.parametrize(
    "words", ["Crash output locked", "Crashsignal gesperrt", "señal de choque bloqueada"]
)
def test_a_crash_signal_that_is_locked_is_a_record_and_no_status_of_the_line_above(
    words: str,
) -> None:
    sensor, record = read(f"Left B-pillar sensor no communication\n{words}\n").lines
    assert (sensor.component, sensor.status) == ("pillar-left.impact-sensor", ())
    assert (record.component, record.fault) == ("centre.control-unit", "event-recorded")
    assert record.status == ("locked",)
