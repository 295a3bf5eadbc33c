"""The common slips in a case file that is no TOML, told in plain words."""

import re

from squibwise.intake.patterns import pattern

_KEY = pattern(r"^\s*([\w.-]+)\s*=")
_HEADER = pattern(r"^\s*\[(?!\[)\s*([\w.-]+)\s*\]")
_ANY_HEADER = pattern(r"^\s*\[")


def diagnosis(text: str, line: int) -> str:
    """Return what is wrong with a line in plain words; empty when it is none of the common slips.

    Args:
        text: A text that is not TOML.
        line: The line, from 1, at which its reader gave up.
    """
    lines = text.splitlines()
    if not 1 <= line <= len(lines):
        return ""
    written = lines[line - 1]
    slips = (_curly, _backslash, _unclosed_quote, _comment, _colon, _json, _number, _truth)
    told = (slip(written) for slip in slips)
    return next(filter(None, told), "") or _repeated(lines, line) or _no_value(written)


_CURLY = pattern("[\u201c\u201d\u201e\u00ab\u00bb\u2018\u2019]")
_GROUPED = pattern(r"[-+]?\s*[$\u20ac\u00a3]?\s*\d{1,3}(?:([,.' ])\d{3})+(?:[.,]\d+)?")
_SIGNED = pattern(r"[$\u20ac\u00a3]\s*[\d.,]+|[\d.,]+\s*(?:[$\u20ac\u00a3]|[A-Z]{3}\b)")


def _bare_value(line: str) -> str:
    """Return what stands behind the equals sign outside quotes."""
    key = _KEY.match(line)
    return "" if key is None else line[key.end() :].partition("#")[0].strip()


def _curly(line: str) -> str:
    found = _CURLY.match(_bare_value(line))
    return 'curly quotes are no quotes here; write "..." with straight ones' if found else ""


def _backslash(line: str) -> str:
    if not re.search(r'=\s*"[^"]*\\(?![btnfr"\\/]|u[0-9a-fA-F]{4}|U[0-9a-fA-F]{8})', line):
        return ""
    return (
        "a backslash in double quotes has a meaning of its own; write a path with forward slashes, "
        "such as evidence/scan.txt, or in single quotes"
    )


def _colon(line: str) -> str:
    found = re.match(r"\s*([\w.-]+)\s*:(?=\s|[\"'\d])", line)
    return f"between '{found[1]}' and its value stands an equals sign, not a colon" if found else ""


def _comment(line: str) -> str:
    found = re.match(r"\s*(//|;|--|/\*)", line)
    return f"a remark begins with '#', not with '{found[1]}'" if found else ""


def _json(line: str) -> str:
    if re.match(r"\s*[\"'][\w.-]+[\"']\s*:", line):
        return "this is JSON; write key = value, without a comma at the end"
    end = re.search(r"=\s*(?:\d[\d.]*|true|false|\"[^\"]*\"|'[^']*')\s*([;,])\s*$", line)
    return f"a line ends without '{end[1]}'" if end else ""


_TRUE, _FALSE = ("true", "yes", "on", "y"), ("false", "no", "off", "n")


def _truth(line: str) -> str:
    value = _bare_value(line)
    good = {**dict.fromkeys(_TRUE, "true"), **dict.fromkeys(_FALSE, "false")}.get(value.lower())
    if good is None or value == good:
        return ""
    return f"yes and no are written true and false, without quotes: {good}"


def _number(line: str) -> str:
    value = _bare_value(line)
    decimal = re.fullmatch(r"([-+]?\d+),(\d{1,2})", value)
    if decimal:
        return f"a decimal is written with a point: {decimal[1]}.{decimal[2]}"
    if not (_GROUPED.fullmatch(value) or _SIGNED.fullmatch(value)):
        return ""
    plain = re.sub(r"[^\d]", "", re.sub(r"[.,]\d{1,2}$", "", re.sub(r"[^\d.,]", "", value)))
    return f"a number stands without commas, blanks and currency signs: {plain or 1200}"


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
    if key and re.fullmatch(r"[A-Za-z0-9][\w ./-]*", text[key.end() :].strip() or "-"):
        return f"the value of '{key[1]}' must stand in quotes"
    return f"'{key[1]}' has no value" if key and not text[key.end() :].strip() else ""
