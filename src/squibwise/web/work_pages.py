"""The work: visits between changes of power, ticks by area, holds, gates, who did it."""

from collections.abc import Collection
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from squibwise.entering import ticking
from squibwise.entering.tick_before import FIT_LOADS
from squibwise.entering.tick_order import LAMP, SCAN, list_due_again, signed_along
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.history.order import read_history
from squibwise.history.power import find_power_off
from squibwise.model.work import Area, Operation, Visit
from squibwise.present.figures import hours
from squibwise.present.phrases import name, tell_reasons
from squibwise.present.tell_visits import (
    POWER,
    hands_on,
    is_left_closed,
    list_cautions,
    list_gate_points,
    next_operation,
    tell_gates_of,
    tell_holds,
    tell_sureness,
)
from squibwise.web.bench import Bench, NotThereError, Opened, now
from squibwise.web.car_pages import SCALE
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, came_from, car_page, opened_for
from squibwise.web.sending import (
    Sent,
    common,
    enter,
    read_number,
    refuse_stale,
    refuse_unnamed,
    sends,
)

CHARGES, LIVE, POWER_DOWN = "step:live-charges", "all others live", "step:power-down"
_POWER_ON = "power on:"
ELSEWHERE = {
    LAMP: ("prove#gate-lamp-check", "Write down what the lamp did"),
    SCAN: ("add", "Add a report"),
}
"""Where an operation is written down that no tick stands for."""


def visits(request: Request) -> Response:
    """One visit with its areas and operations; the first with something to do by default."""
    opened, bench = opened_for(request), bench_of(request)
    todo = bench.whole(opened).todo
    tabs = [(v.id, sum(map(_is_due_now, v.operations))) for v in todo.visits]
    following = next_operation(todo)
    first = next((v for v, due in tabs if due), tabs[0][0] if tabs else "")
    wanted = request.query_params.get("visit", first)
    visit = next((v for v in todo.visits if v.id == wanted), None)
    if visit is None and wanted:
        raise NotThereError(f"There is no visit '{wanted[:40]}' in this work.")
    again = list_due_again(opened.case.evidence, bench.catalog)
    return car_page(
        request,
        "work.html",
        opened,
        step="work",
        tabs=tabs,
        visit=visit,
        power=POWER[visit.power] if visit else "",
        time=hours(hands_on(visit.operations)) if visit else "",
        areas=[_area(a, again) for a in visit.areas] if visit else [],
        following=following.n if following else 0,
        gates=tell_gates_of(visit, bench.catalog) if visit else [],
        cautions=list_cautions(o for o in visit.operations if not o.done) if visit else [],
        points=list_gate_points(visit, signed_along(bench.catalog), bench.catalog) if visit else {},
        has_loads=_is_due(FIT_LOADS, visit) if visit else False,
        has_charges=bool(todo.unproven) and _is_due(CHARGES, visit) if visit else False,
        elsewhere=_list_elsewhere(visit) if visit else {},
        again=again,
        gone=seconds_off(opened, bench),
        due=sum(map(_is_due_now, visit.operations)) if visit else 0,
        then=first,
    )


def seconds_off(opened: Opened, bench: Bench) -> int | None:
    """Return for how long the power has been off, as this machine counts; None = it is not.

    The clocks of the phones at a car may differ.
    """
    off = find_power_off(read_history(opened.case.evidence), bench.catalog)
    with connected(bench.place) as garage:
        on = store.recall(garage, _POWER_ON + opened.id) or ""
    is_off = off is not None and off.isoformat() > on
    return max(0, round((now() - off).total_seconds())) if off is not None and is_off else None


def note_power_on(opened: Opened, bench: Bench) -> None:
    """Remember that something was tried with the power on: a wait before that is void."""
    with connected(bench.place) as garage:
        store.remember(garage, _POWER_ON + opened.id, now().isoformat())


def _list_elsewhere(visit: Visit) -> dict[str, tuple[str, str]]:
    """Return where what an operation asks is written down: its cards, or the weighing of a seat."""
    found = dict(ELSEWHERE)
    for operation in visit.operations:
        zeroed = [w.rpartition(":") for w in operation.demands if w.endswith(f".{SCALE}:calibrate")]
        if zeroed:
            found[operation.id] = (f"seat/{zeroed[0][0]}", "Weigh this seat")
        if operation.action == "trace" and operation.components:
            found[operation.id] = (f"trace/{operation.components[0]}", "Trace this circuit")
    return found


def _area(area: Area, again: Collection[str]) -> dict[str, Any]:
    waits = (o.hold_minutes for o in area.operations if not o.done or o.id in again)
    return {
        "title": area.title,
        "phase": area.phase,
        "due": sum(_is_due_now(o) or o.id in again for o in area.operations),
        "operations": [
            {"of": o, "notes": (*tell_holds(o), *tell_sureness(o))} for o in area.operations
        ],
        "hold": max(waits, default=0),
    }


def _is_due_now(operation: Operation) -> bool:
    return not operation.done and not is_left_closed(operation)


def _is_due(step: str, visit: Visit) -> bool:
    return any(o.id == step and not o.done for o in visit.operations)


def operation(request: Request) -> Response:
    """One operation with its reasons, tools, cautions and what it waits for."""
    opened, bench = opened_for(request), bench_of(request)
    found = _find(opened, bench, request.path_params["number"])
    whole = bench.whole(opened)
    numbers = {o.id: o for o in whole.todo.operations}
    return car_page(
        request,
        "operation.html",
        opened,
        step="work",
        operation=found,
        parts=[(c, name(c, bench.catalog)) for c in found.components],
        visit=next(v.id for v in whole.todo.visits if found in v.operations),
        notes=(*tell_holds(found), *tell_sureness(found)),
        after=[numbers[a] for a in found.after if a in numbers],
        because=tell_reasons(found.because, opened.case, bench.catalog),
    )


def _find(opened: Opened, bench: Bench, number: str) -> Operation:
    every = bench.whole(opened).todo.operations
    found = next((o for o in every if str(o.n) == number), None)
    if found is None:
        raise NotThereError(f"No operation has the number {number[:10]}.")
    return found


@sends
def power_off(request: Request, sent: Sent) -> Response:
    """Write down that the power came off: the wait is counted from there, for every phone."""
    opened = opened_for(request)
    refuse_unnamed(sent, "Say who took the power off.")
    entry = {"kind": "passed", "what": POWER_DOWN, "result": "passed"} | common(sent)
    enter(request, opened, sent, "power off", lambda _: (entry,))
    return go(came_from(request, f"/car/{opened.id}/work"))


@sends
def tick(request: Request, sent: Sent) -> Response:
    """Tick operations of a visit: done, or tried and failed."""
    opened, bench = opened_for(request), bench_of(request)
    chosen = sent.lists.get("n", ())
    if not chosen:
        raise InputError("Nothing was ticked.", remedy="Tick what was done, then write it down.")
    refuse_unnamed(sent, "Say who did it.")
    refuse_stale(opened, sent)
    failed, safe = sent.get("how") == "failed", sent.get("safe") == "yes"
    todo, given = bench.whole(opened).todo, common(sent)
    numbers, fallen = ticking.drop_fallen(ticking.read_numbers(chosen), todo, bench.catalog)
    if not numbers:
        raise InputError(" ".join(fallen), remedy="Go back to the list as it is now.")
    entries = ticking.entries_for(
        todo,
        numbers,
        bench.catalog,
        given,
        failed=failed,
        safe=safe,
        ohm=read_number(sent, "ohm"),
        note="; ".join(filter(None, (sent.get("note", 400), LIVE if sent.get("live") else ""))),
        evidence=opened.case.evidence,
    )
    words = f"did {', '.join(map(str, numbers))}{' failed' if failed else ''}"
    enter(request, opened, sent, words, lambda _: entries)
    visit = sent.get("visit", 20)
    return go(f"/car/{opened.id}/work" + (f"?visit={visit}" if visit.isalpha() else ""))
