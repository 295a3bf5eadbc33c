"""Common causes inside one group: a plug shared by several circuits, or the clock spring."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.infer.timeline import Timeline
from squibwise.model.car import Car
from squibwise.model.evidence import DoneWork
from squibwise.model.names import split_component
from squibwise.model.report import Report

_BESIDES = {
    "wheel": ("driver.steering-wheel", "driver.steering-column", "driver.clock-spring"),
    "seat": ("seat-frame", "seat-foam-cover"),
}
_DISTURBS = ("disconnected", "replaced", "repaired")
_HEALS = ("reseated", "repaired", "replaced")
_EVER = 1 << 30
_MOST_READINGS = 8
SPRING = "clock-spring"


class Cause(msgspec.Struct, frozen=True):
    """One common cause.

    Attributes:
        name: ``none``, ``shared-plug:<place>.<plug>`` or ``clock-spring``.
        members: Components whose circuits it opens.
        weight: Prior chance; of the clock spring, what turns its part's prior into its own.
        opens: Chance that it opens any one of its circuits.
        start: Place in time from which it is there.
        end: Place in time at which it is gone.
        reading: Component meant by each line of a report that may mean one of several here:
            ((report, line), component).
    """

    name: str
    members: frozenset[str]
    weight: float
    opens: float
    start: int = -1
    end: int = _EVER
    reading: tuple[tuple[tuple[str, int], str], ...] = ()

    def active(self, place: int) -> bool:
        """Return whether it is there at a place in time."""
        return self.start < place < self.end


def causes(
    group: str, components: tuple[str, ...], car: Car, line: Timeline, catalog: Catalog
) -> tuple[Cause, ...]:
    """Return the common causes that a case gives reason to think of, ``none`` first.

    Each comes once per way to read the lines that may mean one of several components here.
    """
    found = [c for plug in _plugs(group, car, catalog) for c in _plug_causes(plug, line, catalog)]
    rest = 1.0 - sum(c.weight for c in found)
    found.insert(0, Cause(name="none", members=frozenset(), weight=rest, opens=0.0))
    if group == "driver":
        found += _spring_causes(rest, car, line, catalog)
    readings = _readings(frozenset(components), line)
    return tuple(
        msgspec.structs.replace(cause, weight=cause.weight * share, reading=reading)
        for cause in found
        for share, reading in readings
    )


Reading = tuple[tuple[tuple[str, int], str], ...]


def _readings(components: frozenset[str], line: Timeline) -> list[tuple[float, Reading]]:
    """Return every way to read the lines that mean one of several components of a group."""
    readings: list[tuple[float, Reading]] = [(1.0, ())]
    for entry in line.entries:
        for code in entry.reading.lines if isinstance(entry, Report) else ():
            meant = [c for c in code.candidates if c.component in components]
            inside = len(meant) == len(code.candidates) and len({c.component for c in meant}) > 1
            if not inside or len(readings) * len(meant) > _MOST_READINGS:
                continue
            total = sum(c.weight for c in meant)
            readings = [
                (share * c.weight / total, (*known, ((entry.id, code.line), c.component or "")))
                for share, known in readings
                for c in meant
            ]
    return readings


class Plug(msgspec.Struct, frozen=True):
    """A junction that circuits of one place share."""

    name: str
    members: frozenset[str]
    nearby: frozenset[str]


def _plugs(group: str, car: Car, catalog: Catalog) -> list[Plug]:
    """Return the plugs of a group that at least two circuits share."""
    by_plug: dict[str, list[str]] = {}
    for component in car.components:
        name = split_component(component)
        kind = catalog.kinds[name.kind]
        shared = kind.circuit and kind.plug in ("seat", "wheel", "pillar")
        wheel = kind.plug == "wheel"
        if wheel and (group != "driver" or kind.kind == "clock-spring"):
            continue
        if name.place == group and shared:
            by_plug.setdefault(kind.plug, []).append(component)
    plugs = []
    for plug, members in by_plug.items():
        circuits = sum(car.stages.get(m, 1) for m in members)
        if circuits > 1:
            nearby = {b if "." in b else f"{group}.{b}" for b in _BESIDES.get(plug, ())}
            plugs.append(Plug(f"{group}.{plug}", frozenset(members), frozenset(nearby)))
    return plugs


def _plug_causes(plug: Plug, line: Timeline, catalog: Catalog) -> list[Cause]:
    if not _asked(plug.members, line):
        return []
    chances = catalog.firing.conditions.plugs
    works = line.works_on(plug.members | plug.nearby)
    name, opens = f"shared-plug:{plug.name}", chances["opens_a_circuit"].value
    found = _with_healing(Cause(name, plug.members, chances["shared"].value, opens), works, catalog)
    disturbed = [at for at, w in works if w.what in _DISTURBS]
    if disturbed:
        weight = chances["shared_after_work"].value
        later = Cause(name, plug.members, weight, opens, start=disturbed[0])
        found += _with_healing(later, works, catalog)
    return found


def _spring_causes(rest: float, car: Car, line: Timeline, catalog: Catalog) -> list[Cause]:
    """Return the clock spring as a cause; its own chance sits in the part's prior."""
    bag, spring = "driver.front-bag", "driver.clock-spring"
    if bag not in car.components or spring not in car.components:
        return []
    if not _asked(frozenset({bag}), line):
        return []
    plugs = catalog.firing.conditions.plugs
    opens = plugs["spring_opens_a_circuit"].value
    ends = [at for at, w in line.works_on(frozenset({spring})) if w.what == "replaced"]
    worked = line.works_on(frozenset({bag, *_BESIDES["wheel"]}))
    share = plugs["spring_faulty_after_work" if worked else "spring_faulty"].value
    row = catalog.firing.condition_rows["wiring"]
    usual = row.open + row.low + row.leak + row.other
    weight = rest * share / (1.0 - share) * (1.0 - usual) / usual
    return [Cause(SPRING, frozenset({bag}), weight, opens, end=min(ends, default=_EVER))]


def _with_healing(
    cause: Cause, works: tuple[tuple[int, DoneWork], ...], catalog: Catalog
) -> list[Cause]:
    """Return the cause split into healed by a later reseating, and still there."""
    ends = [at for at, w in works if w.what in _HEALS and at > cause.start]
    if not ends:
        return [cause]
    heals = catalog.firing.conditions.work["reseat_heals"].value
    name, members, opens, start = cause.name, cause.members, cause.opens, cause.start
    return [
        Cause(name, members, cause.weight * heals, opens, start, ends[-1]),
        Cause(name, members, cause.weight * (1.0 - heals), opens, start),
    ]


def _asked(members: frozenset[str], line: Timeline) -> bool:
    """Return whether a code was found on, or work was done on, any of these components."""
    if line.works_on(members):
        return True
    return any(
        candidate.component in members
        for entry in line.entries
        if isinstance(entry, Report)
        for code in entry.reading.lines
        for candidate in code.candidates
    )


def neighbours(component: str, car: Car, catalog: Catalog) -> tuple[frozenset[str], frozenset[str]]:
    """Return the components on the same plug as one, and those beside it at the same place."""
    place = split_component(component).place
    beside = frozenset(c for c in car.components if c != component and c.startswith(f"{place}."))
    for plug in _plugs(place, car, catalog):
        if component in plug.members:
            mates = (plug.members | plug.nearby) - {component}
            return mates, beside - mates
    return frozenset(), beside if place != "centre" else frozenset()
