"""The helper process that opens a PDF: a hostile one can exhaust it, not the program."""

import base64
import json
import sys

import pypdfium2

from squibwise.intake.importers.apart import limit_this_process

MEMORY_MIB, SECONDS = 300, 10
DAMAGED = 3


def list_attachments(data: bytes, name: str) -> tuple[list[bytes], str]:
    """Return the attachments of a PDF by that name, and what made the PDF.

    Raises:
        PdfiumError: It cannot be opened.
    """
    pdf = pypdfium2.PdfDocument(data)
    try:
        parts = [pdf.get_attachment(n) for n in range(pdf.count_attachments())]
        found = [bytes(p.get_data()) for p in parts if p.get_name() == name]
        return found, str(pdf.get_metadata_dict().get("Creator", ""))
    finally:
        pdf.close()


def main() -> int:
    """Read a PDF from standard input and write what it carries, as JSON."""
    limit_this_process(MEMORY_MIB, SECONDS)
    try:
        found, maker = list_attachments(sys.stdin.buffer.read(), sys.argv[1])
    except (pypdfium2.PdfiumError, MemoryError):
        return DAMAGED
    coded = [base64.b64encode(one).decode("ascii") for one in found]
    sys.stdout.write(json.dumps({"attachments": coded, "maker": maker}))
    return 0


if __name__ == "__main__":
    sys.exit(main())
