"""The cost as a distribution, against enumeration, simulation and closed forms."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from squibwise.errors import ModelError
from squibwise.model.cost import Money
from squibwise.plan.cost_belief import (
    Payment,
    World,
    believe_cost,
    rank_drivers,
    triangle_on_grid,
)


def _paid(what: str, chance: float, amount: int) -> Payment:
    return Payment(what=what, chance=chance, low=amount, likely=amount, high=amount)


def _usd(minor: int) -> Money:
    return Money(minor=minor, currency="USD")


def test_fixed_prices_equal_enumeration_of_every_outcome() -> None:
    amounts = (100, 250, 400, 800, 1150)
    hard, soft = (0.9, 0.8, 0.95, 0.7, 0.6), (0.1, 0.2, 0.05, 0.3, 0.0)
    worlds = [
        World(
            weight=w, payments=tuple(_paid(str(a), p, a) for a, p in zip(amounts, c, strict=True))
        )
        for w, c in ((0.3, hard), (0.7, soft))
    ]
    exact: dict[int, float] = {}
    for weight, chances in ((0.3, hard), (0.7, soft)):
        for needed in itertools.product((0, 1), repeat=5):
            p = math.prod(c if n else 1 - c for c, n in zip(chances, needed, strict=True))
            total = sum(a for a, n in zip(amounts, needed, strict=True) if n)
            exact[total] = exact.get(total, 0.0) + weight * p
    found = believe_cost(worlds, "USD", points=4096)
    assert found.step == 1
    for total, p in exact.items():
        assert found.chances[total] == pytest.approx(p, abs=1e-12)
    assert found.mean == pytest.approx(sum(t * p for t, p in exact.items()))


def test_the_mean_is_that_of_the_payments_and_the_spread_that_of_a_simulation() -> None:
    rng = np.random.default_rng(7)
    rows = [(20_000, 45_000, 90_000), (10_000, 30_000, 85_000), (30_000, 65_000, 140_000)]
    chances = {0.4: (0.95, 0.9, 0.8), 0.6: (0.2, 0.1, 0.3)}
    worlds = [
        World(
            weight=w,
            payments=tuple(
                Payment(what=str(i), chance=p, low=a, likely=b, high=c)
                for i, (p, (a, b, c)) in enumerate(zip(ps, rows, strict=True))
            ),
        )
        for w, ps in chances.items()
    ]
    n = 400_000
    hard = rng.random(n) < 0.4
    total = np.zeros(n)
    for i, (a, b, c) in enumerate(rows):
        p = np.where(hard, chances[0.4][i], chances[0.6][i])
        total += (rng.random(n) < p) * rng.triangular(a, b, c, n)
    found = believe_cost(worlds, "USD")
    assert found.mean == pytest.approx(total.mean(), rel=0.005)
    for q in (0.1, 0.5, 0.8, 0.95):
        # the error of a simulated quantile: where the share of draws below it may lie
        low, high = np.quantile(total, [max(0.0, q - 0.003), min(1.0, q + 0.003)])
        assert low - 2 * found.step <= found.quantile(q).minor <= high + 2 * found.step


# Source: methods notes, section 7 "Dependence": the same means, one latent severity; taking the
# components as independent understates the spread and so the risk of a bid.
def test_taking_components_as_independent_understates_the_spread() -> None:
    items = range(12)
    joint = [
        World(weight=w, payments=tuple(_paid(str(i), p, 40_000) for i in items))
        for w, p in ((0.5, 0.9), (0.5, 0.1))
    ]
    apart = [World(weight=1.0, payments=tuple(_paid(str(i), 0.5, 40_000) for i in items))]
    together, independent = believe_cost(joint, "USD"), believe_cost(apart, "USD")
    assert together.mean == pytest.approx(independent.mean)
    safe = independent.quantile(0.9)
    assert independent.chance_above(safe) <= 0.1
    assert together.chance_above(safe) > 0.25


# Source: the triangular distribution's closed form, as in any textbook (from memory): its mean is
# (a + b + c) / 3.
@given(
    st.tuples(st.integers(0, 5000), st.integers(0, 5000), st.integers(0, 5000)).map(
        lambda t: tuple(sorted(t))
    ),
    st.sampled_from([1, 7, 50, 333]),
)
def test_a_price_on_the_grid_keeps_its_mean(price: tuple[int, int, int], step: int) -> None:
    low, likely, high = price
    chances = triangle_on_grid(low, likely, high, step, 5000 // step + 3)
    assert chances.sum() == pytest.approx(1.0, abs=1e-6)
    mean = float(chances @ (np.arange(len(chances)) * step))
    assert mean == pytest.approx((low + likely + high) / 3, abs=1e-4 * max(high, 1))


def test_the_shares_of_the_drivers_sum_to_one_and_name_what_moves_most() -> None:
    worlds = [
        World(weight=0.5, payments=(_paid("panel", 1.0, 90_000), _paid("kit", 0.5, 5_000))),
        World(weight=0.5, payments=(_paid("panel", 0.0, 90_000), _paid("kit", 0.5, 5_000))),
    ]
    drivers = rank_drivers(worlds, "USD")
    assert [d.what for d in drivers] == ["panel", "kit"]
    assert sum(d.share for d in drivers) == pytest.approx(1.0)
    assert drivers[0].mean == _usd(45_000)
    assert drivers[0].share == pytest.approx(45_000**2 / (45_000**2 + 2_500**2))


def test_a_quantile_is_the_least_amount_not_exceeded_with_that_chance() -> None:
    belief = believe_cost([World(weight=1.0, payments=(_paid("bag", 0.2, 50_000),))], "USD")
    assert belief.quantile(0.8) == _usd(0)
    assert belief.quantile(0.81).minor == pytest.approx(50_000, abs=belief.step)
    assert belief.chance_above(_usd(0)) == pytest.approx(0.2)


def test_nothing_to_pay_is_nothing_for_sure() -> None:
    belief = believe_cost([World(weight=2.0, payments=())], "USD")
    assert belief.quantile(0.99) == _usd(0)
    assert belief.mean == 0.0


def test_without_a_world_there_is_no_cost() -> None:
    with pytest.raises(ModelError, match="at least one world"):
        believe_cost([World(weight=0.0, payments=())], "USD")


def test_a_payment_out_of_order_is_refused() -> None:
    with pytest.raises(ModelError, match="out of order"):
        Payment(what="bag", chance=0.5, low=3, likely=2, high=4)
