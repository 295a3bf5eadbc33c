"""Reads the open data files into columns. Rows stay where they are; nothing is copied out."""

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Text = npt.NDArray[np.str_]

TOW_AWAY = "tow_away_front_seats_my2000_2012.csv"
INSPECTED = "tow_away_2015_inspected.csv"
PAIRS = "fatal_crash_front_pairs_1998_2005.csv"
SIDES = ("front", "left", "right", "rear")
# Directions of force by clock position, 30 degrees each, front = 11 to 1.
CLOCK_SIDES = {
    **dict.fromkeys((11, 12, 1), "front"),
    **dict.fromkeys((2, 3, 4), "right"),
    **dict.fromkeys((5, 6, 7), "rear"),
    **dict.fromkeys((8, 9, 10), "left"),
}


@dataclass(frozen=True)
class Rows:
    """Columns of one task, equally long; NaN = not coded.

    Attributes:
        side: ``front``, ``near``, ``far``, ``rear`` or empty, seen from the seat.
        forward_kmh: Loss of forward speed.
        lateral_kmh: Sideways change of speed.
        model_year: Model year.
        belted: 1 latched, 0 not.
        front: That seat's front bag fired.
        other: Any other bag of that seat fired.
        weight: How many cars a row stands for.
        cluster: Rows with the same number are not independent.
    """

    side: Text
    forward_kmh: Array
    lateral_kmh: Array
    model_year: Array
    belted: Array
    front: Array
    other: Array
    weight: Array
    cluster: npt.NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.side)

    def keep(self, mask: npt.NDArray[np.bool_]) -> "Rows":
        """Return the rows where ``mask`` holds."""
        return Rows(**{name: getattr(self, name)[mask] for name in self.__dataclass_fields__})


def join(*parts: Rows) -> Rows:
    """Return the rows of several tables, one after the other."""
    names = Rows.__dataclass_fields__
    return Rows(**{n: np.concatenate([getattr(p, n) for p in parts]) for n in names})


def read(path: Path) -> list[dict[str, str]]:
    """Return the lines of one CSV file, by column name."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def column(rows: list[dict[str, str]], name: str) -> Array:
    """Return one column as numbers, NaN where nothing is coded."""
    return np.array([float(row[name]) if row[name] else np.nan for row in rows])


def seen_from(side: str, seat_side: str) -> str:
    """Return ``near`` or ``far`` for a struck left or right side; other words as they are."""
    if side in ("left", "right"):
        return "near" if side == seat_side else "far"
    return side if side in ("front", "rear") else ""


def tow_away(path: Path) -> Rows:
    """Return the occupants of model years 2000 to 2012 with side and delta-V coded.

    The file has no sampling units. No two rows agree in impact, weights and year, so that each
    is a car of its own.
    """
    rows = [r for r in read(path) if r["dir"] in SIDES and r["dvlong"] and r["dvlat"]]
    empty = np.full(len(rows), np.nan)
    return Rows(
        side=np.array([seen_from(r["dir"], "left") for r in rows]),
        forward_kmh=-column(rows, "dvlong"),
        lateral_kmh=column(rows, "dvlat"),
        model_year=column(rows, "my"),
        belted=column(rows, "belt"),
        front=column(rows, "dep"),
        other=empty,
        weight=np.ones(len(rows)),
        cluster=np.arange(len(rows)),
    )


def _inspected_lines(path: Path) -> list[dict[str, str]]:
    return [r for r in read(path) if r["dir"] in SIDES and r["dvlong_kmh"] and r["dvlat_kmh"]]


def inspected_weights(path: Path) -> Array:
    """Return the national weight of each row of ``inspected``: the cars it stands for."""
    return column(_inspected_lines(path), "weight")


def inspected(path: Path, seat: str = "drv") -> Rows:
    """Return one front seat (``drv`` or ``rf``) of the inspected 2015 cars with side and delta-V.

    Left-hand drive: the driver's near side is the left. Clusters are the sampling units.
    """
    rows = _inspected_lines(path)
    seat_side = "left" if seat == "drv" else "right"
    return Rows(
        side=np.array([seen_from(r["dir"], seat_side) for r in rows]),
        forward_kmh=-column(rows, "dvlong_kmh"),
        lateral_kmh=column(rows, "dvlat_kmh"),
        model_year=column(rows, "my"),
        belted=column(rows, f"{seat}_belt"),
        front=column(rows, f"{seat}_front_bag"),
        other=column(rows, f"{seat}_other_bag"),
        weight=np.ones(len(rows)),
        cluster=column(rows, "psu").astype(int),
    )


@dataclass(frozen=True)
class Pairs:
    """Cars with driver and right-front occupant: ``rows.front`` is the right-front bag.

    Attributes:
        rows: Columns; near and far are seen from the driver.
        driver: The driver's front bag fired.
        year: Crash year.
    """

    rows: Rows
    driver: Array
    year: Array


def pairs(path: Path) -> Pairs:
    """Return the cars of the fatal-crash file with both bags there and both outcomes coded."""
    rows = [
        r
        for r in read(path)
        if r["drv_avail"] == r["rf_avail"] == "1.0" and r["drv_deploy"] and r["rf_deploy"]
    ]
    clock = [int(float(r["clock"])) if r["clock"] else 0 for r in rows]
    empty = np.full(len(rows), np.nan)
    table = Rows(
        side=np.array([seen_from(CLOCK_SIDES.get(c, ""), "left") for c in clock]),
        forward_kmh=empty,
        lateral_kmh=empty,
        model_year=column(rows, "my"),
        belted=column(rows, "rf_belt"),
        front=column(rows, "rf_deploy"),
        other=empty,
        weight=column(rows, "n"),
        cluster=np.arange(len(rows)),
    )
    return Pairs(rows=table, driver=column(rows, "drv_deploy"), year=column(rows, "year"))
