"""Policies that people follow, as choosers for ``search.policy_value``."""

from collections.abc import Sequence

import numpy as np

from squibwise.numerics.troubleshoot.search import Choose, parts_first
from squibwise.numerics.troubleshoot.sheet import (
    Array,
    Batch,
    Index,
    Sheet,
    after_test,
    cost_of,
    cured_by,
)


def by_parts(sheet: Sheet, batch: Batch) -> tuple[Index, Array]:
    """Return the repair with the best chance over cost: no tests at all."""
    plain, first = parts_first(sheet, batch)
    return first, plain


def by_information(sure: float) -> Choose:
    """Return the policy: most information per minute until one hypothesis is sure enough.

    Args:
        sure: Probability at which parts are fitted.
    """

    def choose(sheet: Sheet, batch: Batch) -> tuple[Index, Array]:
        plain, choice = parts_first(sheet, batch)
        gain = np.repeat(_entropy(batch)[:, None], sheet.tests, axis=1)
        for branch in sheet.branches:
            gain[:, branch.test] -= _entropy(after_test(sheet, batch, branch))
        cost = cost_of(sheet, batch)[:, : sheet.tests]
        rate = np.where(np.isfinite(cost), gain / np.maximum(cost, 1e-9), 0.0)
        testing = batch.belief.max(axis=1) < sure * batch.mass
        if sheet.tests:
            worth = testing & (rate.max(axis=1) > 1e-15)
            choice = np.where(worth, rate.argmax(axis=1), choice)
        return choice, plain

    return choose


def _entropy(batch: Batch) -> Array:
    belief, mass = batch.belief, batch.mass
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

    def choose(sheet: Sheet, batch: Batch) -> tuple[Index, Array]:
        cured = np.where((batch.done[:, None] >> _repairs(sheet)) & 1, -1.0, cured_by(sheet, batch))
        choice = cured.argmax(axis=1) + sheet.tests
        for t in reversed(checks):
            choice = np.where(_digit(sheet, batch, t) == 0, t, choice)
        after_walk = choice
        for t, ends in reversed(walk):
            digit = _digit(sheet, batch, t)
            after_walk = np.where(digit == ends, choice, after_walk)
            after_walk = np.where(digit == 0, t, after_walk)
        return after_walk, np.zeros(len(choice))

    return choose


def _repairs(sheet: Sheet) -> Index:
    return np.arange(sheet.tests, len(sheet.minutes))


def _digit(sheet: Sheet, batch: Batch, t: int) -> Index:
    size = 1 + sum(1 for b in sheet.branches if b.test == t)
    return np.asarray(batch.key // sheet.stride[t] % size, dtype=np.int64)
