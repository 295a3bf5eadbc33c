"""Faults of a line that nothing parts, as dictated: ``driver airbag open left curtain short``."""

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.clauses.own_places import cut_out
from squibwise.intake.report.language.lexicon import Lexicon
from squibwise.intake.report.language.phrases import find_hits
from squibwise.intake.report.language.words import HEADS, TELLS, Words, names_another, stands_alone
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.sheet import Line

_LONGEST = 200  # characters of a line that is looked at
_PARTED = pattern(r"[,;:?()|\t]|\s{2,}\S|\s-\s")
_WORD = pattern(r"\S+")
_TWO = 2
_ENDING = 3  # words at the end of what tells a fault
_PARTS = HEADS - {"harness"}


def part_unmarked(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line as one for each part that it tells with its fault, one right behind another."""
    begin = line.codes[-1].end if line.codes else 0
    if line.cells or len(line.codes) > 1 or len(line.text) > _LONGEST:
        return [line]
    if _PARTED.search(line.text[begin:].strip()) or line.role not in ("unread", "code"):
        return [line]
    language = language_of(line, lexicon, usual)
    hits = find_hits(lexicon, line.tokens, language)
    if any(sum(bool(kind & {*h.means}) for h in hits) < _TWO for kind in (HEADS, TELLS)):
        return [line]
    at = _second_at(line.text, begin, lexicon, language)
    if at is None:
        return [line]
    rest = cut_out(msgspec.structs.replace(line, codes=(), role="unread"), [(0, at)])
    return [cut_out(line, [(at, len(line.text))]), *part_unmarked(rest, lexicon, usual)]


def _second_at(text: str, begin: int, lexicon: Lexicon, language: str | None) -> int | None:
    """Where a second part with its fault begins behind the first one; None where none does."""
    for match in list(_WORD.finditer(text, begin))[_TWO:]:
        at = match.start()
        first = words_in(text[begin:at], lexicon, language)
        rest = words_in(text[at:], lexicon, language)
        if not (_is_whole(first) and _is_whole(rest) and names_another(rest, first)):
            continue
        ends = (" ".join(text[begin:at].split()[-n:]) for n in range(1, _ENDING + 1))
        if not any(_only_tells(words_in(end, lexicon, language)) for end in ends):
            continue  # "the short of the curtain": its fault stands before the part
        word = words_in(match[0], lexicon, language)
        if word.is_placed or word.features & HEADS:
            return at
    return None


def _is_whole(words: Words) -> bool:
    told = words.features & (TELLS - {"defect"})
    return stands_alone(words) and bool(told and words.features & _PARTS) and not words.voices


def _only_tells(words: Words) -> bool:
    return bool(words.features & TELLS) and not (words.features & _PARTS or words.is_placed)
