"""Which unit of the car each line of a report comes from, and what headings say of many lines."""

from collections import Counter
from itertools import islice, pairwise, takewhile

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.features import read_words
from squibwise.intake.report.language.lexicon import Lexicon, Token, flat, tokenise
from squibwise.intake.report.language.phrases import find_hits, find_layout
from squibwise.intake.report.language.words import FAULTS, PARTS, Words, has_fault, has_part
from squibwise.intake.report.sheet import Line
from squibwise.intake.report.units.forms import forms_of, names_another
from squibwise.intake.report.units.headings import (
    DECORATED,
    MOST_WORDS,
    RIGHT_BELOW,
    begins_block,
    denies_side,
    ends_group,
    facing,
    find_groups,
    heading_name,
    heads_part,
    heads_seats,
    indent,
    is_addressed,
    is_bare_heading,
    is_unknown_sign,
    next_below,
    reads_as_name,
)
from squibwise.intake.report.units.line_units import (
    has_label,
    is_all_area,
    name_unit,
    unit_of_label,
)
from squibwise.intake.report.units.rooms import head_sorted, is_at_room, keep_rooms
from squibwise.model.report import Unit

_OTHERS = pattern(
    r"\W*(?:other|andere|weitere|autres|otr[ao]s|altr[ei]|outr[ao]s|inne|pozostale|overige)\s"
    r"(?:modul|unit|ecu|system|sistem|steuerg|calc|centra|unidad|sterownik|uklad|(?P<faults>cod|kod|"
    r"fault|fehler|defaut|averia|guast|error|falha|avaria|usterk|storing))\w*\.?\s?(?::|\.{3})"
)
_COUNTED = pattern(
    r"(?:[:|(-]\s?|\s)\d{1,3}\s[^\W\d_]+\W{0,3}(?:[^\W\d_]\W?)?$|[:(\[|x]\s?\d{1,3}\s?[)\]]?$"
)  # "Roof: 2 faults", "Roof (2)"
_NUMBERED_NAME = pattern(r"\s*\d{2}\s[^\W\d_][^,;?!]*$")
_FEW_ROWS = 3
_VERB_WORDS, _UNIT_WORDS = 2, 3  # of a unit that tells its code
_NO_HEADINGS = frozenset({"blank", "meta", "header", "group"})
_BESIDES = frozenset({"aside", "meta", "count"})  # lines beside the rows with codes
_SAID_BELOW = 8  # lines without a code that a unit may have below its codes
_SAID_WHOLE = frozenset({"crashrecord", "skip"})
_SEVERAL = 2  # headings that show a print of more than one unit
_ANYWHERE = frozenset({"sensor", "switch"})  # parts that every unit has
_OWN = frozenset("system airbagmodule bag pretension curtain charge crashrecord".split())
_OF_SEVERAL = frozenset({"bag", "pretension"})  # "Airbags and tensioners"
_OF_PLACES = frozenset({"skip", "side", "byside"})
_OF_HEADS = frozenset("bag airbagmodule pretension crashrecord".split())


def assign_units(lines: list[Line], lexicon: Lexicon) -> None:
    """Set module, unit and group of every line from the headings above it."""
    _find_headings(lines, lexicon)
    find_groups(lines)
    is_whole = any(ln.is_module and ln.unit == "other" for ln in lines) or any(
        ln.cells and ln.unit == "other" for ln in lines
    )
    is_column = any(ln.cells and ln.module and ln.unit == "restraint" for ln in lines)
    module: str | None = None
    usual = _usual_unit(lines, lexicon)
    unit: Unit = "unknown" if is_whole else usual
    group: Words | None = None
    for at, line in enumerate(lines):
        if line.is_module:
            module, unit = heading_name(line), line.unit
            group = _status_below(line)
        elif line.module is None:
            line.module, line.unit = module, unit
        is_told = line.module not in (None, module)  # by a column
        at_place = line.unit == "other" and not is_column
        named = None if is_told else unit_of_label(line, lexicon, is_whole=is_whole)
        if named is not None:
            line.module, line.unit = named
        elif at_place and is_told and is_at_room(line, line.module or "", lexicon):
            line.unit = "restraint"
        elif line.codes and not is_told and _is_told_elsewhere(lines, at, module, lexicon):
            line.unit = "other"
        if line.role == "group":
            group = line.group = facing(line.group, group)
        elif group is not None and (begins_block(lines, at) or ends_group(lines, at, group)):
            group = None
        elif group is not None:
            line.group = group
    _settle_unnamed(lines)
    keep_rooms(lines, lexicon, is_usual=usual == "restraint")


def _status_below(line: Line) -> Words | None:
    """``SRS, current codes:``: the status that a unit's heading gives the codes below it."""
    leads = line.text.rstrip().endswith(":") and line.count is None
    is_told = leads and len(line.words.statuses) == 1 and not line.words.voices & {"not", "gone"}
    return Words(statuses=[*line.words.statuses]) if is_told else None


def _is_told_elsewhere(lines: list[Line], at: int, module: str | None, lexicon: Lexicon) -> bool:
    is_elsewhere = lines[at].unit == "restraint" and _is_elsewhere(lines[at], module, lexicon)
    return is_elsewhere or (at > 0 and _goes_on(lines[at - 1], lines[at]))


def _goes_on(before: Line, line: Line) -> bool:
    """Tell whether a line is the rest of what a label above said of another unit."""
    is_rest = before.text.rstrip().endswith(",") and before.unit == "other"
    return is_rest and indent(line) > indent(before) and not has_label(line.text)


def _settle_unnamed(lines: list[Line]) -> None:
    """A unit whose name says nothing is what its codes show: of the restraints, or another."""
    unnamed = [ln for ln in lines if ln.unit == "unknown" and ln.codes and ln.module]
    heads = {heading_name(ln): ln for ln in lines if ln.is_module}
    is_column = any(
        ln.unit == "restraint" and ln.codes and ln.module and ln.module not in heads for ln in lines
    )
    for line in unnamed:
        head = heads.get(line.module or "")
        if is_column if head is None else head.is_alike:
            line.words.features -= PARTS | _OWN  # the restraint unit is named, and not this one
    other = {ln.module for ln in unnamed if _is_of_another(ln)}
    own = Counter(ln.module for ln in unnamed if ln.words.features & (PARTS - _ANYWHERE | _OWN))
    for line in lines:
        if line.unit == "unknown" and line.module in other:
            line.unit = "other"
        elif line.unit == "unknown" and own[line.module] >= _SEVERAL:
            line.unit = "restraint"


def _is_of_another(line: Line) -> bool:
    told = line.words.features
    is_own = told & (PARTS - _ANYWHERE | _OWN) or has_part(line.words)
    return line.codes[0].code[:1] == "P" or ("foreign" in told and not is_own)


def _is_elsewhere(line: Line, module: str | None, lexicon: Lexicon) -> bool:
    """Tell whether a code says itself that another unit than the restraint unit stores it."""
    told = line.words.features
    listed = _OTHERS.match(flat(line.text))  # "Other modules: ABS C1503 left front wheel sensor"
    is_own = bool(told & (PARTS - _ANYWHERE | {"bag"}))
    is_own = is_own or (line.codes[0].code[:1] == "B" and line.words.says_nothing)
    if listed and not (is_own and listed["faults"]):  # "Other faults: B1A30 knee bag open"
        return True
    is_engine = line.codes[0].code[:1] == "P" and line.codes[0].style == "sae"
    is_bag = has_part(line.words) and "bag" in told
    is_bag = is_bag or ({"sensor", "impact"} <= told and "foreign" not in told)
    if told & (PARTS - _ANYWHERE) or (is_bag and not is_engine):
        return False
    is_silence = "communication" in told
    holds = not told & {"bag", "lamp"} or is_silence
    says = holds and (_names_holder(line, lexicon) or _leads_from_unit(line, lexicon))
    if is_engine or says or "elsewhere" in line.words.voices:
        return True
    if has_part(line.words) or told & (_OWN | {"communication", "unit", "lamp"}):
        return False
    named = name_unit(line.text, lexicon) == ("other", True)
    if "foreign" in told or line.codes[0].code[:1] == "P":
        return True
    return named and module is None


def _leads_from_unit(line: Line, lexicon: Lexicon) -> bool:
    """``I should add that the brake pump keeps C1B20``: the words before a code name a unit.

    Not so before a code of the network, which tells of the other end of the line.
    """
    code = line.codes[0]
    lead = line.text[: code.start]
    tokens = tokenise(lead)
    is_named = name_unit(lead, lexicon) == ("other", True) or _names_computer(tokens, lexicon)
    if code.code[:1] == "U" or not is_named or lexicon.has_name("restraint", flat(lead)):
        return False
    words = read_words(tokens, find_hits(lexicon, tokens, None))
    return not has_fault(words) and not words.features & _OWN


def _names_computer(tokens: tuple[Token, ...], lexicon: Lexicon) -> bool:
    """``the tyre pressure box``, ``im Anhängermodul``: a part of the car and a computer for it."""
    texts = tuple(t.text for t in tokens)
    if any(lexicon.is_of_area(t) and t.endswith(tuple(lexicon.small.computers)) for t in texts):
        return True
    found = ((at, *find_layout(lexicon, texts, at)) for at in range(len(texts)))
    return any(
        "area" in means and _is_computer(texts, at + length, lexicon) for at, means, length in found
    )


def _is_computer(texts: tuple[str, ...], at: int, lexicon: Lexicon) -> bool:
    return at < len(texts) and texts[at] in lexicon.small.computers


def _names_holder(line: Line, lexicon: Lexicon) -> bool:
    """``in the dash there is``, ``ABS has``: a line names the unit that holds its code."""
    texts = tuple(t.text for t in line.tokens)
    for at in range(len(texts)):
        means, length = find_layout(lexicon, texts, at)
        if not {"othermodule", "area"} & set(means):
            continue
        before, after = texts[max(at - 2, 0) : at], texts[at + length : at + length + 2]
        holds = at <= 1 and bool(lexicon.small.has & set(after))
        is_unit = "othermodule" in means or _is_computer(texts, at + length, lexicon)
        holds = holds or (at <= 1 and is_unit and _leads_to_code(line, lexicon))
        is_english = texts[at] in lexicon.base
        if holds or (lexicon.small.inside - ({"no"} if is_english else set())) & set(before):
            return True
    return False


def _leads_to_code(line: Line, lexicon: Lexicon) -> bool:
    """``the cluster moans U2C03``: a verb that nobody knows stands between unit and code."""
    head = [t.text for t in tokenise(line.text[: line.codes[0].start])]
    strange = [w for w in head[-_VERB_WORDS:] if w not in lexicon.known or w in lexicon.small.has]
    return bool(strange) and len(head) <= _VERB_WORDS + _UNIT_WORDS


def _usual_unit(lines: list[Line], lexicon: Lexicon) -> Unit:
    """The unit of a report of one unit: the restraint unit where anything speaks of restraints."""
    if any(ln.is_module and ln.unit == "restraint" for ln in lines):
        return "restraint"
    codes = [c for ln in lines for c in ln.codes]
    is_lamp = bool(codes) and all(c.style == "flash" for c in codes)  # theirs, whose lamp is read
    if is_lamp or any(ln.words.features & _OWN for ln in lines):
        return "restraint"
    named = (name_unit(ln.text, lexicon)[0] for ln in lines if ln.role != "blank")
    return "restraint" if any(unit == "restraint" for unit in named) else "unknown"


def _find_headings(lines: list[Line], lexicon: Lexicon) -> None:
    """Set which lines name a unit; in a print of the whole car unknown names count too."""
    for at, line in enumerate(lines):
        head_sorted(lines, at, lexicon)
        if line.is_module or _turns_to_unit(lines, at, lexicon):
            line.unit = _name_heading(line, lexicon)[0]
    numbered = _find_numbered(lines)
    bare = [
        ln
        for at, ln in enumerate(lines)
        if at in numbered or is_bare_heading(lines, at) or _is_area_between(lines, at, lexicon)
    ]
    named = {id(ln): _name_heading(ln, lexicon) for ln in bare}
    known = {heading_name(ln) for ln in bare if named[id(ln)][0] == "other"}
    sure = any(unit == "other" and is_sure for unit, is_sure in named.values())
    sure = sure or any(ln.is_module and ln.unit == "other" for ln in lines)
    parts = {id(ln) for at, ln in enumerate(lines) if not sure and heads_part(lines, at)}
    bare = [ln for ln in bare if id(ln) not in parts]
    heads = [ln for ln in bare if named[id(ln)][0] == "restraint"]
    heads += [ln for ln in lines if ln.is_module and ln.unit == "restraint"]
    is_alike = _find_alike(lines, heads, lexicon)
    heads = [ln for ln in heads if ln.count is None]
    dresses = Counter(map(_dress_of, (ln for ln in lines if ln.is_module)))
    alike = [
        ln for at, ln in enumerate(lines) if dresses[_dress_of(ln)] and _stands_between(lines, at)
    ]
    several = is_alike or len(known) + bool(heads) + any(map(is_unknown_sign, bare)) >= _SEVERAL
    several = several or any(_dress_of(ln)[2] for ln in alike)
    several = several or (
        bool(heads) and any(_heads_strangers(lines, at) for at in range(len(lines)))
    )
    if not sure and not several and sum(map(is_addressed, bare)) < _SEVERAL:
        for line in lines:
            if (
                line.is_module
                and line.unit == "unknown"
                and not (heads and _is_strange(line, lexicon))
            ):
                line.unit = "restraint"  # "control unit" heads a report of one unit
        return
    for line in bare:
        _make_heading(line, line.unit if line.is_alike else named[id(line)][0])
    _find_between(lines, lexicon)


def _find_alike(lines: list[Line], own: list[Line], lexicon: Lexicon) -> bool:
    """Set headings in the form of the restraint unit's, also with a fault behind their colon."""
    forms = {form for ln in own for form in forms_of(ln, lexicon)}
    start = min((ln.number for ln in own), default=0)
    below = (ln for ln in lines if own and ln.number > start and ln.unit != "restraint")
    for line in below:
        is_row = line.codes or line.cells or line.role in _NO_HEADINGS
        if not is_row and (named := names_another(line, forms, lexicon)):
            line.is_module = line.is_alike = True
            line.unit = "other" if named == "other" else line.unit
            is_name = line.text.isupper() or not has_fault(line.words)
            if is_name and line.role not in ("count", "clean"):
                line.role = "heading"
    return any(ln.is_alike for ln in lines)


def _is_strange(heading: Line, lexicon: Lexicon) -> bool:
    """Tell whether a heading names a unit by a word that nobody knows."""
    texts = [t.text for t in tokenise(heading_name(heading))]
    return any(text not in lexicon.known for text in texts)


def _heads_strangers(lines: list[Line], at: int) -> bool:
    """Tell whether a name stands above codes none of which names a part of the restraints."""
    line, after = lines[at], next_below(lines, at, 1)
    if line.is_module or line.codes or after is None or not after.codes:
        return False
    is_first = not any(ln.codes for ln in lines[:at]) and is_bare_heading(lines, at)
    if not (is_first or _stands_between(lines, at)):
        return False
    block = takewhile(lambda ln: ln.codes, islice(lines, at + 1, None))
    return not any(ln.words.features & (PARTS - _ANYWHERE | _OWN) for ln in block)


def _find_between(lines: list[Line], lexicon: Lexicon) -> None:
    """Set headings between codes in the dress of others, whatever they name."""
    dresses = Counter(map(_dress_of, (ln for ln in lines if ln.is_module)))
    for at, line in enumerate(lines):
        if dresses[_dress_of(line)] and _stands_between(lines, at):
            _make_heading(line, _name_heading(line, lexicon)[0])


def _find_numbered(lines: list[Line]) -> set[int]:
    """``03 Roof (ok to program)``: where lines have a number before a name, and codes below."""
    found = set()
    for at, (line, after) in enumerate(pairwise(lines)):
        if after.codes and not (line.codes or line.cells) and _NUMBERED_NAME.match(line.text):
            found.add(at)
    if len(found) < _FEW_ROWS:
        return set()
    for at in found:
        if lines[at].role == "clean":
            lines[at].role, lines[at].count = "heading", None
    return found


def _make_heading(line: Line, unit: Unit) -> None:
    line.unit, line.is_module = unit, True
    if line.role not in ("count", "clean"):
        line.role = "heading"


def _dress_of(line: Line) -> tuple[int, bool, bool]:
    """What the headings of a print have in common: indent, a number before, a sign behind."""
    text = line.text.strip()
    return indent(line), text[:1].isdigit(), line.is_keyed or bool(_COUNTED.search(text))


def _stands_between(lines: list[Line], at: int) -> bool:
    """Tell whether a line stands between codes as headings do, and adds nothing to the one above.

    Better one heading too many, whose unit nobody knows, than another unit's codes in this one.
    """
    line, before = lines[at], _row_above(lines, at)
    if line.codes or line.cells or line.is_module or line.role in _NO_HEADINGS:
        return False
    after = next_below(lines, at, RIGHT_BELOW)
    if before is None or after is None or not after.codes:
        return False
    words, text = line.words, line.text.strip()
    is_named = text[:1].isupper() or text[:1].isdigit() or bool(DECORATED.match(line.text))
    is_side = not words.features - _OF_PLACES and (words.is_placed or words.is_sided)
    is_group = (line.known_share == 1.0 and is_side) or denies_side(line)
    if not is_named or is_group or text[-1:] in ".,;?!" or len(line.tokens) > MOST_WORDS:
        return False
    is_told = words.features & FAULTS - {"defect"} and not _COUNTED.search(text)
    is_told = is_told or words.voices - {"not", "own"}  # "Checked the plug"
    is_of_another = before.codes[0].code[:1] in "CP"
    is_more = has_part(words) and not (is_of_another or words.features >= _OF_SEVERAL)
    is_more = is_more and not _dress_of(line)[2]
    is_whole = has_fault(before.words) or before is not lines[at - 1]
    is_whole = bool(is_whole or before.words.statuses or _COUNTED.search(text))
    is_apart = is_whole or (words.features & _OF_HEADS and is_of_another)
    return bool(is_apart) and not (is_told or is_more or words.statuses)


def _name_heading(line: Line, lexicon: Lexicon) -> tuple[Unit, bool]:
    """What a heading names; a part of the car that is none of the restraints is another unit."""
    unit, is_sure = name_unit(line.text, lexicon)
    told = line.words.features
    if told & _OF_HEADS and not (line.words.is_placed or told & {"foreign", "curtain"}):
        return "restraint", False
    is_foreign = "foreign" in told and not has_part(line.words)
    return ("other", False) if unit == "unknown" and is_foreign else (unit, is_sure)


def _turns_to_unit(lines: list[Line], at: int, lexicon: Lexicon) -> bool:
    """``after the fuse the airbag unit answers again:`` leads up to the codes of that unit.

    Below ``codes of the airbag unit:`` so does any ``codes of the ...:``.
    """
    line, begun = lines[at], [t.text for t in lines[at].tokens[:2]]
    if line.codes or line.cells or not line.text.rstrip().endswith(":"):
        return False
    after = next_below(lines, at, RIGHT_BELOW)
    is_next = any(ln.is_module and [t.text for t in ln.tokens[:2]] == begun for ln in lines[:at])
    is_named = is_next or name_unit(line.text, lexicon)[0] == "restraint"
    if after is None or not after.codes or not is_named:
        return False
    line.is_module, line.role = True, "heading"
    return True


def _is_area_between(lines: list[Line], at: int, lexicon: Lexicon) -> bool:
    """Tell whether a line between two codes is the name of another part of the car, and no more."""
    line, before = lines[at], _row_above(lines, at)
    is_inside = at < len(lines) - 1 and lines[at + 1].codes
    is_row = line.codes or line.cells or line.role not in ("words", "unread", "heading")
    if is_row or before is None or not is_inside or not reads_as_name(line):
        return False
    if heads_seats(lines, at):
        return False
    is_memory = line.words.statuses == ["stored"] and len(line.tokens) > 1  # "Seat memory"
    told = (line.words.statuses and not is_memory) or line.words.voices
    is_told = told or (has_part(line.words) and not _is_of_blinds(lines, at))
    is_cut = line.text.rstrip().endswith("-")
    # the row above wants no second half
    is_whole = has_fault(before.words) or before is not lines[at - 1]
    if is_cut or is_told or not (is_whole and is_all_area(line.text, lexicon)):
        return False
    return line.text.lstrip()[:1].isupper() or _tells_again(lines, at)


def _tells_again(lines: list[Line], at: int) -> bool:
    """Tell whether the row below bears the number of one above: units use the same numbers."""
    below = {code.code for code in lines[at + 1].codes}
    return any(code.code in below for above in lines[:at] for code in above.codes)


def _row_above(lines: list[Line], at: int) -> Line | None:
    """Return the row with a code above a line, past what its unit says without one."""
    for above in reversed(lines[max(at - _SAID_BELOW, 0) : at]):
        if above.codes:
            return above if indent(lines[at]) <= indent(above) else None
        is_whole = above.role in _BESIDES or above.words.features & _SAID_WHOLE
        if not (is_whole or above.words.voices) or above.text.rstrip()[-1:] in ".?!":
            return None  # another heading, the rest of a name, a sentence of a story
    return None


def _is_of_blinds(lines: list[Line], at: int) -> bool:
    """``Cortinilla`` above a low voltage or a bare sensor: a blind and its motor, no curtain."""
    block = takewhile(lambda ln: ln.codes, islice(lines, at + 1, None))
    return "curtain" in lines[at].words.features and any(
        ln.words.features & (_ANYWHERE | {"voltage", "foreign"}) for ln in block
    )
