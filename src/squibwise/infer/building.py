"""Build the model of one car."""

from collections.abc import Mapping

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.causes import Cause, causes, neighbours
from squibwise.infer.clusters import Builder, clusters, group_of
from squibwise.infer.families import families
from squibwise.infer.network import Cluster, Group, Network
from squibwise.infer.people import People, people
from squibwise.infer.scans import signs_of_disturbance
from squibwise.infer.stories import Stories, stories
from squibwise.infer.timeline import timeline
from squibwise.model.case import Case
from squibwise.model.report import Report

Array = npt.NDArray[np.float64]


def network(case: Case, catalog: Catalog, shifts: Mapping[str, float]) -> Network:
    """Return the model of a case, with learned intercepts of the deployment curves."""
    rows, table, line = stories(case, catalog, shifts), families(catalog), timeline(case.evidence)
    build = Builder(case, catalog, rows, table)
    members: dict[str, list[str]] = {}
    for component in case.car.components:
        members.setdefault(group_of(component, case, catalog), []).append(component)
    groups = []
    for name, components in members.items():
        seat = people(name, rows, catalog)
        reasons = causes(name, tuple(components), case.car, line, catalog)
        parts = tuple(clusters(components, seat, build))
        groups.append(_sorted(name, seat, reasons, parts, len(rows.weight)))
    near = {c: neighbours(c, case.car, catalog) for c in case.car.components}
    return Network(rows, table, _unit(case, rows, catalog), tuple(groups), line, near)


def _sorted(
    name: str,
    seat: People,
    reasons: tuple[Cause, ...],
    found: tuple[Cluster, ...],
    size: int,
) -> Group:
    """Return a group with rows that are the same to it put together."""
    columns = [np.zeros((size, 1))]
    columns += [c.fires.reshape(size, -1) for c in found if len(c.fires) > 1]
    columns += [seat.prior] if len(seat.prior) > 1 else []
    parts = [p for c in found for p in c.parts]
    columns += [p.classes[:, None].astype(float) for p in parts if p.classes is not None]
    _, first, sort = np.unique(
        np.concatenate(columns, axis=1), axis=0, return_index=True, return_inverse=True
    )
    sort = sort.reshape(-1).astype(np.int64)
    order = np.argsort(sort, kind="stable")
    starts = np.searchsorted(sort[order], np.arange(len(first)))
    if len(seat.prior) > 1:
        seat = People(seat.words, seat.gated, seat.prior[first])
    return Group(name, seat, reasons, tuple(_picked(c, first) for c in found), sort, order, starts)


def _picked(cluster: Cluster, first: npt.NDArray[np.int64]) -> Cluster:
    """Return a cluster with one row of each sort."""
    parts = tuple(
        p if p.classes is None else msgspec.structs.replace(p, classes=p.classes[first])
        for p in cluster.parts
    )
    return Cluster(parts, cluster.fires[first] if len(cluster.fires) > 1 else cluster.fires)


def _unit(case: Case, rows: Stories, catalog: Catalog) -> Array:
    """Return the prior of the unit watching its circuits, having stopped, or being disturbed."""
    if not any(isinstance(e, Report) for e in case.evidence):
        return np.ones((len(rows.weight), 1))
    chances = catalog.firing.events.stopped
    fired = rows.front | (rows.others > 0) | rows.belts
    stopped = np.where(fired, chances["after_firing"].value, chances["otherwise"].value)
    states = np.stack([1.0 - stopped, stopped], axis=-1)
    reports = [e for e in case.evidence if isinstance(e, Report)]
    signs = max(signs_of_disturbance(r, catalog) for r in reports)
    if not signs:
        return states
    reach = catalog.firing.scans.reach
    share = (reach.disturbed_if_one_sign if signs == 1 else reach.disturbed_if_both).value
    disturbed = np.full((len(states), 1), share)
    return np.concatenate([states * (1.0 - share), disturbed], axis=1)
