"""Lines of hex to frames and messages: a console's output, or a bus log written as text."""

import re
import sys
from collections.abc import Iterator

from squibwise.intake.importers.answers.faults import is_relevant
from squibwise.intake.importers.answers.transport import Frame, messages

_LINE = re.compile(r"[^\r\n]+|(\r\n|\r|\n)")
_BYTE = re.compile(r"(?:0x)?([0-9A-F]{2})\Z", re.IGNORECASE)
_RUN = re.compile(r"(?:[0-9A-F]{2}){2,}\Z", re.IGNORECASE)
_SENDER = re.compile(r"(?:0x)?([0-9A-F]{3}|[0-9A-F]{8})x?\Z", re.IGNORECASE)
_PICTURE = re.compile(r"\s{2,}'.*'?\s*\Z")  # the letters beside the bytes
_LONGEST, _PEEK = 20_000, 40_000
_SOME, _MOST = 0.3, 0.8  # shares of the lines
_FRAME = 64  # bytes in the longest frame


class HexLine(Frame, frozen=True, kw_only=True, gc=False):
    """A line with bytes in it.

    Attributes:
        bare: There is nothing on the line but bytes.
        framed: It is written as a frame: ``id#bytes``, or with the number of bytes in brackets.
    """

    bare: bool
    framed: bool


def hex_lines(text: str) -> Iterator[HexLine | tuple[int, str]]:
    """Return each line that is not blank: its bytes, or number and text when it ends in none."""
    for number, line in _numbered(text):
        yield _hex_line(number, line) or (number, line)


def _numbered(text: str) -> Iterator[tuple[int, str]]:
    number = 1
    for found in _LINE.finditer(text):
        if found[1] is not None:
            number += 1
        elif not found[0].isspace():
            yield number, found[0]


def _hex_line(number: int, line: str) -> HexLine | None:
    if len(line) > _LONGEST:
        return None
    if line.rstrip().endswith("'"):
        line = _PICTURE.sub("", line)
    label, _, run = line.rpartition("#")
    if label:  # identifier#bytes, or identifier##flags and bytes
        run = run[1:] if label.endswith("#") else run
        words = label.rstrip("#").split()
        data = bytes.fromhex(run) if _RUN.match(run.strip()) else b""
    else:
        words, data = _split(line)
    if not data:
        return None
    framed = bool(label) or f"[{len(data)}]" in words or f"[{len(data):02}]" in words
    sender = _sender(words)
    return HexLine(number=number, sender=sender, data=data, bare=not words, framed=framed)


def _split(line: str) -> tuple[list[str], bytes]:
    """Return the words before the bytes at the end of a line, and the bytes."""
    words = re.sub(r"[,:;]", " ", line).split()
    at = len(words)
    while at and _BYTE.match(words[at - 1]):
        at -= 1
    data = bytes(int(word[-2:], 16) for word in words[at:])
    if len(data) >= 2:
        return words[:at], data
    if words and len(words[-1]) >= 6 and _RUN.match(words[-1].removeprefix("0x")):
        return words[:-1], bytes.fromhex(words[-1].removeprefix("0x"))
    return words, b""


def _sender(words: list[str]) -> str:
    for word in reversed(words[-4:]):
        found = _SENDER.match(word.strip("[]()<>="))
        if found:
            return sys.intern(found[1].upper())
    return ""


def is_log(text: str) -> bool:
    """Tell whether a text is made of lines of bytes, of which some are frames or answers."""
    every = list(hex_lines(text[:_PEEK]))
    lines = [line for line in every if isinstance(line, HexLine)]
    answers = sum(is_relevant(line.data) for line in lines)
    marked = sum(line.framed and bool(line.sender) for line in lines)
    loose = [line for line in lines if line.sender and 4 <= len(line.data) <= _FRAME]
    if answers and answers + marked + len(loose) >= _SOME * len(every):
        return True
    if lines and marked > _MOST * len(every):
        return True
    whole = lines and len(loose) > _MOST * len(every)
    return bool(whole) and any(is_relevant(m.data) for m in messages(loose))
