"""What the gates look at, and small questions about the order of evidence."""

from typing import TypeVar

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Evidence, Passed
from squibwise.model.names import split_component
from squibwise.model.proof import Verdict
from squibwise.model.work import Work, WorkItem

T = TypeVar("T")


class Context(msgspec.Struct, frozen=True, kw_only=True):
    """Everything a gate may look at."""

    case: Case
    assessment: Assessment
    work: Work
    verdicts: tuple[Verdict, ...]
    catalog: Catalog

    def all_of(self, kind: type[T]) -> list[tuple[int, T]]:
        """Return the evidence of one kind with its place in the order of time."""
        return [(n, e) for n, e in enumerate(self.case.evidence) if isinstance(e, kind)]


def last_work(context: Context) -> int:
    """Return the place of the last thing done to the car; -1 when nothing was done."""
    return max((n for n, _ in context.all_of(DoneWork)), default=-1)


def last_passed(context: Context, *words: str) -> tuple[int, Passed] | None:
    """Return the last check recorded under one of these words; None when there is none."""
    return max(
        ((n, p) for n, p in context.all_of(Passed) if p.what in words),
        key=lambda pair: pair[0],
        default=None,
    )


def is_passed(context: Context, *words: str, after: int = -1) -> bool:
    """Return whether the last check under these words passed, and came after a place in time."""
    last = last_passed(context, *words)
    return last is not None and last[1].result == "passed" and last[0] > after


def replaced(context: Context) -> dict[str, int]:
    """Return the components that were replaced, with the place of the last time."""
    known = set(context.case.car.components)
    return {
        d.component: n
        for n, d in context.all_of(DoneWork)
        if d.what == "replaced" and d.component in known
    }


def open_items(context: Context, *actions: str) -> list[WorkItem]:
    """Return what is still to be done of these actions; mere advice does not count."""
    return [
        i
        for i in context.work.items
        if i.action in actions
        and not i.done
        and i.strict != "advice"
        and not _is_ruled_out(context, i)
    ]


def fires(context: Context, component: str) -> bool:
    """Return whether a component holds a charge."""
    return context.catalog.kinds[split_component(component).kind].fires


def settling_look(component: str, context: Context) -> str:
    """Return the look that pays most for a component, else what an inspection looks at."""
    looks = [x.text for x in context.assessment.next_looks if x.component == component]
    if looks:
        return looks[0]
    task = context.catalog.tasks.work[split_component(component).kind]
    return f"Look at: {task.look}."


def where(evidence: Evidence) -> str:
    """Return the id of a piece of evidence and where it stands."""
    return f"{evidence.id} ({evidence.origin.where()})"


def _is_ruled_out(context: Context, item: WorkItem) -> bool:
    return item.probability <= context.catalog.fact("cost.ruled-out").number()
