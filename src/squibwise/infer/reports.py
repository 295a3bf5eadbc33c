"""Scan reports as evidence: codes found, circuits clean, the crash record."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS
from squibwise.catalog.load import Catalog
from squibwise.infer.circuits import Reach, Told, circuit_table, outcome_of, scan_likelihood
from squibwise.infer.items import Item, OnPart
from squibwise.infer.network import Group, Network
from squibwise.infer.parts import Part
from squibwise.infer.posterior import Posterior
from squibwise.infer.timeline import VERIFIED
from squibwise.model.evidence import DoneWork, SubstituteLoad, TestOutcome
from squibwise.model.names import loop_id, split_component, split_loop
from squibwise.model.report import Candidate, CodeLine, Report

Array = npt.NDArray[np.float64]
UNIT = "centre.control-unit"
_NOT_OF_A_PART = ("voltage", "communication", "configuration", "identity", "event-recorded")
_NOT_TOLD = ("cleared", "not-tested")
_MANY = 3


class Scan(msgspec.Struct, frozen=True):
    """One report at its place in time.

    Attributes:
        report: The report.
        place: Place in time.
        same_unit: Is the unit still the one of the crash.
        first: Is it the first report of that unit.
        doubtful: One cause behind most of its codes: supply, ground or communication.
    """

    report: Report
    place: int
    same_unit: bool
    first: bool
    doubtful: bool


def scans(net: Network) -> tuple[Scan, ...]:
    """Return the reports of a case in order."""
    swaps = [at for at, w in net.line.works_on(frozenset({UNIT})) if w.what == "replaced"]
    result: list[Scan] = []
    for place, entry in enumerate(net.line.entries):
        if isinstance(entry, Report):
            same = not swaps or place < swaps[0]
            first = same and not any(s.same_unit for s in result)
            result.append(Scan(entry, place, same, first, one_cause(entry)))
    return tuple(result)


def one_cause(report: Report) -> bool:
    """Return whether most codes speak of supply, ground or communication, not of parts."""
    lines = [c for c in report.reading.lines if c.fault != "event-recorded"]
    general = [c for c in lines if c.fault in ("voltage", "communication")]
    return len(general) >= _MANY and 2 * len(general) > len(lines)


def report_items(scan: Scan, net: Network, catalog: Catalog) -> list[Item]:
    """Return what one report says, one item per component and one for the crash record."""
    items = [_record_item(scan, net, catalog)] if scan.same_unit else []
    items += _named_items(scan, net, catalog)
    if scan.doubtful:
        return [i for i in items if i is not None]
    for g, _, _, part in net.parts():
        if part.stages:
            item = _part_item(scan, part, net.groups[g], net, catalog)
            if item is not None:
                items.append(item)
    return [i for i in items if i is not None]


def _part_item(scan: Scan, part: Part, group: Group, net: Network, catalog: Catalog) -> Item | None:
    reach = _reach(scan, part.id, net, catalog)
    readings = [told_of(part, scan.report, dict(c.reading), net, catalog) for c in group.causes]
    lines = tuple({c.line: c for told in readings for c, _ in told}.values())
    if not lines and (reach.clean == 0.0 or part.kind.family == "wiring"):
        return None
    if _loaded(part, scan, net):
        return None
    loose, firing = loose_chance(part.id, scan.place, net, catalog), catalog.firing
    table = circuit_table(part, group.causes, scan.place, loose)
    columns = [
        scan_likelihood(part, table[c : c + 1], tuple(t for _, t in told), reach, firing)
        for c, told in enumerate(readings)
    ]
    values = np.maximum(np.concatenate(columns, axis=1), firing.scans.floor)
    on = OnPart(part.id, scan.place, values)
    return Item(evidence=scan.report.id, about=part.id, text=_text(part, lines), parts=(on,))


def _text(part: Part, lines: tuple[CodeLine, ...]) -> str:
    if not lines:
        return "no code on its circuit" if part.stages == 1 else "no code on its circuits"
    names = "; ".join((line.raw.strip() or line.code or "code") for line in lines)
    return f"line {', '.join(str(c.line) for c in lines)}: {names}"


def told_of(
    part: Part,
    report: Report,
    reading: dict[tuple[str, int], str],
    net: Network,
    catalog: Catalog,
) -> list[tuple[CodeLine, Told]]:
    """Return the lines of a report that are or may be about a part, under one way to read them."""
    result = []
    elsewhere = catalog.firing.scans.reach.found_elsewhere.value
    repeats = {n for c in report.reading.lines for n in c.repeats if n > c.line}
    for line in report.reading.lines:
        if line.line in repeats or _silent(line, part):
            continue
        meant = reading.get((report.id, line.line))
        for weight, candidate in _about(line, part, net):
            told = Told(
                stage=candidate.stage,
                outcome=outcome_of(candidate.fault),
                weight=min(1.0, weight) if meant is None else 1.0,
                status=line.status,
                elsewhere=elsewhere,
            )
            if meant in (None, part.id):
                result.append((line, told))
    return result


def last_scan(net: Network, component: str) -> Scan | None:
    """Return the last report since anybody worked on a component; None when there is none."""
    near = frozenset({component}) | net.near[component]
    worked = max((at for at, _ in net.line.works_on(near)), default=-1)
    later = [s for s in scans(net) if s.place > worked and not s.doubtful]
    return later[-1] if later else None


def circuits_said(part: Part, group: Group, net: Network, catalog: Catalog) -> Array:
    """Return how likely what was last said is, by cause, stage and circuit: (C, S, K)."""
    rows = np.array([catalog.firing.circuit_rows[c] for c in CIRCUITS])
    result = np.ones((len(group.causes), part.stages, len(CIRCUITS)))
    _verified(result, part, net, catalog)
    scan = last_scan(net, part.id)
    if scan is None or _loaded(part, scan, net):
        return result
    clean = _reach(scan, part.id, net, catalog).clean
    result = result * (1.0 - clean * (1.0 - rows[:, 0]))
    for c, cause in enumerate(group.causes):
        for _, told in told_of(part, scan.report, dict(cause.reading), net, catalog):
            single = told.stage if part.stages > 1 else 1
            if single is not None and single <= part.stages and told.weight == 1.0:
                column = rows[:, 1:].sum(axis=1) if told.outcome is None else rows[:, told.outcome]
                result[c, single - 1] = column
    return result


def _verified(result: Array, part: Part, net: Network, catalog: Catalog) -> None:
    """Count circuits whose last repair was entered as fixed and verified."""
    last = max((at for at, w in net.line.works if w.component == part.id), default=-1)
    entry = net.line.entries[last] if last >= 0 else None
    if isinstance(entry, TestOutcome) and entry.outcome == VERIFIED:
        stage = min(split_loop(entry.loop)[1], part.stages)
        sure = catalog.firing.scans.tests.good_if_fixed.value
        good = np.array([c == "good" for c in CIRCUITS])
        result[:, stage - 1] = np.where(good, sure, 1.0 - sure)


def _silent(line: CodeLine, part: Part) -> bool:
    """Return whether a line says nothing about the condition of this part."""
    if line.fault == "event-recorded" or any(s in line.status for s in _NOT_TOLD):
        return True
    return line.fault in _NOT_OF_A_PART and part.kind.fires


def _about(line: CodeLine, part: Part, net: Network) -> list[tuple[float, Candidate]]:
    """Return the readings of a line that may mean this part, with their weights."""
    result = []
    for candidate in line.candidates or _single(line):
        if candidate.component == part.id:
            result.append((candidate.weight, candidate))
        elif candidate.component is None and candidate.kind == part.kind.kind:
            place = split_component(part.id).place
            if candidate.place in (None, place):
                share = 1.0 if candidate.place else 1.0 / _count(part.kind.kind, net)
                result.append((candidate.weight * share, candidate))
    return result


def _single(line: CodeLine) -> tuple[Candidate, ...]:
    if line.component is None and line.kind is None:
        return ()
    return (
        Candidate(
            component=line.component,
            kind=line.kind,
            place=line.place,
            stage=line.stage,
            fault=line.fault,
            weight=1.0,
        ),
    )


def _count(kind: str, net: Network) -> int:
    return sum(1 for _, _, _, p in net.parts() if p.kind.kind == kind)


def _reach(scan: Scan, component: str, net: Network, catalog: Catalog) -> Reach:
    """Return how far a scan reached on a component."""
    figures, coverage = catalog.firing.scans.reach, scan.report.reading.coverage
    able = unit_able(scan.report, catalog)
    clean = {True: figures.complete, False: figures.partial, None: figures.unstated}
    weight = clean[coverage.complete].value
    if able is False or component in coverage.not_tested:
        weight = 0.0
    can_stop = scan.same_unit and able is None and net.unit.shape[1] > 1
    return Reach(clean=weight, unit_states=2 if can_stop else 1)


def unit_able(report: Report, catalog: Catalog) -> bool | None:
    """Return whether the unit could run its tests; None when nothing tells."""
    coverage, reach = report.reading.coverage, catalog.firing.scans.reach
    if coverage.able is not None or coverage.unit_volts is None:
        return coverage.able
    inside = reach.lowest_volts <= coverage.unit_volts <= reach.highest_volts
    return None if inside else False


def loose_chance(component: str, place: int, net: Network, catalog: Catalog) -> float:
    """Return the chance that a component was still unplugged at a place in time."""
    last = None
    for at, work in net.line.works_on(frozenset({component})):
        if at < place and work.what in ("disconnected", "reseated", "replaced"):
            last = work.what
    figure = catalog.firing.conditions.plugs["still_unplugged"]
    return figure.value if last == "disconnected" else 0.0


def _loaded(part: Part, scan: Scan, net: Network) -> bool:
    """Return whether a substitute load stood in for the part during a scan."""
    loops = {loop_id(part.id, s + 1) for s in range(part.stages)} | {part.id}
    fitted: set[str] = set()
    for entry in net.line.entries[: scan.place]:
        if isinstance(entry, SubstituteLoad) and entry.loop in loops:
            if entry.move == "issued":
                fitted.add(entry.serial)
            else:
                fitted.discard(entry.serial)
    return bool(fitted)


def event_lines(report: Report) -> tuple[CodeLine, ...]:
    """Return the lines that tell of a crash record."""
    return tuple(
        c for c in report.reading.lines if c.fault == "event-recorded" and "cleared" not in c.status
    )


def _record_item(scan: Scan, net: Network, catalog: Catalog) -> Item | None:
    """Return what the presence or absence of a crash record says of the event."""
    lines = event_lines(scan.report)
    chance = record_chance(net, catalog)
    complete = scan.report.reading.coverage.complete
    figures = catalog.firing.scans.reach
    clean = {True: figures.complete, False: figures.partial, None: figures.unstated}[complete]
    if not lines:
        if clean.value == 0.0 or not scan.first:
            return None
        shown = catalog.firing.events.record.shown_among_codes.value
        rows = 1.0 - clean.value * shown * chance
        return Item(scan.report.id, UNIT, "no crash record in the unit", rows=rows)
    if _cleared_before(scan, net) or not scan.first:
        return None
    rows = chance * _record_details(lines, net, catalog)
    text = f"line {', '.join(str(c.line) for c in lines)}: crash record in the unit"
    return Item(scan.report.id, UNIT, text, rows=np.maximum(rows, catalog.firing.scans.floor))


def _cleared_before(scan: Scan, net: Network) -> bool:
    return any(
        isinstance(e, DoneWork) and e.what == "cleared" for e in net.line.entries[: scan.place]
    )


def record_chance(net: Network, catalog: Catalog) -> Array:
    """Return the chance of a crash record by row of the event table."""
    row, rows = catalog.firing.events.record, net.rows
    bags = rows.front | (rows.others > 0)
    crash = rows.holds([bool(s.blows) or s.rollover for s in rows.scenarios])
    light = np.where(
        rows.speed >= row.severe_kmh, row.nothing_severe.value, row.nothing_light.value
    )
    nothing = np.where(crash & ~rows.dead, light, row.nothing_no_crash.value)
    belts = np.where(rows.belts, row.belts_only.value, nothing)
    return np.where(bags, row.bags.value, belts)


def _record_details(lines: tuple[CodeLine, ...], net: Network, catalog: Catalog) -> Array:
    """Return the chance of the record being locked, and of it naming the belts."""
    row, rows = catalog.firing.events.record, net.rows
    bags = rows.front | (rows.others > 0)
    result = np.ones(len(rows.weight))
    if any("locked" in c.status for c in lines):
        result = result * np.where(bags, 1.0, row.locked_if_belts_only.value)
    kinds = {c.kind for line in lines for c in line.candidates} | {c.kind for c in lines}
    if any(k is not None and catalog.kinds[k].family == "belt" for k in kinds if k):
        named = (row.names_belts_if_bags.value, row.names_belts_if_belts_only.value)
        result = result * np.where(bags, named[0], named[1])
    return result


def _named_items(scan: Scan, net: Network, catalog: Catalog) -> list[Item]:
    """Return items of event lines that name the very part that fired."""
    figures = catalog.firing.scans.reach
    fired, not_fired = figures.named_part_fired.value, figures.named_part_not_fired.value
    items = []
    for line in event_lines(scan.report):
        for _, _, _, part in net.parts():
            if line.component == part.id and part.kind.fires:
                hit = np.array([fired if m.fired else not_fired for m in part.micros])
                on = OnPart(part.id, scan.place, hit[None, None, :])
                text = f"line {line.line}: {line.raw.strip()}"
                items.append(Item(scan.report.id, part.id, text, parts=(on,)))
    return items


def crash_record(posterior: Posterior, catalog: Catalog) -> float | None:
    """Return the chance that the unit of the crash, still in the car, holds a record.

    None when the unit was replaced since.
    """
    net = posterior.net
    known = scans(net)
    if any(w.what == "replaced" for _, w in net.line.works_on(frozenset({UNIT}))):
        return None
    told = [s for s in known if s.same_unit and event_lines(s.report)]
    chance = float(posterior.rows @ record_chance(net, catalog))
    figures = catalog.firing.scans.people["recorder_right"]
    return max(chance, figures.value) if told else chance
