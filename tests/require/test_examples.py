"""Every rule is tested by the examples that stand beside it."""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.catalog.rules import Example
from squibwise.errors import CatalogError
from squibwise.require.examples import (
    answer_example,
    build_example,
    find_wrong_examples,
    list_examples,
)

CATALOG = load_catalog()
EXAMPLES = [
    pytest.param(profile, example, id=f"{profile}-{rule}-{number}")
    for profile, rule, number, example in list_examples(CATALOG)
]


@pytest.mark.parametrize(("profile", "example"), EXAMPLES)
def test_an_example_beside_a_rule_comes_out_as_it_says(profile: str, example: Example) -> None:
    assert answer_example(profile, example, CATALOG) == example.expect


def test_the_examples_ask_for_every_action_and_for_nothing() -> None:
    assert {p.values[1].expect for p in EXAMPLES} == {
        "replace",
        "inspect",
        "trace",
        "calibrate",
        "none",
    }


def test_no_shipped_example_is_wrong() -> None:
    assert find_wrong_examples(CATALOG) == ()


def test_an_example_that_says_nothing_known_is_refused() -> None:
    strange = Example(given={"moon full": 1.0}, component="driver.front-bag", expect="none")
    with pytest.raises(CatalogError, match="'moon full' says nothing known"):
        build_example(strange)
