"""Every component of a car gets an answer under every profile in every situation."""

from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.model.car import Profile
from squibwise.model.evidence import Recorder
from squibwise.model.names import split_component
from squibwise.require import work

PROFILES = (
    "any-fire-strict",
    "belt-counter",
    "counted-events",
    "by-condition",
    "wide-spread",
    "damaged-area",
)
SITUATIONS: dict[str, dict[str, dict[str, float]]] = {
    "nothing fired": {},
    "front bags": {"driver.front-bag": {"fired": 0.98}, "passenger.front-bag": {"fired": 0.97}},
    "driver's bag only": {"driver.front-bag": {"fired": 0.98}},
    "side bag and curtain": {"driver.seat-bag": {"fired": 0.98}, "left.curtain": {"fired": 0.97}},
    "belts only": {"driver.retractor-pretensioner": {"fired": 0.97}},
    "perhaps fired": {"driver.front-bag": {"fired": 0.4}},
    "everything fired": {"all": {"fired": 0.98}},
}


@pytest.mark.parametrize("situation", sorted(SITUATIONS))
@pytest.mark.parametrize("profile", PROFILES)
def test_every_component_kind_gets_an_answer_after_a_crash(
    profile: str, situation: str, made: SimpleNamespace, catalog: Catalog
) -> None:
    states: dict[str, Any] = dict(SITUATIONS[situation])
    if "all" in states:
        fires = [c for c in made.every_kind if catalog.kinds[split_component(c).kind].fires]
        states = {key: {"fired": 0.98} for key in fires}
    case = made.case(components=made.every_kind, profile=Profile(name=profile))
    done = work(case, made.assessment(states, components=made.every_kind), catalog)
    answered = {i.component for i in done.items if i.component}
    assert answered == set(made.every_kind)
    assert {i.action for i in done.items} <= {"replace", "inspect", "trace", "calibrate", "do"}


def test_the_shipped_profiles_are_the_six_of_the_design(catalog: Catalog) -> None:
    assert sorted(catalog.rules.profiles) == sorted(PROFILES)


def test_a_rollover_without_any_firing_is_inspected_through(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    event = msgspec.structs.replace(made.calm, rollover=0.95, no_crash=0.02)
    done = work(made.case(), made.assessment({}, event), catalog)
    assert {f"{c}:inspect" for c in made.modern} <= {i.id for i in done.items}


def test_a_stored_record_alone_brings_a_new_unit_only_where_a_profile_says_so(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """A crash record without any firing: the strict archetype replaces, the counter does not."""
    case = made.case(Recorder(id="r", record="stored"))
    done = work(case, made.assessment({}), catalog)
    unit = "centre.control-unit:replace"
    assert unit in done.spread["any-fire-strict"]
    assert unit not in done.spread["belt-counter"]
    assert done.chances["by-condition"][unit] == catalog.fact("require.stored-stays").number()


@pytest.mark.parametrize("profile", PROFILES)
def test_a_car_that_had_no_crash_gets_no_part_and_no_round_of_inspections(
    profile: str, made: SimpleNamespace, catalog: Catalog
) -> None:
    states = {"driver.seat-bag": {"faulty": 0.85, "fired": 0.01}}
    beliefs = made.assessment(states, made.calm, usual={"fired": 0.001, "damaged": 0.002})
    done = work(made.case(profile=Profile(name=profile)), beliefs, catalog)
    assert [i.id for i in done.items if i.component] == ["driver.seat-bag:trace"]


def test_a_shared_plug_is_looked_at_before_any_circuit_is_traced(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    event = msgspec.structs.replace(
        made.calm, causes={"shared-plug:driver.seat": 0.9, "moon": 0.9, "clock-spring": 0.02}
    )
    states = {
        "driver.seat-bag": {"faulty": 0.9, "fired": 0.01},
        "driver.buckle-pretensioner": {"faulty": 0.9, "fired": 0.01},
    }
    beliefs = made.assessment(states, event, usual={"fired": 0.001, "damaged": 0.002})
    done = work(made.case(), beliefs, catalog)
    ids = [i.id for i in done.items]
    assert ids.index("step:check-shared-plug-driver.seat") < ids.index("driver.seat-bag:trace")
    assert not any(i.endswith(":replace") for i in ids)
    assert not any("moon" in i or "clock-spring" in i for i in ids if i.startswith("step:"))


def test_a_plug_told_of_as_a_whole_and_by_its_part_is_looked_at_once(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    told = {"shared-plug:driver": 0.58, "shared-plug:driver.seat": 0.57}
    split = {"shared-plug:passenger": 0.15, "shared-plug:passenger.seat": 0.08}
    event = msgspec.structs.replace(made.calm, causes=told | split)
    done = work(made.case(), made.assessment({}, event), catalog)
    checks = {i.id for i in done.items if i.id.startswith("step:check-")}
    assert checks == {"step:check-shared-plug-driver.seat", "step:check-shared-plug-passenger"}


def test_perhaps_damaged_without_a_crash_is_looked_at_and_not_bought(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    usual = {"fired": 0.001, "damaged": 0.002}
    part = "driver.buckle-pretensioner"
    doubtful = made.assessment({part: {"damaged": 0.13}}, made.calm, usual=usual)
    likely = made.assessment({part: {"damaged": 0.8}}, made.calm, usual=usual)
    ids = {i.id for i in work(made.case(), doubtful, catalog).items}
    assert f"{part}:inspect" in ids
    assert not any(i.endswith(":replace") for i in ids)
    assert f"{part}:replace" in {i.id for i in work(made.case(), likely, catalog).items}


def test_a_crash_record_that_inference_believes_in_counts(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    event = msgspec.structs.replace(made.crash, causes={"crash-record": 0.9})
    done = work(made.case(), made.assessment({}, event), catalog)
    assert done.chances["any-fire-strict"]["centre.control-unit:replace"] == 0.9
