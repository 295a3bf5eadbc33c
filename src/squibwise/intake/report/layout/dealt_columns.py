"""Codes side by side below headings for states or places: each has that of its column.

``CURRENT      HISTORY`` or ``LEFT | RIGHT`` above ``B1A11 curtain open   B1B11 curtain open``.
"""

import re
from collections.abc import Sequence
from itertools import takewhile

from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon
from squibwise.intake.report.language.words import KERB
from squibwise.intake.report.line_words import words_in

_CODED = pattern(r"\W*(?=[0-9A-Z]*\d)[0-9A-Z]{4,7}\b\S*(?:\s+\S|$)")
_BEGINS = re.compile(
    r"^(?=\s*(?:[BCPU]\d|\d\w{3}))|(?<=\S)\s{2,}+(?=[BCPU]\d)|(?<=\S)\s{3,}+(?=\d\w{3})"
)
_IN_BRACKETS = pattern(r"[(\[][BCPU]\d[0-9A-F]{3}")
_BARS = re.compile(r"\t|\s*[|;]\s*")
_PIECE = pattern(r"\S+(?: \S+)*")
_WORD = pattern(r"[^\W_]")
_TITLE = pattern(r"[^\W\d_]+(?:['/ ][^\W\d_]+){0,2}")
_PLACE = frozenset({"skip", "side", "byside", *KERB})
_ROWS = 400  # below one heading
_CELL = 10  # as wide as a cell is taken to be
_ASTRAY = 2  # characters that a code may stand beside the others of its column


def deal_columns(raws: Sequence[RawLine], lexicon: Lexicon) -> list[RawLine]:
    """Return the lines, each code in a column of such headings as a line of its own."""
    found: list[RawLine] = []
    at = 0
    while at < len(raws):
        titles = _titles_in(raws[at], lexicon)
        rows = _rows_below(raws[at + 1 : at + _ROWS], len(titles)) if titles else []
        found += _dealt(rows, titles) if rows else [raws[at]]
        at += 1 + len(rows)
    return found


def _columns(raw: RawLine) -> dict[int, str]:
    """What stands in the columns of a line, by their number or by where they begin."""
    cells = raw.cells or tuple(_BARS.split(raw.text.strip("|")))
    if len(cells) > 1:
        return {_CELL * at: text.strip() for at, text in enumerate(cells) if text.strip()}
    starts = [m.end() for m in _BEGINS.finditer(raw.text)]
    if not starts or raw.text[: starts[0]].strip():
        return {m.start(): m[0] for m in _PIECE.finditer(raw.text)}
    ends = [*starts[1:], len(raw.text)]
    texts = (raw.text[start:end] for start, end in zip(starts, ends, strict=True))
    return {
        start + len(t) - len(t.lstrip()): t.strip() for start, t in zip(starts, texts, strict=True)
    }


def _titles_in(raw: RawLine, lexicon: Lexicon) -> dict[int, str]:
    """The states or places that all columns of a heading name, each another; none otherwise."""
    cells = _columns(raw)
    if len(cells) < 2 or not all(map(_TITLE.fullmatch, cells.values())):
        return {}
    for read in (_state_of, _place_of):
        told = {at: read(text, lexicon) for at, text in cells.items()}
        if len({*told.values()} - {""}) == len(cells):
            return told if read is _state_of else cells
    return {}


def _state_of(title: str, lexicon: Lexicon) -> str:
    said = (words_in(title, lexicon, language) for language in lexicon.words)
    return next((w.statuses[0] for w in said if w.statuses and not w.features - {"skip"}), "")


def _place_of(title: str, lexicon: Lexicon) -> str:
    """The place that a heading names, and nothing more, in a form of its own."""
    for language in lexicon.words:
        words = words_in(title, lexicon, language)
        if words.is_sided and not (words.features - _PLACE or words.statuses or words.voices):
            return " ".join(sorted({*words.seats, *words.sides, *words.features & KERB}))
    return ""


def _rows_below(raws: Sequence[RawLine], width: int) -> list[RawLine]:
    """The rows that hold nothing but codes with their words, one of them in every column.

    None where an entry goes on below.
    """
    rows = [*takewhile(lambda raw: _is_row(raw, width) or not _WORD.search(raw.text), raws)]
    after = raws[len(rows)] if len(rows) < len(raws) else None
    goes_on = after is not None and not after.cells and after.text[:1].isspace()
    is_full = any(_is_row(raw, width) and len(_columns(raw)) == width for raw in rows)
    return rows if is_full and not goes_on else []


def _is_row(raw: RawLine, width: int) -> bool:
    """Tell whether every column begins with a code, or each heading has a piece, some with one."""
    cells = [*_columns(raw).values()]
    is_coded = bool(cells) and all(map(_CODED.match, cells))
    return is_coded or (len(cells) == width and any(map(_IN_BRACKETS.search, cells)))


def _dealt(rows: Sequence[RawLine], titles: dict[int, str]) -> list[RawLine]:
    """Each code with the heading of its column, where its order or its place shows which."""
    read = [(raw, _columns(raw)) for raw in rows if _is_row(raw, len(titles))]
    starts = {at: {at} for at in titles}
    for _, cells in read:
        if len(cells) == len(titles):
            for title, at in zip(titles, cells, strict=True):
                starts[title].add(at)
    found: list[RawLine] = []
    for raw, cells in read:
        is_full = len(cells) == len(titles)
        order = titles if is_full else [_column_at(at, starts) for at in cells]
        for text, column in zip(cells.values(), order, strict=True):
            said = f"{text}   {titles[column]}" if column is not None else text
            found.append(RawLine(number=raw.number, text=said))
    return found


def _column_at(at: int, starts: dict[int, set[int]]) -> int | None:
    """The only column in which a code begins where others do; None where none or two may be."""
    near = [t for t, told in starts.items() if any(abs(at - one) <= _ASTRAY for one in told)]
    return near[0] if len(near) == 1 else None
