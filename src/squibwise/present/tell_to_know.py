"""What must be known before relying on a record: the worst first, each from its own entries."""

import datetime as dt
from collections import Counter
from collections.abc import Sequence

from squibwise.history.closing import find_undriven, judge_clearing
from squibwise.history.order import History, read_history
from squibwise.history.reliance import (
    find_unweighed,
    list_bare_searches,
    list_bare_settings,
    list_labelled_early,
    list_signed_both_ways,
    span_work,
    weigh_times,
)
from squibwise.history.signed import CONTROL_UNIT, NO_POWER, labels_anew
from squibwise.history.told_events import denied_events, doubt_unit, late_events, list_commanded
from squibwise.model.car import OwnRule
from squibwise.model.evidence import (
    Circumstance,
    Evidence,
    Passed,
)
from squibwise.model.origin import Finding
from squibwise.model.proof import ProofRecord
from squibwise.model.report import Report
from squibwise.present.figures import counted, cut, hours, listed, moment
from squibwise.present.record_content import Content, StatedPart
from squibwise.present.record_words import (
    list_figures,
    list_limits,
    tell_answered,
    tell_noted,
    tell_word,
)
from squibwise.present.tell_evidence import tell_evidence
from squibwise.present.tell_record_annex import (
    list_doubtful,
    tell_signature,
)
from squibwise.present.telling import Bullets, Section, section
from squibwise.prove.handed_over import DISPOSAL

LONGEST_STATED, MOST_DOUBTS, MOST_CONTRADICTIONS, MANY_NAMED = 90, 3, 3, 3
LONGEST_NOTE, MOST_RULES, LONGEST_CONTRADICTION, MANY_LABELS = 40, 5, 150, 5


def list_fitted(content: Content) -> dict[str, StatedPart]:
    """Return the parts that were fitted, by component."""
    return {p.component: p for p in content.parts if p.by or p.fitted_on or p.number}


def tell_to_know(record: ProofRecord, content: Content) -> Section:
    """Return what somebody who relies on this record must know, the worst first."""
    history = read_history(content.evidence)
    told = (*_left_fired(content), *_commanded(content, history), *_of_the_unit(history))
    told = (*told, *_told_of_events(history))
    told = (*told, *_of_which_car(content))
    told = (
        *told,
        *_explained_away(content),
        *_signed_both_ways(content, history),
        *_own_figures(content),
    )
    told = (*told, *_own_codes(content), *_used_live(content))
    told = (*told, *_sold_new(content), *_of_labels(content))
    told = (*told, *_relabelled(content), *_labelled_early(content, history))
    told = (*told, *_bare_signatures(content, history), *tell_noted(content))
    told = (*told, *tell_answered(content))
    told = (*told, *_doubts(content), *_of_photos(content))
    told = (*told, *_missing_papers(content), *_of_documents(record, content))
    told = (*told, *_of_clearing(history), *_undriven(history), *_in_one_day(history))
    told = (*told, *_how_long(content, history))
    told = (*told, *_of_the_input(content), *_left_out(record))
    return section("To know before relying on it", Bullets(items=told))


def _left_fired(content: Content) -> list[str]:
    fitted = list_fitted(content)
    left = [c.title for c in content.components if c.fired_in_crash == "fired"]
    left = [c.title for c in content.components if c.title in left and c.id not in fitted]
    return [f"Fired and not on record as replaced: {listed(left, 8)}."] if left else []


def _commanded(content: Content, history: History) -> list[str]:
    """Return the parts that crash data say were to fire and that nobody replaced."""
    listed_there = list_commanded(history)
    left = [c.title for c in content.components if c.id in listed_there]
    head = "Crash data list as commanded to fire, not on record as replaced"
    return [f"{head}: {listed(left, 8)}."] if left else []


def _of_the_unit(history: History) -> list[str]:
    """Return scans and labels whose serial number of the control unit does not fit."""
    return [f"{name} {text}." for name, text in doubt_unit(history).items()]


def _of_clearing(history: History) -> list[str]:
    """Return how long before the last scan the codes were cleared, and whether a drive lay between.

    A memory that was just cleared is empty, whatever is wrong.
    """
    cleared = judge_clearing(history)
    if cleared is None or not history.works:
        return []
    if cleared.entry is None:
        return ["Nothing says when codes were cleared before the last scan."]
    span = cleared.before
    when = f"{_length(span)} before" if span is not None else "at no stated time before"
    drive = cleared.drive
    road = f"a drive signed between by {drive.by or 'nobody named'}" if drive else _NO_DRIVE
    return [f"Codes were cleared {when} the last scan, {road}."]


def _undriven(history: History) -> list[str]:
    """Return that a drive is signed for between two scans that read one odometer."""
    found = find_undriven(history)
    if found is None:
        return []
    first, last = found
    read = last.reading.coverage
    stood = f"{read.odometer} {read.odometer_unit}".rstrip()
    told = f"A drive is signed between {first.id} and {last.id}, and both read the odometer at"
    return [f"{told} {stood}."]


_NO_DRIVE = "no drive between: a memory just cleared is empty"


def _length(span: dt.timedelta) -> str:
    seconds = span.total_seconds()
    return f"{seconds:.0f} s" if seconds < _SECONDS else hours(seconds / 60)


_SECONDS = 120


def _told_of_events(history: History) -> list[str]:
    """Return water and fire that were told of, and events that were told after the work."""
    wet = [
        f"{c.what}{f' ({listed(c.parts, 4)})' if c.parts else ''}, {_day(c)}"
        for _, c in history.all_of(Circumstance)
        if c.what in NO_POWER and c.present
    ]
    denied = [f"{other.what}, {_day(other)}" for _, other in denied_events(history)]
    late = [f"{tell_evidence(e)}, {_day(e)}" for e in late_events(history)]
    told = {"Told of this car": wet, "Denied later": denied, "Told after parts were fitted": late}
    return [f"{head}: {'; '.join(items)}." for head, items in told.items() if items]


def _day(entry: Evidence) -> str:
    return entry.time.date().isoformat() if entry.time else "no day given"


def _in_one_day(history: History) -> list[str]:
    """Return that the order of work and proof is only that of the file: no times, or one time."""
    times = weigh_times(history)
    if times.count:
        told = f"No time stands with {times.count} of {times.total} entries of work and proof"
        return [f"{told}: what came last rests on the order that its owner wrote."]
    if times.is_one_time:
        return ["Work and proof have one time: their order is the one that its owner wrote."]
    return []


def _how_long(content: Content, history: History) -> list[str]:
    """Return over how long work and signatures are dated, beside the time that the work takes."""
    dated = span_work(history)
    done = [o for o in content.work.operations if o.done and o.counted]
    takes = sum(o.minutes.likely for o in done)
    if dated is None or not takes:
        return []
    first, last = dated
    span = (last - first).total_seconds() / 60
    short = "Work is dated closer together than it takes: " if span < takes else "Work is dated "
    told = f"{moment(first)} to {moment(last)}, {hours(span)}"
    return [f"{short}{told}; reckoned are {hours(takes)} with hands on."]


def _of_labels(content: Content) -> list[str]:
    """Return how many parts that fire have no serial, and that all labels read like one."""
    labelled = [p for p in content.parts if p.number]
    live = [p for p in labelled if p.live]
    bare = [p for p in live if not p.serial]
    told = f"No serial number is on record for {len(bare)} of {len(live)} parts that fire."
    alike = {(p.seller, p.made_on) for p in labelled}
    found = [told] if bare else []
    if len(labelled) >= MANY_LABELS and len(alike) == 1 and all(next(iter(alike))):
        seller, day = alike.pop()
        named = f'"{cut(seller, LONGEST_NOTE)}", made {cut(day, LONGEST_NOTE)}'
        found.append(f"All {len(labelled)} labels name one seller and one day: {named}.")
    return found


def _own_codes(content: Content) -> list[str]:
    """Return the codes of the reports that a table of its owner reads, and as what."""
    reports = [e for e in content.evidence if isinstance(e, Report)]
    read = {line.code for report in reports for line in report.reading.lines}
    rows = [r for r in content.car.codes if r.code in read]
    told = [f"{r.code} as {r.component or cut(r.text, LONGEST_NOTE) or 'no part'}" for r in rows]
    source = cut(rows[0].source, LONGEST_NOTE) if rows else ""
    head = f"Read by a code table that its owner typed in ({source})"
    return [f"{head}: {listed(list(dict.fromkeys(told)), 5)}."] if told else []


def _missing_papers(content: Content) -> list[str]:
    left = [p.id.replace("-", " ") for p in content.papers if p.grade == "open"]
    told = f"Papers of which nobody says that they are there: {', '.join(left)}."
    return [told] if left else []


def _relabelled(content: Content) -> list[str]:
    """Return parts whose label was written anew in other words, with no part fitted between."""
    titles = {c.id: c.title for c in content.components}
    told = [
        f"{titles.get(c, c)} ({', then '.join(f'{x.number} {x.provenance}' for x in labels[-3:])})"
        for c, labels in labels_anew(read_history(content.evidence)).items()
    ]
    return [f"Labels written anew, no part fitted between: {listed(told, 4)}."] if told else []


def _bare_signatures(content: Content, history: History) -> list[str]:
    """Return settings and searches that stand signed with nothing found, read or named beside.

    A note without a single figure, such as "done", names none.
    """
    titles = {c.id: c.title for c in content.components}
    told = []
    for head, bare in (
        ("Signed as set, no figure, no document", list_bare_settings(history)),
        ("Fault signed as traced, no repair on record", list_bare_searches(history)),
    ):
        parts = ((titles.get(p.what.rpartition(":")[0]), p.note) for p in bare)
        named = [f'{t} ("{cut(n, LONGEST_NOTE)}")' if n else t for t, n in parts if t]
        told += [f"{head}: {listed(named, 3)}."] if named else []
    return [*told, *_unweighed(history)]


def _unweighed(history: History) -> list[str]:
    """Return that the weight check of a seat stands signed, and that no load of it was entered."""
    check = find_unweighed(history)
    if check is None:
        return []
    note = f'what was noted: "{cut(check.note, LONGEST_STATED)}"' if check.note else "nothing noted"
    return [f"Seat weight check signed, no load and no reading entered; {note}."]


def _labelled_early(content: Content, history: History) -> list[str]:
    """Return fitted parts whose label was written down before any work on the car."""
    early = list_labelled_early(history)
    told = [p.title for p in content.parts if p.component in early]
    head = "Labels written down before any work, perhaps of the old part"
    return [f"{head}: {listed(told, 4)}."] if told else []


def _of_the_input(content: Content) -> list[str]:
    """Return how many warnings there are about what was handed in, by their codes."""
    found = Counter(
        f.code for f in content.findings if f.severity == "warning" and f.code not in _OF_THE_CAR
    )
    told = [f"{code.replace('-', ' ')}{f' ({n})' if n > 1 else ''}" for code, n in found.items()]
    return [f"Warnings about what was handed in: {listed(told, 6)}."] if told else []


def _explained_away(content: Content) -> list[str]:
    explained = tell_signature(content, "contradictions")
    told = [
        f"Contradiction: {cut(c.text, LONGEST_CONTRADICTION)}"
        + (f" Explained by: {cut(explained, LONGEST_STATED)}." if explained else "")
        for c in content.contradictions[:MOST_CONTRADICTIONS]
    ]
    hidden = len(content.contradictions) - len(told)
    return told + ([f"{counted(hidden, 'more contradiction')}, see the annex."] if hidden else [])


def _of_which_car(content: Content) -> list[str]:
    """Return what speaks against this record being of one car, of the kind that it names."""
    car = content.car
    told = [] if car.vin else ["No VIN is given: nothing ties this record to one car."]
    for code in _OF_THE_CAR:
        found = [f for f in content.findings if f.code == code]
        messages = list(dict.fromkeys(f.message for f in found))
        told += [f"{messages[0]}{_where(found)}{_more(len(messages) - 1)}"] if messages else []
    there = {c.id for c in content.components}
    without = [r.replace(".", " ").replace("-", " ") for r in car.removed if r not in there]
    if without:
        told.append(f"The owner says that this car never had: {listed(without, 6)}.")
    return told


def _where(found: Sequence[Finding]) -> str:
    """Return in which files the first of several findings stands, and the others that say it."""
    same = [f.origin for f in found if f.message == found[0].message]
    files = dict.fromkeys(f"{o.file}:{o.line}" if o.line else o.file for o in same if o.file)
    return f" ({listed(list(files), MANY_NAMED)})" if files else ""


def _more(count: int) -> str:
    return f" And {count} more like it." if count else ""


_OF_THE_CAR = (
    "vin-check-digit-elsewhere",
    "case-other-year",
    "case-other-vin",
    "case-component-added",
    "part-not-in-equipment",
    "stages-fewer",
)


def _signed_both_ways(content: Content, history: History) -> list[str]:
    """Return what failed and passed later, with what was noted, with no work on it in between."""
    words = []
    for what, entry in list_signed_both_ways(history).items():
        note = cut(entry.note, LONGEST_NOTE) if isinstance(entry, Passed) else ""
        by = getattr(entry, "by", None) or "nobody named"
        words.append(f"{tell_word(what, content)} ({f'{by}: {note}' if note else by})")
    head = "Failed, later passed, with no work between"
    return [f"{head}: {'; '.join(words)}."] if words else []


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
    softer = [r for r in profile.rules if r.action != "replace"]
    softer.sort(key=lambda r: r.action != "keep")
    told = _tell_rules(softer, LONGEST_NOTE)
    whole = len(told) + MOST_RULES
    told += _tell_rules([r for r in profile.rules if r not in softer], LONGEST_STATED)
    told += list_figures(profile)
    signed = [e for e in content.evidence if isinstance(e, Passed)]
    decided = {v.what for v in content.verdicts} & {e.what for e in signed if e.note and e.by}
    decided -= {*DISPOSAL}  # a signature is all that there can be
    rules = [f"Rules and figures typed in as the maker's: {listed(told, whole)}."] if told else []
    named = [tell_word(what, content) for what in sorted(decided)]
    by_name = f"Decided by a person, by no published limit: {listed(named, 5)}."
    read = [
        f"Of the last scan, by no limit: {cut(b.text, LONGEST_CONTRADICTION)}"
        for v in content.verdicts
        for b in v.because
        if v.what == "second-scan" and b.text.startswith("Decided by")
    ]
    limits = list_limits(content)
    beside = f"Limits of readings typed in as the maker's: {listed(limits, MANY_NAMED)}."
    return [*rules, *([beside] if limits else []), *([by_name] if decided else []), *read]


def _tell_rules(rules: Sequence[OwnRule], longest: int) -> list[str]:
    """Return rules with their source, those of one action and one source together."""
    parts: dict[tuple[str, str], list[str]] = {}
    for rule in rules:
        parts.setdefault((rule.action, rule.source), []).append(rule.component)
    return [
        f"{action} {', '.join(names)} ({cut(source, longest)})"
        for (action, source), names in parts.items()
    ]


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
        if p.live and p.provenance in _USED
    ]
    units = [p for p in content.parts if p.component == _UNIT and p.provenance in _USED]
    told = [f"Used parts that hold an inflator or pretensioner: {listed(used, 4)}."] if used else []
    donors = [f"Used control unit: donor {p.donor_vin or 'not named'}." for p in units]
    return told + donors


_USED = ("recycled", "donor", "repaired")
_UNIT = f"centre.{CONTROL_UNIT}"


def _sold_new(content: Content) -> list[str]:
    """Return who sold the parts that fire and are called new, as it was typed."""
    new = [p for p in content.parts if p.live and p.provenance == "new"]
    count = Counter(cut(p.seller, LONGEST_NOTE) for p in new)
    told = [f'"{seller}" ({n})' for seller, n in count.items()]
    return [f"Parts that fire, called new, sold by, as typed: {listed(told, 4)}."] if told else []


def _of_photos(content: Content) -> list[str]:
    """Return how many photographs show something, and whether one stands for several things."""
    if not content.photos:
        return ["No photograph is in it."]
    own = {p.file: p.copy_sha256 or p.sha256 for p in content.photos}
    shown = [p for p in content.photos if p.shows]
    same = Counter(own.get(p.same_as, own[p.file]) for p in shown)
    worst = max(same.values(), default=0)
    told = [f"{counted(len(same), 'photograph')} in it."]
    told += [f"One of them stands for {worst} different things."] if worst > 1 else []
    empty = len({own[p.file] for p in content.photos if not p.shows})
    told += [f"{counted(empty, 'more file')}: {_EMPTY}"] if empty else []
    return [" ".join(told)]


_EMPTY = "attached as a photograph, nothing can be read on it (tiny, of one colour, or not opened)."


def _left_out(record: ProofRecord) -> list[str]:
    if not record.withheld:
        return []
    return [
        f"This copy leaves out crash data, what it tells, and prices ({len(record.withheld)} parts "
        "of the record); the digest and the signature hold for it all the same."
    ]
