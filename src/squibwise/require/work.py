"""Rules to work: demands with their kinds, what is ordered, operations in visits, questions."""

from collections.abc import Mapping

import msgspec

from squibwise.catalog.load import Catalog, component_title
from squibwise.catalog.texts import notices_for
from squibwise.history.signed import settling_look
from squibwise.model.belief import Assessment, Because
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.work import (
    Caution,
    Demand,
    Minutes,
    Operation,
    Order,
    Saving,
    Visit,
    Work,
)
from squibwise.require.conditions import Situation
from squibwise.require.demands import (
    Ask,
    RuledDemand,
    find_demands,
    gather_own_asks,
    gather_profile_asks,
    give_reasons,
    name_item,
    pick_cautions,
    tell_profiles,
)
from squibwise.require.findings import list_findings
from squibwise.require.job import Job, list_refusals, list_unsettled, open_job
from squibwise.require.looks import list_passed
from squibwise.require.orders import Piece, find_pieces, list_orders
from squibwise.require.progress import is_done, signed
from squibwise.require.questions import Sorted, list_questions, save_by_no, sort_demand
from squibwise.require.reopen import reopen
from squibwise.require.scope import set_scope
from squibwise.require.visits import arrange, count_minutes

UNKNOWN = "unknown"
STEP = "step:"
_BEFORE_UNPLANNED = ("step:make-safe", "step:structure", "step:part-labels")


class _Asked(msgspec.Struct, frozen=True, kw_only=True):
    """What is asked for: to be followed, and by each profile."""

    profile: str
    followed: dict[str, RuledDemand]
    by_profile: dict[str, dict[str, RuledDemand]]
    situation: Situation


def work(case: Case, assessment: Assessment, catalog: Catalog) -> Work:
    """Return what must be done on the car, in order, with reasons.

    Under an unknown profile the demands are the strictest union of every shipped profile, each
    with its kind; ``spread`` and ``chances`` hold what each asks for alone. Under a known profile
    they hold that one.
    """
    job = open_job(case, assessment, catalog)
    own, findings = gather_own_asks(case, catalog)
    asked = _ask(job, own)
    pieces = find_pieces(case, catalog, assessment.located)
    demands = _demands(job, asked, pieces)
    orders = _orders(job, demands, pieces)
    visits = reopen(arrange(set_scope(job, orders, demands, pieces)), job)
    items = _list_items(visits, _let_off(demands, visits, job))
    return Work(
        profile=asked.profile,
        items=items,
        orders=orders,
        visits=visits,
        questions=list_questions(
            job, demands.values(), _savings(job, orders, demands, pieces), _closed_minutes(visits)
        ),
        hours=_hours(job, asked, orders, demands, pieces),
        not_counted=_not_counted(orders, demands),
        no_power=list_refusals(job),
        unsettled=list_unsettled(job),
        spread={n: tuple(d) for n, d in asked.by_profile.items()},
        chances={
            n: {i: d.probability for i, d in by_id.items()} for n, by_id in asked.by_profile.items()
        },
        notices=_notices(case, catalog),
        findings=(*findings, *list_findings(job, items, visits)),
        unproven=assessment.unproven,
    )


def _ask(job: Job, own: tuple[Ask, ...]) -> _Asked:
    book, case, redone = job.catalog.rules, job.case, job.progress.replaced
    situation = Situation(
        case=case,
        assessment=job.assessment,
        catalog=job.catalog,
        cleared=list_passed(job),
        failed=signed(job.progress, "inspect", "failed"),
    )
    default = gather_profile_asks(book.default.rule, case, job.catalog)
    known = case.profile.name in book.profiles
    names = [case.profile.name] if known else list(book.profiles)
    asks = {n: gather_profile_asks(book.profiles[n].rule, case, job.catalog, n) for n in names}
    by_profile = {n: find_demands((*default, *a), own, situation, redone) for n, a in asks.items()}
    union = (*default, *(a for profile in asks.values() for a in profile))
    return _Asked(
        profile=names[0] if known else UNKNOWN,
        followed=find_demands(union, own, situation, redone),
        by_profile=by_profile,
        situation=situation,
    )


def _demands(job: Job, asked: _Asked, pieces: tuple[Piece, ...]) -> dict[str, Demand]:
    """Return every demand; whether a part passes is no question once it was replaced as asked."""
    fitted = _fitted(job, pieces)
    found = {i: _demand(d, job, asked, fitted) for i, d in asked.followed.items()}
    new = {d.component for d in found.values() if d.action == "replace" and d.done}
    settled = (d for d in found.values() if d.action == "inspect" and d.component in new)
    return found | {d.id: msgspec.structs.replace(d, done=True) for d in settled}


def _fitted(job: Job, pieces: tuple[Piece, ...]) -> frozenset[str]:
    """Return the components that came with an assembly whose leading part was replaced."""
    return (
        frozenset(c for p in pieces if set(p.key) & job.progress.replaced for c in p.contains)
        - job.progress.replaced
    )


def _demand(demand: RuledDemand, job: Job, asked: _Asked, fitted: frozenset[str]) -> Demand:
    catalog = job.catalog
    kind = sort_demand(demand, asked.by_profile, asked.situation, job)
    told = tell_profiles(demand, asked.by_profile) if asked.profile == UNKNOWN else ()
    settled = _settling(demand, kind, job)
    item = Demand(
        id=demand.id,
        action=demand.action,
        component=demand.component,
        title=name_item(demand, catalog),
        strict=demand.reasons[0].ask.strict if demand.reasons else "always",
        probability=demand.probability,
        needed=kind.p,
        because=give_reasons(demand, catalog) + told + _hints(demand, settled, job),
        tools=catalog.tasks.work[split_component(demand.component).kind].tools,
        cautions=pick_cautions(_caution_ids(demand, catalog), catalog),
        blocked_by=_gates(demand, catalog),
        passes_when=_PASSES[demand.action].format(id=demand.id, component=demand.component),
        kind=kind.kind,
        profiles=kind.profiles,
        of_profiles=kind.of_profiles,
        settled_by=settled,
        question=kind.question,
    )
    came_along = demand.action == "replace" and demand.component in fitted
    return msgspec.structs.replace(
        item, done=came_along or is_done(item, job.assessment, job.progress, job.catalog)
    )


def _settling(demand: RuledDemand, kind: Sorted, job: Job) -> str:
    """Return what settles a demand: a look at the part or at what its rule hangs on, or a route."""
    if kind.rests_on and kind.rests_on != demand.component:
        look = settling_look(kind.rests_on, job.assessment, job.catalog)
        return f"{component_title(kind.rests_on, job.catalog)}: {look}"
    if demand.doubtful or kind.kind == "look-first":
        named = demand.reasons[0].ask.settled_by if demand.reasons else ""
        return named or settling_look(demand.component, job.assessment, job.catalog)
    return ""


_PASSES = {
    "replace": "done: {component} replaced, with a part label",
    "inspect": "passed {id}: it is kept; failed {id}: it is replaced",
    "trace": "the fault is found and repaired, and a later scan is clean",
    "calibrate": "passed {id}, with the conditions and readings it was done under",
    "keep": "the inspection was signed as passed",
}
_POWER_GATES = ("unit-bolted", "power-safe")


def _gates(demand: RuledDemand, catalog: Catalog) -> tuple[str, ...]:
    """Return the gates of an action; a circuit is traced with the power on."""
    if demand.action == "replace":
        return catalog.tasks.work[split_component(demand.component).kind].gates
    return _POWER_GATES if demand.action == "trace" else ()


def _caution_ids(demand: RuledDemand, catalog: Catalog) -> tuple[str, ...]:
    own = catalog.tasks.work[split_component(demand.component).kind].cautions
    if demand.action == "trace":
        return tuple(dict.fromkeys(("full-wait", "no-meter", "movement", *own)))
    if demand.action == "replace":
        return tuple(dict.fromkeys(("full-wait", *own)))
    return ("key-on", *own) if demand.action == "calibrate" else own


def _hints(demand: RuledDemand, settled: str, job: Job) -> tuple[Because, ...]:
    if settled:
        return (Because(text=f"What settles it: {settled}"),)
    if demand.action == "inspect":
        task = job.catalog.tasks.work[split_component(demand.component).kind]
        return (Because(text=f"Look at: {task.look}.", sources=(task.source,)),)
    return ()


def _orders(
    job: Job, demands: Mapping[str, Demand], pieces: tuple[Piece, ...]
) -> tuple[Order, ...]:
    wanted = [d for d in demands.values() if d.action == "replace"]
    return list_orders(wanted, pieces, job.case, job.catalog)


def _hours(
    job: Job,
    asked: _Asked,
    orders: tuple[Order, ...],
    demands: dict[str, Demand],
    pieces: tuple[Piece, ...],
) -> dict[str, Minutes]:
    """Return the open minutes of the job with less and with more of the order list."""
    lists = {
        "certain": tuple(o for o in orders if o.kind == "certain"),
        "followed": orders,
        "strictest": _strictest(orders),
    }
    for name in asked.by_profile:
        lists[name] = tuple(
            msgspec.structs.replace(o, kind="rule") if name in o.profiles else o
            for o in orders
            if o.kind in ("certain", "look-first") or name in o.profiles
        )
    return {n: _whole_job(job, chosen, demands, pieces) for n, chosen in lists.items()}


def _strictest(orders: tuple[Order, ...]) -> tuple[Order, ...]:
    """Return the orders as the strictest maker would have them."""
    return tuple(
        msgspec.structs.replace(o, kind="rule") if o.kind == "ask" or o.profiles else o
        for o in orders
    )


def _closed_minutes(visits: tuple[Visit, ...]) -> int:
    """Return what the looks into areas would take that nothing opens. [min]."""
    looks = (o for v in visits for o in v.operations if o.action == "look" and o.kind == "ask")
    return sum(o.minutes.likely for o in looks if not o.done)


def _whole_job(
    job: Job, orders: tuple[Order, ...], demands: dict[str, Demand], pieces: tuple[Piece, ...]
) -> Minutes:
    """Return the minutes of a whole job; its lines move together, so the range is of the sum."""
    likely = _likely(job, orders, demands, pieces)
    low = job.catalog.fact("require.job-low").number()
    high = job.catalog.fact("require.job-high").number()
    return Minutes(low=round(likely * low), likely=likely, high=round(likely * high))


def _savings(
    job: Job, orders: tuple[Order, ...], demands: dict[str, Demand], pieces: tuple[Piece, ...]
) -> dict[str, Saving]:
    """Return what a no to each question takes off the strictest list."""
    strict = _strictest(orders)
    whole = _likely(job, strict, demands, pieces)
    words = {o.question for o in orders if o.question and o.kind in ("rule", "ask")}
    return {
        word: save_by_no(
            word,
            orders,
            whole - _likely(job, tuple(o for o in strict if o.question != word), demands, pieces),
            job.case.currency,
        )
        for word in sorted(words)
    }


def _likely(
    job: Job, orders: tuple[Order, ...], demands: dict[str, Demand], pieces: tuple[Piece, ...]
) -> int:
    return count_minutes(set_scope(job, orders, demands, pieces))


def _list_items(visits: tuple[Visit, ...], demands: Mapping[str, Demand]) -> tuple[Demand, ...]:
    """Return demands and steps in the order of the operations that do them.

    A demand that no operation does yet, because a look or an answer decides it first, stands
    before the final power.
    """
    items: dict[str, Demand] = {}
    inside: dict[str, tuple[str, ...]] = {}
    planned = {d for v in visits for o in v.operations for d in o.demands}
    for visit in visits:
        if visit.id == "final":
            held = tuple(w for w in _BEFORE_UNPLANNED if w in items)
            rest = (d for d in demands.values() if d.id not in {*planned, *items})
            items |= {d.id: msgspec.structs.replace(d, after=held) for d in rest}
        for operation in visit.operations:
            before = tuple(i for o in operation.after for i in inside[o])
            own = [i for i in operation.demands if i not in items]
            for index, word in enumerate(own):
                items[word] = _item(word, operation, before, demands, is_first=index == 0)
                items |= _kept(word, demands)
            inside[operation.id] = tuple(own) or before
    return tuple(items.values())


def _let_off(
    demands: Mapping[str, Demand], visits: tuple[Visit, ...], job: Job
) -> dict[str, Demand]:
    """Return the demands, those as advice that only a look decides which the maker does not ask.

    He says that areas which nothing opens stay closed: what lies there and is likely sound holds up
    no release.
    """
    looks = (o for v in visits for o in v.operations if o.action == "look" and not o.done)
    closed = {c for o in looks if o.is_advice for c in o.components}
    unsure = {
        i: d
        for i, d in demands.items()
        if d.action == "replace" and d.kind in ("look-first", "ask") and d.component in closed
    }
    return {
        i: msgspec.structs.replace(d, strict="advice")
        if i in unsure and d.needed < job.limits.likely
        else d
        for i, d in demands.items()
    }


def _kept(word: str, demands: Mapping[str, Demand]) -> dict[str, Demand]:
    """Return the decision to keep a part, right behind the inspection that was signed."""
    component, _, action = word.rpartition(":")
    kept = demands.get(f"{component}:keep") if action == "inspect" else None
    return {kept.id: msgspec.structs.replace(kept, after=(word,))} if kept else {}


def _item(
    word: str,
    operation: Operation,
    before: tuple[str, ...],
    demands: Mapping[str, Demand],
    *,
    is_first: bool,
) -> Demand:
    minutes = operation.minutes.likely if is_first else 0
    if word in demands:
        demand = demands[word]
        return msgspec.structs.replace(
            demand,
            after=tuple(dict.fromkeys(before)),
            minutes=minutes,
            blocked_by=() if demand.done else operation.blocked_by,
            strict="advice" if operation.is_advice else demand.strict,
        )
    return Demand(
        id=word,
        action="do",
        component=None,
        title=operation.title,
        strict="advice" if operation.is_advice else "always",
        probability=operation.p,
        because=operation.because,
        after=tuple(dict.fromkeys(before)),
        hold_minutes=operation.hold_minutes,
        minutes=minutes,
        tools=operation.tools,
        cautions=operation.cautions,
        done=operation.done,
        blocked_by=operation.blocked_by,
        passes_when=operation.passes_when,
    )


def _not_counted(orders: tuple[Order, ...], demands: Mapping[str, Demand]) -> tuple[str, ...]:
    named = [
        "structure and mounting surfaces",
        "paint",
        "waits after power-downs",
        "waits for parts",
    ]
    if any(o.body_work for o in orders):
        named.append("glass and aiming the front camera")
    if any(
        d.component == "driver.steering-column" and d.action == "replace" for d in demands.values()
    ):
        named.append("wheel alignment after a new column")
    return tuple(named)


def _notices(case: Case, catalog: Catalog) -> tuple[Caution, ...]:
    found = notices_for(case.region, catalog.notices)
    return tuple(Caution(id=n.id, text=n.text, source=n.source, basis=n.basis) for n in found)
