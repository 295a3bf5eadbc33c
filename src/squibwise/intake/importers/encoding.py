"""Bytes to text: which encoding, and whether it is text at all."""

import codecs
import unicodedata

from squibwise.errors import InputError
from squibwise.model.origin import Finding, Origin

_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_SINGLE_BYTE = ("cp1252", "cp1250", "cp850")  # on a tie the first
_PEEK = 20_000
_CONTROLS = bytes(set(range(32)) - set(b"\t\n\r\f\x1b")) + b"\x7f"


def decode(data: bytes, name: str) -> tuple[str, tuple[Finding, ...]]:
    """Return the text and what was doubtful about its encoding.

    Raises:
        InputError: It is not text.
    """
    for bom, encoding in _BOMS:
        if data.startswith(bom):
            return data[len(bom) :].decode(encoding, "replace"), ()
    wide = _wide_without_mark(data)
    if wide:
        return data.decode(wide, "replace"), ()
    if is_binary(data):
        raise InputError(
            f"{name}: this is not text and no format that can be read.",
            remedy="Save the report as text, PDF, CSV, XLSX or a web page, and read that.",
        )
    return _narrow(data, name)


def is_binary(data: bytes) -> bool:
    """Tell whether there are more control bytes than a damaged text could have."""
    bad = len(data) - len(data.translate(None, _CONTROLS))
    return bad * 10 > len(data) or (bad > 8 and bad * 50 > len(data))


def _wide_without_mark(data: bytes) -> str | None:
    """Return UTF-16 with its byte order when every second byte is nearly always zero."""
    head = data[: _PEEK // 2 * 2]
    pairs = len(head) // 2
    if pairs < 2:
        return None
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if odd > 0.4 * pairs and even < 0.05 * pairs:
        return "utf-16-le"
    if even > 0.4 * pairs and odd < 0.05 * pairs:
        return "utf-16-be"
    return None


def _narrow(data: bytes, name: str) -> tuple[str, tuple[Finding, ...]]:
    try:
        return data.decode("utf-8"), ()
    except UnicodeDecodeError:
        pass
    text = data.decode("utf-8", "replace")
    lost = text.count("\ufffd")
    if lost * 10 <= sum(c > "\x7f" for c in text) or (lost == 1 and text.endswith("\ufffd")):
        message = f"{lost} characters are damaged and stand as \ufffd."
        return text, (_doubt(name, message, "Save it again as UTF-8 if they matter."),)
    return _single_byte(data, name)


def _single_byte(data: bytes, name: str) -> tuple[str, tuple[Finding, ...]]:
    readings = {e: data.decode(e, "replace") for e in _SINGLE_BYTE}
    best = max(_SINGLE_BYTE, key=lambda e: _plausibility(readings[e]))
    message = f"The text is not UTF-8; it was read as {best}."
    return readings[best], (_doubt(name, message, "If letters look wrong, save it as UTF-8."),)


def _plausibility(text: str) -> int:
    """Score: letters beside letters count for an encoding, signs inside words against it."""
    score, last = 0, " "
    for here, after in zip(text, text[1:] + " ", strict=True):
        if here > "\x7f":
            inside = last.isalpha() or after.isalpha()
            letter = unicodedata.category(here)[0] == "L"
            score += (1 if letter else -1) if inside else (-1 if letter else 0)
            score -= here == "\ufffd"
        last = here
    return score


def _doubt(name: str, message: str, remedy: str) -> Finding:
    return Finding(
        code="encoding-doubtful",
        severity="note",
        message=message,
        remedy=remedy,
        origin=Origin(file=name),
    )
