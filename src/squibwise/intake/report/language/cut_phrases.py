"""Phrases whose words are cut short: ``int. Fehl.`` is ``interner Fehler``."""

from collections import defaultdict
from collections.abc import Iterable
from functools import lru_cache

from squibwise.catalog.vocabulary import VOICES
from squibwise.intake.report.language.lexicon import BASE, Lexicon, Token

_FEWEST_LETTERS = 3  # of one word at least: two letters alone stand for too much
_JOINING = 3  # letters that articles and the like have at most
_SHORT = {"ab": "airbag"}
_Phrase = tuple[str, ...]
_Rows = tuple[tuple[_Phrase, _Phrase], ...]


def find_cut(
    lexicon: Lexicon, tokens: tuple[Token, ...], at: int, end: int, language: str
) -> list[tuple[_Phrase, int]]:
    """Return what the phrases mean that begin at a word and have words cut short, and their ends.

    A word with a full stop behind it stands for every word that goes on from it, unless all that
    are cut mean something as they stand. Where several phrases of one length fit that do not mean
    the same, none does. Articles and the like may be left out where no whole phrase fits.

    Args:
        lexicon: All phrases.
        tokens: Of the line.
        at: The first word.
        end: Of the stretch that it stands in.
        language: Of the phrases.
    """
    if end - at < 2 or not (tokens[at].is_cut or tokens[at + 1].is_cut):
        return []
    key, known = (tokens[at].text[0], tokens[at + 1].text[0]), lexicon.singles[language]
    names = (language, *BASE)
    tokens = tuple(Token(t.text, t.apart, lexicon.may_be_cut(t, names)) for t in tokens[at:end])
    whole, bare = (rows.get(key, ()) for rows in _by_letters(lexicon, language))
    told = _fitting(bare, tokens, known) | _fitting(whole, tokens, known)
    longest = sorted(told.items(), reverse=True)
    return [(next(iter(m)), at + n) for n, m in longest if len(m) == 1 and _tells(*m)]


def _fitting(rows: _Rows, tokens: tuple[Token, ...], known: set[str]) -> dict[int, set[_Phrase]]:
    """What the phrases mean that tokens stand for, by their number of words."""
    told: dict[int, set[_Phrase]] = {}
    for phrase, means in rows:
        if len(phrase) <= len(tokens) and _stands_for(tokens[: len(phrase)], phrase, known):
            told.setdefault(len(phrase), set()).add(means)
    return told


def _tells(means: _Phrase) -> bool:
    return means != ("skip",) and VOICES.isdisjoint(means)


def _stands_for(tokens: tuple[Token, ...], phrase: _Phrase, known: set[str]) -> bool:
    texts = (t.text if t.is_cut else _SHORT.get(t.text, t.text) for t in tokens)
    pairs = tuple(zip(texts, phrase, tokens, strict=True))
    fits = all(one == word or (t.is_cut and word.startswith(one)) for one, word, t in pairs)
    is_cut = fits and any(one != word and one not in known for one, word, _ in pairs)
    return is_cut and max(len(one) for one, _, _ in pairs) >= _FEWEST_LETTERS


@lru_cache(maxsize=8)
def _by_letters(
    lexicon: Lexicon, language: str
) -> tuple[dict[tuple[str, str], _Rows], dict[tuple[str, str], _Rows]]:
    """The phrases of two words or more by two first letters; and those without articles."""
    rows = tuple(lexicon.phrases_of(language))
    bare = ((_without_articles(lexicon, phrase, language), means) for phrase, means in rows)
    told = {phrase for phrase, _ in rows}
    return _filed(rows), _filed(row for row in bare if len(row[0]) > 1 and row[0] not in told)


def _without_articles(lexicon: Lexicon, phrase: _Phrase, language: str) -> _Phrase:
    return tuple(
        w
        for w in phrase
        if w == phrase[0] or len(w) > _JOINING or not lexicon.is_told(w, "plain", (language,))
    )


def _filed(rows: Iterable[tuple[_Phrase, _Phrase]]) -> dict[tuple[str, str], _Rows]:
    found: defaultdict[tuple[str, str], list[tuple[_Phrase, _Phrase]]] = defaultdict(list)
    for phrase, means in rows:
        found[phrase[0][0], phrase[1][0]].append((phrase, means))
    return {key: tuple(told) for key, told in found.items()}
