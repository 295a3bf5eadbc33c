"""What the evidence must show before release: each function returns what is missing."""

from squibwise.model.evidence import (
    DoneWork,
    LampCheck,
    PartLabel,
    Passed,
    SeatTrial,
    SubstituteLoad,
)
from squibwise.model.names import split_component
from squibwise.model.report import Report
from squibwise.prove.context import (
    Context,
    fires,
    is_passed,
    last_passed,
    last_work,
    replaced,
    where,
)

DECISIONS = ("key-on-safe",)
DISPOSAL = ("disposal", "dispose", "step:dispose")
LAST_SCAN = ("final-scan", "step:final-scan")
USED = ("recycled", "donor", "repaired")


def failed_checks(context: Context) -> list[str]:
    """Return every check whose last result is a failure that nothing has settled since.

    A failed inspection is settled by a later replacement. A refused key-on is a decision that
    keeps people safe, not a failure of the car.
    """
    last = {p.what: (n, p) for n, p in context.all_of(Passed)}
    return [
        f"{p.what}: failed. {p.note}".strip()
        for n, p in last.values()
        if p.result == "failed" and p.what not in DECISIONS and not _is_settled(p.what, n, context)
    ]


def _is_settled(what: str, place: int, context: Context) -> bool:
    component, _, action = what.rpartition(":")
    return action == "inspect" and replaced(context).get(component, -1) > place


def loads_out(context: Context) -> list[str]:
    """Return every substitute load that was issued and not returned since."""
    last = {s.serial: s for _, s in context.all_of(SubstituteLoad)}
    return [f"load {s.serial} on {s.loop}" for s in last.values() if s.move != "returned"]


def parts_without_origin(context: Context) -> list[str]:
    """Return every replaced component whose new part has no number, origin or donor on record."""
    labels = _labels(context)
    return [
        f"{component}: {problem}"
        for component in replaced(context)
        if (problem := _origin_problem(labels.get(component)))
    ]


def parts_without_recall_check(context: Context) -> list[str]:
    """Return every used part that was not checked against recalls."""
    return [
        f"{component}, part {label.number or 'without a number'}"
        for component, label in _labels(context).items()
        if label.provenance in USED and label.recall_checked is not True
    ]


def _labels(context: Context) -> dict[str, PartLabel]:
    return {label.component: label for _, label in context.all_of(PartLabel)}


def _origin_problem(label: PartLabel | None) -> str:
    if label is None:
        return "no part label recorded"
    if not label.number:
        return "no part number"
    if label.provenance == "unknown":
        return "origin unknown"
    if label.provenance in ("recycled", "donor") and not label.donor_vin:
        return "no VIN of the car it came from"
    return ""


def seats_to_calibrate(context: Context) -> list[str]:
    """Return every occupant sensor whose seat was worked on after its last calibration."""
    sensors = [c for c in context.case.car.components if ".occupant-sensor" in c]
    return [s for s in sensors if not _is_calibrated_since(s, _seat_work(s, context), context)]


def _seat_work(sensor: str, context: Context) -> int:
    place = split_component(sensor).place
    return max(
        (n for n, d in context.all_of(DoneWork) if _is_seat_part(d.component, place, context)),
        default=-1,
    )


def _is_seat_part(component: str, place: str, context: Context) -> bool:
    if component not in context.case.car.components:
        return False
    name = split_component(component)
    kind = context.catalog.kinds[name.kind]
    return name.place == place and (kind.plug == "seat" or kind.kind.startswith("seat-"))


def _is_calibrated_since(sensor: str, work: int, context: Context) -> bool:
    if work < 0:
        return True
    trials = [n for n, t in context.all_of(SeatTrial) if t.component == sensor]
    return max(trials, default=-1) > work or is_passed(context, f"{sensor}:calibrate", after=work)


def charges_without_disposal(context: Context) -> list[str]:
    """Return every replaced charge of which it is not on record where it went."""
    return [
        component
        for component, place in replaced(context).items()
        if fires(context, component)
        and not is_passed(context, f"{component}:disposal")
        and not is_passed(context, *DISPOSAL, after=place)
    ]


def lamp_check(context: Context) -> list[str]:
    """Return what the last lamp check lacks."""
    checks = context.all_of(LampCheck)
    if not checks:
        return ["no lamp check recorded"]
    place, last = checks[-1]
    problems = {
        "it came before the last work": place < last_work(context),
        "the lamp did not light": not last.lit,
        "the lamp did not go out, or the time was not taken": last.out_after_s is None,
        "it was not seen to stay out on a drive": last.stayed_out is not True,
    }
    return [f"{where(last)}: {text}" for text, is_so in problems.items() if is_so]


def final_scan(context: Context) -> list[str]:
    """Return what the last scan lacks."""
    scans = context.all_of(Report)
    if not scans:
        return ["no scan recorded"]
    place, last = scans[-1]
    loads = max((n for n, _ in context.all_of(SubstituteLoad)), default=-1)
    reading = last.reading
    problems = {
        "it came before the last work": place < max(last_work(context), loads),
        "it is not stated that all circuits were read": reading.coverage.complete is not True,
        "the unit was not able to test": reading.coverage.able is False,
        "not tested: " + ", ".join(reading.coverage.not_tested): bool(reading.coverage.not_tested),
        f"{_faults(last)} fault(s) shown": _faults(last) > 0,
        f"{len(reading.unread)} line(s) not understood; read them and record passed 'final-scan'": (
            bool(reading.unread) and not is_passed(context, *LAST_SCAN, after=place)
        ),
    }
    return [f"{where(last)}: {text}" for text, is_so in problems.items() if is_so]


def _faults(report: Report) -> int:
    return sum(1 for line in report.reading.lines if line.status != ("cleared",))


def cautions_unread(context: Context) -> list[str]:
    """Return a line when nobody signed for having read the cautions."""
    return [] if _by_name(context, "cautions") else ["nobody has recorded it"]


def nobody_answers(context: Context) -> list[str]:
    """Return a line when nobody answers for the record, or work was done since."""
    return [] if _by_name(context, "release") else ["nobody has recorded it since the last work"]


def _by_name(context: Context, word: str) -> bool:
    last = last_passed(context, word)
    after = last_work(context) if word == "release" else -1
    return last is not None and bool(last[1].by) and is_passed(context, word, after=after)
