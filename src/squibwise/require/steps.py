"""Steps of the procedure that a case needs, as work items."""

from collections.abc import Iterable

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.tasks import Step
from squibwise.model.belief import Assessment, Because
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.words import WEAK_BASES
from squibwise.model.work import Caution, WorkItem
from squibwise.require.demands import REPLACE, Demand, Limits
from squibwise.require.event import any_fired, crash_chance
from squibwise.require.progress import STEP, Progress, step_done
from squibwise.require.words import component_title

KEY_ON_GATE = "key-on-safe"


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


def needed_steps(
    case: Case, assessment: Assessment, wanted: Iterable[Demand], limits: Limits, catalog: Catalog
) -> tuple[Step, ...]:
    """Return the steps that this case needs, in the order of their ranks."""
    words = _situations(case, assessment, list(wanted), limits, catalog)
    chosen = (s for s in catalog.tasks.steps.values() if s.when in words)
    return tuple(sorted(chosen, key=lambda s: (s.rank, s.id)))


def _situations(
    case: Case, assessment: Assessment, wanted: list[Demand], limits: Limits, catalog: Catalog
) -> set[str]:
    fired = any_fired(assessment) >= limits.spread
    crash = crash_chance(case, assessment) >= limits.inspect
    words = {"always"}
    words |= {"fired"} if fired else set()
    words |= {"crash"} if fired or crash else set()
    if any(_is_charge_work(d, catalog) for d in wanted):
        words.add("charge-work")
    return words


def _is_charge_work(demand: Demand, catalog: Catalog) -> bool:
    kind = split_component(demand.component).kind
    return demand.action == REPLACE and catalog.tasks.work[kind].fit == "charge"


def with_key_on(
    steps: tuple[Step, ...], words_of_crash: bool, progress: Progress, catalog: Catalog
) -> tuple[Step, ...]:
    """Return the steps with the reading step that the key-on gate allows.

    Behind a passed or open gate codes are saved with the key on; after a failed one the unit
    is read out of the car.
    """
    refused = progress.failed(KEY_ON_GATE)
    wanted = {"key-on-refused"} if refused else {"key-on"}
    if words_of_crash and not refused:
        wanted.add("key-on-crash")
    more = [s for s in catalog.tasks.steps.values() if s.when in wanted]
    return tuple(sorted((*steps, *more), key=lambda s: (s.rank, s.id)))


def step_items(
    steps: tuple[Step, ...],
    case: Case,
    assessment: Assessment,
    progress: Progress,
    gates: frozenset[str],
    catalog: Catalog,
) -> dict[str, WorkItem]:
    """Return the steps as work items by id; ``after`` is filled in later."""
    wait = read_wait(case, catalog)
    return {
        STEP + s.id: _step_item(s, case, assessment, progress, gates, wait, catalog) for s in steps
    }


def _step_item(
    step: Step,
    case: Case,
    assessment: Assessment,
    progress: Progress,
    gates: frozenset[str],
    wait: Wait,
    catalog: Catalog,
) -> WorkItem:
    passes = {g.step: w for w, g in catalog.tasks.gates.items() if g.step}
    gate = passes.get(step.id)
    done = gate in gates if gate else step_done(step, case, progress, gates)
    because = (_step_because(step),) + ((wait.because,) if step.hold else ())
    if step.id == "live-charges":
        because += _live_charges(assessment, catalog)
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
        cautions=cautions_of(step.cautions, catalog),
        done=done,
        blocked_by=() if done else tuple(g for g in step.gates if g not in gates),
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
