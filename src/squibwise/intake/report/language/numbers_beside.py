"""Numbers beside the words of a line: stages of a part, or which of several parts is meant."""

from bisect import bisect_right

import msgspec

from squibwise.intake.report.language.lexicon import Token
from squibwise.intake.report.language.phrases import Hit
from squibwise.intake.report.language.words import Words

_NUMBER_WORDS = ("no", "nr", "number", "num", "n", "nummer", "numero", "numer")
AND = ("and", "und", "et", "y", "e", "i", "or")  # between two numbers, or two places
_UNITS = frozenset(
    "ohm ohms v volt volts km mi of times x ms s percent kg mal fois von de a ma".split()
)


def add_counts(words: Words, tokens: tuple[Token, ...], hits: tuple[Hit, ...]) -> None:
    """Add the stages and the numbers of parts that stand beside the phrases of a line."""
    is_counted = any(t.text[0].isdecimal() for t in tokens)
    if not is_counted and not any(m.startswith("nth:") for h in hits for m in h.means):
        return  # most lines
    line = _line(tokens, hits)
    for hit in hits:
        _add_count(words, hit, line)


class _Gathered(msgspec.Struct):
    """What is looked up beside every phrase of a line, gathered once."""

    texts: list[str]
    taken: set[int]
    nth: dict[int, int]  # ordinal of a phrase by the token after it
    seat_from: int  # token after the first seat
    bags: list[int]  # tokens after bags, in order
    bag_starts: set[int]  # tokens that bags begin at
    charges: list[int]  # tokens after charges, in order
    breaks: list[int]  # tokens behind a separator, in order
    broken: set[int]  # the same
    measures: set[int]  # tokens that begin a number with a decimal, such as "2.1 ohm"


def _line(tokens: tuple[Token, ...], hits: tuple[Hit, ...]) -> _Gathered:
    seats = [h.last for h in hits if any(m.startswith("seat:") for m in h.means)]
    return _Gathered(
        texts=[t.text for t in tokens],
        taken={i for h in hits for i in range(h.first, h.last) if "skip" not in h.means},
        nth={h.last: int(m[4:]) for h in hits for m in h.means if m.startswith("nth:")},
        seat_from=min(seats, default=len(tokens) + 1),
        bags=sorted(h.last for h in hits if "bag" in h.means),
        bag_starts={h.first for h in hits if "bag" in h.means},
        charges=sorted(h.last for h in hits if "charge" in h.means),
        breaks=[i for i, t in enumerate(tokens) if t.apart],
        broken={i for i, t in enumerate(tokens) if t.apart},
        measures={i for i in range(len(tokens) - 2) if _begins_decimal(*tokens[i : i + 3])},
    )


def _begins_decimal(one: Token, two: Token, unit: Token) -> bool:
    is_number = one.text.isdecimal() and two.text.isdecimal() and unit.text in _UNITS
    return is_number and (one.is_cut or two.apart)


def _add_count(words: Words, hit: Hit, line: _Gathered) -> None:
    """Read the number beside a phrase as a stage or as the number of a part."""
    counted = set(hit.means) & {"stagehead", "charge", "bag", "curtain", "sensor", "pretension"}
    doubtful = "electronics?" in hit.means
    if not counted and not doubtful:
        _add_charge_of_seat(words, hit, line)
        return
    if hit.last in line.measures and "stagehead" not in counted:
        return
    if "loop" in hit.means and not _follows_part(hit, line) and not _leads_bag(hit, line):
        return  # "ignition loop 2 (driver airbag)" counts the unit's loops, not a bag's charges
    numbers = _numbers_after(line.texts, hit.last, line.taken) or _number_before(hit, line)
    if not numbers:
        return
    if doubtful:
        words.features.discard("electronics?")
        words.seats.add("driver")
        words.stages |= numbers
    elif counted & {"stagehead", "charge"} or (counted == {"bag"} and "frontal" in hit.means):
        words.stages |= numbers
    else:
        words.numbers |= numbers


def _add_charge_of_seat(words: Words, hit: Hit, line: _Gathered) -> None:
    """``igniter airbag driver 2:``: the number that ends the stretch counts the charges."""
    at = hit.last + 1
    ends = at >= len(line.texts) or at in line.broken
    is_seat = any(m.startswith("seat:") for m in hit.means)
    if is_seat and ends and _is_near(line.charges, hit, line):
        words.stages |= _numbers_after(line.texts, hit.last, line.taken)


def _follows_part(hit: Hit, line: _Gathered) -> bool:
    """Tell whether a seat is named before, or a bag in the same stretch of words."""
    return line.seat_from <= hit.first or _is_near(line.bags, hit, line)


def _leads_bag(hit: Hit, line: _Gathered) -> bool:
    """``firing circuit 1 airbag driver``: the bag stands right behind the number."""
    at = hit.last + 1
    return at in line.bag_starts and at not in line.broken and hit.last not in line.broken


def _is_near(ends: list[int], hit: Hit, line: _Gathered) -> bool:
    """Tell whether one of these phrases stands before in the same stretch of words."""
    before = bisect_right(ends, hit.first)
    broken = bisect_right(line.breaks, hit.first)
    return before > 0 and (broken == 0 or ends[before - 1] > line.breaks[broken - 1])


def _numbers_after(texts: list[str], at: int, taken: set[int]) -> set[int]:
    """The number after a phrase, or both of ``1 and 2``; a measure is no number of a stage."""
    if at < len(texts) and texts[at] in _NUMBER_WORDS:
        at += 1
    if not _is_count(texts, at, taken):
        return set()
    other = at + 2 if at + 1 < len(texts) and texts[at + 1] in AND else at + 1
    found = {int(texts[at])}
    if _is_count(texts, other, taken):
        found.add(int(texts[other]))
    return found


def _is_count(texts: list[str], at: int, taken: set[int]) -> bool:
    if at >= len(texts) or at in taken or texts[at] not in ("1", "2", "3"):
        return False
    return at + 1 >= len(texts) or texts[at + 1] not in _UNITS


def _number_before(hit: Hit, line: _Gathered) -> set[int]:
    """An ordinal right before a phrase; a plain number there counts things, not stages."""
    at = hit.first - 1
    if at >= 0 and at not in line.taken and line.texts[at] in ("1st", "2nd", "3rd"):
        return {int(line.texts[at][0])}
    return {line.nth[hit.first]} if hit.first in line.nth else set()
