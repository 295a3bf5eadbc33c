"""Say in a mechanic's words what commonly breaks a line of a case file."""

import re

_KEY = re.compile(r"^\s*([\w.-]+)\s*=")
_HEADER = re.compile(r"^\s*\[(?!\[)\s*([\w.-]+)\s*\]")
_ANY_HEADER = re.compile(r"^\s*\[")


def diagnosis(text: str, line: int) -> str:
    """Return what is wrong with a line in plain words; empty when it is none of the common slips.

    Args:
        text: A text that is not TOML.
        line: The line, from 1, at which its reader gave up.
    """
    lines = text.splitlines()
    if not 1 <= line <= len(lines):
        return ""
    return _unclosed_quote(lines[line - 1]) or _repeated(lines, line) or _no_value(lines[line - 1])


def _unclosed_quote(line: str) -> str:
    rest = re.sub(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'', "", line).partition("#")[0]
    quote = next((q for q in "\"'" if q in rest), "")
    return f"a text that begins with {quote} is not closed on this line" if quote else ""


def _repeated(lines: list[str], line: int) -> str:
    header = _HEADER.match(lines[line - 1])
    if header:
        earlier = (n for n, t in enumerate(lines[: line - 1], 1) if _same(_HEADER, t, header[1]))
        first = next(earlier, None)
        return f"[{header[1]}] already stands in line {first}" if first else ""
    key = _KEY.match(lines[line - 1])
    first = _first_in_table(lines, line, key[1]) if key else None
    return f"'{key[1]}' already stands in line {first}" if key and first else ""


def _first_in_table(lines: list[str], line: int, key: str) -> int | None:
    found = None
    for number in range(line - 1, 0, -1):
        if _ANY_HEADER.match(lines[number - 1]):
            break
        found = number if _same(_KEY, lines[number - 1], key) else found
    return found


def _same(pattern: re.Pattern[str], line: str, word: str) -> bool:
    found = pattern.match(line)
    return bool(found) and found[1] == word if found else False


def _no_value(line: str) -> str:
    text = line.partition("#")[0].strip()
    if text.startswith("[") and text.count("[") != text.count("]"):
        return "a bracket of this heading is not closed"
    key = _KEY.match(text)
    if key and re.fullmatch(r"[A-Za-z][\w -]*", text[key.end() :].strip() or "-"):
        return f"the value of '{key[1]}' must stand in quotes"
    return f"'{key[1]}' has no value" if key and not text[key.end() :].strip() else ""
