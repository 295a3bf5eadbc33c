"""The demo cases through every command: shapes that others rely on, exit codes, written files."""

import contextlib
import io
import json
import re
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
import pytest

from squibwise.cli.demo import DEMO_CASES, case_folders
from squibwise.cli.main import main

ROOT = DEMO_CASES
ALL = sorted(p.parent.name for p in ROOT.glob("*/case.toml"))
CASES = ("clover-05", "harrow-07")
LOOPS = {"burdock-09": "passenger.front-bag/1"}


class Done(msgspec.Struct, frozen=True):
    """What one command line did."""

    code: int
    out: str
    err: str

    def json(self) -> Any:
        return json.loads(self.out)


@cache
def line(*arguments: str) -> Done:
    """Run a command line once; many tests look at the same answer."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(arguments)
    return Done(code, out.getvalue(), err.getvalue())


SHAPES = {
    "assess": {"event", "components", "contradictions", "next_looks", "assumptions", "findings"},
    "work": {"items", "spread", "notices", "costs", "findings"},
    "cost": {"costs", "findings"},
    "check": {"verdicts", "findings"},
}


@pytest.fixture(params=CASES)
def case(request: pytest.FixtureRequest) -> str:
    return str(ROOT / request.param)


@pytest.mark.parametrize("command", SHAPES)
def test_the_answer_has_the_promised_keys(case: str, command: str) -> None:
    done = line(command, case, "--json")
    assert done.code in (0, 1)
    assert set(done.json()) >= SHAPES[command] | {"case"}
    assert done.json()["case"] == Path(case).name


@pytest.mark.parametrize("command", SHAPES)
def test_the_text_fits_a_terminal(case: str, command: str) -> None:
    done = line(command, case)
    assert done.code in (0, 1)
    assert done.err == ""
    assert max(map(len, done.out.splitlines())) <= 80
    assert Path(case).name in done.out


def test_the_exit_code_is_one_when_something_needs_a_person(case: str) -> None:
    done = line("assess", case, "--json")
    warned = any(f["severity"] == "warning" for f in done.json()["findings"])
    assert done.code == int(bool(done.json()["contradictions"]) or warned)


def test_components_carry_states_and_reasons(case: str) -> None:
    for component in line("assess", case, "--json").json()["components"]:
        states = {"sound", "fired", "faulty", "damaged", "missing", "unfit"}
        assert set(component["after_crash"]) == set(component["now"]) == states
        assert component["because"]


def test_every_line_can_say_why() -> None:
    case = str(ROOT / "harrow-07")
    assert "Because" in line("assess", case, "--why", "driver.front-bag").out
    assert "Because" in line("work", case, "--why", "driver.front-bag:replace").out


def test_a_line_of_the_work_is_called_by_its_order_its_part_or_its_title() -> None:
    case = str(ROOT / "harrow-07")
    orders = line("work", case, "--json").json()["orders"]
    assert {"front-belt@driver", "front-belt@passenger"} <= {
        f"{o['assembly']}@{o['contains'][0].split('.')[0]}" for o in orders if o["contains"]
    }
    told = line("work", case, "--why", "front-belt@driver").out
    assert "driver.belt-webbing" in told
    assert "passenger.belt-webbing" not in told
    assert "action" in line("work", case, "--why", "driver.buckle-pretensioner").out
    several = line("work", case, "--why", "front-belt", "--json").json()
    assert several["remedy"] == "Did you mean 'front-belt@driver' or 'front-belt@passenger'?"
    frames = line("work", case, "--why", "seat-frame", "--json").json()  # of the kind, at each seat
    assert "driver.seat-frame:inspect" in frames["remedy"]
    assert "passenger.seat-frame:inspect" in frames["remedy"]


def test_a_trace_without_a_circuit_names_all_that_the_assessment_lists() -> None:
    for name in ("harrow-07", "clover-05"):
        case = str(ROOT / name)
        circuits = [c["loop"] for c in line("assess", case, "--json").json()["circuits"]]
        assert circuits
        told = line("trace", case, "--json").json()["remedy"].partition(". Name it")[0]
        assert all(loop in told for loop in circuits)


def test_an_unknown_why_is_refused_also_with_json() -> None:
    done = line("assess", str(ROOT / "clover-05"), "--why", "driver.frontbag", "--json")
    assert done.code == 2
    assert "driver.front-bag" in done.json()["remedy"]


def test_items_come_after_what_they_wait_for(case: str) -> None:
    seen: set[str] = set()
    items = line("work", case, "--json").json()["items"]
    ids = {i["id"] for i in items}
    for item in items:
        assert set(item["after"]) & ids <= seen
        seen.add(item["id"])


@pytest.mark.parametrize(("name", "loop"), LOOPS.items())
def test_a_trace_gives_a_card_a_tree_and_its_bracket(name: str, loop: str) -> None:
    answer = line("trace", str(ROOT / name), loop, "--json").json()
    assert answer["loop"] == loop
    assert answer["lower_bound"] <= answer["expected_minutes"] + 1e-9
    assert answer["next_test"]["how"]
    assert abs(sum(h["p"] for h in answer["hypotheses"]) - 1.0) < 1e-6


def test_a_trace_of_a_circuit_that_is_not_there_is_refused() -> None:
    done = line("trace", str(ROOT / "clover-05"), "driver.front-bga/1")
    assert done.code == 2
    assert "front-bga" in done.err


def test_a_trace_without_a_circuit_lists_those_there_are_and_the_lamp_is_found() -> None:
    done = line("trace", str(ROOT / "clover-05"))
    assert done.code == 2
    assert "No circuit is named." in done.err
    first = re.search(r"At fault: driver\.seat-bag/1 \(([^)]*)\)", done.err)
    assert first is not None
    assert first[1].startswith("Check, reseat and lock the connector of the driver seat")
    assert "driver.seat-bag" in done.err
    assert "centre.warning-lamp" in done.err
    assert "seat-frame" not in done.err
    found = line("trace", str(ROOT / "clover-05"), "lamp", "--json").json()
    assert found["loop"] == "centre.warning-lamp/1"


def test_a_release_writes_pdf_and_json_that_verify(tmp_path: Path) -> None:
    out = tmp_path / "record.pdf"
    done = line("release", str(ROOT / "harrow-07"), "-o", str(out), "--json")
    answer = done.json()
    assert done.code == 1
    assert answer["draft"] is True
    assert answer["open_gates"]
    assert out.read_bytes().startswith(b"%PDF-")
    assert json.loads((tmp_path / "record.json").read_bytes())["digest"] == answer["digest"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["record.json", "record.pdf"]
    assert line("verify", str(tmp_path / "record.json"), "--json").json()["valid"] is True
    assert line("verify", str(out), "--json").json()["valid"] is True


def test_a_changed_record_does_not_verify(tmp_path: Path) -> None:
    line("release", str(ROOT / "clover-05"), "-o", str(tmp_path / "record.pdf"))
    path = tmp_path / "record.json"
    path.write_bytes(path.read_bytes().replace(b'"draft":true', b'"draft":false', 1))
    done = line("verify", str(path))
    assert done.code == 2
    assert "CANNOT BE RELIED ON" in done.out


def test_a_bare_report_is_assessed_and_says_what_it_assumed() -> None:
    done = line("assess", str(ROOT / "harrow-07" / "evidence" / "scan-before.txt"))
    assert done.code in (0, 1)
    assert "driver.front-bag" in done.out
    assert "assumed" in done.out


def test_own_finished_cases_are_learned_from_and_broken_ones_told(tmp_path: Path) -> None:
    for name in ("harrow-07", "clover-05", "mallow-02"):
        (tmp_path / name).symlink_to(ROOT / name)
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "case.toml").write_text("[case\n", encoding="utf-8")
    done = line("assess", str(tmp_path / "clover-05"), "--own", str(tmp_path), "--json")
    assert done.json()["own_cases"]["cases"] == 2
    skipped = [f for f in done.json()["findings"] if f["code"] == "own-case-skipped"]
    assert [f["origin"]["file"] for f in skipped] == [str(tmp_path / "broken" / "case.toml")]
    assert done.code == 1


def test_without_own_cases_the_head_says_none(tmp_path: Path) -> None:
    done = line("check", str(ROOT / "clover-05"), "--own", str(tmp_path))
    assert "\n  Learned from 0 of your own finished cases" in done.out
    assert line("check", str(ROOT / "clover-05"), "--own", str(tmp_path / "x")).code == 2


def test_drawings_are_made_of_what_fired_or_is_in_doubt(tmp_path: Path) -> None:
    done = line("assess", str(ROOT / "harrow-07"), "--drawings", str(tmp_path / "d"), "--json")
    names = {Path(path).stem for path in done.json()["drawings"]}
    assert {"driver.front-bag", "passenger.front-bag"} <= names
    assert all("<svg" in path.read_text("utf-8") for path in (tmp_path / "d").glob("*.svg"))
    assert len(list((tmp_path / "d").iterdir())) == len(names)


def test_the_demo_goes_through_all_seven_cases_in_their_order() -> None:
    found = [folder.name for folder in case_folders(DEMO_CASES)]
    assert sorted(found) == ALL
    assert found[0] == "harrow-07"
    assert len(found) == 7


def test_the_demo_shows_answers_and_writes_records(tmp_path: Path) -> None:
    (tmp_path / "cases").mkdir()
    (tmp_path / "cases" / "clover-05").symlink_to(ROOT / "clover-05")
    done = line("demo", str(tmp_path / "cases"), "--out", str(tmp_path / "out"))
    assert done.code == 0
    assert "What it comes to" in done.out
    assert "[1/1]" in done.err
    assert (tmp_path / "out" / "clover-05.pdf").read_bytes().startswith(b"%PDF-")


def test_a_demo_without_cases_says_so(tmp_path: Path) -> None:
    assert line("demo", str(tmp_path)).code == 2
