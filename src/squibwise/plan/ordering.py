"""From a job and a sheet of offers to three plans, the cost of being ready by a day, and habits."""

import datetime as dt
from collections.abc import Callable, Iterable, Sequence

import msgspec
import numpy as np
from msgspec.structs import astuple

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.model.case import Case
from squibwise.model.cost import Money, from_major, minor_digits
from squibwise.model.evidence import Photo
from squibwise.model.market import (
    KEPT_STATES,
    BuyAnswer,
    BuyPlan,
    CurvePoint,
    Days,
    JudgedOffer,
    Need,
    Offer,
    OfferSheet,
    ShopTerms,
    Supplier,
)
from squibwise.model.names import side_of, split_component
from squibwise.model.origin import Finding
from squibwise.model.work import Operation, Work
from squibwise.plan.buying import least_paid, solve
from squibwise.plan.buying_problem import (
    CHEAPEST,
    RECOMMENDED,
    SOONEST,
    Problem,
    Task,
    habits,
    list_open_days,
)
from squibwise.plan.offers import judge_offers, list_needs, old_labels
from squibwise.plan.prices import LABOUR, read_price_book

_POINTS, _SEED = 6, 1
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
    """
    terms = _with_rate(terms, case)
    wanted = list_needs(work)
    judged, findings = judge_offers(sheet.offers, wanted, case, catalog)
    offered = {j.need for j in judged if _counts(j)}
    missing = tuple(n for n in wanted if n.key not in offered)
    needs = tuple(n for n in wanted if n.key in offered)
    problem = _mark_missing(
        state_problem(needs, judged, sheet.suppliers, work, terms, case.currency, today),
        work,
        missing,
    )
    tell = progress or _tell_nobody
    plans = []
    for aim in (CHEAPEST, SOONEST, RECOMMENDED):
        tell(f"the {aim.name} plan")
        plans.append(solve(problem, aim, np.random.default_rng(_SEED)))
    tell("what habits come to")
    followed = tuple(_follow_habits(problem))
    tell("what being ready earlier costs")
    return BuyAnswer(
        plans=tuple(plans),
        habits=followed,
        curve=_draw_curve(problem, plans[1].ready_day, plans[0].ready_day),
        judged=judged,
        without_offer=tuple(n.title for n in missing),
        missing=missing,
        findings=(
            *sheet.findings,
            *findings,
            *(_no_offer(n) for n in missing),
            *_tell_overdue(judged, terms, today),
            *_doubt_terms(terms, sheet, work),
            *(_not_proven(p) for p in plans if not p.optimal),
        ),
    )


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
    operations = {o.id: o for o in work.operations}
    lacks = {t.id: n.title for t in problem.tasks for n in missing if _fits(operations[t.id], n)}
    tasks = (msgspec.structs.replace(t, lacks=lacks.get(t.id, "")) for t in problem.tasks)
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
    known = {"late": {o.id for o in sheet.offers}, "services": {o.id for o in work.operations}}
    kinds = {"late": "offer of the sheet", "services": "operation of the work list"}
    for table, ids in known.items():
        for word in sorted(set(getattr(terms, table)) - ids):
            yield Finding(
                code="buy-term-unused",
                severity="warning",
                message=f"'{word}' in [{table}] is no {kinds[table]}: it changes nothing.",
                remedy="Write it as the plan does: the last column of an order names each offer."
                if table == "late"
                else "`squibwise work CASE --json` names every operation by its id.",
            )


def _counts(judged: JudgedOffer) -> bool:
    kept = judged.offer.state in KEPT_STATES and not judged.is_wrong
    return judged.is_usable or kept


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
    before, rooms = _earlier_visits(work), _rooms(work)
    looks = {n.key: _find_look(n, operations) for n in needs if n.chance < 1.0}

    return Problem(
        needs=tuple(needs),
        offers=tuple(
            (j.need, _still_to_wait(j.offer, today))
            for j in judged
            if j.need in wanted and _counts(j)
        ),
        suppliers=tuple(suppliers),
        tasks=tuple(
            msgspec.structs.replace(
                _task(o, before[o.id], needs, terms, currency), area=rooms.get(o.id, "")
            )
            for o in operations
        ),
        terms=terms,
        currency=currency,
        looks={key: look for key, look in looks.items() if look},
        open_days=list_open_days(today, terms),
    )


def _still_to_wait(offer: Offer, today: dt.date | None) -> Offer:
    """Return an offer that was ordered with the days that are left of its lead time."""
    if today is None or offer.ordered_on is None or offer.state != "ordered":
        return offer
    gone = max(0, (today - offer.ordered_on).days)
    least = int(gone > offer.lead.high)  # what is overdue comes tomorrow at the soonest
    low, likely, high = (max(least, d - gone) for d in astuple(offer.lead))
    return msgspec.structs.replace(offer, lead=Days(low=low, likely=likely, high=high))


def _tell_overdue(
    judged: Sequence[JudgedOffer], terms: ShopTerms, today: dt.date | None
) -> Iterable[Finding]:
    """Yield each ordered part that should have come by now and has not."""
    for offer in (j.offer for j in judged if j.offer.state == "ordered"):
        if today is None or offer.ordered_on is None or offer.id in terms.late:
            continue
        due = offer.ordered_on + dt.timedelta(days=offer.lead.high)
        if due < today:
            yield Finding(
                code="offer-overdue",
                severity="warning",
                message=f"'{offer.fits}' from {offer.supplier} was due by {due} and is not marked "
                "as arrived; the plan counts on it tomorrow.",
                remedy=f"If it came, write 'arrived'. Else ask, and write {offer.id} = DAYS under "
                "[late] in buying.toml.",
                origin=offer.origin,
            )


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


def _rooms(work: Work) -> dict[str, str]:
    """Return the part of the car each operation is done in, where that has room for one person.

    That is what is opened and closed; whole-car work has room for two.
    """
    areas = [a for v in work.visits for a in v.areas]
    narrow = {a.area for a in areas if any(o.action in ("open", "close") for o in a.operations)}
    return {o.id: a.area for a in areas if a.area in narrow for o in a.operations}


def _task(
    operation: Operation,
    visit: tuple[tuple[str, ...], str],
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
        follows=visit[0],
        hold=operation.hold_minutes,
        needs=mine,
        number=operation.n,
        visit=visit[1],
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


def list_requests(case: Case, needs: Sequence[Need]) -> list[dict[str, str]]:
    """Return the rows of a sheet to send to parts desks; answered, it reads back as offers.

    What stands before the supplier is told; the rest is for the answer.

    Args:
        case: The car, the labels and photographs of its parts.
        needs: What is asked for.
    """
    labels = old_labels(case)
    return [
        {
            "offer": f"ask-{number}",
            "part": need.key,
            "asked for": need.title,
            "quantity": str(need.quantity),
            "vin": case.car.vin or "",
            "model year": str(case.car.model_year or ""),
            "side": _side(case, need),
            "old label number": next((labels[c] for c in need.contains if c in labels), ""),
            "photo": "; ".join(_photos(case, need)),
            "colour": "",
            "stages": _stages(case, need),
            "connectors": _connectors(case, need),
            "live": "yes" if need.live else "no",
            **dict.fromkeys(_ANSWER, ""),
            "currency": case.currency,
        }
        for number, need in enumerate(needs, start=1)
    ]


_ANSWER = (
    "supplier", "part number", "condition", "price", "currency", "lead days", "shipping",
    "free from", "dangerous goods", "donor vin", "documents", "return days", "restock", "state",
    "label number", "label side",
)  # fmt: skip


def _side(case: Case, need: Need) -> str:
    places = {split_component(c).place for c in need.contains}
    return " and ".join(sorted({s for p in places if (s := side_of(p, case.car.drive_hand))}))


def _photos(case: Case, need: Need) -> list[str]:
    photos = (e for e in case.evidence if isinstance(e, Photo))
    return [p.file for p in photos if p.component in need.contains]


def _stages(case: Case, need: Need) -> str:
    counts = [f"{c} {case.car.stages[c]}" for c in need.contains if case.car.stages.get(c, 1) > 1]
    return "; ".join(counts)


def _connectors(case: Case, need: Need) -> str:
    """Return how many squib connectors a part has: one for each stage of each charge in it."""
    if not need.live:
        return ""
    charges = [c for c in need.contains if c in case.car.stages] or list(need.contains[:1])
    return f"{sum(case.car.stages.get(c, 1) for c in charges)} squib"


def list_lines(sheet: OfferSheet, plan: BuyPlan, today: dt.date) -> list[dict[str, str]]:
    """Return every line of a sheet under our own headings, what the plan orders now as ordered.

    It reads back as the same offers: a later plan keeps what is ordered.
    """
    now = {p.offer for p in plan.purchases if not p.after_look}
    suppliers = {s.name: s for s in sheet.suppliers}
    return [_write_line(o, suppliers[o.supplier], now, today) for o in sheet.offers]


def _write_line(offer: Offer, supplier: Supplier, now: set[str], today: dt.date) -> dict[str, str]:
    def plain(amount: Money | None) -> str:
        return "" if amount is None else amount.text().rpartition(" ")[0].replace(",", "")

    moves = offer.id in now and offer.state == "quoted"
    ordered = today if moves else offer.ordered_on
    lead = offer.lead
    return {
        "offer": offer.id,
        "part": offer.fits,
        "supplier": offer.supplier,
        "part number": offer.part_number,
        "condition": offer.condition,
        "price": plain(offer.price),
        "currency": offer.price.currency,
        "quantity": "" if offer.quantity is None else str(offer.quantity),
        "lead low": str(lead.low),
        "lead days": str(lead.likely),
        "lead high": str(lead.high),
        "shipping": plain(supplier.shipping),
        "free from": plain(supplier.free_from),
        "dangerous goods": plain(supplier.dangerous),
        "donor vin": offer.donor_vin,
        "documents": "; ".join(offer.documents),
        "fails": f"{100 * offer.fails:g} %",
        "return days": "" if offer.return_days is None else str(offer.return_days),
        "restock": f"{100 * offer.restock:g} %",
        "state": "ordered" if moves else offer.state,
        "quoted on": offer.quoted_on.isoformat() if offer.quoted_on else "",
        "ordered on": ordered.isoformat() if ordered else "",
        "label number": offer.label_number,
        "label side": offer.label_side,
        "label says": offer.label_what,
    }
