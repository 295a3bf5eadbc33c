"""What must come before an operation of a list, and may not be passed over."""

import re
from collections.abc import Collection, Mapping, Set

from squibwise.catalog.load import Catalog
from squibwise.model.work import Operation, Work

FIT_LOADS, RETURN_LOADS = "step:fit-loads", "step:return-loads"
HEAT_OUT, STRUCTURE, HEAT_BACK = "step:heat-out", "step:structure", "step:heat-back"
CLEAR = "step:clear"
FIRST_POWER, FINAL_POWER = POWERING = ("step:first-power", "step:final-power")
BEFORE_DRIVE = (FINAL_POWER, CLEAR, "step:lamp-check")
MAKING_SAFE = (
    "step:power-down",
    "step:make-safe",
    "step:second-power-down",
    "step:second-make-safe",
    RETURN_LOADS,
)
_PAIRS = {
    *((first, "step:drive") for first in BEFORE_DRIVE),
    *((first, "step:lamp-check") for first in (CLEAR, "set:program", "set:seat-zero")),
    (FIT_LOADS, FIRST_POWER),
    (FIT_LOADS, RETURN_LOADS),
    *((word, RETURN_LOADS) for word in ("step:second-scan", "step:move-steering")),
    (HEAT_OUT, STRUCTURE),
}
UNIT_BOLTED = "step:unit-bolted"
LIVE_CAUTION = "hot-residue"
IN_AN_AREA = ("out", "fit", "join", "close")
_NEAR = 4


def is_ticked(operation: Operation, chosen: Collection[str]) -> bool:
    """Is an operation, or anything that it contains, among ids that are ticked."""
    return operation.id in chosen or any(d in chosen for d in operation.demands)


def denies_heat(note: str, catalog: Catalog) -> bool:
    """Does a note say that no weld, heat or hammer came near anything live."""
    words = re.findall(r"\w+", note.casefold())
    denied, heat = (catalog.said.stories[w] for w in ("denied", "heat"))
    return any(
        word in denied and any(w.startswith(heat) for w in words[n + 1 : n + 1 + _NEAR])
        for n, word in enumerate(words)
    )


def find_missing(
    todo: Work, chosen: frozenset[str], along: frozenset[str] = frozenset(), *, cold: bool = False
) -> dict[Operation, tuple[Operation, ...]]:
    """Return for each operation that is ticked what must come first and has not.

    Args:
        todo: The work of the case.
        chosen: Ids of what is ticked.
        along: Ids of what is written down with it in another way.
        cold: No weld, heat or hammer came near, so that nothing live had to come out of it.
    """
    before = {o.id: set(o.after) for o in todo.operations}
    openings = own_openings(todo)
    let_off = {HEAT_OUT} if cold else set()
    if any(o.id == HEAT_OUT and not (o.done or is_ticked(o, chosen)) for o in todo.operations):
        let_off.add(HEAT_BACK)  # nothing was taken out, so nothing is to be put back
    ticked = {o.id for o in todo.operations if is_ticked(o, chosen | along)}
    due = [
        o
        for o in todo.operations
        if o.id not in ticked and o.id not in let_off and _is_due(o, ticked)
    ]
    found = {}
    for operation in (o for o in todo.operations if is_ticked(o, chosen | along)):
        first, shut = all_before(operation.id, before), openings.get(operation.id, set())
        missing = [o for o in due if o.id in shut or (o.id in first and must_precede(o, operation))]
        if missing:
            found[operation] = tuple(missing)
    return found


def _is_due(operation: Operation, ticked: Set[str]) -> bool:
    """Is an operation still to do: a unit is bolted down anew once it was fitted."""
    again = operation.id == UNIT_BOLTED and not ticked.isdisjoint(operation.after)
    return not operation.done or again


def own_openings(todo: Work) -> dict[str, set[str]]:
    """Return which openings each operation lies behind, by ids: nobody works in a closed area.

    What is taken off first, so that an area can be opened at all, lies behind none. A substitute
    load goes where its device came out.
    """
    found: dict[str, set[str]] = {}
    of_part: dict[str, set[str]] = {}
    opened: dict[str, set[str]] = {}
    for area in (a for v in todo.visits for a in v.areas):
        for operation in area.operations:
            ways = opened.setdefault(area.area, set())
            if operation.action == "open":
                opened[area.area] = {*ways, operation.id}
            if operation.action in IN_AN_AREA or operation.id == UNIT_BOLTED:
                found[operation.id] = ways
            if operation.action == "out":
                of_part |= dict.fromkeys(operation.components, ways)
    found[FIT_LOADS] = {
        word
        for o in todo.operations
        if o.id == FIT_LOADS
        for c in o.components
        for word in of_part.get(c, ())
    }
    return found


def must_precede(first: Operation, then: Operation) -> bool:
    """Is it dangerous to do one operation before another that comes first.

    Nothing is touched before the power is off and waited out, and before the car was recorded as it
    came, for nobody can record that later; nobody welds, heats or hammers while anything fired or
    live is near, for there power that is off protects nobody; looks that the release waits for come
    before the last power-up, for later they cost another power-down; nothing is powered on loads,
    nor are loads counted back, before they went in, nor counted back before what is read and moved
    on them was; nothing is read, set, moved or watched with the key on before the power is; nothing
    is powered while a part that is needed for sure, a connector or a cover is still open; nothing
    is closed before what lies behind it is in, joined and bolted, for it would have to be opened
    again; the memory is not cleared for good before every part is fitted and every fault traced; a
    lamp that is watched before the unit and the seat are set and the codes cleared says
    nothing of the car that leaves; nobody drives before the power is on with everything fitted, the
    codes are cleared and the lamp went out.
    """
    if first.id in (*MAKING_SAFE, *POWERING) or (first.id, then.id) in _PAIRS:
        return True
    if first.id == "step:arrival-record":
        return then.action in ("open", *IN_AN_AREA)
    if first.action == "look":
        return then.id == FINAL_POWER and not first.is_advice
    is_sure = first.counted and first.kind in ("certain", "rule")
    if first.action == "out":
        is_live = any(c.id == LIVE_CAUTION for c in first.cautions)
        return then.id == HEAT_OUT and is_live and is_sure
    if first.id in then.after and (then.action == "close" or first.id == UNIT_BOLTED):
        closes = then.action in ("close", "fit")  # a new panel closes over the unit as the old does
        return closes and (first.id == UNIT_BOLTED or (first.action in ("fit", "join") and is_sure))
    is_open = first.action in ("fit", "join", "close") or first.id == HEAT_BACK
    is_repair = first.action in ("fit", "trace") and first.counted
    return (then.id in POWERING and is_open and is_sure) or (then.id == CLEAR and is_repair)


def all_before(word: str, before: Mapping[str, set[str]]) -> set[str]:
    """Return everything that comes before an operation, directly or by way of others."""
    found: set[str] = set()
    left = [word]
    while left:
        new = before.get(left.pop(), set()) - found
        found |= new
        left += new
    return found
