"""What a line has from somebody else, or says of another vehicle, supposes or requires."""

import re
from functools import lru_cache

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.language.phrases import find_hits
from squibwise.intake.report.language.words import FAULTS, HEADS
from squibwise.intake.report.sheet import Line
from squibwise.model.report import UNSURE

_STOP = pattern(r"[,;:.!?]\s|\s-\s")
_LIKE = pattern(r"(?:\W|^)(?:as|like|wie|comme|como|come|jak|zoals)\s+(?:[^\W\d_]{1,3}\s+)?$")
_RIGHT_BEHIND = pattern(r"'?s?(?:\s+[^\W\d_]{1,4})?[\s:]+")
_REACH = 5  # words between who says, or another vehicle, and the verb that belongs to it


def why_of_others(line: Line, lexicon: Lexicon, language: str | None) -> str:
    """Why a line tells nothing of this car by itself; empty when it may."""
    plain = flat(line.text)
    told = _first_told(line, lexicon, language)
    if told is None:
        return ""
    head = plain[:told] if line.codes else plain
    small = lexicon.small
    is_other = any(word in head for word in small.others)  # most lines name none
    if is_other and any(
        _is_holder(m, plain, lexicon, told) for m in _other_vehicle(lexicon).finditer(head)
    ):
        return "another car"
    if "was" in line.words.voices and _own_vehicle(lexicon).search(head):
        return UNSURE  # "in my van B1001 came up, it was the plug"
    is_said = any(word in head for word in (*small.says, *small.according, *small.heard))
    if is_said and _hearsay(lexicon).search(plain[:told]):
        return "hearsay"
    label = plain.partition(":")[0] if line.is_keyed else ""
    is_guess = bool(small.guesses.intersection(re.findall(r"[^\W\d_]+", label)))
    if not line.codes:
        thinks = small.thinks.intersection(re.findall(r"[^\W\d_]+", plain[:told]))
        is_guess = is_guess or bool(thinks) or _is_required(line, lexicon, language)
    return "a guess" if is_guess else ""


def _first_told(line: Line, lexicon: Lexicon, language: str | None) -> int | None:
    """Where the first code of a line stands, or its first word for a part or a fault."""
    if line.codes:
        return line.codes[0].start
    hits = find_hits(lexicon, line.tokens, language)
    told = [next((h.first for h in hits if kind & {*h.means}), None) for kind in (HEADS, FAULTS)]
    first = told[0] if told[0] is not None else told[1]
    if first is None:
        return None
    word, plain = line.tokens[first].text, flat(line.text)
    found = re.search(rf"(?<![^\W_]){re.escape(word)}", plain)
    return found.start() if found else None


def _is_holder(found: re.Match[str], plain: str, lexicon: Lexicon, told: int) -> bool:
    """Tell whether another vehicle is where a fault is: ``on the other truck``, ``... has``.

    One that only hit this car, or is like it, is not; nor is one behind a clause of its own.
    """
    before, after = plain[: found.start()], plain[found.end() :]
    if _LIKE.search(before) or _STOP.search(plain, min(told, found.start()), found.start()):
        return False
    is_next = told > found.end() and _RIGHT_BEHIND.fullmatch(plain[found.end() : told])
    return bool(found["at"] or is_next or _has(lexicon).match(after))


@lru_cache(maxsize=4)
def _other_vehicle(lexicon: Lexicon) -> re.Pattern[str]:
    small = lexicon.small
    at, other, vehicle = map(_any, (small.at, small.others, small.vehicles))
    return re.compile(
        rf"(?<![^\W_])(?:(?P<at>{at})['\s]\s?)?(?:[^\W\d_]{{1,3}}['\s]\s?)?{other}\s+"
        rf"(?:[^\W\d_]+\s+)?{vehicle}(?![^\W_])"
    )


@lru_cache(maxsize=4)
def _own_vehicle(lexicon: Lexicon) -> re.Pattern[str]:
    small = lexicon.small
    at, my, vehicle = map(_any, (small.at, small.my, small.vehicles))
    return re.compile(rf"(?<![^\W_]){at}\s(?:[^\W\d_]{{1,3}}\s)?{my}\s{vehicle}(?![^\W_])")


@lru_cache(maxsize=4)
def _has(lexicon: Lexicon) -> re.Pattern[str]:
    has = _any(lexicon.small.has)
    return re.compile(rf"'?s?(?:\s+[^\W\d_]+){{0,{_REACH}}}?\s+{has}(?![^\W_])")


@lru_cache(maxsize=4)
def _hearsay(lexicon: Lexicon) -> re.Pattern[str]:
    """Somebody else with a verb of saying, or ``according to`` somebody or a forum."""
    small = lexicon.small
    kin = f"(?:{lexicon.names_of('kin')})"
    who = f"(?:{kin}|{_any(small.tellers)}|{_any(small.media)})"
    between = rf"(?:\W+[^\W\d_]+){{0,{_REACH}}}?\W+"
    said = f"{who}{between}{_any(small.says)}"
    by = rf"{_any(small.according)}{between}(?:{who}|{_any(small.sellers)})"
    return re.compile(rf"(?<![^\W_])(?:{said}|{by}|{_any(small.heard)})(?![^\W_])")


def _any(words: frozenset[str]) -> str:
    return f"(?:{'|'.join(map(re.escape, sorted(words, key=len, reverse=True)))})"


def _is_required(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """``must be virgin``, ``muss gelöscht sein``: all that is told stands behind a must."""
    texts = [t.text for t in line.tokens]
    must = next((at for at, t in enumerate(texts) if t in lexicon.small.musts), None)
    if must is None:
        return False
    hits = find_hits(lexicon, line.tokens, language)
    told = [h for h in hits if FAULTS & {*h.means} or h.means[0].startswith("status:")]
    behind = range(must + 1, len(texts))
    ends = next((at for at in behind if line.tokens[at].apart), len(texts))
    return bool(told) and all(must < h.first < ends for h in told)
