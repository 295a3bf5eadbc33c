"""Sheets of what lamps blinked: their heading, or their lines, say that numbers are counts."""

import re
from functools import lru_cache

from squibwise.intake.patterns import pattern
from squibwise.intake.report.codes.blinks import BLINK, NO_UNIT, list_codes
from squibwise.intake.report.codes.labels import is_called
from squibwise.intake.report.language.code_forms import Code, flash, merge_twins
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.phrases import likeliest
from squibwise.intake.report.language.words import has_fault, has_part
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line

_LONGEST = 14  # words of a heading
_CALLED = 2  # lines with counts that are called so, which make a sheet
_SHORT = 3  # letters of a label that is no word
_COLUMNS = 2  # of a heading that names its columns
_APART = pattern(r"\t|\s*[|;]\s*|\s{2,}")
_COUNT = r"(?:[1-9](?:\s?[-:]\s?[1-9]){1,2}(?![\d.:/-])|[1-9]\d(?![\d.]))"
_ONE = pattern(_COUNT)
_DIGIT = pattern(r"\d")
_PLACE = r"(?:^|(?<=[:|;]\s)|(?<=\t)|(?<=\s{2})|(?<=\s-\s))[\s(]{0,9}"
_LABEL = r"(?:[^\W\d_]{1,3}[.°º]?|(?:cod|kod)\w*[.:]?)\s|[^\W\d_]\s{2,6}"
_CAR = r"[^\W\d_]{3,9}\s(?:[a-z]\s)?(?=[1-9]-[1-9])"
_ENDS = r"(?=\s*(?:$|[,;=(|:\t/)-])|\s{2}|\s+[^\W\d_])"
_BESIDE = pattern(r"\s*[/(=,]")  # what parts a count from the code of a reader


def follow_lamp_sheet(lines: list[Line], lexicon: Lexicon) -> bool:
    """Set the counts of lines that do not call them so, where a heading or other lines do.

    Returns:
        True when the report is such a sheet.
    """
    coded = [ln for ln in lines if ln.codes]
    called = [ln for ln in coded if any(is_called(ln, c) for c in ln.codes)]
    first = next((at for at, ln in enumerate(lines) if ln.codes), len(lines))
    is_sure = not (called or any(_strewn(lexicon).match(flat(ln.text)) for ln in lines))
    heads = [ln for ln in lines[:first] if _heads_counts(ln, lexicon, is_sure=is_sure)]
    counted = next((ln.number for ln in lines if _placed(lexicon).search(flat(ln.text))), None)
    heads = [ln for ln in heads if counted is None or ln.number < counted] or heads[:1]
    is_told = len(called) >= _CALLED and 2 * len(called) >= len(coded)
    if not (is_told or heads):
        return False
    column, columns = None, 0
    for head in heads:
        named = _column_of(head, lexicon)
        column, columns = (column, columns) if named is None else (named, _pieces(head.raw))
        head.role = "meta" if named is not None else head.role
    for line in lines:
        if line in heads or line.role in ("blank", "meta") or _has_own(line):
            continue
        found = _find_counts(line, column, columns, lexicon)
        if found:
            exact = [c for c in line.codes if c.is_exact]
            line.codes = merge_twins([*exact, *found], line.text, lexicon.small.any_or)
    return True


def _has_own(line: Line) -> bool:
    """Tell whether a line calls its counts so itself, or has more than a number that leads it."""
    flashes = [c for c in line.codes if c.style == "flash"]
    is_led = len(flashes) == 1 and not line.text[: flashes[0].start].strip(" (-*")
    is_own = any(is_called(line, c) for c in flashes) or (flashes and not is_led)
    return bool(is_own or any(_ONE.fullmatch(also) for c in line.codes for also in c.also))


def _heads_counts(line: Line, lexicon: Lexicon, *, is_sure: bool) -> bool:
    """``lamp counts``, ``car | blinks | what``: few words, of which some say lamp and count.

    Where a line below calls its number a blink a word for the lamp is enough.
    """
    texts = [t.text for t in tokenise(line.text)]
    if line.codes or not 0 < len(texts) <= _LONGEST or any(c.isdigit() for c in line.text):
        return False
    plain = flat(line.text)
    if re.search(BLINK, plain) or _column_of(line, lexicon) is not None:
        return True
    counts = tuple(lexicon.small.counts)
    is_counted = any(t.startswith(counts) for t in texts) or not is_sure
    return lexicon.may_name("flash", plain) and is_counted


def _column_of(head: Line, lexicon: Lexicon) -> int | None:
    """Which column of a table holds the counts, by its heading; None where it names no columns."""
    titles = head.cells or tuple(_APART.split(head.raw.strip(" \t|;")))
    if len(titles) <= _COLUMNS:
        return None
    return next((c for c, title in enumerate(titles) if _names_counts(title, lexicon)), None)


def _names_counts(title: str, lexicon: Lexicon) -> bool:
    plain = flat(title)
    return bool(re.search(BLINK, plain)) or lexicon.may_name("flash", plain)


def _pieces(text: str) -> int:
    return len(_APART.findall(text.strip(" \t|;"))) + 1


def _find_counts(line: Line, column: int | None, columns: int, lexicon: Lexicon) -> list[Code]:
    """The counts that stand in a line's place for them: behind the car, in their column."""
    plain = flat(line.text)
    for match in _placed(lexicon).finditer(plain):
        is_drawn = bool(line.cells) or "|" in line.text or _pieces(line.raw) == columns
        is_named = column is not None and is_drawn
        if is_named and _piece_at(line, match) != column:
            continue
        if _is_count(line, match, lexicon, is_named=is_named):
            return _listed(match)
    strewn = _strewn(lexicon).search(plain)
    return _listed(strewn) if strewn is not None else []


def _piece_at(line: Line, match: re.Match[str]) -> int:
    """Which column numbers stand in; the name of a car was taken off the front of the text."""
    held = (c for c, cell in enumerate(line.cells) if match["list"] in flat(cell))
    if line.cells:
        return next(held, -1)
    parts = (line.raw, line.text[match.start("list") :])
    whole, behind = map(_pieces, parts)
    return whole - behind


def _is_count(line: Line, match: re.Match[str], lexicon: Lexicon, *, is_named: bool) -> bool:
    """Tell whether numbers in the place for counts are some, and no number of a row or a thing."""
    label = (match["label"] or "").strip(" .:")
    if label and not label.startswith(("cod", "kod")) and not label.replace(" ", "").isalpha():
        return False
    is_short = len(label) <= _SHORT
    is_sign = line.text[match.start() : match.end()].strip()[: len(label)].isupper() and is_short
    is_sign = is_sign or label.startswith(("cod", "kod")) or (label[:1] == "n" and is_short)
    ranks = lexicon.small.listing.union(*lexicon.small.ranks)
    is_pair = "-" in match["list"]  # "Car A 2-3"
    if label and not (is_sign or is_pair or label in ranks):
        return False
    found = _ONE.findall(match["list"])
    is_exact = any(c.is_exact for c in line.codes)
    if is_exact and not is_named and not _BESIDE.match(line.text, match.end("list")):
        return bool(label) or line.codes[0].start - match.end("list") > _LONGEST
    if is_exact or is_named or label or len(found) > 1 or len(found[0]) > len("10"):
        return True
    words = words_in(line.text, lexicon, likeliest(lexicon, (line.text,)))
    return has_part(words) or has_fault(words)


def _listed(match: re.Match[str]) -> list[Code]:
    if _ONE.search(match["list"]) is None:  # "3 and 4"
        return [flash("-".join(_DIGIT.findall(match["list"])), *match.span())]
    return list_codes(match, _ONE)


@lru_cache(maxsize=4)
def _placed(lexicon: Lexicon) -> re.Pattern[str]:
    ranks = "|".join(sorted(lexicon.small.listing.union(*lexicon.small.ranks)))
    label = rf"(?P<label>{_CAR}|(?:{ranks})\s|(?:{_LABEL}){{0,2}})"
    return re.compile(
        rf"{_PLACE}{label}(?P<list>{_list_of(lexicon, 0)}){_no_choice(lexicon)}{_ENDS}"
    )


@lru_cache(maxsize=4)
def _strewn(lexicon: Lexicon) -> re.Pattern[str]:
    """``mruga po kolei 21, 22, 46``: several counts a few words behind a word for blinks."""
    words = r"(?:\s+[^\W\d_]{1,12}(?:'[^\W\d_]{1,12})?:?){1,4}\s+"
    counts = "|".join(sorted(lexicon.small.counts))
    lamp = rf"(?<![^\W_])(?:{lexicon.names_of('flash')}|{BLINK}|(?:{counts})\w*)"
    joins = "|".join(sorted(lexicon.small.listing))
    pair = rf"[1-9]\s(?:{joins})\s[1-9](?!\d)"
    numbers = rf"(?:{_list_of(lexicon, 1)}|{pair})"
    return re.compile(rf"{lamp}{words}(?P<list>{numbers}){_no_choice(lexicon)}")


def _list_of(lexicon: Lexicon, least: int) -> str:
    joins = "|".join(sorted(lexicon.small.listing))
    one = rf"{_COUNT}{NO_UNIT}"
    return rf"{one}(?:(?:\s*[,;+&/]\s*|\s+(?:{joins})\s+|\s{{1,3}}(?=[1-9]-)){one}){{{least},9}}"


def _no_choice(lexicon: Lexicon) -> str:
    """``12 or 13, to be counted again`` is none of them."""
    choice = "|".join(sorted(lexicon.small.any_or))
    return rf"(?!\d|[/-]\d|\s+(?:{choice})\s+\d)"
