"""Every verdict of a case, and what a person decided where no limit does."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.closing import DRIVE, FINAL_SCAN, Problem, Standing, judge_lamp, judge_scan
from squibwise.history.order import History, last_touch, read_history
from squibwise.history.signed import is_name, is_signed, last_signed
from squibwise.model.belief import Assessment, Because
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence, LampCheck, Reading
from squibwise.model.origin import Origin
from squibwise.model.proof import Verdict
from squibwise.model.report import Report
from squibwise.model.words import Outcome
from squibwise.model.work import Work
from squibwise.prove.fitted import label_verdicts, load_verdicts
from squibwise.prove.handed_over import disposal_verdicts
from squibwise.prove.limits import because_of
from squibwise.prove.measured import reading_verdicts
from squibwise.prove.seats import seat_verdicts

_SIGNED = ("reading:", "seat-trials:", "label:")


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
        *scan_verdicts(history, work, catalog, case.car.vin),
        *seat_verdicts(history, catalog, case.profile),
        *disposal_verdicts(history, work, catalog, case.car.components),
        *label_verdicts(history, catalog, case.car.vin, case.car.drive_hand),
    ]
    left_in = assessment.loads_left_in if assessment else ()
    return tuple(_without_loads(_decided(v, history, catalog), left_in, history) for v in found)


def _decided(verdict: Verdict, history: History, catalog: Catalog) -> Verdict:
    """Return the verdict as a named person decided it, where it was undecided."""
    last = last_signed(history, verdict.what)
    if verdict.outcome != "undecided" or not verdict.what.startswith(_SIGNED) or last is None:
        return verdict
    place, signature = last
    named = {e for b in verdict.because for e in b.evidence} | {verdict.what.partition(":")[2]}
    about = max(history.place_of(e) for e in named)
    if place <= about or not (is_name(signature.by, catalog) and signature.note):
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
    about = _component_of(verdict, history)
    whole = verdict.what in ("lamp-check", "second-scan") and bool(left_in)
    if verdict.outcome != "met" or not (whole or about in left_in):
        return verdict
    names = ", ".join(left_in)
    return msgspec.structs.replace(
        verdict,
        outcome="not met",
        text=f"{verdict.text} That shows nothing: a load is left in {names}.",
        decide="Take the load out with the power off, fit the part, and check once more.",
    )


def _component_of(verdict: Verdict, history: History) -> str:
    """Return the component a verdict speaks of; of the whole car, none."""
    name = verdict.what.partition(":")[2]
    readings = {r.id: r.component for _, r in history.all_of(Reading)}
    return readings.get(name, name).partition("/")[0]


LAMP, SCAN = "lamp-check", "second-scan"
_LAMP = {
    "none": ("No lamp check is recorded.", "Check the lamp after the work and record it."),
    "signed-failed": ("It was signed as failed. {0}", "Repair, then check the lamp again."),
    "dark": ("The lamp did not light at key-on: a dark lamp is a fault.", "Trace the lamp."),
    "came-on": ("The lamp lit and did not stay out.", "Read the codes and trace the fault."),
    "hidden": (
        "The lamp was {0}, and no entry before the check says that it was put right.",
        "See that it is free and plugged in, enter that as looked at and intact, and check again.",
    ),
    "early": ("It came before the last work on the car.", "Check the lamp again."),
    "no-time": ("It has no time, the work has.", "Write down when the lamp was checked."),
    "not-timed": (
        "When the lamp went out is not written down.",
        "Time it from key-on; if it stays on, trace the fault.",
    ),
    "not-watched": (
        "Nobody says whether the lamp stayed out.",
        "Watch it for half a minute over three starts, and record stayed_out.",
    ),
    "soon": (
        "Out after {0} s, sooner than every published time, as of a lamp that is bypassed.",
        "Time it again from key-on, or compare with the maker's time and record passed "
        "'lamp-check' with the document.",
    ),
    "late": (
        "Out after {0} s, later than every published time.",
        "Compare with the maker's time and record passed 'lamp-check' with the document.",
    ),
}
_SCAN = {
    "none": ("No scan is recorded.", "Read a complete scan."),
    "signed-failed": ("It was signed as failed. {0}", "Repair, then scan again."),
    "other-car": ("It is of {0}, which is not this car.", "Scan this car."),
    "two-cars": (
        "{0}.",
        "Scan this car; or record passed 'final-scan', with whose the other number is and who "
        "read it.",
    ),
    "other-unit": (
        "It tells of another unit of the car, not of the restraint unit.",
        "Read the restraint unit.",
    ),
    "no-unit": (
        "It does not say that it is of the restraint unit.",
        "Read the unit so that the report names it; or record passed 'final-scan', with what was "
        "read and who read it.",
    ),
    "other-day": (
        "The file says of itself that it is of {0}.",
        "Scan again; or record passed 'final-scan', with why its date is wrong and who read it.",
    ),
    "odometer-back": (
        "The odometer on it runs back: {0}.",
        "Scan again; or record passed 'final-scan', with why it runs back and who read it.",
    ),
    "off": (
        "When it was read, {0} was on record as off its connector.",
        "See that it is home, enter that, and scan again.",
    ),
    "same-file": ("It is the file of {0} once more.", "Scan again after the last work."),
    "faults": ("It still names {0}.", "Trace and repair, then scan again."),
    "early": (
        "It came before the last work on the car.",
        "Drive, then read a complete scan whose tests have all run.",
    ),
    "no-time": ("It has no time, the work has.", "Write down when the scan was read."),
    "waiting": ("Not tested yet: {0}.", "Drive until every test has run, and scan again."),
    "stored": ("Stored, or of unknown status: {0}.", "Clear, drive, and scan again."),
    "unread": (
        "Not understood: {0}.",
        "Read them and record passed 'final-scan', with what they say and who read them.",
    ),
    "incomplete": (
        "It is not stated that all circuits were read.",
        "Read every circuit and write complete = true.",
    ),
    "unable": ("The unit was not able to test.", "Scan again once it is able."),
    "not-tested": ("Tests not completed: {0}.", "Drive until they have run, and scan again."),
    "volts": ("{0} is outside what the unit needs for its tests.", "Charge the battery, scan."),
}
_OPEN = Problem(word="open")
_OPEN_WORK = ("Work on the car is still open.", "Finish it, then check once more.")


def lamp_verdicts(history: History, work: Work, catalog: Catalog) -> list[Verdict]:
    """Return the verdict on the last lamp check; nothing when there was none."""
    standing = judge_lamp(history, catalog)
    if standing.entry is None:
        return []
    facts = tuple(catalog.fact(f"lamp.{w}") for w in ("earliest-out", "latest-out", "stays-out"))
    check = standing.entry
    problems = (*standing.problems, *_if_open("step:lamp-check", standing, work))
    told, remedy = _tell(problems, _LAMP)
    return [
        Verdict(
            what=LAMP,
            outcome=_outcome(standing, problems),
            text=told or _repeat_lamp(check, history),
            decide=remedy,
            because=because_of(facts, (check.id,)),
            origin=check.origin,
        )
    ]


def _repeat_lamp(check: Evidence, history: History) -> str:
    """Return what was entered of a lamp and of the drive, and nothing else."""
    seconds = check.out_after_s if isinstance(check, LampCheck) else None
    out = "" if seconds is None else f" after {seconds:g} s"
    drive = last_signed(history, *DRIVE)
    if drive is None or not is_signed(history, *DRIVE, after=last_touch(history)):
        road = "no drive is signed since the last work"
    else:
        road = f"drive: signed by {drive[1].by or 'nobody named'}"
    return f"Lit, out{out}, stayed out; {road}."


def scan_verdicts(
    history: History, work: Work, catalog: Catalog, vin: str | None = None
) -> list[Verdict]:
    """Return the verdict on the last scan, once something was done or a scan says it was."""
    asked = any(r.when == "after-repair" for _, r in history.all_of(Report))
    if not history.works and not asked:
        return []
    standing = judge_scan(history, catalog, vin)
    scan = standing.entry
    volts = isinstance(scan, Report) and scan.reading.coverage.unit_volts is not None
    facts = (catalog.fact("unit-volts.low"), catalog.fact("unit-volts.high")) if volts else ()
    problems = (*standing.problems, *_if_open("step:final-scan", standing, work))
    told, remedy = _tell(problems, _SCAN)
    name = f"{scan.id}: " if scan else ""
    met = "complete, its tests have run, and it names no fault."
    return [
        Verdict(
            what=SCAN,
            outcome=_outcome(standing, problems),
            text=f"{name}{told or met}",
            decide=remedy,
            because=(*_read_by(standing, history), *because_of(facts, (scan.id,) if scan else ())),
            origin=scan.origin if scan else Origin(),
        )
    ]


def _read_by(standing: Standing, history: History) -> tuple[Because, ...]:
    """Return what a named person decided of a scan, with the words that were read."""
    signed = last_signed(history, *FINAL_SCAN)
    if not standing.decided_by or signed is None:
        return ()
    words, _ = _tell(standing.read, _SCAN)
    text = f"Decided by {signed[1].by}: {signed[1].note}. {words}"
    return (Because(text=text, evidence=(standing.decided_by,)),)


def _if_open(step: str, standing: Standing, work: Work) -> tuple[Problem, ...]:
    """Return that work is open where the check itself is met and its step may not be ticked."""
    left = any(i.id == step and not i.done for i in work.items)
    return (_OPEN,) if left and standing.outcome == "met" else ()


def _outcome(standing: Standing, problems: tuple[Problem, ...]) -> Outcome:
    return "undecided" if problems and standing.outcome == "met" else standing.outcome


def _tell(problems: tuple[Problem, ...], words: dict[str, tuple[str, str]]) -> tuple[str, str]:
    """Return what keeps a check from being met, and what to do about it first."""
    told = [_OPEN_WORK if p is _OPEN else words[p.word] for p in problems]
    pairs = zip(told, problems, strict=True)
    text = " ".join(text.format(p.detail).strip() for (text, _), p in pairs)
    return text, " ".join(dict.fromkeys(remedy for _, remedy in told[:2]))
