"""Codes as they are said aloud or typed apart: ``bee sixteen oh four``, ``b 1409``."""

import re

from squibwise.intake.patterns import pattern
from squibwise.intake.report.codes.labels import CALLED_CODE
from squibwise.intake.report.language.code_forms import Code, overlaps, with_bytes
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.language.words import FAULTS, HEADS
from squibwise.intake.report.sheet import Line

_LETTERS = {
    "B": "b be bee bi bravo berta",
    "C": "c ce cee ci see charlie caesar casar",
    "P": "p pe pee pi papa paula",
    "U": "u you uniform ulrich",
}
_LETTER_OF = {name: letter for letter, names in _LETTERS.items() for name in names.split()}
_COUNTED = (  # from nought on, by language
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen "
    "sixteen seventeen eighteen nineteen",
    "null eins zwei drei vier funf sechs sieben acht neun zehn elf zwolf dreizehn vierzehn "
    "funfzehn sechzehn siebzehn achtzehn neunzehn",
    "zero un deux trois quatre cinq six sept huit neuf dix onze douze treize quatorze quinze seize",
    "cero uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince "
    "dieciseis diecisiete dieciocho diecinueve",
    "zero uno due tre quattro cinque sei sette otto nove dieci undici dodici tredici quattordici "
    "quindici sedici diciassette diciotto diciannove",
    "zero um dois tres quatro cinco seis sete oito nove dez onze doze treze catorze quinze "
    "dezasseis",
    "zero jeden dwa trzy cztery piec szesc siedem osiem dziewiec dziesiec jedenascie dwanascie "
    "trzynascie czternascie pietnascie szesnascie",
)
_NUMBERS = {w: str(n) for row in _COUNTED for n, w in enumerate(row.split())}
_NUMBERS |= {"oh": "0", "o": "0", "zwo": "2", "niner": "9", "dezesseis": "16"}
_TENS = dict(
    zip("twenty thirty forty fifty sixty seventy eighty ninety".split(), "23456789", strict=True)
)
_TWICE = frozenset("double doppel doble".split())
_WORD = pattern(r"[^\W_]+")
_DIGITS = 4
_SPOKEN_LINES = 2  # that show that codes are said aloud here
_GAPPED = pattern(  # "B 1 A04", "B1 A 04"
    r"(?<![\w.:/-])(?=[BCPU][0-9A-F]{0,3} )[BCPU] ?[0-3](?: ?[0-9A-F]){3}(?![\w/]|[.,]\d| \d)"
)
_LEADS = pattern(r"(?:.*[:=]\s)?\W*(?:\d{1,3}[.)]\s+)?")
_KNOWN = 2  # words that show what a line is about
_NEXT = pattern(r"\s?[,;/+&]?\s?(?:[^\W\d_]{1,4}\s)?")
_FIRST = frozenset("0123")  # Source: sae-j2012, the first digit


def follow_spoken(lines: list[Line]) -> None:
    """Set the codes that lines say aloud, where at least two lines do."""
    found = {at: _find_spoken(ln.text) for at, ln in enumerate(lines) if ln.role != "blank"}
    found = {at: codes for at, codes in found.items() if codes}
    if len(found) < _SPOKEN_LINES:
        return
    for at, codes in found.items():
        line = lines[at]
        exact = [c for c in line.codes if c.is_exact]
        fresh = [c for c in codes if not overlaps(c.start, c.end, exact)]
        line.codes = tuple(sorted((*exact, *fresh), key=lambda c: c.start))


def follow_gaps(lines: list[Line], lexicon: Lexicon) -> None:
    """Set codes that are typed with gaps, where they lead words for a part or are called codes."""
    for line in lines:
        if line.role == "blank" or any(c.style == "sae" for c in line.codes):
            continue
        found: list[Code] = []
        for match in _GAPPED.finditer(line.text):
            before = line.text[: match.start()]
            is_next = found and _NEXT.fullmatch(line.text[found[-1].end : match.start()])
            is_led = _LEADS.fullmatch(before) and _names_something(line.text, lexicon)
            if is_next or is_led or CALLED_CODE.search(before):
                printed = match.group().replace(" ", "")
                found.append(with_bytes(line.text, match.start(), match.end(), printed, None))
        if found:
            kept = [c for c in line.codes if not overlaps(c.start, c.end, found)]
            line.codes = tuple(sorted((*kept, *found), key=lambda c: c.start))


def _names_something(text: str, lexicon: Lexicon) -> bool:
    """Tell whether a word of a text means a part or a fault by itself, or two are known."""
    words = [w for w in _WORD.findall(flat(text)) if len(w) >= _DIGITS and w.isalpha()]
    known = sum(w in lexicon.known for w in words)
    return known >= _KNOWN or any(lexicon.first_meanings(w) & (HEADS | FAULTS) for w in words)


def read_said(text: str) -> str:
    """Return the digits that a text begins with, written or said aloud; four at most."""
    return _read_digits(list(_WORD.finditer(flat(text))), 0)[0]


def _find_spoken(text: str) -> list[Code]:
    words = list(_WORD.finditer(flat(text)))
    found: list[Code] = []
    at = 0
    while at < len(words):
        letter = _LETTER_OF.get(words[at].group())
        digits, end = _read_digits(words, at + 1) if letter else ("", at)
        if letter and len(digits) == _DIGITS and digits[0] in _FIRST:
            start, stop = words[at].start(), words[end - 1].end()
            found.append(with_bytes(text, start, stop, letter + digits, None))
            at = end
        else:
            at += 1
    return found


def _read_digits(words: list[re.Match[str]], at: int) -> tuple[str, int]:
    """Return the digits said from a word on, four at most, and the first word behind them."""
    digits = ""
    while at < len(words) and len(digits) < _DIGITS:
        word, after = words[at].group(), words[at + 1].group() if at + 1 < len(words) else ""
        if word in _TENS:
            unit = _NUMBERS.get(after, "")
            is_unit = len(unit) == 1 and unit != "0"
            said, used = _TENS[word] + (unit if is_unit else "0"), 1 + is_unit
        elif word in _TWICE:
            said, used = 2 * _NUMBERS.get(after, ""), 2
        else:
            said, used = _NUMBERS.get(word, word if word.isdecimal() else ""), 1
        if not said:
            break
        digits, at = digits + said, at + used
    return digits, at
