"""Plain text to numbered lines; every other text format ends here too."""

import re

from squibwise.errors import InputError
from squibwise.intake.importers.base import Extract, RawLine
from squibwise.intake.importers.document import Document, Importer
from squibwise.intake.importers.limits import (
    MAX_LINE_CHARS,
    MAX_LINES,
    MAX_TEXT_BYTES,
    refuse_large,
    refuse_many,
)
from squibwise.model.origin import Finding, Origin

_BREAK = re.compile(r"\r\n|\n|\r")
_COLOUR = re.compile(r"\x1b\[[0-9;]{0,20}[A-Za-z]")  # a terminal's colours
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u200b\ufeff]")


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
