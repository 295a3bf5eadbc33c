"""What is believed to have happened to the car."""

from collections.abc import Mapping

from squibwise.catalog.load import Catalog
from squibwise.model.belief import Assessment, EventBelief, SpeedChange
from squibwise.model.names import ComponentName, split_component
from squibwise.present.figures import listed, percent, speed_in
from squibwise.present.phrases import LIKELY, in_words, name, tell_from
from squibwise.present.telling import Section, Table, section

RECORD = "crash-record"
LOOSE_PLUG = "loose-plug"
UNREAD = "unread-report"


def tell_event(event: EventBelief, region: str | None, catalog: Catalog) -> Section:
    """Return what is believed of the event; of a crash only where there likely was one."""
    rows = [("no crash at all", percent(event.no_crash))]
    if event.no_crash < LIKELY:
        rows += _crash(event, region)
    recorded = event.causes.get(RECORD, 0.0)
    if recorded >= catalog.fact("present.named-from").number():
        rows.append(("crash record in the unit", percent(recorded)))
    whole = {k.partition(":")[2]: 1.0 - p for k, p in event.causes.items() if k.startswith(UNREAD)}
    if whole:
        rows.append(
            ("a report shows all", ", ".join(f"{k} {percent(p)}" for k, p in whole.items()))
        )
    return section("What happened", Table(rows=tuple(rows)))


def tell_event_shortly(event: EventBelief, region: str | None) -> str:
    """Return the event in one sentence."""
    if event.no_crash >= LIKELY:
        return f"no crash at all ({percent(event.no_crash)})"
    told = [_struck(event.zones)]
    if event.delta_v_kmh is not None:
        told.append(f"change of speed {tell_speed(event.delta_v_kmh, region)}")
    told += ["rolled over"] if event.rollover >= LIKELY else []
    told += ["struck twice"] if event.second_impact >= LIKELY else []
    return ", ".join(told)


_AREAS = {
    "at the front": ("nose-left", "nose-centre", "nose-right"),
    "in the left side": ("door-left", "pillar-left"),
    "in the right side": ("door-right", "pillar-right"),
    "at the rear": ("tail",),
}


def _struck(zones: dict[str, float]) -> str:
    """Return where the car was struck: the zones, else the side, else that it is open."""
    likely = [in_words(z) for z, p in _ranked(zones) if p >= LIKELY]
    if likely:
        return f"struck {listed(likely)}"
    for words, area in _AREAS.items():
        if sum(zones.get(zone, 0.0) for zone in area) >= LIKELY:
            return f"struck {words}; where exactly is not settled"
    return "a crash; where it was struck is not settled"


def tell_speed(change: SpeedChange, region: str | None) -> str:
    """Return the change of speed with its spread, in the unit of the region."""
    low, middle, high = (speed_in(v, region)[0] for v in (change.p10, change.p50, change.p90))
    unit = speed_in(change.p50, region)[1]
    return f"about {middle:.0f} {unit} ({low:.0f} to {high:.0f})"


def _ranked(chances: dict[str, float]) -> list[tuple[str, float]]:
    return sorted(chances.items(), key=lambda item: (-item[1], item[0]))


def _crash(event: EventBelief, region: str | None) -> list[tuple[str, str]]:
    least = tell_from("named-from")
    struck = ", ".join(f"{z} {percent(p)}" for z, p in _ranked(event.zones) if p >= least)
    rows = [("struck", struck or "none is likely")]
    if event.delta_v_kmh is not None:
        told = tell_speed(event.delta_v_kmh, region)
        rows.append(("change of speed", f"{told.removesuffix(')')} in four of five cases)"))
    seat = ", ".join(f"{in_words(k)} {percent(p)}" for k, p in event.front_passenger.items())
    return [
        *rows,
        ("driver belted", percent(event.driver_belted)),
        ("passenger belted", percent(event.passenger_belted)),
        ("front passenger", seat),
        ("rollover", percent(event.rollover)),
        ("second impact", percent(event.second_impact)),
    ]


def pick_causes(causes: Mapping[str, float], least: float) -> dict[str, float]:
    """Return what may stand behind several codes, from a chance on: what hands can do about it."""
    told = (RECORD, UNREAD)
    return {k: p for k, p in causes.items() if p >= least and not k.startswith(told)}


def rank_causes(causes: Mapping[str, float], least: float) -> list[tuple[str, float]]:
    """Return the causes from a probability on, the likeliest first; a place behind its parts."""
    likely = pick_causes(causes, least)
    return [
        (key, p)
        for key, p in _ranked(likely)
        if not any(other.startswith(f"{key}.") for other in likely)
    ]


def believed_causes(states: Assessment, least: float, catalog: Catalog) -> list[tuple[str, float]]:
    """Return the causes of a car, the likeliest first, but connectors that tracing holds for good.

    What tracing has of the circuits weighs each of their places, and the story of their owner.
    """
    return [
        (k, p)
        for k, p in rank_causes(states.event.causes, least)
        if _is_traced(k, states, least, catalog)
    ]


def _is_traced(key: str, states: Assessment, least: float, catalog: Catalog) -> bool:
    """Return whether tracing too gives a connector so much, if it traces there."""
    word, _, place = key.partition(":")
    if word not in (LOOSE_PLUG, _SHARED_PLUG):
        return True
    whose = place if word == LOOSE_PLUG else f"{place.partition('.')[0]}."
    at = [c.where for c in states.circuits if c.loop.startswith(whose)]
    words = (_SHARED,) if word == _SHARED_PLUG else ("own-connector", _SHARED)
    if not at:
        return _may_be_behind(place, states.event.causes[key], states, catalog)
    return any(sum(w.get(x, 0.0) for x in words) >= least for w in at)


def _may_be_behind(place: str, p: float, states: Assessment, catalog: Catalog) -> bool:
    """Return whether a circuit there fails to read good as often as a connector that is off opens.

    Codes of before the repair are no reason: what was read good since is behind no connector.
    """
    stages = [
        stage
        for c in states.components
        if _runs_through(split_component(c.id), place, catalog)
        for stage in c.stages.values()
    ]
    return not stages or max(s.faulty + s.fired for s in stages) >= LIKELY * p


def _runs_through(part: ComponentName, place: str, catalog: Catalog) -> bool:
    """Return whether a circuit runs through a connector: its own, a seat's, or one of a seat."""
    plug = catalog.kinds[part.kind].plug
    return place in (f"{part.place}.{part.kind}", part.place, f"{part.place}.{plug}")


_SHARED_PLUG, _SHARED = "shared-plug", "shared-connector"


def tell_causes(states: Assessment, catalog: Catalog) -> Section | None:
    """Return the single causes that may stand behind several codes; None when none may."""
    least = catalog.fact("present.named-from").number()
    causes = believed_causes(states, least, catalog)
    rows = tuple((percent(p), tell_cause(key, catalog)) for key, p in causes)
    if not rows:
        return None
    note = "look there before any part is bought"
    return section("One cause behind several codes", Table(rows=rows, right=(0,)), note=note)


def tell_cause(key: str, catalog: Catalog) -> str:
    """Return a cause, written ``<cause>`` or ``<cause>:<place>``, as what to do about it."""
    word, _, place = key.partition(":")
    known = catalog.tasks.causes.get(word)
    where = place.replace(".", " ").replace("-", " ")
    if known is not None:
        return known.title.format(place=f"the {where}" if where else "one connector")
    if "." in place and split_component(place).kind in catalog.kinds:
        where = name(place, catalog)
    if word == LOOSE_PLUG and _shares_connectors(place, catalog):
        return f"A connector in the circuit of the {where} is not seated"
    if word == LOOSE_PLUG:
        return f"The connector of the {where} is not seated"
    return f"{in_words(word)} {where}".strip()


def _shares_connectors(component: str, catalog: Catalog) -> bool:
    """Return whether a circuit has another connector than the part's own before the unit's."""
    part = split_component(component)
    chain = catalog.loops.chain(part.kind, part.place)
    plugs = [e for e in chain.element if e.role == "plug" and e.id != "unit-plug"] if chain else []
    return len(plugs) > 1
