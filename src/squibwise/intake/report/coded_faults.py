"""Faults made of the codes of a line: each with its words, its part and its share of the line."""

import msgspec

from squibwise.intake.importers.base import refuse_many
from squibwise.intake.report.claims.asides import hear_neither, why_absent
from squibwise.intake.report.claims.assertions import speaks_of_paper
from squibwise.intake.report.clauses.absences import denied_by_name, why_gone
from squibwise.intake.report.clauses.code_clauses import (
    join_lamp_code,
    repeat_part,
    segments,
    take_share,
    take_status,
    take_type,
    words_without_denied,
)
from squibwise.intake.report.clauses.likenesses import compare
from squibwise.intake.report.clauses.other_clauses import of_code, part_records, without_others
from squibwise.intake.report.clauses.own_rows import begins_row
from squibwise.intake.report.clauses.plain_clauses import add_statuses, is_place
from squibwise.intake.report.codes.line_codes import MAX_FAULTS
from squibwise.intake.report.gathering import GAP, State, attach, fault_of, take_waiting
from squibwise.intake.report.language.lexicon import Lexicon
from squibwise.intake.report.language.words import (
    OWN_PARTS,
    Words,
    has_fault,
    has_part,
    lacks_part,
    stands_alone,
    tells_stage_only,
)
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Fault, Line, Sheet
from squibwise.intake.report.whole.again import is_again, other_notations


def take_codes(line: Line, state: State, sheet: Sheet, lexicon: Lexicon) -> None:
    """Add the fault of each code of a line, or go on with the one above that has it too."""
    if len(line.codes) == 1 and _continues(line, state):
        return
    pieces = join_lamp_code(segments(line, lexicon, sheet.language), lexicon, sheet.language)
    for at, (code, said) in enumerate(pieces):
        text, records = part_records(said, line.words, lexicon, sheet.language)
        is_alone = len(pieces) == 1
        words = _own_words(line, text, is_alone and text == said, lexicon, sheet.language)
        if code.style == "flash" and _is_messenger(words):
            words.features.discard("lamp")  # it told the code
        words = compare(text, words, sheet.faults, lexicon, sheet.language)
        take_share(words, at, [t for _, t in pieces], lexicon, sheet.language)
        if not is_alone and words.says_nothing:
            _take_lead(words, line, lexicon, sheet.language)
        hear_neither(text, words, lexicon)
        if state.current is not None and _is_like_the_last(words, at):
            repeat_part(words, state.current.words)
        fault = Fault(
            first=line,
            raws=[line.raw],
            texts=[text],
            code=code,
            words=words,
            unit=line.unit,
            absent=why_gone(words, line, code, text, sheet.language, lexicon)
            or denied_by_name(line, code, text, words, lexicon, sheet.language)
            or line.why,
            section=state.section,
        )
        rest = lexicon.small.rest.intersection(t.text for t in line.tokens)
        if fault.absent == "gone" and "present" in words.statuses and rest:
            words.statuses.remove("present")  # "B1001 is gone, the rest is still there"
        if "same" in words.features and state.current is not None and not fault.absent:
            add_statuses(words, state.current.words)
            fault.absent = state.current.absent
        take_status(line, fault)
        take_waiting(fault, state, sheet)
        sheet.faults += [fault, *(fault_of(line, w, state) for w in records)]
        state.current = fault
    refuse_many(sheet.name, len(sheet.faults), MAX_FAULTS, "codes")
    if len(line.codes) == 1 and state.current is not None:
        take_type(line, state.current)


def _own_words(
    line: Line, text: str, is_whole: bool, lexicon: Lexicon, language: str | None
) -> Words:
    """What the text of one code says, without what the line denies or tells of others."""
    is_voiced = line.words.voices - {"exists"} or "cleared" in line.words.statuses
    own = without_others(text, lexicon, language) if is_voiced else text
    if is_whole and own == text:
        words = words_without_denied(line, lexicon, language)
        words = of_code(line, words, lexicon, language)
    else:
        words = words_in(own, lexicon, language)
    if speaks_of_paper(text, words, lexicon, language):
        words.features -= {"mechanical", "defect"}
    return words


def _is_messenger(words: Words) -> bool:
    """Tell whether a lamp is named for the code that it blinked, and not for a fault of its own."""
    return bool(words.features & (OWN_PARTS - {"lamp"})) or not has_fault(words)


def _is_like_the_last(words: Words, at: int) -> bool:
    """Tell whether words name a place or a stage alone: the part is that of the code before."""
    if tells_stage_only(words) or words.features & {"same", "otherside"} or _is_placed_also(words):
        return True
    return at > 0 and (lacks_part(words) or is_place(words))  # "left curtain open, right (B1002)"


def _is_placed_also(words: Words) -> bool:
    """``and n/s/f as well``: a place, or a part, of which the same holds."""
    placed = words.is_sided or bool(words.stages)
    return "also" in words.features and (placed or has_part(words))


def _take_lead(words: Words, line: Line, lexicon: Lexicon, language: str | None) -> None:
    """``Codes cleared before: B1490, B1491``: what is told before a list is told of each."""
    lead = words_in(line.text[: line.codes[0].start], lexicon, language)
    add_statuses(words, lead)
    if stands_alone(lead) and not lead.voices - {"exists"}:
        words.features |= lead.features
        words.stages |= lead.stages
        words.ends |= lead.ends


def _continues(line: Line, state: State) -> bool:
    """The same code again in another notation, on the line after its own."""
    current, code = state.current, line.codes[0]
    if current is None or current.code is None or state.blanks > GAP or begins_row(line):
        return False
    if not is_again(code, line, current, current.code):
        return False
    is_gone = bool(why_absent(line.words, is_coded=True))
    is_told_anew = has_part(line.words) and bool(line.words.statuses)
    is_told_anew = current.absent == "past" or (bool(current.absent) and is_told_anew)
    is_other = (is_gone and not current.absent) or (is_told_anew and not is_gone)
    if line.unit != current.unit or is_other:
        return False
    best = code if code.style == "sae" and current.code.style != "sae" else current.code
    current.code = msgspec.structs.replace(
        best,
        failure_type=best.failure_type or code.failure_type or current.code.failure_type,
        status_byte=code.status_byte if best.status_byte is None else best.status_byte,
        also=other_notations(best, code, current.code),
    )
    attach(line, current)
    return True
