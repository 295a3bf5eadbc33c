"""Draws reliability plots as SVG: ``python -m fit.plots DATA [DOCS]``."""

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from fit.scoring import Bin, Score, reliability

from . import validate

DOCS = Path(__file__).parents[1] / "docs"
SIZE, MARGIN = 360.0, 48.0
PLOTS = (
    ("frontal_towaway", "Driver's frontal bag, model years 2000-2012, held-back folds", 15),
    ("frontal", "Driver's frontal bag, inspected 2015 cars", 8),
    ("right_front", "Right-front bag given the driver's, fatal crashes, held-back years", 8),
    ("other", "Driver's side, curtain or knee bag, held-back sampling units", 8),
)


def _x(p: float) -> float:
    return round(MARGIN + p * (SIZE - 2 * MARGIN), 1)


def _y(p: float) -> float:
    return round(SIZE - MARGIN - p * (SIZE - 2 * MARGIN), 1)


def _axis() -> list[str]:
    parts = [
        f'<rect x="{_x(0)}" y="{_y(1)}" width="{_x(1) - _x(0)}" height="{_y(0) - _y(1)}" '
        'fill="none" stroke="#777"/>',
        f'<line x1="{_x(0)}" y1="{_y(0)}" x2="{_x(1)}" y2="{_y(1)}" stroke="#aaa" '
        'stroke-dasharray="4 4"/>',
    ]
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        parts.append(f'<text x="{_x(tick)}" y="{_y(0) + 16}" text-anchor="middle">{tick:g}</text>')
        parts.append(f'<text x="{_x(0) - 6}" y="{_y(tick) + 4}" text-anchor="end">{tick:g}</text>')
    middle = SIZE / 2
    parts.append(f'<text x="{middle}" y="{SIZE - 12}" text-anchor="middle">predicted</text>')
    parts.append(
        f'<text x="14" y="{middle}" text-anchor="middle" '
        f'transform="rotate(-90 14 {middle})">observed</text>'
    )
    return parts


def _points(bins: Sequence[Bin]) -> list[str]:
    parts = []
    for one in bins:
        x = _x(one.predicted)
        parts.append(
            f'<line x1="{x}" y1="{_y(one.low)}" x2="{x}" y2="{_y(one.high)}" stroke="#1f4e79"/>'
        )
        parts.append(
            f'<circle cx="{x}" cy="{_y(one.observed)}" r="3.5" fill="#1f4e79">'
            f"<title>n {one.n:.0f}, predicted {one.predicted:.3f}, observed {one.observed:.3f}"
            "</title></circle>"
        )
    return parts


def drawing(title: str, bins: Sequence[Bin], score: Score) -> str:
    """Return a reliability plot: share that fired against probability given, 95 % intervals."""
    note = (
        f"n {score.n:.0f}, log loss {score.log_loss:.3f} (SE {score.se:.3f}), "
        f"slope {score.slope:.2f} (SE {score.slope_se:.2f})"
    )
    head = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIZE:g} {SIZE:g}" '
        'font-family="sans-serif" font-size="10" role="img">',
        f"<title>{title}</title>",
        f'<rect width="{SIZE:g}" height="{SIZE:g}" fill="#fff"/>',
        f'<text x="{SIZE / 2}" y="18" text-anchor="middle" font-size="11">{title}</text>',
        f'<text x="{SIZE / 2}" y="34" text-anchor="middle">{note}</text>',
    ]
    return "\n".join([*head, *_axis(), *_points(bins), "</svg>"]) + "\n"


def main() -> None:
    """Draw every plot from held-back rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("docs", type=Path, nargs="?", default=DOCS)
    given = parser.parse_args()
    for task, title, groups in PLOTS:
        held = validate.TASKS[task](given.data)
        fired = (held.happened == 1).astype(np.float64)
        bins = reliability(held.chances[:, 1], fired, groups, held.weight)
        path = given.docs / f"reliability-{task.replace('_', '-')}.svg"
        path.write_text(drawing(title, bins, held.score()), encoding="utf-8")


if __name__ == "__main__":
    main()
