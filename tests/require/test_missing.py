"""Parts that are not there, and faults that lie beside the part."""

from types import SimpleNamespace

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.belief import Assessment, ComponentBelief, StageBelief, StateBelief
from squibwise.model.evidence import DoneWork, Evidence, Look
from squibwise.model.work import Demand
from squibwise.require import work

GONE = Look(id="gone", component="driver.front-bag", seen="missing")
FITTED = DoneWork(id="fitted", what="replaced", component="driver.front-bag")
ITEM = "driver.front-bag:replace"


def items(made: SimpleNamespace, catalog: Catalog, *evidence: Evidence) -> dict[str, Demand]:
    calm: Assessment = made.assessment({}, event=made.calm)
    return {i.id: i for i in work(made.case(*evidence), calm, catalog).items}


# Common practice, no source.
def test_a_part_seen_missing_is_fitted(made: SimpleNamespace, catalog: Catalog) -> None:
    found = items(made, catalog, GONE)
    assert found[ITEM].probability == 1.0
    assert "driver.front-bag:inspect" not in found


# Common practice, no source: a thief fires nothing.
def test_a_bag_stolen_from_a_car_without_a_crash_asks_for_no_new_unit(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    unit = "centre.control-unit:replace"
    assert unit not in items(made, catalog, GONE)
    crashed = made.assessment({"driver.front-bag": {"missing": 0.99}})
    assert unit in {i.id for i in work(made.case(GONE), crashed, catalog).items}


def test_a_part_seen_missing_and_fitted_since_is_done(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    found = items(made, catalog, GONE, FITTED)
    assert found[ITEM].done


def test_a_later_look_takes_back_that_it_was_missing(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    seen = Look(id="seen", component="driver.front-bag", seen="cover-whole")
    assert ITEM not in items(made, catalog, GONE, seen)
    assert ITEM in items(made, catalog, GONE, FITTED, seen)


def test_a_later_look_at_the_connector_does_not_bring_the_part_back(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    plug = Look(id="plug", component="driver.front-bag", seen="connector-off")
    gone = made.assessment({"driver.front-bag": {"missing": 0.99}}, event=made.calm)
    done = work(made.case(GONE, plug), gone, catalog)
    assert {i.id: i for i in done.items}[ITEM].probability == 0.99
    assert any("driver.front-bag" in o.contains for o in done.orders)


def test_nothing_was_seen_where_nobody_looked(made: SimpleNamespace, catalog: Catalog) -> None:
    hidden = Look(id="hidden", component="driver.front-bag", seen="not-seen")
    assert ITEM in items(made, catalog, GONE, hidden)
    assert ITEM not in items(made, catalog, hidden)


# Common practice, no source: a fault of a circuit is seldom the part itself.
def test_a_fault_beside_a_sound_part_is_traced(made: SimpleNamespace, catalog: Catalog) -> None:
    plug: ComponentBelief = ComponentBelief(
        id="passenger.seat-bag",
        after_crash=StateBelief(sound=0.99, fired=0.0, faulty=0.01, damaged=0.0, unfit=0.0),
        now=StateBelief(sound=0.99, fired=0.0, faulty=0.01, damaged=0.0, unfit=0.0),
        stages={"1": StageBelief(fired=0.0, live=0.06, faulty=0.94)},
    )
    calm: Assessment = made.assessment({}, event=made.calm)
    rest = tuple(c for c in calm.components if c.id != plug.id)
    states = msgspec.structs.replace(calm, components=(*rest, plug))
    done = work(made.case(), states, catalog)
    trace = next(i for i in done.items if i.id == "passenger.seat-bag:trace")
    assert trace.probability == 0.94


def test_a_circuit_that_is_open_because_the_part_is_gone_is_not_traced(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    gone = StateBelief(sound=0.5, fired=0.0, faulty=0.0, damaged=0.0, unfit=0.5)
    curtain = ComponentBelief(
        id="left.curtain",
        after_crash=gone,
        now=gone,
        stages={"1": StageBelief(fired=0.0, live=0.5, faulty=0.5)},
    )
    calm: Assessment = made.assessment({}, event=made.calm)
    rest = tuple(c for c in calm.components if c.id != curtain.id)
    states = msgspec.structs.replace(calm, components=(*rest, curtain))
    found = {i.id for i in work(made.case(), states, catalog).items}
    assert "left.curtain:inspect" in found
    assert "left.curtain:trace" not in found


def test_a_circuit_that_is_open_because_the_part_is_damaged_is_not_traced(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    hurt = StateBelief(sound=0.9, fired=0.0, faulty=0.0, damaged=0.1, unfit=0.0)
    sensor = ComponentBelief(
        id="nose-left.impact-sensor",
        after_crash=hurt,
        now=hurt,
        stages={"1": StageBelief(fired=0.0, live=0.88, faulty=0.12)},
    )
    calm: Assessment = made.assessment({}, event=made.calm)
    rest = tuple(c for c in calm.components if c.id != sensor.id)
    states = msgspec.structs.replace(calm, components=(*rest, sensor))
    found = {i.id for i in work(made.case(), states, catalog).items}
    assert "nose-left.impact-sensor:trace" not in found


def test_nothing_is_read_out_of_a_unit_that_is_not_there(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    gone = Look(id="no-unit", component="centre.control-unit", seen="missing")
    found = items(made, catalog, gone)
    assert "centre.control-unit:replace" in found
    assert "step:save-codes" not in found
    assert "step:save-codes" in items(made, catalog)


# Common practice, no source: a new part does not cure a plug.
def test_a_fault_beside_a_part_is_traced_though_a_rule_replaces_the_part(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    part = "passenger.buckle-switch"
    fired: Assessment = made.assessment({"driver.front-bag": {"fired": 0.99}})

    def traced(faulty: float) -> bool:
        now = StateBelief(sound=1.0 - faulty, fired=0.0, faulty=faulty, damaged=0.0, unfit=0.0)
        stages = {"1": StageBelief(fired=0.0, live=0.1, faulty=0.9)}
        belief = ComponentBelief(id=part, after_crash=now, now=now, stages=stages)
        rest = tuple(c for c in fired.components if c.id != part)
        states = msgspec.structs.replace(fired, components=(*rest, belief))
        found = {i.id for i in work(made.case(), states, catalog).items}
        assert f"{part}:replace" in found
        return f"{part}:trace" in found

    assert traced(0.2)
    assert not traced(0.85)


def test_a_plug_that_was_merely_handled_is_no_reason_to_trace(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    sound = StateBelief(sound=0.99, fired=0.0, faulty=0.01, damaged=0.0, unfit=0.0)
    handled = ComponentBelief(
        id="driver.seat-bag",
        after_crash=sound,
        now=sound,
        stages={"1": StageBelief(fired=0.0, live=0.72, faulty=0.28)},
    )
    calm: Assessment = made.assessment({}, event=made.calm)
    rest = tuple(c for c in calm.components if c.id != handled.id)
    states = msgspec.structs.replace(calm, components=(*rest, handled))
    assert "driver.seat-bag:trace" not in {i.id for i in work(made.case(), states, catalog).items}
