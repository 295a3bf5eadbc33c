"""Events of the event table that are all the same to a group: put together, they are one sort."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.infer.circuits import Cause
from squibwise.infer.firing_logic import Occupants
from squibwise.infer.network import Cluster, Group

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Sorts = tuple[Ints, Ints, Ints, Ints]
"""The first row of each sort, the sort of each row, rows sort by sort, where each sort begins."""


def sort_events(
    name: str,
    seat: Occupants,
    reasons: tuple[Cause, ...],
    found: tuple[Cluster, ...],
    size: int,
    known: dict[bytes, Sorts],
) -> Group:
    """Return a group with events that are the same to it put together.

    Groups to which the same events are the same share their sorts, ``known`` by what marks them.
    """
    columns: list[Array] = [c.fires.reshape(size, -1) for c in found if len(c.fires) > 1]
    columns += [seat.prior] if len(seat.prior) > 1 else []
    parts = [p for c in found for p in c.parts]
    columns += [p.classes[:, None].astype(float) for p in parts if p.classes is not None]
    marks = _mark_rows(columns) if columns else np.zeros(size)
    key = marks.tobytes()
    if key not in known:
        known[key] = _find_sorts(marks)
    first, sort, order, starts = known[key]
    if len(seat.prior) > 1:
        seat = Occupants(seat.words, seat.gated, seat.prior[first])
    return Group(name, seat, reasons, tuple(_picked(c, first) for c in found), sort, order, starts)


def _find_sorts(marks: Array) -> Sorts:
    _, first, sort = np.unique(marks, return_index=True, return_inverse=True)
    sort = sort.reshape(-1).astype(np.int64)
    order = np.argsort(sort, kind="stable")
    return first, sort, order, np.searchsorted(sort[order], np.arange(len(first)))


def _mark_rows(columns: list[Array]) -> Array:
    """Return one number per row of some tables side by side, the same for rows that are the same.

    A sum with weights that are no simple fractions of one another: comparing one number is ten
    times faster than comparing whole rows, and two different rows with equal sums do not occur.
    """
    if len(columns) == 1 and columns[0].shape[1] == 1:
        return columns[0][:, 0]
    weights = np.sqrt(np.arange(2, sum(c.shape[1] for c in columns) + 2) * np.pi)
    ends = np.cumsum([c.shape[1] for c in columns])[:-1]
    each = zip(columns, np.split(weights, ends), strict=True)
    return np.asarray(sum(table @ own for table, own in each))


def _picked(cluster: Cluster, first: Ints) -> Cluster:
    """Return a cluster with one row of each sort."""
    parts = tuple(
        p if p.classes is None else msgspec.structs.replace(p, classes=p.classes[first])
        for p in cluster.parts
    )
    return Cluster(parts, cluster.fires[first] if len(cluster.fires) > 1 else cluster.fires)
