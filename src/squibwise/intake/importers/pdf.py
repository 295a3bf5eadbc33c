"""PDF reports: letters by their places to lines and cells. Nothing in a PDF is ever run."""

from collections.abc import Iterator

from squibwise.errors import InputError
from squibwise.intake.importers.base import Extract, RawLine
from squibwise.intake.importers.document import Document, Importer
from squibwise.intake.importers.limits import MAX_LINES, MAX_TEXT_BYTES, refuse_many
from squibwise.intake.importers.pages.book import page_rows, whole
from squibwise.intake.importers.pages.marks import Marks
from squibwise.intake.importers.pages.native import page_marks
from squibwise.intake.importers.rows import row_lines
from squibwise.model.origin import Finding, Origin

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
