"""Show what is believed to have happened to the car."""

from rich.console import RenderableType

from squibwise.catalog.load import Catalog, component_title
from squibwise.cli import page
from squibwise.model.belief import EventBelief
from squibwise.model.names import split_component

LIKELY = 0.5
WORTH = 0.1  # causes are named from here
RECORD = "crash-record"
LOOSE_PLUG = "loose-plug"


def blocks(event: EventBelief) -> list[RenderableType]:
    """Return what is believed of the event; of a crash only where there likely was one."""
    table = [("no crash at all", page.percent(event.no_crash))]
    if event.no_crash < LIKELY:
        table += _crash(event)
    recorded = event.causes.get(RECORD, 0.0)
    table += [("crash record in the unit", page.percent(recorded))] if recorded >= WORTH else []
    return [page.heading("What happened"), page.rows(table)]


def causes(event: EventBelief, catalog: Catalog) -> list[RenderableType]:
    """Return the single causes that may stand behind several codes; nothing when none may."""
    likely = {k: p for k, p in event.causes.items() if p >= WORTH and k != RECORD}
    ranked = sorted(likely.items(), key=lambda item: -item[1])
    table = [
        (page.percent(p), in_words(key, catalog))
        for key, p in ranked
        if not any(other.startswith(f"{key}.") for other in likely)
    ]
    head = page.heading("One cause behind several codes", "look there before any part is bought")
    return [head, page.rows(table, right=(0,))] if table else []


def in_words(key: str, catalog: Catalog) -> str:
    """Return a cause, written ``<cause>`` or ``<cause>:<place>``, as what to do about it."""
    word, _, place = key.partition(":")
    known = catalog.tasks.causes.get(word)
    where = place.replace(".", " ").replace("-", " ")
    if known is not None:
        return known.title.format(place=f"the {where}" if where else "one connector")
    if "." in place and split_component(place).kind in catalog.kinds:
        where = component_title(place, catalog)
    if word == LOOSE_PLUG:
        return f"The plug of the {where} is not seated"
    return f"{word.replace('-', ' ')} {where}".strip()


def _crash(event: EventBelief) -> list[tuple[str, str]]:
    zones = sorted(event.zones.items(), key=lambda item: -item[1])
    struck = ", ".join(f"{z} {page.percent(p)}" for z, p in zones if p >= 0.1) or "none is likely"
    table = [("struck", struck)]
    if event.delta_v_kmh is not None:
        speed = event.delta_v_kmh
        spread = f"{speed.p50:.0f} km/h ({speed.p10:.0f} to {speed.p90:.0f} in four of five cases)"
        table.append(("change of speed", spread))
    seat = ", ".join(f"{k} {page.percent(p)}" for k, p in event.front_passenger.items())
    return [
        *table,
        ("driver belted", page.percent(event.driver_belted)),
        ("passenger belted", page.percent(event.passenger_belted)),
        ("front passenger", seat),
        ("rollover", page.percent(event.rollover)),
        ("second impact", page.percent(event.second_impact)),
    ]
