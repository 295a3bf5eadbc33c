"""The words that join parts and clauses, asked here by all that takes lines apart."""

import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from squibwise.intake.report.language.lexicon import Lexicon

Span = tuple[int, int]


@lru_cache(maxsize=32)
def joining(lexicon: Lexicon, language: str | None) -> str:
    """Return the words that join parts or clauses in a language, as one pattern.

    Accents tell apart what joins from other words, ``è`` from ``e``: it is for a text as written.

    Args:
        lexicon: All phrases.
        language: Of the line beside English; None when it has no other.
    """
    small = lexicon.small
    return one_of(small.and_ | small.and_in.get(language or "en", frozenset()), small.accented)


@lru_cache(maxsize=32)
def turning(lexicon: Lexicon, language: str | None) -> str:
    """Return the words that begin a clause against the one before it; see ``joining``."""
    small = lexicon.small
    return one_of(small.but | small.but_in.get(language or "en", frozenset()), small.accented)


@lru_cache(maxsize=32)
def choosing(lexicon: Lexicon, language: str | None) -> str:
    """Return the words that join what excludes one another; see ``joining``."""
    small = lexicon.small
    return one_of(small.or_ | small.or_in.get(language or "en", frozenset()), small.accented)


def one_of(words: frozenset[str], accented: Mapping[str, str] = MappingProxyType({})) -> str:
    """Return words as one pattern, in small letters or large, the longest first.

    Args:
        words: Without accents.
        accented: How some of them are written with accents: both are found.
    """
    written = {" ".join(accented.get(part, part) for part in word.split()) for word in words}
    return f"(?i:{'|'.join(sorted(words | written, key=lambda word: (-len(word), word)))})"


def spans_of(text: str, parting: re.Pattern[str], begin: int = 0) -> list[Span]:
    """Return where the stretches of a text stand that are parted by what a pattern finds.

    Args:
        text: As written.
        parting: What parts two of them.
        begin: Where the first stretch begins.
    """
    cuts = [m.span() for m in parting.finditer(text, begin)]
    bounds = [begin, *(at for cut in cuts for at in cut), len(text)]
    return list(zip(bounds[::2], bounds[1::2], strict=True))
