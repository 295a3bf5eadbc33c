"""Beliefs and readings of a job that tests of its order share."""

import msgspec

from squibwise.model.belief import Assessment
from squibwise.model.evidence import Passed
from squibwise.model.work import Operation, Work

UNIT = {"centre.control-unit": {"damaged": 0.98}}
BAGS = {
    "driver.front-bag": {"fired": 0.98},
    "passenger.front-bag": {"fired": 0.98},
    "driver.knee-bag": {"fired": 0.97},
    "left.curtain": {"fired": 0.97},
    "driver.seat-bag": {"fired": 0.97},
}
TRACED = {"passenger.seat-bag": {"faulty": 0.6}}
FEW = (
    "centre.control-unit",
    "door-left.impact-sensor",
    "driver.clock-spring",
    "driver.front-bag",
    "driver.seat-bag",
    "nose-right.impact-sensor",
    "passenger.seat-bag",
)
SENSORS = {c: {"damaged": 0.98} for c in FEW if c.endswith("sensor")}
BELT = "driver.retractor-pretensioner"
MAT = "passenger.occupant-sensor"
HIGH = "centre.high-voltage-cutoff"
SAFE = Passed(id="g", what="key-on-safe", result="passed")
UNSAFE = Passed(id="g", what="key-on-safe", result="failed")


def believe_causes(states: Assessment, **causes: float) -> Assessment:
    told = {w.replace("__", ":").replace("_", "-"): p for w, p in causes.items()}
    return msgspec.structs.replace(states, event=msgspec.structs.replace(states.event, causes=told))


def find(done: Work, word: str) -> Operation:
    return next(o for o in done.operations if o.id == word)


def waits(done: Work) -> dict[str, set[str]]:
    before: dict[str, set[str]] = {}
    for operation in done.operations:
        before[operation.id] = {x for a in operation.after for x in {a, *before[a]}}
    return before


def read_places(done: Work) -> dict[str, tuple[str, str]]:
    """Return the phase and the area of every operation."""
    return {o.id: (a.phase, a.area) for v in done.visits for a in v.areas for o in a.operations}
