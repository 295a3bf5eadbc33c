"""What a plan or a policy costs, with work, waiting and parts kept apart."""

import math

import msgspec

from squibwise.numerics.troubleshoot.planner import Node
from squibwise.numerics.troubleshoot.problem import Problem, Repair, Test
from squibwise.numerics.troubleshoot.search import Choose, policy_costs
from squibwise.numerics.troubleshoot.states import (
    Model,
    model_of,
    power_cost,
    start,
)

_RARE = 1e-5


class Costs(msgspec.Struct, frozen=True, kw_only=True):
    """Expected cost until fixed and verified.

    Attributes:
        work: Hands-on, with access and power-up. [min]
        wait: After power-downs. [min]
        price: Parts, as minutes of work. [min]
        parts: Number of parts fitted.
    """

    work: float = 0.0
    wait: float = 0.0
    price: float = 0.0
    parts: float = 0.0

    @property
    def total(self) -> float:
        """Return the sum that is minimised, in minutes."""
        return self.work + self.wait + self.price


def added(one: Costs, other: Costs, share: float = 1.0) -> Costs:
    """Return the sum of two costs, the second by a share."""
    return Costs(
        work=one.work + share * other.work,
        wait=one.wait + share * other.wait,
        price=one.price + share * other.price,
        parts=one.parts + share * other.parts,
    )


def costs_of_policy(problem: Problem, choose: Choose) -> Costs:
    """Return what following a policy costs."""
    model, charged = model_of(problem), _charged(problem)
    found = policy_costs(model, start(model), choose, _RARE, tuple(charged.values()))[0]
    return Costs(**dict(zip(charged, (float(c) for c in found), strict=True)))


def _charged(problem: Problem) -> dict[str, Model]:
    """Return the problem four times over, each charging one kind of cost only."""
    idle = {"minutes": 0.0, "price": 0.0, "check_minutes": 0.0}
    free = idle | {"check_wait": 0.0}
    fitted = {r.id: float(r.price > 0.0) for r in problem.repairs}
    repairs = {
        "work": {r.id: {"price": 0.0, "check_wait": 0.0} for r in problem.repairs},
        "wait": {r.id: idle for r in problem.repairs},
        "price": {r.id: free | {"price": r.price} for r in problem.repairs},
        "parts": {r.id: free | {"price": fitted[r.id]} for r in problem.repairs},
    }
    return {name: model_of(_only(problem, name, change)) for name, change in repairs.items()}


def _only(problem: Problem, name: str, change: dict[str, dict[str, float]]) -> Problem:
    work, wait = name == "work", name == "wait"
    tests = tuple(
        msgspec.structs.replace(
            t,
            minutes=t.minutes if work else 0.0,
            results=tuple(
                msgspec.structs.replace(
                    r, minutes=r.minutes if work else 0.0, wait=r.wait if wait else 0.0
                )
                for r in t.results
            ),
        )
        for t in problem.tests
    )
    return msgspec.structs.replace(
        problem,
        tests=tests,
        repairs=tuple(msgspec.structs.replace(r, **change[r.id]) for r in problem.repairs),
        access_minutes=problem.access_minutes if work else (0.0,) * len(problem.access_minutes),
        wait_minutes=problem.wait_minutes if wait else 0.0,
        power_up_minutes=problem.power_up_minutes if work else 0.0,
    )


def costs_of_tree(problem: Problem, node: Node) -> Costs:
    """Return what following a plan costs; folded branches are split as the rest of their branch."""
    found = _below(problem, node, problem.opened, problem.powered)
    scale = node.minutes / found.total if found.total > 0.0 else 1.0
    return added(Costs(), found, scale)


def _below(problem: Problem, node: Node, opened: frozenset[int], on: bool) -> Costs:
    if node.action is None:
        return Costs()
    here = cost_of_step(problem, node.action, opened, on)
    power = node.action.power
    then_on = on if power == "any" else power != "off"
    wide = opened | set(node.action.access)
    known = here
    for word, child in node.branches.items():
        share = child.p / node.p
        known = added(known, _aftermath(node.action, word), share)
        known = added(known, _below(problem, child, wide, then_on), share)
    rest = max(0.0, node.minutes - known.total)
    if rest <= 0.0 or known.total <= 0.0:
        return known
    later = added(known, here, -1.0)
    base = later if later.total > 0.0 else known
    return added(known, base, rest / base.total)


def _aftermath(action: Test | Repair, word: str) -> Costs:
    if isinstance(action, Repair):
        return Costs()
    result = next(r for r in action.results if r.word == word)
    return Costs(work=result.minutes, wait=result.wait)


def cost_of_step(
    problem: Problem, action: Test | Repair, opened: frozenset[int], on: bool
) -> Costs:
    """Return what one action costs from a state of access and power, without its outcome."""
    opening = math.fsum(problem.access_minutes[k] for k in set(action.access) - opened)
    total = power_cost(problem, action.power)[int(on)]
    wait = problem.wait_minutes if on and action.power in ("off", "through") else 0.0
    work = opening + action.minutes + total - wait
    if isinstance(action, Test):
        return Costs(work=work, wait=wait)
    return Costs(
        work=work + action.check_minutes,
        wait=wait + action.check_wait,
        price=action.price,
        parts=float(action.price > 0.0),
    )


def parts_needed(problem: Problem) -> float:
    """Return how many parts the fault itself asks for, expected: the fewest that remove it."""

    def fewest(fault: str) -> float:
        return min((float(r.price > 0.0) for r in problem.repairs if fault in r.fixes), default=0.0)

    total = math.fsum(problem.weight)
    each = zip(problem.weight, problem.hypotheses, strict=True)
    return math.fsum(w * math.fsum(fewest(f) for f in faults) for w, faults in each) / total


def without_gates(problem: Problem) -> Problem:
    """Return the problem as somebody sees it who fits parts before the fault is located."""
    free = {"after": frozenset[str](), "until": frozenset[str]()}
    repairs = tuple(msgspec.structs.replace(r, **free) for r in problem.repairs)
    return msgspec.structs.replace(problem, repairs=repairs)
