"""A tighter bound from below: tests that never err, a few actions deep."""

import math
from collections.abc import Callable

import msgspec

from squibwise.numerics.troubleshoot.problem import Problem, Repair, Test, normalised
from squibwise.numerics.troubleshoot.table import power_cost

Key = tuple[frozenset[int], frozenset[int], bool, frozenset[int]]


class Cure(msgspec.Struct, frozen=True, kw_only=True):
    """Chance that a test cures each hypothesis by itself."""

    chance: tuple[float, ...]


class Relaxed:
    """The problem with perfect tests. A class because its answers are kept for reuse.

    A noisy test tells at most which hypotheses it treats alike, so a test that tells exactly that
    is worth more; a cured part of several counts as the whole. Every answer is therefore a bound.

    Args:
        problem: The problem.
        clairvoyant: Bound for somebody who knows the hypothesis, from its position, what is open
            and the power.
    """

    def __init__(
        self, problem: Problem, clairvoyant: Callable[[int, frozenset[int], bool], float]
    ) -> None:
        self.problem = problem
        self.weight = normalised(problem.weight)
        self.clairvoyant = clairvoyant
        self.known: dict[tuple[Key, int], float] = {}
        self.cures = tuple(_cure(t, len(self.weight)) for t in problem.tests)

    def bound(self, depth: int) -> float:
        """Return the bound, looking a number of actions ahead."""
        everything = frozenset(range(len(self.weight)))
        key = (everything, self.problem.opened, self.problem.powered, frozenset[int]())
        return self._best(key, depth)

    def _best(self, key: Key, depth: int) -> float:
        if not key[0]:
            return 0.0
        if depth == 0:
            return math.fsum(
                self._weight(h, key[3]) * self.clairvoyant(h, key[1], key[2]) for h in key[0]
            )
        if (key, depth) not in self.known:
            floor = self._best(key, 0)
            values = [*self._repairs(key, depth), *self._tests(key, depth)]
            self.known[key, depth] = max(floor, min(values))
        return self.known[key, depth]

    def _weight(self, h: int, done: frozenset[int]) -> float:
        return self.weight[h] * math.prod(1.0 - self.cures[t].chance[h] for t in done)

    def _cost(self, key: Key, access: tuple[int, ...], power: str, minutes: float) -> float:
        opening = math.fsum(self.problem.access_minutes[k] for k in set(access) - key[1])
        total = minutes + opening + power_cost(self.problem, power)[int(key[2])]
        return total * math.fsum(self._weight(h, key[3]) for h in key[0])

    def _repairs(self, key: Key, depth: int) -> list[float]:
        return [
            self._cost(key, r.access, "through", r.minutes + r.check_minutes)
            + self._best((left, key[1] | set(r.access), True, key[3]), depth - 1)
            for r in self.problem.repairs
            for left in [self._left(key[0], r)]
            if len(left) < len(key[0])
        ]

    def _left(self, alive: frozenset[int], repair: Repair) -> frozenset[int]:
        hypotheses = self.problem.hypotheses
        return frozenset(h for h in alive if not hypotheses[h] & repair.fixes)

    def _tests(self, key: Key, depth: int) -> list[float]:
        out = []
        for t, test in enumerate(self.problem.tests):
            classes = _classes(test, key[0])
            curing = t not in key[3] and any(self.cures[t].chance[h] > 0.0 for h in key[0])
            if len(classes) > 1 or curing:
                done = key[3] | {t} if curing else key[3]
                opened, on = key[1] | set(test.access), test.power != "off"
                value = self._cost(key, test.access, test.power, test.minutes)
                value += math.fsum(self._best((c, opened, on, done), depth - 1) for c in classes)
                out.append(value)
        return out


def _classes(test: Test, alive: frozenset[int]) -> list[frozenset[int]]:
    """Return the hypotheses that a test treats alike, together."""
    groups: dict[tuple[float, ...], set[int]] = {}
    for h in alive:
        groups.setdefault(tuple(r.chance[h] for r in test.results), set()).add(h)
    return [frozenset(g) for g in groups.values()]


def _cure(test: Test, count: int) -> Cure:
    return Cure(
        chance=tuple(math.fsum(r.chance[h] for r in test.results if r.fixed) for h in range(count))
    )
