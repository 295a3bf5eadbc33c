"""What was done and is to be done again, for work before it is open."""

from collections.abc import Iterable

import msgspec

from squibwise.history.order import POWER_DOWNS
from squibwise.history.power import (
    MADE_SAFE,
    is_powered_down,
    is_powered_since_safe,
    last_made_safe,
)
from squibwise.history.signed import last_signed
from squibwise.model.work import Area, Operation, Visit
from squibwise.require.job import Job
from squibwise.require.progress import FINAL_POWER, STEP

_WORK = ("fit", "trace")
_FINISHING = ("clear", "lamp-check", "drive", "final-scan")


def reopen(visits: tuple[Visit, ...], job: Job) -> tuple[Visit, ...]:
    """Return the visits with the steps open again that open work comes before, or needs.

    A lamp that was watched, or a scan that was read, before the work proves nothing of it. Hands
    go in with the power off and waited out: once it was switched on, it comes off again.
    """
    open_work = (o for v in visits for o in v.operations if o.action in _WORK and o.counted)
    again = set() if all(o.done for o in open_work) else {STEP + w for w in _FINISHING}
    if is_powered_since_safe(job.progress.history, job.catalog):
        is_off = is_powered_down(job.progress.history, job.catalog)
        safe = {*MADE_SAFE} if is_off else {*POWER_DOWNS, *MADE_SAFE}
        whole = last_signed(job.progress.history, STEP + FINAL_POWER, FINAL_POWER)
        is_whole = whole is not None and whole[0] > last_made_safe(job.progress.history)
        needing = (v for v in visits if any(_is_for_hands(o, is_whole) for o in v.operations))
        again |= {o.id for v in needing for o in v.operations if o.id in safe}
    return tuple(msgspec.structs.replace(v, areas=_reopened(v.areas, again)) for v in visits)


def _is_for_hands(operation: Operation, is_whole: bool) -> bool:
    """Is an operation open that hands do: a common cause, or a part left when all was powered.

    What is opened, plugged in and closed for it is signed by few, and may stay open on the list.
    """
    is_safe_first = operation.is_cause and STEP + "make-safe" in operation.after
    is_sure = operation.action == "fit" and operation.kind in ("certain", "rule")
    is_hands = (is_whole and is_sure) or is_safe_first
    return is_hands and operation.counted and not operation.done


def _reopened(areas: Iterable[Area], words: set[str]) -> tuple[Area, ...]:
    return tuple(
        msgspec.structs.replace(
            area,
            operations=tuple(
                msgspec.structs.replace(o, done=False) if o.id in words else o
                for o in area.operations
            ),
        )
        for area in areas
    )
