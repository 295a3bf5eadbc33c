"""Exact answers: the value of every state at once, as arrays.

States without a test left come first, then those with one left, and so on; within them, more
repairs before fewer. Values are weighted by the chance of the state. Rows are the outcomes of the
tests, columns the sets of repairs: ``key // 2`` of a state is ``row + rows * set``.
"""

from collections.abc import Iterator

import msgspec
import numpy as np
from numpy.typing import NDArray

from squibwise.numerics.troubleshoot.problem import Problem, normalised
from squibwise.numerics.troubleshoot.states import Array, Index, Model, model_of

_ROWS = 512


class Table(msgspec.Struct, frozen=True, kw_only=True):
    """A problem as arrays over all its states.

    Attributes:
        model: Its actions.
        left: Number of tests not yet done, by row.
        done: Tests done as bits, by row.
        likelihood: Prior times likelihood (row x hypothesis).
        alive: Hypotheses that a set of repairs leaves open (set x hypothesis).
        mass: Chance of a state (row x set).
        opened_by_tests: Access clusters as bits, by row.
        opened_by_repairs: The same by set of repairs.
        by_size: Sets of repairs, the largest first.
        by_set: Every set of repairs, as bits.
    """

    model: Model
    left: Index
    done: Index
    likelihood: Array
    alive: NDArray[np.bool_]
    mass: Array
    opened_by_tests: Index
    opened_by_repairs: Index
    by_size: tuple[Index, ...]
    by_set: Index

    @property
    def shape(self) -> tuple[int, int, int]:
        """Size of a value array: row, set of repairs, power (0 off, 1 on)."""
        return self.mass.shape[0], self.mass.shape[1], 2

    def step(self, branch: int) -> int:
        """Return how many rows further an outcome of a test leads."""
        b = self.model.branches[branch]
        return int(b.digit * self.model.stride[b.test]) // 2


def lay_out(model: Model) -> Table:
    """Return the arrays of a problem over all its states."""
    problem, tests = model.problem, model.tests
    rows = np.arange(int(np.prod(model.size[:tests], dtype=np.int64)), dtype=np.int64)
    sets = np.arange(1 << len(problem.repairs), dtype=np.int64)
    done = np.zeros(len(rows), dtype=np.int64)
    for t in range(tests):
        done |= (rows // (model.stride[t] // 2) % model.size[t] > 0).astype(np.int64) << t
    likelihood, alive = _likelihood(model), _alive(model, sets)
    start = sum(1 << k for k in problem.opened)
    size = np.bitwise_count(sets)
    return Table(
        model=model,
        left=tests - np.bitwise_count(done).astype(np.int64),
        done=done,
        likelihood=likelihood,
        alive=alive,
        mass=likelihood @ alive.T.astype(np.float64),
        opened_by_tests=start | _opened(done, model.opens[:tests]),
        opened_by_repairs=_opened(sets, model.opens[tests:]),
        by_size=tuple(sets[size == n] for n in range(len(problem.repairs), -1, -1)),
        by_set=sets,
    )


def _likelihood(model: Model) -> Array:
    rows = np.array([normalised(model.problem.weight)])
    for t in range(model.tests):
        chances = [b.chance for b in model.branches if b.test == t]
        factor = np.array([np.ones(rows.shape[1]), *chances])
        rows = (factor[:, None, :] * rows[None, :, :]).reshape(-1, rows.shape[1])
    return rows


def _alive(model: Model, sets: Index) -> NDArray[np.bool_]:
    mended = np.zeros(len(sets), dtype=np.int64)
    for r, bits in enumerate(model.mends):
        mended |= np.where((sets >> r) & 1, bits, 0)
    return np.asarray((model.faults[None, :] & ~mended[:, None]) != 0)


def _opened(chosen: Index, opens: Index) -> Index:
    opened = np.zeros_like(chosen)
    for i, clusters in enumerate(opens):
        opened |= np.where((chosen >> i) & 1, clusters, 0)
    return opened


def chunks(table: Table) -> Iterator[Index]:
    """Yield rows, those with fewest tests left first, some hundred at a time."""
    for left in range(table.model.tests + 1):
        rows = np.flatnonzero(table.left == left)
        for start in range(0, len(rows), _ROWS):
            yield rows[start : start + _ROWS]


def _action_cost(table: Table, action: int, rows: Index, sets: Index) -> Array:
    """Return the cost of an action by row, set and power."""
    model = table.model
    opened = table.opened_by_tests[rows][:, None] | table.opened_by_repairs[None, sets]
    base = model.access[action][opened] + model.minutes[action]
    cost: Array = base[:, :, None] + model.power[action]
    return cost


def test_value(table: Table, t: int, rows: Index, leaf: Array) -> Array:
    """Return the value of doing a test and then ``leaf``, where it is not done yet, else infinite.

    Args:
        table: The states.
        t: Position of the test.
        rows: Rows.
        leaf: Value of every state.
    """
    model = table.model
    out = np.full((len(rows), *table.shape[1:]), np.inf)
    free = np.flatnonzero((table.done[rows] >> t) & 1 == 0)
    at = rows[free]
    value = table.mass[at][:, :, None] * _action_cost(table, t, at, table.by_set)
    for b, branch in enumerate(model.branches):
        if branch.test == t:
            then = at + table.step(b)
            ends = int(model.ends_on[t])
            more = leaf[then] if ends < 0 else leaf[then, :, ends][:, :, None]
            value += more
    extra = model.outcome_minutes[t]
    if extra.any():
        value += ((table.likelihood[at] * extra) @ table.alive.T.astype(np.float64))[:, :, None]
    out[free] = value
    return out


test_value.__test__ = False  # type: ignore[attr-defined]


def repair_value(table: Table, r: int, rows: Index, sets: Index, after: Array) -> Array:
    """Return the value of a repair and then ``after``, for sets of repairs that lack it.

    Args:
        table: The states.
        r: Position of the repair.
        rows: Rows.
        sets: Sets of repairs without ``r``.
        after: Value of every set with the power on (rows x all sets).
    """
    cost = _action_cost(table, table.model.tests + r, rows, sets)
    then = after[:, sets | (1 << r)]
    value: Array = table.mass[rows][:, sets, None] * cost + then[:, :, None]
    waits = _waiting(table, r, rows, sets)
    if waits.any():
        value[waits] = np.inf
    return value


def _waiting(table: Table, r: int, rows: Index, sets: Index) -> NDArray[np.bool_]:
    """Return whether a repair still waits for a test, by row and set of repairs."""
    model = table.model
    out = np.zeros((len(rows), len(sets)), dtype=np.bool_)
    for t in model.gates[r]:
        out |= ((table.done[rows] >> t) & 1 == 0)[:, None]
    if model.until[r]:
        cured = table.alive[sets] & ~table.alive[sets | (1 << r)]
        believed = table.likelihood[rows] @ cured.T.astype(np.float64)
        doubtful = believed < model.problem.located * table.mass[rows][:, sets]
        for t, digit in model.enough[r]:
            doubtful &= (rows // (model.stride[t] // 2) % model.size[t] != digit)[:, None]
        for t in model.until[r]:
            out |= doubtful & ((table.done[rows] >> t) & 1 == 0)[:, None]
    for t, digit in model.freed[r]:
        out &= (rows // (model.stride[t] // 2) % model.size[t] != digit)[:, None]
    return out


def least_minutes(table: Table) -> Array:
    """Return the least expected minutes of every state, weighted by its chance."""
    value = np.zeros(table.shape)
    for rows in chunks(table):
        best = np.full((len(rows), *table.shape[1:]), np.inf)
        for t in range(table.model.tests):
            np.minimum(best, test_value(table, t, rows, value), out=best)
        _sweep_repairs(table, rows, best)
        value[rows] = best
    return value


def _sweep_repairs(table: Table, rows: Index, best: Array) -> None:
    """Take the better of a test and a repair, in place, largest sets of repairs first."""
    dead = table.mass[rows] == 0.0
    for sets in table.by_size:
        for r in range(len(table.model.problem.repairs)):
            lacking = sets[(sets >> r) & 1 == 0]
            if len(lacking):
                value = repair_value(table, r, rows, lacking, best[:, :, 1])
                best[:, lacking] = np.minimum(best[:, lacking], value)
        block = best[:, sets]
        block[dead[:, sets]] = 0.0
        best[:, sets] = block


def action_values(table: Table, rows: Index, leaf: Array) -> Array:
    """Return the value of every action and then ``leaf``: tests first, then repairs."""
    out = [test_value(table, t, rows, leaf) for t in range(table.model.tests)]
    for r in range(len(table.model.problem.repairs)):
        value = np.full((len(rows), *table.shape[1:]), np.inf)
        lacking = table.by_set[(table.by_set >> r) & 1 == 0]
        value[:, lacking] = repair_value(table, r, rows, lacking, leaf[rows][:, :, 1])
        out.append(value)
    return np.stack(out)


def expected_minutes(table: Table, value: Array) -> float:
    """Return the expected minutes from the start: nothing done, powered as the problem says."""
    return float(value[0, 0, int(table.model.problem.powered)])


def solve(problem: Problem) -> tuple[Table, Array]:
    """Return the table of a problem and the least expected minutes of its states."""
    table = lay_out(model_of(problem))
    return table, least_minutes(table)
