"""What is believed of every part with one piece of evidence more than at hand, or one less.

Axes are those of the engine.
"""

import math
from collections.abc import Iterable, Mapping
from functools import cached_property

import numpy as np
import numpy.typing as npt

from squibwise.infer.engine import Engine, Posterior, Told, is_lone, spread, sum_over
from squibwise.infer.marginals import (
    base_of_cluster,
    cluster_beliefs,
    divided,
    free_of,
    group_belief,
    group_weights,
    said_each,
    silent_axes,
    summed,
)
from squibwise.infer.network import Likelihood

Array = npt.NDArray[np.float64]
_Sums = dict[tuple[int, ...], Array]  # by the axes summed over, which stay with length one
_AT_ONCE = 64
_LEAST = 1e-200  # below it too little is left of what stands beside it
_NOTHING = np.empty(0)
_INSIDE = (2, 4)  # axes that a group sums out inside itself


class Beside:
    """Chances of some micros of parts now, with evidence one piece away from a posterior's.

    A piece mostly speaks of one cluster. All chances then follow from those at hand and from the
    ratio of what is said of that cluster with and without it. A class because the tables of a group
    are made once, where they are first asked for.

    Args:
        posterior: With the evidence from which others are one piece away.
        engine: The network.
        states: Weight of each micro, 0 to 1, by part.
    """

    def __init__(self, posterior: Posterior, engine: Engine, states: Mapping[str, Array]) -> None:
        self.posterior, self.engine, self.states = posterior, engine, states
        self._sums: dict[int, _Sums] = {}
        self._bases: dict[tuple[int, int], Array] = {}
        self._said: dict[tuple[int, int], Array] = {}
        self._without: dict[tuple[int, int], Array] = {}
        self._means: dict[int, Array] = {}

    def each(
        self, runs: Iterable[tuple[Likelihood, tuple[Likelihood, ...]]]
    ) -> tuple[Array, Array]:
        """Return the chance of each part with other evidence, (runs, parts), and its logs.

        Args:
            runs: The piece by which the evidence differs, and that evidence. So many at a time
                that much evidence takes no more memory, and the product stays fast.
        """
        events = np.empty((_AT_ONCE, *self.posterior.weights.shape))
        rows: list[Array] = []
        logs, own = [], []
        waiting: list[int] = []
        for piece, likelihoods in runs:
            log, told, row = self._one(piece, likelihoods, events[len(waiting)])
            logs.append(log)
            own.append(told)
            if row is None:
                waiting.append(len(rows))
            rows.append(_NOTHING if row is None else row)
            if len(waiting) == _AT_ONCE:
                self._put_in(rows, waiting, events)
                waiting = []
        self._put_in(rows, waiting, events[: len(waiting)])
        chances = np.array(rows).reshape(len(logs), len(self.states))
        place = {name: i for i, name in enumerate(self.states)}
        for row, told in zip(chances, own, strict=True):
            row[[place[name] for name in told]] = list(told.values())
        return chances, np.array(logs)

    def _put_in(self, rows: list[Array], waiting: list[int], events: Array) -> None:
        """Put the chances of parts into the rows that wait for them, by weights of the events."""
        for at, row in zip(waiting, self.by_event(events), strict=True):
            rows[at] = row

    def _one(
        self, piece: Likelihood, likelihoods: tuple[Likelihood, ...], events: Array
    ) -> tuple[float, dict[str, float], Array | None]:
        """Return the log of other evidence, and the chances of parts that the piece speaks of.

        Those of all others too, where they follow from what it says of the unit alone; if not, the
        weights of the events with that evidence are put into ``events``.
        """
        told = self.engine.tell_beside(piece, likelihoods)
        if told is not None:
            before = self.posterior.groups[told[0]].messages[told[1]].factor
            if before is None or float(before.min()) > _LEAST:
                return self._scaled(*told, before, events)
        found = self.engine.run(likelihoods)
        events[...] = found.weights
        chances: dict[str, float] = {}
        for index in self.engine.touched(piece):
            for name, part in group_belief(found, index).parts.items():
                chances[name] = float(part.now.sum(axis=0) @ self.states[name])
        return found.log_evidence, chances, None

    def _scaled(
        self, index: int, place: int, told: Told, before: Array | None, events: Array
    ) -> tuple[float, dict[str, float], Array | None]:
        """Do as ``_one`` does, by the ratio of what is said of one cluster with and without it."""
        group, result = self.engine.net.groups[index], self.posterior.groups[index]
        after = np.ones((1,) * 5) if told.message.factor is None else told.message.factor
        ratio = after if before is None else after / before
        by_sort, row = self._by_sort(index, ratio), None
        if by_sort.shape[:2] == (1, 1):
            by_unit = np.broadcast_to(by_sort[0, 0], self.posterior.unit.shape)
            total = float(by_unit @ self.posterior.unit)
            row = by_unit @ self._by_unit / total
        else:
            np.multiply(self.posterior.weights, spread(by_sort, group), out=events)
            total = float(events.sum())
            events /= total
        chances = self._of_group(index, ratio, total)
        cluster, base = group.clusters[place], self._base_of(index, place)
        for name, part in cluster_beliefs(cluster, told.message, told.chains, base).items():
            chances[name] = float(part.now.sum(axis=0) @ self.states[name])
        scale = told.scale - result.scales[place]
        return self.posterior.log_evidence + math.log(total) + scale, chances, row

    @cached_property
    def _by_unit(self) -> Array:
        """Return the chance of each part with each state of the unit: (U, parts)."""
        each = np.eye(len(self.posterior.unit))[:, None, None, :]
        return self.by_event(each * self.posterior.weights)

    def _sums_of(self, index: int) -> _Sums:
        """Return the weights of a group, and what sums of them are known, by axes."""
        if index not in self._sums:
            group, result = self.engine.net.groups[index], self.posterior.groups[index]
            self._sums[index] = {(): group_weights(group, result, self.posterior)}
        return self._sums[index]

    def _by_sort(self, index: int, ratio: Array) -> Array:
        """Return what a ratio makes of each sort of events: (X, F, U), broadcastable."""
        sums = self._sums_of(index)
        silent = tuple(a for a in _INSIDE if ratio.shape[a] == 1)
        if silent == _INSIDE:
            return ratio[:, :, 0, :, 0]
        other = sum_over(summed(sums, silent) * ratio, *(a for a in _INSIDE if a not in silent))
        return divided(other, summed(sums, _INSIDE))[:, :, 0, :, 0]

    def _of_group(self, index: int, ratio: Array, total: float) -> dict[str, float]:
        """Return the chances of a group's parts under a ratio, right for all other clusters."""
        group, sums = self.engine.net.groups[index], self._sums_of(index)
        names = [part.id for cluster in group.clusters for part in cluster.parts]
        if len(group.clusters) == 1:
            return {}
        if ratio.shape[:3] == (1, 1, 1):
            means = self._means_of(index)
            values = means @ np.broadcast_to(ratio[0, 0, 0], sums[()].shape[3:]).ravel()
            return dict(zip(names, (values / total).tolist(), strict=True))
        shape, products = sums[()].shape, dict[tuple[int, ...], _Sums]()
        found = []
        for place, cluster in enumerate(group.clusters):
            axes = silent_axes(cluster)
            first = tuple(a for a in axes if ratio.shape[a] == 1 or shape[a] == 1)
            if first not in products:
                products[first] = {(): summed(sums, first) * ratio}
            weights = summed(products[first], tuple(a for a in axes if a not in first))
            without = self._without_of(index, place)
            weights = weights if without is None else weights * without
            base, said = base_of_cluster(cluster, weights), self._said_of(index, place)
            found.append((said * base).reshape(len(said), -1).sum(axis=1))
        return dict(zip(names, (np.concatenate(found) / total).tolist(), strict=True))

    def _means_of(self, index: int) -> Array:
        """Return the chance of each part of a group by unit and cause: (parts, U * C)."""
        if index not in self._means:
            size, found = self._sums_of(index)[()].shape[3:], []
            for place, cluster in enumerate(self.engine.net.groups[index].clusters):
                joint = self._said_of(index, place) * self._base_of(index, place)
                means = joint.sum(axis=1 if is_lone(cluster) else 3)
                found.append(np.broadcast_to(means, (len(means), *size)))
            self._means[index] = np.concatenate(found).reshape(-1, math.prod(size))
        return self._means[index]

    def _base_of(self, index: int, place: int) -> Array:
        """Return what a cluster hangs on, its own evidence left out."""
        if (index, place) not in self._bases:
            cluster = self.engine.net.groups[index].clusters[place]
            weights, without = (
                summed(self._sums_of(index), silent_axes(cluster)),
                self._without_of(index, place),
            )
            weights = weights if without is None else weights * without
            self._bases[index, place] = base_of_cluster(cluster, weights)
        return self._bases[index, place]

    def _without_of(self, index: int, place: int) -> Array | None:
        """Return by what to multiply weights to leave a cluster's evidence out; None = one."""
        factor = self.posterior.groups[index].messages[place].factor
        if factor is not None and (index, place) not in self._without:
            self._without[index, place] = divided(np.ones(1), factor)
        return self._without.get((index, place))

    def _said_of(self, index: int, place: int) -> Array:
        """Return what is said of each part of a cluster: (parts, U, C, Z) or (1, X, U, C)."""
        if (index, place) not in self._said:
            said = [
                said_each(self.posterior, (index, place, p), self.states[part.id][None])[0]
                for p, part in enumerate(self.engine.net.groups[index].clusters[place].parts)
            ]
            self._said[index, place] = np.stack(np.broadcast_arrays(*said))
        return self._said[index, place]

    def by_event(self, weights: Array) -> Array:
        """Return the chance of each part under weights of the event table: (rows, parts).

        Args:
            weights: (rows, X, F, U). A part meets their sum over all on which it does not hang.
        """
        result = np.empty((len(weights), len(self.states)))
        sums: _Sums = {(): weights}
        for axes, columns, table in self._by_event:
            result[:, columns] = summed(sums, axes).reshape(-1, table.shape[1]) @ table.T
        return result

    @cached_property
    def _by_event(self) -> list[tuple[tuple[int, ...], list[int], Array]]:
        """Return axes of (rows, X, F, U) on which parts do not hang, their columns and tables."""
        place = {name: i for i, name in enumerate(self.states)}
        found: dict[tuple[int, ...], dict[int, Array]] = {}
        for index, group in enumerate(self.engine.net.groups):
            frees: _Sums = {(): free_of(self.posterior.groups[index])}
            for at, cluster in enumerate(group.clusters):
                told = self._given_event(index, at, frees)
                axes = tuple(a for a in (1, 2, 3) if told.shape[a] == 1)
                for part, row in zip(cluster.parts, told, strict=True):
                    found.setdefault(axes, {})[place[part.id]] = spread(row, group).ravel()
        several = sorted(found.items(), key=lambda one: len(one[0]))
        return [(axes, list(rows), np.array(list(rows.values()))) for axes, rows in several]

    def _given_event(self, index: int, place: int, frees: _Sums) -> Array:
        """Return the chance of a cluster's parts given event, family and unit: (parts, X, F, U).

        Broadcastable.

        Args:
            index: The group.
            place: The cluster.
            frees: From ``free_of``, by the axes over which it is summed: over all inside it is one.
        """
        cluster = self.engine.net.groups[index].clusters[place]
        without, said = self._without_of(index, place), self._said_of(index, place)
        if is_lone(cluster):
            told = said[:, :, None, None]
            return _inside(told if without is None else told * without, frees)
        if without is None:
            chance = np.tensordot(said[:, 0, 0], cluster.fires, (1, 3))
            return _inside(chance[..., None, None], frees)
        silent = (2,) if cluster.fires.shape[2] == 1 else ()
        alone = silent and without.shape[4] == 1  # over people and causes it is one
        free = without if alone else summed(frees, silent) * without
        return _by_fired(free, cluster.fires, said)


def _inside(told: Array, frees: _Sums) -> Array:
    """Return chances given all, (parts, X, F, P, U, C), summed over what a group sums out."""
    first = tuple(a for a in _INSIDE if told.shape[a + 1] == 1)
    if first != _INSIDE:
        told = summed(frees, first) * told
    return sum_over(told, *(a + 1 for a in _INSIDE if a not in first))[:, :, :, 0, :, 0]


def _by_fired(free: Array, fires: Array, said: Array) -> Array:
    """Return the chance of parts given event, family and unit: (parts, X, F, U).

    Args:
        free: Weights of (X, F, P, U, C), summing to what a group has over P and C.
        fires: Chance of what fired: (X, F, P, Z), broadcastable.
        said: Likelihood of what fired, by part: (parts, U, C, Z).
    """
    x, f, p = np.broadcast_shapes(free.shape[:3], fires.shape[:3])
    units, causes, size = said.shape[1:]
    free = np.broadcast_to(free, (x, f, p, units, causes)).reshape(x * f, p, -1)
    fires = np.broadcast_to(fires, (x, f, p, size)).reshape(x * f, p, size)
    fired = (free.swapaxes(1, 2) @ fires).reshape(x * f, units, causes * size)
    told = fired.swapaxes(0, 1) @ np.moveaxis(said.reshape(len(said), units, -1), 0, 2)
    return np.asarray(told.transpose(2, 1, 0).reshape(len(said), x, f, units))
