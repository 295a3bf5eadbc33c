"""What the writer of a report puts right further down: ``no wait, that was the left one``.

A place that was wrong, or a code: ``B1E71, not B1E17``.
"""

from collections.abc import Set
from itertools import pairwise

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.asides import why_absent
from squibwise.intake.report.clauses.lines import label_of
from squibwise.intake.report.codes.spoken import read_said
from squibwise.intake.report.language.code_forms import Code, find_codes
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.words import KERB, Words, has_fault, heads_of
from squibwise.intake.report.layout.marks import rank_of
from squibwise.intake.report.line_words import language_of, without_codes, words_in
from squibwise.intake.report.sheet import Fault, Line, Sheet
from squibwise.intake.report.whole.leads import ANOTHER, set_aside

_CLAUSE = pattern(r"[,;:.]\s+")
_NUMBER = pattern(r"[\w-]*\d[\w-]*")
_SILENT = frozenset({"blank", "meta", "header", "heading"})
_CODELIKE = pattern(r"(?i)(?<![\w.,-])[A-Z]{0,2}(?=[0-9A-F]*\d)[0-9A-F]{3,6}(?![\w-]|[.,]\d)")
_NOT = r"not|nicht|pas|non|no|nao|nie"
_FIRST_HOLDS = pattern(  # "B1E71, not B1E17"
    rf"[\s,;:(-]*(?:(?:and|und|et|y|e|i|a) )?(?:{_NOT}|instead of|rather than|in place of|statt|"
    r"anstatt|anstelle von|au lieu de|en vez de|en lugar de|invece di|al posto di|em vez de|"
    r"no lugar de|zamiast)\s+"
)
_SECOND_HOLDS = pattern(  # "B1E17 should read B1E71"
    r"\s*(?:[-=]+>|(?:[a-z]+ ){0,3}(?:should|must|ought to|was meant to|is meant to|soll|sollte|"
    r"muss|musste|devrait|doit|debe|deberia|deve|dovrebbe|deveria|powinno|mialo)(?: [a-z]+){0,3}|"
    r"is really|is actually|ist in wahrheit)[\s:,]+"
)
_TAIL_DENIED = pattern(rf"\s*,?\s*(?:{_NOT})\s+([^,.;:()]*)")  # "B1462, not 61"
_BUT = pattern(r"[\s,;]*(?:but|sondern|mais|sino|ma|mas|lecz|ale|tylko)(?: (?:it'?s|es|e))?\s+")
_ENDS_DENYING = pattern(rf"(?:^|\W)(?:{_NOT})\s+$")
_FULL_LINE = 55  # signs of a line that running text fills
_LABEL_END = pattern(r"[:=\t|]|\.{3}")
_LABEL_OR_QUESTION = pattern(r"([^:?]{1,40})[:?]")
_LABEL_WORDS = 4  # of the name of a list
_LEAD_WORDS = 6  # of a heading that says before or after what the lines below it were read
_SWAPPED = 2  # signs that a slip of the pen changes at most


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


def hear_on(lines: list[Line], lexicon: Lexicon) -> None:
    """Let what is said of a car, or of a time, go on into the lines that it is said of.

    ``That is the other van. B1233 that was``, running text that goes on in the next line, and
    the list before a repair in a report that has one after it too.
    """
    for before, line in pairwise(lines):
        if line.number == before.number and not before.codes and "mine" in before.words.voices:
            if line.codes and "was" in line.words.voices:
                line.words.voices.add("mine")
            elif _points_back(line, lexicon):
                set_aside(line, ANOTHER)
        elif _goes_on(before, line) and (why := before.why or _why_of_codes(before)):
            line.role, line.why = "aside", why
    _pass_repaired(lines, lexicon)
    _set_others_aside(lines, lexicon)


def _points_back(line: Line, lexicon: Lexicon) -> bool:
    """``That one has B1001``: of the car that the sentence before it named."""
    starts = [t.text for t in line.tokens[:2]]
    return not lexicon.small.pointers.isdisjoint((*starts[:1], " ".join(starts)))


def _set_others_aside(lines: list[Line], lexicon: Lexicon) -> None:
    """``Mine: ...``, ``the other: ...``: what a label of the other car says is not of this one."""
    small, labels = lexicon.small, {at: label_of(ln) for at, ln in enumerate(lines) if ln.is_keyed}
    if small.ours.isdisjoint(label.rstrip(": ") for label in labels.values()):
        return
    for at, label in labels.items():
        texts = [t.text for t in tokenise(label)]
        words = words_in(label, lexicon, language_of(lines[at], lexicon, None))
        is_bare = not (words.is_placed or words.features - {"skip"})  # no "other side"
        if not small.others.isdisjoint(texts) and len(texts) <= _LABEL_WORDS and is_bare:
            lines[at].words.voices.add("mine")
            if not lines[at].codes:
                lines[at].role, lines[at].why = "aside", "another car"


def _goes_on(before: Line, line: Line) -> bool:
    """Tell whether a line is the rest of a sentence that the line above has no room for."""
    begins = line.text.lstrip()[:1]
    opens = before.raw.lstrip(" >\t\"'")[:1]
    is_prose = (
        len(before.raw) >= _FULL_LINE and opens.isupper() and before.text.rstrip()[-1:].isalnum()
    )
    is_next = line.number == before.number + 1 and begins.islower() and not line.cells
    return is_prose and is_next and line.role == "words"


def _why_of_codes(line: Line) -> str:
    voices = line.words.voices & {"past", "mine"}
    return why_absent(line.words, is_coded=True) if line.codes and voices else ""


def _pass_repaired(lines: list[Line], lexicon: Lexicon) -> None:
    """Put what stands between ``before repair`` and ``after repair`` into the past."""
    for line in lines:
        if line.codes and _names_previous(line, lexicon):
            line.words.voices.add("past")
    said = [
        (at, voice)
        for at, line in enumerate(lines)
        for voice, rank in (("before", "early"), ("after", "late"))
        if _label_time(line, lexicon) == rank or _leads(line, voice)
    ]
    for (start, one), (end, two) in pairwise(said):
        if (one, two) != ("before", "after"):
            continue
        for line in lines[start:end]:
            if line.codes:
                line.words.voices.add("past")
            elif line.role == "words" and not line.codes:
                line.role, line.why = "aside", "past"


def _names_previous(line: Line, lexicon: Lexicon) -> bool:
    """``Previous readings ... B2701``: a label of a reading that was made before this one."""
    label = tokenise(_LABEL_END.split(line.text)[0]) if line.is_keyed else ()
    told = {t.text for t in label} if len(label) <= _LABEL_WORDS else set()
    return not (lexicon.small.reads.isdisjoint(told) or lexicon.small.previous.isdisjoint(told))


def _label_time(line: Line, lexicon: Lexicon) -> str:
    """Whether a label names the earlier list or the later: ``vor:``, ``read 2:``; else nothing."""
    label = _LABEL_OR_QUESTION.match(line.text)
    told = [t.text for t in tokenise(label[1])] if label else []
    bare = [text for text in told if text not in lexicon.small.any_and]
    if len(bare) == 1 and "status:present" in lexicon.first_meanings(bare[0]):
        return "late"  # "now:", "et maintenant ?"
    return rank_of(told, lexicon) if line.is_keyed and 0 < len(told) <= _LABEL_WORDS else ""


def _leads(line: Line, voice: str) -> bool:
    tokens = tokenise(label_of(line)) if line.is_keyed else line.tokens
    words = sum(not t.text[0].isdecimal() for t in tokens)
    return voice in line.words.voices and (bool(line.codes) or words <= _LEAD_WORDS)


def correct_faults(sheet: Sheet, lexicon: Lexicon) -> None:
    """Put the faults right that a later line speaks of; a line that fits none stays what it is."""
    known: set[str] = set()
    for line in sheet.lines:
        codes = frozenset(c.code for c in line.codes) or known.intersection(
            _NUMBER.findall(line.text.upper())
        )
        if line.role not in _SILENT and _replace_code(line, sheet, known):
            known |= {
                f.code.code
                for f in sheet.faults
                if f.code is not None and f.first.number == line.number
            }
            continue
        correction = None
        if codes <= known and _may_correct(line, sheet):
            correction = _read_correction(line, codes, sheet, lexicon)
        meant = _meant(sheet.faults, correction) if correction else None
        if correction is not None and meant is not None:
            sheet.faults = [f for f in sheet.faults if f is meant or f.first.number != line.number]
            _place(meant.words, correction.said)
            meant.raws.append(line.raw)
        known |= codes


def _may_correct(line: Line, sheet: Sheet) -> bool:
    """Tell whether a line names a place, and faults stand above that it may put right."""
    is_told = line.role not in _SILENT and bool(_places(line.words))
    return is_told and any(f.first.number < line.number for f in sheet.faults)


def _replace_code(line: Line, sheet: Sheet, known: Set[str]) -> bool:
    """``B1E71, not B1E17``: give the fault the code that holds, and drop the one taken back."""
    for wrong, right in _slips(line):
        before = [f for f in sheet.faults if f.first.number < line.number and _is_named(f, wrong)]
        taken_back = [
            f for f in sheet.faults if f.first.number == line.number and _is_named(f, wrong)
        ]
        holds = [f for f in sheet.faults if f.first.number == line.number and _is_named(f, right)]
        if not (before or taken_back) or right in known:
            continue
        told = next((f for f in (*holds, *taken_back) if has_fault(f.words)), None)
        kept = told or (before or holds or taken_back)[0]
        code = holds[0].code if holds else _renamed(kept.code, wrong, right)
        kept.code = code
        if kept in before:
            kept.raws.append(line.raw)
            if len(_places(line.words)) == 1:
                _place(kept.words, line.words)  # "should read nearside, B1E71 not B1E17"
        gone = [f for f in (*before, *taken_back, *holds) if f is not kept]
        sheet.faults = [f for f in sheet.faults if not any(f is g for g in gone)]
        return True
    return False


def _slips(line: Line) -> list[tuple[str, str]]:
    """The codes that a line takes back, each with the one that it says holds."""
    numbers = list(_CODELIKE.finditer(line.text))
    found = []
    for first, second in pairwise(numbers):
        between = flat(line.text[first.end() : second.start()])
        one, two = first.group().upper(), second.group().upper()
        is_called = "amends" in line.words.voices
        if not _is_slip(one, two):
            continue
        denied_first = _ENDS_DENYING.search(flat(line.text[: first.start()]))
        if _FIRST_HOLDS.fullmatch(between) and (is_called or not line.words.statuses):
            found.append((two, one))
        elif _SECOND_HOLDS.fullmatch(between) or (denied_first and _BUT.fullmatch(between)):
            found.append((one, two))
    return found + _tail_slips(line)


def _tail_slips(line: Line) -> list[tuple[str, str]]:
    """``B1462, not 61``: the code that is taken back is told by its last digits alone."""
    found = []
    for code in line.codes:
        denied = _TAIL_DENIED.match(flat(line.text), code.end)
        digits = read_said(denied[1]) if denied else ""
        wrong = code.code[: len(code.code) - len(digits)] + digits
        if 0 < len(digits) < len(code.code) - 1 and _is_slip(wrong, code.code):
            found.append((wrong, code.code))
    return found


def _is_slip(one: str, two: str) -> bool:
    """Tell whether two codes differ by no more than a slip of the pen."""
    return (
        len(one) == len(two) and 0 < sum(a != b for a, b in zip(one, two, strict=True)) <= _SWAPPED
    )


def _is_named(fault: Fault, number: str) -> bool:
    code = fault.code
    return code is not None and number in (code.printed, code.code, code.code[1:])


def _renamed(code: Code | None, wrong: str, right: str) -> Code | None:
    """A code with the number that holds; a slip in its digits leaves its letter as it was."""
    if code is None:
        return None
    number = code.printed.replace(wrong, right)
    other = msgspec.structs.replace(code, printed=number, code=number)
    return next(iter(find_codes(number)), other)


def _read_correction(
    line: Line, codes: Set[str], sheet: Sheet, lexicon: Lexicon
) -> Correction | None:
    is_called = "amends" in line.words.voices
    denying = lexicon.denying
    if not is_called and denying.isdisjoint(t.text for t in line.tokens):
        return None  # most lines: nothing is denied
    text, heard = without_codes(line), False
    for clause in (*_CLAUSE.split(text), text):
        said, denied = _parted(clause, denying, sheet, lexicon)
        heard = heard or "amends" in words_in(clause, lexicon, sheet.language).voices
        is_told = heard and not (clause is text and has_fault(said))  # "right one open: my mistake"
        holds = (is_called and is_told) or (_contradict(said, denied) and not has_fault(said))
        if len(_places(said)) == 1 and holds:
            return Correction(line=line.number, codes=codes, said=said)
    return None


def _parted(clause: str, denying: set[str], sheet: Sheet, lexicon: Lexicon) -> tuple[Words, Words]:
    """Return what a clause says holds, and what stands behind its last negation of a place."""
    texts = [t.text for t in tokenise(clause)]
    for at in range(len(texts) - 1, -1, -1):
        if texts[at] in denying:
            ahead, behind = (
                words_in(" ".join(part), lexicon, sheet.language)
                for part in (texts[:at], texts[at + 1 :])
            )
            if _places(ahead):  # "the right one, not the left": or "not l", which says no side
                return ahead, behind
            if _places(behind):  # "no, it is the right one"
                return behind, ahead
    return words_in(clause, lexicon, sheet.language), Words()


def _places(words: Words) -> frozenset[str]:
    """The side or the seat that words name."""
    return frozenset(words.sides | words.seats | (words.features & KERB))


def _contradict(one: Words, two: Words) -> bool:
    """Tell whether two places of one kind differ."""
    pairs = (
        (one.sides, two.sides),
        (one.seats, two.seats),
        (one.features & KERB, two.features & KERB),
    )
    return any(a and b and not a & b for a, b in pairs)


def _meant(faults: list[Fault], correction: Correction) -> Fault | None:
    """The fault that a correction speaks of: by its code, by its part, else the one before it."""
    before = [f for f in faults if f.first.number < correction.line]
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
    words.features = (words.features - KERB) | (said.features & KERB)
