"""The record as PDF: pages for people, and the record itself attached for machines."""

import datetime as dt
import json
from importlib import resources
from typing import Any

import msgspec
import typst

from squibwise.documents.printable import ascii_only, printable
from squibwise.errors import ModelError
from squibwise.model.proof import ProofRecord
from squibwise.present.tell_record import Sheet, tell_record
from squibwise.prove.recording import to_json
from squibwise.prove.verifying import read_record

_TEMPLATE = "record.typ"


def record_pdf(record: ProofRecord) -> bytes:
    """Return the record as PDF/A-3 with the record attached as canonical JSON.

    The same record always gives the same bytes: the only date in them is the day of issue.
    Text reaches the template as data, never as markup.

    Raises:
        InputError: The content is not laid out as that of a record.
        ModelError: The pages could not be set, even with everything beyond ASCII spelled out.
    """
    record = read_record(to_json(record))  # in canonical order, as a reader of the file has it
    return typeset(record, tell_record(record))


def typeset(record: ProofRecord, sheet: Sheet) -> bytes:
    """Return pages that tell a sheet, with the record attached.

    Raises:
        ModelError: The pages could not be set, even with everything beyond ASCII spelled out.
    """
    shown = printable(msgspec.to_builtins(sheet))
    try:
        return _compile(record, shown)
    except typst.TypstError:
        pass
    try:
        return _compile(record, ascii_only(shown))
    except typst.TypstError as error:
        raise ModelError(f"the pages of {record.case_id} could not be set: {error}") from error


def _compile(record: ProofRecord, shown: dict[str, Any]) -> bytes:
    template = resources.files("squibwise.documents").joinpath(_TEMPLATE).read_bytes()
    noon = dt.datetime.combine(dt.date.fromisoformat(record.issued_on), dt.time(12), dt.UTC)
    return typst.compile(
        template,
        format="pdf",
        ignore_system_fonts=True,
        pdf_standards=["a-3a", "ua-1"],
        timestamp=noon,
        sys_inputs={"sheet": json.dumps(shown), "record": to_json(record).decode()},
    )
