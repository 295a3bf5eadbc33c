"""Numbers that look like codes and are none: of orders, parts, plugs, yards and bills."""

import re
from functools import lru_cache
from itertools import pairwise

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.code_forms import Code
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.phrases import find_layout
from squibwise.intake.report.language.words import (
    OWN_PARTS,
    TELLS,
    Words,
    has_fault,
    has_part,
    stands_alone,
)
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line

NUMBER = "a number of something else"
SHAPED = 2  # lines of one shape that make it the shape of the report
_CODES = r"dtcs?|codes?|codic[ei]|c[oó]digos?|kody?|fehler(?:codes?|nummern?)?|d[eé]fauts?"
CALLED_CODE = pattern(rf"(?i)\b(?:{_CODES})\.?[\s:=#]{{1,3}}$")
CALLED = pattern(rf"(?i)\b(?:{_CODES}|num|nr|no)\.?[\s:=#]{{1,3}}$")
NUMBERED = pattern(r"^\s*(?:\([^)]{3,30}\)\s+)?(?:[(\[]?\d{1,3}[.)\]]?\s+)?[\W_]*")
WORDED = pattern(r"[^\W\d_]{2}")
MOST_OF = 0.6  # share of the lines from which even short numbers are codes
_LABEL_REACH = 80  # characters before a number in which its label stands
_NAMED = r"(?:[^\W\d_][^\W\d_'-]*\.?[\s-]?){1,3}"
_THING = pattern(  # what leads up to a number: "Bay ", "/ shelf no. ", "   Lot: "
    rf"(?:^|[/|;,(\t]|\s{{2}}|\s-\s|\d\s)\W*(?P<words>{_NAMED}?)"
    r"(?P<numbered>(?i:no|nr|num|n[°º]?|№)\.?)?\s*(?P<sign>[:=#])?\s*$"
)
_WORDS = r"(?:[^\W\d_][^\W\d_'-]*+\.?[\s-]?){1,3}"  # the same, with one way to part them
_DIGITS = r"(?=[A-Z]?[./-]*\d)"
_ENDS = pattern(  # nothing behind it but further numbers of things
    rf"[)\].\s]*(?>(?:\s*[-/|;,]\s*|\s+)(?:{_WORDS}[:#]?\s?)?{_DIGITS}"
    rf"(?:[\w.]|[-/](?!{_WORDS}[:#]\s?{_DIGITS}))++[)\].]*)*\W*$"
)
_BEGUN = (
    r"(?:(?=[a-z]?\d)[a-z0-9]{2,4}\s(?=\w*$|\w*\d))?"  # what a number begins with: "6J B1088 B"
)
_JOINED = pattern(r"\w-$")  # "work order A-B1077"
_GOES_ON = pattern(r"/\d{2}")
_PLAIN_NUMBER = pattern(
    r"(?<![\w.,:/+])\d{1,5}(?![\w:/]|[.,]\d|\s?(?:km|mi|miles|v|volts?|ohms?|x|mal|times|fois|veces|"
    r"volte|vezes|razy)\b)"
)


def is_label(text: str, code: Code, lexicon: Lexicon) -> bool:
    """Tell whether what looks like a code is the number of an order, a part, a plug."""
    head = flat(text[max(0, code.start - _LABEL_REACH) : code.start])
    if head.endswith(": ") and stands_alone(words_in(text[code.end :], lexicon, None)):
        return False  # "still there after cleaning the plug: B1001 left curtain open"
    return lexicon.may_name("label", head) and bool(_of_a_thing(lexicon).search(head))


@lru_cache(maxsize=4)
def _of_a_thing(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"(?<![^\W_]){_label_of_a_thing(lexicon)}$")


@lru_cache(maxsize=4)
def _begins_with_thing(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"\W*{_label_of_a_thing(lexicon)}(?=[^\W_]*\d)")


def _label_of_a_thing(lexicon: Lexicon) -> str:
    return (
        rf"(?:{lexicon.names_of('label')})(?: (?:no|nr|number|num|n[°ºo])(?!\w))?[\s.:#=-]*{_BEGUN}"
    )


def numbers_a_thing(text: str, lexicon: Lexicon) -> bool:
    """Tell whether a line begins with what its number is of: ``order 1234``, ``checksum 5D2C``."""
    plain = flat(text)
    return lexicon.may_name("label", plain) and bool(_begins_with_thing(lexicon).match(plain))


def is_called(line: Line, code: Code) -> bool:
    """Tell whether a flash code stands with a word for lamp or blink, or as a count of blinks."""
    flashes = [c for c in line.codes if c.style == "flash"]
    return code.style == "flash" and any(
        re.search(r"[^\W\d_]", line.text[c.start : c.end]) for c in flashes
    )


def drop_labels(lines: list[Line], lexicon: Lexicon) -> None:
    """Take the number of a thing that nobody knows, such as ``Bay C0003``, for no code.

    Only in a report whose codes, or faults without codes, have words: a word that means nothing
    leads up to the number, and nothing follows.
    """
    for line in lines:
        is_label = line.words.says_nothing and numbers_a_thing(line.text, lexicon)
        if line.codes and (is_label or _is_its_own_number(line, lines)):
            line.codes, line.role = (), "meta"
    told = [at for at, ln in enumerate(lines) if _tells_fault(ln)]
    whole = [lines[at] for at in told if lines[at].codes]
    trail = all(WORDED.search(ln.text[: ln.codes[0].start]) for ln in whole)
    kept = {}
    for at, line in ((at, ln) for at, ln in enumerate(lines) if ln.codes):
        is_inside = bool(whole) and told[0] < at < told[-1]
        own = (c for c in line.codes if not _is_of_thing(line, c, lexicon, is_inside, trail))
        kept[at] = tuple(own)
    if len(told) < max(SHAPED, MOST_OF * len({*told, *(at for at in kept if kept[at])})):
        return
    for at, codes in kept.items():
        lines[at].codes = codes
        if not codes:
            lines[at].role, lines[at].why = "aside", NUMBER
    _drop_numbers(lines, [at for at in told if not _means_little(lines[at].words)])


def _is_its_own_number(line: Line, lines: list[Line]) -> bool:
    """``Calibration B0021-04`` in a list of codes: the word alone, then the number of its data."""
    only = line.words.features - {"skip"} == {"calibration"} and len(line.tokens) == 1
    placed = line.words.seats or line.words.sides or line.words.statuses
    if not only or placed or len(line.codes) != 1 or line.cells:
        return False
    code = line.codes[0]
    is_last = code.start > 0 and not line.text[code.end :].strip(" .\t")
    return is_last and any(ln.codes and ln is not line for ln in lines)


def _drop_numbers(lines: list[Line], told: list[int]) -> None:
    """List codes as unread that stand above or below all told ones as numbers of other things."""
    styles = {c.style for at in told for c in lines[at].codes}
    is_lamp = styles == {"flash"}  # what a reader says beside its counts is the same in other words
    for at, line in enumerate(lines):
        is_outside = bool(told) and (at < told[0] or at > told[-1])
        is_outside = is_outside and not (is_lamp and all(c.is_exact for c in line.codes))
        if is_outside and line.codes and _means_little(line.words) and _numbers_else(line, styles):
            line.codes, line.role, line.why = (), "aside", NUMBER


def _means_little(words: Words) -> bool:
    return not (words.features & (OWN_PARTS | TELLS) or words.statuses)


def _tells_fault(line: Line) -> bool:
    return not line.words.says_nothing if line.codes else stands_alone(line.words)


def _is_of_thing(line: Line, code: Code, lexicon: Lexicon, is_inside: bool, trail: bool) -> bool:
    """Tell whether words that nobody knows lead up to a code, and nothing else follows.

    Between told codes ``Saloon: B1003`` may name a car whose code it is, and ``widget B1003`` a
    part where codes trail behind their words.
    """
    thing = _THING.search(line.text, 0, code.start)
    if thing is None or not _ENDS.match(line.text, code.end):
        return False
    words = [t.text for t in tokenise(thing["words"])]
    says_nothing = line.words.says_nothing or line.words.features <= {"lamp", "skip"}
    if not words or not (says_nothing or len(line.codes) > 1):
        return False
    if thing["numbered"] or thing["sign"] in ("=", "#"):
        return not any(map(lexicon.means_alone, words))
    if code.style == "flash" or not lexicon.known.isdisjoint(words):
        return False
    is_own = is_inside and (trail or thing["sign"]) and not code.printed.isdecimal()
    return not is_own and lexicon.small.leads.isdisjoint(words)


def _numbers_else(line: Line, styles: set[str]) -> bool:
    """``stall C0012, key 44``, ``order B0312/25``: a number among others, with words before it.

    So is one in another notation than the codes that the report gives words to.
    """
    first, last = line.codes[0], line.codes[-1]
    before = NUMBERED.sub("", line.text[: first.start], count=1)
    if not WORDED.search(before) or CALLED.search(before):
        return False
    is_odd = last.style not in styles and "foreign" not in line.words.features
    if _JOINED.search(before) or is_odd or _GOES_ON.match(line.text, last.end):
        return True
    rest = before + "".join(line.text[c.end : d.start] for c, d in pairwise(line.codes))
    return bool(_PLAIN_NUMBER.search(rest) or _PLAIN_NUMBER.search(line.text[last.end :]))


def is_number_only(line: Line, lexicon: Lexicon) -> bool:
    """Tell whether a code is a plain number of any kind: nothing beside it tells of a fault.

    ``14 entries, 1 not tested`` counts them.
    """
    first = line.codes[0]
    before = NUMBERED.sub("", line.text[: first.start], count=1)
    begins = not re.search(r"[^\W\d_]", before)
    if first.style == "hex16" and not begins:
        return not (has_part(line.words) or "crashrecord" in line.words.features)
    if first.style == "amid":
        return not (has_part(line.words) and has_fault(line.words))
    bare = first.style in ("flash", "decimal", "maker", "hex16") and first.printed.isdecimal()
    is_lone = bare and begins and len(line.codes) == 1 and not is_called(line, first)
    means, length = find_layout(lexicon, tuple(t.text for t in line.tokens))
    counts = "count" in means and all(t.apart for t in line.tokens[length : length + 1])
    if first.style == "flash" and line.words.features == {"defect"}:
        return is_lone  # "16 stuks geteld"
    return is_lone and (line.words.says_nothing or (counts and not has_part(line.words)))
