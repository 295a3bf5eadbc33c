"""Simple shares: struck sides, belts, occupancy, errors of second-hand statements."""

from pathlib import Path
from typing import Any

import numpy as np

from .rows import INSPECTED, TOW_AWAY, Array, column, read
from .severity import kish

_BANDS = (("below-15", 0.0, 15.0), ("15-to-25", 15.0, 25.0), ("25-to-40", 25.0, 40.0))
BANDS = (*_BANDS, ("40-to-60", 40.0, 60.0), ("above-60", 60.0, 300.0))


def share(hit: Array, weight: Array | None = None) -> dict[str, Any]:
    """Return a share with its standard error (Agresti-Coull centre, Kish's effective n)."""
    weights = np.ones(len(hit)) if weight is None else weight
    worth = kish(weights)
    p = float(np.average(hit, weights=weights))
    steady = (p * worth + 2.0) / (worth + 4.0)
    se = (steady * (1.0 - steady) / (worth + 4.0)) ** 0.5
    return {
        "p": round(p, 4),
        "se": round(se, 4),
        "n": len(hit),
        "effective_n": round(worth, 1),
    }


def sides(data: Path) -> dict[str, dict[str, Any]]:
    """Return the national share of each struck side among 2015 crashes with a coded side."""
    lines = [r for r in read(data / INSPECTED) if r["dir"]]
    struck, weight = np.array([r["dir"] for r in lines]), column(lines, "weight")
    names = ("front", "left", "right", "rear", "top")
    table = {name: share((struck == name).astype(float), weight) for name in names}
    events = column([r for r in lines if r["n_events"]], "n_events")
    weights = column([r for r in lines if r["n_events"]], "weight")
    table["second-impact"] = share((events > 1).astype(float), weights)
    return table


def belts(data: Path) -> dict[str, dict[str, Any]]:
    """Return the share of latched driver belts by severity, and the passenger's given it."""
    lines = [r for r in read(data / TOW_AWAY) if r["belt"] and r["dvtot"]]
    belt, total = column(lines, "belt"), column(lines, "dvtot")
    table = {name: share(belt[(total > low) & (total <= high)]) for name, low, high in BANDS}
    cars = [r for r in read(data / INSPECTED) if r["drv_belt"]]
    later = {"driver-nationwide": share(column(cars, "drv_belt"), column(cars, "weight"))}
    for name, word in (("passenger-if-driver-latched", "1.0"), ("passenger-if-driver-not", "0.0")):
        pair = [r for r in cars if r["drv_belt"] == word and r["rf_belt"]]
        later[name] = share(column(pair, "rf_belt"))
    return _cite(table, "nass-cds-2000-2012") | _cite(later, "nass-cds-2015")


def _cite(table: dict[str, dict[str, Any]], source: str) -> dict[str, dict[str, Any]]:
    return {name: entry | {"source": source} for name, entry in table.items()}


def occupancy(data: Path) -> dict[str, dict[str, Any]]:
    """Return how often the right-front seat is taken: nationwide, and by severity unweighted."""
    lines = [r for r in read(data / INSPECTED) if r["drv_present"] == "1"]
    taken, weight = column(lines, "rf_present"), column(lines, "weight")
    total = column(lines, "dvtot_kmh")
    table = {"front-passenger": share(taken, weight)}
    for name, low, high in _BANDS:
        table[f"front-passenger-{name}"] = share(taken[(total > low) & (total <= high)])
    table["front-passenger-above-40"] = share(taken[total > 40.0])
    return table


def statements(data: Path) -> dict[str, dict[str, Any]]:
    """Return how often a second-hand word on a seat's bags is wrong, against inspection.

    ``says-deployed-when-not`` and ``says-not-when-deployed`` are the error rates given the truth:
    what a likelihood needs. ``deployed-is-wrong`` and ``not-deployed-is-wrong`` are the shares of
    wrong words, which depend on how many bags fire.
    """
    said, fired = _said_and_fired(read(data / INSPECTED))
    return {
        "says-deployed-when-not": share(said[fired == 0.0]),
        "says-not-when-deployed": share(1.0 - said[fired == 1.0]),
        "deployed-is-wrong": share(1.0 - fired[said == 1.0]),
        "not-deployed-is-wrong": share(fired[said == 0.0]),
    }


def _said_and_fired(lines: list[dict[str, str]]) -> tuple[Array, Array]:
    words = {"DEPLOYED": 1.0, "NOT DEPLOYED": 0.0}
    rows = [
        (words[line[f"{seat}_par_bag"]], {line[f"{seat}_front_bag"], line[f"{seat}_other_bag"]})
        for line in lines
        for seat in ("drv", "rf")
        if line[f"{seat}_par_bag"] in words and line[f"{seat}_front_bag"]
    ]
    said = np.array([word for word, _ in rows])
    return said, np.array([1.0 if "1.0" in bags else 0.0 for _, bags in rows])
