"""Find the line on which every table, key and array element of a TOML text stands.

``tomllib`` gives values without places, so a mistake could be named but not shown. This scanner
walks a text that ``tomllib`` has already accepted and notes places; it never judges the text.
"""

import re
import tomllib
from collections.abc import Mapping

Path = tuple[str | int, ...]
Lines = Mapping[Path, int]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BASIC_KEY = re.compile(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL_KEY = re.compile(r"'[^'\n]*'")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}#\n]+")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{1,2}(?!"))?', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{1,2}(?!'))?", re.DOTALL),
    _BASIC_KEY,
    _LITERAL_KEY,
)


def locate(text: str) -> dict[Path, int]:
    """Return the line, from 1, of every table header, key and array element.

    Args:
        text: TOML that ``tomllib`` accepts.

    Returns:
        Lines by path: ``("car",)`` is the header of ``[car]``, ``("evidence", 2, "seen")`` the key
        ``seen`` of the third ``[[evidence]]`` table, ``("car", "add", 0)`` the first element.
    """
    return _Scanner(text.replace("\r\n", "\n")).run()


def line_of(lines: Lines, path: Path) -> int | None:
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
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}
        self.counted_to = 0
        self.line = 1

    def run(self) -> dict[Path, int]:
        """Walk the whole text."""
        table: Path = ()
        self._skip_blank()
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip_blank()
        return self.lines

    def _note(self, path: Path) -> None:
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

    def _header(self) -> Path:
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

    def _resolve(self, keys: list[str], *, many: bool) -> Path:
        path: Path = ()
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
        for pattern in (_BARE_KEY, _BASIC_KEY, _LITERAL_KEY):
            end = self._end(pattern)
            if end > start:
                self.at = end
                raw = self.text[start:end]
                return raw if pattern is _BARE_KEY else _unquoted(raw)
        self.at += 1  # not TOML: step on, so that a text nobody checked cannot hang the walk
        return self.text[start : self.at]

    def _pair(self, table: Path) -> None:
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

    def _value(self, path: Path) -> None:
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
        for pattern in _STRINGS:
            self.at = self._end(pattern)
            if self.at > start:
                return
        self.at = start + 1

    def _array(self, path: Path) -> None:
        self.at += 1
        self._skip_blank()
        index = 0
        while self.at < len(self.text) and self.text[self.at] != "]":
            self._note((*path, index))
            self._value((*path, index))
            index += 1
            self._skip_comma()
        self.at += 1

    def _inline_table(self, path: Path) -> None:
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
