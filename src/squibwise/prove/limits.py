"""Limits: the maker's where the user entered them, else what was published, cited."""

import msgspec

from squibwise.catalog.facts import Fact
from squibwise.catalog.load import Catalog
from squibwise.model.belief import Because
from squibwise.model.case import Case
from squibwise.model.words import WEAK_BASES, Outcome
from squibwise.numerics.measurement import decide


class Limits(msgspec.Struct, frozen=True, kw_only=True):
    """Limits of one quantity.

    Attributes:
        low: Lowest allowed; None for no lower limit.
        high: Highest allowed; None for no upper limit.
        source: Where they come from, in words.
        facts: Facts they rest on; empty when the user entered them.
    """

    low: float | None
    high: float | None
    source: str
    facts: tuple[Fact, ...] = ()

    def text(self, unit: str) -> str:
        """Return the limits in words."""
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g} {unit}"
        if self.low is not None:
            return f"at least {self.low:g} {unit}"
        return f"at most {self.high:g} {unit}"


def published(catalog: Catalog, low: str | None, high: str | None, source: str) -> Limits:
    """Return limits that rest on facts of the catalogue."""
    lowest = catalog.fact(low) if low else None
    highest = catalog.fact(high) if high else None
    return Limits(
        low=lowest.number() if lowest else None,
        high=highest.number() if highest else None,
        source=source,
        facts=tuple(f for f in (lowest, highest) if f),
    )


def makers_loop(case: Case) -> Limits | None:
    """Return the loop limits that the user entered for this car; None when there are none."""
    low, high = case.profile.loop_low_ohm, case.profile.loop_high_ohm
    if low is None or high is None:
        return None
    return Limits(low=low.value, high=high.value, source=f"{low.source}; {high.source}")


def because_of(facts: tuple[Fact, ...], evidence: tuple[str, ...]) -> tuple[Because, ...]:
    """Return the reasons that a verdict's facts give."""
    return tuple(
        Because(
            text=f"{fact.value:g} {fact.unit}: {fact.at}" if _is_number(fact) else str(fact.value),
            evidence=evidence,
            sources=(fact.source,),
            weak=fact.basis if fact.basis in WEAK_BASES else None,
        )
        for fact in facts
    )


def _is_number(fact: Fact) -> bool:
    return isinstance(fact.value, float | int) and not isinstance(fact.value, bool)


def risk(catalog: Catalog) -> float:
    """Return the risk of a wrong decision that a guard band leaves."""
    return catalog.fact("measurement.risk").number()


def judged(value: float, u: float, limits: Limits, catalog: Catalog) -> tuple[Outcome, float]:
    """Return the guarded decision on a value, and the chance that it meets its limits."""
    return decide(value, u, limits.low, limits.high, risk(catalog))
