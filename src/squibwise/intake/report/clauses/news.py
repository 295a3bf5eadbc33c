"""What leads up to a fault and says that it is new: ``one I had not seen before is B1A12 ...``."""

from squibwise.intake.report.clauses.own_places import cut_out
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.words import Words, has_fault, has_part
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.sheet import Line

_COLON = ": "


def drop_news(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line without a lead that denies the fault for an earlier time alone.

    Args:
        line: With its codes and tokens.
        lexicon: All phrases.
        usual: The report's own language.
    """
    end = line.codes[0].start if line.codes else line.text.find(_COLON) + len(_COLON)
    lead = line.text[:end]
    if line.cells or end < len(_COLON) or not _is_news(lead, lexicon):
        return [line]
    language = language_of(line, lexicon, usual)
    before, behind = (words_in(text, lexicon, language) for text in (lead, line.text[end:]))
    is_lead = not (_tells(before) or before.statuses) and _tells(behind)
    return [cut_out(line, [(0, end)])] if is_lead else [line]


def _tells(words: Words) -> bool:
    return has_part(words) or has_fault(words)


def _is_news(lead: str, lexicon: Lexicon) -> bool:
    """``not seen before``, ``had not noticed``, ``not in my first list``; no ``no longer``."""
    texts, small = [t.text for t in tokenise(lead)], lexicon.small
    told = set(texts)
    is_over = any(one in told and two in told for one, two in small.no_longer)
    if is_over or lexicon.denying.isdisjoint(told):
        return False
    is_early = not told.isdisjoint(small.before | small.earlier)
    is_missed = not (told.isdisjoint(small.pluperfect) or told.isdisjoint(small.noticed))
    is_of_list = not (told.isdisjoint(small.lists) or told.isdisjoint(small.firsts))
    return is_early or is_missed or is_of_list
