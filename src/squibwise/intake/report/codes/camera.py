"""Codes and words as a camera or a reader of print sees them, with signs taken for one another."""

import re
from collections import Counter

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.code_forms import Code, as_printed
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.sheet import Line, Sheet

_TRUE_DIGITS = 2  # a word such as "BOIL" has none
_SHAPED = 2  # lines with mistaken codes that show a machine's reading
_MISTAKEN = pattern(
    r"(?<![\w-])([PCBUpcbu8])([0-9OoIlSsZz|])([0-9A-Fa-fOoIlSsZzGT|]{3})"
    r"(?:([-:])([0-9A-Fa-fOoIlSsZzGT|]{2}))?(?![\w|-])"
)
_LEADS = pattern(  # "BlA1l left curtain", "BOO1B driver bag", no word and its number: "POST2"
    r"[\W\d]*[PCBU](?:[^\W_]{0,2}[a-z][A-Z]|[^\W\d_]{0,2}\d)[^\W_]{1,3}(?:[-:][^\W_]{2})?\s+[^\W\d_]{3}"
)
_MISTAKEN_HEX = pattern(
    r"\s*(?=(?:[^\d\s]*\d){2})([0-9A-FOoIlSsZzGT|]{6}|[0-9A-FOoIlSsZzGT|]{4})\s+(?=\S)"
)
_MISTAKEN_BYTE = pattern(  # "B1345-IB": the code is read, its failure type is not
    r"(?<![\w-])[BCPU][0-3][0-9A-F]{3}[-:](?=[0-9A-F]?[OoIlSsZzG|])[0-9A-FOoIlSsZzG|]{2}(?![\w|-])"
)
_GAPPED = pattern(r"\s*([BCPU][0-3OoIl] [0-9A-FOoIlSsZzG|]{3})(?![\w|-])")
_ROW_NUMBER = pattern(r"[\s|]*(?:\d{1,3}[.)]?)?[\s|]*")
_COLUMN = 2  # lines with codes that begin at one place
_COLUMN_CODE = pattern(
    r"([PCBU8])((?: ?[0-9A-FOoIlSsZzGQTg|!]){4})(?: ?([-:]) ?([0-9A-FOoIlSsZzGQTg|!]{2}))?(?=\s+\S)"
)
_LOOKS = str.maketrans("OoQIl|!ZzSsGgT", "00011112255697")
_MIXED_WORDS = 2  # words with digits among their letters that show a machine's reading
_MIXED = pattern(
    r"(?<![\w-])(?:(?=[^\W_]*[^\W\d_]{2})(?=[^\W\d_]*[015])(?:[^\W\d_]|[01]){4,}|[a-z]0[a-z]"
    r"|[RTtNn]0)(?!\w)"
)
_AS_LETTERS = str.maketrans("01", "ol")
_WORD = pattern(r"[^\W\d_]{4,}")
_ALIKE = (
    *(("l", "i"), ("i", "l"), ("rn", "m"), ("m", "rn"), ("cl", "d"), ("d", "cl"), ("vv", "w")),
    *(("q", "g"), ("g", "q"), ("c", "e"), ("e", "c"), ("h", "b"), ("u", "ii"), ("f", "t")),
)
_OFFSIDE = pattern(r"(?<!\w)0/[sS5](?!\w)")
_ONE_ALONE = pattern(r"(?<=[a-z.] )[lI](?= )")


def read_as_camera(sheet: Sheet, lexicon: Lexicon) -> None:
    """Set codes in which a camera took signs for one another, once lines show that one did."""
    found = [find_mistaken(ln.text, is_lenient=False) for ln in sheet.lines]
    hexes = sum(bool(find_mistaken(ln.text, is_lenient=True)) for ln in sheet.lines if not ln.codes)
    column = _code_column(sheet.lines, found)
    placed = [_in_column(ln, column, lexicon) for ln in sheet.lines]
    mixed = sum(len(_MIXED.findall(ln.text)) for ln in sheet.lines)
    sheet.is_machine_read = any(found) or mixed >= _MIXED_WORDS or hexes >= _SHAPED
    sheet.is_machine_read = sheet.is_machine_read or any(_is_mixed(c.printed) for c in placed if c)
    if not sheet.is_machine_read:
        return
    for line, code in zip(sheet.lines, placed, strict=True):
        end = code.end if code is not None else 0
        line.text = line.text[:end] + _letters(line.text[end:], lexicon)
        is_read = any(c.style in ("sae", "camera") for c in line.codes)
        if is_read and not (len(line.codes) == 1 and _MISTAKEN_BYTE.search(line.text)):
            continue
        mistaken = find_mistaken(line.text, is_lenient=True)
        if code is not None and not any(m.start <= code.start for m in mistaken):
            mistaken = (code,)
        if mistaken:
            line.codes = mistaken


def _is_mixed(printed: str) -> bool:
    """Tell whether a sign of a code is a digit, or small among capitals: no word is so."""
    return any(c.isdecimal() for c in printed) or (printed.upper() != printed != printed.lower())


def _code_column(lines: list[Line], mistaken: list[tuple[Code, ...]]) -> int | None:
    """Where the codes of most lines with one begin; None where they stand anywhere."""
    both = zip(lines, mistaken, strict=True)
    begun = ((*ln.codes, *more) for ln, more in both if ln.codes or more)
    starts = Counter(min(c.start for c in codes) for codes in begun)
    if not starts:
        return None
    first, often = starts.most_common(1)[0]
    return first if often >= _COLUMN and 2 * often > starts.total() else None


def _in_column(line: Line, column: int | None, lexicon: Lexicon) -> Code | None:
    """``UO1SS``, ``B1 47O-00``: what stands in the column of codes, however it is misread."""
    if column is None or line.codes or not _ROW_NUMBER.fullmatch(line.text[:column]):
        return None
    match = _COLUMN_CODE.match(line.text, column)
    if match is None or flat(match[1] + match[2]) in lexicon.known:
        return None
    letter, digits, sign, failure = match.groups()
    repaired = _repaired(letter, digits.replace(" ", ""), failure if sign else None)
    is_repaired = repaired[1:5] != digits.replace(" ", "") or " " in digits
    is_code = repaired[1] in "0123" and is_repaired and not match[0].replace(" ", "").isdecimal()
    return _as_seen(match, 0, repaired) if is_code else None


def _letters(text: str, lexicon: Lexicon) -> str:
    """Words with signs that a machine took for one another, put right where that makes a word."""
    text = _OFFSIDE.sub("O/S", text)
    text = _ONE_ALONE.sub("1", _MIXED.sub(_as_word, text))
    return _WORD.sub(lambda m: _known_word(m.group(), lexicon), text)


def _as_word(match: re.Match[str]) -> str:
    """A word with its digits read as letters; what may be a code stays as it is printed."""
    code = _MISTAKEN.match(match.string, match.start())
    is_led = match.start() == 0 and _LEADS.match(match.string)
    if code is not None and (is_led or sum(map(str.isdecimal, code[0][1:5])) >= _TRUE_DIGITS):
        return match.group()
    return match.group().translate(_AS_LETTERS)


def _known_word(word: str, lexicon: Lexicon) -> str:
    plain = flat(word)
    if plain in lexicon.known:
        return word
    tries = (t for one, two in _ALIKE if one in plain for t in _swapped(plain, one, two))
    return next((t for t in tries if t in lexicon.known), word)


def _swapped(word: str, one: str, two: str) -> list[str]:
    """A word with signs taken for others, everywhere and at each place alone."""
    places = (m.start() for m in re.finditer(re.escape(one), word))
    single = [word[:at] + two + word[at + len(one) :] for at in places]
    return [word.replace(one, two), *single]


def find_mistaken(text: str, *, is_lenient: bool) -> tuple[Code, ...]:
    """Return codes with letters and digits that a camera takes for one another.

    Args:
        text: One line.
        is_lenient: Other lines show that the text was read by a machine: five digits that begin
            with 8 may be a B code, and one true digit is enough.
    """
    found = []
    for match in _MISTAKEN.finditer(text):
        repaired = _repaired(match[1], match[2] + match[3], match[5])
        printed = match.group()
        digits = sum(c.isdecimal() for c in printed[1:])
        is_number = printed[:5].isdecimal()
        enough = digits >= (1 if is_lenient else _TRUE_DIGITS) and (match[5] or digits > 1)
        enough = enough or (digits and _LEADS.match(text) and repaired[1] in "0123")
        if repaired == printed.upper() or not enough or (is_number and not is_lenient):
            continue
        if is_number and printed[1] not in "0123":  # a mileage, rather
            continue
        found.append(_as_seen(match, 0, repaired))
    gap = _GAPPED.match(text) if is_lenient and not found else None  # "B1 7O8"
    if gap is not None and sum(map(str.isdecimal, gap[1])) >= _TRUE_DIGITS:
        return (_as_seen(gap, 1, gap[1].replace(" ", "").translate(_LOOKS).upper()),)
    return tuple(found) or (_mistaken_hex(text) if is_lenient else ())


def _mistaken_hex(text: str) -> tuple[Code, ...]:
    """Four or six hex digits that lead a line, some taken for letters."""
    match = _MISTAKEN_HEX.match(text)
    if match is None:
        return ()
    printed, repaired = match.group(1), match.group(1).translate(_LOOKS).upper()
    if repaired == printed.upper() or repaired.isdecimal():
        return ()
    return (_as_seen(match, 1, repaired),)


def _as_seen(match: re.Match[str], group: int, repaired: str) -> Code:
    """A code as it was seen, with what it must have been as its reading."""
    return as_printed("camera", match.group(group), match.start(), match.end(group), (repaired,))


def _repaired(letter: str, digits: str, failure: str | None) -> str:
    first = "B" if letter == "8" else letter.upper()
    byte = f"-{failure.translate(_LOOKS).upper()}" if failure else ""
    return first + digits.translate(_LOOKS).upper() + byte
