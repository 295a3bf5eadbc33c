"""What is believed of every part, occupant, cause and speed, from the engine's posterior.

Axes are those of the engine.
"""

from collections.abc import Iterable, Mapping
from functools import cached_property

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.engine import (
    Engine,
    GroupResult,
    Message,
    Posterior,
    fired_message,
    is_lone,
    sum_over,
)
from squibwise.infer.network import Cluster, Group, Network
from squibwise.infer.parts import PartModel
from squibwise.model.belief import SpeedChange
from squibwise.model.evidence import Recorder

Array = npt.NDArray[np.float64]
_TINY = 1e-300
_AT_ONCE = 64


class PartBelief(msgspec.Struct, frozen=True):
    """What is believed of one part.

    Attributes:
        after: Chance of each micro after the crash, with each cause: (C, M).
        now: The same now.
    """

    part: PartModel
    after: Array
    now: Array


class GroupBelief(msgspec.Struct, frozen=True):
    """What is believed within one group.

    Attributes:
        people: Chance of each occupant word.
        causes: Chance of each common cause.
        parts: By component id.
    """

    group: Group
    people: Array
    causes: Array
    parts: dict[str, PartBelief]


def group_beliefs(posterior: Posterior) -> tuple[GroupBelief, ...]:
    """Return the beliefs about every group."""
    return tuple(group_belief(posterior, g) for g in range(len(posterior.groups)))


def group_belief(posterior: Posterior, index: int) -> GroupBelief:
    """Return the beliefs about one group."""
    group, result = posterior.net.groups[index], posterior.groups[index]
    sums: dict[tuple[int, ...], Array] = {(): group_weights(group, result, posterior)}
    parts: dict[str, PartBelief] = {}
    for cluster, message in zip(group.clusters, result.messages, strict=True):
        parts |= _cluster_beliefs(cluster, message, result, sums)
    spread_over = _summed(sums, (0, 1))[0, 0]
    people, causes = spread_over.sum(axis=(1, 2)), spread_over.sum(axis=(0, 1))
    return GroupBelief(group, _normed(people), _normed(causes), parts)


def _cluster_beliefs(
    cluster: Cluster, message: Message, result: GroupResult, sums: dict[tuple[int, ...], Array]
) -> dict[str, PartBelief]:
    """Return the beliefs about the parts of one cluster; ``sums`` holds the group's weights."""
    base = (_lone_base if is_lone(cluster) else _fired_base)(cluster, sums, message)
    parts = {}
    for place, part in enumerate(cluster.parts):
        others = [m for i, m in enumerate(message.parts) if i != place]
        joint = _part_joint(cluster, part, base, others, result)
        parts[part.id] = _part_belief(part, joint, result)
    return parts


class GivenAll:
    """Chances of some micros of parts now, given all that a group hangs on, under one posterior.

    A class because the tables of a group are made once, where they are first asked for.

    Args:
        posterior: With the evidence from which others are one piece away.
        engine: The network.
        states: Weight of each micro, 0 to 1, by part.
    """

    def __init__(
        self,
        posterior: Posterior,
        engine: Engine,
        states: Mapping[str, Array],
    ) -> None:
        self.posterior, self.engine, self.states = posterior, engine, states
        self._tables: dict[int, list[_Columns]] = {}
        self._given: dict[str, Array] = {}

    def each(self, runs: Iterable[tuple[Posterior, Iterable[int]]]) -> tuple[Array, Array]:
        """Return the chance of each part under other posteriors, (runs, parts), and their logs.

        Args:
            runs: Posteriors one piece away, with the groups on which that piece is said. So many
                at a time that much evidence takes no more memory, and the product stays fast.
        """
        place = {name: i for i, name in enumerate(self.states)}
        events = np.empty((_AT_ONCE, *self.posterior.weights.shape))
        rows, logs = [], []
        own: list[dict[int, float]] = []
        for posterior, touched in runs:
            events[len(own)] = posterior.weights
            logs.append(posterior.log_evidence)
            told = [self.under(posterior, index) for index in touched]
            own.append({place[n]: chance for group in told for n, chance in group.items()})
            if len(own) == _AT_ONCE:
                rows.append(self._told_rows(events, own))
                own = []
        rows.append(self._told_rows(events[: len(own)], own))
        return np.concatenate(rows), np.array(logs)

    def _told_rows(self, events: Array, own: list[dict[int, float]]) -> Array:
        """Return the chances under weights of the event table, those of groups told of put in."""
        chances = self.by_event(events)
        for row, told in zip(chances, own, strict=True):
            row[list(told)] = list(told.values())
        return chances

    def by_event(self, weights: Array) -> Array:
        """Return the chance of each part under weights of the event table: (rows, parts).

        Args:
            weights: (rows, X, F, U). What hangs on no event meets their sum over the events.
        """
        lone, dense, table = self._by_event
        rows, events, families, units = weights.shape
        result = np.empty((rows, len(self.states)))
        result[:, lone[0]] = weights.sum(axis=1).reshape(rows, families * units) @ lone[1]
        result[:, dense] = weights.reshape(rows, events * families * units) @ table.T
        return result

    @cached_property
    def _by_event(self) -> tuple[tuple[list[int], Array], list[int], Array]:
        """Columns and tables of the parts on which no event bears, and of all others."""
        free: dict[int, Array] = {}
        lone: dict[int, Array] = {}
        dense: list[int] = []
        whole = self.posterior.weights
        _, families, units = whole.shape
        table = np.empty((len(self.states), *whole.shape))
        for column, name in enumerate(self.states):
            place = self.engine.place[name]
            if place[0] not in free:
                free[place[0]] = free_of(self.posterior.groups[place[0]])
            told = sum_over(free[place[0]] * self._given_all(name), 2, 4)[:, :, 0, :, 0]
            if len(told) == 1:
                lone[column] = np.broadcast_to(told[0], (families, units)).ravel()
            else:
                table[len(dense)] = told[self.posterior.net.groups[place[0]].sort]
                dense.append(column)
        sums = np.array(list(lone.values())).reshape(len(lone), families * units).T
        return (list(lone), sums), dense, table[: len(dense)].reshape(len(dense), whole.size)

    def _given_all(self, name: str) -> Array:
        """Return the chance of a part given all that it hangs on: (X, F, P, U, C)."""
        if name not in self._given:
            place, states = self.engine.place[name], self.states[name][None]
            self._given[name] = given_all_each(self.posterior, place, states)[0]
        return self._given[name]

    def under(self, other: Posterior, index: int) -> dict[str, float]:
        """Return the chance of each part of a group under another posterior.

        Clusters on which nothing else is said keep their tables; the others are asked anew.
        """
        group, result = other.net.groups[index], other.groups[index]
        weights = self._weights(other, index)
        sums: dict[tuple[int, ...], Array] = {(): weights}
        chances: dict[str, float] = {}
        for axes, names, table in self._table(index, weights.shape):
            values = table @ _summed(sums, axes).ravel()
            chances.update(zip(names, values.tolist(), strict=True))
        old = self.posterior.groups[index].messages
        for cluster, message, before in zip(group.clusters, result.messages, old, strict=True):
            if message is not before:
                for name, part in _cluster_beliefs(cluster, message, result, sums).items():
                    chances[name] = float(part.now.sum(axis=0) @ self.states[name])
        return chances

    def _weights(self, other: Posterior, index: int) -> Array:
        """Return the posterior over (X, F, P, U, C) of the group on which a piece more is said."""
        group, result = other.net.groups[index], other.groups[index]
        if result.table is None or result.joint is None or other.event is not self.posterior.event:
            return group_weights(group, result, other)
        rest = self.engine.sorted_besides(index, self.posterior)
        rest = rest / (rest * result.table).sum()
        return np.asarray(rest[:, :, None, :, None] * result.joint)

    def _table(self, index: int, shape: tuple[int, ...]) -> list["_Columns"]:
        """Return the chance of each part of a group, parts that hang on the same axes together."""
        if index not in self._tables:
            rows: dict[tuple[int, ...], dict[str, Array]] = {}
            for cluster in self.posterior.net.groups[index].clusters:
                for part in cluster.parts:
                    told = self._given_all(part.id)
                    axes = tuple(a for a in range(told.ndim) if told.shape[a] == 1 < shape[a])
                    rows.setdefault(axes, {})[part.id] = told
            self._tables[index] = [(a, list(r), self._kept(r)) for a, r in rows.items()]
        return self._tables[index]

    def _kept(self, rows: dict[str, Array]) -> Array:
        """Return chances of parts as one table; from now on it is kept instead of each of them."""
        table = np.array([told.ravel() for told in rows.values()])
        for row, (name, told) in zip(table, rows.items(), strict=True):
            self._given[name] = row.reshape(told.shape)
        return table


_Columns = tuple[tuple[int, ...], list[str], Array]


def free_of(result: GroupResult) -> Array:
    """Return the chance of (X, F, P, U, C) of a group given event, family and unit."""
    if result.joint is None or result.table is None:
        return np.asarray(result.people / result.people.sum(axis=(2, 4), keepdims=True))
    return np.asarray(result.joint / np.maximum(result.table[:, :, None, :, None], _TINY))


def given_event_each(
    posterior: Posterior, place: tuple[int, int, int], states: Array, free: Array
) -> Array:
    """Return for each row of weights the chance of a part's micros now: (rows, X, F, U).

    Args:
        posterior: With all evidence.
        place: Group, cluster and number of the part.
        states: Weights of the micros, 0 to 1: (rows, micros).
        free: From ``free_of``, the same for all parts of a group.
    """
    summed = given_sort_each(posterior, place, states, free)
    group = posterior.net.groups[place[0]]
    spoken = summed[:, group.sort] if summed.shape[1] > 1 else summed
    return np.asarray(np.broadcast_to(spoken, (len(states), *posterior.weights.shape)))


def given_sort_each(
    posterior: Posterior, place: tuple[int, int, int], states: Array, free: Array
) -> Array:
    """Return the same by the group's own sorts of events: (rows, X, F, U), broadcastable."""
    told = free * given_all_each(posterior, place, states)
    return sum_over(np.asarray(told), 3, 5)[:, :, :, 0, :, 0]


def given_all_each(posterior: Posterior, place: tuple[int, int, int], states: Array) -> Array:
    """Return for each row of weights the chance of a part's micros now, its evidence included.

    Given all that it hangs on: (rows, X, F, P, U, C), broadcastable.
    """
    g, c, p = place
    group, result = posterior.net.groups[g], posterior.groups[g]
    cluster, message = group.clusters[c], result.messages[c]
    part, made = cluster.parts[p], result.chains.get(cluster.parts[p].id)
    after = states[:, None, None, :]
    if made is not None and made.now is not None:
        after = np.moveaxis(made.now @ states.T, -1, 0)
    values = after if made is None else made.likelihood / made.likelihood.max() * after
    by_class = np.einsum("kzm,sucm->skucz", part.prior, values)
    if is_lone(cluster):
        flat = by_class[..., 0] if part.classes is None else by_class[..., 0][:, part.classes]
        chance = flat[:, :, None, None]
    else:
        others = [m for i, m in enumerate(message.parts) if i != p]
        table = by_class[:, 0] * fired_message(others)
        x, f, n, size = cluster.fires.shape
        chance = cluster.fires.reshape(-1, size) @ table.reshape(-1, size).T
        chance = np.moveaxis(chance.reshape(x, f, n, *table.shape[:3]), 3, 0)
    return chance if message.factor is None else _divided(chance, message.factor)


def group_weights(group: Group, result: GroupResult, posterior: Posterior) -> Array:
    """Return the posterior over (X, F, P, U, C) of one group."""
    weights = np.add.reduceat(posterior.weights[group.order], group.starts, axis=0)
    if result.table is None or result.joint is None:
        people = result.people / result.people.sum(axis=(2, 4), keepdims=True)
        return np.asarray(weights[:, :, None, :, None] * people)
    free = _divided(weights, result.table)
    return np.asarray(free[:, :, None, :, None] * result.joint)


def _divided(values: Array, by: Array) -> Array:
    """Return a quotient, zero where there is nothing to divide by."""
    if by.min() > 0.0:
        return np.asarray(values / by)
    out = np.zeros(np.broadcast_shapes(values.shape, by.shape))
    return np.asarray(np.divide(values, by, out=out, where=np.broadcast_to(by > 0.0, out.shape)))


def _summed(sums: dict[tuple[int, ...], Array], axes: tuple[int, ...]) -> Array:
    """Return the weights of a group summed over some axes, which stay with length one."""
    found = sums.get(axes)
    if found is None:
        start = max((a for a in sums if set(a) <= set(axes)), key=len)
        left = tuple(a for a in axes if a not in start)
        found = sums[axes] = sum_over(sums[start], *left)
    return found


def _lone_base(cluster: Cluster, sums: dict[tuple[int, ...], Array], message: Message) -> Array:
    """Return the chance of (X or 1, U, C) with the part's own evidence left out."""
    axes = (0, 1, 2) if cluster.parts[0].classes is None else (1, 2)
    events = _summed(sums, axes)[:, 0, 0]
    return events if message.factor is None else _divided(events, message.factor[:, 0, 0])


def _fired_base(cluster: Cluster, sums: dict[tuple[int, ...], Array], message: Message) -> Array:
    """Return the chance of what a cluster fired with its own evidence left out: (U, C, Z).

    A cluster's factor is the same along every axis along which it fires the same, so summing
    first and dividing afterwards gives the same.
    """
    shape = cluster.fires.shape
    rest = _summed(sums, tuple(a for a in range(3) if shape[a] == 1))
    return _by_fired(cluster, rest if message.factor is None else _divided(rest, message.factor))


def _part_joint(
    cluster: Cluster, part: PartModel, base: Array, others: list[Array | None], result: GroupResult
) -> Array:
    """Return the chance of (U, C, M) of one part."""
    made = result.chains.get(part.id)
    if is_lone(cluster):
        joint = np.einsum("kuc,km->ucm", _by_class(part, base), part.prior[:, 0, :])
    else:
        joint = np.einsum("ucz,zm->ucm", base * fired_message(others), part.prior[0])
    return np.asarray(joint if made is None else joint * made.likelihood)


def _by_class(part: PartModel, events: Array) -> Array:
    """Return (X, U, C) summed into the part's damage classes."""
    if part.classes is None:
        return np.asarray(events.sum(axis=0, keepdims=True))
    size = part.prior.shape[0]
    member = part.classes == np.arange(size)[:, None]
    return np.asarray((member @ events.reshape(len(events), -1)).reshape(size, *events.shape[1:]))


def _by_fired(cluster: Cluster, rest: Array) -> Array:
    """Return the chance of what a cluster fired, its own evidence left out: (U, C, Z)."""
    fires = cluster.fires
    axes = tuple(a for a in range(3) if fires.shape[a] == 1 and rest.shape[a] > 1)
    summed = sum_over(rest, *axes)
    shape = np.broadcast_shapes(summed.shape[:3], fires.shape[:3])
    size = fires.shape[-1]
    left = np.broadcast_to(summed, (*shape, *summed.shape[3:])).reshape(-1, *summed.shape[3:])
    right = np.broadcast_to(fires, (*shape, size)).reshape(-1, size)
    units, causes = left.shape[1:]
    flat = left.reshape(left.shape[0], -1).T @ right
    return np.asarray(flat.reshape(units, causes, size))


def _part_belief(part: PartModel, joint: Array, result: GroupResult) -> PartBelief:
    joint = joint / joint.sum()
    made = result.chains.get(part.id)
    after = joint.sum(axis=0)
    if made is None or made.now is None:
        return PartBelief(part, after, after)
    now = np.einsum(
        "ucm,ucmn->cn", joint, np.broadcast_to(made.now, (*joint.shape, joint.shape[-1]))
    )
    return PartBelief(part, after, now)


def _normed(values: Array) -> Array:
    return np.asarray(values / values.sum())


_TAIL = 1e-12
_TENTH_TO_MEDIAN = 1.2816  # standard deviations of a normal distribution


def _recorded_speed(net: Network, catalog: Catalog) -> SpeedChange | None:
    """Return the worst recorded delta-V with the accuracy that the rule asks of a recorder."""
    found = [
        (np.hypot(e.delta_v_long_kmh, e.delta_v_lat_kmh or 0.0), e.u_kmh)
        for e in net.line.entries
        if isinstance(e, Recorder) and e.method != "estimate" and e.delta_v_long_kmh is not None
    ]
    if not found:
        return None
    speed, stated = max(found, key=lambda pair: pair[0])
    half_width = catalog.firing.scans.recorder["accuracy"].value * speed
    spread = _TENTH_TO_MEDIAN * (half_width / np.sqrt(3.0) if stated is None else stated)
    return SpeedChange(
        p10=float(max(0.0, speed - spread)), p50=float(speed), p90=float(speed + spread)
    )


def _steps(net: Network) -> Array:
    """Return the two ends of what each scenario's speed stands for, nought where none was struck.

    They lie half way to the next lower and the next higher speed of the same places struck.
    """
    steps = np.zeros((len(net.events.scenarios), 2))
    alike: dict[tuple[object, ...], list[int]] = {}
    for at, scenario in enumerate(net.events.scenarios):
        if scenario.speed > 0.0:
            alike.setdefault(tuple(b.zone for b in scenario.blows), []).append(at)
    for rows in alike.values():
        own = np.array([net.events.scenarios[at].speed for at in rows])
        known = np.array(sorted(set(own)))
        middles = (known[1:] + known[:-1]) / 2.0
        ends = np.diff(known)[[0, -1]] / 2.0 if len(known) > 1 else np.zeros(2)
        edges = np.concatenate([[known[0] - ends[0]], middles, [known[-1] + ends[1]]])
        place = np.searchsorted(known, own)
        steps[rows] = np.stack([edges[place], edges[place + 1]], axis=1)
    return steps


def speed_quantiles(net: Network, scenario: Array, catalog: Catalog) -> SpeedChange | None:
    """Return quantiles of the worst blow's true delta-V: as recorded, or from the estimates."""
    recorded = _recorded_speed(net, catalog)
    if recorded is not None:
        return recorded
    steps = _steps(net) / catalog.priors.severity.bias
    weight = np.where(steps[:, 1] > 0.0, scenario, 0.0)
    if weight.sum() <= _TAIL:
        return None
    edges = np.array(sorted(set(steps[weight > 0.0].ravel())))
    inside = (edges[:, None] - steps[:, 0]) / np.maximum(steps[:, 1] - steps[:, 0], _TAIL)
    share = np.clip(inside, 0.0, 1.0) @ weight
    values = np.interp(np.array([0.1, 0.5, 0.9]) * weight.sum(), share, edges)
    return SpeedChange(p10=float(values[0]), p50=float(values[1]), p90=float(values[2]))
