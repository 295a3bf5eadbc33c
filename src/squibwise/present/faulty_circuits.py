"""The circuits that likely have a fault, the one first at which what several share is traced."""

from collections.abc import Sequence

import msgspec

from squibwise.catalog.load import Catalog, holds_charge
from squibwise.history.closing import STAYS, list_unproved
from squibwise.history.order import CURED, History, read_history
from squibwise.history.reports import settle_reports
from squibwise.history.returned import Return, follow_repairs, is_there
from squibwise.model.belief import Assessment, ComponentBelief, Located
from squibwise.model.case import Case
from squibwise.model.evidence import TestOutcome
from squibwise.model.names import loop_id, split_component, split_loop
from squibwise.model.report import Report
from squibwise.model.work import Work
from squibwise.present.phrases import LIKELY, name
from squibwise.present.tell_event import believed_causes, tell_cause
from squibwise.present.tell_orders import order_now

UNIT = "centre.control-unit"
_SUPPLY = "supply"


class FaultyCircuit(msgspec.Struct, frozen=True, kw_only=True):
    """A circuit that likely has a fault, to be traced before anything is bought.

    Attributes:
        loop: Its id, as `trace` takes it.
        title: In a mechanic's words.
        p: That the fault is there now. [0..1]
        unproved: Called cured, but it came and went before: the second drive is left.
        unread: What it shares with another circuit was mended since, and it was not read again.
        returned: The repair that was entered as its cure and did not hold, and the entry that shows
            the fault again; empty for none.
        located: The part in which its tests located the fault; empty for none.
        shared: What to do about the one thing behind several circuits, for which this one is traced
            first; empty for none.
        instead: The other part that its code may mean more likely than any third; empty for none.
        instead_p: The chance of that. [0..1]
    """

    loop: str
    title: str
    p: float
    unproved: bool = False
    unread: bool = False
    returned: tuple[str, ...] = ()
    located: str = ""
    shared: str = ""
    instead: str = ""
    instead_p: float = 0.0


def find_faulty_circuits(
    case: Case, states: Assessment, todo: Work, catalog: Catalog
) -> tuple[FaultyCircuit, ...]:
    """Return the circuits that the work traces, the likeliest first, one for each part.

    A part that is ordered for sure or by rule is renewed first, and read again.
    """
    found = []
    renewed = {c for o in order_now(todo) for c in o.contains}
    history = read_history(settle_reports(case).evidence)
    returned = follow_repairs(history, case.car, catalog).open
    unproved = list_unproved(history) | states.unproved
    outcomes = {split_loop(e.loop): e.outcome for _, e in history.all_of(TestOutcome)}
    cured = {x for x, word in outcomes.items() if word in (*CURED, STAYS)}
    worked = {d for o in todo.operations if o.action == "trace" for d in o.demands}
    for demand in (i for i in todo.items if i.action == "trace" and not i.done):
        belief = states.get(demand.component or "")
        is_rare = demand.probability < LIKELY or demand.component in renewed
        if belief is None or (is_rare and demand.id not in worked):
            continue
        loop, title = _to_trace(belief, catalog)
        if split_loop(loop) in returned:
            continue
        if split_loop(loop) in cured and belief.id not in unproved:
            continue  # the last scan waits for the next one, the search is over
        unread = _is_of_another(unproved.get(belief.id), loop, history)
        open_still = belief.id in unproved and not unread
        p = _traced(states).get(loop, demand.probability)
        found.append(FaultyCircuit(loop=loop, title=title, p=p, unproved=open_still, unread=unread))
    known = {split_loop(c.loop)[0] for c in found} | renewed | {c for c, _ in returned}
    found += _reported(states, known, catalog)
    back = (_did_not_hold(loop, told, states, catalog) for loop, told in returned.items())
    located = [_located(x, catalog) for x in states.located if split_loop(x.loop) not in returned]
    settled = {split_loop(c.loop)[0] for c in located} | {x.component for x in states.located}
    rest = sorted((c for c in found if split_loop(c.loop)[0] not in settled), key=lambda c: -c.p)
    rest = [_with_rival(c, states, catalog) for c in rest]
    return (*back, *located, *_shared_first(rest, history, states, todo, catalog))


def _with_rival(circuit: FaultyCircuit, states: Assessment, catalog: Catalog) -> FaultyCircuit:
    """Return a circuit with the other one that its code may mean, where one has a share."""
    own = next((c for c in states.circuits if c.loop == circuit.loop and c.rivals), None)
    others = [c for c in states.circuits if own and split_loop(c.loop)[0] in own.rivals]
    if not others:
        return circuit
    likeliest = max(others, key=lambda c: c.share)
    title = name(split_loop(likeliest.loop)[0], catalog)
    return msgspec.structs.replace(circuit, instead=title, instead_p=likeliest.share)


def _traced(states: Assessment) -> dict[str, float]:
    """Return the chance that tracing gives a fault of each circuit that is reported or tested."""
    return {c.loop: 1.0 - c.where.get("nowhere", 0.0) for c in states.circuits}


def _reported(states: Assessment, known: set[str], catalog: Catalog) -> list[FaultyCircuit]:
    """Return the circuits at fault that no other answer names, in a car that was in no crash.

    One for each part. That a crash is recorded is no fault of a circuit.
    """
    if states.event.no_crash < LIKELY:
        return []
    found: dict[str, FaultyCircuit] = {}
    for circuit in states.circuits:
        component, stage = split_loop(circuit.loop)
        p = _traced(states)[circuit.loop]
        if component in known or p < LIKELY or circuit.causes[0].id.startswith("record:"):
            continue
        title = name(component, catalog) + (f", stage {stage}" if stage > 1 else "")
        found.setdefault(component, FaultyCircuit(loop=circuit.loop, title=title, p=p))
    return list(found.values())


def _is_of_another(entry: str | None, loop: str, history: History) -> bool:
    """Return whether the outcome that leaves a circuit open was entered for another one."""
    outcomes = {e.id: e for _, e in history.all_of(TestOutcome)}
    return entry in outcomes and split_loop(outcomes[entry].loop) != split_loop(loop)


def _shared_first(
    found: list[FaultyCircuit], history: History, states: Assessment, todo: Work, catalog: Catalog
) -> list[FaultyCircuit]:
    """Return the circuits with that first at which what several of them share is traced.

    The supply is that of the control unit; it needs the key on. A connector is that of the first
    circuit through it, one with a charge where there is one.
    """
    first: list[FaultyCircuit] = []
    supply = states.event.causes.get(_SUPPLY, 0.0)
    told = supply >= LIKELY or _reads_voltage(history)
    if told and not todo.unsettled and states.get(UNIT) is not None:
        cause, loop = tell_cause(_SUPPLY, catalog), loop_id(UNIT, 1)
        first.append(FaultyCircuit(loop=loop, title=name(UNIT, catalog), p=supply, shared=cause))
    for key, _ in believed_causes(states, LIKELY, catalog):
        word, _, junction = key.partition(":")
        mates = [c for c in found if word == "shared-plug" and _runs_in(c, junction, catalog)]
        mates.sort(key=lambda c: not holds_charge(c.loop, catalog))
        first += [msgspec.structs.replace(c, shared=tell_cause(key, catalog)) for c in mates[:1]]
    return [*first, *(c for c in found if c.loop not in {x.loop for x in first})]


def _reads_voltage(history: History) -> bool:
    """Return whether the last report names a supply that is out of range."""
    last = [r.reading.own for _, r in history.all_of(Report)][-1:]
    return any(is_there(x) for own in last for x in own if x.fault == "voltage")


def _runs_in(circuit: FaultyCircuit, junction: str, catalog: Catalog) -> bool:
    """Return whether a circuit runs through a connector, written ``<place>.<plug>``."""
    part = split_component(split_loop(circuit.loop)[0])
    return junction == f"{part.place}.{catalog.kinds[part.kind].plug}"


def _located(told: Located, catalog: Catalog) -> FaultyCircuit:
    """Return a circuit whose fault its tests located in a part."""
    component, stage = split_loop(told.loop)
    title = name(component, catalog) + (f", stage {stage}" if stage > 1 else "")
    return FaultyCircuit(
        loop=told.loop, title=title, p=told.p, located=name(told.component, catalog)
    )


def _to_trace(belief: ComponentBelief, catalog: Catalog) -> tuple[str, str]:
    """Return the circuit of a part to trace, and its title, which names every stage at fault."""
    faulty = {s: b.faulty for s, b in sorted(belief.stages.items())}
    likely = [s for s, p in faulty.items() if p >= LIKELY]
    stage = next(iter(likely), max(faulty, key=lambda s: faulty[s], default="1"))
    named = likely if likely != ["1"] else []
    words = f", {_tell_stages(named or [stage])}" if named or stage != "1" else ""
    return loop_id(belief.id, int(stage)), f"{name(belief.id, catalog)}{words}"


def _tell_stages(stages: Sequence[str]) -> str:
    """Return stages as a person says them: ``stage 2``, ``stages 1 and 2``."""
    return f"stage{'s' if len(stages) > 1 else ''} {' and '.join(stages)}"


def _did_not_hold(
    loop: tuple[str, int], told: Return, states: Assessment, catalog: Catalog
) -> FaultyCircuit:
    """Return a circuit whose fault is back after the repair that was entered as its cure."""
    component, stage = loop
    title = f"{name(component, catalog)}" + (f", stage {stage}" if stage > 1 else "")
    belief = states.get(component)
    p = belief.now.faulty if belief else 0.0
    named = (_name_repair(told.repair, component, catalog), told.shown)
    return FaultyCircuit(loop=loop_id(*loop), title=title, p=p, returned=named)


def _name_repair(repair: str, component: str, catalog: Catalog) -> str:
    """Return a repair of a circuit in words; as it was entered where no card has that name."""
    verb, _, point = repair.partition(":")
    part, book = split_component(component), catalog.loops
    chain = book.chain(part.kind, part.place)
    at = next((e for e in chain.element if e.id == point), None) if chain else None
    named = [c for c in book.repairs if c.id in (repair, f"{verb}:{{point}}")]
    here = [c for c in named if at is None or c.at in (at.id, f"<{at.role}>")]
    title = next((c.title for c in here or named), repair)
    return title.format(
        element=(at.title if at else point).format(kind=catalog.kinds[part.kind].title)
    )
