"""Blinks of a lamp: a number behind a word for one, counted, said in words, drawn as dots."""

import re
from functools import lru_cache

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.code_forms import Code, flash
from squibwise.intake.report.language.lexicon import Lexicon, flat

_NUMBER = (
    r"(?:\d{1,2}(?:\s?[-:–]\s?\d{1,2}){1,2}|[1-9]\s?[./+]\s?[1-9](?![./+]\d)|\d(?:\s\d){1,2}|"
    r"[1-9](?:,\s?[1-9]){1,2}(?![\d,]|\s?,)|"
    r"\d{2,3})"
)
_UNIT = (
    r"\s?(?:s|sec\w*|sek\w*|seg\w*|min\w*|v|volts?|ohms?|ma|km|mi|bar|psi|kpa|mm|cm|nm|x|times|mal|"
    r"fois|veces|volte|vezes|razy|keer|days?|tage|months?|monate?n?|mois|meses|mesi|miesi\w*|blinks?|flash\w*)\b"
    r"|\s?[aw]\b(?!\s[^\W\d_])"  # "47 a na" is no current
)
_BLINKS_BY = tuple(
    "flash blink wink blitz eclat clignot destell parpade lampegg pisc blysk mign mrug "
    "knipper".split()
)
_PAUSES_BY = ("paus", "pauz", "przerw", "break", "wait")
NO_UNIT = rf"(?![\d%]|[.,:]\d|{_UNIT})"
NO_MEASURE = rf"(?![\d%]|[.,:]\d|\s?[-:+]\s?\d|/\s?\d|\s/\d|{_UNIT})"
_BLINKS = r"[01]?\d"  # nobody counts more
_PAIR = pattern(
    rf"(?<![\w.:/-])(?:{_BLINKS}-{_BLINKS}(?:-{_BLINKS})?|[1-9][/+._;][1-9])(?![\w:/+-]|[.,]\d)(?!\s?[vV%]\b)"
)
_MEASURED = pattern(r"\s?(?:bar|psi|kpa|mm|cm|nm)\b")
_ONLY = pattern(r"(?:\d{1,2}-\d{1,2}|\d{2})(?:(?:[\s,;/&]|and)+(?:\d{1,2}-\d{1,2}|\d{2}))*\.?")
_DATE = pattern(r"(?<!\d)\d{1,2}([/.-])\d{1,2}\1(?:\d{2}|\d{4})(?!\d)")
_ONE = pattern(_NUMBER + NO_MEASURE)
_TOLD = pattern(r"\d{2}|\d-\d")
_SLASHED, _IN_SLASHES = pattern(r"\d{2}(?:/\d{2}){2,9}"), pattern(r"\d{2}")
_BRIEF = r"(?:short|kurz|court|cort|kort|brev|curt|krot)\w{0,5}"
_DRAWN_OUT = r"(?:long|lang|larg|lung|dlug)\w{0,5}"
_CLAUSE = r"[,;]\s(?:(?:then|dann|puis|luego|poi|depois|potem|and|und|et|y|e|i)\s)?"
_PAIRED = pattern(rf"{_CLAUSE}([1-9]-[1-9])(?=\s\(|\s[^\W\d_]{{3}}|\s*$)")
_TWO_DIGITS = pattern(rf"{_CLAUSE}([1-9]\d)(?!{_UNIT})(?=\s\(|\s[^\W\d_]{{4}})")
_PAUSED = pattern(
    r"(?<![\d.,])(\d{1,2})\s*(?:x\b\s*)?(?P<kind>(?:[^\W\d_]{1,12}\b\s*){0,2})"
    r"[\s,;-]*(?:pau[sz][ea]|przerw[aey]|break|wait)[\s,;-]*(\d{1,2})"
    r"(?:\s*x\b|\s*(?:flash|blink|eclat|destell|lampegg|pisc|blysk|mign)\w*)?",
    needs=_PAUSES_BY,
)
_SAID_BRIEF = pattern(rf"\b{_BRIEF}")
_REST = pattern(  # "4x kort": the second half is called as the first one is
    rf"(?:\s*x\b)?(?:\s*[^\W\d_]{{3,12}}(?=\s+{_BRIEF}\b))?\s*{_BRIEF}\b(?:\s+(?:flash|blink)\w*)?"
)
_LONG = r"(?:long|lang|larg|lung|dlug|l)\w{0,5}"
_SHORT = r"(?:short|kurz|court|cort|brev|curt|krot|s|k)\w{0,5}"
_WORDS = dict.fromkeys("one un uno eins ein um jeden une una een".split(), 1) | {
    word: number
    for number, words in enumerate(
        (
            "two zwei deux dos due dois dwa twee",
            "three drei trois tres tre trzy drie",
            "four vier quatre cuatro quattro quatro cztery",
            "five fünf cinq cinco cinque pięć vijf",
            "six sechs seis sei sześć zes",
            "seven sieben sept siete sette sete siedem zeven",
            "eight acht huit ocho otto oito osiem acht",
            "nine neun neuf nueve nove dziewięć negen",
        ),
        start=2,
    )
    for word in map(flat, words.split())
}
_SAID = "|".join(_WORDS)
_SAID_PAUSED = pattern(
    rf"\b({_SAID})\s+(?:[^\W\d_]{{3,12}}\s+)?[^\W\d_]{{3,12}}[\s,;-]*(?:pau[sz][ea]|przerw[aey]|break|wait)[\s,;]*"
    rf"({_SAID})(?:\s+(?:flash|blink|eclat|destell|lampegg|pisc|blysk|mign)\w*|(?:\s+[^\W\d_]{{3,8}})?\s+{_BRIEF}\b)?",
    needs=_PAUSES_BY,
)
_SAID_PAIR = pattern(rf"\b({_SAID})-({_SAID})\b(?=\s*[,:;=(]|\s*$)")
_DOTS = pattern(r"([●•*○■]{1,9})[\s|/]{1,3}([●•*○■]{1,9})(?![●•*○■])", needs="●•*○■")
_DRAWN = pattern(  # "LLL SS = 3-2", "lamp: LL KKKK": long and short, a letter each
    r"(?:^|(?<=[\s:;,]))(l{1,12})[\s|/,-]{1,4}(s{1,12}|k{1,12}|c{1,12}|b{1,12})(?![\w.])"
    r"(?:\s*[=:]\s*(\d{1,2}-\d{1,2}))?"
)
_DRAWN_LETTERS = 4  # of a drawing beside which its numbers do not stand
_AGAIN = pattern(r"(?<![\d.,])([1-9]) ([1-9])(?:,? \1 \2){1,9}(?![\d.])")  # 3 4, 3 4
_IN_BRACKETS = pattern(r"(?<=[\w\"'»”] )\((\d{2})\)(?=[\s,;:])")
_ORDERED = pattern(
    r"(?<![\d.,])\d{2}(?:\s(?:then|dann|puis|luego|poi|depois|potem)\s\d{2}){1,9}(?![\d.,])"
)
BLINK = rf"(?:{'|'.join(_BLINKS_BY)})\w*"
_BLINKING = pattern(rf"{BLINK}|\bpaus[ea]")
_TWICE = pattern(  # "1 blink then 9 blinks"
    rf"(?<![\d.,])(\d{{1,2}})\s*(?:x\s*)?{BLINK}[\s,;]*(?:[^\W\d_]{{1,8}}[\s,]+)?(\d{{1,2}})\s*{BLINK}",
    needs=_BLINKS_BY,
)
_TIMES = r"(?:mal|times|fois|veces|volte|vezes|razy|keer|coups?|golpes?|colpi|impuls\w*|pulses?)\b"
_THEN = r"(?:then|dann|puis|luego|poi|depois|potem|dan|and|und|et|y|e|i|en)\s"
_COUNTED = pattern(
    rf"\b(\d{{1,2}}|{_SAID})\s*(?:(?:x|{_TIMES})\s*)?(?:{BLINK}\s+)?{_LONG}\b[\s,+/-]{{0,9}}(?:(?:flash|blink)\w{{0,4}})?[\s,+/-]{{0,9}}"
    rf"(?:(?:and|und|et|y|e|i|then|dann|puis|luego|poi|depois|potem)\s{{1,9}}){{0,2}}(\d{{1,2}}|{_SAID})\s*"
    rf"(?:(?:x|{_TIMES})\s*)?{_SHORT}\b"
)
_TIMED = pattern(  # "clignote 2 fois puis 3 fois", "3 coups puis 2"
    rf"(?<![\d.,])\b(\d{{1,2}}|{_SAID})\s?(?:x|{_TIMES})[\s,;]*(?:(?:[^\W\d_]{{1,8}}[\s,]+){{0,3}}"
    rf"(\d{{1,2}}|{_SAID})\s?(?:x|{_TIMES})|{_THEN}(\d|{_SAID})\b(?![\d:/-]\d|[.,]\d|\s[^\W\d_]))"
)
_SAID_BLINKS = pattern(  # "blinking four then two", "blinkt vier dann zwei"
    rf"\b{BLINK}\s(?:[a-z']+\s){{0,3}}?({_SAID})[\s,]+(?:and|then|und|dann|puis|et|luego|y|poi|e|"
    rf"depois|potem|i)\s+(?:then\s)?({_SAID})\b",
    needs=_BLINKS_BY,
)
_SAID_TIMES = pattern(  # "zweimal, Pause, fünfmal"
    rf"\b({_SAID})\s?{_TIMES}[\s,;-]*(?:pau[sz][ea]|przerw[aey]|break|wait)[\s,;]*({_SAID})\s?{_TIMES}",
    needs=_PAUSES_BY,
)
_SAID_SHORT = pattern(  # "three short then seven"
    rf"\b(\d|{_SAID})\s{_BRIEF}(?:\s(?:{BLINK}|ones?))?[\s,]+(?:then|and|dann|und|puis|et|luego|y|poi|e|"
    rf"depois|potem|i)\s(\d|{_SAID})(?:\s{_BRIEF})?(?=\W|$)"
)
_SPELLED = pattern(  # "short short long = 21", "lang lang kurz"; not "too long, short to ground"
    rf"(?=(?:\b(?:{_BRIEF}|{_DRAWN_OUT})\b[\s,.-]*){{3}}|(?:\w+[\s,.-]+){{2}}=)(?P<one>(?:\b{_DRAWN_OUT}\b[\s,-]+){{1,9}})(?P<two>(?:\b{_BRIEF}\b[\s,.-]*){{1,9}})(?:=\s*(?P<told>\d{{2}}|\d-\d)\b)?"
    rf"|(?:\b(?:{_BRIEF}|{_DRAWN_OUT})\b[\s,.-]*){{2,12}}=\s*(?P<said>\d{{2}}|\d-\d)\b"
)
_TITLE_WORDS = 3  # words before a count of blinks that may still lead up to it


def find_flashes(text: str, lexicon: Lexicon) -> tuple[Code, ...]:
    """Return the flash codes of a line that are called so: by a lamp, a blink or a count."""
    plain = flat(text)
    found = [_counted(m, lexicon) for m in _PAUSED.finditer(plain)]
    may_flash = lexicon.may_name("flash", plain) or bool(_BLINKING.search(plain))
    found = found or _drawn(plain) or _said(plain, lexicon, may_flash=may_flash)
    named = [t for m in _labelled(lexicon).finditer(plain) for t in _listed(m)] if may_flash else []
    if found and len(named) == 1 and named[0].end <= found[0].start:  # "code 34: 3 long, 4 short"
        spans = tuple((code.start, code.end) for code in found)
        return (msgspec.structs.replace(named[0], elsewhere=spans),)
    if not found and may_flash:
        found = named or [t for m in _behind(lexicon).finditer(plain) for t in _listed(m)]
        found += _further(plain, found)
    return _once(found)


def _further(plain: str, found: list[Code]) -> list[Code]:
    """``lamp 4-1 right curtain, 4-2 left curtain``: counts dressed alike that begin a clause."""
    if not found or plain.count("?"):
        return []
    dress = _PAIRED if "-" in found[-1].printed else _TWO_DIGITS
    return [flash(m[1], *m.span(1)) for m in dress.finditer(plain, found[-1].end)]


def _drawn(plain: str) -> list[Code]:
    """Blinks drawn as a letter for each, ``LLL SS``, with their number behind or nothing before."""
    found = []
    for match in _DRAWN.finditer(plain):
        pair = f"{len(match[1])}-{len(match[2])}"
        is_lead = not plain[: match.start()].rstrip(" :").count(" ")
        is_long = len(match[1]) + len(match[2]) >= _DRAWN_LETTERS
        if match[3] == pair or (match[3] is None and is_lead and is_long):
            found.append(flash(pair, *match.span()))
    return found


def _said(plain: str, lexicon: Lexicon, *, may_flash: bool) -> list[Code]:
    """Blinks told in words or drawn as dots, or as ``4 then 1`` behind a word for lamp or pause."""
    told = [(m, str(_WORDS[m[1]]), str(_WORDS[m[2]])) for m in _SAID_PAUSED.finditer(plain)]
    if may_flash:
        rules = (_SAID_PAIR, _SAID_TIMES, _SAID_SHORT, _TIMED)
        found = (m for rule in rules for m in rule.finditer(plain))
        told += [(m, _digit(m[1]), _digit(m[m.lastindex or 2])) for m in found]
    told += [(m, str(len(m[1])), str(len(m[2]))) for m in _DOTS.finditer(plain)]
    told += [(m, m[1], m[2]) for m in _TWICE.finditer(plain)]
    pair = _joined_pair(lexicon).search(plain) if may_flash else None
    if pair is not None and not told:
        told = [(pair, pair["one"], pair["two"])]
    return [flash(f"{one}-{two}", *match.span()) for match, one, two in told]


def _digit(count: str) -> str:
    return str(_WORDS.get(count, count))


@lru_cache(maxsize=4)
def _joined_pair(lexicon: Lexicon) -> re.Pattern[str]:
    lead = rf"(?:{_label(lexicon)}(?:[^\W\d_]{{1,7}}\s+)?|\bpaus[ea]\s?:?\s?)"
    ends = r"(?!\d|[:/-]\d|[.,]\d)(?! ?[^\W\d_]{3})"
    return re.compile(rf"{lead}(?P<one>[1-9])\s{_THEN}(?P<two>[1-9]){ends}")


def find_counted(text: str) -> list[Code]:
    """Return flash codes told as long and short blinks; none for a title that tells how."""
    plain = flat(text)
    counted = [*_COUNTED.finditer(plain)] or [*_SAID_BLINKS.finditer(plain)][:1]
    spelled = None if counted else _SPELLED.search(plain)
    found = [flash(_long_and_short(match), *match.span()) for match in counted]
    found += [flash(_spelled(spelled), *spelled.span())] if spelled is not None else []
    return [] if found and _is_title(plain[: found[0].start]) else [*_once(found)]


def _long_and_short(match: re.Match[str]) -> str:
    first, second = map(_digit, match.groups())
    return first + second if len(second) == 1 else f"{first}-{second}"


def _spelled(match: re.Match[str]) -> str:
    """The number that a lamp's blinks make, as it stands behind them or as they are counted."""
    told = match["told"] or match["said"]
    runs = (len(re.findall(r"[a-z]+", match[name] or "")) for name in ("one", "two"))
    return told or "".join(map(str, runs))


@lru_cache(maxsize=4)
def _join(lexicon: Lexicon) -> str:
    """What may stand between the counts of a list; of two beside ``or`` one is meant."""
    words = "|".join(sorted(lexicon.small.listing | lexicon.small.any_or | lexicon.small.then))
    return rf"(?:\s*[,;+&/]\s*(?:(?:{words})\s+)?|\s{{2,4}}|\s+(?:(?:{words})\s+){{1,2}})"


@lru_cache(maxsize=4)
def _list_of(lexicon: Lexicon) -> str:
    one = rf"{_NUMBER}{NO_MEASURE}"
    return rf"(?:\d{{2}}(?:/\d{{2}}){{2,9}}(?![/\d])|{one}(?:{_join(lexicon)}{one}){{0,30}})"


@lru_cache(maxsize=4)
def _after_colon(lexicon: Lexicon) -> re.Pattern[str]:
    one = r"(?:\d{2}|\d-\d)"
    return re.compile(
        rf".*:\s*(?:[^\W\d]{{2,12}}\.?\s){{0,2}}({one}(?:{_join(lexicon)}{one}){{1,30}})\s*"
    )


def find_pairs(text: str, lexicon: Lexicon) -> tuple[Code, ...]:
    """Return the pairs of a line of a list of flash codes, such as ``4-1  3-5``."""
    plain = flat(text)
    pairs = list(_PAIR.finditer(text))
    if any(_MEASURED.match(plain, m.end()) for m in pairs):
        return ()  # "tyres 2-2 bar, rear 2-5"
    found = [flash(_tidy(m.group()), *m.span()) for m in pairs]
    found += [
        flash(f"{_WORDS[m[1]]}-{_WORDS[m[2]]}", *m.span()) for m in _SAID_PAIR.finditer(plain)
    ]
    found += [flash(f"{m[1]}-{m[2]}", *m.span()) for m in _AGAIN.finditer(plain)]
    found += [flash(m[1], *m.span()) for m in _IN_BRACKETS.finditer(plain)]
    for ordered in _ORDERED.finditer(plain):
        found += [flash(m[0], *m.span()) for m in _IN_SLASHES.finditer(plain, *ordered.span())]
    if not found and not _DATE.search(text) and (listed := _after_colon(lexicon).fullmatch(plain)):
        found = [flash(m[0], *m.span()) for m in _TOLD.finditer(plain, *listed.span(1))]
    return _once(found)


def find_list(text: str) -> tuple[Code, ...]:
    """Return flash codes of a line that holds nothing but them: ``13, 24, 4-11``."""
    if not _ONLY.fullmatch(text.strip()):
        return ()
    return tuple(flash(m.group(), *m.span()) for m in re.finditer(r"\d{1,2}-\d{1,2}|\d{2}", text))


@lru_cache(maxsize=4)
def _label(lexicon: Lexicon) -> str:
    """Words for lamp, blink or flash that lead up to a number."""
    return rf"(?<![^\W_])(?:(?:{lexicon.names_of('flash')}|{BLINK})(?![^\W\d_])[\s:=#.>(-]*){{1,3}}"


@lru_cache(maxsize=4)
def _labelled(lexicon: Lexicon) -> re.Pattern[str]:
    label = _label(lexicon) + r"(?:[\"'„“«]\w{2,15}[\"'“”»]\s?\(?)?"
    counts, says = "|".join(sorted(lexicon.small.counts)), "|".join(lexicon.small.lamp_says)
    lead = rf"(?:(?:[^\W\d_]{{1,8}}\s+){{0,2}}(?:{counts})\w*[\s:=#.]*)?"
    verb = r"(?:[^\W\d_]{1,7}\s+)?(?=\d{1,2}\s?[-:]\s?\d)"  # "the lamp does 2-1"
    verb += rf"|(?:[^\W\d_]{{1,12}}\s+)?(?:{says})\s+(?=\d\d(?!\d)|[1-9]\s?/\s?[1-9])"
    return re.compile(rf"{label}(?:{lead}|{verb})(?P<list>{_list_of(lexicon)})")


@lru_cache(maxsize=4)
def _behind(lexicon: Lexicon) -> re.Pattern[str]:
    """``code 33 on the lamp``: called a code, with the lamp behind it."""
    lamp = rf"(?:{lexicon.names_of('flash')}|{BLINK})(?![^\W\d_])"
    return re.compile(
        rf"\b(?:cod|kod)\w*[\s:.]{{1,2}}(?P<list>{_list_of(lexicon)})\s(?:[^\W\d_]{{1,5}}\s){{1,2}}{lamp}"
    )


def _listed(match: re.Match[str]) -> list[Code]:
    return list_codes(match, _IN_SLASHES if _SLASHED.fullmatch(match["list"]) else _ONE)


def list_codes(match: re.Match[str], one: re.Pattern[str]) -> list[Code]:
    """Return the codes of a list that was found; the first of them covers its label too."""
    ends = [match.start("list") + m.end() for m in one.finditer(match["list"])]
    told = zip(one.finditer(match["list"]), [match.start(), *ends], ends, strict=False)
    return [flash(_tidy(m[0]), start, end) for m, start, end in told]


def _tidy(number: str) -> str:
    return re.sub(r"\s*[-–:./+_;,]\s*|\s+", "-", number)


def _counted(match: re.Match[str], lexicon: Lexicon) -> Code:
    """A code told as blinks, a pause and blinks; it covers the words that lead up to it."""
    named = re.search(rf"{_label(lexicon)}$", match.string[: match.start()])
    start = named.start() if named is not None else match.start()
    rest = _REST.match(match.string, match.end()) if _SAID_BRIEF.search(match["kind"]) else None
    end = rest.end() if rest is not None else match.end()
    return flash(f"{match[1]}-{match[3]}", start, end)


def _is_title(head: str) -> bool:
    """``Read-out from the lamp, connector bridged, 2 long 4 short style`` tells how, not what."""
    return "," in head and len(head.split()) > _TITLE_WORDS


def _once(found: list[Code]) -> tuple[Code, ...]:
    """A lamp repeats its code; each is kept once, the others stand elsewhere on the line."""
    kept: dict[str, Code] = {}
    for token in found:
        first = kept.get(token.printed)
        if first is None:
            kept[token.printed] = token
        else:
            spans = (*first.elsewhere, (token.start, token.end))
            kept[token.printed] = msgspec.structs.replace(first, elsewhere=spans)
    return tuple(kept.values())
