"""The vehicle identification number."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.intake.vin import check_digit, find_vin, read_vin

CATALOG = load_catalog()
RULES = CATALOG.vin
LETTERS = "".join(RULES.values)

# Source: 49 CFR 565, the regulation's own example (sum 411, check digit 4); the others computed
# by hand from tables III and IV: sums 351, 89, 186, 389.
CHECK_DIGITS = [
    ("1G4AH59H45G118341", "4"),
    ("1M8GDM9AXKP042788", "X"),
    ("11111111111111111", "1"),
    ("LJCPCBLCX11000237", "X"),
    ("5YJSA1E14FF087599", "4"),
]

# Source: 49 CFR 565 table III: characters of equal value cannot be told apart by the check digit.
BLIND_SPOTS = ["AJ1", "BKS2", "CLT3", "DMU4", "ENV5", "FW6", "GPX7", "HY8", "RZ9"]


@pytest.mark.parametrize(("vin", "digit"), CHECK_DIGITS)
def test_published_vins_verify(vin: str, digit: str) -> None:
    assert check_digit(vin, RULES) == digit
    read, findings = read_vin(vin, CATALOG)
    assert read is not None
    assert read.verifies
    assert findings == ()


@pytest.mark.parametrize("group", BLIND_SPOTS)
@pytest.mark.parametrize("place", [0, 5, 13])
def test_substitutions_within_a_value_are_not_detected(group: str, place: int) -> None:
    digits = {
        check_digit("1M8GDM9AXKP042788"[:place] + c + "1M8GDM9AXKP042788"[place + 1 :], RULES)
        for c in group
    }
    assert len(digits) == 1


@given(
    st.text(LETTERS, min_size=17, max_size=17),
    st.integers(0, 16).filter(lambda n: n != 8),
    st.sampled_from(LETTERS),
)
@settings(max_examples=150, deadline=None)
def test_any_other_single_slip_changes_the_check_digit(vin: str, place: int, other: str) -> None:
    slipped = vin[:place] + other + vin[place + 1 :]
    same_value = RULES.values[vin[place]] == RULES.values[other]
    assert (check_digit(vin, RULES) == check_digit(slipped, RULES)) == same_value


@pytest.mark.parametrize(
    ("vin", "year"),
    [
        # Source: 49 CFR 565.15; interpretation 9753a (P = 1993, R = 1994). VINs of our making.
        ("1M8GDM92XPP042788", 1993),
        ("1M8GDM92XRP042788", 1994),
        ("1M8GDM9AXUP042788", None),  # ours: U is no year code
        ("1M8GDM1AXKP042788", 1989),
        ("1M8GDMAAXKP042788", 2019),
        ("1M8GDMAAXAP042788", 2010),
        ("1M8GDM1AX9P042788", 2009),
    ],
)
def test_model_year_goes_by_positions_7_and_10(vin: str, year: int | None) -> None:
    read, _ = read_vin(vin, CATALOG)
    assert read is not None
    assert read.model_year == year


@pytest.mark.parametrize("letter", "IOQ")
def test_letters_that_no_vin_has_are_refused(letter: str) -> None:
    read, findings = read_vin("1M8GDM9AXKP04278" + letter, CATALOG)
    assert read is None
    assert findings[0].code == "vin-letter"
    assert findings[0].severity == "error"
    assert letter in findings[0].message


def test_a_wrong_length_is_refused() -> None:
    read, findings = read_vin("1M8GDM9AXKP04278", CATALOG)
    assert read is None
    assert "16 characters" in findings[0].message


def test_a_failing_digit_is_worse_for_a_car_built_for_north_america() -> None:
    _, here = read_vin("1M8GDM9A1KP042788", CATALOG)
    _, there = read_vin("WM8GDM9A1KP042788", CATALOG)
    assert [f.severity for f in here] == ["error"]
    assert [f.severity for f in there] == ["warning"]


@pytest.mark.parametrize(
    ("text", "vin"),
    [
        ("VIN: 1M8GDM9AXKP042788", "1M8GDM9AXKP042788"),
        ("vehicle 1m8gdm9axkp042788 odometer 12", "1M8GDM9AXKP042788"),
        ("VIN 1M8 GDM 9A XKP 042788", "1M8GDM9AXKP042788"),
        ("Fahrgestellnummer: LJCPCBLCX11000237", "LJCPCBLCX11000237"),
        ("B0001 Driver airbag open circuit", None),
        ("serial 12345678901234567", None),
    ],
)
def test_a_vin_is_found_anywhere_in_a_line(text: str, vin: str | None) -> None:
    assert find_vin(text, CATALOG)[0] == vin


def test_in_a_report_a_bad_vin_is_a_warning() -> None:
    found, findings = find_vin("VIN: 1M8GDM9AXKPO42788", CATALOG)
    assert found is None
    assert [(f.code, f.severity) for f in findings] == [("vin-letter", "warning")]


def test_a_vin_from_elsewhere_that_does_not_verify_tells_no_model_year() -> None:
    """Position 10 need not be a model year outside North America (own edge case)."""
    read, findings = read_vin("WZZXXXGCDXAB12345", CATALOG)
    assert read is not None
    assert read.model_year is None
    assert [f.code for f in findings] == ["vin-check-digit-elsewhere"]
