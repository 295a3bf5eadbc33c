"""Codes of each line in the light of the whole report: shapes, columns, labels of things."""

import re
from collections import Counter
from itertools import pairwise

import msgspec

from squibwise.intake.importers.base import refuse_many
from squibwise.intake.patterns import pattern
from squibwise.intake.report.codes.blinks import (
    find_counted,
    find_flashes,
    find_list,
    find_pairs,
    with_further,
)
from squibwise.intake.report.codes.bytes_beside import read_bytes
from squibwise.intake.report.codes.camera import read_as_camera
from squibwise.intake.report.codes.labels import (
    CALLED,
    MOST_OF,
    NUMBERED,
    SHAPED,
    WORDED,
    is_called,
    is_label,
)
from squibwise.intake.report.codes.lamp_sheets import follow_lamp_sheet
from squibwise.intake.report.codes.spoken import follow_gaps, follow_spoken
from squibwise.intake.report.language.code_forms import (
    Code,
    as_printed,
    find_codes,
    flash,
    hex_token,
    is_numeric,
    merge_twins,
    overlaps,
    undecided,
)
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.sheet import Line, Sheet, cell_of

_THREE = pattern(r"\s*(\d{3})(?=\s+[^\W\d])(?!\s?(?:v|ohms?|km|mi|mm|ms|kg)\b)")
_SIX_LEADS, _SIX_TITLE = pattern(r"\s*(\d{6})(?=\s[^\W\d])"), pattern(r"\s*(\d{6})(?=\s-\s[^\W\d])")
_THREE_LAST = pattern(r"[/|]\s*(\d{3})\s*$")
_SLASHED = pattern(r"\s*([0-9A-F]{3,6})/[0-9A-F]{2}(?=\s+[^\W\d])")
_PAIRS = pattern(r"\s*(\d{2} \d{2})(?=\s{2,}[^\W\d])")
_TWO_BYTES = 4  # hex digits
_HEX_ANYWHERE = pattern(r"(?<![\w.:/-])([0-9A-F]{4}(?:[0-9A-F]{2})?)(?![\w/]|[.:-]\w)")
_SIX_TOLD = pattern(r":\s*(\d{6})(?=,?\s+[^\W\d]{4})")
_THREES = pattern(
    r":\s*(?:[^\W\d]+\s){0,2}(?=\d{3}[\s,;/]+\d{3})(?:\d{3}[\s,;/]*)+$"
    r"|(?:^|(?<=[:,;]\s)|(?<=\b(?:und|and)\s))\d{3}(?=\s+[^\W\d]{6})"
)
_FIVE_ANYWHERE = pattern(  # 01632 960112 is a telephone
    r"(?<![\w.:/-])(\d{5})(?![\w:/]|[.,-]\d|\s?(?:km|mi|h)\b|\s(?:\d{3,4}|\d{6})\b)"
)
_WORD_AFTER = pattern(r" [^\W\d_]{5}")
MAX_FAULTS = 5_000  # a wrecked car with every unit read lists some hundred
_ALIKE_CODE = pattern(
    r"(?<![\w.,:/$-])"
    r"((?:(?:[A-Z]{0,2}\d?|\d[A-Z])-?(?=[0-9A-F-]*\d)"
    r"(?:[0-9A-F]{4,7}|(?<=-)[0-9A-F]{3})(?:-[0-9A-F]{2})?)"
    r"|[BCPU] [0-9A-F]{4}|[A-Z]\d-\d[0-9A-F]"
    r"|(?<=\()[0-9A-F]{2} [0-9A-F]{2}(?=\))|[0-9A-F]{2}(?:-[0-9A-F]{2}){2})"
    r"(?![\w:/]|[.,-]\w|\s?(?:km|mi|miles|ohms?|v|kg|h)\b)"
)
_NOTATION = pattern(r"(?i)^ ?(?:hex|dec|dez)\b(?: ?/ ?\d{7,8} ?(?:hex|dec|dez)?)?")
_WORDY = pattern(r"[^\W\d_]{3}")
_SAME = 3  # lines with numbers of one shape that make them codes
_LED_BY_ZERO = pattern(r"0\d{4}")
_FEW_DIGITS = 4
_YEAR = pattern(r"(?:19|20)\d\d")
_BEGINNING, _PLAIN_DIGITS = 2, 5  # in which numbers of one unit begin alike; of a plain code
_LISTED_CODES = pattern(
    r"(?i)\b(?:dtcs?|codes|codici|c[oó]digos|kody|fehlercodes|codici)\W+(?=\d{4})|[(:]\s?(?=\d{4}\b)"
)
_SMALL = pattern(
    r"(?<![\w.:/-])(?=[0-9a-f]*\d[0-9a-f]*\d)(?=[0-9a-f]*[a-f])([0-9a-f]{4})(?![\w/]|[.-]\w)"
)
_CODE_LABEL = pattern(r"\W*(?:dtc|code|codigo|codice|kod|fehlercode)[\s.·_…]*[:=]")
_SECOND = pattern(r"\s?/\s?([0-9A-F]{3,6})(?![\w/-])")
_THRU = r"(?:thru|through|to|till|until|bis|[aà]|jusqu'?[aà]|hasta|fino a|at[eé]|do|-|\.{2,3})"
_LAST = pattern(rf"\s*(?i:{_THRU})\s*([A-Z]?[0-9A-F]{{3,6}})(?![\w/-]|[.,]\d)")
_TAIL = pattern(
    r"\s*(?:(?i:and|und|et|y|e|i|oraz)\s|[&+,])\s*([0-9A-F]{2})"
    r"(?=\s*(?:$|[:;)=])|\s+(?!(?i:volts?|ohms?|km|miles|bar|psi|mm|times|mal)\b)[^\W\d_]{3})"
)
_NEXT_CODES = 15  # how far the second of two codes may lie that share their beginning
_LONGEST_RANGE = 32  # codes that a range may hold
_MORE_FLASHES = pattern(
    r"\b(?:dtc|codes?|codice|codigo|kod|fehlercode|next|also|then|that'?s|auch|dann|aussi|puis|luego|"
    r"tambien|anche|poi|tambem|depois|tez|potem)\s+"
    r"([1-9]-[1-9](?![\w:/+-]|[.,]\d)|[1-9]\d(?=\s*[,:;=(-]|\.?\s*$))"
)
_FLASH_FIRST = pattern(r"(?:^|[.:)]\s+)([1-9]\d)(?=\s+[-=:]\s+[^\W\d_]{3})")
_IN_ROW = pattern(r"[,;]\s[^\W\d_]{3,}\s$")  # "software U0460, calibration C0461"
_ANY_TEXT = pattern(r"[^\W_]")


def read_codes(sheet: Sheet, lexicon: Lexicon) -> None:
    """Set the codes of every line, each in the light of the others.

    Raises:
        InputError: There are more codes than a report can have.
    """
    _raise_small(sheet.lines)
    for line in sheet.lines:
        _read_line_codes(line, lexicon)
    follow_gaps(sheet.lines, lexicon)
    refuse_many(sheet.name, sum(len(ln.codes) for ln in sheet.lines), MAX_FAULTS, "codes")
    _settle_flash(sheet.lines, lexicon)
    sheet.counts_blinks = follow_lamp_sheet(sheet.lines, lexicon)
    _follow_shapes(sheet.lines)
    follow_spoken(sheet.lines)
    for line in sheet.lines:
        line.codes = _with_ranges(_with_second(line.codes, line.text), line.text)
    _read_slashed(sheet.lines)
    _read_alike(sheet.lines)
    _follow_beginnings(sheet.lines)
    for line in sheet.lines:
        _drop_labelled(line, lexicon)
    _drop_keys(sheet.lines)
    read_as_camera(sheet, lexicon)
    read_bytes(sheet.lines, lexicon.small)


def _drop_labelled(line: Line, lexicon: Lexicon) -> None:
    """Take no number of a thing for a code, nor one that stands in a row of such numbers."""
    kept = [c for c in line.codes if c.style == "flash" or not is_label(line.text, c, lexicon)]
    if len(kept) < len(line.codes):
        row = [c for c in kept if _IN_ROW.search(line.text[: c.start])]
        kept = [c for c in kept if c not in row]
        line.role = "meta" if row and not kept else line.role
    line.codes = tuple(kept)


def _drop_keys(lines: list[Line]) -> None:
    """Take no code from a cell that rows with codes of their own repeat, such as the car's key."""
    rows = [(ln, _own_codes(ln)) for ln in lines if ln.cells]
    told = ((cell, own) for ln, own in rows if own for cell in dict.fromkeys(ln.cells))
    shared = Counter(c for c, own in told if c not in own and any(s.isdigit() for s in c))
    keyed = Counter(c for ln, _ in rows for c, cell in enumerate(ln.cells) if shared[cell] >= _SAME)
    coded = Counter(c for ln, own in rows for c, cell in enumerate(ln.cells) if cell in own)
    columns = [c for c in keyed if keyed[c] > coded[c]]
    for line, _ in rows:
        keys = {cell_of(line, c) for c in columns}
        line.codes = tuple(c for c in line.codes if c.printed not in keys)


def _own_codes(line: Line) -> frozenset[str]:
    """The codes of a row; where one is beyond doubt, no two bytes beside it: ``A118  B3C20``."""
    settled = [c for c in line.codes if _is_settled(c)]
    return frozenset(c.printed for c in settled or line.codes)


def _raise_small(lines: list[Line]) -> None:
    """``9a14 side airbag open``: numbers in small letters that begin alike are a maker's codes."""
    found = {m.group(1) for ln in lines for m in _SMALL.finditer(ln.text)}
    counts = Counter(number[0] for number in found)
    for line in lines if any(n >= _SAME for n in counts.values()) else ():
        line.text = _SMALL.sub(
            lambda m: m.group().upper() if counts[m.group(1)[0]] >= _SAME else m.group(), line.text
        )


def _read_line_codes(line: Line, lexicon: Lexicon) -> None:
    if not _ANY_TEXT.search(line.text):
        line.role = "blank"
        return
    flashes = list(find_flashes(line.text, lexicon))
    counted = find_counted(line.text)
    if flashes and counted:  # the blinks of a code that is told beside them are no short circuit
        beside = ((code.start, code.end) for code in counted)
        flashes[0] = msgspec.structs.replace(flashes[0], elsewhere=(*flashes[0].elsewhere, *beside))
    flashes = flashes or counted
    codes = list(find_codes(line.text))
    if flashes:
        codes = [c for c in codes if c.is_exact and not overlaps(c.start, c.end, flashes)]
    elif len(codes) == 1 and codes[0].style == "flash":
        codes = list(with_further(flat(line.text), codes, lexicon))
    line.codes = merge_twins([*codes, *flashes], line.text, lexicon.small.any_or)
    line.codes = line.codes or find_list(line.text)


def _with_second(codes: tuple[Code, ...], text: str) -> tuple[Code, ...]:
    """``E420/E421``, ``8E10 bis 8E12``, ``B1963 and 64``: what is a code by the one before it.

    Only behind a lone code: one as long, or the last two signs of one.
    """
    first = codes[0] if len(codes) == 1 else None
    if first is None or first.style not in ("sae", "hex16", "maker") or first.failure_type:
        return codes
    found = _SECOND.match(text, first.end) or _LAST.match(text, first.end)
    if found is not None and first.style != "sae" and first.printed.isdecimal():
        return codes
    number = found[1] if found is not None else ""
    if found is None:
        found = _TAIL.match(text, first.end)
        number = first.printed[:-2] + found[1] if found is not None else ""
        if found is None or not 0 < _distance(first.printed, number) <= _NEXT_CODES:
            return codes
    if len(number) != len(first.printed) or number[0] != first.printed[0]:
        return codes
    return (first, _like(first, number, *found.span(1)))


def _like(code: Code, number: str, start: int, end: int) -> Code:
    """A code in the notation of another."""
    if code.style == "hex16":
        return hex_token(number, start, end, None)
    fresh = as_printed(code.style, number, start, end, (number,) if code.readings else ())
    return msgspec.structs.replace(fresh, failure_type=code.failure_type)


def _distance(first: str, last: str) -> int:
    """How many codes further a code is, by its last digits; 0 where the rest differs."""
    digits = len(first) - 1
    if first[0] != last[0] or len(first) != len(last):
        return 0
    try:
        return int(last[-digits:], 16) - int(first[-digits:], 16)
    except ValueError:
        return 0


def _with_ranges(codes: tuple[Code, ...], text: str) -> tuple[Code, ...]:
    """``B1A10 thru B1A13``: the codes between the first and the last of a range too."""
    found = list(codes[:1])
    for before, code in pairwise(codes):
        is_range = _LAST.match(text, before.end) is not None and before.style == code.style
        if is_range and 1 < (far := _distance(before.printed, code.printed)) <= _LONGEST_RANGE:
            digits = len(before.printed) - 1
            head, start = before.printed[0], int(before.printed[1:], 16)
            found[-1] = msgspec.structs.replace(before, end=code.start)
            found += [
                _like(code, f"{head}{start + n:0{digits}X}", code.start, code.start)
                for n in range(1, far)
            ]
        found.append(code)
    return tuple(found)


def _settle_flash(lines: list[Line], lexicon: Lexicon) -> None:
    """Bare numbers are flash codes only where nothing speaks against it."""
    exact = any(c.style in ("sae", "hex24", "decimal24") for ln in lines for c in ln.codes)
    maker = any(c.style == "decimal" for ln in lines for c in ln.codes)
    numbered = maker or any(re.match(r"\s*[1-9]\s+\D", ln.text) for ln in lines)
    coded = [ln for ln in lines if _is_under_code(ln)]
    called = [
        ln for ln in lines if any(c.style == "flash" and c.end - c.start > 5 for c in ln.codes)
    ]
    for line in lines:
        only = find_list(line.text)
        if only and not exact:
            line.codes = only
        labelled = re.search(r"cod|kod|flash|blink|dtc", flat(line.text[:20]))
        if (exact and line not in coded) or (numbered and not labelled):
            line.codes = tuple(c for c in line.codes if c.style != "flash" or is_called(line, c))
        if len(called) > 1 and not line.codes and not line.cells:
            line.codes = find_pairs(line.text, lexicon)
        if called and not (exact or maker or line.codes or line.cells):
            line.codes = _find_more_flashes(line.text, called, lexicon)


def _is_under_code(line: Line) -> bool:
    """``CODE.....: 33-12``: two numbers that a label calls a code, whatever else looks like one."""
    is_pair = any(c.style == "flash" and "-" in c.printed for c in line.codes)
    return is_pair and bool(_CODE_LABEL.match(flat(line.text)))


def _find_more_flashes(text: str, called: list[Line], lexicon: Lexicon) -> tuple[Code, ...]:
    """``next code 42, left sensor``, ``Van. 34 - clock spring``; pairs that others call blinks."""
    found = [*_MORE_FLASHES.finditer(flat(text)), *_FLASH_FIRST.finditer(text)][:1]
    told = {c.printed for line in called for c in line.codes if c.style == "flash"}
    pairs = (c for c in find_pairs(text, lexicon) if c.printed in told)
    leads = (c for c in pairs if text[: c.start].rstrip(" (")[-1:] in ("", *":,;"))
    return tuple(flash(m.group(1), *m.span(1)) for m in found) or tuple(leads)


def _follow_shapes(lines: list[Line]) -> None:
    """Codes anywhere in a line, in the shape that several lines of the report begin with."""
    begun = [c.style for ln in lines for c in ln.codes if not ln.text[: c.start].strip(" -*(#")]
    is_hex = begun.count("hex16") >= SHAPED
    first = (_find_hexes, _find_fives) if is_hex else (_find_fives, _find_hexes)
    is_numbered = begun.count("decimal") + begun.count("maker") >= SHAPED
    # two bytes are looked for always, and kept only where the words beside them tell a fault
    finds = (*first, _find_threes) if is_numbered else (_find_hexes,)
    for line in lines:
        if not line.cells and all(c.style == "decimal" for c in line.codes):
            line.codes = _find_told_fives(line.text) or line.codes
        if line.codes or line.role == "blank":
            continue
        if not line.cells:
            line.codes = next(filter(None, (find(line.text) for find in finds)), ())
        if not line.codes and len(line.cells) < SHAPED:
            number = _find_maker_number(line.text)
            line.codes = (number,) if number is not None else ()


def _find_maker_number(text: str) -> Code | None:
    """Return a maker's number that leads or ends a line: three digits, six, or two pairs."""
    for style, match in (
        ("amid", _SIX_LEADS.match(text)),
        ("decimal", _SIX_TITLE.match(text)),
        ("maker", _PAIRS.match(text) or _THREE.match(text) or _THREE_LAST.search(text)),
    ):
        if match is not None:
            return undecided(match, style)
    return None


def _find_hexes(text: str) -> tuple[Code, ...]:
    """Return every number of two or three bytes with a letter among them, wherever it stands."""
    found = [m for m in _HEX_ANYWHERE.finditer(text) if not m.group(1).isdecimal()]
    mixed = [m for m in found if is_numeric(m.group(1)) and not m.group(1).isalpha()]
    return tuple(
        undecided(m, "amid") if len(m.group(1)) > _TWO_BYTES else _two_bytes(m) for m in mixed
    )


def _find_fives(text: str) -> tuple[Code, ...]:
    """Return numbers of five digits that are listed, or one of six behind a colon."""
    told = _SIX_TOLD.search(text)
    if told is not None:
        return (undecided(told, "decimal"),)
    found = list(_FIVE_ANYWHERE.finditer(text))
    listed = len(found) > 1 or (found and text[: found[0].start()].rstrip().endswith((":", " =")))
    return tuple(undecided(m, "decimal") for m in found) if listed else ()


def _find_told_fives(text: str) -> tuple[Code, ...]:
    """Return numbers of five digits in running text that each have words of their own."""
    found = [m for m in _FIVE_ANYWHERE.finditer(text) if _WORD_AFTER.match(text, m.end())]
    told = tuple(undecided(m, "decimal") for m in found)
    return told if len(told) > 1 else ()


def _two_bytes(match: re.Match[str]) -> Code:
    """A maker's four digits; from 8 on they are two bytes of a body or network code too."""
    digits = match.group(1).upper()
    if digits[0] in "89ABCDEF":
        return hex_token(digits, match.start(), match.end(), None)
    return undecided(match, "maker")


def _find_threes(text: str) -> tuple[Code, ...]:
    """Return three-digit numbers listed at the end of a line, or each before its own words."""
    plain = re.compile(r"(?<!\d)(\d{3})(?!\d)")
    listed = list(_THREES.finditer(text.rstrip()))
    found = (m for one in listed for m in plain.finditer(text, one.start(), one.end()))
    return tuple(undecided(m, "maker") for m in found)


def _read_slashed(lines: list[Line]) -> None:
    """A maker's numbers that each begin a line with a byte behind a stroke: ``412/2F  driver``."""
    begun = [(ln, _SLASHED.match(ln.text)) for ln in lines if not any(c.is_exact for c in ln.codes)]
    found = [(ln, match) for ln, match in begun if match is not None]
    if len({match[1] for _, match in found}) < _SAME:
        return
    for line, match in found:
        line.codes = (undecided(match, "maker"),)


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
        is_list = len(found) >= MOST_OF * told or _stand_together(list(found))
        few = _FEW_DIGITS if is_list else _PLAIN_DIGITS
        is_plain = shown.isdecimal() and len(next(iter(tokens))) < few
        is_plain = is_plain or all(_YEAR.fullmatch(t) for t in tokens)
        if len(found) < _SAME or len(tokens) < _SAME or is_plain or len(found) <= exact:
            continue
        for at, match in found.items():
            if any(c.is_exact for c in lines[at].codes):
                continue
            lines[at].codes = (undecided(match, "maker"),)


def _stand_together(at: list[int]) -> bool:
    """Tell whether most of the numbered lines follow each other."""
    following = sum(two - one == 1 for one, two in pairwise(at))
    return len(at) > _SAME and following >= MOST_OF * len(at)


def _follow_beginnings(lines: list[Line]) -> None:
    """Numbers anywhere that are as long and begin as the codes of several lines: ``8C4188``.

    Plain digits only where they are called codes, as in ``the codes 4140 and 4141``.
    """
    alike, plain = _beginnings(lines)
    for line in lines if alike or plain else ():
        if line.role == "blank" or any(map(_is_settled, line.codes)):
            continue
        listed = _LISTED_CODES.search(line.text) if plain else None
        found = [*alike.finditer(line.text)] if alike else []
        found += [*plain.finditer(line.text, listed.start())] if plain and listed else []
        more = [undecided(m, "maker") for m in found]
        kept = [
            c for c in line.codes if not (_is_guess(line, c) and overlaps(c.start, c.end, more))
        ]
        fresh = [c for c in more if not overlaps(c.start, c.end, kept)]
        line.codes = tuple(sorted((*kept, *fresh), key=lambda c: c.start))


def _is_guess(line: Line, code: Code) -> bool:
    """Tell whether only the words of a code, amid others, would show that it is one."""
    is_amid = code.style == "hex16" and WORDED.search(line.text[: code.start])
    return code.style == "amid" or bool(is_amid)


def _beginnings(lines: list[Line]) -> tuple[re.Pattern[str] | None, re.Pattern[str] | None]:
    """What finds more codes that begin as several do: those with letters, and plain digits."""
    seen: dict[tuple[str, int], set[str]] = {}
    for line, code in ((ln, c) for ln in lines for c in ln.codes):
        begins = not WORDED.search(line.text[: code.start])
        is_own = code.style in ("maker", "hex24") or (code.style in ("amid", "hex16") and begins)
        if is_own and code.printed.isalnum():
            key = (code.printed[:_BEGINNING], len(code.printed))
            seen.setdefault(key, set()).add(code.printed)
    alike: list[str] = []
    plain: list[str] = []
    for (start, size), codes in seen.items():
        few = SHAPED if size > _FEW_DIGITS else _SAME
        if len(codes) >= few and size >= _FEW_DIGITS:
            tail = f"{start}[0-9A-F]{{{size - len(start)}}}"
            (plain if "".join(codes).isdecimal() else alike).append(tail)
    led = [c for codes in seen.values() for c in codes if _LED_BY_ZERO.fullmatch(c)]
    if len(led) >= _SAME:
        alike.append(r"0\d{4}(?= [^\W\d_]{4})")  # "there is still 00934 window left"
    return _anywhere(alike), _anywhere(plain)


def _anywhere(tails: list[str]) -> re.Pattern[str] | None:
    return re.compile(rf"(?<![\w.:/-])({'|'.join(tails)})(?![\w/]|[.:-]\w)") if tails else None


def _is_settled(code: Code) -> bool:
    """Tell whether a code is beyond doubt; four hex digits may be a maker's own number."""
    return code.is_exact and code.style != "hex16"


def _place_of(text: str, match: re.Match[str]) -> str:
    """Where a number stands: it leads, ends or is called a code; elsewhere it is none."""
    before, after = text[: match.start()], text[match.end() :]
    if CALLED.search(before):
        return "called"
    if not re.search(r"[^\W_]{2}", NUMBERED.sub("", before, count=1)):
        return "first"
    if not re.search(r"[^\W_]", _NOTATION.sub("", after)):
        return "last"
    return "cell" if re.search(r"  $|\t$", before) and after[:1] in (" ", "\t") else ""
