"""Which repairs did not hold, and which faults went away without one."""

import math
from collections.abc import Iterator

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.story_words import plain
from squibwise.history.apart import PUT_RIGHT, find_apart
from squibwise.history.closing import AGAIN, BACK, STAYS
from squibwise.history.order import CURED, History
from squibwise.history.reports import is_of_another_car
from squibwise.model.car import Car
from squibwise.model.evidence import Evidence, LampCheck, Story, TestOutcome
from squibwise.model.names import ComponentName, split_component, split_loop
from squibwise.model.report import CodeLine, Report

NOT_CURED = "not fixed"
_LIKELY = 0.5  # more likely than not
_Loop = tuple[str, int]


class Return(msgspec.Struct, frozen=True, kw_only=True):
    """A repair that did not hold.

    Attributes:
        repair: Its id, as it was entered.
        cure: Id of the entry that called the fault cured.
        shown: Id of the entry that shows it again.
    """

    repair: str
    cure: str
    shown: str


class Course(msgspec.Struct, frozen=True, kw_only=True):
    """What became of the repairs of a case.

    Attributes:
        ever: Those that did not hold, with their circuit, in order.
        open: Those of them whose fault was not cured again since, and that no complete report
            without it has answered, by circuit.
    """

    ever: tuple[tuple[_Loop, Return], ...]
    open: dict[_Loop, Return]

    def refutes(self, entry: TestOutcome) -> bool:
        """Return whether a fault that an entry calls cured is told of again."""
        return any(told.cure == entry.id for _, told in self.ever)


def follow_repairs(history: History, car: Car, catalog: Catalog) -> Course:
    """Return which repairs did not hold.

    A later report that names the circuit, a lamp that stays on, a dated story that tells it, a
    drive on which the fault came back, or a later repair that found it there.
    """
    cures: dict[_Loop, TestOutcome] = {}
    held: set[_Loop] = set()
    ever: list[tuple[_Loop, Return]] = []
    back: dict[_Loop, Return] = {}
    for place, entry in enumerate(history.entries):
        if is_of_another_car(entry, car.vin):
            continue
        shown = [loop for loop in sorted(held) if _shows(entry, loop, catalog)]
        back |= {x: Return(repair=cures[x].test, cure=cures[x].id, shown=entry.id) for x in shown}
        ever += [(loop, back[loop]) for loop in shown]
        held.difference_update(shown)
        if isinstance(entry, TestOutcome) and _is_cure(entry, place, history, car, catalog):
            loop = split_loop(entry.loop)
            cures[loop] = cures.get(loop, entry) if entry.outcome == STAYS else entry
            held.add(loop)
            back.pop(loop, None)
        elif isinstance(entry, Report) and is_whole(entry):
            back = {x: r for x, r in back.items() if shows_circuit(entry, x, catalog)}
    return Course(ever=tuple(ever), open=back)


def list_unmended(history: History, car: Car, catalog: Catalog) -> dict[str, Report]:
    """Return the parts named as faulty now that the last report leaves out and nothing mended.

    Each with the last report that names it. What mends a part is work on it, on the wiring or the
    clock spring of its circuit, or an outcome that calls it cured. A new unit mends no circuit
    unless an outcome says so.
    """
    reports = [(n, r) for n, r in history.all_of(Report) if not is_of_another_car(r, car.vin)]
    told: dict[str, tuple[int, Report]] = {}
    for place, report in reports:
        told |= {c: (place, report) for c in _named_faulty(report) if c in car.components}
    return {
        component: report
        for component, (place, report) in told.items()
        if place < reports[-1][0] and not is_mended(component, place, history, catalog)
    }


_NO_CIRCUIT = ("event-recorded", "communication", "configuration", "identity", "calibration")


def _named_faulty(report: Report) -> set[str]:
    """Return the parts of which a report says that a fault of theirs is present."""
    return {
        line.component
        for line in report.reading.lines
        if line.component
        and line.present
        and "present" in line.status
        and line.unit != "other"
        and line.fault not in (*_NO_CIRCUIT, "voltage")
    }


def is_mended(component: str, since: int, history: History, catalog: Catalog) -> bool:
    """Return whether anything on record may have mended a part after a place."""
    cured = (
        split_loop(t.loop)[0] == component and t.outcome in CURED
        for n, t in history.all_of(TestOutcome)
        if n > since
    )
    worked = {w.component for n, w in history.works if n > since and w.what in PUT_RIGHT}
    name = split_component(component)
    chain = catalog.loops.chain(name.kind, name.place)
    through = {e.id for e in chain.element} if chain else set()
    shared = {"wiring", *({"clock-spring"} & through)}
    kinds = {c.partition(".")[2] for c in worked}
    return component in worked or bool(kinds & shared) or any(cured)


def _shows(entry: Evidence, loop: _Loop, catalog: Catalog) -> bool:
    """Return whether an entry shows the fault of a circuit that was called cured."""
    if isinstance(entry, Report):
        return shows_circuit(entry, loop, catalog)
    if isinstance(entry, LampCheck):
        on = entry.stayed_out is False or (entry.out_after_s is None and not entry.stayed_out)
        return entry.lit and on
    if isinstance(entry, Story):
        return entry.time is not None and _tells_back(entry, loop, catalog)
    return (
        isinstance(entry, TestOutcome)
        and split_loop(entry.loop) == loop
        and (entry.outcome == BACK or (entry.outcome == NOT_CURED and _is_known(entry, catalog)))
    )


def _tells_back(story: Story, loop: _Loop, catalog: Catalog) -> bool:
    """Return whether a dated story says that lamp or fault of a circuit, or of any, is back."""
    if story.loop is not None and split_loop(story.loop) != loop:
        return False
    text = plain(story.text)
    told = catalog.loops.words[_BACK_TOLD].pattern().finditer(text)
    denial = catalog.loops.words[_DENIAL].pattern()
    near = (" ".join([*text[: m.start()].split()[-3:], *text[m.end() :].split()[:4]]) for m in told)
    return any(not denial.search(words) for words in near)


_BACK_TOLD, _DENIAL = "back-told", "denial"  # words of the catalogue


def _is_cure(entry: TestOutcome, place: int, history: History, car: Car, catalog: Catalog) -> bool:
    """Return whether an entry calls a fault cured; what was read while apart does not count."""
    if entry.test == AGAIN:
        return entry.outcome == STAYS
    return (
        entry.outcome in CURED
        and _is_known(entry, catalog)
        and not find_apart(entry, place, history, car, catalog)
    )


def _is_known(entry: TestOutcome, catalog: Catalog) -> bool:
    """Return whether a test or repair is one of its circuit's."""
    name, (_, _, point) = split_component(split_loop(entry.loop)[0]), entry.test.partition(":")
    chain = catalog.loops.chain(name.kind, name.place)
    ids = {t.id for t in catalog.loops.tests} | {r.id for r in catalog.loops.repairs}
    points = {e.id for e in chain.element} if chain else set()
    return entry.test in ids or point in points


def is_whole(report: Report) -> bool:
    """Return whether a report tells of all circuits, by a unit able to test them."""
    return bool(report.reading.coverage.complete and report.reading.coverage.able is not False)


def shows_circuit(report: Report, loop: _Loop, catalog: Catalog) -> bool:
    """Return whether a report likely names a fault of a circuit that nobody cleared."""
    told = lines_for(report, *loop, catalog)
    return any(share >= _LIKELY and "cleared" not in line.status for line, _, share in told)


def lines_for(
    report: Report, component: str, stage: int, catalog: Catalog
) -> Iterator[tuple[CodeLine, str, float]]:
    """Yield the lines of a report that may speak of a circuit, each with a fault word and a share.

    A line that names only the kind, or the kind and no place, counts by a share. What another unit
    stores speaks of no circuit, but where it misses the control unit.
    """
    for line in report.reading.lines:
        if not is_there(line) or not is_heard(line):
            continue
        if line.component == component and line.stage in (None, stage):
            yield from _kinds_told(line, component)
        elif line.component is None:
            yield from _perhaps(line, component, stage, catalog)
            if line.kind is None and not any(c.kind for c in line.candidates):
                yield from _of_no_part(line, report, component, catalog)


_HEADING = 6
_SEAT_SENSING, _ITS_WORD = "occupant", "mat-device"


def _of_no_part(
    line: CodeLine, report: Report, component: str, catalog: Catalog
) -> Iterator[tuple[CodeLine, str, float]]:
    """Yield a line that names no part for the circuit that it speaks of all the same.

    A supply out of range is the control unit's where its own memory holds it; what the seat
    sensing's own unit stores, that of seat sensing.
    """
    name = split_component(component)
    chain = catalog.loops.chain(name.kind, name.place)
    circuit = chain.circuit if chain else ""
    if circuit == "unit" and line.fault == "voltage" and line in report.reading.own:
        yield line, line.fault, 1.0
    if circuit == _SEAT_SENSING and _is_seat_sensing(line, report, catalog):
        yield line, line.fault, catalog.fact("isolation.unplaced").number()


def _is_seat_sensing(line: CodeLine, report: Report, catalog: Catalog) -> bool:
    """Return whether a line, or the short heading above it, names the unit of seat sensing.

    That unit stores codes of its own, whose texts need not name the part.
    """
    above = [u.raw for u in report.reading.unread if u.line < line.line]
    headings = [raw for raw in above if len(raw.split()) <= _HEADING]
    pattern = catalog.loops.words[_ITS_WORD].pattern()
    return any(pattern.search(plain(text)) for text in (line.raw, *headings[-1:]))


def is_there(line: CodeLine) -> bool:
    """Return whether a line tells of a fault that is there or remembered.

    One that came back was only cleared; one that is passive now still stands in the memory.
    """
    remembered = "stored" in line.status and "cleared" not in line.status
    return line.present or remembered or "present" in line.status


def is_heard(line: CodeLine) -> bool:
    """Return whether a line may speak of a restraint part: its unit does, or misses that unit."""
    misses_the_unit = line.kind == "control-unit" and line.fault == "communication"
    return line.unit != "other" or misses_the_unit


def _kinds_told(line: CodeLine, component: str) -> Iterator[tuple[CodeLine, str, float]]:
    """Yield the kind of fault of a line; where it is left open, its candidates by weight."""
    open_kinds = [c for c in line.candidates if c.component == component and c.fault != "unknown"]
    if line.fault != "unknown" or not open_kinds:
        yield line, line.fault, 1.0
        return
    total = math.fsum(c.weight for c in open_kinds)
    for candidate in open_kinds:
        yield line, candidate.fault, candidate.weight / total


def _perhaps(
    line: CodeLine, component: str, stage: int, catalog: Catalog
) -> Iterator[tuple[CodeLine, str, float]]:
    name = split_component(component)
    unplaced = catalog.fact("isolation.unplaced").number()
    for candidate in line.candidates:
        if candidate.stage not in (None, stage):
            continue
        if candidate.component == component:
            yield line, candidate.fault, candidate.weight
        elif candidate.component is None and _may_be(candidate.kind, candidate.place, name):
            yield line, candidate.fault, candidate.weight * unplaced
    if not line.candidates and _may_be(line.kind, line.place, name):
        yield line, line.fault, unplaced


def _may_be(kind: str | None, place: str | None, name: ComponentName) -> bool:
    return kind == name.kind and place in (None, name.place)
