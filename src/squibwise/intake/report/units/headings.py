"""How headings stand in a report, and what those that name no unit say of the lines below them."""

import re

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.features import NO, YES
from squibwise.intake.report.language.words import (
    FAULT_WORDS,
    FAULTS,
    HEADS,
    KERB,
    OWN_PARTS,
    PARTS,
    Words,
    has_fault,
    has_part,
    opposite,
    stands_alone,
)
from squibwise.intake.report.sheet import Line

DECORATED = pattern(
    r"^\s*(?:={2,}|-{2,}|#{1,6}|\*{2,}|~{2,}|_{2,}|\+{2,}|:{2,}|<{1,3}|\[(?![xX ]?\])|\|)"
    r"[\s(]*(?=[^\W_])"
    r"|[^\W_].*\s(?:={3,}|-{3,}|\*{3,}|~{3,}|_{3,})\s*$"
)
_LABEL = pattern(r"(?i)^(?:module|system|ecu|steuergerät|système|sistema)\s?:\s?")
_MEMORY = pattern(r"(?i)[\s,-]*\b(?:dtc list|fault memory|dtcs?|fault codes?|fehlerspeicher)$")
_ADDRESS = pattern(
    r"^\s*(?:\[\s?(?:0x)?[0-9A-Fa-f]{1,4}h?\s?\]|(?i:address|adresse|adr|addr|ecu|node)\.?\s?:?\s?"
    r"(?=\w*\d)(?:0x)?[0-9A-Fa-f]{1,4}\b|0x[0-9A-Fa-f]{1,3}\s)\s*(?:->|[:.-]{0,3})\s*(?=[^\W\d]|\()"
)
_NUMBERED_UNIT = pattern(  # "Adr 58      7 faults", "ECU 0715:"
    r"(?i)^\s*(?:address|adresse|adr|addr|ecu|node|modul|module|knoten|nodo|direcci[oó]n|indirizzo|"
    r"endere[cç]o|adres)\.?\s?:?\s?(?:0x)?(?=\w*\d)[0-9A-F]{1,4}h?\s*"
    r"(?:$|[:=]\s*(?:\d{1,3})?\s*$|[:,(-]?\s*\d{1,3}\s+[^\W\d_]+\W*(?:[^\W\d_]+\W*)?$)"
)
_VOLTS = pattern(r"\d[.,]\d+\s?[vV]\b")
_NEXT_LINES = 6  # within which the first code stands below its heading
RIGHT_BELOW = 2  # within which a code stands below words that lead up to it
MOST_WORDS = 7  # of a heading
_LONGEST_LEAD = 14  # words of a line that leads up to codes
_GROUP_WORDS = 4  # of a heading that says no more than a side, a seat or a status
_NAME_LIKE = frozenset(  # faults whose words names of units hold too: memory, block, box
    "internal mechanical defect performance ground range resistance".split()
)
_SIDE_WORDS = frozenset("skip side byside seatbag otherside pillar".split()) | KERB
_OF_UNITS = frozenset("airbagmodule unit system".split())
_IN_SEATS = frozenset("sensor switch seatposition occupant lap".split())  # parts of other units too


def find_groups(lines: list[Line]) -> None:
    """Set headings of a side, a seat, a status or a part; one of them precedes the first fault.

    A side or a seat that stands alone before a colon is a heading wherever it stands.
    """
    is_coded = any(ln.codes for ln in lines)
    first = next((i for i, ln in enumerate(lines) if ln.codes or _is_told(ln, is_coded)), None)
    if first is None:
        return
    grouped = {_is_of_status(ln) for ln in lines[:first] if is_group(ln)}
    grouped |= {False} if sum(_sorts_by_side(lines, at) for at in range(len(lines))) > 1 else set()
    for at, line in enumerate(lines):
        is_alike = _is_of_status(line) in grouped or heads_place(lines, at)
        is_alike = is_alike or _turns_status(lines, at)
        if is_alike and is_group(line):
            is_none = line.words.voices - {"gone", "past"}
            line.role, line.group = "group", Words() if is_none else line.words
        elif _heads_codes(lines, at) or _heads_sides(lines, at) or _heads_fault(lines, at):
            line.role, line.group = "group", line.words


def _is_told(line: Line, is_coded: bool) -> bool:
    """Tell whether a line of a report without codes tells of a fault."""
    return not is_coded and line.role == "words" and stands_alone(line.words)


def heads_place(lines: list[Line], at: int) -> bool:
    """``Passenger side:``: a place and a colon, above a fault that tells no place of that kind."""
    return lines[at].text.rstrip().endswith(":") and _heads_free(lines, at)


def _sorts_by_side(lines: list[Line], at: int) -> bool:
    """``NEARSIDE`` apart from what stands above it, or below what has a side of its own."""
    line, before = lines[at], lines[at - 1] if at else None
    is_apart = (
        before is None
        or before.role == "blank"
        or before.number < line.number - 1
        or before.words.is_sided
        or line.text.isupper()
    )
    is_side = is_group(line) and line.words.is_sided and not line.words.statuses
    return is_side and is_apart and _heads_free(lines, at)


def _heads_free(lines: list[Line], at: int) -> bool:
    """Tell whether a line stands above a fault that tells no place of the kind that it tells."""
    line, after = lines[at], next_below(lines, at, RIGHT_BELOW)
    if after is None or line.words.statuses:
        return False
    one, two = line.words, after.words
    is_free = not (one.is_sided and two.is_sided)
    is_free = is_free and not (one.ends | one.rows and two.ends | two.rows)
    return is_free and bool(after.codes or stands_alone(two)) and not after.is_module


def _turns_status(lines: list[Line], at: int) -> bool:
    """``History`` below a code that is current and above one without a status."""
    line, before, after = lines[at], lines[at - 1] if at else None, next_below(lines, at, 1)
    if before is None or after is None or not (before.codes and after.codes):
        return False
    told = set(line.words.statuses)
    is_new = bool(told) and bool(before.words.statuses) and not told & set(before.words.statuses)
    return is_new and _is_of_status(line) and not after.words.statuses and not line.is_keyed


def heads_seats(lines: list[Line], at: int) -> bool:
    """``Rear seats`` above a belt or a bag: a place of restraints, and no unit of the seats."""
    line, after = lines[at], next_below(lines, at, RIGHT_BELOW)
    if after is None or line.words.features - _SIDE_WORDS or not line.words.is_placed:
        return False
    own = after.words.features & ((PARTS - _IN_SEATS) | {"bag"})
    return bool(own) and "foreign" not in after.words.features


def _is_of_status(line: Line) -> bool:
    """Tell whether a heading says a status, and no place."""
    return bool(line.words.statuses) and not (line.words.seats or line.words.sides)


def _heads_codes(lines: list[Line], at: int) -> bool:
    """Tell whether a line names a part, or a time, of the bare codes that stand right below it."""
    line = lines[at]
    is_row = line.codes or line.cells or line.role == "blank" or line.is_module
    if is_row or line.unit != "unknown" or len(line.tokens) > _LONGEST_LEAD:
        return False
    before = lines[at - 1] if at else line
    after = next_below(lines, at, RIGHT_BELOW)
    if after is None or not after.codes or line.words.features & FAULTS:
        is_last = before.codes and indent(line) < indent(before)
        return bool(is_last) and has_part(line.words) and reads_as_name(line)
    is_bare = not has_part(after.words) and "bag" not in after.words.features
    if _is_abbreviation(line) and has_part(line.words):
        return is_bare or bool(line.words.features & after.words.features & PARTS)
    leads = line.text.rstrip().endswith(":") or indent(line) < indent(after)
    leads = leads or _sorts_by_status(line, before, after)
    is_told = line.known_share == 1.0 and len(line.tokens) <= MOST_WORDS  # no sentence of a story
    voices = line.words.voices & {"past", "gone", "exists"} if is_told else set()
    is_lead = leads and bool(line.words.statuses or voices)
    is_name = has_part(line.words) and reads_as_name(line)
    return is_lead or (is_bare and is_name and (leads or _is_above_codes(lines, at)))


def _is_above_codes(lines: list[Line], at: int) -> bool:
    """``Driver bag`` above a code: the first part below no code, the next alike, none below all."""
    line, before = lines[at], lines[at - 1] if at else None
    if not (line.words.is_placed and line.words.features & HEADS):
        return False
    last = next(n for n in range(len(lines) - 1, at, -1) if lines[n].codes)
    if next_below(lines, last, 1) is not None:
        return False
    is_first = before is None or not before.codes
    is_next = any(ln.role == "group" and has_part(ln.words) for ln in lines[:at])
    return is_first or is_next


def _heads_sides(lines: list[Line], at: int) -> bool:
    """``Curtains`` above ``B1A20 left open``: the first such name below no code, the next alike."""
    line, before, after = lines[at], lines[at - 1] if at else None, next_below(lines, at, 1)
    if line.codes or line.cells or after is None or not (after.codes and after.words.is_sided):
        return False
    names = line.words.features & OWN_PARTS and not has_fault(line.words)
    if not (names and reads_as_name(line)) or line.words.voices or line.words.statuses:
        return False
    is_first = before is None or not before.codes or bool(before.words.features & HEADS)
    is_next = (
        before is not None
        and before.words.is_sided
        and any(ln.role == "group" and ln.words.features & HEADS for ln in lines[:at])
    )
    return (is_first or is_next) and not after.words.features & (HEADS | {"bag"})


def heads_part(lines: list[Line], at: int) -> bool:
    """``Driver pretensioner`` above ``B1A20 open``: a part at its place, and no unit."""
    line, after = lines[at], next_below(lines, at, 1)
    if after is None or not after.codes or line.words.features & _OF_UNITS:
        return False
    is_part = line.words.is_placed and line.words.features & (HEADS - _IN_SEATS)
    return bool(is_part and has_fault(after.words)) and not after.words.features & HEADS


def _heads_fault(lines: list[Line], at: int) -> bool:
    """``Open circuit:`` above ``B1A20 left curtain``: the first below no code, the next alike."""
    line, before, after = lines[at], lines[at - 1] if at else None, next_below(lines, at, 1)
    if line.codes or line.cells or after is None or not (after.codes and after.words.features):
        return False
    told = line.words.features - {"skip", "defect"}
    is_fault = told and told <= FAULT_WORDS and not (line.words.is_placed or line.words.voices)
    leads = line.text.rstrip().endswith(":") or indent(line) < indent(after)
    is_first = before is None or not any(ln.codes for ln in lines[:at])
    is_next = any(ln.group and ln.group.features & FAULTS for ln in lines[:at])
    return bool(is_fault and leads and (is_first or is_next)) and not has_fault(after.words)


def _is_abbreviation(line: Line) -> bool:
    """``OCU``: one word in capitals, the name of a unit above its codes."""
    return len(line.tokens) == 1 and line.text.strip(" :-=*[]").isupper()


def is_unknown_sign(line: Line) -> bool:
    """Tell whether a line is an abbreviation that means nothing here, such as ``MSX``."""
    return _is_abbreviation(line) and line.known_share == 0.0


def _sorts_by_status(line: Line, before: Line, after: Line) -> bool:
    """``memory list <<< current >>>``: a few words above codes that tell no status themselves."""
    if line.is_keyed or has_part(line.words) or after.words.statuses:
        return False
    is_apart = before is line or before.role == "blank" or before.number < line.number - 1
    is_named = bool(line.words.features & _OF_UNITS)
    return len(line.tokens) <= MOST_WORDS and (is_apart or is_named)


def begins_block(lines: list[Line], at: int) -> bool:
    """Tell whether a line heads another block of indented codes."""
    line = lines[at]
    after = lines[at + 1] if at + 1 < len(lines) else line
    before = lines[at - 1] if at else line
    is_out = not line.codes and line.role not in ("blank", "words") and before.codes
    return bool(is_out and after.codes and indent(line) < indent(after))


def is_group(line: Line) -> bool:
    """Tell whether a line says no more than a side, a seat, a row or a status, or none of them."""
    words = line.words
    most = MOST_WORDS if DECORATED.match(line.text) else _GROUP_WORDS
    if line.codes or line.cells or len(line.tokens) > most or words.features - _SIDE_WORDS:
        return False
    is_none = denies_side(line)
    is_past = DECORATED.match(line.text) and words.voices & {"gone", "past"}
    is_status = bool(words.statuses) and "locked" not in words.statuses  # "unit locked"
    is_status = is_status and not (line.is_keyed and line.tokens[-1].text in YES | NO)
    is_facing = words.features == {"otherside"}
    told = words.is_placed or words.is_sided or is_status or is_none or is_past or is_facing
    strange = round((1.0 - line.known_share) * len(line.tokens))
    is_label = line.text.rstrip().endswith(":") and (words.is_placed or words.is_sided)
    return strange <= int(is_label and len(line.tokens) > 1) and bool(told)  # "Plazas traseras:"


def denies_side(line: Line) -> bool:
    """``No side``: a heading of what has none."""
    return "not" in line.words.voices and bool(line.words.features & _SIDE_WORDS)


def facing(group: Words | None, before: Words | None) -> Words | None:
    """``Opposite side:`` below what a heading of one side headed."""
    if group is None or before is None or "otherside" not in group.features:
        return group
    return opposite(before) if before.is_sided else group


def ends_group(lines: list[Line], at: int, group: Words) -> bool:
    """``Other things:`` and ``NOT ASSIGNED`` end what a heading said, as another part does.

    Any heading ends ``Cleared codes``.
    """
    line = lines[at]
    if ("cleared" in group.statuses or group.voices & {"gone", "past"}) and heads_next(lines, at):
        return True
    is_other = group.features & (HEADS - {"pillar"}) and line.codes and line.words.features & HEADS
    text = line.text.strip()
    is_title = text.endswith(":") or (text.isupper() and len(line.tokens) < _GROUP_WORDS)
    is_end = line.role in ("unread", "aside") and is_title and not line.codes
    return is_end or bool(is_other and not line.words.features & group.features & HEADS)


def heads_next(lines: list[Line], at: int) -> bool:
    """``What is left:``, ``customer's car`` below a whole coded line and above another one."""
    line, after = lines[at], next_below(lines, at, RIGHT_BELOW)
    before = next((ln for ln in lines[at - 1 :: -1] if at and ln.codes), None)
    if line.codes or line.cells or line.words.statuses or not line.tokens:
        return False
    if before is None or after is None or not after.codes:
        return False
    is_name = stands_alone(before.words) and reads_as_name(line) and not line.is_keyed
    is_title = line.text.rstrip().endswith(":") or is_name
    is_same = line.words.voices & {"gone", "past", "not"}
    return is_title and indent(line) <= indent(before) and not is_same


def next_below(lines: list[Line], at: int, reach: int) -> Line | None:
    """Return the first line with text among the next few; None where there is none."""
    return next((ln for ln in lines[at + 1 : at + 1 + reach] if ln.role != "blank"), None)


def reads_as_name(line: Line) -> bool:
    """Tell whether a line is a few words that tell of no fault, status or measure."""
    if len(line.tokens) > MOST_WORDS or line.text.rstrip()[-1:] in ".,;?!" or ">" in line.text:
        return False
    if line.role in ("header", "meta") or _VOLTS.search(line.text):
        return False
    if "," in line.text and line.words.voices:
        return False  # "works, the cruise too"
    is_status = line.words.statuses and not line.words.features and len(line.tokens) == 1
    faults = line.words.features & FAULTS
    if line.count is not None:
        return True  # "Gateway: 2 faults"
    is_fault = bool(faults - _NAME_LIKE) or bool(faults and len(line.tokens) > _GROUP_WORDS)
    return not (is_status or is_fault or denies_side(line))


def indent(line: Line) -> int:
    """Return how many blanks a line begins with."""
    return len(line.text) - len(line.text.lstrip())


def is_bare_heading(lines: list[Line], at: int) -> bool:
    """Tell whether a line stands as a heading does: short, alone, out of the column of codes."""
    line = lines[at]
    if line.codes or line.role in ("blank", "group") or line.cells:
        return False
    if is_addressed(line):
        return True
    if heads_seats(lines, at):
        return False
    below = lines[at + 1 : at + 1 + _NEXT_LINES]
    after = next((ln for ln in below if ln.role not in ("blank", "meta")), None)
    if after is None or not (after.codes or after.is_module or after.role == "clean"):
        return False
    is_marked = line.text.lstrip()[:1] in "(>*-" and not DECORATED.match(line.text)
    if is_marked and not (after.codes and indent(line) < indent(after)):
        return False
    before = lines[at - 1] if at else None
    is_apart = before is None or before.role == "blank" or before.number < line.number - 1
    is_foreign = bool(before and "foreign" in line.words.features and has_fault(before.words))
    is_apart = is_apart or bool(before and before.codes and (is_foreign or is_unknown_sign(line)))
    stands_out = is_apart or line.text.isupper() or indent(line) < indent(after)
    stands_out = stands_out or bool(DECORATED.search(line.text))
    stands_out = stands_out or bool(before and before.cells and after.cells)
    return stands_out and reads_as_name(line)


def is_addressed(line: Line) -> bool:
    """Tell whether a line begins with the address of a unit, or is nothing but that."""
    return bool(_ADDRESS.match(line.text) or _NUMBERED_UNIT.match(line.text))


def heading_name(line: Line) -> str:
    """Return a module's name without label, address, count and what stands in later columns."""
    text = _ADDRESS.sub("", line.text)
    first = re.split(r" {2}|\t|\s->\s", text.strip(" \t[]-=*#"))[0]
    bare = _LABEL.sub("", first)
    bare = re.split(r"\s*::\s*\d|\s\.{3,}", bare)[0]
    count = "" if line.count is None else rf"[:\-–]?\s*\b{line.count}\s+\w+.*$|"
    name = re.sub(rf"{count}[:=\-–\s]+$", "", bare)
    name = _MEMORY.sub("", name.strip(" (,;-"))
    return name.strip(" (,;-") or bare.strip() or text.strip()
