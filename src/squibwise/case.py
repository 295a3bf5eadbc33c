"""The straight line: one function per command, each calling the one before it."""

import datetime as dt
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path

from squibwise import check, infer, intake, isolate, plan, prove, require
from squibwise.catalog.load import Catalog
from squibwise.history.order import put_in_order
from squibwise.model.belief import Assessment
from squibwise.model.case import Case, Experience
from squibwise.model.cost import Cost
from squibwise.model.evidence import TestOutcome
from squibwise.model.proof import Overview, ProofRecord, Verdict, Verification
from squibwise.model.report import ReadReport
from squibwise.model.trace import Trace
from squibwise.model.work import Work

NO_EXPERIENCE = Experience()


def read(path: Path, catalog: Catalog) -> ReadReport:
    """Return what a report file says, with everything that was not understood."""
    return intake.read_report_file(path, catalog)


def open_case(path: Path, catalog: Catalog) -> Case:
    """Return the case of a folder, of its ``case.toml``, or of a bare report file."""
    return intake.load_case(path, catalog)


def learn(finished: Iterable[Case], catalog: Catalog) -> Experience:
    """Return what the user's own finished cases say of the curves and of the causes of faults."""
    cases = tuple(finished)
    shifts = infer.learn_shifts(cases, catalog)
    proved: Counter[str] = Counter()
    for case in (c for c in cases if any(isinstance(e, TestOutcome) for e in c.evidence)):
        proved.update(isolate.proved_causes(case, assess(case, catalog), catalog))
    return Experience(
        cases=len(cases),
        shifts={k: s.value for k, s in shifts.items() if s.n},
        proved=dict(proved),
    )


def assess(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> Assessment:
    """Return what happened in the crash and what state every component is in."""
    case = put_in_order(case)
    return infer.assess(case, catalog, plan.losses(case, catalog), own.shifts)


def trace(
    case: Case,
    loop: str,
    catalog: Catalog,
    own: Experience = NO_EXPERIENCE,
    over: Callable[[], bool] | None = None,
) -> Trace:
    """Return where a circuit is at fault and which test comes next; ``over`` ends the search."""
    case = put_in_order(case)
    return isolate.trace(case, assess(case, catalog, own), loop, catalog, own.proved, over)


def work(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> Work:
    """Return what must be done on the car, in order, with reasons."""
    return require.work(case, assess(case, catalog, own), catalog)


def costed(
    case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE
) -> tuple[Work, tuple[Cost, ...]]:
    """Return the work and what it costs, under the followed profile first, then each other."""
    items = work(case, catalog, own)
    return items, plan.cost(case, items, catalog)


def cost(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> tuple[Cost, ...]:
    """Return what it costs, under the followed profile first and then under each other."""
    return costed(case, catalog, own)[1]


def verdicts(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> tuple[Verdict, ...]:
    """Return a verdict on everything that was measured, calibrated and checked."""
    return check.verdicts(case, work(case, catalog, own), catalog)


def release(
    case: Case, catalog: Catalog, today: dt.date, own: Experience = NO_EXPERIENCE
) -> ProofRecord:
    """Return the written record; a draft while any gate is open."""
    states = assess(case, catalog, own)
    items = require.work(case, states, catalog)
    costs = plan.cost(case, items, catalog)
    checked = check.verdicts(case, items, catalog)
    return prove.record(case, states, items, costs, checked, catalog, today)


def overview(case: Case, catalog: Catalog, own: Experience = NO_EXPERIENCE) -> Overview:
    """Return everything that is answered about a case, at once."""
    states = assess(case, catalog, own)
    items = require.work(case, states, catalog)
    costs = plan.cost(case, items, catalog)
    checked = check.verdicts(case, items, catalog)
    gates = prove.gates(case, states, items, checked, catalog)
    return Overview(states=states, todo=items, costs=costs, gates=gates)


def verify(data: bytes) -> Verification:
    """Return whether a record is whole and unchanged."""
    return prove.verify(data)
