"""Trace a loop: hypotheses, the next test, the plan and the bracket around it."""

import math
from collections.abc import Callable, Mapping
from fnmatch import fnmatchcase

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.closing import STAYS
from squibwise.history.prices import LABOUR, price_levels, read_price_book
from squibwise.history.signed import refuse_drive
from squibwise.isolate.bench import (
    BenchRepair,
    BenchTest,
    clusters_of,
    problem_of,
    repairs_of,
    tests_of,
)
from squibwise.isolate.cards import card_of, confirming_card, proving_card, stop_card
from squibwise.isolate.context import LIKELY, Context, context_of, minor_per_minute, wait_minutes
from squibwise.isolate.findings import assumptions_of, findings_of, other_first_causes
from squibwise.isolate.points import moved_by_readings, points_of
from squibwise.isolate.prose import told_of
from squibwise.isolate.replay import replay
from squibwise.isolate.signs import tried_at
from squibwise.isolate.standing import Spent, Standing, list_both_ways, list_doubted, tell_doubted
from squibwise.isolate.suspects import Suspect, ranked, suspects_of
from squibwise.model.belief import Assessment, Assumption, Because
from squibwise.model.case import Case
from squibwise.model.cost import Money
from squibwise.model.origin import Finding
from squibwise.model.trace import Alternative, BenchCard, Effort, Hypothesis, PlanNode, Trace
from squibwise.numerics.troubleshoot.costs import (
    Costs,
    costs_of_policy,
    costs_of_tree,
    parts_needed,
    without_gates,
)
from squibwise.numerics.troubleshoot.planner import FIXED, Answer, Node, PlanLimits, plan
from squibwise.numerics.troubleshoot.problem import Problem
from squibwise.numerics.troubleshoot.search import Choose, by_parts, cheapest_first, outward

_MOST, _WORTH_AGAIN, _CERTAIN = 14, 0.2, 0.995
_VERIFIED = "Fixed and verified"
_UNPROVED = "Fixed, not yet proved on the drive"
_FIXED = "The last step entered for this circuit was verified as fixed."

Bench = BenchTest | BenchRepair


class Search(msgspec.Struct, frozen=True, kw_only=True):
    """Where the search for a loop's fault stands, before anything is planned.

    Attributes:
        context: What the case knows of the loop.
        tests: Tests it allows.
        repairs: Repairs it allows.
        first: Hypotheses before the first outcome.
        standing: Where the search stands after everything entered.
        tried: Elements that were worked on against the fault in vain, with what tells it.
    """

    context: Context
    tests: tuple[BenchTest, ...]
    repairs: tuple[BenchRepair, ...]
    first: tuple[Suspect, ...]
    standing: Standing
    tried: dict[str, str] = {}


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
    context = msgspec.structs.replace(context, told=told_of(context, catalog))
    tests, repairs = tests_of(context, catalog), repairs_of(case, context, catalog)
    first, told = _before_outcomes(case, context, catalog, own_cases)
    standing = replay(context, first, tests, repairs, catalog)
    if told is not None:
        standing = msgspec.structs.replace(standing, findings=(told, *standing.findings))
    return Search(
        context=context,
        tests=tests,
        repairs=repairs,
        first=first,
        standing=standing,
        tried=_tried(context, repairs, standing, catalog),
    )


def _before_outcomes(
    case: Case, context: Context, catalog: Catalog, own_cases: Mapping[str, int] | None
) -> tuple[tuple[Suspect, ...], Finding | None]:
    """Return the hypotheses before the first outcome, and what readings could not tell apart."""
    first = suspects_of(context, catalog, own_cases)
    points = points_of(case, context, catalog)
    return moved_by_readings(first, points) if points else (first, None)


def _inside_the_ranges(
    search: Search, case: Case, catalog: Catalog, own_cases: Mapping[str, int] | None
) -> tuple[Assumption, ...]:
    """Return which other cause would come first inside the ranges of the ranks."""

    def with_figures(other: Catalog) -> tuple[Suspect, ...]:
        first, _ = _before_outcomes(case, search.context, other, own_cases)
        return replay(search.context, first, search.tests, search.repairs, other).suspects

    return other_first_causes(search.standing.suspects[0], with_figures, catalog)


def _tried(
    context: Context, repairs: tuple[BenchRepair, ...], standing: Standing, catalog: Catalog
) -> dict[str, str]:
    """Return the elements that were worked on in vain: told, or a repair with its outcome."""
    done = [r for r in repairs if r.id in standing.done]
    names = {r.point.id: r.repair.title.format(element=r.point.title) for r in done}
    entered = {i: f"'{name}' was done and did not cure it." for i, name in names.items()}
    return tried_at(context, told_of(context, catalog), catalog) | entered


def trace(
    case: Case,
    assessment: Assessment,
    loop: str,
    catalog: Catalog,
    own_cases: Mapping[str, int] | None = None,
    over: Callable[[], bool] | None = None,
    limits: PlanLimits | None = None,
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
    standing = search.standing
    findings = (*standing.findings, *findings_of(case, search.context, standing, catalog))
    findings += tuple(tell_doubted(standing, search.tests, search.context))
    if standing.fixed or standing.exhausted:
        return _stopped(search, case, catalog, findings)
    if standing.unconfirmed or standing.unverified:
        return _one_card_left(search, case, catalog, findings)
    problem = plan_of(search, case, catalog)
    answer = plan(problem, limits or PlanLimits(), over)
    benches: dict[str, Bench] = {t.id: t for t in search.tests}
    benches |= {r.id: r for r in search.repairs}
    wait = wait_minutes(case, catalog)
    comparison = compare(problem, answer.tree, case, catalog)
    return Trace(
        loop=search.context.loop,
        hypotheses=_hypotheses(standing.suspects),
        next_test=_card(answer, benches, search, wait, catalog),
        plan=_node(answer.tree, benches),
        expected_minutes=answer.minutes,
        lower_bound=min(answer.lower, answer.minutes),
        greedy_minutes=_minutes(comparison, "cheapest-first"),
        method=answer.method,
        states=answer.states,
        outward_minutes=_minutes(comparison, "outward"),
        parts_minutes=_minutes(comparison, "fit-parts"),
        wait_minutes=wait,
        comparison=comparison,
        spent=_spent(standing, case, catalog),
        assumptions=assumptions_of(case, search.context, _left_out(standing, problem), catalog),
        not_settled=_inside_the_ranges(search, case, catalog, own_cases),
        findings=findings,
    )


def _minutes(comparison: tuple[Alternative, ...], name: str) -> float:
    return next(a.effort.minutes for a in comparison if a.id == name)


def _spent(standing: Standing, case: Case, catalog: Catalog) -> Effort | None:
    """Return what the search has cost so far; None before the first outcome."""
    if standing.spent == Spent():
        return None
    spent = standing.spent
    return effort_of(Costs(work=spent.work, wait=spent.wait, price=spent.price), case, catalog)


def _hypotheses(suspects: tuple[Suspect, ...]) -> tuple[Hypothesis, ...]:
    return tuple(Hypothesis(id=s.id, p=s.p, title=s.title, because=s.because) for s in suspects)


def plan_of(search: Search, case: Case, catalog: Catalog) -> Problem:
    """Return the planner's problem from where the search stands, the likeliest faults only."""
    standing = search.standing
    least = catalog.fact("isolation.planned").number()
    kept = [s for s in standing.suspects if s.p >= least][:_MOST]
    doubted = list_doubted(standing, search.tests, search.context)
    both = list_both_ways(standing, search.tests)
    seen = frozenset((test, word) for test, word in standing.seen if test not in both)
    standing = msgspec.structs.replace(standing, done=standing.done - doubted, seen=seen)
    tests = tuple(t for t in search.tests if t.id not in standing.done)
    tests = tuple(t for t in tests if not _looked_before(t, tests, standing, catalog))
    repairs = tuple(
        _unlocked(r, standing, doubted) for r in search.repairs if r.id not in standing.done
    )
    problem = problem_of(ranked(kept), tests, repairs, search.context, case, catalog)
    clusters = clusters_of(search.context, tests)
    opened = frozenset(clusters.index(a) for a in standing.opened if a in clusters)
    again = {t.id for t in tests if _looks_again(t, search)}
    marked = (msgspec.structs.replace(t, again=t.id in again) for t in problem.tests)
    return msgspec.structs.replace(
        problem, powered=standing.powered, opened=opened, tests=tuple(marked)
    )


_LOADS = "look-loads"


def _looked_before(
    bench: BenchTest, tests: tuple[BenchTest, ...], standing: Standing, catalog: Catalog
) -> bool:
    """Return whether a connector is looked at before a test.

    Charges share it and it may be half seated; or a number is to be compared, and nothing speaks
    for another part.
    """
    ids = {t.id for t in tests}
    if bench.id.startswith("look:") and _LOADS in ids:
        return _likely({"load:left-in"}, standing) >= LIKELY  # what stands in is looked for
    look = bench.test.looks_first
    if look not in ids:
        return False
    if bench.test.rather:
        causes = {c.format(point=bench.point.id) for c in bench.test.rather}
        return _likely(causes, standing) < catalog.fact("isolation.number-before-look").number()
    loose = {f"{look.partition(':')[2]}:not-seated"}
    return _likely(loose, standing) >= catalog.fact("isolation.look-before-key-on").number()


def _likely(causes: set[str], standing: Standing) -> float:
    return math.fsum(s.p for s in standing.suspects if causes & set(s.parts))


def _unlocked(repair: BenchRepair, standing: Standing, doubted: frozenset[str]) -> BenchRepair:
    """Return a repair that no longer waits for the tests that are done, nor mends what it eased."""
    repair = msgspec.structs.replace(repair, fixes=_for_good(repair, standing))
    if repair.unless & standing.seen:
        return msgspec.structs.replace(repair, after=frozenset(), until=frozenset())
    after, until = repair.after - standing.done, repair.until - standing.done
    after |= doubted if repair.repair.part_minutes else set()
    until = frozenset() if repair.enough & standing.seen else until
    return msgspec.structs.replace(repair, after=after, until=until)


def _for_good(repair: BenchRepair, standing: Standing) -> tuple[str, ...]:
    """Return what a repair fixes; seating again does not mend what came back after it."""
    if not repair.id.startswith("reseat:"):
        return repair.fixes
    return tuple(f for f in repair.fixes if not any(fnmatchcase(e, f) for e in standing.eased))


def _left_out(standing: Standing, problem: Problem) -> float:
    """Return the probability of the hypotheses that the plan's times leave out."""
    planned = {"+".join(sorted(h)) for h in problem.hypotheses}
    return sum(s.p for s in standing.suspects if "+".join(sorted(s.parts)) not in planned)


def _card(
    answer: Answer, benches: dict[str, Bench], search: Search, wait: float, catalog: Catalog
) -> BenchCard:
    standing, action = search.standing, answer.tree.action
    if action is None:
        return stop_card(
            _VERIFIED, "Nothing is left to do on this circuit.", "", search.context, catalog
        )
    bench = benches[action.id]
    card = card_of(bench, search.context, standing, wait, catalog)
    why = (*_why_again(bench, search), *_why(answer), *card.because)
    return msgspec.structs.replace(card, because=why)


def _why_again(bench: Bench, search: Search) -> tuple[Because, ...]:
    """Return why a place comes first that was worked on in vain already."""
    tried = search.tried.get(bench.point.id)
    if tried is None or isinstance(bench, BenchRepair) or not _looks_again(bench, search):
        return ()
    point = bench.point.id
    here = (s.p for s in search.standing.suspects if any(_is_at(p, point) for p in s.parts))
    share = math.fsum(here)
    why = f"{share:.0%} of what is believed lies there"
    if share < _WORTH_AGAIN:
        why = "it must be seen before the likeliest part is renewed"
    text = f"Tried before: {tried} It comes first again: {why}, and no plan that begins elsewhere"
    return (Because(text=f"{text} expects clearly less."),)


def _looks_again(bench: BenchTest, search: Search) -> bool:
    """Return whether a test judges a place that was tried; one that splits the circuit does not."""
    return bench.point.id in search.tried and bench.test.rule == "find"


def _is_at(part: str, point: str) -> bool:
    return part.partition(":")[0] == point


def _why(answer: Answer) -> tuple[Because, ...]:
    """Return why this action comes first: what it settles, and how it was found."""
    told = ((w.replace("-", " "), node.p) for w, node in answer.tree.branches.items())
    chances = ", ".join(f"{word} {_percent(p)}" for word, p in told)
    how = {
        "exact": "No order that locates the fault before it renews a part expects less (exact).",
        "rollout": "Best of every first step, looking ahead by testing only where it pays.",
        "two-step": "Best of every first step looking two steps ahead; the time box ended.",
    }
    return (Because(text=f"Expected outcomes: {chances}."), Because(text=how[answer.method]))


def _percent(p: float) -> str:
    """Return a chance as a person reads it; none that was worked out is certain."""
    return "over 99%" if p > _CERTAIN else f"{p:.0%}"


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


def _stopped(search: Search, case: Case, catalog: Catalog, findings: tuple[Finding, ...]) -> Trace:
    """Return the trace of a search that has ended: fixed, or nothing left to suspect."""
    standing, context = search.standing, search.context
    no_drive = refuse_drive(context.history, catalog, context.loop)
    fixed = f"Gone so far, to be proved on the drive: {no_drive}" if no_drive else _FIXED
    title = "No cause on the list is left"
    if standing.fixed:
        title = _UNPROVED if no_drive else _VERIFIED
    text = (
        fixed
        if standing.fixed
        else "Check the outcomes entered, read a complete scan, or call the maker's specialist."
    )
    load = f"Loads still out: {', '.join(context.load_out)}." if context.load_out else ""
    return Trace(
        loop=context.loop,
        hypotheses=_hypotheses(standing.suspects) if standing.fixed else (),
        next_test=stop_card(title, text, load, context, catalog),
        plan=PlanNode(action="stop", title=title, p=1.0, minutes=0.0),
        expected_minutes=0.0,
        lower_bound=0.0,
        greedy_minutes=0.0,
        foretold=_foretold(search, case, catalog) if standing.spent != Spent() else None,
        spent=_spent(standing, case, catalog),
        findings=findings,
    )


def _one_card_left(
    search: Search, case: Case, catalog: Catalog, findings: tuple[Finding, ...]
) -> Trace:
    """Return the trace of a fault that may be cured: one card is left, which proves it.

    The second drive of one that came and went; reading again after a repair that was done.
    """
    standing, context = search.standing, search.context
    done = next((r for r in search.repairs if r.id == standing.unverified), None)
    if done is None:
        card, good = confirming_card(context, standing, catalog), STAYS
    else:
        card, good = proving_card(done, context, catalog), FIXED
    minutes = card.minutes + card.hold_minutes
    stays = PlanNode(action="stop", title=_VERIFIED, p=1.0, minutes=0.0)
    return Trace(
        loop=context.loop,
        hypotheses=_hypotheses(standing.suspects),
        next_test=card,
        plan=PlanNode(
            action=card.id, title=card.title, p=1.0, minutes=minutes, branches={good: stays}
        ),
        expected_minutes=minutes,
        lower_bound=minutes,
        greedy_minutes=minutes,
        wait_minutes=wait_minutes(case, catalog),
        spent=_spent(standing, case, catalog),
        findings=findings,
    )


def _foretold(search: Search, case: Case, catalog: Catalog) -> Effort:
    """Return what the plan expected before the first test."""
    begun = msgspec.structs.replace(search, standing=Standing(suspects=search.first))
    problem = plan_of(begun, case, catalog)
    answer = plan(
        problem, PlanLimits(exact_states=50_000, rollout_states=2_000, later_states=50_000)
    )
    return effort_of(costs_of_tree(problem, answer.tree), case, catalog)


# This plan and the plain ways, each with work, waiting and money apart.

_SURE = 0.9
_TITLES = {
    "plan": "this plan",
    "outward": "substitute from the device outward, then the likeliest part",
    "cheapest-first": "the cheapest test first, until one cause is nine in ten",
    "fit-parts": "fit parts by chance over cost, without testing",
}


def compare(problem: Problem, tree: Node, case: Case, catalog: Catalog) -> tuple[Alternative, ...]:
    """Return what this plan and the plain ways are expected to cost.

    All but fitting parts keep the rule that a look and a substitute load must have located the
    fault before a part is renewed; the outward tree looks only where that rule asks for it.
    """
    free = without_gates(problem)
    costs = {
        "plan": costs_of_tree(problem, tree),
        "outward": costs_of_policy(problem, outward_tree(problem)),
        "cheapest-first": costs_of_policy(problem, cheapest_first(_SURE)),
        "fit-parts": costs_of_policy(free, by_parts),
    }
    needed = parts_needed(problem)
    found = {name: effort_of(cost, case, catalog) for name, cost in costs.items()}
    return tuple(
        Alternative(
            id=name,
            title=_TITLES[name],
            effort=msgspec.structs.replace(e, needless=max(0.0, e.parts - needed)),
        )
        for name, e in found.items()
    )


def outward_tree(problem: Problem) -> Choose:
    """Return the fixed tree of this problem: substitute outward, then the likeliest part."""
    tests = enumerate(problem.tests)
    walk = [(i, 1) for i, t in tests if t.id.startswith(("load-at:", "feed-at:"))]
    return outward(walk, ())


def effort_of(costs: Costs, case: Case, catalog: Catalog) -> Effort:
    """Return costs in the trade's units: minutes of work, of waiting, and money."""
    return Effort(
        work_minutes=max(0.0, costs.work),
        wait_minutes=max(0.0, costs.wait),
        money=_money(costs.price, case, catalog),
        parts=max(0.0, costs.parts),
        minutes=max(0.0, costs.total),
    )


def _money(minutes: float, case: Case, catalog: Catalog) -> Money | None:
    """Return minutes of work as money; None without a price level or a rate in the currency."""
    is_rated = read_price_book(case).find(LABOUR) is not None
    if not is_rated and price_levels(case.currency, catalog) is None:
        return None
    minor = max(0.0, minutes) * minor_per_minute(case, catalog)
    return Money(minor=round(minor), currency=case.currency)
