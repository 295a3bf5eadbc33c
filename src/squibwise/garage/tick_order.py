"""The order in which operations may be ticked: what must come first, and after which wait."""

import datetime as dt
from collections.abc import Collection, Mapping

from squibwise.errors import InputError
from squibwise.model.evidence import DoneWork, Evidence, Passed
from squibwise.model.work import Operation, Work

_POWERED_DOWN = ("step:power-down", "step:second-power-down")
_POWERING = ("step:first-power", "step:final-power")
_BEFORE_DRIVE = ("step:final-power", "step:clear", "step:lamp-check")
_MAKING_SAFE = (
    "step:power-down",
    "step:make-safe",
    "step:second-power-down",
    "step:second-make-safe",
    "step:return-loads",
)
_IN_AN_AREA = ("out", "fit", "join", "close")


def refuse_disorder(todo: Work, chosen: Collection[str], along: Collection[str]) -> None:
    """Refuse hands on the car before it is made safe, and power before it is whole.

    Args:
        todo: The work of the case.
        chosen: Ids of what is ticked.
        along: Ids of what is written down with it in another way.

    Raises:
        InputError: A step that comes first is neither done nor ticked along.
    """
    before = {o.id: set(o.after) for o in todo.operations}
    openings = _own_openings(todo)
    due = [o for o in todo.operations if not o.done and not _is_ticked(o, {*chosen, *along})]
    for operation in (o for o in todo.operations if _is_ticked(o, chosen)):
        first, shut = _all_before(operation.id, before), openings.get(operation.id, set())
        missing = [
            o for o in due if o.id in shut or (o.id in first and _must_precede(o, operation))
        ]
        if missing:
            numbers = ", ".join(str(o.n) for o in missing[:6])
            numbers += f" and {len(missing) - 6} more" if len(missing) > 6 else ""
            raise InputError(
                f"no. {operation.n} comes after no. {numbers}: {missing[0].title}.",
                remedy="Tick that first, or with it, once it is done.",
            )


def _own_openings(todo: Work) -> dict[str, set[str]]:
    """Return which openings each operation lies behind, by ids: nobody works in a closed area.

    A substitute load goes where its device came out.
    """
    found: dict[str, set[str]] = {}
    of_part: dict[str, set[str]] = {}
    areas = [a for v in todo.visits for a in v.areas]
    opened: dict[str, set[str]] = {a.area: set() for a in areas}
    for area in areas:
        opened[area.area] |= {o.id for o in area.operations if o.action == "open"}
    for area in areas:
        for operation in area.operations:
            if operation.action in _IN_AN_AREA or operation.id == "step:unit-bolted":
                found[operation.id] = opened[area.area]
            if operation.action == "out":
                of_part |= dict.fromkeys(operation.components, opened[area.area])
    found["step:fit-loads"] = {
        word
        for o in todo.operations
        if o.id == "step:fit-loads"
        for c in o.components
        for word in of_part.get(c, ())
    }
    return found


def _is_ticked(operation: Operation, chosen: Collection[str]) -> bool:
    return operation.id in chosen or any(d in chosen for d in operation.demands)


def _must_precede(first: Operation, then: Operation) -> bool:
    """Is it dangerous to do one operation before another that comes first.

    Nothing is touched before the power is off and waited out; nothing is powered while a part that
    is needed for sure, a connector or a cover is still open; nobody drives before the power is on
    with everything fitted, the codes are cleared and the lamp went out.
    """
    if first.id in _MAKING_SAFE or (then.id == "step:drive" and first.id in _BEFORE_DRIVE):
        return True
    is_sure = first.counted and first.kind in ("certain", "rule")
    return then.id in _POWERING and first.action in ("fit", "join", "close") and is_sure


def refuse_haste(
    todo: Work, chosen: Collection[str], evidence: tuple[Evidence, ...], at: object
) -> None:
    """Refuse that the wait after a power-down is ticked with it, or before it is over.

    Raises:
        InputError: The wait cannot have passed.
    """
    operations = {o.id: o for o in todo.operations}
    waits = [o for o in todo.operations if o.id in chosen and o.hold_minutes]
    for wait in waits:
        downs = [operations[w] for w in wait.after if w in _POWERED_DOWN and w in operations]
        for down in downs:
            told = f"no. {wait.n} comes {wait.hold_minutes} min after no. {down.n}"
            if down.id in chosen and not down.done:
                remedy = f"Tick no. {down.n} when the power is off, no. {wait.n} after the wait."
                raise InputError(f"{told}: not in one stroke.", remedy=remedy)
            off = _time_of(down.id, evidence)
            over = off + dt.timedelta(minutes=wait.hold_minutes) if off else None
            if over and isinstance(at, dt.datetime) and at.replace(tzinfo=None) < over:
                raise InputError(
                    f"{told}: the power came off at {off:%H:%M}, so not before {over:%H:%M}.",
                    remedy="Say when it was: --time YYYY-MM-DDTHH:MM.",
                )


def _time_of(step: str, evidence: tuple[Evidence, ...]) -> dt.datetime | None:
    """Return when a power-down was last written down; None when no time stands with it."""
    times = [
        e.time.replace(tzinfo=None)
        for e in evidence
        if e.time is not None
        and (
            (isinstance(e, Passed) and e.what in (step, step.removeprefix("step:")))
            or (isinstance(e, DoneWork) and (e.item == step or e.component == "battery"))
        )
    ]
    return max(times, default=None)


def _all_before(word: str, before: Mapping[str, set[str]]) -> set[str]:
    """Return everything that comes before an operation, directly or by way of others."""
    found: set[str] = set()
    left = [word]
    while left:
        new = before.get(left.pop(), set()) - found
        found |= new
        left += new
    return found
