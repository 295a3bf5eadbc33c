"""Verdicts, open gates, what became of a record, and whether one handed over can be relied on."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.entering.tick_order import LAMP
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.origin import Finding
from squibwise.model.proof import Gate, Overview, ProofRecord, Verdict, Verification
from squibwise.model.words import Outcome
from squibwise.model.work import Work
from squibwise.present.figures import counted, percent
from squibwise.present.phrases import (
    in_words,
    name,
    standing,
    tell_car,
    tell_findings,
    tell_reasons,
)
from squibwise.present.telling import Bullets, Section, Table, Telling, Text, Tone, filled, section
from squibwise.prove.gates import SEEN_WHOLE
from squibwise.prove.sealing import in_quotes
from squibwise.prove.verifying import ENTRY

_GROUPS: tuple[tuple[Outcome, str, Tone], ...] = (
    ("not met", "Not met", "alarm"),
    ("undecided", "Undecided", "check"),
    ("met", "Met", "plain"),
)
_MISSING_SHOWN = 3
_NOTHING = Text(text="Nothing was measured, calibrated or tried yet.")
_WHY = Text(text="Why? `squibwise check CASE --why VERDICT`", tone="quiet")
LAMP_GATE = "lamp-check"
REASONED = ("final-scan", "contradictions")
"""Gates that are closed elsewhere, or here by somebody who says why they hold."""
FAULTS_GATE = "faults"
LABELLED = ("provenance", "recalls")
"""Gates that are closed by what the label of a part says."""
_PAGES = {
    "doubtful": "look",
    "contradictions": "look",
    "not-sound": "look",
    "faults": "trace",
    "replacements": "work",
    "inspections": "work",
    "calibrations": "work",
    "steps": "work",
    "loads-returned": "work",
    "failed-checks": "work",
    "final-scan": "add",
    "input-clean": "",
    "verdicts": "",
}
"""On which page of the car a gate is closed; the others are signed on their own."""


def tell_verdicts(case: Case, verdicts: Sequence[Verdict], catalog: Catalog) -> Telling:
    """Return the verdicts: not met first, then undecided with what would decide."""
    groups = tuple(_group(verdicts, *group) for group in _GROUPS)
    nothing = None if verdicts else Section(blocks=(_NOTHING,))
    found = tell_findings(case.findings)
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled((nothing, *groups, found, Section(blocks=(_WHY,)))),
        closing=standing(catalog),
    )


def _group(verdicts: Sequence[Verdict], outcome: Outcome, head: str, tone: Tone) -> Section | None:
    told = tuple(f"{v.what}: {_in_full(v)}" for v in verdicts if v.outcome == outcome)
    return section(f"{head} ({len(told)})", Bullets(items=told, tone=tone)) if told else None


def tell_verdict(case: Case, verdict: Verdict, catalog: Catalog) -> Telling:
    """Return one verdict with what it rests on."""
    because = None
    if verdict.because:
        because = section("Because", tell_reasons(verdict.because, case, catalog))
    about = section(f"{verdict.what}: {verdict.outcome}", Text(text=_in_full(verdict)))
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled((about, because)),
        closing=standing(catalog),
    )


def _in_full(verdict: Verdict) -> str:
    chance = "" if verdict.p_met is None else f" (meets it with {percent(verdict.p_met)})"
    decide = f"\nTo decide: {verdict.decide}" if verdict.decide else ""
    weak = {in_words(b.weak) for b in verdict.because if b.weak}
    leans = f"\nLeans on {', '.join(sorted(weak))}." if weak else ""
    return f"{verdict.text}{chance}{decide}{leans}"


def tell_release(
    record: ProofRecord, files: Sequence[Path], found: Iterable[Finding], catalog: Catalog
) -> Telling:
    """Return the open gates with the first of what each misses, and where the record went.

    Args:
        record: The record.
        files: The PDF and the data beside it, as they were written.
        found: What is wrong or remarkable with the input.
        catalog: The notice below it.
    """
    open_gates = [g for g in record.gates if g.open]
    told = f"no open gate ({len(record.gates)} closed)"
    if record.draft:
        told = f"DRAFT: {len(open_gates)} of {len(record.gates)} gates are open, nothing is signed"
    rows = zip(("record", "as data"), map(str, files), strict=False)
    written = Table(rows=(*rows, ("SHA-256", record.digest)))
    gates = tuple(_gate(g) for g in open_gates)
    return Telling(
        title=record.case_id,
        subtitle=told,
        sections=filled((*gates, tell_findings(found), section("Written", written))),
        closing=standing(catalog),
        tone="alarm" if record.draft else "strong",
    )


def _gate(gate: Gate) -> Section:
    rest = len(gate.missing) - _MISSING_SHOWN
    more = (f"and {rest} more",) if rest > 0 else ()
    missing = (Bullets(items=(*gate.missing[:_MISSING_SHOWN], *more)),) if gate.missing else ()
    remedy = (Text(text=gate.remedy, tone="quiet"),) if gate.remedy else ()
    return section(gate.id, Text(text=f"Asked for: {gate.text}"), *missing, *remedy)


def _tell_left_out(withheld: Sequence[str]) -> str:
    """Return what a copy leaves out; that an entry held crash data only its writer can know."""
    told = f"This copy leaves out {counted(len(withheld), 'part')}: crash data and prices."
    entries = sum(name.startswith(ENTRY) for name in withheld)
    if not entries:
        return told
    said = f"{counted(entries, 'entry', 'entries')} of the evidence among them"
    return f"{told} {said}: that they were crash data is the word of whoever wrote it."


def tell_verification(result: Verification, file: Path) -> Telling:
    """Return whether a record can be relied on, by whom it is, and what that does not say."""
    limits = "This says nothing of whether the work was good, only that the text is as issued."
    left = (_tell_left_out(result.withheld),)
    by_key: tuple[str, ...] = ()
    if result.fingerprint:
        since = f", known here since {result.known_since}" if result.known_since else ""
        by_key = (f"Signed by {in_quotes(result.signer)}, key {result.fingerprint}{since}.",)
    if result.stamped:
        told = f"Time stamp: {result.stamped}. Compare that certificate with the authority's own."
        by_key = (*by_key, told)
    title = _VERIFIED[result.signature] if result.valid else _VERIFIED["wrong"]
    if result.valid and result.named:
        signer, named = in_quotes(result.signer), in_quotes(result.named)
        title = f"Whole and unchanged, signed by the key of {signer}; the paper names {named}:"
    if result.valid and result.day_to_come:
        title = "Whole and unchanged, but of a day that has not come:"
    if result.valid and result.unchecked:
        title = f"Pages not checked: {result.unchecked}. The record in it is whole:"
    elif result.valid and result.unworked and result.signature != "none":
        title = f"Not worked out again: {result.unworked}. The record is whole:"
    return Telling(
        title=title,
        subtitle=str(file),
        about=(*by_key, *(left if result.withheld else ())),
        sections=filled((tell_findings(result.problems, "About the record"),)),
        closing=(Text(text=limits),),
        tone="strong" if result.valid else "alarm",
    )


def tell_paper(what: str, file: Path) -> Telling:
    """Return where a paper for the bench went."""
    titles = {"tags": "Tags:", "cards": "Bench cards:", "pack": "Pack for an inspection:"}
    return Telling(title=titles[what], subtitle=str(file))


def tell_check_page(page: Path) -> Telling:
    """Return where the page for the browser went, and what to do with it."""
    how = "Hand it on with a record: it opens in any browser and needs no network."
    return Telling(title="A page that checks records:", subtitle=str(page), about=(how,))


_VERIFIED = {
    "known": "Whole and unchanged, signed by a key that is known here:",
    "unknown": "Whole and unchanged, signed by a key that is not known here:",
    "none": "The digest fits; nobody can tell who made this:",
    "wrong": "CANNOT BE RELIED ON:",
}


class GateTold(msgspec.Struct, frozen=True, kw_only=True):
    """A gate with where it is closed.

    Attributes:
        gate: The gate.
        page: Page of the car on which it is closed; None when it is signed with the gates.
        seats: Seat sensors to be weighed, for the gate that asks for it.
        unmended: Parts whose fault went away while nothing on record mended it, with their names.
    """

    gate: Gate
    page: str | None
    seats: tuple[tuple[str, str], ...] = ()
    unmended: tuple[tuple[str, str], ...] = ()


def tell_open_gates(case: Case, whole: Overview, catalog: Catalog) -> list[GateTold]:
    """Return the gates that are open, in their order."""
    return [_told(gate, case, whole, catalog) for gate in whole.gates if gate.open]


def _told(gate: Gate, case: Case, whole: Overview, catalog: Catalog) -> GateTold:
    seats: tuple[tuple[str, str], ...] = ()
    if gate.id == "seat-after-work":
        kinds = ((c, split_component(c).kind) for c in case.car.components)
        seats = tuple((c, name(c, catalog)) for c, kind in kinds if kind == "occupant-sensor")
    page = _PAGES.get(gate.id)
    if gate.id == "replacements" and _hangs_on_answers(whole.todo):
        page = "ask"
    if gate.id == LAMP_GATE and _is_early(whole.todo):
        page = "work"
    if gate.id == "not-sound" and gate.missing:
        page = f"part/{gate.missing[0].partition(' ')[0]}"
    if gate.id == "doubtful" and all(SEEN_WHOLE in m for m in gate.missing):
        page = "trace"
    known = {c.id for c in whole.states.components}
    gone = (m.partition(":")[0] for m in gate.missing) if gate.id == FAULTS_GATE else ()
    unmended = tuple((c, name(c, catalog)) for c in gone if c in known)
    if unmended and len(unmended) == len(gate.missing):
        page = None
    return GateTold(gate=gate, page=page, seats=seats, unmended=unmended)


def _is_early(todo: Work) -> bool:
    """Return whether the lamp is not to be looked at yet: the key stays off until its turn."""
    done = {o.id: o.done for o in todo.operations}
    lamp = next((o for o in todo.operations if o.id == LAMP), None)
    return lamp is not None and not all(done.get(before, True) for before in lamp.after)


def _hangs_on_answers(todo: Work) -> bool:
    """Return whether nothing is left to replace but what the maker's answers decide."""
    kinds = {i.kind for i in todo.items if i.action == "replace" and not i.done}
    return kinds == {"ask"}


def parts_to_label(whole: Overview) -> tuple[str, ...]:
    """Return the parts whose labels are asked for: those that the gates miss, then all fitted."""
    fitted = (c for o in whole.todo.operations if o.action == "fit" for c in o.components)
    return tuple(dict.fromkeys((*_without_label(whole), *fitted)))


def _without_label(whole: Overview) -> Iterator[str]:
    """Yield the parts that the gates of origins and recalls miss, as they name them."""
    known = {c.id for c in whole.states.components}
    missing = (m for g in whole.gates if g.id in LABELLED for m in g.missing)
    return (part for m in missing if (part := m.partition(":")[0]) in known)
