"""``B1002 pretensioner, same as left``: a fault like that of the part on another side."""

import re
from functools import lru_cache

from squibwise.intake.report.clauses.code_clauses import repeat_part
from squibwise.intake.report.language.lexicon import Lexicon
from squibwise.intake.report.language.words import Words, heads_of
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Fault

_LONGEST = 30  # characters of the place that is compared with


def compare(
    text: str, words: Words, faults: list[Fault], lexicon: Lexicon, language: str | None
) -> Words:
    """Return the words of a fault without the place that it is compared with.

    The fault is that of the same part there; it stays untold where none was told of it.

    Args:
        text: Of the fault.
        words: What the text says.
        faults: Those that stand before it.
        lexicon: All phrases.
        language: Of the report.
    """
    match = _comparison(lexicon).search(text) if "same" in words.features else None
    like = words_in(match[1], lexicon, language) if match is not None else None
    if match is None or like is None or not like.is_sided:
        return words
    own = words_in(text[: match.start()] + text[match.end() :], lexicon, language)
    own.features.discard("same")
    alike = (f for f in reversed(faults) if heads_of(f.words) & heads_of(own))
    there = next((f.words for f in alike if _is_at(f, like)), None)
    if there is not None:
        repeat_part(own, there)
    return own


def _is_at(fault: Fault, place: Words) -> bool:
    """Tell whether a fault is at a place, by its own words or by the heading above it."""
    group = fault.first.group
    words = group if group is not None and not fault.words.is_sided else fault.words
    return bool(words.seats & place.seats or words.sides & place.sides)


@lru_cache(maxsize=4)
def _comparison(lexicon: Lexicon) -> re.Pattern[str]:
    leads = "|".join(sorted(lexicon.small.as_))
    return re.compile(rf"(?i)\b(?:{leads})\s([^,;.()]{{2,{_LONGEST}}}?)(?=[,;.()]|$)")
