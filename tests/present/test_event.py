"""What happened, told in a sentence. Chances are ours."""

import pytest
from msgspec import structs

from squibwise.catalog.load import load_catalog
from squibwise.model.belief import (
    Assessment,
    ComponentBelief,
    EventBelief,
    FaultyCircuit,
    StageBelief,
    StateBelief,
)
from squibwise.present.tell_event import believed_causes, pick_causes, tell_event_shortly

CATALOG = load_catalog()
EVENT = EventBelief(
    zones={},
    delta_v_kmh=None,
    driver_belted=0.8,
    passenger_belted=0.8,
    front_passenger={},
    rollover=0.0,
    second_impact=0.0,
    no_crash=0.0,
)


@pytest.mark.parametrize(
    ("zones", "told"),
    [
        ({"nose-right": 0.9, "nose-centre": 0.1}, "struck nose right"),
        ({"nose-left": 0.3, "nose-centre": 0.4, "nose-right": 0.2}, "struck at the front; where"),
        ({"door-left": 0.4, "pillar-left": 0.3}, "struck in the left side; where"),
        ({"door-left": 0.4, "door-right": 0.4}, "a crash; where it was struck is not settled"),
    ],
)
def test_where_it_was_struck_is_told_as_far_as_it_is_settled(
    zones: dict[str, float], told: str
) -> None:
    said = tell_event_shortly(structs.replace(EVENT, zones=zones), None)
    assert said.startswith(told)


def test_causes_are_what_hands_can_do_something_about() -> None:
    causes = {"crash-record": 0.9, "unread-report:scan-1": 0.9, "supply": 0.6, "clock-spring": 0.1}
    assert pick_causes(causes, 0.5) == {"supply": 0.6}


@pytest.mark.parametrize(
    ("where", "named"),
    [
        ({"shared-connector": 0.9, "part": 0.1}, True),
        ({"own-connector": 0.9, "part": 0.1}, False),
        (None, True),
    ],
)
def test_a_connector_that_tracing_holds_for_good_is_no_cause_of_the_car(
    where: dict[str, float] | None, named: bool
) -> None:
    event = structs.replace(EVENT, causes={"shared-plug:driver.seat": 0.6})
    traced = [FaultyCircuit(loop="driver.seat-bag/1", causes=(), where=where)] if where else []
    states = Assessment(event=event, components=(), circuits=tuple(traced))
    assert bool(believed_causes(states, 0.5, CATALOG)) is named


@pytest.mark.parametrize(("faulty", "named"), [(0.5, True), (0.02, False)])
def test_a_connector_behind_which_every_circuit_was_read_good_is_no_cause(
    faulty: float, named: bool
) -> None:
    event = structs.replace(EVENT, causes={"shared-plug:driver.wheel": 0.6})
    sound = StateBelief(sound=1.0, fired=0.0, faulty=0.0, damaged=0.0, missing=0.0, unfit=0.0)
    stage = StageBelief(fired=0.0, live=1.0 - faulty, faulty=faulty)
    bag = ComponentBelief(id="driver.front-bag", after_crash=sound, now=sound, stages={"1": stage})
    states = Assessment(event=event, components=(bag,))
    assert bool(believed_causes(states, 0.1, CATALOG)) is named
