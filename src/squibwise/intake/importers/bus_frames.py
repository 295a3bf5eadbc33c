"""Frames of a recorded bus to the messages and fault memories they carry."""

import re
import sys
from collections.abc import Iterable, Iterator

import msgspec

from squibwise.intake.patterns import pattern

_SINGLE, _FIRST, _CONSECUTIVE = 0, 1, 2
_CLASSIC = 8  # bytes in a frame of the older kind
_MAX_OPEN = 10_000  # senders with an unfinished message


class Frame(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One frame, or one whole message where the log holds messages.

    Attributes:
        number: Line in a text log, frame in a binary one; from 1.
        sender: Identifier in hex; empty when the log does not tell.
        data: Its bytes.
    """

    number: int
    sender: str
    data: bytes


class Message(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One message.

    Attributes:
        number: Line or frame on which it began.
        sender: Identifier in hex; empty when the log does not tell.
        data: What arrived of it.
        missing: Bytes that never arrived; 0 when whole.
    """

    number: int
    sender: str
    data: bytes
    missing: int = 0


class _Open(msgspec.Struct, kw_only=True):
    """A message of which more frames are to come."""

    number: int
    length: int
    data: bytearray
    following: int


def messages(frames: Iterable[Frame], skip: int = 0) -> Iterator[Message]:
    """Return whole messages in the order they ended; broken ones with what is missing.

    Args:
        frames: In the order recorded.
        skip: Address bytes before the frame's own header: 0 or 1.
    """
    waiting: dict[str, _Open] = {}
    for frame in frames:
        data = frame.data[skip:]
        if not data:
            continue
        kind = data[0] >> 4
        if kind == _SINGLE:
            yield from _single(frame, data)
        elif kind == _FIRST and len(data) > 2 and len(waiting) < _MAX_OPEN:
            if frame.sender in waiting:
                yield _broken(waiting.pop(frame.sender), frame.sender)
            waiting[frame.sender] = _opened(frame, data)
        elif kind == _CONSECUTIVE and frame.sender in waiting:
            ended = _continued(waiting[frame.sender], data, frame.sender)
            if ended is not None:
                del waiting[frame.sender]
                yield ended
    yield from (_broken(message, sender) for sender, message in waiting.items())


def _single(frame: Frame, data: bytes) -> Iterator[Message]:
    length, start = data[0] & 0x0F, 1
    if length == 0 and len(data) > _CLASSIC:
        length, start = data[1], 2
    if 0 < length <= len(data) - start:
        content = data[start : start + length]
        yield Message(number=frame.number, sender=frame.sender, data=content)


def _opened(frame: Frame, data: bytes) -> _Open:
    length, start = (data[0] & 0x0F) << 8 | data[1], 2
    if length == 0 and len(data) >= 6:
        length, start = int.from_bytes(data[2:6], "big"), 6
    return _Open(number=frame.number, length=length, data=bytearray(data[start:]), following=1)


def _continued(message: _Open, data: bytes, sender: str) -> Message | None:
    """Return the message when this frame ends it, whole or broken by a lost frame."""
    if data[0] & 0x0F != message.following:
        return _broken(message, sender)
    message.data += data[1:]
    message.following = (message.following + 1) & 0x0F
    if len(message.data) < message.length:
        return None
    content = bytes(message.data[: message.length])
    return Message(number=message.number, sender=sender, data=content)


def _broken(message: _Open, sender: str) -> Message:
    content = bytes(message.data[: message.length])
    missing = max(message.length - len(content), 1)
    return Message(number=message.number, sender=sender, data=content, missing=missing)


ANSWER, REFUSAL, REQUEST = 0x59, 0x7F, 0x19
CLEARED = 0x54
_VIN_ANSWER = b"\x62\xf1\x90"
COUNT, BY_STATUS, EXTENDED, SUPPORTED = 0x01, 0x02, 0x06, 0x0A
LISTS = (BY_STATUS, SUPPORTED)
SUBFUNCTIONS = (COUNT, EXTENDED, *LISTS)
_SYSTEMS = "PCBU"


_FAULT_BITS = 0xAF  # failed now, this cycle, pending, confirmed, since clearing, lamp asked for
_UNTESTED_BITS = 0x50  # test not completed since clearing, in this cycle


class Reported(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One code as a unit reported it.

    Attributes:
        number: Line or frame of the answer.
        unit: Sender's identifier; empty when the log does not tell.
        code: Such as ``B0001-11``.
        status: Status byte.
        mask: Which of its bits the unit supports; None when the answer does not tell.
        asked: Sub-function of the answer.
    """

    number: int
    unit: str
    code: str
    status: int
    mask: int | None
    asked: int

    def text(self) -> str:
        """Return the code as a line that explains itself."""
        known = "" if self.mask is None else f" mask 0x{self.mask:02X}"
        return f"{self.code} status 0x{self.status:02X}{known}"

    def is_clean(self) -> bool:
        """Tell whether the unit says that the test ran and found nothing."""
        mask = 0xFF if self.mask is None else self.mask
        told = self.status & mask & (_FAULT_BITS | _UNTESTED_BITS)
        return told == 0 and mask & _FAULT_BITS & 0x0F != 0


def code_name(triple: bytes) -> str:
    """Return three bytes as a code with its failure type.

    >>> code_name(bytes([0x80, 0x01, 0x11]))
    'B0001-11'
    """
    system = _SYSTEMS[triple[0] >> 6]
    return f"{system}{triple[0] >> 4 & 3}{triple[0] & 15:X}{triple[1]:02X}-{triple[2]:02X}"


def vin_in(data: bytes) -> str:
    """Return the VIN in an answer to data identifier F190; nothing in any other message.

    Source: ISO 14229-1, service 0x22 with data identifier 0xF190; from memory.
    """
    vin = data[3:20]
    if data[:3] != _VIN_ANSWER or len(vin) != 17 or not vin.isalnum() or not vin.isascii():
        return ""
    return vin.decode("ascii")


def is_relevant(data: bytes) -> bool:
    """Tell whether a message answers, refuses or follows a request for fault codes."""
    if data[:1] == bytes([ANSWER]):
        return len(data) > 2 and data[1] in SUBFUNCTIONS
    return data[:2] == bytes([REFUSAL, REQUEST]) and len(data) > 2


def codes_in(message: Message) -> list[Reported]:
    """Return the codes of one answer; bytes that make no whole code are left over."""
    data = message.data
    if data[1] == EXTENDED:
        records, mask = [data[2:6]] if len(data) >= 6 else [], None
    elif data[1] in LISTS:
        records = [data[at : at + 4] for at in range(3, len(data) - 3, 4)]
        mask = data[2]
    else:
        return []
    return [
        Reported(
            number=message.number,
            unit=message.sender,
            code=code_name(record[:3]),
            status=record[3],
            mask=mask,
            asked=data[1],
        )
        for record in records
        if any(record)  # all zero is padding
    ]


_LINE = pattern(r"[^\r\n]+|(\r\n|\r|\n)")
_BYTE = pattern(r"(?:0x)?([0-9A-F]{2})\Z", re.IGNORECASE)
_RUN = pattern(r"(?:[0-9A-F]{2}){2,}\Z", re.IGNORECASE)
_SENDER = pattern(r"(?:0x)?([0-9A-F]{3}|[0-9A-F]{8})x?\Z", re.IGNORECASE)
_PICTURE = pattern(r"\s{2,}'.*'?\s*\Z")  # the letters beside the bytes
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
