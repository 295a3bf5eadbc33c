"""A visit ticked at a stroke, the order list closed over nothing open, answers many at a time."""

import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Line = Callable[..., Any]
AT = "2026-06-05T{:02d}:00"


@pytest.fixture
def case(tmp_path: Path, cases: Path) -> Path:
    shutil.copytree(cases / "harrow-07", tmp_path / "c")
    return tmp_path / "c"


def operations(run: Line, case: Path, visit: int = 0) -> list[dict[str, Any]]:
    visits = run("work", case, "--json").json()["visits"]
    chosen = [visits[visit - 1]] if visit else visits
    return [o for v in chosen for a in v["areas"] for o in a["operations"]]


def evidence(case: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = tomllib.loads((case / "case.toml").read_text("utf-8"))["evidence"]
    return found


def do(run: Line, case: Path, hour: int, *words: str) -> Any:
    return run("did", case, *words, "--by", "R", "--time", AT.format(hour))


def strip(run: Line, case: Path) -> None:
    for hour, words in enumerate((("visit", "1"), ("2", "--safe"), ("visit", "2"), ("visit", "3"))):
        assert do(run, case, 8 + hour, *words).code == 0
    assert do(run, case, 12, "visit", "3").code == 0


def test_a_visit_is_ticked_up_to_what_is_decided_on_its_own(run: Line, case: Path) -> None:
    first = do(run, case, 8, "visit", "1")
    assert "Then: squibwise did CASE 2 --safe" in first.out
    left = [o["id"] for o in operations(run, case, 1) if not o["done"]]
    assert left == ["look:cabin", "step:key-on-gate"]
    assert "looked at by itself: no. 3 (" in " ".join(first.out.split())
    held = do(run, case, 8, "visit", "1")
    assert held.code == 2
    assert "no. 2, which is done on its own" in held.err
    signed = do(run, case, 9, "2", "--safe")
    assert "key-on-safe stands for no. 2, done with it" in signed.out


def test_a_visit_stops_before_the_wait_and_keeps_it(run: Line, case: Path) -> None:
    for hour, words in enumerate((("visit", "1"), ("2", "--safe"), ("visit", "2"), ("visit", "3"))):
        done = do(run, case, 8 + hour, *words)
    assert "min after the power came off" in done.out
    assert [e["what"] for e in evidence(case) if e["kind"] == "passed"][-1] == "step:power-down"
    early = do(run, case, 11, "visit", "3")
    assert early.code == 2
    assert "the power came off at 11:00" in early.err
    assert do(run, case, 12, "visit", "3").code == 0
    sure = [o for o in operations(run, case, 3) if o["action"] in ("open", "out", "look")]
    counted = [o for o in sure if o["counted"] and o["kind"] in ("certain", "rule")]
    assert counted
    assert all(o["done"] for o in counted)


def test_what_only_a_look_or_the_maker_asks_for_is_not_ticked_with_its_visit(
    run: Line, case: Path
) -> None:
    strip(run, case)
    unsure = [o for o in operations(run, case, 3) if o["kind"] in ("ask", "look-first")]
    assert unsure
    assert not [o["id"] for o in unsure if o["done"]]


@pytest.mark.parametrize("words", [("visit",), ("visit", "9"), ("visit", "0"), ("3", "visit")])
def test_a_visit_that_is_none_is_refused(run: Line, case: Path, words: tuple[str, ...]) -> None:
    before = (case / "case.toml").read_bytes()
    done = do(run, case, 8, *words)
    assert done.code == 2
    assert "names no visit" in done.err
    assert (case / "case.toml").read_bytes() == before


# Common practice, no source: what is ordered a second time costs a second freight and its days.
def test_the_order_list_is_not_closed_over_a_question_that_may_add_to_it(
    run: Line, case: Path
) -> None:
    strip(run, case)
    asked = run("work", case, "--json").json()["questions"]
    words = [
        q["id"] for q in asked if not q["answered"] and q["id"] not in ("cover", "record-gone")
    ]
    assert "unit-bags" in words
    early = do(run, case, 13, "32")
    assert early.code == 2
    assert all(word in early.err for word in words)
    assert do(run, case, 13, "32", "--note", "the maker is asked tomorrow").code == 0


def test_looks_that_are_owed_are_named_before_the_order_list_is_closed(
    run: Line, case: Path
) -> None:
    for hour, words in enumerate((("visit", "1"), ("2", "--safe"), ("visit", "2"), ("visit", "3"))):
        do(run, case, 8 + hour, *words)
    assert do(run, case, 12, "22").code == 0
    looks = [o["n"] for o in operations(run, case, 3) if o["action"] == "look" and o["counted"]]
    told = do(run, case, 13, "32").err
    assert "(looks)" in told
    assert str(looks[0]) in told


def test_questions_are_answered_many_at_a_time_from_one_source(run: Line, case: Path) -> None:
    words = ("unit-bags", "no", "clock-spring", "yes")
    assert run("answer", case, *words, "--source", "procedure, section 12").code == 0
    asked = run("work", case, "--json").json()["questions"]
    found = {q["id"]: q["answered"] for q in asked}
    assert (found["unit-bags"], found["clock-spring"]) == ("no", "yes")


@pytest.mark.parametrize(
    ("words", "told"),
    [(("unit-bags",), "without an answer"), (("unit-bags", "no", "clock", "yes"), "clock-spring")],
)
def test_answers_are_written_all_or_none(
    run: Line, case: Path, words: tuple[str, ...], told: str
) -> None:
    before = (case / "case.toml").read_bytes()
    done = run("answer", case, *words, "--source", "procedure, section 12")
    assert done.code == 2
    assert told in done.err
    assert (case / "case.toml").read_bytes() == before


# Common practice, no source: a new unit is ordered and configured by what the old one says of
# itself, and an old unit or sensor that is out tells nobody any more where it sat.
def test_the_old_unit_is_read_and_noted_before_it_is_gone(run: Line, case: Path) -> None:
    order = {o["id"]: n for n, o in enumerate(operations(run, case))}
    assert order["step:save-coding"] < order["step:power-down"] < order["open:panel"]
    assert order["open:panel"] < order["out:control-unit@centre"]
    assert order["out:control-unit@centre"] < order["fit:control-unit@centre"]
    on = [o["id"] for o in operations(run, case, 2)]
    assert "step:save-coding" in on


def test_a_part_that_a_code_names_is_in_doubt_though_its_look_passed(
    run: Line, tmp_path: Path
) -> None:
    """An eye on the housing does not answer a sensor that is not heard."""
    (tmp_path / "scan.txt").write_text(
        "B0001-1B Driver frontal stage 1 circuit open Present\n"
        "B0090-00 Left front crash sensor no communication\n",
        encoding="utf-8",
    )
    case = tmp_path / "car"
    told = ("--year", "2019", "--drive", "left", "--equipment", "curtains-and-weight-sensing")
    assert run("new", case, "--report", tmp_path / "scan.txt", *told).code == 0
    run("told", case, "nose-left", "moderate")
    run("saw", case, "driver.front-bag", "deployed", "--by", "R", "--time", AT.format(7))
    run("answer", case, "front-sensors", "no", "--source", "procedure, section 12")
    strip(run, case)
    [sensor] = [
        o
        for o in run("work", case, "--json").json()["orders"]
        if "nose-left.impact-sensor" in o["contains"]
    ]
    assert sensor["kind"] == "look-first"
    assert sensor["p"] > 0.5
    assert "front impact sensor, nose-left (" in do(run, case, 13, "32").err


# Common practice, no source: an area that nothing opens, and that the maker says stays shut, is no
# reason to strip the car once more when all is done.
def test_what_lies_in_an_area_that_stays_closed_holds_up_no_release(
    run: Line, tmp_path: Path
) -> None:
    case = tmp_path / "car"
    told = ("--year", "2019", "--drive", "left", "--equipment", "curtains-and-weight-sensing")
    assert run("new", case, *told).code == 0
    run("told", case, "nose-left", "moderate")
    run("saw", case, "driver.front-bag", "deployed", "--by", "R", "--time", AT.format(7))
    bolster = "passenger.knee-bolster"

    def asked() -> list[str]:
        items = run("work", case, "--json").json()["items"]
        found = [i for i in items if i["component"] == bolster and i["action"] == "replace"]
        return [i["strict"] for i in found]

    assert asked() == ["always"]
    run("answer", case, "closed-areas", "no", "--source", "procedure, section 12")
    assert asked() == ["advice"]
    drafted = run("release", case, "-o", tmp_path / "r.pdf", "--json").json()["open_gates"]
    missing = [m for g in drafted if g["id"] in ("doubtful", "replacements") for m in g["missing"]]
    assert missing
    assert not [m for m in missing if bolster in m]


@pytest.mark.parametrize(
    ("command", "component"),
    [
        (("saw", "driver seatbelt", "cut"), "driver.belt-webbing"),
        (("saw", "driver belt", "marked"), "driver.belt-webbing"),
        (("saw", "driver belt", "locked"), "driver.retractor-pretensioner"),
        (("label", "driver belt", "9Z-1", "--provenance", "new"), "driver.retractor-pretensioner"),
    ],
)
def test_a_belt_is_the_part_that_can_look_so_or_has_the_label(
    run: Line, case: Path, command: tuple[str, ...], component: str
) -> None:
    assert run(command[0], case, *command[1:]).code == 0
    assert evidence(case)[-1]["component"] == component


def test_what_an_eye_saw_is_not_told_but_seen(run: Line, case: Path) -> None:
    told = run("told", case, "driver", "seatbelt", "cut")
    assert told.code == 2
    assert "saw CASE 'driver seatbelt' cut" in told.err


def test_a_look_is_ticked_by_the_id_that_a_gate_prints(run: Line, case: Path) -> None:
    strip(run, case)
    run("undo", case)
    assert do(run, case, 12, "22").code == 0
    opened = [str(o["n"]) for o in operations(run, case, 3) if o["action"] == "open"]
    assert do(run, case, 12, *opened).code == 0
    several = next(o for o in operations(run, case, 3) if len(o["demands"]) > 1)
    assert do(run, case, 13, several["demands"][0]).code == 0
    assert evidence(case)[-1]["what"] == several["demands"][0]
    assert evidence(case)[-2]["what"] not in several["demands"]
