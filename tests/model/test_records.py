"""Records keep their invariants; ids go apart and together again."""

import math

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from squibwise.errors import ModelError
from squibwise.model.belief import StageBelief, StateBelief
from squibwise.model.car import Given, Price
from squibwise.model.cost import Cost, Money, from_major
from squibwise.model.evidence import Reading, Recorder
from squibwise.model.names import (
    PLACES,
    SEATS,
    SIDES,
    ZONES,
    ComponentName,
    loop_id,
    side_of,
    split_component,
    split_loop,
)
from squibwise.model.origin import Finding, Origin
from squibwise.model.report import Candidate
from squibwise.model.work import Demand


def test_seats_sides_and_zones_share_no_word() -> None:
    assert len(set(PLACES)) == len(SEATS) + len(SIDES) + len(ZONES)


@given(
    place=st.sampled_from(PLACES),
    kind=st.sampled_from(["front-bag", "curtain", "impact-sensor", "wiring"]),
    number=st.integers(1, 9),
    stage=st.integers(1, 4),
)
def test_ids_go_apart_and_together_again(place: str, kind: str, number: int, stage: int) -> None:
    name = ComponentName(place=place, kind=kind, number=number)
    assert split_component(name.id) == name
    assert split_loop(loop_id(name.id, stage)) == (name.id, stage)


def test_a_loop_without_a_stage_is_the_first() -> None:
    assert split_loop("driver.front-bag") == ("driver.front-bag", 1)


@pytest.mark.parametrize("text", ["front-bag", "attic.front-bag", "driver.", ""])
def test_a_wrong_component_id_is_refused(text: str) -> None:
    with pytest.raises(ModelError):
        split_component(text)


@pytest.mark.parametrize("text", ["driver.front-bag/", "driver.front-bag/x", "driver.front-bag/0"])
def test_a_wrong_stage_is_refused(text: str) -> None:
    with pytest.raises(ModelError):
        split_loop(text)


def test_component_numbers_start_at_one() -> None:
    with pytest.raises(ModelError):
        ComponentName(place="centre", kind="wiring", number=0)


@pytest.mark.parametrize(
    ("place", "hand", "side"),
    [
        ("driver", "left", "left"),
        ("driver", "right", "right"),
        ("passenger", "left", "right"),
        ("passenger", "right", "left"),
        ("row2-left", "right", "left"),
        ("right", "left", "right"),
        ("door-right", "left", "right"),
        ("row2-centre", "left", None),
        ("nose-centre", "left", None),
        ("tail", "left", None),
    ],
)
def test_drive_hand_maps_seats_to_sides(place: str, hand: str, side: str | None) -> None:
    assert side_of(place, hand) == side  # type: ignore[arg-type]


def test_beliefs_sum_to_one_or_are_refused() -> None:
    StateBelief(sound=0.5, fired=0.5, faulty=0.0, damaged=0.0, unfit=0.0)
    with pytest.raises(ModelError):
        StateBelief(sound=0.5, fired=0.4, faulty=0.0, damaged=0.0, unfit=0.0)
    with pytest.raises(ModelError):
        StageBelief(fired=1.5, live=-0.5, faulty=0.0)
    with pytest.raises(ModelError):
        StageBelief(fired=math.nan, live=0.5, faulty=0.5)


def test_nan_is_no_measurement_and_no_figure() -> None:
    with pytest.raises(ModelError):
        Reading(id="r", component="driver.front-bag/1", quantity="q", value=math.nan, unit="ohm")
    with pytest.raises(ModelError):
        Given(value=math.nan, source="page")
    with pytest.raises(ModelError):
        Recorder(id="r", delta_v_long_kmh=-900.0)
    with pytest.raises(ModelError):
        Candidate(component=None, fault="unknown", weight=math.nan)


@given(st.integers(-(10**12), 10**12), st.integers(-(10**12), 10**12))
def test_money_adds_without_losing_a_cent(first: int, second: int) -> None:
    total = Money(minor=first, currency="USD") + Money(minor=second, currency="USD")
    assert total.minor == first + second


def test_money_of_two_currencies_is_not_added() -> None:
    with pytest.raises(ModelError):
        _ = Money(minor=1, currency="USD") + Money(minor=1, currency="GBP")


# Source: ISO 4217 minor units (from memory): JPY none, USD two, KWD three.
@pytest.mark.parametrize(
    ("amount", "currency", "minor", "text"),
    [
        ("1234.5", "USD", 123450, "1,234.50 USD"),
        (1200, "JPY", 1200, "1,200 JPY"),
        ("1.2345", "KWD", 1234, "1.234 KWD"),
        (0.1, "EUR", 10, "0.10 EUR"),
    ],
)
def test_money_knows_its_minor_unit(
    amount: str | float, currency: str, minor: int, text: str
) -> None:
    money = from_major(amount, currency)
    assert (money.minor, money.text()) == (minor, text)


def test_prices_and_costs_keep_their_order() -> None:
    low, high = Money(minor=1, currency="USD"), Money(minor=2, currency="USD")
    with pytest.raises(ModelError):
        Price(what="front-bag", low=high, likely=low, high=high)
    with pytest.raises(ModelError):
        Cost(profile="p", low=high, likely=low, high=high, minutes=0)


def test_a_work_item_has_no_negative_time_and_a_real_probability() -> None:
    with pytest.raises(ModelError):
        Demand(id="x", action="do", component=None, title="t", strict="always", hold_minutes=-1)
    with pytest.raises(ModelError):
        Demand(
            id="x", action="do", component=None, title="t", strict="always", probability=math.nan
        )


def test_a_finding_reads_as_one_line_with_its_remedy() -> None:
    finding = Finding(
        code="sample",
        severity="error",
        message="no such part",
        remedy="Correct it.",
        origin=Origin(file="case.toml", line=4),
    )
    assert finding.text() == "case.toml:4: no such part Correct it."
    assert Origin().where() == "input"


def test_records_refuse_unknown_keys() -> None:
    with pytest.raises(msgspec.ValidationError):
        msgspec.json.decode(b'{"minor": 1, "currency": "USD", "colour": 1}', type=Money)
