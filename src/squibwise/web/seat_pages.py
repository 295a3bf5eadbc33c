"""Weigh a seat with dead weights, guided: up in steps, down again, the conditions written down."""

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from squibwise.errors import InputError
from squibwise.model.evidence import SeatTrial
from squibwise.model.names import split_component
from squibwise.present.figures import number
from squibwise.present.phrases import name
from squibwise.web.bench import NotThereError
from squibwise.web.car_pages import find_part
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import Sent, common, enter, sends

KG_PER_POUND = 0.45359237
"""Source: NIST Special Publication 811 (2008), appendix B.8: 1 lb = 0.453 592 37 kg, exactly."""
STEPS = ("empty", "about half", "the whole load", "about half again", "empty again")


def seat(request: Request) -> Response:
    """The next step of weighing a seat, and what was read so far."""
    opened, bench = opened_for(request), bench_of(request)
    sensor = request.path_params["sensor"]
    find_part(opened, bench, sensor)
    if split_component(sensor).kind != "occupant-sensor":
        raise NotThereError(f"'{sensor}' weighs nothing.")
    verdicts = bench.whole(opened).verdicts
    trials = [e for e in opened.case.evidence if isinstance(e, SeatTrial) and e.component == sensor]
    return car_page(
        request,
        "seat.html",
        opened,
        step="prove",
        sensor=sensor,
        title=name(sensor, bench.catalog),
        trials=trials,
        number=number,
        last=trials[-1] if trials else None,
        steps=STEPS,
        at=len(trials) % len(STEPS),
        verdict=next((v for v in verdicts if v.what == f"seat-trials:{sensor}"), None),
        pounds=(opened.case.region or "").startswith("US"),
    )


@sends
def weigh(request: Request, sent: Sent) -> Response:
    """Write down one loading of a seat."""
    opened, bench = opened_for(request), bench_of(request)
    sensor = request.path_params["sensor"]
    find_part(opened, bench, sensor)
    factor = KG_PER_POUND if sent.get("unit") == "lb" else 1.0
    warm = _number(sent, "cabin")
    if warm is not None and sent.get("degrees") == "F":
        warm = round((warm - 32.0) / 1.8, 2)
    applied = _number(sent, "applied")
    if applied is None:
        raise InputError("The load is missing.", remedy="Write what was laid on; 0 when empty.")
    read = _number(sent, "read")
    given: dict[str, Any] = {
        "kind": "seat-trial",
        "component": sensor,
        "applied_kg": round(applied * factor, 3),
        "read_kg": None if read is None else round(read * factor, 3),
        "status": sent.get("status", 3),
        "cabin_c": warm,
        "volts": _number(sent, "volts"),
        "seat_position": sent.get("position", 80),
    }
    entry = {k: v for k, v in given.items() if v not in (None, "")} | common(sent)
    what = f"weighed {sensor}: {number(given['applied_kg'])} kg"
    enter(request, opened, sent, what, lambda _: (entry,))
    return go(f"/car/{opened.id}/seat/{sensor}")


def _number(sent: Sent, field: str) -> float | None:
    """Return a number as it was typed, with a point or a comma; None when it was left empty.

    Raises:
        InputError: It is no number.
    """
    typed = sent.get(field, 12).replace(",", ".")
    try:
        value = float(typed) if typed else None
    except ValueError as error:
        raise InputError(f"'{typed}' is no number.", remedy="Write digits only.") from error
    if value is not None and not abs(value) < 10_000.0:
        raise InputError(f"'{typed}' is out of range.", remedy="Read it again.")
    return value
