"""What a control unit answered to service 0x19, code by code.

Source: ISO 14229-1 as openly documented: positive answer 0x59 with sub-functions 0x02 (codes by
status), 0x06 (extended data of one code) and 0x0A (codes supported), refusal 0x7F; code layout
SAE J2012 / ISO 15031-6. Vectors in the tests.
"""

import msgspec

from squibwise.intake.importers.answers.transport import Message

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
