"""Every piece of evidence of a case as likelihoods, in order of time."""

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.crash_record import weigh_crash_record, weigh_named_parts, weigh_recorder
from squibwise.infer.network import Likelihood, Network, OnComponent
from squibwise.infer.parts import LOOSE, PartModel
from squibwise.infer.scan import find_scans, weigh_report
from squibwise.infer.told import weigh_circumstance, weigh_impact, weigh_occupant, weigh_statement
from squibwise.infer.workshop import (
    weigh_label,
    weigh_lamp,
    weigh_reading,
    weigh_test,
)
from squibwise.model.evidence import (
    Circumstance,
    Evidence,
    Impact,
    LampCheck,
    Look,
    Occupant,
    PartLabel,
    Reading,
    Recorder,
    Statement,
    TestOutcome,
)
from squibwise.model.names import split_loop

Array = npt.NDArray[np.float64]


def weigh_evidence(net: Network, catalog: Catalog) -> tuple[Likelihood, ...]:
    """Return every piece of evidence of a case as a likelihood, in order of time."""
    likelihoods: list[Likelihood] = weigh_crash_record(net, catalog)
    for scan in find_scans(net):
        likelihoods += weigh_named_parts(scan, net, catalog)
        likelihoods += weigh_report(scan, net, catalog)
    seen: set[tuple[str, str, int]] = set()
    for place, entry in enumerate(net.line.entries):
        if isinstance(entry, Look):
            key = (entry.component, entry.seen, _epoch(net, entry.component, place))
            if key in seen:
                continue
            seen.add(key)
        likelihoods += _weigh_entry(entry, place, net, catalog)
    return tuple(likelihoods)


def _epoch(net: Network, component: str, place: int) -> int:
    return sum(1 for at, _ in net.line.works_on(frozenset({component})) if at < place)


def _weigh_entry(
    entry: Evidence, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield the likelihoods of one entry."""
    if isinstance(entry, Impact):
        events = weigh_impact(entry, net.events, catalog)
        yield Likelihood(entry.id, "", _impact_text(entry), events=events)
    elif isinstance(entry, Occupant):
        yield from weigh_occupant(entry, net, catalog)
    for kind, make in _MAKERS:
        if isinstance(entry, kind):
            yield from make(entry, place, net, catalog)


def _impact_text(entry: Impact) -> str:
    words = [f"body struck at {entry.zone}" if entry.zone else "body struck"]
    words += [f"force from {entry.clock} o'clock"] if entry.clock else []
    words += [entry.extent] if entry.extent else []
    return ", ".join(words)


def look_values(part: PartModel, word: str, rebuilt: bool, catalog: Catalog) -> Array | None:
    """Return how likely a look word is for each micro; None when it says nothing.

    Args:
        part: The component.
        word: What was seen.
        rebuilt: Was the car put back together before: only then may a fired part look whole.
        catalog: The words with their likelihoods.
    """
    words = catalog.looks(part.kind.kind)
    if word == "not-seen" or word not in words:
        return None
    row = words[word]
    values = np.array([getattr(row, m.state) for m in part.micros])
    if rebuilt and row.fired_if_rebuilt is not None:
        spent = np.array([m.fired > 0 for m in part.micros])
        values = np.where(spent, row.fired_if_rebuilt, values)
    if row.connector is not None:
        off = np.array([m.condition in LOOSE for m in part.micros])
        values = np.where(off, row.connector, values)
    return np.asarray(np.maximum(values, catalog.firing.scans.floor))


def _weigh_look(entry: Look, place: int, net: Network, catalog: Catalog) -> Iterator[Likelihood]:
    component, _ = split_loop(entry.component)
    found = net.find(component)
    values = None if found is None else look_values(found[1], entry.seen, net.rebuilt, catalog)
    if found is None or values is None:
        return
    word = catalog.looks(found[1].kind.kind)[entry.seen]
    on = OnComponent(component, place, values[None, None, :])
    by = f" ({entry.by})" if entry.by else ""
    yield Likelihood(
        entry.id,
        component,
        f"seen: {word.text}{by}",
        parts=(on,),
        weak=word.basis if word.basis in ("judgement", "from-memory") else None,
        sources=(word.source,),
    )


_MAKERS: tuple[tuple[type, Callable[..., Iterator[Likelihood]]], ...] = (
    (Look, _weigh_look),
    (Statement, weigh_statement),
    (Recorder, weigh_recorder),
    (Circumstance, weigh_circumstance),
    (LampCheck, weigh_lamp),
    (Reading, weigh_reading),
    (PartLabel, weigh_label),
    (TestOutcome, weigh_test),
)
