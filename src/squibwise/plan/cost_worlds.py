"""Sums of a job under each kind of rules and in each size of crash, as worlds of payments."""

from collections.abc import Iterable, Mapping, Sequence

from squibwise.model.belief import Assessment
from squibwise.model.cost import Cost, CostLine
from squibwise.model.origin import Finding
from squibwise.plan.bidding import Evidence
from squibwise.plan.cost_belief import Payment, World
from squibwise.plan.prices import LABOUR

_SHOWN = 6
_SUMS = ("followed", "certain", "strictest")


def list_worlds(weighted: Sequence[tuple[float, Sequence[Cost]]]) -> tuple[World, ...]:
    """Return one world for each size of crash and each kind of rules.

    Where the maker's rules are not known, each kind counts alike; where they are, only theirs.

    Args:
        weighted: Chance of a size of crash, and what the job costs then, by kind of rules.
    """
    return tuple(
        World(weight=weight / len(found), size=size, payments=_payments(cost.lines))
        for size, (weight, costs) in enumerate(weighted)
        for found in [_under_rules(costs)]
        for cost in found
    )


def _under_rules(costs: Sequence[Cost]) -> list[Cost]:
    found = [c for c in costs if c.name not in _SUMS and c.profile != "unknown"]
    return found or list(costs[:1])


def _payments(lines: Sequence[CostLine]) -> tuple[Payment, ...]:
    return tuple(
        Payment(
            what=line.what,
            chance=line.probability,
            low=line.low.minor,
            likely=line.likely.minor,
            high=line.high.minor,
        )
        for line in lines
        if line.low is not None and line.likely is not None and line.high is not None
    )


def list_unpriced(weighted: Sequence[tuple[float, Sequence[Cost]]]) -> tuple[str, ...]:
    """Return what is in no sum because it has no price: names of parts and services, the hour."""
    costs = [c for _, found in weighted for c in _under_rules(found)]
    return tuple(dict.fromkeys(word for c in costs for word in c.unpriced))


def doubt_prices(weighted: Sequence[tuple[float, Sequence[Cost]]]) -> Iterable[Finding]:
    """Yield what is in no sum because nobody stated its price: a limit without it is too high."""
    costs = [c for _, found in weighted for c in _under_rules(found)]
    unpriced = list_unpriced(weighted)
    if LABOUR in unpriced:
        hours = [c.minutes / 60.0 for c in costs]
        yield Finding(
            code="bid-work-free",
            severity="warning",
            message=f"{min(hours):.0f} to {max(hours):.0f} hours of work on the restraint system "
            "count as nothing: no hour of work has a price.",
            remedy="Write a [[price]] of 'labour-hour' into the case; 0 if your own work is free.",
        )
    others = [word for word in unpriced if word != LABOUR]
    if others:
        more = f" and {len(others) - _SHOWN} more" if len(others) > _SHOWN else ""
        yield Finding(
            code="bid-unpriced",
            severity="warning",
            message=f"No price is known of: {'; '.join(others[:_SHOWN])}{more}. They are in no sum "
            "of this bid.",
            remedy="Write a [[price]] of each into the case; `squibwise cost CASE` names them all. "
            "The catalogue knows the level of prices of some currencies only.",
        )


def list_evidence(
    weighted: Sequence[tuple[float, Sequence[Cost]]],
    states: Sequence[Assessment],
    minutes: Mapping[str, tuple[float, str]],
    misleads: float,
) -> tuple[Evidence, ...]:
    """Return what could be known before a bid: a scan, the maker's rules, a look at each charge.

    Args:
        weighted: As for ``list_worlds``.
        states: What is believed in each size of crash, in the same order.
        minutes: What a look takes, and how it is made, by component id. [min]
        misleads: How often a look at a charge misleads. [0..1]
    """
    sizes = [i for i, (_, costs) in enumerate(weighted) for _ in _under_rules(costs)]
    rules = [c.profile for _, costs in weighted for c in _under_rules(costs)]
    found = [Evidence(what="a scan before buying", minutes=15.0, shown=_told(sizes))]
    if len(set(rules)) > 1:
        found.append(Evidence(what="the maker's rules for this car", shown=_told(rules)))
    for place, belief in enumerate(states[0].components if states else ()):
        chances = [s.components[place].now.fired for s in states]
        if belief.id in minutes and max(chances) - min(chances) > misleads:
            seen = [chances[i] * (1.0 - misleads) + (1.0 - chances[i]) * misleads for i in sizes]
            shown = (tuple(seen), tuple(1.0 - p for p in seen))
            takes, how = minutes[belief.id]
            found.append(Evidence(what=belief.id, minutes=takes, how=how, shown=shown))
    return tuple(found)


def _told(words: Sequence[object]) -> tuple[tuple[float, ...], ...]:
    """Return the answers of something that tells a word for sure, by world."""
    return tuple(tuple(float(w == word) for w in words) for word in dict.fromkeys(words))
