"""The order in which things happened, and what each piece of work separates."""

from functools import cached_property
from typing import Any, TypeGuard, TypeVar

import msgspec

from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Evidence, Passed, SubstituteLoad, TestOutcome
from squibwise.model.names import split_loop
from squibwise.model.origin import Time
from squibwise.model.report import Report
from squibwise.model.words import Done

VERIFIED = "fixed"
_HANDLED = "gone-for-good"
CURED = (VERIFIED, _HANDLED)
_REPAIRS: dict[str, Done] = {
    "reseat": "reseated",
    "renew": "reseated",
    "renew-half": "reseated",
    "dry": "reseated",
    "replace": "replaced",
}
_NO_CONNECTOR = ("dry:seat",)
_NAMED = {"clock-spring": "driver.clock-spring", "unit": "centre.control-unit"}

T = TypeVar("T")


class History(msgspec.Struct, frozen=True, dict=True):
    """A case as a course of events; an entry's place is its index.

    Attributes:
        entries: In order.
        works: Places and entries of the work done, with repairs that the fault plan tells of.
    """

    entries: tuple[Evidence, ...]
    works: tuple[tuple[int, DoneWork], ...]

    def all_of(self, kind: type[T]) -> list[tuple[int, T]]:
        """Return the evidence of one kind with its places, in order."""
        return self._by_kind.get(kind, [])

    @cached_property
    def _by_kind(self) -> dict[type, list[Any]]:
        found: dict[type, list[Any]] = {}
        for place, entry in enumerate(self.entries):
            found.setdefault(type(entry), []).append((place, entry))
        return found

    def place_of(self, entry: str) -> int:
        """Return the place of an entry by its id; -1 when there is none."""
        return next((n for n, e in enumerate(self.entries) if e.id == entry), -1)

    def works_on(self, components: frozenset[str]) -> tuple[tuple[int, DoneWork], ...]:
        """Return the work done on any of these components, in order."""
        return tuple((at, w) for at, w in self.works if w.component in components)

    def last_work_on(self, *components: str) -> int:
        """Return the place of the last work on any of these components; -1 when there was none."""
        return max((at for at, w in self.works if w.component in components), default=-1)


def read_history(evidence: tuple[Evidence, ...]) -> History:
    """Return the course of events that a case's evidence tells of."""
    entries = order_entries(evidence)
    works = ((at, _work_of(e)) for at, e in enumerate(entries))
    return History(entries=entries, works=tuple((at, w) for at, w in works if w is not None))


def put_in_order(case: Case) -> Case:
    """Return the case with its evidence in order; every answer starts from this."""
    return msgspec.structs.replace(case, evidence=order_entries(case.evidence))


def order_entries(evidence: tuple[Evidence, ...]) -> tuple[Evidence, ...]:
    """Return the evidence in order of time.

    An entry without a time keeps its place among its neighbours; a report without a time goes
    before or after all work as it says itself. Equal times keep the order written.
    """
    keyed = sorted(enumerate(_times(evidence)), key=lambda pair: (pair[1], pair[0]))
    return tuple(evidence[index] for index, _ in keyed)


def last_change(history: History, *, clearing: bool = True) -> int:
    """Return the place of the last thing done to the car; -1 when nothing was done.

    Work, a repair of the fault plan, a substitute load fitted or taken out; clearing a memory
    counts too, unless it is what is asked about.

    Args:
        history: The course of events.
        clearing: Does clearing a memory count.
    """
    works = [at for at, w in history.works if clearing or w.what != "cleared"]
    moves = [at for at, _ in history.all_of(SubstituteLoad)]
    return max([*works, *moves], default=-1)


def last_touch(history: History) -> int:
    """Return the place of the last thing done to the car, or signed that hands do; else -1.

    What is opened, taken out, fitted, plugged in or closed, and each power-down.
    """
    signed = (
        at
        for at, p in history.all_of(Passed)
        if p.result == "passed" and (p.what.startswith(_BY_HAND) or p.what in POWER_DOWNS)
    )
    return max([last_change(history), *signed])


_BY_HAND = ("open:", "out:", "fit:", "join:", "close:")
POWER_DOWNS = ("step:power-down", "power-down", "step:second-power-down", "second-power-down")


def before_work(case: Case) -> Case:
    """Return the case as it stood before the first work on the car; clearing codes is none."""
    history = read_history(case.evidence)
    works = [at for at, w in history.works if w.what != "cleared"]
    loads = [at for at, _ in history.all_of(SubstituteLoad)]
    signed = [at for at, p in history.all_of(Passed) if p.what.startswith(_BY_HAND)]
    first = min([*works, *loads, *signed], default=len(history.entries))
    return msgspec.structs.replace(case, evidence=history.entries[:first])


def replacements(history: History) -> dict[str, tuple[int, ...]]:
    """Return the places at which each component was replaced, in order."""
    found: dict[str, tuple[int, ...]] = {}
    for at, work in history.works:
        if work.what == "replaced":
            found[work.component] = (*found.get(work.component, ()), at)
    return found


def _work_of(entry: Evidence) -> DoneWork | None:
    """Return the work an entry tells of: a done, or a repair of the fault plan."""
    if isinstance(entry, DoneWork):
        return entry
    if not isinstance(entry, TestOutcome) or entry.outcome not in (*CURED, "not fixed"):
        return None
    verb, _, point = entry.test.partition(":")
    if entry.outcome == _HANDLED:
        verb = "reseat"  # it was parted for the load and closed again, and that cured it
    if verb not in _REPAIRS or entry.test in _NO_CONNECTOR:
        return None
    component = _NAMED.get(point, split_loop(entry.loop)[0])
    return DoneWork(id=entry.id, time=entry.time, what=_REPAIRS[verb], component=component)


def is_verified(entry: Evidence) -> TypeGuard[TestOutcome]:
    """Return whether an entry is a repair that was tried afterwards and held."""
    return isinstance(entry, TestOutcome) and entry.outcome in CURED


def _times(evidence: tuple[Evidence, ...]) -> list[Time]:
    """Return a time for each entry; those without take that of the entry before them."""
    known: Time = Time.min
    times = []
    for entry in evidence:
        known = known if entry.time is None else entry.time.replace(tzinfo=None)
        times.append(_place_of_a_report(entry) or known)
    return times


def _place_of_a_report(entry: Evidence) -> Time | None:
    if entry.time is None and isinstance(entry, Report):
        return {"before-repair": Time.min, "after-repair": Time.max}.get(entry.when)
    return None
