"""Where a thing was read, and what was wrong with it."""

import datetime as dt
from typing import Literal

import msgspec

Severity = Literal["note", "warning", "error"]
Time = dt.datetime


class Origin(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The place something was read from.

    Attributes:
        file: Path as the user wrote it; None when it was passed in by a caller.
        line: Line number in that file, from 1; None when the format has no lines.
        raw: The text as it stood there.
        person: Who said, saw or measured it; None when nobody is named.
    """

    file: str | None = None
    line: int | None = None
    raw: str = ""
    person: str | None = None

    def where(self) -> str:
        """Return ``file:line`` as far as known, for messages."""
        name = self.file or "input"
        return name if self.line is None else f"{name}:{self.line}"


class Finding(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Something wrong or remarkable with the input; the rest is still used.

    Attributes:
        code: Stable word for this kind of finding, documented in ``docs/findings.md``.
        severity: ``error`` makes a command exit with 2, ``warning`` with 1.
        message: What is wrong, in plain words.
        remedy: What to do about it.
        origin: Where it stands.
    """

    code: str
    severity: Severity
    message: str
    remedy: str = ""
    origin: Origin = Origin()

    def text(self) -> str:
        """Return one line a person can act on."""
        tail = f" {self.remedy}" if self.remedy else ""
        return f"{self.origin.where()}: {self.message}{tail}"
