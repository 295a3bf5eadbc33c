"""The closed word lists that every stage shares. Their meaning stands in ``docs/names.md``."""

from typing import Literal, get_args

State = Literal["sound", "fired", "faulty", "damaged", "missing", "unfit"]
STATES: tuple[State, ...] = get_args(State)

Status = Literal["present", "stored", "pending", "intermittent", "cleared", "not-tested", "locked"]
Fault = Literal[
    "open-or-high",
    "low-or-short",
    "short-to-ground",
    "short-to-battery",
    "cross-short",
    "event-recorded",
    "internal",
    "communication",
    "configuration",
    "identity",
    "calibration",
    "voltage",
    "performance",
    "mechanical",
    "unknown",
]
FAULTS: tuple[Fault, ...] = get_args(Fault)

Basis = Literal[
    "standard",
    "government",
    "published",
    "computed",
    "common-practice",
    "judgement",
    "from-memory",
]
WEAK_BASES: tuple[Basis, ...] = ("judgement", "from-memory")

Action = Literal["replace", "inspect", "keep", "calibrate"]
Done = Literal["replaced", "reseated", "cleared", "disconnected", "repaired"]
Extent = Literal["none", "light", "moderate", "severe"]
OccupantClass = Literal["empty", "child-or-small", "adult"]
Belt = Literal["latched", "unlatched"]
Comes = Literal[
    "turning",
    "seat-moved",
    "seat-loaded",
    "door-moved",
    "bumps",
    "cold",
    "heat",
    "rain",
    "engine-start",
]
"""When a fault comes, as its owner tells it."""

Known = Literal[
    "untouched",
    "soaked",
    "spilt",
    "corrosion",
    "rodents",
    "fitted-accessory",
    "known-software-fault",
    "back-at-once",
]
"""What else the owner tells plainly: nobody worked on it, it got wet, and the like."""

REACHING = ("flood", "fire", "heat", "corrosion")
"""What reaches some parts of a car and not others."""

Outcome = Literal["met", "not met", "undecided"]

RELEASE_WORDS = (
    "cautions",
    "contradictions",
    "disposal",
    "final-scan",
    "lamp-check",
    "maker-procedure",
    "release",
)
"""What a person signs for at release, beside gates and demands."""

RECORD_GONE = "record-gone"
"""Asked of a locked crash record: did it go away by the maker's own route."""

CLOSED_AREAS = "closed-areas"
"""Whether areas that nothing opens are opened for a look, as the maker says."""

ASKED_WORDS = (CLOSED_AREAS, "cover", "equipment", RECORD_GONE)
"""Questions that a person answers once and no rule hangs on."""

DECISIONS = ("key-on-safe", CLOSED_AREAS, "cover")
"""What is decided and not checked: a no is no failure of the car."""

VERDICT_WORDS = ("seat-trials", "label")
"""Verdicts on a component that a person may decide, written ``<word>:<component>``."""
