"""Every piece of evidence of a case as likelihoods, in order of time, each thing said once."""

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.history.order import CURED
from squibwise.history.signed import as_look
from squibwise.infer.circuits import circuit_table
from squibwise.infer.crash_record import weigh_crash_record, weigh_named_parts, weigh_recorder
from squibwise.infer.network import Group, Likelihood, Network
from squibwise.infer.parts import LOOSE, OnComponent, PartModel
from squibwise.infer.places import chance_gone_with_load, values_of_outcome
from squibwise.infer.scan import (
    UNIT,
    chance_of_reading,
    circuits_called,
    find_scans,
    loose_chance,
    read_stage,
    weigh_report,
)
from squibwise.infer.sights import count_circuits_once, list_looks
from squibwise.infer.told import (
    LOOKED_AT,
    is_mended_in_vain,
    values_of_connector,
    values_of_repair,
    weigh_called,
    weigh_circumstance,
    weigh_impact,
    weigh_occupant,
    weigh_return,
    weigh_statement,
    weigh_story,
)
from squibwise.model.evidence import (
    Circumstance,
    Evidence,
    Impact,
    LampCheck,
    Look,
    Occupant,
    PartLabel,
    Passed,
    Reading,
    Recorder,
    SeatTrial,
    Statement,
    Story,
    TestOutcome,
)
from squibwise.model.names import split_loop
from squibwise.model.words import STATES

Array = npt.NDArray[np.float64]


def weigh_evidence(
    net: Network, catalog: Catalog, impacts: dict[Impact, Array] | None = None
) -> tuple[Likelihood, ...]:
    """Return every piece of evidence of a case as a likelihood, in order of time.

    Args:
        net: The network, with the evidence.
        catalog: Likelihoods.
        impacts: What the body shows, as weighed before on this event table; it is added to.
    """
    known = {} if impacts is None else impacts
    likelihoods: list[Likelihood] = weigh_crash_record(net, catalog)
    for scan in find_scans(net):
        likelihoods += weigh_named_parts(scan, net, catalog)
        likelihoods += weigh_report(scan, net, catalog)
    seen: set[tuple[str, str, int]] = set()
    for place, entry in enumerate(net.line.entries):
        looked = list_looks(entry, catalog)
        keys = {(part, word, _epoch(net, part, place)) for part, word in looked}
        if keys and keys <= seen:
            continue
        seen |= keys
        if isinstance(entry, Impact):
            if entry not in known:
                known[entry] = weigh_impact(entry, net.events, catalog)
            text = _impact_text(entry)
            likelihoods.append(Likelihood(entry.id, "", text, events=known[entry]))
        likelihoods += _weigh_entry(entry, place, net, catalog)
        likelihoods += _weigh_told(entry, place, net, catalog)
    return count_circuits_once(tuple(likelihoods), net, catalog)


_TOLD = "told of this circuit: when it comes, what was done, what was tried"


def _weigh_told(
    entry: Evidence, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what is told of the circuits that a report names, at its place in time."""
    for told in net.stories.get(entry.id, ()):
        found = net.find(told.component)
        if found is None or told.stage > found[1].stages:
            continue
        group, part = found
        table = circuit_table(part, group.causes, place, 0.0)[:, :, told.stage - 1]
        values = values_of_outcome(told, table, part, group.causes, place)
        on = OnComponent(part.id, place, np.maximum(values, catalog.firing.scans.floor)[None])
        yield Likelihood(told.evidence[-1], part.id, _TOLD, parts=(on,))


def _epoch(net: Network, component: str, place: int) -> int:
    return sum(1 for at, _ in net.line.works_on(frozenset({component})) if at < place)


def _weigh_entry(
    entry: Evidence, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield the likelihoods of one entry."""
    if isinstance(entry, Occupant):
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
        rebuilt: Was the car put back together since: only then may a fired part look whole.
        catalog: The words with their likelihoods.
    """
    words = catalog.looks(part.kind.kind)
    if word == "not-seen" or word not in words:
        return None
    row = words[word]
    values = part.states() @ np.array([getattr(row, state) for state in STATES])
    if rebuilt and row.fired_if_rebuilt is not None:
        spent = np.array([m.fired > 0 for m in part.micros])
        values = np.where(spent, row.fired_if_rebuilt, values)
    if row.shows in ("gone", "spent"):
        never = np.array([m.condition == "not-fitted" for m in part.micros])
        values = np.where(never, row.missing if row.shows == "gone" else 0.0, values)
    if row.connector is not None:
        off = np.array([m.condition in LOOSE for m in part.micros])
        values = np.where(off, row.connector, values)
    return np.asarray(np.maximum(values, catalog.firing.scans.seen_floor))


def _values_of_circuit(
    values: Array, part: PartModel, stage: int, word: str, catalog: Catalog
) -> Array:
    """Return the values of a look at one circuit of a part instead of at the whole part.

    A connector that hangs opens this circuit; a charge confirmed spent is this one.
    """
    row, circuits = catalog.looks(part.kind.kind)[word], [m.circuit(stage) for m in part.micros]
    if row.connector is not None:
        open_here = np.array([c in ("open", *LOOSE) for c in circuits])
        return np.where(open_here, row.connector, values)
    if row.shows == "spent":
        spent = np.array([m.fired >= stage for m in part.micros])
        return np.where(spent, row.fired, max(row.sound, catalog.firing.scans.seen_floor))
    return values


def _weigh_look(entry: Look, place: int, net: Network, catalog: Catalog) -> Iterator[Likelihood]:
    component, stage = split_loop(entry.component)
    found = net.find(component)
    values = None if found is None else look_values(found[1], entry.seen, False, catalog)
    if found is None or values is None:
        return
    if "/" in entry.component:
        values = _values_of_circuit(values, found[1], stage, entry.seen, catalog)
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


def _weigh_inspection(
    entry: Passed, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what an inspection says that somebody signed as passed: that a part looks whole."""
    look = as_look(entry)
    if look is not None:
        yield from _weigh_look(look, place, net, catalog)


_HALF_LATER = 0.5


def weigh_lamp(
    entry: LampCheck, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what the lamp says: out means that no watched circuit is at fault."""
    figures = catalog.firing.scans.lamp
    if not entry.lit:
        found = net.find("centre.warning-lamp")
        if found is not None:
            dark = [1.0 - figures[w].value for w in ("out_if_faulty", "out_if_good")]
            values = np.array([dark[m.condition == "ok"] for m in found[1].micros])
            on = OnComponent(found[1].id, place, values[None, None, :])
            yield Likelihood(entry.id, found[1].id, "lamp never lit", parts=(on,))
        return
    if not entry.stayed_out:
        yield from weigh_return(entry, place, net, catalog)
        return
    for g, _, _, part in net.parts():
        if part.stages:
            values = _lamp_values(entry, part, net.groups[g], place, net, catalog)
            on = OnComponent(part.id, place, values)
            text = "lamp lit, went out and stayed out"
            yield Likelihood(entry.id, part.id, text, parts=(on,), broad=True)


def _lamp_values(
    entry: LampCheck, part: PartModel, group: Group, place: int, net: Network, catalog: Catalog
) -> Array:
    """Return the chance of the lamp going out with this one part: (unit, causes, micros).

    That it goes out with a part at fault is one thing for all circuits of the part: the worst. That
    the lamp tells nothing is one thing for all of the car. Only the unit of the crash may have
    stopped watching.
    """
    figures = catalog.firing.scans.lamp
    good, bad = figures["out_if_good"].value, figures["out_if_faulty"].value
    mild, dim = {"damaged", "unfit"}, figures["out_if_mild"].value
    table = np.ones((len(group.causes), len(part.micros)))
    for c, cause in enumerate(group.causes):
        opens = cause.opens if cause.active(place) and part.id in cause.members else 0.0
        for m, micro in enumerate(part.micros):
            for stage in range(1, part.stages + 1):
                circuit = micro.circuit(stage)
                own = good if circuit == "good" else dim if circuit in mild else bad
                table[c, m] = min(table[c, m], opens * min(own, bad) + (1.0 - opens) * own)
    works = [w.what for at, w in net.line.works_on(frozenset({UNIT})) if at < place]
    tells = [
        entry.id not in s.unread and (s.watch != "stopped" or "replaced" in works)
        for s in net.unit_states
    ]
    return np.stack([table if told else np.ones_like(table) for told in tells])


def weigh_reading(
    entry: Reading, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what a live loop resistance says of the circuit."""
    found = net.find(split_loop(entry.component)[0])
    stage = None if found is None else read_stage(entry, found[1])
    if found is None or stage is None:
        return
    group, part = found
    loose = loose_chance(part.id, place, net, catalog)
    table = circuit_table(part, group.causes, place, loose)[:, :, stage - 1]
    values = (table @ chance_of_reading(entry, catalog))[None]
    text = f"loop reads {entry.value:g} ohm"
    on = OnComponent(part.id, place, values)
    yield Likelihood(entry.id, part.id, text, parts=(on,))


def weigh_label(
    entry: PartLabel, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what provenance says of a part being the right one."""
    found = net.find(entry.component)
    if found is None or entry.provenance not in ("recycled", "donor", "repaired", "unknown"):
        return
    if entry.recall_checked:
        return
    work = catalog.firing.conditions.work
    ratio = work["unchecked_recycled_unfit"].value / work["new_unfit"].value
    values = np.array([1.0 if m.condition == "unfit" else 1.0 / ratio for m in found[1].micros])
    on = OnComponent(entry.component, place, values[None, None, :])
    text = f"{entry.provenance} part, recalls not checked"
    yield Likelihood(entry.id, entry.component, text, parts=(on,))


def weigh_trial(
    entry: SeatTrial, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what weights on the seat say of what senses it: once, with the first that went wrong.

    One that reads right says little: the same seat may be wrong at another weight.
    """
    found, figures = net.find(entry.component), catalog.firing.scans.seat_trial
    wrong = wrong_trials(entry.component, net, catalog)
    if found is None or entry not in wrong[:1]:
        return
    good = figures["wrong_if_good"].value
    of = {s: figures[f"wrong_if_{s}"].value for s in ("faulty", "damaged", "unfit")}
    values = np.array([of.get(m.state, good) for m in found[1].micros])
    on = OnComponent(entry.component, place, values[None, None, :])
    text = f"{entry.applied_kg:g} kg on the seat read as {entry.read_kg:g} kg"
    yield Likelihood(entry.id, entry.component, text, parts=(on,))


def wrong_trials(component: str, net: Network, catalog: Catalog) -> list[SeatTrial]:
    """Return the trials since work on a seat that show a mass far off what lies on it."""
    most, worked = (
        catalog.firing.scans.seat_trial["wrong_from"].value,
        net.line.last_work_on(component),
    )
    return [
        e
        for at, e in net.line.all_of(SeatTrial)
        if at > worked and e.component == component and e.read_kg is not None
        if abs(e.read_kg - e.applied_kg) > most * e.applied_kg > 0.0
    ]


_AT_THE_DEVICE = "load-at:device-plug"


def weigh_test(
    entry: TestOutcome, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what a fault-finding test says of its circuit."""
    component, stage = split_loop(entry.loop)
    found = net.find(component)
    if found is None or stage > found[1].stages:
        return
    group, part = found
    table = circuit_table(part, group.causes, place, 0.0)[:, :, stage - 1]
    text = f"{entry.test}: {entry.outcome}"
    values: Array | None = None
    at: float = place
    if entry.id in net.tests and entry.test not in LOOKED_AT and entry.outcome not in CURED:
        values = values_of_outcome(net.tests[entry.id], table, part, group.causes, place)
    elif entry.test == _AT_THE_DEVICE and entry.outcome in ("gone", "stays"):
        gone = chance_gone_with_load(part, table, catalog.firing)
        values = gone if entry.outcome == "gone" else 1.0 - gone
    elif entry.test in LOOKED_AT and not is_mended_in_vain(entry, place, net):
        values = values_of_connector(entry, group, part, place, catalog)
    elif looked := list_looks(entry, catalog):
        values = _values_of_looks(part, looked, net.rebuilt, catalog)
    else:
        values, at = values_of_repair(entry, table, part, net, catalog), place + _HALF_LATER
    if values is not None:
        values = np.atleast_2d(np.maximum(values, catalog.firing.scans.floor))
        on = OnComponent(component, at, values[None])
        yield Likelihood(entry.id, component, text, parts=(on,))
    called = circuits_called(entry, net, catalog)
    besides = {c: sure for c, sure in called.items() if c != (component, stage)}
    yield from weigh_called(entry.id, text, place + _HALF_LATER, besides, net)


def _values_of_looks(
    part: PartModel, looked: tuple[tuple[str, str], ...], rebuilt: bool, catalog: Catalog
) -> Array:
    """Return how likely one of several sights is for each micro."""
    each = (look_values(part, word, rebuilt, catalog) for _, word in looked)
    summed = np.sum([values for values in each if values is not None], axis=0)
    return np.asarray(np.minimum(summed, 1.0))


_MAKERS: tuple[tuple[type, Callable[..., Iterator[Likelihood]]], ...] = (
    (Look, _weigh_look),
    (Passed, _weigh_inspection),
    (Statement, weigh_statement),
    (Recorder, weigh_recorder),
    (Circumstance, weigh_circumstance),
    (LampCheck, weigh_lamp),
    (Reading, weigh_reading),
    (PartLabel, weigh_label),
    (TestOutcome, weigh_test),
    (SeatTrial, weigh_trial),
    (Story, weigh_story),
)
