"""What every part of the work list looks at, in one record: limits, progress, the wait."""

from collections.abc import Collection
from functools import cached_property

import msgspec

from squibwise.catalog.load import Catalog, component_title
from squibwise.history.loose_unit import told_loose
from squibwise.history.signed import (
    CONTROL_UNIT,
    NO_POWER,
    is_unit_loose,
    list_reached,
    speaks_against,
    was_flooded,
)
from squibwise.model.belief import Assessment, Because
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance
from squibwise.model.names import split_component
from squibwise.require.access import Way
from squibwise.require.conditions import weigh_any_fired, weigh_crash
from squibwise.require.demands import DemandLimits, read_limits
from squibwise.require.orders import find_pieces
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
        ways_of_pieces: Openings that an assembly lies behind, found already, by its id.
        seen_from: Components that are seen with a look at a place, found already.
        parted: Components that come apart with an opening at a place, found already.
    """

    case: Case
    assessment: Assessment
    catalog: Catalog
    limits: DemandLimits
    progress: Progress
    closed: frozenset[str]
    wait: Wait
    ways_of_pieces: dict[str, tuple[Way, ...]] = {}
    seen_from: dict[tuple[str, str], tuple[str, ...]] = {}
    parted: dict[str, tuple[str, ...]] = {}

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

    @cached_property
    def reached(self) -> tuple[str, ...]:
        """Parts that a flood or fire reached and that nothing has settled since."""
        own = self.case.car.components
        live = {c for c in own if self.catalog.kinds[split_component(c).kind].fires}
        pieces = find_pieces(self.case, self.catalog, self.assessment.located)
        inside = {f"out:{p.id}": p.contains for p in pieces}
        return tuple(list_reached(self.progress.history, own, live, inside))

    @property
    def was_soaked(self) -> bool:
        """Stood the car in water, or did water or fire reach a part, whatever was done since."""
        told = (e for _, e in self.progress.history.all_of(Circumstance))
        return self.was_flooded or any(e.present and e.what in NO_POWER for e in told)

    @property
    def is_wet(self) -> bool:
        """Stood the car in water, and is its unit neither new nor found fit, or a part is not."""
        unit = f"centre.{CONTROL_UNIT}"
        proved = unit in self.progress.replaced or self.progress.passed(f"{unit}:inspect")
        return self.was_flooded and (bool(self.reached) or not proved)

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
    job = Job(
        case=case,
        assessment=assessment,
        catalog=catalog,
        limits=read_limits(catalog),
        progress=progress,
        closed=close_gates(progress, catalog),
        wait=read_wait(case, catalog),
    )
    if not list_unsettled(job):
        return job
    return msgspec.structs.replace(job, closed=job.closed - {KEY_ON_GATE, LATER_KEY_ON_GATE})


def refuse_power(case: Case, assessment: Assessment, catalog: Catalog) -> tuple[str, ...]:
    """Return why a car may not be switched on now; empty when nothing speaks against it."""
    return list_refusals(open_job(case, assessment, catalog))


def list_refusals(job: Job) -> tuple[str, ...]:
    """Return why the car may not be switched on: each reason a sentence.

    Whoever signs for a later key-on settles a gate, never what is known of the car.
    """
    found = list_unsettled(job)
    loose = told_loose(job.progress.history, job.catalog)
    if is_unit_loose(job.progress.history):
        found += (_LOOSE,)
    elif loose is not None:
        found += (_TOLD_LOOSE,)
    if found or LATER_KEY_ON_GATE in job.closed:
        return found
    seen = (word for word, _ in speaks_against(job.progress.history, job.catalog))
    if job.progress.failed(KEY_ON_GATE) or KEY_ON_GATE in seen:
        return ("No key-on: the car was found unsafe to switch on. The unit is read out of it.",)
    if job.had_crash and KEY_ON_GATE not in job.closed:
        return (f"No key-on before somebody signs: {job.catalog.tasks.gates[KEY_ON_GATE].text}",)
    return ()


_LOOSE = (
    "No key-on: the control unit was found loose. Battery off, nobody in the car and the whole "
    "wait before it is touched; a knock may fire everything. Bolt it down first."
)


_TOLD_LOOSE = (
    "No key-on: the control unit is told to be loose. Battery off, nobody in the car and the whole "
    "wait before it is touched; a knock may fire everything. Look at its mount and bolt it down "
    "first."
)


def list_unsettled(job: Job) -> tuple[str, ...]:
    """Return what is known of the car, and not settled by work, that forbids to switch it on.

    No signature takes it away: water and fire go with the parts they reached, loads and bridges
    with the hunt for them.
    """
    reached = job.reached
    found = [job.catalog.tasks.steps[_WET].title] if job.is_wet else []
    if reached:
        unit = next((c for c in reached if split_component(c).kind == CONTROL_UNIT), None)
        first = component_title(unit or reached[0], job.catalog)
        more = f" and {len(reached) - 1} more" if reached[1:] else ""
        found.append(
            f"No key-on: water or fire reached the {first}{more}, not replaced since."
            + (" The unit is read out of the car." if unit else "")
        )
    if job.may_be_bridged and not job.progress.passed(f"{STEP}{_LOADS_HUNTED}"):
        found.append(
            "No key-on before every igniter connector was opened: a load or a bridge may join a "
            "live device to a wrong circuit."
        )
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
