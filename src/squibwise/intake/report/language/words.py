"""What the words of a line say, and what may be told from it of part, fault and place."""

from typing import cast

import msgspec

from squibwise.catalog.vocabulary import VOICES
from squibwise.model.words import Status


class Words(msgspec.Struct, kw_only=True):
    """What the words of a line say, before it is joined to a part.

    Attributes:
        features: Features of the vocabulary.
        seats: Of driver and passenger, those that are named.
        sides: Of left, right and centre, those that are named.
        rows: Rows of seats named; front is not counted here.
        ends: Of front and rear, those that are named.
        stages: Stages named.
        numbers: Numbers after a part, such as ``curtain 2``.
        statuses: Status words, in the order read.
        voices: What is said of it beside: ``not``, ``gone``, ``past`` and the like.
        is_driver_doubtful: ``driver`` may be an output stage here.
    """

    features: set[str] = msgspec.field(default_factory=set)
    seats: set[str] = msgspec.field(default_factory=set)
    sides: set[str] = msgspec.field(default_factory=set)
    rows: set[int] = msgspec.field(default_factory=set)
    ends: set[str] = msgspec.field(default_factory=set)
    stages: set[int] = msgspec.field(default_factory=set)
    numbers: set[int] = msgspec.field(default_factory=set)
    statuses: list[Status] = msgspec.field(default_factory=list)
    voices: set[str] = msgspec.field(default_factory=set)
    is_driver_doubtful: bool = False

    def copy(self) -> "Words":
        """Return words that say the same and can be changed alone."""
        return Words(
            features=set(self.features),
            seats=set(self.seats),
            sides=set(self.sides),
            rows=set(self.rows),
            ends=set(self.ends),
            stages=set(self.stages),
            numbers=set(self.numbers),
            statuses=list(self.statuses),
            voices=set(self.voices),
            is_driver_doubtful=self.is_driver_doubtful,
        )

    def rule_features(self) -> set[str]:
        """Return the features together with the values that rules ask for."""
        found = set(self.features)
        found |= {f"seat:{s}" for s in self.seats} | {f"side:{s}" for s in self.sides}
        found |= {f"end:{e}" for e in self.ends} | {f"row:{r}" for r in self.rows}
        if self.rows & {2, 3}:
            found.add("end:rear")
        if self.seats:
            found.add("anyseat")
        if self.sides & {"left", "right"}:
            found.add("anyside")
        if self.stages:
            found.add("staged")
        found |= {f"status:{s}" for s in self.statuses}
        return found

    @property
    def stage(self) -> int | None:
        """The one stage named; None when there is none or more than one."""
        return next(iter(self.stages)) if len(self.stages) == 1 else None

    @property
    def is_placed(self) -> bool:
        """True when they name a seat, a side, an end of the car or a row."""
        return bool(self.seats or self.sides or self.ends or self.rows)

    @property
    def is_sided(self) -> bool:
        """True when they name a seat or a side, also as British workshops name it."""
        return bool(self.seats or self.sides or self.features & KERB)

    @property
    def says_nothing(self) -> bool:
        """True when no word of the line means anything here."""
        return not (self.features - {"skip"} or self.seats or self.sides or self.statuses)


def words_of_row(means: tuple[str, ...]) -> Words:
    """Return the sense of a row of a code table."""
    words = Words()
    add_meanings(words, means)
    return words


def add_meanings(words: Words, means: tuple[str, ...]) -> None:
    """Add the features and values that a phrase means."""
    for mean in means:
        key, colon, value = mean.partition(":")
        if mean in VOICES or key == "lacking" or mean == "alone":
            continue
        if not colon:
            words.features.add(mean)
        elif key == "status":
            add_status(words, value)
        elif key != "nth":  # "seat:driver", "row:2"
            getattr(words, f"{key}s").add(int(value) if value.isdecimal() else value)


def add_status(words: Words, value: str) -> None:
    """Add a status word, once."""
    if value not in words.statuses:
        words.statuses.append(cast("Status", value))


PARTS = frozenset(
    """charge pretension curtain knee middle cushion inflatablebelt motorbelt loadlimiter buckle
    sensor occupant seatposition offswitch offlamp clockspring columncharge headcharge rollbar
    bonnet batterycut hvcut ventcharge switch belttension""".split()
)
FAULTS = frozenset(
    """open high low short cross voltage communication configuration identity calibration internal
    performance mechanical defect crashrecord deployed resistance range ground
    crashsignal""".split()
)
HEADS = (PARTS - {"switch"}) | frozenset(
    "bag lamp unit airbagmodule electronics crashrecord crashsignal harness pillar".split()
)
_UNIT_WORDS = frozenset({"unit", "airbagmodule"})
OWN_PARTS = HEADS - _UNIT_WORDS
_PAIRS = (("left", "right"), ("driver", "passenger"), ("nearside", "offside"))
_OPPOSITE = dict((*_PAIRS, *(pair[::-1] for pair in _PAIRS)))
KERB = frozenset({"nearside", "offside"})  # sides as British workshops name them
OF_ITS_OWN = (PARTS | {"bag", "lamp", "unit"}) - {"charge"}  # an igniter is one of something
FAULT_WORDS = FAULTS | {"battery", "notfired"}
TELLS = FAULTS - {"resistance", "ground", "crashsignal"}  # which tell nothing alone
_FAULTS_APART = TELLS - {"defect", "range", "internal"}
_OF_PARTS = frozenset("open high low short cross range".split())  # no unit has these itself
_TOLD_APART = frozenset("bag pretension curtain knee sensor buckle occupant lamp".split())


def tells_supply(words: Words) -> bool:
    """``battery voltage low - history``: a fault of the unit's supply, with its status."""
    level = "voltage" in words.features and bool(words.features & {"low", "high"})
    return level and bool(words.statuses) and not words.features & OWN_PARTS


def names_another(one: Words, two: Words) -> bool:
    """Tell whether words name a part or, with a fault, a place that the fault above has not."""
    if tells_supply(one) and "voltage" not in two.features:
        return True
    heads = heads_of(one)
    if heads:
        pairs = ((one.seats, two.seats), (one.sides, two.sides))
        return not heads & heads_of(two) or any(a and b and not a & b for a, b in pairs)
    return bool(one.features & TELLS) and bool((one.sides - two.sides) | (one.seats - two.seats))


def differs(one: Words, two: Words) -> bool:
    """Tell whether two pieces of text name different parts, places or stages."""
    pairs = ((one.seats, two.seats), (one.sides, two.sides), (one.stages, two.stages))
    faults = (one.features & _FAULTS_APART, two.features & _FAULTS_APART)
    is_other_fault = all(faults) and not faults[0] & faults[1]
    is_other_part = any(a and b and a != b for a, b in pairs) or heads_of(one) != heads_of(two)
    return is_other_part or is_other_fault


def heads_of(words: Words) -> frozenset[str]:
    """Return what the words name of the parts that are told apart here."""
    heads = words.features & _TOLD_APART
    return frozenset(heads - {"bag"} if heads & {"curtain", "knee"} else heads)


def stands_alone(words: Words) -> bool:
    """Words without a code that names a part and a fault or a status."""
    part = words.features & (HEADS if "communication" in words.features else HEADS - {"pillar"})
    units = {"unit"} if words.seats else _UNIT_WORDS  # "driver airbag module" is the airbag
    fault = words.features & (TELLS if part - units else TELLS - _OF_PARTS)
    fault -= {"voltage"} if part == {"sensor"} else set()  # "left tyre sensor: battery low"
    own = part - units - {"lamp"}
    if words.statuses == ["locked"]:
        own = part & (units | {"crashrecord"})  # a belt that is locked is no fault
    if tells_supply(words):
        return True
    return bool(part) and bool(fault or (own and words.statuses))


def has_part(words: Words) -> bool:
    """Tell whether words name a part of the restraint system."""
    if words.features & PARTS:
        return True
    return "bag" in words.features and bool(words.seats or words.sides or "side" in words.features)


def lacks_part(words: Words) -> bool:
    """Tell whether words name a place and a fault whose part stands before, as in a list."""
    named = words.features & (HEADS | {"belt", "foreign", "voltage"})  # a supply has no place
    return words.is_sided and not named and bool(words.features & TELLS)


def tells_damage(words: Words) -> bool:
    """``rear bumper torn``: something is broken that is no part of the restraints."""
    told = words.features & TELLS
    is_own = has_part(words) and "foreign" not in words.features
    return "mechanical" in told and told <= {"mechanical", "defect"} and not is_own


def tells_stage_only(words: Words) -> bool:
    """``stage 2 too, open``: words name a stage and a fault of a part that stands before."""
    told = words.seats or words.sides or words.features & HEADS
    return bool(words.stages and words.features & TELLS) and not told


def has_fault(words: Words) -> bool:
    """Tell whether words tell of anything wrong."""
    return bool(words.features & FAULTS)


def opposite(words: Words) -> Words:
    """The words with the other side, or the other seat."""
    sides, seats, features = (
        {_OPPOSITE.get(one, one) for one in told}
        for told in (words.sides, words.seats, words.features)
    )
    return msgspec.structs.replace(
        words, sides=sides, seats=seats, features=features, statuses=[*words.statuses]
    )


def settle_driver(words: Words) -> None:
    """Decide whether ``driver`` is a seat or an output stage, as far as the line tells."""
    if "electronics?" in words.features:
        words.features.discard("electronics?")
        if "bag" in words.features:
            words.features.add("charge")
            words.seats.add("driver")
        elif words.seats or words.features & {"lamp", "electronics"}:
            words.features.add("electronics")
        else:
            words.is_driver_doubtful = True
