"""What no plan can beat."""

import heapq
import math
from collections.abc import Callable, Sequence

import msgspec

from squibwise.numerics.troubleshoot.problem import Problem, Repair, Test, normalised
from squibwise.numerics.troubleshoot.states import power_cost

Key = tuple[frozenset[int], frozenset[int], bool, frozenset[int]]


def huffman_length(weight: Sequence[float], arity: int = 2) -> float:
    """Return the least expected number of outcomes that tells these apart.

    Args:
        weight: Probabilities.
        arity: Outcomes per test.

    Source: pattipati-alexandridis-1990: a Huffman code bounds every tree of tests from below.
    """
    heap = list(weight)
    fill = 0 if len(heap) < 2 else (1 - len(heap)) % (arity - 1)
    heap += [0.0] * fill
    heapq.heapify(heap)
    length = 0.0
    while len(heap) > 1:
        merged = math.fsum(heapq.heappop(heap) for _ in range(min(arity, len(heap))))
        length += merged
        heapq.heappush(heap, merged)
    return length


def lower_bound(problem: Problem, depth: int = 3, over: Callable[[], bool] | None = None) -> float:
    """Return minutes that every plan expects at least: the better of two bounds.

    One is the problem with tests that never err, some actions deep. The other is the cheapest
    cure of each hypothesis for somebody who knows it, plus the cheapest action for every step
    beyond the last that telling the hypotheses apart needs at least.

    Args:
        problem: The problem.
        depth: Actions that the first bound looks ahead; each costs about twice the last.
        over: Asked before each depth; True ends the work with the bound found so far.
    """
    best, relaxed = _counting_bound(problem), Relaxed(problem, _clairvoyant(problem))
    for ahead in range(1, depth + 1):
        if over and over():
            break
        best = max(best, relaxed.bound(ahead))
    return best


def _clairvoyant(problem: Problem) -> Callable[[int, frozenset[int], bool], float]:
    """Return the bound of one hypothesis for somebody who knows it, kept for reuse."""
    known: dict[tuple[int, frozenset[int], bool], float] = {}

    def bound(h: int, opened: frozenset[int], on: bool) -> float:
        if (h, opened, on) not in known:
            here = msgspec.structs.replace(problem, opened=opened, powered=on)
            known[h, opened, on] = _knowing(here, h)
        return known[h, opened, on]

    return bound


def _counting_bound(problem: Problem) -> float:
    p = normalised(problem.weight)
    knowing = math.fsum(w * _knowing(problem, h) for w, h in zip(p, range(len(p)), strict=True))
    steps = huffman_length(_groups(problem, p), _arity(problem))
    cheapest = min([t.minutes for t in problem.tests] + [r.total for r in problem.repairs])
    return knowing + cheapest * max(0.0, steps - 1.0)


def _bare(problem: Problem, repair: Repair) -> float:
    """Return the least that a repair costs, with the tests it waits for."""
    minutes = {t.id: t.minutes for t in problem.tests}
    ways = [math.fsum(minutes[t] for t in repair.after)]
    ways += [minutes[t] for t, _ in repair.unless if t in minutes]
    return repair.total + min(ways)


def _full(problem: Problem, minutes: float, access: tuple[int, ...], power: str) -> float:
    opening = math.fsum(problem.access_minutes[k] for k in set(access) - problem.opened)
    return minutes + opening + power_cost(problem, power)[int(problem.powered)]


def _knowing(problem: Problem, h: int) -> float:
    """Return what somebody who knows the hypothesis expects to spend at least."""
    mends = [_cover_minutes(problem, problem.hypotheses[h], bare) for bare in (False, True)]
    cures = [(t, chance) for t in problem.tests if (chance := cure_chance(t, h)) > 0.0]
    again = min([mends[1], *(t.minutes / chance for t, chance in cures)])
    first = [_full(problem, t.minutes, t.access, t.power) + (1 - c) * again for t, c in cures]
    return min([mends[0], *first])


def cure_chance(test: Test, h: int) -> float:
    """Return the chance that a test cures a hypothesis by itself."""
    return math.fsum(r.chance[h] for r in test.results if r.fixed)


def _cover_minutes(problem: Problem, faults: frozenset[str], bare: bool) -> float:
    """Return the dearest single fault's cheapest repair: a bound for the whole set."""
    return max(
        min(
            _bare(problem, r) if bare else _full(problem, _bare(problem, r), r.access, r.power)
            for r in problem.repairs
            if fault in r.fixes
        )
        for fault in faults
    )


def _arity(problem: Problem) -> int:
    return max([2, *(len(t.results) for t in problem.tests)])


def _groups(problem: Problem, p: Sequence[float]) -> list[float]:
    """Return the probability of groups that no single action can cure across."""
    label = list(range(len(p)))
    actions = [
        [h for h, faults in enumerate(problem.hypotheses) if faults & r.fixes]
        for r in problem.repairs
    ]
    actions += [[h for h in range(len(p)) if cure_chance(t, h) > 0.0] for t in problem.tests]
    for members in actions:
        merged = {label[h] for h in members}
        label = [min(merged) if k in merged else k for k in label]
    return [math.fsum(w for w, k in zip(p, label, strict=True) if k == g) for g in set(label)]


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
        self.cures = tuple(
            tuple(cure_chance(t, h) for h in range(len(self.weight))) for t in problem.tests
        )

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
        return self.weight[h] * math.prod(1.0 - self.cures[t][h] for t in done)

    def _cost(self, key: Key, access: tuple[int, ...], power: str, minutes: float) -> float:
        opening = math.fsum(self.problem.access_minutes[k] for k in set(access) - key[1])
        total = minutes + opening + power_cost(self.problem, power)[int(key[2])]
        return total * math.fsum(self._weight(h, key[3]) for h in key[0])

    def _repairs(self, key: Key, depth: int) -> list[float]:
        return [
            self._cost(key, r.access, r.power, r.total)
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
            curing = t not in key[3] and any(self.cures[t][h] > 0.0 for h in key[0])
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
