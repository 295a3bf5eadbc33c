"""What to pay, what to buy from whom, the most to bid, and what a wrong decision costs."""

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
