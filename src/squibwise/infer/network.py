"""The model of one car: groups of clusters of parts, hung on the event table."""

from collections.abc import Iterator

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.infer.causes import Cause
from squibwise.infer.families import Family
from squibwise.infer.parts import Part
from squibwise.infer.people import People
from squibwise.infer.stories import Stories
from squibwise.infer.timeline import Timeline

Array = npt.NDArray[np.float64]


class Cluster(msgspec.Struct, frozen=True):
    """Parts whose firing hangs together.

    Attributes:
        parts: Parts; independent of one another given what fired.
        fires: Chance of what fired: (rows or 1, families or 1, people or 1, Z). Z is 1 for
            parts without a charge.
    """

    parts: tuple[Part, ...]
    fires: Array


class Group(msgspec.Struct, frozen=True):
    """Clusters that share a seat's occupant and the seat's common causes.

    Rows of the event table that are all the same to a group are one *sort* to it: every array of a
    group has its first axis over sorts.

    Attributes:
        name: Seat, or component id for a part that stands alone.
        seat: Who sat there.
        causes: Common causes, ``none`` first.
        clusters: Independent given event, occupant and cause.
        sort: Sort of each row of the event table.
        order: Rows of the event table, sort by sort.
        starts: Where each sort begins in ``order``.
    """

    name: str
    seat: People
    causes: tuple[Cause, ...]
    clusters: tuple[Cluster, ...]
    sort: npt.NDArray[np.int64]
    order: npt.NDArray[np.int64]
    starts: npt.NDArray[np.int64]


class Network(msgspec.Struct, frozen=True):
    """The whole model of a case, before its evidence.

    Attributes:
        rows: Event table.
        table: Families of firing logic.
        unit: Prior of the unit still watching its circuits, of it having stopped, and, where a
            report gives a sign of it, of a disturbed supply or bus behind its codes: (rows, 1 to
            3).
        groups: Everything else.
        line: The case's evidence in order of time.
        near: Components on the same plug as each one, and those beside it: work on them may
            loosen or break it.
    """

    rows: Stories
    table: tuple[Family, ...]
    unit: Array
    groups: tuple[Group, ...]
    line: Timeline
    near: dict[str, tuple[frozenset[str], frozenset[str]]]

    def parts(self) -> Iterator[tuple[int, int, int, Part]]:
        """Yield group, cluster and part number with each part."""
        for g, group in enumerate(self.groups):
            for c, cluster in enumerate(group.clusters):
                for p, part in enumerate(cluster.parts):
                    yield g, c, p, part

    def find(self, component: str) -> tuple[Group, Part] | None:
        """Return a component with its group; None when the car does not have it."""
        for g, _, _, part in self.parts():
            if part.id == component:
                return self.groups[g], part
        return None

    @property
    def states(self) -> int:
        """Number of rows of the full event table."""
        return int(len(self.rows.weight) * len(self.table) * self.unit.shape[1])
