"""The order is safe: every item comes after all it waits for, whatever the case."""

from types import SimpleNamespace

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import Catalog
from squibwise.errors import CatalogError
from squibwise.model.car import Given, Profile
from squibwise.model.evidence import Passed
from squibwise.model.names import split_component
from squibwise.model.work import Work
from squibwise.require import work

FRONT = {
    "driver.front-bag": {"fired": 0.98},
    "passenger.front-bag": {"fired": 0.98},
    "driver.knee-bag": {"fired": 0.97},
    "left.curtain": {"fired": 0.97},
    "driver.seat-bag": {"fired": 0.97},
    "passenger.seat-bag": {"faulty": 0.6},
}


def place(done: Work, item: str) -> int:
    return [i.id for i in done.items].index(item)


@pytest.fixture(scope="module")
def done(made: SimpleNamespace, catalog: Catalog) -> Work:
    return work(made.case(), made.assessment(FRONT), catalog)


# Source: DESIGN of this project, section 8, after published procedures of several makers
# ("maker-texts"): evidence before power-down, a full wait, structure before sensors, the unit
# bolted before power, loads back before the drive, the last scan last.
IN_ORDER = [
    ("step:arrival-record", "step:key-on-gate"),
    ("step:key-on-gate", "step:save-codes"),
    ("step:save-codes", "step:power-down"),
    ("step:save-crash-data", "step:power-down"),
    ("step:power-down", "step:make-safe"),
    ("step:make-safe", "step:live-charges"),
    ("step:strip", "step:structure"),
    ("step:structure", "nose-left.impact-sensor:replace"),
    ("step:structure", "centre.control-unit:replace"),
    ("centre.control-unit:replace", "step:unit-bolted"),
    ("step:unit-bolted", "step:first-power"),
    ("step:fit-loads", "step:first-power"),
    ("step:first-power", "centre.control-unit:calibrate"),
    ("centre.control-unit:calibrate", "step:second-scan"),
    ("step:second-scan", "passenger.seat-bag:trace"),
    ("passenger.seat-bag:trace", "step:second-power-down"),
    ("step:second-scan", "step:second-power-down"),
    ("step:second-power-down", "step:second-make-safe"),
    ("step:second-make-safe", "driver.front-bag:replace"),
    ("step:part-labels", "driver.front-bag:replace"),
    ("driver.steering-column:replace", "driver.clock-spring:replace"),
    ("driver.clock-spring:replace", "driver.steering-wheel:replace"),
    ("driver.seat-frame:replace", "driver.seat-bag:replace"),
    ("driver.seat-bag:replace", "driver.seat-foam-cover:replace"),
    ("left.curtain:replace", "centre.headliner:replace"),
    ("centre.headliner:replace", "left.pillar-trim:replace"),
    ("driver.front-bag:replace", "step:return-loads"),
    ("step:return-loads", "step:final-power"),
    ("driver.seat-foam-cover:replace", "passenger.occupant-sensor:calibrate"),
    ("step:final-power", "passenger.occupant-sensor:calibrate"),
    ("passenger.occupant-sensor:calibrate", "step:clear"),
    ("step:clear", "step:lamp-check"),
    ("step:lamp-check", "step:drive"),
    ("step:drive", "step:final-scan"),
]


@pytest.mark.parametrize(("first", "second"), IN_ORDER)
def test_one_item_comes_before_another(first: str, second: str, done: Work) -> None:
    assert place(done, first) < place(done, second)


def waits(done: Work) -> dict[str, set[str]]:
    """Return everything an item waits for, near and far."""
    before: dict[str, set[str]] = {}
    for item in done.items:
        before[item.id] = set(item.after) | {x for a in item.after for x in before[a]}
    return before


@pytest.mark.parametrize(("first", "second"), IN_ORDER)
def test_the_order_is_forced_by_edges_and_not_by_luck(first: str, second: str, done: Work) -> None:
    assert first in waits(done)[second]


def test_the_last_item_is_the_scan(done: Work) -> None:
    assert done.items[-1].id == "step:final-scan"
    assert waits(done)["step:final-scan"] == {i.id for i in done.items[:-1]} - {
        "step:child-seats",
        "step:dispose",
    }


def test_nothing_is_unplugged_or_fitted_before_the_wait(done: Work) -> None:
    hands_in = [i for i in done.items if i.action in ("replace", "trace", "inspect")]
    assert [i.id for i in hands_in if "step:make-safe" not in waits(done)[i.id]] == []


def test_every_charge_is_fitted_behind_a_second_full_wait(done: Work, catalog: Catalog) -> None:
    charges = [
        i
        for i in done.items
        if i.action == "replace"
        and i.component
        and catalog.kinds[split_component(i.component).kind].fires
    ]
    assert charges
    assert [i.id for i in charges if "step:second-make-safe" not in waits(done)[i.id]] == []
    holds = {i.id: i.hold_minutes for i in done.items if i.hold_minutes}
    assert holds == {"step:make-safe": 30, "step:second-make-safe": 30}


# Source: maker-texts, the longest published wait, a dismantling manual: 30 min.
def test_an_unknown_wait_is_the_longest_published_one(done: Work, catalog: Catalog) -> None:
    fact = catalog.fact("require.wait-unknown")
    assert (fact.value, fact.unit, fact.basis) == (30, "min", "published")
    assert "wait-not-entered" in {f.code for f in done.findings}


def test_the_makers_wait_is_used_and_cited_when_it_was_entered(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    profile = Profile(wait_minutes=Given(value=2.5, source="own book, page 3"))
    done = work(made.case(profile=profile), made.assessment(FRONT), catalog)
    item = next(i for i in done.items if i.id == "step:make-safe")
    assert item.hold_minutes == 3
    assert any("own book, page 3" in b.text for b in item.because)
    assert "wait-not-entered" not in {f.code for f in done.findings}


STATES = ("fired", "faulty", "damaged", "unfit")


@st.composite
def beliefs(draw: st.DrawFn, components: tuple[str, ...]) -> dict[str, dict[str, float]]:
    chosen = draw(st.lists(st.sampled_from(components), max_size=6, unique=True))
    chance = st.floats(min_value=0.0, max_value=0.24)
    return {
        c: {s: draw(chance) * draw(st.sampled_from([1, 4])) / 4 for s in STATES} for c in chosen
    }


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_every_after_names_an_earlier_item(
    data: st.DataObject, made: SimpleNamespace, catalog: Catalog
) -> None:
    states = data.draw(beliefs(made.every_kind))
    event = data.draw(st.sampled_from([made.crash, made.calm]))
    name = data.draw(st.sampled_from(["unknown", *catalog.rules.profiles]))
    gate = Passed(
        id="g", what="key-on-safe", result=data.draw(st.sampled_from(["passed", "failed"]))
    )
    case = made.case(gate, components=made.every_kind, profile=Profile(name=name))
    usual = {"fired": 0.001, "damaged": data.draw(st.sampled_from([0.001, 0.3]))}
    beliefs_now = made.assessment(states, event, made.every_kind, usual)
    done = work(case, beliefs_now, catalog)
    seen: set[str] = set()
    for item in done.items:
        assert set(item.after) <= seen
        seen.add(item.id)
    assert len(seen) == len(done.items)
    assert work(case, beliefs_now, catalog) == done


def test_steps_that_wait_for_each_other_in_a_circle_are_refused(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    steps = dict(catalog.tasks.steps)
    steps["power-down"] = msgspec.structs.replace(steps["power-down"], after=("make-safe",))
    broken = type(catalog)(catalog.root)
    broken.__dict__["tasks"] = msgspec.structs.replace(catalog.tasks, steps=steps)
    with pytest.raises(CatalogError, match="in a circle"):
        work(made.case(), made.assessment(FRONT), broken)


def test_a_reset_of_cut_offs_is_on_the_list_only_after_a_firing(
    done: Work, made: SimpleNamespace, catalog: Catalog
) -> None:
    assert place(done, "step:reset-cutoffs") < place(done, "step:clear")
    quiet = work(made.case(), made.assessment({}), catalog)
    assert "step:reset-cutoffs" not in {i.id for i in quiet.items}


def test_a_unit_that_is_new_without_any_charge_work_is_configured_at_the_only_power_up(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    states = {"centre.control-unit": {"damaged": 0.98}}
    profile = Profile(name="by-condition")
    quiet = work(made.case(profile=profile), made.assessment(states), catalog)
    ids = [i.id for i in quiet.items]
    assert "step:first-power" not in ids
    assert "step:final-power" in waits(quiet)["centre.control-unit:calibrate"]
    assert "centre.control-unit:calibrate" in waits(quiet)["step:clear"]
