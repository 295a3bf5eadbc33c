"""Weigh a seat with dead weights, guided: up in steps, down again, the conditions written down."""

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from squibwise.errors import InputError
from squibwise.model.evidence import SeatTrial
from squibwise.model.names import split_component
from squibwise.present.figures import KG_PER_POUND, measured, warmth_in, weight_in
from squibwise.present.phrases import name
from squibwise.web.bench import Bench, NotThereError, Opened
from squibwise.web.car_pages import SCALE, find_part
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import (
    Sent,
    common,
    enter,
    pick,
    read_number,
    refuse_stale,
    refuse_unnamed,
    sends,
)

HEAVIEST = 10_000.0  # beyond it nothing is read
CABIN, VOLTS = (-60.0, 90.0), (0.0, 60.0)  # as the case file takes them, [degC] and [V]
STEPS = ("empty", "about half", "the whole load", "about half again", "empty again")


def seat(request: Request) -> Response:
    """The next step of weighing a seat, and what was read so far."""
    opened, bench = opened_for(request), bench_of(request)
    sensor = request.path_params["sensor"]
    _find_scale(sensor, opened, bench)
    verdicts = bench.whole(opened).verdicts
    trials = [e for e in opened.case.evidence if isinstance(e, SeatTrial) and e.component == sensor]
    return car_page(
        request,
        "seat.html",
        opened,
        step="prove",
        sensor=sensor,
        title=name(sensor, bench.catalog),
        trials=[(x, _weight(x.applied_kg, opened), _weight(x.read_kg, opened)) for x in trials],
        warm=_warmth(trials[-1].cabin_c, opened) if trials else None,
        unit=weight_in(0.0, opened.case.measures)[1],
        degrees=warmth_in(0.0, opened.case.measures)[1],
        last=trials[-1] if trials else None,
        steps=STEPS,
        at=len(trials) % len(STEPS),
        verdict=next((v for v in verdicts if v.what == f"seat-trials:{sensor}"), None),
    )


def _find_scale(sensor: str, opened: Opened, bench: Bench) -> None:
    """Stop what names a part that weighs nothing.

    Raises:
        NotThereError: The car has no such part, or it is no sensor of a seat.
    """
    find_part(opened, bench, sensor)
    if split_component(sensor).kind != SCALE:
        raise NotThereError(f"'{sensor}' weighs nothing.")


def _weight(kg: float | None, opened: Opened) -> float | None:
    return None if kg is None else weight_in(kg, opened.case.measures)[0]


def _warmth(celsius: float | None, opened: Opened) -> float | None:
    return None if celsius is None else warmth_in(celsius, opened.case.measures)[0]


def _read_warmth(sent: Sent) -> float | None:
    """Return the temperature in the cabin, in degrees Celsius, as it was typed in either unit."""
    in_fahrenheit = pick(sent, "degrees", ("C", "F")) == "F"
    least, most = (1.8 * end + 32.0 if in_fahrenheit else end for end in CABIN)
    warm = read_number(sent, "cabin", least, most)
    return round((warm - 32.0) / 1.8, 2) if warm is not None and in_fahrenheit else warm


@sends
def weigh(request: Request, sent: Sent) -> Response:
    """Write down one loading of a seat."""
    opened, bench = opened_for(request), bench_of(request)
    sensor = request.path_params["sensor"]
    _find_scale(sensor, opened, bench)
    if sent.get("compared"):
        return _compare(request, sent, opened, sensor)
    factor = KG_PER_POUND if pick(sent, "unit", ("kg", "lb")) == "lb" else 1.0
    warm = _read_warmth(sent)
    applied = read_number(sent, "applied", 0.0, HEAVIEST)
    if applied is None:
        raise InputError("The load is missing.", remedy="Write what was laid on; 0 when empty.")
    read = read_number(sent, "read", -HEAVIEST, HEAVIEST)
    given: dict[str, Any] = {
        "kind": "seat-trial",
        "component": sensor,
        "applied_kg": round(applied * factor, 3),
        "read_kg": None if read is None else round(read * factor, 3),
        "status": pick(sent, "status", ("on", "off")),
        "cabin_c": warm,
        "volts": read_number(sent, "volts", *VOLTS),
        "seat_position": sent.get("position", 80),
        "cover": sent.get("cover", 80),
        "dry": {"yes": True, "no": False}.get(pick(sent, "dry", ("yes", "no"))),
        "buckle": pick(sent, "buckle", ("open", "latched")),
    }
    entry = {k: v for k, v in given.items() if v not in (None, "")} | common(sent)
    what = f"weighed {sensor}: {measured(given['applied_kg'], 'kg', opened.case.measures)}"
    enter(request, opened, sent, what, lambda _: (entry,))
    return go(f"/car/{opened.id}/seat/{sensor}")


def _compare(request: Request, sent: Sent, opened: Opened, sensor: str) -> Response:
    """Write down that the trials were held against the maker's limits, by whom and by what."""
    refuse_unnamed(sent, "Say who compared it.")
    refuse_stale(opened, sent)
    word = f"seat-trials:{sensor}"
    entry = {"kind": "passed", "what": word, "result": "passed", "note": sent.get("compared", 400)}
    signed = entry | common(sent)
    enter(request, opened, sent, f"compared {sensor}", lambda _: (signed,))
    return go(f"/car/{opened.id}/seat/{sensor}")
