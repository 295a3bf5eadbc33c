"""What the clauses of a line without a code tell of: each a fault, one for each place and stage."""

import re
from functools import lru_cache

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.joints import joining, turning
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.phrases import find_claims, find_layout
from squibwise.intake.report.language.words import (
    FAULT_WORDS,
    HEADS,
    OWN_PARTS,
    PARTS,
    Words,
    add_status,
    has_part,
    heads_of,
    lacks_part,
    opposite,
    stands_alone,
    tells_damage,
    tells_stage_only,
)
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line

_EVERYONE = (
    r"(?:both|all|beide|alle|(?:toutes |tous )?les deux|tous|toutes|ambos|ambas|l[ao]s dos|"
    r"os dois|as duas|todos|todas|tutti|tutte|entrambi|entrambe|oba|obie|wszystkie)"
)
OF_ALL = pattern(rf"(?i)\({_EVERYONE}\b[^)]{{0,40}}\)|[,;-]\s*{_EVERYONE}\s[^,;.()]{{3,25}}\.?\s*$")
_NAMED = PARTS - {"charge", "switch", "sensor"}
_UNIT = frozenset({"unit", "airbagmodule", "crashrecord"})
_PAIRED = frozenset("bag curtain pretension buckle sensor knee seatposition rollbar".split())


@lru_cache(maxsize=32)
def clause_end(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """Return what parts the clauses of a line that tell of faults."""
    words = f"{joining(lexicon, language)}|{turning(lexicon, language)}"
    return re.compile(rf"[,;]\s|(?<!\d)\.\s|\s(?:{words})\s|\s[+&]\s")


def list_clauses(line: Line, lexicon: Lexicon, language: str | None) -> list[Words]:
    """The faults that a line without a code tells of: one for each clause and each stage."""
    text = _without_count(line.text, lexicon, language)
    whole = line.words if text == line.text else words_in(text, lexicon, language)
    texts = _clauses_of(text, lexicon, language)
    said = [words_in(text, lexicon, language) for text in texts]
    good = [is_praised(w, t, lexicon) for w, t in zip(said, texts, strict=True)]
    pieces = [w for w, is_good in zip(said, good, strict=True) if not is_good]
    everyone = OF_ALL.search(line.text)
    for piece in pieces if everyone is not None else ():
        for status in line.words.statuses:
            add_status(piece, status)  # "(both current)"
    own = _deal_places(pieces)
    is_parted = any(good) or any(map(tells_damage, pieces)) or _leads_apart(pieces)
    is_parted = is_parted or any("lamp" not in w.features for w in own if "lamp" in whole.features)
    senses = own if len(own) > 1 or (own and is_parted) else [whole]
    return [single for words in senses for each in _both(words) for single in _stages(each)]


def _leads_apart(pieces: list[Words]) -> bool:
    """``supply too low and left sensor silent``: what is told before the part is not its fault."""
    first = next((at for at, piece in enumerate(pieces) if stands_alone(piece)), 0)
    lead = [p for p in pieces[:first] if "voltage" in p.features and not p.features & OWN_PARTS]
    return bool(lead)


_NUMBERED = pattern(
    r"(?<![\w.,])\d{1,3}\s+([^\W\d]+(?:\([^\W\d]{1,3}\))?)(?:\s*[:,;]|\s-)?(?:\s+|$)"
)


def _without_count(text: str, lexicon: Lexicon, language: str | None) -> str:
    """``SRS 2 faults: driver airbag open``: what is told, without how many there are."""
    for number in _NUMBERED.finditer(text):
        word = tuple(token.text for token in tokenise(number[1]))
        if "count" in find_layout(lexicon, word)[0]:
            rest = text[number.end() :]
            is_told = stands_alone(words_in(rest, lexicon, language))
            return rest if is_told else f"{text[: number.start()]}, {rest}"
    return text


def _clauses_of(text: str, lexicon: Lexicon, language: str | None) -> list[str]:
    """The clauses of a line; the stops of ``hi. re. Seitenairbag`` only cut words short."""
    found, start = [], 0
    parting = clause_end(lexicon, language)
    for end in parting.finditer(text):
        before, behind = text[start : end.start()], parting.split(text[end.end() :])[0]
        is_whole = stands_alone(words_in(before, lexicon, language))
        is_cut = not is_whole or is_only_place(words_in(behind, lexicon, language))
        if not (end.group().startswith(".") and is_cut):
            found.append(before)
            start = end.end()
    return [*found, text[start:]]


def is_only_place(words: Words) -> bool:
    """Tell whether words name a side, a seat, an end or a row and nothing more."""
    told = words.features - {"skip", "side", "byside"}
    return words.is_placed and not (told or words.statuses or words.voices)


def is_praised(words: Words, text: str, lexicon: Lexicon) -> bool:
    """Tell whether a clause calls a part good: ``seat bag open, curtain without a finding``."""
    is_told = bool(words.voices & {"good", "fine", "not", "gone"})
    is_told = is_told or any(lexicon.is_praise(t.text) for t in tokenise(text)[-1:])
    is_good = is_told or "clean" in find_claims(text, lexicon)
    is_bad = stands_alone(words) and not words.voices & {"not", "gone"}
    return is_good and bool(words.features & HEADS) and not is_bad


def _deal_places(pieces: list[Words]) -> list[Words]:
    """``RF and RR sensors open, same on the other side``: each place with its part and fault."""
    found: list[Words] = []
    places: list[Words] = []
    for before, piece in zip([None, *pieces], pieces, strict=False):
        if stands_alone(piece):
            is_own = piece.is_placed or piece.is_sided or not places  # "left, pretensioner: open"
            found += [*(_moved(piece, place) for place in places), *([piece] if is_own else [])]
            places = []
        elif before is not None and lacks_part(piece) and _waits(before):
            found += _pair_of(before, piece)
        elif tells_stage_only(piece) and found:
            told = found[-1].features - FAULT_WORDS | piece.features & FAULT_WORDS
            own = {"features": told, "stages": piece.stages, "statuses": [*piece.statuses]}
            found.append(msgspec.structs.replace(found[-1], **own))  # "stage 1 open, 2 shorted"
        elif found and _is_of_unit(piece, found[-1]):
            found.append(msgspec.structs.replace(piece, features=piece.features | {"unit"}))
        elif "otherside" in piece.features and found:
            found.append(opposite(found[-1]))
        elif is_place(piece):
            places.append(piece)
        elif piece.statuses and not piece.features - {"skip"}:
            for each in found:
                add_statuses(each, piece)  # "both open, current"
    last = found[-1] if found else None
    if last is not None and len(places) > 1 and not (last.sides or last.seats):
        found[-1:] = [_moved(last, place) for place in places]
    return found


def _is_of_unit(piece: Words, before: Words) -> bool:
    """``crash data in the unit and it is not coded``: a fault of the unit named before."""
    is_own = bool(piece.features & {"configuration", "identity"}) and not piece.features & OWN_PARTS
    return is_own and not piece.voices and before.features & HEADS <= _UNIT


def _waits(words: Words) -> bool:
    """Tell whether words name a part and its place, and nothing of a fault."""
    told = words.features & FAULT_WORDS or words.statuses or words.voices
    return has_part(words) and bool(words.sides or words.seats) and not told


def _pair_of(part: Words, other: Words) -> list[Words]:
    """``belt rear left`` and ``right open``: a fault of the part at each of two places."""
    told = part.features | (other.features & FAULT_WORDS)
    one = msgspec.structs.replace(part, features=told, statuses=[*other.statuses])
    return [one, _moved(one, other)]


def add_statuses(words: Words, more: Words) -> None:
    """Add the statuses of other words where none is told."""
    for status in () if words.statuses else more.statuses:
        add_status(words, status)


def is_place(words: Words) -> bool:
    """Tell whether a piece of a line names a side or a seat and nothing more."""
    return bool(words.sides or words.seats) and is_only_place(words)


def _moved(words: Words, place: Words) -> Words:
    return msgspec.structs.replace(
        words,
        sides=place.sides | (words.sides & {"centre"}),
        seats=place.seats,
        statuses=list(words.statuses),
        ends=place.ends or words.ends,
        rows=place.rows or words.rows,
    )


def _both(words: Words) -> list[Words]:
    """``both curtains open``: a fault of the left part and one of the right part."""
    placed = words.seats or words.sides & {"left", "right"}
    if "both" not in words.features or placed or not words.features & _PAIRED:
        return [words]
    return [
        msgspec.structs.replace(words, sides=words.sides | {side}) for side in ("left", "right")
    ]


def _stages(words: Words) -> list[Words]:
    stages = words.stages
    if not stages and {"both", "charge"} <= words.features and words.seats:
        stages = {1, 2}  # "both igniters of the driver airbag"
    if len(stages) <= 1 or "cross" in words.features:
        return [words]
    return [msgspec.structs.replace(words, stages={stage}) for stage in sorted(stages)]


def names_other_part(more: Words, words: Words) -> bool:
    """Tell whether words name a part, and other words another one.

    The clock spring and the airbag at the wheel are of one circuit.
    """
    one, two = (heads_of(w) | (w.features & _NAMED) for w in (words, more))
    is_wheel = "clockspring" in one | two and "bag" in one | two
    return bool(one and two) and not one & two and not is_wheel
