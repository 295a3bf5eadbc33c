"""What the control unit and its reports may be like: watching, stopped, disturbed, read in part."""

from collections.abc import Iterator
from itertools import product

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.history.order import History
from squibwise.infer.event_table import EventTable
from squibwise.infer.network import UnitState
from squibwise.infer.reports import chance_whole, is_crash_denied, signs_of_disturbance
from squibwise.model.evidence import Recorder
from squibwise.model.names import split_component
from squibwise.model.report import Report

Array = npt.NDArray[np.float64]


def unit_states(
    events: EventTable, line: History, catalog: Catalog
) -> tuple[Array, tuple[UnitState, ...]]:
    """Return what the unit and its reports may be like, with the prior of it by event."""
    reports = [e for e in line.entries if isinstance(e, Report)]
    if not reports:
        return np.ones((len(events.weight), 1)), (UnitState(),)
    chances = catalog.firing.events.stopped
    fired = events.bags | events.belts
    stopped = np.where(fired, chances["after_firing"].value, chances["otherwise"].value)
    prior, words = np.stack([1.0 - stopped, stopped], axis=-1), ["watching", "stopped"]
    signs = max(signs_of_disturbance(r, catalog) for r in reports)
    if signs:
        reach = catalog.firing.scans.reach
        share = (reach.disturbed_if_one_sign if signs == 1 else reach.disturbed_if_both).value
        disturbed = np.full((len(prior), 1), share)
        prior = np.concatenate([prior * (1.0 - share), disturbed], axis=1)
        words.append("disturbed")
    if is_crash_denied(line, catalog) and any(_codes_several(r, catalog) for r in reports):
        share = catalog.firing.scans.reach.taken_off_if_denied.value
        off = np.full((len(prior), 1), share)
        prior = np.concatenate([prior * (1.0 - share), off], axis=1)
        words.append("taken-off")
    columns, states = [], []
    reading = tuple(_readings_of_reports(reports, line, catalog))
    gone_too = tuple(_readings_of_reports(reports, line, catalog, _chance_of_both(catalog)))
    missed = _missed_by_the_recorder(events, line)
    asked = frozenset().union(*(unread for unread, _ in reading[-1:]))
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
    recorded = any(b.forward is not None for several in blows for b in several)
    return events.holds([recorded and any(b.forward is None for b in bs) for bs in blows])


def _codes_several(report: Report, catalog: Catalog) -> bool:
    """Return whether a report has codes of the circuits of more than one charge."""
    coded = {c.component for c in report.reading.lines if c.component and c.present}
    return sum(catalog.kinds[split_component(c).kind].fires for c in coded) > 1


def _readings_of_reports(
    reports: list[Report], line: History, catalog: Catalog, kept: float = 1.0
) -> Iterator[tuple[frozenset[str], float]]:
    """Yield which reports do not show everything, with the chance of it; all of them last.

    Asked of the first and the last report only: each doubles the event table.

    Args:
        reports: All reports.
        line: Work between them.
        catalog: Figures.
        kept: Share of the chance of showing everything that is left.
    """
    ends = (reports[0], reports[-1])
    open_ones = [(r.id, kept * chance_whole(r, line, catalog)) for r in ends]
    doubtful = {name: whole for name, whole in open_ones if 0.0 < whole < 1.0}
    for unread in product((False, True), repeat=len(doubtful)):
        gone = frozenset(n for n, off in zip(doubtful, unread, strict=True) if off)
        yield gone, float(np.prod([1.0 - p if n in gone else p for n, p in doubtful.items()]))
