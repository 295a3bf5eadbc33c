"""A report that says only that the restraint unit did not answer: nothing was read of it."""

from squibwise.intake.report.sheet import Line, Sheet
from squibwise.model.origin import Origin
from squibwise.model.report import CodeLine

_UNIT = frozenset({"unit", "airbagmodule", "system", "bag"})
_SAID_BESIDE = frozenset({"skip", "defect", "same"})


def find_silence(sheet: Sheet, told: list[CodeLine]) -> tuple[Origin, ...]:
    """Return where a report says so; nothing where the unit told a code, for then it answered.

    ``No communication with airbag control unit``: no igniter and no place is named beside it.
    ``15 Airbag - no communication``: the number is that of the unit. ``U0151 lost communication
    with the restraints module``: another unit misses it, and nothing else was read of it.
    """
    own = [ln for ln in told if ln.unit == "restraint" and not _misses_the_unit(ln)]
    if any(ln.code for ln in own):
        return ()
    missed = [ln for ln in told if _misses_the_unit(ln) and not _is_past(ln)]
    if own or any(ln.is_whole or _is_clean(ln) for ln in sheet.lines):
        missed = [ln for ln in missed if _has_units_number(ln)]
    faults = {f.first.number for f in sheet.faults} - {ln.line for ln in missed}
    said = [ln for ln in sheet.lines if ln.number not in faults and not ln.codes]
    found = [(ln.number, ln.raw) for ln in said if _is_silence(ln)]
    found += [(ln.line, ln.raw) for ln in missed]
    return tuple(Origin(file=sheet.name, line=at, raw=raw) for at, raw in sorted(found))


def _misses_the_unit(line: CodeLine) -> bool:
    """Return whether a line says that the unit does not answer, whoever says so."""
    return line.kind == "control-unit" and line.fault == "communication"


def _is_past(line: CodeLine) -> bool:
    """Return whether it was missed once, and may answer now."""
    return not line.present or not {"present"}.issuperset(line.status)


def _has_units_number(line: CodeLine) -> bool:
    """Return whether a line of a list of units has the unit's number in place of a code."""
    return not any(c.isalpha() for c in line.code or "")


def _is_clean(line: Line) -> bool:
    return line.role == "clean" and line.unit == "restraint"


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
