"""Fault codes in every notation."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.codes.blinks import find_counted, find_flashes, find_list
from squibwise.intake.report.codes.bytes_beside import find_status_byte
from squibwise.intake.report.language.code_forms import find_codes, sae_code
from squibwise.intake.report.language.lexicon import lexicon_of
from squibwise.intake.report.meaning import byte_statuses

# Source: SAE J2012 / ISO 15031-6 as reproduced publicly; bytes to code and failure type.
BYTES = [
    ("80 39 10", "B0039", "10"),
    ("40 31 23", "C0031", "23"),
    ("01 27 00", "P0127", "00"),
    ("C0 73 04", "U0073", "04"),
    ("90 00 16", "B1000", "16"),
]


@pytest.mark.parametrize(("text", "code", "failure_type"), BYTES)
def test_three_bytes_are_a_code_and_a_failure_type(text: str, code: str, failure_type: str) -> None:
    (token,) = find_codes("0x" + text.replace(" ", ""))
    assert (token.code, token.failure_type) == (code, failure_type)


@pytest.mark.parametrize(("number", "code"), [(0x9234, "B1234"), (0x0143, "P0143")])
def test_two_bytes_are_a_letter_and_four_digits(number: int, code: str) -> None:
    assert sae_code(number) == code


# Source: ISO 14229-1 annex D.2 as cited by open implementations: 59 02 FF and three codes.
@pytest.mark.parametrize(
    ("text", "code", "failure_type", "statuses"),
    [
        ("80 01 11 2F", "B0001", "11", ("present", "pending", "stored")),
        ("80 70 1A 2C", "B0070", "1A", ("pending", "stored", "intermittent")),
        ("90 00 16 08", "B1000", "16", ("stored",)),
    ],
)
def test_three_bytes_and_a_status_are_read(
    text: str, code: str, failure_type: str, statuses: tuple[str, ...]
) -> None:
    (token,) = find_codes(text)
    assert (token.code, token.failure_type) == (code, failure_type)
    assert token.status_byte is not None
    assert byte_statuses(token.status_byte) == statuses


# Source: ISO 14229-1: bits 4 and 6 mean that the test has not run since clearing or this cycle.
def test_a_freshly_cleared_code_is_not_tested() -> None:
    assert byte_statuses(0x50) == ("not-tested",)


STYLES = [
    ("B0001", "B0001", None),
    ("B0001-1B", "B0001", "1B"),
    ("B0001:1B", "B0001", "1B"),
    ("B00 01:1A", "B0001", "1A"),
    ("B0001 13", "B0001", "13"),
    ("B0001 13 open circuit", "B0001", "13"),
    ("b0001-1b", "B0001", "1B"),
    ("B00011B", "B0001", "1B"),
    ("B001A-13", "B001A", "13"),
    ("DTC: B0001-13", "B0001", "13"),
    ("1. B0001 (13) driver", "B0001", "13"),
    ("9001 11", "B1001", "11"),
    ("0x900111", "B1001", "11"),
    ("0x9001", "B1001", None),
    ("9A01 open", "B1A01", None),
    ("B0001 12 V", "B0001", None),
    ("B0001 10:22", "B0001", None),
    ("B0001 10/03/2024", "B0001", None),
    ("B0001 - 2nd stage", "B0001", None),
    ("B0001 13 faults", "B0001", None),
    ("B1021-064 open", "B1021", None),
]


@pytest.mark.parametrize(("text", "code", "failure_type"), STYLES)
def test_self_identifying_styles_are_exact(text: str, code: str, failure_type: str | None) -> None:
    (token,) = find_codes(text)
    assert token.is_exact
    assert (token.code, token.failure_type) == (code, failure_type)


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("9001", ("B1001", "9001")),
        ("01221", ("P04C5", "01221")),
        ("65535 - memory", ("U3FFF", "65535")),
        ("70000", ("70000",)),
        ("9437185 Igniter", ("B1000", "9437185")),
        ("13", ("13",)),
        ("13: driver open", ("13",)),
        ("4-11", ("4-11",)),
        ("21-12 passenger", ("21-12",)),
        ("900111", ("900111", "B1001-11")),
        ("80701A2C", ("80701A", "B0070-1A")),
    ],
)
def test_styles_that_do_not_identify_themselves_keep_their_readings(
    text: str, readings: tuple[str, ...]
) -> None:
    (token,) = find_codes(text)
    assert not token.is_exact
    assert token.readings == readings


@pytest.mark.parametrize(
    ("text", "code", "also"),
    [
        ("B1001 11 / 9001 11", "B1001", ("900111",)),
        ("9001 11 (B1001-11)", "B1001", ("900111",)),
        ("B1001-11 (900111)", "B1001", ("900111",)),
        ("9437185 - Igniter - B1000 01", "B1000", ("9437185",)),
        ("B0101/14 Open in squib", "B0101", ()),
    ],
)
def test_a_code_and_its_twin_are_one_code(text: str, code: str, also: tuple[str, ...]) -> None:
    (token,) = find_codes(text)
    assert (token.code, token.also) == (code, also)


def test_a_comma_list_holds_every_code() -> None:
    found = find_codes("B0001, B0010; B0070 B1193-00")
    assert [t.code for t in found] == ["B0001", "B0010", "B0070", "B1193"]


@pytest.mark.parametrize(
    "text", ["2 long 4 short", "long long short short short short", "2L 4S", "2x lang 4x kurz"]
)
def test_long_and_short_blinks_are_a_flash_code(text: str) -> None:
    assert [token.readings for token in find_counted(text)] == [("24",)]
    assert [token.readings for token in find_counted(f"{text}, {text}")] == [("24",)]


FLASHES = [
    ("Flash codes: 13, 24, 4-11", ["13", "24", "4-11"]),
    ("light blinks 2-3 driver bag", ["2-3"]),
    ("MIL 5 flashes pause 3 flashes, sensor", ["5-3"]),
    ("SRS light: 2 8, 2 8, 2 8 (keeps repeating)", ["2-8"]),
    ("trouble lamp does 2-1-2, buckle", ["2-1-2"]),
    ("flash 6:1 then 6:2", ["6-1", "6-2"]),
    ("Blinkfolge 16, 17, 18", ["16", "17", "18"]),
    ("Lampe blinkt 3 x, Pause, 1 x", ["3-1"]),
    ("voyant 3-4", ["3-4"]),
    ("kod błyskowy 27", ["27"]),
    ("airbag light came on 6 seconds at key on", []),
    ("lamp supply 12 V", []),
    ("warning lamp circuit 12,5 ohm", []),
]


@pytest.mark.parametrize(("text", "codes"), FLASHES)
def test_a_flash_code_is_found_by_what_it_is_called(text: str, codes: list[str]) -> None:
    lexicon = lexicon_of(load_catalog())
    assert [t.code for t in find_flashes(text.replace("–", "-"), lexicon)] == codes


def test_a_line_of_nothing_but_flash_codes_holds_them_all() -> None:
    assert [t.code for t in find_list("13, 24, 4-11")] == ["13", "24", "4-11"]


@pytest.mark.parametrize("text", ["B00 driver", "B001", "B000... Driver airbag"])
def test_a_code_cut_short_is_no_code(text: str) -> None:
    (token,) = find_codes(text)
    assert token.style == "cut"
    assert not token.is_exact


@pytest.mark.parametrize(
    "text",
    [
        "3 faults",
        "2024-11-02",
        "10:22:31",
        "connector C3105 behind the seat",
        "Odometer 61,204 mi",
        "12.4 V",
        "Supply 9.0 to 16 V",
        "Raw: 17",
        "FACE to face",
    ],
)
def test_what_is_no_code_is_not_read_as_one(text: str) -> None:
    assert find_codes(text) == ()


@pytest.mark.parametrize(
    ("text", "byte"),
    [
        ("Status: 0x2F", 0x2F),
        ("status 00101111", 0x2F),
        ("Status byte: 2F", 0x2F),
        ("Status: active", None),
        ("statement 12", None),
    ],
)
def test_a_labelled_status_byte_is_found(text: str, byte: int | None) -> None:
    found = find_status_byte(text, load_catalog().vocabulary.small)
    assert (found and found[1]) == byte


@given(st.integers(0, 0xFFFF), st.integers(0x11, 0x99))
@settings(max_examples=200, deadline=None)
def test_every_code_is_read_back_in_every_exact_notation(number: int, failure: int) -> None:
    code, kind = sae_code(number), f"{failure:02X}"
    texts = [f"{code}-{kind}", f"{code}:{kind}", f"{code}{kind}", f"0x{number:04X}{kind}"]
    texts += [f"{code[:3]} {code[3:]}:{kind}", f"x ({code.lower()}-{kind.lower()})"]
    for text in texts:
        (token,) = find_codes(text)
        assert (token.code, token.failure_type) == (code, kind), text
