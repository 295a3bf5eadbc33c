"""Score the engine on open crash data: ``python bench/scoring.py [--json] [--towaway F] ...``.

Builds a case from each row (a delta-V estimate, the struck side, model year and belt; nothing
else), runs it through the same inference as every command, and prints for each task
``{"n", "log_loss", "se", "brier", "slope", "slope_se"}``. Files may hold other rows than those the
priors were fitted on, with the same columns. On the fitted rows themselves these are in-sample
figures, except ``frontal``; held-back ones come from ``python -m fit.validate``. With
``_national`` the same cars carry their sampling weights.
"""

import argparse
import csv
import json
import math
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog, load_catalog
from squibwise.infer import firing_patterns
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence, Impact, Occupant, Recorder
from squibwise.model.words import Belt

sys.path.insert(0, str(Path(__file__).parents[1]))
from fit.scoring import Score, score

Array = npt.NDArray[np.float64]
HERE = Path(__file__).resolve().parents[1]
DATA = HERE.parent / "shared" / "data"
TOWAWAY = DATA / "tow_away_front_seats_my2000_2012.csv"
INSPECTED = DATA / "tow_away_2015_inspected.csv"
PAIRS = DATA / "fatal_crash_front_pairs_1998_2005.csv"

ZONES = {"front": "nose-centre", "left": "door-left", "right": "door-right", "rear": "tail"}
DRIVER = ("driver.front-bag", "driver.seat-bag", "left.curtain", "driver.knee-bag")
CLOCKS = range(1, 13)
MOST_OF_THE_MEDIAN = 5.0


@dataclass(frozen=True)
class Row:
    """What is known of one seat or car, and what happened.

    Attributes:
        side: Struck side.
        long_kmh: Change of forward speed.
        lat_kmh: Change of speed to the right.
        model_year: None when not coded.
        belt: None when not coded.
        front: Driver's frontal bag fired; None when not coded.
        other: Driver's side, curtain or knee bag fired; None when not coded.
        weight: How many cars of the country the row stands for.
    """

    side: str
    long_kmh: float
    lat_kmh: float
    model_year: int | None
    belt: Belt | None
    front: int | None = None
    other: int | None = None
    weight: float = 1.0

    @property
    def known(self) -> tuple[str, float, float, int | None, Belt | None]:
        """What the engine is told."""
        return self.side, self.long_kmh, self.lat_kmh, self.model_year, self.belt


@dataclass(frozen=True)
class Pair:
    """A car with two occupants in front; ``driver`` and ``passenger`` = their bags fired."""

    clock: int | None
    model_year: int | None
    belt: Belt | None
    driver: int
    passenger: int
    count: float

    @property
    def known(self) -> tuple[int | None, int | None, Belt | None]:
        """What the engine is told, beside the driver's bag."""
        return self.clock, self.model_year, self.belt


def lines(path: Path) -> list[dict[str, str]]:
    """Return the rows of a CSV file by column name."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def whole(text: str) -> int | None:
    """Return a coded whole number; None when nothing is coded."""
    return int(float(text)) if text.strip() else None


def belt(text: str) -> Belt | None:
    """Return the belt word of a coded 1 or 0; None when nothing is coded."""
    words: dict[int | None, Belt] = {1: "latched", 0: "unlatched"}
    return words.get(whole(text))


def towaway_rows(path: Path) -> list[Row]:
    """Return the occupants with side and delta-V of a file like that of 2000-2012."""
    return [
        Row(
            side=r["dir"],
            long_kmh=float(r["dvlong"]),
            lat_kmh=float(r["dvlat"]),
            model_year=whole(r["my"]),
            belt=belt(r["belt"]),
            front=whole(r["dep"]),
        )
        for r in lines(path)
        if r["dir"] in ZONES and r["dvlong"] and r["dvlat"]
    ]


def inspected_rows(path: Path) -> list[Row]:
    """Return the drivers with side and delta-V of a file like that of 2015."""
    return [
        Row(
            side=r["dir"],
            long_kmh=float(r["dvlong_kmh"]),
            lat_kmh=float(r["dvlat_kmh"]),
            model_year=whole(r["my"]),
            belt=belt(r["drv_belt"]),
            front=whole(r["drv_front_bag"]),
            other=whole(r["drv_other_bag"]),
            weight=float(r.get("weight") or 1.0),
        )
        for r in lines(path)
        if r["dir"] in ZONES and r["dvlong_kmh"] and r["dvlat_kmh"]
    ]


def pair_rows(path: Path) -> list[Pair]:
    """Return the cars with both outcomes coded and neither bag known to be missing."""
    return [
        Pair(
            clock=whole(r["clock"]) if whole(r["clock"]) in CLOCKS else None,
            model_year=whole(r["my"]),
            belt=belt(r["rf_belt"]),
            driver=int(float(r["drv_deploy"])),
            passenger=int(float(r["rf_deploy"])),
            count=float(r.get("n") or 1.0),
        )
        for r in lines(path)
        if r["drv_deploy"]
        and r["rf_deploy"]
        and 0 not in (whole(r["drv_avail"]), whole(r["rf_avail"]))
    ]


def case_of(components: tuple[str, ...], year: int | None, evidence: Iterable[Evidence]) -> Case:
    """Return a case of a left-hand-drive car that has these components."""
    car = Car(model_year=year, equipment="scoring", components=tuple(sorted(components)))
    return Case(id="row", car=car, evidence=tuple(evidence))


def driver_case(row: Row) -> Case:
    """Return the case of one driver."""
    evidence: list[Evidence] = [
        Recorder(
            id="estimate",
            method="estimate",
            delta_v_long_kmh=row.long_kmh,
            delta_v_lat_kmh=row.lat_kmh,
        ),
        Impact(id="impact", zone=ZONES[row.side]),
        Occupant(id="driver", seat="driver", present=True, belt=row.belt),
    ]
    return case_of(DRIVER, row.model_year, evidence)


def pair_case(pair: Pair) -> Case:
    """Return the case of one car with an adult in the passenger seat."""
    evidence: list[Evidence] = [
        Occupant(id="passenger", seat="passenger", present=True, size="adult", belt=pair.belt)
    ]
    if pair.clock is not None:
        evidence.append(Impact(id="impact", clock=pair.clock))
    return case_of((*DRIVER, "passenger.front-bag"), pair.model_year, evidence)


def driver_patterns(rows: list[Row], catalog: Catalog) -> Array:
    """Return P(none), P(front only), P(other only), P(both) of each row's driver.

    Rows that tell the engine the same are run once.
    """
    known = {row.known: row for row in rows}
    found = firing_patterns((driver_case(row) for row in known.values()), catalog)
    made = {key: p.sum(axis=2).T.ravel() for key, p in zip(known, found, strict=True)}
    return np.array([made[row.known] for row in rows]).reshape(-1, 4)


def passenger_chances(pairs: list[Pair], catalog: Catalog) -> Array:
    """Return the chance of the right-front bag in each car, its driver's bag being known."""
    known = {pair.known: pair for pair in pairs}
    found = firing_patterns((pair_case(pair) for pair in known.values()), catalog)
    both = {key: p.sum(axis=1) for key, p in zip(known, found, strict=True)}
    given = {key: p[:, 1] / p.sum(axis=1) for key, p in both.items()}
    return np.array([given[pair.known][pair.driver] for pair in pairs])


def scored(chances: Array, happened: list[int], weight: list[float] | None = None) -> Score:
    """Return the score; that of no cases when the file has no row for the task."""
    if happened:
        return score(chances, happened, weight)
    none = math.nan
    return Score(n=0.0, log_loss=none, se=none, brier=none, slope=none, slope_se=none)


def two(fired: Array) -> Array:
    """Return chances of not fired and fired, one row per case."""
    return np.column_stack([1.0 - fired, fired])


def score_front(rows: list[Row], catalog: Catalog, *, national: bool = False) -> Score:
    """Return the score of the driver's frontal bag."""
    rows = [row for row in rows if row.front is not None]
    found = driver_patterns(rows, catalog)
    happened = [row.front or 0 for row in rows]
    return scored(two(found[:, 1] + found[:, 3]), happened, national_weights(rows, national))


def score_other(rows: list[Row], catalog: Catalog, *, national: bool = False) -> Score:
    """Return the score of the driver's side, curtain and knee bags together."""
    rows = [row for row in rows if row.other is not None]
    found = driver_patterns(rows, catalog)
    happened = [row.other or 0 for row in rows]
    return scored(two(found[:, 2] + found[:, 3]), happened, national_weights(rows, national))


def score_pattern(rows: list[Row], catalog: Catalog, *, national: bool = False) -> Score:
    """Return the score of the four-class pattern of the driver's bags."""
    rows = [row for row in rows if row.front is not None and row.other is not None]
    happened = [(row.front or 0) + 2 * (row.other or 0) for row in rows]
    return scored(driver_patterns(rows, catalog), happened, national_weights(rows, national))


def national_weights(rows: list[Row], national: bool) -> list[float] | None:
    """Return weights that add up to the number of equal cars they are worth; None = unweighted.

    The largest are cut at five times the median, as where the priors were moved to the country.
    """
    if not (national and rows):
        return None
    weight = np.array([row.weight for row in rows])
    weight = np.minimum(weight, MOST_OF_THE_MEDIAN * np.median(weight))
    return list(weight * weight.sum() / (weight @ weight))


def score_pairs(pairs: list[Pair], catalog: Catalog) -> Score:
    """Return the score of the right-front bag given the driver's."""
    fired = passenger_chances(pairs, catalog)
    return scored(two(fired), [p.passenger for p in pairs], [p.count for p in pairs])


def tasks(given: argparse.Namespace) -> dict[str, Callable[[Catalog], Score]]:
    """Return the tasks of the files given; of ours when none is given."""
    none = not (given.towaway or given.inspected or given.pairs)
    found: dict[str, Callable[[Catalog], Score]] = {}
    if given.towaway or none:
        drivers = towaway_rows(given.towaway or TOWAWAY)
        found["frontal_towaway"] = lambda catalog: score_front(drivers, catalog)
    if given.inspected or none:
        cars = inspected_rows(given.inspected or INSPECTED)
        found["frontal"] = lambda catalog: score_front(cars, catalog)
        found["other"] = lambda catalog: score_other(cars, catalog)
        found["pattern"] = lambda catalog: score_pattern(cars, catalog)
        found["frontal_national"] = lambda catalog: score_front(cars, catalog, national=True)
        found["other_national"] = lambda catalog: score_other(cars, catalog, national=True)
        found["pattern_national"] = lambda catalog: score_pattern(cars, catalog, national=True)
    if given.pairs or none:
        pairs = pair_rows(given.pairs or PAIRS)
        found["right_front"] = lambda catalog: score_pairs(pairs, catalog)
    return found


def plain(found: Score) -> dict[str, float | int | None]:
    """Return a score as JSON values: whole numbers of cases, null for a slope that is not there."""
    values = msgspec.to_builtins(found)
    known = {k: None if isinstance(v, float) and math.isnan(v) else v for k, v in values.items()}
    return known | {"n": int(found.n) if found.n.is_integer() else found.n}


def main() -> None:
    """Score every task and print it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    for name in ("towaway", "inspected", "pairs"):
        parser.add_argument(f"--{name}", type=Path)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    catalog = load_catalog()
    try:
        found = {name: run(catalog) for name, run in sorted(tasks(given).items())}
    except FileNotFoundError as error:
        parser.error(
            f"no data file {error.filename}: name one with --towaway, --inspected, --pairs"
        )
    if given.json:
        print(json.dumps({name: plain(one) for name, one in found.items()}, indent=1))
        return
    for name, one in found.items():
        values = msgspec.to_builtins(one)
        print(f"{name:18s}", "  ".join(f"{k} {v:.4f}" for k, v in values.items()))


if __name__ == "__main__":
    main()
