"""Frames of a bus to whole messages.

Source: ISO 15765-2 as openly documented (single, first, consecutive and flow-control frames, with
the escape lengths of longer frames); from memory, checked against worked frames in the tests.
"""

from collections.abc import Iterable, Iterator

import msgspec

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
