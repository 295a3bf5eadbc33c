"""Bid against outcome, line by line, and what a user's settled cars correct in the next bid."""

import math
from collections.abc import Sequence

from squibwise.model.bid import Settled, SettledLine
from squibwise.model.origin import Finding

_PRIOR_CARS = 2.0
_MOST = math.log(3.0)


def settled_lines(settled: Settled) -> tuple[SettledLine, ...]:
    """Return expected against actual, line by line, in the order they were expected."""
    names = dict.fromkeys((*settled.expected, *settled.actual))
    return tuple(
        SettledLine(what=n, expected=settled.expected.get(n, 0.0), actual=settled.actual.get(n))
        for n in names
    )


def learn_factors(cars: Sequence[Settled]) -> dict[str, float]:
    """Return by how much each line was off, as a factor on the next expectation.

    The mean log ratio of actual to expected, shrunk towards none as if two more cars had come out
    as expected; one car moves a line by at most a factor of three. Lines that were expected or
    came out as nothing teach nothing here.
    """
    logs: dict[str, list[float]] = {}
    for car in cars:
        for line in settled_lines(car):
            if line.actual is not None and line.expected > 0.0 and line.actual > 0.0:
                ratio = math.log(line.actual / line.expected)
                logs.setdefault(line.what, []).append(max(-_MOST, min(_MOST, ratio)))
    return {n: math.exp(sum(v) / (len(v) + _PRIOR_CARS)) for n, v in sorted(logs.items())}


def doubt_settled(cars: Sequence[Settled]) -> tuple[Finding, ...]:
    """Return what came out of a car and was not expected: it teaches nothing."""
    return tuple(
        Finding(
            code="settled-not-expected",
            severity="note",
            message=f"{car.case}: {', '.join(strange)} came out and was not expected; it corrects "
            "nothing.",
            remedy=f"If it is another word for an expected line, write that: "
            f"{', '.join(car.expected)}.",
        )
        for car in cars
        if (strange := [word for word in car.actual if not car.expected.get(word)])
    )
