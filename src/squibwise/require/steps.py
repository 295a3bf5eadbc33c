"""Steps of the procedure that a case needs, as work items."""

from collections.abc import Iterable

import msgspec

from squibwise.catalog.load import Catalog, component_title
from squibwise.catalog.tasks import Step
from squibwise.model.belief import Assessment, Because
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.words import WEAK_BASES
from squibwise.model.work import Caution, WorkItem
from squibwise.require.demands import REPLACE, Demand
from squibwise.require.event import unit_is_gone
from squibwise.require.job import Job
from squibwise.require.progress import STEP, step_done

KEY_ON_GATE = "key-on-safe"
LIVE_CHARGES = "live-charges"


class Wait(msgspec.Struct, frozen=True, kw_only=True):
    """The wait after power-down, in whole minutes, rounded up, and where it was read."""

    minutes: int
    because: Because
    known: bool


def read_wait(case: Case, catalog: Catalog) -> Wait:
    """Return the wait of the car's profile, else the longest published one, in minutes."""
    given = case.profile.wait_minutes
    if given is not None:
        text = f"Wait {given.value:g} min after power-down; you cite: {given.source}."
        return Wait(minutes=_up(given.value), because=Because(text=text), known=True)
    fact = catalog.fact("require.wait-unknown")
    text = (
        f"The maker's wait was not entered, so the longest published one is used: "
        f"{fact.number():g} min ({fact.at})."
    )
    because = Because(text=text, sources=(fact.source,))
    return Wait(minutes=_up(fact.number()), because=because, known=False)


def _up(minutes: float) -> int:
    return -int(-minutes // 1)


def needed_steps(job: Job, wanted: Iterable[Demand]) -> tuple[Step, ...]:
    """Return the steps that this case needs, in the order of their ranks."""
    words = _situations(job, list(wanted))
    chosen = (s for s in job.catalog.tasks.steps.values() if s.when in words)
    return tuple(sorted(chosen, key=lambda s: (s.rank, s.id)))


def _situations(job: Job, wanted: list[Demand]) -> set[str]:
    """Return the words that hold of the car.

    Behind a passed or open key-on gate codes are saved with the key on; after a failed one the
    unit is read out of the car; from a unit that is not there nothing is saved.
    """
    gone = unit_is_gone(job.case)
    refused = job.progress.failed(KEY_ON_GATE) and not gone
    holds = {
        "always": True,
        "fired": job.has_fired,
        "crash": job.had_crash,
        "charge-work": any(_is_charge_work(d, job.catalog) for d in wanted),
        "key-on": not refused and not gone,
        "key-on-crash": not refused and not gone and job.had_crash,
        "key-on-refused": refused,
    }
    return {word for word, is_so in holds.items() if is_so}


def _is_charge_work(demand: Demand, catalog: Catalog) -> bool:
    kind = split_component(demand.component).kind
    return demand.action == REPLACE and catalog.tasks.work[kind].fit == "charge"


def step_items(job: Job, steps: tuple[Step, ...], held: frozenset[str]) -> dict[str, WorkItem]:
    """Return the steps as work items by id; ``after`` is filled in later."""
    wait = read_wait(job.case, job.catalog)
    return {STEP + s.id: _step_item(s, job, held, wait) for s in steps}


def _step_item(step: Step, job: Job, held: frozenset[str], wait: Wait) -> WorkItem:
    gate = next((w for w, g in job.catalog.tasks.gates.items() if g.step == step.id), None)
    done = gate in job.closed if gate else step_done(step, job.progress, job.closed, job.catalog)
    because = (_step_because(step),) + ((wait.because,) if step.hold else ())
    if step.id == LIVE_CHARGES:
        because += _live_charges(job.assessment, job.catalog)
    return WorkItem(
        id=STEP + step.id,
        action="do",
        component=None,
        title=step.title,
        strict="always",
        because=because,
        hold_minutes=wait.minutes if step.hold else 0,
        minutes=step.minutes,
        tools=step.tools,
        cautions=cautions_of(step.cautions, job.catalog),
        done=done,
        blocked_by=() if done else tuple(g for g in step.gates if g in held),
        passes_when=step.passes_when,
    )


def _step_because(step: Step) -> Because:
    weak = step.basis if step.basis in WEAK_BASES else None
    return Because(text=step.text, sources=(step.source,), weak=weak)


def cautions_of(ids: Iterable[str], catalog: Catalog) -> tuple[Caution, ...]:
    """Return cautions of the catalogue as they are printed beside an item."""
    found = (catalog.cautions[i] for i in ids)
    return tuple(Caution(id=c.id, text=c.text, source=c.source, basis=c.basis) for c in found)


def live_stages(assessment: Assessment, catalog: Catalog) -> tuple[tuple[str, float], ...]:
    """Return the circuits of fired devices that may still be live, with how probable that is.

    A stage counts until it is believed spent as surely as the fact ``require.sure`` asks; even
    then it is handled as live until a person confirms it spent.
    """
    sure = catalog.fact("require.sure").number()
    least = catalog.fact("require.replace-from").number()
    return tuple(
        (f"{belief.id}/{stage}", 1.0 - chance.fired)
        for belief in assessment.components
        if max(belief.after_crash.fired, belief.now.fired) >= least
        for stage, chance in sorted(belief.stages.items())
        if chance.fired < sure
    )


def _live_charges(assessment: Assessment, catalog: Catalog) -> tuple[Because, ...]:
    return tuple(
        Because(
            text=(
                f"Stage {loop.rpartition('/')[2]} of the "
                f"{component_title(loop.partition('/')[0], catalog)} may be live ({chance:.2f})."
            )
        )
        for loop, chance in live_stages(assessment, catalog)
    )
