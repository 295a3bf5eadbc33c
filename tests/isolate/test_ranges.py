"""Whether the first cause stays first inside the ranges of the ranks' figures."""

import pytest

from squibwise.catalog.load import Catalog
from squibwise.isolate.findings import RANKED_BY, other_first_causes
from squibwise.isolate.suspects import Suspect

from .building import CATALOG


def suspect(name: str, p: float) -> Suspect:
    return Suspect(parts=(name,), title=name.replace(":", " "), p=p)


def test_a_cause_that_comes_first_at_an_end_of_a_range_is_said() -> None:
    """Own case: at a step of 2 or less another cause leads, at its value and above it does not."""

    def search(catalog: Catalog) -> tuple[Suspect, ...]:
        leads = catalog.fact("isolation.step").number() > 2.0
        pair = (suspect("harness:broken", 0.6), suspect("device:open", 0.4))
        return pair if leads else pair[::-1]

    (told,) = other_first_causes(suspect("harness:broken", 0.6), search, CATALOG)
    assert told.fact == "isolation.step"
    assert "device open, up to 40% (a step of rank 2 in place of 3)" in told.text


def test_nothing_is_said_where_the_first_cause_stays() -> None:
    first = suspect("harness:broken", 0.6)
    assert other_first_causes(first, lambda _: (first,), CATALOG) == ()


@pytest.mark.parametrize("fact_id", sorted(RANKED_BY))
def test_another_value_leaves_the_catalogue_as_it_was(fact_id: str) -> None:
    fact = CATALOG.fact(fact_id)
    assert fact.high is not None
    assert CATALOG.with_value(fact_id, fact.high).fact(fact_id).value == fact.high
    assert CATALOG.fact(fact_id).value == fact.value != fact.high
