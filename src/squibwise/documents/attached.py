"""Take the record out of a PDF, and see how file and pages agree; ``prove`` judges what is seen.

A PDF of a few kilobytes can ask for gigabytes: it is opened, and pages are made anew, in a process
of their own with a limit on memory and time.
"""

import json
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import Literal

from squibwise import __version__
from squibwise.catalog.load import Catalog
from squibwise.documents.apart import REFUSED
from squibwise.documents.record import BLANK, without_signature
from squibwise.errors import InputError
from squibwise.intake.importers.base import run_apart, tell_end
from squibwise.model.proof import KnownKey, PagesSeen, ProofRecord, Verification
from squibwise.prove.recording import to_json
from squibwise.prove.sealing import are_pages_signed
from squibwise.prove.verifying import (
    LARGEST_BYTES,
    judge_pages,
    judge_recount,
    read_record,
    refused,
    verify,
)

_PDF_MARK = b"%PDF-"
_SECONDS = 60
_ASK = "Ask for the record itself, as JSON or as the PDF that was issued."


def attached_record(data: bytes) -> bytes:
    """Return the record that is attached to a PDF; JSON is returned as it is.

    Raises:
        InputError: It is a PDF without exactly one attached record, or too large, or broken, or
            asks for more memory or time than a record needs.
    """
    if not data.startswith(_PDF_MARK):
        return data
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{len(data)} bytes are too many for a record", remedy=_ASK)
    return _apart("attached", data)


def verify_file(data: bytes, catalog: Catalog, known: Iterable[KnownKey] = ()) -> Verification:
    """Return whether a record, given as JSON or as the PDF, is whole and unchanged."""
    return check_file(data, catalog, known)[0]


def check_file(
    data: bytes,
    catalog: Catalog,
    known: Iterable[KnownKey] = (),
    fonts: Path | None = None,
) -> tuple[Verification, ProofRecord | None]:
    """Return whether a record, given as JSON or as the PDF, is whole, and the record if it is.

    For a PDF the pages are made anew from the attached record and compared byte for byte, because
    pages can be changed while the attachment is left alone. Pages of another version, which this
    one cannot make, are called unchecked where a known key signed their very bytes; those of this
    version that differ are refused, whoever signed them. A signature over the pages that is there
    is checked in any case.

    Args:
        data: The file.
        catalog: The words that a record must carry.
        known: Keys that this user knows.
        fonts: Folder with fonts of the user's own, for letters that the built-in ones lack.
    """
    try:
        inner = attached_record(data)
    except InputError as refusal:
        return refused("record-unreadable", f"No record: {refusal}.", refusal.remedy), None
    answer = verify(inner, catalog, known)
    if not answer.valid:
        return answer, None
    record = read_record(inner)
    if inner is not data:
        answer = judge_pages(answer, _see_pages(record, data, fonts))
    if answer.valid:
        answer = judge_recount(answer, record, *_recount(record, inner))
    return answer, record if answer.valid else None


def _recount(record: ProofRecord, inner: bytes) -> tuple[tuple[str, ...], str]:
    """Return what a record says otherwise than its own entries give, or why nobody worked it out.

    Args:
        record: The record.
        inner: The same as JSON.
    """
    if record.made_by != __version__:
        return (), "another version made it"
    try:
        return tuple(json.loads(_apart("recount", inner))), ""
    except InputError as refusal:
        return (), str(refusal)


def _see_pages(record: ProofRecord, data: bytes, fonts: Path | None) -> PagesSeen:
    """Return whose signature the pages bear, and whether they are those of the attached record."""
    blank, form, value = without_signature(data)
    is_signed = are_pages_signed(record, value, blank)
    by_other = record.made_by != __version__
    if value not in ("", BLANK) and not is_signed:
        return PagesSeen(signature="wrong", by_other_version=by_other)
    signature: Literal["good", "none"] = "good" if is_signed else "none"
    try:
        are_equal = any(_apart("pages", data, form, f) == blank for f in _ways(record, fonts))
    except InputError as refusal:
        return PagesSeen(signature=signature, by_other_version=by_other, not_made=str(refusal))
    return PagesSeen(
        signature=signature,
        by_other_version=by_other,
        are_equal=are_equal,
        may_lack_font=not are_equal and _has_wide_letters(record),
    )


def _ways(record: ProofRecord, fonts: Path | None) -> tuple[str, ...]:
    """Return the folders of fonts that the pages may have been made with; empty for none."""
    own = fonts is not None and fonts.is_dir() and not to_json(record).isascii()
    return ("", str(fonts)) if own else ("",)


def _has_wide_letters(record: ProofRecord) -> bool:
    """Return whether a record holds letters of East Asia, which no built-in font has.

    Source: Unicode Standard Annex 11, classes W and F, by the standard library.
    """
    return any(unicodedata.east_asian_width(one) in "WF" for one in set(to_json(record).decode()))


def draw_pdf(data: bytes) -> bytes:
    """Return the first page of somebody's PDF as a small PNG; nothing where it shows no page."""
    try:
        return _apart("first page", data)
    except InputError:
        return b""


def _apart(what: str, data: bytes, form: str = "", fonts: str = "") -> bytes:
    """Return what the helper process makes of a file.

    Raises:
        InputError: It says why not, or it was ended by its limits.
    """
    arguments = (what, form, fonts)
    done = run_apart("squibwise.documents.apart", arguments, data, _SECONDS)
    if done is not None and done.returncode == 0:
        return done.stdout
    if done is not None and done.returncode == REFUSED and done.stderr.strip():
        raise InputError(done.stderr.decode("utf-8", "replace").strip(), remedy=_ASK)
    raise InputError(f"the PDF {tell_end(done)}", remedy=_ASK)
