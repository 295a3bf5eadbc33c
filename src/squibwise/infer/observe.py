"""Every piece of evidence of a case as likelihoods, in order of time."""

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.bench import (
    label_items,
    lamp_items,
    reading_items,
    replaced_items,
    tested_items,
)
from squibwise.infer.body import impact_rows
from squibwise.infer.items import Item, OnPart
from squibwise.infer.network import Network
from squibwise.infer.parts import GONE, Part
from squibwise.infer.recorded import recorder_items
from squibwise.infer.reports import report_items
from squibwise.infer.scans import scans
from squibwise.infer.told import circumstance_items, occupant_items, statement_items
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
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

Array = npt.NDArray[np.float64]


def observe(net: Network, catalog: Catalog) -> tuple[Item, ...]:
    """Return every piece of evidence of a case as a likelihood, in order of time."""
    items: list[Item] = []
    for scan in scans(net):
        items += report_items(scan, net, catalog)
    seen: set[tuple[str, str, int]] = set()
    for place, entry in enumerate(net.line.entries):
        if isinstance(entry, Look):
            key = (entry.component, entry.seen, _epoch(net, entry.component, place))
            if key in seen:
                continue
            seen.add(key)
        items += _items(entry, place, net, catalog)
    return tuple(items)


def _epoch(net: Network, component: str, place: int) -> int:
    return sum(1 for at, _ in net.line.works_on(frozenset({component})) if at < place)


def _items(entry: Evidence, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield the items of one entry."""
    if isinstance(entry, Impact):
        rows = impact_rows(entry, net.rows, catalog)
        yield Item(entry.id, "", _impact_text(entry), rows=rows)
    elif isinstance(entry, Occupant):
        yield from occupant_items(entry, net, catalog)
    for kind, make in _MAKERS:
        if isinstance(entry, kind):
            yield from make(entry, place, net, catalog)


def _impact_text(entry: Impact) -> str:
    words = [f"body struck at {entry.zone}" if entry.zone else "body struck"]
    words += [f"force from {entry.clock} o'clock"] if entry.clock else []
    words += [entry.extent] if entry.extent else []
    return ", ".join(words)


def look_values(part: Part, word: str, catalog: Catalog) -> Array | None:
    """Return how likely a look word is for each micro; None when it says nothing."""
    words = catalog.looks(part.kind.kind)
    if word == "not-seen" or word not in words:
        return None
    row, floor = words[word], catalog.firing.scans.floor
    values = np.array([1.0 if m.condition in GONE else getattr(row, m.state) for m in part.micros])
    absent = np.array([m.condition in GONE for m in part.micros])
    told = "missing_seen_if_gone" if word == "missing" else "other_seen_if_gone"
    gone = catalog.firing.scans.body[told].value
    return np.maximum(np.where(absent, gone, values), floor)


def _look(entry: Look, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    found = net.find(entry.component)
    values = None if found is None else look_values(found[1], entry.seen, catalog)
    if found is None or values is None:
        return
    word = catalog.looks(found[1].kind.kind)[entry.seen]
    on = OnPart(entry.component, place, values[None, None, :])
    by = f" ({entry.by})" if entry.by else ""
    yield Item(
        entry.id,
        entry.component,
        f"seen: {word.text}{by}",
        parts=(on,),
        weak=word.basis if word.basis in ("judgement", "from-memory") else None,
        sources=(word.source,),
    )


_MAKERS: tuple[tuple[type, Callable[..., Iterator[Item]]], ...] = (
    (Look, _look),
    (Statement, statement_items),
    (Recorder, recorder_items),
    (Circumstance, circumstance_items),
    (LampCheck, lamp_items),
    (Reading, reading_items),
    (PartLabel, label_items),
    (DoneWork, replaced_items),
    (TestOutcome, tested_items),
)
