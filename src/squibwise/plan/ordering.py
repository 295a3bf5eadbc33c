"""From a job and a sheet of offers to three plans, the cost of being ready by a day, and habits."""

from collections.abc import Callable, Iterable, Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.model.case import Case
from squibwise.model.cost import Money, from_major
from squibwise.model.market import (
    KEPT_STATES,
    BuyAnswer,
    BuyPlan,
    CurvePoint,
    JudgedOffer,
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
    RECOMMENDED,
    SOONEST,
    Problem,
    Task,
    Terms,
    habits,
)
from squibwise.plan.offers import judge_offers, list_needs

_POINTS = 6
Progress = Callable[[int, int], None]


def plan_buying(
    case: Case,
    work: Work,
    sheet: OfferSheet,
    terms: ShopTerms,
    catalog: Catalog,
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
        progress: Told the best total and the bound so far.
    """
    wanted = list_needs(work)
    judged, findings = judge_offers(sheet.offers, wanted, case, catalog)
    offered = {j.need for j in judged if _counts(j)}
    missing = tuple(n for n in wanted if n.key not in offered)
    needs = tuple(n for n in wanted if n.key in offered)
    problem = state_problem(needs, judged, sheet.suppliers, work, terms, case.currency)
    plans = tuple(solve(problem, aim, progress) for aim in (CHEAPEST, SOONEST, RECOMMENDED))
    return BuyAnswer(
        plans=plans,
        habits=tuple(_follow_habits(problem)),
        curve=_draw_curve(problem, plans[1].ready_day, plans[0].ready_day),
        judged=judged,
        without_offer=tuple(n.title for n in missing),
        findings=(
            *sheet.findings,
            *findings,
            *(_no_offer(n) for n in missing),
            *(_not_proven(p) for p in plans if not p.optimal),
        ),
    )


def _counts(judged: JudgedOffer) -> bool:
    return judged.is_usable or judged.offer.state in KEPT_STATES


def state_problem(
    needs: Sequence[Need],
    judged: Sequence[JudgedOffer],
    suppliers: Sequence[Supplier],
    work: Work,
    terms: ShopTerms,
    currency: str,
) -> Problem:
    """Return everything that is decided together."""
    wanted = {n.key for n in needs}
    operations = [o for o in work.operations if not o.done]
    before = _earlier_visits(work)
    looks = {n.key: _find_look(n, operations) for n in needs if n.chance < 1.0}

    def minor(amount: float) -> int:
        return from_major(amount, currency).minor

    return Problem(
        needs=tuple(needs),
        offers=tuple((j.need, j.offer) for j in judged if j.need in wanted and _counts(j)),
        suppliers=tuple(suppliers),
        tasks=tuple(_task(o, before[o.id], needs, terms, currency) for o in operations),
        terms=Terms(
            currency=currency,
            technicians=terms.technicians,
            day_minutes=round(terms.day_hours * 60),
            hour=minor(terms.hour),
            bay_day=minor(terms.bay_day),
            deadline=terms.deadline,
            late_day=minor(terms.late_day),
            rejects=terms.rejects,
            lead_chance=terms.lead_chance,
            seconds=terms.seconds,
        ),
        looks={key: look for key, look in looks.items() if look},
        late=terms.late,
    )


def _earlier_visits(work: Work) -> dict[str, tuple[str, ...]]:
    """Return the open operations of the visit before, by operation: power parts visits.

    Work of two visits never runs side by side, whatever its own order allows.
    """
    before: tuple[str, ...] = ()
    found: dict[str, tuple[str, ...]] = {}
    for visit in work.visits:
        mine = tuple(o.id for o in visit.operations if not o.done)
        found |= dict.fromkeys(mine, before)
        before = mine or before
    return found


def _task(
    operation: Operation,
    before: tuple[str, ...],
    needs: Sequence[Need],
    terms: ShopTerms,
    currency: str,
) -> Task:
    service = terms.services.get(operation.id)
    mine = tuple(n.key for n in needs if _fits(operation, n))
    task = Task(
        id=operation.id,
        title=operation.title,
        minutes=operation.minutes.likely,
        after=operation.after,
        follows=before,
        hold=operation.hold_minutes,
        needs=mine,
    )
    if service is None:
        return task
    return msgspec.structs.replace(
        task,
        minutes=round(service.days * terms.day_hours * 60),
        outside=True,
        notice=service.notice,
        price=from_major(service.price, currency).minor,
    )


def _fits(operation: Operation, need: Need) -> bool:
    assembly = need.key.partition("@")[0]
    same = operation.assembly == assembly and operation.action == "fit"
    return same and bool(set(operation.components) & set(need.contains))


def _find_look(need: Need, operations: Iterable[Operation]) -> str:
    """Return the operation that looks at what a need is about; empty when none does."""
    looks = [o for o in operations if o.action == "look"]
    mine = [o for o in looks if set(o.components) & set(need.contains)]
    return mine[0].id if mine else ""


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
        cost = Money(minor=paid, currency=problem.terms.currency)
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


def list_requests(
    case: Case, needs: Sequence[Need], labels: dict[str, str]
) -> list[dict[str, str]]:
    """Return the rows of a sheet to send to parts desks; answered, it reads back as offers.

    Args:
        case: The car.
        needs: What is asked for.
        labels: Number on the old label, by component id.
    """
    return [
        {
            "offer": f"ask-{number}",
            "part": need.key,
            "description": need.title,
            "quantity": str(need.quantity),
            "vin": case.car.vin or "",
            "model year": str(case.car.model_year or ""),
            "old label number": next((labels[c] for c in need.contains if c in labels), ""),
            "stages": _stages(case, need),
            "live": "yes" if need.live else "no",
            "supplier": "",
            "part number": "",
            "condition": "",
            "price": "",
            "currency": case.currency,
            "lead days": "",
            "shipping": "",
            "free from": "",
            "dangerous goods": "",
            "donor vin": "",
            "documents": "",
            "return days": "",
            "restock": "",
        }
        for number, need in enumerate(needs, start=1)
    ]


def _stages(case: Case, need: Need) -> str:
    counts = [f"{c} {case.car.stages[c]}" for c in need.contains if case.car.stages.get(c, 1) > 1]
    return "; ".join(counts)
