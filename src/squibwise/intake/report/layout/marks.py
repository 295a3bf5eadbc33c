"""Columns that say by where something stands in them whether a fault is there: ticks, two times.

A cross below ``yes`` or ``no``; a list of the day it came in beside one of today.
"""

import re
from functools import lru_cache
from itertools import islice

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.features import NO, YES
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.words import has_fault
from squibwise.intake.report.line_words import language_of, without_codes, words_in
from squibwise.intake.report.sheet import Line

GONE = "not there"  # of a row that its column denies
_GOOD, _BAD = "ok", "defect"  # a part that passed, or failed
_PIECE = pattern(r"\S+(?: \S+)*")
_ENTRY = pattern(r"\S+")
TICK = pattern(r"(?:[xX*+●•✓✔✗✘☒☑]|\([xX]\)|\[[xX]\])")
NOTHING = pattern(
    r"[\W_]*|0|(?i:none|clear|nil|nothing|nix|nichts|keiner?|keine|rien|aucune?|nada|ningun[oa]?|niente|nessun[oa]?|"
    r"nenhum[a]?|nic|brak|zaden|niets|geen)"
)
_DATE = pattern(r"\b\d{1,2}[./-]\d{1,2}\b|\b(?:19|20)\d{2}\b")
_CODE = pattern(r"(?<![\w.])(?:[BCPU][0-9A-Fa-f]{4}|(?=[0-9A-F]*\d)[0-9A-F]{4,6})(?![\w.])")
_RESULT = pattern(
    r"(?i)(?:(?<!\s)\s{2,}|\t|(?<!\s)\s*\|\s*|(?P<said>:\s))(?:pass(?:ed)?|(?P<failed>fail(?:ed)?))\s*\|?\s*$"
)
_ASTRAY_TICK = 7  # characters that a tick may stand beside its heading
_CLEARLY = 2  # characters that it must stand nearer to one than to the other
_TITLES = 4  # words of a heading of ticks
_RANK_WORDS = 3  # of a heading of a reading
_ROWS = 2  # that make a table


class _Field(msgspec.Struct, frozen=True):
    """A piece of a line, and where it begins and ends."""

    text: str
    start: int
    end: int

    @property
    def middle(self) -> float:
        """Where its middle is."""
        return (self.start + self.end) / 2


def apply_ticks(lines: list[Line]) -> None:
    """Take away what a tick below ``no`` stands for, in a table drawn with blanks."""
    for at, head in enumerate(lines[:-_ROWS]):
        titles = [_Field(flat(m[0]), *m.span()) for m in _ENTRY.finditer(head.text)]
        answers = [t for t in titles if len(t.text) > 1 and t.text in YES | NO]
        if head.cells or len(titles) > _TITLES or len({t.text in YES for t in answers}) < _ROWS:
            continue
        ticked = [(row, tick) for row in lines[at + 1 :] if (tick := _tick_of(row, answers))]
        if len(ticked) < _ROWS:
            continue
        head.role = "meta"
        for row, (start, end, is_yes) in ticked:
            row.text = f"{row.text[:start]} {row.text[end:]}"
            row.text += "" if is_yes else f"   {GONE}"


def apply_results(lines: list[Line]) -> None:
    """Read the last column of a list that calls some passed and others failed.

    A code that passed is gone, one that failed needs no more words, and so has what stands before
    a colon; else a part is good, or has a fault that is not told.
    """
    found = [(ln, m) for ln in lines if (m := _RESULT.search(ln.text)) is not None]
    if not any(m["failed"] for _, m in found):
        return
    for line, match in found:
        is_sentence = match["said"] or _CODE.search(line.text)
        passed, failed = (GONE, "") if is_sentence else (_GOOD, _BAD)
        said = failed if match["failed"] else passed
        line.text = f"{line.text[: match.start()]}   {said}".rstrip()
        line.cells = (*line.cells[:-1], said) if line.cells else ()


def deny_by_columns(lines: list[Line], lexicon: Lexicon, language: str | None) -> None:
    """End the fault of a row that has ``none`` where the column of other rows tells theirs.

    Beside a fault of its own row ``none`` is of another column, and denies nothing.
    """
    rows = [ln for ln in lines if ln.cells and any(_CODE.search(c) for c in ln.cells)]
    spoken = [language_of(ln, lexicon, language) for ln in rows]
    told = [
        tuple(has_fault(words_in(c, lexicon, own)) for c in ln.cells)
        for ln, own in zip(rows, spoken, strict=True)
    ]
    for row, own in zip(rows, told, strict=True):
        others = [t for t in told if len(t) == len(own)]
        for at, cell in enumerate(row.cells):
            said = flat(cell.strip())  # "brak" is "missing" too
            is_none = said.isalpha() and said != "brak" and NOTHING.fullmatch(said)
            if is_none and any(own):
                _blank(row, at)
            elif is_none and any(t[at] for t in others):
                row.text, row.cells = f"{row.text}   {GONE}", (*row.cells, GONE)
                row.tokens = tokenise(without_codes(row))


def _blank(row: Line, at: int) -> None:
    """Take the word of a cell off a row; all else stays where it stands."""
    cell = row.cells[at].strip()
    alone = re.finditer(rf"(?:^|(?<=[|;\t])) *({re.escape(cell)}) *(?=[|;\t]|$)", row.text)
    earlier = sum(c.strip() == cell for c in row.cells[:at])
    found = next(islice(alone, earlier, None), None)
    if found is not None:
        start, end = found.span(1)
        row.text = f"{row.text[:start]}{'':{end - start}}{row.text[end:]}"
        row.cells = (*row.cells[:at], "", *row.cells[at + 1 :])
        row.tokens = tokenise(without_codes(row))


def _tick_of(row: Line, answers: list[_Field]) -> tuple[int, int, bool] | None:
    """Where the only tick of a row stands, and whether that is below a yes."""
    ticks = [m for m in _ENTRY.finditer(row.text) if TICK.fullmatch(m[0])]
    if row.cells or len(ticks) != 1:
        return None
    tick = _Field(ticks[0][0], *ticks[0].span())
    near, next_best = sorted((abs(a.middle - tick.middle), a.text in YES) for a in answers)[:2]
    if near[0] > _ASTRAY_TICK or next_best[0] - near[0] < _CLEARLY:
        return None
    return tick.start, tick.end, near[1]


def apply_times(lines: list[Line], lexicon: Lexicon) -> None:
    """End what two lists that stand side by side have for an earlier day, and not for the later."""
    for at, head in enumerate(lines[:-_ROWS]):
        fields = _fields(head)
        if len(fields) < _ROWS:
            continue
        times = [(f, w) for f in fields if (w := time_of(f.text, lexicon))]
        if len(times) != _ROWS or times[0][1] == times[1][1] != "day" or _CODE.search(head.text):
            continue
        late = next((at for at, (_, when) in enumerate(times) if when == "late"), 1)
        early = next((at for at, (_, when) in enumerate(times) if when == "early"), 1 - late)
        rows = [r for r in lines[at + 1 :] if any(_CODE.search(f.text) for f in _fields(r))]
        first, last = times[early][0], times[1 - early][0]
        held = [(row, _at(row, first, last), _at(row, last, first)) for row in rows]
        if len(held) < _ROWS or not any(_CODE.search(now) for _, _, now in held):
            continue
        head.role = "meta"
        for row, before, now in held:
            _end_first(row, before, now)


def _fields(line: Line) -> list[_Field]:
    """The columns of a line: its cells by their number, or what blanks part by where it stands."""
    if line.cells:
        return [_Field(c, 10 * at, 10 * at) for at, c in enumerate(line.cells)]
    return [_Field(m[0], *m.span()) for m in _PIECE.finditer(line.text)]


def _at(row: Line, title: _Field, other: _Field) -> str:
    """What stands last of all that is nearer to one heading than to another; empty for nothing."""
    fields = _fields(row)
    near = (f for f in fields if abs(f.start - title.start) < abs(f.start - other.start))
    return next((f.text for f in reversed([*near])), "")


def _end_first(row: Line, first: str, last: str) -> None:
    """Say of a fault that stood there first that it is gone, where nothing stands there now."""
    if _CODE.search(first) and not _CODE.search(last) and NOTHING.fullmatch(flat(last)):
        row.text += f"   {GONE}"
        row.cells = (*row.cells, GONE) if row.cells else ()


@lru_cache(maxsize=512)
def time_of(text: str, lexicon: Lexicon) -> str:
    """Return which time a heading names, ``early``, ``late`` or a ``day``; empty for none."""
    texts = [t.text for t in tokenise(text)]
    is_short = len(texts) <= _RANK_WORDS and not any(w.isdecimal() for w in texts)
    reads = lexicon.small.reads if is_short else ()  # "first", "after repair"
    first = texts[:1] if is_short else []  # "vor Reparatur"
    ranked = next(filter(None, (rank_of(w, lexicon) for w in (texts, [*texts, *reads], first))), "")
    if ranked:
        return ranked
    means = {m for word in texts for m in lexicon.first_meanings(word)}
    if means & {"after", "status:present"}:
        return "late"
    is_early = any(w in lexicon.small.previous or lexicon.is_earlier(w) for w in texts)
    if "before" in means or is_early:
        return "early"
    return "day" if _DATE.search(text) else ""


def rank_of(texts: list[str], lexicon: Lexicon) -> str:
    """Return whether words name the earlier of two readings or the later; empty for neither.

    ``vor`` and ``nach`` alone, ``second read``, ``lectura de salida``, ``scan 2``.
    """
    small = lexicon.small
    is_alone, is_read = len(texts) == 1, not small.reads.isdisjoint(texts)
    named = [(n, {*words, str(n + 1)}) for n, words in enumerate(small.ranks) if is_read]
    ranks = {n for n, words in named if not words.isdisjoint(texts)}
    if (is_alone and texts[0] in small.before) or ranks == {0}:
        return "early"
    return "late" if (is_alone and texts[0] in small.after) or ranks == {1} else ""
