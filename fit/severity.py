"""How hard cars are hit, by struck side and by depth of crush; and in which direction."""

from pathlib import Path
from typing import Any

import numpy as np

from .population import trim
from .rows import INSPECTED, Array, column, read

GROUPS = {"front": ("front",), "side": ("left", "right"), "rear": ("rear",)}
AXIS_DEGREES = {"front": 0.0, "side": 90.0, "rear": 180.0}
# Depth of the deepest crush in cm that a person calls light, moderate or severe: our judgement.
EXTENTS = (("light", 0.5, 20.0), ("moderate", 20.0, 45.0), ("severe", 45.0, 500.0))
_QUANTILES = (0.1, 0.3, 0.5, 0.7, 0.9)


def kish(weight: Array) -> float:
    """Return the number of equally weighted rows that weighted rows are worth."""
    return float(weight.sum() ** 2 / (weight**2).sum())


def spreads(data: Path) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the tables ``spread`` and ``direction`` of ``severity.toml``, without provenance."""
    lines = read(data / INSPECTED)
    total, weight = column(lines, "dvtot_kmh"), column(lines, "weight")
    known = total > 0.0
    cut = np.minimum(weight, trim(weight[known]).max())
    struck = np.array([line["dir"] for line in lines])
    crush = np.nanmax(
        [np.nan_to_num(column(lines, f"c{k}"), nan=-1.0) for k in range(1, 7)], axis=0
    )
    off_axis = np.abs(
        np.degrees(np.arctan2(-column(lines, "dvlat_kmh"), -column(lines, "dvlong_kmh")))
    )
    spread, direction = [], []
    for name, sides in GROUPS.items():
        rows = known & np.isin(struck, sides)
        spread.append({"side": name} | _lognormal(total[rows], weight[rows]))
        for extent, low, high in EXTENTS:
            part = rows & (crush > low) & (crush <= high)
            entry = _lognormal(total[part], cut[part])
            spread.append({"side": name, "extent": extent} | entry)
        degrees = np.abs(off_axis[rows] - AXIS_DEGREES[name])
        direction.append({"side": name} | _nodes(degrees))
    return spread, direction


def _lognormal(total: Array, weight: Array) -> dict[str, Any]:
    logs = np.log(total)
    mean = float(np.average(logs, weights=weight))
    sd = float(np.sqrt(np.average((logs - mean) ** 2, weights=weight)))
    worth = kish(weight)
    return {
        "log_mean": round(mean, 4),
        "log_sd": round(sd, 4),
        "se": round(sd / worth**0.5, 4),
        "n": len(total),
        "effective_n": round(worth, 1),
    }


def _nodes(degrees: Array) -> dict[str, Any]:
    return {
        "degrees": [round(float(d), 1) for d in np.quantile(degrees, _QUANTILES)],
        "weight": [0.2] * len(_QUANTILES),
        "n": len(degrees),
        "effective_n": float(len(degrees)),
    }
