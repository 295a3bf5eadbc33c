"""Flash codes: how often a lamp blinks, in every dress in which people write it down."""

import re

import msgspec

from squibwise.intake.report.notation import CodeToken, flash
from squibwise.intake.report.phrases import Lexicon, flat

_NUMBER = r"(?:\d{1,2}(?:\s?[-:]\s?\d{1,2}){1,2}|\d(?:\s\d){1,2}|\d{2,3})"
_NO_MEASURE = (
    r"(?![\d%]|[.,:]\d|\s?[-:]\s?\d|\s?(?:s|sec\w*|sek\w*|seg\w*|min\w*|v|volts?|ohms?|w|ma|a|km|mi|"
    r"x|times|mal|fois|veces|volte|vezes|razy|days?|tage|blinks?|flash\w*)\b)"
)
_AND = (
    r"(?:\s*[,;+&/]\s*|\s+(?:and|then|und|dann|danach|et|puis|y|luego|despues|e|poi|i|oraz|potem|"
    r"depois|or|oder|ou|o)\s+)"
)
_LIST = rf"{_NUMBER}{_NO_MEASURE}(?:{_AND}{_NUMBER}{_NO_MEASURE}){{0,30}}"
_PAIR = re.compile(r"(?<![\w.:/-])\d{1,2}-\d{1,2}(?:-\d{1,2})?(?![\w:/-]|\.\d)")
_ONLY = re.compile(r"(?:\d{1,2}-\d{1,2}|\d{2})(?:(?:[\s,;/&]|and)+(?:\d{1,2}-\d{1,2}|\d{2}))*\.?")
_ONE = re.compile(_NUMBER + _NO_MEASURE)
_PAUSED = re.compile(
    r"(?<![\d.,])(\d{1,2})\s*(?:x|[^\W\d_]{2,12})?[\s,;]*(?:paus[ea]|przerw[aey]|break|wait)[\s,;]*"
    r"(\d{1,2})(?:\s*(?:x\b|(?:flash|blink|eclat|destell|lampegg|pisc|blysk|mign)\w*))?"
)
_LONG = r"(?:long|lang|larg|lung|dlug|l)\w{0,5}"
_SHORT = r"(?:short|kurz|court|cort|brev|curt|krot|s|k)\w{0,5}"
_COUNTED = re.compile(
    rf"(\d{{1,2}})\s*(?:x\s*)?{_LONG}\b[\s,+/-]{{0,9}}(?:(?:flash|blink)\w{{0,4}})?[\s,+/-]{{0,9}}"
    rf"(?:and|und|et|y|e|i)?\s{{0,9}}(\d{{1,2}})\s*(?:x\s*)?{_SHORT}\b"
)
_SPELLED = re.compile(r"((?:\blong[\s,-]+){1,9})((?:\bshort\b[\s,.-]*){1,9})")
_TITLE_WORDS = 3  # words before a count of blinks that may still lead up to it


def find_flashes(text: str, lexicon: Lexicon) -> tuple[CodeToken, ...]:
    """Return the flash codes of a line that are called so: by a lamp, a blink or a count.

    Args:
        text: One line.
        lexicon: For the words for lamps and blinks of every language.
    """
    plain = flat(text)
    found = [_counted(m, lexicon) for m in _PAUSED.finditer(plain)]
    if not found:
        found = [t for m in _labelled(lexicon).finditer(plain) for t in _listed(m)]
    return _once(found)


def find_counted(text: str) -> CodeToken | None:
    """Return a flash code told as long and short blinks; None for a title that tells how."""
    plain = flat(text)
    counted = _COUNTED.search(plain) or _SPELLED.search(plain)
    if counted is None or _is_title(plain[: counted.start()]):
        return None
    first, second = counted.groups()
    if not first.isdecimal():
        first, second = str(len(first.split())), str(len(re.findall("short", second)))
    printed = first + second if len(second) == 1 else f"{first}-{second}"
    return flash(printed, *counted.span())


def find_pairs(text: str) -> tuple[CodeToken, ...]:
    """Return the pairs of a line of a list of flash codes, such as ``4-1  3-5``."""
    return _once([flash(m.group(), *m.span()) for m in _PAIR.finditer(text)])


def find_list(text: str) -> tuple[CodeToken, ...]:
    """Return flash codes of a line that holds nothing but them: ``13, 24, 4-11``."""
    if not _ONLY.fullmatch(text.strip()):
        return ()
    return tuple(flash(m.group(), *m.span()) for m in re.finditer(r"\d{1,2}-\d{1,2}|\d{2}", text))


def _label(lexicon: Lexicon) -> str:
    """Words for lamp, blink or flash that lead up to a number."""
    return rf"(?<![^\W_])(?:(?:{lexicon.names_of('flash')})(?![^\W\d_])[\s:=#.>(-]*){{1,3}}"


def _labelled(lexicon: Lexicon) -> re.Pattern[str]:
    if lexicon.flash_codes is None:
        label = _label(lexicon)
        lead = r"(?:(?:cod|kod)\w*[\s:=#.]*)?"
        verb = r"(?:[^\W\d_]{1,7}\s+)?(?=\d{1,2}\s?[-:]\s?\d)"  # "the lamp does 2-1"
        lexicon.flash_codes = re.compile(rf"{label}(?:{lead}|{verb})(?P<list>{_LIST})")
    return lexicon.flash_codes


def _listed(match: re.Match[str]) -> list[CodeToken]:
    """The codes of a list; the first of them covers the label too."""
    found, start = [], match.start()
    for one in _ONE.finditer(match.group("list")):
        at = match.start("list")
        found.append(flash(_tidy(one.group()), start, at + one.end()))
        start = at + one.end()
    return found


def _tidy(number: str) -> str:
    return re.sub(r"\s*[-:]\s*|\s+", "-", number)


def _counted(match: re.Match[str], lexicon: Lexicon) -> CodeToken:
    """A code told as blinks, a pause and blinks; it covers the words that lead up to it."""
    named = re.search(rf"{_label(lexicon)}$", match.string[: match.start()])
    start = named.start() if named is not None else match.start()
    return flash("-".join(match.groups()), start, match.end())


def _is_title(head: str) -> bool:
    """``Read-out from the lamp, connector bridged, 2 long 4 short style`` tells how, not what."""
    return "," in head and len(head.split()) > _TITLE_WORDS


def _once(found: list[CodeToken]) -> tuple[CodeToken, ...]:
    """A lamp repeats its code; each is kept once, the others stand elsewhere on the line."""
    kept: dict[str, CodeToken] = {}
    for token in found:
        first = kept.get(token.printed)
        if first is None:
            kept[token.printed] = token
        else:
            spans = (*first.elsewhere, (token.start, token.end))
            kept[token.printed] = msgspec.structs.replace(first, elsewhere=spans)
    return tuple(kept.values())
