"""Money in whole minor units, so that a sum never loses a cent; what the work will cost."""

from decimal import ROUND_HALF_EVEN, Decimal

import msgspec

from squibwise.errors import ModelError
from squibwise.model.origin import Finding

_DIGITS = {"JPY": 0, "KRW": 0, "CLP": 0, "BHD": 3, "KWD": 3, "TND": 3}


class Money(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An amount.

    Attributes:
        minor: Whole minor units, such as cents.
        currency: ISO 4217 code.
    """

    minor: int
    currency: str

    def __add__(self, other: "Money") -> "Money":
        if other.currency != self.currency:
            raise ModelError(f"cannot add {other.currency} to {self.currency}")
        return Money(minor=self.minor + other.minor, currency=self.currency)

    def text(self) -> str:
        """Return the amount as people write it: ``1,234.50 USD``."""
        digits = minor_digits(self.currency)
        return f"{Decimal(self.minor).scaleb(-digits):,.{digits}f} {self.currency}"


def minor_digits(currency: str) -> int:
    """Return how many digits the minor unit of a currency has (ISO 4217, from memory)."""
    return _DIGITS.get(currency, 2)


def from_major(amount: str | int | float | Decimal, currency: str) -> Money:
    """Return an amount written in whole units, rounded half-even to the minor unit."""
    scaled = Decimal(str(amount)).scaleb(minor_digits(currency))
    return Money(minor=int(scaled.to_integral_value(rounding=ROUND_HALF_EVEN)), currency=currency)


class CostLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of a cost, low, likely and high; None while the user has entered no price.

    Attributes:
        item: Work item id.
        what: Price key that applies: component id, kind, task or ``labour-hour``.
        probability: That it must be paid.
    """

    item: str
    what: str
    probability: float = 1.0
    low: Money | None = None
    likely: Money | None = None
    high: Money | None = None


class Amount(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A sum of one kind.

    Attributes:
        likely: What it is expected to come to: the mean, so that sums add up.
        at_most: What it is not above with the stated chance.
        at_least: What it is not below with that chance; None in answers of before 0.17.
    """

    likely: Money
    at_most: Money
    at_least: Money | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.likely.minor <= self.at_most.minor:
            raise ModelError("amount is not 0 <= likely <= at most")
        if self.at_least is not None and not 0 <= self.at_least.minor <= self.likely.minor:
            raise ModelError("amount is not 0 <= at least <= likely")


class Cost(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The sum under one profile; lines without a price are named, never counted as nothing.

    Attributes:
        minutes: Hands-on work. [min]
        unpriced: Price keys that the user still has to enter.
        name: ``certain``, ``followed``, ``strictest``, or the rule profile it is the sum of.
        parts: Parts alone; from the catalogue's wide range where the user entered no price.
        labour: Hands-on work alone; None while no hourly rate was entered.
        outside: Work of others that the user priced.
        total: All three. Its ``at_most`` is no sum of highs.
        low: What the total is not below with ``chance``; ``likely``, ``high``: as in ``total``.
        chance: Probability that the total stays below ``at_most``.
        labour_minutes: Hands-on, least, usual and most of the job as a whole. [min]
        waiting_minutes: Waits after power-downs. [min]
        from_memory: Orders priced from the catalogue's dated range, by title.
        missing: Orders without any price, which no sum holds, by title.
    """

    profile: str
    low: Money
    likely: Money
    high: Money
    minutes: int
    lines: tuple[CostLine, ...] = ()
    unpriced: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    name: str = ""
    parts: Amount | None = None
    labour: Amount | None = None
    outside: Amount | None = None
    total: Amount | None = None
    chance: float = 0.0
    labour_minutes: tuple[int, int, int] = (0, 0, 0)
    waiting_minutes: int = 0
    from_memory: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.low.minor <= self.likely.minor <= self.high.minor:
            raise ModelError("cost is not low <= likely <= high")


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
