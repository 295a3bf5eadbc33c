"""Ids of components and loops: how they are built and taken apart."""

import re
from functools import lru_cache
from typing import Literal, get_args

import msgspec

from squibwise.errors import ModelError

Seat = Literal[
    "driver",
    "passenger",
    "row2-left",
    "row2-centre",
    "row2-right",
    "row3-left",
    "row3-right",
]
Side = Literal["left", "right"]
Zone = Literal[
    "nose-left",
    "nose-centre",
    "nose-right",
    "door-left",
    "door-right",
    "pillar-left",
    "pillar-right",
    "tail",
    "centre",
]
Place = Seat | Side | Zone

SEATS: tuple[str, ...] = get_args(Seat)
SIDES: tuple[str, ...] = get_args(Side)
ZONES: tuple[str, ...] = get_args(Zone)
PLACES: tuple[str, ...] = SEATS + SIDES + ZONES


class ComponentName(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A component id taken apart.

    Attributes:
        place: One of ``PLACES``.
        kind: A component kind of the catalogue.
        number: 1, or 2, 3 ... when a place holds several of one kind.
    """

    place: str
    kind: str
    number: int = 1

    def __post_init__(self) -> None:
        if self.place not in PLACES:
            raise ModelError(
                f"'{self.place}' is not a place", remedy=f"Use one of {', '.join(PLACES)}."
            )
        if not self.number >= 1:
            raise ModelError(f"component number {self.number} is below 1")

    @property
    def id(self) -> str:
        """The id as written: ``driver.front-bag`` or ``door-left.impact-sensor-2``."""
        tail = "" if self.number == 1 else f"-{self.number}"
        return f"{self.place}.{self.kind}{tail}"


FORMER_KINDS = {
    "dash-panel": "instrument-panel",
    "door-seal": "vapour-barrier",
    "off-lamp": "off-indicator",
}
"""Kinds that had another name once; it is still understood."""
FORMER_LOOKS = {"stalk-short": "stalk-shorter"}
"""Likewise look words, and how the trade says them."""
_FORMER_NAME = re.compile(
    rf"((?:[\w-]+:)?(?:[\w-]+\.)?)({'|'.join(FORMER_KINDS)})((?:-\d+)?(?:/\d+)?(?::[\w-]+)?)"
)


def current_name(name: str) -> str:
    """Return an id of a component, a loop or an operation, or a look word, as it is called now.

    >>> current_name("passenger.off-lamp/1")
    'passenger.off-indicator/1'
    >>> current_name("centre.dash-panel:replace")
    'centre.instrument-panel:replace'
    >>> current_name("stalk-short")
    'stalk-shorter'
    """
    former = _FORMER_NAME.fullmatch(name)
    if former:
        return f"{former[1]}{FORMER_KINDS[former[2]]}{former[3]}"
    return FORMER_LOOKS.get(name, name)


@lru_cache(maxsize=4096)
def split_component(component_id: str) -> ComponentName:
    """Return the parts of a component id.

    Raises:
        ModelError: The text is not ``place.kind`` or the place is unknown.
    """
    place, dot, rest = component_id.partition(".")
    if not dot or not rest:
        raise ModelError(
            f"'{component_id}' is not a component id",
            remedy="Write <place>.<kind>, for example driver.front-bag.",
        )
    kind, dash, digits = rest.rpartition("-")
    if dash and digits.isdecimal():
        return ComponentName(place=place, kind=kind, number=int(digits))
    return ComponentName(place=place, kind=rest)


def loop_id(component_id: str, stage: int = 1) -> str:
    """Return the id of a component's circuit: ``driver.front-bag/2``."""
    return f"{component_id}/{stage}"


def split_loop(loop: str) -> tuple[str, int]:
    """Return component id and stage of a loop id; a missing stage means 1.

    Raises:
        ModelError: The stage is not a whole number from 1.
    """
    component_id, slash, stage = loop.partition("/")
    if not slash:
        return component_id, 1
    if not stage.isdecimal() or int(stage) < 1:
        raise ModelError(f"'{loop}' has no stage number after '/'")
    return component_id, int(stage)


def side_of(place: str, drive_hand: Side) -> Side | None:
    """Return the car's side a place lies on; None for places on neither side."""
    if place in ("driver", "passenger"):
        return drive_hand if place == "driver" else _other(drive_hand)
    for side in ("left", "right"):
        if place == side or place.endswith(f"-{side}"):
            return side
    return None


def seat_at(place: str, drive_hand: Side) -> str | None:
    """Return the seat a place is, or the front seat at its side; None for places on neither."""
    if place in SEATS:
        return place
    side = side_of(place, drive_hand)
    if side is None:
        return None
    return "driver" if side == drive_hand else "passenger"


def _other(side: Side) -> Side:
    return "right" if side == "left" else "left"
