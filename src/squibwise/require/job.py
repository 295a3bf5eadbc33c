"""What every part of the work list looks at, in one record: limits, progress, the wait."""

from collections.abc import Collection
from functools import cached_property

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.signed import speaks_against, unit_exposed, was_flooded
from squibwise.model.belief import Assessment, Because
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.require.conditions import weigh_any_fired, weigh_crash
from squibwise.require.demands import Limits, read_limits
from squibwise.require.progress import (
    KEY_ON_GATE,
    LATER_KEY_ON_GATE,
    LOADS_GATE,
    STEP,
    Progress,
    close_gates,
    read_progress,
)

HIGH_VOLTAGE = "high-voltage-cutoff"
_LOADS_HUNTED, _WET = "hunt-loads", "wet"


class Wait(msgspec.Struct, frozen=True, kw_only=True):
    """The wait after power-down, in whole minutes, rounded up, and where it was read."""

    minutes: int
    because: Because
    known: bool


class Job(msgspec.Struct, frozen=True, kw_only=True, dict=True):
    """One car on the way through the work list.

    Attributes:
        limits: From which probability on a rule is followed.
        progress: What people signed for and did.
        closed: Gates that hold nothing any more.
        wait: After every power-down.
    """

    case: Case
    assessment: Assessment
    catalog: Catalog
    limits: Limits
    progress: Progress
    closed: frozenset[str]
    wait: Wait

    @cached_property
    def has_fired(self) -> bool:
        """Is it believed enough that something fired."""
        return weigh_any_fired(self.assessment) >= self.limits.spread

    @cached_property
    def had_crash(self) -> bool:
        """Is it believed enough that there was a crash, or that something fired."""
        return self.has_fired or weigh_crash(self.case, self.assessment) >= self.limits.inspect

    @property
    def was_flooded(self) -> bool:
        """Is it told that the car as a whole stood in water."""
        return was_flooded(self.case, self.catalog)

    @property
    def may_be_bridged(self) -> bool:
        """Were loads or bridges left in, or airbags taken out, so that they must be expected."""
        gone = (b.id for b in self.assessment.components if b.now.missing >= self.limits.likely)
        kinds = (self.catalog.kinds[split_component(c).kind] for c in gone)
        return bool(self.assessment.loads_left_in) or any(k.family == "bag" for k in kinds)

    @property
    def has_high_voltage(self) -> bool:
        """Has the car a high-voltage system."""
        return any(split_component(c).kind == HIGH_VOLTAGE for c in self.case.car.components)

    def fired(self, *kinds: str) -> float:
        """Return the probability that a component of one of these kinds fired."""
        return max(
            (
                max(c.after_crash.fired, c.now.fired)
                for c in self.assessment.components
                if split_component(c.id).kind in kinds
            ),
            default=0.0,
        )


def open_job(case: Case, assessment: Assessment, catalog: Catalog) -> Job:
    """Return the job of a case, with the gates its evidence closes."""
    progress = read_progress(case)
    return Job(
        case=case,
        assessment=assessment,
        catalog=catalog,
        limits=read_limits(catalog),
        progress=progress,
        closed=close_gates(progress, catalog),
        wait=read_wait(case, catalog),
    )


def refuse_power(case: Case, assessment: Assessment, catalog: Catalog) -> tuple[str, ...]:
    """Return why a car may not be switched on now; empty when nothing speaks against it."""
    return list_refusals(open_job(case, assessment, catalog))


def list_refusals(job: Job) -> tuple[str, ...]:
    """Return why the car may not be switched on: each reason a sentence.

    Whoever signs for a later key-on has settled them all.
    """
    steps, gates, progress = job.catalog.tasks.steps, job.catalog.tasks.gates, job.progress
    if LATER_KEY_ON_GATE in job.closed:
        return ()
    found = [steps[_WET].title] if job.was_flooded else []
    against = {word for word, _ in speaks_against(progress.history, job.catalog)}
    seen = KEY_ON_GATE in against or unit_exposed(progress.history) is not None
    if progress.failed(KEY_ON_GATE) or seen:
        found.append(
            "No key-on: the car was found unsafe to switch on. The unit is read out of it."
        )
    if job.may_be_bridged and not progress.passed(f"{STEP}{_LOADS_HUNTED}"):
        found.append(
            "No key-on before every igniter connector was opened: a load or a bridge may join a "
            "live device to a wrong circuit."
        )
    if not found and job.had_crash and KEY_ON_GATE not in job.closed:
        found.append(f"No key-on before somebody signs: {gates[KEY_ON_GATE].text}")
    return tuple(found)


def hold_gates(job: Job, steps: frozenset[str], situations: Collection[str]) -> frozenset[str]:
    """Return the gates that hold operations now.

    A gate whose closing step is not on the list holds nothing; loads that somebody issued all the
    same hold theirs until they are back.

    Args:
        job: The job.
        steps: Ids of the steps that are on the list.
        situations: Words that hold of the car.
    """
    held = {
        word
        for word, gate in job.catalog.tasks.gates.items()
        if word not in job.closed and (gate.step in steps if gate.step else gate.when in situations)
    }
    return frozenset(held | ({LOADS_GATE} if job.progress.loads.out else set()))


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
