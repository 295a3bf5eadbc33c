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
    """

    test: int
    result: int
    digit: int
    chance: Array


class Model(msgspec.Struct, frozen=True, kw_only=True):
    """A problem's actions as arrays; tests come first, then repairs.

    Attributes:
        minutes: Of each action. [min]
        access: What opening still costs, by action and by the set that is open. [min]
        power: Wait and power-up, by action and by power at the start. [min]
        opens: Access clusters of each action, as bits.
        ends_on: Power after each action; -1 = as before.
        size: Number of digits of each action in the key of a state: not done, or which outcome.
        stride: Step of each action in the key of a state.
        faults: Faults of each hypothesis, as bits.
        mends: Faults that each repair removes, as bits.
        single: Positions of hypotheses with one fault.
        several: Positions of the others.
        cures: Single hypotheses cured by each repair (single x repair).
        outcome_minutes: What the outcomes of each test cost on top, by hypothesis. [min]
        gates: Tests that each repair waits for, in order.
        freed: Outcomes, as test and digit, that allow each repair without them.
        until: Tests that each repair waits for besides, while it is not believed in enough.
        enough: Outcomes, as test and digit, that end that.
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
    outcome_minutes: Array
    gates: tuple[tuple[int, ...], ...]
    freed: tuple[tuple[tuple[int, int], ...], ...]
    until: tuple[tuple[int, ...], ...]
    enough: tuple[tuple[tuple[int, int], ...], ...]

    @property
    def tests(self) -> int:
        """Number of tests."""
        return len(self.problem.tests)

    @property
    def waits_for(self) -> tuple[tuple[int, ...], ...]:
        """Every test that each repair may wait for, in order."""
        return tuple((*g, *u) for g, u in zip(self.gates, self.until, strict=True))


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
    powers = [t.power for t in problem.tests] + [r.power for r in problem.repairs]
    access = [t.access for t in problem.tests] + [r.access for r in problem.repairs]
    minutes = [t.minutes for t in problem.tests]
    minutes += [r.total for r in problem.repairs]
    branches = _branches(problem)
    single = np.flatnonzero(~several)
    return Model(
        problem=problem,
        minutes=np.array(minutes),
        access=np.stack([access_cost(problem, clusters) for clusters in access]),
        power=np.array([power_cost(problem, power) for power in powers]),
        opens=np.array([_bits(clusters) for clusters in access], dtype=np.int64),
        ends_on=np.array([_ENDS_ON[power] for power in powers], dtype=np.int64),
        size=(size := _sizes(problem)),
        stride=2 * np.cumprod([1, *size], dtype=np.int64)[:-1],
        branches=branches,
        faults=faults,
        mends=np.array(mends, dtype=np.int64),
        single=single,
        several=np.flatnonzero(several),
        cures=((faults[single, None] & ~np.array(mends, dtype=np.int64)) == 0).astype(np.float64),
        outcome_minutes=_outcome_minutes(problem),
        gates=tuple(_positions(problem, r.after) for r in problem.repairs),
        freed=tuple(_digits(problem, r.unless, branches) for r in problem.repairs),
        enough=tuple(_digits(problem, r.enough, branches) for r in problem.repairs),
        until=tuple(_positions(problem, r.until - r.after) for r in problem.repairs),
    )


_ENDS_ON = {"off": 0, "through": 1, "on": 1, "any": -1}


def _positions(problem: Problem, ids: frozenset[str]) -> tuple[int, ...]:
    return tuple(t for t, test in enumerate(problem.tests) if test.id in ids)


def _digits(
    problem: Problem, outcomes: frozenset[tuple[str, str]], branches: tuple[Branch, ...]
) -> tuple[tuple[int, int], ...]:
    """Return what is remembered of the branches that end in these outcomes: test and digit."""
    tests = problem.tests
    return tuple(
        (b.test, b.digit)
        for b in branches
        if (tests[b.test].id, tests[b.test].results[b.result].word) in outcomes
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
    if power == "any":
        return 0.0, 0.0
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
            out.append(Branch(test=t, result=i, digit=digit, chance=np.array(r.chance)))
    return tuple(out)


def _outcome_minutes(problem: Problem) -> Array:
    out = np.zeros((len(problem.tests), len(problem.hypotheses)))
    for t, test in enumerate(problem.tests):
        for result in test.results:
            out[t] += np.array(result.chance) * (result.minutes + result.wait)
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
    """Return what each action costs in each state (state x action).

    Infinite once it is done, and for a repair that waits for a test.
    """
    cost = model.minutes + model.access[:, states.opened].T + model.power[:, states.on].T
    taken = (states.done[:, None] >> np.arange(len(model.minutes))) & 1
    cost = np.where(taken, np.inf, cost)
    for r in np.flatnonzero([bool(g) for g in model.waits_for]):
        cost[locked(model, states, int(r)), model.tests + r] = np.inf
    return cost


def locked(model: Model, states: States, repair: int) -> NDArray[np.bool_]:
    """Return whether a repair still waits for a test, by state."""
    out = np.zeros(len(states.done), dtype=np.bool_)
    for t in model.gates[repair]:
        out |= (states.done >> t) & 1 == 0
    if model.until[repair]:
        believed = cured_by(model, states)[:, repair]
        doubtful = believed < model.problem.located * states.mass
        for t, digit in model.enough[repair]:
            doubtful &= digit_of(model, states, t) != digit
        for t in model.until[repair]:
            out |= doubtful & ((states.done >> t) & 1 == 0)
    for t, digit in model.freed[repair]:
        out &= digit_of(model, states, t) != digit
    return out


def digit_of(model: Model, states: States, t: int) -> Index:
    """Return which outcome a test had, from 1; 0 = not done."""
    return np.asarray(states.key // model.stride[t] % model.size[t], dtype=np.int64)


def unlocking_cost(model: Model, states: States) -> tuple[Array, Index, Index]:
    """Return what each repair costs with the tests it waits for, whatever these say.

    Returns:
        Minutes (state x repair), infinite once it is done; then, for each, the tests that were
        done for it as bits, and the access that is open afterwards.
    """
    count, repairs = len(states.done), len(model.gates)
    cost = np.zeros((count, repairs))
    done = np.repeat(states.done[:, None], repairs, axis=1)
    opened = np.repeat(states.opened[:, None], repairs, axis=1)
    on = np.repeat(states.on[:, None], repairs, axis=1)
    mass = np.maximum(states.mass, 1e-300)
    extra = states.belief @ model.outcome_minutes.T / mass[:, None]
    for r, gates in enumerate(model.waits_for):
        if not gates:
            continue
        waits = locked(model, states, r)
        if not waits.any():
            continue
        for t in gates:
            do = waits & ((done[:, r] >> t) & 1 == 0)
            here = model.minutes[t] + model.access[t][opened[:, r]] + model.power[t][on[:, r]]
            cost[:, r] += np.where(do, here + extra[:, t], 0.0)
            done[:, r] |= np.where(do, np.int64(1) << t, 0)
            opened[:, r] |= np.where(do, model.opens[t], 0)
            if model.ends_on[t] >= 0:
                on[:, r] = np.where(do, model.ends_on[t], on[:, r])
    acts = np.arange(model.tests, model.tests + repairs)[None, :]
    cost += model.minutes[acts] + model.access[acts, opened] + model.power[acts, on]
    taken = (states.done[:, None] >> acts) & 1
    return np.where(taken, np.inf, cost), done, opened


def first_of(model: Model, states: States, repair: Index) -> Index:
    """Return what comes first for a repair in each state: a test it waits for, or itself."""
    out = repair + model.tests
    for r, gates in enumerate(model.waits_for):
        rows = repair == r
        if not gates or not rows.any():
            continue
        waits = rows & locked(model, states, r)
        for t in reversed(gates):
            out = np.where(waits & ((states.done >> t) & 1 == 0), t, out)
    return np.asarray(out, dtype=np.int64)


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
    on = np.where(model.ends_on[action] < 0, states.on, model.ends_on[action])
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
