"""What is believed of every part, occupant, cause and speed, from the engine's posterior.

Axes are those of the engine.
"""

from collections.abc import Mapping

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.engine import (
    GroupResult,
    Message,
    Posterior,
    fired_message,
    is_lone,
    sum_over,
)
from squibwise.infer.network import Cluster, Group, Network
from squibwise.infer.parts import EpochChain, PartModel, chance_now, likelihood_now
from squibwise.model.belief import SpeedChange
from squibwise.model.evidence import Recorder

Array = npt.NDArray[np.float64]
_TINY = 1e-300


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
    if is_alone(group):
        return _belief_alone(posterior, group, result)
    sums: dict[tuple[int, ...], Array] = {(): group_weights(group, result, posterior)}
    parts: dict[str, PartBelief] = {}
    for cluster, message in zip(group.clusters, result.messages, strict=True):
        weights = summed(sums, silent_axes(cluster))
        if message.factor is not None:
            weights = divided(weights, message.factor)
        base = base_of_cluster(cluster, weights)
        parts |= cluster_beliefs(cluster, message, result.chains, base)
    spread_over = summed(sums, (0, 1))[0, 0]
    people, causes = spread_over.sum(axis=(1, 2)), spread_over.sum(axis=(0, 1))
    return GroupBelief(group, _normed(people), _normed(causes), parts)


def is_alone(group: Group) -> bool:
    """Return whether a group is one part without a charge, a seat or a common cause."""
    size = len(group.clusters), len(group.seat.words), len(group.causes)
    return size == (1, 1, 1) and is_lone(group.clusters[0])


def _belief_alone(posterior: Posterior, group: Group, result: GroupResult) -> GroupBelief:
    """Return the beliefs about such a group: it hangs on nothing but event and unit."""
    (cluster,), (message,) = group.clusters, result.messages
    weights = posterior.unit[None]
    if cluster.parts[0].classes is not None:
        weights = np.add.reduceat(posterior.events_and_unit[group.order], group.starts, axis=0)
    if message.factor is not None:
        weights = divided(weights, message.factor[:, 0, 0, :, 0])
    parts = cluster_beliefs(cluster, message, result.chains, weights[:, :, None])
    return GroupBelief(group, np.ones(1), np.ones(1), parts)


def silent_axes(cluster: Cluster) -> tuple[int, ...]:
    """Return the axes of events, families and people along which a cluster is the same."""
    if is_lone(cluster):
        return (0, 1, 2) if cluster.parts[0].classes is None else (1, 2)
    return tuple(a for a in range(3) if cluster.fires.shape[a] == 1)


def base_of_cluster(cluster: Cluster, weights: Array) -> Array:
    """Return the chances of what a cluster hangs on with its own evidence left out.

    A cluster's factor is the same along every axis along which it fires the same, so summing
    first and dividing afterwards gives the same.

    Args:
        cluster: The cluster.
        weights: Those of its group, summed over ``silent_axes`` and divided by its factor.

    Returns:
        By what it fired, (U, C, Z); of one part without a charge by event, (X or 1, U, C).
    """
    return weights[:, 0, 0] if is_lone(cluster) else _by_fired(cluster, weights)


def cluster_beliefs(
    cluster: Cluster, message: Message, chains: Mapping[str, EpochChain], base: Array
) -> dict[str, PartBelief]:
    """Return the beliefs about the parts of one cluster.

    Args:
        cluster: The cluster.
        message: What its evidence says.
        chains: The same by part.
        base: From ``base_of_cluster``.
    """
    if is_lone(cluster):
        (part,) = cluster.parts
        hung = _by_class(part, base).transpose(1, 2, 0)
        return {part.id: _part_belief(part, hung, part.prior[:, 0], chains)}
    parts = {}
    for place, part in enumerate(cluster.parts):
        others = [m for i, m in enumerate(message.parts) if i != place]
        hung = base if all(m is None for m in others) else base * fired_message(others)
        parts[part.id] = _part_belief(part, hung, part.prior[0], chains)
    return parts


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
    g, c, _ = place
    cluster, message = posterior.net.groups[g].clusters[c], posterior.groups[g].messages[c]
    said = said_each(posterior, place, states)
    if is_lone(cluster):
        chance = said[:, :, None, None]
    else:
        x, f, n, size = cluster.fires.shape
        chance = cluster.fires.reshape(-1, size) @ said.reshape(-1, size).T
        chance = np.moveaxis(chance.reshape(x, f, n, *said.shape[:3]), 3, 0)
    return chance if message.factor is None else divided(chance, message.factor)


def said_each(posterior: Posterior, place: tuple[int, int, int], states: Array) -> Array:
    """Return for each row of weights the likelihood of a part's micros now and of its cluster.

    By what the cluster fired, (rows, U, C, Z); of one part without a charge by event, (rows, X or
    1, U, C). Broadcastable.
    """
    g, c, p = place
    cluster, result = posterior.net.groups[g].clusters[c], posterior.groups[g]
    part, made = cluster.parts[p], result.chains.get(cluster.parts[p].id)
    values = states[:, None, None, :]
    if made is not None:
        values = likelihood_now(made, states) / made.likelihood.max()
    by_class = np.einsum("kzm,sucm->skucz", part.prior, values)
    if is_lone(cluster):
        by_class = by_class[..., 0]
        return np.asarray(by_class if part.classes is None else by_class[:, part.classes])
    others = [m for i, m in enumerate(result.messages[c].parts) if i != p]
    return np.asarray(by_class[:, 0] * fired_message(others))


def group_weights(group: Group, result: GroupResult, posterior: Posterior) -> Array:
    """Return the posterior over (X, F, P, U, C) of one group."""
    weights = np.add.reduceat(posterior.weights[group.order], group.starts, axis=0)
    if result.table is None or result.joint is None:
        people = result.people / result.people.sum(axis=(2, 4), keepdims=True)
        return np.asarray(weights[:, :, None, :, None] * people)
    free = divided(weights, result.table)
    return np.asarray(free[:, :, None, :, None] * result.joint)


def divided(values: Array, by: Array) -> Array:
    """Return a quotient, zero where there is nothing to divide by."""
    if by.min() > 0.0:
        return np.asarray(values / by)
    out = np.zeros(np.broadcast_shapes(values.shape, by.shape))
    return np.asarray(np.divide(values, by, out=out, where=np.broadcast_to(by > 0.0, out.shape)))


def summed(sums: dict[tuple[int, ...], Array], axes: tuple[int, ...]) -> Array:
    """Return the weights of a group summed over some axes, which stay with length one."""
    found = sums.get(axes)
    if found is None:
        start = max((a for a in sums if set(a) <= set(axes)), key=len)
        left = tuple(a for a in axes if a not in start)
        found = sums[axes] = sum_over(sums[start], *left)
    return found


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


def _part_belief(
    part: PartModel, hung: Array, prior: Array, chains: Mapping[str, EpochChain]
) -> PartBelief:
    """Return the belief about a part from the chances of what it hangs on.

    Args:
        part: The part.
        hung: Chance of what it hangs on, its own evidence left out: (U, C, damage class or fired).
        prior: Chance of each micro by the last of these.
        chains: Its evidence.
    """
    made = chains.get(part.id)
    if made is None:
        after = hung.sum(axis=0) @ prior
        after /= after.sum()
        return PartBelief(part, after, after)
    free = (hung.reshape(-1, len(prior)) @ prior).reshape(*hung.shape[:2], -1)
    after = (free * made.likelihood).sum(axis=0)
    total = after.sum()
    after /= total
    return PartBelief(part, after, chance_now(made, free) / total if made.works else after)


def _normed(values: Array) -> Array:
    return np.asarray(values / values.sum())


_TAIL = 1e-12
_TENTH_TO_MEDIAN = 1.2816  # standard deviations of a normal distribution


def _recorded_speed(net: Network, catalog: Catalog) -> SpeedChange | None:
    """Return the worst recorded delta-V with the accuracy that the rule asks of a recorder."""
    found = [
        (np.hypot(e.delta_v_long_kmh or 0.0, e.delta_v_lat_kmh or 0.0), e.u_kmh)
        for _, e in net.line.all_of(Recorder)
        if e.method != "estimate" and (e.delta_v_long_kmh, e.delta_v_lat_kmh) != (None, None)
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
    """Return quantiles of the worst blow's true delta-V: as recorded, where that is believed.

    A record of too little, of one of several events or of one axis is not where most of what may
    have happened was of another speed: then as that has it.
    """
    recorded, steps = _recorded_speed(net, catalog), _steps(net) / catalog.priors.severity.bias
    weight = np.where(steps[:, 1] > 0.0, scenario, 0.0)
    if weight.sum() <= _TAIL:
        return recorded
    if recorded is not None:
        apart = np.maximum(steps[:, 0] - recorded.p50, recorded.p50 - steps[:, 1])
        near = weight[apart <= catalog.firing.scans.clash.recorders_apart_kmh].sum()
        if near >= weight.sum() / 2.0:
            return recorded
    edges = np.array(sorted(set(steps[weight > 0.0].ravel())))
    inside = (edges[:, None] - steps[:, 0]) / np.maximum(steps[:, 1] - steps[:, 0], _TAIL)
    share = np.clip(inside, 0.0, 1.0) @ weight
    values = np.interp(np.array([0.1, 0.5, 0.9]) * weight.sum(), share, edges)
    return SpeedChange(p10=float(values[0]), p50=float(values[1]), p90=float(values[2]))
