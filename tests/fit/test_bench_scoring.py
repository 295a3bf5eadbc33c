"""The scoring bench runs the engine of every command and returns the fitted curves from it."""

import importlib.util
import json
import sys
from pathlib import Path
from types import ModuleType

import msgspec
import numpy as np
import pytest

from squibwise.catalog.load import load_catalog
from squibwise.infer import assess
from squibwise.numerics.curves import SIDE_CODES, Hit, probability

SCRIPT = Path(__file__).parents[2] / "bench" / "scoring.py"
CATALOG = load_catalog()
SEEN = {"front": "front", "left": "near", "right": "far", "rear": "rear"}


def _load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("bench_scoring", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["bench_scoring"] = module
    spec.loader.exec_module(module)
    return module


BENCH = _load()

# Invented rows: side, forward, lateral change of speed in km/h, model year, belt.
ROWS = [
    ("front", -8.0, 0.0, 2003, "latched"),
    ("front", -24.0, 5.0, 2011, "unlatched"),
    ("front", -61.0, -12.0, 2015, None),
    ("left", -6.0, 19.0, 2010, "latched"),
    ("right", -9.0, -31.0, 2014, "latched"),
    ("rear", 22.0, 0.0, 2008, None),
    ("front", -17.0, 2.0, None, "latched"),
]


def row(values: tuple) -> object:
    side, long, lat, year, belt = values
    return BENCH.Row(side=side, long_kmh=long, lat_kmh=lat, model_year=year, belt=belt)


def by_curve(values: tuple) -> np.ndarray:
    """Return the chain of the two curves, worked without the engine."""
    side, long, lat, year, belt = values
    share = {
        "latched": 1.0,
        "unlatched": 0.0,
        None: CATALOG.priors.share("belts", band(long, lat)).p,
    }
    hit = Hit(
        side=SIDE_CODES[SEEN[side]],
        forward_kmh=-long,
        lateral_kmh=lat,
        model_year=np.nan if year is None else year,
        belted=share[belt],
    )
    front = float(probability(CATALOG.priors.curves["driver-front-bag"], hit))
    own = CATALOG.priors.curves["own-side-bags"]
    without, beside = (float(probability(own, hit, given)) for given in (0.0, 1.0))
    rest = 1.0 - front
    return np.array([rest * (1 - without), front * (1 - beside), rest * without, front * beside])


def band(long: float, lat: float) -> str:
    limits = ((15, "below-15"), (25, "15-to-25"), (40, "25-to-40"), (60, "40-to-60"))
    return next((name for limit, name in limits if np.hypot(long, lat) < limit), "above-60")


@pytest.mark.parametrize("values", ROWS, ids=str)
def test_the_engine_returns_the_fitted_pattern(values: tuple) -> None:
    (found,) = BENCH.driver_patterns([row(values)], CATALOG)
    assert found == pytest.approx(by_curve(values), abs=2e-4)


@pytest.mark.parametrize("values", ROWS[:5], ids=str)
def test_the_whole_assessment_says_the_same_of_the_front_bag(values: tuple) -> None:
    case = BENCH.driver_case(row(values))
    template = CATALOG.templates["full-modern-set"]
    parts = tuple(sorted({*case.car.components, *template.components}))
    car = msgspec.structs.replace(case.car, components=parts)
    belief = assess(msgspec.structs.replace(case, car=car), CATALOG).of("driver.front-bag")
    expected = by_curve(values)
    assert belief is not None
    assert belief.after_crash.fired == pytest.approx(expected[1] + expected[3], abs=0.02)


def test_the_right_front_bag_follows_the_drivers() -> None:
    pairs = [
        BENCH.Pair(clock=clock, model_year=2001, belt=None, driver=d, passenger=d, count=1.0)
        for clock in (12, 9, None)
        for d in (0, 1)
    ]
    found = BENCH.passenger_chances(pairs, CATALOG)
    assert (found[0::2] < 0.06).all()
    assert (found[1::2] > 0.92).all()


TOWAWAY = "dep,dir,clock,pdof,dvlong,dvlat,dvtot,my,cls,belt\n"
INSPECTED = "psu,dir,dvlong_kmh,dvlat_kmh,my,drv_belt,drv_front_bag,drv_other_bag\n"
PAIRS = "year,clock,my,rf_belt,drv_belt,drv_avail,rf_avail,drv_deploy,rf_deploy,n\n"


@pytest.fixture
def files(tmp_path: Path) -> dict[str, Path]:
    """Return small invented files with the columns of the real ones, gaps included."""
    rows = {
        "towaway": TOWAWAY
        + "1,front,,,-30,0,30,2006,x,1\n0,front,,,-9,0,9,2006,x,\n1,front,,,,,,2006,x,1\n"
        + "0,left,,,-4,20,20,2006,x,1\n1,front,,,-9,3,9,2001,x,0\n",
        "inspected": INSPECTED
        + "1,front,-30,0,2010.0,1.0,1.0,0.0\n1,left,-3,20,2012.0,,0.0,1.0\n"
        + "2,,,,2012.0,1.0,1.0,\n2,front,-8,1,2013.0,1.0,0.0,0.0\n2,rear,20,0,2014.0,,,1.0\n"
        + "2,front,-12,1,2013.0,1.0,1.0,1.0\n3,front,-15,1,2013.0,1.0,0.0,0.0\n",
        "pairs": PAIRS
        + "2001,12,1999.0,1.0,1.0,1.0,1.0,1.0,1.0,40\n2001,12,1999.0,1.0,1.0,1.0,1.0,1.0,0.0,2\n"
        + "2001,0,1999.0,,1.0,1.0,1.0,0.0,0.0,30\n2001,12,1999.0,,1.0,1.0,0.0,1.0,,5\n",
    }
    paths = {name: tmp_path / f"{name}.csv" for name in rows}
    for name, text in rows.items():
        paths[name].write_text(text, encoding="utf-8")
    return paths


def test_other_files_with_the_same_columns_are_scored_as_json(
    files: dict[str, Path], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = [part for name, path in files.items() for part in (f"--{name}", str(path))]
    monkeypatch.setattr(sys, "argv", ["scoring.py", "--json", *arguments])
    BENCH.main()
    found = json.loads(capsys.readouterr().out)
    assert {name: task["n"] for name, task in found.items()} == {
        "frontal_towaway": 4,
        "frontal": 5,
        "other": 6,
        "pattern": 5,
        "frontal_national": 5,
        "other_national": 6,
        "pattern_national": 5,
        "right_front": 72,
    }
    for task in found.values():
        assert set(task) == {"n", "log_loss", "se", "brier", "slope", "slope_se"}
        assert 0.0 < task["log_loss"] < 2.0


def test_only_the_tasks_of_the_files_given_are_scored(
    files: dict[str, Path], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["scoring.py", "--json", "--pairs", str(files["pairs"])])
    BENCH.main()
    assert set(json.loads(capsys.readouterr().out)) == {"right_front"}


def test_a_file_without_rows_for_a_task_gives_no_cases(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    empty = tmp_path / "none.csv"
    empty.write_text(INSPECTED + "1,,,,2010.0,1.0,,\n", encoding="utf-8")
    monkeypatch.setattr(sys, "argv", ["scoring.py", "--json", "--inspected", str(empty)])
    BENCH.main()
    found = json.loads(capsys.readouterr().out)
    assert {task["n"] for task in found.values()} == {0}
    assert {task["log_loss"] for task in found.values()} == {None}
