"""Policies of fault isolation against the exact answer, and how long they take.

    python bench/isolation.py [--json] [--seed N] [--instances N]

Instances are invented: 8 faults, 8 noisy tests, 8 repairs of which three cure two faults, five
access clusters, and a wait after each power-down. They measure algorithms, not cars.
"""

import argparse
import json
import statistics
import time
from collections.abc import Callable

import numpy as np

from squibwise.numerics.troubleshoot.bounds import lower_bound
from squibwise.numerics.troubleshoot.exact import Table, action_values, expected_minutes, solve
from squibwise.numerics.troubleshoot.planner import PlanLimits, plan
from squibwise.numerics.troubleshoot.problem import Power, Problem, Repair, Result, Test
from squibwise.numerics.troubleshoot.search import (
    Budget,
    Choose,
    OutOfBudget,
    by_information,
    by_parts,
    one_step,
    outward,
    policy_value,
    rollout,
    two_step,
)
from squibwise.numerics.troubleshoot.states import (
    Array,
    Index,
    Model,
    States,
    model_of,
    start,
    state_count,
)

POWERS: tuple[Power, ...] = ("off", "through", "on")
CLUSTERS = (15.0, 20.0, 25.0, 5.0, 20.0)
RARE = 1e-6
SURE = (0.8, 0.9, 0.95)


def instance(rng: np.random.Generator, size: int) -> Problem:
    """Return a chain of ``size`` faults with substitutions along it, looks and meters."""
    faults = [f"f{i}" for i in range(size)]
    weight = rng.dirichlet(np.full(size, 1.2)) * np.exp(rng.normal(0.0, 0.4, size)) + 1e-3
    return Problem(
        hypotheses=tuple(frozenset({f}) for f in faults),
        weight=tuple(float(w) for w in weight),
        tests=tuple(a_test(rng, j, size) for j in range(size)),
        repairs=tuple(a_repair(rng, i, faults) for i in range(size)),
        access_minutes=CLUSTERS,
        wait_minutes=float(rng.choice([2.0, 10.0, 30.0])),
        power_up_minutes=3.0,
    )


def a_test(rng: np.random.Generator, j: int, size: int) -> Test:
    """Return a substitution at a point of the chain (first half) or a look at some faults."""
    error = float(rng.uniform(0.01, 0.08))
    if j < size // 2:
        cut = int(rng.integers(1, size))
        bad = np.where(np.arange(size) < cut, error, 1.0 - error)
        power: Power = "through"
    else:
        seen = rng.random(size) < 2.5 / size
        bad = np.where(seen, rng.uniform(0.6, 0.95, size), error)
        power = POWERS[int(rng.choice([0, 0, 2]))]
    cured = np.where(rng.random(size) < 0.2, 0.5, 0.0) if power == "through" else np.zeros(size)
    results = [
        Result(word="clear", chance=floats((1.0 - bad) * (1.0 - cured))),
        Result(word="bad", chance=floats(bad * (1.0 - cured))),
    ]
    if power == "through":
        results.append(Result(word="cured", chance=floats(cured), fixed=True))
    return Test(
        id=f"t{j}",
        minutes=float(rng.uniform(4.0, 20.0)),
        access=(int(rng.integers(len(CLUSTERS))),),
        power=power,
        results=tuple(results),
    )


def a_repair(rng: np.random.Generator, i: int, faults: list[str]) -> Repair:
    """Return a repair of one fault; every third one cures its neighbour too."""
    fixes = {faults[i]} | ({faults[(i + 1) % len(faults)]} if i % 3 == 0 else set())
    return Repair(
        id=f"r{i}",
        minutes=float(rng.uniform(10.0, 240.0)),
        check_minutes=10.0,
        access=(int(rng.integers(len(CLUSTERS))),),
        fixes=frozenset(fixes),
    )


def floats(values: Array) -> tuple[float, ...]:
    """Return an array as plain numbers."""
    return tuple(float(v) for v in values)


def values_of(problem: Problem) -> tuple[dict[str, float], float]:
    """Return expected minutes by policy, and the seconds that the exact answer took."""
    begin = time.perf_counter()
    table, solved = solve(problem)
    value = {"exact": expected_minutes(table, solved)}
    seconds = time.perf_counter() - begin
    value["first_step_then_exact"] = first_step_value(problem, table, solved)
    choosers: dict[str, Choose] = {
        "rollout": best_of(lambda model, states: rollout(model, states, Budget())),
        "two_step": best_of(two_step),
        "one_step": one_step,
        "p_over_c": by_parts,
        "outward_tree": outward(*outward_order(problem, len(problem.tests) // 2)),
    }
    choosers |= {f"information_per_cost_{sure}": by_information(sure) for sure in SURE}
    model = model_of(problem)
    for name, choose in choosers.items():
        value[name] = float(policy_value(model, start(model), choose, Budget(), RARE)[0])
    return value, seconds


def first_step_value(problem: Problem, table: Table, solved: Array) -> float:
    """Return the minutes of the planner's first step by search, the exact plan after it."""
    chosen = plan(problem, PlanLimits(exact_states=0, later_states=0)).tree.action
    names = [a.id for a in (*problem.tests, *problem.repairs)]
    costs = action_values(table, np.array([0]), solved)[:, 0, 0, int(problem.powered)]
    assert chosen is not None
    return float(costs[names.index(chosen.id)] / table.mass[0, 0])


def best_of(values: Callable[[Model, States], Array]) -> Choose:
    """Return the policy that takes the action with the least value in every state."""

    def choose(model: Model, states: States) -> tuple[Index, Array]:
        costs = values(model, states)
        return costs.argmin(axis=1), costs.min(axis=1)

    return choose


def outward_order(problem: Problem, half: int) -> tuple[list[tuple[int, int]], list[int]]:
    """Return substitutions from the device outward (fewest faults before the cut), then looks."""
    reach = [sum(c > 0.5 for c in problem.tests[t].results[0].chance) for t in range(half)]
    walk = [(t, 1) for t in sorted(range(half), key=lambda t: reach[t])]
    return walk, list(range(half, len(problem.tests)))


def excesses(count: int, seed: int) -> dict[str, object]:
    """Return mean and worst excess over exact by policy on 8 x 8 instances, and the times."""
    rng = np.random.default_rng(seed)
    over: dict[str, list[float]] = {}
    took, bounds, states = [], [], 0
    for _ in range(count):
        problem = instance(rng, 8)
        states = state_count(problem)
        value, seconds = values_of(problem)
        best = value.pop("exact")
        took.append(seconds)
        bounds.append(lower_bound(problem) / best)
        for name, cost in value.items():
            over.setdefault(name, []).append(100.0 * (cost / best - 1.0))
    return {
        "instances": count,
        "states": states,
        "excess_over_exact": {name: spread(v) for name, v in over.items()},
        "exact_seconds": {"median": statistics.median(took), "worst": max(took)},
        "lower_bound_share": statistics.fmean(bounds),
    }


def spread(percent: list[float]) -> dict[str, float]:
    """Return mean and worst of an excess."""
    return {"mean_percent": statistics.fmean(percent), "worst_percent": max(percent)}


def next_test_times(count: int, seed: int) -> dict[str, object]:
    """Return how long the next action takes on 10 x 10, in a box of one second."""
    rng = np.random.default_rng(seed + 1)
    seconds, fallback, two = [], 0, []
    for _ in range(count):
        problem = instance(rng, 10)
        begin = time.perf_counter()
        deadline = begin + 0.9
        model = model_of(problem)
        try:
            budget = Budget(over=lambda end=deadline: time.perf_counter() > end)
            rollout(model, start(model), budget, 1e-5)
        except OutOfBudget:
            fallback += 1
            two_step(model, start(model))
        seconds.append(time.perf_counter() - begin)
        begin = time.perf_counter()
        two_step(model, start(model))
        two.append(time.perf_counter() - begin)
    return {
        "instances": count,
        "p50_seconds": float(np.quantile(seconds, 0.5)),
        "p95_seconds": float(np.quantile(seconds, 0.95)),
        "fell_back_to_two_step": fallback,
        "two_step_p95_seconds": float(np.quantile(two, 0.95)),
    }


def report(result: dict[str, object]) -> None:
    """Print the figures for a person."""
    small, large = result["exact_8x8"], result["next_test_10x10"]
    assert isinstance(small, dict)
    assert isinstance(large, dict)
    times = small["exact_seconds"]
    print(f"{small['instances']} instances 8 x 8, {small['states']:,} states each")
    print(f"exact: median {times['median']:.2f} s, worst {times['worst']:.2f} s")
    print(f"{'policy':28}{'mean over exact':>16}{'worst':>10}")
    for name, row in small["excess_over_exact"].items():
        print(f"{name:28}{row['mean_percent']:15.2f}%{row['worst_percent']:9.2f}%")
    print(f"lower bound: {small['lower_bound_share']:.0%} of exact on average")
    print(f"next action 10 x 10, {large['instances']} instances: p50 {large['p50_seconds']:.2f} s,")
    print(f"  p95 {large['p95_seconds']:.2f} s; {large['fell_back_to_two_step']} fell back to the")
    print(f"  two-step look-ahead, which takes {large['two_step_p95_seconds']:.3f} s at p95")


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--instances", type=int, default=20)
    given = parser.parse_args()
    result: dict[str, object] = {
        "seed": given.seed,
        "exact_8x8": excesses(given.instances, given.seed),
        "next_test_10x10": next_test_times(2 * given.instances, given.seed),
    }
    if given.json:
        print(json.dumps(result, indent=1))
    else:
        report(result)


if __name__ == "__main__":
    main()
