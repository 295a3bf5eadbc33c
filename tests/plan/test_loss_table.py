"""What a wrong decision costs."""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.model.car import Car, Price
from squibwise.model.case import Case
from squibwise.model.cost import from_major
from squibwise.plan import losses

CATALOG = load_catalog()
COMPONENTS = tuple(sorted(f"{kind.places[0]}.{kind.kind}" for kind in CATALOG.kinds.values()))


def case(**likely: float) -> Case:
    prices = tuple(
        Price(
            what=what.replace("_", "-"),
            low=from_major(amount, "USD"),
            likely=from_major(amount, "USD"),
            high=from_major(amount, "USD"),
        )
        for what, amount in likely.items()
    )
    return Case(id="own", car=Car(equipment="all", components=COMPONENTS), prices=prices)


def test_every_component_kind_has_a_loss_and_missing_a_fault_is_never_the_cheaper_mistake() -> None:
    table = losses(case(), CATALOG)
    assert set(table.losses) == set(COMPONENTS)
    assert all(0 < loss.needless < loss.missed for loss in table.losses.values())


def test_without_an_hourly_rate_the_table_is_in_hours() -> None:
    assert losses(case(), CATALOG).minute == pytest.approx(1 / 60)


def test_without_an_hourly_rate_a_price_is_not_mixed_with_hours() -> None:
    assert losses(case(front_bag=500), CATALOG) == losses(case(), CATALOG)


def test_with_an_hourly_rate_the_table_is_money() -> None:
    # Own figures: 100 an hour, a bag at 320, and the fact's hours of fitting.
    fitting = CATALOG.fact("loss.fitting.bag").number()
    table = losses(case(labour_hour=100, front_bag=320), CATALOG)
    assert table.minute == pytest.approx(100 / 60)
    assert table.losses["driver.front-bag"].needless == pytest.approx(320 + 100 * fitting)


def test_an_hourly_rate_alone_scales_everything_alike() -> None:
    hours, money = losses(case(), CATALOG), losses(case(labour_hour=90), CATALOG)
    for component in COMPONENTS:
        ratio = money.losses[component].missed / hours.losses[component].missed
        assert ratio == pytest.approx(90)


def test_an_hourly_rate_of_nothing_counts_as_none() -> None:
    assert losses(case(labour_hour=0), CATALOG) == losses(case(), CATALOG)


def test_keeping_a_spent_charge_weighs_more_than_keeping_a_dark_lamp() -> None:
    table = losses(case(), CATALOG).losses
    lamp = table["passenger.off-indicator"]
    bag = table["driver.front-bag"]
    assert bag.missed - bag.needless > lamp.missed - lamp.needless
