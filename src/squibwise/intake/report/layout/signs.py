"""Signs that stand for something: legends, columns of letters and answers."""

import re
from collections.abc import Sequence
from itertools import groupby, takewhile

import msgspec

from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.features import NO, YES
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line, Sheet, cell_of
from squibwise.model.words import Status

_LEGEND = pattern(
    r"(?<![^\W_])\(?([A-Za-z]{1,3}|[*+!?#])\)?\s?[=:]\s?"
    r"([^\W\d_]{3,}(?: (?![A-Za-z]{1,3}\)?\s?[=:])[^\W\d_]+){0,2}(?: \([^()]{3,30}\))?)"
)
_WORDS_LEFT = 6  # words beside its signs of a line that is more than a legend
_SIGNS_OF_LEGEND = 2  # signs that make a line a legend
_FEW_ROWS = 3
_MOST_COLUMNS = 60  # a line of more words is no heading
_ENTRY = pattern(r"[^\s|]+")
_GOES_ON = pattern(r" [^\W\d_]{3}")  # a word right behind another
_ASTRAY = 2  # characters that a cell may stand beside its heading
_SEAT_LETTERS = ({"d": "driver", "p": "passenger"}, {"f": "Fahrer", "bf": "Beifahrer"})
_STATE = pattern(r"(?i)\W*(?:stat|[eé]tat|estado|stan|zust|situa)")
_STATE_LETTERS = tuple(
    {pair[0]: "present", pair[1]: "stored"} for pair in "ah as am ag ap ch cs pm ps ph".split()
)
_CODED = pattern(r"\W*(?=[0-9A-Z]*\d)[0-9A-Z]{4,7}\b\S*\s+\S")
_NOW, _ONCE = "present", "stored"
_LETTERS = 3  # of the longest cell in a column of letters
_ABSENT = "not there"  # of a row that every column of states denies
_NO = NO | {"-"}
_DITTO = pattern(  # marks that stand alone below what they repeat
    r"(?<![^\s|;])(?:-{1,2}\s?(?:[\"\u2033\u201c-\u201f\u3003]|''|´´)\s?-{1,2}"
    r"|[\"\u2033\u201c-\u201f\u3003]|''|´´|``|,,)(?![^\s|;])"
)
_APART = r"(?:(?<=\d\s)|(?<=\s\s)|(?<=\t)|(?<=[|;]\s)|(?<![^|;]))"
_SAME = "ditto"
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


def spell_dittos(lines: list[Line], lexicon: Lexicon) -> None:
    """Put into a cell what stands above its mark of repetition, elsewhere the word for such marks.

    ``B1101  curtain  L  open`` above ``B1102  "  R  "``.
    """
    words = "|".join(map(re.escape, lexicon.small.dittos))
    sign = re.compile(rf"{_DITTO.pattern}|{_APART}(?:{words})(?=\s|$)")
    above: Line | None = None
    for line in lines:
        if above is not None and above.cells:
            same = [
                c if not _DITTO.fullmatch(c) else cell_of(above, n)
                for n, c in enumerate(line.cells)
            ]
            if same != [*line.cells]:
                line.cells, line.text = tuple(same), "\t".join(same)
        elif above is not None and not line.cells:
            line.text = sign.sub(_SAME, line.text)
        above = line if any(c.isalnum() for c in line.text) else None


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
        rf"\(({signs})\)|(?<=[\s,;|])({signs})(?=\s*$)|(?:(?<=\s\s)|(?<=\t)|(?<=\|\s)|^\s?)({signs})"
        r"(?=\s\s|\t|\s?\|)"
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


def split_barred_answers(lines: list[Line], lexicon: Lexicon) -> None:
    """Take rows apart at their bars where a column of them answers yes and no below a state."""
    barred = ((ln, [c.strip() for c in ln.text.split("|")]) for ln in lines if not ln.cells)
    for size, run in groupby(barred, lambda pair: len(pair[1])):
        rows = list(run)
        if size < _FEW_ROWS or len(rows) < _FEW_ROWS:
            continue
        told = [{flat(cells[c]) for _, cells in rows[1:]} - {""} for c in range(size)]
        named = (c for c, title in enumerate(rows[0][1]) if _state_of(title, lexicon))
        if any(told[c] and told[c] <= YES | _NO for c in named):
            for line, cells in rows:
                line.cells, line.text = tuple(cells), "\t".join(cells)


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
            _say(row, column, state, _denied(state, lexicon) if len(states) == 1 else "")
        if len(states) > 1 and said <= _NO:
            _say_absent(row)


def _say_absent(row: Line) -> None:
    row.cells = (*row.cells, _ABSENT)
    row.text += f"\t{_ABSENT}"


def _denied(state: str, lexicon: Lexicon) -> str:
    """What no says in the only column of answers: that a fault is not present, or not there."""
    means = lexicon.first_meanings(state)
    return "stored" if "status:present" in means else _ABSENT if "defect" in means else ""


def apply_letters(lines: list[Line], lexicon: Lexicon) -> None:
    """Put seats and states where a column of a table names them by letters or by times.

    ``D`` and ``P``, ``F`` and ``BF``; below a heading for the state ``A`` and ``H``; ``now`` and
    ``earlier``.
    """
    table = [ln for ln in lines if ln.cells]
    for column in range(max((len(r.cells) for r in table), default=0)):
        heading, rows = cell_of(table[0], column), table[1:]
        cells = (flat(cell_of(r, column)).strip() for r in rows)
        told = {cell for cell in cells if cell.strip("-")}
        signs = [*_SEAT_LETTERS, *(_STATE_LETTERS if _STATE.match(heading) else ())]
        signs += ({now: _NOW, was: _ONCE} for now, was in lexicon.small.is_was)
        now = {t for t in told if "status:present" in lexicon.first_meanings(t)}
        if now and len(told) > len(now) and all(map(lexicon.is_earlier, told - now)):
            signs.append({t: t if t in now else _ONCE for t in told})
        for letters in signs:
            is_short = all(len(t) <= _LETTERS or t in letters for t in told)
            if letters.keys() <= told and is_short:
                for row in rows:
                    _put(row, column, letters.get(flat(cell_of(row, column)).strip()))


def deal_states(lines: list[Line], lexicon: Lexicon) -> list[Line]:
    """Return the lines, each cell with a code below a heading for a state as a line of its own.

    ``| Current | History |`` above ``| B1A11 left curtain open | B1A12 clock spring open |``.
    """
    found: list[Line] = []
    states: list[str] = []
    for line in lines:
        cells = line.cells or tuple(line.text.split("\t"))
        coded = [cell for cell in cells if _CODED.match(cell)]
        is_full = len(coded) == sum(map(bool, cells)) and len(cells) <= len(states)
        if coded and is_full:
            said = (f"{c}   {s}" for c, s in zip(cells, states, strict=False) if c)
            found += [Line(number=line.number, raw=line.raw, text=text) for text in said]
            continue
        if any(c.isalnum() for c in line.text):
            states = _states_above(cells, lexicon)
            line.role = "meta" if states else line.role
        found.append(line)
    return found


def _states_above(cells: Sequence[str], lexicon: Lexicon) -> list[str]:
    """The states that all cells of a heading name, each another; none where one names none."""
    titles = [c for c in cells if c]
    if len(titles) < 2 or any(not c.isalpha() for c in titles):
        return []
    names = [*lexicon.words]
    told = [next((s[0] for n in names if (s := _said(c, lexicon, n))), "") for c in cells]
    return told if len(set(told) - {""}) == len(titles) else []


def _said(word: str, lexicon: Lexicon, language: str) -> list[Status]:
    words = words_in(word, lexicon, language)
    return [] if words.features - {"skip"} else words.statuses


def _put(row: Line, column: int, said: str | None) -> None:
    if said is not None:
        cells = list(row.cells)
        cells[column] = said
        row.cells = tuple(cells)
        row.text = "\t".join(cells)


def _answers(rows: list[Line], column: int) -> bool:
    """Tell whether a column says yes and no."""
    told = {flat(cell_of(r, column)).strip() for r in rows} - {""}
    return bool(told & YES) and len(told - YES - _NO) <= len(told) // 2


def _say(row: Line, column: int, state: str, denied: str) -> None:
    """Replace yes by the state that it affirms, and no by what that leaves."""
    said = flat(cell_of(row, column)).strip()
    if said in YES or said in _NO:
        _put(row, column, state if said in YES else denied)


def apply_printed_columns(lines: list[Line], lexicon: Lexicon) -> None:
    """Read columns of yes and no in a table that is drawn by blanks or bars alone."""
    for at, head in enumerate(lines):
        if head.cells or not any(_answers_all(row) for row in lines[at + 1 : at + 2]):
            continue
        states = _state_columns(head.text, lexicon)
        if states and _answer_columns(lines[at + 1 :], states, lexicon):
            head.role = "meta"  # it says nothing of all the rows below


def _answers_all(row: Line) -> bool:
    """Tell whether any word of a line is a yes or a no."""
    return any(flat(word) in YES | _NO for word in _ENTRY.findall(row.text))


def _state_columns(text: str, lexicon: Lexicon) -> list[tuple[int, str]]:
    """Where the words of a heading that name a state begin, and the states."""
    words = list(_ENTRY.finditer(text))
    if not _FEW_ROWS <= len(words) <= _MOST_COLUMNS or any(c.isdigit() for c in text):
        return []
    titles = (w for w in words if flat(w.group()) not in YES | _NO)
    named = [(w.start(), _state_of(w.group(), lexicon)) for w in titles]
    return [(start, state) for start, state in named if state]


def _answer_columns(below: list[Line], states: list[tuple[int, str]], lexicon: Lexicon) -> bool:
    """Put states where the rows below a heading say yes, as long as its columns are filled.

    Returns:
        True when there are such rows.
    """
    table = takewhile(lambda row: _is_filled(row.text, states), below)
    answered = ((row, [_answer_at(row.text, start) for start, _ in states]) for row in table)
    rows = [(row, found) for row, found in answered if any(found)]
    rows = [(r, f) for r, f in rows if all(f) or all(c is None or c.group() in "xX" for c in f)]
    if len(rows) < _FEW_ROWS or all(c and c.group() == "-" for _, cells in rows for c in cells):
        return False
    for row, cells in rows:
        is_absent = len(cells) > 1 and all(c and flat(c.group()) in _NO for c in cells)
        for cell, (_, state) in reversed(list(zip(cells, states, strict=True))):
            if cell is None:
                continue
            denied = _denied(state, lexicon) if len(cells) == 1 else ""
            said = state if flat(cell.group()) in YES else denied
            row.text = f"{row.text[: cell.start()]}{said}  {row.text[cell.end() :]}"
        row.text += f"   {_ABSENT}" if is_absent else ""
    return True


def _is_filled(text: str, states: list[tuple[int, str]]) -> bool:
    """Tell whether a row has a word below each heading, or a cross below one of them."""
    found = [_answer_at(text, start) for start, _ in states]
    return any(c and c.group() in "xX" for c in found) or all(
        _stands_at(text, start) for start, _ in states
    )


def _stands_at(text: str, start: int) -> bool:
    """Tell whether a word begins below a heading, such as ``n/a`` among answers."""
    return any(abs(w.start() - start) <= _ASTRAY for w in _ENTRY.finditer(text))


def _answer_at(text: str, start: int) -> re.Match[str] | None:
    """The yes or no that stands below a heading; None for anything else, as ``no`` in prose."""
    near = (w for w in _ENTRY.finditer(text) if abs(w.start() - start) <= _ASTRAY)
    found = next((w for w in near if flat(w.group()) in YES | _NO), None)
    is_cell = found is not None and not _GOES_ON.match(text, found.end())
    return found if is_cell else None
