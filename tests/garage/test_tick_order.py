"""What stands in the way of a tick, told as it is."""

import datetime as dt
from typing import Any

import pytest

from squibwise import case as line
from squibwise.catalog.load import load_catalog
from squibwise.errors import InputError
from squibwise.garage.tick_order import Tick, refuse_obstacles

CATALOG = load_catalog()
DAY = dt.datetime(2026, 6, 5, 8)
KEY_ON, OFF, WAITED = "step:save-codes", "step:power-down", "step:make-safe"


def told_at(ticked: tuple[str, ...], *passed: str) -> str:
    """Return what is told of operations that are ticked after steps that were passed in order."""
    steps: list[dict[str, Any]] = [
        {"kind": "passed", "what": what, "result": "passed", "by": "R",
         "time": DAY + dt.timedelta(hours=n)}
        for n, what in enumerate(passed)
    ]  # fmt: skip
    code = {"kind": "look", "component": "driver.front-bag", "seen": "deployed"}
    tables = {
        "case": {"id": "x", "region": "US-OH"},
        "car": {"model_year": 2019},
        "evidence": [code, *steps],
    }
    case = line.make_case(tables, CATALOG)
    todo = line.overview(case, CATALOG).todo
    at = DAY + dt.timedelta(hours=len(passed))
    tick = Tick(todo=todo, chosen=frozenset(ticked), catalog=CATALOG, evidence=case.evidence, at=at)
    with pytest.raises(InputError) as refused:
        refuse_obstacles(tick)
    return f"{refused.value} {refused.value.remedy}"


OPEN = "open:console"


def test_hands_that_come_before_the_wait_is_over_are_told_of_the_wait() -> None:
    told = told_at((OPEN,), KEY_ON, OFF)
    assert "the power is off, and the wait is not signed as over" in told
    assert "switched on" not in told
    assert "once more" not in told


def test_a_wait_that_is_due_again_is_not_ticked_with_its_power_down() -> None:
    """The power came on after the car was made safe: off again, then the whole wait."""
    told = told_at((OFF, WAITED), OFF, WAITED, KEY_ON)
    assert "not in one stroke" in told
