"""What a plan foretells against what is then spent, on simulated faults.

    python bench/foretold.py [--json] [--seed N] [--runs N]

Each run takes a circuit with a fault as reported, moves every hypothesis's probability by a
lognormal factor (the tool does not know the true priors), draws the true cause from the moved
ones, and follows the plan with outcomes drawn by the cards' own error rates, planning again after
each. Printed: spent over foretold; steps of the plan, tests included, against a fixed walk that
mends connectors, clock spring, device, harness and control unit in that order, each checked; and
what the plan costs of going outward, in minutes and in money. Invented circuits; it measures
whether the figures keep their word, not cars.
"""

import argparse
import json
import math

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
    Costs,
    added,
    cost_of_step,
    costs_of_policy,
    costs_of_tree,
    without_gates,
)
from squibwise.numerics.troubleshoot.planner import Limits, Node, outcomes, plan
from squibwise.numerics.troubleshoot.problem import Problem, Repair, Test
from squibwise.numerics.troubleshoot.search import Budget, policy_value
from squibwise.numerics.troubleshoot.states import Array, Index, Model, States, model_of, start

CATALOG = load_catalog()
SPREAD = 0.6  # of the lognormal factor, as in the robustness runs of the planner
LIMITS = Limits(exact_states=20_000, rollout_states=400, later_states=20_000)
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


def spent_on(problem: Problem, truth: int, rng: np.random.Generator) -> Costs:
    """Return what is spent when the plan is followed and this hypothesis is the true one."""
    total = Costs()
    left: Problem | None = problem
    faults = problem.hypotheses[truth]
    while left is not None:
        action = plan(left, LIMITS).tree.action
        if action is None:
            return total
        total = added(total, cost_of_step(left, action, left.opened, left.powered))
        h = left.hypotheses.index(faults)
        word, extra = outcome(action, h, faults, rng)
        total = added(total, extra)
        if isinstance(action, Repair):
            faults -= action.fixes
        left = outcomes(left, action)[word][1] if faults else None
    return total


def outcome(
    action: Test | Repair, h: int, faults: frozenset[str], rng: np.random.Generator
) -> tuple[str, Costs]:
    """Return an outcome drawn under the true hypothesis, and what it costs on top."""
    if isinstance(action, Repair):
        return ("not fixed" if faults - action.fixes else "fixed"), Costs()
    chances = np.array([r.chance[h] for r in action.results])
    result = action.results[int(rng.choice(len(chances), p=chances / chances.sum()))]
    return result.word, Costs(work=result.minutes, wait=result.wait)


def ratios(runs: int, seed: int) -> dict[str, object]:
    """Return spent over foretold by circuit and over all."""
    rng = np.random.default_rng(seed)
    by_circuit, spent_all, told_all = {}, 0.0, 0.0
    for component, fault in CIRCUITS:
        case, search = searched(component, fault)
        problem = plan_of(search, case, CATALOG)
        told = plan(problem, LIMITS).minutes
        spent = []
        for _ in range(runs):
            moved = np.array(problem.weight) * np.exp(rng.normal(0.0, SPREAD, len(problem.weight)))
            truth = int(rng.choice(len(moved), p=moved / moved.sum()))
            spent.append(spent_on(problem, truth, rng).total)
        mean = math.fsum(spent) / runs
        by_circuit[f"{component} {fault}"] = {"foretold": told, "spent": mean, "ratio": mean / told}
        spent_all, told_all = spent_all + mean, told_all + told
    return {"runs": runs, "circuits": by_circuit, "ratio": spent_all / told_all}


WALK = ("plug", "clock-spring", "device", "harness", "unit")
CLOSE = Limits(exact_states=20_000, rollout_states=400, later_states=20_000, fold=1e-3)


def against_plain_ways() -> dict[str, dict[str, float]]:
    """Return, by circuit, steps of plan and walk, and minutes and money against going outward."""
    found = {}
    for component, fault in CIRCUITS:
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
    parser.add_argument("--runs", type=int, default=25)
    given = parser.parse_args()
    result = ratios(given.runs, given.seed) | {"plain_ways": against_plain_ways()}
    if given.json:
        print(json.dumps(result, indent=1))
        return
    for name, row in result["circuits"].items():
        print(f"{name:45}{row['foretold']:8.0f}{row['spent']:8.0f}{row['ratio']:7.2f}")
    for name, row in result["plain_ways"].items():
        print(
            f"{name:45} steps {row['steps']:.1f}, walk {row['walk_steps']:.1f}; of going outward: "
            f"minutes {row['minutes']:.2f}, money {row['money']:.2f}"
        )
    print(f"spent over foretold, {given.runs} runs a circuit: {result['ratio']:.2f}")


if __name__ == "__main__":
    main()
