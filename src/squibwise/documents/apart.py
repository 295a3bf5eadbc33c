"""The helper process of ``attached``: opens one PDF, makes its pages, or works out its record."""

import hashlib
import io
import json
import sys
from pathlib import Path

from squibwise.errors import InputError, SquibwiseError
from squibwise.intake.importers.base import limit_this_process

ATTACHMENT = "record.json"
REFUSED = 4
"""Exit code that says why."""
OPENING_MIB, OPENING_FOR_EACH, PAGES_MIB, PAGES_FOR_EACH, MOST_MIB = 320, 12, 370, 90, 2_048
"""Address space to open a PDF, and to make its pages; and so much more for each megabyte of it.

Pages hold the pictures unpacked, of which there may be the more the larger the file is.
"""
RECOUNT_MIB, RECOUNT_FOR_EACH = 430, 30
SECONDS, SECONDS_FOR_EACH = 8, 3
"""Processor time, and so much more for each megabyte."""
DRAWN_PIXELS = 512


def main(what: str, form: str = "", fonts: str = "") -> int:
    """Read standard input, answer on standard output; a refusal is told on standard error."""
    data = sys.stdin.buffer.read()
    size = len(data) / 2**20
    least, for_each = _MEMORY.get(what, (OPENING_MIB, OPENING_FOR_EACH))
    memory = min(MOST_MIB, least + round(for_each * size))
    limit_this_process(memory, SECONDS + round(SECONDS_FOR_EACH * size))
    try:
        answer = answer_here(what, data, form, fonts)
    except (SquibwiseError, LookupError, TypeError, AttributeError, ValueError) as error:
        sys.stderr.write(str(error)[:500])
        return REFUSED
    sys.stdout.buffer.write(answer)
    return 0


def answer_here(what: str, data: bytes, form: str = "", fonts: str = "") -> bytes:
    """Return what is asked of a file, worked out in this process, without limits."""
    if what == "pages":
        return make_pages(data, form, Path(fonts) if fonts else None)
    if what == "recount":
        return recount_record(data)
    return draw_first_page(data) if what == "first page" else take_attachment(data)


_MEMORY = {
    "pages": (PAGES_MIB, PAGES_FOR_EACH),
    "recount": (RECOUNT_MIB, RECOUNT_FOR_EACH),
}


def recount_record(data: bytes) -> bytes:
    """Return, as a JSON list, what a record says otherwise than its own entries give.

    That it cannot be opened again, because its content is laid out otherwise, is such a thing too.
    """
    from squibwise.case import recount
    from squibwise.catalog.load import load_catalog
    from squibwise.prove.verifying import read_record

    try:
        told = recount(read_record(data), load_catalog())
    except SquibwiseError as refusal:
        told = [f"{refusal}."]
    except (LookupError, TypeError, AttributeError, ValueError):
        told = ["its content is not laid out as this version writes one."]
    return json.dumps(told).encode()


def make_pages(data: bytes, form: str, fonts: Path | None = None) -> bytes:
    """Return the pages of the record that is attached to a PDF, made anew and not signed.

    Args:
        data: The PDF; photographs are taken from it, by their hash.
        form: Which pages.
        fonts: Folder with fonts of the user's own; None for none.
    """
    from squibwise.documents.record import record_pdf
    from squibwise.present.tell_record import FORMS, Form
    from squibwise.prove.verifying import read_record

    record = read_record(take_attachment(data))
    photos = record.content.get("photos", ())
    named = {p["file"]: p.get("copy_sha256") or p["sha256"] for p in photos}
    held = {hashlib.sha256(d).hexdigest(): d for _, d in _attachments(data)}
    pictures = {file: held[digest] for file, digest in named.items() if digest in held}
    default: Form = "record"
    chosen = next((f for f in FORMS if f == form), default)
    return record_pdf(record, chosen, pictures, fonts=fonts)


def take_attachment(data: bytes) -> bytes:
    """Return the one record that is attached to a PDF.

    Raises:
        InputError: There is none, more than one, or the PDF cannot be opened.
    """
    found = [part for name, part in _attachments(data) if name == ATTACHMENT]
    if len(found) != 1:
        raise InputError(f"the PDF carries {len(found)} records named {ATTACHMENT}")
    return found[0]


def draw_first_page(data: bytes) -> bytes:
    """Return the first page of a PDF as a PNG of at most 512 pixels, in grey.

    Raises:
        InputError: It cannot be opened, or has no page.
    """
    import pypdfium2

    try:
        pdf = pypdfium2.PdfDocument(data)
        page = pdf[0]
        scale = DRAWN_PIXELS / max(1.0, *page.get_size())
        drawn = page.render(scale=scale, grayscale=True).to_pil()
    except (pypdfium2.PdfiumError, IndexError) as error:
        raise InputError(f"the PDF shows no page: {error}") from error
    out = io.BytesIO()
    drawn.save(out, "PNG")
    return out.getvalue()


def _attachments(data: bytes) -> list[tuple[str, bytes]]:
    import pypdfium2

    try:
        pdf = pypdfium2.PdfDocument(data)
        parts = [pdf.get_attachment(n) for n in range(pdf.count_attachments())]
        return [(p.get_name(), bytes(p.get_data())) for p in parts]
    except pypdfium2.PdfiumError as error:
        reason = str(error).rstrip(".")
        raise InputError(f"the PDF cannot be opened: {reason}") from error


if __name__ == "__main__":
    raise SystemExit(main(*sys.argv[1:]))
