"""What is done already, and which gates are passed, by the evidence of the case."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.tasks import Step
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, LampCheck, Passed, Recorder, SubstituteLoad
from squibwise.model.origin import Time
from squibwise.model.report import Report
from squibwise.model.work import WorkItem

STEP = "step:"


class Progress(msgspec.Struct, frozen=True, kw_only=True):
    """What people signed for and did.

    Attributes:
        results: Last result by gate word, item id or step word.
        done_items: Item ids that a ``done`` evidence names.
        replaced: Components that were replaced.
        issued: Marks of substitute loads ever issued.
        outstanding: Marks of those not returned yet.
    """

    results: dict[str, str] = {}
    done_items: frozenset[str] = frozenset()
    replaced: frozenset[str] = frozenset()
    issued: frozenset[str] = frozenset()
    outstanding: frozenset[str] = frozenset()

    def passed(self, word: str) -> bool:
        """Was this signed as passed, and not as failed since."""
        return self.results.get(word) == "passed"

    def failed(self, word: str) -> bool:
        """Was this signed as failed, and not as passed since."""
        return self.results.get(word) == "failed"


def read_progress(case: Case) -> Progress:
    """Return what the evidence says is done, the later entry winning over the earlier."""
    results: dict[str, str] = {}
    moves: dict[str, str] = {}
    for e in case.evidence:
        if isinstance(e, Passed):
            results[e.what] = e.result
        elif isinstance(e, SubstituteLoad):
            moves[e.serial] = e.move
    works = [e for e in case.evidence if isinstance(e, DoneWork)]
    return Progress(
        results=results,
        done_items=frozenset(e.item for e in works if e.item),
        replaced=frozenset(e.component for e in works if e.what == "replaced"),
        issued=frozenset(moves),
        outstanding=frozenset(s for s, m in moves.items() if m == "issued"),
    )


def signed(progress: Progress, suffix: str, result: str) -> frozenset[str]:
    """Return the components whose item with this action was signed with this result."""
    tail = f":{suffix}"
    return frozenset(
        what.removesuffix(tail)
        for what, given in progress.results.items()
        if what.endswith(tail) and given == result
    )


def closed_gates(progress: Progress, catalog: Catalog) -> frozenset[str]:
    """Return the gates that hold nothing any more; a load still out keeps its gate shut."""
    closed = {w for w in catalog.tasks.gates if progress.passed(w)}
    if progress.issued and not progress.outstanding:
        closed.add("loads-returned")
    if progress.outstanding:
        closed.discard("loads-returned")
    return frozenset(closed)


def is_done(item: WorkItem, assessment: Assessment, progress: Progress) -> bool:
    """Is an item on a component finished.

    A replacement counts only while the part that is now there is not itself more likely than
    not fired, damaged or wrong. A cleared record never counts as a replacement.
    """
    component = item.component or ""
    if item.action == "replace":
        named = component in progress.replaced or item.id in progress.done_items
        return named and not _is_bad_now(component, assessment)
    return item.id in progress.done_items or progress.passed(item.id)


def _is_bad_now(component: str, assessment: Assessment) -> bool:
    belief = assessment.of(component)
    if belief is None:
        return False
    now = belief.now
    return now.fired + now.damaged + now.missing + now.unfit > now.sound + now.faulty


def step_done(step: Step, case: Case, progress: Progress, gates: frozenset[str]) -> bool:
    """Is a step finished, by a signature or by the evidence that stands for it."""
    word = STEP + step.id
    if progress.failed(word) or progress.failed(step.id):
        return False
    if progress.passed(word) or progress.passed(step.id) or word in progress.done_items:
        return True
    if step.done_by == "loads-issued":
        return bool(progress.issued)
    return _evidence_stands_for(step.done_by, case, gates)


def _evidence_stands_for(kind: str, case: Case, gates: frozenset[str]) -> bool:
    last_work = _last_work(case)
    if kind == "report":
        return any(isinstance(e, Report) and e.when != "after-repair" for e in case.evidence)
    if kind == "recorder":
        return any(isinstance(e, Recorder) and e.method == "recorder" for e in case.evidence)
    if kind == "battery-off":
        return any(isinstance(e, DoneWork) and _is_battery_off(e) for e in case.evidence)
    if kind == "cleared":
        return any(isinstance(e, DoneWork) and _clears_after(e, last_work) for e in case.evidence)
    if kind == "lamp-check":
        return any(isinstance(e, LampCheck) and _lamp_is_good(e, last_work) for e in case.evidence)
    return kind == "loads" and "loads-returned" in gates


def _last_work(case: Case) -> Time | None:
    """Return when the last part was worked on; None when no such time is known."""
    works = [e for e in case.evidence if isinstance(e, DoneWork) and e.what != "cleared"]
    return max((e.time for e in works if e.time is not None), default=None)


def _is_battery_off(work: DoneWork) -> bool:
    return work.component == "battery" and work.what == "disconnected"


def _is_after(time: Time | None, last_work: Time | None) -> bool:
    return last_work is None or (time is not None and time > last_work)


def _clears_after(work: DoneWork, last_work: Time | None) -> bool:
    return work.what == "cleared" and work.component == "codes" and _is_after(work.time, last_work)


def _lamp_is_good(check: LampCheck, last_work: Time | None) -> bool:
    good = check.lit and check.out_after_s is not None and check.stayed_out is True
    return good and _is_after(check.time, last_work)
