"""What is still to be paid: parts, labour and the work of others."""

import datetime as dt
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.case import bid as bid_up_to
from squibwise.case import cost as cost_out
from squibwise.case import open_case
from squibwise.catalog.load import load_catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.model.bid import BidSheet, Figures
from squibwise.model.car import Car, Price
from squibwise.model.case import Case
from squibwise.model.cost import Cost, Money, from_major
from squibwise.model.origin import Origin
from squibwise.model.work import (
    Area,
    DemandKind,
    Minutes,
    Operation,
    Order,
    PriceRange,
    Visit,
    Work,
)
from squibwise.plan import cost

CATALOG = load_catalog()
CAR = Car(equipment="front-bags", components=("driver.front-bag", "passenger.front-bag"))


def usd(*amounts: float, basis: str = "entered", currency: str = "USD") -> PriceRange:
    low, likely, high = (from_major(a, currency) for a in amounts)
    return PriceRange(low=low, likely=likely, high=high, basis=basis)


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


def order(
    component: str,
    paid: PriceRange | None,
    kind: DemandKind = "certain",
    p: float = 1.0,
    *,
    done: bool = False,
    body_work: bool = False,
) -> Order:
    return Order(
        assembly="driver-bag",
        title=component,
        contains=(component,),
        kind=kind,
        p=p,
        price=paid,
        done=done,
        body_work=body_work,
        demands=(f"{component}:replace",),
    )


def work(
    *orders: Order,
    minutes: int = 0,
    operations: tuple[Operation, ...] = (),
    chances: dict[str, dict[str, float]] | None = None,
) -> Work:
    hours = Minutes(low=minutes // 2, likely=minutes, high=minutes * 2)
    area = Area(area="car", phase="final", title="t", operations=operations)
    spread = {n: tuple(c) for n, c in (chances or {}).items()}
    return Work(
        profile="mine",
        items=(),
        orders=orders,
        visits=(Visit(id="final", title="t", power="on", areas=(area,)),),
        hours=dict.fromkeys(("certain", "followed", "strictest", *spread), hours),
        spread=spread,
        chances=chances or {},
    )


def followed(*prices: Price, plan: Work, currency: str = "USD") -> Cost:
    return cost(case(*prices, currency=currency), plan, CATALOG)[0]


def test_parts_labour_and_outside_work_stand_apart_and_add_up() -> None:
    # Own figures, worked by hand, means of triangles: parts (180 + 320 + 700) / 3 = 400; labour of
    # 45, 90, 180 min at 80, 100, 130 (60 + 150 + 390) / 3 = 200; alignment 410 / 3 = 136.67.
    outside = Operation(n=1, id="step:alignment", action="do", title="a")
    plan = work(order("driver.front-bag", usd(180, 320, 700)), minutes=90, operations=(outside,))
    answer = followed(
        price("labour-hour", 80, 100, 130), price("alignment", 90, 120, 200), plan=plan
    )
    assert answer.labour is not None
    assert answer.parts is not None
    assert answer.outside is not None
    likely = [x.likely.minor for x in (answer.parts, answer.labour, answer.outside)]
    assert likely == [40000, 20000, 13667]
    assert answer.likely.text() == "736.67 USD"
    assert answer.labour_minutes == (45, 90, 180)
    assert answer.unpriced == ()


# From a brief that told 3,907 where the bid of the same car began to be likely at 6,060: likeliest
# prices of skewed ranges were added up. Source: the mean of a triangle is the mean of its three.
@pytest.mark.parametrize("name", ["harrow-07", "sorrel-03"])
def test_brief_cost_and_bid_expect_the_same_of_one_car(name: str) -> None:
    car = open_case(DEMO_CASES / name, CATALOG)
    answer = cost_out(car, CATALOG)[0]
    assert answer.total is not None
    assert answer.total.at_least is not None
    shares = (answer.parts, answer.labour, answer.outside)
    whole = sum(s.likely.minor for s in shares if s is not None)
    assert abs(answer.total.likely.minor - whole) <= 2  # each is rounded to the cent
    nothing = Figures(low=0, likely=0, high=0)
    sheet = BidSheet(resale=nothing, loss_chance=0.1, bidders=1, estimate_error=0.0)
    bid = bid_up_to(car, sheet, CATALOG)  # over sizes of crash and kinds of rules: near, not equal
    assert answer.total.likely.minor == pytest.approx(bid.cost.mean, rel=0.06)
    assert answer.total.at_least.minor <= bid.cost.quantile(0.5).minor <= answer.total.at_most.minor


def test_what_is_paid_for_sure_at_one_price_has_no_range() -> None:
    exact = order("driver.front-bag", usd(319.99, 319.99, 319.99))
    answer = followed(plan=work(exact, order("passenger.front-bag", usd(7, 7, 7), "rule")))
    assert answer.total is not None
    ends = (answer.total.at_least, answer.total.likely, answer.total.at_most)
    assert [e.text() for e in ends if e is not None] == ["326.99 USD"] * 3


def test_at_most_is_a_quantile_and_no_sum_of_highs() -> None:
    orders = [order(f"row2-{s}.seat-bag", usd(100, 200, 900)) for s in ("left", "centre", "right")]
    answer = followed(plan=work(*orders))
    assert answer.total is not None
    assert answer.chance == CATALOG.fact("cost.at-most-chance").number()
    assert answer.likely.minor < answer.total.at_most.minor < 3 * 90000


# Own figure, worked by hand: a triangular price 0, 0, 100 is below 100 x (1 - sqrt(1 - q)) with
# chance q; for q = 0.9 that is 68.4.
def test_the_quantile_of_one_price_is_that_of_its_triangle() -> None:
    answer = followed(plan=work(order("driver.front-bag", usd(0, 0, 100))))
    assert answer.high.minor == pytest.approx(6838, abs=20)


def test_a_part_without_a_price_takes_the_dated_range_and_is_named() -> None:
    plan = work(order("driver.front-bag", usd(250, 600, 1200, basis="from-memory")))
    answer = followed(plan=plan)
    assert answer.from_memory == ("driver.front-bag",)
    assert answer.likely.text() == "683.33 USD"  # (250 + 600 + 1200) / 3


def test_what_has_no_price_at_all_is_named_and_in_no_sum() -> None:
    answer = followed(plan=work(order("driver.front-bag", None), minutes=30))
    assert answer.missing == ("driver.front-bag",)
    assert answer.unpriced == ("driver.front-bag", "labour-hour")
    assert answer.labour is None
    assert all(line.likely is None for line in answer.lines)
    assert answer.likely == Money(minor=0, currency="USD")


def test_body_work_counts_only_where_the_user_priced_it() -> None:
    guessed = order("centre.windshield", usd(1, 2, 3, basis="from-memory"), body_work=True)
    assert followed(plan=work(guessed)).lines == ()
    entered = order("centre.windshield", usd(1, 2, 3), body_work=True)
    answer = followed(plan=work(entered))
    assert answer.outside is not None
    assert answer.outside.likely.text() == "2.00 USD"


def test_what_is_done_is_not_to_be_paid_again() -> None:
    done = order("driver.front-bag", usd(1, 2, 3), done=True)
    assert followed(plan=work(done)).lines == ()


# Own figures: look first .5 x (180 + 320 + 700) / 3 = 200 in the followed sum, nothing in the
# certain one, and what a rule asks for counts in full where it is followed.
def test_each_kind_counts_as_far_as_it_is_sure() -> None:
    plan = work(
        order("driver.front-bag", usd(180, 320, 700), "look-first", 0.5),
        order("passenger.front-bag", usd(100, 100, 100), "rule", 0.6),
    )
    sums = {c.name: c.likely.minor for c in cost(case(), plan, CATALOG)}
    assert sums == {"followed": 20000 + 10000, "certain": 0, "strictest": 20000}


def test_each_profile_has_its_own_chance_of_needing_a_part() -> None:
    # Own figures: .5 x 400 = 200 under the mild rules, 400 under the strictest ones.
    one = "driver.front-bag:replace"
    plan = work(
        order("driver.front-bag", usd(180, 320, 700), "ask", 0.2),
        chances={"mild": {one: 0.5}, "wide": {one: 1.0}},
    )
    sums = {c.name: c.likely.minor for c in cost(case(), plan, CATALOG)}
    assert sums["mild"] == 20000
    assert sums["wide"] == sums["strictest"] == 40000
    assert sums["followed"] == 8000


def test_what_is_ruled_out_is_neither_shown_nor_summed() -> None:
    answer = followed(plan=work(order("driver.front-bag", usd(1, 2, 3), "look-first", 0.01)))
    assert answer.lines == ()
    assert answer.high.minor == 0


def test_an_outside_price_for_a_task_stands_in_place_of_labour() -> None:
    test = Operation(
        n=1,
        id="step:road-test",
        action="do",
        title="t",
        minutes=Minutes(low=30, likely=30, high=30),
    )
    prices = (price("road-test", 40, 50, 60), price("labour-hour", 80, 100, 130))
    answer = followed(*prices, plan=work(minutes=30, operations=(test,)))
    assert [line.what for line in answer.lines] == ["road-test"]
    assert answer.likely.text() == "50.00 USD"


def test_waits_stand_apart_from_labour() -> None:
    safe = Operation(n=1, id="step:make-safe", action="do", title="t", hold_minutes=30)
    answer = followed(price("labour-hour", 60, 60, 60), plan=work(minutes=10, operations=(safe,)))
    assert answer.waiting_minutes == 30
    assert answer.likely.text() == "11.67 USD"  # 5, 10, 20 min at 60


def test_a_price_in_another_currency_is_reported_and_not_used() -> None:
    answer = followed(price("labour-hour", 1, 2, 3, currency="EUR"), plan=work(minutes=5))
    assert answer.unpriced == ("labour-hour",)
    (finding,) = answer.findings
    assert finding.code == "price-currency"
    assert finding.text().startswith("case.toml:12:")


def test_the_later_of_two_prices_is_used_and_said() -> None:
    prices = (price("labour-hour", 1, 2, 3), price("labour-hour", 60, 60, 60))
    answer = followed(*prices, plan=work(minutes=5))
    assert answer.likely.text() == "5.67 USD"  # 2, 5, 10 min at 60
    assert [f.code for f in answer.findings] == ["price-repeated"]


def test_a_price_that_nothing_asks_for_is_said() -> None:
    answer = followed(price("frontbag", 1, 2, 3), plan=work(order("driver.front-bag", None)))
    assert [f.code for f in answer.findings] == ["price-unused"]
    assert "frontbag" in answer.findings[0].message


def test_yen_have_no_cents() -> None:
    # Source: ISO 4217 lists the yen with zero decimals (from memory).
    plan = work(order("driver.front-bag", usd(100, 200, 300, currency="JPY")))
    assert followed(plan=plan, currency="JPY").likely.text() == "200 JPY"


probability = st.floats(0.0, 1.0)
amounts = st.lists(st.integers(0, 10**7), min_size=3, max_size=3).map(sorted)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(probability, amounts), max_size=5))
def test_sums_are_in_order_and_one_more_order_never_makes_it_cheaper(
    rows: list[tuple[float, list[int]]],
) -> None:
    orders: list[Order] = []
    likely = []
    for index, (p, cents) in enumerate(rows):
        low, middle, high = (Money(minor=m, currency="USD") for m in cents)
        paid = PriceRange(low=low, likely=middle, high=high, basis="entered")
        orders.append(order(f"row2-left.seat-bag-{index + 2}", paid, "look-first", p))
        for answer in cost(case(), work(*orders), CATALOG):
            assert answer.low.minor <= answer.likely.minor <= answer.high.minor
        likely.append(followed(plan=work(*orders)).likely.minor)
    for before, after in pairwise(likely):
        assert before <= after


@pytest.mark.parametrize("minutes", [1, 7, 50, 59])
def test_labour_by_the_minute_is_exact_to_the_cent(minutes: int) -> None:
    rate = price("labour-hour", 99.99, 99.99, 99.99)
    (line,) = followed(rate, plan=work(minutes=minutes)).lines
    assert line.likely is not None
    assert abs(line.likely.minor - Fraction(9999 * minutes, 60)) <= Fraction(1, 2)
