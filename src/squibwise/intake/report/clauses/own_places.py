"""Places of one line that carry a verdict each: ``curtains: left one open, right one fine``.

A place whose own clause calls it good has no fault, one whose clause tells a fault has that; where
no clause tells which, the line stays as it is and its places stay candidates.
"""

import re
from functools import lru_cache

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.asides import why_absent
from squibwise.intake.report.language.code_forms import Code
from squibwise.intake.report.language.joints import joining, turning
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.phrases import find_claims, find_hits
from squibwise.intake.report.language.words import FAULTS, HEADS, KERB, TELLS, Words
from squibwise.intake.report.line_words import language_of, without_codes, words_in
from squibwise.intake.report.sheet import Line

_GOOD = frozenset({"found good", "denied", "gone"})
_WORD = pattern(r"[^\W_]+(?:['\u2019-][^\W_]+)*\.?")
_MEASURED = pattern(r"(?i)\d\s?(?:ohms?\b|Ω)")
_TWO_AND_TWO = pattern(
    r"(?P<one>[^\W\d_]+\.?)\s?/\s?(?P<two>[^\W\d_]+\.?)[^/]*?[:\s]\s*"
    r"(?P<first>[^/:,;]+?)\s?/\s?(?P<second>[^/:,;]+?)\s*$"
)
_LETTER = pattern(r"[,;:]\s([A-Z])\s(?=[^\W\d_]{2})")
_LONGEST = 400  # characters of a line that is looked at
_MOST = 16  # pieces of one
_JOINED = frozenset({"/", "&", "+"})
_ZONES = frozenset({"door", "pillar", "pillarc"})
_TWO = 2
_ENDING = 2  # words at the end of a piece that call it good

_Span = tuple[int, int]


class _Piece(msgspec.Struct, kw_only=True):
    """A stretch of a line, what it says, and whether that is a fault, none, or no verdict."""

    start: int
    end: int
    words: Words
    verdict: str = ""
    is_joined: bool = False

    @property
    def span(self) -> _Span:
        """Where the piece stands in its line."""
        return self.start, self.end


@lru_cache(maxsize=16)
def _parting(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What parts the pieces of a line; the words that only join two are its group."""
    return re.compile(
        rf"[,;:]\s+|\s-\s|\s{{2,}}|\t|(?<![/&+])\s+(?=[^\W\d_]{{1,12}}:\s)"
        rf"|\s{turning(lexicon, language)}\s"
        rf"|\s(?P<and>{joining(lexicon, language)}|[&+/])\s"
        rf"|(?<=[^\W\d_]{{2}})(?P<slash>/)(?=[^\W\d_]{{2}})"
    )


def part_places(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line as one line for each place that has a fault of its own; else the line."""
    if line.cells or "?" in line.text or not 0 < len(line.text) <= _LONGEST:
        return [line]
    if line.role not in ("unread", "code"):
        return [line]
    language = language_of(line, lexicon, usual)
    if not _parting(lexicon, language).search(line.text.strip()):
        return [line]
    heard = _with_letters(line, lexicon, language)
    if not _has_two(words_in(without_codes(heard), lexicon, language)):
        return [line]
    pieces = _join(_pieces(heard, lexicon, language))
    dealt = _dealt(line, lexicon, language)
    if dealt or not 0 < len(pieces) <= _MOST:
        return dealt or [line]
    return _Parting(heard, lexicon, language, pieces).lines() or [line]


def _dealt(line: Line, lexicon: Lexicon, language: str | None) -> list[Line]:
    """``curtain L/R: open/ok``: two verdicts are dealt out over two places, in their order."""
    found = _TWO_AND_TWO.search(line.text)
    if found is None or any(c.end > found.start() for c in line.codes):
        return []
    one, two = (words_in(found[name], lexicon, language) for name in ("one", "two"))
    said = [(found[n], words_in(found[n], lexicon, language)) for n in ("first", "second")]
    verdicts = [verdict_of(text, words, lexicon, language) for text, words in said]
    is_pair = one.is_sided and two.is_sided and is_apart(one, two)
    if not is_pair or "" in verdicts or "bad" not in verdicts:
        return []
    cuts = [[(found.end(a), found.end(b)) for a, b in (("one", "two"), ("first", "second"))]]
    cuts.append(
        [(found.start(a), found.start(b)) for a, b in (("one", "two"), ("first", "second"))]
    )
    return [cut_out(line, cut) for cut, told in zip(cuts, verdicts, strict=True) if told == "bad"]


def _with_letters(line: Line, lexicon: Lexicon, language: str | None) -> Line:
    """``sensors L ok, R no data``: a letter that leads a piece is a word of its own."""
    text = line.text
    for match in _LETTER.finditer(line.text):
        if words_in(match[1], lexicon, language).sides:
            text = f"{text[: match.end(1)]},{text[match.end(1) + 1 :]}"
    return msgspec.structs.replace(line, text=text) if text != line.text else line


def _has_two(words: Words) -> bool:
    """Tell whether words name two places that no one part has."""
    kerb = words.features & KERB
    return any(len(v) >= _TWO for v in (words.seats, words.sides, kerb)) or bool(
        words.seats and words.sides
    )


def is_apart(one: Words, two: Words) -> bool:
    """Tell whether the words of two pieces name places that cannot be one."""
    both = ((one, two), (two, one))
    pairs = (
        (one.seats, two.seats),
        (one.sides, two.sides),
        (one.features & KERB, two.features & KERB),
        (one.ends, two.ends),
    )
    if any(a and b and not a & b for a, b in pairs):
        return True
    if any("front" in a.ends and b.features & _ZONES and not b.ends for a, b in both):
        return True  # "up front left, left door"
    return any(
        bool(a.seats) and not b.seats and ("rear" in b.ends or bool(b.rows)) for a, b in both
    )


def _pieces(line: Line, lexicon: Lexicon, language: str | None) -> list[_Piece]:
    text = blanked(line.text, line.codes)
    bounds, joined = [0], [False]
    for cut in _parting(lexicon, language).finditer(text):
        bounds += [cut.start(), cut.end()]
        joined.append(cut["and"] is not None or cut["slash"] is not None)
    bounds.append(len(text))
    found = []
    for start, end, is_joined in zip(bounds[::2], bounds[1::2], joined, strict=True):
        said = text[start:end]
        words = words_in(said, lexicon, language)
        verdict = verdict_of(said, words, lexicon, language)
        if said.strip(" .,;:-/|*"):
            found.append(
                _Piece(start=start, end=end, words=words, verdict=verdict, is_joined=is_joined)
            )
    return found


def blanked(text: str, codes: tuple[Code, ...], sign: str = ".") -> str:
    """Return a text with a sign, such as one that parts nothing, in place of its codes."""
    for code in codes:
        for start, end in ((code.start, code.end), *code.elsewhere):
            text = text[:start] + sign * (end - start) + text[end:]
    return text


def verdict_of(text: str, words: Words, lexicon: Lexicon, language: str | None) -> str:
    """Return ``bad`` where a piece tells a fault, ``good`` where it tells none; else nothing."""
    if why_absent(words, is_coded=True) in _GOOD:
        return "good"
    told = words.features & TELLS
    if told - {"defect"} or (told and "not" not in words.voices):
        return "bad"
    if "not" in words.voices:
        return ""
    hits = find_hits(lexicon, tokenise(text), language)
    answers = any(m.startswith("lacking:") for h in hits for m in h.means)
    if answers or "clean" in find_claims(text, lexicon) or _MEASURED.search(text):
        return "good"
    ends = (" ".join(text.split()[-n:]) for n in range(1, _ENDING + 1))  # "left one good"
    said = (why_absent(words_in(end, lexicon, language), is_coded=True) for end in ends)
    return "good" if "found good" in said else ""


def _join(pieces: list[_Piece]) -> list[_Piece]:
    """``driver and passenger belts`` is one piece, a place before its verdict another."""
    found: list[_Piece] = []
    for piece in pieces:
        last = found[-1] if found else None
        is_pair = last is not None and piece.is_joined and not last.verdict
        if last is None or not (is_pair and last.words.is_sided and piece.words.is_sided):
            found.append(piece)
            continue
        found[-1] = _both_of(last, piece)
    return found


def _both_of(one: _Piece, two: _Piece) -> _Piece:
    words = msgspec.structs.replace(
        two.words,
        seats=one.words.seats | two.words.seats,
        sides=one.words.sides | two.words.sides,
        features=one.words.features | two.words.features,
    )
    return _Piece(start=one.start, end=two.end, words=words, verdict=two.verdict)


class _Owner(msgspec.Struct, kw_only=True):
    """One place with the pieces that are its own."""

    words: Words
    pieces: list[_Piece]
    verdict: str = ""

    def holds(self, code: Code) -> bool:
        """Tell whether a code stands in one of the pieces."""
        return any(p.start <= code.start and code.end <= p.end for p in self.pieces)


class _Parting:
    """A line that is being taken apart: what stands before its places, and the places.

    A class because every step needs the line, its language and what was sorted so far.
    """

    def __init__(
        self, line: Line, lexicon: Lexicon, language: str | None, pieces: list[_Piece]
    ) -> None:
        self.line, self.lexicon, self.language = line, lexicon, language
        self.head: list[_Piece] = []
        self.owners: list[_Owner] = []
        self.is_clear = all(self._take(piece) for piece in pieces)

    def _take(self, piece: _Piece) -> bool:
        """Sort a piece; False where nobody can tell whose it is."""
        if _has_two(piece.words):
            self.head.append(piece)
            return not self.owners
        if piece.words.is_sided:
            return self._take_placed(piece)
        last = self.owners[-1] if self.owners else None
        if last is None:
            self.head.append(piece)
        elif not last.verdict or not piece.verdict or last.verdict == piece.verdict:
            if piece.words.features & HEADS and (piece.verdict or last.verdict):
                return False
            last.pieces.append(piece)
            last.verdict = last.verdict or piece.verdict
        else:
            return False
        return True

    def _take_placed(self, piece: _Piece) -> bool:
        if any(not is_apart(piece.words, o.words) for o in self.owners):
            return False
        owner = _Owner(words=piece.words, pieces=[piece], verdict=piece.verdict)
        self.owners.append(owner)
        return True

    def lines(self) -> list[Line]:
        """The lines of the places with a fault; none where the places stay candidates."""
        if self.is_clear and not self.owners:
            return self._both()
        if not self.is_clear or not self._settle():
            return []
        bad = [o for o in self.owners if o.verdict == "bad"]
        codes = self.line.codes
        if not bad or (len(bad) == len(self.owners) > 1 and not self._may_deal(bad)):
            return []
        if len(codes) > 1:
            return self._without_pair() if self._has_code_each() else []
        if any(o.verdict != "bad" and self._holds_code(o) for o in self.owners):
            return []
        return [self._line_of(owner) for owner in bad]

    def _both(self) -> list[Line]:
        """``Left/Right curtain   both low``: the fault is one of each place of the pair."""
        pairs = [p for p in self.head if _has_two(p.words)]
        bad = (p.words.features for p in self.head if p.verdict == "bad")
        is_said = any("both" in told and not told & HEADS for told in bad)
        if len(pairs) != 1 or pairs[0].verdict or not is_said or len(self.line.codes) > 1:
            return []
        spans = self._places(pairs[0])
        if len(spans) != _TWO:
            return []
        return [cut_out(self.line, [span]) for span in reversed(spans)]

    def _settle(self) -> bool:
        """Give a bare place the verdict that stands before it; tell whether all have one."""
        before = {p.verdict for p in self.head} - {""}
        is_pair = any(_has_two(p.words) for p in self.head)
        if len(self.owners) < _TWO and not is_pair:
            return False
        if len(self.owners) == 1 and "bad" in before and self.owners[0].verdict:
            return False
        told = {o.verdict for o in self.owners} - {""}
        for owner in self.owners:
            is_bare = owner.words.features <= {"skip", "byside", "side", *KERB}
            is_one = len(self.owners) == 1 or told == {"good"}
            if not owner.verdict and before == {"bad"} and is_bare and is_one:
                owner.verdict = "bad"
        return all(o.verdict for o in self.owners)

    def _may_deal(self, bad: list[_Owner]) -> bool:
        """Tell whether places with a fault each are no clauses that the others read as well."""
        own = [bool(o.words.features & HEADS) for o in bad]
        return len(self.line.codes) > 1 or not all(own)

    def _has_code_each(self) -> bool:
        codes = self.line.codes
        held = [sum(o.holds(c) for c in codes) for o in self.owners]
        return held == [1] * len(self.owners) and len(codes) == len(held)

    def _without_pair(self) -> list[Line]:
        spans = [s for p in self.head if _has_two(p.words) for s in self._places(p)]
        return [cut_out(self.line, spans)] if spans else []

    def _line_of(self, owner: _Owner) -> Line:
        """The line with what stands before, the place's own pieces, and what others lend it."""
        cuts = [s for p in self.head if _has_two(p.words) for s in self._places(p)]
        said = [p.words for p in (*self.head, *owner.pieces)]
        lends = not any(w.features & (HEADS - {"unit", "airbagmodule"}) for w in said)
        for other in self.owners:
            for piece in other.pieces if other is not owner else ():
                if "both" in piece.words.features and piece.words.statuses:
                    continue  # "both current"
                kept = self._parts(piece) if lends else []
                cuts += _gaps((self._end_before(piece), piece.end), kept)
        if not any(o is not owner and self._holds_code(o) for o in self.owners):
            return cut_out(self.line, cuts)
        own = msgspec.structs.replace(self.line, codes=(), role="unread")  # the code is another's
        return cut_out(own, [*cuts, *((c.start, c.end) for c in self.line.codes)])

    def _holds_code(self, owner: _Owner) -> bool:
        """Tell whether the one code stands with a place; one that leads the line is of the line."""
        return any(owner.holds(c) and c.end > self._lead() for c in self.line.codes)

    def _lead(self) -> int:
        """Where a code that leads the line ends; 0 where none does."""
        first = next(iter(self.line.codes), None)
        is_first = first is not None and not _WORD.search(self.line.text[: first.start])
        return first.end if first is not None and is_first else 0

    def _end_before(self, piece: _Piece) -> int:
        """Where the piece before this one ends: what parts them goes with it."""
        every = (*self.head, *(p for o in self.owners for p in o.pieces))
        return max((p.end for p in every if p.end <= piece.start), default=self._lead())

    def _places(self, piece: _Piece) -> list[_Span]:
        """Where the words that only name a place stand in a piece."""
        found: list[_Span] = []
        for match in self._words_in(piece):
            words = words_in(match.group(), self.lexicon, self.language)
            between = self.line.text[found[-1][1] : match.start()] if found else "-"
            follows = not between.strip()
            if words.is_sided and not words.features & HEADS:
                is_next = bool(found) and between.strip() in _JOINED
                found.append((found[-1][1] if is_next else match.start(), match.end()))
            elif follows and words.features & {"byside", "side"} and not words.features & HEADS:
                found.append(match.span())
        return found

    def _parts(self, piece: _Piece) -> list[_Span]:
        """Where the words that name the part, and no place or verdict, stand in a piece."""
        found = []
        for match in self._words_in(piece):
            words = words_in(match.group(), self.lexicon, self.language)
            told = bool(words.features - {"skip"} or words.ends or words.rows)
            is_said = words.voices or words.statuses or words.features & FAULTS
            if told and not is_said and not words.is_sided:
                found.append((match.start(), min(match.end() + 1, piece.end)))
        return found

    def _words_in(self, piece: _Piece) -> list[re.Match[str]]:
        text = blanked(self.line.text, self.line.codes)
        return list(_WORD.finditer(text, *piece.span))


def _gaps(span: _Span, kept: list[_Span]) -> list[_Span]:
    """What is left of a stretch without some of its words."""
    ends = [span[0], *(end for _, end in kept)]
    starts = [*(start for start, _ in kept), span[1]]
    return [(a, b) for a, b in zip(ends, starts, strict=True) if a < b]


def cut_out(line: Line, spans: list[_Span]) -> Line:
    """Return the line without some stretches of its text; its codes stand where they now do."""
    gone = sorted(set(spans))
    text, at = "", 0
    for start, end in gone:
        text += line.text[at:start]
        at = max(at, end)
    text += line.text[at:]

    def moved(place: int) -> int:
        return place - sum(min(end, place) - start for start, end in gone if start < place)

    codes = tuple(
        msgspec.structs.replace(
            c,
            start=moved(c.start),
            end=moved(c.end),
            elsewhere=tuple((moved(a), moved(b)) for a, b in c.elsewhere),
        )
        for c in line.codes
    )
    fresh = msgspec.structs.replace(line, text=text, codes=codes, words=Words())
    fresh.tokens = tokenise(without_codes(fresh))
    return fresh


def keep_only(line: Line, spans: list[_Span]) -> Line:
    """Return the line with some stretches of its text alone, and the codes in them."""
    codes = tuple(c for c in line.codes if any(a <= c.start and c.end <= b for a, b in spans))
    ends = [0, *(at for span in spans for at in span), len(line.text)]
    gaps = [(a, b) for a, b in zip(ends[::2], ends[1::2], strict=True) if a < b]
    own = msgspec.structs.replace(line, codes=codes, role=line.role if codes else "unread")
    return cut_out(own, gaps)
