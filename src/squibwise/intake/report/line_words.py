"""The words of a line and of its pieces, in the language that they are in."""

from functools import lru_cache

from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.crash_records import settle_record
from squibwise.intake.report.language.features import read_words
from squibwise.intake.report.language.lexicon import Lexicon, Token, lexicon_of, tokenise
from squibwise.intake.report.language.mended import without_contrasts, without_unmended
from squibwise.intake.report.language.phrases import find_hits, languages
from squibwise.intake.report.language.words import Words
from squibwise.intake.report.sheet import Line

BULLET = pattern(
    r"^\s*(?:[-*>•·#]\s*)?(?:(?!\([LR]\))\(?[A-Za-z]\)\s+|[A-Z]\d{1,3}\s{2,})?"
    r"(?:\(?\d{1,3}[.)]\s+(?!(?i:sitzreihe|reihe|rang|fila|rz[aą]d|row|stufe|zünd|stopień|stadio)))?"
)

_ABBREVIATING = 2  # words cut short in one line


def words_of(text: str, catalog: Catalog, language: str | None) -> Words:
    """Return what a piece of text says, codes aside."""
    return words_in(text, lexicon_of(catalog), language)


def words_in(text: str, lexicon: Lexicon, language: str | None) -> Words:
    """Return what a piece of text says, codes aside, by the phrases of a lexicon."""
    return said_by(tokenise(text), lexicon, language)


def said_by(tokens: tuple[Token, ...], lexicon: Lexicon, language: str | None) -> Words:
    """Return what words say together."""
    return _said(tokens, lexicon, language).copy()


@lru_cache(maxsize=1024)  # a line and its pieces are asked again and again
def _said(tokens: tuple[Token, ...], lexicon: Lexicon, language: str | None) -> Words:
    hits = without_unmended(find_hits(lexicon, tokens, language), tokens, lexicon)
    hits = without_contrasts(hits, tokens, lexicon, language)
    words = read_words(tokens, hits, lexicon.denying)
    if "crashrecord" in words.features:
        settle_record(words, hits, tokens, lexicon, language)
    return words


def language_of(line: Line, lexicon: Lexicon, usual: str | None) -> str | None:
    """Return the language a line is read in beside English: its own, or the report's."""
    scores = _scores(lexicon, line.tokens)
    most = max(scores.values(), default=0)
    best = [n for n in scores if scores[n] == most > 0]
    if usual in best or not best:
        return usual
    if usual is not None and sum(t.is_cut for t in line.tokens) >= _ABBREVIATING:
        best.insert(0, usual)  # words cut short look like those of other languages
    return best[0] if len(best) == 1 else min(best, key=lambda n: _bare(line.tokens, lexicon, n))


@lru_cache(maxsize=1024)
def _scores(lexicon: Lexicon, tokens: tuple[Token, ...]) -> dict[str, int]:
    return languages(lexicon, [t.text for t in tokens])  # asked of a line again and again


def _bare(tokens: tuple[Token, ...], lexicon: Lexicon, language: str) -> int:
    """How many words of a line mean nothing in a language."""
    return len(tokens) - sum(h.last - h.first for h in find_hits(lexicon, tokens, language))


def without_codes(line: Line) -> str:
    """Return the text of a line with blanks in place of its codes, and without its bullet."""
    text = line.text
    for code in line.codes:
        for start, end in ((code.start, code.end), *code.elsewhere):
            text = text[:start] + " " * (end - start) + text[end:]
    bullet = BULLET.match(line.text)
    cut = bullet.end() if bullet is not None else 0
    return text[cut:] if not line.codes or cut <= line.codes[0].start else text
