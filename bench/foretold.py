"""What a plan foretells against what is then spent, on simulated faults.

    python bench/foretold.py [--json] [--seed N] [--runs N] [--circuit COMPONENT ...]

For each cause of a circuit with a fault as reported, the plan is followed through every outcome
that the cards' own error rates allow, each by its chance, planning again after each: what is spent
under that cause is worked out, not drawn. Then every cause's probability is moved by a lognormal
factor (the tool does not know the true priors), many times over. Printed: spent over foretold;
steps of the plan, tests included, against a fixed walk that mends connectors, clock spring, device,
harness and control unit in that order, each checked; and what the plan costs of going outward, in
minutes and in money. Invented circuits; it measures whether the figures keep their word, not cars.
"""

import argparse
import json
import math
from collections.abc import Iterator

import msgspec
import numpy as np

from squibwise.catalog.load import load_catalog
from squibwise.isolate.tracing import Search, outward_tree, plan_of, search_of
from squibwise.model.belief import (
    Assessment,
    ComponentBelief,
    EventBelief,
    StageBelief,
    StateBelief,
)
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.report import CodeLine, Coverage, ReadReport, Report
from squibwise.model.words import Fault
from squibwise.numerics.troubleshoot.costs import (
    cost_of_step,
    costs_of_policy,
    costs_of_tree,
    without_gates,
)
from squibwise.numerics.troubleshoot.planner import Node, PlanLimits, outcomes, plan
from squibwise.numerics.troubleshoot.problem import Problem, Repair, Test
from squibwise.numerics.troubleshoot.search import Budget, policy_value
from squibwise.numerics.troubleshoot.states import Array, Index, Model, States, model_of, start

CATALOG = load_catalog()
RARE = 1e-3
SPREAD = 0.6  # of the lognormal factor, as in the robustness runs of the planner
LIMITS = PlanLimits(exact_states=20_000, rollout_states=400, later_states=20_000)
CIRCUITS: tuple[tuple[str, Fault], ...] = (
    ("driver.front-bag", "open-or-high"),
    ("driver.seat-bag", "open-or-high"),
    ("passenger.front-bag", "low-or-short"),
    ("left.curtain", "short-to-ground"),
    ("nose-left.impact-sensor", "communication"),
    ("driver.buckle-switch", "performance"),
    ("passenger.occupant-sensor", "performance"),
)


def searched(component: str, fault: Fault) -> tuple[Case, Search]:
    """Return a car with one fault reported on one circuit, and where its search stands."""
    components = tuple(c for c, _ in CIRCUITS)
    line = CodeLine(line=1, raw="x", component=component, stage=1, fault=fault, status=("present",))
    report = Report(
        id="s1",
        reading=ReadReport(lines=(line,), coverage=Coverage(complete=True, unit_volts=12.5)),
    )
    case = Case(id="x", car=Car(equipment="x", components=components), evidence=(report,))
    return case, search_of(case, sound(components), component, CATALOG)


def sound(components: tuple[str, ...]) -> Assessment:
    """Return an assessment of a car that was in no crash."""
    event = EventBelief(
        zones={},
        delta_v_kmh=None,
        driver_belted=0.9,
        passenger_belted=0.5,
        front_passenger={"empty": 0.6, "child-or-small": 0.1, "adult": 0.3},
        rollover=0.01,
        second_impact=0.01,
        no_crash=0.99,
    )
    state = StateBelief(sound=0.0, fired=0.002, faulty=0.998, damaged=0.0, unfit=0.0)
    stage = StageBelief(fired=0.002, live=0.0, faulty=0.998)
    return Assessment(
        event=event,
        components=tuple(
            ComponentBelief(id=c, after_crash=state, now=state, stages={"1": stage})
            for c in components
        ),
    )


def spent_by_truth(problem: Problem) -> tuple[Array, float]:
    """Return what following the plan spends, expected, by the cause that is the true one.

    Every outcome that a card can have under that cause is followed, each by its chance, and the
    plan made anew after it. What is reached in less than ``RARE`` of all is charged as foretold
    there; how much of all that was comes second.
    """
    spent, rare = np.zeros(len(problem.hypotheses)), 0.0
    weight = np.array(problem.weight) / math.fsum(problem.weight)
    everywhere = {n: (faults, 1.0) for n, faults in enumerate(problem.hypotheses)}
    waiting = [(problem, everywhere)]
    while waiting:
        left, here = waiting.pop()
        answer = plan(left, LIMITS)
        action = answer.tree.action
        reached = math.fsum(weight[n] * p for n, (_, p) in here.items())
        if action is None or reached < RARE:
            rare += reached if action is not None else 0.0
            for n, (_, p) in here.items():
                spent[n] += p * answer.minutes
            continue
        step = cost_of_step(left, action, left.opened, left.powered).total
        for n, (_, p) in here.items():
            spent[n] += p * step
        later = outcomes(left, action)
        for word, then, extra in follow(left, action, here):
            for n, (_, p) in then.items():
                spent[n] += p * extra
            _, rest = later.get(word, (0.0, None))
            if rest is not None:
                waiting.append((rest, then))
    return spent, rare


Row = dict[str, float]
Reached = dict[int, tuple[frozenset[str], float]]


def follow(
    problem: Problem, action: Test | Repair, here: Reached
) -> Iterator[tuple[str, Reached, float]]:
    """Yield each outcome: the causes it is reached under, by what is left of them, and its cost."""
    if isinstance(action, Repair):
        left = {n: (faults - action.fixes, p) for n, (faults, p) in here.items()}
        yield "not fixed", {n: f for n, f in left.items() if f[0]}, 0.0
        return
    at = {n: problem.hypotheses.index(faults) for n, (faults, _) in here.items()}
    for result in action.results:
        chance = {n: result.chance[h] / total_of(action, h) for n, h in at.items()}
        then = {n: (f, p * chance[n]) for n, (f, p) in here.items() if chance[n] > 0.0}
        if then:
            done = {n: (frozenset[str]() if result.fixed else f, p) for n, (f, p) in then.items()}
            yield result.word, done, result.minutes + result.wait


def total_of(test: Test, h: int) -> float:
    """Return what the chances of a test's outcomes sum to under a cause."""
    return math.fsum(r.chance[h] for r in test.results)


def ratios(runs: int, seed: int, names: tuple[str, ...]) -> tuple[Row, dict[str, Row]]:
    """Return spent over foretold by circuit and over all: its mean, and where nine in ten lie.

    The only chance left in it is the true priors, drawn ``runs`` times.
    """
    rng = np.random.default_rng(seed)
    by_circuit: dict[str, Row] = {}
    spent_all, told_all = np.zeros(runs), 0.0
    for component, fault in (c for c in CIRCUITS if not names or c[0] in names):
        case, search = searched(component, fault)
        problem = plan_of(search, case, CATALOG)
        told = plan(problem, LIMITS).minutes
        each, rare = spent_by_truth(problem)
        moved = np.array(problem.weight) * np.exp(rng.normal(0.0, SPREAD, (runs, len(each))))
        spent = moved @ each / moved.sum(axis=1)
        row = told_row(told, spent) | {"rare": rare}
        by_circuit[f"{component} {fault}"] = row
        spent_all, told_all = spent_all + spent, told_all + told
    return told_row(told_all, spent_all), by_circuit


def told_row(told: float, spent: Array) -> Row:
    """Return foretold and spent minutes with the ratio, its standard error and 5 and 95 in 100."""
    low, high = np.quantile(spent / told, (0.05, 0.95))
    mean = float(spent.mean())
    error = float(spent.std(ddof=1)) / told / math.sqrt(len(spent))
    found = {"foretold": told, "spent": mean, "ratio": mean / told, "error": error}
    return found | {"low": float(low), "high": float(high)}


WALK = ("plug", "clock-spring", "device", "harness", "unit")
CLOSE = PlanLimits(exact_states=20_000, rollout_states=400, later_states=20_000, fold=1e-3)


def against_plain_ways(names: tuple[str, ...]) -> dict[str, dict[str, float]]:
    """Return, by circuit, steps of plan and walk, and minutes and money against going outward."""
    found = {}
    for component, fault in (c for c in CIRCUITS if not names or c[0] in names):
        case, search = searched(component, fault)
        problem = plan_of(search, case, CATALOG)
        tree = plan(problem, CLOSE).tree
        planned = costs_of_tree(problem, tree)
        outward = costs_of_policy(problem, outward_tree(problem))
        found[f"{component} {fault}"] = {
            "steps": steps_of_tree(tree),
            "walk_steps": steps_of_walk(without_gates(problem)),
            "minutes": (planned.work + planned.wait) / (outward.work + outward.wait),
            "money": planned.price / outward.price if outward.price else 1.0,
        }
    return found


def steps_of_tree(node: Node) -> float:
    """Return the expected number of actions of a plan; what is too rare to show is left out."""
    own = 0.0 if node.action is None else node.p
    return own + math.fsum(steps_of_tree(n) for n in node.branches.values())


def steps_of_walk(problem: Problem) -> float:
    """Return the expected number of repairs of the fixed walk, each checked, until it is cured."""
    order = sorted(range(len(problem.repairs)), key=lambda r: station(problem.repairs[r]))
    each = [
        msgspec.structs.replace(r, minutes=1.0, price=0.0, check_minutes=0.0)
        for r in problem.repairs
    ]
    free = (0.0,) * len(problem.access_minutes)
    charged = msgspec.structs.replace(
        problem,
        tests=(),
        repairs=tuple(each),
        access_minutes=free,
        wait_minutes=0.0,
        power_up_minutes=0.0,
    )

    def next_station(model: Model, states: States) -> tuple[Index, Array]:
        choice = np.full(len(states.done), -1, dtype=np.int64)
        for r in reversed(order):
            left = (states.done >> (model.tests + r)) & 1 == 0
            choice = np.where(left, model.tests + r, choice)
        return choice, np.zeros(len(choice))

    model = model_of(charged)
    return float(policy_value(model, start(model), next_station, Budget())[0])


def station(repair: Repair) -> int:
    """Return where a repair comes in the fixed walk; what is at none of its stations comes last."""
    point = repair.id.partition(":")[2]
    return next((n for n, w in enumerate(WALK) if w in point), len(WALK))


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--seed", type=int, default=20261129)
    parser.add_argument("--runs", type=int, default=20_000)
    parser.add_argument("--circuit", action="append", default=[], help="only this component's")
    given = parser.parse_args()
    names = tuple(given.circuit)
    whole, circuits = ratios(given.runs, given.seed, names)
    ways = against_plain_ways(names)
    if given.json:
        print(json.dumps({**whole, "circuits": circuits, "plain_ways": ways}, indent=1))
        return
    for name, row in circuits.items():
        print(f"{name:45}{row['foretold']:8.0f}{row['spent']:8.0f}{told_ratio(row)}")
    for name, row in ways.items():
        print(
            f"{name:45} steps {row['steps']:.1f}, walk {row['walk_steps']:.1f}; of going outward: "
            f"minutes {row['minutes']:.2f}, money {row['money']:.2f}"
        )
    print(f"spent over foretold, true priors drawn {given.runs} times: {told_ratio(whole)}")


def told_ratio(row: Row) -> str:
    """Return a ratio with where nine in ten worlds lie."""
    return f" {row['ratio']:.2f} ({row['low']:.2f} to {row['high']:.2f})"


if __name__ == "__main__":
    main()
