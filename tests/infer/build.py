"""Cases made by hand for the tests of inference. Invented cars."""

import datetime as dt
import pathlib

from squibwise.catalog.components import whole_template
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence
from squibwise.model.names import Side
from squibwise.model.report import Candidate, CodeLine, Coverage, ReadReport, Report
from squibwise.model.words import Fault, Status

CATALOG: Catalog = load_catalog()
MINUTE = dt.datetime(2026, 3, 2, 9, 10)
HERE = pathlib.Path(__file__).parent


def car(
    template: str = "curtains-and-weight-sensing",
    year: int | None = 2019,
    add: tuple[str, ...] = (),
    hand: Side = "left",
) -> Car:
    """Return a car with the parts of a template."""
    whole = whole_template(template, CATALOG.templates)
    fitted, stages = tuple(sorted({*whole.components, *add})), whole.stages
    by_part = {c: stages[c.partition(".")[2]] for c in fitted if c.partition(".")[2] in stages}
    return Car(
        equipment=template, components=fitted, stages=by_part, model_year=year, drive_hand=hand
    )


def code(
    line: int,
    component: str,
    stage: int | None = 1,
    fault: Fault = "open-or-high",
    status: tuple[Status, ...] = ("present",),
    weight: float = 1.0,
) -> CodeLine:
    """Return a code line that speaks of one component."""
    meant = Candidate(component=component, stage=stage, fault=fault, weight=weight)
    return CodeLine(
        line=line,
        raw=f"{component} stage {stage} {fault}",
        component=component if weight == 1.0 else None,
        stage=stage,
        fault=fault,
        status=status,
        candidates=(meant,),
    )


def record(line: int = 9, status: tuple[Status, ...] = ("locked",)) -> CodeLine:
    """Return a code line of a stored crash record."""
    return code(line, "centre.control-unit", fault="event-recorded", status=status)


def scan(
    *lines: CodeLine,
    id: str = "scan-1",
    complete: bool | None = True,
    able: bool | None = None,
    volts: float | None = 12.4,
    when: str = "unknown",
) -> Report:
    """Return a scan report as evidence."""
    coverage = Coverage(complete=complete, able=able, unit_volts=volts)
    return Report(id=id, when=when, reading=ReadReport(lines=lines, coverage=coverage))


def case(*evidence: Evidence, on: Car | None = None) -> Case:
    """Return a case of a car with this evidence."""
    return Case(id="made-by-hand", car=on or car(), evidence=evidence)
