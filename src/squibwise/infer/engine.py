"""Exact inference: one pass over the event table, each group summed out inside itself.

Axes, where not said otherwise: events of the event table X (in a group: its sorts of events),
families F, people P of a seat, states U of the unit, common causes C of a group, what a cluster
fired Z, and micros M of a part.
"""

import math
from functools import cached_property, lru_cache, reduce
from itertools import islice
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.circuits import SPRING, Cause
from squibwise.infer.network import Cluster, Group, Likelihood, Network
from squibwise.infer.parts import EpochChain, OnComponent, PartModel, fold_evidence, work_matrices

Array = npt.NDArray[np.float64]
_SPRING = "driver.clock-spring"
_KEPT = 1  # results remembered besides those of all the evidence, and of none


class Message(msgspec.Struct, frozen=True):
    """What the evidence on one cluster says.

    Attributes:
        parts: Likelihood by part over (U, C, Z), or (X, U, C) for a part with damage classes;
            None = silent.
        factor: Likelihood over (X, F, P, U, C), broadcastable; None = silent.
    """

    parts: tuple[Array | None, ...]
    factor: Array | None


class Told(msgspec.Struct, frozen=True):
    """What the evidence on one cluster says, the log of what was divided out, and the chains."""

    message: Message
    scale: float
    chains: dict[str, EpochChain]


class GroupResult(msgspec.Struct, frozen=True):
    """One group with its evidence.

    Attributes:
        chains: By part id.
        messages: By cluster.
        people: Likelihood and prior of occupants and causes: (X or 1, 1, P, 1, C).
        joint: (X, F, P, U, C) likelihood incl. prior of P and C; None = silent.
        table: Likelihood of the group's evidence: (X, F, U); None = silent.
        scales: Log of what was divided out, by cluster.
        scale: Their sum.
    """

    chains: dict[str, EpochChain]
    messages: tuple[Message, ...]
    people: Array
    joint: Array | None
    table: Array | None
    scales: tuple[float, ...]
    scale: float


class Posterior(msgspec.Struct, frozen=True, dict=True):
    """The event table and every group after the evidence.

    Attributes:
        weights: (X, F, U), summing to one.
        log_evidence: Log probability of the evidence.
        groups: In the order of the network.
        event: Likelihood of what speaks of the event itself: (X, 1, 1 or U).
    """

    net: Network
    weights: Array
    log_evidence: float
    groups: tuple[GroupResult, ...]
    event: Array

    @cached_property
    def events(self) -> Array:
        """Chance of each event."""
        return np.asarray(self.weights.sum(axis=(1, 2)))

    @cached_property
    def events_and_unit(self) -> Array:
        """Chance of each event with each state of the unit: (X, U)."""
        return np.asarray(self.weights.sum(axis=1))

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
            p.id: work_matrices(p, net.near[p.id], net.line, net.repairs, catalog)
            for *_, p in net.parts()
        }
        family = np.array([f.weight for f in net.logics])
        prior = net.events.weight[:, None] * net.unit
        self.prior = prior[:, None, :] * family[None, :, None]
        self.place = {p.id: (g, c, i) for g, c, i, p in net.parts()}
        # Kept by id: _touched holds the pieces, so no id is used twice.
        # _cache: groups, by the pieces on each
        # never let go: _touched, groups that a piece is on; _priors, a group before any evidence
        # _tellings, _folded: clusters, parts, by the evidence on each; the first (_lasting) stay
        self._cache: dict[tuple[int, tuple[int, ...]], GroupResult] = {}
        self._touched: dict[int, tuple[Likelihood, frozenset[int]]] = {}
        self._tellings: dict[tuple[int, int, tuple[int, ...]], Told] = {}
        self._folded: dict[tuple[str, tuple[int, ...]], EpochChain] = {}
        self._priors: dict[int, Array] = {}
        self._lasting = (0, 0)
        spoken = {self.place[p][:2] for p, works in self.works.items() if works or p == _SPRING}
        self._silent = {at[:2] for at in self.place.values()} - spoken  # clusters without evidence

    def run(self, likelihoods: tuple[Likelihood, ...]) -> Posterior:
        """Return the posterior under these likelihoods."""
        mine: list[list[Likelihood]] = [[] for _ in self.net.groups]
        for piece in likelihoods:
            for index in self.touched(piece):
                mine[index].append(piece)
        groups = tuple(self._known(g, tuple(own)) for g, own in enumerate(mine))
        event = self.event(likelihoods)
        clusters = sum(len(g.clusters) for g in self.net.groups)
        self._lasting = (
            min(len(self._tellings), 2 * clusters),
            min(len(self._folded), 2 * len(self.place)),
        )
        return self._normed(self._multiply(groups, event), groups, event)

    def tell_beside(
        self, piece: Likelihood, likelihoods: tuple[Likelihood, ...]
    ) -> tuple[int, int, Told] | None:
        """Return group, cluster and what likelihoods say of it that are one piece away from others.

        None where that piece speaks of more than one cluster.
        """
        clusters = {self.place[on.part][:2] for on in piece.parts}
        if piece.events is not None or piece.seats or len(clusters) != 1:
            return None
        self._forget_told()
        ((index, place),) = clusters
        return index, place, self._tell(index, place, self._said_of(index, likelihoods))

    def forget(self) -> None:
        """Let go all that is remembered; posteriors hold what they need themselves."""
        told: tuple[dict[Any, Any], ...] = (self._cache, self._tellings, self._folded)
        for known in told:
            known.clear()
        self._lasting = (0, 0)

    def _forget_told(self) -> None:
        """Let go what was told for other pieces; what all the evidence and none told stays."""
        several: tuple[dict[Any, Any], ...] = (self._tellings, self._folded)
        for known, lasting in zip(several, self._lasting, strict=True):
            while len(known) > lasting + _KEPT:
                del known[next(islice(known, lasting, None))]

    def event(self, likelihoods: tuple[Likelihood, ...]) -> Array:
        """Return the likelihood of what speaks of the event itself: (X, 1, 1 or U)."""
        result = np.ones((len(self.net.events.weight), 1))
        for piece in likelihoods:
            if piece.events is not None:
                result = result * piece.events.reshape(len(result), -1)
        return result[:, None, :]

    def _normed(self, weights: Array, groups: tuple[GroupResult, ...], event: Array) -> Posterior:
        """Return the posterior from the weights of the rows: (X, F, U)."""
        scale = sum([g.scale for g in groups])
        total = float(weights.sum())
        log = float(np.log(total)) + scale
        return Posterior(self.net, weights / total, log, groups, event)

    def _multiply(self, groups: tuple[GroupResult, ...], event: Array) -> Array:
        """Return the prior of every row times what speaks of it: (X, F, U)."""
        told = [
            spread(result.table, group)
            for group, result in zip(self.net.groups, groups, strict=True)
            if result.table is not None
        ]
        small, large = event, [t for t in told if t.shape[1] > 1]
        for table in (t for t in told if t.shape[1] == 1):  # alike for all families: fewer products
            small = small * table
        return np.asarray(reduce(np.multiply, large, self.prior * small))

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
        _make_room(self._cache, 2 * groups, 2 * groups + _KEPT)
        self._cache[key] = found

    def touched(self, piece: Likelihood) -> frozenset[int]:
        """Return the groups a piece speaks of. Pieces are kept, so that their ids stay theirs."""
        known = self._touched.get(id(piece))
        if known is None:
            parts = {self.place[on.part][0] for on in piece.parts}
            names = {on.group for on in piece.seats}
            seats = {g for g, group in enumerate(self.net.groups) if group.name in names}
            known = (piece, frozenset(parts | seats))
            self._touched[id(piece)] = known
        return known[1]

    def _solve(self, index: int, likelihoods: tuple[Likelihood, ...]) -> GroupResult:
        group, evidence = self.net.groups[index], self._said_of(index, likelihoods)
        told = [self._tell(index, place, evidence) for place in range(len(group.clusters))]
        chains = {name: made for one in told for name, made in one.chains.items()}
        messages = tuple(one.message for one in told)
        seated = [i for i in likelihoods if any(s.group == group.name for s in i.seats)]
        people = _occupants_and_causes(group, tuple(seated)) if seated else self._alone(index)
        silent = not seated and all(m.factor is None for m in messages)
        scales = tuple(one.scale for one in told)
        return self._joined(chains, messages, people, scales, silent)

    def _said_of(
        self, index: int, likelihoods: tuple[Likelihood, ...]
    ) -> dict[str, list[OnComponent]]:
        """Return what likelihoods say of each part of a group."""
        evidence: dict[str, list[OnComponent]] = {}
        for piece in likelihoods:
            for on in piece.parts:
                if self.place[on.part][0] == index:
                    evidence.setdefault(on.part, []).append(on)
        return evidence

    def _alone(self, index: int) -> Array:
        """Return the prior of a group's occupants and causes, the same array each time."""
        known = self._priors.get(index)
        if known is None:
            known = self._priors[index] = _occupants_and_causes(self.net.groups[index], ())
        return known

    def _joined(
        self,
        chains: dict[str, EpochChain],
        messages: tuple[Message, ...],
        people: Array,
        scales: tuple[float, ...],
        silent: bool,
    ) -> GroupResult:
        """Return one group with what its clusters say put together."""
        if silent:
            return GroupResult(chains, messages, people, None, None, (0.0,) * len(scales), 0.0)
        joint = _product(people, messages)
        table = sum_over(joint, 2, 4)[:, :, 0, :, 0]
        return GroupResult(chains, messages, people, joint, table, scales, sum(scales))

    def _tell(self, index: int, place: int, evidence: dict[str, list[OnComponent]]) -> Told:
        """Return what the evidence on one cluster says; remembered by the evidence on it."""
        cluster = self.net.groups[index].clusters[place]
        mine = [on for part in cluster.parts for on in evidence.get(part.id, ())]
        if not mine and (index, place) in self._silent:
            return Told(Message((None,) * len(cluster.parts), None), 0.0, {})
        key = (index, place, tuple(id(on) for on in mine))
        told = self._tellings.get(key)
        if told is None:
            chains = self._chains(self.net.groups[index], cluster, evidence)
            told = Told(*_message(cluster, chains), chains)
            self._tellings[key] = told
        return told

    def _chains(
        self, group: Group, cluster: Cluster, evidence: dict[str, list[OnComponent]]
    ) -> dict[str, EpochChain]:
        units, causes = self.net.unit.shape[1], len(group.causes)
        result = {}
        for part in cluster.parts:
            found = evidence.get(part.id, [])
            spring = part.id == _SPRING and any(c.name == SPRING for c in group.causes)
            if found or self.works[part.id] or spring:
                key = (part.id, tuple(id(on) for on in found))
                made = self._folded.get(key)
                if made is None:
                    shape = (units, causes, len(part.micros))
                    made = fold_evidence(found, self.works[part.id], shape)
                    made = _bound_to_cause(made, part, group.causes) if spring else made
                    self._folded[key] = made
                result[part.id] = made
        return result


def sum_over(values: Array, *axes: int) -> Array:
    """Return a sum over some axes, which stay with length one.

    By a product with ones: over a middle axis that is three to ten times faster than a plain sum.
    """
    for axis in axes:
        shape, size = values.shape, values.shape[axis]
        if size > 1:
            after = math.prod(shape[axis + 1 :])
            table = values.reshape(-1, size, after)
            summed = table[:, :, 0] @ _ones(size)[0] if after == 1 else _ones(size) @ table
            values = summed.reshape(*shape[:axis], 1, *shape[axis + 1 :])
    return values


@lru_cache(maxsize=64)
def _ones(size: int) -> Array:
    """Return a row of ones, the same each time: never changed."""
    return np.ones((1, size))


def _product(people: Array, messages: tuple[Message, ...]) -> Array:
    """Return occupants and causes times the factors, the small ones first."""
    joint = people
    factors = [m.factor for m in messages if m.factor is not None]
    for factor in sorted(factors, key=lambda f: f.size):
        same = joint.shape == np.broadcast_shapes(joint.shape, factor.shape)
        own = same and joint is not people
        joint = np.multiply(joint, factor, out=joint if own else None)
    return joint


def _bound_to_cause(made: EpochChain, part: PartModel, causes: tuple[Cause, ...]) -> EpochChain:
    """Return the chain of a clock spring, faulty exactly under the cause of that name."""
    faulty = np.array([m.state == "faulty" for m in part.micros])
    named = np.array([c.name == SPRING for c in causes])
    fits = (faulty == named[:, None]).astype(float)
    told = (made.told[0] * fits, *made.told[1:])
    return EpochChain(made.likelihood * fits, made.works, told)


def _occupants_and_causes(group: Group, likelihoods: tuple[Likelihood, ...]) -> Array:
    """Return prior and likelihood of occupants and causes: (X or 1, 1, P, 1, C)."""
    seat = group.seat.prior
    for piece in likelihoods:
        for on in piece.seats:
            if on.group == group.name:
                seat = seat * on.values
    weights = np.array([c.weight for c in group.causes])
    return np.asarray(seat[:, None, :, None, None] * weights)


def _make_room(known: dict[Any, Any], first: int, most: int) -> None:
    """Let the oldest of what is remembered go where it is full, but for the first ones."""
    if len(known) >= most:
        del known[next(islice(known, first, None))]


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
    if is_lone(cluster):
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


def is_lone(cluster: Cluster) -> bool:
    """Return whether a cluster is one part without a charge."""
    return bool(cluster.fires.shape[-1] == 1)
