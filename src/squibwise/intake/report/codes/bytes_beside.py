"""Bytes beside a code: its status and its failure type, by their label or by their dress."""

import re
from functools import lru_cache

import msgspec

from squibwise.catalog.small_words import SmallWords
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.code_forms import NOT_A_BYTE
from squibwise.intake.report.language.lexicon import flat
from squibwise.intake.report.sheet import Line

_DRESSED = pattern(  # 0x2F, $2F, 2F hex, 2Fh apart, [2F], {2F}; eight bits; 2F as the last column
    r"(?i)(?<![\w.:/-])(?:(?:0x|\$(?=0|\d?[a-f]))([0-9a-f]{2})h?|([0-9a-f]{2})\s?hex)(?![\w.])"
    r"|(?<=\s\s|,\s)(?=\w?\d)([0-9a-f]{2})h(?!\w)|[\[{](?:0x|\$)?([0-9a-f]{2})[\]}]"
    r"|(?<=\s)([01]{8})(?=\s\s|\s*$)|(?<=\s\s)(\d[A-F])(?=\s*$)"
)
_BYTE = r"(?:(?P<sign>0x|\$)?(?P<hex>[0-9a-f]{2})(?P<tail>\s?h(?:ex)?)?|(?P<bits>[01]{8}))(?!\w)"
_ENDS = pattern(r"\s*$|\s\s|\s?[\])},;|]")
_BITS = 8
_SLASHED = pattern(r"/([0-9A-Fa-f]{2})(?![\w/.-])")
_OPENS = pattern(r"[\s(\[]*")


def read_bytes(lines: list[Line], small: SmallWords) -> None:
    """Set the status and the failure type that lines have beside their code, or below it.

    Behind a stroke a failure type is one where others are, else a second code.
    """
    is_typed = any(c.failure_type for line in lines for c in line.codes)
    for line in lines:
        _read_bytes(line, small, is_typed=is_typed)


def _read_bytes(line: Line, small: SmallWords, *, is_typed: bool) -> None:
    """Set the bytes of one line.

    Where the line has a code they are taken off its words: ``st=2F`` is no second stage.
    """
    slashed = _SLASHED.match(line.text, line.codes[0].end) if is_typed and line.codes else None
    kind = (slashed.span(), slashed[1].upper()) if slashed else _type_in(line, small)
    status = _status_in(line, small)
    line.status_byte = status[1] if status is not None else None
    line.failure_type = kind[1] if kind is not None else None
    if len(line.codes) != 1:
        return
    for found in (status, kind):
        if found is not None:
            start, end = found[0]
            line.text = line.text[:start] + " " * (end - start) + line.text[end:]
    code = line.codes[0]
    own = code.status_byte if code.status_byte is not None else line.status_byte
    line.codes = (
        msgspec.structs.replace(
            code, status_byte=own, failure_type=code.failure_type or line.failure_type
        ),
    )


def find_status_byte(text: str, small: SmallWords) -> tuple[tuple[int, int], int] | None:
    """Return where a status byte stands that is labelled as such, and the byte; None for none."""
    for match in _labelled(small.status_labels).finditer(_folded(text)):
        is_dressed = bool(match["sign"] or match["tail"] or match["bits"] or match["is"])
        is_last = bool(_ENDS.match(text, match.end()))
        digits = text[slice(*match.span("hex"))] if match["hex"] else ""
        is_hex = not digits or any(c.isdecimal() for c in digits) or digits.isupper()
        is_byte = is_hex and (is_dressed or is_last or not digits.isdecimal())
        if is_byte and not NOT_A_BYTE.match(text, match.end()):
            value = int(match["bits"], 2) if match["bits"] else int(digits, 16)
            return match.span(), value
    return None


def _status_in(line: Line, small: SmallWords) -> tuple[tuple[int, int], int] | None:
    labelled = find_status_byte(line.text, small)
    if labelled is not None or len(line.codes) != 1:
        return labelled
    match = _DRESSED.search(line.text, line.codes[0].end)
    if match is None:
        return None
    digits = next(filter(None, match.groups()))
    return match.span(), int(digits, 2 if len(digits) == _BITS else 16)


def _type_in(line: Line, small: SmallWords) -> tuple[tuple[int, int], str] | None:
    """A failure type behind its label; without a sign between only right behind the code."""
    for match in _labelled(small.type_labels).finditer(_folded(line.text)):
        at = line.codes[0].end if line.codes else 0
        is_next = bool(line.codes) and bool(_OPENS.fullmatch(line.text, at, match.start()))
        is_told = match["hex"] and match["sign"] != "$" and (match["is"] or is_next)
        if is_told and not NOT_A_BYTE.match(line.text, match.end()):
            return match.span(), match["hex"].upper()
    return None


def _folded(text: str) -> str:
    """A text folded, every letter where it stood."""
    folded = flat(text)
    return folded if len(folded) == len(text) else text.lower()


@lru_cache(maxsize=4)
def _labelled(labels: tuple[str, ...]) -> re.Pattern[str]:
    names = "|".join(re.escape(label) for label in sorted(labels, key=len, reverse=True))
    return re.compile(
        rf"(?i)(?<![^\W_])(?:{names})\b(?:\s?(?:byte|code))?\.?\s*(?P<is>[:=#])?\s*{_BYTE}"
    )
