"""Recorded answers to service 0x19 become self-explaining lines; nothing unclear is guessed."""

from io import StringIO

import can
import pytest
import udsoncan
from hypothesis import given, settings
from hypothesis import strategies as st
from udsoncan.services import ReadDTCInformation

from squibwise.errors import InputError, UnavailableError
from squibwise.intake.importers import bus_log, claimants, extract
from squibwise.intake.importers.bus_frames import (
    Frame,
    HexLine,
    Message,
    code_name,
    hex_lines,
    messages,
)

# Source: SAE J2012 / ISO 15031-6 code layout, published vectors agreeing with a calculation by
# hand: 80 39 10, 40 31 23, 01 27 00, C0 73 04, 90 00 16.
VECTORS = {
    "803910": "B0039-10",
    "403123": "C0031-23",
    "012700": "P0127-00",
    "C07304": "U0073-04",
    "900016": "B1000-16",
    "80011A": "B0001-1A",
    "80A013": "B00A0-13",
}


@pytest.mark.parametrize(("triple", "code"), VECTORS.items())
def test_three_bytes_make_the_published_code(triple: str, code: str) -> None:
    assert code_name(bytes.fromhex(triple)) == code


def lines(text: str, name: str = "bus_log.txt") -> list[str]:
    return [line.text for line in extract(text.encode(), name).lines]


def codes(text: str) -> list[str]:
    return [f.code for f in extract(text.encode(), "bus_log.txt").findings]


# Source: ISO 14229-1, service 0x19 sub-function 0x02, vector worked by hand from its layout.
VECTOR = "59 02 FF 80 01 11 2F 80 70 1A 2C 90 00 16 08"
VECTOR_LINES = [
    "B0001-11 status 0x2F mask 0xFF",
    "B0070-1A status 0x2C mask 0xFF",
    "B1000-16 status 0x08 mask 0xFF",
]


@pytest.mark.parametrize(
    "text",
    [
        VECTOR,
        VECTOR.replace(" ", ""),
        VECTOR.lower(),
        "0x" + VECTOR.replace(" ", " 0x"),
        VECTOR.replace(" ", ", "),
        f"Request: 19 02 FF\nAnswer: {VECTOR}\n",
        f"12:01:07.123 7E8: {VECTOR}",
        "59 02 FF 80 01 11 2F\n80 70 1A 2C 90 00\n16 08\n",
        VECTOR + " 00 00 00 00",
        VECTOR.replace("59 02", "59 0A"),
    ],
)
def test_an_answer_reads_the_same_however_its_hex_is_written(text: str) -> None:
    assert lines(text) == VECTOR_LINES


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 255).map(lambda mask: mask | 0x08),
    st.lists(
        st.tuples(st.integers(1, 0xFFFFFF), st.integers(0, 255).map(lambda status: status | 0x08)),
        min_size=1,
        max_size=12,
        unique_by=lambda pair: pair[0],
    ),
)
def test_an_independent_decoder_finds_the_same_codes_and_bits(
    mask: int, faults: list[tuple[int, int]]
) -> None:
    """The reference library is udsoncan."""
    payload = bytes([0x59, 0x02, mask]) + b"".join(
        dtc.to_bytes(3, "big") + bytes([status]) for dtc, status in faults
    )
    response = udsoncan.Response(
        service=ReadDTCInformation, code=udsoncan.Response.Code.PositiveResponse, data=payload[1:]
    )
    decoded = ReadDTCInformation.interpret_response(
        response,
        ReadDTCInformation.Subfunction.reportDTCByStatusMask,
        tolerate_zero_padding=False,
        ignore_all_zero_dtc=False,
    )
    expected = [
        f"{code_name(dtc.id.to_bytes(3, 'big'))} status 0x{dtc.status.get_byte_as_int():02X} "
        f"mask 0x{decoded.service_data.status_availability.get_byte_as_int():02X}"
        for dtc in decoded.service_data.dtcs
    ]
    assert lines(payload.hex(" ")) == expected


@settings(max_examples=60, deadline=None)
@given(st.binary(min_size=8, max_size=300), st.integers(0, 3))
def test_a_message_cut_into_frames_comes_back_whole(payload: bytes, noise: int) -> None:
    frames = [Frame(number=n, sender="7E8", data=d) for n, d in enumerate(cut(payload), start=1)]
    other = Frame(number=99, sender="123", data=b"\x30\x00\x00")
    mixed = [f for frame in frames for f in (frame, *[other] * noise)]
    assert list(messages(mixed)) == [Message(number=1, sender="7E8", data=payload)]


def cut(payload: bytes) -> list[bytes]:
    """Return the frames of a message after ISO 15765-2, written independently of the reader."""
    frames = [bytes([0x10 | len(payload) >> 8, len(payload) & 0xFF]) + payload[:6]]
    for index, at in enumerate(range(6, len(payload), 7), start=1):
        frames.append(bytes([0x20 | index % 16]) + payload[at : at + 7].ljust(7, b"\xaa"))
    return frames


def candump(frames: list[tuple[int, bytes]]) -> str:
    return "".join(
        f"  can0  {sender:03X}   [{len(data)}]  {data.hex(' ').upper()}\n"
        for sender, data in frames
    )


def test_single_and_long_frames_of_the_newer_kind_are_read() -> None:
    payload = bytes.fromhex(VECTOR)
    escape = b"\x00" + bytes([len(payload)]) + payload
    long = b"\x10\x00" + len(payload).to_bytes(4, "big") + payload[:2]
    rest = [b"\x21" + payload[2:9], b"\x22" + payload[9:]]
    for frames in ([escape], [long, *rest]):
        found = list(messages(Frame(number=1, sender="7E8", data=d) for d in frames))
        assert [m.data for m in found] == [payload]


def test_a_lost_frame_is_said_and_what_arrived_is_kept() -> None:
    frames = cut(bytes.fromhex(VECTOR))
    text = candump([(0x7E8, frames[0]), (0x7E8, frames[2])])
    found = extract((text * 2).encode(), "bus_log.txt")
    assert "answer-broken" in [f.code for f in found.findings]
    assert all("Record it again" in f.remedy for f in found.findings if f.code == "answer-broken")


def test_an_address_byte_before_the_frame_header_is_found_out() -> None:
    payload = bytes.fromhex("5902FF8001112F80701A2C")
    framed = [
        b"\xf1\x10" + bytes([len(payload)]) + payload[:5],
        b"\xf1\x21" + payload[5:11],
    ]
    assert lines(candump([(0x612, d) for d in framed])) == VECTOR_LINES[:2]


def test_the_frames_of_a_log_are_those_that_python_can_reads() -> None:
    """The reference library is python-can, on its own text log."""
    text = "".join(
        f"(1772442600.{n:06}) can0 {0x7E8:03X}#{d.hex().upper()}\n"
        for n, d in enumerate(cut(bytes.fromhex(VECTOR)))
    )
    reader = can.CanutilsLogReader(StringIO(text))
    theirs = [(m.arbitration_id, bytes(m.data)) for m in reader]
    ours = [(int(x.sender, 16), x.data) for x in hex_lines(text) if isinstance(x, HexLine)]
    assert ours == theirs
    assert lines(text) == VECTOR_LINES


def test_several_units_stand_under_headings_of_their_own() -> None:
    text = candump(
        [
            (0x7E8, b"\x07\x59\x02\xff\x80\x01\x11\x2f"),
            (0x7E9, b"\x03\x59\x02\xff"),
            (0x18DAF110, b"\x07\x59\x02\x7f\x80\x01\x11\x08"),
        ]
    )
    assert lines(text) == [
        "Control unit 7E8",
        "B0001-11 status 0x2F mask 0xFF",
        "Control unit 7E9",
        "0 faults",
        "Control unit 18DAF110",
        "B0001-11 status 0x08 mask 0x7F",
    ]
    assert "status-bits-unknown" in codes(text)


def test_the_last_answer_counts_and_the_change_is_said() -> None:
    first, last = b"\x07\x59\x02\xff\x80\x01\x11\x2f", b"\x07\x59\x02\xff\x80\x01\x11\x28"
    text = candump([(0x7E8, first), (0x7E8, last)])
    assert lines(text) == ["B0001-11 status 0x28 mask 0xFF"]
    assert codes(text) == ["code-status-changed"]


def test_a_code_missing_in_the_next_complete_list_is_gone_and_said() -> None:
    text = candump(
        [
            (0x7E8, b"\x07\x59\x02\xff\x80\x01\x11\x2f"),
            (0x7E8, b"\x01\x54"),
            (0x7E8, b"\x03\x59\x02\xff"),
        ]
    )
    assert lines(text) == ["0 faults"]
    assert codes(text) == ["codes-cleared-in-log", "code-gone"]


def test_lists_asked_for_with_different_masks_add_up() -> None:
    text = candump(
        [
            (0x7E0, b"\x03\x19\x02\x08"),
            (0x7E8, b"\x07\x59\x02\xff\x80\x01\x11\x08"),
            (0x7E0, b"\x03\x19\x02\x04"),
            (0x7E8, b"\x07\x59\x02\xff\x80\x70\x1a\x04"),
        ]
    )
    assert lines(text) == ["B0001-11 status 0x08 mask 0xFF", "B0070-1A status 0x04 mask 0xFF"]
    assert codes(text) == []


@pytest.mark.parametrize(("reason", "word"), [(0x31, "range"), (0x33, "locked"), (0x99, "0x99")])
def test_a_refusal_means_unknown_not_absent(reason: int, word: str) -> None:
    found = extract(f"7F 19 78\n7F 19 {reason:02X}\n".encode(), "bus_log.txt")
    assert found.lines == ()
    assert [f.code for f in found.findings] == ["answer-refused"]
    assert word in found.findings[0].message
    assert "not absent" in found.findings[0].remedy


def test_extended_data_is_shown_and_takes_the_mask_of_the_list() -> None:
    text = f"{VECTOR}\n59 06 80 01 11 2C 01 05\n59 06 80 02 13 08 01 05\n"
    assert "B0002-13 status 0x08 mask 0xFF" in lines(text)
    assert "B0001-11 status 0x2C mask 0xFF" in lines(text)
    assert codes(text).count("extended-record") == 2
    assert lines("59 06 80 02 13 08 01 05") == ["B0002-13 status 0x08"]


@pytest.mark.parametrize(
    ("answer", "expected"),
    [
        ("59 0A FF 80 01 11 00", ["0 faults"]),
        ("59 0A FF 80 01 11 50", ["B0001-11 status 0x50 mask 0xFF"]),
        ("59 0A FF 80 01 11 08", ["B0001-11 status 0x08 mask 0xFF"]),
        ("59 0A 0F 80 01 11 50", ["0 faults"]),
        ("59 0A 50 80 01 11 00", ["B0001-11 status 0x00 mask 0x50"]),
    ],
)
def test_a_code_that_is_only_supported_is_no_fault(answer: str, expected: list[str]) -> None:
    """Worked by hand from the status bits of ISO 14229-1: unavailable bits are unknown, not 0."""
    assert lines(answer) == expected
    assert ("codes-without-fault" in codes(answer)) == (expected == ["0 faults"])


@pytest.mark.parametrize("framed", [True, False])
def test_a_vin_told_on_the_bus_is_a_line(framed: bool) -> None:
    answer = b"\x62\xf1\x90" + b"0Z9HB5A26KR000417"
    codes_answer = b"\x07\x59\x02\xff\x80\x01\x11\x2f"
    text = candump([(0x7E8, d) for d in cut(answer)] + [(0x7E8, codes_answer)])
    hexed = f"{answer.hex(' ')}\n{codes_answer[1:].hex(' ')}\n"
    expected = ["VIN: 0Z9HB5A26KR000417", "B0001-11 status 0x2F mask 0xFF"]
    assert lines(text if framed else hexed) == expected


def test_words_between_the_answers_are_not_lost() -> None:
    text = f"Harrow 7, airbag unit\n{VECTOR}\nB0099 Driver knee inflator open\n"
    assert lines(text) == [
        "Harrow 7, airbag unit",
        *VECTOR_LINES,
        "B0099 Driver knee inflator open",
    ]


def test_an_odd_code_layout_is_said() -> None:
    assert "code-layout-odd" in codes(f"59 01 FF 02 00 01\n{VECTOR}\n")
    assert "code-layout-odd" not in codes(f"59 01 FF 04 00 01\n{VECTOR}\n")


def test_a_log_without_answers_is_refused_with_a_remedy() -> None:
    with pytest.raises(InputError, match="no answer to service 0x19") as caught:
        extract(candump([(0x123, b"\x01\x02\x03\x04")] * 5).encode(), "bus_log.txt")
    assert "Record" in caught.value.remedy


@pytest.mark.parametrize(
    "text",
    [
        "B00 01:1A\nB00 10:1B\nB00 70:1A\nB00 72:1A\n",
        "9001 11\n9010 13\n9070 1A\n9072 1A\n",
        "00532\n00588\n01217\n01218\n",
        "4-11\n4-12\n2-3\n",
        "B0001 13\nB0010 13\nB0070 13\n",
        "DTC: 80 01 11\nDTC: 80 10 13\nDTC: 80 70 1A\n",
    ],
)
def test_lists_of_codes_are_not_taken_for_a_bus_log(text: str) -> None:
    assert claimants(text.encode(), "scan.txt") == ("text",)


def test_a_log_that_needs_the_optional_part_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> None:
        raise ImportError(name)

    monkeypatch.setattr(bus_log.importlib, "import_module", missing)
    with pytest.raises(UnavailableError, match="optional part") as caught:
        bus_log.read_blf(bus_log.Document(data=b"LOGG", name="can.blf"))
    assert "squibwise[bus]" in caught.value.remedy
