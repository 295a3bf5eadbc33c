"""Exact answers: the value of every state at once, as arrays.

A state is (outcome of each test or none, set of repairs done, power). Beliefs, access and what is
still alive follow from it. States without a test left come first, then those with one left, and
so on; within them, more repairs before fewer. Values are weighted by the chance of the state.
"""

from collections.abc import Iterator

import msgspec
import numpy as np
from numpy.typing import NDArray

from squibwise.errors import ModelError
from squibwise.numerics.troubleshoot.problem import Problem, Repair, Test, normalised

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_ROWS = 512


class Table(msgspec.Struct, frozen=True, kw_only=True):
    """A problem as arrays over all its states.

    Attributes:
        problem: What was laid out.
        stride: Step of each test in the outcome index.
        left: Number of tests not yet done, by outcome index.
        done: Tests done as bits, by outcome index.
        likelihood: Prior times likelihood (outcome index x hypothesis).
        alive: Hypotheses that a set of repairs leaves open (set x hypothesis).
        mass: Chance of a state (outcome index x set).
        opened_by_tests: Access clusters as bits, by outcome index.
        opened_by_repairs: The same by set of repairs.
    """

    problem: Problem
    stride: tuple[int, ...]
    left: Index
    done: Index
    likelihood: Array
    alive: NDArray[np.bool_]
    mass: Array
    opened_by_tests: Index
    opened_by_repairs: Index

    @property
    def shape(self) -> tuple[int, int, int]:
        """Size of a value array: outcome index, set of repairs, power (0 off, 1 on)."""
        return self.mass.shape[0], self.mass.shape[1], 2


def state_count(problem: Problem) -> int:
    """Return how many states the table of a problem has."""
    count = 2 << len(problem.repairs)
    for test in problem.tests:
        count *= 1 + len(_open_results(test))
    return count


def _open_results(test: Test) -> list[int]:
    return [i for i, r in enumerate(test.results) if not r.fixed]


def lay_out(problem: Problem) -> Table:
    """Return the arrays of a problem."""
    stride, digits = _digits(problem)
    done = np.zeros(len(digits), dtype=np.int64)
    for t in range(len(problem.tests)):
        done |= (digits[:, t] > 0).astype(np.int64) << t
    likelihood, alive = _likelihood(problem), _alive(problem)
    start = _bits(sorted(problem.opened))
    return Table(
        problem=problem,
        stride=stride,
        left=len(problem.tests) - (digits > 0).sum(axis=1),
        done=done,
        likelihood=likelihood,
        alive=alive,
        mass=likelihood @ alive.T.astype(np.float64),
        opened_by_tests=start | _opened(done, [t.access for t in problem.tests]),
        opened_by_repairs=_opened(_sets(problem), [r.access for r in problem.repairs]),
    )


def _digits(problem: Problem) -> tuple[tuple[int, ...], Index]:
    sizes = [1 + len(_open_results(t)) for t in problem.tests]
    if not sizes:
        return (), np.zeros((1, 0), dtype=np.int64)
    stride = tuple(int(np.prod(sizes[i + 1 :], dtype=np.int64)) for i in range(len(sizes)))
    grids = np.indices(sizes).reshape(len(sizes), -1).T
    return stride, grids.astype(np.int64)


def _likelihood(problem: Problem) -> Array:
    rows = np.array([normalised(problem.weight)])
    for test in problem.tests:
        chances = [test.results[i].chance for i in _open_results(test)]
        factor = np.array([(1.0,) * len(problem.weight), *chances])
        rows = (rows[:, None, :] * factor[None, :, :]).reshape(-1, len(problem.weight))
    return rows


def _sets(problem: Problem) -> Index:
    return np.arange(1 << len(problem.repairs), dtype=np.int64)


def _alive(problem: Problem) -> NDArray[np.bool_]:
    sets = _sets(problem)
    out = np.zeros((len(sets), len(problem.hypotheses)), dtype=np.bool_)
    for h, faults in enumerate(problem.hypotheses):
        for fault in faults:
            menders = _bits([i for i, r in enumerate(problem.repairs) if fault in r.fixes])
            out[:, h] |= (sets & menders) == 0
    return out


def _bits(positions: list[int]) -> int:
    return sum(1 << k for k in positions)


def _opened(chosen: Index, access: list[tuple[int, ...]]) -> Index:
    opened = np.zeros_like(chosen)
    for i, clusters in enumerate(access):
        opened |= np.where((chosen >> i) & 1, _bits(list(clusters)), 0)
    return opened


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


def chunks(table: Table) -> Iterator[Index]:
    """Yield outcome indices, those with fewest tests left first, some hundred at a time."""
    for left in range(len(table.problem.tests) + 1):
        rows = np.flatnonzero(table.left == left)
        for start in range(0, len(rows), _ROWS):
            yield rows[start : start + _ROWS]


def _action_cost(
    table: Table, rows: Index, clusters: tuple[int, ...], power: str, minutes: float
) -> Array:
    opened = table.opened_by_tests[rows][:, None] | table.opened_by_repairs[None, :]
    base = access_cost(table.problem, clusters)[opened] + minutes
    cost: Array = base[:, :, None] + np.array(power_cost(table.problem, power))
    return cost


def test_value(table: Table, t: int, rows: Index, leaf: Array) -> Array:
    """Return the value of doing a test and then ``leaf``, where it is not done yet, else infinite.

    Args:
        table: The states.
        t: Position of the test.
        rows: Outcome indices.
        leaf: Value of every state.
    """
    out = np.full((len(rows), *table.shape[1:]), np.inf)
    free = np.flatnonzero((table.done[rows] >> t) & 1 == 0)
    test, at = table.problem.tests[t], rows[free]
    ends = 0 if test.power == "off" else 1
    cost = _action_cost(table, at, test.access, test.power, test.minutes)
    value = table.mass[at][:, :, None] * cost
    for position, i in enumerate(_open_results(test), start=1):
        then = at + position * table.stride[t]
        value += (leaf[then, :, ends] + table.mass[then] * test.results[i].minutes)[:, :, None]
    for result in test.results:
        if result.fixed and result.minutes:
            ended = (table.likelihood[at] * result.chance) @ table.alive.T.astype(np.float64)
            value += (ended * result.minutes)[:, :, None]
    out[free] = value
    return out


test_value.__test__ = False  # type: ignore[attr-defined]


def repair_value(table: Table, r: int, rows: Index, sets: Index, after: Array) -> Array:
    """Return the value of a repair and then ``after``, for sets of repairs that lack it.

    Args:
        table: The states.
        r: Position of the repair.
        rows: Outcome indices.
        sets: Sets of repairs without ``r``.
        after: Value of every set with the power on (rows x all sets).
    """
    repair = table.problem.repairs[r]
    minutes = repair.minutes + repair.check_minutes
    opened = table.opened_by_tests[rows][:, None] | table.opened_by_repairs[None, sets]
    base = access_cost(table.problem, repair.access)[opened] + minutes
    cost = base[:, :, None] + np.array(power_cost(table.problem, "through"))
    then = after[:, sets | (1 << r)]
    value: Array = table.mass[rows][:, sets, None] * cost + then[:, :, None]
    return value


def sets_by_size(repairs: tuple[Repair, ...]) -> list[Index]:
    """Return the sets of repairs as bits, largest sets first."""
    sets = np.arange(1 << len(repairs), dtype=np.int64)
    size = np.array([int(s).bit_count() for s in sets])
    return [sets[size == n] for n in range(len(repairs), -1, -1)]


def optimal(table: Table) -> Array:
    """Return the least expected minutes of every state, weighted by its chance."""
    value = np.zeros(table.shape)
    levels = sets_by_size(table.problem.repairs)
    for rows in chunks(table):
        best = np.full((len(rows), *table.shape[1:]), np.inf)
        for t in range(len(table.problem.tests)):
            np.minimum(best, test_value(table, t, rows, value), out=best)
        _sweep_repairs(table, rows, levels, best)
        value[rows] = best
    return value


def _sweep_repairs(table: Table, rows: Index, levels: list[Index], best: Array) -> None:
    """Take the better of a test and a repair, in place, largest sets of repairs first."""
    dead = table.mass[rows] == 0.0
    for sets in levels:
        for r in range(len(table.problem.repairs)):
            lacking = sets[(sets >> r) & 1 == 0]
            if len(lacking):
                value = repair_value(table, r, rows, lacking, best[:, :, 1])
                best[:, lacking] = np.minimum(best[:, lacking], value)
        block = best[:, sets]
        block[dead[:, sets]] = 0.0
        best[:, sets] = block


def action_values(table: Table, rows: Index, leaf: Array) -> Array:
    """Return the value of every action and then ``leaf``: tests first, then repairs."""
    out = [test_value(table, t, rows, leaf) for t in range(len(table.problem.tests))]
    sets = np.arange(table.shape[1], dtype=np.int64)
    for r in range(len(table.problem.repairs)):
        value = np.full((len(rows), *table.shape[1:]), np.inf)
        lacking = sets[(sets >> r) & 1 == 0]
        value[:, lacking] = repair_value(table, r, rows, lacking, leaf[rows][:, :, 1])
        out.append(value)
    return np.stack(out)


def start_of(table: Table) -> tuple[int, int, int]:
    """Return where a problem starts: nothing done, powered as it says."""
    return 0, 0, int(table.problem.powered)


def expected_minutes(table: Table, value: Array) -> float:
    """Return the expected minutes from the start."""
    return float(value[start_of(table)])


def refuse_large(problem: Problem, limit: int) -> None:
    """Raise when a table would have more states than allowed.

    Raises:
        ModelError: With the count.
    """
    count = state_count(problem)
    if count > limit:
        raise ModelError(f"{count} states are more than the limit of {limit}")
