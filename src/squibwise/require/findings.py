"""What is doubtful about a work list, as findings a person can act on."""

from collections.abc import Iterator

from squibwise.catalog.load import Catalog, component_title
from squibwise.history.signed import find_soaked, unit_exposed, was_flooded
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Look, Passed
from squibwise.model.origin import Finding
from squibwise.model.words import ASKED_WORDS, RELEASE_WORDS, VERDICT_WORDS
from squibwise.model.work import Demand, Visit
from squibwise.require.job import Job
from squibwise.require.progress import KEY_ON_GATE, STEP, Progress
from squibwise.require.steps import find_live_stages

UNIT = "centre.control-unit"
LAMP = "centre.warning-lamp"


def list_findings(
    job: Job, items: tuple[Demand, ...], visits: tuple[Visit, ...]
) -> tuple[Finding, ...]:
    """Return every finding on the work list."""
    return (
        *_profile(job.case, job.catalog),
        *_wait(job.case, job.catalog),
        *_water(job.case, job.catalog),
        *_key_on(job.progress),
        *_hidden_lamp(job.case),
        *_stages(job.assessment, items, job.catalog),
        *_cleared(job.case, items),
        *_loads(job.progress),
        *_strangers(job.case, items, visits, job.catalog),
    )


def _profile(case: Case, catalog: Catalog) -> Iterator[Finding]:
    name = case.profile.name
    if name == "unknown":
        yield Finding(
            code="profile-unknown",
            severity="note",
            message=(
                "The maker's rules for this car were not entered: the list is the strictest "
                "union of six placeholder profiles."
            ),
            remedy="Enter the profile or the maker's rules with their citation under [profile].",
        )
    elif name not in catalog.rules.profiles:
        yield Finding(
            code="profile-not-shipped",
            severity="warning",
            message=f"There is no rule profile '{name}'; every shipped profile is computed.",
            remedy=f"Use one of {', '.join(catalog.rules.profiles)} or unknown.",
        )


def _wait(case: Case, catalog: Catalog) -> Iterator[Finding]:
    if case.profile.wait_minutes is None:
        minutes = catalog.fact("require.wait-unknown").number()
        yield Finding(
            code="wait-not-entered",
            severity="note",
            message=f"The maker's wait after power-down was not entered: {minutes:g} min are used.",
            remedy="Enter wait_minutes with its citation under [profile].",
        )


def _water(case: Case, catalog: Catalog) -> Iterator[Finding]:
    if was_flooded(case, catalog) and not find_soaked(case, catalog):
        yield Finding(
            code="flood-by-title",
            severity="note",
            message="The title says that the car stood in water; it is treated so.",
            remedy='Add a story with known = ["soaked"] and the height, or correct the title.',
        )


def _hidden_lamp(case: Case) -> Iterator[Finding]:
    looks = [e for e in case.evidence if isinstance(e, Look) and e.component == LAMP]
    if any(look.seen in ("covered", "missing") for look in looks):
        yield Finding(
            code="lamp-hidden",
            severity="warning",
            message="The warning lamp was hidden or taken out: somebody did not want a fault seen.",
            remedy="Make it visible, read every circuit of the unit, and look for loads and "
            "bridges; no lamp check counts before.",
        )


def _key_on(progress: Progress) -> Iterator[Finding]:
    wet = unit_exposed(progress.history)
    if wet is not None:
        yield Finding(
            code="key-on-refused",
            severity="warning",
            message=f"The car may not be switched on: told of {wet.what} that reached the unit.",
            remedy="Replace the unit and every part that was reached, igniters disconnected.",
        )
    elif progress.failed(KEY_ON_GATE):
        yield Finding(
            code="key-on-refused",
            severity="warning",
            message="The car may not be switched on: the key-on gate failed.",
            remedy="Have the unit read out of the car by the maker's route, igniters disconnected.",
        )


def _stages(
    assessment: Assessment, items: tuple[Demand, ...], catalog: Catalog
) -> Iterator[Finding]:
    likely = catalog.fact("require.likely").number()
    fired = {c.id for c in assessment.components if c.after_crash.fired >= likely}
    open_work = {i.component for i in items if i.action == "replace" and not i.done}
    for loop, chance in find_live_stages(assessment, catalog):
        component, _, stage = loop.partition("/")
        if component in open_work & fired:
            yield Finding(
                code="stage-may-be-live",
                severity="note",
                message=(
                    f"Stage {stage} of the {component_title(component, catalog)} may still be "
                    f"live ({chance:.2f})."
                ),
                remedy="Handle, store and scrap it as live until it is confirmed spent.",
            )


def _cleared(case: Case, items: tuple[Demand, ...]) -> Iterator[Finding]:
    asked = any(i.id == f"{UNIT}:replace" and not i.done for i in items)
    for e in case.evidence:
        if asked and isinstance(e, DoneWork) and e.what == "cleared" and e.component == UNIT:
            yield Finding(
                code="cleared-is-not-replaced",
                severity="warning",
                message="The control unit's record was cleared, but a rule asks for a new unit.",
                remedy="Replace it, or enter the maker's rule that allows clearing, with citation.",
                origin=e.origin,
            )


def _loads(progress: Progress) -> Iterator[Finding]:
    marks = ", ".join(sorted(s.serial for s in progress.loads.out))
    if marks:
        yield Finding(
            code="loads-outstanding",
            severity="warning",
            message=f"Substitute loads still in the car: {marks}.",
            remedy="Take each out with the power off, after the wait, and record its return.",
        )


def _strangers(
    case: Case, items: tuple[Demand, ...], visits: tuple[Visit, ...], catalog: Catalog
) -> Iterator[Finding]:
    known = {i.id for i in items} | {f"{c}:inspect" for c in case.car.components}
    known |= {o.id for v in visits for o in v.operations}
    words = known | {i.removeprefix(STEP) for i in known} | set(catalog.tasks.gates)
    steps = {STEP + s for s in catalog.tasks.steps} | set(catalog.tasks.steps)
    for e in case.evidence:
        named = e.what if isinstance(e, Passed) else e.item if isinstance(e, DoneWork) else None
        if named and named not in words | steps and not _is_for_release(named):
            yield Finding(
                code="item-not-on-list",
                severity="note",
                message=f"'{named}' is neither a gate nor an item of this work list.",
                remedy="Check the word; if the item fell away, leave the entry as it is.",
                origin=e.origin,
            )


def _is_for_release(word: str) -> bool:
    head, _, tail = word.partition(":")
    return (
        word in (*RELEASE_WORDS, *ASKED_WORDS)
        or tail == "disposal"
        or head in (*VERDICT_WORDS, "reading")
    )
