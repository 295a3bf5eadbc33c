"""Numbers as people type them at the bench: with a point, or with a comma."""

import click
import pytest

from squibwise.cli.bench_commands import Figure


@pytest.mark.parametrize(
    ("typed", "number"),
    [("2.4", 2.4), ("2,4", 2.4), ("-0,5", -0.5), ("0,250", 0.25), ("12,75", 12.75), ("7", 7.0)],
)
def test_a_comma_stands_before_decimals_as_a_point_does(typed: str, number: float) -> None:
    assert Figure().convert(typed, None, None) == number


@pytest.mark.parametrize(
    ("typed", "told"),
    [("1,234", "two ways: write 1234 or 1.234"), ("2,4,6", "valid"), ("x", "valid number")],
)
def test_what_can_be_read_in_two_ways_or_in_none_is_refused(typed: str, told: str) -> None:
    with pytest.raises(click.BadParameter, match=told):
        Figure().convert(typed, None, None)


def test_the_range_holds_for_a_comma_too() -> None:
    with pytest.raises(click.BadParameter, match="not in the range"):
        Figure(0.0, 200.0).convert("200,5", None, None)
