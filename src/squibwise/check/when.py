"""What came after what: by the order of the evidence, which is the order of time."""

from collections.abc import Iterator

from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Evidence

_CHANGES = ("replaced", "reseated", "repaired", "disconnected")


def place_of(item: Evidence, case: Case) -> int:
    """Return the place of an entry in the case's order."""
    return next(n for n, e in enumerate(case.evidence) if e.id == item.id)


def works_after(item: Evidence, component: str, case: Case) -> Iterator[DoneWork]:
    """Yield work on one component that came after an entry."""
    start = place_of(item, case)
    for later in case.evidence[start + 1 :]:
        if isinstance(later, DoneWork) and later.component == component:
            yield later


def last_change(case: Case) -> DoneWork | None:
    """Return the last piece of work that changed something on the car; None when there is none."""
    works = [e for e in case.evidence if isinstance(e, DoneWork) and e.what in _CHANGES]
    return works[-1] if works else None


def is_after_last_change(item: Evidence, case: Case) -> bool:
    """Return whether an entry came after the last work on the car."""
    last = last_change(case)
    return last is None or place_of(item, case) > place_of(last, case)
