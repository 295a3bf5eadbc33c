"""Parts that a line calls good beside what it tells to be at fault: each is read by itself."""

import re
from functools import lru_cache
from itertools import pairwise

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.clauses.own_places import keep_only
from squibwise.intake.report.language.joints import Span, joining, one_of, spans_of, turning
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.phrases import find_claims, find_hits
from squibwise.intake.report.language.words import (
    HEADS,
    Words,
    differs,
    has_fault,
    has_part,
    stands_alone,
)
from squibwise.intake.report.line_words import language_of, without_codes, words_in
from squibwise.intake.report.sheet import Line

_WORD = pattern(r"\S+")
_LONGEST = 200  # characters of a line that is looked at
_KINDS = ("good", "bad")
_IS = {"asked", "exists"}
_DENIES = {"not", "gone", "past"}


def part_good(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line as what it tells to be at fault and each part that it calls good.

    ``B1234 driver airbag open and left curtain ok``: the fault is no curtain's.
    """
    language = language_of(line, lexicon, usual)
    line = _with_stages_named(_at_times(line, lexicon, language), lexicon, language)
    spans = _clauses(line, lexicon, language)
    said = [words_in(line.text[a:b], lexicon, language) for a, b in spans]
    verdicts = [_verdict(words) for words in said]
    good, bad = ([w for w, v in zip(said, verdicts, strict=True) if v == k] for k in _KINDS)
    if not good or not all(differs(one, two) for one in good for two in bad):
        return [line]  # "driver airbag was open, driver airbag ok now"
    told = _spread(verdicts)
    praised = _praised(line.text, spans, verdicts, told, (lexicon, language))
    is_list = "" not in verdicts and all(differs(one, two) for one, two in pairwise(good))
    if not bad and not (is_list and praised[1:]):
        return [line]
    at_fault = [keep_only(line, _at_fault(spans, told))] if bad else []
    return [*at_fault, *(keep_only(line, group) for group in praised)]


def _at_times(line: Line, lexicon: Lexicon, language: str | None) -> Line:
    """``open when wet otherwise ok``: what is told of one case is there, and no part is good."""
    for joint in _otherwise(lexicon).finditer(line.text) if not line.cells else ():
        before, behind = line.text[: joint.start()], line.text[joint.end() :]
        told, rest = (words_in(text, lexicon, language) for text in (before, behind))
        is_good = _voiced(rest) or "clean" in find_claims(behind, lexicon)
        is_rest = is_good and not (rest.features & HEADS or has_fault(rest))
        if is_rest and stands_alone(told) and has_fault(told) and not told.voices - _IS:
            return keep_only(line, [(0, joint.start())])
    return line


@lru_cache(maxsize=4)
def _otherwise(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf",?\s{one_of(lexicon.small.otherwise, lexicon.small.accented)}\s")


def _with_stages_named(line: Line, lexicon: Lexicon, language: str | None) -> Line:
    """``driver airbag stage 1 ok, stage 2 open``: a stage by itself is of the part before it."""
    spans = _clauses(line, lexicon, language)
    text, part = line.text, ""
    for start, end in spans:
        words = words_in(line.text[start:end], lexicon, language)
        heads = (m.end() for m in _WORD.finditer(line.text, start, end))
        names = (line.text[start:at] for at in heads if has_part(words) and words.stages)
        bare = [n for n in names if _names_part(words_in(n, lexicon, language))]
        if bare:
            part = bare[-1].strip(" :,")
        elif part and words.stages and not (words.features & HEADS or words.is_sided):
            at = start + len(text) - len(line.text)
            text = f"{text[:at]}{part} {text[at:]}"
    if text == line.text or any(code.end > spans[0][1] for code in line.codes):
        return line
    named = msgspec.structs.replace(line, text=text)
    named.tokens = tokenise(without_codes(named))
    return named


def _names_part(words: Words) -> bool:
    return has_part(words) and not (words.stages or words.voices or has_fault(words))


def _clauses(line: Line, lexicon: Lexicon, language: str | None) -> list[Span]:
    """Where the clauses of a line stand that praises something; none of a line of cells."""
    is_long = bool(line.cells) or len(line.text) > _LONGEST
    hits = () if is_long else find_hits(lexicon, line.tokens, language)
    if not any({"good", "fine"} & {*hit.means} for hit in hits):
        return []
    return spans_of(line.text, _parting(lexicon, language))


def _praised(
    text: str,
    spans: list[Span],
    verdicts: list[str],
    told: list[str],
    tongue: tuple[Lexicon, str | None],
) -> list[list[Span]]:
    """The clauses that praise; a bare part before ``and`` has the praise behind it, ``A and B ok``.

    One before a comma stands with the next: it may be of the fault before it.
    """
    found: list[list[Span]] = []
    for at in reversed(range(len(spans))):
        if told[at] != "good":
            continue
        is_bare = verdicts[at] == "part" and at + 1 < len(spans) and bool(found)
        if not is_bare:
            found.insert(0, [spans[at]])
        elif _joins(text[spans[at][1] : spans[at + 1][0]], *tongue):
            found.insert(0, [spans[at], _praise_in(text, found[0][-1], tongue)])
        else:
            found[0] = [(spans[at][0], found[0][0][1]), *found[0][1:]]
    return found


def _joins(joint: str, lexicon: Lexicon, language: str | None) -> bool:
    return bool(re.fullmatch(rf",?\s{joining(lexicon, language)}\s", joint))


def _praise_in(text: str, span: Span, tongue: tuple[Lexicon, str | None]) -> Span:
    """Where the words of praise stand that end a clause."""
    start, end = span
    for cut in range(end - 1, start, -1):
        if text[cut].isspace() and "good" in _voiced(words_in(text[cut:end], *tongue)):
            return cut, end
    return span


def _voiced(words: Words) -> str:
    return "good" if words.voices & {"good", "fine"} and not has_part(words) else ""


def _at_fault(spans: list[Span], told: list[str]) -> list[Span]:
    """The clauses at fault, each but the first with what joins it to the clause before it."""
    bad = [at for at, verdict in enumerate(told) if verdict == "bad"]
    begins = [spans[at][0] if at == bad[0] else spans[at - 1][1] for at in bad]
    return [(begin, spans[at][1]) for begin, at in zip(begins, bad, strict=True)]


@lru_cache(maxsize=32)
def _parting(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What stands between two clauses: a stop, or a word that joins them."""
    words = f"{joining(lexicon, language)}|{turning(lexicon, language)}"
    return re.compile(rf"[,;]\s+|,?\s(?:{words})\s")


def _verdict(words: Words) -> str:
    """What a clause says of a part: that it is good, at fault, or neither; empty without a part."""
    if not has_part(words):
        return ""
    if has_fault(words):
        return "bad"
    is_good = bool(words.voices & {"good", "fine"}) and not (words.voices & _DENIES)
    return "good" if is_good and not words.statuses else "part"


def _spread(verdicts: list[str]) -> list[str]:
    """Give each clause the verdict that it shares.

    A bare part shares that of the next clause, what names no part that of the one before.
    """
    found = list(verdicts)
    for at in reversed(range(len(found) - 1)):
        if found[at] == "part":
            found[at] = found[at + 1]
    for at in range(1, len(found)):
        found[at] = found[at] if found[at] in _KINDS else found[at - 1]
    first = next(verdict for verdict in found if verdict in _KINDS)
    return [verdict if verdict in _KINDS else first for verdict in found]
