"""A case file's text: read within limits, its mistakes told in plain words with their line."""

import datetime as dt
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from squibwise.errors import InputError
from squibwise.intake.case_file.slips import diagnosis
from squibwise.intake.patterns import pattern
from squibwise.model.origin import Finding, Origin

KeyPath = tuple[str | int, ...]
Lines = Mapping[KeyPath, int]

_BARE_KEY = pattern(r"[A-Za-z0-9_-]+")
_BASIC_KEY = pattern(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL_KEY = pattern(r"'[^'\n]*'")
_BLANK = pattern(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = pattern(r"[^,\]}#\n]+")
_STRINGS = (
    pattern(r'"""(?:[^\\]|\\.)*?"""(?:"{1,2}(?!"))?', re.DOTALL),
    pattern(r"'''.*?'''(?:'{1,2}(?!'))?", re.DOTALL),
    _BASIC_KEY,
    _LITERAL_KEY,
)


def locate(text: str) -> dict[KeyPath, int]:
    """Return the line, from 1, of every table header, key and array element.

    Args:
        text: TOML that ``tomllib`` accepts.

    Returns:
        Lines by path: ``("car",)`` is the header of ``[car]``, ``("evidence", 2, "seen")`` the key
        ``seen`` of the third ``[[evidence]]`` table, ``("car", "add", 0)`` the first element.
    """
    return _Scanner(text.replace("\r\n", "\n")).run()


def line_of(lines: Lines, path: KeyPath) -> int | None:
    """Return the line of a path, or of the nearest table around it; None when neither is known."""
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path)


def _unquoted(raw: str) -> str:
    """Return a quoted key as ``tomllib`` reads it; as written when nobody could read it."""
    try:
        return str(tomllib.loads(f"k = {raw}")["k"])
    except tomllib.TOMLDecodeError:
        return raw


class _Scanner:
    """One walk over one text; a class because the position is shared by every step."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self.counts: dict[KeyPath, int] = {}
        self.counted_to = 0
        self.line = 1

    def run(self) -> dict[KeyPath, int]:
        """Walk the whole text."""
        table: KeyPath = ()
        self._skip_blank()
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip_blank()
        return self.lines

    def _note(self, path: KeyPath) -> None:
        self.line += self.text.count("\n", self.counted_to, self.at)
        self.counted_to = self.at
        self.lines.setdefault(path, self.line)

    def _skip_blank(self) -> None:
        self.at = self._end(_BLANK)

    def _skip_spaces(self) -> None:
        while self.at < len(self.text) and self.text[self.at] in " \t":
            self.at += 1

    def _end(self, pattern: re.Pattern[str]) -> int:
        found = pattern.match(self.text, self.at)
        return found.end() if found else self.at

    def _header(self) -> KeyPath:
        many = self.text.startswith("[[", self.at)
        start = self.at
        self.at += 2 if many else 1
        self._skip_spaces()
        keys = self._keys()
        self._skip_spaces()
        end = self.at + (2 if many else 1)
        self.at = start
        path = self._resolve(keys, many=many)
        self._note(path)
        self.at = end
        return path

    def _resolve(self, keys: list[str], *, many: bool) -> KeyPath:
        path: KeyPath = ()
        for key in keys[:-1]:
            path = (*path, key)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        path = (*path, keys[-1])
        if many:
            self.counts[path] = self.counts.get(path, 0) + 1
            self._note(path)
            return (*path, self.counts[path] - 1)
        return path

    def _keys(self) -> list[str]:
        keys = [self._key()]
        self._skip_spaces()
        while self.text.startswith(".", self.at):
            self.at += 1
            self._skip_spaces()
            keys.append(self._key())
            self._skip_spaces()
        return keys

    def _key(self) -> str:
        start = self.at
        for shape in (_BARE_KEY, _BASIC_KEY, _LITERAL_KEY):
            end = self._end(shape)
            if end > start:
                self.at = end
                raw = self.text[start:end]
                return raw if shape is _BARE_KEY else _unquoted(raw)
        self.at += 1  # not TOML: step on, so that a text nobody checked cannot hang the walk
        return self.text[start : self.at]

    def _pair(self, table: KeyPath) -> None:
        start = self.at
        keys = self._keys()
        path = table
        end, self.at = self.at, start
        for key in keys:
            path = (*path, key)
            self._note(path)
        self.at = end + 1  # the equals sign
        self._skip_spaces()
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        opening = self.text[self.at : self.at + 1]
        if opening == "[":
            self._array(path)
        elif opening == "{":
            self._inline_table(path)
        elif opening in ('"', "'"):
            self._string()
        else:
            self.at = max(self._end(_SCALAR), self.at + 1)

    def _string(self) -> None:
        start = self.at
        for shape in _STRINGS:
            self.at = self._end(shape)
            if self.at > start:
                return
        self.at = start + 1

    def _array(self, path: KeyPath) -> None:
        self.at += 1
        self._skip_blank()
        index = 0
        while self.at < len(self.text) and self.text[self.at] != "]":
            self._note((*path, index))
            self._value((*path, index))
            index += 1
            self._skip_comma()
        self.at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self.at += 1
        self._skip_blank()
        while self.at < len(self.text) and self.text[self.at] != "}":
            self._pair(path)
            self._skip_comma()
        self.at += 1

    def _skip_comma(self) -> None:
        self._skip_blank()
        if self.text.startswith(",", self.at):
            self.at += 1
            self._skip_blank()


LARGEST_BYTES = 2_000_000
_LONGEST_NAME = 120
_DATE = pattern(
    r"^(?P<key>[ \t]*[\w.-]+[ \t]*=[ \t]*)"
    r"(?P<date>\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}(?:[Tt ]\d{1,2}:\d{1,2}(?::\d{1,2}(?:\.\d+)?)?)?)"
    r"(?P<tail>[ \t]*(?:#.*)?)$",
    re.MULTILINE,
)
_STAND_IN = "2000-01-01"
_AT_LINE = pattern(r"\(at line (\d+), column \d+\)|\(at end of document\)")


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
        InputError: The text is not TOML, or is nested or has names or numbers without end; alone,
            because nothing after it can be trusted.
    """
    tables, findings = _parsed(text, name)
    _refuse_endless(tables, text, name)
    return tables, findings


def _parsed(text: str, name: str) -> tuple[dict[str, Any], list[Finding]]:
    for endless, told in ((_LONG_KEY, _MANY_PARTS), (_LONG_NUMBER, _ENDLESS)):
        if found := endless.search(text):
            raise _broken(name, text.count("\n", 0, found.end()) + 1, told, _SHORTER)
    try:
        return tomllib.loads(text), []
    except (ValueError, RecursionError) as error:  # also numbers and nesting without end
        repaired, findings = _without_bad_dates(text, name)
        try:
            return tomllib.loads(repaired), findings
        except (ValueError, RecursionError):
            is_number = not isinstance(error, tomllib.TOMLDecodeError | RecursionError)
            if is_number and (found := _UNREADABLE_NUMBER.search(text)):
                line = text.count("\n", 0, found.start()) + 1
                raise _broken(name, line, _ENDLESS, _SHORTER) from error
            raise _syntax(text, name, error) from error


_SHORTER = "Write it as `squibwise new FOLDER` writes a case file."
_MOST_DEEP, _MOST_BITS = 20, 4096
_MANY_PARTS = "a name has too many parts between its dots."
_ENDLESS = "a number has more than a thousand digits."
_LONG_NUMBER = pattern(r"^[ \t]*+[\w.-]++[ \t]*+=[ \t]*+\[?[ \t]*+[-+]?+\d[\d_.]{1200}", re.M)
_UNREADABLE_NUMBER = pattern(r"(?<![\w.])[-+]?\d[\d_]{4299}")
"""More digits than Python reads as a number: 4,300, `sys.int_info.default_max_str_digits`."""
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+"""
_LONG_KEY = pattern(
    rf"(?:^|[{{,])[ \t]*+(?:\[{{1,2}}[ \t]*+)?{_PART}(?:\.[ \t]*+{_PART}){{10}}", re.M
)
"""A key of more than ten parts: a reader of TOML takes time and room by their square."""


def _refuse_endless(tables: dict[str, Any], text: str, name: str) -> None:
    """Refuse what is nested too deep to be walked, and numbers too long to be printed."""
    found = _find_endless(tables, ())
    if found is not None:
        path, told = found
        try:
            line = line_of(locate(text), path)
        except RecursionError:
            line = None
        raise _broken(name, line or 1, told, _SHORTER)


def _find_endless(value: Any, path: KeyPath) -> tuple[KeyPath, str] | None:  # noqa: ANN401
    """Return the first value without end by its path, with what is wrong; None for none."""
    if len(path) > _MOST_DEEP:
        return path, f"it is nested more than {_MOST_DEEP} deep."
    if isinstance(value, int):
        return (path, _ENDLESS) if value.bit_length() > _MOST_BITS else None
    named = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    found = (_find_endless(one, (*path, key)) for key, one in named)
    return next((f for f in found if f is not None), None)


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
