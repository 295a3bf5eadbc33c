"""The plan: next action, tree, expected cost and the bracket around it."""

from collections.abc import Callable

import msgspec
import numpy as np

from squibwise.numerics.troubleshoot.bounds import lower_bound
from squibwise.numerics.troubleshoot.exact import Table, action_values, solve
from squibwise.numerics.troubleshoot.problem import Problem, Repair, Test, trimmed
from squibwise.numerics.troubleshoot.search import (
    Budget,
    Choose,
    OutOfBudget,
    by_information,
    cheapest_first,
    information,
    one_step,
    parts_first,
    policy_value,
    rollout,
    two_step,
)
from squibwise.numerics.troubleshoot.states import (
    Array,
    Index,
    Model,
    States,
    cost_of,
    model_of,
    start,
    state_count,
)

FIXED, NOT_FIXED = "fixed", "not fixed"


class PlanLimits(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How much the planner may do.

    Attributes:
        exact_states: Largest table that is solved exactly.
        rollout_states: States that rollout may look at before two-step look-ahead answers.
        later_states: States of exact tables solved for later steps of one plan, together.
        fold: Branches rarer than this are folded.
    """

    exact_states: int = 2_500_000
    rollout_states: int = 10_000
    later_states: int = 1_000_000
    fold: float = 0.02


class Node(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A step of the plan.

    Attributes:
        action: Test or repair; None = fixed and verified.
        p: Chance of coming here.
        minutes: Expected from here. [min]
        branches: Next step by outcome; the rare ones are folded.
        folded: Chance of the folded ones.
    """

    action: Test | Repair | None
    p: float
    minutes: float
    branches: dict[str, "Node"] = {}
    folded: float = 0.0


class Answer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The answer of the planner.

    Attributes:
        tree: The plan.
        minutes: What the plan expects. [min]
        lower: No plan expects less. [min]
        method: ``exact``, ``rollout`` or ``two-step``: how the first step was chosen.
        states: States looked at.
    """

    tree: Node
    minutes: float
    lower: float
    method: str
    states: int


def plan(problem: Problem, limits: PlanLimits, over: Callable[[], bool] | None = None) -> Answer:
    """Return the plan of a problem.

    Args:
        problem: What can be wrong, tested and repaired.
        limits: Sizes at which the method changes.
        over: Asked now and then; True ends rollout and lets two-step look-ahead answer.
    """
    problem = trimmed(problem)
    budget = Budget(limits.rollout_states, over)
    if state_count(problem) <= limits.exact_states:
        table, value = solve(problem)
        tree = _walk(table, value, (0, 0, int(problem.powered)), 1.0, limits)
        return Answer(
            tree=tree,
            minutes=tree.minutes,
            lower=tree.minutes,
            method="exact",
            states=state_count(problem),
        )
    tree, method = _grow(problem, 1.0, limits, budget)
    return Answer(
        tree=tree,
        minutes=tree.minutes,
        lower=lower_bound(problem, over=over),
        method=method,
        states=budget.states + budget.tabled,
    )


def _walk(
    table: Table, value: Array, state: tuple[int, int, int], p: float, limits: PlanLimits
) -> Node:
    """Return the exact plan from a state of a solved table."""
    x, repairs, on = state
    mass = float(table.mass[x, repairs])
    if mass <= 0.0:
        return Node(action=None, p=p, minutes=0.0)
    costs = action_values(table, np.array([x]), value)[:, 0, repairs, on]
    best = int(np.argmin(costs))
    minutes = float(costs[best]) / mass
    action, nexts = _steps(table, state, best)
    if p < limits.fold:
        return Node(action=action, p=p, minutes=minutes)
    shown, folded = {}, 0.0
    for word, (share, then) in nexts.items():
        q = p * share
        if then is None:
            shown[word] = Node(action=None, p=q, minutes=0.0)
        elif q >= limits.fold:
            shown[word] = _walk(table, value, then, q, limits)
        else:
            folded += q
    return Node(action=action, p=p, minutes=minutes, branches=_seen(shown, limits), folded=folded)


def _seen(branches: dict[str, Node], limits: PlanLimits) -> dict[str, Node]:
    return {w: n for w, n in branches.items() if n.p >= limits.fold}


def _steps(
    table: Table, state: tuple[int, int, int], best: int
) -> tuple[Test | Repair, dict[str, tuple[float, tuple[int, int, int] | None]]]:
    """Return an action and, by outcome, the chance and the next state (None = fixed)."""
    x, repairs, _ = state
    model, mass = table.model, float(table.mass[x, repairs])
    problem = model.problem
    if best >= model.tests:
        r = best - model.tests
        then = (x, repairs | (1 << r), 1)
        left = float(table.mass[then[0], then[1]]) / mass
        nexts = {FIXED: (1.0 - left, None), NOT_FIXED: (left, then)}
        return problem.repairs[r], {w: n for w, n in nexts.items() if n[0] > 1e-12}
    test = problem.tests[best]
    weight = table.likelihood[x] * table.alive[repairs]
    steps = {b.result: table.step(i) for i, b in enumerate(model.branches) if b.test == best}
    out: dict[str, tuple[float, tuple[int, int, int] | None]] = {}
    for i, result in enumerate(test.results):
        share = float(weight @ np.array(result.chance)) / mass
        if share > 1e-12:
            ends = int(model.ends_on[best])
            on = state[2] if ends < 0 else ends
            out[result.word] = (share, None if result.fixed else (x + steps[i], repairs, on))
    return test, out


def _grow(problem: Problem, p: float, limits: PlanLimits, budget: Budget) -> tuple[Node, str]:
    """Return the plan by search, solving exactly what has become small enough."""
    problem = trimmed(problem)
    count = state_count(problem)
    if count <= min(limits.exact_states, limits.later_states - budget.tabled):
        budget.tabled += count
        table, value = solve(problem)
        return _walk(table, value, (0, 0, int(problem.powered)), p, limits), "exact"
    if p < 1.0:
        return _step_by_policy(problem, p, limits, budget), "one-step"
    best, minutes, method = _look_ahead(problem, budget)
    action = actions_of(problem)[best]
    shown, folded, _ = _branches(problem, action, p, limits, budget)
    node = Node(action=action, p=p, minutes=minutes, branches=shown, folded=folded)
    return node, method


def actions_of(problem: Problem) -> list[Test | Repair]:
    """Return the actions in the order in which arrays hold them."""
    return [*problem.tests, *problem.repairs]


def _step_by_policy(problem: Problem, p: float, limits: PlanLimits, budget: Budget) -> Node:
    """Return a later step by the one-step policy; it is planned again once the search is there."""
    model = model_of(problem)
    begin = start(model)
    choice = int(one_step(model, begin)[0][0])
    action = actions_of(problem)[choice]
    shown, folded, later = _branches(problem, action, p, limits, budget)
    minutes = float(cost_of(model, begin)[0, choice]) + later
    return Node(action=action, p=p, minutes=minutes, branches=shown, folded=folded)


def _branches(
    problem: Problem, action: Test | Repair, p: float, limits: PlanLimits, budget: Budget
) -> tuple[dict[str, Node], float, float]:
    """Return what follows each outcome, the chance of those too rare to show, and the minutes.

    What is too rare to show is finished by chance over cost.
    """
    shown: dict[str, Node] = {}
    folded = minutes = 0.0
    results = action.results if isinstance(action, Test) else ()
    extra = {r.word: r.minutes + r.wait for r in results}
    for word, (share, then) in outcomes(problem, action).items():
        q = p * share
        minutes += share * extra.get(word, 0.0)
        if then is None:
            shown[word] = Node(action=None, p=q, minutes=0.0)
        elif q >= limits.fold:
            shown[word] = _grow(then, q, limits, budget)[0]
            minutes += share * shown[word].minutes
        else:
            folded += q
            model = model_of(then)
            minutes += share * float(parts_first(model, start(model))[0][0])
    return _seen(shown, limits), folded, minutes


def _look_ahead(problem: Problem, budget: Budget) -> tuple[int, float, str]:
    """Return the first action by rollout and its value; when the budget ends, by a shorter look.

    What is printed is always the value of the policy that is followed.
    """
    model = model_of(problem)
    begin = start(model)
    try:
        base, most = _base(model)
        costs = rollout(model, begin, budget, _RARE, base)[0]
    except OutOfBudget:
        return *_two_step(model), "two-step"
    best = _told_most(model, costs, most)
    return best, float(costs[best]), "rollout"


def _told_most(model: Model, costs: Array, most: float) -> int:
    """Return the action to begin with: where plans cost nearly the same, the test that tells most.

    Costs by search are no finer than that; and a repair that could as well wait is not begun with.
    At a place that was worked on already a test must tell much more. None costs more than ``most``,
    the policy that is followed.
    """
    close = costs[: model.tests] <= min(costs.min() * (1.0 + _CLOSE), most + _ROUNDING)
    if not close.any():
        return int(np.argmin(costs))
    begin = start(model)
    rate = information(model, begin)[0] / np.maximum(cost_of(model, begin)[0, : model.tests], 1e-9)
    again = np.array([t.again for t in model.problem.tests])
    worth = np.where(again, rate / model.problem.tried_factor, rate)
    return int(np.argmax(np.where(close, worth, -1.0)))


def _base(model: Model) -> tuple[Choose, float]:
    """Return the better of the plain policies to follow after the first step, and its value."""
    begin = start(model)
    bases = (one_step, by_information(_SURE), cheapest_first(_SURE))
    values = [float(policy_value(model, begin, b, Budget(), _RARE)[0]) for b in bases]
    best = int(np.argmin(values))
    return bases[best], values[best]


def _two_step(model: Model) -> tuple[int, float]:
    """Return the two-step choice and the value of following the best plain policy after it.

    Where that policy is worth more from the start, its own first step.
    """
    begin, (base, most) = start(model), _base(model)
    best = int(np.argmin(two_step(model, begin)[0]))

    def choose(model: Model, states: States) -> tuple[Index, Array]:
        choice, plain = base(model, states)
        return np.where(states.done == begin.done[0], best, choice), plain

    value = float(policy_value(model, begin, choose, Budget(), _RARE)[0])
    return (best, value) if value <= most else (int(base(model, begin)[0][0]), most)


_SURE = 0.9
_RARE = 3e-5
_CLOSE = 0.02
_ROUNDING = 1e-6  # the same policy summed in another order


def outcomes(problem: Problem, action: Test | Repair) -> dict[str, tuple[float, Problem | None]]:
    """Return, by outcome, its chance and the problem that is left; None when fixed."""
    if isinstance(action, Repair):
        return _repair_outcomes(problem, action)
    total = sum(problem.weight)
    out: dict[str, tuple[float, Problem | None]] = {}
    for i, result in enumerate(action.results):
        weight = [w * c for w, c in zip(problem.weight, result.chance, strict=True)]
        if sum(weight) > 1e-12 * total:
            then = None if result.fixed else after_result(problem, action, i)
            out[result.word] = (sum(weight) / total, then)
    return out


def after_result(problem: Problem, test: Test, position: int) -> Problem:
    """Return the problem after one outcome of a test."""
    chance = test.results[position].chance
    weight = [w * c for w, c in zip(problem.weight, chance, strict=True)]
    tests = tuple(t for t in problem.tests if t.id != test.id)
    opened = problem.opened | set(test.access)
    seen = (test.id, test.results[position].word)
    repairs = tuple(_after_seeing(r, seen) for r in problem.repairs)
    left = _kept(problem, problem.hypotheses, weight, tests, repairs)
    powered = problem.powered if test.power == "any" else test.power != "off"
    return msgspec.structs.replace(left, powered=powered, opened=opened)


def _after_seeing(repair: Repair, seen: tuple[str, str]) -> Repair:
    """Return a repair that waits no longer for a test that is done."""
    if seen in repair.unless:
        return msgspec.structs.replace(repair, after=frozenset(), until=frozenset())
    if seen in repair.enough:
        repair = msgspec.structs.replace(repair, until=frozenset())
    done = {seen[0]}
    return msgspec.structs.replace(repair, after=repair.after - done, until=repair.until - done)


def after_repair(problem: Problem, repair: Repair) -> Problem | None:
    """Return the problem after a repair that did not help; None when nothing is left."""
    left = tuple(h - repair.fixes for h in problem.hypotheses)
    if not any(left):
        return None
    weight = [w if h else 0.0 for w, h in zip(problem.weight, left, strict=True)]
    repairs = tuple(r for r in problem.repairs if r.id != repair.id)
    changed = _kept(problem, left, weight, problem.tests, repairs)
    opened = problem.opened | set(repair.access)
    return msgspec.structs.replace(changed, powered=True, opened=opened)


def _repair_outcomes(problem: Problem, repair: Repair) -> dict[str, tuple[float, Problem | None]]:
    then = after_repair(problem, repair)
    share = 0.0 if then is None else sum(then.weight) / sum(problem.weight)
    out: dict[str, tuple[float, Problem | None]] = {}
    if share < 1.0 - 1e-12:
        out[FIXED] = (1.0 - share, None)
    if share > 1e-12:
        out[NOT_FIXED] = (share, then)
    return out


def _kept(
    problem: Problem,
    hypotheses: tuple[frozenset[str], ...],
    weight: list[float],
    tests: tuple[Test, ...],
    repairs: tuple[Repair, ...],
) -> Problem:
    """Return the problem with only the hypotheses that still have weight."""
    keep = [h for h, w in enumerate(weight) if w > 0.0 and hypotheses[h]]
    return msgspec.structs.replace(
        problem,
        hypotheses=tuple(hypotheses[h] for h in keep),
        weight=tuple(weight[h] for h in keep),
        tests=tuple(_narrowed(test, keep) for test in tests),
        repairs=repairs,
    )


def _narrowed(test: Test, keep: list[int]) -> Test:
    results = (
        msgspec.structs.replace(r, chance=tuple(r.chance[h] for h in keep)) for r in test.results
    )
    return msgspec.structs.replace(test, results=tuple(results))
