"""What is done and what is due again, asked of a few entries, one step to each side.

Each row is one that a changed program (an `or` for an `and`, a filter left out) would have got
through the other tests; see docs/mutation.md. Own edge cases.
"""

import datetime as dt
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.model.evidence import (
    DoneWork,
    LampCheck,
    Look,
    Passed,
    Recorder,
    SubstituteLoad,
)
from squibwise.model.report import Coverage, ReadReport, Report
from squibwise.model.work import Demand
from squibwise.require.progress import close_gates, is_done, is_step_done, read_progress

DAY = dt.datetime(2026, 3, 10)
PART = "driver.belt-webbing"
CODES = {"what": "cleared", "component": "codes"}


def timed(*entries: Any) -> tuple[Any, ...]:
    """Return entries an hour apart, in the order given, each with an id of its own."""

    return tuple(
        msgspec.structs.replace(e, id=f"e{n}", time=DAY + dt.timedelta(hours=n))
        for n, e in enumerate(entries)
    )


def passed(what: str, result: Any = "passed") -> Passed:
    return Passed(id="p", what=what, result=result, by="R")


def work(what: Any, component: str, item: str | None = None) -> DoneWork:
    return DoneWork(id="w", what=what, component=component, item=item)


def read(when: Any = "before-repair") -> Report:
    whole = ReadReport(coverage=Coverage(complete=True, able=True, unit_volts=12.5))
    return Report(id="r", when=when, reading=whole)


OUT = SubstituteLoad(id="l", serial="S", loop="driver.front-bag/1", ohm=2.1, move="issued")
BACK = SubstituteLoad(id="m", serial="S", loop="driver.front-bag/1", ohm=2.1, move="returned")
LIT = LampCheck(id="l", lit=True, out_after_s=6.0, stayed_out=True)
OFF, FIRST, FINAL = "step:power-down", "step:first-power", "step:final-power"


@pytest.mark.parametrize(
    ("step", "entries", "expected"),
    [
        ("structure", [passed("step:structure")], True),
        ("structure", [passed("structure")], True),
        ("structure", [passed("step:structure", "failed")], False),
        ("structure", [passed("structure"), passed("step:structure", "failed")], False),
        ("structure", [passed("step:structure"), passed("structure", "failed")], False),
        ("structure", [work("repaired", "centre.wiring", "step:structure")], True),
        ("structure", [work("repaired", "centre.wiring")], False),
        ("structure", [], False),
        ("structure", [passed("step:structure"), passed(OFF), passed(FIRST)], True),
        # The lamp and the last scan by themselves, never by a signature.
        ("lamp-check", [LIT], True),
        ("lamp-check", [passed("step:lamp-check")], False),
        ("final-scan", [work("replaced", PART), read("after-repair")], True),
        ("final-scan", [passed("step:final-scan")], False),
        ("final-scan", [read("after-repair"), work("replaced", PART)], False),
        # A last power-up is over once the power came off or the unit was worked on; a drive by any
        # hand on the car.
        ("final-power", [passed(FINAL)], True),
        ("final-power", [passed(FINAL), passed(OFF)], False),
        ("final-power", [passed(OFF), passed(FINAL)], True),
        ("final-power", [passed(FINAL), work("reseated", "centre.control-unit")], False),
        ("final-power", [work("reseated", "centre.control-unit"), passed(FINAL)], True),
        ("final-power", [passed(FINAL), work("reseated", PART)], True),
        ("drive", [passed("step:drive")], True),
        ("drive", [passed("step:drive"), work("reseated", PART)], False),
        ("drive", [work("reseated", PART), passed("step:drive")], True),
        ("drive", [passed("step:drive"), passed(OFF)], False),
        ("clear", [passed("step:clear"), work("reseated", PART)], True),
        # The power-down after the loads is due again once the power was on on loads again.
        ("second-power-down", [passed("step:second-power-down")], True),
        ("second-power-down", [passed("step:second-power-down"), passed(FIRST)], False),
        ("second-power-down", [passed(FIRST), passed("step:second-power-down")], True),
        ("second-power-down", [], False),
        # What evidence stands for.
        ("power-down", [work("disconnected", "battery")], True),
        ("power-down", [work("reseated", "battery")], False),
        ("power-down", [work("disconnected", PART)], False),
        ("save-codes", [read()], True),
        ("save-codes", [read("after-repair")], False),
        ("save-crash-data", [Recorder(id="c")], True),
        ("save-crash-data", [Recorder(id="c", method="estimate")], False),
        ("clear", [DoneWork(id="w", **CODES)], True),
        ("clear", [DoneWork(id="w", **CODES), work("reseated", PART)], False),
        ("clear", [work("reseated", PART), DoneWork(id="w", **CODES)], True),
        ("clear", [work("reseated", "codes")], False),
        ("clear", [work("cleared", "centre.control-unit")], False),
        ("fit-loads", [OUT], True),
        ("fit-loads", [], False),
        ("bench-read", [read()], True),
        ("bench-read", [read(), passed("key-on-safe", "failed")], False),
        ("bench-read", [passed("key-on-safe", "failed"), read()], True),
        ("bench-read", [passed("key-on-safe", "failed"), read("after-repair")], False),
    ],
)
def test_a_step_is_done_by_what_proves_it_and_due_again_by_what_undoes_it(
    step: str, entries: list[Any], expected: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    progress = read_progress(made.case(*timed(*entries)))
    gates = close_gates(progress, catalog)
    assert is_step_done(catalog.tasks.steps[step], progress, gates, catalog) is expected


@pytest.mark.parametrize(
    ("entries", "expected"),
    [
        ([OUT, BACK], True),
        ([OUT], False),
        ([], False),
        ([passed("loads-returned")], True),
        ([OUT, BACK, passed("loads-returned", "failed")], False),
        ([OUT, passed("loads-returned")], False),
    ],
)
def test_loads_are_back_when_each_is_and_nobody_says_otherwise(
    entries: list[Any], expected: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    progress = read_progress(made.case(*timed(*entries)))
    gates = close_gates(progress, catalog)
    assert ("loads-returned" in gates) is expected
    step = catalog.tasks.steps["return-loads"]
    assert is_step_done(step, progress, gates, catalog) is expected


@pytest.mark.parametrize(
    ("gate", "entries", "expected"),
    [
        ("power-safe", [passed("power-safe")], True),
        ("power-safe", [passed("power-safe"), passed(OFF)], False),
        ("power-safe", [passed(OFF), passed("power-safe")], True),
        ("unit-bolted", [passed("unit-bolted"), passed(OFF)], True),
        ("unit-bolted", [passed("unit-bolted"), work("reseated", "centre.control-unit")], False),
        ("unit-bolted", [passed("unit-bolted", "failed")], False),
        (
            "unit-bolted",
            [passed("unit-bolted"), Look(id="x", component="centre.control-unit", seen="damaged")],
            False,
        ),
    ],
)
def test_a_gate_stays_closed_until_something_opens_it_again(
    gate: str, entries: list[Any], expected: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    progress = read_progress(made.case(*timed(*entries)))
    assert (gate in close_gates(progress, catalog)) is expected


BAD = Look(id="x", component=PART, seen="damaged")


@pytest.mark.parametrize(
    ("action", "entries", "expected"),
    [
        ("inspect", [passed(f"{PART}:inspect")], True),
        ("inspect", [passed(f"{PART}:inspect"), BAD], False),
        ("inspect", [BAD, passed(f"{PART}:inspect")], True),
        ("inspect", [passed(f"{PART}:inspect"), work("replaced", PART)], False),
        ("inspect", [work("replaced", PART), passed(f"{PART}:inspect")], True),
        # A part that was replaced as the list asked is not looked at once more.
        ("inspect", [passed(f"{PART}:inspect"), work("replaced", PART, f"{PART}:replace")], True),
        ("inspect", [passed(f"{PART}:inspect"), work("replaced", PART, "step:other")], False),
        ("inspect", [work("repaired", PART, f"{PART}:inspect")], False),
        ("trace", [work("repaired", PART, f"{PART}:trace")], True),
        ("trace", [work("repaired", PART, "driver.front-bag:trace")], False),
        ("trace", [passed(f"{PART}:trace"), work("replaced", PART)], True),
        (
            "inspect",
            [passed(f"{PART}:inspect"), BAD, work("repaired", PART, f"{PART}:trace")],
            False,
        ),
        ("inspect", [], False),
        ("replace", [], False),
        ("replace", [work("repaired", PART, f"{PART}:replace")], False),
        ("replace", [work("replaced", PART)], True),
    ],
)
def test_an_item_is_done_by_its_own_word_after_what_makes_it_due(
    action: str, entries: list[Any], expected: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    item = Demand(id=f"{PART}:{action}", action=action, component=PART, title="", strict="always")
    progress = read_progress(made.case(*timed(*entries)))
    assert is_done(item, made.assessment({}), progress, catalog) is expected


@pytest.mark.parametrize(
    ("entries", "expected"),
    [
        (["set"], True),
        (["set", "sensor"], False),
        (["sensor", "set"], True),
        (["sensor", "set", "frame"], False),
        (["set", "other"], True),
        ([], False),
    ],
)
def test_a_setting_is_made_anew_after_what_it_follows_was_replaced(
    entries: list[str], expected: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    """A seat is set to zero after its sensor and its frame; the other seat's is not its own."""
    sensor = "passenger.occupant-sensor"
    assert "seat-frame" in catalog.tasks.settings["occupant-sensor"].follows
    rows = {
        "set": passed(f"{sensor}:calibrate"),
        "sensor": work("replaced", sensor),
        "frame": work("replaced", "passenger.seat-frame"),
        "other": work("replaced", "driver.seat-frame"),
    }
    item = Demand(
        id=f"{sensor}:calibrate", action="calibrate", component=sensor, title="", strict="always"
    )
    progress = read_progress(made.case(*timed(*(rows[e] for e in entries))))
    assert is_done(item, made.assessment({}), progress, catalog) is expected


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        ({"fired": 0.5}, True),
        ({"fired": 0.51}, False),
        ({"damaged": 0.51}, False),
        ({"missing": 0.51}, False),
        ({"unfit": 0.51}, False),
        ({"faulty": 0.9}, True),
    ],
)
def test_a_part_that_is_likelier_bad_than_not_was_not_replaced_well(
    now: dict[str, float], expected: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    """On the limit itself it stays done; what is faulty is traced, not replaced again."""
    item = Demand(id=f"{PART}:replace", action="replace", component=PART, title="", strict="always")
    progress = read_progress(made.case(*timed(work("replaced", PART))))
    assert is_done(item, made.assessment({PART: now}), progress, catalog) is expected
