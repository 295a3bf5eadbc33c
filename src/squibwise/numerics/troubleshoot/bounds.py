"""What no plan can beat."""

import heapq
import math
from collections.abc import Callable, Sequence

import msgspec

from squibwise.numerics.troubleshoot.problem import Problem, Repair, Test, normalised
from squibwise.numerics.troubleshoot.relax import Relaxed
from squibwise.numerics.troubleshoot.table import power_cost


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


def lower_bound(problem: Problem, depth: int = 4) -> float:
    """Return minutes that every plan expects at least: the better of two bounds.

    One is the problem with tests that never err, some actions deep. The other is the cheapest
    cure of each hypothesis for somebody who knows it, plus the cheapest action for every step
    beyond the last that telling the hypotheses apart needs at least.

    Args:
        problem: The problem.
        depth: Actions that the first bound looks ahead; each costs about twice the last.
    """
    return max(_counting_bound(problem), Relaxed(problem, _clairvoyant(problem)).bound(depth))


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
    cheapest = min([t.minutes for t in problem.tests] + [_bare(r) for r in problem.repairs])
    return knowing + cheapest * max(0.0, steps - 1.0)


def _bare(repair: Repair) -> float:
    return repair.minutes + repair.check_minutes


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
            _bare(r) if bare else _full(problem, _bare(r), r.access, "through")
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
