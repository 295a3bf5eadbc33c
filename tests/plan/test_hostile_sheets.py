"""Sheets beside a case that hold what cannot be: one refusal that names the file and a way out."""

from pathlib import Path

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.errors import InputError
from squibwise.intake.market_files import load_bid, load_offers, load_settled, load_terms

CATALOG = load_catalog()
SALE = (
    "resale = { low = 11000, likely = 13000, high = 14500 }\nloss_chance = 0.15\nbidders = 6\n"
    "estimate_error = 0.08\nincrement = 50\n"
)


def _refused(path: Path, text: str, words: str = r"\.toml") -> None:
    path.write_text(text, encoding="utf-8")
    load = {"buying": load_terms, "settled": load_settled, "bid": load_bid}[path.stem]
    with pytest.raises(InputError, match=words) as refused:
        load(path, must_be_there=True) if load is load_terms else load(path)  # type: ignore[call-arg]
    assert path.name in refused.value.args[0]
    assert refused.value.remedy


@pytest.mark.parametrize("number", ["nan", "inf", "-inf", "1e308", "-1e308", "9" * 40, "9" * 5000])
@pytest.mark.parametrize("line", ["hour = {}", "late_day = {}", "[late]\nA = {}", "deadline = {}"])
def test_terms_hold_numbers_that_a_shop_may_have(tmp_path: Path, line: str, number: str) -> None:
    _refused(tmp_path / "buying.toml", line.format(number))


@pytest.mark.parametrize(
    "text",
    [
        "hour = -5",
        "day_hours = 1e-9",
        "seconds = 1e9",
        "deadline = 100000",
        "deadline = -1",
        "[late]\nA = 99999",
        "[late]\nA = -1",
        "[cancel]\nA = 1.2",
        '[services."set:program"]\nnotice = 5000000',
        '[services."set:program"]\ndays = 1e9',
    ],
)
def test_terms_stay_within_a_shops_days_and_shares(tmp_path: Path, text: str) -> None:
    _refused(tmp_path / "buying.toml", text)


@pytest.mark.parametrize("number", ["nan", "inf", "-1", "1e308"])
def test_a_settled_car_came_out_as_something(tmp_path: Path, number: str) -> None:
    text = f'case = "c"\n[expected]\nparts = 5\n[actual]\nparts = {number}\n'
    _refused(tmp_path / "settled.toml", text, "parts")


@pytest.mark.parametrize("word", ["increment", "estimate_error", "loss_chance"])
@pytest.mark.parametrize("number", ["nan", "inf", "-1", "1e308", "1e-9"])
def test_a_sale_that_cannot_be_is_refused(tmp_path: Path, word: str, number: str) -> None:
    if number == "1e-9" and word != "increment":
        return  # a small share is a share
    lines = (f"{word} = {number}" if x.startswith(word) else x for x in SALE.splitlines())
    _refused(tmp_path / "bid.toml", "\n".join(lines))


@pytest.mark.parametrize("name", ["buying.toml", "settled.toml", "bid.toml"])
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("w = 5\n" * 20_000, "kB"),
        ("a" + ".b" * 400 + " = 1\n", "too many parts"),
        ("x = " + "[" * 40 + "]" * 40, "nested"),
        ("x = 1\nx = 2\n", "already stands in line 1"),
        ("x = \u201c1\u201d\n", "curly quotes"),
        ("closed = 2026-02-30\n", "no date"),
    ],
)
def test_a_sheet_without_end_is_refused_with_its_name(
    tmp_path: Path, name: str, text: str, words: str
) -> None:
    _refused(tmp_path / name, text, words)


def test_a_sheet_of_offers_has_an_end_and_no_far_days(tmp_path: Path) -> None:
    place = tmp_path / "offers.csv"
    head = "part,supplier,price,lead days,shipping\n"
    place.write_text(f"{head}belt,Alder,120,5000,0\nbelt,Alder,120,5,0\n", encoding="utf-8")
    sheet = load_offers(place, CATALOG, "USD", {})
    assert [o.lead.high for o in sheet.offers] == [5]
    assert [f.origin.line for f in sheet.findings] == [2]
    place.write_text(head + "belt,Alder,120,5,0\n" * 3001, encoding="utf-8")
    with pytest.raises(InputError, match="more than 3,000 rows"):
        load_offers(place, CATALOG, "USD", {})
    place.write_bytes(b"x" * 2_000_001)
    with pytest.raises(InputError, match="MB"):
        load_offers(place, CATALOG, "USD", {})


def test_a_place_that_is_no_file_is_told(tmp_path: Path) -> None:
    for place in (tmp_path, tmp_path / "none"):
        with pytest.raises(InputError):
            load_bid(place)
