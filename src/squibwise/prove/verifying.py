"""Check a record that somebody handed over: is it whole, and is it what was issued."""

import datetime as dt
import json
from typing import Any, Never

import msgspec

from squibwise.errors import InputError, ModelError
from squibwise.model.origin import Finding, Severity
from squibwise.model.proof import ProofRecord, Verification
from squibwise.prove.canonical import digest
from squibwise.prove.content import KEYS
from squibwise.prove.recording import OUTSIDE_DIGEST, SCHEMA

LARGEST_BYTES = 50_000_000
NOT_OURS = "Ask whoever gave you the file for the record itself, as JSON or as the PDF."
CHANGED = "Do not rely on it. Ask the person who issued it for the original."


def verify(data: bytes) -> Verification:
    """Return whether a record, given as JSON, is whole and unchanged since it was issued.

    ``valid`` says that the content belongs to its digest and the layout is known. It says nothing
    of who made it: a record without a signature is valid with a warning.

    Source: RFC 8785 canonical form, SHA-256. Keys that stand twice are refused, because two
    readers would see two records.
    """
    try:
        value = strict_json(data)
        record = _record(value)
    except InputError as refusal:
        return _invalid("record-unreadable", f"No record: {refusal}.", refusal.remedy)
    problems = [*_tampering(record, value), *_draft_problems(record)]
    valid = not any(p.severity == "error" for p in problems)
    return Verification(valid=valid, problems=(*problems, *_notes(record)))


def read_record(data: bytes) -> ProofRecord:
    """Return a record from JSON, unchecked against its digest.

    Raises:
        InputError: The bytes are not a record.
    """
    return _record(strict_json(data))


def strict_json(data: bytes) -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value; keys that stand twice and numbers that are none are refused.

    Raises:
        InputError: It is not UTF-8, not JSON, or too large, or a key stands twice.
    """
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{len(data)} bytes are too many for a record", remedy=NOT_OURS)
    try:
        text = data.decode("utf-8")
        return json.loads(text, object_pairs_hook=_no_repeats, parse_constant=_no_number)
    except UnicodeDecodeError as error:
        raise InputError(f"byte {error.start} is not UTF-8 text", remedy=NOT_OURS) from error
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise InputError(f"not JSON at {where}: {error.msg}", remedy=NOT_OURS) from error
    except (RecursionError, ValueError) as error:
        raise InputError(f"not a record: {error}", remedy=NOT_OURS) from error


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) != len(pairs):
        keys = [k for k, _ in pairs]
        twice = next(k for k in keys if keys.count(k) > 1)
        raise InputError(f"the key '{twice}' stands twice", remedy=CHANGED)
    return value


def _no_number(word: str) -> Never:
    raise InputError(f"{word} is not a number", remedy=CHANGED)


def _record(value: Any) -> ProofRecord:  # noqa: ANN401 - any JSON value
    try:
        record = msgspec.convert(value, ProofRecord)
    except (msgspec.ValidationError, ModelError) as error:
        raise InputError(f"not a record: {error}", remedy=NOT_OURS) from error
    if record.schema != SCHEMA:
        raise InputError(
            f"layout '{record.schema}' is not '{SCHEMA}'",
            remedy="Check it with the version of the program that wrote it.",
        )
    if not _is_day(record.issued_on):
        raise InputError(f"'{record.issued_on}' is not a day of issue", remedy=NOT_OURS)
    if record.content.keys() != KEYS:
        odd = ", ".join(sorted(KEYS ^ record.content.keys())[:5])
        raise InputError(f"its content has other keys than a record: {odd}", remedy=NOT_OURS)
    return record


def _is_day(text: str) -> bool:
    try:
        return dt.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _tampering(record: ProofRecord, value: dict[str, Any]) -> list[Finding]:
    """Compare with the digest what stands in the file, not what was understood of it."""
    sealed = {k: v for k, v in value.items() if k not in OUTSIDE_DIGEST}
    try:
        found = digest(sealed)
    except InputError as error:
        return [_problem("record-changed", "error", f"Its content {error}.", CHANGED)]
    if found == record.digest:
        return []
    text = "The content does not belong to its digest: something was changed after it was issued."
    return [_problem("record-changed", "error", text, CHANGED)]


def _draft_problems(record: ProofRecord) -> list[Finding]:
    open_gates = [g.id for g in record.gates if g.open]
    if record.draft != bool(open_gates):
        text = "It says of itself that it is no draft, or is one, against its own gates."
        return [_problem("record-inconsistent", "error", text, CHANGED)]
    if not record.draft:
        return []
    text = f"It is a draft with open gates: {', '.join(open_gates)}."
    return [_problem("record-draft", "warning", text, "Ask for the record after they are closed.")]


def _notes(record: ProofRecord) -> list[Finding]:
    if record.signature is None:
        text = "Nobody has signed it: the digest shows no change, not who made it."
        return [_problem("record-unsigned", "warning", text, "Ask the issuer for the digest.")]
    text = f"It carries a signature in the name of {record.signature.by}, which is not checked yet."
    return [_problem("record-signature", "warning", text, "Ask the issuer for the digest.")]


def _problem(code: str, severity: Severity, message: str, remedy: str) -> Finding:
    return Finding(code=code, severity=severity, message=message, remedy=remedy)


def _invalid(code: str, message: str, remedy: str) -> Verification:
    return Verification(valid=False, problems=(_problem(code, "error", message, remedy),))
