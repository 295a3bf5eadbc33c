"""Where each mark stands on the picture of a car: a layout, no judgement."""

import math
import tomllib
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import msgspec

from squibwise.present.tell_bench import CarPicture, Mark

FILE = Path(__file__).parent / "picture.toml"
ARROW = 64.0  # from its tip to its end  [unit of the picture]
LEAST_TOUCH = 30.0
"""What a finger hits at least; seen nearer on a phone it is 48 px. [unit of the picture]"""


class Spot(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Place and shape of a kind, relative to its seat or on the car.

    Attributes:
        shape: ``disc``, ``bar``, ``box``, ``wedge``.
        x: From the middle of the seat outward; on the car, from its left edge.
        y: From the nose; for a seat, from its row.
        w: Width.
        h: Height.
    """

    shape: str
    x: float
    y: float
    w: float
    h: float


class Layout(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``picture.toml``.

    Attributes:
        width: Of the picture.
        height: Of the picture.
        rows: Middle of each row of seats, from the nose.
        seats: Middle of the outer seats, from the left edge.
        seat: Spots of what belongs to a seat, by kind.
        middle: The same, for a seat between two others; goes before ``seat``.
        front: The same, for front seats only; goes before ``seat``.
        driver: The same, for the driver only; goes before ``front``.
        passenger: The same, for the front passenger only.
        car: Spots by ``<place>.<kind>``, or ``*.<kind>`` for each place of ``zones``.
        zones: Where each zone of the body is.
        views: Parts of the picture that are seen nearer: left edge, top, width, height.
    """

    width: float
    height: float
    rows: dict[str, float]
    seats: tuple[float, float]
    seat: dict[str, Spot]
    middle: dict[str, Spot]
    front: dict[str, Spot]
    driver: dict[str, Spot]
    passenger: dict[str, Spot]
    car: dict[str, Spot]
    zones: dict[str, tuple[float, float]]
    views: dict[str, tuple[float, float, float, float]]


class Drawn(msgspec.Struct, frozen=True, kw_only=True):
    """A mark with its place: the middle, the size, the size of what a finger hits, the view."""

    mark: Mark
    shape: str
    x: float
    y: float
    w: float
    h: float
    touch_w: float
    touch_h: float
    view: str


class Arrow(msgspec.Struct, frozen=True, kw_only=True):
    """An impact: where it points to, from which direction in degrees, and what it says."""

    x: float
    y: float
    angle: float
    told: str


@cache
def layout() -> Layout:
    """Return the layout of the picture."""
    return msgspec.convert(tomllib.loads(FILE.read_text(encoding="utf-8")), Layout)


def place_marks(picture: CarPicture) -> list[Drawn]:
    """Return every mark that is drawn: what sets codes, and what is not settled to be sound."""
    shown = (m for m in picture.marks if m.watched or m.state != "sound" or not m.is_settled)
    found = [d for m in shown if (d := _drawn(m, picture.drive_hand)) is not None]
    return sorted(found, key=lambda d: -d.w * d.h)  # what is large lies below


def _drawn(mark: Mark, drive_hand: str) -> Drawn | None:
    lay = layout()
    spot = _seat_spot(mark, lay)
    if spot is None:
        plain = lay.car.get(f"{mark.place}.{mark.kind}") or lay.car.get(f"*.{mark.kind}")
        if plain is None:
            return None
        x, y = plain.x, plain.y
        if f"{mark.place}.{mark.kind}" not in lay.car:
            dx, dy = lay.zones.get(mark.place, (lay.width / 2, lay.height / 2))
            x, y = x + dx, y + dy
        elif drive_hand == "right" and mark.place == "centre":
            x = lay.width - x  # what stands beside the driver goes with him
        return _sized(mark, plain, x, y)
    side, row = seat_of(mark.place, drive_hand)
    middle = {"left": lay.seats[0], "right": lay.seats[1], "centre": lay.width / 2}[side]
    outward = {"left": -1.0, "right": 1.0, "centre": 1.0}[side]
    return _sized(mark, spot, middle + outward * spot.x, lay.rows[row] + spot.y)


def _seat_spot(mark: Mark, lay: Layout) -> Spot | None:
    if mark.place not in ("driver", "passenger") and not mark.place.startswith("row"):
        return None
    own = {"driver": lay.driver, "passenger": lay.passenger}.get(mark.place, {})
    row = lay.front if mark.place in ("driver", "passenger") else {}
    if mark.place.endswith("-centre"):
        row = lay.middle
    return own.get(mark.kind) or row.get(mark.kind) or lay.seat.get(mark.kind)


def seat_of(place: str, drive_hand: str) -> tuple[str, str]:
    """Return side and row of a seat."""
    if place == "driver":
        return drive_hand, "front"
    if place == "passenger":
        return ("right" if drive_hand == "left" else "left"), "front"
    row, _, side = place.partition("-")
    return side, row


def _sized(mark: Mark, spot: Spot, x: float, y: float) -> Drawn:
    w, h = max(spot.w, LEAST_TOUCH), max(spot.h, LEAST_TOUCH)
    return Drawn(
        mark=mark,
        shape=spot.shape,
        x=x,
        y=y,
        w=spot.w,
        h=spot.h,
        touch_w=w,
        touch_h=h,
        view=_nearest_view(x, y),
    )


def _nearest_view(x: float, y: float) -> str:
    """Return the part of the picture in whose middle a mark stands most."""

    def away(view: str) -> float:
        left, top, width, height = layout().views[view]
        return max(abs(x - left - width / 2) / width, abs(y - top - height / 2) / height)

    return min(layout().views, key=away)


def place_arrows(picture: CarPicture) -> list[Arrow]:
    """Return an arrow for each impact; without a direction it points to the middle of the car."""
    lay = layout()
    arrows = []
    for strike in picture.strikes:
        x, y = lay.zones.get(strike.zone, (lay.width / 2, 0.0))
        angle = 30.0 * (strike.clock % 12) if strike.clock else _inward(strike.zone)
        arrows.append(Arrow(x=x, y=y, angle=angle, told=strike.told))
    return arrows


def frame(arrows: Sequence[Arrow]) -> tuple[float, float, float, float]:
    """Return what of the sheet the whole car takes with every arrow: left, top, width, height."""
    lay = layout()
    ends = [
        (
            a.x + ARROW * math.sin(math.radians(a.angle)),
            a.y - ARROW * math.cos(math.radians(a.angle)),
        )
        for a in arrows
    ]
    left, top = min([0.0, *(x for x, _ in ends)]), min([-14.0, *(y for _, y in ends)])
    right = max([lay.width, *(x for x, _ in ends)])
    bottom = max([lay.height - 14.0, *(y for _, y in ends)])
    return left, top, right - left, bottom - top


def _inward(zone: str) -> float:
    """Return from where a zone is struck when nobody judged it. [degrees, 0 = from the front]."""
    if zone.startswith("nose"):
        return 0.0
    return {"left": 270.0, "right": 90.0}.get(zone.rpartition("-")[2], 180.0)
