"""Parts of one line that share a fault word: ``driver airbag and left curtain open``.

Each part is read as a line of its own with that word; behind one part's fault others may follow
that are like it. A line that may name one part in two words, or of which a piece is not
understood, stays as it is.
"""

import re
from collections.abc import Callable
from functools import lru_cache
from itertools import pairwise, takewhile

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.clauses.own_places import cut_out, verdict_of
from squibwise.intake.report.clauses.plain_clauses import is_only_place
from squibwise.intake.report.language.joints import choosing, joining
from squibwise.intake.report.language.lexicon import BASE, Lexicon, tokenise
from squibwise.intake.report.language.phrases import find_hits
from squibwise.intake.report.language.words import (
    FAULT_WORDS,
    HEADS,
    KERB,
    PARTS,
    TELLS,
    Words,
    has_part,
    heads_of,
    lacks_part,
    tells_stage_only,
)
from squibwise.intake.report.line_words import BULLET, language_of, without_codes, words_in
from squibwise.intake.report.sheet import Line

_WORD = pattern(r"[^\s,;:()]+")
_READING = pattern(r"\d[.,]\d|\d\s?(?:ohms?\b|Ω|[kK]\b)")
_PLACE_LABEL = pattern(r"\W{0,4}([^\W\d][^:\d]{0,24}?)\s?:\s(?=\S)")  # "left side: "
_ASIDE = pattern(r"\s\(([^()]{3,80})\)")
_LONGEST = 200  # characters of a line that is looked at
_TWO = 2
_NAMED = (PARTS | {"bag"}) - {"charge", "switch", "offlamp", "offswitch"}
_SINGLE = frozenset({"occupant", "clockspring", "middle", "batterycut", "hvcut", "both"})
_ELSE = HEADS - PARTS - {"bag", "pillar"}  # lamps, units, plugs: of what is beside them
_ALIKE = frozenset({"also", "same"})
_SHORT = 2  # letters of a word that need not be known: "of", "la"

_Span = tuple[int, int]


class _Piece(msgspec.Struct, kw_only=True):
    """A stretch of a line, what it says, where its fault stands, and what stands before it."""

    start: int
    end: int
    words: Words
    is_and: bool = False
    is_joined: bool = False
    is_choice: bool = False
    is_labelled: bool = False
    is_lent: bool = False
    told: _Span | None = None

    @property
    def is_part(self) -> bool:
        """True when it names a part."""
        return bool(self.words.features & _NAMED)

    @property
    def is_placed(self) -> bool:
        """True when it names a place, or stands behind the label of one."""
        return self.is_lent or self.words.is_placed or self.words.is_sided

    @property
    def is_alike(self) -> bool:
        """True when it is said to be like the one before it."""
        return bool(self.words.features & _ALIKE)

    @property
    def tells(self) -> bool:
        """True when it tells a fault."""
        return bool(self.words.features & TELLS)


@lru_cache(maxsize=32)
def _parting(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What parts the pieces of a line; the words that join two are its group."""
    return re.compile(
        rf",?\s(?P<and>{joining(lexicon, language)})\s|,?\s(?P<or>{choosing(lexicon, language)})\s"
        r"|[,;]\s+|(?P<label>\s?:\s+|\s[–-]\s)|\s+[/&+]\s+|(?<=[^\W\d_]{3})/(?=[^\W\d_]{3})"
    )


def part_parts(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line as one line for each part that its one fault word is said of; else the line."""
    language = language_of(line, lexicon, usual)
    if not _may_part(line, lexicon, language):
        return [line]
    if not words_in(without_codes(line), lexicon, language).features & TELLS:
        return [line]
    sharing = _Sharing(line, lexicon, language)
    lamp = next((p for p in sharing.pieces if _is_lamp(p, sharing.pieces)), None)
    if lamp is None:
        return sharing.lines() or [line]
    bare = msgspec.structs.replace(line, codes=(), role="unread")
    apart = cut_out(bare, [(0, lamp.start), (lamp.end, len(line.text))])
    rest = cut_out(line, _around(lamp, sharing.pieces))
    return [*part_parts(rest, lexicon, usual), apart]


def _may_part(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether a line is a short text of several pieces, behind its code if it has one."""
    if line.cells or "?" in line.text or not 0 < len(line.text) <= _LONGEST:
        return False
    is_text = line.role in ("unread", "code", "words") and _leads(line)
    parting = _parting(lexicon, language)
    return is_text and (parting.search(line.text) or _ASIDE.search(line.text)) is not None


class _Sharing:
    """A line with its pieces. A class because every step needs the line and its language."""

    def __init__(self, line: Line, lexicon: Lexicon, language: str | None) -> None:
        self.line, self.lexicon, self.language = line, lexicon, language
        self.text = _ASIDE.sub(self._opened, line.text)
        self.begin, is_lent = self._begins()
        self.pieces = _merged(self._cut(is_lent), self._says)

    def lines(self) -> list[Line]:
        """A line for each part; none where the line stays as it is."""
        parts = [p for p in self.pieces if p.is_part]
        groups = self._groups()
        choices = {p.is_choice for p in parts[1:]}
        if len(parts) <= max(len(groups), 1) or len(choices) > 1:
            return []
        if not all(map(self._is_clear, self.pieces)):
            return []
        lines = [self._line_of(part, group) for group in groups for part in group if part.is_part]
        for each in lines:
            each.is_either = any(p.is_choice for p in parts)
        return lines

    def _says(self, start: int, end: int) -> Words:
        return words_in(self.text[start:end], self.lexicon, self.language)

    def _opened(self, aside: re.Match[str]) -> str:
        """``open (left curtain too)``: what is alike may stand in brackets."""
        said = words_in(aside[1], self.lexicon, self.language)
        is_alike = said.features & _ALIKE and said.features & _NAMED
        return f", {aside[1]}," if is_alike else aside[0]

    def _begins(self) -> tuple[int, bool]:
        """Where the pieces begin, and whether the label of a place stands before them."""
        bullet = BULLET.match(self.text)
        codes = self.line.codes
        begin = codes[0].end if codes else (bullet.end() if bullet else 0)
        label = _PLACE_LABEL.match(self.text, begin)
        is_lent = label is not None and is_only_place(self._says(*label.span(1)))
        return (label.end() if label is not None and is_lent else begin), is_lent

    def _cut(self, is_lent: bool) -> list[_Piece]:
        text = self.text
        cuts = list(_parting(self.lexicon, self.language).finditer(text, self.begin))
        bounds = [self.begin, *(at for cut in cuts for at in cut.span()), len(text)]
        is_row = sum(c.group().strip() == "/" for c in cuts) >= _TWO
        found: list[_Piece] = []
        for cut, start, end in zip([None, *cuts], bounds[::2], bounds[1::2], strict=True):
            if not text[start:end].strip(" .,-:"):
                continue
            piece = _Piece(start=start, end=end, words=self._says(start, end), is_lent=is_lent)
            if cut is not None and found:
                piece.is_and, piece.is_choice = cut["and"] is not None, cut["or"] is not None
                piece.is_joined = piece.is_and or piece.is_choice or is_row
                piece.is_labelled = cut["label"] is not None and found[-1].is_part
            found.append(piece)
        return found

    def _groups(self) -> list[list[_Piece]]:
        """The pieces that share each fault; none where nobody can tell."""
        told = [p for p in self.pieces if p.tells and not _is_title(p)]
        told = [p for p in told if p.is_part] or told  # "sensor dead, no comms"
        if not told or not all(map(self._find_told, told)):
            return []
        if len(told) > 1 and not all(p.is_part and _is_behind(p) for p in told):
            return []
        groups: list[list[_Piece]] = [[]]
        for at, piece in enumerate(self.pieces):
            later = self.pieces[at:]
            is_over = any(p.is_part and _is_behind(p) for p in groups[-1])
            if piece.is_part and is_over and not _follows(later, told):
                groups.append([])
            groups[-1].append(piece)
        is_shared = all(any(p in told for p in g) for g in groups) and all(map(_may_share, groups))
        return groups if is_shared else []

    def _find_told(self, piece: _Piece) -> bool:
        """Find the fault words of a piece, behind its part or before; tell whether they part."""
        if "cross" in piece.words.features:
            return False
        if not piece.is_part:
            piece.told = piece.start, piece.end
            return True
        for cut in list(_WORD.finditer(self.text, piece.start, piece.end))[1:]:
            before, behind = (piece.start, cut.start()), (cut.start(), piece.end)
            for told, part in ((behind, before), (before, behind)):
                if _tells_of(self._says(*told), self._says(*part), piece.words):
                    piece.told = told
                    return True
        piece.told = piece.end, piece.end  # nobody can take them apart, nor need they be
        return True

    def _named(self, piece: _Piece) -> str:
        """The words of a piece that name its part."""
        start, end = piece.told or (piece.end, piece.end)
        return f"{self.text[piece.start : start]}{self.text[end : piece.end]}"

    def _is_clear(self, piece: _Piece) -> bool:
        """Tell whether a piece is understood: a part, the fault, a status, and nothing else."""
        words = piece.words
        if words.voices - {"exists", "asked"} or words.features & _ELSE or is_only_place(words):
            return False
        if not piece.is_part:
            return piece.tells or bool(set(words.statuses) - {"locked"})
        is_named = has_part(words) or piece.is_lent or words.features & {"cushion", "both", *KERB}
        if piece.is_labelled or not is_named:
            return False  # "front airbags: left pretensioner open"
        if piece.told is None and (words.statuses or words.features & FAULT_WORDS):
            return False  # "driver airbag not fired, left curtain open"
        return _is_known(self._named(piece), self.lexicon, self.language)

    def _line_of(self, part: _Piece, group: list[_Piece]) -> Line:
        """A line of one part, the fault of its group, and a place that another part lends it."""
        told = next(p for p in group if p.told)
        named, fault = (
            self._named(part).strip(" ,"),
            self.text[slice(*(told.told or ()))].strip(" ,"),
        )
        whole = f"{self._lent(part, named, group)}{named}"
        is_led = not _is_behind(told) if told.is_part else told.start < part.start
        whole = f"{fault} {whole}" if is_led else f"{whole} {fault}"
        tail = (p for p in self.pieces if p.start > group[-1].end and not p.is_part)
        beside = [p for p in (*group, *tail) if not p.is_part and p is not told]
        said = [self.text[p.start : p.end].strip(" ,") for p in beside]
        titles = "".join(
            f"{s}: " for p, s in zip(beside, said, strict=True) if p.start < part.start
        )
        statuses = "".join(
            f", {s}" for p, s in zip(beside, said, strict=True) if p.start > part.start
        )
        text = f"{self.text[: self.begin]}{titles}{whole}{statuses}"
        fresh = msgspec.structs.replace(self.line, text=text, words=Words())
        fresh.tokens = tokenise(without_codes(fresh))
        return fresh

    def _lent(self, part: _Piece, named: str, group: list[_Piece]) -> str:
        """The words for a place that a part without one takes from the part before it."""
        own = words_in(named, self.lexicon, self.language)
        if part.is_placed or own.features & _SINGLE:
            return ""
        placed = [p for p in group if p.is_part and p.is_placed]
        before = [p for p in placed if p.start < part.start]
        lender = next(iter([*reversed(before), *placed]), None)
        words = _WORD.finditer(self.text, lender.start, lender.end) if lender else ()
        return "".join(f"{m[0]} " for m in words if is_only_place(self._says(*m.span())))


def _merged(pieces: list[_Piece], says: Callable[[int, int], Words]) -> list[_Piece]:
    """``Gurtstraffer links und rechts``: what only names a place or a stage is of the part."""
    found: list[_Piece] = []
    for piece in pieces:
        last, words = found[-1] if found else None, piece.words
        is_stage = bool(words.stages) and not (
            words.features - {"stagehead"} or words.statuses or words.voices
        )
        is_bare = (is_stage or is_only_place(words)) and not piece.is_choice
        is_rest = piece.is_and and (
            lacks_part(words) or tells_stage_only(words)
        )  # "driver and passenger open"
        if last and last.is_part and not last.tells and (is_bare or is_rest):
            last.end, last.words = piece.end, says(last.start, piece.end)
        else:
            found.append(piece)
    for behind, piece in pairwise(reversed(found)):
        if piece.is_part and behind.is_joined:  # "seat bag, buckle and curtain"
            piece.is_joined, piece.is_choice = True, behind.is_choice
    return found


def _follows(later: list[_Piece], told: list[_Piece]) -> bool:
    """Tell whether a part behind a fault is said to have it: ``too``, ``and``."""
    run = list(takewhile(lambda p: p.is_part and p not in told, later))
    is_end = not any(p in told for p in later)
    return any(p.is_alike for p in run) or bool(is_end and run and run[0].is_and)


def _may_share(group: list[_Piece]) -> bool:
    """Tell whether pieces name parts apart, and one fault that reaches all of them."""
    parts = [p for p in group if p.is_part]
    told = [p for p in group if p.told]
    if len(told) != 1 or not parts or not _are_apart(parts):
        return False
    if len(parts) > 1 and told[0].told == (told[0].end, told[0].end):
        return False
    first, last, one = parts[0], parts[-1], told[0]
    if not one.is_part:
        return one.start > last.start or one.start < first.start
    return _is_behind(one) or one is first


def _is_among(at: int, parts: list[_Piece]) -> bool:
    """Tell whether a part is the first, or one of which a seat has one between two others."""
    return at == 0 or bool(parts[at].words.features & _SINGLE and parts[at + 1 :])


def _is_behind(piece: _Piece) -> bool:
    """Tell whether the fault of a part stands behind it."""
    return piece.told is not None and piece.told[0] > piece.start


def _tells_of(said: Words, named: Words, whole: Words) -> bool:
    """Tell whether of two halves one tells a fault and nothing else, and the other its part."""
    is_bare = not (said.seats or said.sides or said.ends or said.stages or said.numbers)
    is_bare = is_bare and not said.features & HEADS and bool(said.features & TELLS)
    is_named = bool(named.features & _NAMED) and not named.features & TELLS
    return is_bare and is_named and _is_whole(whole, said, named)


def _leads(line: Line) -> bool:
    """Tell whether a line has no code, or one that stands before all words."""
    if len(line.codes) != 1:
        return not line.codes
    return not line.codes[0].elsewhere and not re.search(
        r"[^\W\d_]{2}", line.text[: line.codes[0].start]
    )


def _is_lamp(piece: _Piece, pieces: list[_Piece]) -> bool:
    """``driver airbag open, warning lamp on``: a lamp without a fault beside a part with one."""
    own = piece.words.features
    is_bare = "lamp" in own and not own & (TELLS | PARTS)
    return is_bare and any(p.is_part and p.tells for p in pieces if p is not piece)


def _around(piece: _Piece, pieces: list[_Piece]) -> list[_Span]:
    """A piece with what joins it to the next one, or to the one before it."""
    at = pieces.index(piece)
    return [(pieces[at - 1].end, piece.end) if at else (piece.start, pieces[1].start)]


def _is_known(text: str, lexicon: Lexicon, language: str | None) -> bool:
    tokens = tokenise(text)
    small = lexicon.small
    if not small.blamed.isdisjoint(t.text for t in tokens) or _READING.search(text):
        return False
    for said in (text, *text.split()):
        if verdict_of(said, words_in(said, lexicon, language), lexicon, language) == "good":
            return False
    known = {n for h in find_hits(lexicon, tokens, language) for n in range(h.first, h.last)}
    told = small.finding | small.at | small.inside
    names = [n for n in (language, *BASE) if n]
    return all(
        n in known
        or t.text in told
        or len(t.text) <= _SHORT
        or not t.text.isalpha()
        or lexicon.is_told(t.text, "plain", names)
        for n, t in enumerate(tokens)
    )


def _is_title(piece: _Piece) -> bool:
    """``Fault: driver airbag and left curtain open``: a word that only says that there is one."""
    return not piece.is_part and piece.words.features & TELLS == {"defect"}


def _are_apart(parts: list[_Piece]) -> bool:
    """Tell whether pieces name different parts, and none is a second word for another."""
    for at, two in enumerate(parts):
        if not two.is_placed and not (two.is_joined or two.is_alike or _is_among(at, parts)):
            return False
        for one in parts[:at]:
            if not _is_other(one.words, two.words):
                return False
            told = one.words.features | two.words.features
            is_spring = "clockspring" in told and "bag" in told and "curtain" not in told
            if is_spring and not (two.is_joined or two.is_alike):
                return False  # the spring of the airbag's own circuit
            is_apart = two.is_joined or two.is_alike
            is_pair = {"pretension", "buckle"} <= told and not is_apart
            if is_pair and not _differ(one.words, two.words):
                return False
    return parts[0].is_placed or len(parts) < _TWO or parts[1].is_joined


def _is_other(one: Words, two: Words) -> bool:
    return _kinds(one) != _kinds(two) or _differ(one, two)


def _kinds(words: Words) -> frozenset[str]:
    told = heads_of(words) or frozenset(words.features & _NAMED)
    return told | (words.features & {"side", "middle", "seatbag", "cushion"})


def _differ(one: Words, two: Words) -> bool:
    pairs = (
        (one.seats, two.seats),
        (one.sides, two.sides),
        (one.ends | {str(r) for r in one.rows}, two.ends | {str(r) for r in two.rows}),
        (one.stages | one.numbers, two.stages | two.numbers),
    )
    return any(a and b and not a & b for a, b in pairs)


def _is_whole(words: Words, said: Words, named: Words) -> bool:
    """Tell whether two halves mean what they mean together."""
    places = (words.seats, words.sides, words.ends, words.rows, words.stages, words.numbers)
    kept = (named.seats, named.sides, named.ends, named.rows, named.stages, named.numbers)
    told = (said.features | named.features) & (HEADS | TELLS)
    return places == kept and words.features & (HEADS | TELLS) == told
