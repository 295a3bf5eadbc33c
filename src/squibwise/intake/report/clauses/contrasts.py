"""One fault denied beside another that is asserted: ``passenger airbag open, not shorted``.

What is denied is taken off the line, so that it denies nothing else there. ``No open, short or high
resistance`` may deny all that it names: there a word must turn, or a verb must assert.
"""

import re
from functools import lru_cache

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.assertions import DENYING, ONCE, begins_with_only, count_strange
from squibwise.intake.report.clauses.own_places import cut_out, keep_only
from squibwise.intake.report.language.joints import joining, one_of, spans_of, turning
from squibwise.intake.report.language.lexicon import BASE, Lexicon, flat, tokenise
from squibwise.intake.report.language.words import (
    FAULT_WORDS,
    HEADS,
    TELLS,
    Words,
    names_another,
    stands_alone,
)
from squibwise.intake.report.line_words import language_of, said_by, words_in
from squibwise.intake.report.sheet import Line

_LONGEST = 200  # characters of a line that is looked at
_WORD = pattern(r"\S+")
_SHORT_IS = pattern(r"\W*\w+['\u2019]s\s")  # "it's"
_LEAD = 2  # words of a clause of which one is its verb: "it is open"
_ASSERTING = frozenset({"exists", "asked"})  # "there is", "is"
_ENDS = frozenset({"ground", "battery"})  # "short to battery, not to ground"
_VAGUE = frozenset({"defect", "crashrecord"})  # "the fault is gone" is all there was
_ENDED = DENYING | ONCE


class _Clause(msgspec.Struct, kw_only=True):
    """A stretch of a line, what it says, and what joins it to the one before it."""

    start: int
    end: int
    words: Words
    joint: str = ""


def drop_denied(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line without a fault that it denies beside one that it asserts of the same part."""
    if line.cells or "?" in line.text or len(line.text) > _LONGEST:
        return [line]
    return _Contrast(line, lexicon, language_of(line, lexicon, usual)).lines()


@lru_cache(maxsize=32)
def _parting(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What parts clauses."""
    words = f"{joining(lexicon, language)}|{turning(lexicon, language)}"
    words += f"|{one_of(lexicon.small.instead, lexicon.small.accented)}"
    only = one_of(lexicon.small.only, lexicon.small.accented)
    return re.compile(rf"[,;:]?\s(?:{words})\s|[,;:]\s|\s[-–]\s|\s?\(|\s(?={only}\s)")


@lru_cache(maxsize=4)
def _not_only(lexicon: Lexicon) -> re.Pattern[str]:
    """``not only shorted, but also open``: nothing is denied."""
    return re.compile(rf"\b{one_of(lexicon.small.denies | {'no'})}\s{one_of(lexicon.small.only)}\s")


@lru_cache(maxsize=32)
def _turning(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    return re.compile(rf"\s{turning(lexicon, language)}\s")


@lru_cache(maxsize=4)
def _instead(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"\s{one_of(lexicon.small.instead, lexicon.small.accented)}\s")


class _Contrast:
    """A line with its clauses. A class because every step needs the line and its language."""

    def __init__(self, line: Line, lexicon: Lexicon, language: str | None) -> None:
        self.line, self.lexicon, self.language = line, lexicon, language
        self.turned = _turning(lexicon, language)
        self.instead = _instead(lexicon)

    def lines(self) -> list[Line]:
        """The line without what it denies; as it is where nobody can tell that."""
        if (
            not self.instead.search(self.line.text)
            and not said_by(self.line.tokens, self.lexicon, self.language).voices & _ENDED
        ):
            return [self.line]
        only = _not_only(self.lexicon).search(flat(self.line.text))
        if only is not None:
            return [cut_out(self.line, [only.span()])]
        parted = self._parted()
        if parted:
            return parted
        clauses = self._clauses()
        denied = [at for at, clause in enumerate(clauses) if self._is_denied(clause)]
        own = [
            at for at, clause in enumerate(clauses) if at not in denied and _asserts(clause.words)
        ]
        pairs = [(clauses[a].words, clauses[b].words) for a in denied for b in own]
        if not pairs or not all(_are_apart(one, two) for one, two in pairs):
            return [self.line]
        if denied[0] < own[0] and not (
            self._names_own(clauses[denied[0]], clauses[own[0]]) or self._turns(clauses[own[0]])
        ):
            return [self.line]
        gone = [self._told(clauses, at) for at in denied]
        return [cut_out(self.line, [s for s in gone if s])] if all(gone) else [self.line]

    def _parted(self) -> list[Line]:
        """``no crash stored, but driver airbag open``: what is denied and what is told, apart."""
        text = self.line.text
        for turn in self.turned.finditer(text):
            spans = (0, turn.start()), (turn.end(), len(text))
            denied, own = (self._says(text[start:end]) for start, end in spans)
            is_told = stands_alone(own) and _asserts(own) and names_another(own, denied)
            if is_told and denied.voices & DENYING and denied.features & TELLS:
                return [keep_only(self.line, [span]) for span in spans]
        return []

    def _says(self, text: str) -> Words:
        return words_in(text, self.lexicon, self.language)

    def _clauses(self) -> list[_Clause]:
        text, end = self.line.text, 0
        found: list[_Clause] = []
        for a, b in spans_of(text, _parting(self.lexicon, self.language)):
            found.append(_Clause(start=a, end=b, words=self._says(text[a:b]), joint=text[end:a]))
            end = b
        return found

    def _cuts(self, start: int, end: int) -> list[int]:
        return [m.start() for m in _WORD.finditer(self.line.text, start, end)][1:]

    def _is_denied(self, clause: _Clause) -> bool:
        return _denies(clause.words) or bool(
            self.instead.fullmatch(clause.joint) and clause.words.features & TELLS
        )

    def _turns(self, clause: _Clause) -> bool:
        """``but open``, ``it is open``, ``open now``: it goes against the clause before it."""
        text = self.line.text[clause.start : clause.end]
        names, lexicon = [n for n in (self.language, *BASE) if n], self.lexicon
        tokens = tokenise(text)
        is_told = any(lexicon.is_told(t.text, "holds", names) for t in tokens[:_LEAD])
        is_now = any("status:present" in lexicon.first_meanings(t.text) for t in tokens)
        is_told = is_told or is_now or bool(_SHORT_IS.match(text))
        is_turned = self.turned.search(clause.joint) or begins_with_only(text, lexicon)
        return is_told or bool(is_turned)

    def _names_own(self, denied: _Clause, own: _Clause) -> bool:
        """``no short, left curtain open``: a part before its fault begins something of its own."""
        if denied.words.features & HEADS:
            return False
        each = (self._says(m[0]) for m in _WORD.finditer(self.line.text, own.start, own.end))
        first = next((w for w in each if w.is_placed or w.features & (HEADS | TELLS)), own.words)
        return not first.features & TELLS

    def _told(self, clauses: list[_Clause], at: int) -> tuple[int, int] | None:
        """Where a clause denies its fault, all of it but a part that it names; None for nowhere.

        What joins it to the next clause, or to the one before it, goes with it.
        """
        clause, text = clauses[at], self.line.text
        after = clauses[at + 1].start if at + 1 < len(clauses) else clause.end
        if not (clause.words.features & HEADS or clause.words.is_placed):
            codes = {t.text for code in self.line.codes for t in tokenise(code.printed)}
            said = text[clause.start : clause.end]
            if count_strange(said, self.lexicon, self.language, frozenset(codes)):
                return None  # "le klaxon ne marche pas non plus"
            return (clauses[at - 1].end, clause.end) if at else (clause.start, after)
        cuts = self._cuts(clause.start, clause.end)
        halves = [
            (self._says(text[clause.start : c]), self._says(text[c : clause.end])) for c in cuts
        ]
        for cut, (before, behind) in zip(reversed(cuts), reversed(halves), strict=True):
            if _denies_alone(behind) and _only_names(before):
                return cut, after
        for cut, (before, behind) in zip(cuts, halves, strict=True):
            if _denies_alone(before) and _only_names(behind):
                return clause.start, cut
        return None


def _denies(words: Words) -> bool:
    told, voices = words.features & (TELLS | _ENDS) - _VAGUE, words.voices
    return bool(told and voices & _ENDED and voices <= _ENDED | _ASSERTING)


def _asserts(words: Words) -> bool:
    return bool(words.features & TELLS - _VAGUE) and words.voices <= _ASSERTING


def _are_apart(denied: Words, own: Words) -> bool:
    """Tell whether two clauses tell different faults, and not of different parts."""
    is_other = bool(own.features & HEADS) and names_another(denied, own)
    return not denied.features & own.features & FAULT_WORDS and not is_other


def _denies_alone(words: Words) -> bool:
    return _denies(words) and not (words.features & HEADS or words.is_placed)


def _only_names(words: Words) -> bool:
    return not words.voices and not words.features & TELLS
