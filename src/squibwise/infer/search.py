"""Weigh candidates exactly: what each outcome would do to every decision, one step and two."""

from itertools import product

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.infer.candidates import Candidate
from squibwise.infer.items import Item
from squibwise.infer.marginals import GroupMarginal, given_event, group_marginal
from squibwise.infer.network import Group
from squibwise.infer.posterior import Engine, GroupResult, Posterior, spread
from squibwise.infer.stakes import Stakes, not_sound

Array = npt.NDArray[np.float64]


class Step(msgspec.Struct, frozen=True):
    """A candidate weighed.

    Attributes:
        candidate: What would be done.
        chances: Chance of *yes* and *no*.
        bad: Chance of each part not being sound, by outcome: (2, parts).
        saved: Expected loss saved.
        settles: Chance that it changes what is done about that component.
        posteriors: Posterior by outcome.
    """

    candidate: Candidate
    chances: Array
    bad: Array
    saved: float
    settles: float
    posteriors: tuple[Posterior, Posterior]

    def rate(self, minute: float) -> float:
        """Return what it saves per minute, its own time paid."""
        return self.saved / self.candidate.minutes - minute


class Search:
    """Weighs candidates on one posterior. A class because all of them share its dense tables.

    Args:
        engine: The network.
        items: All evidence.
        found: The posterior.
        groups: Its beliefs.
        stakes: Losses.
    """

    def __init__(
        self,
        engine: Engine,
        items: tuple[Item, ...],
        found: Posterior,
        groups: tuple[GroupMarginal, ...],
        stakes: Stakes,
    ) -> None:
        self.engine, self.items, self.found, self.stakes = engine, items, found, stakes
        self.place = {n: i for i, n in enumerate(stakes.names)}
        self.masks = {n: not_sound(p.part) for g in groups for n, p in g.parts.items()}
        self.end = len(engine.net.line.entries)
        self.event = engine.event(items)
        self.dense = self._dense(found, stakes.names)
        self.now = found.weights.ravel() @ self.dense

    def _dense(self, posterior: Posterior, names: tuple[str, ...]) -> Array:
        """Return the chance of each part not being sound, by row of the full event table."""
        columns = [
            given_event(posterior, self.engine.place[n], self.masks[n]).ravel() for n in names
        ]
        return np.array(columns).T

    def _with(self, extra: tuple[Item, ...]) -> Posterior:
        """Return the posterior with more items on one group; only that group is solved again."""
        (index,) = self.engine.touched(extra[0])
        group = self.engine.group(index, (*self.items, *extra))
        groups = (*self.found.groups[:index], group, *self.found.groups[index + 1 :])
        return self.engine.combine(groups, self.event)

    def step(self, candidate: Candidate) -> Step:
        """Return one candidate weighed exactly."""
        posteriors, bad, logs = [], [], []
        for outcome in (True, False):
            item = candidate.item(outcome, self.end)
            posterior = self._with((item,))
            posteriors.append(posterior)
            bad.append(self._bad_after(posterior, item))
            logs.append(posterior.log_evidence - self.found.log_evidence)
        chances = np.exp(logs)
        table = np.array(bad)
        losses = self.stakes.expected(table).sum(axis=1)
        saved = float(self.stakes.expected(self.now).sum() - chances @ losses)
        own = self.place[candidate.component]
        changes = (self.stakes.replaces(table) != self.stakes.replaces(self.now))[:, own]
        first, second = posteriors
        return Step(
            candidate, chances, table, max(0.0, saved), float(chances @ changes), (first, second)
        )

    def _bad_after(self, posterior: Posterior, item: Item) -> Array:
        """Return the chance of each part not being sound after one more item."""
        bad = posterior.weights.ravel() @ self.dense
        for index in self.engine.touched(item):
            for name, part in group_marginal(posterior, index).parts.items():
                bad[self.place[name]] = float(part.now.sum(axis=0) @ self.masks[name])
        return np.asarray(bad)

    def two_steps(self, steps: list[Step]) -> list[float]:
        """Return what each step saves per minute when the best other step follows it."""
        views = [self._view(step) for step in steps]
        gains = np.zeros((len(steps), 2, len(steps)))
        for i, first in enumerate(steps):
            for j, second in enumerate(steps):
                if i < j and first.candidate.component != second.candidate.component:
                    joint = self._pair(views[i], views[j])
                    for outcome in (0, 1):
                        gains[i, outcome, j] = self._gain(first, outcome, joint)
                        gains[j, outcome, i] = self._gain(second, outcome, joint.transpose())
        return [self._best_pair(i, steps, gains) for i in range(len(steps))]

    def _gain(self, step: Step, outcome: int, joint: "_Joint") -> float:
        """Return what the second candidate saves once the first came out like this."""
        left = float(self.stakes.expected(step.bad[outcome]).sum())
        chances = joint.chances[outcome] / joint.chances[outcome].sum()
        return left - float(chances @ self.stakes.expected(joint.bad[outcome]).sum(axis=-1))

    def _best_pair(self, index: int, steps: list[Step], gains: Array) -> float:
        """Return what a step adds, per minute, to the other step that it helps most."""
        step = steps[index]
        extra = [
            step.saved + float(step.chances @ np.maximum(gains[index, :, j], 0.0)) - other.saved
            for j, other in enumerate(steps)
            if j != index
        ]
        return max(extra, default=0.0) / step.candidate.minutes - self.stakes.minute

    def _view(self, step: Step) -> "_View":
        """Return how an outcome moves the event table and the parts of its own group."""
        name = step.candidate.component
        index = self.engine.place[name][0]
        names = tuple(n for n in self.stakes.names if self.engine.place[n][0] == index)
        ratios, own = [], []
        before, group = self.found.groups[index], self.engine.net.groups[index]
        for posterior in step.posteriors:
            after = posterior.groups[index]
            ratios.append(_ratio(after, before, group, self.found.weights.shape))
            own.append(self._dense(posterior, names))
        columns = np.array([self.place[n] for n in names])
        return _View(step, index, columns, (ratios[0], ratios[1]), (own[0], own[1]))

    def _pair(self, first: "_View", second: "_View") -> "_Joint":
        """Return chances of two outcomes together, and of each part not being sound then."""
        if first.group == second.group:
            return self._same_group(first, second)
        chances, bad = np.zeros((2, 2)), np.zeros((2, 2, len(self.stakes.names)))
        weights = self.found.weights.ravel()
        for i, j in product((0, 1), repeat=2):
            both = weights * first.ratios[i] * second.ratios[j]
            chances[i, j] = both.sum()
            both = both / chances[i, j]
            bad[i, j] = both @ self.dense
            bad[i, j, first.columns] = both @ first.own[i]
            bad[i, j, second.columns] = both @ second.own[j]
        return _Joint(chances, bad)

    def _same_group(self, first: "_View", second: "_View") -> "_Joint":
        chances, bad = np.zeros((2, 2)), np.zeros((2, 2, len(self.stakes.names)))
        for i, j in product((0, 1), repeat=2):
            pair = (
                first.step.candidate.item(i == 0, self.end),
                second.step.candidate.item(j == 0, self.end),
            )
            posterior = self._with(pair)
            chances[i, j] = np.exp(posterior.log_evidence - self.found.log_evidence)
            bad[i, j] = self._bad_after(posterior, pair[0])
        return _Joint(chances, bad)


class _View(msgspec.Struct, frozen=True):
    """How the outcomes of one step move everything; by outcome where a tuple."""

    step: Step
    group: int
    columns: npt.NDArray[np.int64]
    ratios: tuple[Array, Array]
    own: tuple[Array, Array]


class _Joint(msgspec.Struct, frozen=True):
    """Chances of two outcomes together (2, 2), and of parts not sound then (2, 2, parts)."""

    chances: Array
    bad: Array

    def transpose(self) -> "_Joint":
        """Return it with the first and the second step changed over."""
        return _Joint(self.chances.T, self.bad.transpose(1, 0, 2))


def _ratio(after: GroupResult, before: GroupResult, group: Group, shape: tuple[int, ...]) -> Array:
    """Return the chance of an outcome by row of the full event table."""
    new = before.people.sum(axis=(2, 4)) if after.table is None else after.table
    old = before.people.sum(axis=(2, 4)) if before.table is None else before.table
    scale = np.exp(after.log_scale - before.log_scale)
    return np.asarray(np.broadcast_to(spread(new / old, group) * scale, shape).ravel())
