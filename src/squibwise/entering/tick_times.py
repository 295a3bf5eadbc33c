"""When what is ticked may have been done: after the power was last on, and after what it needs."""

import datetime as dt
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from squibwise.catalog.load import Catalog, component_title
from squibwise.history.order import History
from squibwise.history.power import PowerOn, is_powered_since_safe, last_power_on
from squibwise.history.signed import last_seen_bad
from squibwise.model.evidence import DoneWork, Evidence, LampCheck, Passed, SubstituteLoad
from squibwise.model.work import Operation, Work

POWERED_DOWN = ("step:power-down", "step:second-power-down")
_MOVES = {"step:fit-loads": "issued", "step:return-loads": "returned"}


def tell_backdated(
    hands: Collection[Operation], at: dt.datetime | None, history: History, catalog: Catalog
) -> Iterator[str]:
    """Yield hands on the car, a power-down or a wait, dated before the power was last on."""
    on = last_power_on(history, catalog)
    if on is None or on.time is None or at is None or not hands:
        return
    since = on.time.replace(tzinfo=None)
    if at.replace(tzinfo=None) < since:
        numbers = ", ".join(f"no. {o.n}" for o in hands)
        yield (
            f"{numbers}: the power was on at {_day_and_hour(since, at)} ({on.name}), so not before "
            "that. Say when it was: --time YYYY-MM-DDTHH:MM."
        )


def tell_too_early(
    operation: Operation, needed: Collection[Operation], at: dt.datetime | None, history: History
) -> Iterator[str]:
    """Yield that an operation is dated before something that it needs was done."""
    if at is None:
        return
    own = at.replace(tzinfo=None)
    times = [(t, o) for o in needed if o.done and (t := _first_done(o, history)) is not None]
    later = [(t, o.n) for t, o in times if t > own]
    if later:
        last, number = max(later)
        yield (
            f"no. {operation.n} comes after no. {number}, done at {_day_and_hour(last, at)}: "
            "not before that. Say when it was: --time YYYY-MM-DDTHH:MM."
        )


def tell_later_looks(
    entries: Collection[Mapping[str, Any]], history: History, catalog: Catalog
) -> Iterator[str]:
    """Yield looks that are dated later than the new part they speak against: it is asked for again.

    Args:
        entries: What is written down.
        history: Of the case, before it.
        catalog: Look words, and names of the parts.
    """
    for entry in (e for e in entries if e.get("what") == "replaced"):
        place = last_seen_bad(history, entry["component"], catalog)
        look = history.entries[place] if place >= 0 else None
        if look is None or look.time is None or not isinstance(entry.get("time"), dt.datetime):
            continue
        if look.time.replace(tzinfo=None) > entry["time"].replace(tzinfo=None):
            yield (
                f"{look.id} saw the {component_title(entry['component'], catalog)} bad at "
                f"{look.time:%Y-%m-%d %H:%M}, later than this work: so the new part is meant, and "
                f"asked for again. Was it before, correct its time in line {look.origin.line}."
            )


def tell_haste(
    ticked: Collection[Operation],
    todo: Work,
    at: dt.datetime | None,
    history: History,
    catalog: Catalog,
) -> Iterator[str]:
    """Yield where the wait after a power-down is ticked with it, or before it is over."""
    operations = {o.id: o for o in todo.operations}
    again = is_powered_since_safe(history, catalog, at)
    for wait in (o for o in ticked if o.hold_minutes):
        downs = [operations[w] for w in wait.after if w in POWERED_DOWN and w in operations]
        for down in downs:
            told = f"no. {wait.n} comes {wait.hold_minutes} min after no. {down.n}"
            if down in ticked and (again or not down.done):
                yield f"{told}: not in one stroke."
                continue
            off = _last_time_off(down.id, history)
            on = last_power_on(history, catalog, at)
            if off and _is_after(on, off):
                yield f"{told}, and the power was on since ({on.name if on else ''}): off again."
                continue
            over = off + dt.timedelta(minutes=wait.hold_minutes) if off else None
            if over and at and at.replace(tzinfo=None) < over:
                yield (
                    f"{told}: the power came off at {off:%H:%M}, so not before {over:%H:%M}. "
                    "Say when it was: --time YYYY-MM-DDTHH:MM."
                )


def _is_after(on: PowerOn | None, off: dt.datetime) -> bool:
    return on is not None and on.time is not None and on.time.replace(tzinfo=None) > off


def _last_time_off(step: str, history: History) -> dt.datetime | None:
    """Return when a power-down was last written down; None when no time stands with it."""
    times = [
        e.time.replace(tzinfo=None)
        for e in history.entries
        if e.time is not None
        and (
            (isinstance(e, Passed) and e.what in (step, step.removeprefix("step:")))
            or (isinstance(e, DoneWork) and (e.item == step or e.component == "battery"))
        )
    ]
    return max(times, default=None)


def _first_done(operation: Operation, history: History) -> dt.datetime | None:
    """Return when the last of what an operation contains was first done; None = no time stated."""
    words = (operation.id, *operation.demands)
    firsts = [
        min(found)
        for word in words
        if (found := [_time(e) for e in history.entries if e.time and _stands_for(e, word)])
    ]
    return max(firsts, default=None)


def _time(entry: Evidence) -> dt.datetime:
    return (entry.time or dt.datetime.min).replace(tzinfo=None)


def _stands_for(entry: Evidence, word: str) -> bool:
    """Does an entry say that what has this id was done."""
    match entry:
        case Passed():
            return entry.result == "passed" and entry.what in (word, word.removeprefix("step:"))
        case DoneWork():
            return entry.item == word
        case SubstituteLoad():
            return entry.move == _MOVES.get(word)
        case LampCheck():
            return word == "step:lamp-check"
        case _:
            return False


def _day_and_hour(time: dt.datetime, beside: dt.datetime) -> str:
    """Return a time as people say it, with its day where that is another one."""
    return f"{time:%H:%M}" if time.date() == beside.date() else f"{time:%Y-%m-%d %H:%M}"
