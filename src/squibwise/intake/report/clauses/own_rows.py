"""Whether a line without a code goes on with the fault above it, or is one of its own."""

from itertools import pairwise

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.words import (
    PARTS,
    has_fault,
    has_part,
    heads_of,
    stands_alone,
)
from squibwise.intake.report.sheet import Fault, Line, cell_of
from squibwise.intake.report.units.headings import indent

_WORDY = pattern(r"[^\W\d_]{3}")
_FEW_ROWS = 3
_HALVES = frozenset("charge switch sensor".split())  # of a part's name that may be wrapped


def begins_row(line: Line) -> bool:
    """Tell whether a line is a row of a table whose first cell is filled, its car or unit."""
    return line.is_of_car or line.is_module or bool(cell_of(line, 0).strip())


def is_of_others(fault: Fault) -> bool:
    """Tell whether an entry is of another unit (SAE J2012: P is powertrain, C chassis)."""
    letter = fault.code.code[:1] if fault.code is not None and fault.code.style == "sae" else ""
    has_words = any(text.strip() for text in fault.texts)
    return letter == "P" or (has_words and (fault.unit == "other" or letter == "C"))


def begins_own_row(line: Line, above: Fault, lines: list[Line]) -> bool:
    """Tell whether a line below a code is a fault of its own, and no more of what the code means.

    It stands as far out as the code, and names another part, or a part and a fault where the
    code's own words name none.
    """
    if _is_labelled(line, above):
        return True
    is_set_in = indent(line) > indent(above.first) or line.cells or line.is_keyed
    if is_set_in or above.code is None or not above.texts or not _WORDY.search(above.texts[0]):
        return False
    own, words = line.words, above.words
    if not heads_of(words) and not has_part(words):
        return stands_alone(own) and _is_list(lines)
    is_other = heads_of(own) - heads_of(words) or own.features & PARTS - words.features - _HALVES
    return has_part(own) and bool(is_other) and _is_list(lines)


def _is_labelled(line: Line, above: Fault) -> bool:
    """``abs: sensor open``: a line begins with the name of another unit than the fault above it.

    Behind a name that nobody knows it may say what the fault above lacks.
    """
    label = line.text.partition(":")[0].strip()
    is_named = bool(line.module) and label.endswith(line.module or "")
    is_other = line.unit == "other" or above.unit == "other"
    is_apart = is_named and line.module != above.first.module
    return is_apart and (is_other or (has_part(above.words) and has_fault(above.words)))


def _is_list(lines: list[Line]) -> bool:
    """Tell whether most codes with words have the next code, or nothing, right below them."""
    told = [ln for ln in lines if ln.role != "blank"]
    rows = [(ln, after) for ln, after in pairwise(told) if ln.codes and _WORDY.search(ln.text)]
    alone = sum(bool(after.codes) for _, after in rows)
    return len(rows) >= _FEW_ROWS - 1 and 2 * alone >= len(rows)
