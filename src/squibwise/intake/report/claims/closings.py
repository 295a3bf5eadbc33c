"""``Driver airbag open, nothing else stored``: what ends a list and denies nothing in it."""

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.phrases import find_claims, find_layout

_CLAUSE = pattern(r"\s*[,;:.]\s+|\s+-\s+")
_LONGEST = 7  # words of a clause that only ends a list


def part_closing(text: str, lexicon: Lexicon) -> list[str]:
    """Return a sentence without its last clause, and that clause, where it only ends a list."""
    cuts = list(_CLAUSE.finditer(text.rstrip()))
    tail = text[cuts[-1].end() :] if cuts else ""
    if not tail or not _closes(tail, lexicon):
        return [text]
    return [text[: cuts[-1].end()].rstrip(), tail]


def names_rest(texts: list[str], lexicon: Lexicon) -> bool:
    """``nothing else``, ``rien de plus``: nothing is denied but what was not told."""
    pairs = lexicon.small.nothing_else
    return any(one in texts and two in texts[texts.index(one) :] for one, two in pairs)


def _closes(clause: str, lexicon: Lexicon) -> bool:
    """Tell whether a clause denies what was not told, and speaks of nothing by its name."""
    texts = [t.text for t in tokenise(clause)]
    if not 1 < len(texts) <= _LONGEST or any(t[0].isdecimal() for t in texts):
        return False
    small = lexicon.small
    is_other = not small.otherwise.isdisjoint(texts) and "clean" in find_claims(clause, lexicon)
    if not (is_other or names_rest(texts, lexicon)):
        return False
    paired = {word for pair in small.nothing_else for word in pair}
    known = paired | small.otherwise | small.finding | lexicon.denying
    left = [t for t in texts if not (t in known or lexicon.is_told(t, "plain", lexicon.words))]
    return all({"count", "clean"} & set(find_layout(lexicon, (t,))[0]) for t in left)
