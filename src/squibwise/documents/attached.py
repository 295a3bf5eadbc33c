"""Take the record out of a PDF, and check file and pages against each other."""

import msgspec
import pypdfium2

from squibwise.documents.record import ATTACHMENT, record_pdf
from squibwise.errors import InputError, SquibwiseError
from squibwise.model.origin import Finding
from squibwise.model.proof import Verification
from squibwise.prove import verify
from squibwise.prove.verifying import LARGEST_BYTES, read_record

_PDF_MARK = b"%PDF-"


def attached_record(data: bytes) -> bytes:
    """Return the record that is attached to a PDF; JSON is returned as it is.

    Raises:
        InputError: It is a PDF without exactly one attached record, or too large, or broken.
    """
    if not data.startswith(_PDF_MARK):
        return data
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{len(data)} bytes are too many for a record", remedy=_ASK)
    try:
        found = _attachments(data)
    except pypdfium2.PdfiumError as error:
        raise InputError(f"the PDF cannot be opened: {error}", remedy=_ASK) from error
    if len(found) != 1:
        raise InputError(f"the PDF carries {len(found)} records named {ATTACHMENT}", remedy=_ASK)
    return found[0]


_ASK = "Ask for the record itself, as JSON or as the PDF that was issued."


def verify_file(data: bytes) -> Verification:
    """Return whether a record, given as JSON or as the PDF, is whole and unchanged.

    For a PDF the pages are made anew from the attached record and compared byte for byte, because
    pages can be changed while the attachment is left alone.
    """
    try:
        inner = attached_record(data)
    except InputError as refusal:
        problem = Finding(
            code="record-unreadable",
            severity="error",
            message=f"No record: {refusal}.",
            remedy=refusal.remedy,
        )
        return Verification(valid=False, problems=(problem,))
    answer = verify(inner)
    if inner is data or not answer.valid:
        return answer
    return _with_pages(answer, inner, data)


def _with_pages(answer: Verification, inner: bytes, data: bytes) -> Verification:
    try:
        fresh = record_pdf(read_record(inner))
    except (SquibwiseError, LookupError, TypeError, AttributeError, ValueError, RecursionError):
        return _not_laid_out(answer)
    if fresh == data:
        return answer
    same_maker = _maker(fresh) == _maker(data)
    problem = Finding(
        code="record-pages",
        severity="error" if same_maker else "warning",
        message="The pages are not the ones this version prints from the attached record.",
        remedy="Rely on the attached record alone: print it anew from there.",
    )
    problems = (problem, *answer.problems)
    return msgspec.structs.replace(answer, valid=not same_maker, problems=problems)


def _not_laid_out(answer: Verification) -> Verification:
    """Return that a record belongs to its digest and still is none that was ever printed."""
    problem = Finding(
        code="record-unreadable",
        severity="error",
        message="No pages can be made from the attached record: it is not laid out as one.",
        remedy=_ASK,
    )
    return msgspec.structs.replace(answer, valid=False, problems=(problem, *answer.problems))


def _attachments(data: bytes) -> list[bytes]:
    pdf = pypdfium2.PdfDocument(data)
    try:
        parts = [pdf.get_attachment(n) for n in range(pdf.count_attachments())]
        return [bytes(p.get_data()) for p in parts if p.get_name() == ATTACHMENT]
    finally:
        pdf.close()


def _maker(data: bytes) -> str:
    """Return what made the PDF; a fresh one of another version may rightly look different."""
    pdf = pypdfium2.PdfDocument(data)
    try:
        return str(pdf.get_metadata_dict().get("Creator", ""))
    finally:
        pdf.close()
