"""Phrases whose words are cut short: ``int. Fehl.`` is ``interner Fehler``."""

from collections import defaultdict
from functools import lru_cache

from squibwise.catalog.vocabulary import VOICES
from squibwise.intake.report.lexicon import Lexicon, Token

_FEWEST_LETTERS = 3  # of one word at least: two letters alone stand for too much
_Phrase = tuple[str, ...]


def find_cut(
    lexicon: Lexicon, tokens: tuple[Token, ...], at: int, end: int, language: str
) -> list[tuple[_Phrase, int]]:
    """Return what the phrases mean that begin at a word and have words cut short, and their ends.

    A word with a full stop behind it stands for every word that goes on from it, unless all that
    are cut mean something as they stand. Where several phrases of one length fit that do not mean
    the same, none does.

    Args:
        lexicon: All phrases.
        tokens: Of the line.
        at: The first word.
        end: Of the stretch that it stands in.
        language: Of the phrases.
    """
    if end - at < 2 or not (tokens[at].is_cut or tokens[at + 1].is_cut):
        return []
    told: dict[int, set[_Phrase]] = {}
    known = lexicon.singles[language]
    key = tokens[at].text[0], tokens[at + 1].text[0]
    for phrase, means in _by_letters(lexicon, language).get(key, ()):
        if at + len(phrase) <= end and _stands_for(tokens[at : at + len(phrase)], phrase, known):
            told.setdefault(at + len(phrase), set()).add(means)
    longest = sorted(told.items(), reverse=True)
    return [(next(iter(m)), last) for last, m in longest if len(m) == 1 and _tells(*m)]


def _tells(means: _Phrase) -> bool:
    return means != ("skip",) and VOICES.isdisjoint(means)


def _stands_for(tokens: tuple[Token, ...], phrase: _Phrase, known: set[str]) -> bool:
    pairs = tuple(zip((t.text for t in tokens), phrase, tokens, strict=True))
    fits = all(one == word or (t.is_cut and word.startswith(one)) for one, word, t in pairs)
    is_cut = fits and any(one != word and one not in known for one, word, _ in pairs)
    return is_cut and max(len(one) for one, _, _ in pairs) >= _FEWEST_LETTERS


@lru_cache(maxsize=8)
def _by_letters(
    lexicon: Lexicon, language: str
) -> dict[tuple[str, str], tuple[tuple[_Phrase, _Phrase], ...]]:
    """The phrases of two words or more of a language, by the first letters of two words."""
    found: defaultdict[tuple[str, str], list[tuple[_Phrase, _Phrase]]] = defaultdict(list)
    for phrase, means in lexicon.phrases_of(language):
        found[phrase[0][0], phrase[1][0]].append((phrase, means))
    return {key: tuple(told) for key, told in found.items()}
