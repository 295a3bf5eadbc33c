"""The model of one car, and pieces of evidence as likelihoods on it."""

from collections.abc import Iterator, Mapping

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.history.order import History
from squibwise.history.returned import Course
from squibwise.infer.circuits import Cause
from squibwise.infer.event_table import EventTable
from squibwise.infer.firing_logic import FiringLogic, Occupants
from squibwise.infer.parts import OnComponent, PartModel
from squibwise.model.belief import StoryWeight, TestWeight
from squibwise.model.words import Basis

Array = npt.NDArray[np.float64]


class OnOccupant(msgspec.Struct, frozen=True):
    """Likelihood over the words of one seat's occupant."""

    group: str
    values: Array


class Likelihood(msgspec.Struct, frozen=True):
    """One piece of evidence, or the share of a report that speaks of one component.

    Attributes:
        evidence: Id of the evidence.
        about: Component id; empty when it is about the event.
        text: What it says, in a mechanic's words.
        events: Likelihood over the events, (X,), or events and states of the unit, (X, U); None =
            silent on it.
        parts: Likelihoods on parts.
        seats: Likelihoods on occupants.
        broad: It speaks of many parts at once and so clashes with none of them.
        weak: Weakest basis of the figures used.
        sources: Source ids.
    """

    evidence: str
    about: str
    text: str
    events: Array | None = None
    parts: tuple[OnComponent, ...] = ()
    seats: tuple[OnOccupant, ...] = ()
    broad: bool = False
    weak: Basis | None = "judgement"
    sources: tuple[str, ...] = ("judgement",)


class Cluster(msgspec.Struct, frozen=True):
    """Parts whose firing hangs together.

    Attributes:
        parts: Parts; independent of one another given what fired.
        fires: Chance of what fired: (rows or 1, families or 1, people or 1, Z). Z is 1 for
            parts without a charge.
    """

    parts: tuple[PartModel, ...]
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
    seat: Occupants
    causes: tuple[Cause, ...]
    clusters: tuple[Cluster, ...]
    sort: npt.NDArray[np.int64]
    order: npt.NDArray[np.int64]
    starts: npt.NDArray[np.int64]


class UnitState(msgspec.Struct, frozen=True):
    """What the control unit and the reports read from it are like.

    Attributes:
        watch: ``watching`` its circuits, ``stopped`` (it holds a crash record), or ``disturbed`` by
            supply or bus.
        unread: Reports that do not show all that the unit stores: erased, of another unit or car,
            cut short. Their silence says nothing. So are lamp checks whose lamp tells nothing.
        asked: Reports of which that is asked.
    """

    watch: str = "watching"
    unread: frozenset[str] = frozenset()
    asked: frozenset[str] = frozenset()


class Network(msgspec.Struct, frozen=True):
    """The whole model of a case, before its evidence.

    Attributes:
        events: Event table.
        logics: Families of firing logic.
        unit: Prior of each of ``unit_states``: (events, states).
        unit_states: What the unit and its reports may be like.
        groups: Everything else.
        line: The case's evidence in order of time.
        rebuilt: Was the car put back together since it crashed, as far as anybody told or saw.
        near: Components on the same plug as each one, and those beside it: work on them may
            loosen or break it.
        repairs: What became of the repairs.
        tests: What each outcome of a fault-finding test says, by the id of its entry.
        parts_of: Where a fault of a part or its own wiring lies, of circuits that were tested.
        stories: What is told of circuits at fault, by the id of the report that names them.
    """

    events: EventTable
    logics: tuple[FiringLogic, ...]
    unit: Array
    unit_states: tuple[UnitState, ...]
    groups: tuple[Group, ...]
    line: History
    rebuilt: bool
    near: dict[str, tuple[frozenset[str], frozenset[str]]]
    repairs: Course
    tests: Mapping[str, TestWeight] = {}
    parts_of: Mapping[tuple[str, int], Mapping[str, float]] = {}
    stories: Mapping[str, tuple[StoryWeight, ...]] = {}

    def parts(self) -> Iterator[tuple[int, int, int, PartModel]]:
        """Yield group, cluster and part number with each part."""
        for g, group in enumerate(self.groups):
            for c, cluster in enumerate(group.clusters):
                for p, part in enumerate(cluster.parts):
                    yield g, c, p, part

    def find(self, component: str) -> tuple[Group, PartModel] | None:
        """Return a component with its group; None when the car does not have it."""
        for g, _, _, part in self.parts():
            if part.id == component:
                return self.groups[g], part
        return None

    @property
    def states(self) -> int:
        """Number of rows of the full event table."""
        return int(len(self.events.weight) * len(self.logics) * self.unit.shape[1])
