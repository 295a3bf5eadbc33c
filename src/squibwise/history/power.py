"""When the power was on, off and waited out, by what is written down."""

import datetime as dt

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.order import POWER_DOWNS, History
from squibwise.model.evidence import DoneWork, Evidence, LampCheck, Passed
from squibwise.model.origin import Time
from squibwise.model.report import Report

KEY_ON_GATES = ("key-on-safe", "power-safe")
"""Gates of which one is signed before something is tried with the power on."""
_KEY_ON = ("read", "prove", "final")
_NO_POWER = ("papers",)
SETTING = ":calibrate"
MADE_SAFE = ("step:make-safe", "make-safe", "step:second-make-safe", "second-make-safe")


class PowerOn(msgspec.Struct, frozen=True, kw_only=True):
    """Something that needs the key on, as it was written down.

    Attributes:
        place: Its place in the course of the case.
        time: When it was; None = not stated.
        name: What it is called: its number on the work list, or what it is.
    """

    place: int
    time: Time | None
    name: str


def list_power_on(history: History, catalog: Catalog) -> tuple[PowerOn, ...]:
    """Return everything that was done with the key on, in order."""
    named = ((n, e, _name_power_on(e, catalog)) for n, e in enumerate(history.entries))
    return tuple(PowerOn(place=n, time=e.time, name=name) for n, e, name in named if name)


def _name_power_on(entry: Evidence, catalog: Catalog) -> str:
    """Return the name of what needs the key on; empty where an entry does not."""
    if isinstance(entry, LampCheck):
        return f"no. {catalog.tasks.steps['lamp-check'].number}, the lamp"
    if isinstance(entry, Report) and entry.when == "after-repair" and entry.time is not None:
        return f"no. {catalog.tasks.steps['final-scan'].number}, the scan"
    if isinstance(entry, DoneWork) and entry.what == "cleared" and entry.component == "codes":
        return f"no. {catalog.tasks.steps['clear'].number}"
    if not isinstance(entry, Passed) or entry.result != "passed":
        return ""
    if entry.what.endswith(SETTING):
        return "a setting"
    step = catalog.tasks.steps.get(entry.what.removeprefix("step:"))
    is_on = step is not None and step.phase in _KEY_ON and step.id not in _NO_POWER
    return f"no. {step.number}" if step is not None and is_on else ""


def last_power_on(
    history: History, catalog: Catalog, at: dt.datetime | None = None
) -> PowerOn | None:
    """Return the last thing that was done with the key on, no later than a time; else None."""
    found = [p for p in list_power_on(history, catalog) if _is_by(p.time, at)]
    return found[-1] if found else None


def _is_by(time: Time | None, at: dt.datetime | None) -> bool:
    """Is a time no later than another; what states no time counts, and None is now."""
    return time is None or at is None or time.replace(tzinfo=None) <= at.replace(tzinfo=None)


def is_powered_since_safe(
    history: History, catalog: Catalog, at: dt.datetime | None = None
) -> bool:
    """Was the power switched on after the car was last made safe, so that no hand may go in.

    Args:
        history: The course of the case.
        catalog: Which steps need the key on.
        at: What is judged; what came after it does not count. None = now.
    """
    on = last_power_on(history, catalog, at)
    return on is not None and last_made_safe(history, at) < on.place


def is_powered_down(history: History, catalog: Catalog, at: dt.datetime | None = None) -> bool:
    """Is the power off since it was last on, whether or not the wait was signed as over."""
    on, off = last_power_on(history, catalog, at), last_power_down(history, at)
    if on is None or off is None or on.place < history.entries.index(off):
        return off is not None
    return off.time is not None and on.time == off.time  # signed in one go: it came off last


def find_power_off(history: History, catalog: Catalog) -> dt.datetime | None:
    """Return when the power came off that is off now; None = it is on, or no time stands."""
    off = last_power_down(history)
    is_off = is_powered_down(history, catalog)
    return off.time.replace(tzinfo=None) if is_off and off is not None and off.time else None


def last_made_safe(history: History, at: dt.datetime | None = None) -> int:
    """Return the place at which the power was last off and waited out, by a time; -1 = never."""
    places = [n for n, e in enumerate(history.entries) if _made_safe(e) and _is_by(e.time, at)]
    return max(places, default=-1)


def _made_safe(entry: Evidence) -> bool:
    if isinstance(entry, DoneWork):
        return entry.component == "battery" and entry.what == "disconnected"
    return isinstance(entry, Passed) and entry.result == "passed" and entry.what in MADE_SAFE


def last_power_down(history: History, at: dt.datetime | None = None) -> Evidence | None:
    """Return the last entry, by a time, that says that the power came off; None when none does."""
    found = [e for e in history.entries if _powered_down(e) and _is_by(e.time, at)]
    return found[-1] if found else None


def _powered_down(entry: Evidence) -> bool:
    if isinstance(entry, DoneWork):
        return entry.component == "battery" and entry.what == "disconnected"
    return isinstance(entry, Passed) and entry.result == "passed" and entry.what in POWER_DOWNS


ASK_WAIT = "Write the maker's wait for this car in minutes."


def doubt_wait(minutes: float, catalog: Catalog) -> str:
    """Return why a stated wait is none that a maker asks for; empty when it may be one.

    Hands would be in a live car: whoever is just writing it is refused, and where it stands in a
    case file the longest published one stays.
    """
    shortest = catalog.fact("require.shortest-wait").number()
    if minutes * 60 >= shortest:
        return ""
    return f"A wait of {minutes:g} min is shorter than any published one ({shortest:g} s)"
