"""Two days as the last columns of a list: the later says whether a fault is there now.

``left curtain open   A   -`` below ``day 1   day 2`` is gone; ``A   S`` is what the second says.
"""

import re

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.features import NO, YES
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.layout.marks import GONE, NOTHING, time_of
from squibwise.intake.report.sheet import Line

_PIECE = pattern(r"[^\s|;]+(?: [^\s|;]+)*")
_NUMBERS = re.compile(r"\d+")
_CODE = pattern(r"(?=\w*\d)\w{3,7}(?:-\w\w)?")
_TICK = pattern(r"[\W_]|1|(?i:x)|[\[(]?[xX✓✔]?[\])]?")
_TOUCHED = pattern(r"(.*\w{3}) (\w|-)")  # words that reach to the mark of the earlier day
_LONGEST_MARK, _MARK_WORDS = 30, 4  # characters and words
_ROWS = 2  # that make a table
_MOST = 400  # below one heading
_DAYS = 2
_FIELDS = 3  # of its narrowest row: what it is of, and two days


class _Row(msgspec.Struct, frozen=True):
    """A row of a list, its fields, and its marks of the earlier and the later day."""

    line: Line
    fields: tuple[str, ...]
    early: str
    late: str


def apply_two_days(lines: list[Line], lexicon: Lexicon) -> None:
    """Leave of each row of a list with two days what it is now; end what is there no more."""
    for at, head in enumerate(lines[:-_ROWS]):
        late = _late_column(_fields(head), lexicon)
        if late is None:
            continue
        rows = _rows_below(lines[at + 1 : at + _MOST], _width(lines, at), late)
        if len(rows) < _ROWS or all(_is_nothing(r.late) for r in rows):
            continue
        head.role = "meta"
        marks = {flat(mark) for row in rows for mark in (row.early, row.late)}
        answers = all(mark in YES or _is_nothing(mark) for mark in marks)
        for row in rows:
            _tell_now(row, YES if answers else frozenset())


def _width(lines: list[Line], at: int) -> int:
    """The fields of a row: those of the headings, or of the row below where only days have one."""
    titles = _fields(lines[at])
    return len(titles) if len(titles) >= _FIELDS else len(_fields(lines[at + 1]))


def _late_column(titles: tuple[str, ...], lexicon: Lexicon) -> int | None:
    """Which of the last two headings is the later day, -1 or -2; None where they are no days."""
    if len(titles) < _DAYS:
        return None
    times = [time_of(text, lexicon) for text in titles[-2:]]
    if sorted(times) == ["early", "late"]:
        return times.index("late") - 2
    one, two = (flat(_NUMBERS.sub("#", text)) for text in titles[-2:])
    first, second = ([int(n) for n in _NUMBERS.findall(text)] for text in titles[-2:])
    if one != two or not first or first == second or len(first) != len(second):
        return None
    is_turned = first > second and first[::-1] > second[::-1]
    return -2 if is_turned else -1


def _rows_below(lines: list[Line], width: int, late: int) -> list[_Row]:
    """The rows of a list up to the first line that is none."""
    rows: list[_Row] = []
    for line in lines:
        fields = _fields(line)
        if width < _FIELDS:
            break
        if len(fields) == width - 1 and (touched := _TOUCHED.fullmatch(fields[-2])):
            fields = (*fields[:-2], *touched.groups(), fields[-1])
        if len(fields) != width or not all(map(_is_mark, fields[-2:])):
            if rows and line.text.strip():
                break
            continue
        rows.append(_Row(line, fields, fields[-3 - late], fields[late]))
    return rows


def _tell_now(row: _Row, yes: frozenset[str]) -> None:
    """Take the marks off a row, and say what the later one does."""
    kept = row.fields[:-2]
    is_bare = _TICK.fullmatch(row.late) or flat(row.late) in yes
    now = GONE if _is_nothing(row.late) and not _is_nothing(row.early) else row.late
    now = "" if now != GONE and is_bare else now
    row.line.text = ("\t" if row.line.cells else "   ").join(filter(None, (*kept, now)))
    row.line.cells = (*kept, now) if row.line.cells else ()


def _fields(line: Line) -> tuple[str, ...]:
    return line.cells or tuple(_PIECE.findall(line.text.replace("\t", "  ")))


def _is_mark(text: str) -> bool:
    is_short = 0 < len(text) <= _LONGEST_MARK and len(text.split()) <= _MARK_WORDS
    return is_short and not _CODE.fullmatch(text)


def _is_nothing(text: str) -> bool:
    return bool(NOTHING.fullmatch(flat(text))) or flat(text) in NO
