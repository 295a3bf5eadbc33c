"""Letters and short words that name a place beside some words and nothing beside others."""

from squibwise.intake.report.language.lexicon import Token
from squibwise.intake.report.language.phrases import Hit
from squibwise.intake.report.language.words import PARTS

_LETTERS = 2  # of a place that is a word cut short at least one more


def is_side_of_part(hit: Hit, hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> bool:
    """Tell whether a letter names a place: ``curtain L``, and not ``R high``, a resistance."""
    if not any(m.startswith(("side:", "seat:")) for m in hit.means):
        return False
    beside = [h for h in hits if hit.first - 1 <= h.last <= hit.first or h.first == hit.last]
    means = {m for h in beside for m in h.means}
    is_part = bool(means & (PARTS | {"bag", "pillar", "door", "same", "row:2", "row:3"}))
    is_ohms = means & {"high", "low", "range"} and "resistance" not in means  # "R resistance low"
    return is_part and not (is_ohms or "stagehead" in means)


def is_cut_word(hit: Hit, tokens: tuple[Token, ...]) -> bool:
    """Tell whether a full stop makes a word what it is not without: ``del.``, ``c.a.``."""
    word = tokens[hit.last - 1]
    is_place = any(m.startswith(("side:", "seat:", "end:")) for m in hit.means)
    tells = "open" in hit.means or (is_place and len(word.text) > _LETTERS)
    return tells and word.is_cut


def is_resistance(hit: Hit, hits: tuple[Hit, ...], tokens: tuple[Token, ...]) -> bool:
    """Tell whether ``R`` is the resistance: behind a place, as in ``VL R``, or before a level."""
    leads = hit.last < len(tokens) and not tokens[hit.last].apart
    if tokens[hit.first].text != "r" or hit.last - hit.first > 1 or not leads:
        return False
    before = next((h for h in hits if h.last == hit.first and not tokens[hit.first].apart), None)
    is_placed = before is not None and any(m.startswith(("side:", "seat:")) for m in before.means)
    behind = next((h.means for h in hits if h.first == hit.last), ())
    return is_placed or bool({"high", "low"} & {*behind} and "resistance" not in behind)
