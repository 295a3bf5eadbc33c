"""Blinks of a lamp: a number behind a word for one, counted, said in words, drawn as dots."""

import re
from functools import lru_cache

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.code_forms import Code, flash
from squibwise.intake.report.language.lexicon import Lexicon, flat

_NUMBER = (
    r"(?:\d{1,2}[-–:]\d{1,2}(?:[-–:]\d{1,2})?|[1-9]\s?[-–]\s?[1-9](?!\d)|[1-9]\s?[./+]\s?[1-9](?![./+]\d)|\d(?:\s\d){1,2}|"
    r"[1-9](?:,\s?[1-9]){1,2}(?![\d,]|\s?,)|"
    r"\d{2,3})"
)
_UNIT = (
    r"\s?(?:s|sec\w*|sek\w*|seg\w*|min\w*|v|volts?|ohms?|ma|km|mi|bar|psi|kpa|mm|cm|nm|x|times|mal|"
    r"fois|veces|volte|vezes|razy|keer|ignition|starts?|cycl\w*|zykl\w*|cicl\w*|cykl\w*|days?|tage|months?|monate?n?|mois|meses|mesi|miesi\w*|blinks?|flash\w*)\b"
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
_ALIKE = (r"[1-9]-[1-9](?![\w:/+-]|[.,]\d)", rf"[1-9]\d{NO_UNIT}(?!\w|\s?[-:/+]\s?\d)")
_PAUSE = r"[\s,;-]*(?:pau[sz][ea]|przerw[aey]|break|wait)[\s,;-]*"
_PAUSED = pattern(  # not "14, pause, 22": nobody counts so many
    rf"(?<![\d.,])(?<!\d[-:/])(?!\d\d{_PAUSE}\d\d[\s,;.]*(?:{_PAUSE}|$))(\d{{1,2}})\s*(?:x\b\s*)?(?P<kind>(?:[^\W\d_]{{1,12}}\b\s*){{0,2}})"
    rf"{_PAUSE}(\d{{1,2}})(?!\d|[-:/.]\d|\s?s(?:e[ckg]\w*)?\b)"
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
            "two zwei deux dos due dois duas dwa twee twice dwukrotnie tweemaal",
            "three drei trois tres tre trzy drie thrice trzykrotnie driemaal",
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
_SAID_PAIR = pattern(rf"\b({_SAID})-({_SAID})\b(?=\s*[,:;=(]|\s*$)")
_DOTS = pattern(r"([●•*○■]{1,9})[\s|/]{1,3}([●•*○■]{1,9})(?![●•*○■])", needs="●•*○■")
_DRAWN = pattern(  # "LLL SS = 3-2", "lamp: LL KKKK": long and short, a letter each
    r"(?:^|(?<=[\s:;,]))(l{1,12})[\s|/,-]{1,4}(s{1,12}|k{1,12}|c{1,12}|b{1,12})(?![\w.])"
    r"(?:\s*[=:]\s*(\d{1,2}-\d{1,2}))?"
)
_DRAWN_LETTERS = 4  # of a drawing beside which its numbers do not stand
_AGAIN = pattern(r"(?<![\d.,])([1-9]) ([1-9])(?:,? \1 \2){1,9}(?![\d.])")  # 3 4, 3 4
_IN_BRACKETS = pattern(r"(?<=[\w\"'»”] )\((\d{2})\)(?=[\s,;:])")
BLINK = rf"(?:{'|'.join(_BLINKS_BY)})\w*"
_BLINKING = pattern(rf"{BLINK}|\b(?:paus|pauz|przerw)[eay]")
_TIMES = r"(?:mal|times|fois|veces|volte|vezes|razy|keer|coups?|golpes?|colpi|impuls\w*|pulses?)\b"
_THEN = r"(?:then|dann|puis|luego|poi|depois|potem|dan|and|und|et|y|e|i|en)\s"
_COUNTED = pattern(
    rf"\b(\d{{1,2}}|{_SAID})\s*(?:(?:x|{_TIMES})\s*)?(?:{BLINK}\s+)?{_LONG}\b[\s,+/-]{{0,9}}(?:(?:flash|blink)\w{{0,4}})?[\s,+/-]{{0,9}}"
    rf"(?:{_THEN}){{0,2}}(\d{{1,2}}|{_SAID})\s*"
    rf"(?:(?:x|{_TIMES})\s*)?{_SHORT}\b"
)
_TIMED = pattern(  # "clignote 2 fois puis 3 fois", "1 blink then 9 blinks", "3 coups puis 2"
    rf"(?<![\d.,])\b(\d{{1,2}}|{_SAID})\s?(?:x|{_TIMES}|{BLINK})[\s,;]*(?:(?:[^\W\d_]{{1,8}}[\s,]+){{0,3}}"
    rf"(\d{{1,2}}|{_SAID})\s?(?:x|{_TIMES}|{BLINK})|{_THEN}(\d|{_SAID})\b(?![\d:/-]\d|[.,]\d|\s[^\W\d_]))"
)
_SAID_BLINKS = pattern(  # "blinking four then two", "blinkt vier dann zwei"
    rf"\b{BLINK}\s(?:(?!(?:{_SAID})\b)[a-z']+\s){{0,3}}?({_SAID})[\s,]+(?:{_THEN}){{1,2}}"
    rf"({_SAID})\b(?!\s(?:{_SAID})\b)",
    needs=_BLINKS_BY,
)
_SAID_PAUSED = pattern(  # "zweimal, Pause, fünfmal", "two short blinks, pause, five"
    rf"\b({_SAID})(?:\s?{_TIMES}|(?:\s[^\W\d_]{{3,12}}){{1,2}})?{_PAUSE}"
    rf"({_SAID})(?:\s?{_TIMES}|\s{BLINK}|(?:\s[^\W\d_]{{3,8}})?\s{_BRIEF}\b|\b)",
    needs=_PAUSES_BY,
)
_SAID_SHORT = pattern(  # "three short then seven"
    rf"\b(\d|{_SAID})\s{_BRIEF}(?:\s(?:{BLINK}|ones?))?[\s,]+{_THEN}"
    rf"(\d|{_SAID})(?:\s{_BRIEF})?(?=\W|$)(?!\s{_DRAWN_OUT})"
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
    return with_further(plain, found, lexicon)


def with_further(plain: str, found: list[Code], lexicon: Lexicon) -> tuple[Code, ...]:
    """``lamp 4-1 right curtain, then 4-2 left curtain``: more counts, dressed as the first ones."""
    if not found or "?" in plain:
        return _once(found)
    further = _further(lexicon, is_pair="-" in found[-1].printed)
    more = further.finditer(plain, found[-1].end)
    return _once([*found, *(flash(m["one"], *m.span("one")) for m in more)])


@lru_cache(maxsize=8)
def _further(lexicon: Lexicon, *, is_pair: bool) -> re.Pattern[str]:
    """What begins a clause with a number, or calls it the next one or a code."""
    number = _ALIKE[not is_pair]
    measures = "|".join(lexicon.small.number_words)  # "22 maja"
    ends = rf"(?!\s(?:{measures})\b)(?=\W*$|\s?[(,;.:=-]|\s[^\W\d_]{{{3 if is_pair else 4}}}|\sx)"
    return re.compile(rf"(?:[,;|→>]\s|(?<!\d\s)\b(?:{_joining(lexicon)})\s)(?P<one>{number}){ends}")


def leaves_count(text: str, codes: list[Code], lexicon: Lexicon) -> bool:
    """Tell whether a line holds a number, dressed as its counts, that nothing calls a thing's."""
    if not codes or codes[0].style != "flash":
        return False
    number = _ALIKE["-" not in codes[0].printed]
    others = re.finditer(rf"(?P<word>[^\W\d_]+)\s{number}(?=\W*$|[,;])", flat(text))
    return any(m["word"] not in lexicon.known for m in others)


def _joining(lexicon: Lexicon) -> str:
    small = lexicon.small
    return "|".join(sorted(small.listing | small.then | small.between_counts, reverse=True))


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
    told = []
    if may_flash:
        rules = (_SAID_PAIR, _SAID_PAUSED, _SAID_SHORT, _TIMED)
        found = (m for rule in rules for m in rule.finditer(plain))
        told = [(m, _digit(m[1]), _digit(m[m.lastindex or 2])) for m in found]
    told += [(m, str(len(m[1])), str(len(m[2]))) for m in _DOTS.finditer(plain)]
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
    head = plain[: found[0].start] if found else ""
    is_title = "," in head and len(head.split()) > _TITLE_WORDS  # "Read-out, 2 long 4 short style"
    return [] if is_title else [*_once(found)]


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
    words = rf"{_joining(lexicon)}|{'|'.join(sorted(lexicon.small.any_or))}"
    signs = r"(?:[\s,;.+&/()|→]|-[>\s])"
    times = rf"x\s?\d|(?:\d|{_SAID})\s?(?:x\b|{_TIMES})"
    return rf"{signs}{{1,4}}(?:(?:{words}|{times})(?!\w){signs}{{1,4}}){{0,4}}"


@lru_cache(maxsize=4)
def _list_of(lexicon: Lexicon) -> str:
    one = rf"{_NUMBER}{NO_MEASURE}"
    return rf"(?:\d{{2}}(?:/\d{{2}}){{2,9}}(?![/\d])|{one}(?:{_join(lexicon)}{one}){{0,30}})"


@lru_cache(maxsize=4)
def _after_colon(lexicon: Lexicon) -> re.Pattern[str]:
    one = r"(?:\d{2}|\d-\d)"
    return re.compile(
        rf"(?:.*:\s*(?:[^\W\d]{{2,12}}\.?\s){{0,2}})?({one}(?:{_join(lexicon)}{one}){{1,30}})\s*"
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
