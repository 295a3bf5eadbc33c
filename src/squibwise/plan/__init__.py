"""What to pay, what to buy from whom, the most to bid, and what a wrong decision costs.

Imported when first asked for: few commands need all of it.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from squibwise.plan.bidding import limit_bid
    from squibwise.plan.cost_belief import doubt_prices, list_evidence, list_unpriced, list_worlds
    from squibwise.plan.costing import cost
    from squibwise.plan.line_sheets import add_offer, list_lines, list_requests
    from squibwise.plan.loss_table import losses
    from squibwise.plan.lots import LOT_WORLDS, limit_row, price_cars, state_terms, write_lot
    from squibwise.plan.offers import list_asked, list_needs
    from squibwise.plan.ordering import plan_buying
    from squibwise.plan.settling import (
        doubt_settled,
        expect_sale,
        expect_work,
        learn_settled,
        settled_lines,
        sum_paid,
    )

_HOMES = {
    "LOT_WORLDS": "squibwise.plan.lots",
    "add_offer": "squibwise.plan.line_sheets",
    "cost": "squibwise.plan.costing",
    "doubt_prices": "squibwise.plan.cost_belief",
    "doubt_settled": "squibwise.plan.settling",
    "expect_sale": "squibwise.plan.settling",
    "expect_work": "squibwise.plan.settling",
    "learn_settled": "squibwise.plan.settling",
    "limit_bid": "squibwise.plan.bidding",
    "limit_row": "squibwise.plan.lots",
    "list_asked": "squibwise.plan.offers",
    "list_evidence": "squibwise.plan.cost_belief",
    "list_lines": "squibwise.plan.line_sheets",
    "list_needs": "squibwise.plan.offers",
    "list_requests": "squibwise.plan.line_sheets",
    "list_unpriced": "squibwise.plan.cost_belief",
    "list_worlds": "squibwise.plan.cost_belief",
    "losses": "squibwise.plan.loss_table",
    "plan_buying": "squibwise.plan.ordering",
    "price_cars": "squibwise.plan.lots",
    "settled_lines": "squibwise.plan.settling",
    "state_terms": "squibwise.plan.lots",
    "sum_paid": "squibwise.plan.settling",
    "write_lot": "squibwise.plan.lots",
}

__all__ = [
    "LOT_WORLDS",
    "add_offer",
    "cost",
    "doubt_prices",
    "doubt_settled",
    "expect_sale",
    "expect_work",
    "learn_settled",
    "limit_bid",
    "limit_row",
    "list_asked",
    "list_evidence",
    "list_lines",
    "list_needs",
    "list_requests",
    "list_unpriced",
    "list_worlds",
    "losses",
    "plan_buying",
    "price_cars",
    "settled_lines",
    "state_terms",
    "sum_paid",
    "write_lot",
]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - a module attribute can be anything
    """Import a function when it is first asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module 'squibwise.plan' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)
