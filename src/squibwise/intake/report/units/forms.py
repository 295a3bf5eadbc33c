"""In which form a report names its units: a number, a word before one, a word for a computer."""

import re
from collections.abc import Set as AbstractSet

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.words import PARTS, has_fault
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.sheet import Line
from squibwise.intake.report.units.headings import heading_name, is_addressed
from squibwise.intake.report.units.line_units import name_unit
from squibwise.intake.report.units.rooms import is_room, tells_place

_NUMBERED = pattern(  # "SG 46 Komfort", "- 2 - Gearbox"; not so "9. Right side" of a list
    r"\W{0,4}(?P<word>[^\W\d_]{2,14}[.:]?\s?|(?<=-\s)(?=\w{1,4}\s?-\s))?"
    r"(?P<number>(?:0x)?(?=\w{0,3}\d)[0-9A-Fa-f]{1,4}h?|XX)(?![\w.)/%°])[\s:–-]{0,4}(?P<name>[^:\t]*)"
)
_OF_RESTRAINTS = (PARTS - {"switch"}) | {"bag", "belt", "pillar"}
_MOST_WORDS = 5  # of a unit's name
_LONGEST_LIST = 19  # places that a list of a report may number: "02 - Roof"


def forms_of(line: Line, lexicon: Lexicon) -> set[str]:
    """Return how a line names a unit, by what stands before its colon."""
    found = _NUMBERED.match(line.text)
    return _forms(line, found, _words_of(_name_of(line, found)), lexicon)


def _forms(line: Line, found: re.Match[str] | None, texts: list[str], lexicon: Lexicon) -> set[str]:
    if found and found["number"] != str(line.count):
        word = flat(found["word"]).strip(" .:") if found["word"] is not None else None
        word = "address" if is_addressed(line) else word
        is_form = word is not None and not lexicon.has_name("restraint", word)
        digits = len(found["number"])
        return ({f"{word} 1"} if is_form else set()) | ({"1" * digits} if digits > 1 else set())
    texts = [t for t in texts if not tells_place(t, lexicon)]
    ends = tuple(lexicon.small.computers)
    told = {"first"} if texts and texts[0] in ends else set()
    return told | ({"last"} if texts and texts[-1].endswith(ends) else set())


def _name_of(line: Line, numbered: re.Match[str] | None) -> str:
    """A unit's name, without its number and what stands behind its colon."""
    text = line.text if line.count is None else heading_name(line)
    return (numbered["name"] if numbered else text.partition(":")[0]).strip()


def _words_of(name: str) -> list[str]:
    return [t.text for t in tokenise(name)]


def names_another(line: Line, forms: AbstractSet[str], lexicon: Lexicon) -> str:
    """Return which unit a line names, ``other`` or ``unknown``, in a form of ours; or nothing.

    ``module: climate``, ``roof module``, where a word for a computer stands beside a part of the
    car or, where the restraint unit's does, beside a word that nobody knows; any number and name.
    """
    numbered = _NUMBERED.match(line.text)
    name = _name_of(line, numbered)
    texts = _words_of(name)
    form = _forms(line, numbered, texts, lexicon)
    shared = form & forms
    if not (shared if numbered else form) or len(texts) > _MOST_WORDS:
        return ""
    words = words_in(name, lexicon, language_of(line, lexicon, None))
    unit, _ = name_unit(name, lexicon)
    is_known = unit == "other" or "foreign" in words.features
    told = words.features & _OF_RESTRAINTS or words.voices
    is_told = words.statuses and not (is_known and words.statuses == ["stored"])  # "Seat memory"
    if unit == "restraint" or told or is_told or flat(name) in lexicon.small.unsorted:
        return ""
    named = "other" if is_known else "unknown"
    if any(f.endswith(" 1") for f in shared):
        return named
    is_title = line.count is not None or ":" in line.text or line.text.isupper()
    if has_fault(line.words) and not is_title:
        return ""
    if numbered:
        is_far = numbered["number"].isdecimal() and int(numbered["number"]) > _LONGEST_LIST
        is_listed = (words.is_placed and not is_known) or is_room(name, lexicon)
        is_name = name[2:] and (is_known or name[0].isupper())  # not so "12 V"
        return named if is_name and (is_far or not is_listed) else ""
    own = [t for t in texts if not (t in lexicon.small.computers or tells_place(t, lexicon))]
    is_strange = bool(shared) and any(len(t) > 1 and t not in lexicon.known for t in own)
    return named if own and (is_known or is_strange) else ""
