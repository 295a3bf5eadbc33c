"""Portable documents to lines."""

import ctypes
import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from typing import Any

from squibwise.errors import InputError
from squibwise.intake.importers.base import (
    MAX_LINES,
    MAX_TEXT_BYTES,
    Document,
    Extract,
    Importer,
    RawLine,
    refuse_many,
)
from squibwise.intake.importers.pages import Glyph, Marks, RuledLine, page_rows, whole
from squibwise.intake.importers.text import row_lines
from squibwise.model.origin import Finding, Origin

_MAX_OBJECTS, _MAX_POINTS = 20_000, 50_000
_MAX_FORMS = 3  # forms inside forms
_THIN = 0.5  # a stroke this far from level is level [pt]
_FAR, _APART = 1e6, 1e4  # no place on a page is so far off; puts turned letters below [pt]
_SHORT = 6.0  # shorter strokes are no rules [pt]
_SAME = {
    0x02: "-",
    0xAD: "-",
    0x2010: "-",
    0x2011: "-",
    0xFB00: "ff",
    0xFB01: "fi",
    0xFB02: "fl",
    0xFB03: "ffi",
    0xFB04: "ffl",
}
Point = tuple[float, float]
Place = tuple[float, float, float, float, float, float]
_HERE: Place = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
Turn = Callable[[float, float], tuple[float, float]]
_TURNS: tuple[Turn, ...] = (  # letters turned clockwise by so many quarters, stood upright
    lambda x, y: (x, -y),
    lambda x, y: (-y, -x),
    lambda x, y: (-x, y),
    lambda x, y: (y, x),
)


def page_marks(page: Any, text: Any) -> Marks:  # noqa: ANN401 - the library is not typed
    """Return what stands on a page; most of its letters upright."""
    letters = _letters(text.raw)
    usual = Counter(turn for _, _, turn in letters).most_common(1)[0][0] if letters else 0
    glyphs = tuple(_glyphs(text.raw, letters, usual))
    level, upright = _rules(page, _TURNS[usual])
    return Marks(glyphs=glyphs, level=tuple(level), upright=tuple(upright))


def _letters(text: Any) -> list[tuple[int, str, int]]:  # noqa: ANN401
    """Return each letter's place in the text, its sign, and the turn that stands it upright."""
    import pypdfium2.raw as pdfium

    letters: list[tuple[int, str, int]] = []
    for index in range(pdfium.FPDFText_CountChars(text)):
        sign = _sign(pdfium.FPDFText_GetUnicode(text, index))
        if sign and pdfium.FPDFText_IsGenerated(text, index) != 1:
            angle = pdfium.FPDFText_GetCharAngle(text, index)
            turn = round(angle / (math.pi / 2)) % 4 if math.isfinite(angle) else 0
            letters.append((index, sign, turn))
    return letters


@lru_cache(maxsize=4_096)
def _sign(number: int) -> str:
    """Return what a character is read as; nothing for a space or what cannot be shown."""
    shown = _SAME.get(number) or (chr(number) if number <= 0x10FFFF else "")
    return shown if shown.isprintable() and not shown.isspace() else ""


def _glyphs(
    text: Any,  # noqa: ANN401
    letters: Sequence[tuple[int, str, int]],
    usual: int,
) -> Iterator[Glyph]:
    """Return the letters; those that stand another way are turned and put below the rest."""
    import pypdfium2.raw as pdfium

    box = pdfium.FS_RECTF()
    foot = 0.0
    for wanted in (usual, *(t for t in range(4) if t != usual)):
        shift = 0.0 if wanted == usual else foot + _APART
        for index, sign, turn in letters:
            if turn == wanted and pdfium.FPDFText_GetLooseCharBox(text, index, box):
                x0, y0 = _TURNS[turn](box.left, box.bottom)
                x1, y1 = _TURNS[turn](box.right, box.top)
                if abs(x0) < _FAR and abs(x1) < _FAR and abs(y0) < _FAR and abs(y1) < _FAR:
                    foot = max(foot, y0 + shift)
                    yield _glyph(x0, x1, y0 + shift, y1 + shift, sign)


def _glyph(x0: float, x1: float, y0: float, y1: float, sign: str) -> Glyph:
    if x0 > x1:
        x0, x1 = x1, x0
    return Glyph(x0=x0, x1=x1, y=(y0 + y1) / 2, size=max(abs(y1 - y0), _THIN), sign=sign)


def _rules(page: Any, turn: Turn) -> tuple[list[RuledLine], list[RuledLine]]:  # noqa: ANN401
    """Return the level and the upright strokes of a page."""
    level: list[RuledLine] = []
    upright: list[RuledLine] = []
    for (ax, ay), (bx, by) in _strokes(page):
        x0, y0 = turn(ax, ay)
        x1, y1 = turn(bx, by)
        if abs(y0 - y1) <= _THIN and abs(x0 - x1) >= _SHORT:
            level.append(RuledLine(at=(y0 + y1) / 2, start=min(x0, x1), end=max(x0, x1)))
        elif abs(x0 - x1) <= _THIN and abs(y0 - y1) >= _SHORT:
            upright.append(RuledLine(at=(x0 + x1) / 2, start=min(y0, y1), end=max(y0, y1)))
    return level, upright


def _strokes(page: Any) -> Iterator[tuple[Point, Point]]:  # noqa: ANN401
    """Return the straight strokes of all drawn paths, in the page's own places."""
    import pypdfium2.raw as pdfium

    points = 0
    for seen, (item, place) in enumerate(_paths(page.raw, pdfium)):
        count = max(pdfium.FPDFPath_CountSegments(item), 0)
        points += count
        if seen > _MAX_OBJECTS or points > _MAX_POINTS:
            return
        yield from _path_strokes(item, count, place, pdfium)


def _paths(holder: Any, pdfium: Any) -> Iterator[tuple[Any, Place]]:  # noqa: ANN401
    """Return all drawn paths with the place of the form they stand in."""
    waiting: list[tuple[Any, Any, Any, Place, int]] = []
    whole = (pdfium.FPDFPage_CountObjects, pdfium.FPDFPage_GetObject)
    inner = (pdfium.FPDFFormObj_CountObjects, pdfium.FPDFFormObj_GetObject)
    waiting.append((holder, *whole, _HERE, 0))
    seen = 0
    while waiting:
        parent, count, get, place, depth = waiting.pop()
        for index in range(max(count(parent), 0)):
            item = get(parent, index)
            kind = pdfium.FPDFPageObj_GetType(item)
            seen += 1
            if seen > _MAX_OBJECTS:
                return
            if kind == pdfium.FPDF_PAGEOBJ_PATH:
                yield item, _placed(item, place, pdfium)
            elif kind == pdfium.FPDF_PAGEOBJ_FORM and depth < _MAX_FORMS:
                waiting.append((item, *inner, _placed(item, place, pdfium), depth + 1))


def _placed(item: Any, place: Place, pdfium: Any) -> Place:  # noqa: ANN401
    """Return the place of an object: its own within that of its form."""
    matrix = pdfium.FS_MATRIX()
    if not pdfium.FPDFPageObj_GetMatrix(item, matrix):
        return place
    a, b, c, d, e, f = (getattr(matrix, letter) for letter in "abcdef")
    x, y = _at(place, e, f)
    pa, pb, pc, pd, _, _ = place
    return (
        a * pa + b * pc,
        a * pb + b * pd,
        c * pa + d * pc,
        c * pb + d * pd,
        x,
        y,
    )


def _at(place: Place, x: float, y: float) -> Point:
    a, b, c, d, e, f = place
    return a * x + c * y + e, b * x + d * y + f


def _path_strokes(
    item: Any,  # noqa: ANN401
    count: int,
    place: Place,
    pdfium: Any,  # noqa: ANN401
) -> Iterator[tuple[Point, Point]]:
    x, y = ctypes.c_float(), ctypes.c_float()
    start = last = None
    for index in range(count):
        segment = pdfium.FPDFPath_GetPathSegment(item, index)
        if not pdfium.FPDFPathSegment_GetPoint(segment, x, y):
            continue
        here = _at(place, x.value, y.value)
        kind = pdfium.FPDFPathSegment_GetType(segment)
        if kind == pdfium.FPDF_SEGMENT_MOVETO:
            start = here
        elif kind == pdfium.FPDF_SEGMENT_LINETO and last is not None:
            yield last, here
        if pdfium.FPDFPathSegment_GetClose(segment) and start is not None:
            yield here, start
        last = here


MAX_PAGES = 200
_MAX_GLYPHS = 500_000
_PRINT = "Print the report to a new PDF from the program that made it, or save it as text."


def claims(document: Document) -> bool:
    """Tell whether the mark of a PDF stands near its beginning."""
    return b"%PDF-" in document.data[:1_024]


def read(document: Document) -> Extract:
    """Return the rows of all pages, counted from the first.

    Raises:
        InputError: It is locked, damaged, or has more pages or letters than a report has.
    """
    name = document.name
    pages = [page_rows(marks) for marks in _pages(document)]
    lines: list[RawLine] = []
    for rows in whole(pages):
        for row in rows:
            number = lines[-1].number + 1 if lines else 1
            lines += _as_line(number, [cell.text for cell in row.cells])
            refuse_many(name, len(lines), MAX_LINES, "lines")
    bare = [n for n, rows in enumerate(pages, start=1) if not rows]
    findings = _pictures(name, bare, len(pages))
    return Extract(lines=tuple(lines), findings=findings, format="pdf")


def _as_line(number: int, cells: list[str]) -> list[RawLine]:
    if len(cells) > 1:
        return row_lines(number, cells)
    return [RawLine(number=number, text=line.text) for line in row_lines(number, cells)]


def _pictures(name: str, bare: list[int], pages: int) -> tuple[Finding, ...]:
    """Return what to say of pages without a letter: they are pictures."""
    if not bare:
        return ()
    which = "It" if len(bare) == pages else f"Page {', '.join(map(str, bare[:20]))}"
    return (
        Finding(
            code="picture-page",
            severity="error" if len(bare) == pages else "warning",
            message=f"{which} holds no text: it is a picture of a report, or empty.",
            remedy="Save the report as text from the program that made it, type its lines off, or "
            "install the part that reads pictures: pip install 'squibwise[pictures]'.",
            origin=Origin(file=name),
        ),
    )


def _pages(document: Document) -> Iterator[Marks]:
    """Return what stands on each page."""
    import pypdfium2
    import pypdfium2.raw as pdfium

    try:
        pdf = pypdfium2.PdfDocument(document.data)
    except pypdfium2.PdfiumError as broken:
        locked = broken.err_code in (pdfium.FPDF_ERR_PASSWORD, pdfium.FPDF_ERR_SECURITY)
        what = "is locked with a password" if locked else "is damaged"
        remedy = "Save it without a password and read that." if locked else _PRINT
        raise InputError(f"{document.name}: the PDF {what}.", remedy=remedy) from None
    refuse_many(document.name, len(pdf), MAX_PAGES, "pages")
    letters = 0
    for number in range(len(pdf)):
        try:
            page = pdf[number]
            text = page.get_textpage()
        except pypdfium2.PdfiumError:
            yield Marks(glyphs=())
            continue
        letters += text.count_chars()
        refuse_many(document.name, letters, min(_MAX_GLYPHS, MAX_TEXT_BYTES), "letters")
        yield page_marks(page, text)
        text.close()
        page.close()


IMPORTER = Importer(format="pdf", claims=claims, read=read, binary=True, apart=True)
