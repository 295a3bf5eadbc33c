"""Assess a case: what happened, and what state every component is in."""

from collections.abc import Callable, Mapping

import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS
from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.history.reports import is_of_another_car
from squibwise.infer.assumptions import list_assumptions, list_questions
from squibwise.infer.building import UNTESTED, build_network
from squibwise.infer.circuits import circuit_table
from squibwise.infer.contradictions import find_contradictions, tell_other_cars
from squibwise.infer.crash import Scenario
from squibwise.infer.crash_record import crash_record, second_impact
from squibwise.infer.engine import Engine, Posterior
from squibwise.infer.evidence import weigh_evidence
from squibwise.infer.explain import Flip, Reasons, explain_components, find_flips
from squibwise.infer.healed import find_healed
from squibwise.infer.marginals import GroupBelief, PartBelief, group_beliefs, speed_quantiles
from squibwise.infer.network import Group, Network
from squibwise.infer.next_look import Leads, list_candidates, rank_looks
from squibwise.infer.parts import LOOSE
from squibwise.infer.places import find_places
from squibwise.infer.reports import drop_copies
from squibwise.infer.scan import UNIT, circuits_said, loose_chance
from squibwise.infer.sights import (
    loads_left_in,
    seen_spent,
    stand_on_loads,
    weigh_sights,
)
from squibwise.infer.stakes import weigh_stakes
from squibwise.model.belief import (
    Assessment,
    BenchBelief,
    ComponentBelief,
    Contradiction,
    EventBelief,
    LossTable,
    StageBelief,
    StateBelief,
)
from squibwise.model.case import Case
from squibwise.model.evidence import Look, Statement
from squibwise.model.names import loop_id, split_loop
from squibwise.model.report import Report
from squibwise.model.words import STATES

Array = npt.NDArray[np.float64]
MOST_ITEMS = 300
"""About 12 s and 320 MB; time and memory grow faster than the number."""


def assess(
    case: Case,
    catalog: Catalog,
    losses: LossTable | None = None,
    shifts: Mapping[str, float] | None = None,
    tests: BenchBelief = UNTESTED,
) -> Assessment:
    """Return what is believed of the event and of every component, with reasons.

    Args:
        case: The case with its evidence.
        catalog: Priors, firing logic and likelihoods.
        losses: What wrong decisions cost; None = one unit each, for ranking the next looks.
        shifts: Learned intercepts of the deployment curves, by curve id. [log odds]
        tests: What the fault-finding tests say.

    Raises:
        InputError: There is more evidence than can be weighed within memory.
    """
    _refuse_too_much(case)
    foreign = [e.id for e in case.evidence if is_of_another_car(e, case.car.vin)]
    case, findings = drop_copies(case, catalog)
    net = build_network(case, catalog, shifts or {}, tests)
    engine = Engine(net, catalog)
    likelihoods = weigh_sights(engine, weigh_evidence(net, catalog), catalog)
    found = engine.run(likelihoods)
    groups = group_beliefs(found)
    why = explain_components(engine, likelihoods, found, groups)
    stakes = weigh_stakes(groups, losses, catalog, case.profile.sold_apart)
    candidates = list_candidates(case, net, groups, catalog)
    turns = find_flips(candidates, case, groups, stakes, catalog)
    event = event_belief(found, groups, crash_record(found, catalog), catalog)
    unproven = _list_unproven(net, groups, catalog)
    between = find_contradictions(case, engine, likelihoods, found, groups, catalog)
    loads, healed = loads_left_in(net, catalog), find_healed(net, groups, case.car, catalog)
    by_part = loads | healed | loads  # a load left in stands first, and for its part alone
    contradictions = (*by_part.values(), *tell_other_cars(foreign), *between)
    leads = Leads(
        loads=frozenset({*loads, *healed, *stand_on_loads(net, catalog)}),
        deciding={n: turns[n].settled_by for n in _to_decide(case, contradictions, groups, turns)},
        set_aside=bool(foreign),
        unproven=unproven,
        plugs=_plugs_in_doubt(event, net, catalog),
    )
    return Assessment(
        event=event,
        components=_components(case, found, groups, why, turns, catalog),
        loads_left_in=tuple(loads),
        unproven=unproven,
        located=tests.located,
        unproved=tests.unproved,
        contradictions=contradictions,
        next_looks=rank_looks(
            case, candidates, engine, likelihoods, found, groups, stakes, leads, catalog
        ),
        assumptions=list_assumptions(case, net, shifts or {}, catalog),
        open_questions=list_questions(case, found, catalog),
        findings=findings,
        surprise_db=why.surprise_db,
    )


def believe(
    case: Case,
    catalog: Catalog,
    shifts: Mapping[str, float] | None = None,
    tests: BenchBelief = UNTESTED,
) -> tuple[ComponentBelief, ...]:
    """Return the states of ``assess`` alone, without its reasons."""
    return assess_plainly(case, catalog, shifts, tests).components


def assess_plainly(
    case: Case,
    catalog: Catalog,
    shifts: Mapping[str, float] | None = None,
    tests: BenchBelief = UNTESTED,
) -> Assessment:
    """Return the beliefs of ``assess`` alone: no reasons and no next looks, which take longest.

    Raises:
        InputError: There is more evidence than can be weighed within memory.
    """
    _refuse_too_much(case)
    net = build_network(drop_copies(case, catalog)[0], catalog, shifts or {}, tests)
    engine = Engine(net, catalog)
    found = engine.run(weigh_sights(engine, weigh_evidence(net, catalog), catalog))
    groups = group_beliefs(found)
    beliefs = {
        name: ComponentBelief(
            id=name,
            after_crash=state_belief(part, part.after),
            now=state_belief(part, part.now),
            stages=stage_beliefs(part, group.group, found, catalog),
        )
        for group in groups
        for name, part in group.parts.items()
    }
    return Assessment(
        event=event_belief(found, groups, crash_record(found, catalog), catalog),
        components=tuple(beliefs[c] for c in case.car.components if c in beliefs),
        loads_left_in=tuple(loads_left_in(net, catalog)),
        located=tests.located,
    )


def _to_decide(
    case: Case,
    contradictions: tuple[Contradiction, ...],
    groups: tuple[GroupBelief, ...],
    turns: dict[str, Flip],
) -> set[str]:
    """Return the components of which two things are said that do not fit, hearsay aside.

    A unit that is likely hurt or loose is among them: it may fire something at key-on.
    """
    hearsay = {e.id for e in case.evidence if isinstance(e, Statement)}
    found = {c.component for c in contradictions if not hearsay & set(c.evidence)}
    for unit in (g.parts[UNIT] for g in groups if UNIT in g.parts):
        hurt = [m.state == "damaged" for m in unit.part.micros]
        found |= {UNIT} if float(unit.now.sum(axis=0) @ hurt) >= _MORE_LIKELY else set()
    return found & turns.keys()


def _components(
    case: Case,
    found: Posterior,
    groups: tuple[GroupBelief, ...],
    why: Reasons,
    turns: dict[str, Flip],
    catalog: Catalog,
) -> tuple[ComponentBelief, ...]:
    """Return the beliefs in the car's own order of components."""
    beliefs = {}
    for group in groups:
        for name, part in group.parts.items():
            reason = why.of(name)
            beliefs[name] = ComponentBelief(
                id=name,
                after_crash=state_belief(part, part.after),
                now=state_belief(part, part.now),
                stages=stage_beliefs(part, group.group, found, catalog),
                prior_fired=reason.prior_fired if part.part.kind.fires else None,
                likeliest=reason.state,
                prior_db=round(reason.prior_db, 2),
                posterior_db=round(reason.posterior_db, 2),
                because=reason.because,
                opposing=reason.opposing,
                flip=turns[name].text,
                prior_flip_db=turns[name].move_db,
                settled_by=turns[name].settled_by,
                ranges=turns[name].ranges,
            )
    return tuple(beliefs[c] for c in case.car.components if c in beliefs)


def _list_unproven(
    net: Network, groups: tuple[GroupBelief, ...], catalog: Catalog
) -> tuple[str, ...]:
    """Return the charges of fired parts that nobody confirmed spent.

    A part seen spent shows that of its first charge, and nothing of the others; codes show it of
    none.
    """
    confirmed = {
        loop_id(*split_loop(e.component))
        for at, e in net.line.all_of(Look)
        if e.seen == _CONFIRMED and at > net.line.last_work_on(split_loop(e.component)[0])
    }
    found = []
    for group in groups:
        for name, part in group.parts.items():
            fired = float(part.now.sum(axis=0) @ [m.fired > 0 for m in part.part.micros])
            first = 1 if seen_spent(part.part, net.line, catalog) is None else 2
            loops = (loop_id(name, stage) for stage in range(first, part.part.stages + 1))
            if fired >= _MORE_LIKELY:
                found += [loop for loop in loops if loop not in confirmed]
    return tuple(found)


_CONFIRMED = "confirmed-spent"
_MORE_LIKELY = 0.5


def _refuse_too_much(case: Case) -> None:
    lines = sum(len(e.reading.lines) for e in case.evidence if isinstance(e, Report))
    pieces = len(case.evidence) + lines
    if pieces > MOST_ITEMS:
        raise InputError(
            f"The case has {pieces} pieces of evidence; at most {MOST_ITEMS} are weighed.",
            remedy="Leave out codes of other systems and entries that say the same again.",
        )


_NEAR_CERTAIN = 0.99
_WORTH_SAYING = 0.02


def state_belief(part: PartBelief, micros: Array) -> StateBelief:
    """Return a part's belief from chances of its micros with each cause: (C, M)."""
    values = micros.sum(axis=0) @ part.part.states()
    values = values / values.sum()
    return StateBelief(**{s: float(v) for s, v in zip(STATES, values, strict=True)})


def stage_beliefs(
    marginal: PartBelief, group: Group, found: Posterior, catalog: Catalog
) -> dict[str, StageBelief]:
    """Return what is believed of each circuit now, common causes and the last scan included."""
    part = marginal.part
    if not part.stages:
        return {}
    like = circuits_now(marginal, group, found, catalog)
    chance = np.einsum("cm,cmsk->sk", marginal.now, like)
    good, spent = CIRCUITS.index("good"), CIRCUITS.index("spent")
    result = {}
    for stage in range(part.stages):
        fired, live = float(chance[stage, spent]), float(chance[stage, good])
        total = float(chance[stage].sum())
        result[str(stage + 1)] = StageBelief(
            fired=fired / total,
            live=live / total,
            faulty=max(0.0, total - fired - live) / total,
            where=_where(marginal, like[:, :, stage], group, found, stage + 1),
        )
    return result


def _where(
    marginal: PartBelief, like: Array, group: Group, found: Posterior, stage: int
) -> dict[str, float]:
    """Return where a fault of a circuit lies now; tests tell the part from its wiring."""
    where = find_places(marginal, like, group, len(found.net.line.entries))
    tested = found.net.parts_of.get((marginal.part.id, stage))
    if not tested or "part" not in where:
        return where
    mass = where.pop("part")
    return where | {word: mass * share for word, share in tested.items()}


def circuits_now(marginal: PartBelief, group: Group, found: Posterior, catalog: Catalog) -> Array:
    """Return what each circuit is like now, the last scan included: (C, M, S, K)."""
    part, net = marginal.part, found.net
    place = len(net.line.entries)
    loose = loose_chance(part.id, place, net, catalog)
    like = circuit_table(part, group.causes, place, loose)
    like = like * circuits_said(part, group, net, found.unit, catalog)[:, None, :, :]
    return np.asarray(like / like.sum(axis=-1, keepdims=True))


def event_belief(
    posterior: Posterior, groups: tuple[GroupBelief, ...], record: float | None, catalog: Catalog
) -> EventBelief:
    """Return what is believed of the crash."""
    net, events = posterior.net, posterior.events
    size = len(net.events.scenarios)
    scenario: Array = np.bincount(net.events.scenario, weights=events, minlength=size).astype(float)
    no_crash = _sum(net, scenario, lambda s: s.kind in ("none", "outside"))
    people = {g.group.name: g.group.seat.chances(g.people) for g in groups}
    passenger = people.get("passenger", {})
    return EventBelief(
        zones=_zones(net, scenario, catalog),
        delta_v_kmh=None if no_crash > _NEAR_CERTAIN else speed_quantiles(net, scenario, catalog),
        driver_belted=_latched(people.get("driver", {})),
        passenger_belted=_latched(passenger),
        front_passenger=_classes(passenger),
        rollover=_sum(net, scenario, lambda s: s.rollover),
        second_impact=second_impact(posterior, catalog),
        no_crash=no_crash,
        causes=_causes(groups, record, posterior, catalog) | _disturbance(posterior),
    )


def _zones(net: Network, scenario: Array, catalog: Catalog) -> dict[str, float]:
    """Return the chance of each zone; of an earlier crash nobody knows it: the usual shares."""
    stories = net.events.scenarios
    earlier = _sum(net, scenario, lambda s: s.kind == "earlier")
    crashes = sum(s.weight for s in stories if s.kind == "crash")
    zones = {z.name: 0.0 for z in catalog.firing.events.zone}
    for story, chance in zip(stories, scenario, strict=True):
        if story.kind == "crash":
            chance += earlier * story.weight / crashes
        for zone in {b.zone.name for b in story.blows if story.kind != "earlier"}:
            zones[zone] += float(chance)
    return {z: min(1.0, p) for z, p in zones.items()}


def _disturbance(posterior: Posterior) -> dict[str, float]:
    """Return the chance of a disturbed supply or bus, of each report not showing everything.

    Likewise of connectors that hands left off, where a crash is denied.
    """
    states = posterior.net.unit_states
    disturbed = np.array([s.watch == "disturbed" for s in states])
    stopped = np.array([s.watch == "stopped" for s in states])
    unread = {
        f"unread-report:{name}": float(posterior.unit @ [name in s.unread for s in states])
        for name in sorted(states[0].asked)
    }
    supply = {"supply": float(posterior.unit @ disturbed)} if disturbed.any() else {}
    idle = {"unit-stopped": float(posterior.unit @ stopped)} if stopped.any() else {}
    off = np.array([s.watch == "taken-off" for s in states])
    left = {"connectors-left-off": float(posterior.unit @ off)} if off.any() else {}
    return supply | idle | left | unread


def _sum(net: Network, scenario: Array, test: Callable[[Scenario], bool]) -> float:
    chances = [c for s, c in zip(net.events.scenarios, scenario, strict=True) if test(s)]
    return min(1.0, float(sum(chances)))


def _latched(people: dict[str, float]) -> float:
    return min(1.0, float(sum(p for w, p in people.items() if w.split("-")[-1] == "latched")))


def _classes(people: dict[str, float]) -> dict[str, float]:
    result = {"empty": 0.0, "child-or-small": 0.0, "adult": 0.0}
    for word, chance in people.items():
        name = "child-or-small" if word.startswith("child") else word.split("-")[0]
        result[name] += float(chance)
    return result


def _causes(
    groups: tuple[GroupBelief, ...], record: float | None, found: Posterior, catalog: Catalog
) -> dict[str, float]:
    """Return the chance of each common cause now, and of a crash record in the unit."""
    result: dict[str, float] = {}
    now = len(found.net.line.entries)
    for group in groups:
        for cause, chance in zip(group.group.causes, group.causes, strict=True):
            if cause.name != "none" and cause.active(now):
                for name in _names(cause.name):
                    result[name] = min(1.0, result.get(name, 0.0) + float(chance))
        for name, part in group.parts.items():
            chance = _own_plug(part, group.group, found, catalog)
            if chance > _WORTH_SAYING:
                result[f"loose-plug:{name}"] = chance
    if record is not None:
        result["crash-record"] = record
    return result


def _own_plug(part: PartBelief, group: Group, found: Posterior, catalog: Catalog) -> float:
    """Return the chance that a part's own plug is loose or still unplugged."""
    loose = [m.condition in LOOSE for m in part.part.micros]
    chance = float(part.now.sum(axis=0) @ loose)
    net = found.net
    end = len(net.line.entries)
    if part.part.stages and loose_chance(part.part.id, end, net, catalog) > 0.0:
        quiet = np.array([not c.active(end) or part.part.id not in c.members for c in group.causes])
        like = circuits_now(part, group, found, catalog)[:, :, :, CIRCUITS.index("unplugged")]
        there = np.array([m.condition != "absent" for m in part.part.micros])
        pulled = (part.now[:, :, None] * like * there[None, :, None]).sum(axis=1)
        chance += float(pulled.max(axis=-1) @ quiet)
    return min(1.0, chance)


def _plugs_in_doubt(event: EventBelief, net: Network, catalog: Catalog) -> dict[str, float]:
    """Return the chance that a connector is not home, by a component that hangs on it.

    A connector that many share is looked at where the first of its charged parts is.
    """
    result: dict[str, float] = {}
    charged = [p for *_, p in net.parts() if p.kind.fires]
    for cause, chance in event.causes.items():
        kind, _, at = cause.partition(":")
        place, _, plug = at.rpartition(".")
        mates = [p.id for p in charged if p.id.startswith(f"{place}.") and p.kind.plug == plug]
        part = at if kind == "loose-plug" else next(iter(mates), "")
        if part and kind in ("loose-plug", "shared-plug"):
            result[part] = max(chance, result.get(part, 0.0))
    return result


def _names(cause: str) -> tuple[str, ...]:
    """Return a cause's own name, and for a shared plug that of its seat: ``shared-plug:driver``."""
    seat, dot, _ = cause.partition(".")
    return (cause, seat) if dot else (cause,)
