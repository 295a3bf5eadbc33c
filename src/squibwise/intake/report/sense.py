"""The features of one line: what its phrases say of part, place, stage, fault and status."""

from bisect import bisect_right
from collections.abc import Collection
from itertools import pairwise
from typing import get_args

import msgspec

from squibwise.catalog.vocabulary import VOICES
from squibwise.intake.report.phrases import Hit, Token
from squibwise.model.words import Status

_NUMBER_WORDS = ("no", "nr", "number", "num", "n", "nummer", "numero", "numer")
_AND = ("and", "und", "et", "y", "e", "i", "or")
_UNITS = frozenset(
    "ohm ohms v volt volts km mi of times x ms s percent kg mal fois von de a ma".split()
)
_REACH = 3  # words between a negation and what it denies
_STATUSES: tuple[Status, ...] = get_args(Status)


class Sense(msgspec.Struct, kw_only=True):
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
    def says_nothing(self) -> bool:
        """True when no word of the line means anything here."""
        return not (self.features - {"skip"} or self.seats or self.sides or self.statuses)


def read_sense(
    tokens: tuple[Token, ...], hits: tuple[Hit, ...], denying: Collection[str] = ()
) -> Sense:
    """Return what the phrases of a line say together.

    Args:
        tokens: Its words.
        hits: The phrases found in them.
        denying: Words that deny what follows them.
    """
    sense = Sense()
    for hit in hits:
        # "Airbag; driver side" names the place, "driver side airbag" may name the side airbag.
        if "alone" in hit.means and not _fills_stretch(hit, tokens):
            continue
        is_place = "byside" in hit.means and _stands_apart(hit, tokens)
        _add(sense, tuple(m for m in hit.means if not (is_place and m == "byside")))
    _open_what_is_joined(sense, tokens, hits)
    line = _line(tokens, hits)
    for hit in hits:
        _add_count(sense, hit, line)
    _settle_driver(sense)
    _hear(sense, tokens, hits)
    if any(_denies_next(one, two, tokens, denying) for one, two in pairwise(hits)):
        sense.voices.add("not")
    return sense


def _denies_next(one: Hit, two: Hit, tokens: tuple[Token, ...], denying: Collection[str]) -> bool:
    """``no communication error``: two phrases of which the first denies the word for a fault."""
    is_fault = bool(FAULTS & set(one.means)) and tokens[one.first].text in denying
    follows = one.last == two.first and not tokens[two.first].apart
    return is_fault and follows and bool(FAULTS & set(two.means))


def _hear(sense: Sense, tokens: tuple[Token, ...], hits: tuple[Hit, ...]) -> None:
    """Set what is said of the fault; ``not calibrated`` is a fault of its own, no denial."""
    lacks = [h for h in hits if _lacking(h)]
    used: set[Hit] = set()
    for hit in hits:
        if not {"not", "need"} & set(hit.means):
            continue
        lack = _nearest(hit, lacks, tokens)
        good = _nearest(hit, [h for h in hits if "good" in h.means], tokens)
        if lack is not None and _lacking(lack) == "locked":
            _add_status(sense, "locked")
            used.add(hit)
        elif lack is not None:
            sense.features.add(_lacking(lack))
            used.add(hit)
        elif "need" in hit.means:
            continue
        elif good is not None and good.first >= hit.last:
            sense.features.add("defect")
            used |= {hit, good}
        elif _nearest(hit, [h for h in hits if "exists" in h.means], tokens) is not None:
            sense.voices.add("gone")
    if "crashrecord" in sense.features and any(t.text == "0" and t.apart for t in tokens):
        sense.voices.add("not")  # "crash events: 0"
    heard = [h for h in hits if h not in used]
    is_tested = any("tested" in h.means for h in heard)
    heard = [h for h in heard if "alone" not in h.means or is_tested or _fills_stretch(h, tokens)]
    sense.voices |= {m for h in heard for m in h.means if m in VOICES}
    if any("good" in h.means and _fills_stretch(h, tokens) for h in heard):
        sense.voices.add("fine")  # "checked for open: ok", not "open, good plug"


def _lacking(hit: Hit) -> str:
    """The fault that the lack of what a phrase names is; empty for other phrases."""
    return next((m[8:] for m in hit.means if m.startswith("lacking:")), "")


def _nearest(hit: Hit, others: list[Hit], tokens: tuple[Token, ...]) -> Hit | None:
    """The next phrase of a list within reach of a negation: after it, else before it."""
    after = [o for o in others if 0 <= o.first - hit.last <= _REACH]
    before = [o for o in others if 0 <= hit.first - o.last <= _REACH - 1]
    after = [o for o in after if not _is_parted(tokens, hit.last, o.first)]
    before = [o for o in before if not _is_parted(tokens, o.last, hit.first)]
    return after[0] if after else before[-1] if before else None


def _is_parted(tokens: tuple[Token, ...], first: int, last: int) -> bool:
    return any(t.apart for t in tokens[first : last + 1])


def _open_what_is_joined(sense: Sense, tokens: tuple[Token, ...], hits: tuple[Hit, ...]) -> None:
    """``diver and passenger``: a word nobody knows beside a seat or side leaves it open."""
    covered = {i for h in hits for i in range(h.first, h.last)}
    for hit in hits:
        at = hit.first
        joined = at >= 2 and tokens[at - 1].text in _AND and at - 2 not in covered
        joined = joined and not (tokens[at - 1].apart or tokens[at].apart)
        if joined and any(m.startswith("seat:") for m in hit.means):
            sense.seats |= {"driver", "passenger"}
        if joined and any(m.startswith("side:") for m in hit.means):
            sense.sides |= {"left", "right"}


def _stands_apart(hit: Hit, tokens: tuple[Token, ...]) -> bool:
    """Tell whether a phrase fills a stretch between two separators of the line."""
    ends = hit.last == len(tokens) or tokens[hit.last].apart
    return tokens[hit.first].apart and ends


def _fills_stretch(hit: Hit, tokens: tuple[Token, ...]) -> bool:
    """Tell whether a phrase is all that stands between two separators or ends of the line."""
    ends = hit.last == len(tokens) or tokens[hit.last].apart
    return (hit.first == 0 or tokens[hit.first].apart) and ends


def sense_of(means: tuple[str, ...]) -> Sense:
    """Return the sense of a row of a code table."""
    sense = Sense()
    _add(sense, means)
    return sense


def _add(sense: Sense, means: tuple[str, ...]) -> None:
    for mean in means:
        key, colon, value = mean.partition(":")
        if mean in VOICES or key == "lacking" or mean == "alone":
            continue
        if not colon:
            sense.features.add(mean)
        elif key == "status":
            _add_status(sense, value)
        elif key != "nth":
            _add_value(sense, key, value)


def _add_value(sense: Sense, key: str, value: str) -> None:
    if key == "seat":
        sense.seats.add(value)
    elif key == "side":
        sense.sides.add(value)
    elif key == "end":
        sense.ends.add(value)
    elif key == "row":
        sense.rows.add(int(value))
    elif key == "number":
        sense.numbers.add(int(value))
    else:
        sense.stages.add(int(value))


def _add_status(sense: Sense, value: str) -> None:
    status = next(s for s in _STATUSES if s == value)
    if status not in sense.statuses:
        sense.statuses.append(status)


class _Line(msgspec.Struct):
    """What is looked up beside every phrase of a line, gathered once."""

    words: list[str]
    taken: set[int]
    nth: dict[int, int]  # ordinal of a phrase by the token after it
    seat_from: int  # token after the first seat
    bags: list[int]  # tokens after bags, in order
    charges: list[int]  # tokens after charges, in order
    breaks: list[int]  # tokens behind a separator, in order
    broken: set[int]  # the same


def _line(tokens: tuple[Token, ...], hits: tuple[Hit, ...]) -> _Line:
    seats = [h.last for h in hits if any(m.startswith("seat:") for m in h.means)]
    return _Line(
        words=[t.text for t in tokens],
        taken={i for h in hits for i in range(h.first, h.last) if "skip" not in h.means},
        nth={h.last: int(m[4:]) for h in hits for m in h.means if m.startswith("nth:")},
        seat_from=min(seats, default=len(tokens) + 1),
        bags=sorted(h.last for h in hits if "bag" in h.means),
        charges=sorted(h.last for h in hits if "charge" in h.means),
        breaks=[i for i, t in enumerate(tokens) if t.apart],
        broken={i for i, t in enumerate(tokens) if t.apart},
    )


def _add_count(sense: Sense, hit: Hit, line: _Line) -> None:
    """Read the number beside a phrase as a stage or as the number of a part."""
    counted = set(hit.means) & {"stagehead", "charge", "bag", "curtain", "sensor", "pretension"}
    doubtful = "electronics?" in hit.means
    if not counted and not doubtful:
        _add_charge_of_seat(sense, hit, line)
        return
    if "loop" in hit.means and not _follows_part(hit, line):
        return  # "ignition loop 2 (driver airbag)" counts the unit's loops, not a bag's charges
    numbers = _numbers_after(line.words, hit.last, line.taken) or _number_before(hit, line)
    if not numbers:
        return
    if doubtful:
        sense.features.discard("electronics?")
        sense.seats.add("driver")
        sense.stages |= numbers
    elif counted & {"stagehead", "charge"} or (counted == {"bag"} and "frontal" in hit.means):
        sense.stages |= numbers
    else:
        sense.numbers |= numbers


def _add_charge_of_seat(sense: Sense, hit: Hit, line: _Line) -> None:
    """``igniter airbag driver 2:``: the number that ends the stretch counts the charges."""
    at = hit.last + 1
    ends = at >= len(line.words) or at in line.broken
    is_seat = any(m.startswith("seat:") for m in hit.means)
    if is_seat and ends and _is_near(line.charges, hit, line):
        sense.stages |= _numbers_after(line.words, hit.last, line.taken)


def _follows_part(hit: Hit, line: _Line) -> bool:
    """Tell whether a seat is named before, or a bag in the same stretch of words."""
    return line.seat_from <= hit.first or _is_near(line.bags, hit, line)


def _is_near(ends: list[int], hit: Hit, line: _Line) -> bool:
    """Tell whether one of these phrases stands before in the same stretch of words."""
    before = bisect_right(ends, hit.first)
    broken = bisect_right(line.breaks, hit.first)
    return before > 0 and (broken == 0 or ends[before - 1] > line.breaks[broken - 1])


def _numbers_after(words: list[str], at: int, taken: set[int]) -> set[int]:
    """The number after a phrase, or both of ``1 and 2``; a measure is no number of a stage."""
    if at < len(words) and words[at] in _NUMBER_WORDS:
        at += 1
    if not _is_count(words, at, taken):
        return set()
    other = at + 2 if at + 1 < len(words) and words[at + 1] in _AND else at + 1
    found = {int(words[at])}
    if _is_count(words, other, taken):
        found.add(int(words[other]))
    return found


def _is_count(words: list[str], at: int, taken: set[int]) -> bool:
    if at >= len(words) or at in taken or words[at] not in ("1", "2", "3"):
        return False
    return at + 1 >= len(words) or words[at + 1] not in _UNITS


def _number_before(hit: Hit, line: _Line) -> set[int]:
    """An ordinal right before a phrase; a plain number there counts things, not stages."""
    at = hit.first - 1
    if at >= 0 and at not in line.taken and line.words[at] in ("1st", "2nd", "3rd"):
        return {int(line.words[at][0])}
    return {line.nth[hit.first]} if hit.first in line.nth else set()


def _settle_driver(sense: Sense) -> None:
    """Decide whether ``driver`` is a seat or an output stage, as far as the line tells."""
    if "electronics?" in sense.features:
        sense.features.discard("electronics?")
        if sense.seats or sense.features & {"lamp", "electronics"}:
            sense.features.add("electronics")
        else:
            sense.is_driver_doubtful = True


HEADS = frozenset(
    """bag charge pretension curtain knee sensor buckle occupant lamp clockspring unit crashrecord
    offswitch offlamp seatposition airbagmodule loadlimiter middle cushion batterycut hvcut
    headcharge rollbar bonnet columncharge ventcharge motorbelt inflatablebelt belttension
    electronics crashsignal""".split()
)
OWN_PARTS = HEADS - {"unit", "airbagmodule"}
FAULT_WORDS = frozenset(
    """open high low resistance range short ground battery cross voltage communication configuration
    identity calibration internal performance mechanical defect crashrecord deployed notfired
    crashsignal""".split()
)
TELLS = frozenset(
    """open high low short cross voltage communication configuration identity calibration internal
    performance mechanical defect crashrecord deployed range""".split()
)
_UNIT_WORDS = frozenset({"unit", "airbagmodule"})
_OF_PARTS = frozenset("open high low short cross range".split())  # no unit has these itself
_TOLD_APART = frozenset("bag pretension curtain knee sensor buckle occupant lamp".split())


def names_another(one: Sense, two: Sense) -> bool:
    """Tell whether words name a part or, with a fault, a place that the fault above has not."""
    heads = heads_of(one)
    if heads:
        return not heads & heads_of(two)
    return bool(one.features & TELLS) and bool((one.sides - two.sides) | (one.seats - two.seats))


def differs(one: Sense, two: Sense) -> bool:
    """Tell whether two pieces of text name different parts, places or stages."""
    pairs = ((one.seats, two.seats), (one.sides, two.sides), (one.stages, two.stages))
    return any(a and b and a != b for a, b in pairs) or heads_of(one) != heads_of(two)


def heads_of(sense: Sense) -> frozenset[str]:
    """Return what the words name of the parts that are told apart here."""
    heads = sense.features & _TOLD_APART
    return frozenset(heads - {"bag"} if heads & {"curtain", "knee"} else heads)


def stands_alone(sense: Sense) -> bool:
    """Words without a code that names a part and a fault or a status."""
    part = sense.features & HEADS
    fault = sense.features & (TELLS if part - _UNIT_WORDS else TELLS - _OF_PARTS)
    return bool(part) and bool(fault or sense.statuses)


PARTS = frozenset(
    """charge pretension curtain knee middle cushion inflatablebelt motorbelt loadlimiter buckle
    sensor occupant seatposition offswitch offlamp clockspring columncharge headcharge rollbar
    bonnet
    batterycut hvcut ventcharge switch belttension""".split()
)
FAULTS = frozenset(
    """open high low short cross voltage communication configuration identity calibration internal
    performance mechanical defect crashrecord deployed resistance range ground crashsignal
    """.split()
)


def has_part(sense: Sense) -> bool:
    """Tell whether words name a part of the restraint system."""
    if sense.features & PARTS:
        return True
    return "bag" in sense.features and bool(sense.seats or sense.sides or "side" in sense.features)


def has_fault(sense: Sense) -> bool:
    """Tell whether words tell of anything wrong."""
    return bool(sense.features & FAULTS)
