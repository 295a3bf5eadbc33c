"""The model of a case as a Bayesian network of a general engine (pyAgrum), and its answers.

The events of the event table are one variable, as they are in our own engine. A piece of evidence
is a child that was seen, with its likelihood as its chance (virtual evidence, Pearl 1988).
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pyagrum as gum

from squibwise.catalog.load import Catalog
from squibwise.infer.circuits import SPRING
from squibwise.infer.marginals import GroupBelief
from squibwise.infer.network import Cluster, Group, Likelihood, Network
from squibwise.infer.parts import PartModel, work_matrices

Array = npt.NDArray[np.float64]
NOW = "-now"
_SPRING = "driver.clock-spring"


@dataclass
class GeneralNet:
    """A case for the general engine.

    Attributes:
        net: The Bayesian network.
        seen: Evidence, by variable.
        asked: Variables whose chances are asked.
    """

    net: gum.BayesNet = field(default_factory=gum.BayesNet)
    seen: dict[str, int] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)

    def add(self, name: str, table: Array, *parents: str, asked: bool = False) -> None:
        """Add a variable by its chances: one axis per parent, its own last.

        What can be in one way only is left out: it would only slow the general engine down.
        """
        if table.shape[-1] == 1:
            return
        table, parents = self._without_sure(table, parents)
        self.net.add(gum.RangeVariable(name, "", 0, table.shape[-1] - 1))
        for parent in reversed(parents):
            self.net.addArc(parent, name)
        sizes = [self.net.variable(p).domainSize() for p in parents]
        self.net.cpt(name).fillWith(np.broadcast_to(table, (*sizes, table.shape[-1])).ravel())
        if asked:
            self.asked.append(name)

    def _without_sure(
        self, table: Array, parents: tuple[str, ...]
    ) -> tuple[Array, tuple[str, ...]]:
        """Return a table and its parents without those that can be in one way only."""
        known = set(self.net.names())
        sure = tuple(i for i, p in enumerate(parents) if p not in known)
        return table.squeeze(axis=sure), tuple(p for p in parents if p in known)

    def tell(self, likelihood: Array, *parents: str) -> None:
        """Add what was seen of some variables."""
        chance = likelihood / likelihood.max()
        name = f"seen{len(self.seen)}"
        self.add(name, np.stack([1.0 - chance, chance], axis=-1), *parents)
        self.seen[name] = 1


def general_net(net: Network, items: tuple[Likelihood, ...], catalog: Catalog) -> GeneralNet:
    """Return a case's model and evidence for the general engine."""
    made = GeneralNet()
    made.add("event", net.events.weight / net.events.weight.sum(), asked=True)
    made.add("family", np.array([f.weight for f in net.logics]))
    made.add("unit", net.unit, "event")
    for item in items:
        if item.events is not None:
            values = item.events.reshape(len(net.events.weight), -1)
            made.tell(
                *((values[:, 0], "event") if values.shape[1] == 1 else (values, "event", "unit"))
            )
    for number, group in enumerate(net.groups):
        _add_group(made, f"g{number}", group, net, items, catalog)
    return made


def _add_group(
    made: GeneralNet,
    name: str,
    group: Group,
    net: Network,
    items: tuple[Likelihood, ...],
    catalog: Catalog,
) -> None:
    sort, seat, cause = f"{name}-sort", f"{name}-seat", f"{name}-cause"
    made.add(sort, np.eye(len(group.starts))[group.sort], "event")
    # The causes' weights need not sum to one where a part's own prior is turned into a cause.
    weights = np.array([c.weight for c in group.causes])
    made.add(cause, weights / weights.sum(), asked=True)
    made.add(seat, group.seat.prior, sort, asked=True)
    for item in items:
        for on in item.seats:
            if on.group == group.name:
                values = np.broadcast_to(on.values, group.seat.prior.shape)
                many = len(values) > 1
                made.tell(values if many else values[0], *((sort, seat) if many else (seat,)))
    for number, cluster in enumerate(group.clusters):
        fired = f"{name}-fired{number}"
        if cluster.fires.shape[-1] > 1:
            made.add(fired, cluster.fires, sort, "family", seat)
        for part in cluster.parts:
            _add_first(made, part, cluster, sort, fired)
            _add_course(made, part, group, cause, net, items, catalog)


def _add_first(made: GeneralNet, part: PartModel, cluster: Cluster, sort: str, fired: str) -> None:
    """Add what a part was like after the crash."""
    if cluster.fires.shape[-1] > 1:
        made.add(part.id, part.prior[0], fired, asked=True)
    elif part.classes is None:
        made.add(part.id, part.prior[0, 0], asked=True)
    else:
        made.add(part.id, part.prior[part.classes, 0], sort, asked=True)


def _add_course(
    made: GeneralNet,
    part: PartModel,
    group: Group,
    cause: str,
    net: Network,
    items: tuple[Likelihood, ...],
    catalog: Catalog,
) -> None:
    """Add what work made of a part, and what was seen of it between."""
    works = work_matrices(part, net.near[part.id], net.line, net.repairs, catalog)
    between = [f"{part.id}-work{i}" for i in range(1, len(works))]
    names = [part.id, *between, part.id + NOW][: len(works) + 1]
    for (_, matrix), before, after in zip(works, names, names[1:], strict=False):
        made.add(after, matrix, before)
    if works:
        made.asked.append(names[-1])
    if part.id == _SPRING and any(c.name == SPRING for c in group.causes):
        faulty = np.array([m.state == "faulty" for m in part.micros])
        named = np.array([c.name == SPRING for c in group.causes])
        made.tell((faulty == named[:, None]).astype(float), cause, part.id)
    for item in items:
        for on in item.parts:
            if on.part == part.id:
                epoch = sum(1 for place, _ in works if place < on.place)
                shape = (net.unit.shape[1], len(group.causes), len(part.micros))
                made.tell(np.broadcast_to(on.values, shape), "unit", cause, names[epoch])


def ask_general(made: GeneralNet, kind: type) -> dict[str, Array]:
    """Return the chances of everything asked, by an engine of the general library."""
    engine = kind(made.net)
    engine.setEvidence(made.seen)
    engine.setTargets(set(made.asked))
    engine.makeInference()
    return {name: engine.posterior(name).toarray() for name in made.asked}


def own_answers(event: Array, groups: tuple[GroupBelief, ...]) -> dict[str, Array]:
    """Return our own answers under the names of the general net."""
    found = {"event": event}
    for number, belief in enumerate(groups):
        found[f"g{number}-seat"] = belief.people
        found[f"g{number}-cause"] = belief.causes
        for name, part in belief.parts.items():
            found[name] = part.after.sum(axis=0)
            found[f"{name}{NOW}"] = part.now.sum(axis=0)
    return found
