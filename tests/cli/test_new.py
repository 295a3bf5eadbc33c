"""A new case folder loads as it is, and every line of its template is right once uncommented."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.cli import new_case, output
from squibwise.entering.new_case import template
from squibwise.intake import load_case

Line = Callable[..., Any]


def test_a_new_case_loads_at_once(run: Line, tmp_path: Path) -> None:
    done = run("new", tmp_path / "my car")
    assert done.code == 0
    case = load_case(tmp_path / "my car", load_catalog())
    assert case.id == "my-car"
    assert case.evidence == ()


def test_everything_in_the_template_is_right_when_uncommented(tmp_path: Path) -> None:
    (tmp_path / "evidence").mkdir()
    (tmp_path / "evidence" / "scan-before.txt").write_text("B0001 driver airbag open\n")
    text = re.sub(r"^#(?=[\[a-z])", "", template("x-1"), flags=re.MULTILINE)
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    case = load_case(tmp_path, load_catalog())
    assert len(case.evidence) == 6
    assert len(case.prices) == 1
    assert case.profile.wait_minutes is not None
    assert case.car.vin is not None


def test_reports_are_copied_and_named_in_the_case(run: Line, tmp_path: Path, cases: Path) -> None:
    report = cases / "harrow-07" / "evidence" / "scan-before.txt"
    done = run("new", tmp_path / "c", "--report", report, "--json")
    assert done.json()["case"] == "c"
    assert (tmp_path / "c" / "evidence" / "scan-before.txt").read_bytes() == report.read_bytes()
    assert [e.id for e in load_case(tmp_path / "c", load_catalog()).evidence] == ["scan-1"]


def test_what_is_stated_stands_in_its_own_line(run: Line, tmp_path: Path) -> None:
    stated = ("--vin", "0Z9HB5A26KR000417", "--year", "2019", "--region", "US-OH", "--drive")
    more = ("right", "--equipment", "seat-bags", "--currency", "EUR", "--title", 'My "car"')
    assert run("new", tmp_path / "c", *stated, *more).code == 0
    case = load_case(tmp_path / "c", load_catalog())
    car = case.car
    assert (car.vin, car.model_year, car.drive_hand) == ("0Z9HB5A26KR000417", 2019, "right")
    assert (case.region, case.currency, case.title) == ("US-OH", "EUR", 'My "car"')
    assert car.equipment == "seat-bags"
    text = (tmp_path / "c" / "case.toml").read_text()
    assert "# ISO 3166: where the car will be registered" in text


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--vin", "123", "VIN"),
        ("--year", "soon", "model_year"),
        ("--equipment", "seat-bgs", "seat-bags"),
        ("--currency", "DOLLAR", "DOLLAR"),
    ],
)
def test_what_is_stated_wrong_is_told_and_nothing_is_made(
    run: Line, tmp_path: Path, option: str, value: str, told: str
) -> None:
    done = run("new", tmp_path / "c", option, value)
    assert done.code == 2
    assert told in done.err
    assert not (tmp_path / "c").exists()


def test_a_person_at_a_terminal_is_asked(
    run: Line, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(output, "can_ask", lambda: True)
    answers = iter(["", "", "2019", "GB", "right", "", ""])
    monkeypatch.setattr(new_case.click, "prompt", lambda *_, **__: next(answers))
    assert run("new", tmp_path / "c").code == 0
    case = load_case(tmp_path / "c", load_catalog())
    assert (case.car.model_year, case.region, case.car.drive_hand) == (2019, "GB", "right")


def test_nothing_is_ever_overwritten(run: Line, tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text("mine", encoding="utf-8")
    done = run("new", tmp_path)
    assert done.code == 2
    assert (tmp_path / "case.toml").read_text() == "mine"


def test_a_missing_report_leaves_no_half_made_folder(run: Line, tmp_path: Path) -> None:
    assert run("new", tmp_path / "c", "--report", tmp_path / "nothing.pdf").code == 2
    assert not (tmp_path / "c").exists()


def test_two_reports_of_one_name_are_refused(run: Line, tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "scan.txt").write_text(name)
    reports = ("--report", tmp_path / "a" / "scan.txt", "--report", tmp_path / "b" / "scan.txt")
    assert run("new", tmp_path / "c", *reports).code == 2
    assert not (tmp_path / "c").exists()


def test_any_file_name_can_be_written_into_the_case(run: Line, tmp_path: Path) -> None:
    report = tmp_path / 'sc"an é.txt'
    report.write_text("B0001 driver airbag open\n", encoding="utf-8")
    assert run("new", tmp_path / "c", "--report", report).code == 0
    assert list(load_case(tmp_path / "c", load_catalog()).files) == [f"evidence/{report.name}"]


# From memory of ISO 4217 and of the side of the road: pounds in Britain, driver on the right.
@pytest.mark.parametrize(
    ("region", "money", "side"),
    [("GB", "GBP", "right"), ("US-OH", "USD", "left"), ("AU-NSW", "AUD", "right")],
)
def test_the_money_and_the_side_of_a_region_need_not_be_stated(
    run: Line, tmp_path: Path, region: str, money: str, side: str
) -> None:
    assert run("new", tmp_path / "c", "--region", region).code == 0
    case = load_case(tmp_path / "c", load_catalog())
    assert (case.currency, case.car.drive_hand) == (money, side)
