"""Records: a fault's part, place and state each behind a label of its own.

``Part: airbag`` / ``Seat: driver`` / ``Fault: open``, on lines of their own or apart on one, or in
two cells of a row. Those that begin with their code are read around it.
"""

import re
from collections import Counter

from msgspec.structs import replace

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.words import HEADS, has_fault
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line

_FIELD = pattern(r"\s*(?:[-*•]\s*)?([^\W\d][^:=\d|\t]{1,24}?)\s?[:=]\s+(\S.*?)\s*")
_APART = pattern(r"\s{2,}|\t|\s\|\s|;\s")
_CODE = pattern(r"(?<!\w)(?=[^\W_]*\d)[A-Za-z]?[0-9A-Fa-f]{4,6}(?!\w)")
_PLACES = ("seat:", "side:", "end:", "row:")
_SEVERAL = 2  # records that show their labels
_PAIR = 2
_FIELDS = 3  # on one line

_Field = re.Match[str] | None


def join_records(lines: list[Line], lexicon: Lexicon) -> list[Line]:
    """Return lines with each record on one, its values without labels that they do not need."""
    _open_cells(lines)
    fields = [None if ln.cells else _one_field(ln.text, lexicon) for ln in lines]
    counts = Counter(flat(m[1]) for m in fields if m is not None)
    begin = next((flat(m[1]) for m in fields if m and counts[flat(m[1])] >= _SEVERAL), None)
    starts = {at for at, m in enumerate(fields) if m is not None and flat(m[1]) == begin}
    several = [m for m in fields if m is not None and counts[flat(m[1])] >= _SEVERAL]
    coded = {m for m in several if _CODE.search(m[2])}
    alike = {m for m in coded if not _CODE.findall(m[2])[0].isdecimal()}  # no date, no mileage
    coded = alike or coded
    labels = [len({flat(m[1]) for m in told}) for told in (coded, several)]
    is_told = labels[0] == 1 and labels[1] >= _FIELDS
    is_told = is_told and all(len(m[2].split()) == 1 for m in coded)  # nobody says so in a chat
    if not (is_told if coded else _are_parts([m for at in starts if (m := fields[at])], lexicon)):
        starts = set()  # others are read around their codes, or line by line
    found: list[Line] = []
    at = 0
    while at < len(lines):
        end = _end_of(fields, at, starts, counts) if at in starts else at + 1
        run = [m for m in fields[at:end] if m is not None]
        one = _fields_of(lines[at], lexicon) if at not in starts else run if len(run) > 1 else []
        raw = "\n".join(ln.raw for ln in lines[at:end])
        values = [m[2] for m in one if m in coded] + [
            _said(m, lexicon) for m in one if m not in coded
        ]
        said = "   ".join(values)
        apart = _apart(lines[at], lexicon) or [lines[at]]
        found += [replace(lines[at], raw=raw, text=said)] if one else apart + lines[at + 1 : end]
        at = end
    return found


def _open_cells(lines: list[Line]) -> None:
    """Read two cells of a row as a label and its value, where few rows hold the code of a fault."""
    rows = [[c for c in ln.cells if c] for ln in lines]
    pairs = [(ln, cells) for ln, cells in zip(lines, rows, strict=True) if len(cells) == _PAIR]
    coded = sum(_CODE.fullmatch(value) is not None for _, (_, value) in pairs)
    if any(_CODE.search(label) for _, (label, _) in pairs) or _PAIR * coded > len(pairs):
        return
    for line, (label, value) in pairs if coded else ():
        line.text, line.cells = f"{label.rstrip(' :')}: {value}", ()


def _are_parts(fields: list[re.Match[str]], lexicon: Lexicon) -> bool:
    """Tell whether what stands behind a label are parts, and no faults."""
    said = [[words_in(m[2], lexicon, name) for name in lexicon.words] for m in fields]
    named = sum(any(w.features & HEADS and not has_fault(w) for w in words) for words in said)
    return 2 * named > len(fields)


def _one_field(text: str, lexicon: Lexicon) -> _Field:
    """The label and value of a line that holds no more than one."""
    pieces = [p for p in _APART.split(text.strip()) if _field(p, lexicon)]
    return None if len(pieces) > 1 else _field(text, lexicon)


def _field(text: str, lexicon: Lexicon) -> _Field:
    """A label and its value; a place or a part is no label, but what the value is of."""
    field = _FIELD.fullmatch(text)
    words = tokenise(field[1]) if field is not None else ()
    means = {m for t in words for m in lexicon.first_meanings(t.text)}
    is_told = any(m.startswith(_PLACES) for m in means) or not means.isdisjoint(HEADS)
    return None if is_told else field


def _fields_of(line: Line, lexicon: Lexicon) -> list[re.Match[str]]:
    """The fields of a line that holds nothing else, and no code; none where they are few."""
    pieces = [p for p in _APART.split(line.text.strip()) if p]
    if line.cells or len(pieces) < _FIELDS or _CODE.search(line.text):
        return []
    found = [m for p in pieces if (m := _field(p, lexicon))]
    return found if len(found) == len(pieces) else []


def _apart(line: Line, lexicon: Lexicon) -> list[Line]:
    """``Curtain: left open   Knee bag: driver ok``: a line for each part or place; or none."""
    pieces = [p for p in _APART.split(line.text.strip()) if p]
    if line.cells or len(pieces) < _SEVERAL or _CODE.search(line.text):
        return []
    is_told = all(_FIELD.fullmatch(p) and _field(p, lexicon) is None for p in pieces)
    return [replace(line, raw=p, text=p) for p in pieces] if is_told else []


def _end_of(fields: list[_Field], at: int, starts: set[int], counts: Counter[str]) -> int:
    """Where a record ends: before the next one, a gap, or what stands once below the last."""
    end = at + 1
    while end < len(fields) and fields[end] is not None and end not in starts:
        end += 1
    is_last = at == max(starts)
    while is_last and (last := fields[end - 1]) is not None and counts[flat(last[1])] < _SEVERAL:
        end -= 1
    return end


def _said(field: re.Match[str], lexicon: Lexicon) -> str:
    """A value, behind its label where it is a number or says ``none``."""
    label, value = field[1], field[2]
    if value[0].isdecimal():
        return f"{label} {value}"
    is_none = any(t.text in lexicon.denying for t in tokenise(value))
    return f"{label}: {value}" if is_none else value
