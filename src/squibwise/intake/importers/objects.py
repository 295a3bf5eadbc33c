"""JSON: each object that holds plain values is a line of its own."""

import json
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

from squibwise.intake.importers.base import (
    MAX_JSON_BYTES,
    MAX_LINES,
    Document,
    Extract,
    Importer,
    RawLine,
    refuse_large,
    refuse_many,
)
from squibwise.intake.importers.text import empty, numbered, row_lines
from squibwise.intake.patterns import pattern
from squibwise.model.origin import Finding, Origin

_START = pattern(
    r"\s*(?:\{\s*(?:\"|\}|\Z)|\[\s*(?:[\"{\]]|-?\d+\s*[,\]]|\[\s*[\"\]]|true|false|null|\Z))"
)
_CODE = pattern(r"(?:.*[^a-z])?(?:dtc|code|fault_?code|trouble_?code|dtc_?code)\Z", re.IGNORECASE)
_FAILURE = pattern(
    r"ftb|(?:failure|fault)_?(?:type|byte)|failure_?type_?byte|sub_?code", re.IGNORECASE
)
_WORDS = pattern(r"desc|text|title|name|meaning|message|label|definition|fault", re.IGNORECASE)
_HEADING = pattern(
    r"(?:(?:module|unit|ecu|system|controller)_?)?(?:name|title)|(?:module|unit|ecu|system)_?\d*",
    re.IGNORECASE,
)
_STATE = pattern(r"stat(?:us|e)|severity", re.IGNORECASE)
_STATUS_BYTE = pattern(r"status_?(?:byte|mask|bits)|status", re.IGNORECASE)
_TWO_DIGITS = pattern(r"(?:0x)?([0-9A-F]{2})\Z", re.IGNORECASE)
_CODE_NAME = pattern(r"[PCBU][0-9A-F]{4}", re.IGNORECASE)
_CODED = pattern(
    r'"([^"]{1,30})"\s*:\s*"[PCBU][0-9A-F]{4}(?:-[0-9A-F]{2})?[" ]', re.IGNORECASE, needs=('"',)
)
_LISTED = pattern(r'[\[,]\s*"[PCBU][0-9A-F]{4}\W[^"]*[a-z]{3}', re.IGNORECASE, needs=('"',))
_NUMBER = pattern(r"id|nr|no|num|number|c|key", re.IGNORECASE)
_UNIT = pattern(
    r"(?:control_?)?(?:module|unit|ecu|system|controller)(?:_?name|_?id)?", re.IGNORECASE
)
_MAX_DEPTH = 60

Pairs = tuple[tuple[str, Any], ...]  # an object, with repeated names kept


def claims(document: Document) -> bool:
    """Tell whether it begins as an object or a list of JSON does."""
    return _START.match(document.text or "") is not None


def read(document: Document) -> Extract:
    """Return a line per object with plain values: code first, then words, then status, then rest.

    Broken JSON is handed over as text, with a finding.

    Raises:
        InputError: It is larger than a report can be, or empty.
    """
    text, name = document.text or "", document.name
    refuse_large(name, len(text), MAX_JSON_BYTES, "a JSON report")
    try:
        named = _name_of_codes(text)
        lines = _lines(_parsed(text, named), name, is_named=bool(named or _LISTED.search(text)))
    except (ValueError, RecursionError):
        return _as_text(text, name)
    if not lines:
        raise empty(name)
    return Extract(lines=tuple(lines), format="json")


def _name_of_codes(text: str) -> str:
    """Return the name that codes have in a text; empty where none is surely theirs."""
    found = Counter(m[1] for m in _CODED.finditer(text))
    names = [k for k in found if _CODE.match(k)] or [k for k in found if _NUMBER.fullmatch(k)]
    (first, most), (_, next_) = [*found.most_common(2), ("", 0), ("", 0)][:2]
    return names[0] if names else first if most > max(next_, 1) else ""


def _parsed(text: str, named: str) -> list[Any]:
    """Return the documents in a text: one, or one per line.

    Raises:
        ValueError: It is not JSON.
        RecursionError: It is nested deeper than the parser goes.
    """
    try:
        return [_loads(text, named)]
    except ValueError:
        parts = [line for line in text.splitlines() if line.strip()]
        if len(parts) < 2:
            raise
        return [_loads(part, named) for part in parts]


def _loads(text: str, named: str) -> Any:  # noqa: ANN401 - JSON can be anything
    def taken(pairs: list[tuple[str, Any]]) -> Pairs:
        return tuple(("code" if k == named else k, v) for k, v in pairs)

    return json.loads(
        text, object_pairs_hook=taken, parse_int=str, parse_float=str, parse_constant=str
    )


def _lines(documents: list[Any], name: str, *, is_named: bool) -> list[RawLine]:
    """Return the lines of documents; where codes stand under their name nothing else is one."""
    lines: list[RawLine] = []
    heading: list[str] = []
    for cells in (row for document in documents for row in _rows(document, "", 0, is_named)):
        if len(cells) == 1 and cells == heading:
            continue  # each of its codes names its unit
        heading = cells if len(cells) == 1 else heading
        number = lines[-1].number + 1 if lines else 1
        lines += row_lines(number, cells)
        refuse_many(name, len(lines), MAX_LINES, "entries")
    return lines


def _rows(value: Any, key: str, depth: int, is_named: bool) -> Iterator[list[str]]:  # noqa: ANN401
    """Return the rows in a value that stood under a key."""
    if depth > _MAX_DEPTH:
        raise RecursionError
    if isinstance(value, tuple):
        yield from _object_rows(value, key, depth, is_named)
    elif not isinstance(value, list):
        shown = _shown(value)
        yield [f"{key}: {shown}" if key else shown]
    elif all(not isinstance(v, list | tuple) for v in value) and depth and not key:
        yield [_shown(v) for v in value]  # a list in a list: a row of a table
    else:
        for item in value:
            yield from _rows(item, "", depth + 1, is_named)


def _object_rows(pairs: Pairs, key: str, depth: int, is_named: bool) -> Iterator[list[str]]:
    pairs = tuple(_unlike_a_code(k, v) for k, v in pairs) if is_named else pairs
    plain = [(k, v) for k, v in pairs if not _is_nested(v)]
    if _CODE_NAME.match(key):
        plain.insert(0, ("code", key))
    plain = plain if is_named else _with_names(plain)
    is_fault = any(_CODE.match(k) for k, _ in plain)
    if is_fault:
        units = [(k, v) for k, v in plain if _UNIT.fullmatch(k) and _names_unit(v)]
        yield from ([v] for _, v in units[:1])
        yield _fault_row([pair for pair in plain if pair not in units[:1]])
    coded = [k for k, v in pairs if not is_fault and _holds_codes(v)]
    for k, v in pairs:
        if _is_nested(v):
            yield from ([f"{k.replace('_', ' ')}:"] for _ in coded[1:2] if k in coded)
            yield from _rows(v, k if isinstance(v, tuple) else "", depth + 1, is_named)
        elif v is not False and not is_fault:
            yield [_named(k, v)]


def _holds_codes(value: Any) -> bool:  # noqa: ANN401
    """Tell whether codes stand right below a value, or in lists of it; two such name units."""
    if isinstance(value, list):
        return any(isinstance(v, tuple) and any(_CODE.match(k) for k, _ in v) for v in value)
    own = isinstance(value, tuple) and any(_CODE_NAME.fullmatch(k) for k, _ in value)
    return own or (isinstance(value, tuple) and any(_holds_codes(v) for _, v in value))


def _names_unit(value: Any) -> bool:  # noqa: ANN401
    """``SRS``, ``brakes``; not so ``ohms``, which a value has."""
    return isinstance(value, str) and len(value) > 1 and (value[0].isupper() or len(value) > 4)


def _unlike_a_code(key: str, value: Any) -> tuple[str, Any]:  # noqa: ANN401
    """``"software": "B1040"``: a number under another name than that of codes is of a thing."""
    is_number = isinstance(value, str) and _CODE_NAME.match(value) and " " not in value
    return ("part number", f"{value} {key}") if is_number and not _CODE.match(key) else (key, value)


def _with_names(plain: list[tuple[str, Any]]) -> list[tuple[str, Any]]:
    """Name the code, and the longest text beside it, where only the values tell which they are."""
    coded = [k for k, v in plain if isinstance(v, str) and _CODE_NAME.fullmatch(v)]
    if len(coded) != 1 or any(_CODE.match(k) for k, _ in plain):
        return plain
    texts = [(len(v), k) for k, v in plain if isinstance(v, str) and " " in v]
    names = {coded[0]: "code"} | ({max(texts)[1]: "text"} if texts else {})
    states = [k for k, v in plain if k not in names and k.lower() in ("st", "state", "stat")]
    names |= dict.fromkeys(states[:1], "state")
    return [(names.get(k, k), v) for k, v in plain]


def _named(key: str, value: Any) -> str:  # noqa: ANN401
    """Return a value with its name; the name of a unit stands alone, as a heading does."""
    is_heading = _HEADING.fullmatch(key) and isinstance(value, str)
    return _shown(value) if is_heading else f"{key}: {_shown(value)}"


def _is_nested(value: Any) -> bool:  # noqa: ANN401
    """Tell whether a value holds objects; a short list of words is a plain value."""
    if isinstance(value, list):
        return not value or any(isinstance(v, list | tuple) for v in value) or len(value) > 8
    return isinstance(value, tuple)


def _fault_row(plain: list[tuple[str, Any]]) -> list[str]:
    """Return code, words, status, and then whatever else the object says with its name."""
    left = list(plain)
    code = _take(left, _CODE)
    failure = _take(left, _FAILURE)
    words, state = _take(left, _WORDS), _take(left, _STATE, keep_name=_STATUS_BYTE)
    digits = _TWO_DIGITS.match(failure)
    if digits and "-" not in code:
        code, failure = f"{code}-{digits[1].upper()}", ""
    rest = [k if v is True else f"{k}: {_shown(v)}" for k, v in left if v not in (False, None, "")]
    return [code, words, failure, state, *rest]


def _take(
    pairs: list[tuple[str, Any]], pattern: re.Pattern[str], keep_name: re.Pattern[str] | None = None
) -> str:
    """Remove the first pair whose name matches and return its value."""
    for pair in pairs:
        if pattern.search(pair[0]) and not isinstance(pair[1], bool):
            pairs.remove(pair)
            shown = _shown(pair[1])
            named = keep_name and keep_name.fullmatch(pair[0]) and _TWO_DIGITS.match(shown)
            return f"status {shown}" if named else shown
    return ""


def _shown(value: Any) -> str:  # noqa: ANN401
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_shown(v) for v in value)
    return "" if value is None else str(value)


def _as_text(text: str, name: str) -> Extract:
    lines, findings = numbered(text, name)
    broken = Finding(
        code="json-broken",
        severity="warning",
        message="The file begins like JSON but is damaged or nested too deep; it was read as text.",
        remedy="Check every line that was read, or save the report again.",
        origin=Origin(file=name),
    )
    return Extract(lines=lines, findings=(broken, *findings), format="text")


IMPORTER = Importer(format="json", claims=claims, read=read)
