"""The straight line: one function per command, each calling the one before it."""

import datetime as dt
from pathlib import Path

from squibwise import check, infer, intake, isolate, plan, prove, require
from squibwise.catalog.load import Catalog
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.cost import Cost
from squibwise.model.proof import ProofRecord, Verdict, Verification
from squibwise.model.report import ReadReport
from squibwise.model.trace import Trace
from squibwise.model.work import Work


def read(path: Path, catalog: Catalog) -> ReadReport:
    """Return what a report file says, with everything that was not understood."""
    return intake.read_report_file(path, catalog)


def open_case(path: Path, catalog: Catalog) -> Case:
    """Return the case of a folder, of its ``case.toml``, or of a bare report file."""
    return intake.load_case(path, catalog)


def assess(case: Case, catalog: Catalog) -> Assessment:
    """Return what happened in the crash and what state every component is in."""
    return infer.assess(case, catalog, plan.losses(case, catalog))


def trace(case: Case, loop: str, catalog: Catalog) -> Trace:
    """Return where a circuit is at fault and which test comes next."""
    return isolate.trace(case, assess(case, catalog), loop, catalog)


def work(case: Case, catalog: Catalog) -> Work:
    """Return what must be done on the car, in order, with reasons."""
    return require.work(case, assess(case, catalog), catalog)


def cost(case: Case, catalog: Catalog) -> tuple[Cost, ...]:
    """Return what it costs, under the followed profile first and then under each other."""
    return plan.cost(case, work(case, catalog), catalog)


def verdicts(case: Case, catalog: Catalog) -> tuple[Verdict, ...]:
    """Return a verdict on everything that was measured, calibrated and checked."""
    return check.verdicts(case, work(case, catalog), catalog)


def release(case: Case, catalog: Catalog, today: dt.date) -> ProofRecord:
    """Return the written record; a draft while any gate is open."""
    states = assess(case, catalog)
    items = require.work(case, states, catalog)
    costs = plan.cost(case, items, catalog)
    checked = check.verdicts(case, items, catalog)
    return prove.record(case, states, items, costs, checked, catalog, today)


def verify(data: bytes) -> Verification:
    """Return whether a record is whole and unchanged."""
    return prove.verify(data)
