"""The demo cases through every command: shapes that others rely on, exit codes, written files."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Line = Callable[..., Any]
CASES = sorted(p.parent for p in (Path(__file__).parents[1] / "cases").glob("*/case.toml"))
LOOPS = {"burdock-09": "passenger.front-bag/1", "clover-05": "driver.seat-bag/1"}

SHAPES = {
    "assess": {"event", "components", "contradictions", "next_looks", "assumptions", "findings"},
    "work": {"items", "spread", "notices", "costs", "findings"},
    "cost": {"costs", "findings"},
    "check": {"verdicts", "findings"},
}


@pytest.fixture(params=CASES, ids=lambda p: p.name)
def case(request: pytest.FixtureRequest) -> Path:
    path: Path = request.param
    return path


@pytest.mark.parametrize("command", SHAPES)
def test_the_answer_has_the_promised_keys(run: Line, case: Path, command: str) -> None:
    done = run(command, case, "--json")
    assert done.code in (0, 1)
    answer = done.json()
    assert set(answer) >= SHAPES[command] | {"case"}
    assert answer["case"] == case.name


@pytest.mark.parametrize("command", SHAPES)
def test_the_text_fits_a_terminal(run: Line, case: Path, command: str) -> None:
    done = run(command, case)
    assert done.code in (0, 1)
    assert done.err == ""
    assert max(map(len, done.out.splitlines())) <= 80
    assert case.name in done.out


def test_the_exit_code_is_one_when_something_needs_a_person(run: Line, case: Path) -> None:
    done = run("assess", case, "--json")
    answer = done.json()
    warned = any(f["severity"] == "warning" for f in answer["findings"])
    assert done.code == int(bool(answer["contradictions"]) or warned)


def test_components_carry_states_and_reasons(run: Line, case: Path) -> None:
    for component in run("assess", case, "--json").json()["components"]:
        states = {"sound", "fired", "faulty", "damaged", "unfit"}
        assert set(component["after_crash"]) == set(component["now"]) == states
        assert component["because"]


def test_every_line_can_say_why(run: Line, case: Path) -> None:
    component = run("assess", case, "--json").json()["components"][0]["id"]
    assert "Because" in run("assess", case, "--why", component).out
    item = run("work", case, "--json").json()["items"][0]["id"]
    assert "Because" in run("work", case, "--why", item).out


def test_items_come_after_what_they_wait_for(run: Line, case: Path) -> None:
    seen: set[str] = set()
    items = run("work", case, "--json").json()["items"]
    ids = {i["id"] for i in items}
    for item in items:
        assert set(item["after"]) & ids <= seen
        seen.add(item["id"])


@pytest.mark.parametrize(("name", "loop"), LOOPS.items())
def test_a_trace_gives_a_card_a_tree_and_its_bracket(run: Line, name: str, loop: str) -> None:
    case = next(c for c in CASES if c.name == name)
    answer = run("trace", case, loop, "--json").json()
    assert answer["loop"] == loop
    assert answer["lower_bound"] <= answer["expected_minutes"] + 1e-9
    assert answer["next_test"]["how"]
    assert abs(sum(h["p"] for h in answer["hypotheses"]) - 1.0) < 1e-6
    shown = run("trace", case, loop)
    assert "[[evidence]]" in shown.out
    assert max(map(len, shown.out.splitlines())) <= 80


def test_a_trace_of_a_circuit_that_is_not_there_is_refused(run: Line) -> None:
    done = run("trace", CASES[0], "driver.front-bga/1")
    assert done.code == 2
    assert "front-bag" in done.err


def test_a_release_writes_pdf_and_json_that_verify(run: Line, case: Path, tmp_path: Path) -> None:
    out = tmp_path / "record.pdf"
    done = run("release", case, "-o", out, "--json")
    answer = done.json()
    assert done.code == 1
    assert answer["draft"] is True
    assert answer["open_gates"]
    assert out.read_bytes().startswith(b"%PDF-")
    assert json.loads((tmp_path / "record.json").read_bytes())["digest"] == answer["digest"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["record.json", "record.pdf"]
    assert run("verify", tmp_path / "record.json", "--json").json()["valid"] is True
    assert run("verify", out, "--json").json()["valid"] is True


def test_a_changed_record_does_not_verify(run: Line, tmp_path: Path) -> None:
    run("release", CASES[0], "-o", tmp_path / "record.pdf")
    path = tmp_path / "record.json"
    path.write_bytes(path.read_bytes().replace(b'"draft":true', b'"draft":false', 1))
    done = run("verify", path)
    assert done.code == 1
    assert "CANNOT BE RELIED ON" in done.out


def test_a_bare_report_is_assessed_and_says_what_it_assumed(run: Line) -> None:
    report = next(c for c in CASES if c.name == "harrow-07") / "evidence" / "scan-before.txt"
    done = run("assess", report)
    assert done.code in (0, 1)
    assert "driver.front-bag" in done.out
    assert "assumed" in done.out


def test_the_demo_walks_through_every_case(run: Line, tmp_path: Path) -> None:
    done = run("demo", "--out", tmp_path / "out")
    assert done.code == 0
    assert [c.name for c in CASES if c.name not in done.out] == []
    assert len(list((tmp_path / "out").glob("*.pdf"))) == len(CASES)


def test_a_demo_without_cases_says_where_they_are(run: Line, tmp_path: Path) -> None:
    assert run("demo", tmp_path).code == 2
