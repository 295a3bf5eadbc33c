"""A thousand bad rows of a list: each named by its line with its remedy, the good ones answered."""

import csv
from collections import Counter
from pathlib import Path

import pytest
from tests.plan.bad_lots import BAD_CELLS, KINDS, LANGUAGES, PLAIN, write_bad_list

from squibwise import plan
from squibwise.catalog.load import load_catalog
from squibwise.cli import lot_files
from squibwise.model.bid import BidSheet, Fee, FeeBand, Figures

_SHEET = BidSheet(
    resale=Figures(low=0, likely=0, high=0),
    loss_chance=0.2,
    bidders=4,
    estimate_error=0.1,
    fees=(Fee(name="venue", bands=(FeeBand(flat=100), FeeBand(from_price=2000, share=0.1))),),
)
_TERMS = plan.state_terms(_SHEET, 80.0, load_catalog())
_BAD, _GOOD = 1000, 500


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("language", LANGUAGES)
def test_of_a_thousand_bad_rows_each_is_named_and_no_good_one_is_lost(
    language: str, tmp_path: Path
) -> None:
    source, plain = tmp_path / "lots.csv", tmp_path / "plain.csv"
    lots = write_bad_list(language, _BAD, _GOOD, seed=len(language))
    source.write_bytes(lots.data)
    with plain.open("w", newline="", encoding="utf-8") as file:
        twins = csv.DictWriter(file, PLAIN)
        twins.writeheader()
        twins.writerows(lots.twins.values())
    done = lot_files.screen_file(source, tmp_path / "out.csv", _TERMS, jobs=1)
    lot_files.screen_file(plain, tmp_path / "same.csv", _TERMS, jobs=1)

    bad = {int(r["line"]): r for r in _rows(Path(done.bad_file))}
    assert {n: lots.kinds.get(n, "a good row") for n in bad} == lots.kinds
    assert Counter(lots.kinds.values()).keys() == set(KINDS)
    assert all(r["what"] and r["remedy"].endswith(".") for r in bad.values())
    for line, kind in lots.kinds.items():
        column = min(BAD_CELLS[kind](LANGUAGES[language])) if kind in BAD_CELLS else ""
        assert column in bad[line]["what"], (kind, bad[line])

    good, same = _rows(tmp_path / "out.csv"), _rows(tmp_path / "same.csv")
    assert [int(r["line"]) for r in good] == list(lots.twins)
    assert [r | {"line": ""} for r in good] == [r | {"line": ""} for r in same]
    assert len({r["bid_limit"] for r in good}) > 20  # sums were read, and not all alike
    assert (done.rows, done.bad, done.foreign) == (_BAD + _GOOD, _BAD, ())
    assert set(done.unused) == set(LANGUAGES[language].more)


def test_a_column_in_another_currency_is_left_out_and_told(tmp_path: Path) -> None:
    source = tmp_path / "lots.csv"
    source.write_text("Los;Baujahr;Wert repariert (EUR);Sonstige Kosten\nA;2015;9.000;800\n")
    done = lot_files.screen_file(source, tmp_path / "out.csv", _TERMS, jobs=1)
    (row,) = _rows(tmp_path / "out.csv")
    assert (done.bad, done.foreign) == (0, ("Wert repariert (EUR)",))
    assert (row["bid_limit"], row["notes"]) == ("", "equipment assumed; no resale stated")
