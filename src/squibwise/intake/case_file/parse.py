"""Bytes of a case file to raw tables, with impossible dates told apart from broken syntax."""

import datetime as dt
import re
import tomllib
from pathlib import Path
from typing import Any

from squibwise.errors import InputError
from squibwise.intake.case_file.diagnose import diagnosis
from squibwise.model.origin import Finding, Origin

LARGEST_BYTES = 2_000_000
_LONGEST_NAME = 120
_DATE = re.compile(
    r"^(?P<key>[ \t]*[\w.-]+[ \t]*=[ \t]*)"
    r"(?P<date>\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}(?:[Tt ]\d{1,2}:\d{1,2}(?::\d{1,2}(?:\.\d+)?)?)?)"
    r"(?P<tail>[ \t]*(?:#.*)?)$",
    re.MULTILINE,
)
_STAND_IN = "2000-01-01"
_AT_LINE = re.compile(r"\(at line (\d+), column \d+\)|\(at end of document\)")


def is_folder(path: Path) -> bool:
    """Return whether a path is a folder.

    Raises:
        InputError: Nothing can have such a name, or the way to it is closed.
    """
    try:
        return path.is_dir()
    except (OSError, ValueError) as error:
        raise _unreachable(path, error) from error


def _unreachable(path: Path, error: Exception) -> InputError:
    reason = getattr(error, "strerror", None) or str(error)
    name = str(path) if len(str(path)) <= _LONGEST_NAME else f"{str(path)[:_LONGEST_NAME]}..."
    return InputError(f"{name}: {reason}.", remedy="Check the name of the file.")


def read_bytes(path: Path, largest: int) -> bytes:
    """Return the content of a file.

    Raises:
        InputError: It is missing, a folder, unreadable or larger than ``largest`` bytes.
    """
    if is_folder(path):
        raise InputError(f"{path} is a folder, not a file.", remedy="Name a file.")
    try:
        if path.is_fifo() and path.parts[:2] != ("/", "dev"):
            message = f"{path} is a pipe; nobody may ever write to it."
            raise InputError(message, remedy="Save the report to a file.")
        with path.open("rb") as file:  # also a pipe or a device, whose size nobody knows
            data = file.read(largest + 1)
            size = max(len(data), path.stat().st_size)
    except (OSError, ValueError) as error:
        raise _unreachable(path, error) from error
    if size > largest:
        raise InputError(
            f"{path} has more than {largest / 2**20:,.0f} MB, which is not read.",
            remedy="Hand in the report itself, without pictures or logs around it.",
        )
    return data


def decode(data: bytes, name: str) -> str:
    """Return the text of a case file.

    Raises:
        InputError: It is empty or not UTF-8 text.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        message = "this is not UTF-8 text."
        raise _broken(name, line, message, "Save the file as UTF-8 text.") from error
    if "\x00" in text:
        raise _broken(name, 1, "this is not a text file.", "Name the case.toml of a case.")
    if not text.strip():
        raise _broken(name, 1, "the file is empty.", "`squibwise new FOLDER` writes a template.")
    return text


def parse(text: str, name: str) -> tuple[dict[str, Any], list[Finding]]:
    """Return the raw tables, and a finding for every date that cannot be.

    A time without seconds is taken as written.

    Raises:
        InputError: The text is not TOML; alone, because nothing after it can be trusted.
    """
    try:
        return tomllib.loads(text), []
    except (ValueError, RecursionError) as error:  # also numbers and nesting without end
        repaired, findings = _without_bad_dates(text, name)
        try:
            return tomllib.loads(repaired), findings
        except (ValueError, RecursionError):
            raise _syntax(text, name, error) from error


def _without_bad_dates(text: str, name: str) -> tuple[str, list[Finding]]:
    findings = []

    def settle(found: re.Match[str]) -> str:
        try:
            good = dt.datetime.fromisoformat(found["date"]).isoformat()
        except ValueError:
            good = _STAND_IN
            line = text.count("\n", 0, found.start()) + 1
            findings.append(_impossible(found["date"], name, line, found[0].strip()))
        return f"{found['key']}{good}{found['tail']}"

    return _DATE.sub(settle, text), findings


def _impossible(date: str, name: str, line: int, raw: str) -> Finding:
    return Finding(
        code="case-impossible-date",
        severity="error",
        message=f"'{date}' is no date.",
        remedy="Write year-month-day, such as 2026-03-02 or 2026-03-02T09:10:00.",
        origin=Origin(file=name, line=line, raw=raw),
    )


def _syntax(text: str, name: str, error: Exception) -> InputError:
    found = _AT_LINE.search(str(error))
    line = int(found[1]) if found and found[1] else max(1, len(text.splitlines()))
    reason = _AT_LINE.sub("", str(error)).strip()
    reason = diagnosis(text, line) or f"{reason[:1].lower()}{reason[1:]}"
    if isinstance(error, RecursionError):
        reason = "it is nested without end"
    message = f"this is not valid TOML: {reason}."
    remedy = "Correct this line first; the rest is read once the file is valid."
    return _broken(name, line, message, remedy, text.splitlines()[line - 1 : line])


def _broken(
    name: str, line: int, message: str, remedy: str, raw: list[str] | None = None
) -> InputError:
    origin = Origin(file=name, line=line, raw=(raw or [""])[0].strip())
    finding = Finding(
        code="case-syntax", severity="error", message=message, remedy=remedy, origin=origin
    )
    return InputError(f"{origin.where()}: {message}", remedy=remedy, findings=(finding,))
