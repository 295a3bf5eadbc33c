"""Every verdict of a case, and what a person decided where no limit does."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.order import History, read_history
from squibwise.history.signed import last_signed
from squibwise.model.belief import Assessment, Because
from squibwise.model.case import Case
from squibwise.model.evidence import Reading
from squibwise.model.proof import Verdict
from squibwise.model.work import Work
from squibwise.prove.closing import lamp_verdicts, scan_verdicts
from squibwise.prove.fitted import label_verdicts, load_verdicts
from squibwise.prove.readings import reading_verdicts
from squibwise.prove.seat import seat_verdicts

_SIGNED = ("reading:", "seat-trials:", "label:")
_ABOUT_PART = ("reading:", "label:", "recall:", "seat-trials:")


def verdicts(
    case: Case, work: Work, catalog: Catalog, assessment: Assessment | None = None
) -> tuple[Verdict, ...]:
    """Return a verdict on everything that was measured, calibrated and checked.

    A limit that is neither met nor missed for sure is undecided, with what would decide it. A
    person may decide such a one by name, with the document in the note; never one that is not met.

    Args:
        case: The evidence.
        work: Work items; a lamp that is out while work is open has decided nothing.
        catalog: Published limits.
        assessment: What is believed of each part: nothing is met on a circuit that reads good
            beside a part that is not there.
    """
    history = read_history(case.evidence)
    found = [
        *reading_verdicts(history, case, catalog),
        *load_verdicts(history, catalog),
        *lamp_verdicts(history, work, catalog),
        *scan_verdicts(history, work, catalog),
        *seat_verdicts(history, catalog),
        *label_verdicts(history, catalog),
    ]
    left_in = assessment.loads_left_in if assessment else ()
    return tuple(_without_loads(_decided(v, history), left_in, history) for v in found)


def _decided(verdict: Verdict, history: History) -> Verdict:
    """Return the verdict as a named person decided it, where it was undecided."""
    last = last_signed(history, verdict.what)
    if verdict.outcome != "undecided" or not verdict.what.startswith(_SIGNED) or last is None:
        return verdict
    place, signature = last
    named = {e for b in verdict.because for e in b.evidence} | {verdict.what.partition(":")[2]}
    about = max(history.place_of(e) for e in named)
    if place <= about or not (signature.by and signature.note):
        return verdict
    reason = Because(text=f"Decided by {signature.by}: {signature.note}", evidence=(signature.id,))
    return msgspec.structs.replace(
        verdict,
        outcome="met" if signature.result == "passed" else "not met",
        text=f"{verdict.text} Decided by {signature.by}.",
        decide="",
        because=(reason, *verdict.because),
    )


def _without_loads(verdict: Verdict, left_in: tuple[str, ...], history: History) -> Verdict:
    """Return a verdict that is met only where no load was left in what it speaks of."""
    about = _components_of(verdict, history)
    whole = verdict.what in ("lamp-check", "second-scan") and bool(left_in)
    if verdict.outcome != "met" or not (whole or about & set(left_in)):
        return verdict
    names = ", ".join(left_in)
    return msgspec.structs.replace(
        verdict,
        outcome="not met",
        text=f"{verdict.text} That shows nothing: a load is left in {names}.",
        decide="Take the load out with the power off, fit the part, and check once more.",
    )


def _components_of(verdict: Verdict, history: History) -> set[str]:
    word, _, name = verdict.what.partition(":")
    if f"{word}:" not in _ABOUT_PART:
        return set()
    readings = {r.id: r.component for _, r in history.all_of(Reading)}
    return {readings.get(name, name).partition("/")[0]}
