"""The crash record in the unit as evidence."""

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.items import Item, OnPart
from squibwise.infer.network import Network
from squibwise.infer.posterior import Posterior
from squibwise.infer.scans import UNIT, Scan, event_lines, scans
from squibwise.model.evidence import DoneWork
from squibwise.model.report import CodeLine

Array = npt.NDArray[np.float64]


def record_item(scan: Scan, net: Network, catalog: Catalog) -> Item | None:
    """Return what the presence or absence of a crash record says of the event."""
    lines = event_lines(scan.report)
    chance = record_chance(net, catalog)
    if not lines:
        seen = _would_show(scan, catalog)
        if seen == 0.0:
            return None
        rows = 1.0 - seen * chance
        return Item(scan.report.id, UNIT, "no crash record in the unit", rows=rows)
    if _cleared_before(scan, net) or not scan.first:
        return None
    rows = chance * _record_details(lines, net, catalog)
    text = f"line {', '.join(str(c.line) for c in lines)}: crash record in the unit"
    return Item(scan.report.id, UNIT, text, rows=np.maximum(rows, catalog.firing.scans.floor))


def _would_show(scan: Scan, catalog: Catalog) -> float:
    """Return the chance that a scan would have shown a crash record that is there."""
    if not scan.first:
        return 0.0
    figures = catalog.firing.scans.reach
    complete = scan.report.reading.coverage.complete
    clean = {True: figures.complete, False: figures.partial, None: figures.unstated}[complete]
    return clean.value * catalog.firing.events.record.shown_among_codes.value


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


def named_items(scan: Scan, net: Network, catalog: Catalog) -> list[Item]:
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
    by_row = record_chance(net, catalog)
    for scan in known:
        if scan.same_unit and not event_lines(scan.report):
            seen = _would_show(scan, catalog)
            by_row = by_row * (1.0 - seen) / (1.0 - by_row * seen)
    chance = float(posterior.rows @ by_row)
    figures = catalog.firing.scans.people["recorder_right"]
    return max(chance, figures.value) if told else chance
