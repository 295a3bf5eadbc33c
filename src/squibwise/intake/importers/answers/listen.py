"""A log of answers to the last state of every code, and what else was said."""

from collections.abc import Iterable

import msgspec

from squibwise.intake.importers.answers import faults
from squibwise.intake.importers.answers.faults import Reported
from squibwise.intake.importers.answers.transport import Message

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
        vin = faults.vin_in(data)
        if vin:
            self.vins.setdefault(vin, message.number)
        elif data[:2] == bytes([faults.REQUEST, faults.BY_STATUS]):
            self._asked = data[2] if len(data) > 2 else None
        elif data[:1] == bytes([faults.CLEARED]) and len(data) == 1 and self.codes:
            self._say("codes-cleared-in-log", message, "The unit cleared its codes here.")
        elif faults.is_relevant(data):
            self._answer(message)

    def _answer(self, message: Message) -> None:
        if message.missing:
            self._say(
                "answer-broken",
                message,
                f"The answer is broken off: at least {message.missing} bytes are missing.",
                "Record it again: codes may be missing.",
            )
        if message.data[0] == faults.REFUSAL:
            self._refused(message)
            return
        reported = faults.codes_in(message)
        self._beside(message)
        if message.data[1] == faults.BY_STATUS and not message.missing:
            self._new_list(message, {r.code for r in reported})
        for new in reported:
            self._keep(new)

    def _new_list(self, message: Message, present: set[str]) -> None:
        """Let a complete list replace the list before it that was asked for in the same way."""
        unit = message.sender
        known = unit and unit in self._lists and self._lists[unit] == self._asked
        old = [r for r in self.codes.values() if r.unit == unit and r.asked == faults.BY_STATUS]
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
        if old is not None and old.asked == faults.BY_STATUS:
            new = msgspec.structs.replace(new, asked=faults.BY_STATUS)
        self.codes[key] = new

    def _beside(self, message: Message) -> None:
        """Say what an answer holds beside codes."""
        data = message.data
        if data[1] == faults.EXTENDED and len(data) > 6:
            shown = data[6:].hex(" ").upper()
            text = (
                f"{faults.code_name(data[2:5])} has extended data {shown}, laid out by the maker."
            )
            self._say("extended-record", message, text)
        elif data[1] == faults.COUNT and len(data) > 3 and data[3] in _ODD_FORMATS:
            text = f"The unit lays its codes out after {_ODD_FORMATS[data[3]]}, not SAE J2012."
            self._say("code-layout-odd", message, text, "Take the code numbers as doubtful.")
        elif data[1] in faults.LISTS and data[2] != 0xFF:
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
