"""Good answers where the exact one is too large: rollout, and two-step look-ahead as fallback."""

from collections.abc import Callable

import msgspec
import numpy as np

from squibwise.numerics.troubleshoot.sheet import (
    Array,
    Batch,
    Branch,
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


def test_values(sheet: Sheet, batch: Batch, leaf: Callable[[Batch], Array]) -> Array:
    """Return the value of each test and then ``leaf`` (state x test); infinite once done."""
    cost = cost_of(sheet, batch)[:, : sheet.tests]
    finite = np.where(np.isfinite(cost), cost, 0.0)
    value = batch.mass[:, None] * finite + batch.belief @ sheet.ended_minutes.T
    for branch, then in zip(sheet.branches, _after_all(sheet, batch, leaf), strict=True):
        value[:, branch.test] += then + (batch.belief @ branch.chance) * branch.minutes
    return np.where(np.isfinite(cost), value, np.inf)


test_values.__test__ = False  # type: ignore[attr-defined]


def _after_all(sheet: Sheet, batch: Batch, leaf: Callable[[Batch], Array]) -> list[Array]:
    """Return the leaf value after every branch, computed together in large pieces."""
    count = len(batch.done)
    out = [np.zeros(count) for _ in sheet.branches]
    step = max(1, _ROWS // max(1, len(sheet.branches)))
    for begin in range(0, count, step):
        rows = np.arange(begin, min(count, begin + step))
        piece = batch.take(rows)
        value = leaf(joined([_masked(sheet, piece, b) for b in sheet.branches]))
        for i, part in enumerate(np.split(value, len(sheet.branches))):
            out[i][rows] = part
    return out


def _masked(sheet: Sheet, batch: Batch, branch: Branch) -> Batch:
    """Return the states after a branch, without weight where the test is done already."""
    after = after_test(sheet, batch, branch)
    done = (batch.done >> branch.test) & 1 == 1
    return msgspec.structs.replace(after, belief=np.where(done[:, None], 0.0, after.belief))


def repair_values(sheet: Sheet, batch: Batch, leaf: Callable[[Batch], Array]) -> Array:
    """Return the value of each repair and then ``leaf``; infinite where it cures nothing."""
    cost, cured = cost_of(sheet, batch)[:, sheet.tests :], cured_by(sheet, batch)
    out = np.full(cost.shape, np.inf)
    for r in range(cost.shape[1]):
        rows = np.flatnonzero((cured[:, r] > 0.0) & np.isfinite(cost[:, r]))
        if len(rows):
            after = after_repair(sheet, batch.take(rows), np.full(len(rows), r))
            out[rows, r] = batch.mass[rows] * cost[rows, r] + leaf(after)
    return out


def values_by(sheet: Sheet, batch: Batch, leaf: Callable[[Batch], Array]) -> Array:
    """Return the value of every action and then ``leaf`` (state x action)."""
    tests = test_values(sheet, batch, leaf) if sheet.branches else np.zeros((len(batch.done), 0))
    return np.concatenate([tests, repair_values(sheet, batch, leaf)], axis=1)


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
