"""What the writer of a report puts right further down: ``no wait, that was the left one``."""

from collections.abc import Set

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
from squibwise.intake.report.lexicon import lexicon_of, tokenise
from squibwise.intake.report.lines import without_codes, words_of
from squibwise.intake.report.sheet import Fault, Line, Sheet
from squibwise.intake.report.words import Words, has_fault, heads_of

_KERB = frozenset({"nearside", "offside"})
_CLAUSE = pattern(r"[,;:.]\s+")
_NUMBER = pattern(r"[\w-]*\d[\w-]*")
_SILENT = frozenset({"blank", "meta", "header", "heading"})


class Correction(msgspec.Struct, kw_only=True):
    """A place that is said anew.

    Attributes:
        line: Number of the line that says it.
        codes: The codes it names.
        said: What it says holds.
    """

    line: int
    codes: Set[str]
    said: Words


def correct_faults(sheet: Sheet, catalog: Catalog) -> None:
    """Put the faults right that a later line speaks of; a line that fits none stays what it is."""
    known: set[str] = set()
    for line in sheet.lines:
        codes = frozenset(c.code for c in line.codes) or known.intersection(
            _NUMBER.findall(line.text.upper())
        )
        correction = None
        if line.role not in _SILENT and codes <= known:
            correction = _read_correction(line, codes, sheet, catalog)
        meant = _meant(sheet.faults, correction) if correction else None
        if correction is not None and meant is not None:
            sheet.faults = [f for f in sheet.faults if f is meant or f.line != line.number]
            _place(meant.words, correction.said)
            meant.raws.append(line.raw)
        known |= codes


def _read_correction(
    line: Line, codes: Set[str], sheet: Sheet, catalog: Catalog
) -> Correction | None:
    is_called = "amends" in line.words.voices
    denying = lexicon_of(catalog).denying
    if not is_called and denying.isdisjoint(t.text for t in line.tokens):
        return None  # most lines: nothing is denied
    text = without_codes(line)
    for clause in (*_CLAUSE.split(text), text):
        said, denied = _parted(clause, denying, sheet, catalog)
        holds = is_called or (_contradict(said, denied) and not has_fault(said))
        if len(_places(said)) == 1 and holds:
            return Correction(line=line.number, codes=codes, said=said)
    return None


def _parted(clause: str, denying: set[str], sheet: Sheet, catalog: Catalog) -> tuple[Words, Words]:
    """Return what a clause says holds, and what stands behind its last negation of a place."""
    texts = [t.text for t in tokenise(clause)]
    for at in range(len(texts) - 1, -1, -1):
        if texts[at] in denying:
            ahead, behind = (
                words_of(" ".join(part), catalog, sheet.language)
                for part in (texts[:at], texts[at + 1 :])
            )
            if _places(ahead):  # "the right one, not the left": or "not l", which says no side
                return ahead, behind
            if _places(behind):  # "no, it is the right one"
                return behind, ahead
    return words_of(clause, catalog, sheet.language), Words()


def _places(words: Words) -> frozenset[str]:
    """The side or the seat that words name."""
    return frozenset(words.sides | words.seats | (words.features & _KERB))


def _contradict(one: Words, two: Words) -> bool:
    """Tell whether two places of one kind differ."""
    pairs = (
        (one.sides, two.sides),
        (one.seats, two.seats),
        (one.features & _KERB, two.features & _KERB),
    )
    return any(a and b and not a & b for a, b in pairs)


def _meant(faults: list[Fault], correction: Correction) -> Fault | None:
    """The fault that a correction speaks of: by its code, by its part, else the one before it."""
    before = [f for f in faults if f.line < correction.line]
    named = [f for f in before if f.code is not None and f.code.code in correction.codes]
    if named:
        return named[0]
    wrong = [f for f in before if _contradict(f.words, correction.said)]
    heads = heads_of(correction.said)
    if heads:
        alike = [f for f in wrong if heads & heads_of(f.words)]
        return alike[0] if len(alike) == 1 else None
    return before[-1] if before and before[-1] in wrong else None


def _place(words: Words, said: Words) -> None:
    words.sides, words.seats = set(said.sides), set(said.seats)
    words.features = (words.features - _KERB) | (said.features & _KERB)
