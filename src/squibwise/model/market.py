"""Buying and bidding: offers, suppliers, purchases, the day plan, what a car may cost, the bid."""

import msgspec

from squibwise.errors import ModelError
from squibwise.model.cost import Money


class CostBelief(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a sum may come to: chances on an even grid of money.

    Attributes:
        currency: ISO 4217 code.
        start: Amount of the first chance. [minor units]
        step: Distance from one amount to the next. [minor units]
        chances: Of each amount; they sum to one.
        mean: Expected amount, free of the grid's rounding. [minor units]
    """

    currency: str
    start: int
    step: int
    chances: tuple[float, ...]
    mean: float

    def __post_init__(self) -> None:
        if not (self.step >= 1 and self.chances and abs(sum(self.chances) - 1.0) <= 1e-6):
            raise ModelError("a cost belief needs a step from 1 and chances that sum to one")

    def quantile(self, chance: float) -> Money:
        """Return the least amount that is not exceeded with this chance."""
        total = 0.0
        for place, share in enumerate(self.chances):
            total += share
            if total >= chance - 1e-9:
                return self._money(place)
        return self._money(len(self.chances) - 1)

    def chance_above(self, amount: Money) -> float:
        """Return the chance that the sum is more than an amount."""
        places = enumerate(self.chances)
        return min(1.0, sum(c for i, c in places if self.start + i * self.step > amount.minor))

    def _money(self, place: int) -> Money:
        return Money(minor=self.start + place * self.step, currency=self.currency)


class Driver(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How much one thing has to do with the spread of a sum.

    Attributes:
        what: What is paid for.
        share: Its share of the variance, with what it has in common with the rest; all shares
            sum to one and a share may be negative.
        mean: What it is expected to add.
    """

    what: str
    share: float
    mean: Money
