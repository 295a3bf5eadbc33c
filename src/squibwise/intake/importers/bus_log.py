"""A recorded bus as a report: who answered, and with which faults."""

import importlib
import io
import itertools
from collections.abc import Callable, Iterable, Iterator
from types import ModuleType
from typing import Any

import msgspec

from squibwise.errors import InputError, UnavailableError
from squibwise.intake.importers import bus_frames
from squibwise.intake.importers.base import MAX_LINES, Document, Extract, Importer, RawLine
from squibwise.intake.importers.bus_frames import (
    LISTS,
    Frame,
    HexLine,
    Message,
    Reported,
    hex_lines,
    is_log,
    is_relevant,
    messages,
    vin_in,
)
from squibwise.intake.importers.text import in_pieces
from squibwise.model.origin import Finding, Origin

_PENDING = 0x78  # "wait, the answer follows"
_REFUSALS = {
    0x11: "it does not know the service",
    0x12: "it does not know this kind of list",
    0x13: "the request was malformed",
    0x21: "it is busy",
    0x22: "conditions are not right",
    0x31: "the request is out of its range",
    0x33: "it is locked against strangers",
    0x7E: "not in this kind of list at present",
    0x7F: "not in this session",
}
_MANY = 40  # codes named in one remark
_ODD_FORMATS = {0x02: "SAE J1939-73", 0x03: "ISO 11992-4"}


class Remark(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """Something said beside codes.

    Attributes:
        code: Finding code.
        number: Line or frame.
        text: In plain words.
        remedy: What to do about it.
    """

    code: str
    number: int
    text: str
    remedy: str = ""


class Heard(msgspec.Struct, frozen=True, kw_only=True):
    """Everything heard in a log.

    Attributes:
        codes: The last state of every code with a fault or an unfinished test, as first heard.
        empty: Units whose last list of codes was empty, with its line.
        remarks: What else was said.
        vins: VINs that units told, with the line.
    """

    codes: tuple[Reported, ...]
    empty: tuple[tuple[str, int], ...]
    remarks: tuple[Remark, ...]
    vins: tuple[tuple[str, int], ...] = ()


class _Ear:
    """What has been heard so far; a class because answers arrive one by one."""

    def __init__(self) -> None:
        self.codes: dict[tuple[str, str], Reported] = {}
        self.empty: dict[str, int] = {}
        self.remarks: list[Remark] = []
        self.masks: dict[str, int] = {}
        self.vins: dict[str, int] = {}
        self._asked: int | None = None
        self._lists: dict[str, int | None] = {}  # unit: status mask its last list was asked with

    def take(self, message: Message) -> None:
        """Take one message into account."""
        data = message.data
        vin = bus_frames.vin_in(data)
        if vin:
            self.vins.setdefault(vin, message.number)
        elif data[:2] == bytes([bus_frames.REQUEST, bus_frames.BY_STATUS]):
            self._asked = data[2] if len(data) > 2 else None
        elif data[:1] == bytes([bus_frames.CLEARED]) and len(data) == 1 and self.codes:
            self._say("codes-cleared-in-log", message, "The unit cleared its codes here.")
        elif bus_frames.is_relevant(data):
            self._answer(message)

    def _answer(self, message: Message) -> None:
        if message.missing:
            self._say(
                "answer-broken",
                message,
                f"The answer is broken off: at least {message.missing} bytes are missing.",
                "Record it again: codes may be missing.",
            )
        if message.data[0] == bus_frames.REFUSAL:
            self._refused(message)
            return
        reported = bus_frames.codes_in(message)
        self._beside(message)
        if message.data[1] == bus_frames.BY_STATUS and not message.missing:
            self._new_list(message, {r.code for r in reported})
        for new in reported:
            self._keep(new)

    def _new_list(self, message: Message, present: set[str]) -> None:
        """Let a complete list replace the list before it that was asked for in the same way."""
        unit = message.sender
        known = unit and unit in self._lists and self._lists[unit] == self._asked
        old = [r for r in self.codes.values() if r.unit == unit and r.asked == bus_frames.BY_STATUS]
        gone = [r for r in old if known and r.code not in present]
        for reported in gone:
            del self.codes[unit, reported.code]
            text = f"{reported.code} was reported on line {reported.number} and is gone here."
            self._say("code-gone", message, text)
        self._lists[unit] = self._asked
        self.empty.pop(unit, None)
        if not present:
            self.empty[unit] = message.number

    def _keep(self, new: Reported) -> None:
        key = (new.unit, new.code)
        old = self.codes.get(key)
        if new.mask is not None:
            self.masks[new.unit] = new.mask
        if old is not None and old.status != new.status:
            self._say(
                "code-status-changed",
                Message(number=new.number, sender=new.unit, data=b""),
                f"{new.code} changed from status 0x{old.status:02X} to 0x{new.status:02X}; "
                "the last one counts.",
            )
        if old is not None and old.asked == bus_frames.BY_STATUS:
            new = msgspec.structs.replace(new, asked=bus_frames.BY_STATUS)
        self.codes[key] = new

    def _beside(self, message: Message) -> None:
        """Say what an answer holds beside codes."""
        data = message.data
        if data[1] == bus_frames.EXTENDED and len(data) > 6:
            shown = data[6:].hex(" ").upper()
            name = bus_frames.code_name(data[2:5])
            text = f"{name} has extended data {shown}, laid out by the maker."
            self._say("extended-record", message, text)
        elif data[1] == bus_frames.COUNT and len(data) > 3 and data[3] in _ODD_FORMATS:
            text = f"The unit lays its codes out after {_ODD_FORMATS[data[3]]}, not SAE J2012."
            self._say("code-layout-odd", message, text, "Take the code numbers as doubtful.")
        elif data[1] in bus_frames.LISTS and data[2] != 0xFF:
            text = (
                f"The unit supports only the status bits 0x{data[2]:02X}; the others are unknown."
            )
            self._say("status-bits-unknown", message, text)

    def _refused(self, message: Message) -> None:
        reason = message.data[2]
        if reason == _PENDING:
            return
        why = _REFUSALS.get(reason, "its own reason")
        self._say(
            "answer-refused",
            message,
            f"The unit refused to list its codes: {why} (0x{reason:02X}).",
            "Its codes are unknown, not absent; read it another way.",
        )

    def _say(self, code: str, message: Message, text: str, remedy: str = "") -> None:
        unit = f"Control unit {message.sender}: " if message.sender else ""
        remark = Remark(code=code, number=message.number, text=unit + text, remedy=remedy)
        if remark not in self.remarks[-20:]:
            self.remarks.append(remark)


def heard(found: Iterable[Message]) -> Heard:
    """Return what the units said; the last answer counts where a unit was asked repeatedly."""
    ear = _Ear()
    for message in found:
        ear.take(message)
    codes = [
        r if r.mask is not None else msgspec.structs.replace(r, mask=ear.masks.get(r.unit))
        for r in ear.codes.values()
    ]
    clean = [r for r in codes if r.is_clean()]
    faulty = tuple(r for r in codes if not r.is_clean())
    with_faults = {r.unit for r in faulty}
    empty = {r.unit: r.number for r in clean if r.unit not in with_faults} | ear.empty
    return Heard(
        codes=faulty,
        empty=tuple(empty.items()),
        remarks=(*ear.remarks, *_clean(clean)),
        vins=tuple(ear.vins.items()),
    )


def _clean(clean: list[Reported]) -> list[Remark]:
    """Say which codes the unit knows and tested without finding a fault."""
    if not clean:
        return []
    more = f" and {len(clean) - _MANY} more" if len(clean) > _MANY else ""
    names = ", ".join(r.code for r in clean[:_MANY])
    text = f"Tested and without a fault, as the unit says: {names}{more}."
    return [Remark(code="codes-without-fault", number=clean[0].number, text=text)]


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
