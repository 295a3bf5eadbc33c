"""What is done already, and which gates are passed, by the course of the case."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.tasks import Step
from squibwise.history.closing import judge_lamp, judge_scan, list_unproved
from squibwise.history.order import (
    POWER_DOWNS,
    History,
    last_change,
    last_touch,
    read_history,
    replacements,
)
from squibwise.history.signed import (
    LoadsOut,
    find_loads,
    last_seen_bad,
    last_signed,
    last_unit_work,
    outdated_gates,
    signed_results,
    speaks_against,
    unit_exposed,
)
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Recorder
from squibwise.model.names import split_component
from squibwise.model.report import Report
from squibwise.model.work import Demand

STEP = "step:"
LOADS_GATE = "loads-returned"
KEY_ON_GATE, LATER_KEY_ON_GATE = "key-on-safe", "power-safe"
FIRST_POWER, FINAL_POWER, DRIVE = "first-power", "final-power", "drive"
_SAFE_AGAIN = ("second-power-down", "second-make-safe")


class Progress(msgspec.Struct, frozen=True, kw_only=True):
    """What people signed for and did.

    Attributes:
        history: The course of the case.
        results: Last result by gate word, item id or step word.
        done_items: Item ids that a ``done`` evidence names and can finish.
        replaced: Components that were replaced.
        loads: Where the substitute loads are.
    """

    history: History
    results: dict[str, str]
    done_items: frozenset[str]
    replaced: frozenset[str]
    loads: LoadsOut
    vin: str | None = None

    def passed(self, word: str) -> bool:
        """Was this signed as passed, and not as failed since."""
        return self.results.get(word) == "passed"

    def failed(self, word: str) -> bool:
        """Was this signed as failed, and not as passed since."""
        return self.results.get(word) == "failed"


def read_progress(case: Case) -> Progress:
    """Return what the evidence says is done, the later entry winning over the earlier."""
    history = read_history(case.evidence)
    return Progress(
        history=history,
        results=signed_results(history),
        done_items=frozenset(w.item for _, w in history.works if w.item and _can_finish(w, w.item)),
        replaced=frozenset(replacements(history)),
        loads=find_loads(history),
        vin=case.car.vin,
    )


_FINISH = {"replace": ("replaced",), "trace": ("replaced", "reseated", "repaired")}


def _can_finish(work: DoneWork, item: str) -> bool:
    """Can this work finish the item that it names.

    A step is work; inspections and settings are signed for, and no other part's work is this one's.
    """
    component, _, action = item.rpartition(":")
    own = work.component == component and work.what in _FINISH.get(action, ())
    return own or item.startswith(STEP) or ":" not in item


def signed(progress: Progress, suffix: str, result: str) -> frozenset[str]:
    """Return the components whose item with this action was signed with this result."""
    tail = f":{suffix}"
    return frozenset(
        what.removesuffix(tail)
        for what, given in progress.results.items()
        if what.endswith(tail) and given == result
    )


def close_gates(progress: Progress, catalog: Catalog) -> frozenset[str]:
    """Return the gates that hold nothing any more; a load still out keeps its gate shut.

    A look that speaks against a signature shuts its gate again; so does work on the control unit
    those of its bolts and of the next key-on, and a power-down that of the next key-on.
    """
    against = {word for word, _ in speaks_against(progress.history, catalog)}
    against |= {*outdated_gates(progress.history)}
    closed = {w for w in catalog.tasks.gates if progress.passed(w)} - {LOADS_GATE} - against
    if _is_off_since(progress.history, LATER_KEY_ON_GATE):
        closed.discard(LATER_KEY_ON_GATE)
    told = progress.loads.issued or progress.passed(LOADS_GATE)
    if told and progress.loads.are_back and not progress.failed(LOADS_GATE):
        closed.add(LOADS_GATE)
    return frozenset(closed)


def _is_off_since(history: History, gate: str) -> bool:
    """Was the power taken away again after somebody signed for a key-on."""
    signed_at = last_signed(history, gate)
    off = last_signed(history, *POWER_DOWNS)
    return signed_at is not None and off is not None and off[0] > signed_at[0]


def is_done(item: Demand, assessment: Assessment, progress: Progress, catalog: Catalog) -> bool:
    """Is an item on a component finished.

    A replacement counts only while the part that is now there is not itself more likely than
    not fired, damaged or wrong. A cleared record never counts as a replacement. What was inspected
    or set before the part, or one that a setting follows, was replaced is to be done again, unless
    the list itself asked for the new part; so is what was inspected before an eye saw it bad.
    """
    component = item.component or ""
    if item.action == "replace":
        named = component in progress.replaced or item.id in progress.done_items
        return named and not _is_bad_now(component, assessment)
    if item.action == "trace" and component in (
        list_unproved(progress.history) | assessment.unproved
    ):
        return False
    told = item.id in progress.done_items or progress.passed(item.id)
    return told and _last_done(item, progress) > _outdated_by(item, progress, catalog)


def _last_done(item: Demand, progress: Progress) -> int:
    """Return the place at which an item was last signed for, or named by work."""
    signed = last_signed(progress.history, item.id)
    done = [n for n, w in progress.history.works if w.item == item.id]
    return max([*done, signed[0] if signed else -1])


def _outdated_by(item: Demand, progress: Progress, catalog: Catalog) -> int:
    """Return the place of the last thing that makes an inspection or a setting due again."""
    if item.action == "calibrate":
        return max(_replaced_before_setting(item, progress, catalog), default=-1)
    if item.action != "inspect" or item.component is None:
        return -2
    works = progress.history.works_on(frozenset((item.component,)))
    asked = {n for n, w in works if w.item == f"{item.component}:replace"}
    fitted = {*replacements(progress.history).get(item.component, ())} - asked
    return max(last_seen_bad(progress.history, item.component, catalog), *fitted, -1)


def _replaced_before_setting(item: Demand, progress: Progress, catalog: Catalog) -> tuple[int, ...]:
    """Return the places at which something that a setting follows was last replaced."""
    own = split_component(item.component or "")
    setting = catalog.tasks.settings.get(own.kind)
    follows = (own.kind, *(setting.follows if setting else ()))
    return tuple(
        places[-1]
        for component, places in replacements(progress.history).items()
        if "." in component
        and split_component(component).kind in follows
        and split_component(component).place in (own.place, "centre")
    )


def _is_bad_now(component: str, assessment: Assessment) -> bool:
    belief = assessment.get(component)
    if belief is None:
        return False
    now = belief.now
    return now.fired + now.damaged + now.missing + now.unfit > now.sound + now.faulty


def is_step_done(step: Step, progress: Progress, gates: frozenset[str], catalog: Catalog) -> bool:
    """Is a step finished, by a signature or by the evidence that stands for it.

    The lamp and the final scan are never finished by a signature alone.
    """
    if step.done_by == "lamp-check":
        return judge_lamp(progress.history, catalog).outcome == "met"
    if step.done_by == "final-scan":
        return judge_scan(progress.history, catalog, progress.vin).outcome == "met"
    word = STEP + step.id
    if progress.failed(word) or progress.failed(step.id):
        return False
    if _is_outdated(step.id, progress.history):
        return False
    if progress.passed(word) or progress.passed(step.id) or word in progress.done_items:
        return True
    return _evidence_stands_for(step.done_by, progress, gates)


def _is_outdated(step: str, history: History) -> bool:
    """Was the last power-up before the unit was worked on or the power came off; a drive, any work.

    The power-down after loads is done again once the power was on loads again. Nothing else goes
    out of date.
    """
    signed_at = last_signed(history, STEP + step, step)
    if signed_at is not None and step in _SAFE_AGAIN:
        on = last_signed(history, STEP + FIRST_POWER, FIRST_POWER)
        return on is not None and on[0] > signed_at[0]
    if signed_at is None or step not in (FINAL_POWER, DRIVE):
        return False
    if step == DRIVE:
        return signed_at[0] < last_touch(history)
    off = last_signed(history, *POWER_DOWNS)
    return signed_at[0] < max(last_unit_work(history), -1 if off is None else off[0])


def _evidence_stands_for(kind: str, progress: Progress, gates: frozenset[str]) -> bool:
    history = progress.history
    match kind:
        case "loads-issued":
            found = bool(progress.loads.issued)
        case "bench-report":
            found = _was_read_since_refusal(history)
        case "report":
            found = any(r.when != "after-repair" for _, r in history.all_of(Report))
        case "recorder":
            found = any(r.method == "recorder" for _, r in history.all_of(Recorder))
        case "battery-off":
            found = any(_is_battery_off(w) for _, w in history.works)
        case "cleared":
            last = last_change(history, clearing=False)
            found = any(at > last and _clears_codes(w) for at, w in history.works)
        case _:
            found = kind == "loads" and LOADS_GATE in gates
    return found


def _was_read_since_refusal(history: History) -> bool:
    """Return whether the unit was read after it was known that the car may not be switched on."""
    signed_at = last_signed(history, KEY_ON_GATE)
    exposed = unit_exposed(history)
    refused = [signed_at[0]] if signed_at else []
    refused += [history.place_of(exposed.id)] if exposed else []
    reports = history.all_of(Report)
    return any(n > max(refused, default=-1) and r.when != "after-repair" for n, r in reports)


def _is_battery_off(work: DoneWork) -> bool:
    return work.component == "battery" and work.what == "disconnected"


def _clears_codes(work: DoneWork) -> bool:
    return work.what == "cleared" and work.component == "codes"


def entry_for(item: Demand, catalog: Catalog) -> dict[str, str]:
    """Return the entry that records an item as done; a gate is recorded by its own word."""
    if item.action == "replace":
        component = item.component or ""
        return {"kind": "done", "what": "replaced", "component": component, "item": item.id}
    task = item.id.removeprefix("step:")
    word = next((g.word for g in catalog.tasks.gates.values() if g.step == task), item.id)
    return {"kind": "passed", "what": word, "result": "passed"}
