"""Parts that a line calls good beside what it tells to be at fault: each is read by itself."""

import re
from functools import lru_cache

import msgspec

from squibwise.intake.report.lexicon import Lexicon
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.own_places import cut_out
from squibwise.intake.report.sheet import Line
from squibwise.intake.report.words import Words, differs, has_fault, has_part

_LONGEST = 200  # characters of a line that is looked at
_KINDS = ("good", "bad")
_DENIES = {"not", "gone", "past"}

_Span = tuple[int, int]


def part_good(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line as what it tells to be at fault and each part that it calls good.

    ``B1234 driver airbag open and left curtain ok``: the fault is no curtain's.

    Args:
        line: With its codes and tokens.
        lexicon: All phrases.
        usual: The report's own language.
    """
    spans = _clauses(line, lexicon)
    language = language_of(line, lexicon, usual)
    said = [words_in(line.text[a:b], lexicon, language) for a, b in spans]
    verdicts = [_verdict(words) for words in said]
    good, bad = ([w for w, v in zip(said, verdicts, strict=True) if v == k] for k in _KINDS)
    if not good or not bad or not all(differs(one, two) for one in good for two in bad):
        return [line]  # "driver airbag was open, driver airbag ok now"
    told = _spread(verdicts)
    praised = [[span] for span, verdict in zip(spans, told, strict=True) if verdict == "good"]
    return [_only(line, group) for group in (_at_fault(spans, told), *praised)]


def _clauses(line: Line, lexicon: Lexicon) -> list[_Span]:
    """Where the clauses of a line stand that praises something; none of a line of cells."""
    is_long = bool(line.cells) or len(line.text) > _LONGEST
    if is_long or not any(lexicon.is_praise(token.text) for token in line.tokens):
        return []
    cuts = [match.span() for match in _parting(lexicon).finditer(line.text)]
    bounds = [0, *(at for cut in cuts for at in cut), len(line.text)]
    return list(zip(bounds[::2], bounds[1::2], strict=True))


def _at_fault(spans: list[_Span], told: list[str]) -> list[_Span]:
    """The clauses at fault, each but the first with what joins it to the clause before it."""
    bad = [at for at, verdict in enumerate(told) if verdict == "bad"]
    begins = [spans[at][0] if at == bad[0] else spans[at - 1][1] for at in bad]
    return [(begin, spans[at][1]) for begin, at in zip(begins, bad, strict=True)]


@lru_cache(maxsize=4)
def _parting(lexicon: Lexicon) -> re.Pattern[str]:
    """What stands between two clauses: a stop, or a word that joins them."""
    small = lexicon.small
    joining = "|".join(sorted(small.and_ | small.letters | small.but))
    return re.compile(rf"(?i)[,;]\s+|,?\s(?:{joining})\s")


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


def _only(line: Line, spans: list[_Span]) -> Line:
    """Return the line with some stretches of its text alone, and the codes in them."""
    codes = tuple(c for c in line.codes if any(a <= c.start and c.end <= b for a, b in spans))
    ends = [0, *(at for span in spans for at in span), len(line.text)]
    gaps = [(a, b) for a, b in zip(ends[::2], ends[1::2], strict=True) if a < b]
    own = msgspec.structs.replace(line, codes=codes, role=line.role if codes else "unread")
    return cut_out(own, gaps)
