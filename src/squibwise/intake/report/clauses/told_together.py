"""Parts of one line that share one fault word: ``driver airbag and left curtain open``.

Each part is read as a line of its own with that word. A line that may name one part in two words,
or of which a piece is not understood, stays as it is.
"""

import re
from functools import lru_cache
from itertools import pairwise

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
)
from squibwise.intake.report.line_words import BULLET, language_of, without_codes, words_in
from squibwise.intake.report.sheet import Line

_WORD = pattern(r"[^\s,;:()]+")
_READING = pattern(r"\d[.,]\d|\d\s?(?:ohms?\b|Ω|[kK]\b)")
_PLACE_LABEL = pattern(r"\W{0,4}([^\W\d][^:\d]{0,24}?)\s?:\s(?=\S)")  # "left side: "
_LONGEST = 200  # characters of a line that is looked at
_TWO = 2
_NAMED = (PARTS | {"bag"}) - {"charge", "switch", "offlamp", "offswitch"}
_SINGLE = frozenset({"occupant", "clockspring", "middle", "batterycut", "hvcut"})
_ELSE = HEADS - PARTS - {"bag", "pillar"}  # lamps, units, plugs: of what is beside them
_ALIKE = frozenset({"also", "same"})
_SHORT = 2  # letters of a word that need not be known: "of", "la"

_Span = tuple[int, int]


class _Piece(msgspec.Struct, kw_only=True):
    """A stretch of a line, what it says, where its fault stands, and what stands before it."""

    start: int
    end: int
    words: Words
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


@lru_cache(maxsize=32)
def _parting(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What parts the pieces of a line; the words that join two are its group."""
    return re.compile(
        r"[,;]\s+|(?P<label>\s?:\s+|\s[–-]\s)|\s+[/&+]\s+|(?<=[^\W\d_]{3})/(?=[^\W\d_]{3})"
        rf"|(?:,\s*)?\s(?P<and>{joining(lexicon, language)})\s"
        rf"|(?:,\s*)?\s(?P<or>{choosing(lexicon, language)})\s"
    )


def part_parts(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line as one line for each part that its one fault word is said of; else the line.

    Args:
        line: With its codes and tokens.
        lexicon: All phrases.
        usual: The report's own language.
    """
    language = language_of(line, lexicon, usual)
    if not _may_part(line, lexicon, language):
        return [line]
    if not _tells(words_in(without_codes(line), lexicon, language)):
        return [line]
    pieces = _pieces(line, lexicon, language)
    lamp = next((p for p in pieces if _is_lamp(p, pieces)), None)
    if lamp is not None:
        bare = msgspec.structs.replace(line, codes=(), role="unread")
        apart = cut_out(bare, _without(line.text, (0, len(line.text)), [_span(lamp)]))
        rest = cut_out(line, _around(lamp, pieces))
        return [*part_parts(rest, lexicon, usual), apart]
    parts = [p for p in pieces if p.is_part]
    choices = {p.is_choice for p in parts[1:]}
    if len(parts) < _TWO or len(choices) > 1 or not _share_a_fault(line, pieces, lexicon, language):
        return [line]
    lines = [_line_of(line, part, pieces, (lexicon, language)) for part in parts]
    for each in lines:
        each.is_either = any(p.is_choice for p in parts)
    return lines


def leaves_out(line: Line, said: list[Words], lexicon: Lexicon, usual: str | None) -> bool:
    """Tell whether a line names a part with its place that is in none of its faults.

    Args:
        line: Without a code.
        said: The words of each fault that was read from it.
        lexicon: All phrases.
        usual: The report's own language.
    """
    language = language_of(line, lexicon, usual)
    either = re.compile(rf"\s{choosing(lexicon, language)}\s")
    if line.codes or not (_may_part(line, lexicon, language) or either.search(line.text)):
        return False
    texts = [
        text
        for piece in _pieces(line, lexicon, language)
        for text in either.split(line.text[piece.start : piece.end])
    ]
    told = [words_in(text, lexicon, language) for text in texts]
    named = [w for w in told if has_part(w) and (w.seats or w.sides) and not w.voices]
    return any(
        heads_of(words) and not any(heads_of(words) <= heads_of(fault) for fault in said)
        for words in named
    )


def _may_part(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether a line is a short text of several pieces, behind its code if it has one."""
    if line.cells or "?" in line.text or not 0 < len(line.text) <= _LONGEST:
        return False
    is_text = line.role in ("unread", "code", "words") and _leads(line)
    return is_text and _parting(lexicon, language).search(line.text) is not None


def _share_a_fault(
    line: Line, pieces: list[_Piece], lexicon: Lexicon, language: str | None
) -> bool:
    """Tell whether pieces name parts apart, one of them tells a fault, and it is that of all."""
    told = [p for p in pieces if _tells(p.words) and not _is_title(p)]
    if (
        len(told) != 1
        or "cross" in told[0].words.features
        or not _are_apart([p for p in pieces if p.is_part])
    ):
        return False
    if not _find_told(line, told[0], lexicon, language) or not _is_said_of_all(pieces, told[0]):
        return False
    return all(_is_clear(line, piece, lexicon, language) for piece in pieces)


def _leads(line: Line) -> bool:
    """Tell whether a line has no code, or one that stands before all words."""
    if len(line.codes) != 1:
        return not line.codes
    return not line.codes[0].elsewhere and not re.search(
        r"[^\W\d_]{2}", line.text[: line.codes[0].start]
    )


def _pieces(line: Line, lexicon: Lexicon, language: str | None) -> list[_Piece]:
    bullet = BULLET.match(line.text)
    begin = line.codes[0].end if line.codes else (bullet.end() if bullet else 0)
    label = _PLACE_LABEL.match(line.text, begin)
    is_lent = label is not None and is_only_place(words_in(label[1], lexicon, language))
    begin = label.end() if label is not None and is_lent else begin
    cuts = list(_parting(lexicon, language).finditer(line.text, begin))
    bounds = [begin, *(at for cut in cuts for at in cut.span()), len(line.text)]
    spans = zip([None, *cuts], bounds[::2], bounds[1::2], strict=True)
    found: list[_Piece] = []
    for cut, start, end in spans:
        if not line.text[start:end].strip(" .-:"):
            continue
        words = words_in(line.text[start:end], lexicon, language)
        piece = _Piece(start=start, end=end, words=words, is_lent=is_lent)
        if cut is not None and found:
            piece.is_choice = cut["or"] is not None
            is_row = sum(c.group().strip() == "/" for c in cuts) >= _TWO
            piece.is_joined = cut["and"] is not None or piece.is_choice or is_row
            piece.is_labelled = cut["label"] is not None and found[-1].is_part
        found.append(piece)
    for behind, piece in pairwise(reversed(found)):
        if piece.is_part and behind.is_joined:  # "seat bag, buckle and curtain"
            piece.is_joined, piece.is_choice = True, behind.is_choice
    return found


def _is_lamp(piece: _Piece, pieces: list[_Piece]) -> bool:
    """``driver airbag open, warning lamp on``: a lamp without a fault beside a part with one."""
    own = piece.words.features
    is_bare = "lamp" in own and not own & (TELLS | PARTS)
    return is_bare and any(p.is_part and _tells(p.words) for p in pieces if p is not piece)


def _around(piece: _Piece, pieces: list[_Piece]) -> list[_Span]:
    """A piece with what joins it to the next one, or to the one before it."""
    at = pieces.index(piece)
    return [(pieces[at - 1].end, piece.end) if at else (piece.start, pieces[1].start)]


def _tells(words: Words) -> bool:
    return bool(words.features & TELLS)


def _is_clear(line: Line, piece: _Piece, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether a piece is understood: a part, the fault, a status, and nothing else."""
    words = piece.words
    if words.voices - {"exists", "asked"} or words.features & _ELSE or is_only_place(words):
        return False
    if not piece.is_part:
        return _tells(words) or bool(words.statuses)
    is_named = has_part(words) or piece.is_lent or words.features & {"cushion", *KERB}
    if piece.is_labelled or not is_named:
        return False  # "front airbags: left pretensioner open"
    if piece.told is None and (words.statuses or words.features & FAULT_WORDS):
        return False  # "driver airbag not fired, left curtain open"
    start, end = piece.told or (piece.end, piece.end)
    named = line.text[piece.start : start] + line.text[end : piece.end]
    return _is_known(named, lexicon, language)


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


def _span(piece: _Piece) -> _Span:
    return piece.start, piece.end


def _is_title(piece: _Piece) -> bool:
    """``Fault: driver airbag and left curtain open``: a word that only says that there is one."""
    return not piece.is_part and piece.words.features & TELLS == {"defect"}


def _are_apart(parts: list[_Piece]) -> bool:
    """Tell whether pieces name different parts, and none is a second word for another."""
    for at, two in enumerate(parts):
        if not two.is_placed and not (two.is_joined or at == 0):
            return False
        for one in parts[:at]:
            if not _is_other(one.words, two.words):
                return False
            told = one.words.features | two.words.features
            is_spring = "clockspring" in told and "bag" in told and "curtain" not in told
            if is_spring and not two.is_choice:
                return False  # the spring of the airbag's own circuit
            is_apart = two.is_joined or bool(two.words.features & _ALIKE)
            is_pair = {"pretension", "buckle"} <= told and not is_apart
            if is_pair and not _differ(one.words, two.words):
                return False
    return parts[0].is_placed or parts[1].is_joined


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


def _find_told(line: Line, piece: _Piece, lexicon: Lexicon, language: str | None) -> bool:
    """Find the fault words of a piece, behind its part or before it; tell whether they part."""
    if not piece.is_part:
        piece.told = _span(piece)
        return True
    words = list(_WORD.finditer(line.text, *_span(piece)))
    for cut in words[1:]:
        before, behind = (piece.start, cut.start()), (cut.start(), piece.end)
        for told, part in ((behind, before), (before, behind)):
            said, named = (words_in(line.text[a:b], lexicon, language) for a, b in (told, part))
            is_bare = not (said.seats or said.sides or said.ends or said.stages or said.numbers)
            is_bare = is_bare and not said.features & HEADS
            is_named = bool(named.features & _NAMED) and not _tells(named)
            if is_bare and is_named and _tells(said) and _is_whole(piece.words, said, named):
                piece.told = told
                return True
    return False


def _is_whole(words: Words, said: Words, named: Words) -> bool:
    """Tell whether two halves mean what they mean together."""
    places = (words.seats, words.sides, words.ends, words.rows, words.stages, words.numbers)
    kept = (named.seats, named.sides, named.ends, named.rows, named.stages, named.numbers)
    told = (said.features | named.features) & (HEADS | TELLS)
    return places == kept and words.features & (HEADS | TELLS) == told


def _is_said_of_all(pieces: list[_Piece], told: _Piece) -> bool:
    """Tell whether no part stands where the fault word does not reach, as behind a full clause."""
    parts = [p for p in pieces if p.is_part]
    last, first = parts[-1], parts[0]
    if not told.is_part:
        return told.start > last.start or told.start < first.start
    is_behind = told.told is not None and told.told[0] > told.start
    if is_behind and told is last:
        return True
    if not is_behind:
        return told is first
    later = [p for p in parts if p.start > told.start]
    return all(p.words.features & _ALIKE for p in later)


def _line_of(
    line: Line, part: _Piece, pieces: list[_Piece], tongue: tuple[Lexicon, str | None]
) -> Line:
    """The line with one of its parts, the fault, and a place that another part lends it."""
    lender = None
    single = _SINGLE if part.told else {*_SINGLE, "both"}  # "both curtains and the knee bag"
    if not part.is_placed and not part.words.features & single:
        placed = [p for p in pieces if p.is_part and p.is_placed]
        before = [p for p in placed if p.start < part.start]
        lender = next(iter([*reversed(before), *placed]), None)
    cuts: list[_Span] = []
    at = 0
    for piece in pieces:
        begin = at or piece.start
        at = piece.end
        if piece is part or not piece.is_part:
            continue
        kept = [piece.told] if piece.told else []
        kept += _places(line, piece, tongue) if piece is lender else []
        cuts += _without(line.text, (begin, piece.end), sorted(kept))
    for joined, piece in pairwise(pieces):
        if piece is part and joined.is_part and (part.is_lent or not joined.told):
            cuts += [(joined.end, part.start - (line.text[part.start - 1] == " "))]
    return cut_out(line, sorted(set(cuts)))


def _places(line: Line, piece: _Piece, tongue: tuple[Lexicon, str | None]) -> list[_Span]:
    """Where the words that only name a place stand in a piece."""
    words = _WORD.finditer(line.text, *_span(piece))
    return [m.span() for m in words if is_only_place(words_in(m.group(), *tongue))]


def _without(text: str, span: _Span, kept: list[_Span]) -> list[_Span]:
    """What is left of a stretch without what is kept, each with a blank before it."""
    ends = [span[0], *(end for _, end in kept)]
    starts = [*(start for start, _ in kept), span[1]]
    gaps = []
    for a, b in zip(ends, starts, strict=True):
        end = b - 1 if b > a and b < span[1] and text[b - 1] == " " else b
        if a < end:
            gaps.append((a, end))
    return gaps
