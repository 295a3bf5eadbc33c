"""How probable it is that a condition word of a rule holds, seen from one component."""

from collections.abc import Iterator, Mapping

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.rules import Condition
from squibwise.model.belief import Assessment, ComponentBelief
from squibwise.model.case import Case
from squibwise.model.names import side_of, split_component
from squibwise.require.event import event_chance


class Trigger(msgspec.Struct, frozen=True, kw_only=True):
    """What makes a condition hold: a component (or zone, or the event), its state, how sure."""

    what: str
    state: str
    probability: float
    evidence: tuple[str, ...] = ()


class Situation(msgspec.Struct, frozen=True, kw_only=True):
    """Everything a condition looks at.

    Attributes:
        replaced: Probability that a component is replaced by a rule, by id.
        cleared: Components whose inspection a person signed as passed.
        failed: Components whose inspection a person signed as failed.
        memo: Triggers found already, by condition word and component; not for ``replaced``.
    """

    case: Case
    assessment: Assessment
    catalog: Catalog
    replaced: Mapping[str, float] = {}
    cleared: frozenset[str] = frozenset()
    failed: frozenset[str] = frozenset()
    memo: dict[tuple[str, str], Trigger] = {}


def state_chance(belief: ComponentBelief, state: str, catalog: Catalog) -> float:
    """Return the probability of a state as rules see it: since the crash, whatever was done.

    A fault and an unfit part are seen as they are now; a fault is one of its circuit, wherever in
    the circuit it likely lies. A charge that fired, or a part that was damaged, in the crash stays
    a reason for its item also after the work was done.
    """
    if state == "faulty":
        return max(belief.now.faulty, circuit_fault(belief, catalog))
    if state in ("missing", "unfit"):
        return float(getattr(belief.now, state))
    return max(float(getattr(belief.after_crash, state)), float(getattr(belief.now, state)))


def circuit_fault(belief: ComponentBelief, catalog: Catalog) -> float:
    """Return the probability of a fault in a circuit whose part is there and not damaged.

    0 below the fact ``require.beside-from``: a plug that was merely handled is no reason to trace.
    """
    faulty = max((s.faulty for s in belief.stages.values()), default=0.0)
    chance = faulty - belief.now.missing - belief.now.unfit - belief.now.damaged
    return chance if chance >= catalog.fact("require.beside-from").number() else 0.0


def condition_chance(condition: Condition, component: str, situation: Situation) -> Trigger:
    """Return the strongest trigger of a condition; probability 0 when nothing triggers it.

    "Any of these" takes the largest probability: the charges of a car fire on one and the same
    crash, so the less willing one fires only when the more willing one did (decision 150).
    """
    if condition.state == "replaced":
        return _strongest(condition, component, situation)
    key = (condition.word, component)
    if key not in situation.memo:
        situation.memo[key] = _strongest(condition, component, situation)
    return situation.memo[key]


def _strongest(condition: Condition, component: str, situation: Situation) -> Trigger:
    nothing = Trigger(what="", state=condition.state, probability=0.0)
    found = _triggers(condition, component, situation)
    return max(found, key=lambda t: t.probability, default=nothing)


def _triggers(condition: Condition, component: str, situation: Situation) -> Iterator[Trigger]:
    if condition.state == "event":
        probability, evidence = event_chance(
            condition, component, situation.case, situation.assessment, situation.catalog
        )
        yield Trigger(what="", state="event", probability=probability, evidence=evidence)
    elif condition.state == "struck":
        for zone, probability in sorted(situation.assessment.event.zones.items()):
            if _places_fit(condition, zone) and _is_near(condition, zone, component, situation):
                yield Trigger(what=zone, state="struck", probability=probability)
    else:
        yield from _component_triggers(condition, component, situation)


def _component_triggers(
    condition: Condition, component: str, situation: Situation
) -> Iterator[Trigger]:
    for belief in situation.assessment.components:
        name = split_component(belief.id)
        kind = situation.catalog.kinds.get(name.kind)
        if kind is None or not _places_fit(condition, name.place):
            continue
        if condition.kinds and name.kind not in condition.kinds:
            continue
        if condition.families and kind.family not in condition.families:
            continue
        if condition.near == "itself" and belief.id != component:
            continue
        if condition.near != "itself" and not _is_near(condition, name.place, component, situation):
            continue
        yield _trigger(condition, belief, situation)


def _trigger(condition: Condition, belief: ComponentBelief, situation: Situation) -> Trigger:
    if condition.state == "replaced":
        chance = situation.replaced.get(belief.id, 0.0)
        return Trigger(what=belief.id, state="replaced", probability=chance)
    chance = state_chance(belief, condition.state, situation.catalog)
    if condition.state == "damaged" and belief.id in situation.failed:
        chance = 1.0
    if condition.state == "damaged" and belief.id in situation.cleared:
        chance = 0.0
    evidence = tuple(dict.fromkeys(e for b in belief.because for e in b.evidence))
    return Trigger(what=belief.id, state=condition.state, probability=chance, evidence=evidence)


def _places_fit(condition: Condition, place: str) -> bool:
    return not condition.places or place in condition.places


def _is_near(condition: Condition, place: str, component: str, situation: Situation) -> bool:
    own = split_component(component).place
    if condition.near in ("itself", "same-seat"):
        return place == own
    if condition.near == "same-side":
        hand = situation.case.car.drive_hand
        side = side_of(own, hand)
        return side is not None and side_of(place, hand) == side
    return True
