"""Take the record out of a PDF, and check file and pages against each other."""

import base64
import json
import subprocess
import sys

import msgspec

from squibwise.documents.helper import DAMAGED, SECONDS
from squibwise.documents.record import ATTACHMENT, record_pdf
from squibwise.errors import InputError, SquibwiseError
from squibwise.model.origin import Finding
from squibwise.model.proof import Verification
from squibwise.prove import verify
from squibwise.prove.verifying import LARGEST_BYTES, read_record

_PDF_MARK = b"%PDF-"
_ASK = "Ask for the record itself, as JSON or as the PDF that was issued."


class _Opened(msgspec.Struct, frozen=True, kw_only=True):
    """What a PDF carries by the name of a record, and what made it."""

    records: tuple[bytes, ...]
    maker: str


def attached_record(data: bytes) -> bytes:
    """Return the record that is attached to a PDF; JSON is returned as it is.

    Raises:
        InputError: It is a PDF without exactly one attached record, or too large, or broken.
    """
    return data if not data.startswith(_PDF_MARK) else _the_record(_open_apart(data))


def _the_record(opened: _Opened) -> bytes:
    count = len(opened.records)
    if count != 1:
        raise InputError(f"the PDF carries {count} records named {ATTACHMENT}", remedy=_ASK)
    return opened.records[0]


def verify_file(data: bytes) -> Verification:
    """Return whether a record, given as JSON or as the PDF, is whole and unchanged.

    For a PDF the pages are made anew from the attached record and compared byte for byte, because
    pages can be changed while the attachment is left alone. Pages that are not exactly those are
    never valid: with the mark of another version they are not checked, which is not valid either.
    """
    if not data.startswith(_PDF_MARK):
        return verify(data)
    try:
        opened = _open_apart(data)
        inner = _the_record(opened)
    except InputError as refusal:
        message = f"No record: {refusal}."
        problem = _error("record-unreadable", message, refusal.remedy)
        return Verification(valid=False, problems=(problem,))
    answer = verify(inner)
    return _with_pages(answer, inner, data, opened.maker) if answer.valid else answer


def _with_pages(answer: Verification, inner: bytes, data: bytes, maker: str) -> Verification:
    try:
        fresh = record_pdf(read_record(inner))
    except (SquibwiseError, LookupError, TypeError, AttributeError, ValueError, RecursionError):
        message = "No pages can be made from the attached record: it is not laid out as one."
        return _invalid(answer, _error("record-unreadable", message, _ASK))
    if fresh == data:
        return answer
    remedy = "Rely on the attached record alone: print it anew from there."
    if _open_apart(fresh).maker == maker:
        message = "The pages are not those of the attached record: they were changed."
        return _invalid(answer, _error("record-pages", message, remedy))
    message = (
        "The pages were not checked: they carry the mark of another version, which this one cannot "
        "make again."
    )
    return _invalid(answer, _error("record-pages", message, remedy))


def _error(code: str, message: str, remedy: str) -> Finding:
    return Finding(code=code, severity="error", message=message, remedy=remedy)


def _invalid(answer: Verification, problem: Finding) -> Verification:
    return msgspec.structs.replace(answer, valid=False, problems=(problem, *answer.problems))


def _open_apart(data: bytes) -> _Opened:
    """Return what a PDF carries, opened in a process with limits on memory and time.

    Raises:
        InputError: It is too large, damaged, or asks for more than it may.
    """
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{len(data)} bytes are too many for a record", remedy=_ASK)
    command = [sys.executable, "-P", "-m", "squibwise.documents.helper", ATTACHMENT]
    try:
        done = subprocess.run(
            command, input=data, capture_output=True, timeout=2 * SECONDS, check=False
        )
    except subprocess.TimeoutExpired:
        raise InputError("the PDF takes more time than a record needs", remedy=_ASK) from None
    if done.returncode == DAMAGED:
        raise InputError("the PDF cannot be opened", remedy=_ASK)
    if done.returncode:
        raise InputError("the PDF asks for more memory than a record needs", remedy=_ASK)
    found = json.loads(done.stdout)
    records = tuple(base64.b64decode(one) for one in found["attachments"])
    return _Opened(records=records, maker=str(found["maker"]))
