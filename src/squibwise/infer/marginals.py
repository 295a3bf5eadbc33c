"""Beliefs about each part, occupant and cause from a posterior."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.infer.network import Cluster, Group
from squibwise.infer.parts import Part
from squibwise.infer.posterior import GroupResult, Message, Posterior, fired_message, spread

Array = npt.NDArray[np.float64]
_TINY = 1e-300


class PartMarginal(msgspec.Struct, frozen=True):
    """What is believed of one part.

    Attributes:
        after: Chance of each micro after the crash, with each cause: (C, M).
        now: The same now.
    """

    part: Part
    after: Array
    now: Array


class GroupMarginal(msgspec.Struct, frozen=True):
    """What is believed within one group.

    Attributes:
        people: Chance of each occupant word.
        causes: Chance of each common cause.
        parts: By component id.
    """

    group: Group
    people: Array
    causes: Array
    parts: dict[str, PartMarginal]


def marginals(posterior: Posterior) -> tuple[GroupMarginal, ...]:
    """Return the beliefs about every group."""
    return tuple(group_marginal(posterior, g) for g in range(len(posterior.groups)))


def group_marginal(posterior: Posterior, index: int) -> GroupMarginal:
    """Return the beliefs about one group."""
    group, result = posterior.net.groups[index], posterior.groups[index]
    full = group_weights(group, result, posterior)
    rows = np.asarray(full.sum(axis=(1, 2)))
    parts = {}
    for cluster, message in zip(group.clusters, result.messages, strict=True):
        base = (
            _lone_base(rows, message) if is_lone(cluster) else _fired_base(cluster, full, message)
        )
        for place, part in enumerate(cluster.parts):
            others = [m for i, m in enumerate(message.parts) if i != place]
            joint = _part_joint(cluster, part, base, others, result)
            parts[part.id] = _part_marginal(part, joint, result)
    people, causes = full.sum(axis=(0, 1, 3, 4)), full.sum(axis=(0, 1, 2, 3))
    return GroupMarginal(group, _normed(people), _normed(causes), parts)


def given_event(posterior: Posterior, place: tuple[int, int, int], states: Array) -> Array:
    """Return the chance of some micros of a part now, by row of the full event table: (X, F, U).

    Args:
        posterior: With all evidence.
        place: Group, cluster and number of the part.
        states: Weight of each micro, 0 to 1.
    """
    g, c, p = place
    group, result = posterior.net.groups[g], posterior.groups[g]
    cluster, message = group.clusters[c], result.messages[c]
    part, made = cluster.parts[p], result.chains.get(cluster.parts[p].id)
    rest = result.people / result.people.sum(axis=(2, 4), keepdims=True)
    if result.joint is not None and result.table is not None:
        rest = result.joint / np.maximum(result.table[:, :, None, :, None], _TINY)
    if message.factor is not None:
        rest = _divided(rest, message.factor)
    values = np.ones((1, 1, len(part.micros))) if made is None else made.likelihood
    after = states if made is None or made.now is None else made.now @ states
    by_class = np.einsum("kzm,ucm->kucz", part.prior, values * after)
    if is_lone(cluster):
        flat = by_class[..., 0] if part.classes is None else by_class[part.classes, ..., 0]
        chance = flat[:, None, None]
    else:
        others = [m for i, m in enumerate(message.parts) if i != p]
        table = by_class[0] * fired_message(others)
        x, f, n, size = cluster.fires.shape
        chance = cluster.fires.reshape(-1, size) @ table.reshape(-1, size).T
        chance = chance.reshape(x, f, n, *table.shape[:2])
    summed = (rest * chance).sum(axis=(2, 4))
    scale = 1.0 if made is None else float(made.likelihood.max())
    return np.asarray(np.broadcast_to(spread(summed / scale, group), posterior.weights.shape))


def group_weights(group: Group, result: GroupResult, posterior: Posterior) -> Array:
    """Return the posterior over (X, F, P, U, C) of one group."""
    weights = np.add.reduceat(posterior.weights[group.order], group.starts, axis=0)
    if result.table is None or result.joint is None:
        people = result.people / result.people.sum(axis=(2, 4), keepdims=True)
        return np.asarray(weights[:, :, None, :, None] * people)
    free = _divided(weights, result.table)
    return np.asarray(free[:, :, None, :, None] * result.joint)


def _divided(values: Array, by: Array) -> Array:
    shape = np.broadcast_shapes(values.shape, by.shape)
    out = np.zeros(shape)
    return np.asarray(np.divide(values, by, out=out, where=np.broadcast_to(by, shape) > 0.0))


def is_lone(cluster: Cluster) -> bool:
    """Return whether a cluster is one part without a charge."""
    return bool(cluster.fires.shape[-1] == 1)


def _lone_base(rows: Array, message: Message) -> Array:
    """Return the chance of (X, U, C) with the part's own evidence left out."""
    return rows if message.factor is None else _divided(rows, message.factor[:, 0, 0])


def _fired_base(cluster: Cluster, full: Array, message: Message) -> Array:
    """Return the chance of what a cluster fired with its own evidence left out: (U, C, Z)."""
    return _by_fired(cluster, full if message.factor is None else _divided(full, message.factor))


def _part_joint(
    cluster: Cluster, part: Part, base: Array, others: list[Array | None], result: GroupResult
) -> Array:
    """Return the chance of (U, C, M) of one part."""
    made = result.chains.get(part.id)
    if is_lone(cluster):
        joint = np.einsum("kuc,km->ucm", _by_class(part, base), part.prior[:, 0, :])
    else:
        joint = np.einsum("ucz,zm->ucm", base * fired_message(others), part.prior[0])
    return np.asarray(joint if made is None else joint * made.likelihood)


def _by_class(part: Part, rows: Array) -> Array:
    """Return (X, U, C) summed into the part's damage classes."""
    if part.classes is None:
        return np.asarray(rows.sum(axis=0, keepdims=True))
    size = part.prior.shape[0]
    member = part.classes == np.arange(size)[:, None]
    return np.asarray((member @ rows.reshape(len(rows), -1)).reshape(size, *rows.shape[1:]))


def _by_fired(cluster: Cluster, rest: Array) -> Array:
    """Return the chance of what a cluster fired, its own evidence left out: (U, C, Z)."""
    fires = cluster.fires
    axes = tuple(a for a in range(3) if fires.shape[a] == 1 and rest.shape[a] > 1)
    summed = rest.sum(axis=axes, keepdims=True) if axes else rest
    shape = np.broadcast_shapes(summed.shape[:3], fires.shape[:3])
    size = fires.shape[-1]
    left = np.broadcast_to(summed, (*shape, *summed.shape[3:])).reshape(-1, *summed.shape[3:])
    right = np.broadcast_to(fires, (*shape, size)).reshape(-1, size)
    units, causes = left.shape[1:]
    flat = left.reshape(left.shape[0], -1).T @ right
    return np.asarray(flat.reshape(units, causes, size))


def _part_marginal(part: Part, joint: Array, result: GroupResult) -> PartMarginal:
    joint = joint / joint.sum()
    made = result.chains.get(part.id)
    after = joint.sum(axis=0)
    if made is None or made.now is None:
        return PartMarginal(part, after, after)
    now = np.einsum(
        "ucm,ucmn->cn", joint, np.broadcast_to(made.now, (*joint.shape, joint.shape[-1]))
    )
    return PartMarginal(part, after, now)


def _normed(values: Array) -> Array:
    return np.asarray(values / values.sum())
