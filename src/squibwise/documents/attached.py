"""Take the record out of a PDF, and check file and pages against each other.

A PDF of a few kilobytes can ask for gigabytes: it is opened, and pages are made anew, in a process
of their own with a limit on memory and time.
"""

import json
import unicodedata
from collections.abc import Iterable
from pathlib import Path

import msgspec

from squibwise import __version__
from squibwise.catalog.load import Catalog
from squibwise.documents.apart import REFUSED
from squibwise.documents.record import BLANK, without_signature
from squibwise.errors import InputError
from squibwise.intake.importers.base import run_apart, tell_end
from squibwise.model.origin import Finding
from squibwise.model.proof import KnownKey, ProofRecord, Verification
from squibwise.prove.recording import to_json
from squibwise.prove.sealing import CHANGED, are_pages_signed
from squibwise.prove.verifying import LARGEST_BYTES, read_record, refused, verify

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
        answer = _with_pages(answer, record, data, fonts)
    if answer.valid:
        answer = _recounted(answer, record, inner)
    return answer, record if answer.valid else None


def _recounted(answer: Verification, record: ProofRecord, inner: bytes) -> Verification:
    """Return what is to be said once a record is worked out again from its own entries."""
    if record.made_by != __version__:
        return _not_recounted(answer, "another version made it")
    try:
        told = json.loads(_apart("recount", inner))
    except InputError as refusal:
        return _not_recounted(answer, str(refusal))
    wrong = [_CONTRADICTS.format(text) for text in told[:_MOST_TOLD]]
    wrong += [f"And {len(told) - _MOST_TOLD} more like it."] if told[_MOST_TOLD:] else []
    problems = [
        Finding(code="record-contradicts", severity="error", message=text, remedy=CHANGED)
        for text in wrong
    ]
    problems += [*answer.problems, *([_PARTLY_RECOUNTED] if record.withheld else [])]
    return msgspec.structs.replace(
        answer,
        valid=answer.valid and not wrong,
        unworked=_LEFT_OUT if record.withheld else "",
        problems=tuple(problems),
    )


def _not_recounted(answer: Verification, why: str) -> Verification:
    left = Finding(
        code="record-not-recounted",
        severity="warning",
        message=f"Whether its answers follow from its entries was not worked out again: {why}.",
        remedy="Read its entries, or check it with the version that wrote it.",
    )
    return msgspec.structs.replace(answer, unworked=why, problems=(*answer.problems, left))


_MOST_TOLD = 8
_CONTRADICTS = "It contradicts itself: {}"
_LEFT_OUT = "this copy leaves out the crash data, on which its list of work hangs"
_PARTLY_RECOUNTED = Finding(
    code="record-partly-recounted",
    severity="warning",
    message="Labels, readings and what else needs no crash data were worked out again. What is "
    "believed of the parts, the list of work, and the gates that hang on it (replacements, "
    "inspections, calibrations, steps, lamp check, last scan) stand as the signer wrote them.",
    remedy="Ask for the whole record, and check that.",
)


def _with_pages(
    answer: Verification, record: ProofRecord, data: bytes, fonts: Path | None
) -> Verification:
    """Return what is to be said of a PDF, once the record in it is found whole."""
    blank, form, value = without_signature(data)
    are_signed = are_pages_signed(record, value, blank)
    again = "Rely on neither; ask for the record itself, as JSON, and print it anew from there."
    if value not in ("", BLANK) and not are_signed:
        text = "The signature over the pages was not made over them by the key of the record."
        return _with_refusal(answer, refused("record-pages", text, again))
    try:
        if any(_apart("pages", data, form, f) == blank for f in _ways(record, fonts)):
            return answer
        text = "The pages are not the ones that the attached record gives."
        why = "a font for their letters may be missing here" if _has_wide_letters(record) else ""
        text = _OTHER_FONT if why else text
    except InputError as refusal:
        text = "Its pages are not checked: this version cannot make them from the attached record"
        text, why = f"{text} ({refusal}).", "they could not be made again here"
    why = "another version made them" if record.made_by != __version__ else why
    if why and answer.signature == "known" and are_signed:
        told = (*answer.problems, _OTHER_PAGES)
        return msgspec.structs.replace(answer, unchecked=why, problems=told)
    return _with_refusal(answer, refused("record-pages", text, again))


def _ways(record: ProofRecord, fonts: Path | None) -> tuple[str, ...]:
    """Return the folders of fonts that the pages may have been made with; empty for none."""
    own = fonts is not None and fonts.is_dir() and not to_json(record).isascii()
    return ("", str(fonts)) if own else ("",)


def _has_wide_letters(record: ProofRecord) -> bool:
    """Return whether a record holds letters of East Asia, which no built-in font has.

    Source: Unicode Standard Annex 11, classes W and F, by the standard library.
    """
    return any(unicodedata.east_asian_width(one) in "WF" for one in set(to_json(record).decode()))


_OTHER_FONT = (
    "Its pages are not checked: they are not those that this computer makes of the attached "
    "record, perhaps for want of a font for its letters."
)
_OTHER_PAGES = Finding(
    code="record-pages-signed",
    severity="warning",
    message="The pages are not compared with the attached record, and may say something else; the "
    "key that signed the record signed them as they are.",
    remedy="Read the attached record, `verify FILE.pdf --data FILE.json`; or check the file with "
    "the version that made it.",
)


def _with_refusal(answer: Verification, refusal: Verification) -> Verification:
    problems = (*refusal.problems, *answer.problems)
    return msgspec.structs.replace(answer, valid=False, problems=problems)


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
