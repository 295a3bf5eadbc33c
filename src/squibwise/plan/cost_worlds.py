"""Sums of a job under each kind of rules and in each size of crash, as worlds of payments."""

from collections.abc import Sequence

from squibwise.model.cost import Cost, CostLine
from squibwise.plan.cost_belief import Payment, World

_SUMS = ("followed", "certain", "strictest")


def list_worlds(weighted: Sequence[tuple[float, Sequence[Cost]]]) -> tuple[World, ...]:
    """Return one world for each size of crash and each kind of rules.

    Where the maker's rules are not known, each kind counts alike; where they are, only theirs.

    Args:
        weighted: Chance of a size of crash, and what the job costs then, by kind of rules.
    """
    return tuple(
        World(weight=weight / len(found), payments=_payments(cost.lines))
        for weight, costs in weighted
        for found in [_under_rules(costs)]
        for cost in found
    )


def _under_rules(costs: Sequence[Cost]) -> list[Cost]:
    found = [c for c in costs if c.name not in _SUMS and c.profile != "unknown"]
    return found or list(costs[:1])


def _payments(lines: Sequence[CostLine]) -> tuple[Payment, ...]:
    return tuple(
        Payment(
            what=line.what,
            chance=line.probability,
            low=line.low.minor,
            likely=line.likely.minor,
            high=line.high.minor,
        )
        for line in lines
        if line.low is not None and line.likely is not None and line.high is not None
    )
