"""Build the model of one car: groups of clusters of parts, hung on the event table."""

from collections.abc import Iterator, Mapping

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.components import find_market, fitted_share, weigh_template, whole_template
from squibwise.catalog.firing import LinkRow, StruckRow
from squibwise.catalog.load import Catalog
from squibwise.history.order import read_history
from squibwise.history.returned import follow_repairs
from squibwise.infer import firing_logic
from squibwise.infer.circuits import list_causes, neighbours
from squibwise.infer.event_table import OTHER_BAGS, EventTable, event_table
from squibwise.infer.firing_logic import FiringLogic, Occupants, firing_logics, occupants_at
from squibwise.infer.network import Cluster, Group, Network
from squibwise.infer.parts import PartModel, Rates, charged_part, has_plug, plain_part
from squibwise.infer.reports import unit_states
from squibwise.infer.sorts import Sorts, sort_events
from squibwise.model.belief import BenchBelief
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, Look
from squibwise.model.names import Side, side_of, split_component, split_loop
from squibwise.model.report import Report

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
UNTESTED = BenchBelief()


def build_network(
    case: Case, catalog: Catalog, shifts: Mapping[str, float], tests: BenchBelief = UNTESTED
) -> Network:
    """Return the model of a case, with learned intercepts of the deployment curves."""
    events, logics, line = (
        event_table(case, catalog, shifts),
        firing_logics(catalog),
        read_history(case.evidence),
    )
    zones = [z.name for z in catalog.firing.events.zone]
    struck = np.array(
        [[z in {b.zone.name for b in s.blows} for z in zones] for s in events.scenarios]
    )
    load, fitted = load_share(case, catalog), fitted_shares(case, catalog)
    gone = frozenset(
        e.component for e in case.evidence if isinstance(e, Look) and e.seen == "missing"
    )
    level = _levels(events, catalog)
    build = Builder(case, catalog, events, logics, load, fitted, struck, level, gone)
    members: dict[str, list[str]] = {}
    for component in case.car.components:
        members.setdefault(group_of(component, case, catalog), []).append(component)
    groups: list[Group] = []
    sorts: dict[bytes, Sorts] = {}
    for name, components in members.items():
        seat = occupants_at(name, events, build.sensed, catalog)
        reasons = list_causes(name, tuple(components), case.car, line, catalog)
        parts = tuple(build_clusters(name, components, seat, build))
        groups.append(sort_events(name, seat, reasons, parts, len(events.weight), sorts))
    alone = (frozenset[str](), frozenset[str]())
    near = dict.fromkeys(case.car.components, alone)
    if line.works:
        near = neighbours(case.car, catalog)
    return Network(
        events,
        logics,
        *unit_states(events, line, catalog),
        tuple(groups),
        line,
        is_closed_up(case, catalog),
        near,
        follow_repairs(line, case.car, catalog),
        tests.weights,
        tests.parts,
        tests.stories,
    )


def load_share(case: Case, catalog: Catalog) -> float:
    """Return the chance that a part that fired or is gone has a load in its circuit.

    In a car that was put back together it is another one than in a car as it was towed in.
    """
    loads = catalog.firing.conditions.loads
    return loads["rebuilt" if is_rebuilt(case) else "untouched"].value


def is_rebuilt(case: Case) -> bool:
    """Return whether somebody says or saw that the car was put back together before."""
    told = {e.what for e in case.evidence if isinstance(e, Circumstance) and e.present}
    seen = any(isinstance(e, Look) and e.seen == RE_COVERED for e in case.evidence)
    return seen or bool(told & {"earlier-repair", "earlier-crash", "bags-taken-out"})


def is_closed_up(case: Case, catalog: Catalog) -> bool:
    """Return whether a part that fired in this crash may look whole: somebody closed the car up.

    Where one part still shows that it fired, nobody did: what was repaired was an earlier crash.
    """
    looks = [e for e in case.evidence if isinstance(e, Look)]
    if any(e.seen == RE_COVERED for e in looks):
        return True
    return is_rebuilt(case) and not any(_shows_spent(e, catalog) for e in looks)


def _shows_spent(look: Look, catalog: Catalog) -> bool:
    words = catalog.looks(split_component(split_loop(look.component)[0]).kind)
    row = words.get(look.seen)
    return row is not None and row.proves_spent


def fitted_shares(case: Case, catalog: Catalog) -> dict[str, float]:
    """Return the chance that the car has a part that nobody stated or saw; 1 is left out."""
    if not case.car.assumed:
        return {}
    year = case.car.model_year
    market = find_market(case.region)
    weights = {n: weigh_template(t, year, market) for n, t in catalog.templates.items()}
    total = sum(weights.values())
    whole = {name: set(whole_template(name, catalog.templates).components) for name in weights}
    seen = {split_loop(c)[0] for c in _named_components(case)}
    shares = {}
    for component in case.car.components:
        having = sum(w for n, w in weights.items() if component in whole[n])
        own = fitted_share(catalog.kinds[split_component(component).kind], year)
        if component not in seen and own is not None:
            shares[component] = own
        elif component not in seen and 0.0 < having < total:
            shares[component] = having / total
    return shares


def _named_components(case: Case) -> Iterator[str]:
    """Yield the components that a look or a code names: what was seen or coded is in the car."""
    for entry in case.evidence:
        if isinstance(entry, Look) and entry.seen not in _NOT_THERE:
            yield entry.component
        elif isinstance(entry, Report):
            yield from (c.component for c in entry.reading.lines if c.component)


_NOT_THERE = ("missing", "not-seen")
RE_COVERED = "re-covered"


BELT_KINDS = (
    "retractor-pretensioner",
    "buckle-pretensioner",
    "lap-pretensioner",
    "load-limiter-charge",
    "inflatable-belt",
)
_LEVELS = ("light", "moderate", "severe")
SEAT_SENSOR = "passenger.occupant-sensor"


class Builder(msgspec.Struct, frozen=True):
    """What every cluster is built from.

    ``struck`` = which zones by scenario; ``level`` = how hard by event; ``gone`` = seen missing.
    """

    case: Case
    catalog: Catalog
    events: EventTable
    logics: tuple[FiringLogic, ...]
    load: float
    fitted: dict[str, float]
    struck: npt.NDArray[np.bool_]
    level: Ints
    gone: frozenset[str]

    @property
    def sensed(self) -> float:
        """Chance that the passenger's seat is sensed, so that the unit knows who sits there."""
        has = SEAT_SENSOR in self.case.car.components
        return self.fitted.get(SEAT_SENSOR, 1.0) if has else 0.0

    def stages(self, component: str) -> int:
        """Return how many circuits a component has."""
        return self.case.car.stages.get(component, 1)


def group_of(component: str, case: Case, catalog: Catalog) -> str:
    """Return the group a component belongs to: its seat, the front seat on its side, or itself."""
    name = split_component(component)
    link = _link(component, case, catalog)
    if link is not None and link != component:
        return group_of(link, case, catalog)
    if name.kind == "curtain":
        return "driver" if name.place == case.car.drive_hand else "passenger"
    is_seat = name.place in ("driver", "passenger") or name.place.startswith("row")
    return name.place if is_seat else component


def _link(component: str, case: Case, catalog: Catalog) -> str | None:
    """Return the charged part that tears this trim, where the car has it."""
    row = _link_row(component, catalog)
    if row is None:
        return None
    place = split_component(component).place
    target = row.by if "." in row.by else f"{place}.{row.by}"
    return target if target in case.car.components else None


def _link_row(component: str, catalog: Catalog) -> LinkRow | None:
    return catalog.firing.link_rows.get(split_component(component).kind)


def build_clusters(
    group: str, components: list[str], seat: Occupants, build: Builder
) -> Iterator[Cluster]:
    """Yield the clusters of a group."""
    links = {c: _link(c, build.case, build.catalog) for c in components}
    by_kind = {split_component(c).kind: c for c in components if split_component(c).number == 1}
    is_front_seat = group in ("driver", "passenger")
    done: set[str] = set()
    if "front-bag" in by_kind and is_front_seat:
        yield _front_cluster(by_kind["front-bag"], seat, links, build)
        done.add(by_kind["front-bag"])
    kinds = tuple(k for k in OTHER_BAGS if k in by_kind)
    if kinds and is_front_seat:
        yield _other_cluster({k: by_kind[k] for k in kinds}, group, seat, links, build)
        done |= {by_kind[k] for k in kinds}
    belted = tuple(by_kind[k] for k in BELT_KINDS if k in by_kind)
    if belted:
        yield _belt_cluster(belted, seat, build)
        done |= set(belted)
    done |= {c for c, by in links.items() if by is not None}
    worn = tuple(c for c in components if c not in done and _is_hurt_in_use(c, build))
    if worn:
        yield _worn_cluster(worn, seat, build)
        done |= set(worn)
    for component in components:
        if component not in done:
            yield _lone_cluster(component, seat, links, build)


def _front_cluster(
    component: str, seat: Occupants, links: dict[str, str | None], build: Builder
) -> Cluster:
    stages = build.stages(component)
    if component.startswith("driver"):
        fires = firing_logic.driver_front(build.events, build.logics, stages, build.catalog)
    else:
        fires = firing_logic.passenger_front(
            build.events, build.logics, seat, build.case.car, stages, build.sensed, build.catalog
        )
    spent = np.eye(stages + 1)
    if component not in links.values():
        return Cluster((_charged(component, spent, build),), fires)
    quiet = _quiet(build.events)[:, None, None, None]
    fires = np.concatenate([fires[..., :1] * quiet, fires[..., :1] * ~quiet, fires[..., 1:]], -1)
    part = _charged(component, spent[[0, *range(stages + 1)]], build)
    trim = _trims(component, np.arange(stages + 2) > 1, links, build)
    return Cluster((part, *trim), fires)


def _quiet(events: EventTable) -> npt.NDArray[np.bool_]:
    """Return in which events nothing struck the front and the car did not roll over."""
    struck = [s.rollover or any(b.zone.side == "front" for b in s.blows) for s in events.scenarios]
    return ~events.holds(struck)


def _other_cluster(
    bags: dict[str, str],
    place: str,
    seat: Occupants,
    links: dict[str, str | None],
    build: Builder,
) -> Cluster:
    kinds = tuple(bags)
    hand = side_of(place, build.case.car.drive_hand)
    side: Side = "left" if hand == "left" else "right"
    fires = firing_logic.other_bags(build.events, seat, kinds, side, build.sensed, build.catalog)
    parts: list[PartModel] = []
    for kind, component in bags.items():
        hit = firing_logic.subset_fires(kinds, kind)
        stages = build.stages(component)
        chance = np.zeros((len(hit), stages + 1))
        chance[:, 0], chance[:, stages] = 1.0 - hit, hit
        parts.append(_charged(component, chance, build))
        parts += _trims(component, hit > 0, links, build)
    return Cluster(tuple(parts), fires)


def _belt_cluster(belted: tuple[str, ...], seat: Occupants, build: Builder) -> Cluster:
    place = split_component(belted[0]).place
    fires = firing_logic.belts(build.events, build.logics, seat, place, build.catalog)
    if place in ("driver", "passenger"):
        front = build.events.front[:, None, None, None]
        fires = np.concatenate(
            [fires[..., :1], fires[..., 1:] * ~front, fires[..., 1:] * front], -1
        )
    follow = build.catalog.firing.events.follow
    parts = []
    for component in belted:
        stages, kind = build.stages(component), split_component(component).kind
        share = follow[kind].value
        goes = np.array([0.0, share, 1.0 if kind == _FIRST_TO_FIRE else share])[: fires.shape[-1]]
        chance = np.zeros((len(goes), stages + 1))
        chance[:, 0], chance[:, stages] = 1.0 - goes, goes
        parts.append(_charged(component, chance, build))
    return Cluster(tuple(parts), fires)


_FIRST_TO_FIRE = "retractor-pretensioner"  # where a seat's belts go with its front bag, it goes


def _lone_cluster(
    component: str, seat: Occupants, links: dict[str, str | None], build: Builder
) -> Cluster:
    """Return a cluster of one part, with the trim it tears."""
    kind = build.catalog.kinds[split_component(component).kind]
    if not kind.fires:
        return _plain_cluster(component, seat, build)
    table = build.catalog.firing.events.charge
    row = next((r for r in table if r.kind == kind.kind), None)
    never = np.array([1.0, 0.0]).reshape(1, 1, 1, 2)
    fires = never if row is None else firing_logic.own_logic(build.events, row)
    stages = build.stages(component)
    chance = np.zeros((2, stages + 1))
    chance[0, 0], chance[1, stages] = 1.0, 1.0
    part = _charged(component, chance, build)
    trim = _trims(component, np.array([False, True]), links, build)
    return Cluster((part, *trim), fires)


def _charged(component: str, chance: Array, build: Builder) -> PartModel:
    """Return a part with charges, which may also have gone off although nothing commanded it."""
    kind = build.catalog.kinds[split_component(component).kind]
    alone = build.catalog.firing.events.chances["goes_off_alone"].value
    fires = (1.0 - alone) * chance
    fires[:, -1] += alone
    return charged_part(component, kind, build.stages(component), _rates(component, build), fires)


def _rates(component: str, build: Builder) -> Rates:
    """Return what a part is like before anything is seen of it, whatever the crash did."""
    kind = build.catalog.kinds[split_component(component).kind]
    conditions = build.catalog.firing.conditions
    own = conditions.plugs["own"].value if has_plug(kind) else 0.0
    bar = conditions.plugs["own_is_shorting_bar"].value
    row = build.catalog.firing.condition_rows[kind.family]
    return Rates(row, (own * (1.0 - bar), own * bar), build.load, build.fitted.get(component, 1.0))


def _trims(
    component: str, fired: npt.NDArray[np.bool_], links: dict[str, str | None], build: Builder
) -> list[PartModel]:
    """Return the trim that a charged part tears, as parts of its cluster."""
    result = []
    for trim, by in links.items():
        row = _link_row(trim, build.catalog)
        if by == component and row is not None:
            kind, rates = build.catalog.kinds[split_component(trim).kind], _rates(trim, build)
            usual = max(rates.row.damaged, _hurt_by_hands(kind.kind, build))
            otherwise = usual if row.otherwise is None else max(usual, row.otherwise.value)
            fitted = build.fitted.get(component, 1.0)
            torn = fitted * row.damaged.value + (1.0 - fitted) * otherwise
            damage = np.where(fired, torn, otherwise)
            damage[0] = usual  # nothing fired and, where that is told apart, no hit from the front
            result.append(plain_part(trim, kind, rates, damage[None, :]))
    return result


def _plain_cluster(component: str, seat: Occupants, build: Builder) -> Cluster:
    """Return a cluster of a part without a charge, with the damage its place may have taken."""
    name = split_component(component)
    kind, rates = build.catalog.kinds[name.kind], _rates(component, build)
    row = _struck_row(component, build)
    classes = None if row is None else _damage_classes(row, name.place, build)
    damage = _damage(row, kind.kind, rates, build)[:, None]
    part = plain_part(component, kind, rates, damage, classes)
    return Cluster((part,), np.ones((1, 1, 1, 1)))


def _struck_row(component: str, build: Builder) -> StruckRow | None:
    """Return what a crash does to parts of this kind; None where nothing by itself."""
    kind = split_component(component).kind
    return next((r for r in build.catalog.firing.conditions.struck if r.kind == kind), None)


def _damage(row: StruckRow | None, kind: str, rates: Rates, build: Builder) -> Array:
    """Return the chance of damage not struck, and in a light, moderate and severe crash."""
    usual = max(rates.row.damaged, _hurt_by_hands(kind, build))
    levels = [] if row is None else [getattr(row, word).value for word in _LEVELS]
    return np.array([usual, *(max(usual, chance) for chance in levels)])


def _is_hurt_in_use(component: str, build: Builder) -> bool:
    """Return whether a crash hurts a part by its belt being worn."""
    row = _struck_row(component, build)
    return row is not None and row.zones == "belt-in-use"


def _worn_cluster(components: tuple[str, ...], seat: Occupants, build: Builder) -> Cluster:
    """Return the parts of a seat that a crash hurts where its belt is worn."""
    parts = []
    for component in components:
        kind, rates = build.catalog.kinds[split_component(component).kind], _rates(component, build)
        damage = _damage(_struck_row(component, build), kind.kind, rates, build)[None, :]
        parts.append(plain_part(component, kind, rates, damage))
    return Cluster(tuple(parts), _use_of_the_belt(seat, build))


def _hurt_by_hands(kind: str, build: Builder) -> float:
    """Return the chance that whoever took out a charge that is gone hurt a part of this kind."""
    if not build.gone:
        return 0.0
    rows = [r for r in build.catalog.firing.conditions.taken if r.kind == kind]
    named = build.gone | {split_component(split_loop(c)[0]).kind for c in build.gone}
    return max((r.damaged.value for r in rows if r.by in named), default=0.0)


def _use_of_the_belt(seat: Occupants, build: Builder) -> Array:
    """Return the chance of a belt unused, and worn in a light, moderate and severe crash."""
    worn = np.array([float(w.split("-")[-1] == "latched") for w in seat.words])
    level = build.level * build.events.holds([bool(s.blows) for s in build.events.scenarios])
    table = np.eye(len(_LEVELS) + 1)
    chance = worn[None, :, None] * table[:, None, :] + (1.0 - worn)[None, :, None] * table[0]
    return np.asarray(chance[level][:, None, :, :])


def _levels(table: EventTable, catalog: Catalog) -> Ints:
    """Return how hard the car was hit, by row: 1 light, 2 moderate, 3 severe."""
    speed, events = table.speed, catalog.firing.events
    harder = (speed >= events.moderate_from_kmh).astype(np.int64)
    return 1 + harder + (speed >= events.severe_from_kmh)


def _damage_classes(row: StruckRow, place: str, build: Builder) -> Ints:
    """Return the damage class of each row: 0 = not struck, then light, moderate, severe."""
    events, level = build.events, build.level
    if row.worse_from_rear:
        rear = events.holds([any(b.zone.side == "rear" for b in s.blows) for s in events.scenarios])
        level = np.minimum(level + rear, len(_LEVELS))
    if row.worse_beside:
        level = np.clip(level + _beside(place, build), 0, len(_LEVELS))
    if row.zones == "other-bags":
        return np.where(events.rollover, len(_LEVELS), np.where(events.others > 0, level, 0))
    zones = build.catalog.firing.events.zone
    reached = [_reaches(row.zones, place, z.name, z.side, build) for z in zones]
    hit = np.asarray(build.struck[:, reached].any(axis=1))
    return np.where(hit[events.scenario], level, 0)


def _beside(place: str, build: Builder) -> Ints:
    """Return by row 1 where a blow struck a part's own side, -1 where the other side only."""
    own = side_of(place, build.case.car.drive_hand)
    if own is None:
        return np.zeros_like(build.level)
    sides = [{b.zone.side for b in s.blows} & {"left", "right"} for s in build.events.scenarios]
    near = build.events.holds([own in found for found in sides])
    far = build.events.holds([bool(found) and own not in found for found in sides])
    return near.astype(np.int64) - far.astype(np.int64)


def _reaches(zones: str, place: str, struck_zone: str, side: str, build: Builder) -> bool:
    """Return whether a blow on a zone reaches a part at a place."""
    if zones == "any":
        return True
    if zones == "front":
        return side == "front"
    if place == struck_zone:
        return True
    hand = side_of(place, build.case.car.drive_hand)
    return side == hand and not place.startswith("nose") and side in ("left", "right")
