"""Evidence in order of time, and what each piece of work on the car separates."""

import msgspec

from squibwise.model.evidence import DoneWork, Evidence, TestOutcome
from squibwise.model.names import split_loop
from squibwise.model.origin import Time
from squibwise.model.report import Report
from squibwise.model.words import Done


class Timeline(msgspec.Struct, frozen=True):
    """Evidence with its place in time.

    Attributes:
        entries: In order; an entry's place is its index.
        works: Places and entries of the work done.
    """

    entries: tuple[Evidence, ...]
    works: tuple[tuple[int, DoneWork], ...]

    def works_on(self, components: frozenset[str]) -> tuple[tuple[int, DoneWork], ...]:
        """Return the work done on any of these components, in order."""
        return tuple((at, w) for at, w in self.works if w.component in components)


def timeline(evidence: tuple[Evidence, ...]) -> Timeline:
    """Return the evidence in order of time.

    An entry without a time keeps its place among its neighbours; a report without a time goes
    before or after all work as it says itself.
    """
    keyed = sorted(enumerate(_times(evidence)), key=lambda pair: (pair[1], pair[0]))
    entries = tuple(evidence[index] for index, _ in keyed)
    works = ((at, _work(e)) for at, e in enumerate(entries))
    return Timeline(entries=entries, works=tuple((at, w) for at, w in works if w is not None))


_REPAIRS: dict[str, Done] = {"reseat": "reseated", "renew": "reseated", "replace": "replaced"}
_NAMED = {"clock-spring": "driver.clock-spring", "unit": "centre.control-unit"}
VERIFIED = "fixed"


def _work(entry: Evidence) -> DoneWork | None:
    """Return the work an entry tells of: a done, or a repair of the fault plan."""
    if isinstance(entry, DoneWork):
        return entry
    if not isinstance(entry, TestOutcome) or entry.outcome not in (VERIFIED, "not fixed"):
        return None
    verb, _, point = entry.test.partition(":")
    if verb not in _REPAIRS:
        return None
    component = _NAMED.get(point, split_loop(entry.loop)[0])
    return DoneWork(id=entry.id, time=entry.time, what=_REPAIRS[verb], component=component)


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
