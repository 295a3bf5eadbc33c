"""Facts of the trade about the work that follows a crash (common practice, no source)."""

from types import SimpleNamespace

import pytest

from squibwise.catalog.load import Catalog
from squibwise.model.evidence import Occupant, Recorder
from squibwise.model.work import Work
from squibwise.require import work

DRIVER_ALONE = {"driver.front-bag": {"fired": 0.98}}


@pytest.fixture(scope="module")
def done(made: SimpleNamespace, catalog: Catalog) -> Work:
    """The driver's bag fired both stages, a locked record, no other code."""
    case = made.case(Recorder(id="box", record="locked"))
    return work(case, made.assessment(DRIVER_ALONE), catalog)


def ids(done: Work) -> list[str]:
    return [i.id for i in done.items]


# Common practice, no source.
def test_the_unit_is_replaced_or_cleared_by_a_route_the_maker_allows(
    done: Work, catalog: Catalog
) -> None:
    unit = next(i for i in done.items if i.id == "centre.control-unit:replace")
    assert unit.probability >= 0.95
    told = " ".join(b.text for b in unit.because)
    assert "any-fire-strict" in told
    configure = next(i for i in done.items if i.id == "centre.control-unit:calibrate")
    assert any("lawful route that the maker allows" in b.text for b in configure.because)
    lenient = done.chances["counted-events"]["centre.control-unit:replace"]
    # Judgement: about half of the locked records go away by a maker's own route.
    assert lenient == catalog.fact("require.locked-stays").number() == 0.5


# Common practice, no source.
def test_seat_weight_sensing_is_initialised_again_after_a_deployment(done: Work) -> None:
    item = "passenger.occupant-sensor:calibrate"
    assert all(item in asked for asked in done.spread.values())
    assert item in ids(done)


# Common practice, no source.
def test_ordinary_reset_comes_after_the_repairs(done: Work) -> None:
    order = ids(done)
    repairs = [i for i in order if i.endswith((":replace", ":calibrate"))]
    assert all(order.index(i) < order.index("step:clear") for i in repairs)


# Common practice, no source.
def test_front_sensors_without_codes_are_not_thereby_proved_sound(done: Work) -> None:
    answered = {i.component for i in done.items}
    sensors = {"nose-left.impact-sensor", "nose-centre.impact-sensor", "nose-right.impact-sensor"}
    assert sensors <= answered


# Common practice, no source: parts that are not monitored light nothing and are looked at.
@pytest.mark.parametrize(
    "component",
    ["driver.steering-column", "driver.load-limiter", "driver.belt-webbing", "driver.knee-bolster"],
)
def test_parts_that_set_no_code_are_on_the_list(component: str, done: Work) -> None:
    assert component in {i.component for i in done.items}


# Source: maker-texts, owner and service texts of several makers: belts in use, also those that
# held a child seat, are replaced after a deployment by the strictest of them.
def test_a_rear_belt_that_held_a_child_seat_counts_as_in_use(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    child = Occupant(id="who", seat="row2-left", child_seat=True)
    away = Occupant(id="who-2", seat="row2-right", present=False)
    done = work(made.case(child, away), made.assessment(DRIVER_ALONE), catalog)
    strict = done.chances["any-fire-strict"]
    assert strict["row2-left.belt-webbing:replace"] >= 0.95
    assert "row2-right.belt-webbing:replace" not in strict
    assert strict["row2-centre.belt-webbing:replace"] == pytest.approx(
        catalog.fact("require.rear-in-use").number()
    )


# Source: maker-texts, one maker: the limit of belts-only records.
def test_belts_alone_do_not_lock_the_unit_of_a_belt_counter(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    states = {"driver.retractor-pretensioner": {"fired": 0.98}}
    done = work(made.case(), made.assessment(states), catalog)
    unit = "centre.control-unit:replace"
    assert unit not in done.spread["belt-counter"]
    assert unit in done.spread["any-fire-strict"]
    assert "driver.front-bag:replace" not in ids(done)


def test_every_item_says_why_and_every_hazard_carries_a_caution(done: Work) -> None:
    assert [i.id for i in done.items if not i.because] == []
    replaced = [i for i in done.items if i.action == "replace"]
    assert [i.id for i in replaced if not i.cautions] == []
    assert done.notices[0].id == "standing"
    assert "maker's current procedure" in done.notices[0].text


def test_what_leans_on_judgement_says_so(done: Work) -> None:
    column = next(i for i in done.items if i.id == "driver.steering-column:replace")
    assert column.because[0].weak == "judgement"


# DESIGN of this project, section 8: never a meter on an igniter.
def test_no_item_of_the_catalogue_puts_a_meter_on_an_igniter(catalog: Catalog) -> None:
    tools = {t for w in catalog.tasks.work.values() for t in w.tools}
    tools |= {t for s in catalog.tasks.steps.values() for t in s.tools}
    assert not any("ohm" in t and "2.0 to 2.2" not in t for t in tools)
    assert not any("meter" in t or "test lamp" in t for t in tools)
