"""Which unit a name is, and units told on the line of a code itself: in a bracket, a column."""

import re
from functools import lru_cache
from itertools import pairwise

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.joints import one_of
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.phrases import find_claims, find_layout, likeliest
from squibwise.intake.report.language.words import PARTS, has_fault, has_part
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.sheet import Line
from squibwise.intake.report.units.rooms import is_room, tells_own, tells_place
from squibwise.model.report import Unit

_CODE = r"(?=\$?(?:[BCPU][0-9A-F]{4}|(?=[0-9A-F]*\d)[0-9A-F]{4,6})(?![0-9A-Za-z]))"
_NAME = r"(?P<unit>[^\W\d_](?:[^\s:;|\t\[\]]|[ ](?! )){0,30}?)"
UNIT_LABELS = (
    r"modul|system|sistem|steuerg|ecu\b|control unit|unit\b|unidad|gerat|calculateur|boitier|"
    r"centrali|sterownik|uklad|node\b|controller"
)
_LABELLED = re.compile(  # "ECU: PKA; DTC: B1B02"
    rf"\W{{0,4}}(?i:{UNIT_LABELS})[^\W\d_]*\s?:\s*{_NAME}\s*[;|,\t]\s*(?:[^\W\d_]{{2,12}}\s?:?\s*)?{_CODE}"
)
_BLANK = re.compile(rf"(?:\s{{4,}}|\t|\s*\|\s*\|?\s*){_CODE}")  # the name stands further up
_TO_CODE = re.compile(rf"(?<=[\s:]){_CODE}")
_INLINE = pattern(r"(?:^|\t)\W{0,4}([^\W\d][^:\d\t]{2,24}):\s")  # "Brakes: C1044 sensor"
_BETWEEN = pattern(
    r"(?<!\s)\s*(?:;|\|+)\s*|(?<!\s)\s+(?:/+|[+•–])\s+"
)  # what parts the units of a line
_PIECE = pattern(r"\W{0,4}(?P<unit>[^\W\d][^:\d\t]{1,30}):\s*(?P<told>.*\S.*)")
_ANYWHERE = frozenset({"sensor", "switch"})  # parts that every unit has
_AREAS = frozenset({"area", "othermodule"})
_LONGEST_NAME = 60  # characters before a code among which the name of its unit stands
_NAME_WORDS = 4  # of a part of the car and its unit: "tailgate ECU"
_FEW_NAMES = 3  # that show that the lines of a print each name their unit
_PART_NAMES = 0.3  # share of names of parts from which on they are none of units


def name_unit(text: str, lexicon: Lexicon) -> tuple[Unit, bool]:
    """Return which unit a name is, and whether the name alone makes it one."""
    if lexicon.has_name("restraint", flat(text)):
        return "restraint", True
    texts = tuple(t.text for t in tokenise(text))
    means = find_claims(text, lexicon)
    if "othermodule" in means:
        return "other", True
    is_area = "area" in means or any(map(lexicon.is_of_area, texts))
    is_name = is_area and len(texts) <= _NAME_WORDS
    is_sure = is_name and not lexicon.small.computers.isdisjoint(texts)
    return ("other", is_sure) if is_area else ("unknown", False)


def is_all_area(text: str, lexicon: Lexicon) -> bool:
    """Tell whether a text names another part of the car with one word beside it at most.

    ``Lampy przednie``; not so ``Connector under seat``.
    """
    texts = tuple(t.text for t in tokenise(text))
    named: set[int] = set()
    for at, word in enumerate(texts):
        means, length = find_layout(lexicon, texts, at)
        if _AREAS & set(means):
            named.update(range(at, at + length))
        elif lexicon.is_of_area(word):
            named.add(at)
    places = {at for at, word in enumerate(texts) if tells_place(word, lexicon)}
    return bool(named) and len(texts) - len(named | places) <= 1


@lru_cache(maxsize=4)
def _dresses(lexicon: Lexicon) -> tuple[re.Pattern[str], ...]:
    """How a line may name its unit before its code."""
    computers, has = map("|".join, (lexicon.small.computers, lexicon.small.has))
    said = rf"(?:[^\W\d_]{{1,3}}\s)?(?P<unit>[^\W\d_][\w -]{{0,30}}?\s(?:{computers}))\s(?:{has})"
    return (
        re.compile(rf"\s*[\[(]\s?{_NAME}\s?[\])]\s*{_CODE}"),
        re.compile(rf"\W{{0,4}}{_NAME}\s*(?::|\t|\||[.·_]{{3,}}|\s[-/]\s|-?>)\s*{_CODE}"),
        re.compile(rf"\s?\|?\s?{_NAME}\s{{2,}}{_CODE}"),
        re.compile(rf"\s*(?P<unit>[A-Z]{{2,5}})\s{_CODE}"),
        re.compile(rf"(?i:\s*{said})\s{_CODE}"),  # "the roof module has B1B51"
        re.compile(rf"\W{{0,4}}{_CODE}.*(?P<at>\s[\[(]\s?{_NAME}\s?[\])]\s*$)"),  # "(Roof)"
    )


def take_line_units(lines: list[Line], lexicon: Lexicon) -> None:
    """Set the unit of lines that name it before their code, and take the name off the text."""
    for line in lines:
        _take_labelled(line, lexicon)
    for dress in _dresses(lexicon):
        found = [(ln, dress.match(ln.text)) for ln in lines if ln.module is None]
        named = {m["unit"] for _, m in found if m is not None}
        units = _units(named, lexicon) if len(named) >= _FEW_NAMES else {}
        for line, match in found if units else ():
            if match is not None:
                line.module, line.unit = match["unit"], units[match["unit"]]
                start = match.start("at") if "at" in dress.groupindex else 0
                line.text = line.text[:start] + line.text[match.end() :]
    for above, line in pairwise(lines):
        if line.module is None and above.module is not None and _BLANK.match(line.text):
            line.module, line.unit = above.module, above.unit


def _take_labelled(line: Line, lexicon: Lexicon) -> None:
    """``ECU: PKA; DTC: B1B02``: a label says that it is the name of a unit, known or not."""
    found = _LABELLED.match(line.text) if line.module is None else None
    if found is None:
        return
    unit, _ = name_unit(found["unit"], lexicon)
    said = _unit_by_words(found["unit"], lexicon) if unit == "unknown" else unit
    if said is not None:
        line.module, line.unit, line.text = found["unit"], said, line.text[found.end() :]


class _Named(msgspec.Struct, frozen=True):
    """The name of a unit on a line, what to take off there, and which unit it is."""

    name: str
    start: int
    end: int
    unit: Unit


def part_units(line: Line, lexicon: Lexicon) -> list[Line]:
    """Return a line as one line for each unit whose name stands there before codes of its own.

    ``SRS unit: B1410 driver airbag open; also the ABS unit: C0035 left front sensor open``.
    """
    if labelled := _part_labelled(line, lexicon):
        return labelled
    ends = [] if line.cells or line.module else [m.end() for m in _TO_CODE.finditer(line.text)]
    named = [n for end in ends if (n := _named_before(line.text, end, lexicon)) is not None]
    if not {"restraint", "other"} <= {n.unit for n in named}:
        return [line]
    starts = [0, *(n.start for n in named[1:]), len(line.text)]
    return [
        msgspec.structs.replace(
            line,
            text=line.text[start : name.start] + line.text[name.end : end],
            module=name.name,
            unit=name.unit,
        )
        for name, (start, end) in zip(named, pairwise(starts), strict=True)
    ]


def _part_labelled(line: Line, lexicon: Lexicon) -> list[Line]:
    """``SRS: driver airbag open / ABS: left front sensor open``: a line for each unit; or none."""
    if line.cells or line.module or not _BETWEEN.search(line.text):
        return []
    found = [_PIECE.fullmatch(piece) for piece in _BETWEEN.split(line.text)]
    pieces = [(m["unit"].strip(), m["told"]) for m in found if m is not None]
    units = [name_unit(name, lexicon)[0] for name, _ in pieces]
    if len(pieces) < len(found) or not {"restraint", "other"} <= set(units):
        return []
    return [
        msgspec.structs.replace(line, text=told, module=name, unit=unit)
        for (name, told), unit in zip(pieces, units, strict=True)
    ]


@lru_cache(maxsize=4)
def _stop(lexicon: Lexicon) -> re.Pattern[str]:
    """What parts the name of a unit from what is said before it."""
    joining = one_of(lexicon.small.any_and, lexicon.small.accented)
    return re.compile(rf"[.;,]\s|\s(?:[-+•–]|/+)\s|\|+\s?|\(|\s{joining}\s")


def _named_before(text: str, end: int, lexicon: Lexicon) -> _Named | None:
    """The unit named between the last stop and a code; one without a colon must be sure."""
    begin = max(end - _LONGEST_NAME, 0)
    start = max((m.end() for m in _stop(lexicon).finditer(text, begin, end)), default=begin)
    name = text[start:end]
    if not 0 < len(name.split()) <= _NAME_WORDS:
        return None
    is_label = name.rstrip().endswith(":")
    words = words_in(name, lexicon, None)
    if has_part(words) or has_fault(words):
        return None
    unit, is_sure = name_unit(name, lexicon)
    if not (is_sure or is_label):
        return None
    is_part = words.features == {"bag"}  # "Airbag: B1410 driver open" names the part as well
    return _Named(name.strip(" :"), start, start if is_part else end, unit)


def _units(names: set[str], lexicon: Lexicon) -> dict[str, Unit]:
    """The units of names; empty unless some are restraint and others, few of them parts."""
    language = likeliest(lexicon, names)
    parts = sum(has_part(words_in(name, lexicon, language)) for name in names)
    named = {name: name_unit(name, lexicon) for name in names}
    is_one = ("restraint", True) not in named.values() or not any(
        unit == "other" and not is_room(name, lexicon) for name, (unit, _) in named.items()
    )
    if is_one or parts > _PART_NAMES * len(names):
        return {}
    return {name: unit for name, (unit, _) in named.items()}


def has_label(text: str) -> bool:
    """Tell whether a label stands in a text, at its beginning or that of a cell."""
    return _INLINE.search(text) is not None


def unit_of_label(line: Line, lexicon: Lexicon, *, is_whole: bool) -> tuple[str, Unit] | None:
    """The unit that the label before a code names, and the label; None where it names none.

    ``Brakes: C1044 sensor unplugged``; not so ``Present: C1044``. A bag, a belt or a crash sensor
    behind a part of the car is at that place; a sensor behind a name that nobody knows is of a
    unit that nobody knows. In a report of several units (``is_whole``) a sensor behind a part of
    the car is another's.
    """
    is_told = line.codes or (line.role == "words" and has_fault(line.words))
    found = _INLINE.search(line.text) if is_told else None
    if found is None:
        return None
    label = found[1].strip()
    unit, is_sure = name_unit(label, lexicon)
    if not line.codes:
        is_strange = lexicon.known.isdisjoint(t.text for t in tokenise(label))
        is_strange = is_strange and unit == "unknown" and not has_part(line.words)
        return (label, unit) if is_strange or (unit == "other" and is_sure) else None
    if unit == "restraint":
        return (label, unit) if is_sure else None
    parts = PARTS - _ANYWHERE if is_whole or unit == "unknown" else PARTS
    is_free = unit == "unknown" or is_room(label, lexicon)
    is_there = is_free and "foreign" not in line.words.features and line.words.features & parts
    if not is_sure and (is_there or tells_own(line, lexicon) or _is_part(label, line, lexicon)):
        return None
    if unit == "unknown":
        code = line.codes[0]
        is_told = has_part(line.words) and code.style != "flash" and code.start <= found.end()
        named = _unit_by_words(label, lexicon) if is_told else None
        return (label, named) if named else None
    return label, unit


def _is_part(label: str, line: Line, lexicon: Lexicon) -> bool:
    """``Door pressure sensor left: no signal (B1A26)``: the label is the part itself."""
    words = words_in(label, lexicon, language_of(line, lexicon, None))
    return has_part(words) and "foreign" not in words.features


def _unit_by_words(name: str, lexicon: Lexicon) -> Unit | None:
    """``Horn`` is of another unit, ``Zorvex`` may be of any; None for words of something else."""
    said = [words_in(name, lexicon, language) for language in lexicon.words]
    if any("foreign" in words.features for words in said):
        return "other"
    small = lexicon.small
    says_more = any(w.is_placed or not w.says_nothing for w in said)
    says_more = says_more or bool(find_claims(name, lexicon))
    says_more = says_more or not (small.finding | small.state_labels).isdisjoint(flat(name).split())
    return None if says_more else "unknown"
