"""Laws that every answer obeys, whatever the evidence."""

import math
import random

import build
import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.infer import assess
from squibwise.infer.beside import Beside
from squibwise.infer.building import build_network
from squibwise.infer.engine import Engine, Posterior
from squibwise.infer.evidence import weigh_evidence
from squibwise.infer.marginals import group_beliefs
from squibwise.infer.network import Cluster, Group, Likelihood, Network
from squibwise.infer.parts import EpochChain, not_sound
from squibwise.model.belief import Assessment
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Evidence,
    Impact,
    LampCheck,
    Look,
    Occupant,
    Statement,
)
from squibwise.model.report import Report
from squibwise.model.words import STATES

SMALL = build.car("belts-and-front-bags")
LOOKS = st.sampled_from(
    [
        ("driver.front-bag", "cover-torn"),
        ("driver.front-bag", "cover-whole"),
        ("passenger.front-bag", "deployed"),
        ("passenger.front-bag", "intact"),
        ("driver.retractor-pretensioner", "webbing-locked"),
        ("passenger.retractor-pretensioner", "webbing-free"),
        ("centre.instrument-panel", "panel-torn"),
        ("nose-left.impact-sensor", "mount-bent"),
        ("driver.front-bag", "missing"),
    ]
)
CODES = st.sampled_from(
    [
        ("driver.front-bag", "open-or-high"),
        ("passenger.front-bag", "open-or-high"),
        ("driver.retractor-pretensioner", "open-or-high"),
        ("passenger.retractor-pretensioner", "low-or-short"),
        ("driver.buckle-switch", "unknown"),
        ("nose-right.impact-sensor", "communication"),
        ("centre.control-unit", "event-recorded"),
    ]
)
ZONES = st.sampled_from(["nose-left", "nose-right", "door-left", "tail"])


@st.composite
def evidence(draw: st.DrawFn) -> tuple[Evidence, ...]:
    """Draw a handful of pieces of evidence without times."""
    found: list[Evidence] = []
    for number, (component, seen) in enumerate(draw(st.lists(LOOKS, max_size=3, unique=True))):
        found.append(Look(id=f"look-{number}", component=component, seen=seen))
    codes = draw(st.lists(CODES, max_size=3, unique=True))
    if draw(st.booleans()):
        lines = [build.code(n + 1, c, fault=f) for n, (c, f) in enumerate(codes)]
        found.append(build.scan(*lines, complete=draw(st.sampled_from([True, False, None]))))
    if draw(st.booleans()):
        found.append(Impact(id="body", zone=draw(ZONES), extent="moderate"))
    if draw(st.booleans()):
        found.append(Statement(id="word", says=draw(st.sampled_from(["deployed", "not-deployed"]))))
    if draw(st.booleans()):
        found.append(Occupant(id="who", seat="passenger", present=draw(st.booleans())))
    return tuple(found)


def run(*found: Evidence) -> Posterior:
    case = build.case(*found, on=SMALL)
    net = build_network(case, build.CATALOG, {})
    return Engine(net, build.CATALOG).run(weigh_evidence(net, build.CATALOG))


def states(posterior: Posterior) -> dict[str, np.ndarray]:
    return {
        name: part.now.sum(axis=0) @ part.part.states()
        for group in group_beliefs(posterior)
        for name, part in group.parts.items()
    }


@settings(max_examples=15, deadline=None)
@given(evidence(), st.randoms(use_true_random=False))
def test_the_order_of_evidence_does_not_matter(found: tuple, shuffle: random.Random) -> None:
    mixed = list(found)
    shuffle.shuffle(mixed)
    one, two = run(*found), run(*mixed)
    assert one.log_evidence == pytest.approx(two.log_evidence, abs=1e-9)
    first, second = states(one), states(two)
    for name in first:
        assert first[name] == pytest.approx(second[name], abs=1e-10)


@settings(max_examples=15, deadline=None)
@given(evidence())
def test_beliefs_sum_to_one_and_soft_evidence_proves_nothing(found: tuple) -> None:
    posterior = run(*found)
    assert math.fsum(posterior.weights.ravel()) == pytest.approx(1.0, abs=1e-9)
    for group in group_beliefs(posterior):
        assert group.people.sum() == pytest.approx(1.0, abs=1e-9)
        assert group.causes.sum() == pytest.approx(1.0, abs=1e-9)
        for part in group.parts.values():
            values = part.now.sum(axis=0) @ part.part.states()
            assert values.sum() == pytest.approx(1.0, abs=1e-9)
            possible = part.part.states().any(axis=0)
            assert (values[possible] > 0.0).all()
            assert (values < 1.0).all()


NOTHING = (
    Look(id="n1", component="driver.front-bag", seen="not-seen"),
    Look(id="n2", component="nobody-knows.thing", seen="intact"),
    Statement(id="n3", component="driver.front-bag", says="no idea"),
    Occupant(id="n4", seat="passenger"),
    build.scan(id="n5", complete=False),
    LampCheck(id="n6", lit=True),
)


@settings(max_examples=10, deadline=None)
@given(evidence(), st.sampled_from(NOTHING))
def test_uninformative_evidence_changes_nothing(found: tuple, nothing: Evidence) -> None:
    first, second = states(run(*found)), states(run(*found, nothing))
    for name in first:
        assert first[name] == pytest.approx(second[name], abs=1e-9)


CLEANABLE = st.sampled_from(
    ["driver.front-bag", "passenger.front-bag", "driver.retractor-pretensioner"]
)


@settings(max_examples=15, deadline=None)
@given(evidence())
def test_a_clean_able_scan_never_raises_the_chance_that_anything_fired(found: tuple) -> None:
    looks = tuple(e for e in found if not isinstance(e, Report))
    clean = build.scan(id="clean", complete=True, able=True)
    before, after = states(run(*looks)), states(run(*looks, clean))
    fired = STATES.index("fired")
    for name in before:
        assert after[name][fired] <= before[name][fired] + 1e-12


def _brute(net: Network, items: tuple[Likelihood, ...], engine: Engine) -> tuple[float, np.ndarray]:
    """Return evidence and event rows by plain loops over everything, one number at a time."""
    rows = np.zeros(len(net.events.weight))
    event = engine.event(items)[:, 0, 0]
    results = engine.run(items).groups
    for x in range(len(rows)):
        for f, family in enumerate(net.logics):
            for u in range(net.unit.shape[1]):
                weight = net.events.weight[x] * net.unit[x, u] * family.weight * event[x]
                for group, result in zip(net.groups, results, strict=True):
                    weight *= _brute_group(group, result.chains, items, int(group.sort[x]), f, u)
                rows[x] += weight
    return float(rows.sum()), rows / rows.sum()


def _brute_group(
    group: Group,
    chains: dict[str, EpochChain],
    items: tuple[Likelihood, ...],
    x: int,
    f: int,
    u: int,
) -> float:
    total = 0.0
    for p in range(len(group.seat.words)):
        prior = group.seat.prior[min(x, len(group.seat.prior) - 1), p]
        for item in items:
            for on in item.seats:
                prior *= on.values[p] if on.group == group.name else 1.0
        for c, cause in enumerate(group.causes):
            product = prior * cause.weight
            for cluster in group.clusters:
                product *= _brute_cluster(cluster, chains, x, f, p, u, c)
            total += product
    return total


def _brute_cluster(
    cluster: Cluster, chains: dict[str, EpochChain], x: int, f: int, p: int, u: int, c: int
) -> float:
    shape = cluster.fires.shape
    at = tuple(min(i, n - 1) for i, n in zip((x, f, p), shape[:3], strict=True))
    total = 0.0
    for z in range(shape[3]):
        product = cluster.fires[(*at, z)]
        for part in cluster.parts:
            level = 0 if part.classes is None else part.classes[x]
            likelihood = 1.0
            if part.id in chains:
                likelihood = 0.0
                for m in range(len(part.micros)):
                    seen = chains[part.id].likelihood[u, c, m]
                    likelihood += part.prior[level, z, m] * seen
            product *= likelihood
        total += product
    return total


def test_the_engine_equals_plain_sums_over_every_state() -> None:
    car = build.car("front-bags", year=1996)
    keep = (
        "driver.front-bag",
        "passenger.front-bag",
        "driver.clock-spring",
        "centre.instrument-panel",
    )
    car = type(car)(
        equipment="front-bags",
        components=(*keep, "nose-centre.impact-sensor", "centre.control-unit"),
        stages={"driver.front-bag": 2},
        model_year=1996,
    )
    found = (
        build.scan(build.code(1, "driver.front-bag", None), build.record()),
        Look(id="l", component="centre.instrument-panel", seen="panel-torn"),
        DoneWork(id="d", what="reseated", component="driver.front-bag"),
        Look(id="l2", component="driver.front-bag", seen="cover-whole"),
        Occupant(id="o", seat="passenger", present=True, size="adult"),
        Impact(id="i", zone="nose-left", extent="light"),
    )
    net = build_network(build.case(*found, on=car), build.CATALOG, {})
    items = weigh_evidence(net, build.CATALOG)
    engine = Engine(net, build.CATALOG)
    posterior = engine.run(items)
    evidence, rows = _brute(net, items, engine)
    assert posterior.log_evidence == pytest.approx(math.log(evidence), abs=1e-9)
    assert posterior.events == pytest.approx(rows, abs=1e-12)


@settings(max_examples=6, deadline=None)
@given(evidence())
def test_whole_assessments_hold_together(found: tuple) -> None:
    answer: Assessment = assess(build.case(*found, on=SMALL), build.CATALOG)
    assert {c.id for c in answer.components} == set(SMALL.components)
    assert all(c.because for c in answer.components)
    assert sum(answer.event.front_passenger.values()) == pytest.approx(1.0, abs=1e-6)
    assert answer.assumptions


def test_one_piece_more_or_less_says_what_all_the_evidence_asked_anew_says() -> None:
    found = (
        build.scan(build.code(1, "driver.front-bag", None), build.record()),
        DoneWork(id="d", what="reseated", component="driver.front-bag"),
        Look(id="l", component="driver.front-bag", seen="cover-whole"),
        Occupant(id="o", seat="passenger", present=True, size="adult"),
        Impact(id="i", zone="nose-left", extent="light"),
    )
    net = build_network(build.case(*found, on=SMALL), build.CATALOG, {})
    items, engine = weigh_evidence(net, build.CATALOG), Engine(net, build.CATALOG)
    states = {p.id: not_sound(p) for *_, p in net.parts()}
    rest = [tuple(i for i in items if i is not piece) for piece in items]
    alone = [(piece,) for piece in items]
    assert {bool(i.events is not None) + 2 * bool(i.seats) for i in items} == {0, 1, 2}
    for base, kept in ((items, rest), ((), alone)):
        beside = Beside(engine.run(base), engine, states)
        chances, logs = beside.each(zip(items, kept, strict=True))
        for row, log, others in zip(chances, logs, kept, strict=True):
            anew = Engine(net, build.CATALOG).run(others)
            told = {n: p.now.sum(axis=0) for g in group_beliefs(anew) for n, p in g.parts.items()}
            assert row == pytest.approx([told[n] @ mask for n, mask in states.items()], abs=1e-12)
            assert log == pytest.approx(anew.log_evidence, abs=1e-9)


def test_what_a_run_remembers_does_not_grow_with_the_evidence() -> None:
    """A car that was walked line by line took half a gigabyte, and its record more than allowed."""
    look = Look(id="l", component="driver.front-bag", seen="intact")
    net = build_network(build.case(look, on=SMALL), build.CATALOG, {})
    engine, items = Engine(net, build.CATALOG), weigh_evidence(net, build.CATALOG)
    base, again = engine.run(()), msgspec.structs.replace
    more = [again(i, parts=tuple(again(p) for p in i.parts)) for i in items for _ in range(40)]
    states = {p.id: not_sound(p) for *_, p in net.parts()}
    Beside(base, engine, states).each((one, (one,)) for one in more)
    clusters = sum(len(group.clusters) for group in net.groups)
    assert len(more) >= 40
    assert len(engine._tellings) - 2 * clusters <= 4


def test_a_word_that_there_was_no_crash_is_evidence_of_none() -> None:
    told = Circumstance(id="told", what="crash", present=False)
    assert assess(build.case(told), build.CATALOG).event.no_crash > 0.8
