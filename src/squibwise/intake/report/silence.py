"""A report that says only that the restraint unit did not answer: nothing was read of it."""

from squibwise.intake.report.sheet import Line, Sheet
from squibwise.model.origin import Origin
from squibwise.model.report import CodeLine

_UNIT = frozenset({"unit", "airbagmodule", "system", "bag"})
_SAID_BESIDE = frozenset({"skip", "defect", "same"})


def find_silence(sheet: Sheet, told: list[CodeLine]) -> tuple[Origin, ...]:
    """Return where a report says so; nothing where the unit told a code, for then it answered.

    ``No communication with airbag control unit``: no igniter and no place is named beside it.
    ``15 Airbag - no communication``: the number is that of the unit.

    Args:
        sheet: The report.
        told: Its faults.
    """
    listed = [ln for ln in told if _is_listed_silent(ln)]
    if any(ln.unit == "restraint" and ln.code for ln in told if ln not in listed):
        return ()
    faults = {f.first.number for f in sheet.faults} - {ln.line for ln in listed}
    said = [ln for ln in sheet.lines if ln.number not in faults and not ln.codes]
    found = [(ln.number, ln.raw) for ln in said if _is_silence(ln)]
    found += [(ln.line, ln.raw) for ln in listed]
    return tuple(Origin(file=sheet.name, line=at, raw=raw) for at, raw in sorted(found))


def _is_listed_silent(line: CodeLine) -> bool:
    """Return whether a line of a list of units has the unit's number, and that it is silent."""
    has_code = any(c.isalpha() for c in line.code or "")
    is_of_unit = line.kind == "control-unit" and line.fault == "communication"
    return is_of_unit and line.present and not has_code


def _is_silence(line: Line) -> bool:
    words = line.words
    named = words.features & _UNIT
    is_under_it = line.unit == "restraint" and line.module is not None
    return (
        "communication" in words.features
        and words.features <= _UNIT | _SAID_BESIDE | {"communication"}
        and bool(named or is_under_it)
        and not (
            words.seats
            or words.sides
            or words.voices
            or set(words.statuses) - {"present"}
            or "?" in line.text
        )
    )
