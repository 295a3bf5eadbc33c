"""Exact inference: one pass over the event table, each group summed out inside itself.

Axes, where not said otherwise: events of the event table X (in a group: its sorts of events),
families F, people P of a seat, states U of the unit, common causes C of a group, what a cluster
fired Z, and micros M of a part.
"""

from functools import cached_property
from itertools import islice

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.circuits import SPRING, Cause
from squibwise.infer.epochs import EpochChain, fold_evidence, work_matrices
from squibwise.infer.network import Cluster, Group, Likelihood, Network, OnComponent
from squibwise.infer.parts import PartModel

Array = npt.NDArray[np.float64]
_SPRING = "driver.clock-spring"
_KEPT = 4  # results remembered per group


class Message(msgspec.Struct, frozen=True):
    """What the evidence on one cluster says.

    Attributes:
        parts: Likelihood by part over (U, C, Z), or (X, U, C) for a part with damage classes;
            None = silent.
        factor: Likelihood over (X, F, P, U, C), broadcastable; None = silent.
    """

    parts: tuple[Array | None, ...]
    factor: Array | None


class GroupResult(msgspec.Struct, frozen=True):
    """One group with its evidence.

    Attributes:
        chains: By part id.
        messages: By cluster.
        people: Likelihood and prior of occupants and causes: (X or 1, 1, P, 1, C).
        joint: (X, F, P, U, C) likelihood incl. prior of P and C; None = silent.
        table: Likelihood of the group's evidence: (X, F, U); None = silent.
        log_scale: Log of what was divided out.
    """

    chains: dict[str, EpochChain]
    messages: tuple[Message, ...]
    people: Array
    joint: Array | None
    table: Array | None
    log_scale: float


class Posterior(msgspec.Struct, frozen=True, dict=True):
    """The event table and every group after the evidence.

    Attributes:
        weights: (X, F, U), summing to one.
        log_evidence: Log probability of the evidence.
        groups: In the order of the network.
    """

    net: Network
    weights: Array
    log_evidence: float
    groups: tuple[GroupResult, ...]

    @cached_property
    def events(self) -> Array:
        """Chance of each event."""
        return np.asarray(self.weights.sum(axis=(1, 2)))

    @cached_property
    def unit(self) -> Array:
        """Chance of each state of the unit and its reports."""
        return np.asarray(self.weights.sum(axis=(0, 1)))


def spread(table: Array, group: Group) -> Array:
    """Return a group's table over the events of the event table instead of its sorts."""
    return np.asarray(table[group.sort] if len(table) > 1 else table)


class Engine:
    """The network with what never changes between runs. A class because runs share its cache.

    Args:
        net: The model.
        catalog: Figures for what work does.
    """

    def __init__(self, net: Network, catalog: Catalog) -> None:
        self.net = net
        self.works = {
            p.id: work_matrices(p, net.near[p.id], net.line, catalog) for *_, p in net.parts()
        }
        family = np.array([f.weight for f in net.logics])
        prior = net.events.weight[:, None] * net.unit
        self.prior = prior[:, None, :] * family[None, :, None]
        self.place = {p.id: (g, c, i) for g, c, i, p in net.parts()}
        self._cache: dict[tuple[int, tuple[int, ...]], GroupResult] = {}
        self._touched: dict[int, tuple[Likelihood, frozenset[int]]] = {}
        self._tellings: dict[tuple[int, int, tuple[int, ...]], _Told] = {}
        self._bases: dict[int, tuple[tuple[Message, ...], Array]] = {}
        self._rests: dict[tuple[int, int], Array] = {}

    def run(self, likelihoods: tuple[Likelihood, ...]) -> Posterior:
        """Return the posterior under these likelihoods."""
        mine: list[list[Likelihood]] = [[] for _ in self.net.groups]
        for piece in likelihoods:
            for index in self.touched(piece):
                mine[index].append(piece)
        groups = tuple(self._known(g, tuple(own)) for g, own in enumerate(mine))
        return self.combine(groups, self.event(likelihoods))

    def event(self, likelihoods: tuple[Likelihood, ...]) -> Array:
        """Return the likelihood of what speaks of the event itself: (X, 1, 1 or U)."""
        result = np.ones((len(self.net.events.weight), 1))
        for piece in likelihoods:
            if piece.events is not None:
                result = result * piece.events.reshape(len(result), -1)
        return result[:, None, :]

    def combine(self, groups: tuple[GroupResult, ...], event: Array) -> Posterior:
        """Return the posterior from the groups' tables and the event's own evidence."""
        weights = self.prior * event
        scale = 0.0
        for group, result in zip(self.net.groups, groups, strict=True):
            if result.table is not None:
                weights = weights * spread(result.table, group)
                scale += result.log_scale
        total = float(weights.sum())
        return Posterior(self.net, weights / total, float(np.log(total)) + scale, groups)

    def group(self, index: int, likelihoods: tuple[Likelihood, ...]) -> GroupResult:
        """Return one group under these likelihoods; remembered by the likelihoods that touch it."""
        return self._known(index, tuple(i for i in likelihoods if index in self.touched(i)))

    def _known(self, index: int, mine: tuple[Likelihood, ...]) -> GroupResult:
        key = (index, tuple(id(piece) for piece in mine))
        found = self._cache.get(key)
        if found is None:
            found = self._solve(index, mine)
            self._remember(key, found)
        return found

    def _remember(self, key: tuple[int, tuple[int, ...]], found: GroupResult) -> None:
        """Keep a result; the first ones (all evidence, none) stay, later ones make room."""
        groups = len(self.net.groups)
        if len(self._cache) >= _KEPT * groups:
            del self._cache[next(islice(self._cache, 2 * groups, None))]
        self._cache[key] = found

    def touched(self, piece: Likelihood) -> frozenset[int]:
        """Return the groups an piece speaks of. Items are kept, so that their ids stay theirs."""
        known = self._touched.get(id(piece))
        if known is None:
            parts = {self.place[on.part][0] for on in piece.parts}
            names = {on.group for on in piece.seats}
            seats = {g for g, group in enumerate(self.net.groups) if group.name in names}
            known = (piece, frozenset(parts | seats))
            self._touched[id(piece)] = known
        return known[1]

    def _solve(self, index: int, likelihoods: tuple[Likelihood, ...]) -> GroupResult:
        group = self.net.groups[index]
        evidence: dict[str, list[OnComponent]] = {}
        for piece in likelihoods:
            for on in piece.parts:
                if self.place[on.part][0] == index:
                    evidence.setdefault(on.part, []).append(on)
        told = [self._tell(index, place, evidence) for place in range(len(group.clusters))]
        chains = {name: made for one in told for name, made in one.chains.items()}
        messages = tuple(one.message for one in told)
        people = _occupants_and_causes(group, likelihoods)
        seated = any(s.group == group.name for i in likelihoods for s in i.seats)
        if not seated and all(m.factor is None for m in messages):
            return GroupResult(chains, messages, people, None, None, 0.0)
        joint = self._joint(index, messages, people)
        scale = sum(one.scale for one in told)
        return GroupResult(chains, messages, people, joint, sum_over(joint, 2, 4)[:, :, 0, :, 0], scale)

    def _joint(self, index: int, messages: tuple[Message, ...], people: Array) -> Array:
        """Return the product of all factors; where one cluster alone speaks otherwise, of two."""
        base = self._bases.setdefault(index, (messages, people))
        changed = [i for i, (a, b) in enumerate(zip(messages, base[0], strict=True)) if a is not b]
        factor = messages[changed[0]].factor if len(changed) == 1 else None
        if factor is None or not np.array_equal(people, base[1]):
            return _product(people, messages)
        rest = self._rests.get((index, changed[0]))
        if rest is None:
            others = tuple(m for i, m in enumerate(base[0]) if i != changed[0])
            rest = self._rests[index, changed[0]] = _product(people, others)
        return rest * factor

    def _tell(self, index: int, place: int, evidence: dict[str, list[OnComponent]]) -> "_Told":
        """Return what the evidence on one cluster says; remembered by the evidence on it."""
        cluster = self.net.groups[index].clusters[place]
        mine = [on for part in cluster.parts for on in evidence.get(part.id, ())]
        key = (index, place, tuple(id(on) for on in mine))
        told = self._tellings.get(key)
        if told is None:
            chains = self._chains(self.net.groups[index], cluster, evidence)
            told = _Told(*_message(cluster, chains), chains)
            self._tellings[key] = told
        return told

    def _chains(
        self, group: Group, cluster: Cluster, evidence: dict[str, list[OnComponent]]
    ) -> dict[str, EpochChain]:
        units, causes = self.net.unit.shape[1], len(group.causes)
        result = {}
        for part in cluster.parts:
            found = evidence.get(part.id, [])
            spring = part.id == _SPRING and _has_spring(group.causes)
            if found or self.works[part.id] or spring:
                shape = (units, causes, len(part.micros))
                made = fold_evidence(found, self.works[part.id], shape)
                result[part.id] = _bound_to_cause(made, part, group.causes) if spring else made
        return result


class _Told(msgspec.Struct, frozen=True):
    """What the evidence on one cluster says, the log of what was divided out, and the chains."""

    message: Message
    scale: float
    chains: dict[str, EpochChain]


def sum_over(values: Array, *axes: int) -> Array:
    """Return a sum over some axes, which stay with length one.

    By a product with ones: over a middle axis that is three to ten times faster than a plain sum.
    """
    for axis in axes:
        shape, size = values.shape, values.shape[axis]
        if size > 1:
            after = int(np.prod(shape[axis + 1 :]))
            table = values.reshape(-1, size, after)
            summed = table[:, :, 0] @ np.ones(size) if after == 1 else np.ones((1, size)) @ table
            values = summed.reshape(*shape[:axis], 1, *shape[axis + 1 :])
    return values


def _product(people: Array, messages: tuple[Message, ...]) -> Array:
    """Return occupants and causes times the factors, the small ones first."""
    joint = people
    factors = [m.factor for m in messages if m.factor is not None]
    for factor in sorted(factors, key=lambda f: f.size):
        joint = joint * factor
    return joint


def _has_spring(causes: tuple[Cause, ...]) -> bool:
    return any(c.name == SPRING for c in causes)


def _bound_to_cause(made: EpochChain, part: PartModel, causes: tuple[Cause, ...]) -> EpochChain:
    """Return the chain of a clock spring, faulty exactly under the cause of that name."""
    faulty = np.array([m.state == "faulty" for m in part.micros])
    named = np.array([c.name == SPRING for c in causes])
    return EpochChain(made.likelihood * (faulty == named[:, None]), made.now)


def _occupants_and_causes(group: Group, likelihoods: tuple[Likelihood, ...]) -> Array:
    """Return prior and likelihood of occupants and causes: (X or 1, 1, P, 1, C)."""
    seat = group.seat.prior
    for piece in likelihoods:
        for on in piece.seats:
            if on.group == group.name:
                seat = seat * on.values
    weights = np.array([c.weight for c in group.causes])
    return np.asarray(seat[:, None, :, None, None] * weights)


def _message(cluster: Cluster, chains: dict[str, EpochChain]) -> tuple[Message, float]:
    """Return what the evidence on a cluster says, and the log of what was divided out."""
    parts: list[Array | None] = []
    scale = 0.0
    for part in cluster.parts:
        made = chains.get(part.id)
        if made is None:
            parts.append(None)
            continue
        top = float(made.likelihood.max())
        parts.append(part_message(part, made.likelihood / top))
        scale += float(np.log(top))
    if all(p is None for p in parts):
        return Message(tuple(parts), None), 0.0
    return Message(tuple(parts), _factor(cluster, parts)), scale


def part_message(part: PartModel, likelihood: Array) -> Array:
    """Return a part's likelihood by what its cluster fired: (U, C, Z), or (X, U, C)."""
    by_class = np.einsum("kzm,ucm->kucz", part.prior, likelihood)
    if part.classes is None:
        return np.asarray(by_class[0])
    return np.asarray(by_class[part.classes, :, :, 0])


def _factor(cluster: Cluster, parts: list[Array | None]) -> Array:
    """Return a cluster's likelihood over (X, F, P, U, C), broadcastable."""
    if cluster.fires.shape[-1] == 1:
        return _lone_factor(cluster, parts)
    product = fired_message(parts)
    units, causes, size = product.shape
    x, f, p, _ = cluster.fires.shape
    flat = cluster.fires.reshape(-1, size) @ product.reshape(-1, size).T
    return np.asarray(flat.reshape(x, f, p, units, causes))


def _lone_factor(cluster: Cluster, parts: list[Array | None]) -> Array:
    (message,) = parts
    assert message is not None  # noqa: S101
    if cluster.parts[0].classes is None:
        return np.asarray(message[None, None, None, :, :, 0])
    return np.asarray(message[:, None, None])


def fired_message(parts: list[Array | None] | tuple[Array | None, ...]) -> Array:
    """Return the product of the parts' likelihoods: (U, C, Z)."""
    product: Array | None = None
    for message in parts:
        if message is not None:
            product = message if product is None else product * message
    if product is None:
        return np.ones((1, 1, 1))
    return product


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


def given_event(posterior: Posterior, place: tuple[int, int, int], states: Array) -> Array:
    """Return the chance of some micros of a part now, by row of the full event table: (X, F, U).

    Args:
        posterior: With all evidence.
        place: Group, cluster and number of the part.
        states: Weight of each micro, 0 to 1.
    """
    g, c, p = place
    free = free_of(posterior.groups[g], c)
    return np.asarray(given_event_each(posterior, (g, c, p), states[None], free)[0])


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
    """Return for each row of weights what ``given_event`` does: (rows, X, F, U).

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


def is_lone(cluster: Cluster) -> bool:
    """Return whether a cluster is one part without a charge."""
    return bool(cluster.fires.shape[-1] == 1)


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


def _fired_base(
    cluster: Cluster, sums: dict[tuple[int, ...], Array], message: Message
) -> Array:
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
