"""What it will cost."""

import msgspec

from squibwise.errors import ModelError
from squibwise.model.money import Money
from squibwise.model.origin import Finding


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


class Cost(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The sum under one profile; lines without a price are named, never counted as nothing.

    Attributes:
        minutes: Hands-on work. [min]
        unpriced: Price keys that the user still has to enter.
    """

    profile: str
    low: Money
    likely: Money
    high: Money
    minutes: int
    lines: tuple[CostLine, ...] = ()
    unpriced: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        if not self.low.minor <= self.likely.minor <= self.high.minor:
            raise ModelError("cost is not low <= likely <= high")
