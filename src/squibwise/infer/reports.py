"""Scan reports as evidence: codes found, circuits clean."""

import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS
from squibwise.catalog.load import Catalog
from squibwise.infer.circuits import Reach, Told, circuit_table, outcome_of, scan_likelihood
from squibwise.infer.items import Item, OnPart
from squibwise.infer.network import Group, Network
from squibwise.infer.parts import Part
from squibwise.infer.record import named_items, record_item
from squibwise.infer.scans import (
    Scan,
    last_scan,
    loose_chance,
    signs_of_disturbance,
    unit_able,
)
from squibwise.infer.timeline import VERIFIED
from squibwise.model.evidence import SubstituteLoad, TestOutcome
from squibwise.model.names import loop_id, split_component, split_loop
from squibwise.model.report import Candidate, CodeLine, Report

Array = npt.NDArray[np.float64]
_NOT_OF_A_PART = ("voltage", "communication", "configuration", "identity", "event-recorded")
_NOT_TOLD = ("cleared", "not-tested")


def report_items(scan: Scan, net: Network, catalog: Catalog) -> list[Item]:
    """Return what one report says, one item per component and one for the crash record."""
    items = [record_item(scan, net, catalog)] if scan.same_unit else []
    items += named_items(scan, net, catalog)
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
    repeats = {c.line for c in report.reading.lines if any(n < c.line for n in c.repeats)}
    for line in report.reading.lines:
        if line.line in repeats or _silent(line, part):
            continue
        meant = reading.get((report.id, line.line))
        for weight, candidate in _about(line, part, net):
            told = Told(
                stage=candidate.stage,
                outcome=outcome_of(candidate.fault, fires=part.kind.fires),
                weight=min(1.0, weight) if meant is None else 1.0,
                status=line.status,
                elsewhere=elsewhere,
            )
            if meant in (None, part.id):
                result.append((line, told))
    return result


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
    may_stop = scan.same_unit and able is None and net.unit.shape[1] > 1
    share = None
    if signs_of_disturbance(scan.report, catalog):
        share = _share_with_a_code(scan.report, net)
    return Reach(clean=weight, unit_states=net.unit.shape[1], may_stop=may_stop, disturbed=share)


def _share_with_a_code(report: Report, net: Network) -> float:
    """Return the share of circuits that a report shows a code for, drawn towards one half."""
    circuits = sum(part.stages for *_, part in net.parts())
    lines = sum(1 for c in report.reading.lines if c.fault != "event-recorded")
    return (lines + 1.0) / (circuits + 2.0)


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
