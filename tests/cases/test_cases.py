"""Every case gives the answers that its ``expected.toml`` states, in a mechanic's words."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
import pytest

import squibwise
from squibwise.case import overview
from squibwise.cli.demo import DEMO_CASES
from squibwise.history.order import read_history
from squibwise.history.signed import speaks_against
from squibwise.model.belief import Assessment
from squibwise.model.work import Work

HERE = Path(__file__).parent
FOLDERS = {p.parent.name: p.parent for p in HERE.glob("*/expected.toml")}
NAMES = sorted(FOLDERS)
CATALOG = squibwise.load_catalog()


def folder(name: str) -> Path:
    """Return where a case lies: here, or among the demo cars that come with the program."""
    return FOLDERS[name] if (FOLDERS[name] / "case.toml").exists() else DEMO_CASES / name


@cache
def assessed(name: str) -> Assessment:
    return squibwise.assess(squibwise.open_case(folder(name), CATALOG), CATALOG)


@cache
def worked(name: str) -> Work:
    return squibwise.work(squibwise.open_case(folder(name), CATALOG), CATALOG)


@cache
def expected(name: str) -> dict[str, list[dict[str, Any]]]:
    return tomllib.loads((FOLDERS[name] / "expected.toml").read_text(encoding="utf-8"))


def expectations(table: str) -> list[Any]:
    words = ("component", "item", "of", "is", "says", "id", "loop")
    rows = []
    for name in NAMES:
        for row in expected(name).get(table, []):
            label = "-".join(str(row[k]) for k in words if k in row)
            rows.append(pytest.param(name, row, id=f"{name}-{label}"))
    return rows


ASSESSED = [name for name in NAMES if "refused" not in expected(name)]


def test_every_demo_car_has_its_expectations() -> None:
    assert {p.parent.name for p in DEMO_CASES.glob("*/case.toml")} <= set(NAMES)


@pytest.mark.parametrize(("name", "row"), expectations("state"))
def test_a_component_is_believed_to_be_in_the_state(name: str, row: dict[str, Any]) -> None:
    belief = assessed(name).of(row["component"])
    assert belief is not None
    states = belief.after_crash if row.get("when") == "after_crash" else belief.now
    group = belief.stages[row["stage"]] if "stage" in row else states
    assert row["from"] <= getattr(group, row["is"]) <= row["to"], row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("event"))
def test_the_event_is_believed_to_have_been_so(name: str, row: dict[str, Any]) -> None:
    value: Any = msgspec.to_builtins(assessed(name).event)
    head, _, rest = row["of"].partition(".")
    value = value[head][rest] if rest else value[head]
    assert row["from"] <= value <= row["to"], row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("left_in"))
def test_a_load_left_in_is_suspected(name: str, row: dict[str, Any]) -> None:
    assert row["component"] in assessed(name).loads_left_in, row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("first_contradiction"))
def test_what_does_not_fit_is_said_first_of_a_part(name: str, row: dict[str, Any]) -> None:
    assert assessed(name).contradictions[0].component == row["component"], row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("contradiction"))
def test_what_does_not_fit_is_said(name: str, row: dict[str, Any]) -> None:
    told = [c.text + " " + c.remedy for c in assessed(name).contradictions]
    assert any(row["says"] in text for text in told), (row["why"], told)


@pytest.mark.parametrize(("name", "row"), expectations("unproven"))
def test_a_charge_counts_as_live_until_proven_spent(name: str, row: dict[str, Any]) -> None:
    assert row["loop"] in assessed(name).unproven, row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("question"))
def test_a_question_is_asked(name: str, row: dict[str, Any]) -> None:
    assert row["id"] in [q.id for q in assessed(name).open_questions], row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("look"))
def test_the_first_look_is_one_of_these(name: str, row: dict[str, Any]) -> None:
    assert assessed(name).next_looks[0].component in row["first"], row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("range"))
def test_a_conclusion_on_judgement_has_its_range(name: str, row: dict[str, Any]) -> None:
    belief = assessed(name).of(row["component"])
    assert belief is not None
    told = belief.ranges[row["is"]]
    assert told.low < getattr(belief.now, row["is"]) < told.high, row["why"]
    assert told.figure


@pytest.mark.parametrize(("name", "row"), expectations("gate"))
def test_a_gate_of_the_release_is_open(name: str, row: dict[str, Any]) -> None:
    found = overview(squibwise.open_case(folder(name), CATALOG), CATALOG)
    assert row["id"] in {gate.id for gate in found.gates if gate.open}, row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("held"))
def test_what_was_seen_speaks_against_a_gate_whoever_signed(name: str, row: dict[str, Any]) -> None:
    line = read_history(squibwise.open_case(folder(name), CATALOG).evidence)
    assert row["id"] in {word for word, _ in speaks_against(line, CATALOG)}, row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("refused"))
def test_the_case_is_refused(name: str, row: dict[str, Any]) -> None:
    with pytest.raises(squibwise.InputError) as error:
        squibwise.open_case(folder(name), CATALOG)
    told = [str(error.value), *(f.message for f in getattr(error.value, "findings", ()))]
    assert any(row["says"] in text for text in told), (row["why"], told)


@pytest.mark.parametrize(("name", "row"), expectations("work"))
def test_an_item_is_on_the_work_list(name: str, row: dict[str, Any]) -> None:
    assert row["item"] in {item.id for item in worked(name).items}, row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("not_work"))
def test_an_item_is_not_on_the_work_list(name: str, row: dict[str, Any]) -> None:
    assert row["item"] not in {item.id for item in worked(name).items}, row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("ordered"))
def test_a_part_is_on_the_order_list_so_surely(name: str, row: dict[str, Any]) -> None:
    found = [o for o in worked(name).orders if row["component"] in o.contains]
    assert found, row["why"]
    assert max(o.p for o in found) >= row["from"], row["why"]


@pytest.mark.parametrize("name", ASSESSED)
def test_every_conclusion_says_why(name: str) -> None:
    assert [c.id for c in assessed(name).components if not c.because] == []
    assert [i.id for i in worked(name).items if not i.because] == []
