"""States of a search: a problem as arrays, and what an action costs and leads to.

A state is (outcome of each test or none, set of repairs done, power). Beliefs, access and what is
still alive follow from it. One number tells states apart: power, then the outcomes of the tests,
then the repairs, each in its own base. ``exact`` counts through all of them, ``search`` looks at a
handful at a time.
"""

import math
from collections.abc import Iterable

import msgspec
import numpy as np
from numpy.typing import NDArray

from squibwise.numerics.troubleshoot.problem import Problem, normalised

Array = NDArray[np.float64]
Index = NDArray[np.int64]


class Branch(msgspec.Struct, frozen=True, kw_only=True):
    """One outcome of a test that leaves something to do.

    Attributes:
        test: Position of the test.
        result: Position of the outcome within the test.
        digit: Its number among the outcomes that leave something to do, from 1.
        chance: Probability by hypothesis.
        minutes: What the outcome costs on top.
    """

    test: int
    result: int
    digit: int
    chance: Array
    minutes: float


class Model(msgspec.Struct, frozen=True, kw_only=True):
    """A problem's actions as arrays; tests come first, then repairs.

    Attributes:
        minutes: Of each action. [min]
        access: What opening still costs, by action and by the set that is open. [min]
        power: Wait and power-up, by action and by power at the start. [min]
        opens: Access clusters of each action, as bits.
        ends_on: Power after each action.
        size: Number of digits of each action in the key of a state: not done, or which outcome.
        stride: Step of each action in the key of a state.
        faults: Faults of each hypothesis, as bits.
        mends: Faults that each repair removes, as bits.
        single: Positions of hypotheses with one fault.
        several: Positions of the others.
        cures: Single hypotheses cured by each repair (single x repair).
        ended_minutes: Minutes of outcomes that end it, by test and hypothesis.
    """

    problem: Problem
    minutes: Array
    access: Array
    power: Array
    opens: Index
    ends_on: Index
    size: Index
    stride: Index
    branches: tuple[Branch, ...]
    faults: Index
    mends: Index
    single: Index
    several: Index
    cures: Array
    ended_minutes: Array

    @property
    def tests(self) -> int:
        """Number of tests."""
        return len(self.problem.tests)


class States(msgspec.Struct, frozen=True, kw_only=True):
    """Some states.

    Attributes:
        belief: Weight of each hypothesis, zero once cured (state x hypothesis).
        done: Actions done, as bits.
        mended: Faults removed, as bits.
        opened: Access clusters open, as bits.
        on: Power, 0 or 1.
        key: Number that tells states apart.
    """

    belief: Array
    done: Index
    mended: Index
    opened: Index
    on: Index
    key: Index

    def take(self, rows: Index | NDArray[np.bool_]) -> "States":
        """Return some of the states."""
        fields = ("belief", "done", "mended", "opened", "on", "key")
        return States(**{name: getattr(self, name)[rows] for name in fields})

    @property
    def mass(self) -> Array:
        """Chance of each state."""
        return np.asarray(self.belief.sum(axis=1))


def model_of(problem: Problem) -> Model:
    """Return the arrays of a problem."""
    names = {f: i for i, f in enumerate(sorted(frozenset[str]().union(*problem.hypotheses)))}
    faults = np.array([_bits(names[f] for f in h) for h in problem.hypotheses], dtype=np.int64)
    mends = [_bits(names[f] for f in r.fixes if f in names) for r in problem.repairs]
    several = np.array([len(h) > 1 for h in problem.hypotheses])
    powers = [t.power for t in problem.tests] + ["through" for _ in problem.repairs]
    access = [t.access for t in problem.tests] + [r.access for r in problem.repairs]
    minutes = [t.minutes for t in problem.tests]
    minutes += [r.minutes + r.check_minutes for r in problem.repairs]
    single = np.flatnonzero(~several)
    return Model(
        problem=problem,
        minutes=np.array(minutes),
        access=np.stack([access_cost(problem, clusters) for clusters in access]),
        power=np.array([power_cost(problem, power) for power in powers]),
        opens=np.array([_bits(clusters) for clusters in access], dtype=np.int64),
        ends_on=np.array([power != "off" for power in powers], dtype=np.int64),
        size=(size := _sizes(problem)),
        stride=2 * np.cumprod([1, *size], dtype=np.int64)[:-1],
        branches=_branches(problem),
        faults=faults,
        mends=np.array(mends, dtype=np.int64),
        single=single,
        several=np.flatnonzero(several),
        cures=((faults[single, None] & ~np.array(mends, dtype=np.int64)) == 0).astype(np.float64),
        ended_minutes=_ended_minutes(problem),
    )


def _bits(positions: Iterable[int]) -> int:
    return sum(1 << k for k in set(positions))


def _sizes(problem: Problem) -> Index:
    sizes = [1 + sum(not r.fixed for r in t.results) for t in problem.tests]
    return np.array(sizes + [2] * len(problem.repairs), dtype=np.int64)


def state_count(problem: Problem) -> int:
    """Return how many states a problem has."""
    return 2 * math.prod(int(size) for size in _sizes(problem))


def access_cost(problem: Problem, clusters: tuple[int, ...]) -> Array:
    """Return what opening these clusters still costs in minutes, by the set that is open."""
    opened = np.arange(1 << len(problem.access_minutes), dtype=np.int64)
    cost = np.zeros(len(opened))
    for k in clusters:
        cost += np.where((opened >> k) & 1, 0.0, problem.access_minutes[k])
    return cost


def power_cost(problem: Problem, power: str) -> tuple[float, float]:
    """Return wait and power-up of an action, in minutes, started with the power off and on."""
    if power == "off":
        return 0.0, problem.wait_minutes
    if power == "through":
        return problem.power_up_minutes, problem.wait_minutes + problem.power_up_minutes
    return problem.power_up_minutes, 0.0


def _branches(problem: Problem) -> tuple[Branch, ...]:
    out = []
    for t, test in enumerate(problem.tests):
        left = [(i, r) for i, r in enumerate(test.results) if not r.fixed]
        for digit, (i, r) in enumerate(left, start=1):
            chance = np.array(r.chance)
            branch = Branch(test=t, result=i, digit=digit, chance=chance, minutes=r.minutes)
            out.append(branch)
    return tuple(out)


def _ended_minutes(problem: Problem) -> Array:
    out = np.zeros((len(problem.tests), len(problem.hypotheses)))
    for t, test in enumerate(problem.tests):
        for result in test.results:
            if result.fixed:
                out[t] += np.array(result.chance) * result.minutes
    return out


def start(model: Model) -> States:
    """Return the first state of a problem, as a batch of one."""
    zero = np.zeros(1, dtype=np.int64)
    on = np.array([int(model.problem.powered)])
    return States(
        belief=np.array([normalised(model.problem.weight)]),
        done=zero,
        mended=zero,
        opened=np.array([_bits(model.problem.opened)], dtype=np.int64),
        on=on,
        key=on.copy(),
    )


def cost_of(model: Model, states: States) -> Array:
    """Return what each action costs in each state; infinite once it is done (state x action)."""
    cost = model.minutes + model.access[:, states.opened].T + model.power[:, states.on].T
    taken = (states.done[:, None] >> np.arange(len(model.minutes))) & 1
    return np.where(taken, np.inf, cost)


def cured_by(model: Model, states: States) -> Array:
    """Return the weight that each repair cures in each state (state x repair)."""
    cured = states.belief[:, model.single] @ model.cures
    for h in model.several:
        rest = model.faults[h] & ~states.mended
        cures = (rest[:, None] & ~model.mends[None, :]) == 0
        cured += states.belief[:, h, None] * cures
    return np.asarray(cured)


def after_repair(model: Model, states: States, repair: Index) -> States:
    """Return the states after one repair each that did not help."""
    action = repair + model.tests
    mended = states.mended | model.mends[repair]
    dead = (model.faults[None, :] & ~mended[:, None]) == 0
    return _moved(model, states, action, np.where(dead, 0.0, states.belief), mended, 1)


def after_test(model: Model, states: States, branch: Branch) -> States:
    """Return the states after one outcome of a test."""
    action = np.full(len(states.done), branch.test)
    belief = states.belief * branch.chance
    return _moved(model, states, action, belief, states.mended, branch.digit)


def _moved(
    model: Model, states: States, action: Index, belief: Array, mended: Index, digit: int
) -> States:
    on = model.ends_on[action]
    return States(
        belief=belief,
        done=states.done | (np.int64(1) << action),
        mended=mended,
        opened=states.opened | model.opens[action],
        on=on,
        key=states.key - states.on + on + digit * model.stride[action],
    )


def joined(parts: list[States]) -> States:
    """Return several parts as one."""
    fields = ("belief", "done", "mended", "opened", "on", "key")
    return States(**{f: np.concatenate([getattr(b, f) for b in parts]) for f in fields})
