"""What may have happened to the body, and what the fitted curves say of each blow."""

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from itertools import combinations, product

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import Events, ZoneRow
from squibwise.catalog.load import Catalog
from squibwise.infer.blows import (
    Blow,
    blows_across,
    chance_of_showing,
    chance_so_mild,
    complete_axes,
    gate_of_measured,
    is_on_one_axis,
    missed_on_one_axis,
    recorded_blows,
    shows_a_crash,
    struck,
    told_axis,
    unrecorded,
    usual_blows,
)
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, Evidence, Impact, Recorder
from squibwise.model.report import Report
from squibwise.numerics.curves import SIDE_CODES, Curve, Hit, probability

Array = npt.NDArray[np.float64]
_CRASH_KINDS = ("crash", "earlier")


class Scenario(msgspec.Struct, frozen=True):
    """One thing that may have happened.

    Attributes:
        kind: ``crash``, ``none``, ``earlier`` (before this damage) or ``outside`` (a charge fired
            without a crash).
        blows: Impacts in order of time.
        weight: Prior weight; all scenarios together sum to one.
    """

    kind: str
    blows: tuple[Blow, ...]
    rollover: bool
    weight: float

    @property
    def speed(self) -> float:
        """Resultant of the worst blow. [km/h]."""
        return max((b.speed for b in self.blows), default=0.0)


def scenarios(case: Case, catalog: Catalog) -> tuple[Scenario, ...]:
    """Return everything that may have happened; two impacts and rollovers only where asked for."""
    events = catalog.firing.events
    kinds = _kinds(case, events, catalog)
    crashes = tuple(_crashes(case, catalog))
    result = []
    for kind, share in kinds.items():
        if kind in _CRASH_KINDS:
            coarse = crashes if kind == "crash" else _coarse(crashes, case, catalog)
            size = 1.0 if kind == "crash" else sum(w for _, _, w in coarse)
            result += [(kind, b, r, share * w / size) for b, r, w in coarse]
        else:
            result.append((kind, (), False, share))
    total = sum(weight for *_, weight in result)
    return tuple(Scenario(kind, b, r, weight / total) for kind, b, r, weight in result)


Crash = tuple[tuple[Blow, ...], bool, float]
Singles = tuple[tuple[Blow, float], ...]


def is_event_told(evidence: Iterable[Evidence]) -> bool:
    """Return whether anything but looks and reports speaks of what happened to the car."""
    return any(isinstance(e, Impact | Recorder | Circumstance) for e in evidence)


def _kinds(case: Case, events: Events, catalog: Catalog) -> dict[str, float]:
    """Return prior shares of kinds of events; a delta-V that was recorded leaves only crashes.

    One below the published lower bound is more often no crash at all than so mild a one.
    """
    told = is_event_told(case.evidence)
    coded = any(isinstance(e, Report) and e.shows_codes for e in case.evidence)
    kinds = events.kinds_if_codes_alone if coded and not told else events.kinds
    shares = {kind: figure.value for kind, figure in kinds.items()}
    recorded, one_axis = _recorded(case), _on_one_axis(case)
    shown = [shows_a_crash(r, catalog) for r in recorded]
    shown += [gate_of_measured(speed, catalog) for speed in one_axis]
    left = 1.0 - max(shown, default=0.0)
    if recorded:
        shares["crash"] *= chance_of_showing(1.0 - left, catalog)
    shares = {k: s if k == "crash" else left * s for k, s in shares.items()}
    total = sum(shares.values())
    return {kind: share / total for kind, share in shares.items() if share}


def _on_one_axis(case: Case) -> list[float]:
    """Return what the change of speed was at least, of recorders that give one axis. [km/h]."""
    recorders = (e for e in case.evidence if isinstance(e, Recorder) and e.method != "estimate")
    axes = ((r.delta_v_long_kmh, r.delta_v_lat_kmh) for r in recorders)
    told = ([v for v in pair if v is not None] for pair in axes)
    return [abs(values[0]) for values in told if len(values) == 1]


def _coarse(crashes: tuple[Crash, ...], case: Case, catalog: Catalog) -> tuple[Crash, ...]:
    """Return one frontal crash per severity, to stand for an earlier crash nobody knows of.

    A recorder whose lengthwise axis showed a crash would leave none of them (`_kinds`). Where it
    gives the axis across alone, they are therefore those that zero on the other would leave.
    """
    usual = tuple(
        c for c in crashes if len(c[0]) == 1 and c[0][0].zone.name == "nose-centre" and not c[1]
    )
    told = [e for e in case.evidence if isinstance(e, Recorder) and is_on_one_axis(e)]
    is_along = any(e.delta_v_long_kmh is not None for e in told)
    if not told or is_along or _recorded(case) or asks_pairs(case):
        return usual
    still = tuple(msgspec.structs.replace(e, delta_v_long_kmh=0.0) for e in told)
    zone, hour = usual[0][0][0].zone, named_hours(case, catalog).get("front")
    return tuple(((b,), False, w) for b, w in _told_blows(zone, still, hour, catalog))


def _crashes(case: Case, catalog: Catalog) -> Iterator[Crash]:
    events = catalog.firing.events
    pair_share = catalog.priors.share("sides", "second-impact").p if asks_pairs(case) else 0.0
    roll_share = events.chances["rollover"].value if asks_rollover(case) else 0.0
    recorded = _recorded(case)
    first = min((e.event for e in case.evidence if isinstance(e, Recorder)), default=1)
    firsts_told = tuple(r for r in recorded if r.event == first)
    lone = () if asks_pairs(case) else tuple(e for e in case.evidence if isinstance(e, Recorder))
    singles = tuple(_singles(firsts_told or lone, case, catalog))
    for blow, weight in _thinned(singles, 2) if pair_share else singles:
        yield (blow,), False, weight * (1.0 - pair_share) * (1.0 - roll_share)
    if roll_share:
        thinned = _thinned(singles, 3)
        struck_first = events.chances["rollover_after_a_blow"].value
        for blow, weight in thinned:
            yield (blow,), True, weight * roll_share * (1.0 - pair_share) * struck_first
        yield (), True, roll_share * (1.0 - pair_share) * (1.0 - struck_first)
    if pair_share:
        later = tuple(r for r in recorded if r.event > first) or firsts_told
        seconds = _thinned(tuple(_singles(later, case, catalog)), 2)
        zones = _pair_zones(case, catalog)
        firsts, seconds = _at(zones, _thinned(singles, 2)), _at(zones, seconds)
        for blows, _, weight in _several(firsts, seconds, pair_share, case, catalog):
            yield blows, False, weight * (1.0 - roll_share)
            if roll_share:
                yield blows, True, weight * roll_share


def _thinned(singles: Singles, most: int) -> Singles:
    """Return few severities per zone in place of all, with the weights of those left out."""
    by_zone: dict[str, list[tuple[Blow, float]]] = {}
    for blow, weight in singles:
        by_zone.setdefault(blow.zone.name, []).append((blow, weight))
    result = []
    for group in by_zone.values():
        for part in np.array_split(np.arange(len(group)), min(most, len(group))):
            rows = [group[i] for i in part]
            result.append((rows[len(rows) // 2][0], sum(w for _, w in rows)))
    return tuple(result)


def _pair_zones(case: Case, catalog: Catalog) -> set[str]:
    """Return the zones that two impacts are followed up on: those named, and one per other side.

    Of equally frequent ones the first by name as if driven on the left: a mirrored car is mirrored.
    """
    named = {e.zone for e in case.evidence if isinstance(e, Impact) and e.zone is not None}
    table = catalog.firing.events.zone
    sides = {z.side for z in table if z.name in named}
    rest: dict[str, str] = {}
    own = {z.name: _as_left_hand_drive(z, case.car, catalog) for z in table}
    for zone in sorted(table, key=lambda z: (-own[z.name].share, own[z.name].name)):
        if zone.side not in sides:
            rest.setdefault(zone.side, zone.name)
    return named | set(rest.values())


def _at(zones: set[str], singles: Singles) -> Singles:
    return tuple(s for s in singles if s[0].zone.name in zones)


def _several(
    firsts: Singles, seconds: Singles, share: float, case: Case, catalog: Catalog
) -> Iterator[Crash]:
    """Return two impacts on different sides, and three where as many sides are named."""
    named = {e.zone for e in case.evidence if isinstance(e, Impact) and e.zone is not None}
    sides = {z.side for z in catalog.firing.events.zone if z.name in named}
    third = catalog.firing.events.chances["third_impact"].value if len(sides) > 2 else 0.0
    yield from _pairs(firsts, seconds, share * (1.0 - third))
    if third:
        yield from _triples(firsts, seconds, share * third, named)


def _triples(firsts: Singles, seconds: Singles, share: float, named: set[str]) -> Iterator[Crash]:
    """Return three impacts on different sides, those on the zones named alone; the last two alike.

    Their weights are what is theirs of the share of all such threes.
    """
    total = 0.0
    kept: list[tuple[tuple[Blow, ...], float]] = []
    for (a, wa), ((b, wb), (c, wc)) in product(firsts, combinations(seconds, 2)):
        if len({a.zone.side, b.zone.side, c.zone.side}) > 2:
            total += wa * wb * wc
            if {a.zone.name, b.zone.name, c.zone.name} <= named:
                kept.append(((a, b, c), wa * wb * wc))
    for blows, weight in kept:
        yield blows, False, share * weight / total


def _pairs(firsts: Singles, seconds: Singles, share: float) -> Iterator[Crash]:
    """Return two impacts on different sides, in order."""
    pairs = [
        ((a, b), wa * wb) for a, wa in firsts for b, wb in seconds if a.zone.side != b.zone.side
    ]
    total = sum(w for _, w in pairs)
    for blows, weight in pairs:
        yield blows, False, share * weight / total


def _singles(
    recorders: tuple[Recorder, ...], case: Case, catalog: Catalog
) -> Iterator[tuple[Blow, float]]:
    """Return one impact on each zone, as hard as usual or as recorded.

    Entries that give one event different speeds are weighed alike, in whatever order they stand. Of
    one that gives the axis of the struck side alone, the other axis is as usual.
    """
    sides = {s: catalog.priors.share("sides", s).p for s in ("front", "left", "right", "rear")}
    total, hours = sum(sides.values()), named_hours(case, catalog)
    for zone in catalog.firing.events.zone:
        own = _as_left_hand_drive(zone, case.car, catalog)
        share = sides[own.side] / total * own.share
        blows = _told_blows(zone, recorders, hours.get(zone.side), catalog)
        yield from ((b, share * w) for b, w in blows)


def _told_blows(
    zone: ZoneRow, recorders: tuple[Recorder, ...], hour: int | None, catalog: Catalog
) -> Iterator[tuple[Blow, float]]:
    """Yield the blows on a zone that recorders tell of, or usual ones, and their shares.

    The shares sum to one, or to less where one axis shows less than most crashes leave.
    """
    whole = [r for r in recorders if None not in (r.delta_v_long_kmh, r.delta_v_lat_kmh)]
    lone = [c for c in (tuple(complete_axes(r, zone, catalog)) for r in recorders) if c]
    several = [((r, 1.0),) for r in whole] or lone
    missed = unrecorded(tuple(whole), catalog)
    if lone and not whole:
        told_so = (r for r in recorders if told_axis(r, zone.side) is not None)
        missed = float(np.mean([missed_on_one_axis(r, catalog) for r in told_so]))
    for told in several:
        for recorder, share in told:
            size = (
                share
                / len(several)
                * (1.0 - missed if whole else chance_so_mild(recorder, catalog))
            )
            blows = recorded_blows(zone, recorder, catalog, is_completed=not whole)
            yield from ((b, size * w) for b, w in blows)
    across = [] if whole or lone else [r for r in recorders if is_on_one_axis(r)]
    for recorder in across:
        blows = blows_across(zone, recorder, catalog)
        yield from ((b, w / len(across)) for b, w in blows)
    if across or not missed:
        return
    for blow, share in usual_blows(zone, hour, catalog):
        yield msgspec.structs.replace(blow, is_missed=bool(lone) and not whole), missed * share


def _as_left_hand_drive(zone: ZoneRow, car: Car, catalog: Catalog) -> ZoneRow:
    """Return the zone that this one would be were the driver on the left, as in the data."""
    if car.drive_hand == "left":
        return zone
    words = {"left": "right", "right": "left"}
    name = "-".join(words.get(word, word) for word in zone.name.split("-"))
    return next(z for z in catalog.firing.events.zone if z.name == name)


def named_hours(case: Case, catalog: Catalog) -> dict[str, int]:
    """Return the one hour that was named of blows on each side; a side of several is left out."""
    sides = {z.name: z.side for z in catalog.firing.events.zone}
    found: dict[str, set[int]] = {}
    for e in case.evidence:
        if isinstance(e, Impact) and e.clock and e.zone in sides:
            found.setdefault(sides[e.zone], set()).add(e.clock)
    return {side: hours.pop() for side, hours in sorted(found.items()) if len(hours) == 1}


def _recorded(case: Case) -> list[Recorder]:
    """Return recorders with both axes of a delta-V, by event; one axis alone is evidence only."""
    found = [
        e
        for e in case.evidence
        if isinstance(e, Recorder)
        and e.delta_v_long_kmh is not None
        and e.delta_v_lat_kmh is not None
    ]
    return sorted(found, key=lambda e: (e.event, e.id))


def asks_pairs(case: Case) -> bool:
    """Return whether anything tells where or how hard a second impact was.

    Of one that was only counted the curves know as much: cars struck twice are among their data.
    """
    zones = {e.zone for e in case.evidence if isinstance(e, Impact) and e.zone}
    for entry in case.evidence:
        if isinstance(entry, Impact) and (entry.order or 1) > 1:
            return True
        if isinstance(entry, Recorder) and entry.event > 1:
            return True
    return len({_side_word(z) for z in zones}) > 1


def _side_word(zone: str) -> str:
    return "front" if zone.startswith("nose") else zone.rpartition("-")[2]


def asks_rollover(case: Case) -> bool:
    """Return whether anything tells of a rollover."""
    for entry in case.evidence:
        if isinstance(entry, Circumstance) and entry.what == "rollover" and entry.present:
            return True
        if isinstance(entry, Recorder) and entry.rollover:
            return True
    return False


HANDS = ("left", "right")


def hand_hit(scenario: Scenario) -> str | None:
    """Return the hand of the harder hit from a side, of two alike the first; None without one."""
    hits = [b for b in scenario.blows if b.zone.side in HANDS]
    return max(hits, key=lambda b: b.speed).zone.side if hits else None


FRONT_CURVE, OTHER_CURVE = "driver-front-bag", "own-side-bags"
_NO_AND_YES = np.array([0.0, 1.0])[:, None, None, None]


class BlowChances(msgspec.Struct, frozen=True):
    """Chances after one blow.

    Attributes:
        front: Of the driver's front bag, unlatched and latched.
        others: Of the other bags of the seat on each hand, given that the front bag did not and
            did fire, unlatched and latched: (hand, front, belt).
    """

    front: Array
    others: Array


def blow_chances(
    blows: set[Blow], car: Car, catalog: Catalog, shifts: Mapping[str, float]
) -> dict[Blow, BlowChances]:
    """Return the chances after every blow; all alike on one side are computed at once."""
    result: dict[Blow, BlowChances] = {}
    alike: dict[tuple[str, bool, int], list[Blow]] = {}
    for blow in blows:
        corner = blow.zone.clock if blow.hour else 0
        alike.setdefault((blow.zone.side, blow.forward is None, corner), []).append(blow)
    for (side, *_), group in alike.items():
        front, others = _side_chances(side, group, car, catalog, shifts)
        for index, blow in enumerate(group):
            result[blow] = BlowChances(blow.gate * front[index], blow.gate * others[:, :, index])
    return result


def _side_chances(
    side: str, blows: list[Blow], car: Car, catalog: Catalog, shifts: Mapping[str, float]
) -> tuple[Array, Array]:
    """Return chances of front bags (blow, belt) and of others (hand, front, blow, belt)."""
    curves = catalog.priors.curves
    forward, lateral, weight = directions(side, blows, catalog)
    year = np.nan if car.model_year is None else float(car.model_year)

    def chance(curve: str, hand: str, given: Array | None = None) -> Array:
        return _averaged(
            curves[curve],
            struck(side, hand),
            (forward, lateral, weight),
            year,
            given,
            shifts.get(curve, 0.0),
        )

    front = chance(FRONT_CURVE, car.drive_hand)
    hands = HANDS if side in HANDS else HANDS[:1]
    others = [chance(OTHER_CURVE, hand, _NO_AND_YES) for hand in hands]
    return front, np.array(others if len(hands) > 1 else others * 2)


def _averaged(
    curve: Curve,
    side: str,
    blow: tuple[Array, Array, Array],
    year: float,
    given: Array | None,
    shift: float,
) -> Array:
    """Return a curve's chance averaged over directions: (blow, belt), below axes of its own."""
    forward, lateral, weight = blow
    belted = np.array([0.0, 1.0])[None, :, None]
    hit = Hit(
        side=float(SIDE_CODES[side]),
        forward_kmh=forward[:, None, :],
        lateral_kmh=lateral[:, None, :],
        model_year=year,
        belted=belted,
    )
    return np.asarray(probability(curve, hit, given, shift) @ weight)


def directions(side: str, blows: list[Blow], catalog: Catalog) -> tuple[Array, Array, Array]:
    """Return forward loss and lateral change of blows on one side: (blow, direction), weights."""
    recorded = [b for b in blows if b.forward is not None]
    if recorded:
        forward = np.array([[b.forward or 0.0] for b in blows])
        lateral = np.array([[b.lateral or 0.0] for b in blows])
        return forward, lateral, np.ones(1)
    usual = catalog.priors.severity.directions(struck(side, "left"))
    angle, speed = np.radians(usual.degrees), np.array([[b.speed] for b in blows])
    along, across = speed * np.cos(angle), speed * np.abs(np.sin(angle))
    weight = _weigh_directions(np.array(usual.weight), blows, catalog)
    if side in HANDS:
        return across, along, weight
    return (-along if side == "rear" else along), across, weight


HOURS = 12
_AXES, _HOUR_DEGREES = {"front": 12, "right": 3, "rear": 6, "left": 9}, 30.0


@lru_cache(maxsize=64)
def hours_told(zone: ZoneRow, catalog: Catalog) -> Array:
    """Return how often each hour is named for a blow on a zone, by its direction: (hours, D).

    Sums to one: the usual directions of the data, each read off the clock with the spread of a
    person's eye, and now and then any hour. Row 0 is one o'clock.
    """
    usual, events = catalog.priors.severity.directions(struck(zone.side, "left")), catalog.firing
    degrees, weight = np.array(usual.degrees), np.array(usual.weight)
    apart = (np.arange(1, HOURS + 1) - _AXES[zone.side] + HOURS // 2 - 1) % HOURS - HOURS // 2 + 1
    seen = _HOUR_DEGREES * {"right": -1.0}.get(zone.side, 1.0) * apart
    told = np.zeros((HOURS, len(degrees)))
    for sign, share in _hands_of(zone, catalog):
        near = (seen[:, None] - sign * degrees + 180.0) % 360.0 - 180.0
        hour = np.exp(-0.5 * (near / events.events.clock_spread_degrees) ** 2)
        told += share * hour / hour.sum(axis=0)
    wrong = events.scans.body["clock_other"].value
    return np.asarray(weight * ((1.0 - HOURS * wrong) * told + wrong))


def _hands_of(zone: ZoneRow, catalog: Catalog) -> tuple[tuple[float, float], ...]:
    """Return to which hand of its side's axis a blow on a zone points, and how often.

    On a side the data have the share of forward loss; a corner is mostly struck from its own hand.
    """
    if zone.side in HANDS:
        return ((1.0, 1.0),)
    leans = (zone.clock - _AXES[zone.side] + HOURS // 2) % HOURS - HOURS // 2
    own = catalog.firing.scans.body["corner_from_its_hand"].value if leans else 0.5
    return ((float(np.sign(leans)) or 1.0, own), (-float(np.sign(leans)) or -1.0, 1.0 - own))


def _weigh_directions(usual: Array, blows: list[Blow], catalog: Catalog) -> Array:
    """Return the weights of the usual directions, drawn towards the hour that somebody named."""
    (told,) = {(b.hour, b.zone.clock) if b.hour else (None, 0) for b in blows}
    if told[0] is None:
        return usual
    weight = hours_told(blows[0].zone, catalog)[told[0] - 1]
    return np.asarray(weight / weight.sum())
