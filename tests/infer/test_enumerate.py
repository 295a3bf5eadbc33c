"""Enumeration of many cases against published posteriors and an independent sum over everything."""

from itertools import product

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.infer.explain import decibans
from squibwise.numerics.enumerate import Patterns, enumerate_many

Array = npt.NDArray[np.float64]


def all_patterns(tables: Array, owner: npt.NDArray[np.int64], likelihoods: Array) -> Patterns:
    """Return the patterns that the components of ``owner`` may show, by their likelihoods."""
    joint = tables[owner] * likelihoods[:, None, :]
    seen = joint.sum(axis=-1)
    given_event = np.moveaxis(joint / seen[:, :, None], 0, 1)
    return Patterns(np.log(seen), given_event.reshape(joint.shape[1], -1), joint.shape[-1])


def one_case(prior: Array, tables: Array, likelihoods: Array) -> tuple[Array, Array]:
    """Return the chances of the event (N,) and of each component's states, one case alone."""
    book = all_patterns(tables, np.arange(len(tables)), likelihoods)
    with np.errstate(divide="ignore"):  # events that were ruled out
        event, components = enumerate_many(np.log(prior), book, np.ones((1, len(tables))))
    return event[0], components[0]


def margin(event: Array, shape: tuple[int, ...], axis: int) -> Array:
    """Return the chances of one of the variables that an event is made of."""
    others = tuple(a for a in range(len(shape)) if a != axis)
    return np.asarray(event.reshape(shape).sum(axis=others))


# Burglary alarm: Russell and Norvig, Artificial Intelligence, 3rd ed., figure 14.2; P(B given J, M)
# = 0.284 on page 523, P(J given B) = 0.849017 on page 528, as quoted in a public unit test. The
# digits beyond were computed by us with an independent program.
ALARM_GRID = (2, 2, 2)  # burglary, earthquake, alarm
P_ALARM = {(1, 1): 0.95, (1, 0): 0.94, (0, 1): 0.29, (0, 0): 0.001}
JOHN, MARY = (0.05, 0.90), (0.01, 0.70)


def alarm_prior() -> Array:
    prior = np.zeros(ALARM_GRID)
    for b, e, a in product((0, 1), repeat=3):
        alarm = P_ALARM[b, e]
        chance = (0.001 if b else 0.999) * (0.002 if e else 0.998)
        prior[b, e, a] = chance * (alarm if a else 1.0 - alarm)
    return prior.ravel()


def calls() -> Array:
    """Return the tables of John and Mary, given the alarm, over the grid of eight events."""
    alarm = np.array([a for _, _, a in product((0, 1), repeat=3)])
    tables = []
    for quiet, loud in (JOHN, MARY):
        p = np.where(alarm == 1, loud, quiet)
        tables.append(np.stack([1.0 - p, p], axis=-1))
    return np.array(tables)


def alarm(john: tuple[float, float], mary: tuple[float, float]) -> Array:
    return one_case(alarm_prior(), calls(), np.array([john, mary]))[0]


ALL, YES = (1.0, 1.0), (0.0, 1.0)


def test_burglary_given_both_calls_is_the_published_number() -> None:
    event = alarm(YES, YES)
    assert margin(event, ALARM_GRID, 0)[1] == pytest.approx(0.2841718353643929, abs=1e-12)
    assert margin(event, ALARM_GRID, 1)[1] == pytest.approx(0.17606683840507917, abs=1e-12)
    assert margin(event, ALARM_GRID, 2)[1] == pytest.approx(0.7606920388631077, abs=1e-12)


def test_the_alarm_and_the_call_before_any_evidence_are_the_published_numbers() -> None:
    event, _ = one_case(alarm_prior(), calls(), np.ones((2, 2)))
    assert margin(event, ALARM_GRID, 2)[1] == pytest.approx(0.002516442, abs=1e-9)
    burgled = alarm_prior().reshape(ALARM_GRID)[1].ravel()
    table = calls()[:, 4:, :]
    _, components = one_case(burgled / burgled.sum(), table, np.ones((2, 2)))
    assert components[0, 1] == pytest.approx(0.849017, abs=1e-6)


# Weights of evidence for burglary; computed by us with an independent program.
@pytest.mark.parametrize(
    ("john", "mary", "expected_db"),
    [(YES, ALL, 12.184), (ALL, YES, 17.737), (YES, YES, 25.983)],
    ids=["john-alone", "mary-alone", "both"],
)
def test_weights_of_evidence_do_not_add_up(
    john: tuple[float, float], mary: tuple[float, float], expected_db: float
) -> None:
    prior = decibans(margin(alarm(ALL, ALL), ALARM_GRID, 0)[1])
    assert prior == pytest.approx(-29.996, abs=1e-3)
    weight = decibans(margin(alarm(john, mary), ALARM_GRID, 0)[1]) - prior
    assert weight == pytest.approx(expected_db, abs=1e-3)


def test_a_call_added_last_weighs_less_than_alone() -> None:
    both = decibans(margin(alarm(YES, YES), ALARM_GRID, 0)[1])
    mary = decibans(margin(alarm(ALL, YES), ALARM_GRID, 0)[1])
    john = decibans(margin(alarm(YES, ALL), ALARM_GRID, 0)[1])
    assert both - mary == pytest.approx(8.246, abs=1e-3)
    assert both - john == pytest.approx(13.799, abs=1e-3)


def test_virtual_evidence_four_to_one_on_a_call() -> None:
    # Computed by us with an independent program; forcing P(J) = .8 (Jeffrey) would give .2287.
    event = alarm((1.0, 4.0), YES)
    assert margin(event, ALARM_GRID, 0)[1] == pytest.approx(0.1353821522, abs=1e-9)


# Asia: Lauritzen and Spiegelhalter 1988; tables as printed in the BUGS examples, vol. 2. Posteriors
# computed by us with an independent program.
ASIA_GRID = (2, 2, 2, 2, 2)  # visit, smoker, tuberculosis, lung cancer, bronchitis


def asia() -> tuple[Array, Array]:
    prior, xray, dyspnoea = np.zeros(ASIA_GRID), [], []
    for v, s, t, c, b in product((0, 1), repeat=5):
        p = (0.01 if v else 0.99) * 0.5
        p *= (0.05 if v else 0.01) if t else (0.95 if v else 0.99)
        p *= (0.1 if s else 0.01) if c else (0.9 if s else 0.99)
        p *= (0.6 if s else 0.3) if b else (0.4 if s else 0.7)
        prior[v, s, t, c, b] = p
        either = t or c
        xray.append(0.98 if either else 0.05)
        dyspnoea.append({(1, 1): 0.9, (1, 0): 0.7, (0, 1): 0.8, (0, 0): 0.1}[int(either), b])
    tables = [np.stack([1.0 - np.array(p), np.array(p)], axis=-1) for p in (xray, dyspnoea)]
    return prior.ravel(), np.array(tables)


def seen_asia(visit: int | None, xray: int | None, dyspnoea: int | None) -> tuple[Array, Array]:
    prior, tables = asia()
    grid = prior.reshape(ASIA_GRID).copy()
    if visit is not None:
        grid[1 - visit] = 0.0
    likelihoods = np.ones((2, 2))
    for row, value in ((0, xray), (1, dyspnoea)):
        if value is not None:
            likelihoods[row] = [1.0 - value, value]
    return one_case(grid.ravel() / grid.sum(), tables, likelihoods)


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        ((None, None, None), {2: 0.0104, 3: 0.055, 4: 0.45}),
        ((1, None, 1), {2: 0.087751, 3: 0.099525, 4: 0.811402, 1: 0.62592}),
        ((0, 1, 1), {2: 0.109994, 3: 0.623763, 4: 0.682621, 1: 0.786796}),
    ],
    ids=["nothing", "visit-and-dyspnoea", "no-visit-xray-dyspnoea"],
)
def test_the_asia_network_gives_the_known_posteriors(
    seen: tuple[int | None, int | None, int | None], expected: dict[int, float]
) -> None:
    event, _ = seen_asia(*seen)
    for axis, value in expected.items():
        assert margin(event, ASIA_GRID, axis)[1] == pytest.approx(value, abs=1e-6)


def test_the_asia_network_before_any_evidence_predicts_xray_and_dyspnoea() -> None:
    _, components = seen_asia(None, None, None)
    assert components[:, 1] == pytest.approx([0.11029, 0.435971], abs=1e-6)


# A reader of detection .95 and false alarm .02, a weak one of .6, and none at all; closed form.
@pytest.mark.parametrize(
    ("clean", "expected"),
    [((0.98, 0.05), 0.021398), ((0.98, 0.4), 0.148883), ((1.0, 1.0), 0.3)],
    ids=["good-reader", "weak-reader", "not-scanned"],
)
def test_a_clean_scan_counts_as_far_as_it_reaches(
    clean: tuple[float, float], expected: float
) -> None:
    _, components = one_case(np.ones(1), np.array([[[0.7, 0.3]]]), np.array([clean]))
    assert components[0, 1] == pytest.approx(expected, abs=1e-6)


def brute(prior: Array, tables: Array, likelihoods: Array) -> tuple[Array, Array]:
    """Return the same by summing over every joint state, one by one."""
    event = np.zeros(len(prior))
    components = np.zeros(likelihoods.shape)
    for e in range(len(prior)):
        for states in product(range(likelihoods.shape[1]), repeat=len(tables)):
            p = prior[e]
            for c, s in enumerate(states):
                p *= tables[c, e, s] * likelihoods[c, s]
            event[e] += p
            for c, s in enumerate(states):
                components[c, s] += p
    total = event.sum()
    return event / total, components / total


SIZES = st.tuples(st.integers(1, 5), st.integers(1, 4), st.integers(2, 3), st.integers(0, 10**6))


@settings(max_examples=40, deadline=None)
@given(SIZES)
def test_enumeration_equals_the_sum_over_all_joint_states(
    sizes: tuple[int, int, int, int],
) -> None:
    events, parts, states, seed = sizes
    rng = np.random.default_rng(seed)
    prior = rng.dirichlet(np.ones(events))
    tables = rng.dirichlet(np.ones(states), size=(parts, events))
    likelihoods = rng.uniform(0.01, 1.0, size=(parts, states))
    found_event, found = one_case(prior, tables, likelihoods)
    event, components = brute(prior, tables, likelihoods)
    assert found_event == pytest.approx(event, abs=1e-12)
    assert found == pytest.approx(components, abs=1e-12)


@settings(max_examples=25, deadline=None)
@given(SIZES)
def test_many_cases_at_once_equal_each_case_alone(sizes: tuple[int, int, int, int]) -> None:
    events, parts, states, seed = sizes
    rng = np.random.default_rng(seed)
    prior = rng.dirichlet(np.ones(events))
    tables = rng.dirichlet(np.ones(states), size=(parts, events))
    owner = np.repeat(np.arange(parts), 2)
    likelihoods = rng.uniform(0.01, 1.0, size=(len(owner), states))
    book = all_patterns(tables, owner, likelihoods)
    chosen = rng.integers(2, size=(3, parts)) + 2 * np.arange(parts)
    shown = np.zeros((3, len(owner)))
    np.put_along_axis(shown, chosen, 1.0, axis=1)
    event, components = enumerate_many(np.log(prior), book, shown)
    for row in range(3):
        alone_event, alone = one_case(prior, tables, likelihoods[chosen[row]])
        assert event[row] == pytest.approx(alone_event, abs=1e-12)
        assert components[row, chosen[row]] == pytest.approx(alone, abs=1e-12)
