"""Drawings of how beliefs came about, one file for each part that fired or is in doubt."""

from pathlib import Path
from typing import Any

from rich.console import RenderableType

from squibwise.cli import files, page
from squibwise.cli.show_assess import LIKELY, SURE, likeliest
from squibwise.model.belief import Assessment, ComponentBelief


def draw(states: Assessment, only: str | None, folder: Path | None) -> list[Path]:
    """Write the drawings and return their paths; nothing without a folder.

    Args:
        states: The beliefs.
        only: Draw this component alone; None for every part that fired or is in doubt.
        folder: Where they go; made when it is not there.

    Raises:
        InputError: The folder cannot be written to.
    """
    if folder is None:
        return []
    from squibwise.documents import waterfall_svg

    files.make_folder(folder)
    chosen = [c for c in states.components if (c.id == only if only else _telling(c))]
    drawn = [(folder / f"{c.id}.svg", waterfall_svg(c)) for c in chosen]
    for path, svg in drawn:
        files.write(path, svg.encode("utf-8"))
    return [path for path, _ in drawn]


def _telling(belief: ComponentBelief) -> bool:
    return belief.after_crash.fired >= LIKELY or likeliest(belief.now)[1] < SURE


def as_json(drawn: list[Path]) -> dict[str, Any]:
    """Return the paths in plain values; nothing when nothing was drawn."""
    return {"drawings": [str(path) for path in drawn]} if drawn else {}


def told(drawn: list[Path]) -> list[RenderableType]:
    """Return where the drawings are."""
    if not drawn:
        return []
    return [page.para(f"\n{len(drawn)} drawings are in {drawn[0].parent}/.", indent=0)]
