"""What was told of the crash itself: late, commanded, denied, and what it says of the unit."""

from itertools import pairwise

from squibwise.history.order import History, last_touch, replacements
from squibwise.history.signed import (
    CONTROL_UNIT,
    NO_POWER,
    label_of,
)
from squibwise.model.evidence import (
    Circumstance,
    Evidence,
    Impact,
    LampCheck,
    Look,
    Reading,
    Recorder,
    SeatTrial,
    TestOutcome,
)
from squibwise.model.names import split_loop
from squibwise.model.report import Report

_UNIT = f"centre.{CONTROL_UNIT}"
_OBSERVED = (
    Circumstance,
    Impact,
    LampCheck,
    Look,
    Reading,
    Recorder,
    Report,
    SeatTrial,
    TestOutcome,
)


def late_events(history: History) -> tuple[Evidence, ...]:
    """Return what tells of an event, dated after the car was already being put together again.

    An impact or a circumstance after the first part was fitted; crash data after the last work.
    """
    fitted = min((n for n, w in history.works if w.what == "replaced"), default=None)
    if fitted is None:
        return ()
    last = last_touch(history)
    return tuple(
        e
        for n, e in enumerate(history.entries)
        if e.time is not None
        and (
            (isinstance(e, Impact) and n > fitted)
            or (isinstance(e, Circumstance) and e.present and e.what != "crash" and n > fitted)
            or (isinstance(e, Recorder) and n > last)
        )
    )


def list_commanded(history: History) -> dict[str, Recorder]:
    """Return the parts that crash data list as commanded to fire and that were never replaced."""
    fitted = replacements(history)
    return {
        component: entry
        for _, entry in history.all_of(Recorder)
        for component in (*entry.commanded, *(split_loop(x)[0] for x in entry.commanded_ms))
        if component not in fitted
    }


def denied_events(history: History) -> tuple[tuple[Circumstance, Circumstance], ...]:
    """Return water and fire that somebody told of, each with the entry that denies it later."""
    told = [c for _, c in history.all_of(Circumstance) if c.what in NO_POWER]
    return tuple(
        (one, other)
        for n, one in enumerate(told)
        for other in told[n + 1 :]
        if one.what == other.what and one.present and not other.present
    )


def doubt_unit(history: History) -> dict[str, str]:
    """Return scans and labels whose serial number of the control unit does not fit, by their ids.

    The same one before and after the unit was replaced, another one though it was not, or another
    than on the label of the unit that was fitted.
    """
    scans = [(n, r, r.reading.coverage.serial) for n, r in history.all_of(Report)]
    scans = [(n, r, serial) for n, r, serial in scans if serial]
    fitted = replacements(history).get(_UNIT, ())
    found = {}
    for (before, one, old), (after, other, new) in pairwise(scans):
        swapped = any(before < n < after for n in fitted)
        if swapped and old == new:
            found[other.id] = (
                f"reads the control unit's serial {new}, as {one.id} did before it was replaced"
            )
        elif not swapped and old != new:
            found[other.id] = (
                f"reads the control unit's serial {new}, {one.id} read {old}, and nothing says "
                "that it was replaced"
            )
    label = label_of(history, _UNIT)
    said = "".join(c for c in label.serial.upper() if c.isalnum()) if label else ""
    if said and scans and fitted and scans[-1][0] > fitted[-1] and scans[-1][2] != said:
        found[scans[-1][1].id] = (
            f"reads the control unit's serial {scans[-1][2]}; its label says {said}"
        )
    return found


def told_after(history: History, place: int) -> tuple[str, ...]:
    """Return the ids of what was seen, read or measured after a place."""
    return tuple(e.id for e in history.entries[place + 1 :] if isinstance(e, _OBSERVED))
