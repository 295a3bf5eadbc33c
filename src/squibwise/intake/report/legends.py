"""What a report says of its own signs: legends, columns of yes and no, numbered keys."""

import re
from collections.abc import Sequence
from itertools import groupby, takewhile

import msgspec

from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.report.features import NO, YES
from squibwise.intake.report.lexicon import Lexicon, flat
from squibwise.intake.report.sheet import Line, Sheet, cell_of

_LEGEND = pattern(
    r"(?<![^\W_])\(?([A-Za-z]{1,3}|[*+!?#])\)?\s?[=:]\s?"
    r"([^\W\d_]{3,}(?: [^\W\d_]+){0,2}(?: \([^()]{3,30}\))?)"
)
_WORDS_LEFT = 6  # words beside its signs of a line that is more than a legend
_SIGNS_OF_LEGEND = 2  # signs that make a line a legend
_FEW_ROWS = 3
_WORD = pattern(r"[^\s|]+")
_ASTRAY = 2  # characters that a cell may stand beside its heading
_ABSENT = "not there"  # of a row that every column of states denies
_NO = NO | {"-"}
_KEY = pattern(r"\s*([\w.\[\]-]{0,30}?\d{1,4}\]?)[._](\w{2,12})\s?[=:]\s?(.*)")


def join_keys(raws: Sequence[RawLine]) -> list[RawLine]:
    """Return lines with ``fault.1.code=``, ``fault.1.text=`` and their like joined to one."""
    joined: list[RawLine] = []
    keyed = [(raw, None if raw.cells else _KEY.fullmatch(raw.text)) for raw in raws]
    for prefix, run in groupby(keyed, lambda pair: pair[1] and pair[1].group(1)):
        lines = list(run)
        values = [m.group(3).strip() for _, m in lines if m is not None]
        if prefix is None or len(lines) < 2:
            joined += [raw for raw, _ in lines]
        else:
            text = "   ".join(values)
            joined.append(msgspec.structs.replace(lines[0][0], text=text))
    return joined


def apply_legend(sheet: Sheet, lexicon: Lexicon) -> None:
    """Put the words of a legend such as ``(C)=current (H)=history`` where its letters stand."""
    legend: dict[str, str] = {}
    for line in sheet.lines:
        found = [(sign, _state_of(words, lexicon)) for sign, words in _LEGEND.findall(line.text)]
        told = {sign: word for sign, word in found if word}
        if len(told) >= _SIGNS_OF_LEGEND:
            legend |= told
            line.text = _LEGEND.sub("", line.text)
            line.role = "meta" if len(line.text.split()) < _WORDS_LEFT else line.role
    if not legend:
        return
    signs = "|".join(re.escape(sign) for sign in legend)
    sign = re.compile(
        rf"\(({signs})\)|(?<=[\s,;|])({signs})(?=\s*$)|(?:(?<=\s\s)|^\s?)({signs})(?=\s\s)"
    )
    for line in sheet.lines:
        if line.role != "meta":
            line.text = sign.sub(lambda m: f"({legend[m[1] or m[2] or m[3]]})  ", line.text)


def _state_of(words: str, lexicon: Lexicon) -> str:
    """The state that the words behind a sign name; empty when they name none."""
    told = re.findall(r"[^\W\d_]+", words)
    spans = ((at, to) for at in range(len(told)) for to in range(len(told), at, -1))
    tries = (" ".join(told[at:to]) for at, to in spans)
    return next((t for t in tries if lexicon.is_state(t)), "")


def apply_yes_columns(lines: list[Line], lexicon: Lexicon) -> None:
    """Put the heading of a column of yes and no, such as ``active``, where it says yes."""
    rows = [ln for ln in lines if ln.cells]
    if len(rows) <= _FEW_ROWS:
        return
    named = {c: _state_of(name, lexicon) for c, name in enumerate(rows[0].cells)}
    states = {c: state for c, state in named.items() if state and _answers(rows[1:], c)}
    for row in rows[1:]:
        said = {flat(cell_of(row, column)).strip() for column in states}
        for column, state in states.items():
            _say(row, column, state)
        if len(states) > 1 and said <= _NO:
            row.text += f"\t{_ABSENT}"


def _answers(rows: list[Line], column: int) -> bool:
    """Tell whether a column says yes and no."""
    told = {flat(cell_of(r, column)).strip() for r in rows} - {""}
    return bool(told & YES) and len(told - YES - _NO) <= len(told) // 2


def _say(row: Line, column: int, state: str) -> None:
    """Replace yes by the state that it affirms; no says nothing."""
    said = flat(cell_of(row, column)).strip()
    if said not in YES and said not in _NO:
        return
    cells = list(row.cells)
    cells[column] = state if said in YES else ""
    row.cells = tuple(cells)
    row.text = "\t".join(cells)


def apply_printed_columns(lines: list[Line], lexicon: Lexicon) -> None:
    """Read columns of yes and no in a table that is drawn by blanks or bars alone."""
    for at, head in enumerate(lines):
        states = [] if head.cells else _state_columns(head.text, lexicon)
        if states and _answer_columns(lines[at + 1 :], states):
            head.role = "meta"  # it says nothing of all the rows below


def _state_columns(text: str, lexicon: Lexicon) -> list[tuple[int, str]]:
    """Where the words of a heading that name a state begin, and the states."""
    words = list(_WORD.finditer(text))
    if len(words) < _FEW_ROWS or any(c.isdigit() for c in text):
        return []
    named = [(w.start(), _state_of(w.group(), lexicon)) for w in words]
    return [(start, state) for start, state in named if state]


def _answer_columns(below: list[Line], states: list[tuple[int, str]]) -> bool:
    """Put states where the rows below a heading say yes, as long as they answer in every column.

    Returns:
        True when there are such rows.
    """
    answered = ((row, [_answer_at(row.text, start) for start, _ in states]) for row in below)
    rows = [(row, [c for c in cells if c]) for row, cells in takewhile(_is_answered, answered)]
    if len(rows) < _FEW_ROWS:
        return False
    for row, cells in rows:
        is_absent = len(cells) > 1 and all(flat(c.group()) in _NO for c in cells)
        for cell, (_, state) in reversed(list(zip(cells, states, strict=True))):
            said = state if flat(cell.group()) in YES else ""
            row.text = f"{row.text[: cell.start()]}{said}  {row.text[cell.end() :]}"
        row.text += f"   {_ABSENT}" if is_absent else ""
    return True


def _is_answered(row: tuple[Line, list[re.Match[str] | None]]) -> bool:
    return all(row[1])


def _answer_at(text: str, start: int) -> re.Match[str] | None:
    """The yes or no that stands below a heading; None for anything else."""
    near = (w for w in _WORD.finditer(text) if abs(w.start() - start) <= _ASTRAY)
    return next((w for w in near if flat(w.group()) in YES | _NO), None)
