"""The gates before release: each counts verdicts and history, and says what is missing."""

from collections.abc import Callable

import msgspec

from squibwise.catalog.load import Catalog, component_title
from squibwise.history.apart import Off, find_off, tell_off
from squibwise.history.closing import is_work_timed, judge_lamp, judge_scan
from squibwise.history.order import History, last_touch, read_history, replacements
from squibwise.history.returned import list_unmended
from squibwise.history.signed import (
    Speaking,
    find_loads,
    is_decided,
    is_name,
    is_signed,
    label_of,
    last_seen_bad,
    last_signed,
    outdated_gates,
    settling_look,
    speaks_against,
)
from squibwise.history.told_events import (
    denied_events,
    doubt_unit,
    late_events,
    list_commanded,
    told_after,
)
from squibwise.model.belief import Assessment, ComponentBelief
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, DoneWork, Evidence, Look, Passed, SeatTrial
from squibwise.model.names import split_component
from squibwise.model.proof import Gate, Verdict
from squibwise.model.report import Report
from squibwise.model.words import DECISIONS
from squibwise.model.work import Demand, Work
from squibwise.prove.handed_over import list_not_handed_over
from squibwise.prove.measured import list_better
from squibwise.prove.seats import last_seat_work
from squibwise.prove.verdicts import LAMP, SCAN

SEEN_WHOLE = (
    "It was seen whole, so its circuit is what is in doubt: trace it; a complete clean scan after "
    "the last work settles it."
)
"""What is told in place of a look that was made already."""
_OWN_GATE = (LAMP, SCAN, "load:", "label:", "recall:", "seat-trials:", "disposal")


class Context(msgspec.Struct, frozen=True, kw_only=True):
    """Everything a gate may look at."""

    case: Case
    history: History
    assessment: Assessment
    work: Work
    verdicts: tuple[Verdict, ...]
    catalog: Catalog


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
        case=case,
        history=read_history(case.evidence),
        assessment=assessment,
        work=work,
        verdicts=verdicts,
        catalog=catalog,
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
    if profile.name != "unknown" or _is_explained(context, "maker-procedure"):
        return []
    return ["The rules followed are kinds of rules that makers use, not those of this car's maker."]


def _contradictions(context: Context) -> list[str]:
    place_of = context.history.place_of
    told = [
        f"{c.text} {c.remedy}".strip()
        for c in context.assessment.contradictions
        if not _is_explained(context, "contradictions", max(map(place_of, c.evidence), default=-1))
    ]
    against = speaks_against(context.history, context.catalog)
    signed = [
        f"{entry.id} {_says_against(entry)}; {word} may not stand signed."
        for word, entry in against
        if is_signed(context.history, word, f"step:{word}")
    ]
    return told + signed + _of_events(context)


def _of_events(context: Context) -> list[str]:
    """Return events that were told too late or were denied, and that nobody explained since."""
    history = context.history
    late = {e.id: "was told after parts were fitted" for e in late_events(history)}
    denied = {b.id: f"denies what {a.id} tells ({a.what})" for a, b in denied_events(history)}
    fired = {
        r.id: f"lists {c} as commanded to fire, and nothing says that it was replaced"
        for c, r in list_commanded(history).items()
        if c in context.case.car.components
    }
    return [
        f"{name} {text}. Say which is so."
        for name, text in (late | denied | fired | doubt_unit(history)).items()
        if not _is_explained(context, "contradictions", history.place_of(name))
    ]


def _says_against(entry: Speaking) -> str:
    """Return what an entry says of the control unit, after its id."""
    if isinstance(entry, Look):
        return f"saw {entry.component} {entry.seen}"
    if not isinstance(entry, Circumstance):
        return "tells that the control unit is loose, and nobody looked since"
    return f"tells of {entry.what} that reached the control unit"


def _loads_left_in(context: Context) -> list[str]:
    return [
        f"{name}: its circuit reads good, the part is not there or off: a load was left in."
        for name in context.assessment.loads_left_in
    ]


def _is_explained(context: Context, word: str, after: int = -1) -> bool:
    """Return whether somebody answers for a point by name, says why, and said so afterwards."""
    return is_decided(context.history, context.catalog, word, after=after)


def _doubtful(context: Context) -> list[str]:
    floor = context.catalog.fact("release.surely-not").number()
    return [
        _doubt(c, context)
        for c in context.assessment.components
        if is_doubtful(c, context) and c.now.sound > floor
    ]


def _not_sound(context: Context) -> list[str]:
    floor = context.catalog.fact("release.surely-not").number()
    off = find_off(context.history, context.catalog)
    listed = {i.component for i in open_items(context, "replace", "inspect", "trace")}
    return [
        f"{c.id} is not sound, and no open demand settles it. Look at it again and write down "
        "what is seen: what is damaged is ordered."
        for c in context.assessment.components
        if c.now.sound <= floor
        and c.id not in {*listed, *off}
        and not _is_sensor_proved(c.id, context)
    ] + [
        f"{name} is on record as {_how_off(entry)} ({entry.id}), and nothing says since that it "
        f"was put right: see that it is home and free, then saw CASE {name} intact; or record "
        "done, what = 'reseated'."
        for name, entry in off.items()
        if name in context.case.car.components
    ]


def _how_off(entry: Off) -> str:
    return entry.what if isinstance(entry, DoneWork) else f"seen {tell_off(entry)}"


def _is_sensor_proved(component: str, context: Context) -> bool:
    """Did a crash sensor pass its inspection, no eye speaking against it, and the last scan too.

    An eye alone proves no sensor and a scan alone no mount; both together are what can be had.
    """
    if split_component(component).kind != "impact-sensor":
        return False
    bad = last_seen_bad(context.history, component, context.catalog)
    scan = judge_scan(context.history, context.catalog, context.case.car.vin)
    return is_signed(context.history, f"{component}:inspect", after=bad) and scan.outcome == "met"


def is_doubtful(belief: ComponentBelief, context: Context) -> bool:
    """Return whether a component is neither sound enough nor settled by work and inspection."""
    if belief.now.sound >= context.catalog.fact("release.sound-enough").number():
        return False
    items = [i for i in context.work.items if i.component == belief.id]
    own = [i for i in items if i.action in ("replace", "inspect", "trace")]
    settled = bool(own) and all(i.done or i.strict == "advice" for i in own)
    likely = belief.now.sound >= context.catalog.fact("release.settled-by-eye").number()
    if _is_sensor_proved(belief.id, context):
        return False
    return not ((likely and settled) or _was_found_whole(belief.id, context, likely=likely))


def _was_found_whole(component: str, context: Context, *, likely: bool) -> bool:
    """Return whether a part that sets no code passed its inspection, or was last seen whole.

    An eye outranks what codes of other parts make likely; a charge is settled by its circuit too.
    """
    kind, history = context.catalog.kinds[split_component(component).kind], context.history
    if kind.circuit or kind.fires:
        return False
    bad = last_seen_bad(history, component, context.catalog)
    looks = [x for _, x in history.all_of(Look) if x.component == component]
    whole = likely and bool(looks) and looks[-1].seen == "intact"
    return whole or is_signed(history, f"{component}:inspect", after=bad)


def _doubt(belief: ComponentBelief, context: Context) -> str:
    title = component_title(belief.id, context.catalog)
    look = settling_look(belief.id, context.assessment, context.catalog)
    if _is_circuit_in_doubt(belief.id, context):
        look = SEEN_WHOLE
    return f"{title} ({belief.id}): {belief.now.sound:.0%} sound. {look}"


def _is_circuit_in_doubt(component: str, context: Context) -> bool:
    """Was a part with a circuit seen whole since it was last worked on, so that no look is left."""
    if not context.catalog.kinds[split_component(component).kind].circuit:
        return False
    looks = [(n, x) for n, x in context.history.all_of(Look) if x.component == component]
    fitted = max(replacements(context.history).get(component, ()), default=-1)
    return bool(looks) and looks[-1][1].seen == "intact" and looks[-1][0] > fitted


def _faults(context: Context) -> list[str]:
    """Return the circuits to trace, and the faults that went away without a repair on record."""
    history, catalog = context.history, context.catalog
    fitted = {i.component for i in context.work.items if i.action == "replace" and i.done}
    reported = list_unmended(history, context.case.car, catalog).items()
    gone = {c: report.id for c, report in reported if c not in fitted}
    gone |= {c: r.id for c, r in list_better(history, context.case, catalog).items()}
    return _still_to_do("trace")(context) + [
        f"{name}: {told} tells of a fault of it as present, what came last does not, and "
        "nothing on record mended it: record done, what = 'reseated', 'repaired' or 'replaced'; "
        f"or passed '{name}:trace' with what was found in its note and who found it."
        for name, told in gone.items()
        if not _is_explained(context, f"{name}:trace", history.place_of(told))
    ]


def _still_to_do(*actions: str) -> Callable[[Context], list[str]]:
    return lambda context: [f"{i.title} ({i.id})" for i in open_items(context, *actions)]


def _open_steps(context: Context) -> list[str]:
    """Return the steps that are not done, and gates signed before the unit was worked on."""
    late = (
        f"{word} was signed before the last work on the control unit: sign it again before the "
        f"next power-up, did CASE {word} --safe."
        for word in outdated_gates(context.history)
    )
    return [*_still_to_do("do")(context), *late]


def open_items(context: Context, *actions: str) -> list[Demand]:
    """Return what is still to be done of these actions; mere advice does not count."""
    ruled_out = context.catalog.fact("cost.ruled-out").number()
    return [
        i
        for i in context.work.items
        if i.action in actions and not i.done and i.strict != "advice" and i.probability > ruled_out
    ]


def _verdicts(context: Context) -> list[str]:
    """Return the verdicts that are not met and that no gate of their own counts."""
    return [
        f"{v.what}: {v.outcome}. {v.text} {v.decide}".strip()
        for v in context.verdicts
        if v.outcome != "met" and not v.what.startswith(_OWN_GATE)
    ]


def _not_met(context: Context, *words: str) -> list[str]:
    found = (v for v in context.verdicts if v.what.startswith(words) and v.outcome != "met")
    return [f"{v.text} {v.decide}".strip() for v in found]


def _failed_checks(context: Context) -> list[str]:
    """Return every check whose last result is a failure that nothing has settled since.

    A failed inspection is settled by a later replacement. A refused key-on is a decision that
    keeps people safe, not a failure of the car.
    """
    last = {p.what: (n, p) for n, p in context.history.all_of(Passed)}
    fitted = replacements(context.history)
    return [
        f"{p.what}: failed. {p.note}".strip()
        for n, p in last.values()
        if p.result == "failed" and p.what not in DECISIONS and not _is_settled(p.what, n, fitted)
    ]


def _is_settled(what: str, place: int, fitted: dict[str, tuple[int, ...]]) -> bool:
    component, _, action = what.rpartition(":")
    return action == "inspect" and max(fitted.get(component, ()), default=-1) > place


def _loads_out(context: Context) -> list[str]:
    loads = find_loads(context.history)
    unissued = "loads were used, and none was ever entered as issued"
    missing = _loads_left_in(context) + ([unissued] if loads.unissued else [])
    return missing + _not_met(context, "load:")


def _parts_without_origin(context: Context) -> list[str]:
    """Return every fitted part without a label, and every label that does not stand.

    A label is asked of what holds a charge, of the unit and of sensors: webbing and fasteners have
    none of their own.
    """
    return [
        f"{component}: no part label recorded"
        for component in replaced(context)
        if has_label(component, context) and label_of(context.history, component) is None
    ] + _not_met(context, "label:")


def has_label(component: str, context: Context) -> bool:
    """Return whether a part bears a number of its own: what fires, the unit, and sensors."""
    kind = context.catalog.kinds[split_component(component).kind]
    return kind.fires or kind.family in ("unit", "sensor")


def replaced(context: Context) -> dict[str, int]:
    """Return the components that were replaced, with the place of the last time."""
    fitted = replacements(context.history)
    return {c: fitted[c][-1] for c in fitted if c in context.case.car.components}


def _seats_to_calibrate(context: Context) -> list[str]:
    """Return every occupant sensor whose seat was worked on after its last calibration."""
    sensors = [c for c in context.case.car.components if ".occupant-sensor" in c]
    late = [s for s in sensors if not _is_calibrated_since_work(s, context)]
    return [f"{s}: not calibrated since the last work on its seat" for s in late] + _not_met(
        context, "seat-trials:"
    )


def _is_calibrated_since_work(sensor: str, context: Context) -> bool:
    history = context.history
    work = last_seat_work(history, sensor, context.catalog)
    trials = [n for n, t in history.all_of(SeatTrial) if t.component == sensor]
    signed = is_signed(history, f"{sensor}:calibrate", after=work)
    return work < 0 or max(trials, default=-1) > work or signed


def _charges_without_disposal(context: Context) -> list[str]:
    """Return every replaced charge of which it is not on record where it went."""
    car, work = context.case.car.components, context.work
    return [
        f"{component}: no hand-over is signed since the old one came out. Say who took it: "
        'did CASE disposal --note "WHO, RECEIPT".'
        for component in list_not_handed_over(context.history, work, context.catalog, car)
    ]


def _lamp_check(context: Context) -> list[str]:
    if judge_lamp(context.history, context.catalog).entry is None:
        return ["no lamp check recorded"]
    return _not_met(context, LAMP)


def _final_scan(context: Context) -> list[str]:
    scan = judge_scan(context.history, context.catalog, context.case.car.vin).entry
    if scan is None:
        return ["no scan recorded"]
    found = any(v.what == SCAN for v in context.verdicts)
    missing = _not_met(context, SCAN) if found else ["no scan after the work recorded"]
    return missing + _same_content(scan, context)


def _same_content(scan: Evidence, context: Context) -> list[str]:
    """Return that an earlier scan under another name holds the very same bytes."""
    kept = context.case.files
    reports = [r for _, r in context.history.all_of(Report) if r.file in kept]
    name = scan.file if isinstance(scan, Report) else ""
    return [
        f"{scan.id}: its file is a copy of that of {r.id}. Scan again after the last work."
        for r in reports
        if name in kept and r.file != name and kept[r.file] == kept[name]
    ][:1]


def _cautions_unread(context: Context) -> list[str]:
    last = last_signed(context.history, "cautions")
    named = last is not None and is_name(last[1].by, context.catalog) and last[1].result == "passed"
    return [] if named else ["nobody has recorded it"]


def _nobody_answers(context: Context) -> list[str]:
    history, last = context.history, last_signed(context.history, "release")
    since = is_signed(history, "release", after=max(last_touch(history), _last_proof(context)))
    if last is not None and last[1].by and not is_name(last[1].by, context.catalog):
        return [f"'{last[1].by}' names nobody: did CASE release --by NAME"]
    if last is None or not is_name(last[1].by, context.catalog) or not since:
        return ["nobody has recorded it since the last work, lamp check and scan"]
    later = told_after(history, last[0])
    if later:
        return [f"{', '.join(later[:4])} came in after somebody answered for it"]
    timeless = last[1].time is None and is_work_timed(history)
    return ["it has no time, the work has"] if timeless else []


def _last_proof(context: Context) -> int:
    """Return the place of what was proved last, by the lamp or by a scan; -1 for nothing."""
    history, catalog = context.history, context.catalog
    shown = (judge_lamp(history, catalog), judge_scan(history, catalog, context.case.car.vin))
    return max((history.place_of(s.entry.id) for s in shown if s.entry), default=-1)


QUESTIONS: dict[str, Callable[[Context], list[str]]] = {
    "input-clean": _input_clean,
    "maker-procedure": _maker_procedure,
    "contradictions": _contradictions,
    "doubtful": _doubtful,
    "not-sound": _not_sound,
    "replacements": _still_to_do("replace"),
    "faults": _faults,
    "inspections": _still_to_do("inspect"),
    "calibrations": _still_to_do("calibrate"),
    "steps": _open_steps,
    "verdicts": _verdicts,
    "failed-checks": _failed_checks,
    "loads-returned": _loads_out,
    "provenance": _parts_without_origin,
    "recalls": lambda context: _not_met(context, "recall:"),
    "seat-after-work": _seats_to_calibrate,
    "disposal": _charges_without_disposal,
    "lamp-check": _lamp_check,
    "final-scan": _final_scan,
    "cautions-read": _cautions_unread,
    "answerable": _nobody_answers,
}
