"""A sentence of several parts taken apart: ``pretensioners: left open, right shorted, rear fine``.

Each part at each place is read as a line of its own, with the words that the others lend it. Of a
place that is only set against the others, ``the right one does``, nothing is told.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.clauses.own_places import blanked, is_apart, keep_only, verdict_of
from squibwise.intake.report.language.code_forms import Code
from squibwise.intake.report.language.features import NO
from squibwise.intake.report.language.joints import choosing, joining, one_of, turning
from squibwise.intake.report.language.lexicon import BASE, Lexicon, Token, tokenise
from squibwise.intake.report.language.phrases import Hit, find_hits
from squibwise.intake.report.language.words import (
    HEADS,
    KERB,
    PARTS,
    TELLS,
    Words,
    heads_of,
    stands_alone,
)
from squibwise.intake.report.line_words import BULLET, language_of, said_by, without_codes, words_in
from squibwise.intake.report.sheet import Line

_LONGEST = 300  # characters of a line that is looked at
_NAMED = (PARTS | {"bag"}) - {"charge", "switch", "offlamp", "offswitch"}
_ELSE = (HEADS - PARTS - {"bag", "pillar"}) | {"foreign", "electronics", "cross"}
_OF_NAMES = frozenset("side byside frontal impact seatbag pillar door inner belt".split())
_ALIKE = frozenset({"also", "same"})
_OF_UNIT = frozenset({"calibration", "configuration", "identity", "voltage", "crashrecord"})
_HEARD = frozenset({"not", "good", "fine", "exists", "asked", "tested"})
_PRAISE = frozenset({"good", "fine"})
_JUDGED = _PRAISE | {"not"}
_TWO = 2
_EDGES = " ,;:."
_SHORT = 2  # letters of a word that need not be known: "of", "la"
_LETTER = pattern(r"[^\W\d_]{2}")
_COLUMNS = pattern(r"\S\s{2,}\S|\t|[(?]")


class _Clause(msgspec.Struct, kw_only=True):
    """A stretch of a sentence: what it says, and what its words may lend to others.

    ``rest`` are the words by which it says anything of what it names; some may lead up to that,
    as in ``sorry, I mean the right one``.
    """

    text: str
    span: tuple[int, int]
    joint: str
    words: Words
    verdict: str
    part: str | None
    ends: str
    named: str
    is_ended: bool
    fault: str
    rest: tuple[str, ...]
    is_led: bool

    @property
    def names_part(self) -> bool:
        """True when it names a part."""
        return bool(self.words.features & _NAMED)

    @property
    def is_placed(self) -> bool:
        """True when it names a place, or a stage of what was named before."""
        return self.words.is_placed or self.words.is_sided or bool(self.words.stages)

    @property
    def is_stage(self) -> bool:
        """True when it names a stage and no place."""
        return bool(self.words.stages) and not (self.words.is_placed or self.words.is_sided)

    @property
    def is_alike(self) -> bool:
        """True when it is said to be like the one before it."""
        return bool(self.words.features & _ALIKE)


class _Told(msgspec.Struct, kw_only=True):
    """A part at a place, and what is told of it: empty while that is still to come."""

    clause: _Clause
    lent: str = ""
    verdict: str = ""
    fault: str = ""
    tail: str = ""
    is_praised: bool = False

    @property
    def text(self) -> str:
        """The words of a line of its own."""
        said = (self.lent, self.clause.text.strip(_EDGES), self.fault)
        return " ".join(x for x in said if x) + self.tail


@lru_cache(maxsize=32)
def _parting(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What parts the clauses of a sentence."""
    return re.compile(
        rf"(?P<colon>\s?:\s+|\s[–-]\s)|[,;]?\s(?P<and>{joining(lexicon, language)}|[&+/])\s"
        rf"|[,;]?\s(?P<but>{turning(lexicon, language)})\s|(?P<comma>[,;]\s+)"
        rf"|(?P<slash>(?<=[^\W\d_]{{2}})/(?=[^\W\d_]{{2}}))"
        rf"|[,;]?\s(?P<or>{choosing(lexicon, language)})\s"
    )


def part_subjects(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a sentence as a line for each part and place that it tells of; else the line.

    Args:
        line: With its codes and tokens.
        lexicon: All phrases.
        usual: The report's own language.
    """
    if not _is_sentence(line):
        return [line]
    begin = _begin(line)
    language = language_of(line, lexicon, usual)
    line = _at_times(line, lexicon, language)
    told = _Sentence().deal(_clauses(line, begin, lexicon, language))
    bad = [t for t in told if t.verdict == "bad"]
    is_clean = not line.codes and all(t.is_praised for t in told)
    if len(told) < _TWO or not (is_clean or (bad and _have_codes(line, begin, told))):
        return [line]
    if len(bad) == len(told) and all(t.clause.names_part and not (t.fault or t.lent) for t in told):
        return [line]  # each tells all of itself
    is_beside = line.codes and begin and told[0].clause.names_part  # the code's own neighbour
    each = [*bad, *(t for t in told[bool(is_beside) :] if t.is_praised)]
    return [_line_of(line, begin if t in bad else 0, t) for t in each]


def _at_times(line: Line, lexicon: Lexicon, language: str | None) -> Line:
    """``open when wet otherwise ok``: what is told of one case is there, and no part is good."""
    joint = _otherwise(lexicon).search(line.text)
    if joint is None:
        return line
    before, behind = line.text[: joint.start()], line.text[joint.end() :]
    told, rest = (words_in(text, lexicon, language) for text in (before, behind))
    is_rest = verdict_of(behind, rest, lexicon, language) == "good" and not rest.features & HEADS
    is_told = stands_alone(told) and verdict_of(before, told, lexicon, language) == "bad"
    is_told = is_told and "gone" not in rest.voices  # "poza zakresem: nie stwierdzono"
    return keep_only(line, [(0, joint.start())]) if is_rest and is_told else line


@lru_cache(maxsize=4)
def _otherwise(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf",?\s{one_of(lexicon.small.otherwise, lexicon.small.accented)}\s")


def _is_sentence(line: Line) -> bool:
    is_short = 0 < len(line.text) <= _LONGEST and not _COLUMNS.search(line.text.strip())
    is_text = is_short and not line.cells
    return is_text and line.role in ("unread", "code", "words")


def _begin(line: Line) -> int:
    """Where a sentence begins: behind its bullet, or a code that leads it."""
    first = next(iter(line.codes), None)
    if first is None:
        bullet = BULLET.match(line.text)
        return bullet.end() if bullet else 0
    is_led = not first.elsewhere and not _LETTER.search(line.text[: first.start])
    return first.end if is_led and len(line.codes) == 1 else 0


def _have_codes(line: Line, begin: int, told: list[_Told]) -> bool:
    """Tell whether each code is of a fault: of the one, where it leads the sentence."""
    bad = [t for t in told if t.verdict == "bad"]
    if begin and line.codes:
        return len(bad) == 1
    held = [len(_codes_in(line, t.clause.span)) for t in bad]
    return sum(held) == len(line.codes) and all(n <= 1 for n in held)


def _codes_in(line: Line, span: tuple[int, int]) -> list[Code]:
    return [c for c in line.codes if span[0] <= c.start and c.end <= span[1] and not c.elsewhere]


def _line_of(line: Line, begin: int, told: _Told) -> Line:
    """A line of other words that begins as it did: one in small letters may go on with another."""
    text = f"{line.text[:begin]}{told.text}"
    text = text[:1].upper() + text[1:] if line.text[:1].isupper() else text
    start = told.clause.span[0]
    moved = text.find(told.clause.text.strip(_EDGES)) - line.text.find(
        told.clause.text.strip(_EDGES), start
    )
    codes = [
        msgspec.structs.replace(c, start=c.start + moved, end=c.end + moved)
        for c in _codes_in(line, told.clause.span)
    ]
    codes = [*_codes_in(line, (0, begin)), *codes] if told.verdict == "bad" else []
    fresh = msgspec.structs.replace(
        line, text=text, codes=tuple(codes), role=line.role if codes else "unread", words=Words()
    )
    fresh.tokens = tokenise(without_codes(fresh))
    return fresh


def _clauses(line: Line, begin: int, lexicon: Lexicon, language: str | None) -> Iterator[_Clause]:
    """Yield the clauses of a sentence; none of one that has only one."""
    text = blanked(line.text, line.codes)
    cuts = list(_parting(lexicon, language).finditer(text, begin))
    bounds = [begin, *(at for cut in cuts for at in cut.span()), len(text)]
    joints = ["", *(cut.lastgroup or "" for cut in cuts)]
    spans = zip(joints, bounds[::2], bounds[1::2], strict=True)
    told = [(joint, a, b) for joint, a, b in spans if text[a:b].strip(" .,;:-/*|")]
    for joint, a, b in told if len(told) >= _TWO else ():
        clause = _clause(text[a:b], joint, lexicon, language)
        yield msgspec.structs.replace(clause, text=line.text[a:b], span=(a, b))


def _clause(text: str, joint: str, lexicon: Lexicon, language: str | None) -> _Clause:
    tokens = tokenise(text)
    words = said_by(tokens, lexicon, language)
    hits = find_hits(lexicon, tokens, language)
    of_part, of_place = _ranges(hits, _is_of_part), _ranges(hits, _is_of_place)
    alone = {n for n in of_place if _is_end(said_by(tokens[n : n + 1], lexicon, language))}
    of_end = _ranges(hits, _is_of_end) | alone  # "hinten links"
    named = of_part | of_end | of_place
    is_compound = any(_is_of_part(h) and _is_of_place(h) for h in hits)
    told = [t.text for n, t in enumerate(tokens) if n not in named]
    verdict = _verdict(text, words, lexicon, language)
    rest = _rest(tokens, named, hits, lexicon, language)
    denies = lexicon.small.denies - NO
    if not verdict and "not" not in words.voices:  # all of "crash sensors at the nose"
        of_part = {n for n in range(len(tokens)) if n not in of_end | of_place}
    return _Clause(
        text=text,
        span=(0, 0),
        joint=joint,
        words=words,
        verdict=verdict,
        part=None if is_compound else " ".join(tokens[n].text for n in sorted(of_part)),
        ends=" ".join(tokens[n].text for n in sorted(of_end)),
        named=" ".join(tokens[n].text for n in sorted(named)),
        is_ended=any(_is_of_end(h, any) and _is_of_place(h) for h in hits),
        fault=" ".join(told),
        rest=(*rest.values(), *sorted(words.voices & _JUDGED)),
        is_led=any(
            n < max(of_place | of_end, default=0) and t not in denies for n, t in rest.items()
        ),
    )


def _verdict(text: str, words: Words, lexicon: Lexicon, language: str | None) -> str:
    is_short = bool(words.features & {"ground", "battery"}) and not words.voices  # "left to ground"
    return verdict_of(text, words, lexicon, language) or ("bad" if is_short else "")


def _ranges(hits: tuple[Hit, ...], holds: Callable[[Hit], bool]) -> set[int]:
    """The words of the phrases that hold something."""
    return {n for h in hits if holds(h) for n in range(h.first, h.last)}


def _is_of_part(hit: Hit) -> bool:
    means = {*hit.means}
    return bool(means & (HEADS | _OF_NAMES)) and not means & TELLS


def _is_end(words: Words) -> bool:
    return bool(words.ends or words.rows) and not words.is_sided


def _is_of_end(hit: Hit, quantity: Callable[[Iterable[bool]], bool] = all) -> bool:
    return quantity(m.startswith(("end:", "row:")) for m in hit.means)


def _is_of_place(hit: Hit) -> bool:
    return any(m.startswith(("seat:", "side:")) or m in KERB for m in hit.means)


def _rest(
    tokens: tuple[Token, ...],
    named: set[int],
    hits: tuple[Hit, ...],
    lexicon: Lexicon,
    language: str | None,
) -> dict[int, str]:
    """The words of a clause beside what it names and articles: ``does``, ``geht's``, ``not``."""
    names = [n for n in (language, *BASE) if n]
    small = lexicon.small
    skipped = _ranges(
        hits, lambda h: {*h.means} <= {"skip", "theone", "side", "byside", "both", *_ALIKE}
    )
    found = {}
    for n, token in enumerate(tokens):
        text = token.text
        is_told = text in small.denies | small.affirms | NO
        is_plain = len(text) <= _SHORT or lexicon.is_told(text, "plain", names) or n in skipped
        is_plain = is_plain or text in small.at or text in small.inside or text in small.and_
        if n not in named and (is_told or not is_plain):
            found[n] = text
    return found


def _is_clear(clause: _Clause) -> bool:
    """Tell whether a clause is of parts of one's own that are there now."""
    return not (clause.words.voices - _HEARD or clause.words.features & _ELSE) and (
        clause.joint != "or"
    )


class _UnclearError(Exception):
    """Nobody can tell whose a clause is."""


class _Sentence:
    """A sentence that is dealt out clause by clause. A class because each needs those before."""

    def __init__(self) -> None:
        self.told: list[_Told] = []
        self.lender: _Clause | None = None
        self.last: list[_Told] = []  # those of the last verdict
        self.title: _Told | None = None
        self.steps = 0  # verdicts, and what a title or a remark adds

    def deal(self, clauses: Iterable[_Clause]) -> list[_Told]:
        """Return what is told of each part and place; nothing where that is not clear."""
        try:
            for clause in clauses:
                self._take(clause)
        except _UnclearError:
            return []
        is_one = self.steps < _TWO and any(t.verdict == "bad" for t in self.told)
        return [] if self._waiting() or is_one else self.told

    def _take(self, clause: _Clause) -> None:
        if not _is_clear(clause):
            raise _UnclearError
        if clause.names_part:
            self._take_part(clause)
        elif clause.is_placed:
            self._take_place(clause)
        elif clause.verdict or clause.words.statuses or clause.words.features & TELLS:
            self._take_verdict(clause)
        elif self.last and not self._waiting():
            self._add_tail(clause)
        else:
            raise _UnclearError

    def _waiting(self) -> list[_Told]:
        return [t for t in self.told if not t.verdict]

    def _take_part(self, clause: _Clause) -> None:
        waits = self._waiting()
        if self.told and not (clause.is_placed or "both" in clause.words.features):
            raise _UnclearError  # "second row left, pretensioner: open"
        bare = [t for t in waits if not t.clause.names_part and not t.lent]
        for told in bare:  # "left and right curtain open"
            told.lent = self._lent(clause, told.clause)
        if clause.joint == "colon" and waits and not waits[0].clause.words.is_sided:
            self.title = self.told.pop()  # "rear belts: left pretensioner open"
            waits = []
        told = _Told(clause=clause, lent=self._titled(clause))
        self.told.append(told)
        self.lender = clause
        if clause.verdict:
            if waits and (clause.joint != "and" or not all(map(_may_share, waits))):
                raise _UnclearError
            self._settle(clause)
        elif "not" in clause.words.voices:  # "not the driver's buckle but the passenger's"
            told.verdict, self.steps = "good", self.steps + 1
        elif not waits and self.last and (clause.joint == "and" or clause.is_alike):
            if clause.rest:
                raise _UnclearError
            self._share(told)

    def _titled(self, clause: _Clause) -> str:
        is_its = self.title and heads_of(self.title.clause.words) <= heads_of(clause.words)
        return self.title.clause.text.strip() if self.title and is_its else ""

    def _take_place(self, clause: _Clause) -> None:
        waits = self._waiting()
        if self.lender is None:
            self.told.append(_Told(clause=clause))
            if clause.verdict:
                raise _UnclearError
            return
        is_amends = clause.is_led and not (clause.verdict or clause.is_alike)
        if is_amends or clause.words.features & (_OF_UNIT | {"charge"}):
            raise _UnclearError
        self._check_apart(clause)
        is_stage = clause.is_stage
        heads = [t for t in waits if is_stage or not t.clause.words.is_sided]
        heads = [t for t in heads if not t.clause.words.stages]
        for head in heads:  # "pretensioners: left open"
            self.told.remove(head)
            self.steps += 1
        told = _Told(clause=clause, lent=self._lent(self.lender, clause))
        self.told.append(told)
        if clause.verdict or (clause.rest and not clause.is_alike):
            self._settle(clause)
        elif not waits and self.last:
            if clause.joint != "and" and not clause.is_alike:
                raise _UnclearError
            self._share(told)

    def _check_apart(self, clause: _Clause) -> None:
        """Raise where a place may be one that was named before."""
        for told in self.told:
            is_same = not told.clause.names_part or told.clause is self.lender
            is_sided = told.clause.words.is_sided
            is_row = not clause.words.is_sided and not (
                told.clause.words.ends | told.clause.words.rows
            )
            is_row = is_row or (clause.is_stage and clause.words.stages != told.clause.words.stages)
            if is_same and is_sided and not (is_row or is_apart(told.clause.words, clause.words)):
                raise _UnclearError

    def _take_verdict(self, clause: _Clause) -> None:
        waits = self._waiting()
        if clause.joint == "slash" or (not clause.verdict and waits):
            raise _UnclearError
        if waits:
            for told in waits:
                told.fault = clause.fault
            self._settle(clause)
        elif self.last and clause.verdict in ("", self.last[-1].verdict):
            self._add_tail(clause)
        else:
            raise _UnclearError

    def _add_tail(self, clause: _Clause) -> None:
        self.steps += 1
        for told in self.last:
            told.tail += f", {clause.text.strip(_EDGES)}"

    def _settle(self, clause: _Clause) -> None:
        """Give a clause's verdict to all that wait for one; what is only set apart is good."""
        verdict, self.steps = clause.verdict or "good", self.steps + 1
        if not clause.verdict and self.last and self.last[-1].verdict == "good":
            raise _UnclearError
        self.last = self._waiting()
        for told in self.last:
            told.verdict = verdict
            told.is_praised = bool(verdict == "good" and clause.words.voices & _PRAISE)
            if told.clause is not clause and not told.fault:
                told.fault = clause.fault

    def _share(self, told: _Told) -> None:
        self.steps += told.clause.is_alike and bool(told.lent)
        told.verdict = self.last[-1].verdict
        told.fault = (self.last[-1].fault or self.last[-1].clause.fault) + self.last[-1].tail
        self.last.append(told)

    def _lent(self, lender: _Clause, clause: _Clause) -> str:
        if clause.is_stage:
            return lender.named
        if lender.part is None:
            if not clause.verdict and clause.rest:
                return ""
            raise _UnclearError
        words = clause.words
        is_whole = words.ends or words.rows or words.seats
        if lender.is_ended and not (is_whole or lender.ends):
            raise _UnclearError
        return lender.part if is_whole else f"{lender.ends} {lender.part}".strip()


def _may_share(told: _Told) -> bool:
    """Tell whether a part waits for a fault that stands behind another one."""
    return told.clause.is_placed and not told.clause.rest
