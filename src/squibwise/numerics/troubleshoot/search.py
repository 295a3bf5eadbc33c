"""Good answers where the exact one is too large: rollout, and two-step look-ahead as fallback."""

from collections.abc import Callable

import msgspec
import numpy as np
from numpy.typing import NDArray

from squibwise.numerics.troubleshoot.sheet import (
    Array,
    Batch,
    Index,
    Sheet,
    after_repair,
    after_test,
    cost_of,
    cured_by,
    joined,
)

Choose = Callable[[Sheet, Batch], tuple[Index, Array]]
Stop = Callable[[], bool]
Leaf = Callable[[Batch], Array]

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


def parts_first(sheet: Sheet, batch: Batch) -> tuple[Array, Index]:
    """Return value and first repair of repairing by chance over cost, without tests.

    Source: kadane-simon-1977, with access and waits in the cost. Values are weighted by the
    chance of the state.
    """
    value = np.zeros(len(batch.done))
    first = np.full(len(batch.done), -1, dtype=np.int64)
    rows = np.flatnonzero(batch.mass > 0.0)
    batch = batch.take(rows)
    while len(rows):
        cost = cost_of(sheet, batch)[:, sheet.tests :]
        cured = cured_by(sheet, batch)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(cured > 0.0, cured / cost, -1.0)
        pick = np.argmax(ratio, axis=1)
        value[rows] += batch.mass * cost[np.arange(len(rows)), pick]
        first[rows] = np.where(first[rows] < 0, pick + sheet.tests, first[rows])
        batch = after_repair(sheet, batch, pick)
        alive = batch.mass > 0.0
        rows, batch = rows[alive], batch.take(alive)
    return value, first


def one_step(sheet: Sheet, batch: Batch) -> tuple[Index, Array]:
    """Return the one-step choice in each state, and the value of repairing at once.

    Source: heckerman-breese-rommelse-1995 (from memory).
    """
    plain, choice = parts_first(sheet, batch)
    best = plain.copy()
    value = test_values(sheet, batch, lambda b: parts_first(sheet, b)[0])
    for t in range(sheet.tests):
        better = value[:, t] < best - 1e-15
        best = np.where(better, value[:, t], best)
        choice = np.where(better, t, choice)
    return choice, plain


def test_values(sheet: Sheet, batch: Batch, leaf: Leaf) -> Array:
    """Return the value of each test and then ``leaf`` (state x test); infinite once done."""
    return _values(sheet, batch, leaf, with_repairs=False)


test_values.__test__ = False  # type: ignore[attr-defined]


def values_by(sheet: Sheet, batch: Batch, leaf: Leaf) -> Array:
    """Return the value of every action and then ``leaf`` (state x action).

    Infinite for a test that is done and for a repair that cures nothing.
    """
    return _values(sheet, batch, leaf, with_repairs=True)


def _values(sheet: Sheet, batch: Batch, leaf: Leaf, *, with_repairs: bool) -> Array:
    """Return the value of actions; what follows is looked up together, in large pieces."""
    count, repairs = len(batch.done), len(sheet.minutes) - sheet.tests
    actions = sheet.tests + (repairs if with_repairs else 0)
    cost = cost_of(sheet, batch)[:, :actions]
    if with_repairs:
        cost[:, sheet.tests :] = np.where(
            cured_by(sheet, batch) > 0.0, cost[:, sheet.tests :], np.inf
        )
    finite = np.isfinite(cost)
    value = batch.mass[:, None] * np.where(finite, cost, 0.0)
    value[:, : sheet.tests] += batch.belief @ sheet.ended_minutes.T
    parts = len(sheet.branches) + actions - sheet.tests
    step = max(1, _ROWS // max(1, parts))
    for begin in range(0, count, step):
        rows = np.arange(begin, min(count, begin + step))
        _add_after(sheet, batch.take(rows), leaf, value[begin : begin + step], finite[rows])
    return np.where(finite, value, np.inf)


def _add_after(
    sheet: Sheet, batch: Batch, leaf: Leaf, value: Array, finite: NDArray[np.bool_]
) -> None:
    """Add what follows each action to its value, in place."""
    children = [after_test(sheet, batch, branch) for branch in sheet.branches]
    owner = [branch.test for branch in sheet.branches]
    for action in range(sheet.tests, value.shape[1]):
        repair = np.full(len(batch.done), action - sheet.tests)
        children.append(after_repair(sheet, batch, repair))
        owner.append(action)
    masked = [
        msgspec.structs.replace(c, belief=np.where(finite[:, o, None], c.belief, 0.0))
        for c, o in zip(children, owner, strict=True)
    ]
    for branch in sheet.branches:
        value[:, branch.test] += (batch.belief @ branch.chance) * branch.minutes
    if masked:
        for o, part in zip(owner, np.split(leaf(joined(masked)), len(masked)), strict=True):
            value[:, o] += part


def two_step(sheet: Sheet, batch: Batch) -> Array:
    """Return the value of every action when one free choice follows and then parts first."""

    def plain(states: Batch) -> Array:
        return parts_first(sheet, states)[0]

    def ahead(states: Batch) -> Array:
        best: Array = values_by(sheet, states, plain).min(axis=1, initial=np.inf)
        out: Array = np.minimum(plain(states), best)
        return out

    return values_by(sheet, batch, ahead)


def rollout(sheet: Sheet, batch: Batch, budget: Budget, least: float = 1e-6) -> Array:
    """Return the value of every action when the one-step policy follows.

    Args:
        sheet: The problem.
        batch: States.
        budget: Ends the work by ``OutOfBudget``.
        least: States rarer than this are finished by ``parts_first``.
    """
    return values_by(sheet, batch, lambda b: policy_value(sheet, b, one_step, budget, least))


def policy_value(
    sheet: Sheet, batch: Batch, choose: Choose, budget: Budget, least: float = 0.0
) -> Array:
    """Return the value of following a policy from each state; equal states are met once.

    Args:
        sheet: The problem.
        batch: States, which must have the same number of actions done.
        choose: Returns an action per state and a value to use where the state is too rare.
        budget: Ends the work by ``OutOfBudget``.
        least: Chance below which a state is too rare to look at.
    """
    keys, where, inverse = np.unique(batch.key, return_index=True, return_inverse=True)
    states = batch.take(where)
    budget.spend(len(keys))
    choice, plain = choose(sheet, states)
    value = plain.copy()
    live = np.flatnonzero((states.mass > least) & (choice >= 0))
    if len(live):
        value[live] = _follow(sheet, states.take(live), choice[live], choose, budget, least)
    blank = batch.mass <= 0.0
    return np.asarray(np.where(blank, 0.0, value[inverse]))


def _follow(
    sheet: Sheet, batch: Batch, choice: Index, choose: Choose, budget: Budget, least: float
) -> Array:
    """Return the value of one action per state and then the policy."""
    cost = cost_of(sheet, batch)[np.arange(len(choice)), choice]
    value = batch.mass * cost
    parts: list[Batch] = []
    owner: list[Index] = []
    for branch in sheet.branches:
        rows = np.flatnonzero(choice == branch.test)
        if len(rows):
            value[rows] += (batch.belief[rows] @ branch.chance) * branch.minutes
            parts.append(after_test(sheet, batch.take(rows), branch))
            owner.append(rows)
    testing = np.flatnonzero(choice < sheet.tests)
    value[testing] += (batch.belief[testing] * sheet.ended_minutes[choice[testing]]).sum(axis=1)
    rows = np.flatnonzero(choice >= sheet.tests)
    if len(rows):
        parts.append(after_repair(sheet, batch.take(rows), choice[rows] - sheet.tests))
        owner.append(rows)
    then = policy_value(sheet, _alive(joined(parts)), choose, budget, least)
    np.add.at(value, np.concatenate(owner)[joined(parts).mass > 0.0], then)
    return value


def _alive(batch: Batch) -> Batch:
    return batch.take(batch.mass > 0.0)
