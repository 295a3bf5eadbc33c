"""Exact inference: one pass over the event table, each group summed out inside itself.

Axes, where not said otherwise: rows of the event table X (in a group: its sorts of rows),
families F, people P of a seat, states U of the unit, common causes C of a group, what a cluster
fired Z, and micros M of a part.
"""

from functools import cached_property
from itertools import islice

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.causes import SPRING, Cause
from squibwise.infer.epochs import Chain, chain, work_matrices
from squibwise.infer.items import Item, OnPart
from squibwise.infer.network import Cluster, Group, Network
from squibwise.infer.parts import Part

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

    chains: dict[str, Chain]
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
    def rows(self) -> Array:
        """Chance of each row of the event table."""
        return np.asarray(self.weights.sum(axis=(1, 2)))


def spread(table: Array, group: Group) -> Array:
    """Return a group's table over the rows of the event table instead of its sorts."""
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
        family = np.array([f.weight for f in net.table])
        prior = net.rows.weight[:, None] * net.unit
        self.prior = prior[:, None, :] * family[None, :, None]
        self.place = {p.id: (g, c, i) for g, c, i, p in net.parts()}
        self._cache: dict[tuple[int, tuple[int, ...]], GroupResult] = {}
        self._touched: dict[int, tuple[Item, frozenset[int]]] = {}

    def run(self, items: tuple[Item, ...]) -> Posterior:
        """Return the posterior under these items."""
        mine: list[list[Item]] = [[] for _ in self.net.groups]
        for item in items:
            for index in self.touched(item):
                mine[index].append(item)
        groups = tuple(self._known(g, tuple(own)) for g, own in enumerate(mine))
        return self.combine(groups, self.event(items))

    def event(self, items: tuple[Item, ...]) -> Array:
        """Return the likelihood of what speaks of the event itself: (X, 1, 1)."""
        rows = np.ones(len(self.net.rows.weight))
        for item in items:
            if item.rows is not None:
                rows = rows * item.rows
        return rows[:, None, None]

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

    def group(self, index: int, items: tuple[Item, ...]) -> GroupResult:
        """Return one group under these items; remembered by the items that touch it."""
        return self._known(index, tuple(i for i in items if index in self.touched(i)))

    def _known(self, index: int, mine: tuple[Item, ...]) -> GroupResult:
        key = (index, tuple(id(item) for item in mine))
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

    def touched(self, item: Item) -> frozenset[int]:
        """Return the groups an item speaks of. Items are kept, so that their ids stay theirs."""
        known = self._touched.get(id(item))
        if known is None:
            parts = {self.place[on.part][0] for on in item.parts}
            names = {on.group for on in item.seats}
            seats = {g for g, group in enumerate(self.net.groups) if group.name in names}
            known = (item, frozenset(parts | seats))
            self._touched[id(item)] = known
        return known[1]

    def _solve(self, index: int, items: tuple[Item, ...]) -> GroupResult:
        group = self.net.groups[index]
        evidence: dict[str, list[OnPart]] = {}
        for item in items:
            for on in item.parts:
                if self.place[on.part][0] == index:
                    evidence.setdefault(on.part, []).append(on)
        chains = self._chains(group, evidence)
        scale = 0.0
        messages = []
        for cluster in group.clusters:
            message, log = _message(cluster, chains)
            messages.append(message)
            scale += log
        people = _people(group, items)
        factors = [m.factor for m in messages if m.factor is not None]
        if not factors and not any(s.group == group.name for i in items for s in i.seats):
            return GroupResult(chains, tuple(messages), people, None, None, 0.0)
        joint = people
        for factor in sorted(factors, key=lambda f: f.size):
            joint = joint * factor
        return GroupResult(chains, tuple(messages), people, joint, joint.sum(axis=(2, 4)), scale)

    def _chains(self, group: Group, evidence: dict[str, list[OnPart]]) -> dict[str, Chain]:
        units, causes = self.net.unit.shape[1], len(group.causes)
        result = {}
        for cluster in group.clusters:
            for part in cluster.parts:
                found = evidence.get(part.id, [])
                spring = part.id == _SPRING and _has_spring(group.causes)
                if found or self.works[part.id] or spring:
                    shape = (units, causes, len(part.micros))
                    made = chain(found, self.works[part.id], shape)
                    result[part.id] = _bound_to_cause(made, part, group.causes) if spring else made
        return result


def _has_spring(causes: tuple[Cause, ...]) -> bool:
    return any(c.name == SPRING for c in causes)


def _bound_to_cause(made: Chain, part: Part, causes: tuple[Cause, ...]) -> Chain:
    """Return the chain of a clock spring, faulty exactly under the cause of that name."""
    faulty = np.array([m.state == "faulty" for m in part.micros])
    named = np.array([c.name == SPRING for c in causes])
    return Chain(made.likelihood * (faulty == named[:, None]), made.now)


def _people(group: Group, items: tuple[Item, ...]) -> Array:
    """Return prior and likelihood of occupants and causes: (X or 1, 1, P, 1, C)."""
    seat = group.seat.prior
    for item in items:
        for on in item.seats:
            if on.group == group.name:
                seat = seat * on.values
    weights = np.array([c.weight for c in group.causes])
    return np.asarray(seat[:, None, :, None, None] * weights)


def _message(cluster: Cluster, chains: dict[str, Chain]) -> tuple[Message, float]:
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


def part_message(part: Part, likelihood: Array) -> Array:
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
