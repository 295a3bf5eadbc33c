"""Importers of recorded answers: hex text and bus logs."""

import importlib
import io
import itertools
from collections.abc import Callable, Iterable, Iterator
from types import ModuleType
from typing import Any

import msgspec

from squibwise.errors import InputError, UnavailableError
from squibwise.intake.importers.answers.faults import LISTS, is_relevant, vin_in
from squibwise.intake.importers.answers.hexlines import HexLine, hex_lines, is_log
from squibwise.intake.importers.answers.listen import Heard, heard
from squibwise.intake.importers.answers.transport import Frame, Message, messages
from squibwise.intake.importers.base import Extract, RawLine
from squibwise.intake.importers.document import Document, Importer
from squibwise.intake.importers.limits import MAX_LINES
from squibwise.intake.importers.text import in_pieces
from squibwise.model.origin import Finding, Origin

_ASC_HEAD = ("date ", "base hex", "base dec")
_BLF_MARK = b"LOGG"
_MAX_FRAMES = 1_000_000
_SERVICES = {0x19: 4, 0x59: 0, 0x7F: 0, 0x54: 1, 0x62: 0}  # first byte: most bytes, 0 for any


def claims_text(document: Document) -> bool:
    """Tell whether it is a text of frames or of answers in hex."""
    text = document.text or ""
    return not _is_asc(text) and is_log(text)


def claims_asc(document: Document) -> bool:
    """Tell whether it begins as an ASC log does."""
    return _is_asc(document.text or "")


def _is_asc(text: str) -> bool:
    head = text.lstrip()[:400].lower().splitlines()[:6]
    found = {sign for sign in _ASC_HEAD for line in head if line.startswith(sign)}
    return len(found) >= 2


def claims_blf(document: Document) -> bool:
    """Tell whether the mark of a BLF log stands at its beginning."""
    return document.data.startswith(_BLF_MARK)


def read_text(document: Document) -> Extract:
    """Return the codes in answers written as hex, one self-explaining line each.

    Lines that are no hex are handed over as they stand.

    Raises:
        InputError: There is no answer to service 0x19 in it.
    """
    lines: list[HexLine] = []
    words: list[RawLine] = []
    for line in hex_lines(document.text or ""):
        if isinstance(line, HexLine):
            lines.append(line)
        elif len(words) < MAX_LINES:
            words += (RawLine(number=line[0], text=piece) for piece in in_pieces(line[1].strip()))
    found = [*_whole_messages(lines), *_relevant(lambda: filter(_is_frame, lines))]
    read = _extract(sorted(found, key=lambda m: m.number), document.name, "answers")
    if not words:
        return read
    both = sorted((*read.lines, *words), key=lambda line: line.number)
    return msgspec.structs.replace(read, lines=tuple(both))


def _is_frame(line: HexLine) -> bool:
    return bool(line.sender) and (line.framed or not _is_whole(line))


def _is_whole(line: HexLine) -> bool:
    """Tell whether a line holds a whole message, not a frame of one."""
    most = _SERVICES.get(line.data[0])
    return not line.framed and most is not None and (not most or len(line.data) <= most)


def _whole_messages(lines: Iterable[HexLine]) -> list[Message]:
    """Return messages written whole; one that goes on over bare lines of hex is joined."""
    found: list[Message] = []
    for line in lines:
        if _is_whole(line):
            found.append(Message(number=line.number, sender=line.sender, data=line.data))
        elif line.bare and found and is_relevant(found[-1].data):
            last = found.pop()
            found.append(msgspec.structs.replace(last, data=last.data + line.data))
    return found


def _relevant(frames: Callable[[], Iterator[Frame]]) -> list[Message]:
    """Return the messages that matter, with the plain header or behind an address byte."""
    for skip in (0, 1):
        found = [m for m in messages(frames(), skip) if _matters(m)]
        if any(is_relevant(m.data) for m in found):
            return found
    return []


def _matters(message: Message) -> bool:
    data = message.data
    if is_relevant(data):
        return bool(message.missing) or data[1] not in LISTS or len(data) % 4 == 3
    return data[:2] == b"\x19\x02" or data == b"\x54" or bool(vin_in(data))


def read_asc(document: Document) -> Extract:
    """Return the codes in an ASC log. Raises as ``read_text``, or when the reader is missing."""
    can = _library("can.io.asc", document.name)
    reader = can.ASCReader(io.StringIO(document.text or ""))
    return _extract(_relevant(_recorded(reader)), document.name, "asc")


def read_blf(document: Document) -> Extract:
    """Return the codes in a BLF log. Raises as ``read_text``, or when the reader is missing."""
    can = _library("can.io.blf", document.name)
    reader = can.BLFReader(io.BytesIO(document.data))
    return _extract(_relevant(_recorded(reader)), document.name, "blf")


def _library(module: str, name: str) -> ModuleType:
    try:
        return importlib.import_module(module)
    except ImportError:
        raise UnavailableError(
            f"{name}: bus logs of this kind need an optional part that is not installed.",
            remedy="Install it with pip install 'squibwise[bus]', or save the log as candump text.",
        ) from None


def _recorded(reader: Iterable[Any]) -> Callable[[], Iterator[Frame]]:
    """Return the frames of a log, to be gone through more than once."""
    kept = [
        Frame(
            number=number,
            sender=f"{message.arbitration_id:0{8 if message.is_extended_id else 3}X}",
            data=bytes(message.data),
        )
        for number, message in enumerate(itertools.islice(reader, _MAX_FRAMES), start=1)
    ]
    return lambda: iter(kept)


def _extract(found: list[Message], name: str, format_: str) -> Extract:
    if not any(is_relevant(m.data) for m in found):
        raise InputError(
            f"{name}: the log holds no answer to service 0x19, so no fault codes.",
            remedy="Record the bus while the codes are being listed, and read that.",
        )
    said = heard(found)
    findings = tuple(
        Finding(
            code=remark.code,
            severity="warning" if remark.remedy else "note",
            message=remark.text,
            remedy=remark.remedy,
            origin=Origin(file=name, line=remark.number),
        )
        for remark in said.remarks
    )
    return Extract(lines=tuple(_lines(said)), findings=findings, format=format_)


def _lines(said: Heard) -> Iterator[RawLine]:
    """Return a line per code; with several units each under a heading."""
    empty = dict(said.empty)
    heard_at = [(r.number, r.unit) for r in said.codes] + [(n, u) for u, n in said.empty]
    units = dict.fromkeys(unit for _, unit in sorted(heard_at))
    yield from (RawLine(number=number, text=f"VIN: {vin}") for vin, number in said.vins)
    for unit in units:
        codes = [r for r in said.codes if r.unit == unit]
        first = codes[0].number if codes else empty[unit]
        if len(units) > 1 and unit:
            yield RawLine(number=first, text=f"Control unit {unit}")
        if not codes:
            yield RawLine(number=first, text="0 faults")
        yield from (RawLine(number=r.number, text=r.text()) for r in codes)


TEXT_LOG = Importer(format="answers", claims=claims_text, read=read_text)
ASC_LOG = Importer(format="asc", claims=claims_asc, read=read_asc, apart=True)
BLF_LOG = Importer(format="blf", claims=claims_blf, read=read_blf, binary=True, apart=True)
