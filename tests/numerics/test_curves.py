"""Deployment curves: terms, laws, unknown inputs."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.errors import CatalogError, ModelError
from squibwise.numerics.curves import (
    SIDE_CODES,
    Curve,
    Hit,
    Term,
    expit,
    probability,
)

YEARS = ((2004.0, 1.0), (2010.0, 3.0))
LINE = Curve(
    terms=(
        Term(of="constant", coefficient=-2.0),
        Term(of="forward", high=30.0, per=10.0, coefficient=1.0),
        Term(of="year", centre=2006.0, per=2.0, coefficient=0.5),
        Term(of="belted", coefficient=-1.0),
        Term(of="constant", sides=("near", "far"), given=1, coefficient=3.0),
    ),
    belted_share=0.75,
    years=YEARS,
)
CURVES = load_catalog().priors.curves
NUMBERS = {"allow_nan": False, "allow_infinity": False}


def test_the_log_odds_are_the_sum_of_the_terms_worked_by_hand() -> None:
    hit = Hit(side=1, forward_kmh=20.0, lateral_kmh=5.0, model_year=2010.0, belted=1.0)
    # -2 + 20/10 + .5 * (2010 - 2006)/2 - 1 + 3 = 3
    assert probability(LINE, hit, given=1.0) == pytest.approx(1.0 / (1.0 + math.exp(-3.0)))
    assert probability(LINE, hit, given=0.0) == pytest.approx(0.5)


def test_a_quantity_beyond_its_limit_counts_as_the_limit() -> None:
    fast = Hit(side=0, forward_kmh=[30.0, 90.0], lateral_kmh=0.0, model_year=2006.0, belted=0.0)
    low, high = probability(LINE, fast, given=0.0)
    assert low == high


def test_an_unknown_model_year_is_the_weighted_average_of_probabilities() -> None:
    known = Hit(side=0, forward_kmh=20.0, lateral_kmh=0.0, model_year=[2004.0, 2010.0], belted=1.0)
    unknown = Hit(side=0, forward_kmh=20.0, lateral_kmh=0.0, belted=1.0)
    early, late = probability(LINE, known, given=0.0)
    assert probability(LINE, unknown, given=0.0) == pytest.approx(0.25 * early + 0.75 * late)


def test_an_unknown_belt_is_mixed_by_the_belt_share() -> None:
    loose, latched, unknown = probability(
        LINE,
        Hit(
            side=0,
            forward_kmh=20.0,
            lateral_kmh=0.0,
            model_year=2006.0,
            belted=[0.0, 1.0, math.nan],
        ),
        given=0.0,
    )
    assert unknown == pytest.approx(0.25 * loose + 0.75 * latched)


def test_a_curve_that_asks_for_the_other_bag_refuses_to_guess_it() -> None:
    with pytest.raises(ModelError, match="whether the other device fired"):
        probability(LINE, Hit(side=1, forward_kmh=10.0, lateral_kmh=0.0))


def test_a_shift_moves_the_log_odds_by_itself() -> None:
    hit = Hit(side=0, forward_kmh=20.0, lateral_kmh=0.0, model_year=2006.0, belted=0.0)
    assert probability(LINE, hit, given=0.0, shift=1.5) == pytest.approx(expit(1.5))


def test_a_lapse_keeps_every_probability_off_zero_and_one() -> None:
    sure = Curve(
        terms=(Term(of="constant", coefficient=50.0),), belted_share=0.5, years=YEARS, lapse=0.01
    )
    hit = Hit(side=0, forward_kmh=0.0, lateral_kmh=0.0)
    assert probability(sure, hit) == pytest.approx(0.99)


def test_arrays_of_any_shape_broadcast() -> None:
    hit = Hit(
        side=np.arange(4)[:, None], forward_kmh=np.linspace(0, 60, 7), lateral_kmh=3.0, belted=0.9
    )
    assert probability(CURVES["driver-front-bag"], hit).shape == (4, 7)
    both = probability(CURVES["own-side-bags"], hit, given=np.array([0, 1])[:, None, None])
    assert both.shape == (2, 4, 7)


@pytest.mark.parametrize(
    ("broken", "message"),
    [
        ({"of": "forward", "coefficient": -0.1}, "rarer with severity"),
        ({"of": "year", "per": 0.0}, "out of range"),
        ({"of": "year", "se": math.nan}, "out of range"),
    ],
)
def test_a_term_that_cannot_be_is_refused(broken: dict[str, float], message: str) -> None:
    with pytest.raises(CatalogError, match=message):
        Term(**broken)


@pytest.mark.parametrize(
    ("broken", "message"),
    [
        ({"belted_share": 1.2}, "not a probability"),
        ({"years": ()}, "model years"),
        ({"lapse": 0.5}, "below a half"),
    ],
)
def test_a_curve_that_cannot_be_is_refused(broken: dict[str, object], message: str) -> None:
    whole = {"terms": (), "belted_share": 0.5, "years": YEARS}
    with pytest.raises(CatalogError, match=message):
        Curve(**(whole | broken))


@given(
    side=st.sampled_from(sorted(SIDE_CODES)),
    forward=st.floats(-80, 120, **NUMBERS),
    more=st.floats(0, 60, **NUMBERS),
    lateral=st.floats(0, 80, **NUMBERS),
    year=st.floats(1995, 2025, **NUMBERS),
    belted=st.sampled_from([0.0, 1.0, math.nan]),
)
@settings(max_examples=60, deadline=None)
def test_firing_never_becomes_rarer_in_a_harder_hit(
    side: str, forward: float, more: float, lateral: float, year: float, belted: float
) -> None:
    code = SIDE_CODES[side]
    harder = forward + more if forward >= 0.0 else forward - more
    hit = Hit(
        side=code,
        forward_kmh=[forward, harder, forward],
        lateral_kmh=[lateral, lateral, lateral + more],
        model_year=year,
        belted=belted,
    )
    for name, curve in CURVES.items():
        base, along, across = probability(curve, hit, given=1.0)
        assert along >= base - 1e-12, name
        assert across >= base - 1e-12, name
        assert 0.0 < base < 1.0, name
