"""The record as PDF: pages for people, and the record itself attached for machines."""

import base64
import datetime as dt
import hashlib
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec
import typst

from squibwise.documents.photographs import LARGEST_COPY, count_pixels, plain_copy
from squibwise.documents.printable import ascii_only, needs_fonts, printable
from squibwise.documents.typesetting import set_pages, square_code
from squibwise.errors import ModelError
from squibwise.model.proof import ProofRecord
from squibwise.present.tell_record import Form, Sheet, tell_record
from squibwise.prove.recording import to_json
from squibwise.prove.sealing import sign_pages
from squibwise.prove.verifying import read_record

_TEMPLATE = "record.typ"
BLANK = base64.b64encode(bytes(64)).decode()
"""Where the signature over the pages goes, before it is there."""
_PLACE = re.compile(rb"squibwise-pages ([a-z]+) ([A-Za-z0-9+/]{86}==)")
LARGEST_PICTURES, MOST_PICTURES = 20_000_000, 12
FREE_PIXELS, PIXELS_A_BYTE, MOST_PIXELS = 8_000_000, 16, 150_000_000
"""Pixels of all pictures together: so many, and more by the bytes that they are stored in.

A few kilobytes can unpack to gigabytes; what a camera took has 2 to 15 pixels a byte (judgement).
"""
Pictures = Mapping[str, bytes]


def record_pdf(
    record: ProofRecord,
    form: Form = "record",
    pictures: Pictures | None = None,
    key: bytes | None = None,
    fonts: Path | None = None,
) -> bytes:
    """Return the record as PDF/A-3 with the record attached as canonical JSON.

    The same record always gives the same bytes: the only date in them is the day of issue.
    Text reaches the template as data, never as markup.

    Args:
        record: The record.
        form: Which pages.
        pictures: Photographs by path in the case; their copies are printed where they can be.
        key: The private key that signed the record: it signs the pages too. [32 bytes]
        fonts: Folder with fonts of the user's own. They are used only where a text holds letters
            that no built-in font has, so that other pages are the same wherever they are made.

    Raises:
        InputError: The content is not laid out as that of a record.
        ModelError: The pages could not be set, even with everything beyond ASCII spelled out.
    """
    record = read_record(to_json(record))  # in canonical order, as a reader of the file has it
    sheet = tell_record(record, form)
    blank = typeset(record, sheet, form, printed(record, pictures or {}), fonts)
    if key is None or record.signature is None:
        return blank
    value = sign_pages(record.signature, record.digest, blank, key)
    return blank.replace(_mark(form, BLANK), _mark(form, value))


def _mark(form: str, value: str) -> bytes:
    return f"squibwise-pages {form} {value}".encode()


def without_signature(pdf: bytes) -> tuple[bytes, str, str]:
    """Return a PDF with the place of its signature blank, its form, and the signature.

    Form and signature are empty where it has no such place.
    """
    found = {(m[1].decode(), m[2].decode()) for m in _PLACE.finditer(pdf)}
    if len(found) != 1:
        return pdf, "", ""
    ((form, value),) = found
    return pdf.replace(_mark(form, value), _mark(form, BLANK)), form, value


def printed(record: ProofRecord, pictures: Pictures) -> dict[str, bytes]:
    """Return the photographs that can be printed: JPEG or PNG, none too large, not too many.

    Only the copy that the record names by its hash is printed, and nothing that a camera wrote.
    """
    chosen: dict[str, bytes] = {}
    pixels = 0
    for photo in record.content.get("photos", ()):
        data = plain_copy(pictures.get(photo["file"], b"")) or b""
        if hashlib.sha256(data).hexdigest() != (photo.get("copy_sha256") or photo["sha256"]):
            continue
        whole, more = sum(map(len, chosen.values())) + len(data), pixels + count_pixels(data)
        room = min(MOST_PIXELS, FREE_PIXELS + PIXELS_A_BYTE * whole)
        is_small = pixels < more <= room and len(data) <= LARGEST_COPY
        if is_small and whole <= LARGEST_PICTURES and len(chosen) < MOST_PICTURES:
            chosen[photo["file"]], pixels = data, more
    return chosen


def typeset(
    record: ProofRecord,
    sheet: Sheet,
    form: Form = "record",
    pictures: Pictures | None = None,
    fonts: Path | None = None,
) -> bytes:
    """Return pages that tell a sheet, with the record and the printed photographs attached.

    Raises:
        ModelError: The pages could not be set, even with everything beyond ASCII spelled out.
    """
    given = pictures or {}
    told = msgspec.to_builtins(sheet)
    fonts = fonts if fonts is not None and fonts.is_dir() and needs_fonts(told) else None
    shown = printable(told, fonts)
    for sheet_data, with_pictures in ((shown, given), (shown, {}), (ascii_only(shown), {})):
        try:
            return _compile(record, sheet, sheet_data, form, with_pictures, fonts)
        except typst.TypstError as error:
            last = error
    raise ModelError(f"the pages of {record.case_id} could not be set: {last}") from last


def _compile(
    record: ProofRecord,
    sheet: Sheet,
    shown: dict[str, Any],
    form: Form,
    pictures: Pictures,
    fonts: Path | None,
) -> bytes:
    noon = dt.datetime.combine(dt.date.fromisoformat(record.issued_on), dt.time(12), dt.UTC)
    numbered = enumerate(pictures.items(), start=1)
    names = {file: f"photo-{n}{_ending(data)}" for n, (file, data) in numbered}
    laid = [
        {"file": names.get(p.file, ""), "caption": caption["caption"]}
        for p, caption in zip(sheet.pictures, shown["pictures"], strict=True)
    ]
    return set_pages(
        _TEMPLATE,
        {
            "sheet": json.dumps(shown | {"pictures": laid}),
            "record": to_json(record).decode(),
            "form": _mark(form, BLANK).decode(),
            "code": square_code(sheet.code),
        },
        noon,
        {names[file]: data for file, data in pictures.items()},
        fonts,
    )


def _ending(data: bytes) -> str:
    return ".png" if data.startswith(b"\x89PNG") else ".jpg"
