"""What people signed for, which loads are out, which label is on a part, what the unit recorded."""

import re
from collections.abc import Collection, Iterable, Mapping

import msgspec

from squibwise.catalog.components import LookWord
from squibwise.catalog.load import Catalog
from squibwise.history.loose_unit import told_loose
from squibwise.history.order import History, replacements
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Evidence,
    Look,
    PartLabel,
    Passed,
    Reading,
    Recorder,
    Story,
    SubstituteLoad,
    TestOutcome,
)
from squibwise.model.names import split_component, split_loop
from squibwise.model.report import Report
from squibwise.model.words import RECORD_GONE

CONTROL_UNIT = "control-unit"
UNIT_GATES = ("unit-bolted", "power-safe")
NO_POWER = ("flood", "fire")
CLEARED = ("clear", "step:clear")
FIT_LOADS = ("fit-loads", "step:fit-loads")
LOAD_METHOD = "substitute-load"
LOAD_TESTS = ("load-at:",)  # tests of a circuit that put a load into it
_STAYED = "stays"  # their outcome with which the load is still in


def as_look(entry: Evidence) -> Look | None:
    """Return an entry as a look: one, or an inspection that somebody signed as passed by name."""
    if isinstance(entry, Look):
        return entry
    if not isinstance(entry, Passed) or entry.result != "passed" or not (entry.by or "").strip():
        return None
    component, _, action = entry.what.rpartition(":")
    if action != "inspect" or "." not in component:
        return None
    return Look(id=entry.id, time=entry.time, component=component, seen="intact", by=entry.by)


def last_signed(history: History, *words: str) -> tuple[int, Passed] | None:
    """Return the last check signed under one of these words; None when there is none."""
    found = [(n, p) for n, p in history.all_of(Passed) if p.what in words]
    return found[-1] if found else None


def is_signed(history: History, *words: str, after: int = -1) -> bool:
    """Return whether the last check under these words passed, and came after a place."""
    last = last_signed(history, *words)
    return last is not None and last[1].result == "passed" and last[0] > after


def last_unit_work(history: History) -> int:
    """Return the place of the last work on a control unit; -1 when there was none.

    A unit that was fitted, plugged in again or repaired is not bolted down until somebody signs.
    """
    own = (n for n, w in history.works if CONTROL_UNIT in w.component and w.what != "cleared")
    return max(own, default=-1)


def is_unit_loose(history: History) -> bool:
    """Return whether the control unit was found not bolted down, and nobody signed since."""
    last = last_signed(history, UNIT_GATES[0], f"step:{UNIT_GATES[0]}")
    return last is not None and last[1].result == "failed"


def outdated_gates(history: History) -> tuple[str, ...]:
    """Return the gates of power that were signed before the control unit was last worked on."""
    work = last_unit_work(history)
    return tuple(
        word
        for word in UNIT_GATES
        if is_signed(history, word) and not is_signed(history, word, after=work)
    )


def is_decided(history: History, catalog: Catalog, *words: str, after: int = -1) -> bool:
    """Return whether somebody signed by name and said why, after a place."""
    last = last_signed(history, *words)
    named = last is not None and bool(last[1].note and is_name(last[1].by, catalog))
    return named and is_signed(history, *words, after=after)


def signed_results(history: History) -> dict[str, str]:
    """Return the last result of every word that was signed; the later wins."""
    return {p.what: p.result for _, p in history.all_of(Passed)}


class LoadsOut(msgspec.Struct, frozen=True, kw_only=True):
    """Where the substitute loads of a case are.

    Attributes:
        issued: Marks ever issued.
        out: The last move of each load that is not back.
        unissued: A substitute load was used though none was ever issued in this case.
        left: Circuits whose last outcome is that the fault stayed with a load, and on which no load
            was entered.
    """

    issued: frozenset[str]
    out: tuple[SubstituteLoad, ...]
    unissued: bool
    left: tuple[str, ...] = ()

    @property
    def are_back(self) -> bool:
        """Is every load that was used known and back."""
        return not self.out and not self.unissued


def find_loads(history: History) -> LoadsOut:
    """Return which substitute loads are out of the box and not back."""
    moves = [s for _, s in history.all_of(SubstituteLoad)]
    issued = frozenset(s.serial for s in moves if s.move == "issued")
    read = any(r.method == LOAD_METHOD for _, r in history.all_of(Reading))
    tried = any(t.test.startswith(LOAD_TESTS) for _, t in history.all_of(TestOutcome))
    used = read or tried or is_signed(history, *FIT_LOADS)
    last = {split_loop(t.loop): t for _, t in history.all_of(TestOutcome)}
    entered = {split_loop(s.loop) for s in moves}
    left = (t for loop, t in last.items() if loop not in entered)
    return LoadsOut(
        issued=issued,
        out=loads_left(moves),
        unissued=used and not issued,
        left=tuple(t.loop for t in left if t.test.startswith(LOAD_TESTS) and t.outcome == _STAYED),
    )


def loads_left(moves: Iterable[SubstituteLoad]) -> tuple[SubstituteLoad, ...]:
    """Return what was issued and did not come back, in order.

    One mark is one load, yet it counts on every circuit that it was issued to until it came back
    from there; a return from elsewhere counts where the mark is out once.
    """
    out: list[SubstituteLoad] = []
    for move in moves:
        own = [m for m in out if m.serial == move.serial]
        here = [m for m in own if split_loop(m.loop) == split_loop(move.loop)]
        gone = here or (own if move.move == "returned" and len(own) == 1 else [])
        out = [m for m in out if m not in gone]
        out += [move] if move.move == "issued" else []
    return tuple(out)


def refuse_drive(history: History, catalog: Catalog, loop: str = "") -> str:
    """Return why nobody drives this car now; empty when nothing speaks against it.

    Args:
        history: The course of the case.
        catalog: For the number of the last power-up.
        loop: A circuit whose own load is spoken of elsewhere.
    """
    later = f"It comes after no. {catalog.tasks.steps['final-power'].number}."
    own = split_loop(loop) if loop else None
    loads = [s.loop for s in find_loads(history).out if split_loop(s.loop) != own]
    if loads:
        more = f" and {len(loads) - 3} more" if loads[3:] else ""
        return f"substitute loads are in, {', '.join(loads[:3])}{more}. {later}"
    signed = [(n, p.what) for n, p in history.all_of(Passed) if p.result == "passed"]
    opened = max((n for n, word in signed if word.startswith(_TAKEN_APART)), default=-1)
    whole = max((n for n, word in signed if word in _POWERED_WHOLE), default=-1)
    return f"the car is not together. {later}" if opened > whole else ""


_TAKEN_APART = ("open:", "out:")
_POWERED_WHOLE = ("step:final-power", "final-power")


def loads_on(history: History, loop: tuple[str, int]) -> tuple[SubstituteLoad, ...]:
    """Return the loads that sit on one circuit now, given as component and stage."""
    return tuple(s for s in find_loads(history).out if split_loop(s.loop) == loop)


def is_name(text: str | None, catalog: Catalog) -> bool:
    """Return whether somebody is named: blanks, unseen signs and words for nobody are no name."""
    letters = "".join(c for c in text or "" if c.isalnum()).casefold()
    is_one_letter = len(letters) > 2 and len({*letters}) == 1  # "xxx"
    return bool(letters) and letters not in catalog.said.nobody and not is_one_letter


ORIGINAL = "original"


def labels_anew(history: History) -> dict[str, list[PartLabel]]:
    """Return, by component, labels that say different things of one part, which nobody changed.

    That of the part which the car came with says nothing of the one that is fitted for it.
    """
    found: dict[str, list[PartLabel]] = {}
    for component in {x.component for _, x in history.all_of(PartLabel)}:
        fitted = replacements(history).get(component, ())
        after = fitted[-2] if len(fitted) > 1 else -1
        labels = [x for n, x in history.all_of(PartLabel) if x.component == component and n > after]
        labels = [x for x in labels if x.provenance != ORIGINAL]
        said = {(x.number, x.serial, x.provenance, x.donor_vin or "") for x in labels}
        if len(said) > 1:
            found[component] = labels
    return dict(sorted(found.items()))


def label_of(history: History, component: str) -> PartLabel | None:
    """Return the label of the part that is in the car now; None when none is on record.

    A label written down before the part before it was fitted belongs to that part; that of the
    part which the car came with says nothing of a new one.
    """
    fitted = replacements(history).get(component, ())
    after = fitted[-2] if len(fitted) > 1 else -1
    labels = [x for n, x in history.all_of(PartLabel) if x.component == component and n > after]
    labels = [x for x in labels if not (fitted and x.provenance == ORIGINAL)]
    return labels[-1] if labels else None


def labelled(history: History) -> tuple[PartLabel, ...]:
    """Return the label of every component that has one, in the order they were written."""
    names = dict.fromkeys(x.component for _, x in history.all_of(PartLabel))
    found = (label_of(history, name) for name in names)
    return tuple(x for x in found if x is not None)


class UnitMemory(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of the crash record in the control unit.

    Attributes:
        seen: Ids of the evidence that names a crash record.
        locked: Did any of it say that the record is locked.
        read_since: Ids of what was read after the last clearing; empty when nothing was.
        still: Ids of those that still name a record.
    """

    seen: tuple[str, ...]
    locked: bool
    read_since: tuple[str, ...] = ()
    still: tuple[str, ...] = ()


def read_memory(history: History) -> UnitMemory:
    """Return what the evidence says of the crash record, before and after a clearing.

    A report that denies any record, and an answer of a person who read again, count without one.
    """
    named = [(n, e, _record_of(e)) for n, e in enumerate(history.entries)]
    cleared = last_clearing(history)
    last_named = max((n for n, _, word in named if word is not None), default=-1)
    answer = last_signed(history, RECORD_GONE)
    later = [
        (n, e.id, word)
        for n, e, word in named
        if (cleared is not None and n > cleared and isinstance(e, Report | Recorder))
        or (n > last_named >= 0 and _denies_record(e))
    ]
    if answer is not None and answer[0] > last_named:
        told = (answer[0], answer[1].id, None if answer[1].result == "passed" else "stored")
        later = [x for x in later if x[0] > answer[0]] or [told]
    return UnitMemory(
        seen=tuple(e.id for _, e, word in named if word is not None),
        locked=any(word == "locked" for _, _, word in named),
        read_since=tuple(name for _, name, _ in later),
        still=tuple(name for _, name, word in later if word is not None),
    )


def last_clearing(history: History, before: int | None = None) -> int | None:
    """Return the place of the last clearing, done or signed as its step; None without one.

    Args:
        history: The course of the case.
        before: Only what came before this place; None = all.
    """
    done = [n for n, w in history.all_of(DoneWork) if w.what == "cleared"]
    signed = [n for n, p in history.all_of(Passed) if p.what in CLEARED and p.result == "passed"]
    places = (n for n in (*done, *signed) if before is None or n < before)
    return max(places, default=None)


def _denies_record(evidence: object) -> bool:
    """Does an evidence say in so many words that the unit holds no crash record."""
    if isinstance(evidence, Recorder):
        return evidence.record == "none"
    if not isinstance(evidence, Report):
        return False
    return evidence.reading.coverage.no_crash_record is not None


def _record_of(evidence: object) -> str | None:
    """Return ``locked`` or ``stored`` when an evidence names a crash record; None otherwise."""
    if isinstance(evidence, Recorder):
        return evidence.record if evidence.record in ("stored", "locked") else None
    if not isinstance(evidence, Report):
        return None
    lines = [x for x in evidence.reading.lines if x.fault == "event-recorded"]
    lines = [x for x in lines if x.kind in (None, CONTROL_UNIT) and "cleared" not in x.status]
    if not lines:
        return None
    return "locked" if any("locked" in x.status for x in lines) else "stored"


def is_exposed(component: str, told: Circumstance) -> bool:
    """Return whether a flood, fire or the like reached a component; told of none, the unit."""
    kind = split_component(component).kind
    return component in told.parts or kind in (told.parts or (CONTROL_UNIT,))


def unit_exposed(history: History) -> Circumstance | None:
    """Return the flood or fire that reached the control unit, not replaced since; else None."""
    unit = f"centre.{CONTROL_UNIT}"
    fitted = max(replacements(history).get(unit, ()), default=-1)
    found = [
        told
        for at, told in history.all_of(Circumstance)
        if told.what in NO_POWER and told.present and at > fitted and is_exposed(unit, told)
    ]
    return found[-1] if found else None


def find_soaked(case: Case, catalog: Catalog) -> tuple[str, ...]:
    """Return the ids of what tells that the car as a whole stood in water."""
    told = (e for e in case.evidence if isinstance(e, Story) and e.loop is None)
    stories = [e.id for e in told if "soaked" in e.known or tells_of_water(e.text, catalog)]
    events = (e for e in case.evidence if isinstance(e, Circumstance) and e.present)
    return (*stories, *(e.id for e in events if e.what == "flood" and not e.parts))


def was_flooded(case: Case, catalog: Catalog) -> bool:
    """Did the car as a whole stand in water, by what is told or by the title of its case."""
    return bool(find_soaked(case, catalog)) or tells_of_water(case.title, catalog)


def tells_of_water(text: str, catalog: Catalog) -> bool:
    """Does a text say that the car stood in water; the cautious reading of plain words."""
    return _tells_of("soaked", text, catalog)


def tells_of_fire(text: str, catalog: Catalog) -> bool:
    """Does a text say that the car burnt; read in the same way."""
    return _tells_of("burnt", text, catalog)


def tells_of_tilt(text: str, catalog: Catalog) -> bool:
    """Does a text say that the car stood on a slope; read in the same way."""
    return _tells_of("tilted", text, catalog)


def tells_of_copying(text: str, catalog: Catalog) -> bool:
    """Does a text say that it repeats somebody else's word; read in the same way."""
    return _tells_of("copied", text, catalog)


def _tells_of(what: str, text: str, catalog: Catalog) -> bool:
    said = catalog.said.stories
    words = re.findall(r"\w+", text.lower())
    return any(
        word in said[what] and not set(words[max(0, n - 2) : n]) & set(said["denied"])
        for n, word in enumerate(words)
    )


def list_reached(
    history: History,
    components: Iterable[str],
    live: Collection[str],
    inside: Mapping[str, Collection[str]],
) -> list[str]:
    """Return what a flood or fire reached and nobody has settled since.

    A part is settled once it is replaced. One without a charge, the control unit apart, also when
    it was repaired, its inspection passed, or it came out of the car inside an assembly; one with a
    charge while a load stands in its place; any but the unit once it was seen not to be there.

    Args:
        history: The course of the case.
        components: Of the car.
        live: Those of them that hold a charge.
        inside: Components by the word under which their assembly is signed for as taken out.
    """
    told = [(n, c) for n, c in history.all_of(Circumstance) if c.what in NO_POWER and c.present]
    fitted, loaded = replacements(history), {split_loop(s.loop)[0] for s in find_loads(history).out}
    seen = {x.component: x.seen for _, x in history.all_of(Look) if x.seen != "not-seen"}
    left = []
    for component in components if told else ():
        at = max((n for n, c in told if is_exposed(component, c)), default=None)
        if at is None or max(fitted.get(component, ()), default=-1) > at:
            continue
        is_unit = split_component(component).kind == CONTROL_UNIT
        is_out = seen.get(component) == "missing" or (component in live and component in loaded)
        if is_out and not is_unit:
            continue
        came_out = [word for word, parts in inside.items() if component in parts]
        if (
            is_unit
            or component in live
            or not (_is_proved(history, component, at) or is_signed(history, *came_out, after=at))
        ):
            left.append(component)
    return left


def _is_proved(history: History, component: str, after: int) -> bool:
    """Was a part repaired, or its inspection passed, after a place."""
    mended = (n for n, w in history.works if w.component == component and w.what == "repaired")
    passed = is_signed(history, f"{component}:inspect", after=after)
    return passed or max(mended, default=-1) > after


Speaking = Look | Circumstance | Story | Report
"""What may speak against a gate of power."""


def speaks_against(history: History, catalog: Catalog) -> tuple[tuple[str, Speaking], ...]:
    """Return gates that a look, a flood or a word speaks against, with the entry that does.

    A control unit that was seen damaged or missing, under water or burnt makes switching on
    unsafe, and a bent mount is no mount, until it is replaced or seen again and found whole. One
    that is told to hang loose is so until somebody looked.
    """
    fitted = replacements(history)
    last = {x.component: (n, x) for n, x in history.all_of(Look) if x.seen != "not-seen"}
    bad = [
        look
        for name, (place, look) in last.items()
        if CONTROL_UNIT in name
        and look.seen in ("damaged", "missing", "mount-bent")
        and max(fitted.get(name, ()), default=-1) < place
    ]
    words = [w for w in ("key-on-safe", *UNIT_GATES) if w in catalog.tasks.gates]
    wet = unit_exposed(history)
    loose = told_loose(history, catalog)
    entries: list[Speaking] = [*bad, *([] if wet is None else [wet])]
    entries += [] if loose is None else [loose[0]]
    return tuple((word, entry) for entry in entries for word in words)


def last_seen_bad(history: History, component: str, catalog: Catalog) -> int:
    """Return the place of the last look that speaks against a part; -1 when none does.

    A look speaks against it when it says damaged or missing, or when its word is reported of a
    sound part less often than of one in some other state.
    """
    words = catalog.looks(split_component(component).kind)
    return max(
        (
            n
            for n, x in history.all_of(Look)
            if x.component == component and x.seen in words and _is_bad(words[x.seen])
        ),
        default=-1,
    )


def _is_bad(word: LookWord) -> bool:
    if word.word in ("damaged", "missing"):
        return True
    return word.sound < max(word.fired, word.faulty, word.damaged, word.unfit, word.missing)


def is_seen_hurt(history: History, component: str, catalog: Catalog) -> bool:
    """Did an eye see a part broken, bent, gone or spent, and none saw it whole or new since.

    Only another look or another part takes that back: a tick of all that lies in an area does not.
    A connector that is off is plugged in, and no hurt.
    """
    words = catalog.looks(split_component(component).kind)
    hurt, whole = -1, max(replacements(history).get(component, ()), default=-1)
    for place, look in history.all_of(Look):
        word = words.get(look.seen) if look.component == component else None
        if word is None or word.word == "not-seen":
            continue
        worst = max(word.fired, word.damaged, word.unfit, word.missing)
        if word.word in ("damaged", "missing") or max(word.sound, word.faulty) < worst:
            hurt = place
        elif not _is_bad(word):
            whole = max(whole, place)
    return hurt > whole


def settling_look(component: str, assessment: Assessment, catalog: Catalog) -> str:
    """Return what settles the doubt about a component: as inference chose, else an inspection."""
    belief = assessment.get(component)
    if belief is not None and belief.settled_by is not None:
        return belief.settled_by.text
    for look in assessment.next_looks:
        if look.component == component and look.text:
            return look.text
    return f"Look at: {catalog.tasks.work[split_component(component).kind].look}."
