"""What a person entered as a price is one answer, whoever asks for it. Prices are made up."""

from pathlib import Path

import msgspec
import pytest

from squibwise import case as line
from squibwise import plan
from squibwise.catalog.load import load_catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.history.prices import LABOUR, read_price_book
from squibwise.isolate.context import minor_per_minute
from squibwise.model.car import Price
from squibwise.model.case import Case
from squibwise.model.cost import Money
from squibwise.require.orders import find_pieces, find_price

CATALOG = load_catalog()
BAG = "driver.front-bag"


def price(what: str, amount: int, currency: str = "USD") -> Price:
    money = Money(minor=amount, currency=currency)
    return Price(what=what, low=money, likely=money, high=money)


@pytest.fixture(scope="module")
def car() -> Case:
    return line.open_case(Path(DEMO_CASES / "burdock-09"), CATALOG)


def entered(case: Case, *prices: Price) -> Case:
    return msgspec.structs.replace(case, currency="USD", prices=prices)


@pytest.mark.parametrize(
    "prices",
    [
        (price(BAG, 11_000), price(BAG, 95_000)),  # the later one counts
        (price(BAG, 95_000), price(BAG, 11_000, "PLN")),  # no rate of exchange is assumed
        (price(BAG, 7_000, "PLN"), price(BAG, 95_000), price("front-bag", 1_000)),
    ],
)
def test_orders_costs_and_losses_take_the_same_price(car: Case, prices: tuple[Price, ...]) -> None:
    case = entered(car, *prices)
    piece = next(p for p in find_pieces(case, CATALOG) if BAG in p.key)
    found = find_price(piece, read_price_book(case))
    assert found is not None
    assert found.likely.minor == 95_000
    assert plan.losses(case, CATALOG) == plan.losses(entered(car, price(BAG, 95_000)), CATALOG)


def test_an_hour_costs_the_same_where_the_fault_is_looked_for(car: Case) -> None:
    case = entered(car, price(LABOUR, 6_000), price(LABOUR, 12_000), price(LABOUR, 60, "PLN"))
    assert minor_per_minute(case, CATALOG) == 200.0


# Found by use: the first of two prices moved the plan of a trace, the later one nothing.
def test_the_plan_of_a_trace_goes_by_the_later_price(car: Case) -> None:
    loop = "passenger.front-bag/1"

    def plan_with(*amounts: int) -> float:
        case = entered(car, *(price("passenger.front-bag", a) for a in amounts))
        return line.trace(case, loop, CATALOG).expected_minutes

    assert plan_with(11_000, 950_000) == plan_with(950_000)
