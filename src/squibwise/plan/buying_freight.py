"""Freight in the solver's model: a shipment of each supplier now, and one after the looks."""

import math
from collections.abc import Mapping, Sequence
from itertools import product
from typing import TYPE_CHECKING, Any

from squibwise.model.cost import Money
from squibwise.model.market import PAID_STATES
from squibwise.plan.buying_problem import (
    LATER,
    NOW,
    Option,
    Problem,
    kept_freight,
    reach_tier,
)

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

_SHARES = 100_000  # of a freight: to which a chance is rounded


def ship(m: "cp_model.CpModel", problem: Problem, take: Mapping[Option, Any]) -> Any:  # noqa: ANN401 - a sum of the solver
    """Return what all shipments cost, in minor units; each is free from a value of goods.

    The one after the looks counts by the summed chances of what is in it, at most one, less the
    chance that what is needed of it comes to that value.

    Args:
        m: The model, which is added to.
        problem: Offers, and what their suppliers ask.
        take: Whether an offer is taken, by offer and stage.
    """
    cost: Any = kept_freight(problem)
    by_key = {n.key: n for n in problem.needs}
    for supplier, stage in product(problem.suppliers, (NOW, LATER)):
        mine = [
            (by_key[key], o, take[i, s])
            for (i, s) in take
            for key, o in [problem.offers[i]]
            if (s, o.supplier) == (stage, supplier.name) and o.state not in PAID_STATES
        ]
        boxed = [(1.0 if stage == NOW else n.chance, took) for n, _, took in mine]
        live = [one for one, (n, _, _) in zip(boxed, mine, strict=True) if n.live]
        name, free = f"{supplier.name} {stage}", m.new_constant(0)
        if mine and supplier.free_from is not None and supplier.shipping.minor:
            free = m.new_int_var(0, 1 if stage == NOW else _SHARES, f"free {name}")
            lines = [(n.key, n.chance, o.sum_for(n)) for n, o, _ in mine]
            goods, tier = sum(o.sum_for(n) * took for n, o, took in mine), supplier.free_from
            if stage == NOW:
                m.add(goods >= tier.minor * free)
            for share, rest in reach_tier(lines, tier.minor) if stage == LATER else ():
                more = _SHARES * sum(mine[i][2] for i in rest)
                m.add(free <= math.floor(share * _SHARES + 1e-6) + more)
        cost += _freight(m, supplier.shipping, boxed, free, name)
        if supplier.dangerous is not None:
            cost += _freight(m, supplier.dangerous, live, m.new_constant(0), f"live {name}")
    return cost


def _freight(
    m: "cp_model.CpModel",
    whole: Money,
    boxed: Sequence[tuple[float, Any]],
    free: Any,  # noqa: ANN401 - a variable of the solver
    name: str,
) -> Any:  # noqa: ANN401 - a sum of the solver
    """Return what sending costs by the chances that something is in the box."""
    minor = whole.minor
    sent, full = m.new_bool_var(f"sent {name}"), m.new_bool_var(f"full {name}")
    for _, took in boxed:
        m.add_implication(took, sent)
    if all(chance >= 1.0 for chance, _ in boxed):
        m.add(free <= sent)
        return minor * (sent - free)
    cost = m.new_int_var(0, minor, f"freight {name}")
    parts = sum(round(chance * _SHARES) * minor * took for chance, took in boxed)
    m.add(_SHARES * cost >= parts - minor * free).only_enforce_if(~full)
    m.add(_SHARES * cost >= minor * (_SHARES - free)).only_enforce_if(full)
    return cost
