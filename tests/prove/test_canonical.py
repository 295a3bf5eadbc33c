"""Canonical JSON as published, and values that survive every reader."""

import json
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.errors import InputError
from squibwise.prove.sealing import LARGEST, canonical, exact, plain

# Source: RFC 8785, number samples of its author's repository (IEEE 754 double in hex, text).
NUMBERS = [
    ("4340000000000001", "9007199254740994"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("8000000000000000", "0"),
]


@pytest.mark.parametrize(("hexadecimal", "text"), NUMBERS)
def test_numbers_are_written_as_published(hexadecimal: str, text: str) -> None:
    (value,) = struct.unpack(">d", bytes.fromhex(hexadecimal))
    assert canonical(value) == text.encode()


def test_the_example_of_the_standard_is_written_as_published() -> None:
    # Source: RFC 8785, sections 3.2.2 and 3.2.3 (example from memory).
    text = (
        '{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
        '"string":"\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/",'
        '"literals":[null,true,false]}'
    )
    assert canonical(json.loads(text)).decode() == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_keys_are_in_the_order_of_utf_16_as_published() -> None:
    # Source: RFC 8785, section 3.2.3, sorting example (from memory).
    keys = {"\u20ac": 1, "\r": 2, "\ufb33": 3, "1": 4, "\U0001f600": 5, "\u0080": 6, "\u00f6": 7}
    order = [json.loads(canonical(keys)), json.loads(canonical(keys), object_pairs_hook=list)]
    assert [k for k, _ in order[1]] == [
        "\r",
        "1",
        "\u0080",
        "\u00f6",
        "\u20ac",
        "\U0001f600",
        "\ufb33",
    ]
    assert order[0] == keys


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 2**53, "\ud800", {1: 2}])
def test_what_json_cannot_carry_exactly_is_refused(value: object) -> None:
    with pytest.raises(InputError, match="canonical JSON"):
        canonical({"x": value})


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters()),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=150, deadline=None)
@given(anything)
def test_a_plain_value_can_always_be_written_and_reads_back_alike(value: object) -> None:
    there = plain(value)
    assert json.loads(canonical(there)) == there


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (0.99996, 0.9999),
        (0.00001, 0.0001),
        (1.0, 1.0),
        (0.0, 0.0),
        (0.12345678, 0.1235),
        (LARGEST + 1, str(2**53)),
        (float("inf"), "inf"),
        ("a\ud800b", "a\\ud800b"),
    ],
)
def test_rounding_never_makes_certain_what_is_not(value: object, expected: object) -> None:
    assert plain(value) == expected


def test_readings_keep_every_digit_as_text() -> None:
    assert exact({"value": 2.10000001, "n": [1, 0.1]}) == {"value": "2.10000001", "n": [1, "0.1"]}
