"""Signs that stand for something: legends, columns of letters and answers."""

import re
from collections.abc import Sequence
from itertools import groupby, takewhile

import msgspec

from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.features import NO, YES
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.language.words import KERB, PARTS, TELLS
from squibwise.intake.report.layout.marks import GONE, TICK
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line, Sheet, cell_of

_NUMBER = pattern(
    r"(?i)(?:\b((?:cod|kod|dtc)\w* ))?(?<![:=?] )(?:\bn(?:os?|\.?º)|№)(?:\.\s*| ?)"
    r"(?=\d{1,3}(?:-\d{1,2})?(?![\w/-]|[.,]\d| ?(?:%|(?:v|volts?|ohms?|ma)\b)))"
)
_LEGEND = pattern(
    r"(?<![^\W_/])\(?([A-Za-z]{1,3}(?:[/.][A-Za-z]\.?)?|[*+!?#])\)?\s?[=:]\s?"
    r"([^\W\d_]{3,}(?: (?![A-Za-z]{1,3}\)?\s?[=:])[^\W\d_]+){0,2}(?: \([^()]{3,30}\))?)"
)
_ARROW = pattern(r"<-+|-+>|[←→↑↓]")
_ARROWS = pattern(r"(?:^|(?<=[(,;:])\s?)(<-+|-+>|[←→↑↓])\s?[=:]?\s?([^\W\d_]{2,14})")
_WORDS_LEFT = 6  # words beside its signs of a line that is more than a legend
_SIGNS_OF_LEGEND = 2  # signs that make a line a legend
_FEW_ROWS = 3
_TICKED = "x"
_ROWS = 2  # of a table drawn by blanks
_MOST_COLUMNS = 60  # a line of more words is no heading
_ENTRY = pattern(r"[^\s|]+")
_BEFORE, _BEHIND = pattern(r"(?:\s\s|[\t|]\s?)$"), pattern(r"\s*$|\s\s|\s?[\t|]")
_ASTRAY = 2  # characters that a cell may stand beside its heading
_SEAT_LETTERS = ({"d": "driver", "p": "passenger"}, {"f": "Fahrer", "bf": "Beifahrer"})
_STATE = pattern(r"(?i)\W*(?:stat|[eé]tat|estado|stan|zust|situa)")
_STATE_LETTERS = tuple(
    {pair[0]: "present", pair[1]: "stored"} for pair in "ah as am ag ap ch cs pm ps ph".split()
)
_NOW, _ONCE = "present", "stored"
_LETTERS = 3  # of the longest cell in a column of letters
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


def spell_numbers(lines: list[Line], lexicon: Lexicon) -> None:
    """``fault no. 2`` denies nothing; ``code no. 12`` is a code where a lamp is spoken of."""
    numbered = [ln for ln in lines if _NUMBER.search(ln.text)]
    is_lamp = bool(numbered) and any(lexicon.may_name("flash", flat(ln.text)) for ln in lines)
    for line in numbered:
        line.text, *cells = (
            _NUMBER.sub(lambda m: m[1] if m[1] and is_lamp else f"{m[1] or ''}number ", t)
            for t in (line.text, *line.cells)
        )
        line.cells = (*cells,)


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
        found = [(m[1], _meant(m, lexicon)) for m in _LEGEND.finditer(line.text)]
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


def apply_arrows(lines: list[Line], lexicon: Lexicon) -> None:
    """Put a place where its arrow stands, once a line tells two: ``← links, → rechts``."""
    pairs = [(ln, dict(_ARROWS.findall(ln.text))) for ln in lines if _ARROW.search(ln.text)]
    told = next((t for _, t in pairs if len(t) > 1 and _are_places(list(t.values()), lexicon)), {})
    for line, own in pairs if told else ():
        line.text = _ARROWS.sub("", line.text) if own == told else line.text
        line.text = _ARROW.sub(lambda m: f" {told.get(m[0], m[0])} ", line.text)


def _are_places(words: list[str], lexicon: Lexicon) -> bool:
    said = ((words_in(word, lexicon, name) for name in lexicon.words) for word in words)
    return all(any(x.is_placed or x.features & KERB for x in each) for each in said)


def _meant(match: re.Match[str], lexicon: Lexicon) -> str:
    """The state that a sign of a legend stands for, or the fault: ``U = Unterbrechung``."""
    is_fault = "=" in match[0] and any(
        said.features & TELLS and not said.features & PARTS
        for said in (words_in(match[2], lexicon, language) for language in lexicon.words)
    )
    return _state_of(match[2], lexicon) or (match[2] if is_fault else "")


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
        told = [{cells[c] for _, cells in rows[1:]} - {""} for c in range(size)]
        named = (c for c, title in enumerate(rows[0][1]) if _state_of(title, lexicon))
        if any(told[c] and all(map(_is_answer, told[c])) for c in named):
            for line, cells in rows:
                line.cells, line.text = tuple(cells), "\t".join(cells)


def apply_yes_columns(lines: list[Line], lexicon: Lexicon) -> None:
    """Put the heading of a column of yes and no, such as ``active``, where it says yes."""
    rows = [ln for ln in lines if ln.cells]
    if len(rows) <= _ROWS:
        return
    named = {c: _state_of(name, lexicon) for c, name in enumerate(rows[0].cells)}
    if any("status:present" in lexicon.first_meanings(state) for state in named.values()):
        named |= {c: _ONCE for c, name in enumerate(rows[0].cells) if lexicon.is_earlier(name)}
    states = {c: state for c, state in named.items() if state and _answers(rows[1:], c)}
    for row in rows[1:]:
        said = {_said_in(row, column) for column in states}
        for column, state in states.items():
            _say(row, column, state, _denied(state, lexicon) if len(states) == 1 else "")
        if len(states) > 1 and said <= _NO:
            _say_absent(row)


def _say_absent(row: Line) -> None:
    row.cells = (*row.cells, GONE)
    row.text += f"\t{GONE}"


def _denied(state: str, lexicon: Lexicon) -> str:
    """What no says in the only column of answers: that a fault is not present, or not there."""
    means = lexicon.first_meanings(state)
    return "stored" if "status:present" in means else GONE if "defect" in means else ""


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
        then = told - now
        is_one = len(then) == 1 and _STATE.match(heading) and not any(map(lexicon.is_state, then))
        if now and then and (is_one or all(map(lexicon.is_earlier, then))):
            signs.append({t: t if t in now else _ONCE for t in told})
        for letters in signs:
            is_short = all(len(t) <= _LETTERS or t in letters for t in told)
            if letters.keys() <= told and is_short:
                for row in rows:
                    _put(row, column, letters.get(flat(cell_of(row, column)).strip()))


def _put(row: Line, column: int, said: str | None) -> None:
    if said is not None:
        cells = list(row.cells)
        cells[column] = said
        row.cells = tuple(cells)
        row.text = "\t".join(cells)


def _answers(rows: list[Line], column: int) -> bool:
    """Tell whether a column says yes and no."""
    told = {_said_in(r, column) for r in rows} - {""}
    return bool(told & YES) and len(told - YES - _NO) <= len(told) // 2


def _said_in(row: Line, column: int) -> str:
    """What a cell says, folded; a tick says yes."""
    cell = flat(cell_of(row, column)).strip()
    return _TICKED if TICK.fullmatch(cell) else cell


def _say(row: Line, column: int, state: str, denied: str) -> None:
    """Replace yes by the state that it affirms, and no by what that leaves."""
    said = _said_in(row, column)
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
    return any(map(_is_answer, _ENTRY.findall(row.text)))


def _state_columns(text: str, lexicon: Lexicon) -> list[tuple[float, str]]:
    """Where the middles of the words of a heading are that name a state, and the states."""
    words = list(_ENTRY.finditer(text))
    if not _FEW_ROWS <= len(words) <= _MOST_COLUMNS or any(c.isdigit() for c in text):
        return []
    titles = (w for w in words if flat(w.group()) not in YES | _NO)
    named = [(_middle(w), _state_of(w[0], lexicon)) for w in titles]
    return [(middle, state) for middle, state in named if state]


def _middle(word: re.Match[str]) -> float:
    return (word.start() + word.end()) / 2


def _answer_columns(below: list[Line], states: list[tuple[float, str]], lexicon: Lexicon) -> bool:
    """Put states where the rows below a heading say yes, as long as its columns are filled.

    Returns:
        True when there are such rows.
    """
    answered = [(row, _answers_of(row.text, states)) for row in below]
    rows = [*takewhile(lambda pair: pair[1] is not None, answered)]
    told = {flat(c.group()) for _, cells in rows for c, _ in cells or ()} - {"-"}
    if len(rows) < _ROWS or not told:
        return False
    for row, cells in rows:
        found = cells or []
        is_absent = len(found) > 1 and all(flat(c.group()) in _NO for c, _ in found)
        for cell, state in reversed(found):
            denied = _denied(state, lexicon) if len(states) == 1 else ""
            said = denied if flat(cell.group()) in _NO else state
            row.text = f"{row.text[: cell.start()]}{said}  {row.text[cell.end() :]}"
        row.text += f"   {GONE}" if is_absent else ""
    return True


def _answers_of(
    text: str, states: list[tuple[float, str]]
) -> list[tuple[re.Match[str], str]] | None:
    """The answers of a row, each with the state of its column; None where the row is none.

    As many as there are columns follow each other; of fewer, each a tick, the place decides.
    """
    words = [*_ENTRY.finditer(text)][1:]
    cells = [w for w in words if _is_answer(w[0]) and _stands_alone(text, w)]
    if len(cells) > len(states):
        near = [min(cells, key=lambda c: abs(_middle(c) - at)) for at, _ in states]
        cells = sorted({*near}, key=_middle)
    if len(cells) == len(states):
        return [(cell, state) for cell, (_, state) in zip(cells, states, strict=True)]
    if len(cells) == 1 and flat(cells[0][0]) not in _NO:
        return [(cells[0], min(states, key=lambda s: abs(s[0] - _middle(cells[0])))[1])]
    is_filled = all(any(abs(_middle(w) - at) <= _ASTRAY for w in words) for at, _ in states)
    return [] if is_filled else None  # "n/a"


def _stands_alone(text: str, word: re.Match[str]) -> bool:
    """Tell whether blanks part a word from those beside it."""
    return bool(_BEFORE.search(text[: word.start()]) and _BEHIND.match(text[word.end() :]))


def _is_answer(word: str) -> bool:
    return flat(word) in YES | _NO or bool(TICK.fullmatch(word))
