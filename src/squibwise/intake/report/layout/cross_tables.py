"""Tables with places on one edge and parts on the other: a cell is of its row and its column.

``curtain   ok   open`` below ``left   right`` is the right curtain, ``left   ok   open`` below
``curtain   pretensioner`` the left pretensioner, however the table is drawn.
"""

from collections.abc import Callable, Iterator
from functools import cached_property

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.features import NO, YES
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.phrases import find_claims, languages
from squibwise.intake.report.language.words import FAULTS, HEADS, KERB, Words
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line

_SIGNS = (r"\|", r"\t", ";", r",\s", r"\s{2,}")  # what parts fields, the surest first
_DRAWN = [pattern(rf"(?:(?<=^)|{sign})\s*(?P<field>\S.*?)?\s*(?={sign}|$)") for sign in _SIGNS]
_DRAWN.append(pattern(r"(?P<field>\S+)"))
_BLANKS, _WORDS = len(_SIGNS) - 1, len(_SIGNS)
_CELLS = -1  # fields that are cells already
_SPLIT = "|\t"  # the first of them, at which a field may be empty
_MERGED = pattern(r"^(?:\t|\s{6,}\S)|\t\s*\t")  # a row with an empty cell
_RULED = pattern(r"(?=.*[-=])\W+")  # "|---|---|", "====="
_NUMBERED = pattern(r"\d\d")
_CODED = pattern(r"(?i)\b(?=\w*\d)\w{4,7}\b|(?<![\d.,])\b\d{2,3}$|\b\d-\d\b")
_MEASURED = pattern(
    r"(?i)[<>~\s]*\d{1,4}(?:[.,]\d{1,3}(?!\d).{0,6}|\s?[km]?(?:ohms?|Ω|v|mm)\b.{0,3})"
)
_NOTHING = pattern(r"[\W_]*|n/?a\b.*")
_ASTRAY = 2  # characters that a cell may stand beside its heading
_COLUMNS, _MOST_COLUMNS = 2, 12
_TITLE_WORDS = 4  # of the longest heading of a column
_BESIDE = frozenset({"skip", "side", "byside"})
_CORNERS = frozenset({"fr", "rr"})  # corners beside others, else front and rear
_TOLD = frozenset({"bad", "yes", "other"})
GONE = "not there"  # of a row that all its columns of answers deny


class _Head(msgspec.Struct, frozen=True):
    """The head of a table.

    Attributes:
        drawn: Number of what parts its fields.
        fields: Its fields by their column, or by where they begin if blanks part them.
        named: Those that are places, or parts.
        has_places: They are places, and parts lead the rows.
    """

    drawn: int
    fields: dict[int, str]
    named: dict[int, str]
    has_places: bool


class _Row(msgspec.Struct, frozen=True):
    """A row below a head.

    Attributes:
        line: It.
        fields: Its fields by their column, or by where they begin.
        cells: Its fields below what the head names, by the field of the head.
        verdicts: What each of them says: ``bad``, ``good``, ``yes``, ``measured``, ``nothing``, or
            ``other`` where nobody knows.
    """

    line: Line
    fields: dict[int, str]
    cells: dict[int, int]
    verdicts: dict[int, str]


def apply_cross_tables(lines: list[Line], lexicon: Lexicon) -> list[Line]:
    """Return the lines, with a line for each filled cell of a table of places and parts."""
    tables = _Tables(lines, lexicon)
    tables.fill_merged()
    found: list[Line] = []
    at = 0
    while at < len(lines):
        found.append(lines[at])
        table = tables.below(at)
        at += 1
        if table is not None:
            lines[at - 1].role = "meta"  # it says nothing of all the rows below
            head, rows = table
            has_answers = any("yes" in row.verdicts.values() for row in rows)
            found += [x for row in rows for x in _said_of(row, head, has_answers)]
            at += len(rows)
    return found


class _Tables:
    """The tables of a report. A class because each step needs its lines and languages."""

    def __init__(self, lines: list[Line], lexicon: Lexicon) -> None:
        self.lines, self.lexicon = lines, lexicon

    @cached_property
    def names(self) -> list[str]:
        """The languages that a heading may be in, the report's own first."""
        words = [t.text for line in self.lines for t in tokenise(line.text)]
        scores = languages(self.lexicon, words)
        return sorted(scores, key=lambda name: -scores[name])

    def fill_merged(self) -> None:
        """Give a row the part, or the place, of the row above where one cell stands for both.

        ``pretensioner   left   open`` above ``   right   shorted``.
        """
        for at, row in enumerate(self.lines):
            if not _MERGED.search(row.text) and "" not in row.cells:
                continue
            above = next((ln for ln in reversed(self.lines[:at]) if ln.text.strip()), None)
            sign = next((at for at, sign in enumerate(_SPLIT) if sign in row.text), _BLANKS)
            drawn = _CELLS if row.cells else sign
            if above is not None and bool(above.cells) == bool(row.cells):
                self._fill(row, above, drawn)

    def _fill(self, row: Line, over: Line, drawn: int) -> None:
        """Fill the empty cell of a row below the one that stands for both."""
        fields, over_fields = _all_fields(row, drawn), _all_fields(over, drawn)
        own, above = ({at: t for at, t in f.items() if t} for f in (fields, over_fields))
        both = {at: above[at] for at in self._merged(own, above)}
        if not both:
            return
        fields |= both
        filled = _with_fields(row, fields)
        row.text, row.cells = filled.text, filled.cells
        if 0 <= drawn < len(_SPLIT):  # the next row stands below this one
            row.text = _SPLIT[drawn].join(fields.values())
        elif drawn == _BLANKS:
            row.text = ""
            for at in sorted(fields):
                row.text = (f"{row.text}  " if row.text else "").ljust(at) + fields[at]

    def _merged(self, own: dict[int, str], above: dict[int, str]) -> set[int]:
        """The fields above that a row has not: its part, or the place and state that lead both."""
        named = [at for at, text in own.items() if self._any_means(text, _names_part)]
        places = [at for at, text in own.items() if self._any_means(text, _is_place)]
        states = any(self._any_means(text, _is_state) for text in own.values())
        blank = {at: text for at, text in above.items() if at not in own}
        lead = {at for at, text in blank.items() if not places and self._any_means(text, _is_place)}
        lead |= {
            at for at, text in blank.items() if not states and self._any_means(text, _is_state)
        }
        if named and max(lead, default=0) < min(named) and lead:
            return lead
        parts = [at for at, text in above.items() if self._any_means(text, _is_part)]
        is_led = parts == [min(above)] and any(map(_CODED.search, own.values()))
        is_led = is_led or any(self._any_means(above.get(at, ""), _is_place) for at in places)
        is_merged = len(parts) == 1 and parts[0] not in own and len(own) > 1
        return {*parts} if is_merged and is_led and not named else set()

    def below(self, at: int) -> tuple[_Head, list[_Row]] | None:
        """The table that a line heads; None where it heads none."""
        for head in self._heads(self.lines[at]):
            rows: list[_Row] = []
            for line in self.lines[at + 1 :]:
                row = self._row(line, head)
                if row is None:
                    break
                rows.append(row)
            if _is_table(rows):
                return head, rows
        return None

    def _heads(self, line: Line) -> Iterator[_Head]:
        if _NUMBERED.search(line.text):
            return
        for drawn in (_CELLS,) if line.cells else range(len(_DRAWN)):
            fields = _fields_of(line, drawn)
            titles = {at: text for at, text in fields.items() if text}
            if not _COLUMNS <= len(titles) <= _MOST_COLUMNS:
                continue
            if any(len(text.split()) > _TITLE_WORDS for text in titles.values()):
                continue
            for has_places, means in ((True, _is_place), (False, _is_part)):
                named = self._named(titles, means, is_strict=drawn == _WORDS)
                if len({flat(text) for text in named.values()}) == len(named) >= _COLUMNS:
                    yield _Head(drawn, fields, named, has_places)

    def _named(
        self, titles: dict[int, str], means: Callable[[Words], bool], *, is_strict: bool
    ) -> dict[int, str]:
        """The headings that mean a place, or a part; strict: all but one before them, or none."""
        named = {}
        for at, text in reversed(titles.items()):
            if self._any_means(text, means):
                named[at] = text
            elif is_strict and at > min(titles) and flat(text) not in _CORNERS:
                return {}
        has_corners = any(self._any_means(text, _is_corner) for text in named.values())
        corners = {at for at, text in titles.items() if has_corners and flat(text) in _CORNERS}
        return {at: text for at, text in titles.items() if at in named or at in corners}

    def _any_means(self, text: str, means: Callable[[Words], bool]) -> bool:
        """Tell whether a text means something in the report's language, or in another."""
        texts = {t.text for t in tokenise(text)} - self.lexicon.base
        known = (name for name in self.names if texts <= self.lexicon.words[name])
        own = [*known] if texts else self.names[:1]
        return any(means(words_in(text, self.lexicon, name)) for name in own)

    def _row(self, line: Line, head: _Head) -> _Row | None:
        """A line as a row below a head; None where it is none."""
        if bool(line.cells) != (head.drawn == _CELLS) or not line.text.strip():
            return None
        fields = _fields_of(line, head.drawn)
        if _RULED.fullmatch(line.text):
            return _Row(line, fields, {}, {})
        cells = _cells_below(head, fields)
        keys = [text for at, text in fields.items() if text and at not in cells.values()]
        if not cells or not keys or (head.drawn >= _BLANKS and min(fields) in cells.values()):
            return None
        if not head.has_places and not self._any_means(keys[0], _is_place):
            return None
        verdicts = {at: self._verdict(fields[cell]) for at, cell in cells.items()}
        is_unsure = head.drawn == _WORDS and "other" in verdicts.values()
        return None if is_unsure else _Row(line, fields, cells, verdicts)

    def _verdict(self, text: str) -> str:
        plain = flat(text).strip()
        if _NOTHING.fullmatch(plain) or plain in NO:
            return "nothing"
        if plain in YES or _MEASURED.fullmatch(text):
            return "yes" if plain in YES else "measured"
        said = [words_in(text, self.lexicon, name) for name in self.names]
        if _CODED.search(text) or any(w.features & FAULTS or w.statuses for w in said):
            return "bad"
        is_good = any(w.voices & {"good", "fine"} and "not" not in w.voices for w in said)
        return "good" if is_good or "clean" in find_claims(text, self.lexicon) else "other"


def _fields_of(line: Line, drawn: int) -> dict[int, str]:
    """The fields of a line by their column, or by where they begin where blanks part them."""
    if drawn == _CELLS:
        return dict(enumerate(line.cells))
    text = line.text.strip() if drawn < _BLANKS else line.text
    found = [m for m in _DRAWN[drawn].finditer(text) if drawn < _BLANKS or m["field"]]
    if drawn >= _BLANKS:
        return {m.start("field"): m["field"] for m in found}
    return {at: m["field"] or "" for at, m in enumerate(found)}


def _all_fields(line: Line, drawn: int) -> dict[int, str]:
    """The fields of a line; those before and behind bars or tabs at its ends are empty ones."""
    if 0 <= drawn < len(_SPLIT):
        return {at: text.strip() for at, text in enumerate(line.text.split(_SPLIT[drawn]))}
    return _fields_of(line, drawn)


def _cells_below(head: _Head, fields: dict[int, str]) -> dict[int, int]:
    """The fields of a row that stand below what its head names; nothing where it does not fit."""
    if head.drawn < _BLANKS:
        return {at: at for at in head.named if at in fields} if len(fields) > 1 else {}
    titles, own = sorted(head.fields), sorted(fields)
    if head.drawn == _WORDS:
        ends = own[-len(head.named) :] if len(own) > len(head.named) else []
        return dict(zip(head.named, ends, strict=bool(ends))) if ends else {}
    more = len(own) - len(titles)
    if more == (min(titles) in head.named):
        return {at: cell for at, cell in zip(titles, own[more:], strict=True) if at in head.named}
    beside = {at: [f for f in own if abs(f - at) <= _ASTRAY] for at in titles}
    if len({f for cells in beside.values() for f in cells} | {own[0]}) < len(own):
        return {}
    return {at: beside[at][0] for at in head.named if beside[at]}


def _is_table(rows: list[_Row]) -> bool:
    """Tell whether most cells of some rows are verdicts, and one of them says something."""
    told = [v for row in rows for v in row.verdicts.values()]
    return told.count("other") * 2 < len(told) and any(v in ("bad", "good", "yes") for v in told)


def _said_of(row: _Row, head: _Head, has_answers: bool) -> list[Line]:
    """The row once for each cell that tells something; the row itself where none does.

    Beside a code a good cell is left out: the code is of the others.
    """
    told = {at for at, verdict in row.verdicts.items() if verdict in _TOLD}
    if not any(_CODED.search(text) for text in row.fields.values()):
        told |= {at for at, verdict in row.verdicts.items() if verdict == "good"}
    codes = sum(len(_CODED.findall(text)) for text in row.fields.values())
    if told and codes > 1 and all(row.verdicts[own] == "yes" for own in told):
        return [_line_of(row, head, told)]  # the codes are dealt over the places
    if told:
        return [_line_of(row, head, {own}) for own in row.cells if own in told]
    answers = {flat(row.fields[cell]).strip() for cell in row.cells.values()}
    if has_answers and answers and answers <= NO | {"-"}:
        return [_with_fields(row.line, {**row.fields, max(row.fields) + 1: GONE})]
    return [row.line]


def _line_of(row: _Row, head: _Head, own: set[int]) -> Line:
    """The row with some cells below what the head names, each behind the name of its column."""
    fields = {at: "" if at in row.cells.values() else text for at, text in row.fields.items()}
    for at in own:
        title, said = head.named[at], row.fields[row.cells[at]]
        gap = " " * (3 if len(title) == 1 else 1)  # a letter is a side where it stands alone
        fields[row.cells[at]] = title if row.verdicts[at] == "yes" else f"{title}{gap}{said}"
    return _with_fields(row.line, fields)


def _with_fields(line: Line, fields: dict[int, str]) -> Line:
    texts = [fields[at] for at in sorted(fields)]
    sign = "\t" if line.cells else "   "
    cells = tuple(texts) if line.cells else ()
    return msgspec.structs.replace(line, text=sign.join(filter(None, texts)), cells=cells)


def _is_place(words: Words) -> bool:
    """Tell whether words name a seat or a side and nothing more."""
    named = words.is_sided
    beside = words.features - _BESIDE - KERB
    return bool(named) and not (beside or words.statuses or words.voices)


def _is_state(words: Words) -> bool:
    """Tell whether words name a state and nothing more."""
    return bool(words.statuses) and not (words.is_sided or words.features - _BESIDE)


def _names_part(words: Words) -> bool:
    return bool(words.features & HEADS)


def _is_corner(words: Words) -> bool:
    return bool(words.ends and words.sides)


def _is_part(words: Words) -> bool:
    """Tell whether words name a part and no place or fault."""
    told = words.seats or words.sides or words.statuses or words.voices or words.features & FAULTS
    return bool(words.features & HEADS) and not told
