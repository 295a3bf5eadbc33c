"""What leads up to a fault and says that it is new: ``one I had not seen before is B1A12 ...``."""

from squibwise.intake.report.claims.assertions import is_new
from squibwise.intake.report.clauses.own_places import cut_out
from squibwise.intake.report.language.lexicon import Lexicon
from squibwise.intake.report.language.words import Words, has_fault, has_part
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.sheet import Line

_COLON = ": "


def drop_news(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line without a lead that denies the fault for an earlier time alone."""
    end = line.codes[0].start if line.codes else line.text.find(_COLON) + len(_COLON)
    lead = line.text[:end]
    if line.cells or end < len(_COLON) or not is_new(lead, lexicon):
        return [line]
    language = language_of(line, lexicon, usual)
    before, behind = (words_in(text, lexicon, language) for text in (lead, line.text[end:]))
    is_lead = not (_tells(before) or before.statuses) and _tells(behind)
    return [cut_out(line, [(0, end)])] if is_lead else [line]


def _tells(words: Words) -> bool:
    return has_part(words) or has_fault(words)
