"""What a cell of a list says of parts, in people's words: which fired, which did not."""

import re
from collections.abc import Iterator

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
from squibwise.intake.report.candidates import Candidate, Hand, Scope, candidates_of, spots
from squibwise.intake.report.language.features import read_words
from squibwise.intake.report.language.lexicon import Lexicon, lexicon_of, tokenise
from squibwise.intake.report.language.phrases import find_hits
from squibwise.intake.report.language.words import FAULTS, OWN_PARTS, Words
from squibwise.model.car import Car
from squibwise.model.names import SEATS, split_component

WHOLE = "*"
"""Stands for the car: a word such as 'airbags' that names no part of it."""
_BETWEEN = pattern(
    r"\s*(?:[;,+&|:\n]|(?<![\s/][A-Za-z])(?<!^[A-Za-z])/|\b(?:and|und|y|e|et|i|plus)\b)\s*", re.I
)
_LETTERS = pattern(r"\b([LR])\s*/\s*([LR])\b", re.I)
_IDS = pattern(r"[a-z0-9-]+\.[a-z0-9-]+(?:[;,\s]+[a-z0-9-]+\.[a-z0-9-]+)*")
_BRACKETS = pattern(r"[()\[\]]")
_OFFSIDE = pattern(r"\b(?:o/s|off[- ]?side|(n/s|near[- ]?side))(?![a-z])", re.I)
_COUNT = pattern(r"^(\d{1,2})\s*[x\u00d7]?\s+(?=\D)", re.I)
_LONGEST = 400  # characters of a cell
_LIKELY = 0.6  # from this share on a reading is the one meant
_SEVERAL, _PART, _FILLER, _USUAL = "several", "part", "filler", "usual"
_DENIAL = "denial"
_WHOLE_VOICES = frozenset(("good", "fine"))
_FAULTS = FAULTS - {"deployed"}
_OF_BAGS = frozenset(("bag", "deployed", "notfired"))
_SAYS_ONLY = frozenset(("bag", "deployed", "notfired", "skip", "both"))


class UnclearPartError(Exception):
    """Words that name no part of a car, or several; its text says which."""


class _Piece(msgspec.Struct, frozen=True):
    """One name of a cell as it was read.

    Attributes:
        strange: Its words that are not known.
        is_many: It speaks of several parts.
        is_empty: Nothing in it says anything of an airbag.
    """

    words: Words
    found: tuple[Candidate, ...]
    strange: tuple[str, ...]
    is_many: bool
    is_empty: bool


def read_said_parts(text: str, car: Car, catalog: Catalog) -> dict[str, bool]:
    """Return the parts that a cell names, and whether it says of each that it fired.

    Args:
        text: Such as ``Driver + Pass``, ``curtain L; front bags`` or ids of components.
        car: For the parts it has. A part that it has not is told all the same.
        catalog: Words of every language.

    Raises:
        UnclearPartError: Words in it are not known, or name several parts.
    """
    found: dict[str, bool] = {}
    text = text.strip(" .;,")
    if _IDS.fullmatch(text):
        return dict.fromkeys(re.split(r"[;,\s]+", text), True)
    if len(text) > _LONGEST:
        raise UnclearPartError(f"'{text[:30]}...' has more than {_LONGEST} characters")
    kind = ""
    plain = name_sides(_LETTERS.sub(r"\1 + \2", _BRACKETS.sub(" ", text)))
    for said in filter(None, _BETWEEN.split(plain)):
        parts, fired = _read_piece(said.strip(" ."), kind, car, catalog)
        kind = split_component(parts[0]).kind if parts and parts[0] != WHOLE else kind
        for part in parts:
            if found.setdefault(part, fired) != fired:
                raise UnclearPartError(f"'{said}' is said to have fired and not to have")
    return found


def name_sides(said: str) -> str:
    """Return a phrase with the side it means for nearside, the left one, and offside."""
    return _OFFSIDE.sub(lambda found: "left" if found[1] else "right", said)


def _read_piece(said: str, kind: str, car: Car, catalog: Catalog) -> tuple[list[str], bool]:
    """Return the parts of one name, and whether it says that they fired."""
    if said in car.components:
        return [said], True
    known = catalog.lots.meaning(_PART, said)
    if known != said.lower():
        return list(_expand(known.split(), car)), True
    piece = _best(said, kind, car, catalog)
    denies = any(catalog.lots.meaning(_DENIAL, t.text) == _DENIAL for t in tokenise(said))
    known_voices = {*_WHOLE_VOICES, *(["not"] if denies else [])}
    says_more = bool(piece.words.voices - known_voices or piece.words.features & _FAULTS)
    if piece.strange or says_more or "?" in said:
        strange = f": {piece.strange[0]}" if piece.strange else ""
        is_known = piece.words.says_nothing
        what = "is not understood" if is_known else "says more than that it fired or did not"
        raise UnclearPartError(f"'{said}' {what}{strange}")
    fired = not (piece.words.features & {"notfired"} or piece.words.voices)
    if piece.words.features <= _SAYS_ONLY and not piece.words.is_placed:
        if piece.is_empty:
            raise UnclearPartError(f"'{said}' names no part")
        return [WHOLE], fired
    return _decide(said, piece, fired, car, catalog), fired


def _expand(words: list[str], car: Car) -> Iterator[str]:
    """Yield components; ``*.curtain`` is each of its kind in the car, in the first row of seats."""
    for word in words:
        place, _, kind = word.partition(".")
        yield from _all_of(kind, car) if place == "*" else [word]


def _all_of(kind: str, car: Car) -> list[str]:
    named = [(c, split_component(c)) for c in car.components]
    places = (*SEATS[:2], "left", "right", "centre")
    return [c for c, n in named if n.kind == kind and n.place in places]


def _decide(said: str, piece: _Piece, fired: bool, car: Car, catalog: Catalog) -> list[str]:
    """Return the parts that a name means: one, the usual ones, or each of its kind."""
    first = piece.found[0] if piece.found else None
    if first is None or first.weight < _LIKELY:
        told = " or ".join(c.component or c.kind for c in piece.found[:3])
        raise UnclearPartError(f"'{said}' may be {told}" if told else f"'{said}' names no part")
    if first.component is not None:
        return [first.component]
    usual = catalog.lots.meaning(_USUAL, first.kind)
    every = _all_of(first.kind, car)
    if piece.is_many or len(every) == 1 or not (fired or usual != first.kind):
        return every or [f"{WHOLE}.{first.kind}"]
    if usual != first.kind and "rear" not in piece.words.ends:
        return list(_expand(usual.split(), car))
    raise UnclearPartError(f"'{said}' may be {' or '.join(every) or first.kind}")


def _best(said: str, kind: str, car: Car, catalog: Catalog) -> _Piece:
    """Return a name as the language reads it that leaves the fewest of its words unknown."""
    lexicon = lexicon_of(catalog)
    pieces = [
        _in_language(said, kind, language, lexicon, car, catalog) for language in lexicon.words
    ]
    return min(pieces, key=lambda p: (len(p.strange), not p.words.is_placed, not p.found))


def _in_language(
    said: str, kind: str, language: str, lexicon: Lexicon, car: Car, catalog: Catalog
) -> _Piece:
    """Return a name as one language reads it; a place alone is that of an airbag, or as before."""
    count, text = _COUNT.match(said), _COUNT.sub("", said)
    words, strange = _read(text, language, lexicon)
    is_empty = not words.features & _OF_BAGS
    scope = Scope(catalog=catalog, hand=Hand(side=car.drive_hand, is_known=True), car=car)
    found: tuple[Candidate, ...] = ()
    if words.features & OWN_PARTS:
        found = candidates_of(words, scope)
    elif kind and words.sides and len(tokenise(text)) == 1:
        at = spots(kind, words, scope)
        found = tuple(msgspec.structs.replace(c, kind=kind) for c in at)
    else:
        noun = "pretensioner" if "belt" in words.features else "airbag"
        words, strange = _read(f"{text} {noun}", language, lexicon)
        found = candidates_of(words, scope)
    meaning = catalog.lots.meaning
    return _Piece(
        words=words,
        is_empty=is_empty,
        found=tuple(c for c in found if c.kind and catalog.kinds[c.kind].fires),
        strange=tuple(s for s in strange if meaning(_FILLER, s) != _FILLER),
        is_many="both" in words.features
        or (count is not None and int(count[1]) > 1)
        or any(meaning(_SEVERAL, t.text) == _SEVERAL for t in tokenise(text)),
    )


def _read(text: str, language: str, lexicon: Lexicon) -> tuple[Words, list[str]]:
    """Return what a text says in a language, and its words that are not known there."""
    tokens = tokenise(text)
    hits = find_hits(lexicon, tokens, language)
    known = {at for h in hits for at in range(h.first, h.last)}
    strange = [t.text for at, t in enumerate(tokens) if at not in known]
    return read_words(tokens, hits, lexicon.denying), strange
