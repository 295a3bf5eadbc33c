"""Every verdict of a case, and what a person decided where no limit does."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.check.labels import label_verdicts
from squibwise.check.lamp import lamp_verdicts
from squibwise.check.loads import load_verdicts
from squibwise.check.readings import reading_verdicts
from squibwise.check.scans import scan_verdicts
from squibwise.check.seat import seat_verdicts
from squibwise.model.belief import Because
from squibwise.model.case import Case
from squibwise.model.evidence import Passed
from squibwise.model.proof import Verdict
from squibwise.model.work import Work

_SIGNED = ("reading:", "seat-trials:", "lamp-check", "label:")


def verdicts(case: Case, work: Work, catalog: Catalog) -> tuple[Verdict, ...]:
    """Return a verdict on everything that was measured, calibrated and checked.

    A limit that is neither met nor missed for sure is undecided, with what would decide it. A
    person may decide such a one by name, with the document in the note; never one that is not met.

    Args:
        case: The evidence.
        work: Work items; their own checks are for the gates.
        catalog: Published limits.
    """
    found = [
        *reading_verdicts(case, catalog),
        *load_verdicts(case, catalog),
        *lamp_verdicts(case, catalog),
        *scan_verdicts(case, catalog),
        *seat_verdicts(case, catalog),
        *label_verdicts(case, catalog),
    ]
    return tuple(_signed(verdict, case) for verdict in found)


def _signed(verdict: Verdict, case: Case) -> Verdict:
    """Return the verdict as a named person decided it, where it was undecided."""
    if verdict.outcome != "undecided" or not verdict.what.startswith(_SIGNED):
        return verdict
    words = [e for e in case.evidence if isinstance(e, Passed) and e.what == verdict.what]
    if not words or not (words[-1].by and words[-1].note):
        return verdict
    last = words[-1]
    reason = Because(text=f"Decided by {last.by}: {last.note}", evidence=(last.id,))
    return msgspec.structs.replace(
        verdict,
        outcome="met" if last.result == "passed" else "not met",
        text=f"{verdict.text} Decided by {last.by}.",
        decide="",
        because=(reason, *verdict.because),
    )
