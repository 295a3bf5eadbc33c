"""What to pay and what a wrong decision costs."""

from squibwise.plan.costing import cost
from squibwise.plan.loss_table import losses

__all__ = ["cost", "losses"]
