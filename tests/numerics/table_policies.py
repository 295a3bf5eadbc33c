"""Policies worked out over every state of a table at once: a second way, to check the search."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from squibwise.numerics.troubleshoot.exact import (
    Table,
    action_values,
    chunks,
    repair_value,
    test_value,
)
from squibwise.numerics.troubleshoot.states import Array, Index

Choice = NDArray[np.int8]


def parts_first(table: Table) -> tuple[Array, Choice]:
    """Return value and choice of repairing by chance over cost, without any test.

    Source: kadane-simon-1977; with access and waits in the cost, which its proof does not cover.
    """
    value, choice = np.zeros(table.shape), np.zeros(table.shape, dtype=np.int8)
    levels = table.by_size
    for rows in chunks(table):
        block, picked = np.zeros((len(rows), *table.shape[1:])), choice[rows]
        for sets in levels:
            _pick_part(table, rows, sets, block, picked)
        value[rows], choice[rows] = block, picked
    return value, choice


def _pick_part(table: Table, rows: Index, sets: Index, block: Array, picked: Choice) -> None:
    best = np.full((len(rows), len(sets), 2), -np.inf)
    for r in range(len(table.model.problem.repairs)):
        lacking = np.flatnonzero((sets >> r) & 1 == 0)
        if not len(lacking):
            continue
        at = sets[lacking]
        value = repair_value(table, r, rows, at, block[:, :, 1])
        mass, after = table.mass[rows][:, at], table.mass[rows][:, at | (1 << r)]
        cost = value - block[:, at | (1 << r), 1][:, :, None]
        cured = np.maximum(mass - after, 0.0)[:, :, None]
        ratio = np.divide(cured, cost, out=np.zeros_like(cost), where=cost > 0.0)
        ratio = np.where((cost <= 0.0) & (cured > 0.0), np.inf, ratio)
        better = (ratio > best[:, lacking]) & (mass > 0.0)[:, :, None]
        _put(block, at, better, value)
        _put(picked, at, better, np.full(value.shape, r + len(table.model.problem.tests)))
        best[:, lacking] = np.where(better, ratio, best[:, lacking])


def _put(into: NDArray[np.generic], at: Index, where: NDArray[np.bool_], value: Array) -> None:
    into[:, at] = np.where(where, value, into[:, at])


def choose_by(table: Table, leaf: Array) -> Choice:
    """Return the action with the least cost when ``leaf`` follows it."""
    choice = np.zeros(table.shape, dtype=np.int8)
    for rows in chunks(table):
        choice[rows] = np.argmin(action_values(table, rows, leaf), axis=0)
    return choice


def one_step(table: Table, plain: Array, first: Choice) -> Choice:
    """Return the choice of the one-step policy: a test only where repairing after it pays.

    Args:
        table: The states.
        plain: Value of ``parts_first``.
        first: Choice of ``parts_first``.

    Source: heckerman-breese-rommelse-1995 (from memory): test when its cost and the expected
    cost of repair after it are below the cost of repair now; else do the next repair.
    """
    choice = first.copy()
    for rows in chunks(table):
        best = plain[rows].copy()
        for t in range(len(table.model.problem.tests)):
            value = test_value(table, t, rows, plain)
            better = value < best - 1e-15
            best = np.where(better, value, best)
            choice[rows] = np.where(better, t, choice[rows])
    return choice


def two_step(table: Table, plain: Array) -> Choice:
    """Return the best choice when one more free choice follows and then ``parts_first``."""
    ahead = plain.copy()
    for rows in chunks(table):
        ahead[rows] = np.minimum(plain[rows], action_values(table, rows, plain).min(axis=0))
    return choose_by(table, ahead)


def by_information(table: Table, first: Choice, sure: float) -> Choice:
    """Return tests by information per minute until one repair is sure enough, then repairs.

    Args:
        table: The states.
        first: Choice of ``parts_first``.
        sure: Stop testing when one hypothesis has this probability.
    """
    choice = first.copy()
    free, entropy, top = np.zeros(table.shape), _entropy(table), _likeliest(table)
    for rows in chunks(table):
        best = np.zeros((len(rows), *table.shape[1:]))
        testing = (top[rows] < sure * table.mass[rows])[:, :, None]
        for t in range(len(table.model.problem.tests)):
            gain = _gain(table, t, rows, entropy)[:, :, None]
            cost = test_value(table, t, rows, free)
            payable = np.isfinite(cost) & (cost > 0.0)
            rate = np.divide(gain, cost, out=np.zeros_like(cost), where=payable)
            better = (rate > best + 1e-15) & testing
            choice[rows] = np.where(better, t, choice[rows])
            best = np.where(better, rate, best)
    return choice


def _entropy(table: Table) -> Array:
    """Return entropy times mass of every state, in bits."""
    weight, alive = table.likelihood, table.alive.T.astype(np.float64)
    logs = np.log2(weight, out=np.zeros_like(weight), where=weight > 0.0)
    total = np.log2(table.mass, out=np.zeros_like(table.mass), where=table.mass > 0.0)
    return np.asarray(table.mass * total - (weight * logs) @ alive)


def _likeliest(table: Table) -> Array:
    """Return the weight of the likeliest hypothesis that is still alive."""
    top = np.zeros_like(table.mass)
    for h in range(table.alive.shape[1]):
        np.maximum(top, table.likelihood[:, h, None] * table.alive[None, :, h], out=top)
    return top


def _gain(table: Table, t: int, rows: Index, entropy: Array) -> Array:
    gain = entropy[rows].copy()
    undone = (table.done[rows] >> t) & 1 == 0
    branches = sum(1 for result in table.model.problem.tests[t].results if not result.fixed)
    for position in range(1, branches + 1):
        gain -= entropy[np.where(undone, rows + position * table.model.stride[t] // 2, rows)]
    return np.where(undone[:, None], gain, 0.0)


def outward(table: Table, order: Sequence[tuple[int, int]], checks: Sequence[int]) -> Choice:
    """Return the fixed tree: substitute outward, then check, then the likeliest part.

    Args:
        table: The states.
        order: Tests in order, each with the outcome (position among the open ones, from 1) that
            ends the walk.
        checks: Tests done after the walk, in order.
    """
    likeliest = _likeliest_part(table)
    choice = likeliest.copy()
    for row in range(table.shape[0]):
        t = next_outward(table, row, order, checks)
        if t is not None:
            choice[row] = t
    return choice


def next_outward(
    table: Table, row: int, order: Sequence[tuple[int, int]], checks: Sequence[int]
) -> int | None:
    """Return the next test of the fixed tree; None when it is time for parts."""
    for t, ends in order:
        digit = _digit(table, row, t)
        if digit == 0:
            return t
        if digit == ends:
            break
    return next((t for t in checks if _digit(table, row, t) == 0), None)


def _digit(table: Table, row: int, t: int) -> int:
    size = sum(1 for r in table.model.problem.tests[t].results if not r.fixed) + 1
    return int(row // (table.model.stride[t] // 2)) % size


def _likeliest_part(table: Table) -> Choice:
    mass = table.mass
    best = np.full(mass.shape, -1.0)
    choice = np.zeros(table.shape, dtype=np.int8)
    sets = np.arange(mass.shape[1])
    for r in range(len(table.model.problem.repairs)):
        cured = np.where((sets >> r) & 1 == 0, mass - mass[:, sets | (1 << r)], -1.0)
        better = cured > best + 1e-15
        best = np.where(better, cured, best)
        choice[better] = r + len(table.model.problem.tests)
    return choice


def evaluate(table: Table, choice: Choice) -> Array:
    """Return the expected minutes of every state when these actions are taken."""
    value = np.zeros(table.shape)
    levels = table.by_size
    tests = len(table.model.problem.tests)
    for rows in chunks(table):
        block, picked = np.zeros((len(rows), *table.shape[1:])), choice[rows]
        for t in range(tests):
            block = np.where(picked == t, test_value(table, t, rows, value), block)
        block[table.mass[rows] == 0.0] = 0.0
        for sets in levels:
            for r in range(len(table.model.problem.repairs)):
                lacking = sets[(sets >> r) & 1 == 0]
                cost = repair_value(table, r, rows, lacking, block[:, :, 1])
                alive = (table.mass[rows][:, lacking] > 0.0)[:, :, None]
                _put(block, lacking, alive & (picked[:, lacking] == r + tests), cost)
        value[rows] = block
    return value
