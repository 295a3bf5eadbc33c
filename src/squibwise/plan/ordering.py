"""From a job and a sheet of offers to three plans, the cost of being ready by a day, and habits."""

import datetime as dt
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from itertools import accumulate

import msgspec
import numpy as np

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.history.prices import LABOUR, read_price_book
from squibwise.model.case import Case
from squibwise.model.cost import Money, from_major, minor_digits
from squibwise.model.market import (
    BACK_STATES,
    KEPT_STATES,
    PAID_STATES,
    BuyAnswer,
    BuyPlan,
    CurvePoint,
    JudgedOffer,
    LateLine,
    Need,
    OfferSheet,
    ShopTerms,
    Supplier,
)
from squibwise.model.origin import Finding
from squibwise.model.work import Operation, Work
from squibwise.plan.buying import least_paid, solve
from squibwise.plan.buying_problem import (
    CHEAPEST,
    LATER,
    NOW,
    RECOMMENDED,
    SOONEST,
    Aim,
    Problem,
    Task,
    cancel_cost,
    habits,
    list_open_days,
    still_to_wait,
)
from squibwise.plan.offer_names import cut_needs, pair_offers
from squibwise.plan.offers import (
    find_look,
    fits,
    judge_offers,
    list_asked,
    list_fitted,
    list_later,
    list_needless,
    list_needs,
)

_POINTS, _SEED, _MOST_OFFERS = 6, 1, 1000
Progress = Callable[[str], None]


def plan_buying(
    case: Case,
    work: Work,
    sheet: OfferSheet,
    terms: ShopTerms,
    catalog: Catalog,
    today: dt.date | None = None,
    progress: Progress | None = None,
) -> BuyAnswer:
    """Return three plans, three habits beside them, and what being ready earlier costs.

    A need that nobody offers a usable part for is named and left out of every plan.

    Args:
        case: The car.
        work: Orders and operations.
        sheet: Offers and suppliers.
        terms: What the shop works under.
        catalog: Policies and figures.
        today: For weekends and closed days; without it every day is a day of work.
        progress: Told what is searched for, before each search.

    Raises:
        InputError: There are more offers than can be weighed, or no plan keeps the user's limits.
    """
    terms = _with_rate(terms, case)
    wanted = (*list_needs(work), *list_asked(work), *list_fitted(work))
    judged, findings = judge_offers(sheet.offers, wanted, case, catalog)
    wanted = (*cut_needs(wanted, judged), *list_needless(judged))
    judged = pair_offers(wanted, judged)
    _refuse_many(sum(j.counts for j in judged))
    needs, missing, asked = _sort_needs(wanted, judged, work)
    problem = state_problem(needs, judged, sheet.suppliers, work, terms, case.currency, today)
    problem = _mark_missing(problem, work, missing)
    tell = progress or _tell_nobody
    plans = _find_plans(problem, tell)
    tell("what habits come to")
    followed = tuple(_follow_habits(problem))
    tell("what being ready earlier costs")
    return BuyAnswer(
        plans=plans,
        habits=followed,
        curve=_draw_curve(problem, plans[1].ready_day, plans[0].ready_day),
        judged=judged,
        without_offer=tuple(n.title for n in missing),
        missing=missing,
        asked=asked,
        late_orders=tuple(_weigh_late(problem, plans[-1], tell)),
        findings=(
            *sheet.findings,
            *findings,
            *(_no_offer(n) for n in missing),
            *_tell_overdue(judged, terms, today),
            *_tell_twice(problem),
            *_doubt_terms(terms, sheet, work),
            *_doubt_hours(problem),
            *_tell_needless(problem),
            *(_not_proven(p) for p in plans if not p.optimal),
        ),
    )


def _sort_needs(
    wanted: Sequence[Need], judged: Sequence[JudgedOffer], work: Work
) -> tuple[tuple[Need, ...], tuple[Need, ...], tuple[Need, ...]]:
    """Return what is bought, what nobody offers, and what a look or the maker decides first."""
    offered = {j.need for j in judged if j.counts}
    kept = {j.need for j in judged if j.counts and j.offer.state in PAID_STATES}
    later = list_later(wanted, judged, work)
    asked = tuple(n for n in wanted if n.key not in kept and (n.asks_maker or n in later))
    open_ones = [n for n in wanted if n.key in kept or not (n.fitted or n in asked)]
    needs = tuple(n for n in open_ones if n.key in offered)
    return needs, tuple(n for n in open_ones if n.key not in offered), asked


def _find_plans(problem: Problem, tell: Progress) -> tuple[BuyPlan, ...]:
    plans = []
    for aim in (CHEAPEST, SOONEST, RECOMMENDED):
        tell(f"the {aim.name} plan")
        plans.append(solve(problem, aim, np.random.default_rng(_SEED)))
    return tuple(plans)


def _refuse_many(offers: int) -> None:
    if offers > _MOST_OFFERS:
        raise InputError(
            f"{offers:,} offers could be used; at most {_MOST_OFFERS:,} are weighed together.",
            remedy="Keep the few best of each part in the sheet.",
        )


BODY_WORK = "step:structure"
"""Body work, done by others and in no hours of the work list."""
_ORIGINS, _ORDER_CLOSED = "step:part-labels", "step:order-closed"
_LOOKS_DECIDE = "Close the order list: order now what the looks have decided"


def _tell_nobody(words: str) -> None:
    """Nobody waits."""


def _with_rate(terms: ShopTerms, case: Case) -> ShopTerms:
    """Return the terms with the hour that the case states, where they state none."""
    rate = read_price_book(case).find(LABOUR)
    if terms.hour is not None or rate is None:
        return terms
    return msgspec.structs.replace(
        terms, hour=rate.likely.minor / 10 ** minor_digits(case.currency)
    )


def _mark_missing(problem: Problem, work: Work, missing: Sequence[Need]) -> Problem:
    """Return the problem with the operations marked whose part nobody offers."""
    lacks = {o.id: n.title for o in work.operations for n in missing if fits(o, n)}
    tasks = (
        msgspec.structs.replace(t, lacks=lacks.get(t.id.removeprefix(f"{_ORIGINS}@"), ""))
        for t in problem.tasks
    )
    return msgspec.structs.replace(problem, tasks=tuple(tasks))


def _doubt_terms(terms: ShopTerms, sheet: OfferSheet, work: Work) -> Iterable[Finding]:
    """Yield what the terms of the shop leave out, and what in them names nothing."""
    if terms.bay_day == 0.0:
        yield Finding(
            code="buy-standing-free",
            severity="note",
            message="A day that the car stands counts as nothing, so that a cheap part which "
            "comes late always wins.",
            remedy="Write bay_day into buying.toml; `buy CASE --example` prints one to fill in.",
        )
    yield from _doubt_times(terms, work)
    offers = {o.id for o in sheet.offers}
    known = {"late": offers, "cancel": offers, "services": {o.id for o in work.operations}}
    kinds = {w: "operation" if w == "services" else "offer of the sheet" for w in known}
    for table, ids in known.items():
        for word in sorted(set(getattr(terms, table)) - ids):
            yield Finding(
                code="buy-term-unused",
                severity="warning",
                message=f"'{word}' in [{table}] is no {kinds[table]}: it changes nothing.",
                remedy="Write it as the plan does: the last column of an order names each offer."
                if ids is offers
                else "`squibwise work CASE --json` names every operation by its id.",
            )


def _doubt_hours(problem: Problem) -> Iterable[Finding]:
    """Yield what a look may ask for and what is on no day yet: the list has no such work."""
    fitted = {key for t in problem.tasks for key in t.needs}
    for need in problem.needs:
        if need.key not in fitted and need.chance > 0.0 and not need.fitted:
            yield Finding(
                code="buy-no-hours",
                severity="note",
                message=f"Fitting {need.title} is on no day and in no hours: it is needed with "
                f"{need.chance:.0%} only.",
                remedy="Once its look has said so, it is on the work list and in the next plan.",
            )


def _doubt_times(terms: ShopTerms, work: Work) -> Iterable[Finding]:
    """Yield the work of others whose time nobody stated: the ready day holds none for it."""
    for operation in work.operations:
        is_outside = operation.id == BODY_WORK or operation.action == "set"
        is_open = is_outside and operation.minutes.high == 0 and not operation.done
        if is_open and operation.id not in terms.services:
            yield Finding(
                code="buy-no-time",
                severity="warning",
                message=f"No time is stated for '{operation.title}' (no. {operation.n}): the "
                "car is ready only so many days later.",
                remedy=f'Ask who does it, and write [services."{operation.id}"] with days, '
                "notice and price into buying.toml.",
            )


def _tell_needless(problem: Problem) -> Iterable[Finding]:
    """Yield what was ordered and is for nothing on the order list any more."""
    needs = {n.key: n for n in problem.needs if n.chance <= 0.0}
    for key, offer in problem.offers:
        if key in needs and not key.startswith("unfit:"):
            lost = cancel_cost(needs[key], offer, problem.terms)
            money = Money(minor=lost, currency=problem.currency).text()
            is_back = offer.state in BACK_STATES
            why = "" if is_back else " and for nothing on the order list"
            back = "" if is_back else "Cancel it or send it back, and write 'returned'. "
            yield Finding(
                code="offer-needless",
                severity="note" if is_back else "warning",
                message=f"'{needs[key].title}' from {offer.supplier} is {offer.state}{why}: "
                f"{money} of what it cost stays in the sums.",
                remedy=f"{back}If another share is lost, write {offer.id} = SHARE under [cancel].",
                origin=offer.origin,
            )


def state_problem(
    needs: Sequence[Need],
    judged: Sequence[JudgedOffer],
    suppliers: Sequence[Supplier],
    work: Work,
    terms: ShopTerms,
    currency: str,
    today: dt.date | None = None,
) -> Problem:
    """Return everything that is decided together."""
    wanted = {n.key for n in needs}
    operations = [o for o in work.operations if not o.done]
    before = _earlier_visits(work)
    looks = {n.key: find_look(n, operations) for n in needs if n.chance < 1.0}

    return Problem(
        needs=tuple(needs),
        offers=tuple(
            (j.need, still_to_wait(j.offer, today)) for j in judged if j.need in wanted and j.counts
        ),
        suppliers=tuple(suppliers),
        tasks=_note_origins(
            [_task(o, before[o.id], needs, terms, currency) for o in operations],
            {o.id for o in operations if o.labelled},
            {n.key: n.title for n in needs},
        ),
        terms=terms,
        currency=currency,
        looks={key: look for key, look in looks.items() if look},
        open_days=list_open_days(today, terms),
    )


def _tell_overdue(
    judged: Sequence[JudgedOffer], terms: ShopTerms, today: dt.date | None
) -> Iterable[Finding]:
    """Yield each ordered part that should have come by now and has not."""
    for offer in (j.offer for j in judged if j.counts and j.offer.state == "ordered"):
        if today is None or offer.ordered_on is None or offer.id in terms.late:
            continue
        due = offer.ordered_on + dt.timedelta(days=offer.lead.high)
        if due < today:
            yield Finding(
                code="offer-overdue",
                severity="warning",
                message=f"'{offer.fits}' from {offer.supplier} was due by {due} and is not marked "
                "as arrived; what waits for it counts on it tomorrow.",
                remedy=f"If it came, write 'arrived'. Else ask, and write {offer.id} = DAYS under "
                "[late] in buying.toml.",
                origin=offer.origin,
            )


def _tell_twice(problem: Problem) -> Iterable[Finding]:
    """Yield each part that was ordered although another line for it was ordered or is here."""
    for need in problem.needs:
        kept = problem.kept_for(need.key)
        for index in problem.offers_for(need.key):
            offer = problem.offers[index][1]
            if kept is not None and index != kept and offer.state in KEPT_STATES:
                first = problem.offers[kept][1]
                yield Finding(
                    code="offer-ordered-twice",
                    severity="warning",
                    message=f"{need.title} is {offer.state} from {offer.supplier} too: the one "
                    f"from {first.supplier} is counted on, this one is in no sum.",
                    remedy="Cancel it or send it back, and write 'returned'.",
                    origin=offer.origin,
                )


def _weigh_late(problem: Problem, best: BuyPlan, tell: Progress) -> Iterable[LateLine]:
    """Yield each late order with what waiting and ordering elsewhere come to.

    The best plan is one of the two; the other is the best one that must not do so.
    """
    for need in problem.needs:
        kept = problem.kept_for(need.key)
        if kept is None or not problem.is_late(kept) or need.chance <= 0.0:
            continue
        offer = problem.offers[kept][1]
        tell(f"what becomes of the late {need.title}")
        cancel = offer.id in best.cancels
        other = _do_otherwise(problem, need.key, kept, waits=cancel)
        instead = best if cancel else other
        yield LateLine(
            need=need.key,
            title=need.title,
            offer=offer.id,
            supplier=offer.supplier,
            there_day=problem.terms.late[offer.id],
            lost=Money(minor=cancel_cost(need, offer, problem.terms), currency=problem.currency),
            cancel=cancel,
            instead=next((p.offer for p in instead.purchases if p.need == need.key), "")
            if instead
            else "",
            waited=other.total if cancel and other else best.total,
            elsewhere=instead.total if instead else None,
        )


def _do_otherwise(problem: Problem, need: str, kept: int, *, waits: bool) -> BuyPlan | None:
    """Return the best plan that waits for a late order, or that does not; None = there is none."""
    others = ((i, s) for i in problem.offers_for(need) if i != kept for s in (NOW, LATER))
    only = ((kept, NOW),) if waits else tuple(others)
    try:
        return solve(problem, Aim(name="the late order otherwise", only={need: only}))
    except InputError:  # nobody else offers one, or the accepted chance of rejects forbids it
        return None


def _earlier_visits(work: Work) -> dict[str, tuple[tuple[str, ...], str]]:
    """Return what has to be over of the visit before, and the visit's title, by open operation.

    Power parts visits: work of two never runs side by side, whatever its own order allows. It is
    enough that the first operations of a visit follow the last ones of the visit before.
    """
    last: tuple[str, ...] = ()
    found: dict[str, tuple[tuple[str, ...], str]] = {}
    for visit in work.visits:
        mine = {o.id: o for o in visit.operations if not o.done}
        found |= {
            k: (() if mine.keys() & set(o.after) else last, visit.title) for k, o in mine.items()
        }
        followed = {before for o in mine.values() for before in o.after}
        last = tuple(k for k in mine if k not in followed) or last
    return found


def _task(
    operation: Operation,
    visit: tuple[tuple[str, ...], str],
    needs: Sequence[Need],
    terms: ShopTerms,
    currency: str,
) -> Task:
    service = terms.services.get(operation.id)
    mine = tuple(n.key for n in needs if fits(operation, n))
    task = Task(
        id=operation.id,
        title=_LOOKS_DECIDE if operation.id == _ORDER_CLOSED else operation.title,
        minutes=operation.minutes.likely,
        after=operation.after,
        follows=visit[0],
        hold=operation.hold_minutes,
        needs=mine,
        number=operation.n,
        visit=visit[1],
        rooms=operation.rooms,
    )
    if service is None:
        return task
    return msgspec.structs.replace(
        task,
        minutes=round(service.days * terms.day_minutes),
        outside=True,
        notice=service.notice,
        price=from_major(service.price, currency).minor,
    )


def _note_origins(
    tasks: Sequence[Task], labelled: Collection[str], titles: Mapping[str, str]
) -> tuple[Task, ...]:
    """Return tasks with the one line that notes every part's origin as one line an arrival.

    Parts come on several days and each is noted before it is fitted: what is fitted today waits for
    no label of next week. The minutes are shared out by the parts.
    """
    whole = next((t for t in tasks if t.id == _ORIGINS), None)
    arrivals: dict[tuple[str, ...], list[str]] = {}
    for task in tasks:
        if task.id in labelled:
            arrivals.setdefault(task.needs or (task.id,), []).append(task.id)
    if whole is None or not arrivals:
        return tuple(tasks)
    ends = [*accumulate(len(ids) for ids in arrivals.values())]
    until = [round(whole.minutes * n / ends[-1]) for n in ends]
    origins: dict[str, Task] = {}
    for key, start, end in zip(arrivals, (0, *until), until, strict=False):
        first = next(t for t in tasks if t.id == arrivals[key][0])
        name = f"{whole.id}@{key[0]}"
        part = titles.get(key[0]) or first.title.partition(": ")[2]
        noted = msgspec.structs.replace(
            whole,
            id=name,
            title=f"Note the origin: {part}",
            minutes=end - start,
            needs=first.needs,
        )
        origins |= dict.fromkeys(arrivals[key], noted)
    found: list[Task] = []
    for task in tasks:
        if task is whole:
            found += dict.fromkeys(origins.values())
            continue
        own = [origins[task.id].id] if task.id in origins else []
        after = [a for a in task.after if a != whole.id]
        found.append(msgspec.structs.replace(task, after=(*after, *own)))
    return tuple(found)


def _follow_habits(problem: Problem) -> Iterable[BuyPlan]:
    """Yield what the habits come to, with the limits that each of them breaks."""
    for aim in habits(problem):
        try:
            found = solve(problem, aim)
        except InputError:  # the habit leaves no plan at all
            continue
        limit = 1.0 - problem.terms.rejects
        broken = ("accepted chance of rejected parts",) if found.all_pass < limit - 1e-6 else ()
        yield msgspec.structs.replace(found, broken=broken)


def _draw_curve(problem: Problem, first: int, last: int) -> tuple[CurvePoint, ...]:
    """Return the least that is paid out to be ready by a few days, from the soonest on."""
    days = sorted({first + round((last - first) * i / (_POINTS - 1)) for i in range(_POINTS)})
    found = []
    for day in days:
        paid, is_optimal = least_paid(problem, day)
        cost = Money(minor=paid, currency=problem.currency)
        found.append(CurvePoint(day=day, cost=cost, optimal=is_optimal))
    return tuple(found)


def _no_offer(need: Need) -> Finding:
    return Finding(
        code="buy-no-offer",
        severity="warning",
        message=f"Nobody offers a usable part for {need.title}; it is not in the plan.",
        remedy=f"Add an offer for '{need.key}'; `buy CASE --request` prints a sheet to send out.",
    )


def _not_proven(plan: BuyPlan) -> Finding:
    return Finding(
        code="buy-not-proven",
        severity="note",
        message=f"The plan '{plan.name}' was not proven best: {plan.total.text()} against a bound "
        f"of {plan.bound.text()}.",
        remedy="Give the search more time with `seconds` in buying.toml.",
    )
