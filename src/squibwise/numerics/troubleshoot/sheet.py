"""A problem as arrays for a handful of states at a time, where a table would be too large."""

from collections.abc import Iterable

import msgspec
import numpy as np
from numpy.typing import NDArray

from squibwise.numerics.troubleshoot.problem import Problem, normalised
from squibwise.numerics.troubleshoot.table import access_cost, power_cost

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


class Sheet(msgspec.Struct, frozen=True, kw_only=True):
    """A problem's actions as arrays; tests come first, then repairs.

    Attributes:
        minutes: Of each action. [min]
        access: What opening still costs, by action and by the set that is open. [min]
        power: Wait and power-up, by action and by power at the start. [min]
        opens: Access clusters of each action, as bits.
        ends_on: Power after each action.
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


class Batch(msgspec.Struct, frozen=True, kw_only=True):
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

    def take(self, rows: Index | NDArray[np.bool_]) -> "Batch":
        """Return some of the states."""
        fields = ("belief", "done", "mended", "opened", "on", "key")
        return Batch(**{name: getattr(self, name)[rows] for name in fields})

    @property
    def mass(self) -> Array:
        """Chance of each state."""
        return np.asarray(self.belief.sum(axis=1))


def sheet_of(problem: Problem) -> Sheet:
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
    return Sheet(
        problem=problem,
        minutes=np.array(minutes),
        access=np.stack([access_cost(problem, clusters) for clusters in access]),
        power=np.array([power_cost(problem, power) for power in powers]),
        opens=np.array([_bits(clusters) for clusters in access], dtype=np.int64),
        ends_on=np.array([power != "off" for power in powers], dtype=np.int64),
        stride=_strides(problem),
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


def _strides(problem: Problem) -> Index:
    sizes = [1 + sum(not r.fixed for r in t.results) for t in problem.tests]
    sizes += [2] * len(problem.repairs)
    return 2 * np.cumprod([1, *sizes], dtype=np.int64)[:-1]


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


def start(sheet: Sheet) -> Batch:
    """Return the first state of a problem, as a batch of one."""
    zero = np.zeros(1, dtype=np.int64)
    on = np.array([int(sheet.problem.powered)])
    return Batch(
        belief=np.array([normalised(sheet.problem.weight)]),
        done=zero,
        mended=zero,
        opened=np.array([_bits(sheet.problem.opened)], dtype=np.int64),
        on=on,
        key=on.copy(),
    )


def cost_of(sheet: Sheet, batch: Batch) -> Array:
    """Return what each action costs in each state; infinite once it is done (state x action)."""
    cost = sheet.minutes + sheet.access[:, batch.opened].T + sheet.power[:, batch.on].T
    taken = (batch.done[:, None] >> np.arange(len(sheet.minutes))) & 1
    return np.where(taken, np.inf, cost)


def cured_by(sheet: Sheet, batch: Batch) -> Array:
    """Return the weight that each repair cures in each state (state x repair)."""
    cured = batch.belief[:, sheet.single] @ sheet.cures
    for h in sheet.several:
        rest = sheet.faults[h] & ~batch.mended
        cures = (rest[:, None] & ~sheet.mends[None, :]) == 0
        cured += batch.belief[:, h, None] * cures
    return np.asarray(cured)


def after_repair(sheet: Sheet, batch: Batch, repair: Index) -> Batch:
    """Return the states after one repair each that did not help."""
    action = repair + sheet.tests
    mended = batch.mended | sheet.mends[repair]
    dead = (sheet.faults[None, :] & ~mended[:, None]) == 0
    return _moved(sheet, batch, action, np.where(dead, 0.0, batch.belief), mended, 1)


def after_test(sheet: Sheet, batch: Batch, branch: Branch) -> Batch:
    """Return the states after one outcome of a test."""
    action = np.full(len(batch.done), branch.test)
    belief = batch.belief * branch.chance
    return _moved(sheet, batch, action, belief, batch.mended, branch.digit)


def _moved(
    sheet: Sheet, batch: Batch, action: Index, belief: Array, mended: Index, digit: int
) -> Batch:
    on = sheet.ends_on[action]
    return Batch(
        belief=belief,
        done=batch.done | (np.int64(1) << action),
        mended=mended,
        opened=batch.opened | sheet.opens[action],
        on=on,
        key=batch.key - batch.on + on + digit * sheet.stride[action],
    )


def joined(batches: list[Batch]) -> Batch:
    """Return several batches as one."""
    fields = ("belief", "done", "mended", "opened", "on", "key")
    return Batch(**{f: np.concatenate([getattr(b, f) for b in batches]) for f in fields})
