"""Units named by a column of a table, or by the first words of a printed one."""

from collections.abc import Sequence
from itertools import pairwise

from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.features import read_words
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.phrases import find_hits, likeliest
from squibwise.intake.report.language.words import has_part
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line, cell_of
from squibwise.intake.report.units.headings import MOST_WORDS
from squibwise.intake.report.units.line_units import UNIT_LABELS, name_unit
from squibwise.model.report import Unit

_UNITS = pattern(rf"\W*(?:{UNIT_LABELS})")
_CODED = pattern(r"(?<!\w)[BCPU][0-9A-F]{4}(?!\w)")
_COUNTER = pattern(r"\W*([^\W\d_]+)\.?\s?[:=]?\s?\d{1,4}\s*")
_READING = pattern(  # "licznik 3   200 981 km", "Temperatuur 21 °C"
    r"(?i)\W*(?:[^\W\d_]{1,16}[.:]?[\s:=]{1,3}){1,4}(?:\d{1,4}[\s,;]+)?-?\d[\d .,']*\s?"
    r"(?:km(?:/[hu])?|mi|miles|mil|mph|h|°\s?[cf]|rpm)\.?\s*"
)
_KNOWN_CELLS = 0.4  # share of a column's cells that name a unit of the car
_PART_CELLS = 0.3  # share of a column's cells that name a part
_BLANK_CELLS = 0.3  # share of blank cells from which on they stand for the one above
_PRINTED = pattern(r"\s{2,}")  # what parts the columns of a printed table
_NAME = pattern(r"[^\W\d]\D{1,24}")
_PAGE = pattern(
    r"\W*([^\W\d_]+)\.? ?\d{1,3}(?: ?(?:/|[^\W\d_]{1,3}) ?\d{1,3})?(?!\w)[\W_]*(?=[^\W\d_])"
)
_COLUMNS = 8
_FEW_ROWS = 3


def head_sheets(raws: Sequence[RawLine], lexicon: Lexicon) -> list[RawLine]:
    """Return the lines, the names of sheets above their rows where one tells a unit or a state."""
    names = {raw.sheet for raw in raws} - {""}
    said = (words_in(name, lexicon, language) for name in names for language in lexicon.words)
    is_told = any(name_unit(name, lexicon)[0] != "unknown" for name in names)
    is_told = is_told or any(words.is_placed or words.statuses for words in said)
    heads = [[RawLine(number=r.number, text=r.sheet)] if is_told and r.sheet else [] for r in raws]
    return [line for head, raw in zip(heads, raws, strict=True) for line in (*head, raw)]


def drop_pages(lines: list[Line], lexicon: Lexicon) -> None:
    """Take ``Page 2/3`` off a line that names a unit behind it."""
    for line in lines:
        page = None if line.cells else _PAGE.match(line.text)
        if page is None or flat(page[1]) not in lexicon.small.papers:
            continue
        if name_unit(line.text[page.end() :], lexicon)[0] != "unknown":
            line.text = line.text[page.end() :]


def drop_readings(lines: list[Line], lexicon: Lexicon) -> None:
    """``licznik 3   200 981 km`` says when a fault came and how often, and heads no unit."""
    for above, line in pairwise(lines):
        counter = None if line.cells else _COUNTER.fullmatch(line.text)
        is_below = counter is not None and _CODED.search(above.text) is not None
        is_counter = counter and is_below and flat(counter[1]) in lexicon.small.counters
        if is_counter or _READING.fullmatch(line.text):
            line.role = "meta"


def take_module_column(lines: list[Line], lexicon: Lexicon) -> None:
    """Set the module of every row of a table that has a column for it, and take it off the text."""
    rows = [ln for ln in lines if ln.cells]
    if len(rows) < _FEW_ROWS:
        return
    columns = range(min(max(len(r.cells) for r in rows), _COLUMNS))
    units = {c: _column_units(rows, c, lexicon) for c in columns}
    module = next((c for c in columns if units[c]), None)
    same = {c for c in columns if _is_same_number(rows, c)}
    if module is None and not same:
        return
    current: tuple[str, Unit] | None = None
    blank = sum(module is not None and not cell_of(r, module) for r in rows)
    for row in rows:
        cell = cell_of(row, module) if module is not None else ""
        if cell and module is not None:
            current = (cell, units[module].get(cell, "unknown"))
        elif blank < _BLANK_CELLS * len(rows):
            current = ("", "unknown") if current else None
        if current is not None and row is not rows[0]:
            row.module, row.unit = current
        kept = (c for i, c in enumerate(row.cells) if i != module and i not in same and c)
        row.text = "\t".join(kept)


def take_module_names(lines: list[Line], lexicon: Lexicon) -> None:
    """Set the unit of the rows of a printed table that each begin with the name of a unit."""
    rows = [ln for ln in lines if _is_printed_row(ln)]
    names = [_PRINTED.split(ln.text.strip(), maxsplit=1)[0] for ln in rows]
    units = _units_of(list(dict.fromkeys(names)), lexicon)
    for line, name in zip(rows, names, strict=True) if units else ():
        line.module, line.unit = name, units[name]
        line.text = line.text.strip().removeprefix(name).strip()


def _is_printed_row(line: Line) -> bool:
    """Tell whether a line stands in columns, the first of which holds letters and no code."""
    pieces = [] if line.cells else _PRINTED.split(line.text.strip())
    return len(pieces) >= _FEW_ROWS and bool(_NAME.fullmatch(pieces[0]))


def _column_units(rows: list[Line], column: int, lexicon: Lexicon) -> dict[str, Unit]:
    """The units that a column's cells name; empty when it is no column of units."""
    cells = list(dict.fromkeys(c for r in rows[1:] if (c := cell_of(r, column))))
    return _units_of(cells, lexicon, is_headed=bool(_UNITS.match(flat(cell_of(rows[0], column)))))


def _units_of(cells: list[str], lexicon: Lexicon, *, is_headed: bool = False) -> dict[str, Unit]:
    """The units that the cells of a column name; empty when it is no column of units.

    Parts of the car, such as brakes, name units only below a heading for them, or beside a unit
    that is sure to be another.
    """
    if len(cells) < 2 or any(len(c.split()) > MOST_WORDS or c.isdecimal() for c in cells):
        return {}
    language = likeliest(lexicon, cells)
    if sum(_names_part(c, lexicon, language) for c in cells) > _PART_CELLS * len(cells):
        return {}  # a column of parts
    named = {c: name_unit(c, lexicon) for c in cells}
    known = [c for c in cells if named[c][0] != "unknown"]
    foreign = any(unit == "other" and (sure or is_headed) for unit, sure in named.values())
    if is_headed and ("restraint", True) in named.values() and len(cells) >= _FEW_ROWS:
        return {c: unit for c, (unit, _) in named.items()}
    if not foreign or len(known) < 2 or len(known) < _KNOWN_CELLS * len(cells):
        return {}
    return {c: unit for c, (unit, _) in named.items()}


def _names_part(cell: str, lexicon: Lexicon, language: str) -> bool:
    tokens = tokenise(cell)
    words = read_words(tokens, find_hits(lexicon, tokens, language))
    return has_part(words) or words.features - {"skip"} > {"bag"}


def _is_same_number(rows: list[Line], column: int) -> bool:
    """Tell whether a column repeats one number, such as that of the order, in every row."""
    cells = {cell_of(r, column) for r in rows[1:]}
    return len(cells) == 1 and len(rows) > _FEW_ROWS and next(iter(cells)).isdecimal()
