"""Fault codes in a line of text, in every notation that reports use.

Self-identifying notations give a code; the others give the readings they may have.
Source: sae-j2012, two bytes to a letter and four digits; iso-14229-1, three bytes and a status.
"""

import re

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import flat

_END = r"(?![0-9A-Za-z])"
_SAE = pattern(
    r"(?<![0-9A-Za-z])(?<!\d-)([BCPUbcpu])([0-3])([0-9A-Fa-f])"
    r"(?:([0-9A-Fa-f]{2})([0-9A-Fa-f]{2})?"
    r"| ([0-9A-Fa-f]{2})(?=\s?[:-]\s?[0-9A-Fa-f]{2}(?![0-9A-Za-z])))"
    + _END
    + r"(?!-\d{4})"  # a part number goes on
)
_LETTERED = pattern(  # a maker's own numbers in the same dress
    r"(?<![0-9A-Za-z])(?<!\d-)([BCPU])([4-9A-F][0-9A-F]{3})(?:-([0-9A-F]{2}))?" + _END
)
_HYPHENED = pattern(r"(?<![0-9A-Za-z-])([BCPUbcpu])([0-3])-(\d[0-9A-Fa-f]\d)(?![0-9A-Za-z-])")
_SPOKEN = dict(
    zip(
        """alpha alfa bravo charlie delta echo foxtrot papa uniform uniforme zero one two three four
        five six seven eight nine niner""".split(),
        "AABCDEFPUU01234567899",
        strict=True,
    )
)
_SPELLED = pattern(
    rf"(?i)\b(?:bravo|charlie|papa|uniforme?)(?:[ ,-]{{1,3}}(?:\d|{'|'.join(_SPOKEN)})\b){{4}}"
)
_SPACED = pattern(
    r"^\W{0,6}([BCPU])(?:-([0-3][0-9A-F]{3})|((?: [0-9A-F]){4})"
    r"|([0-3][0-9A-F] [0-9A-F]{2}(?= [0-9A-F]{2}\s)|[0-3] [0-9A-F]{3}(?= [0-9A-F]{2}\s)))"
    r"(?![0-9A-Za-z]|-\d{3})"
)
_BYTE_AFTER = pattern(
    r"(?:\s?[-:.]\s?|_|\s{0,3}[\[(]|[ \t]{1,2}|\t?[|;]\t?)(?:0[xX])?"
    r"([0-9A-Fa-f]{2})h?(?![0-9A-Za-z])[\])]?"
)
_TWO_BYTES_AFTER = pattern(r"[-:._]([0-9A-Fa-f]{2})[-:_/]([0-9A-Fa-f]{2})(?![\w:./-])")
_ORDINAL = pattern(r"\s[1-3][aeo]\s[^\W\d]{3}")  # "B1001 2e rij", "2a fila"
NOT_A_BYTE = pattern(
    r"\s?(?:[vV]\b|[oO]hm|Ω|km|mi\b|%|x\b|°|times|mal\b|[:/.,]\d|kg|mA|faults?|codes?|-\d{1,2}-\d)"
)
_WIRING = pattern(
    r"(?i)(?:connector|splice|terminal|pin|plug|fuse|relay|stecker|connecteur|stock|lot|part|serial|"
    r"order|invoice)(?: no| number)?\.?\s?[:#]?\s*$"
)
_IN_SENTENCE = pattern(
    r"(?i)\b(?:the|its|this|that|de[rn]|le|la)\s\w+:\s$"
)  # "after the plug: B1001"
_NUMBER_BEFORE = pattern(r"(?:^|[^\w-])[\w.-]*\d[\w.]*-$|\w\.$")  # 5Q- of 5Q-B1099-22
_LEAD = pattern(
    r"\s*(?:[-*>•·#]\s*)?(?:\(?\d{1,3}[.)]\s+|\d{2}\s-\s(?=\d{5}\b))?"
    r"(?:(?i:img|image|photo|picture|pic|screen|foto|bild)[ _#-]{0,2}\d{1,6}\s?[:.)]\s+)?"
    r"(?:(?i:dtc|codes?|fault codes?|trouble codes?|fehlercode|fehler|defaut|défaut|code defaut|"
    r"error|codigo|código|codice|cod\.?|kod|raw(?: bytes| data)?|bytes|hex)"
    r"\s*(?:no\.?|nr\.?|#)?\s*(?:[.·_…]{3,}\s*)?[:=#]?\s*)?"
)
_HEX_PREFIXED = pattern(r"(?<![0-9A-Za-z])0[xX]([0-9A-Fa-f]{6}|[0-9A-Fa-f]{4})" + _END)
_BYTES = pattern(
    r"(?:\$?)([89A-Fa-f][0-9A-Fa-f]) ([0-9A-Fa-f]{2}) ([0-9A-Fa-f]{2})(?: ([0-9A-Fa-f]{2}))?" + _END
)
_HEX_SPLIT = pattern(
    r"\$?(?![Bb][0-3])([89A-Fa-f][0-9A-Fa-f]{3})[ :-]([0-9A-Fa-f]{2})(?:[ :-]([0-9A-Fa-f]{2}))?"
    + _END
)
_HEX24 = pattern(
    r"\$?([89A-Fa-f][0-9A-Fa-f]{5})(?:([0-9A-Fa-f]{2})"
    r"|[hH]?\s(?:0x)?([0-9A-F]{2})(?=\s+(?!(?i:v|ohms?|km|mi)\b)[^\W\d]))?[hH]?" + _END
)
_HEX16 = pattern(r"\$?(?![BbCc][0-3])([89A-Fa-f][0-9A-Fa-f]{3})[hH]?" + _END)
_DECIMAL5 = pattern(r"(\d{5}(?:-(?:\d{3}|[0-9A-F]{2}))?)(?![0-9A-Za-z]|[.,]\d|\s?(?:km|mi|h)\b)")
_DECIMAL_LONG = pattern(r"(\d{7,8})(?![0-9A-Za-z])")
_DASHED = pattern(r"(\d{1,2}-\d{1,2}|\d{2}-\d[0-9A-Fa-fx])(?![-/.:]?\d)" + _END)
_FLASH = pattern(
    r"(\d{2})(?!\s?(?i:km|mi|kg|v|ohm|mm|ms|min|h|x|times)\b)"
    r"(?=\s*(?:$|[-–:=,;|]|\s[^\W\d_]{2}))(?!\s?[-:]\s?\d)"
)
_CUT = pattern(r"([BCPUbcpu][0-3][0-9A-Fa-f]{0,2})(?=\s*(?:$|[-:.…?_*]|\.\.|\s[^\W\d_]{2}))" + _END)
_BETWEEN = 3  # words that may stand between two notations of one code
_TRUE_DIGITS = 2  # a word such as "BOIL" has none
_MAKER = pattern(r"(DF\d{3})" + _END)
_RAW_LABEL = pattern(r"(?i)\b(?:raw|bytes|hex)\b")


class Code(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One code as it stands in a line.

    Attributes:
        start: First character in the line.
        end: Character after the last.
        style: ``sae``, ``hex24``, ``hex16``, ``decimal``, ``decimal24``, ``maker``, ``amid`` (six
            digits amid words), ``camera``, ``flash`` or ``cut``.
        printed: As it stands, spaces dropped, upper case.
        code: Normalised code; as printed when the notation does not identify itself.
        failure_type: Two hex digits; None when absent.
        status_byte: 0 to 255; None when absent.
        readings: Codes that it may stand for when the notation does not identify itself.
        also: The same code in other notations on the same line.
        elsewhere: Where those stand.
    """

    start: int
    end: int
    style: str
    printed: str
    code: str
    failure_type: str | None = None
    status_byte: int | None = None
    readings: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    elsewhere: tuple[tuple[int, int], ...] = ()

    @property
    def is_exact(self) -> bool:
        """True when the notation identifies itself."""
        return not self.readings and self.style != "cut"


def sae_code(number: int) -> str:
    """Return the letter-and-digits form of a two-byte code.

    Source: sae-j2012: bits 15-14 are P, C, B, U; bits 13-12 the first digit; three hex digits.
    """
    return f"{'PCBU'[number >> 14 & 3]}{number >> 12 & 3}{number & 0xFFF:03X}"


def find_codes(text: str) -> tuple[Code, ...]:
    """Return the codes of a line in the order they stand, twins of one code merged."""
    found = _find_sae(text) + _find_lettered(text) + _find_spelled(text)
    found += _find_prefixed(text, found)
    leading = _find_leading(text, found)
    if leading is not None:
        found.append(leading)
    return merge_twins(found, text)


def _find_sae(text: str) -> list[Code]:
    found = []
    for match in _SAE.finditer(text):
        letter, first, second, tail, glued, spaced = match.groups()
        if _is_wiring(text, match.start()):
            continue
        code = f"{letter}{first}{second}{tail or spaced}".upper()
        found.append(with_bytes(text, match.start(), match.end(), code, glued))
    return found


def with_bytes(text: str, start: int, end: int, code: str, glued: str | None) -> Code:
    """A code with the failure type and the status byte that may follow it."""
    failure = glued.upper() if glued else None
    status = None
    both = _TWO_BYTES_AFTER.match(text, end)
    if failure is None and both is not None:
        failure, status, end = both[1].upper(), int(both[2], 16), both.end()
    elif failure is None:
        after = end
        failure, end = _byte_at(text, end)
        if failure is not None and "[" in text[after:end]:  # square brackets hold a status
            status, failure = int(failure, 16), None
    if failure is not None:
        status_text, after = _byte_at(text, end)
        if status_text is not None:
            status, end = int(status_text, 16), after
    return Code(
        start=start,
        end=end,
        style="sae",
        printed=text[start:end].upper().strip(),
        code=code,
        failure_type=failure,
        status_byte=status,
    )


def _byte_at(text: str, at: int) -> tuple[str | None, int]:
    """Two hex digits right after a code, unless they begin a measure, a time or a word."""
    match = _BYTE_AFTER.match(text, at)
    if match is None or NOT_A_BYTE.match(text, match.end()):
        return None, at
    digits = match.group(1)
    if _ORDINAL.match(text, match.start()):
        return None, at
    tight = match.start(1) - at == 1 and text[at] in "-:"
    if not any(c.isdecimal() for c in digits) and not (tight and digits.isupper()):
        return None, at
    return digits.upper(), match.end()


def _find_lettered(text: str) -> list[Code]:
    """Numbers that only look like the standard's, and the standard's with a hyphen inside."""
    found = []
    for match in _LETTERED.finditer(text):
        letter, digits, failure = match.groups()
        if sum(d.isdecimal() for d in digits) < _TRUE_DIGITS or _is_wiring(text, match.start()):
            continue
        found.append(with_bytes(text, match.start(), match.end(), letter + digits, failure))
    spaced = _SPACED.match(text)
    if spaced is not None:
        code = "".join(filter(None, spaced.groups())).replace(" ", "")
        found.append(with_bytes(text, spaced.start(1), spaced.end(), code, None))
    for match in _HYPHENED.finditer(text):
        code = "".join(match.groups()).upper()
        found.append(with_bytes(text, match.start(), match.end(), code, None))
    return found


def _find_spelled(text: str) -> list[Code]:
    """A code as it is said over a radio: ``bravo 1 4 4 charlie``."""
    found = []
    for match in _SPELLED.finditer(text):
        signs = [_SPOKEN.get(word.lower(), word) for word in re.findall(r"\w+", match.group())]
        found.append(with_bytes(text, match.start(), match.end(), "".join(signs), None))
    return found


def _is_wiring(text: str, at: int) -> bool:
    """Tell whether a plug, a pin or an order is named right before, or a longer number goes on."""
    before = text[max(0, at - 22) : at]
    if _IN_SENTENCE.search(before):
        return False
    return bool(_WIRING.search(before) or _NUMBER_BEFORE.search(before))


def _find_prefixed(text: str, taken: list[Code]) -> list[Code]:
    found = []
    for match in _HEX_PREFIXED.finditer(text):
        if not overlaps(match.start(), match.end(), taken):
            digits = match.group(1).upper()
            found.append(hex_token(digits, match.start(), match.end(), None))
    return found


def hex_token(digits: str, start: int, end: int, status: str | None) -> Code:
    """Return two or three bytes, as hex digits, as a token of the code that they stand for."""
    return Code(
        start=start,
        end=end,
        style="hex24" if len(digits) == 6 else "hex16",
        printed=digits,
        code=sae_code(int(digits[:4], 16)),
        failure_type=digits[4:] or None,
        status_byte=int(status, 16) if status else None,
    )


def _find_leading(text: str, taken: list[Code]) -> Code | None:
    """A code in a notation that only counts at the start of a line."""
    lead = _LEAD.match(text)
    at = lead.end() if lead else 0
    token = _hex_at(text, at) or _number_at(text, at, bool(taken))
    if token is None or overlaps(token.start, token.end, taken):
        return _embedded_hex(text, taken) if taken else None
    return token


def _hex_at(text: str, at: int) -> Code | None:
    match = _BYTES.match(text, at)
    if match:
        return hex_token("".join(match.groups()[:3]).upper(), at, match.end(), match.group(4))
    match = _HEX_SPLIT.match(text, at)
    if match and not NOT_A_BYTE.match(text, match.end()):
        digits = (match.group(1) + match.group(2)).upper()
        return hex_token(digits, at, match.end(), match.group(3))
    match = _HEX24.match(text, at)
    if match and _is_hex(match):
        return _whole(match)
    match = _HEX16.match(text, at)
    if match and is_numeric(match.group(1)):
        digits = match.group(1).upper()
        if not digits.isdecimal():
            return hex_token(digits, at, match.end(), None)
        return undecided(match, "hex16", (sae_code(int(digits, 16)), digits))
    return None


def _whole(match: re.Match[str]) -> Code:
    """Six digits with nothing that says how they part: a maker's number, or three bytes."""
    digits, status = match.group(1).upper(), match.group(2) or match.group(3)
    number = int(digits, 16)
    token = undecided(match, "maker", (digits, f"{sae_code(number >> 8)}-{digits[4:]}"))
    return msgspec.structs.replace(token, status_byte=int(status, 16) if status else None)


def is_numeric(digits: str) -> bool:
    """Tell whether hex digits are no word or abbreviation with a number, such as DAB1."""
    return digits[0].isdecimal() or sum(c.isdecimal() for c in digits) > 1


def _is_hex(match: re.Match[str]) -> bool:
    """Six digits of a code; eight plain digits are more likely a decimal number."""
    return is_numeric(match.group(1)) and (match.group(2) is None or not match.group().isdecimal())


def _embedded_hex(text: str, taken: list[Code]) -> Code | None:
    """A twin anywhere in the line, in brackets or after a slash, equal to a code of the line."""
    for match in re.finditer(
        r"(?<![0-9A-Za-z])(?:[89A-Fa-f][0-9A-Fa-f]{3}[ :-]?[0-9A-Fa-f]{2}|\d{7,8})" + _END, text
    ):
        printed = re.sub(r"[ :-]", "", match.group())
        number = int(printed, 10 if len(printed) > 6 else 16)
        twin = number >> 16 < 256 and any(_same_number(t, number) for t in taken)
        if twin and not overlaps(match.start(), match.end(), taken):
            return hex_token(f"{number:06X}", match.start(), match.end(), None)
    return None


def _same_number(token: Code, number: int) -> bool:
    return token.code == sae_code(number >> 8) and token.failure_type in (
        None,
        f"{number & 255:02X}",
    )


def _number_at(text: str, at: int, has_code: bool) -> Code | None:
    match = _DECIMAL_LONG.match(text, at)
    if match and 0x800000 <= int(match.group(1)) <= 0xFFFFFF:
        number = int(match.group(1))
        readings = (sae_code(number >> 8), match.group(1))
        token = undecided(match, "decimal24", readings)
        return msgspec.structs.replace(token, failure_type=f"{number & 255:02X}")
    match = _MAKER.match(text, at)
    if match:
        return undecided(match, "decimal")
    match = _DECIMAL5.match(text, at)
    if match:
        digits = match.group(1)
        is_two_bytes = digits.isdecimal() and int(digits) <= 0xFFFF
        twin = (sae_code(int(digits)),) if is_two_bytes else ()
        return undecided(match, "decimal", (*twin, digits))
    if has_code or _RAW_LABEL.search(text[:at]):
        return None
    return _flash_at(text, at) or _cut_at(text, at)


def _flash_at(text: str, at: int) -> Code | None:
    match = _DASHED.match(text, at) or _FLASH.match(text, at)
    return flash(match.group(1), match.start(), match.end()) if match else None


def flash(printed: str, start: int, end: int) -> Code:
    """Return a flash code as a token; what it stands for only a maker's list tells."""
    return as_printed("flash", printed, start, end, (printed,))


def as_printed(style: str, printed: str, start: int, end: int, readings: tuple[str, ...]) -> Code:
    """Return a code that is named as it is printed; see ``Code``."""
    return Code(start=start, end=end, style=style, printed=printed, code=printed, readings=readings)


def _cut_at(text: str, at: int) -> Code | None:
    match = _CUT.match(text, at)
    if match is None:
        return None
    return as_printed("cut", match.group(1).upper(), at, match.end(), ())


def undecided(match: re.Match[str], style: str, readings: tuple[str, ...] = ()) -> Code:
    """Return a code whose notation does not identify itself.

    Args:
        match: Where it stands; its first group is the number.
        style: Of ``Code``.
        readings: Codes that it may stand for; as it is printed where none is told.
    """
    printed = match.group(1).upper()
    return as_printed(style, printed, *match.span(), readings or (printed,))


def overlaps(start: int, end: int, taken: list[Code]) -> bool:
    """Tell whether a stretch of a line holds a part of any of these codes."""
    return any(t.start < end and start < t.end for t in taken)


def merge_twins(
    found: list[Code], text: str, choosing: frozenset[str] = frozenset()
) -> tuple[Code, ...]:
    """Return the codes of one line in the order they stand, those that are one code merged.

    Args:
        found: In any order.
        text: The line.
        choosing: Words such as ``or``: of two codes beside one the fault has one.
    """
    merged: list[Code] = []
    for token in sorted(found, key=lambda t: t.start):
        twin = next((i for i, other in enumerate(merged) if _is_twin(other, token)), None)
        if twin is None:
            merged.append(token)
        else:
            merged[twin] = _joined(merged[twin], token)
    merged = _alternatives(merged, text, choosing)
    exact = [t for t in merged if t.is_exact]
    if len(exact) == 1 and len(merged) == 2:  # a maker's number beside its public code
        other = next(t for t in merged if not t.is_exact)
        between = text[min(t.end for t in merged) : max(t.start for t in merged)]
        if len(re.findall(r"[^\W\d_]{2,}", between)) <= _BETWEEN:
            return (_with_twin(exact[0], other),)
    return tuple(merged)


def _alternatives(found: list[Code], text: str, choosing: frozenset[str]) -> list[Code]:
    """``B1642 or B1647``: one fault with two codes of which it is one."""
    kept: list[Code] = []
    for token in found:
        between = text[kept[-1].end : token.start] if kept else ""
        if flat(between).strip(" .") in choosing:
            kept[-1] = _with_twin(kept[-1], token)
        else:
            kept.append(token)
    return kept


def _is_twin(one: Code, two: Code) -> bool:
    if one.style == "sae" and two.style == "sae":
        return False
    codes = {one.code, *one.readings} & {two.code, *two.readings}
    types = {one.failure_type, two.failure_type} - {None}
    return bool(codes) and len(types) <= 1


def _joined(one: Code, two: Code) -> Code:
    """The more telling token with the other as its second notation."""
    best, other = (
        (two, one) if two.style == "sae" or (two.is_exact and not one.is_exact) else (one, two)
    )
    joined = msgspec.structs.replace(
        best,
        failure_type=best.failure_type or other.failure_type,
        status_byte=best.status_byte if best.status_byte is not None else other.status_byte,
    )
    return _with_twin(joined, other)


def _with_twin(token: Code, other: Code) -> Code:
    return msgspec.structs.replace(
        token,
        also=(*token.also, other.printed, *other.also),
        elsewhere=(*token.elsewhere, (other.start, other.end), *other.elsewhere),
    )
