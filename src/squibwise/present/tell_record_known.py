"""What somebody who relies on a record must know before anything else."""

from collections import Counter

from squibwise.model.evidence import DoneWork, Passed
from squibwise.model.proof import ProofRecord
from squibwise.present.figures import counted, cut, listed
from squibwise.present.record_content import Content, StatedPart
from squibwise.present.tell_record_annex import list_doubtful, tell_signature
from squibwise.present.telling import Bullets, Section, section

LONGEST_STATED, MOST_DOUBTS, MOST_CONTRADICTIONS, MANY_NAMED = 70, 3, 3, 3


def list_fitted(content: Content) -> dict[str, StatedPart]:
    """Return the parts that were fitted, by component."""
    return {p.component: p for p in content.parts if p.by or p.fitted_on or p.number}


def tell_to_know(record: ProofRecord, content: Content) -> Section:
    """Return what somebody who relies on this record must know, the worst first."""
    told = (*_left_fired(content), *_of_which_car(content), *_explained_away(content))
    told = (*told, *_signed_both_ways(content), *_own_figures(content), *_used_live(content))
    told = (*told, *_doubts(content), *_of_photos(content), *_of_documents(record, content))
    told = (*told, *_left_out(record))
    return section("To know before relying on it", Bullets(items=told))


def _left_fired(content: Content) -> list[str]:
    fitted = list_fitted(content)
    left = [c.title for c in content.components if c.fired_in_crash == "fired"]
    left = [c.title for c in content.components if c.title in left and c.id not in fitted]
    return [f"Fired and not on record as replaced: {listed(left, 8)}."] if left else []


def _explained_away(content: Content) -> list[str]:
    explained = tell_signature(content, "contradictions")
    told = [
        f"Contradiction: {cut(c.text, LONGEST_STATED)}"
        + (f" Explained by: {cut(explained, LONGEST_STATED)}." if explained else "")
        for c in content.contradictions[:MOST_CONTRADICTIONS]
    ]
    hidden = len(content.contradictions) - len(told)
    return told + ([f"{counted(hidden, 'more contradiction')}, see the annex."] if hidden else [])


def _of_which_car(content: Content) -> list[str]:
    """Return what speaks against this record being of one car, of the kind that it names."""
    car = content.car
    told = [] if car.vin else ["No VIN is given: nothing ties this record to one car."]
    told += [f.message for f in content.findings if f.code in _OF_THE_CAR]
    there = {c.id for c in content.components}
    without = [r.replace(".", " ").replace("-", " ") for r in car.removed if r not in there]
    if without:
        told.append(f"The owner says that this car never had: {listed(without, 6)}.")
    return told


_OF_THE_CAR = ("vin-check-digit-elsewhere", "case-other-year", "case-other-vin")


def _signed_both_ways(content: Content) -> list[str]:
    """Return what was signed as failed and later as passed, with no work in between."""
    refused: set[str] = set()
    told: dict[str, str] = {}
    for entry in content.evidence:
        if isinstance(entry, DoneWork):
            refused.clear()
        elif isinstance(entry, Passed) and entry.result == "failed":
            refused.add(entry.what)
        elif isinstance(entry, Passed) and entry.what in refused and entry.what not in _DECISIONS:
            told[entry.what] = entry.by or "nobody named"
    words = [f"{what} ({by})" for what, by in told.items()]
    head = "Signed as failed, later as passed, with no work between"
    return [f"{head}: {listed(words, 4)}."] if words else []


_DECISIONS = ("key-on-safe",)


def _of_documents(record: ProofRecord, content: Content) -> list[str]:
    """Return a document that the notes of several signatures name."""
    notes = [(e.what, e.note) for e in content.evidence if isinstance(e, Passed) and e.note]
    named = {f: {what for what, note in notes if f in note} for f in record.attachments}
    worst = max(named, key=lambda f: len(named[f]), default="")
    if not worst or len(named[worst]) < MANY_NAMED:
        return []
    return [
        f"One document, {cut(worst, LONGEST_STATED)}, stands for {len(named[worst])} signatures."
    ]


def _own_figures(content: Content) -> list[str]:
    profile = content.profile
    told = [f"{r.action} {r.component} ({r.source})" for r in profile.rules]
    figures = (profile.wait_minutes, profile.loop_low_ohm, profile.loop_high_ohm)
    told += [f"{g.value:g} ({g.source})" for g in figures if g is not None]
    signed = [e for e in content.evidence if isinstance(e, Passed)]
    decided = {v.what for v in content.verdicts} & {e.what for e in signed if e.note and e.by}
    rules = [f"Rules and figures typed in as the maker's: {listed(told, 5)}."] if told else []
    by_name = f"Decided by a person, by no published limit: {listed(sorted(decided), 5)}."
    return rules + ([by_name] if decided else [])


def _doubts(content: Content) -> list[str]:
    """Return what is in doubt with the look that settles it."""
    found = list_doubtful(content)
    told = [f"In doubt: {c.title}. {c.look[:1].upper()}{c.look[1:]}" for c in found[:MOST_DOUBTS]]
    hidden = len(found) - len(told)
    return told + ([f"In doubt: {hidden} more, see the annex."] if hidden else [])


def _used_live(content: Content) -> list[str]:
    used = [
        f"{p.title} (donor {p.donor_vin or 'not named'})"
        for p in content.parts
        if p.live and p.provenance in ("recycled", "donor", "repaired")
    ]
    return [f"Used parts that hold an inflator or pretensioner: {listed(used, 4)}."] if used else []


def _of_photos(content: Content) -> list[str]:
    """Return how many photographs there are, and whether one is said to show several things."""
    if not content.photos:
        return ["No photograph is in it."]
    same = Counter(p.sha256 for p in content.photos)
    worst = max(same.values())
    told = f"{counted(len(same), 'photograph')} in it."
    return [told + (f" One of them stands for {worst} different things." if worst > 1 else "")]


def _left_out(record: ProofRecord) -> list[str]:
    if not record.withheld:
        return []
    return [
        f"This copy leaves out crash data, what it tells, and prices ({len(record.withheld)} parts "
        "of the record); the digest and the signature hold for it all the same."
    ]
