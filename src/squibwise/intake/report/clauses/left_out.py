"""Parts that a line names and that none of its faults has: the line is listed as unread too."""

import re
from functools import lru_cache
from itertools import groupby, pairwise

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.clauses.own_places import verdict_of
from squibwise.intake.report.codes.blinks import leaves_count
from squibwise.intake.report.language.joints import choosing, joining, spans_of, turning
from squibwise.intake.report.language.lexicon import Lexicon
from squibwise.intake.report.language.words import (
    PARTS,
    TELLS,
    Words,
    heads_of,
    names_another,
    stands_alone,
)
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.sheet import Fault, Line, Sheet

_LONGEST = 400  # characters of a line that is looked at
_COLUMNS = pattern(r"\S\s{3,}\S|\t")
_TOLD = TELLS - {"defect", "crashrecord", "deployed"}
_SINGLE = PARTS - {"charge", "switch", "sensor", "cushion", "middle"}


@lru_cache(maxsize=32)
def _parting(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What may part two parts that a line names."""
    joints = (joining, turning, choosing)
    words = "|".join(joint(lexicon, language) for joint in joints)
    ends = r"(?<=[^\W\d_]{5})\.\s"  # "Seitenairb. v. li" is cut short
    return re.compile(rf"[,;:]\s+|{ends}|\s?[()|]\s?|\s[–/&+-]\s|\s(?:{words})\s")


def list_left_out(sheet: Sheet, lexicon: Lexicon) -> None:
    """List each line as unread that names a part with its place which none of its faults has."""
    known = {line.number for line in sheet.unread}
    told: dict[int, list[Fault]] = {}
    for fault in sheet.faults:
        told.setdefault(fault.first.number, []).append(fault)
    for number, lines in groupby(sheet.lines, lambda line: line.number):
        faults = told.get(number, []) if number not in known else []
        sentences = {line.raw: line for line in lines} if faults else {}
        for line in sentences.values():
            left = _left_out(line, faults, sheet, lexicon)
            words = {"words": left, "role": "unread", "why": ""}
            sheet.unread += [msgspec.structs.replace(line, **words)] if left else []
    sheet.unread.sort(key=lambda line: line.number)


def _left_out(line: Line, faults: list[Fault], sheet: Sheet, lexicon: Lexicon) -> Words | None:
    """Return what is said of the first part that no fault has; None where each has one."""
    raw = line.raw
    if line.cells or len(raw) > _LONGEST or _COLUMNS.search(raw.strip()):
        return None
    language = language_of(line, lexicon, sheet.language)
    codes = [fault.code for fault in faults if fault.code]
    for code in codes:
        raw = raw.replace(code.printed, " ")
    if leaves_count(raw, codes, lexicon):
        return line.words
    named: list[Words] = []
    for start, end in spans_of(raw, _parting(lexicon, language)):
        words = words_in(raw[start:end], lexicon, language)
        told = words.features & _TOLD if not (codes or words.voices) else set()
        if told and not any(told & fault.words.features for fault in faults):
            return words  # "supply low and left sensor silent": of something that nobody names
        if _kinds(words):
            named.append(words)
        elif not (words.is_sided and named):
            continue
        if verdict_of(raw[start:end], words, lexicon, language) == "good":
            continue
        if codes and not (words.is_sided and stands_alone(words)):
            continue  # what stands beside its code may be where its plug is
        lead = words_in(" ".join(raw[start:end].split()[:2]), lexicon, language)
        is_pair = "both" in lead.features and not (codes or words.is_sided)
        wanted = 2 if is_pair else 1
        if sum(_covers(fault, words, named[-1]) for fault in faults) < wanted:
            return words
    more = (two for one, two in pairwise(named) if _are_two(one, two))
    return next(more, None) if not codes and len(faults) == 1 else None


def _covers(fault: Fault, words: Words, part: Words) -> bool:
    """Tell whether a fault is of a part, and of the one place that words name."""
    own = fault.words
    pairs = ((words.seats, own.seats), (words.sides, own.sides))
    is_there = all(not named or named & found for named, found in pairs)
    if fault.code is None:
        is_there = is_there and all(not named or found <= named for named, found in pairs)
    return is_there and _kinds(part) <= _kinds(own)


def _are_two(one: Words, two: Words) -> bool:
    """Tell whether words name two parts, and neither is a second word for the other."""
    kinds = _kinds(one), _kinds(two)
    return names_another(two, one) and two.is_sided and not kinds[0] & kinds[1]


def _kinds(words: Words) -> frozenset[str]:
    unit = words.features & {"unit"} if stands_alone(words) else set()
    return heads_of(words) | (words.features & _SINGLE) | unit
