"""Every kind of evidence in a sentence."""

from collections.abc import Callable
from typing import Any

from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Evidence,
    Impact,
    LampCheck,
    Look,
    Occupant,
    PartLabel,
    Passed,
    Photo,
    Reading,
    Recorder,
    SeatTrial,
    Statement,
    Story,
    SubstituteLoad,
    TestOutcome,
)
from squibwise.model.report import Report
from squibwise.present.figures import counted, measured, number, speed
from squibwise.present.phrases import in_words
from squibwise.present.tell_report import count_faults


def tell_evidence(one: Evidence, region: str | None = None) -> str:
    """Return one piece of evidence in a sentence; speeds and torques in the region's unit."""
    told = _BY_REGION.get(type(one))
    return told(one, region) if told else _WORDS[type(one)](one)


def _known(*pairs: tuple[str, str | None]) -> str:
    """Return what is known of several things, each with its name."""
    return ", ".join(f"{name} {value}".strip() for name, value in pairs if value)


def _yes(value: bool | None) -> str | None:
    return None if value is None else ("yes" if value else "no")


def _report(e: Report) -> str:
    cover, unread = e.reading.coverage, e.reading.strange
    reach = {True: "all circuits", False: "not all circuits", None: "reach not stated"}
    parts = [f"scan {e.when}", *count_faults(e.reading.lines), reach[cover.complete]]
    parts += [f"{counted(len(unread), 'line')} not understood"] if unread else []
    parts += ["the unit was not able to test"] if cover.able is False else []
    return ", ".join(parts)


def _look(e: Look) -> str:
    return f"{e.component}: seen {in_words(e.seen)}" + (f". {e.note}" if e.note else "")


def _statement(e: Statement) -> str:
    return f"{e.component or 'the car'}: said to be {e.says} by {e.from_ or '?'}"


def _impact(e: Impact) -> str:
    return _known(
        ("impact at", e.zone),
        ("from", None if e.clock is None else f"{e.clock} o'clock"),
        ("", e.extent),
        ("no.", None if e.order is None else str(e.order)),
    )


def _circumstance(e: Circumstance) -> str:
    return f"{e.what}: {_yes(e.present)}"


def _recorder(e: Recorder, region: str | None = None) -> str:
    along, across = (
        None if v is None else speed(v, region) for v in (e.delta_v_long_kmh, e.delta_v_lat_kmh)
    )
    return _known(
        ("crash record", e.record),
        ("delta-V along", along),
        ("across", across),
        ("by", e.method),
        ("driver's belt", e.driver_belt),
        ("passenger's belt", e.passenger_belt),
        ("passenger", e.passenger_class),
    )


def _reading(e: Reading, region: str | None = None) -> str:
    spread = "" if e.u is None else f" (u {number(e.u)})"
    where = f" at {e.where}" if e.where else ""
    how = f", by {e.method}" if e.method else ""
    return f"{e.component}: {e.quantity} {measured(e.value, e.unit, region)}{spread}{where}{how}"


def _lamp(e: LampCheck) -> str:
    lit = "lit at key-on" if e.lit else "did not light"
    out = "not seen to go out" if e.out_after_s is None else f"out after {number(e.out_after_s)} s"
    stay = {True: "stayed out", False: "came on again", None: "not watched after that"}
    return f"warning lamp {lit}, {out}, {stay[e.stayed_out]}"


def _label(e: PartLabel) -> str:
    checked = {True: "recalls checked", False: "recalls not checked"}
    return f"{e.component}: " + _known(
        ("part", e.number),
        ("serial", e.serial),
        ("made", e.made_on),
        ("", e.provenance),
        ("from VIN", e.donor_vin),
        ("sold by", e.seller),
        ("", "recall check not stated" if e.recall_checked is None else checked[e.recall_checked]),
    )


def _seat_trial(e: SeatTrial, region: str | None = None) -> str:
    def told(value: float | None, unit: str) -> str | None:
        return None if value is None else measured(value, unit, region)

    return f"{e.component}: " + _known(
        ("laid on", told(e.applied_kg, "kg")),
        ("read", told(e.read_kg, "kg")),
        ("status", e.status),
        ("cabin", told(e.cabin_c, "degC")),
        ("supply", told(e.volts, "V")),
        ("seat", e.seat_position),
    )


def _occupant(e: Occupant) -> str:
    present = {True: "taken", False: "empty", None: "not known"}[e.present]
    return f"{e.seat}: " + _known(
        ("seat", present), ("", e.size), ("belt", e.belt), ("child seat", _yes(e.child_seat))
    )


def _load(e: SubstituteLoad) -> str:
    ohm = "" if e.ohm is None else f" ({number(e.ohm)} ohm)"
    mark = e.serial.removeprefix("load ")
    where = "" if mark == e.loop else f", {e.loop}"
    return f"substitute load {mark}{ohm} {e.move}{where}"


def _outcome(e: TestOutcome) -> str:
    return f"{e.loop}: test {e.test}, outcome {e.outcome}"


def _done(e: DoneWork) -> str:
    return f"{e.component} {e.what}" + (f" (for {e.item})" if e.item else "")


def _passed(e: Passed) -> str:
    return f"{e.what}: {e.result}" + (f". {e.note}" if e.note else "")


def _story(e: Story) -> str:
    about = f"{e.loop}: " if e.loop else ""
    words = [w.replace("-", " ") for w in (*e.comes, *e.known)]
    return about + "; ".join(t for t in (e.text, *words) if t)


def _photo(e: Photo) -> str:
    of = e.component or e.operation
    return f"photograph {e.file}" + (f" of {of}" if of else "") + (f". {e.note}" if e.note else "")


_BY_REGION: dict[type, Callable[[Any, str | None], str]] = {
    Recorder: _recorder,
    Reading: _reading,
    SeatTrial: _seat_trial,
}
"""Kinds of evidence whose figures are told in the units of a region."""
_WORDS: dict[type, Callable[[Any], str]] = {
    Report: _report,
    Look: _look,
    Statement: _statement,
    Impact: _impact,
    Circumstance: _circumstance,
    Occupant: _occupant,
    LampCheck: _lamp,
    SubstituteLoad: _load,
    PartLabel: _label,
    TestOutcome: _outcome,
    DoneWork: _done,
    Passed: _passed,
    Story: _story,
    Photo: _photo,
}
