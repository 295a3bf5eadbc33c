"""More firing never means less work, and the strictest rule wins."""

from types import SimpleNamespace

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import Catalog
from squibwise.model.belief import NextLook
from squibwise.model.names import split_component
from squibwise.model.work import Work
from squibwise.require import work
from squibwise.require.demands import name_chance

STRENGTH = {"keep": 0, "trace": 1, "inspect": 1, "calibrate": 1, "replace": 2}


def answer_example(done: Work) -> dict[str, int]:
    found: dict[str, int] = {}
    for item in done.items:
        if item.component:
            found[item.component] = max(found.get(item.component, 0), STRENGTH[item.action])
    return found


def chances(done: Work, *actions: str) -> dict[str, float]:
    return {i.id: i.probability for i in done.items if i.action in actions}


@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_adding_fired_belief_removes_no_work_and_weakens_no_answer(
    data: st.DataObject, made: SimpleNamespace, catalog: Catalog
) -> None:
    """An inspection may turn into a replacement, never into less."""
    fires = [c for c in made.modern if catalog.kinds[split_component(c).kind].fires]
    share = st.floats(min_value=0.0, max_value=0.98)
    states = {c: {"fired": data.draw(share)} for c in data.draw(st.lists(st.sampled_from(fires)))}
    more = data.draw(st.sampled_from(fires))
    before = states.get(more, {"fired": 0.002})["fired"]
    raised = {**states, more: {"fired": data.draw(st.floats(min_value=before, max_value=0.99))}}
    event = data.draw(st.sampled_from([made.crash, made.calm]))
    low = work(made.case(), made.assessment(states, event, usual={"fired": 0.002}), catalog)
    high = work(made.case(), made.assessment(raised, event, usual={"fired": 0.002}), catalog)
    for item, chance in chances(low, "replace", "calibrate").items():
        assert chances(high, "replace", "calibrate")[item] >= chance
    assert all(answer_example(high)[c] >= s for c, s in answer_example(low).items())
    steps = {i.id for i in low.items if i.component is None}
    assert steps <= {i.id for i in high.items}


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_the_union_asks_for_whatever_any_profile_asks_for(
    data: st.DataObject, made: SimpleNamespace, catalog: Catalog
) -> None:
    chosen = data.draw(st.lists(st.sampled_from(made.modern), max_size=5, unique=True))
    share = st.floats(min_value=0.0, max_value=0.9)
    states = {
        c: {data.draw(st.sampled_from(["fired", "damaged"])): data.draw(share)} for c in chosen
    }
    done = work(made.case(), made.assessment(states), catalog)
    followed = {i.id: i.probability for i in done.items}
    for name, asked in done.spread.items():
        for item in asked:
            component, _, action = item.rpartition(":")
            if action in ("replace", "calibrate"):
                assert followed[item] >= done.chances[name][item] - 1e-12
            else:
                assert item in followed or followed[f"{component}:replace"] >= 0.95


def test_an_item_of_the_union_names_the_profiles_that_ask_for_it(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    done = work(made.case(), made.assessment({"driver.front-bag": {"fired": 0.98}}), catalog)
    column = next(i for i in done.items if i.id == "driver.steering-column:replace")
    assert any("wide-spread" in b.text for b in column.because)
    bag = next(i for i in done.items if i.id == "driver.front-bag:replace")
    assert not any("profiles" in b.text for b in bag.because)


def test_a_doubtful_part_is_looked_at_first_and_the_item_says_what_settles_it(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    states = {"row2-left.retractor-pretensioner": {"fired": 0.4}}
    done = work(made.case(), made.assessment(states), catalog)
    item = next(i for i in done.items if i.id == "row2-left.retractor-pretensioner:replace")
    assert item.probability == 0.4
    assert "inspection" in item.title
    assert any("What settles it" in b.text for b in item.because)
    ids = [i.id for i in done.items]
    assert ids.index("row2-left.retractor-pretensioner:inspect") < ids.index(item.id)


def test_a_part_that_surely_fired_is_not_inspected_first(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    done = work(made.case(), made.assessment({"driver.front-bag": {"fired": 0.98}}), catalog)
    ids = {i.id for i in done.items}
    assert "driver.front-bag:replace" in ids
    assert "driver.front-bag:inspect" not in ids


def test_what_is_hardly_believed_to_have_fired_is_inspected_and_not_replaced(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    done = work(made.case(), made.assessment({"left.curtain": {"fired": 0.04}}), catalog)
    ids = {i.id for i in done.items}
    assert "left.curtain:inspect" in ids
    assert "left.curtain:replace" not in ids


def test_the_look_that_inference_ranks_first_is_the_one_that_is_named(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    beliefs = made.assessment({"left.curtain": {"fired": 0.4}})
    look = NextLook(
        component="left.curtain",
        look="hanging",
        text="lift the edge of the headliner",
        minutes=4,
        settles=0.5,
        saving=1.0,
    )
    beliefs = msgspec.structs.replace(beliefs, next_looks=(look,))
    item = next(
        i for i in work(made.case(), beliefs, catalog).items if i.id == "left.curtain:replace"
    )
    assert any("lift the edge of the headliner" in b.text for b in item.because)


@pytest.mark.parametrize(
    ("chance", "word"),
    [
        (1.0, "near certain (1.00)"),
        (0.96, "almost certain (0.96)"),
        (0.8, "likely (0.80)"),
        (0.6, "more likely than not (0.60)"),
        (0.3, "possible (0.30)"),
        (0.06, "unlikely but not ruled out (0.06)"),
        (0.0, "very unlikely (0.00)"),
    ],
)
def test_a_probability_is_said_in_words_with_its_figure(
    chance: float, word: str, catalog: Catalog
) -> None:
    assert name_chance(chance, catalog) == word
