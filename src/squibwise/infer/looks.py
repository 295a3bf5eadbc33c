"""Which look is worth making next: expected saving per minute, one step and two."""

from squibwise.catalog.load import Catalog
from squibwise.infer.items import Item
from squibwise.infer.posterior import Engine, Posterior
from squibwise.model.belief import LossTable, NextLook
from squibwise.model.case import Case


def next_looks(
    case: Case,
    engine: Engine,
    items: tuple[Item, ...],
    found: Posterior,
    losses: LossTable | None,
    catalog: Catalog,
) -> tuple[NextLook, ...]:
    """Return the looks worth making, best first; empty when nothing more is worth doing."""
    return ()
