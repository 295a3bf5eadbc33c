"""A fault in the making: the lines, words, codes and states that are added to it."""

import msgspec

from squibwise.intake.report.claims.asides import hear_untested
from squibwise.intake.report.clauses.code_clauses import take_status, take_type
from squibwise.intake.report.clauses.own_rows import is_of_others
from squibwise.intake.report.language.words import (
    FAULT_WORDS,
    OWN_PARTS,
    TELLS,
    Words,
    add_status,
    stands_alone,
)
from squibwise.intake.report.line_words import without_codes
from squibwise.intake.report.sheet import Fault, Line, Sheet

GAP = 1  # blank lines that a description may be away from its code


class State(msgspec.Struct, kw_only=True):
    """Where the reading of a report stands.

    Attributes:
        section: Number of the list that the lines are in.
        current: The fault that a line may go on with.
        waiting: Words that stand above their code.
        blanks: Blank lines since the last line with text.
    """

    section: int = 0
    current: Fault | None = None
    waiting: list[Line] = msgspec.field(default_factory=list)
    blanks: int = 0


def fault_of(line: Line, words: Words, state: State) -> Fault:
    """Return the fault that words of a line without a code tell of."""
    hear_untested(words)
    told = Fault(first=line, raws=[line.raw], words=words, unit=line.unit, section=state.section)
    told.absent = line.why
    return told


def attach(line: Line, fault: Fault) -> None:
    """Add a line to the fault that it goes on with."""
    fault.raws.append(line.raw)
    if fault.texts:
        fault.texts.append(without_codes(line).strip())
    _merge(fault.words, line.words)
    take_status(line, fault)
    take_type(line, fault)


def _merge(words: Words, other: Words) -> None:
    """Add what other words say; part, fault and place already told are not widened."""
    has_part = bool(words.features & OWN_PARTS)
    has_fault = bool(words.features & (TELLS - {"defect"}))
    added = other.features
    if not has_part and added & OWN_PARTS:
        words.features -= {"unit", "airbagmodule"}  # they named the report's unit
    if has_part:
        added = added & FAULT_WORDS if not has_fault else set()
    words.features |= added
    for name in ("seats", "sides", "ends", "rows", "stages", "numbers"):
        mine: set[object] = getattr(words, name)
        if not mine and not (has_part and has_fault and words.seats | words.sides):
            mine |= getattr(other, name)
    for status in other.statuses:
        add_status(words, status)
    words.is_driver_doubtful = words.is_driver_doubtful or other.is_driver_doubtful


def take_waiting(fault: Fault, state: State, sheet: Sheet) -> None:
    """Give a code the words above it, from the last that tell part and fault on.

    What stands above these is of no code, and a part of restraint is of no code of other units.
    """
    own = [at for at, line in enumerate(state.waiting) if stands_alone(line.words)]
    start = own[-1] + is_of_others(fault) if own else 0
    waiting, state.waiting = state.waiting, state.waiting[:start]
    flush(state, sheet)
    for line in waiting[start:]:
        attach(line, fault)


def flush(state: State, sheet: Sheet) -> None:
    """Words that waited for a code which never came."""
    for line in state.waiting:
        if stands_alone(line.words):
            sheet.faults.append(fault_of(line, line.words, state))
        else:
            sheet.unread.append(line)
    state.waiting.clear()
