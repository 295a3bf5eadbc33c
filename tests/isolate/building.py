"""Small cases built by hand, so that these tests rest on no other package's answers."""

from typing import Any

from squibwise.catalog.load import load_catalog
from squibwise.model.belief import (
    Assessment,
    ComponentBelief,
    EventBelief,
    StageBelief,
    StateBelief,
)
from squibwise.model.car import Car, Profile
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence
from squibwise.model.report import CodeLine, Coverage, ReadReport, Report

CATALOG = load_catalog()
COMPONENTS = (
    "centre.battery-cutoff",
    "centre.control-unit",
    "centre.warning-lamp",
    "centre.wiring",
    "door-left.impact-sensor",
    "driver.buckle-pretensioner",
    "driver.buckle-switch",
    "driver.clock-spring",
    "driver.front-bag",
    "driver.retractor-pretensioner",
    "driver.seat-bag",
    "driver.seat-frame",
    "left.curtain",
    "nose-left.impact-sensor",
    "passenger.front-bag",
    "passenger.knee-bag",
    "passenger.motor-belt",
    "passenger.occupant-sensor",
    "passenger.off-indicator",
    "pillar-left.impact-sensor",
)


def a_case(*evidence: Evidence, **more: Any) -> Case:
    """Return a case of a car with everything that has a circuit."""
    car = Car(equipment="full-modern-set", components=COMPONENTS, stages={"driver.front-bag": 2})
    return Case(id="x", car=car, evidence=evidence, **({"profile": Profile()} | more))


def a_line(component: str, fault: Any, *status: Any, stage: int = 1, line: int = 1) -> CodeLine:
    """Return one line of a report."""
    return CodeLine(
        line=line,
        raw="x",
        component=component,
        stage=stage,
        fault=fault,
        status=status or ("present",),
    )


def a_report(*lines: CodeLine, name: str = "s1", **more: Any) -> Report:
    """Return a complete report."""
    coverage = Coverage(**({"complete": True, "unit_volts": 12.5} | more))
    return Report(id=name, reading=ReadReport(lines=lines, coverage=coverage))


def believing(
    fired: dict[str, float] | None = None,
    no_crash: float = 0.99,
    zones: dict[str, float] | None = None,
    causes: dict[str, float] | None = None,
) -> Assessment:
    """Return an assessment: each loop's fault is a spent charge with this probability."""
    event = EventBelief(
        zones=zones or {},
        delta_v_kmh=None,
        driver_belted=0.9,
        passenger_belted=0.5,
        front_passenger={"empty": 0.6, "child-or-small": 0.1, "adult": 0.3},
        rollover=0.01,
        second_impact=0.01,
        no_crash=no_crash,
        causes=causes or {},
    )
    return Assessment(event=event, components=tuple(_belief(c, fired or {}) for c in COMPONENTS))


def _belief(component: str, fired: dict[str, float]) -> ComponentBelief:
    p = fired.get(component, 0.001)
    state = StateBelief(sound=0.0, fired=p, faulty=1.0 - p, damaged=0.0, unfit=0.0)
    stage = StageBelief(fired=p, live=0.0, faulty=1.0 - p)
    return ComponentBelief(
        id=component, after_crash=state, now=state, stages={"1": stage, "2": stage}
    )
