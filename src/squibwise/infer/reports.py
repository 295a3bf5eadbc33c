"""One report as a whole: how far it reaches, whether it can be believed, what disturbs it.

What is handed in twice weighs once. And what unit and reports may be like together: watching,
stopped, disturbed, read in part.
"""

from collections.abc import Iterator
from functools import lru_cache
from itertools import product

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import Figure
from squibwise.catalog.load import Catalog, holds_charge
from squibwise.history.order import History
from squibwise.history.reports import of_this_car, put_together, tell_of_others, what_it_says
from squibwise.history.signed import tells_of_copying, tells_of_tilt
from squibwise.infer.blows import measured_speed
from squibwise.infer.crash import is_event_told
from squibwise.infer.event_table import EventTable
from squibwise.infer.network import Network, UnitState
from squibwise.infer.parts import PartModel
from squibwise.model.case import Case
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Evidence,
    Impact,
    LampCheck,
    Look,
    Occupant,
    Reading,
    Recorder,
    Statement,
    Story,
    SubstituteLoad,
    TestOutcome,
)
from squibwise.model.names import loop_id, split_component, split_loop
from squibwise.model.origin import Finding
from squibwise.model.report import CodeLine, Report

Array = npt.NDArray[np.float64]
_MANY = 3
_MOST_BLOWS = 2


def one_cause(report: Report) -> bool:
    """Return whether most codes speak of supply, ground or communication, not of parts."""
    lines = [c for c in report.reading.own if c.fault != "event-recorded"]
    general = [c for c in lines if c.fault == "communication" or _is_of_the_supply(c)]
    return len(general) >= _MANY and 2 * len(general) > len(lines)


def chance_disturbed(report: Report, catalog: Catalog) -> float:
    """Return the chance, by what a report shows, that one fault of supply or ground is behind it.

    That another unit is not heard is no sign of it, and the unit's own bus hardly one: neither
    opens a firing circuit. Nor does a supply that was low once: it stops the tests.
    """
    own, reach = report.reading.own, catalog.firing.scans.reach
    volts = report.reading.coverage.unit_volts
    strange = volts is not None and not reach.lowest_volts <= volts <= reach.highest_volts
    coded = [c for c in own if c.present and _is_of_the_supply(c)]
    if strange or any("present" in c.status for c in coded):
        return (reach.disturbed_if_both if strange and coded else reach.disturbed_if_one_sign).value
    if coded:
        return reach.disturbed_if_coded.value
    bus = any(c.present and c.kind == "control-unit" and c.fault == "communication" for c in own)
    return reach.disturbed_if_bus.value if bus else 0.0


def _is_of_the_supply(line: CodeLine) -> bool:
    """Return whether a code is of the supply of the unit, not of one sensor's own voltage."""
    of_the_unit = line.component in (None, "centre.control-unit")
    return line.fault == "voltage" and of_the_unit and line.kind in (None, "control-unit")


def unit_is_silent(report: Report) -> bool:
    """Return whether a report says that the restraint unit does not answer."""
    if report.reading.coverage.silent is not None:
        return True
    silence = (c for c in report.reading.lines if c.kind == "control-unit" and c.present)
    return not report.reading.answers and any(c.fault == "communication" for c in silence)


def is_crash_denied(line: History, catalog: Catalog) -> bool:
    """Return whether somebody says, saw or read that the car was not struck, or stood asleep."""
    bound = catalog.firing.events.fires_from_kmh
    speeds = [measured_speed(e) for _, e in line.all_of(Recorder)]
    return (
        any((e.what, e.present) in _DENIALS for _, e in line.all_of(Circumstance))
        or any(e.extent == "none" for _, e in line.all_of(Impact))
        or any(speed is not None and speed < bound for speed in speeds)
    )


_DENIALS = (("crash", False), ("parked", True))


def is_supply_low(report: Report, catalog: Catalog) -> bool:
    """Return whether the supply was too low when a report was read, as measured or as coded."""
    volts = report.reading.coverage.unit_volts
    if volts is not None:
        return volts < catalog.firing.scans.reach.charge_below_volts
    return any(_is_of_the_supply(c) and "present" in c.status for c in report.reading.own)


def event_lines(report: Report) -> tuple[CodeLine, ...]:
    """Return the lines that tell of a crash record."""
    return tuple(
        c
        for c in report.reading.own
        if c.fault == "event-recorded" and "cleared" not in c.status and c.present
    )


def why_lit(line: CodeLine, report: Report, history: History) -> str:
    """Return why an OFF indicator is lit that does what it should; empty when nothing tells.

    It lights when the bag is off: over an empty seat, by its switch, or when what senses the seat
    is at fault. A line that names an electrical fault of the indicator itself stays one.
    """
    if line.kind != INDICATOR or line.fault not in (None, "unknown"):
        return ""
    present = [c for c in report.reading.own if c.present]
    senses = next((c.component or c.kind for c in present if c.kind in _TURNS_OFF), None)
    if senses:
        return f"{senses} is at fault"
    told = (e for _, e in history.all_of(Occupant) if e.seat == "passenger")
    if any(e.present is False or e.size == "empty" for e in told):
        return "nobody sat on the passenger seat"
    return ""


INDICATOR = "off-indicator"
_TURNS_OFF = ("occupant-sensor", "passenger-switch")


def chance_whole(report: Report, line: History, catalog: Catalog) -> float:
    """Return the chance that a report shows every code that the unit of this car stores.

    It does not when it was erased before, read from another unit or car, or cut short. That is one
    thing for the whole report, not one for each circuit.
    """
    reach, coverage = catalog.firing.scans.reach, report.reading.coverage
    told = {f.code for f in report.reading.findings}
    events = _EVENTS in told and coverage.complete is None and not report.shows_codes
    if events or coverage.silent is not None or told & _NO_REPORT:
        return 0.0
    if _NOTHING_UNDERSTOOD in told and len(report.reading.unread) >= _A_LIST:
        return 0.0
    is_blank = coverage.cleared is not None and report.when != "after-repair"
    if coverage.complete is False or (is_blank and not report.shows_codes):
        return 1.0 - reach.unread_if_partial.value
    if coverage.complete is None and report.reading.lines and not _names_a_part(report):
        return 0.0  # a list of another unit, or of codes that nobody could read
    if coverage.complete is None:
        return 1.0 - reach.unread_if_unstated.value
    return 1.0 - (reach.cut_short if report.shows_codes else _blank(report, line, catalog)).value


_NO_REPORT = frozenset(("not-a-report", "crash-data-not-a-report"))
_EVENTS = "events-in-report"  # lines of a crash record among it: alone they are no list of codes
_NOTHING_UNDERSTOOD = "no-fault-found"  # not one line understood, not even that there is no fault
_A_LIST = 5  # lines: fewer are a heading and a word that all is well, which nobody knew to read


def tells_of_charges(report: Report, catalog: Catalog) -> bool:
    """Return whether a report shows a code of more than the sensing of seats.

    Seats have faults of their own in any car; a charge, a buckle, a crash sensor, the unit or a
    record speak of this crash.
    """
    named = [m for line in report.reading.own for m in (line.candidates or (line,))]
    kinds = {m.kind or split_component(m.component).kind if m.component else m.kind for m in named}
    return not kinds <= _aside(catalog)


@lru_cache
def _aside(catalog: Catalog) -> frozenset[str | None]:
    sensors = (k.kind for k in catalog.kinds.values() if k.family == "sensor")
    return frozenset(kind for kind in sensors if kind != "impact-sensor")


def _blank(report: Report, line: History, catalog: Catalog) -> Figure:
    """Return the chance that a report without codes shows none of those that the unit stores."""
    place, reach = line.place_of(report.id), catalog.firing.scans.reach
    done = {work.what for at, work in line.works if at < place}
    if report.when == "after-repair" or done - {"cleared"}:
        return reach.blank_after_work
    return reach.blank_after_clearing if done else reach.blank


def _names_a_part(report: Report) -> bool:
    """Return whether any line is known to be of the restraint unit, or to mean a part of it."""
    return any(
        c.unit == "restraint" or c.kind or c.component or c.candidates for c in report.reading.lines
    )


def unit_able(report: Report, catalog: Catalog) -> bool | None:
    """Return whether the unit could run its tests; None when nothing tells."""
    coverage, reach = report.reading.coverage, catalog.firing.scans.reach
    if coverage.able is not None or coverage.unit_volts is None:
        return coverage.able
    inside = reach.lowest_volts <= coverage.unit_volts <= reach.highest_volts
    return None if inside else False


def unit_states(
    events: EventTable, line: History, catalog: Catalog
) -> tuple[Array, tuple[UnitState, ...]]:
    """Return what the unit and its reports may be like, with the prior of it by event."""
    reports = [e for e in line.entries if isinstance(e, Report)]
    prior, words = np.ones((len(events.weight), 1)), ["watching"]
    if reports:
        chances = catalog.firing.events.stopped
        fired = events.bags | events.belts
        stopped = np.where(fired, chances["after_firing"].value, chances["otherwise"].value)
        prior, words = np.stack([1.0 - stopped, stopped], axis=-1), ["watching", "stopped"]
    share = max((chance_disturbed(r, catalog) for r in reports), default=0.0)
    if share:
        disturbed = np.full((len(prior), 1), share)
        prior = np.concatenate([prior * (1.0 - share), disturbed], axis=1)
        words.append("disturbed")
    unsaid = is_crash_denied(line, catalog) or not is_event_told(line.entries)
    if unsaid and any(_codes_several(r, catalog) for r in reports):
        share = catalog.firing.scans.reach.taken_off_if_denied.value
        off = np.full((len(prior), 1), share)
        prior = np.concatenate([prior * (1.0 - share), off], axis=1)
        words.append("taken-off")
    columns, states = [], []
    reading = tuple(_readings_of_reports(reports, line, catalog))
    gone_too = tuple(_readings_of_reports(reports, line, catalog, _chance_of_both(catalog)))
    missed = _missed_by_the_recorder(events, line)
    asked = reading[-1][0] & {r.id for r in reports}
    for column, word in enumerate(words):
        for (unread, chance), (_, then) in zip(reading, gone_too, strict=True):
            columns.append(prior[:, column] * np.where(missed, then, chance))
            states.append(UnitState(word, unread, asked))
    return np.stack(columns, axis=-1), tuple(states)


def _chance_of_both(catalog: Catalog) -> float:
    """Return the chance that a unit still shows its codes whose recorder shows nothing."""
    return 1.0 - catalog.firing.scans.recorder["codes_gone_too"].value


def _missed_by_the_recorder(events: EventTable, line: History) -> npt.NDArray[np.bool_]:
    """Return in which events a blow was as hard as usual although a recorder shows nothing."""
    if not line.all_of(Recorder):
        return np.zeros(len(events.weight), dtype=bool)
    blows = [s.blows for s in events.scenarios]
    shown = {b.zone.name for several in blows for b in several if b.forward is not None}
    usual = ([b for b in bs if b.forward is None and b.zone.name in shown] for bs in blows)
    return events.holds([bool(missed) for missed in usual])


def _codes_several(report: Report, catalog: Catalog) -> bool:
    """Return whether a report most likely has codes of the circuits of more than one charge."""
    coded = {
        meant.component
        for line in report.reading.lines
        for meant in line.candidates
        if line.present and meant.component and meant.weight >= _MOST_LIKELY
    }
    return sum(holds_charge(c, catalog) for c in coded) > 1


_MOST_LIKELY = 0.5


def _readings_of_reports(
    reports: list[Report], line: History, catalog: Catalog, kept: float = 1.0
) -> Iterator[tuple[frozenset[str], float]]:
    """Yield which reports and lamps do not show everything, with the chance; all of them last.

    Asked of the first and the last report only: each doubles the event table. Of all lamp checks it
    is one thing, for every circuit of the car; with a last report that is whole and clean they
    share it, as both are the word of one unit.

    Args:
        reports: All reports; may be none.
        line: Work between them.
        catalog: Figures.
        kept: Share of the chance of showing everything that is left.
    """
    ends = {r.id: kept * chance_whole(r, line, catalog) for r in (*reports[:1], *reports[-1:])}
    doubtful = {frozenset({name}): whole for name, whole in ends.items() if 0.0 < whole < 1.0}
    lamps = frozenset(e.id for _, e in line.all_of(LampCheck) if e.lit and e.stayed_out)
    if lamps:
        last = frozenset(r.id for r in reports[-1:] if _is_clean(r))
        whole = doubtful.pop(last, 1.0 - catalog.firing.scans.lamp["tells_nothing"].value)
        doubtful[last | lamps] = whole
    for unread in product((False, True), repeat=len(doubtful)):
        gone = [n for n, off in zip(doubtful, unread, strict=True) if off]
        chance = np.prod([1.0 - p if n in gone else p for n, p in doubtful.items()])
        yield frozenset().union(*gone), float(chance)


def _is_clean(report: Report) -> bool:
    return report.reading.coverage.complete is True and not report.shows_codes


def drop_copies(case: Case, catalog: Catalog) -> tuple[Case, tuple[Finding, ...]]:
    """Return the case with each thing said once, and a finding for each entry left out.

    A report of another car is set aside whole, and reports of one minute are one. A unit that is
    read again with no work between says the same again: what it stores, it stores. An impact that
    says nothing of zone, direction or extent is no evidence, nor is what a slope does to a belt.
    """
    kept: list[Evidence] = []
    works = 0
    findings = list(tell_of_others(case))
    seen: dict[str, str] = {}
    timed = {what_it_says(e): e.id for e in case.evidence if isinstance(e, Report) and e.time}
    for entry in of_this_car(case).evidence:
        works += isinstance(entry, DoneWork | SubstituteLoad | TestOutcome)
        key = _content(entry, works, case, catalog)
        if isinstance(entry, Report) and entry.time is None and what_it_says(entry) in timed:
            key = what_it_says(entry)  # the same reading once more, without its time
            seen.setdefault(key, timed[key])
        if isinstance(entry, Impact) and (entry.zone, entry.clock, entry.extent) == (None,) * 3:
            continue  # reading the case has said so
        if isinstance(entry, Look) and _is_made_by_tilt(entry, case, catalog):
            text = f"{entry.id}: a sound belt locks as well on a slope; look again on level ground"
            findings.append(_finding("look-on-a-slope", text, entry))
        elif key is not None and key in seen:
            text = f"{entry.id}: says the same as {seen[key]} and is weighed once"
            findings.append(_finding("weighed-once", text, entry))
        else:
            kept.append(entry)
            if key is not None:
                seen[key] = entry.id
    numbered, notes = _number_impacts(put_together(kept))
    return msgspec.structs.replace(case, evidence=numbered), (*findings, *notes)


def _number_impacts(entries: tuple[Evidence, ...]) -> tuple[tuple[Evidence, ...], list[Finding]]:
    """Return entries whose impacts are the first and the second.

    Of more than two, none keeps its number: a blow on each side that is named, in any order.
    """
    impacts = [e for e in entries if isinstance(e, Impact) and e.order]
    orders = sorted({e.order for e in impacts if e.order})
    if not orders or orders[-1] <= _MOST_BLOWS:
        return entries, []
    ranks: dict[int, int | None] = {order: n for n, order in enumerate(orders, start=1)}
    if len(orders) > _MOST_BLOWS:
        ranks = dict.fromkeys(orders)
    put = tuple(
        msgspec.structs.replace(e, order=ranks[e.order]) if isinstance(e, Impact) and e.order else e
        for e in entries
    )
    if len(orders) <= _MOST_BLOWS:
        return put, []
    text = f"{len(orders)} impacts are numbered; the order of more than two is not weighed"
    return put, [_finding("impacts-over-two", text, impacts[-1])]


def _is_made_by_tilt(look: Look, case: Case, catalog: Catalog) -> bool:
    """Return whether a sight is one that the slope makes on which the car was told to stand."""
    word = catalog.looks(split_component(split_loop(look.component)[0]).kind).get(look.seen)
    stories = (e for e in case.evidence if isinstance(e, Story) and e.loop is None)
    return bool(word and word.by_tilt) and any(
        tells_of_tilt(story.text, catalog)
        for story in stories
        if not (story.time and look.time) or story.time.date() == look.time.date()
    )


def _finding(code: str, text: str, entry: Evidence) -> Finding:
    return Finding(code=code, severity="note", message=text, origin=entry.origin)


def _content(entry: Evidence, works: int, case: Case, catalog: Catalog) -> str | None:
    """Return what an entry says; None for what may well be said or done twice.

    Args:
        entry: Of the case.
        works: How much work was done before it: after more of it, the same reading is news.
        case: Whose word repeats another's.
        catalog: Words of repeating.
    """
    if isinstance(entry, Statement):
        return repr((entry.component, entry.says, _whose_word(entry, case, catalog)))
    if isinstance(entry, Report):
        return f"{None if entry.time is None else works} {what_it_says(entry)}"
    if isinstance(entry, Impact | Recorder | Reading):
        plain = msgspec.structs.asdict(entry) | {"id": "", "origin": "", "file": "", "time": ""}
        return repr((type(entry).__name__, works if isinstance(entry, Reading) else 0, plain))
    return None


def _whose_word(entry: Statement, case: Case, catalog: Catalog) -> str:
    """Return whose word a statement is; of one that repeats another's, that other's."""
    alike = (
        e
        for e in case.evidence
        if isinstance(e, Statement) and (e.component, e.says) == (entry.component, entry.says)
        if not tells_of_copying(e.from_, catalog)
    )
    first = next(alike, entry) if tells_of_copying(entry.from_, catalog) else entry
    return first.from_.strip().lower()


def load_fitted(part: PartModel, place: int, net: Network) -> bool:
    """Return whether a substitute load stood in for the part at a place in time."""
    loops = {loop_id(part.id, s + 1) for s in range(part.stages)} | {part.id}
    fitted: set[str] = set()
    for entry in net.line.entries[:place]:
        if isinstance(entry, SubstituteLoad) and entry.loop in loops:
            if entry.move == "issued":
                fitted.add(entry.serial)
            else:
                fitted.discard(entry.serial)
    return bool(fitted)
