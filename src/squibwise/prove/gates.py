"""The gates before release: each asks one question and says what is missing."""

from collections.abc import Callable

from squibwise.catalog.load import Catalog, component_title
from squibwise.model.belief import Assessment, ComponentBelief
from squibwise.model.case import Case
from squibwise.model.proof import Gate, Verdict
from squibwise.model.work import Work
from squibwise.prove import asked
from squibwise.prove.context import Context, is_passed, last_passed, open_items, settling_look


def gates(
    case: Case,
    assessment: Assessment,
    work: Work,
    verdicts: tuple[Verdict, ...],
    catalog: Catalog,
) -> tuple[Gate, ...]:
    """Return every gate before release, open or closed, with what is missing.

    The words and what they ask stand in the catalogue's ``release.toml``. Work that is mere
    advice, and work whose condition is ruled out, opens no gate.
    """
    context = Context(
        case=case, assessment=assessment, work=work, verdicts=verdicts, catalog=catalog
    )
    return tuple(_gate(word, question(context), catalog) for word, question in QUESTIONS.items())


def _gate(word: str, missing: list[str], catalog: Catalog) -> Gate:
    entry = catalog.release_gates[word]
    return Gate(
        id=word,
        open=bool(missing),
        text=entry.text,
        remedy=entry.remedy if missing else "",
        missing=tuple(missing),
    )


def _input_clean(context: Context) -> list[str]:
    findings = (*context.case.findings, *context.assessment.findings, *context.work.findings)
    return list(dict.fromkeys(f.text() for f in findings if f.severity == "error"))


def _maker_procedure(context: Context) -> list[str]:
    profile = context.case.profile
    if profile.name != "unknown" or profile.rules or _is_explained(context, "maker-procedure"):
        return []
    return ["The rules followed are archetypes, not those of this car's maker."]


def _contradictions(context: Context) -> list[str]:
    places = {e.id: n for n, e in enumerate(context.case.evidence)}
    return [
        f"{c.text} {c.remedy}".strip()
        for c in context.assessment.contradictions
        if not _is_explained(
            context, "contradictions", max(map(_at(places), c.evidence), default=-1)
        )
    ]


def _at(places: dict[str, int]) -> Callable[[str], int]:
    return lambda evidence: places.get(evidence, -1)


def _is_explained(context: Context, word: str, after: int = -1) -> bool:
    """Return whether somebody answers for a point by name, says why, and said so afterwards."""
    last = last_passed(context, word)
    named = last is not None and bool(last[1].note and last[1].by)
    return named and is_passed(context, word, after=after)


def _doubtful(context: Context) -> list[str]:
    floor = context.catalog.fact("release.surely-not").number()
    return [
        _doubt(c, context)
        for c in context.assessment.components
        if is_doubtful(c, context) and c.now.sound > floor
    ]


def _not_sound(context: Context) -> list[str]:
    floor = context.catalog.fact("release.surely-not").number()
    listed = {i.component for i in open_items(context, "replace", "inspect", "trace")}
    return [
        f"{c.id} is not sound, and no open work item settles it."
        for c in context.assessment.components
        if c.now.sound <= floor and c.id not in listed
    ]


def is_doubtful(belief: ComponentBelief, context: Context) -> bool:
    """Return whether a component is neither sound enough nor settled by work and inspection."""
    if belief.now.sound >= context.catalog.fact("release.sound-enough").number():
        return False
    items = [i for i in context.work.items if i.component == belief.id]
    own = [i for i in items if i.action in ("replace", "inspect", "trace")]
    settled = bool(own) and all(i.done for i in own)
    return not (
        settled and belief.now.sound >= context.catalog.fact("release.settled-by-eye").number()
    )


def _doubt(belief: ComponentBelief, context: Context) -> str:
    title = component_title(belief.id, context.catalog)
    look = settling_look(belief.id, context)
    return f"{title} ({belief.id}): {belief.now.sound:.0%} sound. {look}"


def _still_to_do(*actions: str) -> Callable[[Context], list[str]]:
    return lambda context: [f"{i.title} ({i.id})" for i in open_items(context, *actions)]


def _verdicts(context: Context) -> list[str]:
    return [
        f"{v.what}: {v.outcome}. {v.text} {v.decide}".strip()
        for v in context.verdicts
        if v.outcome != "met"
    ]


QUESTIONS: dict[str, Callable[[Context], list[str]]] = {
    "input-clean": _input_clean,
    "maker-procedure": _maker_procedure,
    "contradictions": _contradictions,
    "doubtful": _doubtful,
    "not-sound": _not_sound,
    "replacements": _still_to_do("replace"),
    "faults": _still_to_do("trace"),
    "inspections": _still_to_do("inspect"),
    "calibrations": _still_to_do("calibrate"),
    "steps": _still_to_do("do"),
    "verdicts": _verdicts,
    "failed-checks": asked.failed_checks,
    "loads-returned": asked.loads_out,
    "provenance": asked.parts_without_origin,
    "recalls": asked.parts_without_recall_check,
    "seat-after-work": asked.seats_to_calibrate,
    "disposal": asked.charges_without_disposal,
    "lamp-check": asked.lamp_check,
    "final-scan": asked.final_scan,
    "cautions-read": asked.cautions_unread,
    "answerable": asked.nobody_answers,
}
