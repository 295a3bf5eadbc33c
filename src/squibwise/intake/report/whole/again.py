"""What a report tells of one code in two places: a list first, its words below, its state apart.

``reads B3A02, B3A07``, further down ``B3A02 = driver airbag open``, and ``(3A02 still active)``.
"""

from collections import Counter, defaultdict

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.code_forms import Code, overlaps
from squibwise.intake.report.language.words import OWN_PARTS, add_status, has_fault
from squibwise.intake.report.sheet import Fault, Line, Sheet

_TAIL = pattern(r"(?<![\w.,:/-])[0-9A-Fa-f]{4}(?![\w:/-]|[.,]\d)")
_LISTED = 2  # codes on a line that makes a list


def name_tails(lines: list[Line]) -> None:
    """Read ``3A02`` as the ``B3A02`` of another line, where only that one ends so."""
    whole = {c.code: c for ln in lines for c in ln.codes if c.style == "sae"}
    ends = Counter(code[1:] for code in whole)
    named = {code[1:]: code for code in whole if ends[code[1:]] == 1}
    for line in lines if named else ():
        found = [m for m in _TAIL.finditer(line.text) if m[0].upper() in named]
        kept = [c for c in line.codes if not any(overlaps(*m.span(), [c]) for m in found)]
        has_own = any(c.style == "sae" for c in line.codes)
        if not found or line.role == "blank" or has_own:
            continue
        tails = [_as_whole(whole[named[m[0].upper()]], *m.span()) for m in found]
        line.codes = tuple(sorted((*kept, *tails), key=lambda c: c.start))


def _as_whole(code: Code, start: int, end: int) -> Code:
    return msgspec.structs.replace(
        code, start=start, end=end, failure_type=None, status_byte=None, also=(), elsewhere=()
    )


def join_mentions(sheet: Sheet) -> None:
    """Drop what is only a number of a list that words follow; pass on what is said of it apart."""
    by_code: defaultdict[str, list[Fault]] = defaultdict(list)
    for fault in sheet.faults:
        if fault.code is not None and (fault.code.is_exact or fault.code.style == "flash"):
            by_code[fault.code.code].append(fault)
    dropped: set[int] = set()
    for faults in by_code.values():
        told = next((f for f in faults if not f.words.says_nothing and _names(f)), None)
        if told is None:
            continue
        for fault in faults:
            if fault is told or fault.unit != told.unit or _names(fault):
                continue
            if fault.absent not in ("", "gone"):
                continue
            for status in () if told.words.statuses else fault.words.statuses:
                add_status(told.words, status)
            if fault.absent and fault.first.number > told.first.number:
                told.absent = told.absent or fault.absent
            if _is_listed_above(fault, told):
                dropped.add(id(fault))
    sheet.faults = [f for f in sheet.faults if id(f) not in dropped]


def _names(fault: Fault) -> bool:
    """Tell whether a fault's words name a part or what is wrong with it."""
    return bool(fault.words.features - {"skip"})


def _is_listed_above(fault: Fault, told: Fault) -> bool:
    """Tell whether a fault is one number of a list above the line that tells of it."""
    is_list = len(fault.first.codes) >= _LISTED and fault.first.number < told.first.number
    return is_list and {"present", *told.words.statuses}.issuperset(fault.words.statuses)


def is_again(code: Code, line: Line, current: Fault, before: Code) -> bool:
    """The same code once more, or the public code under a maker's number."""
    types = {before.failure_type, code.failure_type} - {None}
    names = {before.code, *before.readings} & {code.code, *code.readings}
    bare = not line.words.features & OWN_PARTS
    if names and len(types) <= 1:
        return code.style != before.style or bare or not current.words.features & OWN_PARTS
    if has_fault(current.words) and has_fault(line.words):
        return False  # a fault of its own, of a part that nobody knows
    return bare and not before.is_exact and before.style != "cut" and code.style == "sae"


def other_notations(best: Code, code: Code, before: Code) -> tuple[str, ...]:
    """Return how else the best of two notations of one code stood there."""
    if code.style == before.style:
        return best.also
    return (*best.also, before.printed if best is code else code.printed)
