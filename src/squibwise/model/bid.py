"""What decides how much to bid for a car, the answer, and how it came out in the end."""

import datetime as dt
from typing import Literal

import msgspec

from squibwise.errors import ModelError
from squibwise.model.cost import CostBelief, Driver, Money
from squibwise.model.origin import Finding, Origin

Answer = Literal["yes", "no", "unknown"]
Go = Literal["go", "no-go", "ask"]
GATE_PRICE = "gate "
"""Begins the line of what the answer to a question costs, before the question's id."""
COMEBACKS = "comebacks"
"""The line of what comes back after the sale."""
BidVerdict = Literal["bid-up-to", "do-not-bid", "ask-first", "restraint-share-only"]


class Figures(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Low, likely and high, in whole money units, shares or days as the key says."""

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.likely <= self.high:
            raise ModelError(f"{self.low}, {self.likely}, {self.high} are out of order")

    @property
    def mean(self) -> float:
        """Mean of the triangle."""
        return (self.low + self.likely + self.high) / 3.0

    def times(self, factor: float) -> "Figures":
        """Return them multiplied."""
        return Figures(low=self.low * factor, likely=self.likely * factor, high=self.high * factor)


_MOST_FEES, _MOST_BANDS, _MOST_BIDS = 20, 100, 200_000
NOTHING = Figures(low=0.0, likely=0.0, high=0.0)


class FeeBand(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a fee is from a price on, until the next band.

    Attributes:
        from_price: First price it holds for.
        flat: Fixed part.
        share: Part of the whole price. [0..1]
    """

    from_price: float = 0.0
    flat: float = 0.0
    share: float = 0.0

    def __post_init__(self) -> None:
        if not (self.from_price >= 0.0 and self.flat >= 0.0 and 0.0 <= self.share < 1.0):
            raise ModelError(f"fee band from {self.from_price}: out of range")


class Fee(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One fee of a venue, in bands of the price.

    Attributes:
        source: Where the table was read.
        on: Day it was read.
    """

    name: str
    bands: tuple[FeeBand, ...]
    source: str = ""
    on: dt.date | None = None

    def __post_init__(self) -> None:
        starts = [b.from_price for b in self.bands]
        if not starts or starts != sorted(set(starts)) or starts[0] != 0.0:
            raise ModelError(f"fee {self.name}: bands must begin at 0 and rise")
        if len(starts) > _MOST_BANDS:
            raise ModelError(f"fee {self.name}: more than {_MOST_BANDS} bands")


class Share(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one trade's work on the car will cost: figures, or a stated nil.

    Attributes:
        together: How far it rises and falls with the size of the crash; None = as the catalogue
            judges of the trade. [0..1]
    """

    cost: Figures | None = None
    nil: bool = False
    together: float | None = None

    def __post_init__(self) -> None:
        if self.together is not None and not 0.0 <= self.together <= 1.0:
            raise ModelError(f"together = {self.together} is no share from 0 to 1")
        if (self.cost is None) != self.nil:
            raise ModelError("state low, likely and high, or nil = true, not both")


class GateAnswer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The answer to a question that decides whether to bid at all; a yes or no needs both.

    Attributes:
        source: Who said so, or where it was read.
        on: When.
        price: What it costs, where it costs something.
    """

    answer: Answer = "unknown"
    source: str = ""
    on: dt.date | None = None
    by: str = ""
    price: Figures | None = None


class Comebacks(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How often a sold car is expected to come back, and what that costs then.

    Attributes:
        share: Of the sold cars. [0..1]
        cost: Of one that comes back, own hours in it.
    """

    share: float
    cost: Figures

    def __post_init__(self) -> None:
        if not 0.0 <= self.share <= 1.0:
            raise ModelError(f"comebacks: {self.share} is no share from 0 to 1")


class BidSheet(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the user knows of the car and the sale. Money in whole units of the case's currency.

    Attributes:
        resale: What the finished car would sell for with a clean title; 0 = not stated.
        brand_discount: Share that the brand of the title takes off. [0..1]
        brand_together: How far that rises and falls with the size of the crash; None = as the
            catalogue says. [0..1]
        loss_chance: Chance of a loss that the user accepts. [0..1]
        target: Least profit that does not count as a loss.
        bidders: Bidders that are after the car, the user among them.
        estimate_error: Standard deviation of an estimate of the car's worth, as a share of it.
        expected_price: What the car will likely go for; None = not stated.
        increment: Step between bids.
        tax: Share of price, and of fees where ``tax_on_fees``.
        days: Days from the sale until the money is back.
        day: What a day costs: storage, insurance, bay, money.
        part_out: What the car would bring in parts, breaking it taken off; fetching it, its title
            and its days come off besides. What is left never goes below that.
        comebacks: What is expected after the sale; None = nothing is.
        shares: Other trades' work: body, paint, glass, mechanical, keys, tyres.
        gates: Answers to the questions that come first.
        left_out: What of the sale may cost something and was not stated, by its key.
    """

    resale: Figures
    brand_discount: Figures = NOTHING
    brand_together: float | None = None
    loss_chance: float
    target: float = 0.0
    bidders: int
    estimate_error: float
    expected_price: float | None = None
    increment: float = 25.0
    tax: float = 0.0
    tax_on_fees: bool = False
    fees: tuple[Fee, ...] = ()
    transport: Figures = NOTHING
    inspection: Figures = NOTHING
    title: Figures = NOTHING
    selling: Figures = NOTHING
    reserve: Figures = NOTHING
    days: Figures = NOTHING
    day: float = 0.0
    part_out: float = 0.0
    comebacks: Comebacks | None = None
    shares: dict[str, Share] = {}
    gates: dict[str, GateAnswer] = {}
    left_out: tuple[str, ...] = ()
    origin: Origin = Origin()

    def __post_init__(self) -> None:
        fine = 0.0 < self.loss_chance < 1.0 and self.bidders >= 1 and self.increment > 0.0
        if not (fine and 0.0 <= self.estimate_error < 1.0 and 0.0 <= self.tax < 1.0):
            raise ModelError(
                "bid: loss_chance, bidders, estimate_error, increment or tax off range"
            )
        if len(self.fees) > _MOST_FEES:
            raise ModelError(f"bid: more than {_MOST_FEES} fees")
        if self.resale.high / self.increment > _MOST_BIDS:
            raise ModelError(
                f"bid: between nothing and the resale lie more than {_MOST_BIDS:,} steps of "
                f"{self.increment:g}; write the venue's increment"
            )
        if self.brand_together is not None and not 0.0 <= self.brand_together <= 1.0:
            raise ModelError(f"brand_together = {self.brand_together} is no share from 0 to 1")
        if not (self.brand_discount.high < 1.0 and self.day >= 0.0 and self.part_out >= 0.0):
            raise ModelError("bid: brand_discount, day or part_out out of range")


class CameBack(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which of a user's settled cars came back after the sale.

    Attributes:
        cars: Settled cars of which it is known.
        costs: What each that came back cost, in whole units.
    """

    cars: int = 0
    costs: tuple[float, ...] = ()


NOTHING_BACK = CameBack()


class Lessons(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a user's settled cars teach the next bid.

    Attributes:
        factors: By how much each line was off, by name.
    """

    factors: dict[str, float] = {}
    came_back: CameBack = NOTHING_BACK


NO_LESSONS = Lessons()


class Gate(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A question that comes before any limit, and where it stands."""

    id: str
    text: str
    go: Go
    answer: GateAnswer


class LookWorth(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What knowing something before the bid is worth.

    Attributes:
        how: What to look at, in a mechanic's words; empty = a call, or nothing to say.
        in_yard: It can be made walking round the car.
    """

    what: str
    worth: Money
    minutes: float = 0.0
    how: str = ""
    in_yard: bool = False


class BidLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of the sum: what it is expected to bring, or to take where it is below nothing."""

    what: str
    mean: Money


class BidPoint(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one bid comes to: bid, fees and tax, and the chance of a loss."""

    bid: Money
    outlay: Money
    chance_of_loss: float
    expected_profit: Money


class BidLimit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The answer of ``bid``.

    Attributes:
        gates: First of all: go, no-go or ask.
        unstated: Trades whose share was not stated, the fees of the venue, and the resale where
            it is 0 and nothing is told of parts either; with any there is no limit.
        left_out: What else was not stated and counts as nothing, by its key of the sheet.
        unpriced: What of the restraint share has no price, in words; with any there is no limit.
        cost: What the restraint share may come to.
        limit: The largest bid whose chance of a loss is at most the accepted one; None = no bid.
        is_hopeless: Even the least bid loses more often than is accepted, whatever is still open.
        target: A profit below this counts as a loss; None = nothing does but a loss.
        parted: Chance that the car brings more in parts than repaired.
        part_out: What it would bring in parts, fetched, titled and its days paid; None = not
            stated.
        chance_of_loss: At that bid.
        outlay: Bid, fees and tax at that bid.
        fees: By name, at that bid.
        winning: What was taken off because winning is news.
        expected_profit: At that bid; None without one.
        drivers: What drives the restraint share.
        worths: What a scan before buying and each look is worth, the most first.
        lines: Expected resale and what comes off it; their sum is what is left for the bid.
        curve: A few bids of the scale, the limit and every jump of the fees among them.
        going: The same at the price the car will likely go for; None = none was stated.
        corrected: Factors learned from settled cars that were applied, by name.
        came_back: Which of the settled cars came back.
    """

    verdict: BidVerdict
    gates: tuple[Gate, ...]
    unstated: tuple[str, ...] = ()
    unpriced: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    cost: CostBelief
    limit: Money | None = None
    is_hopeless: bool = False
    target: Money | None = None
    parted: float = 0.0
    part_out: Money | None = None
    chance_of_loss: float | None = None
    outlay: Money | None = None
    fees: dict[str, Money] = {}
    winning: Money | None = None
    expected_profit: Money | None = None
    drivers: tuple[Driver, ...] = ()
    worths: tuple[LookWorth, ...] = ()
    lines: tuple[BidLine, ...] = ()
    curve: tuple[BidPoint, ...] = ()
    going: BidPoint | None = None
    corrected: dict[str, float] = {}
    came_back: CameBack = NOTHING_BACK
    findings: tuple[Finding, ...] = ()


class Comeback(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing for which a sold car came back.

    Attributes:
        day: Days after the sale; None = not stated.
        cost: Own hours in it, in whole units; None = not stated.
    """

    what: str
    day: int | None = None
    cost: float | None = None

    def __post_init__(self) -> None:
        if (self.day is not None and self.day < 0) or not (self.cost is None or self.cost >= 0.0):
            raise ModelError(f"comeback '{self.what}': day or cost is below nothing")


class Settled(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a car came out: what was expected at the bid, and what was paid. Money in whole units.

    Attributes:
        currency: Of the sums; empty = that of the bid they are compared with.
        expected: By line: ``parts``, ``labour`` (or ``restraint`` for both), ``days``, ``resale``,
            ``reserve`` (hidden damage) and the trades' shares.
        actual: The same lines; a line that is not known yet is left out.
        comebacks: What later came back, words alone where no cost is known; None = not known yet.
    """

    case: str
    currency: str = ""
    expected: dict[str, float]
    actual: dict[str, float]
    comebacks: tuple[Comeback | str, ...] | None = None

    def __post_init__(self) -> None:
        below = [k for d in (self.expected, self.actual) for k, v in d.items() if not v >= 0.0]
        if below:
            raise ModelError(f"settled: {below[0]} is below nothing")
        if COMEBACKS in self.actual:
            raise ModelError("settled: comebacks stand in a list above [expected], each with cost")

    @property
    def returns(self) -> tuple[Comeback, ...]:
        """What came back, each as a record."""
        told = self.comebacks or ()
        return tuple(Comeback(what=c) if isinstance(c, str) else c for c in told)

    @property
    def paid_for_returns(self) -> float | None:
        """What came back cost together; None = not all of it is known."""
        costs = [c.cost for c in self.returns if c.cost is not None]
        known = self.comebacks is not None and len(costs) == len(self.returns)
        return sum(costs) if known else None


class SettledLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of a settled car.

    Attributes:
        actual: None = not known yet.
        adds: What this car alone adds to each next bid, in whole units; None = it multiplies.
    """

    what: str
    expected: float
    actual: float | None
    adds: float | None = None
