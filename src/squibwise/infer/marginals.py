"""What is believed of every part, occupant and cause, from the engine's posterior.

Axes are those of the engine.
"""

from collections.abc import Mapping

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.infer.engine import (
    GroupResult,
    Message,
    Posterior,
    fired_message,
    is_lone,
    sum_over,
)
from squibwise.infer.network import Cluster, Group
from squibwise.infer.parts import PartModel

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
    full = group_weights(group, result, posterior)
    sums: dict[tuple[int, ...], Array] = {(): full}
    parts = {}
    for cluster, message in zip(group.clusters, result.messages, strict=True):
        base = (_lone_base if is_lone(cluster) else _fired_base)(cluster, sums, message)
        for place, part in enumerate(cluster.parts):
            others = [m for i, m in enumerate(message.parts) if i != place]
            joint = _part_joint(cluster, part, base, others, result)
            parts[part.id] = _part_belief(part, joint, result)
    spread_over = _summed(sums, (0, 1))[0, 0]
    people, causes = spread_over.sum(axis=(1, 2)), spread_over.sum(axis=(0, 1))
    return GroupBelief(group, _normed(people), _normed(causes), parts)


def given_event(
    posterior: Posterior, places: Mapping[str, tuple[int, int, int]], states: Mapping[str, Array]
) -> Array:
    """Return the chance of some micros of each part now: (rows of the full event table, parts).

    Args:
        posterior: With all evidence.
        places: Group, cluster and number of each part.
        states: Weight of each micro, 0 to 1, by part.
    """
    columns, known = [], dict[tuple[int, int], Array]()
    for name, weights in states.items():
        g, c, p = places[name]
        silent = posterior.groups[g].messages[c].factor is None
        key = (g, -1 if silent else c)  # silent clusters of a group leave the same out: nothing
        if key not in known:
            known = {k: v for k, v in known.items() if k == (g, -1)}
            known[key] = free_of(posterior.groups[g], c)
        table = given_event_each(posterior, (g, c, p), weights[None], known[key])
        columns.append(table.ravel())
    return np.array(columns).T


def free_of(result: GroupResult, place: int) -> Array:
    """Return the chance of (X, F, P, U, C) given the event, a cluster's own evidence left out."""
    message = result.messages[place]
    rest = result.people / result.people.sum(axis=(2, 4), keepdims=True)
    if result.joint is not None and result.table is not None:
        rest = result.joint / np.maximum(result.table[:, :, None, :, None], _TINY)
    return rest if message.factor is None else _divided(rest, message.factor)


def given_event_each(
    posterior: Posterior, place: tuple[int, int, int], states: Array, free: Array
) -> Array:
    """Return for each row of weights the chance of a part's micros now: (rows, X, F, U).

    Args:
        posterior: With all evidence.
        place: Group, cluster and number of the part.
        states: Weights of the micros, 0 to 1: (rows, micros).
        free: From ``free_of``, the same for all parts of a cluster.
    """
    g, c, p = place
    group, result = posterior.net.groups[g], posterior.groups[g]
    cluster, message = group.clusters[c], result.messages[c]
    part, made = cluster.parts[p], result.chains.get(cluster.parts[p].id)
    after = states[:, None, None, :]
    if made is not None and made.now is not None:
        after = np.moveaxis(made.now @ states.T, -1, 0)
    values = after if made is None else made.likelihood * after
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
    summed = sum_over(np.asarray(free * chance), 3, 5)[:, :, :, 0, :, 0]
    scale = 1.0 if made is None else float(made.likelihood.max())
    spoken = summed[:, group.sort] if summed.shape[1] > 1 else summed
    shape = (len(states), *posterior.weights.shape)
    return np.asarray(np.broadcast_to(spoken / scale, shape))


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
