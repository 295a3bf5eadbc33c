"""What a report tells more than once: one fault on two lines or again, and a code that is gone."""

import msgspec

from squibwise.intake.report.candidates import rank
from squibwise.intake.report.language.words import add_status
from squibwise.intake.report.sheet import Fault
from squibwise.model.report import CodeLine

_MOST_REPEATS = 20


def join_either(faults: list[Fault]) -> list[Fault]:
    """``Driver airbag or left curtain open``: one fault, of either part."""
    found: list[Fault] = []
    for fault in faults:
        last = found[-1] if found and fault.first.is_either else None
        if last and last.first.is_either and last.first.number == fault.first.number:
            last.candidates = rank([*last.candidates, *fault.candidates])
            last.words.seats |= fault.words.seats
            last.words.sides |= fault.words.sides
        else:
            found.append(fault)
    return found


def once_a_line(faults: list[Fault]) -> list[Fault]:
    """``Crash data stored, unit locked``: what two clauses of a line say of one fault is one."""
    found: list[Fault] = []
    for fault in faults:
        last = found[-1] if found else None
        if last is None or fault.code or last.code or _said_of(last) != _said_of(fault):
            found.append(fault)
        else:
            for status in fault.words.statuses:
                add_status(last.words, status)
    return found


def _said_of(fault: Fault) -> tuple[object, ...]:
    part, words = fault.part, fault.words
    told = words.stages, words.numbers, None if part else (words.seats, words.sides)
    return fault.first.number, part and (part.component, part.kind), fault.meant, told


NamedCode = tuple[str, str | None]


def name_code(line: CodeLine) -> NamedCode:
    """Return the code of a line, and whose it is if not ours: units use the same numbers."""
    unknown = (line.module or "") if line.unit == "unknown" else ""
    return ("other" if line.unit == "other" else unknown), line.code


def without_gone(
    read: list[CodeLine],
    ended: set[NamedCode],
    once: set[NamedCode],
) -> list[CodeLine]:
    """A code that is told to be gone is so wherever the report lists it, in its own unit.

    What a story tells, which may be of another car, ends it only in what the story quotes.
    """
    bare = {name_code(x) for x in read if x.code and not (x.present or x.status)}
    quoted, plain = bare & once, bare & ended
    return [
        msgspec.structs.replace(x, present=False)
        if x.present and name_code(x) in (quoted if x.raw.lstrip()[:1] == ">" else plain)
        else x
        for x in read
    ]


def with_repeats(read: list[CodeLine]) -> list[CodeLine]:
    """Point each line at the earlier ones that tell of the same fault; at most a few of them.

    One that is there now repeats none that is gone or past: it came back.
    """
    seen: dict[tuple[object, ...], list[tuple[int, bool]]] = {}
    found = []
    for line in read:
        keys = _sameness(line)
        before = dict.fromkeys(one for key in keys for one in seen.get(key, ()))
        same = [number for number, is_there in before if is_there or not line.present]
        found.append(msgspec.structs.replace(line, repeats=tuple(same)[:_MOST_REPEATS]))
        if line.is_doubtful:
            continue  # a line that is sure of the same fault counts
        for key in (*keys, (line.code,), (line.code, line.kind)) if line.code else keys:
            if (line.line, line.present) not in seen.setdefault(key, []):
                seen[key].append((line.line, line.present))
            del seen[key][_MOST_REPEATS:]
    return found


def _sameness(line: CodeLine) -> list[tuple[object, ...]]:
    """What two lines of one fault have in common: code and reading, or part, stage and fault."""
    keys: list[tuple[object, ...]] = []
    if line.code is not None and line.kind in (None, "wiring") and line.fault == "unknown":
        keys.append((line.code,))  # only its number, once more, or what was done to its plug
    elif line.code is not None and line.component is None and line.fault == "unknown":
        keys.append((line.code, line.kind))  # its number and its part, as on a bill
    elif line.code is not None:
        keys.append((line.code, line.failure_type, line.module, line.component, line.fault))
    if line.component is not None and line.fault not in ("unknown", "event-recorded"):
        keys.append((line.component, line.stage, line.fault))
    return keys
