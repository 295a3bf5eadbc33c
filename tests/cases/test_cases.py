"""Every demo case gives the answers that its ``expected.toml`` states, in a mechanic's words."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
import pytest

import squibwise
from squibwise.cli.demo import DEMO_CASES
from squibwise.model.belief import Assessment
from squibwise.model.work import Work

EXPECTED = Path(__file__).parent
NAMES = sorted(p.parent.name for p in DEMO_CASES.glob("*/case.toml"))
CATALOG = squibwise.load_catalog()


@cache
def assessed(name: str) -> Assessment:
    return squibwise.assess(squibwise.open_case(DEMO_CASES / name, CATALOG), CATALOG)


@cache
def worked(name: str) -> Work:
    return squibwise.work(squibwise.open_case(DEMO_CASES / name, CATALOG), CATALOG)


def expectations(table: str) -> list[Any]:
    rows = []
    for name in NAMES:
        expected = tomllib.loads((EXPECTED / name / "expected.toml").read_text(encoding="utf-8"))
        for row in expected.get(table, []):
            label = "-".join(str(row[k]) for k in ("component", "item", "of", "is") if k in row)
            rows.append(pytest.param(name, row, id=f"{name}-{label}"))
    return rows


def test_there_are_seven_cases_of_the_seven_kinds() -> None:
    assert len(NAMES) == 7


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


@pytest.mark.parametrize(("name", "row"), expectations("work"))
def test_an_item_is_on_the_work_list(name: str, row: dict[str, Any]) -> None:
    assert row["item"] in {item.id for item in worked(name).items}, row["why"]


@pytest.mark.parametrize(("name", "row"), expectations("not_work"))
def test_an_item_is_not_on_the_work_list(name: str, row: dict[str, Any]) -> None:
    assert row["item"] not in {item.id for item in worked(name).items}, row["why"]


@pytest.mark.parametrize("name", NAMES)
def test_every_conclusion_says_why(name: str) -> None:
    assert [c.id for c in assessed(name).components if not c.because] == []
    assert [i.id for i in worked(name).items if not i.because] == []
