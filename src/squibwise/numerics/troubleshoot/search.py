"""Policies and what they are worth: what people do, rollout, and two-step look-ahead."""

from collections.abc import Callable, Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from squibwise.numerics.troubleshoot.states import (
    Array,
    Index,
    Model,
    States,
    after_repair,
    after_test,
    cost_of,
    cured_by,
    digit_of,
    first_of,
    joined,
    unlocking_cost,
)

Choose = Callable[[Model, States], tuple[Index, Array]]
Stop = Callable[[], bool]
Leaf = Callable[[States], Array]

_ROWS = 20_000


class OutOfBudget(Exception):  # noqa: N818 - not an error: the time box has ended
    """The time box ended before the answer was there. Raised and caught within the planner."""


class Budget:
    """Counts states looked at. A class because it is the one thing here that must be counted up.

    Args:
        states: Most states to look at; None for no limit.
        over: Asked now and then; True ends the work, such as a deadline that has passed.
    """

    def __init__(self, states: int | None = None, over: Stop | None = None) -> None:
        self.limit = states
        self.over = over
        self.states = 0
        self.tabled = 0

    def spend(self, states: int) -> None:
        """Count states.

        Raises:
            OutOfBudget: More than allowed, or the deadline has passed.
        """
        self.states += states
        if (self.limit is not None and self.states > self.limit) or (self.over and self.over()):
            raise OutOfBudget


def parts_first(model: Model, states: States) -> tuple[Array, Index]:
    """Return value and first action of repairing by chance over cost.

    Tests are done only where a repair waits for them, and then without heed of what they say.

    Source: kadane-simon-1977, with access and waits in the cost. Values are weighted by the
    chance of the state.
    """
    value = np.zeros(len(states.done))
    first = np.full(len(states.done), -1, dtype=np.int64)
    rows = np.flatnonzero(states.mass > 0.0)
    states = states.take(rows)
    while len(rows):
        cost, done, opened = unlocking_cost(model, states)
        cured = cured_by(model, states)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(cured > 0.0, cured / cost, -1.0)
        pick = np.argmax(ratio, axis=1)
        at = np.arange(len(rows)), pick
        value[rows] += states.mass * cost[at]
        new = first[rows] < 0
        first[rows] = np.where(new, first_of(model, states, pick), first[rows])
        states = msgspec.structs.replace(states, done=done[at], opened=opened[at])
        states = after_repair(model, states, pick)
        alive = states.mass > 0.0
        rows, states = rows[alive], states.take(alive)
    return value, first


def one_step(model: Model, states: States) -> tuple[Index, Array]:
    """Return the one-step choice in each state, and the value of repairing at once.

    Source: heckerman-breese-rommelse-1995 (from memory).
    """
    plain, choice = parts_first(model, states)
    best = plain.copy()
    value = test_values(model, states, lambda b: parts_first(model, b)[0])
    for t in range(model.tests):
        better = value[:, t] < best - 1e-15
        best = np.where(better, value[:, t], best)
        choice = np.where(better, t, choice)
    return choice, plain


def test_values(model: Model, states: States, leaf: Leaf) -> Array:
    """Return the value of each test and then ``leaf`` (state x test); infinite once done."""
    return _values(model, states, leaf, with_repairs=False)


test_values.__test__ = False  # type: ignore[attr-defined]


def values_by(model: Model, states: States, leaf: Leaf) -> Array:
    """Return the value of every action and then ``leaf`` (state x action).

    Infinite for a test that is done and for a repair that cures nothing.
    """
    return _values(model, states, leaf, with_repairs=True)


def _values(model: Model, states: States, leaf: Leaf, *, with_repairs: bool) -> Array:
    """Return the value of actions; what follows is looked up together, in large pieces."""
    count, repairs = len(states.done), len(model.minutes) - model.tests
    actions = model.tests + (repairs if with_repairs else 0)
    cost = cost_of(model, states)[:, :actions]
    if with_repairs:
        cost[:, model.tests :] = np.where(
            cured_by(model, states) > 0.0, cost[:, model.tests :], np.inf
        )
    finite = np.isfinite(cost)
    value = states.mass[:, None] * np.where(finite, cost, 0.0)
    value[:, : model.tests] += states.belief @ model.outcome_minutes.T
    parts = len(model.branches) + actions - model.tests
    step = max(1, _ROWS // max(1, parts))
    for begin in range(0, count, step):
        rows = np.arange(begin, min(count, begin + step))
        _add_after(model, states.take(rows), leaf, value[begin : begin + step], finite[rows])
    return np.where(finite, value, np.inf)


def _add_after(
    model: Model, states: States, leaf: Leaf, value: Array, finite: NDArray[np.bool_]
) -> None:
    """Add what follows each action to its value, in place."""
    children = [after_test(model, states, branch) for branch in model.branches]
    owner = [branch.test for branch in model.branches]
    for action in range(model.tests, value.shape[1]):
        repair = np.full(len(states.done), action - model.tests)
        children.append(after_repair(model, states, repair))
        owner.append(action)
    masked = [
        msgspec.structs.replace(c, belief=np.where(finite[:, o, None], c.belief, 0.0))
        for c, o in zip(children, owner, strict=True)
    ]
    if masked:
        for o, part in zip(owner, np.split(leaf(joined(masked)), len(masked)), strict=True):
            value[:, o] += part


def two_step(model: Model, states: States) -> Array:
    """Return the value of every action when one free choice follows and then parts first."""

    def plain(states: States) -> Array:
        return parts_first(model, states)[0]

    def ahead(states: States) -> Array:
        best: Array = values_by(model, states, plain).min(axis=1, initial=np.inf)
        out: Array = np.minimum(plain(states), best)
        return out

    return values_by(model, states, ahead)


def rollout(
    model: Model,
    states: States,
    budget: Budget,
    least: float = 1e-6,
    base: Choose = one_step,
) -> Array:
    """Return the value of every action when a policy follows.

    Args:
        model: The problem.
        states: States.
        budget: Ends the work by ``OutOfBudget``.
        least: States rarer than this are finished by ``parts_first``.
        base: The policy; the one-step policy unless another is better here.
    """
    return values_by(model, states, lambda b: policy_value(model, b, base, budget, least))


def policy_value(
    model: Model, states: States, choose: Choose, budget: Budget, least: float = 0.0
) -> Array:
    """Return the value of following a policy from each state; equal states are met once.

    Args:
        model: The problem.
        states: States, which must have the same number of actions done.
        choose: Returns an action per state and a value to use where the state is too rare.
        budget: Ends the work by ``OutOfBudget``.
        least: Chance below which a state is too rare to look at.
    """
    return np.asarray(_walked(model, states, choose, budget, least, None)[:, 0])


def policy_costs(
    model: Model, states: States, choose: Choose, least: float, charged: Sequence[Model]
) -> Array:
    """Return what following a policy costs in several kinds (state x kind).

    Args:
        model: The problem, by which the policy chooses.
        states: States, which must have the same number of actions done.
        choose: The policy.
        least: Chance below which a state is left out.
        charged: The same problem with other costs, one for each kind.
    """
    return _walked(model, states, choose, Budget(), least, charged)


def _walked(
    model: Model,
    states: States,
    choose: Choose,
    budget: Budget,
    least: float,
    charged: Sequence[Model] | None,
) -> Array:
    out = np.zeros((len(states.key), len(charged or (model,))))
    possible = states.mass > 0.0
    states = states.take(possible)
    keys, where, inverse = np.unique(states.key, return_index=True, return_inverse=True)
    met = states.take(where)
    budget.spend(len(keys))
    choice, plain = choose(model, met)
    value = np.zeros((len(keys), out.shape[1])) if charged else plain[:, None].copy()
    live = np.flatnonzero((met.mass > least) & (choice >= 0))
    if len(live):
        part, chosen = met.take(live), choice[live]
        kinds = [step_cost(c, part, chosen) for c in charged or (model,)]
        value[live] = np.stack(kinds, axis=1)
        children, owner = _children(model, part, chosen)
        then = _walked(model, children, choose, budget, least, charged)
        np.add.at(value, live[owner], then)
    out[possible] = value[inverse]
    return out


def step_cost(model: Model, states: States, choice: Index) -> Array:
    """Return what one action per state costs, weighted by the chance of the state."""
    minutes = model.minutes[choice] + model.access[choice, states.opened]
    value = states.mass * (minutes + model.power[choice, states.on])
    testing = np.flatnonzero(choice < model.tests)
    value[testing] += (states.belief[testing] * model.outcome_minutes[choice[testing]]).sum(axis=1)
    return np.asarray(value)


def _children(model: Model, states: States, choice: Index) -> tuple[States, Index]:
    """Return the states after one action per state, and the row that each comes from."""
    parts: list[States] = []
    owner: list[Index] = []
    for branch in model.branches:
        rows = np.flatnonzero(choice == branch.test)
        if len(rows):
            parts.append(after_test(model, states.take(rows), branch))
            owner.append(rows)
    rows = np.flatnonzero(choice >= model.tests)
    if len(rows):
        parts.append(after_repair(model, states.take(rows), choice[rows] - model.tests))
        owner.append(rows)
    return joined(parts), np.concatenate(owner)


# What people do, to compare with.


def by_parts(model: Model, states: States) -> tuple[Index, Array]:
    """Return the repair with the best chance over cost: no tests but those it waits for."""
    plain, first = parts_first(model, states)
    return first, plain


def by_information(sure: float) -> Choose:
    """Return the policy: most information per minute until one hypothesis is sure enough.

    Args:
        sure: Probability at which parts are fitted.
    """

    def choose(model: Model, states: States) -> tuple[Index, Array]:
        plain, choice = parts_first(model, states)
        gain = information(model, states)
        cost = cost_of(model, states)[:, : model.tests]
        rate = np.where(np.isfinite(cost), gain / np.maximum(cost, 1e-9), 0.0)
        testing = states.belief.max(axis=1) < sure * states.mass
        if model.tests:
            worth = testing & (rate.max(axis=1) > 1e-15)
            choice = np.where(worth, rate.argmax(axis=1), choice)
        return choice, plain

    return choose


def _entropy(states: States) -> Array:
    belief, mass = states.belief, states.mass
    logs = np.log2(belief, out=np.zeros_like(belief), where=belief > 0.0)
    total = np.log2(mass, out=np.zeros_like(mass), where=mass > 0.0)
    return np.asarray(mass * total - (belief * logs).sum(axis=1))


def outward(walk: Sequence[tuple[int, int]], checks: Sequence[int]) -> Choose:
    """Return the fixed tree: substitute from the device outward, then check, then likeliest part.

    Args:
        walk: Tests in order, each with the outcome (number among the open ones, from 1) that
            ends the walk.
        checks: Tests done after the walk, in order.
    """

    def choose(model: Model, states: States) -> tuple[Index, Array]:
        taken = (states.done[:, None] >> np.arange(model.tests, len(model.minutes))) & 1
        cured = np.where(taken, -1.0, cured_by(model, states))
        choice = first_of(model, states, cured.argmax(axis=1))
        for t in reversed(checks):
            choice = np.where(digit_of(model, states, t) == 0, t, choice)
        after_walk = choice
        for t, ends in reversed(walk):
            digit = digit_of(model, states, t)
            after_walk = np.where(digit == ends, choice, after_walk)
            after_walk = np.where(digit == 0, t, after_walk)
        return after_walk, np.zeros(len(choice))

    return choose


def cheapest_first(sure: float) -> Choose:
    """Return the policy: the cheapest test that tells anything, until one cause is sure enough.

    Args:
        sure: Probability at which parts are fitted.
    """

    def choose(model: Model, states: States) -> tuple[Index, Array]:
        plain, choice = parts_first(model, states)
        gain = information(model, states)
        cost = np.where(gain > 1e-9, cost_of(model, states)[:, : model.tests], np.inf)
        testing = states.belief.max(axis=1) < sure * states.mass
        if model.tests:
            worth = testing & np.isfinite(cost.min(axis=1))
            choice = np.where(worth, cost.argmin(axis=1), choice)
        return choice, plain

    return choose


def information(model: Model, states: States) -> Array:
    """Return the information of each test (state x test)."""
    gain = np.repeat(_entropy(states)[:, None], model.tests, axis=1)
    for branch in model.branches:
        gain[:, branch.test] -= _entropy(after_test(model, states, branch))
    return gain
