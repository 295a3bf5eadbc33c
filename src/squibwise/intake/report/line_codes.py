"""Codes of each line in the light of the whole report: shapes, columns, labels of things."""

import re
from functools import lru_cache
from itertools import pairwise

from squibwise.intake.importers.base import refuse_many
from squibwise.intake.patterns import pattern
from squibwise.intake.report.codes import (
    Code,
    find_codes,
    hex_token,
    is_numeric,
    merge_twins,
    overlaps,
    undecided,
)
from squibwise.intake.report.lexicon import Lexicon, flat
from squibwise.intake.report.sheet import Line, Sheet, cell_of
from squibwise.intake.report.signs import (
    find_counted,
    find_flashes,
    find_list,
    find_pairs,
    read_as_camera,
)
from squibwise.intake.report.spoken import follow_spoken
from squibwise.intake.report.words import (
    OWN_PARTS,
    TELLS,
    Words,
    has_fault,
    has_part,
    stands_alone,
)

_THREE = pattern(r"\s*(\d{3})(?=\s+[^\W\d])(?!\s?(?:v|ohms?|km|mi|mm|ms|kg)\b)")
_THREE_LAST = pattern(r"[/|]\s*(\d{3})\s*$")
_SLASHED = pattern(r"\s*([0-9A-F]{3,6})/[0-9A-F]{2}(?=\s+[^\W\d])")
_PAIRS = pattern(r"\s*(\d{2} \d{2})(?=\s{2,}[^\W\d])")
_TWO_BYTES = 4  # hex digits
_HEX_ANYWHERE = pattern(r"(?<![\w.:/-])([0-9A-F]{4}(?:[0-9A-F]{2})?)(?![\w:/]|[.-]\w)")
_SIX_TOLD = pattern(r":\s*(\d{6})(?=,?\s+[^\W\d]{4})")
_THREES = pattern(
    r":\s*(?:[^\W\d]+\s){0,2}(?=\d{3}[\s,;/]+\d{3})(?:\d{3}[\s,;/]*)+$"
    r"|(?:^|(?<=[:,;]\s)|(?<=\b(?:und|and)\s))\d{3}(?=\s+[^\W\d]{6})"
)
_FIVE_ANYWHERE = pattern(  # 01632 960112 is a telephone
    r"(?<![\w.:/-])(\d{5})(?![\w:/]|[.,-]\d|\s?(?:km|mi|h)\b|\s(?:\d{3,4}|\d{6})\b)"
)
_WORD_AFTER = pattern(r" [^\W\d_]{5}")
_SHAPED = 2  # lines of one shape that make it the shape of the report
MAX_FAULTS = 5_000  # a wrecked car with every unit read lists some hundred
_LABEL_REACH = 80  # characters before a number in which its label stands
_FEW_ROWS = 3
_COLUMN_SHARE = 0.8  # of a column's cells that have the shape of a code
_CODE_CELL = pattern(r"(?=[^\d]*\d[^\d]*\d)(?=.*[A-Fa-f])[0-9A-Fa-f]{4,6}|0x[0-9A-Fa-f]{4,6}")
_ALIKE_CODE = pattern(
    r"(?<![\w.,:/$-])"
    r"((?:(?:[A-Z]{0,2}\d?|\d[A-Z])-?(?=[0-9A-F-]*\d)"
    r"(?:[0-9A-F]{4,7}|(?<=-)[0-9A-F]{3})(?:-[0-9A-F]{2})?)"
    r"|[BCPU] [0-9A-F]{4}|[A-Z]\d-\d[0-9A-F]"
    r"|(?<=\()[0-9A-F]{2} [0-9A-F]{2}(?=\))|[0-9A-F]{2}(?:-[0-9A-F]{2}){2})"
    r"(?![\w:/]|[.,-]\w|\s?(?:km|mi|miles|ohms?|v|kg|h)\b)"
)
_CALLED = pattern(
    r"(?i)\b(?:dtc|codes?|code|codice|c[oó]digo|kod|fehler(?:code|nummer)?|defaut|défaut|num|nr|no)"
    r"\.?[\s:=#]{1,3}$"
)
_NOTATION = pattern(r"(?i)^ ?(?:hex|dec|dez)\b(?: ?/ ?\d{7,8} ?(?:hex|dec|dez)?)?")
_NUMBERED = pattern(r"^\s*(?:\([^)]{3,30}\)\s+)?(?:[(\[]?\d{1,3}[.)\]]?\s+)?[\W_]*")
_WORDY = pattern(r"[^\W\d_]{3}")
_WORDED = pattern(r"[^\W\d_]{2}")
_LABELLED = pattern(
    r"(?:^\W*|\s{2,}|[,;]\s|\()(?P<word>[^\W\d_]{3,})(?: [^\W\d_]{3,})?"
    r"(?P<numbered>[ -]?(?i:no|nr|num|n[°º]|№)\.?(?![^\W\d_]))?\s?(?P<sign>[:=#])?\s?"
    r"(?P<number>[A-Z0-9-]*\d[A-Z0-9-]*)[)\]]?"
    r"(?:\s*[-,;|]\s+[^\W\d_]{3,}[\s.:#]*\d[\w-]*)?\s*$"
)
_SAME = 3  # lines with numbers of one shape that make them codes
_MOST_OF = 0.6  # share of the lines from which even short numbers are codes
_FEW_DIGITS = 4
_YEAR = pattern(r"(?:19|20)\d\d")
_BEGINNING = 2  # signs in which the numbers of one unit begin alike
_PLAIN_DIGITS = 5  # digits of a plain number that may be a code
_GOES_ON = pattern(r"/\d{2}")
_PLAIN_NUMBER = pattern(
    r"(?<![\w.,:/+])\d{1,5}(?![\w:/]|[.,]\d|\s?(?:km|mi|miles|v|volts?|ohms?|x|mal|times|fois|veces|"
    r"volte|vezes|razy)\b)"
)
_ANY_TEXT = pattern(r"[^\W_]")


def read_codes(sheet: Sheet, lexicon: Lexicon) -> None:
    """Set the codes of every line, each in the light of the others.

    Args:
        sheet: With its lines.
        lexicon: For the words for lamps, blinks and labels of every language.

    Raises:
        InputError: There are more codes than a report can have.
    """
    for line in sheet.lines:
        _read_line_codes(line, lexicon)
    refuse_many(sheet.name, sum(len(ln.codes) for ln in sheet.lines), MAX_FAULTS, "codes")
    _settle_flash(sheet.lines)
    _follow_shapes(sheet.lines)
    follow_spoken(sheet.lines)
    _read_column(sheet.lines)
    _read_slashed(sheet.lines)
    _read_alike(sheet.lines)
    _follow_beginnings(sheet.lines)
    for line in sheet.lines:
        line.codes = tuple(
            c for c in line.codes if c.style == "flash" or not _is_label(line.text, c, lexicon)
        )
    read_as_camera(sheet, lexicon)


def _read_line_codes(line: Line, lexicon: Lexicon) -> None:
    if not _ANY_TEXT.search(line.text):
        line.role = "blank"
        return
    flashes = list(find_flashes(line.text, lexicon))
    counted = find_counted(line.text)
    if counted is not None and not flashes:
        flashes = [counted]
    codes = list(find_codes(line.text))
    if flashes:
        codes = [c for c in codes if c.is_exact and not overlaps(c.start, c.end, flashes)]
    line.codes = merge_twins([*codes, *flashes], line.text) or find_list(line.text)


def _is_label(text: str, code: Code, lexicon: Lexicon) -> bool:
    """Tell whether what looks like a code is the number of an order, a part, a plug."""
    head = flat(text[max(0, code.start - _LABEL_REACH) : code.start])
    return bool(head.strip()) and bool(_of_a_thing(lexicon).search(head))


@lru_cache(maxsize=4)
def _of_a_thing(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"(?<![^\W_]){_label_of_a_thing(lexicon)}$")


@lru_cache(maxsize=4)
def _begins_with_thing(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"\W*{_label_of_a_thing(lexicon)}(?=[^\W_]*\d)")


def _label_of_a_thing(lexicon: Lexicon) -> str:
    return rf"(?:{lexicon.names_of('label')})(?: (?:no|nr|number|num|n[°ºo])(?!\w))?[\s.:#=-]*"


def numbers_a_thing(text: str, lexicon: Lexicon) -> bool:
    """Tell whether a line begins with what its number is of: ``order 1234``, ``checksum 5D2C``."""
    return bool(_begins_with_thing(lexicon).match(flat(text)))


def _settle_flash(lines: list[Line]) -> None:
    """Bare numbers are flash codes only where nothing speaks against it."""
    exact = any(c.style in ("sae", "hex24", "decimal24") for ln in lines for c in ln.codes)
    maker = any(c.style == "decimal" for ln in lines for c in ln.codes)
    numbered = maker or any(re.match(r"\s*[1-9]\s+\D", ln.text) for ln in lines)
    called = [
        ln for ln in lines if any(c.style == "flash" and c.end - c.start > 5 for c in ln.codes)
    ]
    for line in lines:
        only = find_list(line.text)
        if only and not exact:
            line.codes = only
        labelled = re.search(r"(?i)code|flash|blink|dtc", line.text[:20])
        if exact or (numbered and not labelled):
            line.codes = tuple(c for c in line.codes if c.style != "flash" or _is_called(line, c))
        if len(called) > 1 and not line.codes and not line.cells:
            line.codes = find_pairs(line.text)


def _is_called(line: Line, code: Code) -> bool:
    """Tell whether a flash code stands with a word for lamp or blink, or as a count of blinks."""
    flashes = [c for c in line.codes if c.style == "flash"]
    return code.style == "flash" and any(
        re.search(r"[^\W\d_]", line.text[c.start : c.end]) for c in flashes
    )


def _follow_shapes(lines: list[Line]) -> None:
    """Codes anywhere in a line, in the shape that several lines of the report begin with."""
    begun = [c.style for ln in lines for c in ln.codes if not ln.text[: c.start].strip(" -*(#")]
    is_hex = begun.count("hex16") >= _SHAPED
    first = (_find_hexes, _find_fives) if is_hex else (_find_fives, _find_hexes)
    is_numbered = begun.count("decimal") + begun.count("maker") >= _SHAPED
    # two bytes are looked for always, and kept only where the words beside them tell a fault
    finds = (*first, _find_threes) if is_numbered else (_find_hexes,)
    for line in lines:
        if not line.cells and all(c.style == "decimal" for c in line.codes):
            line.codes = _find_told_fives(line.text) or line.codes
        if line.codes or line.role == "blank":
            continue
        if not line.cells:
            line.codes = next(filter(None, (find(line.text) for find in finds)), ())
        if not line.codes and len(line.cells) < _SHAPED:
            number = _find_maker_number(line.text)
            line.codes = (number,) if number is not None else ()


def _find_maker_number(text: str) -> Code | None:
    """Return a maker's three-digit number, or two pairs of digits, that leads or ends a line."""
    match = _PAIRS.match(text) or _THREE.match(text) or _THREE_LAST.search(text)
    return None if match is None else undecided(match, "maker", (match.group(1),))


def _find_hexes(text: str) -> tuple[Code, ...]:
    """Return every number of two or three bytes with a letter among them, wherever it stands."""
    found = [m for m in _HEX_ANYWHERE.finditer(text) if not m.group(1).isdecimal()]
    mixed = [m for m in found if is_numeric(m.group(1)) and not m.group(1).isalpha()]
    return tuple(
        undecided(m, "amid", (m.group(1),)) if len(m.group(1)) > _TWO_BYTES else _two_bytes(m)
        for m in mixed
    )


def _find_fives(text: str) -> tuple[Code, ...]:
    """Return numbers of five digits that are listed, or one of six behind a colon."""
    told = _SIX_TOLD.search(text)
    if told is not None:
        return (undecided(told, "decimal", (told.group(1),)),)
    found = list(_FIVE_ANYWHERE.finditer(text))
    listed = len(found) > 1 or (found and text[: found[0].start()].rstrip().endswith((":", " =")))
    return tuple(undecided(m, "decimal", (m.group(1),)) for m in found) if listed else ()


def _find_told_fives(text: str) -> tuple[Code, ...]:
    """Return numbers of five digits in running text that each have words of their own."""
    found = [m for m in _FIVE_ANYWHERE.finditer(text) if _WORD_AFTER.match(text, m.end())]
    told = tuple(undecided(m, "decimal", (m.group(1),)) for m in found)
    return told if len(told) > 1 else ()


def _two_bytes(match: re.Match[str]) -> Code:
    """A maker's four digits; from 8 on they are two bytes of a body or network code too."""
    digits = match.group(1).upper()
    if digits[0] in "89ABCDEF":
        return hex_token(digits, match.start(), match.end(), None)
    return undecided(match, "maker", (digits,))


def _find_threes(text: str) -> tuple[Code, ...]:
    """Return three-digit numbers listed at the end of a line, or each before its own words."""
    plain = re.compile(r"(?<!\d)(\d{3})(?!\d)")
    listed = list(_THREES.finditer(text.rstrip()))
    found = (m for one in listed for m in plain.finditer(text, one.start(), one.end()))
    return tuple(undecided(m, "maker", (m.group(1),)) for m in found)


def _read_column(lines: list[Line]) -> None:
    """Codes of a table: the column whose cells are all one shape of a code."""
    rows = [ln for ln in lines if len(ln.cells) >= _SHAPED]
    if len(rows) < _FEW_ROWS or sum(bool(ln.codes) for ln in rows) > len(rows) // 2:
        return
    for column in range(max(len(ln.cells) for ln in rows)):
        cells = [cell_of(ln, column) for ln in rows[1:]]
        told = [c for c in cells if c]
        shaped = [c for c in told if _CODE_CELL.fullmatch(c)]
        if len(set(shaped)) >= _SHAPED and len(shaped) >= _COLUMN_SHARE * len(told):
            for line, cell in zip(rows[1:], cells, strict=True):
                if not line.codes and _CODE_CELL.fullmatch(cell):
                    line.codes = _maker_cell(line.text, cell)
            return


def _read_slashed(lines: list[Line]) -> None:
    """A maker's numbers that each begin a line with a byte behind a stroke: ``412/2F  driver``."""
    begun = [(ln, _SLASHED.match(ln.text)) for ln in lines if not any(c.is_exact for c in ln.codes)]
    found = [(ln, match) for ln, match in begun if match is not None]
    if len({match[1] for _, match in found}) < _SAME:
        return
    for line, match in found:
        line.codes = (undecided(match, "maker", (match[1].upper(),)),)


def _read_alike(lines: list[Line]) -> None:
    """Numbers of one shape and beginning that stand at one place of many lines are its codes."""
    told = sum(ln.role != "blank" for ln in lines)
    exact = sum(any(map(_is_settled, ln.codes)) for ln in lines)
    groups: dict[tuple[str, str, str], dict[int, re.Match[str]]] = {}
    for at, line in enumerate(lines):
        if line.role == "blank" or any(map(_is_settled, line.codes)):
            continue
        for match in _ALIKE_CODE.finditer(line.text):
            place = _place_of(line.text, match)
            if place and _WORDY.search(line.text[: match.start()] + line.text[match.end() :]):
                shape = re.sub(r"\W", "", match.group(1))
                key = (place, "x" * len(shape), shape[:1])
                groups.setdefault(key, {})[at] = match
    for found in groups.values():
        tokens = {m.group(1) for m in found.values()}
        shown = "".join(tokens)
        is_list = len(found) >= _MOST_OF * told or _stand_together(list(found))
        few = _FEW_DIGITS if is_list else _PLAIN_DIGITS
        is_plain = shown.isdecimal() and len(next(iter(tokens))) < few
        is_plain = is_plain or all(_YEAR.fullmatch(t) for t in tokens)
        if len(found) < _SAME or len(tokens) < _SAME or is_plain or len(found) <= exact:
            continue
        for at, match in found.items():
            if any(c.is_exact for c in lines[at].codes):
                continue
            lines[at].codes = (undecided(match, "maker", (match.group(1).upper(),)),)


def _stand_together(at: list[int]) -> bool:
    """Tell whether most of the numbered lines follow each other."""
    following = sum(two - one == 1 for one, two in pairwise(at))
    return len(at) > _SAME and following >= _MOST_OF * len(at)


def _follow_beginnings(lines: list[Line]) -> None:
    """Numbers anywhere that are as long and begin as the codes of several lines: ``8C4188``."""
    seen: dict[tuple[str, int], set[str]] = {}
    for line, code in ((ln, c) for ln in lines for c in ln.codes):
        is_own = code.style in ("maker", "hex24")
        is_own = is_own or (code.style == "amid" and not _WORDED.search(line.text[: code.start]))
        if is_own and not code.printed.isdecimal() and code.printed.isalnum():
            key = (code.printed[:_BEGINNING], len(code.printed))
            seen.setdefault(key, set()).add(code.printed)
    shapes = [key for key, codes in seen.items() if len(codes) >= _SHAPED and key[1] > _FEW_DIGITS]
    if not shapes:
        return
    tails = "|".join(f"{start}[0-9A-F]{{{size - len(start)}}}" for start, size in shapes)
    alike = re.compile(rf"(?<![\w.:/-])({tails})(?![\w:/]|[.-]\w)")
    for line in lines:
        if line.role == "blank" or any(c.is_exact for c in line.codes):
            continue
        more = [undecided(m, "maker", (m.group(1),)) for m in alike.finditer(line.text)]
        kept = [c for c in line.codes if not (c.style == "amid" and overlaps(c.start, c.end, more))]
        fresh = [c for c in more if not overlaps(c.start, c.end, kept)]
        line.codes = tuple(sorted((*kept, *fresh), key=lambda c: c.start))


def _is_settled(code: Code) -> bool:
    """Tell whether a code is beyond doubt; four hex digits may be a maker's own number."""
    return code.is_exact and code.style != "hex16"


def _place_of(text: str, match: re.Match[str]) -> str:
    """Where a number stands: it leads, ends or is called a code; elsewhere it is none."""
    before, after = text[: match.start()], text[match.end() :]
    if _CALLED.search(before):
        return "called"
    if not re.search(r"[^\W_]{2}", _NUMBERED.sub("", before, count=1)):
        return "first"
    if not re.search(r"[^\W_]", _NOTATION.sub("", after)):
        return "last"
    return "cell" if re.search(r"  $|\t$", before) and after[:1] in (" ", "\t") else ""


def _maker_cell(text: str, cell: str) -> tuple[Code, ...]:
    found = re.search(rf"(?<![^\s;,|\"])({re.escape(cell)})(?![^\s;,|\"])", text)
    return () if found is None else (undecided(found, "maker", (cell.upper(),)),)


def drop_labels(lines: list[Line], lexicon: Lexicon) -> None:
    """Take the number of a thing that nobody knows, such as ``Bay C0003``, for no code.

    Only in a report whose codes, or faults without codes, have words: a word that means nothing
    leads up to the number, and nothing follows.
    """
    for line in lines:
        if line.codes and line.words.says_nothing and numbers_a_thing(line.text, lexicon):
            line.codes, line.role = (), "meta"
    coded = [at for at, ln in enumerate(lines) if ln.codes]
    told = [at for at, ln in enumerate(lines) if _tells_fault(ln)]
    if len(told) < _SHAPED or len(told) < _MOST_OF * len(set(coded) | set(told)):
        return
    is_coded = any(lines[at].codes for at in told)
    for at in coded:
        line, code = lines[at], lines[at].codes[-1]
        is_inside = is_coded and told[0] < at < told[-1]
        if _is_of_thing(line, code, lexicon, is_inside):
            line.codes = line.codes[:-1]
            line.role = line.role if line.codes else "meta"
    _drop_numbers(lines, [at for at in told if not _means_little(lines[at].words)])


def _drop_numbers(lines: list[Line], told: list[int]) -> None:
    """List codes as unread that stand above or below all told ones as numbers of other things."""
    styles = {c.style for at in told for c in lines[at].codes}
    for at, line in enumerate(lines):
        is_outside = bool(told) and (at < told[0] or at > told[-1])
        if is_outside and line.codes and _means_little(line.words) and _numbers_else(line, styles):
            line.codes, line.role, line.why = (), "aside", "a number of something else"


def _means_little(words: Words) -> bool:
    return not (words.features & (OWN_PARTS | TELLS) or words.statuses)


def _tells_fault(line: Line) -> bool:
    return not line.words.says_nothing if line.codes else stands_alone(line.words)


def _is_of_thing(line: Line, code: Code, lexicon: Lexicon, is_inside: bool) -> bool:
    """Tell whether a word that means nothing leads up to a code, which ends its line.

    Between told codes ``Saloon: B1003`` may name a car whose code it is.
    """
    label = _LABELLED.search(line.text)
    if label is None or label.start("number") != code.start:
        return False
    is_bare = line.words.says_nothing or label.start() == 0 or len(line.codes) > 1
    if not is_bare or lexicon.means_alone(flat(label["word"])):
        return False
    if label["numbered"] or label["sign"] in ("=", "#"):
        return True
    if code.style == "flash" or not label["word"][0].isupper():
        return False
    return not label["sign"] or not is_inside or code.printed.isdecimal()


def _numbers_else(line: Line, styles: set[str]) -> bool:
    """``stall C0012, key 44``, ``order B0312/25``: a number among others, with words before it.

    So is one in another notation than the codes that the report gives words to.
    """
    first, last = line.codes[0], line.codes[-1]
    before = _NUMBERED.sub("", line.text[: first.start], count=1)
    if not _WORDED.search(before) or _CALLED.search(before):
        return False
    if last.style not in styles or _GOES_ON.match(line.text, last.end):
        return True
    rest = before + "".join(line.text[c.end : d.start] for c, d in pairwise(line.codes))
    return bool(_PLAIN_NUMBER.search(rest) or _PLAIN_NUMBER.search(line.text[last.end :]))


def is_number_only(line: Line) -> bool:
    """Tell whether a code is a plain number of any kind: nothing beside it tells of a fault."""
    first = line.codes[0]
    before = _NUMBERED.sub("", line.text[: first.start], count=1)
    begins = not re.search(r"[^\W\d_]", before)
    if first.style == "hex16" and not begins:
        return not has_part(line.words)
    if first.style == "amid":
        return not (has_part(line.words) and has_fault(line.words))
    bare = first.style in ("flash", "decimal", "maker", "hex16") and first.printed.isdecimal()
    is_lone = bare and begins and len(line.codes) == 1 and not _is_called(line, first)
    return is_lone and line.words.says_nothing
