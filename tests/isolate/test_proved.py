"""A finished case proves a cause when the repair that fixed it removes mostly that one."""

import shutil
from pathlib import Path

import pytest

import squibwise
from squibwise.cli.demo import DEMO_CASES
from squibwise.model.case import Experience

CASES = DEMO_CASES
CATALOG = squibwise.load_catalog()
LOOP = "driver.seat-bag/1"


def finished(folder: Path, repair: str, outcome: str) -> Path:
    shutil.copytree(CASES / "clover-05", folder)
    entry = f'\n[[evidence]]\nkind = "test-outcome"\nloop = "{LOOP}"\n'
    entry += f'test = "{repair}"\noutcome = "{outcome}"\ntime = 2026-05-07T10:00:00\n'
    case = folder / "case.toml"
    case.write_text(case.read_text(encoding="utf-8") + entry, encoding="utf-8")
    return folder


def learned(folder: Path) -> Experience:
    return squibwise.learn([squibwise.open_case(folder, CATALOG)], CATALOG)


def test_the_repair_that_fixed_it_proves_its_cause(tmp_path: Path) -> None:
    own = learned(finished(tmp_path / "one", "reseat:seat-plug", "fixed"))
    assert own.cases == 1
    assert own.proved == {"seat-plug:not-seated": 1}


def test_a_repair_that_did_not_fix_it_proves_nothing(tmp_path: Path) -> None:
    assert learned(finished(tmp_path / "two", "reseat:seat-plug", "not fixed")).proved == {}


def test_a_case_without_outcomes_proves_nothing() -> None:
    assert learned(CASES / "clover-05").proved == {}


def test_proved_causes_of_own_cases_lift_the_cause() -> None:
    case = squibwise.open_case(CASES / "clover-05", CATALOG)
    plain = {h.id: h.p for h in squibwise.trace(case, LOOP, CATALOG).hypotheses}
    own = Experience(cases=9, proved={"device-plug:not-seated": 9})
    lifted = {h.id: h.p for h in squibwise.trace(case, LOOP, CATALOG, own).hypotheses}
    assert lifted["device-plug:not-seated"] > plain["device-plug:not-seated"]
    assert sum(lifted.values()) == pytest.approx(1.0, abs=1e-9)
