"""What is still to be paid."""

import datetime as dt
from fractions import Fraction
from itertools import pairwise

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.model.car import Car, Price
from squibwise.model.case import Case
from squibwise.model.cost import Money, from_major
from squibwise.model.origin import Origin
from squibwise.model.work import Work, WorkItem
from squibwise.plan import cost

CATALOG = load_catalog()
CAR = Car(equipment="front-bags", components=("driver.front-bag", "passenger.front-bag"))


def price(what: str, low: float, likely: float, high: float, currency: str = "USD") -> Price:
    return Price(
        what=what,
        low=from_major(low, currency),
        likely=from_major(likely, currency),
        high=from_major(high, currency),
        source="quote",
        on=dt.date(2026, 3, 1),
        origin=Origin(file="case.toml", line=12),
    )


def case(*prices: Price, currency: str = "USD") -> Case:
    return Case(id="own", car=CAR, prices=prices, currency=currency)


def item(
    component: str, action: str = "replace", minutes: int = 0, p: float = 1.0, done: bool = False
) -> WorkItem:
    return WorkItem(
        id=f"{component}:{action}",
        action=action,
        component=component,
        title=action,
        strict="always",
        probability=p,
        minutes=minutes,
        done=done,
    )


def step(task: str, minutes: int) -> WorkItem:
    return WorkItem(
        id=f"step:{task}", action="do", component=None, title=task, strict="always", minutes=minutes
    )


def work(*items: WorkItem, spread: dict[str, tuple[str, ...]] | None = None) -> Work:
    return Work(profile="mine", items=items, spread=spread or {})


def test_a_part_and_its_labour_add_up() -> None:
    # Own figures, worked by hand: 180 + 90/60 x 80 = 300; 320 + 1.5 x 100 = 470; 700 + 195 = 895.
    prices = (price("front-bag", 180, 320, 700), price("labour-hour", 80, 100, 130))
    (answer,) = cost(case(*prices), work(item("driver.front-bag", minutes=90)), CATALOG)
    assert [answer.low.text(), answer.likely.text(), answer.high.text()] == [
        "300.00 USD",
        "470.00 USD",
        "895.00 USD",
    ]
    assert answer.minutes == 90
    assert answer.unpriced == ()


def test_a_price_for_the_component_beats_the_one_for_its_kind() -> None:
    prices = (price("front-bag", 1, 2, 3), price("driver.front-bag", 10, 20, 30))
    both = work(item("driver.front-bag"), item("passenger.front-bag"))
    (answer,) = cost(case(*prices), both, CATALOG)
    assert [line.what for line in answer.lines] == ["driver.front-bag", "front-bag"]
    assert answer.likely.text() == "22.00 USD"


def test_what_has_no_price_is_named_and_has_no_amount() -> None:
    (answer,) = cost(case(), work(item("driver.front-bag", minutes=30)), CATALOG)
    assert answer.unpriced == ("front-bag", "labour-hour")
    assert all(line.likely is None for line in answer.lines)
    assert answer.likely == Money(minor=0, currency="USD")


def test_work_that_is_done_is_not_to_be_paid_again() -> None:
    (answer,) = cost(
        case(price("front-bag", 1, 2, 3)), work(item("driver.front-bag", done=True)), CATALOG
    )
    assert answer.lines == ()


def test_a_kept_part_costs_nothing() -> None:
    kept = work(item("driver.front-bag", action="keep", minutes=5))
    (answer,) = cost(case(price("front-bag", 1, 2, 3)), kept, CATALOG)
    assert answer.lines == ()
    assert answer.unpriced == ()


def test_probable_work_counts_by_its_probability_in_the_likely_sum_alone() -> None:
    # Own figures: low 0, likely .5 x 320 = 160, high 700.
    prices = case(price("front-bag", 180, 320, 700))
    (answer,) = cost(prices, work(item("driver.front-bag", p=0.5)), CATALOG)
    assert (answer.low.minor, answer.likely.minor, answer.high.minor) == (0, 16000, 70000)


def test_all_but_ruled_out_work_is_shown_and_not_summed() -> None:
    prices = case(price("front-bag", 180, 320, 700))
    (answer,) = cost(prices, work(item("driver.front-bag", p=0.01, minutes=30)), CATALOG)
    assert answer.high.minor == 0
    assert len(answer.lines) == 2
    assert answer.unpriced == ()
    assert answer.minutes == 0


def test_an_outside_price_for_a_task_stands_in_place_of_labour() -> None:
    prices = (price("road-test", 40, 50, 60), price("labour-hour", 80, 100, 130))
    (answer,) = cost(case(*prices), work(step("road-test", 30)), CATALOG)
    assert [line.what for line in answer.lines] == ["road-test"]
    assert answer.likely.text() == "50.00 USD"


def test_every_profile_is_summed_and_the_followed_one_comes_first() -> None:
    spread = {
        "mild": ("driver.front-bag:replace",),
        "wide": ("driver.front-bag:replace", "driver.steering-column:replace"),
    }
    answers = cost(
        case(price("front-bag", 1, 2, 3), price("steering-column", 100, 200, 300)),
        work(item("driver.front-bag"), step("power-down", 10), spread=spread),
        CATALOG,
    )
    assert [a.profile for a in answers] == ["mine", "mild", "wide"]
    assert [a.likely.text() for a in answers] == ["2.00 USD", "2.00 USD", "202.00 USD"]
    column = CATALOG.tasks.work["steering-column"].replace[1]
    assert [a.minutes for a in answers] == [10, 10, 10 + column]


def test_each_profile_has_its_own_chance_of_needing_a_part() -> None:
    # Own figures: .5 x 320 = 160 under the mild rules, 320 under the followed ones.
    plan = msgspec.structs.replace(
        work(item("driver.front-bag"), spread={"mild": ("driver.front-bag:replace",)}),
        chances={"mild": {"driver.front-bag:replace": 0.5}},
    )
    answers = cost(case(price("front-bag", 180, 320, 700)), plan, CATALOG)
    assert [a.likely.text() for a in answers] == ["320.00 USD", "160.00 USD"]


def test_labour_has_a_range_when_the_catalogue_knows_one() -> None:
    # Own check: the catalogue's minutes of fitting a front bag, at 60 an hour, are that many.
    low, usual, high = CATALOG.tasks.work["front-bag"].replace
    plan = work(item("driver.front-bag", minutes=usual))
    (answer,) = cost(case(price("labour-hour", 60, 60, 60)), plan, CATALOG)
    assert [answer.low.minor, answer.likely.minor, answer.high.minor] == [
        100 * low,
        100 * usual,
        100 * high,
    ]
    assert low < usual < high


def test_a_part_that_only_another_profile_wants_has_the_catalogues_minutes() -> None:
    spread = {"wide": ("driver.steering-column:replace",)}
    answers = cost(case(), work(item("driver.front-bag", minutes=5), spread=spread), CATALOG)
    assert answers[1].minutes == CATALOG.tasks.work["steering-column"].replace[1]


def test_a_part_that_was_replaced_need_not_be_inspected_for_another_profile() -> None:
    spread = {"mild": ("driver.front-bag:inspect",)}
    plan = work(item("driver.front-bag", done=True), spread=spread)
    assert cost(case(), plan, CATALOG)[1].lines == ()


def test_missing_working_time_is_said() -> None:
    spread = {"wide": ("driver.steering-column:trace",)}
    answers = cost(case(), work(item("driver.front-bag", minutes=5), spread=spread), CATALOG)
    codes = [[f.code for f in a.findings] for a in answers]
    assert codes == [[], ["cost-no-minutes"]]
    assert "driver.steering-column:trace" in answers[1].findings[0].message


def test_a_price_in_another_currency_is_reported_and_not_used() -> None:
    (answer,) = cost(
        case(price("front-bag", 1, 2, 3, currency="EUR")),
        work(item("driver.front-bag", minutes=5)),
        CATALOG,
    )
    assert answer.unpriced == ("front-bag", "labour-hour")
    (finding,) = answer.findings
    assert finding.code == "price-currency"
    assert finding.text().startswith("case.toml:12:")


def test_the_later_of_two_prices_is_used_and_said() -> None:
    prices = (price("front-bag", 1, 2, 3), price("front-bag", 4, 5, 6))
    (answer,) = cost(case(*prices), work(item("driver.front-bag", minutes=5)), CATALOG)
    assert answer.likely.text() == "5.00 USD"
    assert [f.code for f in answer.findings] == ["price-repeated"]


def test_a_price_that_nothing_asks_for_is_said() -> None:
    (answer,) = cost(
        case(price("frontbag", 1, 2, 3)), work(item("driver.front-bag", minutes=5)), CATALOG
    )
    assert [f.code for f in answer.findings] == ["price-unused"]
    assert "frontbag" in answer.findings[0].message


def test_yen_have_no_cents() -> None:
    # Source: ISO 4217 lists the yen with zero decimals (from memory).
    prices = case(price("front-bag", 100, 200, 300, currency="JPY"), currency="JPY")
    (answer,) = cost(prices, work(item("driver.front-bag")), CATALOG)
    assert answer.likely.text() == "200 JPY"


probability = st.floats(0.0, 1.0)
amounts = st.lists(st.integers(0, 10**7), min_size=3, max_size=3).map(sorted)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(probability, amounts, st.integers(0, 300)), max_size=6))
def test_sums_are_in_order_and_one_more_item_never_makes_it_cheaper(
    rows: list[tuple[float, list[int], int]],
) -> None:
    seats = ("driver", "passenger", "row2-left", "row2-right", "row3-left", "row3-right")
    prices = [price("labour-hour", 80, 100, 130)]
    items = []
    sums = []
    for (p, (low, likely, high), minutes), seat in zip(rows, seats, strict=False):
        component = f"{seat}.seat-bag"
        cents = [Money(minor=m, currency="USD") for m in (low, likely, high)]
        prices.append(Price(what=component, low=cents[0], likely=cents[1], high=cents[2]))
        items.append(item(component, minutes=minutes, p=p))
        (answer,) = cost(case(*prices), work(*items), CATALOG)
        assert answer.low.minor <= answer.likely.minor <= answer.high.minor
        sums.append((answer.low.minor, answer.likely.minor, answer.high.minor))
    for before, after in pairwise(sums):
        assert all(a <= b for a, b in zip(before, after, strict=True))


@pytest.mark.parametrize("minutes", [1, 7, 50, 59])
def test_labour_by_the_minute_is_exact_to_the_cent(minutes: int) -> None:
    (answer,) = cost(
        case(price("labour-hour", 99.99, 99.99, 99.99)), work(step("x", minutes)), CATALOG
    )
    assert abs(answer.likely.minor - Fraction(9999 * minutes, 60)) <= Fraction(1, 2)
