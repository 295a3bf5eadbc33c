"""A control unit that somebody tells to hang loose is a danger until its mount was looked at.

That a loose unit may fire everything on a knock with the power on: published defect reports, see
the caution `key-on`. The sentences are our own.
"""

import datetime as dt

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.history.loose_unit import tells_of_loose_unit, told_loose
from squibwise.history.order import read_history
from squibwise.history.signed import speaks_against
from squibwise.model.evidence import DoneWork, Evidence, Look, Passed, Story
from squibwise.model.report import CodeLine, ReadReport, Report, Unread

CATALOG = load_catalog()
UNIT = "centre.control-unit"
AT = dt.datetime(2026, 3, 2, 9)
TOLD = Story(id="told", time=AT, text="Pulled the console. The module was hanging by its wires.")
LATER = AT + dt.timedelta(hours=1)


@pytest.mark.parametrize(
    ("clause", "is_told"),
    [
        ("the module was hanging by its wires", True),
        ("SRS unit is dangling under the console", True),
        ("found the airbag ecu unbolted", True),
        ("When I opened the tunnel the control unit hung off its harness", True),
        ("das Airbagsteuergerät hängt nur noch am Kabelbaum", True),
        ("la centralita estaba colgando de los cables", True),
        ("le boîtier d'airbag pendait au bout du faisceau", True),
        ("la centralina penzola dal cablaggio", True),
        ("o módulo do airbag está solto no túnel", True),
        ("sterownik poduszek wisi na wiązce", True),
        ("de airbagmodule hangt aan de draden", True),
        ("the unit was not hanging", False),
        ("the module isn't loose", False),
        ("is the module loose?", False),
        ("if the unit is loose bolt it down", False),
        ("make sure the module is not hanging", False),
        ("the driver door module was hanging by its wires", False),
        ("the passenger airbag module was hanging out of the dash", False),
        ("the plug of the module was loose", False),
        ("the curtain was hanging out over the seat", False),
        ("das Steuergerät ist nicht locker", False),
        ("la centralita no estaba suelta", False),
    ],
)
def test_a_clause_tells_that_the_unit_is_loose(clause: str, is_told: bool) -> None:
    assert tells_of_loose_unit(clause, CATALOG) is is_told


@pytest.mark.parametrize(
    ("since", "is_open"),
    [
        ((), True),
        ((Look(id="l", time=LATER, component=UNIT, seen="not-seen"),), True),
        ((Look(id="l", time=LATER, component="driver.front-bag", seen="intact"),), True),
        ((Look(id="l", time=LATER, component=UNIT, seen="mount-straight"),), False),
        ((Passed(id="p", time=LATER, what="unit-bolted", result="passed"),), False),
        ((DoneWork(id="d", time=LATER, what="replaced", component=UNIT),), False),
        ((Look(id="l", time=AT - dt.timedelta(hours=1), component=UNIT, seen="intact"),), True),
    ],
)
def test_what_is_told_closes_the_gates_of_power_until_somebody_looked(
    since: tuple[Evidence, ...], is_open: bool
) -> None:
    history = read_history((TOLD, *since))
    assert (told_loose(history, CATALOG) is not None) is is_open
    assert [w for w, e in speaks_against(history, CATALOG) if e.id == "told"] == (
        ["key-on-safe", "unit-bolted", "power-safe"] if is_open else []
    )


def test_a_report_tells_it_too_in_a_fault_or_in_a_line_that_is_none() -> None:
    text = "Module hanging by its wires"
    for reading in (
        ReadReport(lines=(CodeLine(line=3, raw=f"B1A11 {text}"),)),
        ReadReport(unread=(Unread(line=3, raw=text),)),
    ):
        found = told_loose(read_history((Report(id="r", reading=reading),)), CATALOG)
        assert found is not None
        assert found[0].id == "r"


def test_an_undated_word_is_settled_by_any_look() -> None:
    look = Look(id="l", time=AT, component=UNIT, seen="mount-straight")
    undated = Story(id="told", text=TOLD.text)
    assert told_loose(read_history((look, undated)), CATALOG) is None
    assert told_loose(read_history((undated,)), CATALOG) is not None
