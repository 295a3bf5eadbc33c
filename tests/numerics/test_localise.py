"""Localisation: correlations kept, and the limit that no meter can pass."""

import math

import numpy as np
import pytest

from squibwise.errors import ModelError
from squibwise.numerics.resistance import NOWHERE, PointChain, likelihoods, perfect, posterior

# Assumed chain: six pieces of wiring, the fifth a clock spring, and the igniter.
# Tolerances: wire and contacts some milliohm, clock spring and igniter +-0.15 ohm rectangular.
U = (0.008, 0.008, 0.008, 0.008, 0.15 / math.sqrt(3), 0.008, 0.15 / math.sqrt(3))
CHAIN = PointChain(
    names=("s1", "s2", "s3", "s4", "s5", "s6", "s7"),
    ohm=(0.05, 0.05, 0.05, 0.05, 0.35, 0.05, 2.0),
    u_ohm=U,
    u_reading=0.01,
    u_common=0.05,
)
REACHED = tuple(range(1, 8))


def rate(segment: int, extra: float, *, correlated: bool, chain: PointChain = CHAIN) -> float:
    """Return how often the right segment is named, over seeded draws."""
    rng, right, draws = np.random.default_rng(300 + segment), 0, 150
    for _ in range(draws):
        parts = np.array(chain.ohm) + np.array(U) * rng.standard_normal(7)
        parts[segment] += extra
        ohm = np.cumsum(parts) + 0.05 * rng.standard_normal() + 0.01 * rng.standard_normal(7)
        found = likelihoods(chain, REACHED, ohm, np.array([extra]), correlated=correlated)
        found.pop(NOWHERE)
        right += max(found, key=lambda n: found[n]) == f"s{segment + 1}"
    return right / draws


# Source: computed with assumed tolerances: 0.1 ohm extra, common lead error 0.05, meter 0.01: with
# the correlations .62 .998 .997 .999 .565 1.0 .544 right, without .79 .71 .64 .51 .46 .45 .53.
def test_correlations_kept_make_wiring_tell_apart() -> None:
    for segment in (1, 2, 3, 5):
        assert rate(segment, 0.1, correlated=True) > 0.95
    assert rate(3, 0.1, correlated=False) < 0.8
    assert rate(5, 0.1, correlated=False) < 0.8


def test_lead_error_and_wide_tolerances_cannot_be_told_at_a_tenth_of_an_ohm() -> None:
    for segment in (0, 4, 6):
        assert rate(segment, 0.1, correlated=True) < 0.9


def test_one_ohm_is_always_told() -> None:
    assert all(rate(s, 1.0, correlated=True) == 1.0 for s in range(7))


def test_nulling_the_leads_repairs_the_first_segment_only() -> None:
    ohm = np.cumsum(CHAIN.ohm) + 0.1
    extras = np.array([0.1])
    with_leads = likelihoods(CHAIN, REACHED, ohm, extras)
    nulled = likelihoods(perfect(CHAIN), REACHED, ohm, extras)
    assert with_leads[NOWHERE] / with_leads["s1"] > 0.05
    assert nulled[NOWHERE] / nulled["s1"] < 1e-6


def test_a_perfect_meter_cannot_tell_a_clock_spring_within_its_tolerance() -> None:
    ohm = np.cumsum(CHAIN.ohm)
    ohm[4:] += 0.1
    found = likelihoods(perfect(CHAIN), REACHED, ohm, np.array([0.1]))
    belief = posterior(found, dict.fromkeys((*CHAIN.names, NOWHERE), 0.125))
    assert belief[NOWHERE] > 0.2
    assert math.fsum(belief.values()) == pytest.approx(1.0)


def test_readings_need_points_of_the_chain() -> None:
    with pytest.raises(ModelError):
        likelihoods(CHAIN, (8,), np.array([1.0]), np.array([0.1]))


def test_an_uncertainty_below_nought_is_refused() -> None:
    with pytest.raises(ModelError):
        PointChain(names=("a",), ohm=(1.0,), u_ohm=(-1.0,), u_reading=0.0, u_common=0.0)


def test_a_segment_without_a_resistance_is_refused() -> None:
    with pytest.raises(ModelError):
        PointChain(names=("a",), ohm=(), u_ohm=(0.1,), u_reading=0.0, u_common=0.0)
