"""Trace a loop: hypotheses, the next test, the plan and the bracket around it."""

import math
from collections.abc import Callable, Mapping

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.isolate.bench import (
    BenchRepair,
    BenchTest,
    clusters_of,
    problem_of,
    repairs_of,
    tests_of,
    wait_minutes,
)
from squibwise.isolate.cards import card_of, stop_card
from squibwise.isolate.context import Context, context_of
from squibwise.isolate.notes import assumptions_of, findings_of
from squibwise.isolate.readings import moved_by_readings, points_of
from squibwise.isolate.replay import Standing, fixes, replay
from squibwise.isolate.suspects import Suspect, ranked, suspects_of
from squibwise.model.belief import Assessment, Because
from squibwise.model.case import Case
from squibwise.model.evidence import TestOutcome
from squibwise.model.origin import Finding
from squibwise.model.trace import BenchCard, Hypothesis, PlanNode, Trace
from squibwise.numerics.troubleshoot.planner import Answer, Limits, Node, plan
from squibwise.numerics.troubleshoot.problem import Problem, Test
from squibwise.numerics.troubleshoot.search import (
    Budget,
    Choose,
    by_information,
    by_parts,
    outward,
    policy_value,
)
from squibwise.numerics.troubleshoot.states import model_of, start

_PLANNED = 0.01
_MOST = 14
_SURE = 0.9
_RARE = 1e-5
_VERIFIED = "Fixed and verified"

Bench = BenchTest | BenchRepair


class Search(msgspec.Struct, frozen=True, kw_only=True):
    """Where the search for a loop's fault stands, before anything is planned.

    Attributes:
        context: What the case knows of the loop.
        tests: Tests it allows.
        repairs: Repairs it allows.
        standing: Hypotheses after everything entered.
    """

    context: Context
    tests: tuple[BenchTest, ...]
    repairs: tuple[BenchRepair, ...]
    standing: Standing


def search_of(
    case: Case,
    assessment: Assessment,
    loop: str,
    catalog: Catalog,
    own_cases: Mapping[str, int] | None = None,
) -> Search:
    """Return where the search stands; see ``trace`` for the arguments.

    Raises:
        InputError: The car has no such loop.
    """
    context = context_of(case, assessment, loop, catalog)
    tests, repairs = tests_of(context, catalog), repairs_of(case, context, catalog)
    first = suspects_of(context, catalog, own_cases)
    points = points_of(case, context, catalog)
    first, told = moved_by_readings(first, points) if points else (first, None)
    standing = replay(case, context, first, tests, repairs, catalog)
    if told is not None:
        standing = msgspec.structs.replace(standing, findings=(told, *standing.findings))
    return Search(context=context, tests=tests, repairs=repairs, standing=standing)


def trace(
    case: Case,
    assessment: Assessment,
    loop: str,
    catalog: Catalog,
    own_cases: Mapping[str, int] | None = None,
    over: Callable[[], bool] | None = None,
    limits: Limits | None = None,
) -> Trace:
    """Return where a circuit is at fault and which test comes next, safely and cheaply.

    Args:
        case: Everything known of the car.
        assessment: What inference believes of it.
        loop: Loop id; without a stage, stage 1.
        catalog: Loops, tests, repairs and their figures.
        own_cases: How often each ``element:fault`` was proved in the user's own finished cases.
        over: Asked now and then; True ends the search and the two-step answer is given.
        limits: How much the planner may do.

    Raises:
        InputError: The car has no such loop.
    """
    search = search_of(case, assessment, loop, catalog, own_cases)
    context, tests, repairs = search.context, search.tests, search.repairs
    standing = search.standing
    findings = (*standing.findings, *findings_of(case, context, standing, catalog))
    if standing.fixed or standing.exhausted:
        return _stopped(context, standing, catalog, findings)
    problem = _problem(standing, tests, repairs, context, case, catalog)
    answer = plan(problem, limits or Limits(), over)
    benches: dict[str, Bench] = {t.id: t for t in tests} | {r.id: r for r in repairs}
    wait = wait_minutes(case, catalog)
    return Trace(
        loop=context.loop,
        hypotheses=_hypotheses(standing.suspects),
        next_test=_card(answer, benches, context, standing, wait, catalog),
        plan=_node(answer.tree, benches),
        expected_minutes=answer.minutes,
        lower_bound=min(answer.lower, answer.minutes),
        greedy_minutes=_policy(problem, by_information(_SURE)),
        method=answer.method,
        states=answer.states,
        outward_minutes=_policy(problem, _outward(problem)),
        parts_minutes=_policy(problem, by_parts),
        wait_minutes=wait,
        assumptions=assumptions_of(case, context, _left_out(standing, problem), catalog),
        findings=findings,
    )


def _hypotheses(suspects: tuple[Suspect, ...]) -> tuple[Hypothesis, ...]:
    return tuple(Hypothesis(id=s.id, p=s.p, title=s.title, because=s.because) for s in suspects)


def _problem(
    standing: Standing,
    tests: tuple[BenchTest, ...],
    repairs: tuple[BenchRepair, ...],
    context: Context,
    case: Case,
    catalog: Catalog,
) -> Problem:
    """Return the planner's problem from where the search stands, the likeliest faults only."""
    kept = [s for s in standing.suspects if s.p >= _PLANNED][:_MOST]
    left_tests = tuple(t for t in tests if t.id not in standing.done)
    left_repairs = tuple(r for r in repairs if r.id not in standing.done)
    problem = problem_of(ranked(kept), left_tests, left_repairs, context, case, catalog)
    clusters = list(clusters_of(context))
    opened = frozenset(clusters.index(a) for a in standing.opened if a in clusters)
    return msgspec.structs.replace(problem, powered=standing.powered, opened=opened)


def _left_out(standing: Standing, problem: Problem) -> float:
    """Return the probability of the hypotheses that the plan's times leave out."""
    planned = {"+".join(sorted(h)) for h in problem.hypotheses}
    return sum(s.p for s in standing.suspects if "+".join(sorted(s.parts)) not in planned)


def _card(
    answer: Answer,
    benches: dict[str, Bench],
    context: Context,
    standing: Standing,
    wait: float,
    catalog: Catalog,
) -> BenchCard:
    action = answer.tree.action
    if action is None:
        return stop_card(_VERIFIED, "Nothing is left to do on this loop.", catalog)
    card = card_of(benches[action.id], context, standing.opened, standing.powered, wait, catalog)
    return msgspec.structs.replace(card, because=(*_why(answer), *card.because))


def _why(answer: Answer) -> tuple[Because, ...]:
    """Return why this action comes first: what it settles, and how it was found."""
    chances = ", ".join(f"{word} {node.p:.0%}" for word, node in answer.tree.branches.items())
    how = {
        "exact": "No order of tests and repairs expects less time (exact).",
        "rollout": "Best of every first step when the one-step policy follows (rollout).",
        "two-step": "Best of every first step looking two steps ahead; the time box ended.",
    }
    return (Because(text=f"Expected outcomes: {chances}."), Because(text=how[answer.method]))


def _node(node: Node, benches: dict[str, Bench]) -> PlanNode:
    if node.action is None:
        return PlanNode(action="stop", title=_VERIFIED, p=node.p, minutes=0.0)
    bench = benches[node.action.id]
    words = bench.test.title if isinstance(bench, BenchTest) else bench.repair.title
    return PlanNode(
        action=node.action.id,
        title=words.format(element=bench.point.title),
        p=node.p,
        minutes=node.minutes,
        branches={word: _node(then, benches) for word, then in node.branches.items()},
        folded=node.folded,
    )


def _policy(problem: Problem, choose: Choose) -> float:
    model = model_of(problem)
    return float(policy_value(model, start(model), choose, Budget(), _RARE)[0])


def _outward(problem: Problem) -> Choose:
    """Return the fixed tree of this problem: substitute outward, look, then the likeliest part."""
    walk = [
        (i, 1) for i, t in enumerate(problem.tests) if t.id.startswith(("load-at:", "feed-at:"))
    ]
    looks = [i for i, t in enumerate(problem.tests) if _is_look(t)]
    return outward(walk, looks)


def _is_look(test: Test) -> bool:
    return test.id.startswith("look")


def _stopped(
    context: Context, standing: Standing, catalog: Catalog, findings: tuple[Finding, ...]
) -> Trace:
    """Return the trace of a search that has ended: fixed, or nothing left to suspect."""
    title = _VERIFIED if standing.fixed else "No cause on the list is left"
    text = (
        "The last step entered for this loop was verified as fixed."
        if standing.fixed
        else "Check the outcomes entered, read a complete scan, or call the maker's specialist."
    )
    return Trace(
        loop=context.loop,
        hypotheses=_hypotheses(standing.suspects) if standing.fixed else (),
        next_test=stop_card(title, text, catalog),
        plan=PlanNode(action="stop", title=title, p=1.0, minutes=0.0),
        expected_minutes=0.0,
        lower_bound=0.0,
        greedy_minutes=0.0,
        findings=findings,
    )


def proved_causes(case: Case, assessment: Assessment, catalog: Catalog) -> dict[str, int]:
    """Return how often each ``<element>:<fault>`` was proved in one case, by its repairs.

    A repair that was entered as the one that fixed a loop proves the cause that it removes. When it
    removes several, one counts only if it holds most of their probability
    (``isolation.proved-share``): otherwise nothing was proved.
    """
    outcomes = {e.id: e for e in case.evidence if isinstance(e, TestOutcome)}
    causes: dict[str, int] = {}
    for loop in sorted({e.loop for e in outcomes.values()}):
        search = search_of(case, assessment, loop, catalog)
        cause = _proved(search, outcomes, catalog)
        if cause:
            causes[cause] = causes.get(cause, 0) + 1
    return causes


def _proved(search: Search, outcomes: dict[str, TestOutcome], catalog: Catalog) -> str | None:
    last = outcomes.get(search.standing.fixed)
    repair = next((r for r in search.repairs if last and r.id == last.test), None)
    if repair is None:
        return None
    removed = _removed(search.standing.suspects, repair)
    best = max(removed, key=lambda s: s.p, default=None)
    share = catalog.fact("isolation.proved-share").number()
    if best is None or best.p < share * math.fsum(s.p for s in removed):
        return None
    return best.id


def _removed(suspects: tuple[Suspect, ...], repair: BenchRepair) -> list[Suspect]:
    return [s for s in suspects if len(s.parts) == 1 and fixes(repair, s.parts[0])]
