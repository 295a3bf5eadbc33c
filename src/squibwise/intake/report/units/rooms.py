"""Headings that name a place in the car and no unit: the restraint unit's faults, sorted by it."""

from itertools import islice, pairwise

from msgspec.structs import replace

from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.words import HEADS, PARTS, Words, has_fault
from squibwise.intake.report.sheet import Line
from squibwise.intake.report.units.headings import RIGHT_BELOW, heading_name, is_group, next_below

_IN_SEATS = frozenset(
    "seatposition occupant lap offswitch buckle".split()
)  # seats of others have them too
_ANYWHERE = frozenset({"sensor", "switch"})  # every unit has some
_PLACED = frozenset("seat side end row nth".split())
_SORTED = HEADS | {"belt", "switch"}  # parts by which faults may be sorted
_FEW = 2  # headings above
_DRESS = " \t:=-*#[]_"
_OF_CRASHES = frozenset({"impact", "crashrecord", "pillar"})


def is_room(name: str, lexicon: Lexicon) -> bool:
    """Tell whether a heading is the name of a place of restraints, with its side at most.

    ``Roof``, ``Rear seats``, ``B pillar left``; not so ``Sunroof`` or ``Seat memory``.
    """
    words = [t.text for t in tokenise(name) if len(t.text) > 1 and not t.text[0].isdecimal()]
    told = [w for w in words if not tells_place(w, lexicon)]
    return not lexicon.small.rooms.isdisjoint({" ".join(words), " ".join(told)})


def tells_place(word: str, lexicon: Lexicon) -> bool:
    """Tell whether a word alone is a side, a seat, an end or a row, in any language."""
    return any(m.partition(":")[0] in _PLACED for m in lexicon.first_meanings(word))


def head_sorted(lines: list[Line], at: int, lexicon: Lexicon) -> None:
    """Set ``Other`` or ``Module`` below headings of sides, places, parts or statuses as one.

    What stands below it is on no side, or of the unit itself.
    """
    line, name = lines[at], flat(lines[at].text).strip(_DRESS)
    is_rest = name in lexicon.small.unsorted
    if line.codes or not (is_rest or name in lexicon.small.computers):
        return
    above = (ln for ln in lines[at - 1 :: -1] if at and not ln.codes and ln.role != "blank")
    if any(_sorts(ln, lexicon) for ln in islice(above, _FEW)):
        line.words = Words(features=set() if is_rest else {"unit"})
        line.role, line.group, line.is_module = "group", line.words, False


def _sorts(line: Line, lexicon: Lexicon) -> bool:
    """Tell whether a heading names a side, a status, a place of restraints or parts of them."""
    if line.role == "group" or is_group(line) or is_room(heading_name(line), lexicon):
        return True
    is_parts = bool(line.words.features & _SORTED) and line.known_share == 1.0
    return is_parts and not (line.is_module and lexicon.has_name("restraint", flat(line.text)))


def keep_rooms(lines: list[Line], lexicon: Lexicon, *, is_usual: bool) -> None:
    """Give the restraint unit the faults of its own parts below a place in the car.

    What other units may say as well, such as ``door sensor open``, stays with the place; parts
    of seats are the restraint unit's below a place that one of its own faults stands below.

    Args:
        lines: With their units.
        lexicon: For the names of places.
        is_usual: A report that names no unit is one of the restraint unit.
    """
    rooms = {at for at, ln in enumerate(lines) if _heads_room(lines, at, lexicon)}
    others = {at for at, ln in enumerate(lines) if ln.is_module and ln.unit == "other"} - rooms
    is_only = len(others) <= 1  # "Body" below rows of seats, and no other system
    others = {at for at in others if not lines[at].is_alike}
    rooms |= others if is_only and any(at < min(others, default=0) for at in rooms) else set()
    is_ours = is_usual and rooms.issuperset(at for at, ln in enumerate(lines) if ln.is_module)
    starts = sorted(rooms | {at for at, ln in enumerate(lines) if ln.is_module})
    for start, end in pairwise((*starts, len(lines))) if rooms else ():
        if start not in rooms:
            is_ours = lines[start].unit == "restraint"
        elif is_ours:
            _keep(lines[start], lines[start + 1 : end], lexicon, is_only=is_only)


def _heads_room(lines: list[Line], at: int, lexicon: Lexicon) -> bool:
    """Tell whether a line is the name of a place, above lines that may tell what is there."""
    line, after = lines[at], next_below(lines, at, RIGHT_BELOW)
    if line.role == "group":
        return line.words.is_placed and not line.words.statuses
    if line.codes or line.cells or not is_room(heading_name(line), lexicon):
        return False
    if line.is_alike:
        return False
    before = next((ln for ln in lines[at - 1 :: -1] if at and ln.role != "blank"), None)
    is_free = before is None or before.role != "code" or has_fault(before.words)
    is_named = line.role in ("unread", "words", "heading") and line.text.lstrip()[:1].isupper()
    return line.is_module or (is_named and is_free and after is not None)


def _keep(room: Line, block: list[Line], lexicon: Lexicon, *, is_only: bool) -> None:
    """Set the unit of the lines below a place, and what the place says of them.

    The control unit is the restraint unit where no other one is named.
    """
    own = [ln for ln in block if tells_own(ln, lexicon)]
    own += [ln for ln in block if is_only and "unit" in ln.words.features and not _is_foreign(ln)]
    if not own:
        return
    own += [ln for ln in block if ln.words.features & _IN_SEATS and not _is_foreign(ln)]
    is_group = room.role == "group"  # its lines have what it says
    room.role = room.role if room.is_module else "group"
    for line in own:
        if is_group:
            line.unit = "restraint"
            continue
        said = line.group.statuses if line.group else []
        line.unit, line.group = "restraint", replace(room.words, features=set(), statuses=said)


def tells_own(line: Line, lexicon: Lexicon) -> bool:
    """Tell whether a line names a bag, a belt or a crash sensor, and nothing of another system."""
    told = line.words.features
    if _is_foreign(line) or told >= {"bag", "lamp"}:
        return False
    is_sensor = "sensor" in told and any(_is_of_crashes(t.text, lexicon) for t in line.tokens)
    is_buckle = "buckle" in told and lexicon.has_name("restraint", flat(line.text))
    return is_sensor or is_buckle or bool(told & (PARTS - _IN_SEATS - _ANYWHERE | {"bag"}))


def is_at_room(line: Line, name: str, lexicon: Lexicon) -> bool:
    """Tell whether a line tells of a bag, a belt or a crash sensor at a place of that name."""
    return tells_own(line, lexicon) and is_room(name, lexicon)


def _is_of_crashes(word: str, lexicon: Lexicon) -> bool:
    """``crash``, ``Aufprallsensor``; not so ``Türsensor``."""
    means = {m for told in lexicon.open(word).phrases.get((word,), {}).values() for m in told}
    return not means.isdisjoint(_OF_CRASHES) and "door" not in means


def _is_foreign(line: Line) -> bool:
    is_other = any(c.style == "sae" and c.code[:1] in "PU" for c in line.codes)
    return is_other or "foreign" in line.words.features
