"""Parts that a line calls good beside what it tells to be at fault: each is read by itself."""

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.lexicon import Lexicon
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.own_places import cut_out
from squibwise.intake.report.sheet import Line
from squibwise.intake.report.words import Words, differs, has_fault, has_part

_PARTING = pattern(r"(?i)[,;]\s+|,?\s(?:and|und|et|y|e|i|oraz|but|aber|mais|pero|ma|mas|ale)\s")
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
    praises = any(lexicon.is_praise(token.text) for token in line.tokens)
    cuts = [m.span() for m in _PARTING.finditer(line.text)] if praises and not line.cells else []
    if not cuts or len(line.text) > _LONGEST:
        return [line]
    bounds = [0, *(at for cut in cuts for at in cut), len(line.text)]
    spans = list(zip(bounds[::2], bounds[1::2], strict=True))
    language = language_of(line, lexicon, usual)
    said = [words_in(line.text[a:b], lexicon, language) for a, b in spans]
    verdicts = [_verdict(words) for words in said]
    good, bad = ([w for w, v in zip(said, verdicts, strict=True) if v == k] for k in _KINDS)
    if not good or not bad or not all(differs(one, two) for one in good for two in bad):
        return [line]  # "driver airbag was open, driver airbag ok now"
    told = _spread(verdicts)
    at_fault = [at for at, verdict in enumerate(told) if verdict == "bad"]
    begins = [spans[at - 1][1] if at != at_fault[0] else spans[at][0] for at in at_fault]
    faults = [(begin, spans[at][1]) for begin, at in zip(begins, at_fault, strict=True)]
    praised = [[span] for span, verdict in zip(spans, told, strict=True) if verdict == "good"]
    return [_only(line, group) for group in (faults, *praised)]


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
