"""Lots of a sale: what a list says of each, under which terms they are priced, what is believed."""

import msgspec

from squibwise.errors import ModelError
from squibwise.model.car import Car
from squibwise.model.evidence import Evidence
from squibwise.model.origin import Finding


class LotRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One lot as far as a list tells.

    Attributes:
        line: Of the list, from 1; 2 is the first below the heading.
        resale: What it would sell for repaired, clean title, in whole units; None = not stated.
        other_costs: Body, paint and the rest, in whole units; None = not stated.
    """

    line: int
    id: str
    car: Car
    region: str | None = None
    evidence: tuple[Evidence, ...] = ()
    resale: float | None = None
    other_costs: float | None = None


class BadLot(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Why a lot is skipped.

    Attributes:
        remedy: What to write instead.
    """

    what: str
    remedy: str


class LotTerms(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every lot is priced under. Money in whole units of the currency.

    Attributes:
        hour: Cost of one hour of work.
        bids: Bids of the venue's scale for which nothing higher costs less in the end, rising;
            empty = no limit is asked for.
        outlays: What each of them comes to in the end, rising with them.
        loss_chance: Accepted chance of a loss. [0..1]
        kept: Share of a clean title's price that is left by the brand of the title. [0..1]
        off: What is taken off the resale because winning is news, as a share of it. [0..1]
        target: Least profit that does not count as a loss.
        parts: Factor on restraint parts that settled cars taught.
        labour: The same on restraint labour.
        resale: The same on the resale.
        costs: What the sale and the days until it take on average: transport, inspection, title,
            selling, reserve, days.
        comes_back: What comes back of a sold car on average, as stated and as settled cars taught.
    """

    currency: str = "USD"
    hour: float = 100.0
    bids: tuple[float, ...] = ()
    outlays: tuple[float, ...] = ()
    loss_chance: float = 0.1
    kept: float = 1.0
    off: float = 0.0
    target: float = 0.0
    parts: float = 1.0
    labour: float = 1.0
    resale: float = 1.0
    costs: float = 0.0
    comes_back: float = 0.0

    def __post_init__(self) -> None:
        if not (0.0 < self.loss_chance < 1.0 and self.hour >= 0.0 and 0.0 <= self.off < 1.0):
            raise ModelError("lot terms: loss_chance, hour or off out of range")
        if len(self.bids) != len(self.outlays) or list(self.outlays) != sorted(self.outlays):
            raise ModelError("lot terms: outlays do not rise with the bids")


class LotBelief(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is believed of one lot, money in whole units; the same for every lot that says the same.

    Attributes:
        fired: Chance that each charge fired.
        p50: Restraint share that is not exceeded with even chance.
        p80: With four chances in five.
        at_risk: With all but the accepted chance of a loss.
        orders: What is more likely needed than not, by key.
        look: The one look worth making in the yard; empty = none would change the sum.
    """

    fired: dict[str, float]
    p50: float
    p80: float
    at_risk: float
    orders: tuple[str, ...] = ()
    look: str = ""


class ScreenedRows(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Rows out: one for each row that could be read, and a finding for each that could not."""

    rows: tuple[dict[str, object], ...] = ()
    findings: tuple[Finding, ...] = ()
