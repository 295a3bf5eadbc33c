"""This plan and the plain ways, each with work, waiting and money apart."""

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.cost import Money, from_major
from squibwise.model.trace import Alternative, Effort
from squibwise.numerics.troubleshoot.costs import (
    Costs,
    costs_of_policy,
    costs_of_tree,
    without_gates,
)
from squibwise.numerics.troubleshoot.planner import Node
from squibwise.numerics.troubleshoot.problem import Problem
from squibwise.numerics.troubleshoot.search import Choose, by_parts, cheapest_first, outward

_SURE = 0.9
_TITLES = {
    "plan": "this plan",
    "outward": "substitute from the device outward, then the likeliest part",
    "cheapest-first": "the cheapest test first, until one cause is nine in ten",
    "fit-parts": "fit parts by chance over cost, without testing",
}


def compare(problem: Problem, tree: Node, case: Case, catalog: Catalog) -> tuple[Alternative, ...]:
    """Return what this plan and the plain ways are expected to cost.

    All but fitting parts keep the rule that a look and a substitute load must have located the
    fault before a part is renewed; the outward tree looks only where that rule asks for it.
    """
    free = without_gates(problem)
    costs = {
        "plan": costs_of_tree(problem, tree),
        "outward": costs_of_policy(problem, outward_tree(problem)),
        "cheapest-first": costs_of_policy(problem, cheapest_first(_SURE)),
        "fit-parts": costs_of_policy(free, by_parts),
    }
    return tuple(
        Alternative(id=name, title=_TITLES[name], effort=effort_of(cost, case, catalog))
        for name, cost in costs.items()
    )


def outward_tree(problem: Problem) -> Choose:
    """Return the fixed tree of this problem: substitute outward, then the likeliest part."""
    tests = enumerate(problem.tests)
    walk = [(i, 1) for i, t in tests if t.id.startswith(("load-at:", "feed-at:"))]
    return outward(walk, ())


def effort_of(costs: Costs, case: Case, catalog: Catalog) -> Effort:
    """Return costs in the trade's units: minutes of work, of waiting, and money."""
    return Effort(
        work_minutes=max(0.0, costs.work),
        wait_minutes=max(0.0, costs.wait),
        money=_money(costs.price, case, catalog),
        parts=max(0.0, costs.parts),
        minutes=max(0.0, costs.total),
    )


def minor_per_minute(case: Case, catalog: Catalog) -> float:
    """Return what a minute of work costs, in minor units: the user's rate where entered."""
    labour = next((p for p in case.prices if p.what == "labour-hour"), None)
    if labour is not None and labour.likely.minor > 0:
        return labour.likely.minor / 60.0
    hour = 60.0 * catalog.fact("isolation.labour").number()
    return from_major(hour, case.currency).minor / 60.0


def _money(minutes: float, case: Case, catalog: Catalog) -> Money:
    minor = max(0.0, minutes) * minor_per_minute(case, catalog)
    return Money(minor=round(minor), currency=case.currency)
