"""What people tell of the event, of occupants and of parts, as likelihoods."""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.items import Item, OnPart, OnSeat
from squibwise.infer.network import Network
from squibwise.model.evidence import Circumstance, Occupant, Statement

Array = npt.NDArray[np.float64]


def statement_items(entry: Statement, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield a second-hand word, with the error rates measured on police reports."""
    share = catalog.priors.share
    wrong_not = share("statements", "says-not-when-deployed").p
    wrong_yes = share("statements", "says-deployed-when-not").p
    if entry.says not in ("deployed", "not-deployed"):
        return
    yes = entry.says == "deployed"
    fired, still = (1.0 - wrong_not, wrong_yes) if yes else (wrong_not, 1.0 - wrong_yes)
    source = (share("statements", "says-deployed-when-not").provenance.source,)
    text = f"{entry.from_ or 'somebody'} says: {entry.says}"
    if entry.component is None:
        bags = net.rows.front | (net.rows.others > 0)
        rows = np.where(bags, fired, still)
        yield Item(entry.id, "", text, rows=rows, weak=None, sources=source)
        return
    found = net.find(entry.component)
    if found is not None:
        values = np.array([fired if m.fired else still for m in found[1].micros])
        on = OnPart(entry.component, place, values[None, None, :])
        yield Item(entry.id, entry.component, text, parts=(on,), weak=None, sources=source)


def occupant_items(entry: Occupant, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield who is said to have sat where, and belted or not."""
    right = catalog.firing.scans.people["right"].value
    belt: str = "latched" if entry.child_seat else entry.belt or ""
    wanted: str
    if entry.seat == "driver":
        wanted = belt
    elif entry.seat == "passenger":
        size = "child-or-small" if entry.child_seat else entry.size
        wanted = passenger_words(entry.present, size, belt or None)
    else:
        wanted = "empty" if entry.present is False and not entry.child_seat else belt
        wanted = wanted or ("taken" if entry.present else "")
    if wanted:
        text = f"told of the {entry.seat} seat: {wanted}"
        yield from seat_items(entry.id, entry.seat, text, net, right, wanted)


def passenger_words(present: bool | None, size: str | None, belt: str | None) -> str:
    """Return what is told of the front passenger as words that ``seat_items`` understands."""
    words = []
    if present is False or size == "empty":
        return "empty"
    if present:
        words.append("taken")
    if size is not None:
        words.append("child" if size == "child-or-small" else "adult")
    if belt is not None:
        words.append(belt)
    return " ".join(words)


def seat_items(
    evidence: str, group: str, text: str, net: Network, right: float, wanted: str
) -> Iterator[Item]:
    """Yield a joint likelihood on a seat's occupant from every word that was told of it."""
    for candidate in net.groups:
        if candidate.name == group and wanted:
            words = candidate.seat.words
            values = np.array([_told(word, wanted.split(), right) for word in words])
            values = _trusted(values, candidate.seat.prior.mean(axis=0), right)
            yield Item(evidence, group, text, seats=(OnSeat(group, values),))


def _trusted(values: Array, prior: Array, right: float) -> Array:
    """Return a likelihood under which what was told is right with at least this chance."""
    best = values == values.max()
    fits, wrong = float(prior[best].sum()), float(prior[~best] @ values[~best])
    most = (1.0 - right) / right * fits * float(values.max())
    if wrong <= most or not fits:
        return values
    return np.where(best, values, values * most / wrong)


def _told(word: str, wanted: list[str], right: float) -> float:
    """Return the chance of being told these words of such an occupant."""
    parts = word.split("-")
    result = 1.0
    for want in wanted:
        if want == "unlatched" and word == "empty":
            result *= 0.5
        elif want in parts or (want == "taken" and word != "empty"):
            result *= right
        else:
            result *= 1.0 - right
    return result


def circumstance_items(
    entry: Circumstance, place: int, net: Network, catalog: Catalog
) -> Iterator[Item]:
    """Yield what is told of the event as a whole, or of all parts at once."""
    right = catalog.firing.scans.body["told_right"].value
    holds = _holds(entry.what, net)
    word = "" if entry.present else "no "
    text = f"told: {word}{entry.what.replace('-', ' ')}"
    if holds is not None:
        yield Item(entry.id, "", text, rows=_told_rows(holds == entry.present, right, net))
    if entry.what == "parked" and entry.present:
        for group in net.groups:
            alone = "unlatched" if group.name == "driver" else "empty"
            yield from seat_items(entry.id, group.name, text, net, right, alone)
    if entry.what in _TOLD_OF_PARTS:
        yield from _told_parts(entry, place, text, net, catalog)


def _told_rows(fits: npt.NDArray[np.bool_], right: float, net: Network) -> Array:
    """Return a likelihood that makes what was told right with this chance, all else unknown."""
    share = float(net.rows.weight @ fits)
    if not 0.0 < share < 1.0:
        return np.ones(len(fits))
    wrong = min(1.0, (1.0 - right) * share / (1.0 - share))
    return np.where(fits, right, wrong)


def _holds(what: str, net: Network) -> npt.NDArray[np.bool_] | None:
    """Return in which rows a circumstance holds; None when it is not about the event."""
    rows = net.rows
    kinds = [s.kind for s in rows.scenarios]
    rear = [any(b.zone.side == "rear" for b in s.blows) for s in rows.scenarios]
    tests = {
        "crash": rows.holds([k in ("crash", "earlier") for k in kinds]),
        "earlier-crash": rows.holds([k == "earlier" for k in kinds]),
        "rollover": rows.rollover,
        "rear-impact": rows.holds(rear),
        "unpowered": rows.dead,
        "parked": rows.dead,
    }
    found = tests.get(what)
    return None if found is None else np.asarray(found, dtype=bool)


_TOLD_OF_PARTS = {
    "bags-taken-out": ("absent", "told_bags_out_if_fitted"),
    "fault-before": ("before", "told_fault_before_if_not"),
    "earlier-repair": ("unfit", "told_repaired_if_right"),
}


def _told_parts(
    entry: Circumstance, place: int, text: str, net: Network, catalog: Catalog
) -> Iterator[Item]:
    """Yield what a word on bags, faults or repairs before the crash says of each part."""
    condition, figure = _TOLD_OF_PARTS[entry.what]
    low = catalog.firing.scans.body[figure].value
    for _, _, _, part in net.parts():
        if not part.kind.fires or (condition == "absent" and part.kind.family != "bag"):
            continue
        hit = np.array([m.condition == condition for m in part.micros])
        values = np.where(hit, 1.0, low) if entry.present else np.where(hit, low, 1.0)
        on = OnPart(part.id, place, values[None, None, :])
        yield Item(entry.id, part.id, text, parts=(on,), broad=True)
