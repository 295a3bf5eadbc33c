"""Japanese words among those of a report: in English, so that one vocabulary tells what they mean.

Nothing parts them where they are written, so they are found in the text and not among its words.
"""

import re
import unicodedata
from collections.abc import Mapping
from functools import lru_cache

from squibwise.intake.patterns import pattern

_WRITTEN = pattern("[\u3040-\u30ff\u3400-\u9fff\uff01-\uff9f]")  # kana, kanji and their wide forms


def is_japanese(text: str) -> bool:
    """Tell whether a text has kana, kanji, or letters as wide as these."""
    return not text.isascii() and _WRITTEN.search(text) is not None


def in_english(text: str, words: Mapping[str, str]) -> str:
    """Return a text with its Japanese words in English; those that are not known stay.

    Args:
        text: As it is printed; wide and half-wide forms may be mixed.
        words: What each word is in English, the longest wherever several begin.
    """
    plain = unicodedata.normalize("NFKC", text)
    return _any_of(tuple(words)).sub(lambda m: f" {words[m[0]]} ", plain)


@lru_cache(maxsize=4)
def _any_of(words: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile("|".join(re.escape(w) for w in sorted(words, key=len, reverse=True)))
