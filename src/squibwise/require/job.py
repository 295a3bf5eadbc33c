"""What every part of the work list looks at, in one record."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.require.demands import Limits, read_limits
from squibwise.require.event import any_fired, crash_chance
from squibwise.require.progress import LOADS_GATE, Progress, closed_gates, read_progress


class Job(msgspec.Struct, frozen=True, kw_only=True):
    """One car on the way through the work list.

    Attributes:
        limits: From which probability on a rule is followed.
        progress: What people signed for and did.
        closed: Gates that hold nothing any more.
    """

    case: Case
    assessment: Assessment
    catalog: Catalog
    limits: Limits
    progress: Progress
    closed: frozenset[str]

    @property
    def has_fired(self) -> bool:
        """Is it believed enough that something fired."""
        return any_fired(self.assessment) >= self.limits.spread

    @property
    def had_crash(self) -> bool:
        """Is it believed enough that there was a crash, or that something fired."""
        return self.has_fired or crash_chance(self.case, self.assessment) >= self.limits.inspect


def open_job(case: Case, assessment: Assessment, catalog: Catalog) -> Job:
    """Return the job of a case, with the gates its evidence closes."""
    progress = read_progress(case)
    return Job(
        case=case,
        assessment=assessment,
        catalog=catalog,
        limits=read_limits(catalog),
        progress=progress,
        closed=closed_gates(progress, catalog),
    )


def held_gates(job: Job, steps: frozenset[str]) -> frozenset[str]:
    """Return the gates that hold items now.

    A gate whose closing step is not on the list holds nothing; loads that somebody issued all the
    same hold theirs until they are back.

    Args:
        job: The job.
        steps: Ids of the steps that are on the list.
    """
    held = {
        word
        for word, gate in job.catalog.tasks.gates.items()
        if word not in job.closed and (not gate.step or gate.step in steps)
    }
    return frozenset(held | ({LOADS_GATE} if job.progress.loads.out else set()))
