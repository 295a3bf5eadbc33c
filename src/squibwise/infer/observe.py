"""Evidence other than reports as likelihoods: looks, words, recorders, bodies, occupants."""

from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.body import impact_rows, recorder_direction
from squibwise.infer.items import Item, OnPart, OnSeat
from squibwise.infer.network import Group, Network
from squibwise.infer.parts import Part
from squibwise.infer.reports import UNIT, record_chance, report_items, scans
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
)
from squibwise.model.names import loop_id, split_loop

Array = npt.NDArray[np.float64]
_GONE_SEEN = {"missing": 0.97}
_GONE_ELSE = 0.003
_EVEN = 0.5
_FRONT = "front-bag"


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
    if isinstance(entry, Look):
        yield from _look(entry, place, net, catalog)
    elif isinstance(entry, Statement):
        yield from _statement(entry, place, net, catalog)
    elif isinstance(entry, Impact):
        rows = impact_rows(entry, net.rows, catalog)
        yield Item(entry.id, "", _impact_text(entry), rows=rows)
    elif isinstance(entry, Recorder):
        yield from _recorder(entry, place, net, catalog)
    elif isinstance(entry, Occupant):
        yield from _occupant(entry, net, catalog)
    elif isinstance(entry, Circumstance):
        yield from _circumstance(entry, place, net, catalog)
    elif isinstance(entry, LampCheck):
        yield from _lamp(entry, place, net, catalog)
    elif isinstance(entry, Reading):
        yield from _reading(entry, place, net, catalog)
    elif isinstance(entry, PartLabel):
        yield from _label(entry, place, net, catalog)
    elif isinstance(entry, DoneWork):
        yield from _replaced(entry, place, net, catalog)


def _part(net: Network, component: str) -> tuple[Group, Part] | None:
    for g, _, _, part in net.parts():
        if part.id == component:
            return net.groups[g], part
    return None


def look_values(part: Part, word: str, catalog: Catalog) -> Array | None:
    """Return how likely a look word is for each micro; None when it says nothing."""
    words = catalog.looks(part.kind.kind)
    if word == "not-seen" or word not in words:
        return None
    row, floor = words[word], catalog.firing.scans.floor
    values = np.array([getattr(row, m.state) for m in part.micros])
    absent = np.array([m.condition == "absent" for m in part.micros])
    gone = _GONE_SEEN.get(word, _GONE_ELSE)
    return np.maximum(np.where(absent, gone, values), floor)


def _look(entry: Look, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    found = _part(net, entry.component)
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


def _statement(entry: Statement, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
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
    found = _part(net, entry.component)
    if found is not None:
        values = np.array([fired if m.fired else still for m in found[1].micros])
        on = OnPart(entry.component, place, values[None, None, :])
        yield Item(entry.id, entry.component, text, parts=(on,), weak=None, sources=source)


def _impact_text(entry: Impact) -> str:
    words = [f"body struck at {entry.zone}" if entry.zone else "body struck"]
    words += [f"force from {entry.clock} o'clock"] if entry.clock else []
    words += [entry.extent] if entry.extent else []
    return ", ".join(words)


def _recorder(entry: Recorder, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    figures = catalog.firing.scans.recorder
    rows = recorder_direction(entry, net.rows, catalog)
    text = "delta-V of the crash recorder" if entry.method == "recorder" else "delta-V"
    if entry.record == "locked":
        rows = rows * record_chance(net, catalog)
        text = "locked crash record"
    elif entry.record == "none":
        bags = net.rows.front | (net.rows.others > 0)
        rows = rows * np.where(bags, figures["no_record_if_fired"].value, 1.0)
        text = "no crash record"
    right = catalog.firing.scans.people["recorder_right"].value
    if entry.rollover is not None:
        rows = rows * np.where(net.rows.rollover == entry.rollover, right, 1.0 - right)
    if entry.event_count is not None:
        several = net.rows.holds([len(s.blows) > 1 for s in net.rows.scenarios])
        rows = rows * np.where(several == (entry.event_count > 1), right, 1.0 - right)
    yield Item(entry.id, "", text, rows=rows)
    yield from _recorded_people(entry, net, catalog)
    yield from _commanded(entry, place, net, catalog)


def _recorded_people(entry: Recorder, net: Network, catalog: Catalog) -> Iterator[Item]:
    right = catalog.firing.scans.people["recorder_right"].value
    if entry.driver_belt is not None:
        yield from _seat_item(
            entry.id,
            "driver",
            f"recorder: driver {entry.driver_belt}",
            net,
            right,
            entry.driver_belt,
        )
    passenger = _passenger_words(None, entry.passenger_class, entry.passenger_belt)
    if entry.passenger_belt is not None or entry.passenger_class is not None:
        yield from _seat_item(
            entry.id, "passenger", f"recorder: passenger {passenger}", net, right, passenger
        )


def _commanded(entry: Recorder, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield what the recorded firing commands say of each charge."""
    if entry.complete is False:
        return
    listed = _loops(entry.commanded_ms)
    refused = _loops(entry.not_commanded) - listed
    for _, _, _, part in net.parts():
        own = {loop_id(part.id, s + 1) for s in range(part.stages)}
        if part.kind.fires and own & (listed | refused):
            on = OnPart(part.id, place, _command_values(part, listed, refused, catalog))
            said = "firing commanded" if own & listed else "firing not commanded"
            yield Item(entry.id, part.id, f"recorder: {said}", parts=(on,))


def _loops(names: Iterable[str]) -> set[str]:
    return {loop_id(*split_loop(name)) for name in names}


def _command_values(part: Part, listed: set[str], refused: set[str], catalog: Catalog) -> Array:
    """Return the chance of what a record says of a part's commands: (1, 1, micros).

    A loop the record does not speak of is no evidence: only front bags must be recorded.
    """
    figures = catalog.firing.scans.recorder
    values = np.ones(len(part.micros))
    for stage in range(1, part.stages + 1):
        loop = loop_id(part.id, stage)
        if loop not in listed | refused:
            continue
        front = part.kind.kind == _FRONT and stage == 1
        quiet = figures["silent_if_fired_front" if front else "silent_if_fired_other"].value
        commanded = figures["commanded_if_fired"].value, figures["commanded_if_not"].value
        hit = commanded if loop in listed else (quiet, 1.0 - commanded[1])
        fired = np.array([m.fired >= stage for m in part.micros])
        silent = np.array([m.condition == "before" for m in part.micros])
        values = values * np.where(fired, hit[0], np.where(silent, _EVEN, hit[1]))
    return values[None, None, :]


def _seat_item(
    evidence: str, group: str, text: str, net: Network, right: float, wanted: str
) -> Iterator[Item]:
    """Yield a joint likelihood on a seat's occupant from every word that was told of it."""
    for candidate in net.groups:
        if candidate.name == group and wanted:
            words = candidate.seat.words
            values = np.array([_told(word, wanted.split(), right) for word in words])
            yield Item(evidence, group, text, seats=(OnSeat(group, values),))


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


def _passenger_words(present: bool | None, size: str | None, belt: str | None) -> str:
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


def _occupant(entry: Occupant, net: Network, catalog: Catalog) -> Iterator[Item]:
    right = catalog.firing.scans.people["right"].value
    belt: str = "latched" if entry.child_seat else entry.belt or ""
    wanted: str
    if entry.seat == "driver":
        wanted = belt
    elif entry.seat == "passenger":
        size = "child-or-small" if entry.child_seat else entry.size
        wanted = _passenger_words(entry.present, size, belt or None)
    else:
        wanted = "empty" if entry.present is False and not entry.child_seat else belt
        wanted = wanted or ("taken" if entry.present else "")
    if wanted:
        text = f"told of the {entry.seat} seat: {wanted}"
        yield from _seat_item(entry.id, entry.seat, text, net, right, wanted)


def _circumstance(
    entry: Circumstance, place: int, net: Network, catalog: Catalog
) -> Iterator[Item]:
    right = catalog.firing.scans.body["told_right"].value
    holds = _holds(entry.what, net)
    word = "" if entry.present else "no "
    text = f"told: {word}{entry.what.replace('-', ' ')}"
    if holds is not None:
        yield Item(entry.id, "", text, rows=_told_rows(holds == entry.present, right, net))
    elif entry.what in _TOLD_OF_PARTS:
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


def _lamp(entry: LampCheck, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield what the lamp says: out means that no watched circuit is at fault."""
    figures = catalog.firing.scans.lamp
    if not entry.lit:
        found = _part(net, "centre.warning-lamp")
        if found is not None:
            good, bad = 1.0 - figures["out_if_good"].value, 1.0 - figures["out_if_faulty"].value
            values = np.array([good if m.condition == "ok" else bad for m in found[1].micros])
            on = OnPart(found[1].id, place, values[None, None, :])
            yield Item(entry.id, found[1].id, "lamp never lit", parts=(on,))
        return
    if not entry.stayed_out:
        return
    for g, _, _, part in net.parts():
        if part.stages:
            values = _lamp_values(part, net.groups[g], place, net, catalog)
            on = OnPart(part.id, place, values)
            text = "lamp lit, went out and stayed out"
            yield Item(entry.id, part.id, text, parts=(on,), broad=True)


def _lamp_values(part: Part, group: Group, place: int, net: Network, catalog: Catalog) -> Array:
    """Return the chance of the lamp going out with this one part: (unit, causes, micros)."""
    figures = catalog.firing.scans.lamp
    good, bad = figures["out_if_good"].value, figures["out_if_faulty"].value
    mild = {"damaged", "unfit"}
    table = np.ones((len(group.causes), len(part.micros)))
    for c, cause in enumerate(group.causes):
        opens = cause.opens if cause.active(place) and part.id in cause.members else 0.0
        for m, micro in enumerate(part.micros):
            for stage in range(1, part.stages + 1):
                circuit = micro.circuit(stage)
                own = good if circuit == "good" else 0.5 if circuit in mild else bad
                table[c, m] *= opens * min(own, bad) + (1.0 - opens) * own
    if net.unit.shape[1] == 1:
        return table[None]
    return np.stack([table, np.ones_like(table)])


def _reading(entry: Reading, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield what a live loop resistance says of the circuit."""
    if entry.unit != "ohm" or entry.quantity != "loop-resistance":
        return
    if entry.method == "substitute-load" or entry.where:
        return
    component, stage = split_loop(entry.component)
    found = _part(net, component)
    if found is None or stage > found[1].stages or not found[1].kind.fires:
        return
    window, rows = catalog.firing.scans.reading, catalog.firing.circuit_rows
    outcome = 1 if entry.value > window.high_ohm else 2 if entry.value < window.low_ohm else 0
    values = np.array([rows[m.circuit(stage)][outcome] for m in found[1].micros])
    text = f"loop reads {entry.value:g} ohm"
    on = OnPart(component, place, values[None, None, :])
    yield Item(entry.id, component, text, parts=(on,))


def _label(entry: PartLabel, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield what provenance says of a part being the right one."""
    found = _part(net, entry.component)
    if found is None or entry.provenance not in ("recycled", "donor", "repaired", "unknown"):
        return
    if entry.recall_checked:
        return
    work = catalog.firing.conditions.work
    ratio = work["unchecked_recycled_unfit"].value / work["new_unfit"].value
    values = np.array([1.0 if m.condition == "unfit" else 1.0 / ratio for m in found[1].micros])
    on = OnPart(entry.component, place, values[None, None, :])
    text = f"{entry.provenance} part, recalls not checked"
    yield Item(entry.id, entry.component, text, parts=(on,))


def _replaced(entry: DoneWork, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield what a replacement says of the old part: nobody buys a good bag."""
    found = _part(net, entry.component)
    if entry.what != "replaced" or found is None:
        return
    work, part = catalog.firing.conditions.work, found[1]
    if part.kind.fires:
        sound = work["replaced_though_sound"].value
        values = np.array([sound if m.state == "sound" else 1.0 for m in part.micros])
        on = OnPart(part.id, place, values[None, None, :])
        yield Item(entry.id, part.id, "it was replaced", parts=(on,), broad=True)
    elif part.id == UNIT:
        unfired = work["replaced_though_unfired"].value
        fired = net.rows.front | (net.rows.others > 0) | net.rows.belts
        rows = np.where(fired, 1.0, unfired)
        yield Item(entry.id, part.id, "the unit was replaced", rows=rows)
