"""Sequential troubleshooting: published and own check cases, and an independent enumerator."""

import math

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.errors import ModelError
from squibwise.numerics.troubleshoot import search
from squibwise.numerics.troubleshoot.bounds import huffman_length, lower_bound
from squibwise.numerics.troubleshoot.exact import action_values, expected_minutes, lay_out, solve
from squibwise.numerics.troubleshoot.planner import Node, PlanLimits, outcomes, plan
from squibwise.numerics.troubleshoot.problem import Problem, Repair, Result, Test, trimmed
from squibwise.numerics.troubleshoot.search import (
    Budget,
    by_information,
    by_parts,
    cheapest_first,
    one_step,
    outward,
    policy_value,
)
from squibwise.numerics.troubleshoot.states import model_of, start, state_count

from . import table_policies as policies
from .troubleshooting import enumerate_plans, random_problem

ALL = [(faults, tests) for faults in (2, 3, 4) for tests in (1, 2, 3)]


def only_repairs(weight: list[float], cost: list[float], fixes: list[list[int]]) -> Problem:
    return Problem(
        hypotheses=tuple(frozenset({f"f{i}"}) for i in range(len(weight))),
        weight=tuple(weight),
        repairs=tuple(
            Repair(id=f"r{i}", minutes=c, fixes=frozenset(f"f{k}" for k in f))
            for i, (c, f) in enumerate(zip(cost, fixes, strict=True))
        ),
    )


def exact(problem: Problem) -> float:
    return expected_minutes(*solve(problem))


# Source: Kadane and Simon 1977; p = (.5, .3, .2), c = (10, 3, 4): 2 first, then a tie: 10.8.
def test_chance_over_cost_is_optimal_for_plain_repairs() -> None:
    problem = only_repairs([0.5, 0.3, 0.2], [10, 3, 4], [[0], [1], [2]])
    table = lay_out(model_of(problem))
    plain, choice = policies.parts_first(table)
    assert exact(problem) == pytest.approx(10.8, abs=1e-12)
    assert expected_minutes(table, plain) == pytest.approx(10.8, abs=1e-12)
    assert choice[0, 0, 1] == 1
    swapped = only_repairs([0.2, 0.3, 0.5], [4, 3, 10], [[0], [1], [2]])
    assert exact(swapped) == pytest.approx(10.8, abs=1e-12)


# Own counterexample, computed by exhaustion: overlapping repairs, 4.592593 against 5.444444.
def test_chance_over_cost_fails_when_repairs_overlap() -> None:
    fixes = [[2], [0, 1, 3], [0, 2], [0, 2, 3]]
    problem = only_repairs([8, 3, 8, 8], [2, 4, 9, 5], fixes)
    table = lay_out(model_of(problem))
    assert exact(problem) == pytest.approx(124 / 27, abs=1e-9)
    assert expected_minutes(table, policies.parts_first(table)[0]) == pytest.approx(
        147 / 27, abs=1e-9
    )


# Own case, computed by exhaustion: five states, five perfect tests of unit cost: optimum 2.12.
# Its Huffman bound (Pattipati and Alexandridis 1990) is 1.46. Dear repairs force identification.
def test_five_states_are_told_apart_in_2_12_tests() -> None:
    dear, p = 1e4, (0.70, 0.01, 0.02, 0.10, 0.17)
    rows = ["00000", "01001", "00110", "10011", "11000"]
    problem = Problem(
        hypotheses=tuple(frozenset({f"f{i}"}) for i in range(5)),
        weight=p,
        tests=tuple(
            Test(
                id=f"t{j}",
                minutes=1.0,
                power="on",
                results=(
                    Result(word="0", chance=tuple(1.0 - int(r[j]) for r in rows)),
                    Result(word="1", chance=tuple(float(r[j]) for r in rows)),
                ),
            )
            for j in range(5)
        ),
        repairs=tuple(
            Repair(id=f"r{i}", minutes=dear, fixes=frozenset({f"f{i}"})) for i in range(5)
        ),
    )
    assert exact(problem) - dear == pytest.approx(2.12, abs=1e-6)
    assert huffman_length(p) == pytest.approx(1.46, abs=1e-12)
    assert lower_bound(problem) - dear <= 2.12


# Source: Huffman bounds the entropy from above: H <= L < H + 1 (any textbook).
@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(0.01, 1.0), min_size=1, max_size=9))
def test_huffman_length_lies_within_one_bit_of_the_entropy(weights: list[float]) -> None:
    p = [w / sum(weights) for w in weights]
    entropy = -math.fsum(q * math.log2(q) for q in p)
    assert entropy - 1e-9 <= huffman_length(p) < entropy + 1.0


def test_three_outcomes_need_fewer_tests_than_two() -> None:
    assert huffman_length([1 / 9] * 9, 3) == pytest.approx(2.0)
    assert huffman_length([0.25] * 4, 3) == pytest.approx(1.5)


# Source: de Kleer and Williams 1987, the polybox: A=3 B=2 C=2 D=3 E=3, F seen 10 not 12, G 12.
# Candidates and numbers computed with P(fault) = .01 and a faulty output uniform on 20 values;
# the paper's own figures rest on another assumption. Probe X first.
def polybox() -> tuple[list[tuple[str, ...]], list[float], list[dict[str, float]]]:
    parts = ("M1", "M2", "M3", "A1", "A2")
    values = range(1, 21)
    found: dict[tuple[str, ...], float] = {}
    shown: dict[tuple[str, ...], dict[tuple[str, int], float]] = {}
    for bits in range(32):
        bad = tuple(p for i, p in enumerate(parts) if bits >> i & 1)
        prior = 0.01 ** len(bad) * 0.99 ** (5 - len(bad))
        for x in values if "M1" in bad else (6,):
            for y in values if "M2" in bad else (6,):
                for z in values if "M3" in bad else (6,):
                    p = prior / 20 ** len([m for m in ("M1", "M2", "M3") if m in bad])
                    p *= 1 / 20 if "A1" in bad else float(x + y == 10)
                    p *= 1 / 20 if "A2" in bad else float(y + z == 12)
                    if p:
                        found[bad] = found.get(bad, 0.0) + p
                        for probe, seen in (("X", x), ("Y", y), ("Z", z)):
                            key = (probe, seen)
                            shown.setdefault(bad, {})
                            shown[bad][key] = shown[bad].get(key, 0.0) + p
    names = list(found)
    total = math.fsum(found.values())
    probes = [{f"{k[0]}={k[1]}": v / found[n] for k, v in shown[n].items()} for n in names]
    return names, [found[n] / total for n in names], probes


def test_polybox_probes_x_first() -> None:
    names, weight, probes = polybox()
    by_name = dict(zip(names, weight, strict=True))
    assert by_name[("A1",)] == pytest.approx(0.49648, abs=1e-5)
    assert by_name[("M1",)] == pytest.approx(0.49648, abs=1e-5)
    assert by_name[("M1", "A1")] == pytest.approx(0.00501, abs=1e-5)
    assert -math.fsum(w * math.log2(w) for w in weight) == pytest.approx(1.0658, abs=1e-4)
    tests = []
    for probe in "XYZ":
        words = sorted({w for chances in probes for w in chances if w.startswith(probe)})
        results = tuple(
            Result(word=w, chance=tuple(chances.get(w, 0.0) for chances in probes)) for w in words
        )
        tests.append(Test(id=probe, minutes=1.0, power="on", results=results))
    for test, expected in zip(tests, (0.0315, 1.0594, 1.0623), strict=True):
        assert _entropy_after(weight, test) == pytest.approx(expected, abs=1e-4)
    problem = Problem(
        hypotheses=tuple(frozenset(n) for n in names),
        weight=tuple(weight),
        tests=tuple(tests),
        repairs=tuple(
            Repair(id=p, minutes=100.0, fixes=frozenset({p}))
            for p in ("M1", "M2", "M3", "A1", "A2")
        ),
    )
    model = model_of(problem)
    choice, _ = by_information(0.99)(model, start(model))
    assert problem.tests[int(choice[0])].id == "X"
    answer = plan(problem, PlanLimits())
    assert answer.tree.action is not None
    assert answer.tree.action.id == "X"


def _entropy_after(weight: list[float], test: Test) -> float:
    total = 0.0
    for result in test.results:
        joint = [w * c for w, c in zip(weight, result.chance, strict=True)]
        mass = math.fsum(joint)
        total -= math.fsum(j * math.log2(j / mass) for j in joint if j > 0.0)
    return total


@pytest.mark.parametrize(("faults", "tests"), ALL)
@pytest.mark.parametrize("seed", range(4))
def test_the_exact_answer_equals_plain_enumeration(faults: int, tests: int, seed: int) -> None:
    problem = random_problem(seed, faults, tests, cures=seed % 2 == 1, pairs=seed > 1)
    assert exact(problem) == pytest.approx(enumerate_plans(problem), abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_repairs_that_wait_for_tests_are_planned_as_plain_enumeration_does(seed: int) -> None:
    problem = random_problem(seed, 3, 3, cures=seed % 2 == 1, gates=True)
    assert exact(problem) == pytest.approx(enumerate_plans(problem), abs=1e-9)
    free = tuple(msgspec.structs.replace(r, after=frozenset()) for r in problem.repairs)
    assert exact(problem) >= exact(msgspec.structs.replace(problem, repairs=free)) - 1e-9
    model = model_of(problem)
    for choose in (search.one_step, by_information(0.9), by_parts, outward([(0, 1)], [])):
        value = search.policy_value(model, start(model), choose, search.Budget())[0]
        assert value >= exact(problem) - 1e-9
    assert lower_bound(problem) <= exact(problem) + 1e-9


def test_a_repair_never_comes_before_the_tests_it_waits_for() -> None:
    problem = random_problem(2, 3, 3, gates=True)
    node, done = plan(problem, PlanLimits(fold=0.0)).tree, set()

    def walk(node: Node, done: frozenset[str], seen: frozenset[tuple[str, str]]) -> None:
        if node.action is None:
            return
        if isinstance(node.action, Repair):
            repair = next(r for r in problem.repairs if r.id == node.action.id)
            assert repair.after <= done or repair.unless & seen
        for word, child in node.branches.items():
            walk(child, done | {node.action.id}, seen | {(node.action.id, word)})

    walk(node, frozenset(done), frozenset())


@pytest.mark.parametrize("seed", range(2))
def test_the_exact_answer_equals_plain_enumeration_at_four_by_four(seed: int) -> None:
    problem = random_problem(seed, 4, 4, cures=seed == 1)
    assert exact(problem) == pytest.approx(enumerate_plans(problem), abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_search_and_table_agree_on_every_policy(seed: int) -> None:
    problem = random_problem(seed, 4, 4, cures=seed % 2 == 0, pairs=seed % 3 == 0)
    table, model = lay_out(model_of(problem)), model_of(problem)
    plain, first = policies.parts_first(table)
    step = policies.evaluate(table, policies.one_step(table, plain, first))
    budget = search.Budget()
    begin = start(model)
    assert search.parts_first(model, begin)[0][0] == pytest.approx(expected_minutes(table, plain))
    found = search.policy_value(model, begin, search.one_step, budget)[0]
    assert found == pytest.approx(expected_minutes(table, step), rel=1e-9)
    mine = search.rollout(model, begin, budget, 0.0)[0]
    theirs = action_values(table, np.array([0]), step)[:, 0, 0, 1]
    assert mine.min() == pytest.approx(theirs.min(), rel=1e-9)
    by_info = policies.evaluate(table, policies.by_information(table, first, 0.9))
    found = search.policy_value(model, begin, by_information(0.9), budget)[0]
    assert found == pytest.approx(expected_minutes(table, by_info), rel=1e-9)
    walk, checks = [(0, 1), (1, 1)], [2]
    fixed = policies.evaluate(table, policies.outward(table, walk, checks))
    found = search.policy_value(model, begin, outward(walk, checks), budget)[0]
    assert found == pytest.approx(expected_minutes(table, fixed), rel=1e-9)
    found = search.policy_value(model, begin, by_parts, budget)[0]
    assert found == pytest.approx(expected_minutes(table, plain), rel=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_no_policy_beats_the_exact_answer_and_the_bound_stays_below(seed: int) -> None:
    problem = random_problem(seed, 4, 4, cures=seed % 2 == 0, pairs=seed % 3 == 0)
    table, best = lay_out(model_of(problem)), exact(problem)
    plain, first = policies.parts_first(table)
    step = policies.evaluate(table, policies.one_step(table, plain, first))
    roll = policies.evaluate(table, policies.choose_by(table, step))
    two = policies.evaluate(table, policies.two_step(table, plain))
    values = [expected_minutes(table, v) for v in (plain, step, roll, two)]
    assert min(values) >= best - 1e-9
    assert values[1] <= values[0] + 1e-9  # the one-step policy improves on parts first
    assert values[2] <= values[1] + 1e-9  # rollout improves on its base
    assert 0.0 < lower_bound(problem) <= best + 1e-9


@pytest.mark.parametrize("seed", range(6))
def test_the_tree_is_worth_what_the_plan_says(seed: int) -> None:
    problem = random_problem(seed, 4, 3, cures=seed % 2 == 0)
    answer = plan(problem, PlanLimits(fold=0.0))
    assert answer.method == "exact"
    assert answer.minutes == pytest.approx(exact(problem), rel=1e-9)
    assert walked(problem, answer.tree) == pytest.approx(answer.minutes, rel=1e-9)


def walked(problem: Problem, node: Node) -> float:
    """Return what following a tree costs, added up along its branches."""
    if node.action is None:
        return 0.0
    actions: list[Test | Repair] = [*problem.tests, *problem.repairs]
    action = next(a for a in actions if a.id == node.action.id)
    power = action.power
    check = 0.0 if isinstance(action, Test) else action.check_minutes + action.price
    cost = action.minutes + check
    cost += sum(problem.access_minutes[k] for k in set(action.access) - problem.opened)
    cost += problem.wait_minutes if power in ("off", "through") and problem.powered else 0.0
    cost += (
        problem.power_up_minutes
        if power == "through" or (power == "on" and not problem.powered)
        else 0.0
    )
    extra = {r.word: r.minutes for r in action.results} if isinstance(action, Test) else {}
    for word, (share, then) in outcomes(problem, action).items():
        cost += share * extra.get(word, 0.0)
        if then is not None:
            cost += share * walked(then, node.branches[word])
    return cost


def test_branches_and_what_is_folded_add_up() -> None:
    def check(node: Node) -> None:
        if node.branches:
            parts = math.fsum(n.p for n in node.branches.values()) + node.folded
            assert parts <= node.p + 1e-9
            assert parts >= node.p - 3 * 0.02
            assert all(n.p >= 0.02 for n in node.branches.values())
        for child in node.branches.values():
            check(child)

    check(plan(random_problem(3, 4, 4, cures=True), PlanLimits()).tree)


def test_a_spent_budget_falls_back_to_two_steps() -> None:
    problem = random_problem(1, 6, 6)
    rolled = plan(problem, PlanLimits(exact_states=0, later_states=0))
    hurried = plan(problem, PlanLimits(exact_states=0, later_states=0, rollout_states=3))
    late = plan(problem, PlanLimits(exact_states=0, later_states=0), over=lambda: True)
    assert (rolled.method, hurried.method, late.method) == ("rollout", "two-step", "two-step")
    assert hurried.lower <= exact(problem) <= hurried.minutes + 1e-9
    assert rolled.minutes <= hurried.minutes * 1.1


def test_several_tests_in_one_power_down_save_the_waits() -> None:
    problem = random_problem(5, 4, 3)
    no_wait = msgspec.structs.replace(problem, wait_minutes=0.0)
    assert exact(no_wait) < exact(problem)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(1.0, 40.0))
def test_a_longer_wait_never_makes_the_plan_cheaper(seed: int, more: float) -> None:
    problem = random_problem(seed, 3, 3, cures=seed % 2 == 0)
    longer = msgspec.structs.replace(problem, wait_minutes=problem.wait_minutes + more)
    assert exact(longer) >= exact(problem) - 1e-9


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_one_more_test_never_makes_the_plan_dearer(seed: int) -> None:
    problem = random_problem(seed, 3, 3)
    fewer = msgspec.structs.replace(problem, tests=problem.tests[:-1])
    assert exact(problem) <= exact(fewer) + 1e-9


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_trimming_changes_nothing(seed: int) -> None:
    problem = random_problem(seed, 4, 2, cures=True)
    dull = Test(id="dull", minutes=1.0, results=(Result(word="x", chance=(1.0,) * 4),))
    dear = Repair(id="dear", minutes=900.0, access=(0, 1, 2), fixes=problem.repairs[1].fixes)
    padded = msgspec.structs.replace(
        problem, tests=(*problem.tests, dull), repairs=(*problem.repairs, dear)
    )
    assert state_count(trimmed(padded)) == state_count(trimmed(problem))
    assert exact(trimmed(padded)) == pytest.approx(exact(padded), abs=1e-9)


def test_a_test_that_allows_a_repair_is_kept_although_it_tells_nothing() -> None:
    """One fault is left; reading a label is enough for its repair, in place of a dear test."""
    label = Test(
        id="label",
        minutes=5.0,
        results=(Result(word="wrong", chance=(0.95,)), Result(word="right", chance=(0.05,))),
    )
    feed = Test(id="feed", minutes=60.0, results=(Result(word="there", chance=(1.0,)),))
    repair = Repair(
        id="renew",
        minutes=10.0,
        fixes=frozenset({"a"}),
        after=frozenset({"feed"}),
        unless=frozenset({("label", "wrong")}),
    )
    problem = Problem(
        hypotheses=(frozenset({"a"}),), weight=(1.0,), tests=(label, feed), repairs=(repair,)
    )
    assert exact(trimmed(problem)) == pytest.approx(enumerate_plans(problem), abs=1e-9)
    tree = plan(problem, PlanLimits()).tree
    assert tree.action is not None
    assert tree.action.id == "label"


def test_of_two_equal_repairs_the_first_is_kept() -> None:
    problem = only_repairs([1.0], [5, 5], [[0], [0]])
    assert [r.id for r in trimmed(problem).repairs] == ["r0"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"weight": (1.0,)}, "weight"),
        ({"weight": (1.0, 0.0)}, "weight"),
        ({"weight": (1.0, math.nan)}, "weight"),
        ({"wait_minutes": math.nan}, "minutes"),
        ({"opened": frozenset({7})}, "access cluster"),
        ({"repairs": ()}, "no repair"),
    ],
)
def test_a_broken_problem_is_refused(change: dict[str, object], message: str) -> None:
    good = only_repairs([1.0, 2.0], [5, 5], [[0], [1]])
    with pytest.raises(ModelError, match=message):
        msgspec.structs.replace(good, **change)


@pytest.mark.parametrize(
    ("results", "message"),
    [
        ((Result(word="a", chance=(0.5, 0.5)),), "sum to one"),
        ((Result(word="a", chance=(1.0,)),), "missing"),
        ((Result(word="a", chance=(1.5, 1.0)), Result(word="b", chance=(-0.5, 0.0))), "sum to one"),
    ],
)
def test_a_test_with_broken_chances_is_refused(results: tuple[Result, ...], message: str) -> None:
    good = only_repairs([1.0, 2.0], [5, 5], [[0], [1]])
    with pytest.raises(ModelError, match=message):
        msgspec.structs.replace(good, tests=(Test(id="t", minutes=1.0, results=results),))


def test_of_first_steps_that_cost_nearly_the_same_the_one_that_tells_most_comes_first() -> None:
    """Two tests that a repair waits for cost the same in either order; ours, no published case."""
    sharp = Result(word="bad", chance=(0.95, 0.02)), Result(word="good", chance=(0.05, 0.98))
    dull = Result(word="bad", chance=(0.3, 0.1)), Result(word="good", chance=(0.7, 0.9))
    problem = Problem(
        hypotheses=(frozenset({"a"}), frozenset({"b"})),
        weight=(0.6, 0.4),
        tests=(
            Test(id="dull", minutes=5.0, power="any", results=dull),
            Test(id="sharp", minutes=5.0, power="any", results=sharp),
        ),
        repairs=(
            Repair(
                id="mend-a",
                minutes=200.0,
                fixes=frozenset({"a"}),
                after=frozenset({"dull", "sharp"}),
            ),
            Repair(
                id="mend-b",
                minutes=200.0,
                fixes=frozenset({"b"}),
                after=frozenset({"dull", "sharp"}),
            ),
        ),
    )
    answer = plan(problem, PlanLimits(exact_states=0, later_states=0))
    assert answer.tree.action is not None
    assert answer.tree.action.id == "sharp"
    swapped = msgspec.structs.replace(problem, tests=problem.tests[::-1])
    first = plan(swapped, PlanLimits(exact_states=0, later_states=0)).tree.action
    assert first is not None
    assert first.id == "sharp"


def test_a_place_that_was_tried_waits_unless_it_tells_far_more() -> None:
    """Two tests that a repair waits for, the sharper at a place tried in vain; our own case."""

    def two_words(a: float, b: float) -> tuple[Result, Result]:
        return Result(word="bad", chance=(a, b)), Result(word="good", chance=(1.0 - a, 1.0 - b))

    def begun(fresh: tuple[float, float], again: bool) -> str:
        waits, sharp = frozenset({"tried", "fresh"}), two_words(0.95, 0.02)
        problem = Problem(
            hypotheses=(frozenset({"a"}), frozenset({"b"})),
            weight=(0.6, 0.4),
            tests=(
                Test(id="tried", minutes=5.0, power="any", results=sharp, again=again),
                Test(id="fresh", minutes=5.0, power="any", results=two_words(*fresh)),
            ),
            repairs=tuple(
                Repair(id=f"mend-{x}", minutes=200.0, fixes=frozenset({x}), after=waits)
                for x in "ab"
            ),
        )
        action = plan(problem, PlanLimits(exact_states=0, later_states=0)).tree.action
        assert action is not None
        return action.id

    fair, dull = (0.8, 0.1), (0.3, 0.1)
    assert begun(fair, again=False) == "tried"
    assert begun(fair, again=True) == "fresh"
    assert begun(dull, again=True) == "tried"


@pytest.mark.parametrize("seed", range(3))
def test_the_shortest_look_is_never_worse_than_a_plain_policy(seed: int) -> None:
    problem = random_problem(seed, 4, 4, gates=True)
    found = plan(problem, PlanLimits(exact_states=1, rollout_states=1, later_states=1))
    assert found.method == "two-step"
    model = model_of(trimmed(problem))
    for policy in (one_step, by_information(0.9), cheapest_first(0.9)):
        plain = policy_value(model, start(model), policy, Budget())[0]
        assert found.minutes <= plain + 0.01
