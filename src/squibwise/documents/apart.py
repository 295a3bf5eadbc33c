"""The helper process of ``attached``: opens one PDF, or makes the pages of one record."""

import sys

from squibwise.documents.attached import ATTACHMENT, REFUSED
from squibwise.errors import SquibwiseError
from squibwise.intake.importers.apart import limit_this_process

MEMORY_MIB, SECONDS = 1_536, 50


def main(what: str) -> int:
    """Read standard input, answer on standard output; a refusal is told on standard error."""
    limit_this_process(MEMORY_MIB, SECONDS)
    data = sys.stdin.buffer.read()
    try:
        answer = make_pages(data) if what == "pages" else take_attachment(data)
    except (SquibwiseError, LookupError, TypeError, AttributeError, ValueError) as error:
        sys.stderr.write(str(error)[:500])
        return REFUSED
    sys.stdout.buffer.write(answer)
    return 0


def make_pages(data: bytes) -> bytes:
    """Return the PDF of a record given as JSON."""
    from squibwise.documents.record import record_pdf
    from squibwise.prove.verifying import read_record

    return record_pdf(read_record(data))


def take_attachment(data: bytes) -> bytes:
    """Return the one record that is attached to a PDF.

    Raises:
        InputError: There is none, more than one, or the PDF cannot be opened.
    """
    import pypdfium2

    from squibwise.errors import InputError

    try:
        pdf = pypdfium2.PdfDocument(data)
        parts = [pdf.get_attachment(n) for n in range(pdf.count_attachments())]
        found = [bytes(p.get_data()) for p in parts if p.get_name() == ATTACHMENT]
    except pypdfium2.PdfiumError as error:
        raise InputError(f"the PDF cannot be opened: {error}") from error
    if len(found) != 1:
        raise InputError(f"the PDF carries {len(found)} records named {ATTACHMENT}")
    return found[0]


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1]))
