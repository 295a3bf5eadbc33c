"""Show what is believed to have happened to the car."""

from rich.console import RenderableType

from squibwise.cli import page
from squibwise.model.belief import EventBelief

LIKELY = 0.5


def blocks(event: EventBelief) -> list[RenderableType]:
    """Return what is believed of the event; of a crash only where there likely was one."""
    table = [("no crash at all", page.percent(event.no_crash))]
    if event.no_crash < LIKELY:
        table += _crash(event)
    table += [(k, page.percent(p)) for k, p in event.causes.items() if p >= 0.1]
    return [page.heading("What happened"), page.rows(table)]


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
