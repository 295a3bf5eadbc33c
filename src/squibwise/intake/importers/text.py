"""Bytes to text, text to numbered lines, cells to lines; every other text format ends here too."""

import codecs
import re
import unicodedata
from collections.abc import Sequence

from squibwise.errors import InputError
from squibwise.intake.importers.base import (
    MAX_CELLS,
    MAX_LINE_CHARS,
    MAX_LINES,
    MAX_TEXT_BYTES,
    Document,
    Extract,
    Importer,
    RawLine,
    refuse_large,
    refuse_many,
)
from squibwise.intake.patterns import pattern
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
    if _is_utf8(text):
        lost = text.count("\ufffd")
        message = f"{lost} characters are damaged and stand as \ufffd."
        return text, (_doubt(name, message, "Save it again as UTF-8 if they matter."),)
    return _single_byte(data, name)


def guess_encoding(sample: bytes) -> str:
    """Return the encoding of a text of which only the beginning is known."""
    for bom, encoding in _BOMS:
        if sample.startswith(bom):
            return encoding[:6] if encoding != "utf-8" else "utf-8-sig"
    lines = sample[: sample.rfind(b"\n") + 1] or sample  # no letter is cut in two
    if _is_utf8(lines.decode("utf-8", "replace")):
        return _wide_without_mark(sample) or "utf-8-sig"
    return _likeliest_narrow(b"\n".join(x for x in lines.split(b"\n") if not x.isascii()))


def _is_utf8(text: str) -> bool:
    """Tell whether so few letters were lost that the rest is UTF-8."""
    lost = text.count("\ufffd")
    return lost * 10 <= sum(c > "\x7f" for c in text) or (lost == 1 and text.endswith("\ufffd"))


def _likeliest_narrow(data: bytes) -> str:
    return max(_SINGLE_BYTE, key=lambda e: _plausibility(data.decode(e, "replace")))


def _single_byte(data: bytes, name: str) -> tuple[str, tuple[Finding, ...]]:
    best = _likeliest_narrow(data)
    message = f"The text is not UTF-8; it was read as {best}."
    remedy = "If letters look wrong, save it as UTF-8."
    return data.decode(best, "replace"), (_doubt(name, message, remedy),)


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


_BREAK = pattern(r"\r\n|\n|\r")
_COLOUR = pattern(r"\x1b\[[0-9;]{0,20}[A-Za-z]")  # a terminal's colours
_CONTROL = pattern(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u200b\ufeff]")


def read_text(document: Document) -> Extract:
    """Return a plain text's lines.

    Raises:
        InputError: It is empty, or larger than a report can be.
    """
    text, name = document.text or "", document.name
    if text.startswith("{\\rtf"):
        raise InputError(
            f"{name}: this is formatted text (RTF), which is not read.",
            remedy="Save it as plain text or PDF and read that.",
        )
    refuse_large(name, len(text), MAX_TEXT_BYTES, "a text report")
    lines, findings = numbered(text, name)
    return Extract(lines=lines, findings=findings, format="text")


def numbered(text: str, name: str) -> tuple[tuple[RawLine, ...], tuple[Finding, ...]]:
    """Return the lines that hold anything, with their numbers in the file.

    A line longer than the limit is handed over in pieces that keep its number.

    Raises:
        InputError: There is nothing in it, or there are too many lines.
    """
    lines: list[RawLine] = []
    cut: list[int] = []
    for number, raw in enumerate(_BREAK.split(text), start=1):
        plain = _CONTROL.sub(" ", _COLOUR.sub("", raw)).rstrip()
        pieces = in_pieces(close_up(plain))
        if len(pieces) > 1:
            cut.append(number)
        lines += (RawLine(number=number, text=piece) for piece in pieces)
        refuse_many(name, len(lines), MAX_LINES, "lines")
    if not lines:
        raise empty(name)
    return tuple(lines), tuple(_cut(name, n) for n in cut[:20])


def empty(name: str) -> InputError:
    """Return the error of a file with nothing in it."""
    return InputError(f"{name}: the file is empty.", remedy="Save the report again.")


def in_pieces(line: str) -> list[str]:
    """Return a line cut at spaces or commas into pieces that are not too long.

    >>> in_pieces("B0001 open")
    ['B0001 open']
    """
    pieces: list[str] = []
    while len(line) > MAX_LINE_CHARS:
        at = max(line.rfind(sign, 1, MAX_LINE_CHARS) for sign in " ,;\t")
        at = at if at > 0 else MAX_LINE_CHARS - 1
        pieces.append(line[: at + 1].rstrip())
        line = line[at + 1 :]
    pieces.append(line)
    return [p for p in pieces if p.strip()]


def close_up(line: str) -> str:
    """Return a line whose letters were spaced out, closed up again; any other as it is.

    Only when nearly every word is one character and double spaces part the words.

    >>> close_up("B 0 0 0 1   D r i v e r   b a g")
    'B0001 Driver bag'
    >>> close_up("4 1 1 2 3 1  2")
    '4 1 1 2 3 1  2'
    """
    words = line.split()
    singles = sum(len(w) == 1 for w in words)
    letters = sum(len(w) == 1 and w.isalpha() for w in words)
    if len(words) < 8 or singles < 0.9 * len(words) or letters < 0.4 * singles:
        return line
    groups = re.split(r"\s{2,}|\t", line.strip())
    if len(groups) < 2:
        return line
    return " ".join(g.replace(" ", "") for g in groups)


def _cut(name: str, number: int) -> Finding:
    return Finding(
        code="line-too-long",
        severity="note",
        message=f"The line has more than {MAX_LINE_CHARS} characters and was read in pieces.",
        origin=Origin(file=name, line=number),
    )


TEXT = Importer(format="text", claims=lambda document: document.text is not None, read=read_text)


def row_lines(number: int, cells: Sequence[str]) -> list[RawLine]:
    r"""Return a row as a line; in pieces when it is too long, none when it is blank.

    >>> row_lines(2, ["B0001 ", "", "open"])
    [RawLine(number=2, text='B0001\topen', cells=('B0001', '', 'open'), sheet='')]
    """
    tidy = [" ".join(cell.split()) for cell in cells]
    text = "\t".join(cell for cell in tidy if cell)
    if not text:
        return []
    if len(text) > MAX_LINE_CHARS:
        return [RawLine(number=number, text=piece) for piece in in_pieces(text)]
    return [RawLine(number=number, text=text, cells=_few(tidy))]


def _few(cells: list[str]) -> tuple[str, ...]:
    while cells and not cells[-1]:
        cells.pop()
    if len(cells) <= MAX_CELLS:
        return tuple(cells)
    return (*cells[: MAX_CELLS - 1], " ".join(cells[MAX_CELLS - 1 :]))
