"""What people tell of the event, of occupants and of parts, and what the body shows."""

import re
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS
from squibwise.catalog.load import Catalog
from squibwise.history.returned import NOT_CURED
from squibwise.history.signed import is_exposed, tells_of_fire, tells_of_water
from squibwise.infer.blows import Blow, struck
from squibwise.infer.circuits import BAR_DOWN, circuit_table
from squibwise.infer.crash import HOURS, Scenario, hours_told
from squibwise.infer.event_table import EventTable
from squibwise.infer.network import Group, Likelihood, Network, OnOccupant
from squibwise.infer.parts import GONE, LOOSE, OnComponent, PartModel
from squibwise.infer.scan import circuits_called
from squibwise.model.evidence import (
    Circumstance,
    Evidence,
    Impact,
    LampCheck,
    Occupant,
    Statement,
    Story,
    TestOutcome,
)
from squibwise.model.names import split_component, split_loop
from squibwise.model.words import Extent

Array = npt.NDArray[np.float64]


def weigh_statement(
    entry: Statement, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
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
        events = np.where(net.events.bags, fired, still)
        yield Likelihood(entry.id, "", text, events=events, weak=None, sources=source)
        return
    found = net.find(entry.component)
    if found is not None:
        values = np.array([fired if m.fired else still for m in found[1].micros])
        on = OnComponent(entry.component, place, values[None, None, :])
        yield Likelihood(entry.id, entry.component, text, parts=(on,), weak=None, sources=source)


def weigh_occupant(entry: Occupant, net: Network, catalog: Catalog) -> Iterator[Likelihood]:
    """Yield who is said to have sat where, and belted or not."""
    right = catalog.firing.scans.people["right"].value
    belt: str = "latched" if entry.child_seat else entry.belt or ""
    wanted: str
    if entry.seat == "driver":
        wanted = "unlatched" if entry.present is False else belt
    elif entry.seat == "passenger":
        size = "child-or-small" if entry.child_seat else entry.size
        wanted = passenger_words(entry.present, size, belt or None)
    else:
        wanted = "empty" if entry.present is False and not entry.child_seat else belt
        wanted = wanted or ("taken" if entry.present else "")
    if wanted:
        text = f"told of the {entry.seat} seat: {wanted}"
        yield from weigh_seat_words(entry.id, entry.seat, text, net, right, wanted)


def passenger_words(present: bool | None, size: str | None, belt: str | None) -> str:
    """Return what is told of the front passenger as words that ``weigh_seat_words`` understands."""
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


def weigh_seat_words(
    evidence: str, group: str, text: str, net: Network, right: float, wanted: str
) -> Iterator[Likelihood]:
    """Yield a joint likelihood on a seat's occupant from every word that was told of it."""
    for candidate in net.groups:
        if candidate.name == group and wanted:
            words = candidate.seat.words
            values = np.array([_chance_of_word(word, wanted.split(), right) for word in words])
            values = _trusted(values, _usual_occupants(candidate, net), right)
            yield Likelihood(evidence, group, text, seats=(OnOccupant(group, values),))


def _usual_occupants(group: Group, net: Network) -> Array:
    """Return how often each occupant sits there, over all that may have happened."""
    prior = group.seat.prior
    return np.asarray(prior[0] if len(prior) == 1 else net.events.weight @ prior[group.sort])


def _trusted(values: Array, prior: Array, right: float) -> Array:
    """Return a likelihood under which what was told is right with at least this chance."""
    best = values == values.max()
    fits, wrong = float(prior[best].sum()), float(prior[~best] @ values[~best])
    most = (1.0 - right) / right * fits * float(values.max())
    if wrong <= most or not fits:
        return values
    return np.where(best, values, values * most / wrong)


def _chance_of_word(word: str, wanted: list[str], right: float) -> float:
    """Return the chance of being told these words of such an occupant."""
    parts = word.split("-")
    result = 1.0
    for want in wanted:
        is_so = want in parts or (want == "taken" and word != "empty")
        if is_so or (want, word) == ("unlatched", "empty"):  # nobody latches an empty seat's belt
            result *= right
        else:
            result *= 1.0 - right
    return result


def weigh_circumstance(
    entry: Circumstance, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what is told of the event as a whole, or of all parts at once."""
    right = catalog.firing.scans.body["told_right"].value
    holds = _holds(entry.what, net)
    word = "" if entry.present else "no "
    text = f"told: {word}{entry.what.replace('-', ' ')}"
    if holds is not None:
        yield Likelihood(entry.id, "", text, events=weigh_told(holds == entry.present, right, net))
    exposed = [e for _, e in net.line.all_of(Circumstance) if e.present and e.what in _EXPOSES]
    if exposed[:1] == [entry]:
        yield Likelihood(entry.id, "", text, events=_exposed(net.events, catalog))
    if entry.what == "parked" and entry.present:
        for group in net.groups:
            alone = "unlatched" if group.name == "driver" else "empty"
            yield from weigh_seat_words(entry.id, group.name, text, net, right, alone)
    if entry.what in _TOLD_OF_PARTS:
        yield from _told_parts(entry, place, text, net, catalog)
    if entry.present and entry.what in catalog.firing.conditions.exposure:
        yield from _exposed_parts(entry, place, text, net, catalog)


_EXPOSES = ("flood", "fire", "heat", "corrosion")


def weigh_told(fits: npt.NDArray[np.bool_], right: float, net: Network) -> Array:
    """Return a likelihood that makes what was told right with this chance, all else unknown."""
    share = float(net.events.weight @ fits)
    if not 0.0 < share < 1.0:
        return np.ones(len(fits))
    wrong = min(1.0, (1.0 - right) * share / (1.0 - share))
    return np.where(fits, right, wrong)


def _holds(what: str, net: Network) -> npt.NDArray[np.bool_] | None:
    """Return in which events a circumstance holds; None when it is not about the event."""
    events = net.events
    kinds = [s.kind for s in events.scenarios]
    rear = [any(b.zone.side == "rear" for b in s.blows) for s in events.scenarios]
    tests = {
        "crash": events.holds([k in ("crash", "earlier") for k in kinds]),
        "earlier-crash": events.holds([k == "earlier" for k in kinds]),
        "rollover": events.rollover,
        "rear-impact": events.holds(rear),
        "unpowered": events.dead,
        "parked": events.dead,
    }
    found = tests.get(what)
    return None if found is None else np.asarray(found, dtype=bool)


def _exposed(events: EventTable, catalog: Catalog) -> Array:
    """Return how likely water, fire, heat or salt is told of: most such cars were not struck too.

    Where a charge went off without a crash it is told of more often: it may be what set it off.
    """
    body = catalog.firing.scans.body
    told = {"none": body["told_exposed_if_quiet"].value, "outside": 1.0}
    struck_too = body["told_exposed_if_crash"].value * told["none"]
    return events.by_scenario(np.array([told.get(s.kind, struck_too) for s in events.scenarios]))


def weigh_story(entry: Story, place: int, net: Network, catalog: Catalog) -> Iterator[Likelihood]:
    """Yield what a story says of the event, where nobody told of it as such.

    A story tells of water, of fire, or that there was no crash.
    """
    denied = [e for _, e in net.line.all_of(Story) if denies_a_crash(e, catalog)]
    if denied[:1] == [entry] and not any(
        e.what == "crash" for _, e in net.line.all_of(Circumstance)
    ):
        crash = Circumstance(id=entry.id, what="crash", present=False, origin=entry.origin)
        yield from weigh_circumstance(crash, place, net, catalog)
    told = {e.what for _, e in net.line.all_of(Circumstance) if e.present}
    stories = [(at, e) for at, e in net.line.all_of(Story) if e.loop is None]
    wet = [at for at, e in stories if "soaked" in e.known or tells_of_water(e.text, catalog)]
    burnt = [at for at, e in stories if tells_of_fire(e.text, catalog)]
    first = min(wet + burnt, default=None)
    if place == first and not told & set(_EXPOSES):
        text = f"told: {'stood in water' if first in wet else 'burnt'}"
        yield Likelihood(entry.id, "", text, events=_exposed(net.events, catalog))


def denies_a_crash(entry: Evidence, catalog: Catalog) -> bool:
    """Return whether an entry tells plainly that the car was in no crash; the cautious reading.

    Of a story: every crash it names is denied right before the word, it speaks of no record or
    sensor of one, and it repeats nobody else's word.
    """
    if isinstance(entry, Circumstance):
        return entry.what == "crash" and not entry.present
    if not isinstance(entry, Story) or entry.loop is not None:
        return False
    said = catalog.said.stories
    words = re.findall(r"\w+", entry.text.lower())
    named = [n for n, word in enumerate(words) if word in said["crash"]]
    return (
        bool(named)
        and not set(words) & set(said["hearsay"])
        and all(_is_denied_at(n, words, said) for n in named)
    )


def _is_denied_at(n: int, words: list[str], said: dict[str, tuple[str, ...]]) -> bool:
    """Return whether the crash named at a place is denied right before it, and no record of one."""
    before = [w for w in words[max(0, n - 5) : n] if w not in said["crash_filler"]]
    if not before or before[-1] not in said["denied"]:
        return False
    return not set(words[n + 1 : n + 2]) & set(said["crash_record"])


_TOLD_OF_PARTS = {
    "bags-taken-out": ("absent", "told_bags_out_if_fitted"),
    "fault-before": ("before", "told_fault_before_if_not"),
    "earlier-repair": ("unfit", "told_repaired_if_right"),
}


def _told_parts(
    entry: Circumstance, place: int, text: str, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what a word on bags, faults or repairs before the crash says of each part."""
    condition, figure = _TOLD_OF_PARTS[entry.what]
    low = catalog.firing.scans.body[figure].value
    for _, _, _, part in net.parts():
        if not part.kind.fires or (condition == "absent" and part.kind.family != "bag"):
            continue
        hit = np.array([m.condition == condition for m in part.micros])
        values = np.where(hit, 1.0, low) if entry.present else np.where(hit, low, 1.0)
        on = OnComponent(part.id, place, values[None, None, :])
        yield Likelihood(entry.id, part.id, text, parts=(on,), broad=True)


def _exposed_parts(
    entry: Circumstance, place: int, text: str, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what water, fire, heat or salt did to each part named; what fired stays fired.

    Each part is no longer good with the catalogue's share, whatever was usual for it.
    """
    conditions = catalog.firing.conditions
    reached, unnamed = conditions.exposure[entry.what].value, conditions.exposure_unnamed
    elsewhere = 0.0 if entry.parts or entry.what not in unnamed else unnamed[entry.what].value
    below = conditions.exposure_below.get(entry.what)
    line = max((_level(part, catalog) for part in entry.parts), default=-1) if below else -1
    for g, _, _, part in net.parts():
        wet = below.value if below and 0 <= _level(part.id, catalog) < line else elsewhere
        share = reached if is_exposed(part.id, entry) else wet
        if share:
            values, by_class = _exposed_values(part, share)
            sorts = None if part.classes is None else part.classes[net.groups[g].sort]
            events = None if sorts is None else by_class[0] / by_class[sorts]
            on = OnComponent(part.id, place, values[None, None, :])
            yield Likelihood(entry.id, part.id, text, events=events, parts=(on,), broad=True)


def _exposed_values(part: PartModel, share: float) -> tuple[Array, Array]:
    """Return what makes a part damaged with this share, by micro, and its mean by damage class.

    The mean is taken out of the events again: water says nothing of how the car was hit.
    """
    hit = np.array([m.condition == "damaged" for m in part.micros])
    whole = np.array([not m.fired and m.condition not in _STAYS_SO for m in part.micros])
    prior = part.prior[0].mean(axis=0) * whole  # of a car that was not struck
    usual = float(prior @ hit / prior.sum())
    odds = usual * (1.0 - share) / ((1.0 - usual) * share)
    values = np.where(hit, 1.0, odds)
    values = np.where(whole, values, usual + (1.0 - usual) * odds)
    return values, (part.prior @ values).mean(axis=1)


_STAYS_SO = ("before", "not-fitted", *GONE)


def _level(part: str, catalog: Catalog) -> int:
    """Return how high a component or a kind sits, 0 = on the floor; -1 where nobody said so."""
    levels = catalog.said.levels.values()
    names = (part, split_component(part).kind if "." in part else part)
    found = ((n, level) for name in names for n, level in enumerate(levels) if name in level)
    return next(found, (-1, ()))[0]


def weigh_impact(entry: Impact, events: EventTable, catalog: Catalog) -> Array:
    """Return how likely the body looks like this, by row of the event table."""
    floor = catalog.firing.scans.floor
    values = [max(floor, _seen(entry, s, catalog)) for s in events.scenarios]
    return events.by_scenario(np.array(values))


def _seen(entry: Impact, scenario: Scenario, catalog: Catalog) -> float:
    """Return how likely an entry on the body is; another dent may be at any hour."""
    body, hours = catalog.firing.scans.body, HOURS if entry.clock is not None else 1
    if entry.extent == "none":
        quiet = scenario.kind in ("none", "outside")
        return 1.0 if quiet else body["nothing_seen_after_crash"].value
    if scenario.kind == "none":
        return body["impact_seen_without_crash"].value / hours
    if scenario.kind in ("earlier", "outside"):
        earlier = scenario.kind == "earlier"
        name = "dent_of_an_earlier_crash" if earlier else "dent_made_otherwise"
        return body[name].value / hours
    chances = [
        _blow_seen(entry, blow, catalog)
        for order, blow in enumerate(scenario.blows, start=1)
        if entry.order is None or entry.order == order
    ]
    return max(chances, default=body["dent_of_an_earlier_crash"].value / hours)


def _blow_seen(entry: Impact, blow: Blow, catalog: Catalog) -> float:
    result = 1.0
    if entry.zone is not None:
        result *= _zone(entry.zone, blow, catalog)
    if entry.clock is not None:
        result *= float(hours_told(blow.zone, catalog)[entry.clock - 1].sum())
    if entry.extent is not None:
        result *= _extent(entry.extent, blow, catalog)
    return result


def _zone(zone: str, blow: Blow, catalog: Catalog) -> float:
    """Return the chance that this zone is named for a blow; the wrong side is a floor's worth."""
    body, zones = catalog.firing.scans.body, catalog.firing.events.zone
    same_side = [z.name for z in zones if z.side == blow.zone.side]
    if zone == blow.zone.name:
        return body["same_zone"].value if len(same_side) > 1 else 1.0
    if zone in same_side:
        return (1.0 - body["same_zone"].value) / (len(same_side) - 1)
    return catalog.firing.scans.floor


def _extent(extent: Extent, blow: Blow, catalog: Catalog) -> float:
    """Return the density of this severity for an extent, against that of any extent."""
    severity, side = catalog.priors.severity, struck(blow.zone.side, "left")
    speed = np.log(max(blow.speed, 1.0))
    seen, usual = severity.of(side, extent), severity.of(side)
    if seen.extent is None:
        return 1.0
    return float(
        _density(speed, seen.log_mean, seen.log_sd) / _density(speed, usual.log_mean, usual.log_sd)
    )


def _density(value: float, mean: float, sd: float) -> float:
    return float(np.exp(-0.5 * ((value - mean) / sd) ** 2) / sd)


def weigh_return(
    entry: LampCheck, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what a lamp that stays on says of circuits that were called cured."""
    called = circuits_called(entry, net, catalog)
    yield from weigh_called(entry.id, "lamp stays on after the repair", place, called, net)


def weigh_called(
    evidence: str, text: str, place: float, called: dict[tuple[str, int], float], net: Network
) -> Iterator[Likelihood]:
    """Yield that circuits are called good, each this sure."""
    for (component, stage), sure in called.items():
        found = net.find(component)
        if found is not None and stage <= found[1].stages:
            group, part = found
            table = circuit_table(part, group.causes, int(place), 0.0)[:, :, stage - 1]
            on = OnComponent(component, place, values_if_called(table, sure)[None])
            yield Likelihood(evidence, component, text, parts=(on,))


def values_if_called(table: Array, sure: float) -> Array:
    """Return how likely it is that a circuit is called good, this sure: (causes, micros)."""
    good = table[:, :, CIRCUITS.index("good")]
    return np.asarray(good * sure + (1.0 - good) * (1.0 - sure))


_CLOSES = ("reseat:device-plug", "renew:device-plug", "reseat:every-plug")


def _closed_in_vain(entry: TestOutcome, net: Network) -> bool:
    """Return whether a part's own connector was closed, and the fault was there afterwards."""
    return entry.test in _CLOSES and (entry.outcome == NOT_CURED or net.repairs.refutes(entry))


def is_mended_in_vain(look: TestOutcome, place: int, net: Network) -> bool:
    """Return whether a connector was closed in vain after a look: what it showed is not it."""
    later = (e for at, e in net.line.all_of(TestOutcome) if e.loop == look.loop and at > place)
    return look.test == "look:device-plug" and any(_closed_in_vain(e, net) for e in later)


def values_of_repair(
    entry: TestOutcome, table: Array, part: PartModel, net: Network, catalog: Catalog
) -> Array | None:
    """Return what a repair or a drive says of a circuit: (causes, micros); None for nothing.

    A connector that was closed, and the fault was there again, is not what was wrong.
    """
    called = circuits_called(entry, net, catalog)
    values = values_if_called(table, called[split_loop(entry.loop)]) if called else None
    if not _closed_in_vain(entry, net):
        return values
    loose = np.array([m.condition in LOOSE for m in part.micros])
    left = np.where(loose, 1.0 - catalog.firing.scans.tests.good_if_fixed.value, 1.0)
    return left[None] * (1.0 if values is None else values)


LOOKED_AT = {"look:device-plug": "", "look:seat-plug": "seat", "look:column-plug": "wheel"}
_LOOK = "look:{point}"


def values_of_connector(
    entry: TestOutcome, group: Group, part: PartModel, place: int, catalog: Catalog
) -> Array:
    """Return how likely what was seen of a connector is: (causes, micros).

    Its own connector is off, or its shorting bar down; or the one that circuits of the place share.
    """
    name = split_component(part.id)
    chain = catalog.loops.chain(name.kind, name.place)
    circuit = chain.circuit if chain else ""
    (card,) = (t for t in catalog.loops.tests if t.id == _LOOK and circuit in t.circuits)
    every = np.ones((len(group.causes), len(part.micros)))
    missed = every
    for sight in card.sights:
        chance = every * sight.false_alarm
        for at, faults in _seen_at(entry.test, group, part, place):
            finds = [sight.finds.get(f"{{point}}:{f}", sight.false_alarm) for f in faults]
            chance = np.where(at, sum(finds) / len(finds), chance)
        if sight.word == entry.outcome:
            return np.asarray(chance)
        missed = missed - chance
    return missed if entry.outcome == card.clear else every


def _seen_at(
    test: str, group: Group, part: PartModel, place: int
) -> list[tuple[npt.NDArray[np.bool_], tuple[str, ...]]]:
    """Return where a connector is at fault, among (causes, micros), and what that may be to see."""
    if LOOKED_AT[test]:
        shared = f"shared-plug:{group.name}.{LOOKED_AT[test]}"
        active = np.array([c.name == shared and c.active(place) for c in group.causes])
        low = np.array([c.circuit == BAR_DOWN for c in group.causes])
        return [
            ((active & ~low)[:, None], ("not-seated", "bad-contact")),
            ((active & low)[:, None], ("not-seated", "spring-not-lifted")),
        ]
    each = zip(LOOSE, ("not-seated", "spring-not-lifted"), strict=True)
    return [(np.array([m.condition == c for m in part.micros])[None], (f,)) for c, f in each]
