"""Rules to work items: what must be done on the car, in order, with reasons."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.tasks import KindWork
from squibwise.catalog.texts import notices_for
from squibwise.history.signed import settling_look
from squibwise.model.belief import Assessment, Because
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.work import Caution, Work, WorkItem
from squibwise.require.asks import Ask, own_asks, profile_asks
from squibwise.require.causes import cause_items
from squibwise.require.demands import Demand, demands
from squibwise.require.job import Job, held_gates, open_job
from squibwise.require.order import ordered
from squibwise.require.progress import STEP, is_done, signed
from squibwise.require.remarks import remarks
from squibwise.require.situation import Situation
from squibwise.require.steps import cautions_of, needed_steps, step_items
from squibwise.require.words import asked_by, item_title, reasons_as_because

UNKNOWN = "unknown"
_FINISHING = ("clear", "lamp-check", "drive", "final-scan")


class _Asked(msgspec.Struct, frozen=True, kw_only=True):
    """What is asked for: to be followed, and by each profile."""

    profile: str
    followed: dict[str, Demand]
    by_profile: dict[str, dict[str, Demand]]


def work(case: Case, assessment: Assessment, catalog: Catalog) -> Work:
    """Return what must be done on the car, in order, with reasons.

    Under an unknown profile the items are the strictest union of every shipped profile, each
    saying which profiles ask for it; ``spread`` and ``chances`` hold what each asks for alone.
    Under a known profile they hold that one.
    """
    job = open_job(case, assessment, catalog)
    own, findings = own_asks(case, catalog)
    asked = _asked(job, own)
    items = _items(job, asked)
    return Work(
        profile=asked.profile,
        items=_finish(items),
        spread={n: tuple(d) for n, d in asked.by_profile.items()},
        chances={
            n: {i: d.probability for i, d in by_id.items()} for n, by_id in asked.by_profile.items()
        },
        notices=_notices(case, catalog),
        findings=(*findings, *remarks(job, items)),
    )


def _asked(job: Job, own: tuple[Ask, ...]) -> _Asked:
    book, case, redone = job.catalog.rules, job.case, job.progress.replaced
    situation = Situation(
        case=case,
        assessment=job.assessment,
        catalog=job.catalog,
        cleared=signed(job.progress, "inspect", "passed"),
        failed=signed(job.progress, "inspect", "failed"),
    )
    default = profile_asks(book.default.rule, case, job.catalog)
    known = case.profile.name in book.profiles
    names = [case.profile.name] if known else list(book.profiles)
    asks = {n: profile_asks(book.profiles[n].rule, case, job.catalog) for n in names}
    by_profile = {n: demands((*default, *a), own, situation, redone) for n, a in asks.items()}
    if known:
        return _Asked(profile=names[0], followed=by_profile[names[0]], by_profile=by_profile)
    union = (*default, *(a for profile in asks.values() for a in profile))
    followed = demands(union, own, situation, redone)
    return _Asked(profile=UNKNOWN, followed=followed, by_profile=by_profile)


def _items(job: Job, asked: _Asked) -> tuple[WorkItem, ...]:
    steps = needed_steps(job, asked.followed.values())
    held = held_gates(job, frozenset(s.id for s in steps))
    items = step_items(job, steps, held)
    items |= cause_items(job.assessment, job.limits.trace, job.progress, job.catalog)
    items |= {i: _demand_item(d, job, asked, held) for i, d in asked.followed.items()}
    by_id = {s.id: s for s in steps}
    return ordered(items, by_id, job.catalog.tasks, job.case.car.drive_hand)


def _demand_item(demand: Demand, job: Job, asked: _Asked, held: frozenset[str]) -> WorkItem:
    catalog = job.catalog
    task = catalog.tasks.work[split_component(demand.component).kind]
    told = asked_by(demand, asked.by_profile) if asked.profile == UNKNOWN else ()
    item = WorkItem(
        id=demand.id,
        action=demand.action,
        component=demand.component,
        title=item_title(demand, catalog),
        strict=demand.reasons[0].ask.strict if demand.reasons else "always",
        probability=demand.probability,
        because=reasons_as_because(demand, catalog) + told + _hints(demand, job),
        minutes=_minutes(demand.action, task),
        tools=task.tools,
        cautions=cautions_of(_caution_ids(demand.action, task), catalog),
        passes_when=_PASSES[demand.action].format(id=demand.id, component=demand.component),
    )
    done = is_done(item, job.assessment, job.progress)
    gates = () if done else _gates(demand.action, task)
    return msgspec.structs.replace(item, done=done, blocked_by=tuple(g for g in gates if g in held))


_PASSES = {
    "replace": "done: {component} replaced, with a part label",
    "inspect": "passed {id}: it is kept; failed {id}: it is replaced",
    "trace": "the fault is found and repaired, and a later scan is clean",
    "calibrate": "passed {id}, with the conditions and readings it was done under",
    "keep": "the inspection was signed as passed",
}
_POWER_GATES = ("unit-bolted", "power-safe")


def _gates(action: str, task: KindWork) -> tuple[str, ...]:
    """Return the gates of an action; a circuit is traced with the power on."""
    if action == "replace":
        return task.gates
    return _POWER_GATES if action == "trace" else ()


def _minutes(action: str, task: KindWork) -> int:
    if action in ("replace", "inspect", "calibrate"):
        return int(getattr(task, action)[1])
    return task.inspect[1] if action == "trace" else 0


def _caution_ids(action: str, task: KindWork) -> tuple[str, ...]:
    if action == "trace":
        return tuple(dict.fromkeys(("full-wait", "no-meter", "movement", *task.cautions)))
    if action == "replace":
        return tuple(dict.fromkeys(("full-wait", *task.cautions)))
    return ("key-on", *task.cautions) if action == "calibrate" else task.cautions


def _hints(demand: Demand, job: Job) -> tuple[Because, ...]:
    if demand.doubtful:
        look = settling_look(demand.component, job.assessment, job.catalog)
        return (Because(text=f"What settles it: {look}"),)
    if demand.action == "inspect":
        task = job.catalog.tasks.work[split_component(demand.component).kind]
        return (Because(text=f"Look at: {task.look}.", sources=(task.source,)),)
    return ()


def _finish(items: tuple[WorkItem, ...]) -> tuple[WorkItem, ...]:
    """Return the items; the finishing steps stay open while any work before them is open."""
    open_work = any(not i.done and i.action in ("replace", "trace", "calibrate") for i in items)
    finishing = {STEP + word for word in _FINISHING}
    return tuple(
        msgspec.structs.replace(i, done=False) if open_work and i.id in finishing else i
        for i in items
    )


def _notices(case: Case, catalog: Catalog) -> tuple[Caution, ...]:
    found = notices_for(case.region, catalog.notices)
    return tuple(Caution(id=n.id, text=n.text, source=n.source, basis=n.basis) for n in found)
