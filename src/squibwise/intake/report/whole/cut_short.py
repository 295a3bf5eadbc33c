"""What a report says of its own end: that its reading broke off, or that codes were cleared."""

from squibwise.catalog.small_words import SmallWords
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.language.words import has_part
from squibwise.intake.report.sheet import Line, Sheet
from squibwise.model.origin import Origin

_SHARE = pattern(r"(?<![\d.,/-])(\d{1,3})\s(?:of|von|sur|de|di|su|z|van)\s(\d{1,3})\s[^\W\d_]{4}")


def find_end(sheet: Sheet, lexicon: Lexicon) -> Origin | None:
    """Return where a report says that its reading broke off; None where it does not.

    ``Scan aborted``, ``Read failed after 3 of 24 circuits``: what it does not name proves nothing.
    """
    small = lexicon.small
    return _first(sheet, [ln for ln in sheet.unread if _breaks_off(ln, small)])


def find_cleared(sheet: Sheet) -> Origin | None:
    """Return where a report says that its codes were cleared; None where it does not."""
    return _first(sheet, [ln for ln in sheet.unread if _is_cleared(ln)])


def _first(sheet: Sheet, lines: list[Line]) -> Origin | None:
    line = next(iter(lines), None)
    return None if line is None else Origin(file=sheet.name, line=line.number, raw=line.raw)


def _breaks_off(line: Line, small: SmallWords) -> bool:
    if line.codes or has_part(line.words) or "?" in line.text:
        return False
    text = flat(line.text)
    words = {w.strip(".,:;!()") for w in text.split()}
    share = _SHARE.search(text)
    is_part = share is not None and int(share[1]) < int(share[2])
    is_read = not small.reads.isdisjoint(words) or not small.searches.isdisjoint(words)
    is_off = not small.broken_off.isdisjoint(words)
    return (is_read and (is_off or is_part)) or (is_off and is_part)


def _is_cleared(line: Line) -> bool:
    """``Codes cleared before towing.``; not so ``not cleared``, or a code that was."""
    words = line.words
    is_said = words.statuses == ["cleared"] and not words.voices & {"not", "wondered", "asked"}
    return is_said and not (line.codes or has_part(words) or "?" in line.text)
