"""A case file becomes a case: order, names, car, files. Cases are ours."""

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.components import whole_template
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.errors import InputError, UnavailableError
from squibwise.history.order import order_entries
from squibwise.intake import load_case, read_report_file
from squibwise.intake.case_file.car_files import likeliest_template
from squibwise.intake.case_file.written import name_entries
from squibwise.model.case import Case
from squibwise.model.cost import Money
from squibwise.model.evidence import Look, Report

Load = Callable[[str], Case]
CASES = DEMO_CASES

LOOK = '[[evidence]]\nkind = "look"\ncomponent = "{}"\nseen = "intact"\n'
SCAN = '[[evidence]]\nkind = "report"\nfile = "evidence/scan.txt"\n'


def codes(case: Case) -> set[str]:
    return {finding.code for finding in case.findings}


@pytest.mark.parametrize("path", sorted(CASES.glob("*/case.toml")), ids=lambda p: p.parent.name)
def test_every_demo_case_loads_without_a_warning(path: Path, catalog: Catalog) -> None:
    case = load_case(path.parent, catalog)
    assert case.id == path.parent.name
    assert [f.text() for f in case.findings if f.code.startswith("case-")] == []


def test_a_folder_and_its_case_file_are_the_same_case(catalog: Catalog) -> None:
    assert load_case(CASES / "harrow-07", catalog) == load_case(
        CASES / "harrow-07" / "case.toml", catalog
    )


def test_an_entry_without_a_time_stays_behind_the_one_it_was_written_after(load: Load) -> None:
    first = LOOK.format("left.curtain") + "id = 'first'\n"
    late = LOOK.format("left.curtain") + "id = 'late'\ntime = 2026-03-03\n"
    after_late = LOOK.format("left.curtain") + "id = 'after-late'\n"
    early = LOOK.format("left.curtain") + "id = 'early'\ntime = 2026-03-02T10:00\n"
    case = load(first + late + after_late + early)
    assert [e.id for e in case.evidence] == ["first", "early", "late", "after-late"]


@settings(max_examples=80, deadline=None)
@given(st.lists(st.none() | st.datetimes(), max_size=7))
def test_order_of_time_is_stable_and_loses_nothing(times: list[object]) -> None:
    looks = [
        Look(id=str(n), time=t, component="left.curtain", seen="intact")  # type: ignore[arg-type]
        for n, t in enumerate(times)
    ]
    ordered = order_entries(looks)
    assert sorted(e.id for e in ordered) == sorted(e.id for e in looks)
    timed = [e for e in ordered if e.time is not None]
    assert [e.id for e in timed] == [e.id for e in sorted(timed, key=lambda e: e.time)]
    assert order_entries(ordered) == ordered


def test_ids_are_given_by_kind_and_never_collide(load: Load) -> None:
    text = LOOK.format("left.curtain") * 2 + LOOK.format("left.curtain") + "id = 'look-1'\n"
    assert [e.id for e in load(text).evidence] == ["look-2", "look-3", "look-1"]
    assert name_entries(["look", "done", "look"], [None, None, None]) == [
        "look-1",
        "done-1",
        "look-2",
    ]


def test_evidence_knows_its_line_and_its_person(load: Load) -> None:
    look = load("[case]\n\n" + LOOK.format("left.curtain") + "by = 'R'\n").evidence[0]
    assert (look.origin.file, look.origin.line) == ("case.toml", 3)
    assert look.origin.person == "R"


def test_a_component_that_was_seen_is_in_the_car_and_a_warning_says_so(load: Load) -> None:
    case = load("[car]\nequipment = 'front-bags'\n" + LOOK.format("left.curtain"))
    assert "left.curtain" in case.car.components
    warning = next(f for f in case.findings if f.code == "case-component-added")
    assert (warning.severity, warning.origin.line) == ("warning", 5)


def test_a_component_that_a_report_names_is_in_the_car(load: Load, folder: Path) -> None:
    text = "B0004-1B Driver knee airbag squib open  present\nB0002-1B Driver frontal inflator, "
    (folder / "evidence" / "scan.txt").write_text(text + "2nd stage - open  present\n", "utf-8")
    case = load("[car]\nequipment = 'front-bags'\n" + SCAN)
    assert "driver.knee-bag" in case.car.components
    assert case.car.stages == {"driver.front-bag": 2}
    added = next(f for f in case.findings if f.code == "report-component-added")
    assert (added.severity, added.origin.line) == ("warning", 1)
    assumed = load(SCAN.replace("[[evidence]]", "[[evidence]]"))
    assert all(f.severity == "note" for f in assumed.findings if f.code.endswith("-added"))


@pytest.mark.parametrize(
    ("text", "added"),
    [
        ("Knee airbag open", {"driver.knee-bag", "passenger.knee-bag"}),
        ("Battery cut-off open", {"centre.battery-cutoff"}),
        (
            "Rear belt pretensioner open",
            {"row2-left.retractor-pretensioner", "row2-right.retractor-pretensioner"},
        ),
        ("Front airbag open", set()),
        ("B1C20 heater open", set()),
    ],
)
def test_a_charge_named_without_its_place_is_in_the_car(
    load: Load, folder: Path, text: str, added: set[str]
) -> None:
    (folder / "evidence" / "scan.txt").write_text(f"{text}  present\n", encoding="utf-8")
    case = load("[car]\nequipment = 'front-bags'\n" + SCAN)
    before = load("[car]\nequipment = 'front-bags'\n").car.components
    assert set(case.car.components) - set(before) == added
    told = [f.severity for f in case.findings if f.code == "report-component-unplaced"]
    assert told == (["warning"] if added else [])


def test_a_report_of_another_car_is_a_warning_at_its_line(load: Load, folder: Path) -> None:
    report = "VIN 0Z9SD4C37LR001822\nB0001-1B Driver airbag squib 1 open  present\n"
    (folder / "evidence" / "scan.txt").write_text(report, encoding="utf-8")
    case = load("[car]\nvin = '0Z9HB5A26KR000417'\n" + SCAN)
    warning = next(f for f in case.findings if f.code == "case-other-vin")
    assert (warning.severity, warning.origin.line) == ("warning", 5)


def test_the_vin_of_a_report_is_taken_when_the_case_states_none(load: Load, folder: Path) -> None:
    report = "VIN 0Z9HB5A26KR000417\nB0001-1B Driver airbag squib 1 open  present\n"
    (folder / "evidence" / "scan.txt").write_text(report, encoding="utf-8")
    car = load(SCAN).car
    assert (car.vin, car.model_year) == ("0Z9HB5A26KR000417", 2019)


def test_work_items_verdicts_and_words_can_be_passed(load: Load) -> None:
    words = ["step:drive", "left.curtain:inspect", "reading:r1", "label:driver.front-bag"]
    words += ["key-on-safe", "release", "seat-trials:passenger.occupant-sensor"]
    words += ["driver.front-bag:disposal", "step:check-clock-spring"]
    entry = "[[evidence]]\nkind = 'passed'\nwhat = '{}'\nresult = 'passed'\n"
    assert len(load("".join(entry.format(w) for w in words)).evidence) == len(words)


def test_prices_may_be_for_parts_kinds_tasks_and_hours(load: Load) -> None:
    words = ["left.curtain", "curtain", "labour-hour", "drive", "step:drive", "curtain:replace"]
    price = "[[price]]\nwhat = '{}'\nlow = 1\nlikely = 2\nhigh = 3\n"
    assert [p.what for p in load("".join(map(price.format, words))).prices] == words


def test_a_name_that_no_file_can_have_is_told(catalog: Catalog) -> None:
    for name in ("x" * 5000, "a\0b"):
        with pytest.raises(InputError, match=r"name|null"):
            load_case(Path(name), catalog)


def test_added_and_removed_components_change_the_template(load: Load) -> None:
    text = "[car]\nequipment = 'front-bags'\nadd = ['left.curtain']\n"
    car = load(text + "remove = ['driver.clock-spring']\n").car
    assert "left.curtain" in car.components
    assert "driver.clock-spring" not in car.components
    assert list(car.components) == sorted(car.components)


def test_a_template_brings_what_it_extends(load: Load, catalog: Catalog) -> None:
    car = load("[car]\nequipment = 'full-modern-set'\n").car
    assert set(catalog.templates["front-bags"].components) <= set(car.components)
    assert car.stages == {"driver.front-bag": 2, "passenger.front-bag": 2}
    assert not car.assumed


def test_a_named_second_circuit_gives_the_component_two_stages(load: Load) -> None:
    test = "[[evidence]]\nkind = 'test-outcome'\nloop = 'driver.front-bag/2'\ntest = 'x'\n"
    case = load("[car]\nequipment = 'front-bags'\n" + test + "outcome = 'y'\n")
    assert case.car.stages == {"driver.front-bag": 2}
    assert "case-stage-added" in codes(case)


def test_stated_stages_go_before_the_template(load: Load) -> None:
    text = "[car]\nequipment = 'seat-bags'\nstages = { 'passenger.front-bag' = 1 }\n"
    assert load(text).car.stages == {"driver.front-bag": 2}


def test_a_component_with_stated_stages_is_in_the_car(load: Load) -> None:
    case = load("[car]\nequipment = 'front-bags'\nstages = { 'driver.knee-bag' = 2 }\n")
    assert "driver.knee-bag" in case.car.components
    assert case.car.stages == {"driver.knee-bag": 2}
    assert "case-component-added" in codes(case)


def test_without_equipment_the_likeliest_of_the_year_is_assumed(load: Load) -> None:
    case = load("[car]\nmodel_year = 1995\n")
    assert case.car.equipment == "front-bags"
    assert case.car.assumed
    assert "case-equipment-assumed" in codes(case)


def test_without_a_year_the_widest_template_is_assumed(load: Load, catalog: Catalog) -> None:
    assert load("[car]\n").car.equipment == "full-modern-set"
    assert likeliest_template(None, catalog.templates) == "full-modern-set"


# Source: cfr-49-565, position 10: K with a letter in position 7 means 2019.
def test_the_model_year_is_taken_from_the_vin(load: Load) -> None:
    car = load("[car]\nvin = ' 0z9hb5a26kr000417 '\n").car
    assert (car.vin, car.model_year) == ("0Z9HB5A26KR000417", 2019)


def test_a_stated_year_goes_before_the_vin_and_the_difference_is_told(load: Load) -> None:
    case = load("[car]\nvin = '0Z9HB5A26KR000417'\nmodel_year = 2018\n")
    assert case.car.model_year == 2018
    assert "case-other-year" in codes(case)


@pytest.mark.parametrize(
    ("car", "time", "code"),
    [
        ("model_year = 2019", "2009-01-01", "case-time-before-car"),
        ("model_year = 2019", "9999-01-01", "case-time-after-car"),
    ],
)
def test_evidence_outside_the_life_of_the_car_is_a_warning(
    load: Load, car: str, time: str, code: str
) -> None:
    case = load(f"[car]\n{car}\n" + LOOK.format("left.curtain") + f"time = {time}\n")
    assert code in codes(case)


def test_files_carry_their_digest(load: Load, folder: Path) -> None:
    expected = hashlib.sha256((folder / "evidence" / "scan.txt").read_bytes()).hexdigest()
    assert load(SCAN).files == {"evidence/scan.txt": expected}


def test_a_file_named_twice_is_two_reports_and_one_digest(load: Load) -> None:
    case = load(SCAN + SCAN)
    assert [e.id for e in case.evidence] == ["report-1", "report-2"]
    assert len(case.files) == 1


def test_what_is_stated_of_the_coverage_goes_with_the_report(load: Load) -> None:
    report = load(SCAN + "complete = true\nunit_volts = 12.4\nwhen = 'after-repair'\n").evidence[0]
    assert isinstance(report, Report)
    assert report.reading.coverage.complete is True
    assert report.reading.coverage.unit_volts == 12.4
    assert report.when == "after-repair"


def test_an_empty_report_file_is_told_at_its_line(folder: Path, catalog: Catalog) -> None:
    (folder / "evidence" / "scan.txt").write_bytes(b"")
    (folder / "case.toml").write_text(SCAN, encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        load_case(folder, catalog)
    finding = refusal.value.findings[0]
    assert (finding.code, finding.origin.line) == ("case-unreadable-file", 3)


def test_a_report_that_needs_a_part_not_installed_is_told_at_its_line(
    folder: Path, catalog: Catalog, monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing(*_: object) -> None:
        raise UnavailableError("pictures need the optional part", remedy="Install it.")

    for name in ("extract", "read_report"):
        monkeypatch.setattr(f"squibwise.intake.case_file.car_files.{name}", missing)
    (folder / "case.toml").write_text(SCAN, encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        load_case(folder, catalog)
    finding = refusal.value.findings[0]
    assert (finding.code, finding.origin.line) == ("case-unreadable-file", 3)
    assert finding.remedy == "Install it."


def test_prices_are_minor_units_of_the_cases_currency(load: Load) -> None:
    price = "[[price]]\nwhat = 'curtain'\nlow = 1\nlikely = 2.5\nhigh = 3.999\n"
    yen = load("[case]\ncurrency = 'JPY'\n" + price).prices[0]
    assert yen.likely == Money(minor=2, currency="JPY")
    dollars = load(price).prices[0]
    assert (dollars.low.minor, dollars.high.minor) == (100, 400)


def test_figures_of_the_maker_keep_their_citation(load: Load) -> None:
    rule = "[[profile.rules]]\ncomponent = 'clock-spring'\naction = 'replace'\nsource = 'page 3'\n"
    text = "[profile]\nname = 'by-condition'\nwait_minutes = { value = 3, source = 'page 1' }\n"
    profile = load(text + rule).profile
    assert profile.wait_minutes is not None
    assert (profile.wait_minutes.value, profile.wait_minutes.source) == (3, "page 1")
    assert (profile.rules[0].component, profile.rules[0].when) == ("clock-spring", "always")


# Source: service texts as facts/require.toml cites them: the shortest wait asked for is 10 s.
@pytest.mark.parametrize(("minutes", "is_kept"), [("0", False), ("0.16", False), ("0.17", True)])
def test_a_wait_that_no_maker_asks_for_is_told_and_not_used(
    load: Load, minutes: str, is_kept: bool
) -> None:
    case = load(f"[profile]\nwait_minutes = {{ value = {minutes}, source = 'x' }}\n")
    assert (case.profile.wait_minutes is not None) is is_kept
    assert ("case-wait-too-short" in {f.code for f in case.findings}) is not is_kept


def test_a_bare_report_is_a_case_of_its_own(folder: Path, catalog: Catalog) -> None:
    case = load_case(folder / "evidence" / "scan.txt", catalog)
    assert case.id == "scan"
    assert case.car.assumed
    report = case.evidence[0]
    assert isinstance(report, Report)
    assert (report.when, report.reading.coverage.complete) == ("unknown", None)
    assert list(case.files) == ["scan.txt"]


def test_a_windows_text_file_is_read_alike(load: Load) -> None:
    text = "\ufeff[case]\r\ntitle = 'x'\r\n" + LOOK.format("left.curtain").replace("\n", "\r\n")
    case = load(text)
    assert case.title == "x"
    assert case.evidence[0].origin.line == 3


@pytest.mark.parametrize("path", ["nothing", ".", "nothing/case.toml"])
def test_what_is_not_there_is_told_with_a_remedy(
    tmp_path: Path, catalog: Catalog, path: str
) -> None:
    with pytest.raises(InputError) as refusal:
        load_case(tmp_path / path, catalog)
    assert refusal.value.remedy


def test_a_folder_of_cases_names_the_cases_in_it(catalog: Catalog) -> None:
    with pytest.raises(InputError) as refusal:
        load_case(CASES, catalog)
    assert "demo/" in refusal.value.remedy


def test_a_file_of_fifty_megabytes_is_refused_unread(tmp_path: Path, catalog: Catalog) -> None:
    big = tmp_path / "scan.txt"
    with big.open("wb") as file:
        file.truncate(50_000_000)
    for open_it in (load_case, read_report_file):
        with pytest.raises(InputError, match="MB"):
            open_it(big, catalog)


def test_a_pipe_without_a_writer_does_not_hang(tmp_path: Path, catalog: Catalog) -> None:
    os.mkfifo(tmp_path / "scan.txt")
    with pytest.raises(InputError, match="pipe"):
        read_report_file(tmp_path / "scan.txt", catalog)


@pytest.mark.parametrize(
    ("told", "hand"),
    [
        ("RHD, hit at the n/s front corner", "right"),
        ("volante a la derecha", "right"),
        ("guida a sinistra", "left"),
        ("B0010 Driver front right airbag", "right"),
        ("nothing of the kind", "left"),
    ],
)
def test_the_car_of_a_bare_report_has_the_drivers_side_that_it_tells(
    told: str, hand: str, tmp_path: Path, catalog: Catalog
) -> None:
    (tmp_path / "r.txt").write_text(f"{told}\nB0001 driver airbag: open circuit\n", "utf-8")
    case = load_case(tmp_path / "r.txt", catalog)
    assert case.car.drive_hand == hand


def test_a_folder_is_no_report(tmp_path: Path, catalog: Catalog) -> None:
    with pytest.raises(InputError, match="folder"):
        read_report_file(tmp_path, catalog)


def test_a_case_file_is_no_report(catalog: Catalog) -> None:
    with pytest.raises(InputError, match="case file") as refusal:
        read_report_file(CASES / "harrow-07" / "case.toml", catalog)
    assert "assess" in refusal.value.remedy


def test_a_link_that_leaves_the_folder_is_refused(load: Load, folder: Path) -> None:
    secret = folder.parent / "secret.txt"
    secret.write_text("x", encoding="utf-8")
    (folder / "evidence" / "link.txt").symlink_to(secret)
    with pytest.raises(InputError) as refusal:
        load(SCAN.replace("scan.txt", "link.txt"))
    assert refusal.value.findings[0].code == "case-file-outside"


def test_a_report_that_no_entry_names_is_noted_and_a_photo_is_not(
    folder: Path, catalog: Catalog
) -> None:
    (folder / "evidence" / "forgotten.txt").write_text("B0001 driver airbag open\n")
    (folder / "evidence" / "photo.JPG").write_bytes(b"x")
    (folder / "case.toml").write_text(SCAN, encoding="utf-8")
    noted = [f for f in load_case(folder, catalog).findings if f.code == "case-unnamed-file"]
    assert [f.severity for f in noted] == ["note"]
    assert "evidence/forgotten.txt" in noted[0].message


def test_an_old_name_of_a_kind_is_read_as_the_new_one_and_told(load: Load) -> None:
    case = load(
        '[[evidence]]\nkind = "look"\ncomponent = "centre.dash-panel"\nseen = "intact"\n'
        '[[price]]\nwhat = "door-left.door-seal:replace"\nlow = 1\nlikely = 2\nhigh = 3\n'
        'source = "x"\non = 2026-01-01\n'
    )
    (look,) = [e for e in case.evidence if isinstance(e, Look)]
    assert look.component == "centre.instrument-panel"
    assert [f.origin.line for f in case.findings if f.code == "case-former-name"] == [3, 6]


def test_two_entries_of_one_file_are_told(load: Load, folder: Path) -> None:
    scan = (folder / "evidence" / "scan.txt").read_bytes()
    (folder / "evidence" / "copy.txt").write_bytes(scan)
    entry = '[[evidence]]\nkind = "report"\nfile = "evidence/{}.txt"\n'
    case = load(entry.format("scan") + entry.format("copy"))
    assert [f.origin.line for f in case.findings if f.code == "same-file-twice"] == [4]


@pytest.mark.parametrize(("day", "copies"), [("2026-11-02", 1), ("2026-12-08", 0)])
def test_the_same_words_read_at_another_time_are_news(
    load: Load, folder: Path, day: str, copies: int
) -> None:
    scan = (folder / "evidence" / "scan.txt").read_bytes()
    (folder / "evidence" / "later.txt").write_bytes(scan)
    entry = '[[evidence]]\nkind = "report"\nfile = "evidence/{}.txt"\ntime = {}\n'
    case = load(
        entry.format("scan", "2026-11-02T09:00:00") + entry.format("later", f"{day}T09:00:00")
    )
    assert [f.code for f in case.findings].count("same-file-twice") == copies


def test_an_impact_that_says_nothing_is_told(load: Load) -> None:
    blank = '[[evidence]]\nkind = "impact"\n'
    case = load(blank + blank + 'zone = "tail"\n')
    assert [f.origin.line for f in case.findings if f.code == "impact-blank"] == [1]


# Common practice, no source: few cars sold in Europe weigh the passenger seat; a switch or key cuts
# the airbag off. In North America 49 CFR 571.208 asks for sensing from model year 2006 on.
@pytest.mark.parametrize(("year", "region"), [(2009, "GB"), (2012, "GB-LND"), (2019, "DE-BY")])
def test_a_car_outside_north_america_is_not_taken_to_weigh_its_seat(year: int, region: str) -> None:
    templates = load_catalog().templates
    abroad = whole_template(likeliest_template(year, templates, region), templates)
    at_home = whole_template(likeliest_template(year, templates, "US-OH"), templates)
    assert "passenger.occupant-sensor" in at_home.components
    assert "passenger.occupant-sensor" not in abroad.components
    assert {"passenger.passenger-switch", "left.curtain"} <= set(abroad.components)


def test_a_report_of_a_case_is_gathered_once(
    folder: Path, catalog: Catalog, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The VIN and the faults come from one reading: a long report is not read twice."""
    from squibwise.intake.report import reader

    names: list[str] = []
    gather = reader.gather_lines

    def counted(lines: Any, name: str, catalog: Catalog) -> Any:
        names.append(name)
        return gather(lines, name, catalog)

    monkeypatch.setattr(reader, "gather_lines", counted)
    (folder / "case.toml").write_text(SCAN, encoding="utf-8")
    load_case(folder, catalog)
    assert len(names) == 1
