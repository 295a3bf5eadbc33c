"""What is apart now: connectors of an area that was opened, and parts last found off or hidden."""

from squibwise.catalog.load import Catalog
from squibwise.catalog.tasks import Opening
from squibwise.history.order import CURED, History
from squibwise.history.signed import loads_on
from squibwise.model.car import Car
from squibwise.model.evidence import DoneWork, Evidence, Look, Passed, TestOutcome
from squibwise.model.names import SEATS, SIDES, side_of, split_component, split_loop

_OPENED, _TOGETHER = "open:", ("join:", "close:")
_WHOLE = ("step:final-power", "final-power")
PUT_RIGHT = ("reseated", "replaced", "repaired")
Off = Look | DoneWork | TestOutcome


def list_apart(
    history: History, car: Car, catalog: Catalog, before: int | None = None
) -> dict[str, str]:
    """Return the components whose connector is apart, each with what was opened for it.

    Args:
        history: The course of the case.
        car: Its components.
        catalog: For the openings.
        before: Place in the course that is asked of; None = now.
    """
    opened: dict[str, None] = {}
    for place, signed in history.all_of(Passed):
        if (before is not None and place >= before) or signed.result != "passed":
            continue
        action, _, word = signed.what.partition(":")
        if f"{action}:" == _OPENED:
            opened[word] = None
        elif f"{action}:" in _TOGETHER:
            opened.pop(word, None)
        elif signed.what in _WHOLE:
            opened.clear()
    return {c: title for word in opened for c, title in _parted_by(word, car, catalog)}


def find_off(history: History, catalog: Catalog, before: int | None = None) -> dict[str, Off]:
    """Return the parts whose last word is that they are off, cut or hidden, with that entry.

    Nothing that reads good afterwards puts one right: a resistor reads good, and a covered lamp
    stays dark. Only work on that very part does, or an eye that finds it whole; not one of the
    same minute, which contradicts.

    Args:
        history: The course of the case.
        catalog: For the look words.
        before: Place in the course that is asked of; None = now.
    """
    found: dict[str, Off] = {}
    works = dict(history.works)
    for place, entry in enumerate(history.entries[:before]):
        work = works.get(place)
        if work is not None and work.what == "disconnected":
            if "." in work.component:  # not the battery, which has its own steps
                found[work.component] = work
        elif work is not None and work.what in PUT_RIGHT:
            found.pop(work.component, None)
        elif isinstance(entry, Look | TestOutcome):
            component, sight = _see_plug(entry, catalog)
            if sight == "apart":
                found[component] = entry
            elif sight == "whole" and not _is_at_once(found.get(component), entry):
                found.pop(component, None)
    return found


def _see_plug(entry: Look | TestOutcome, catalog: Catalog) -> tuple[str, str]:
    """Return of which part an eye says that it is ``apart`` or ``whole``; else nothing.

    At the bench what is found at a connector says so, its pins alone do not; a word that no card
    knows is one for the worse.
    """
    component = split_loop(entry.component if isinstance(entry, Look) else entry.loop)[0]
    if "." not in component:
        return component, ""
    name = split_component(component)
    if isinstance(entry, Look):
        word = catalog.looks(name.kind).get(entry.seen)
        off = word is not None and word.shows == "apart"
        return component, "apart" if off else ("whole" if entry.seen == "intact" else "")
    action, _, point = entry.test.partition(":")
    chain = catalog.loops.chain(name.kind, name.place)
    test = next((t for t in catalog.loops.tests if t.id == _AT_PLUG), None)
    plugs = {e.id for e in chain.element if e.role == "plug"} if chain else set()
    if entry.outcome in CURED:
        return component, "whole"
    if test is None or action != "look" or point not in plugs:
        return component, ""
    if entry.outcome == test.clear:
        return component, "whole"
    pins = {s.word for s in test.sights if not any(f.endswith(_OFF) for f in s.finds)}
    return component, "" if entry.outcome in pins else "apart"


_AT_PLUG, _OFF = "look:{point}", (":not-seated", ":left-out")


def _is_at_once(off: Off | None, entry: Evidence) -> bool:
    """Return whether two entries state one time, so that neither is the later."""
    return off is not None and off.time is not None and off.time == entry.time


def tell_off(entry: Off) -> str:
    """Return how a part is off, in the word of its entry."""
    if isinstance(entry, Look):
        return entry.seen
    return entry.what if isinstance(entry, DoneWork) else entry.outcome


def find_apart(entry: TestOutcome, place: int, history: History, car: Car, catalog: Catalog) -> str:
    """Return what was open, so that a circuit's connector was apart when an outcome was entered."""
    if loads_on(history, split_loop(entry.loop)):
        return ""
    return list_apart(history, car, catalog, place).get(split_loop(entry.loop)[0], "")


def _parted_by(word: str, car: Car, catalog: Catalog) -> list[tuple[str, str]]:
    """Return what comes apart with an opening by its word, such as ``seat-driver``."""
    name, _, at = word.rpartition("-")
    opening = catalog.tasks.openings.get(word) or catalog.tasks.openings.get(name)
    if opening is None:
        return []
    place = at if opening.id == name else ""
    title = f"{opening.title}, {place}" if place else opening.title
    return [(c, title) for c in find_parted(opening, place, car)]


def find_parted(opening: Opening, at: str, car: Car) -> tuple[str, ...]:
    """Return the components whose connectors come apart when an opening is made at a place."""
    return tuple(
        c
        for c in car.components
        if split_component(c).kind in opening.parts and is_in(c, opening.rows, at, car)
    )


def is_in(component: str, rows: str, at: str, car: Car) -> bool:
    """Does a component lie in these rows, at this seat or side.

    Args:
        component: Component id.
        rows: ``front`` (front seats, pillars), ``rear`` (seats behind), ``door``, ``nose``,
            ``tail``, ``car`` (no seat), a place, or empty for anywhere.
        at: Seat or side; empty = any.
        car: For the side a seat is on.
    """
    place = split_component(component).place
    if at in SEATS and place != at:
        return False
    if at in SIDES and side_of(place, car.drive_hand) not in (at, None):
        return False
    return _is_in_rows(place, rows)


def _is_in_rows(place: str, rows: str) -> bool:
    if rows == "front":
        return place in SEATS[:2] or place.startswith("pillar-")
    if rows == "rear":
        return place in SEATS[2:]
    if rows in ("door", "nose"):
        return place.startswith(f"{rows}-")
    if rows == "car":
        return place not in SEATS
    return rows in ("", place)
