"""Screening: rows to cars, the short way to a sum, bad rows, a stopped run that goes on."""

import csv
import subprocess
import sys
import time
from pathlib import Path

import pytest

from squibwise import case, plan
from squibwise.catalog.load import load_catalog
from squibwise.cli import lot_files
from squibwise.cli.examples import invent_lots
from squibwise.errors import InputError
from squibwise.intake.columns import guess_columns
from squibwise.intake.lot_lists import open_list
from squibwise.intake.lots import COLUMNS, read_lot
from squibwise.intake.parquet_footer import read_footer
from squibwise.model.bid import BidSheet, CameBack, Comebacks, Fee, FeeBand, Figures, Lessons, Share
from squibwise.model.case import Case
from squibwise.model.evidence import Statement
from squibwise.model.lots import LotRow, LotTerms
from squibwise.model.origin import Finding
from squibwise.plan.bidding import outlay
from squibwise.plan.lots import find_limit, limit_row

CATALOG = load_catalog()
TERMS = LotTerms()
BOTH = ("driver.front-bag", "passenger.front-bag")


def _row(**cells: str) -> dict[str, str]:
    given = {"id": "a", "equipment": "seat-bags", "model_year": "2014", "zone": "nose-centre"}
    return given | cells


def _screened(*rows: dict[str, str]) -> tuple[dict[str, object], ...]:
    return case.screen(rows, range(2, len(rows) + 2), "lots.csv", TERMS, CATALOG).rows


@pytest.mark.parametrize(
    ("cells", "what"),
    [
        ({"id": " "}, "no id"),
        ({"model_year": "nineteen"}, "model_year"),
        ({"zone": "the sky"}, "zone is 'the sky'"),
        ({"clock": "13"}, "clock"),
        ({"resale": "call us"}, "no amount"),
        ({"resale": "nan"}, "no amount"),
        ({"resale": "\u20ac13,750"}, "no amount in USD"),
        ({"other_costs": "C$ 900"}, "no amount in USD"),
        ({"deployed": "driver.rocket"}, "which this car has not"),
        ({"equipment": "everything"}, "no equipment template"),
        ({"extent": "bad"}, "extent"),
    ],
)
def test_a_bad_row_is_told_by_its_line(cells: dict[str, str], what: str) -> None:
    found = read_lot(_row(**cells), 7, "lots.csv", CATALOG)
    assert isinstance(found, Finding)
    assert (found.code, found.origin.line) == ("lot-row-bad", 7)
    assert what in found.message


@pytest.mark.parametrize("word", ["Side", "ALL OVER", "Hail", "Minor Dents/Scratches", "Seite"])
def test_a_word_of_damage_that_names_no_place_keeps_the_lot(word: str) -> None:
    found, bare = (read_lot(_row(zone=z), 2, "x", CATALOG) for z in (word, ""))
    assert isinstance(found, LotRow)
    assert found == bare


@pytest.mark.parametrize("word", ["Water/Flood", "flood", "Wasserschaden", "inundado"])
def test_a_lot_that_stood_in_water_says_so(word: str) -> None:
    (wet,), (dry,) = _screened(_row(zone=word)), _screened(_row(zone=""))
    assert "stood in water: every part that it reached comes on top" in str(wet["notes"])
    assert "control-unit@centre" in str(wet["orders"])
    assert "water" not in str(dry["notes"])
    terms = LotTerms(bids=(100.0,), outlays=(100.0,))
    limits = [limit_row(row, 90000.0, 500.0, terms)["bid_limit"] for row in (wet, dry)]
    assert limits == [None, 100.0], "what the water reached is not known"


def test_headings_of_sale_lists_are_known() -> None:
    names = ("Lot no.", "Bags?", "Est. retail val ($)")
    found = guess_columns(names, CATALOG, {}, CATALOG.lots.column)
    assert [g.column for g in found] == ["id", "airbags", "resale"]


def test_what_is_said_to_be_unknown_is_unknown_and_letters_may_be_large() -> None:
    said = _row(zone="Right Front", airbags="Deployed", clock="?", resale="TBA", other_costs="-")
    plain = _row(zone="nose-right", airbags="deployed")
    found, same = (read_lot(r, 2, "x", CATALOG) for r in (said, plain))
    assert isinstance(found, LotRow)
    assert found == same
    assert find_limit(found.resale, found.other_costs, 0.0, TERMS) is None


def test_rows_in_are_rows_out_and_the_bad_ones_are_findings() -> None:
    rows = [_row(id=str(i)) if i % 3 else _row(id=str(i), clock="99") for i in range(9)]
    found = case.screen(rows, range(2, 11), "lots.csv", TERMS, CATALOG)
    assert [r["id"] for r in found.rows] == ["1", "2", "4", "5", "7", "8"]
    assert [f.origin.line for f in found.findings] == [2, 5, 8]


def test_a_lot_is_believed_as_the_same_case_is() -> None:
    lot = read_lot(_row(deployed="driver.front-bag", extent="severe"), 2, "lots.csv", CATALOG)
    assert isinstance(lot, LotRow)
    whole = case.assess(Case(id="a", car=lot.car, evidence=lot.evidence), CATALOG)
    (row,) = _screened(_row(deployed="driver.front-bag", extent="severe"))
    for belief in whole.components:
        if f"fired.{belief.id}" in row:
            assert row[f"fired.{belief.id}"] == pytest.approx(belief.after_crash.fired, abs=1e-4)


def test_a_lot_is_believed_alike_in_any_company() -> None:
    rows = [
        _row(model_year="2014", zone="nose-left", clock="1", deployed="Driver + Pass"),
        _row(model_year="2014", zone="nose-left", clock="", airbags="yes"),
        _row(model_year="2014", zone="door-right", clock="4", extent="severe"),
        _row(model_year="2014", zone="nose-left", clock="11", equipment=""),
        _row(model_year="2014", zone="nose-left", clock="11", region="DE-BY", equipment=""),
    ]
    alone = [_screened(row)[0] | {"line": 0} for row in rows]
    for order in (range(5), range(4, -1, -1), (2, 0, 4, 1, 3)):
        found = _screened(*(rows[n] for n in order))
        assert [r | {"line": 0} for r in found] == [alone[n] for n in order]
    assert alone[3] != alone[4]  # what a car of these years has is another thing there


# The direction of a blow moves what was commanded; that belts were worn more or less often in such
# a crash is left out, which is worth less than half a hundredth.
@pytest.mark.parametrize("clock", ["10", "12", "2", "3", "6"])
def test_a_lot_with_a_direction_comes_near_the_same_case(clock: str) -> None:
    lot = read_lot(_row(model_year="2016", zone="nose-left", clock=clock), 2, "x", CATALOG)
    assert isinstance(lot, LotRow)
    whole = case.assess(Case(id="x", car=lot.car, evidence=lot.evidence), CATALOG)
    (row,) = _screened(_row(model_year="2016", zone="nose-left", clock=clock))
    for component in whole.components:
        if f"fired.{component.id}" in row:
            told = float(str(row[f"fired.{component.id}"]))
            assert told == pytest.approx(component.after_crash.fired, abs=0.005)


def test_a_part_that_is_told_of_widens_an_equipment_that_is_assumed() -> None:
    old = _row(model_year="1996", deployed="curtain L")
    lot = read_lot(old | {"equipment": ""}, 2, "x", CATALOG)
    assert isinstance(lot, LotRow)
    assert "left.curtain" in lot.car.components
    stated = read_lot(old | {"equipment": "belts-and-front-bags"}, 2, "x", CATALOG)
    assert isinstance(stated, Finding)
    assert "'left.curtain', which this car has not" in stated.message


@pytest.mark.parametrize(
    ("cells", "says"),
    [
        ({"deployed": "none"}, {None: "not-deployed"}),
        ({"deployed": "0"}, {None: "not-deployed"}),
        ({"airbags": "4"}, {None: "deployed"}),
        ({"airbags": "keine"}, {None: "not-deployed"}),
        ({"airbags": "Fahrer + Beifahrer"}, dict.fromkeys(BOTH, "deployed")),
        ({"not_deployed": "front"}, dict.fromkeys(BOTH, "not-deployed")),
        ({"deployed": "driver", "airbags": "yes"}, {BOTH[0]: "deployed", None: "deployed"}),
    ],
)
def test_what_is_said_of_airbags_is_read_in_every_column(
    cells: dict[str, str], says: dict[str | None, str]
) -> None:
    lot = read_lot({"id": "1", "model_year": "2014"} | cells, 2, "x", CATALOG)
    assert isinstance(lot, LotRow)
    assert {e.component: e.says for e in lot.evidence if isinstance(e, Statement)} == says


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ({"deployed": "none", "airbags": "yes"}, "the airbags stand as deployed and as not"),
        ({"deployed": "driver", "not_deployed": "front"}, "under deployed and under not_deployed"),
        ({"not_deployed": "yes"}, "not_deployed"),
        ({"airbags": "some"}, "airbags: 'some'"),
        ({"deployed": "curtain"}, "left.curtain or right.curtain"),
    ],
)
def test_what_is_not_clear_of_airbags_is_told(cells: dict[str, str], told: str) -> None:
    found = read_lot({"id": "1", "model_year": "2014"} | cells, 2, "x", CATALOG)
    assert isinstance(found, Finding)
    assert told in found.message


def test_a_hard_hit_with_bags_out_costs_more_than_a_light_one_without() -> None:
    mild, hard = _screened(
        _row(extent="light", not_deployed="driver.front-bag;passenger.front-bag"),
        _row(extent="severe", deployed="driver.front-bag;passenger.front-bag"),
    )
    assert float(str(mild["cost_p50"])) < float(str(hard["cost_p50"]))
    assert "driver-bag@driver" in str(hard["orders"])
    for row in (mild, hard):
        assert float(str(row["cost_p50"])) <= float(str(row["cost_p80"]))


def test_the_short_way_comes_near_the_whole_one() -> None:
    row = _row(extent="severe", deployed="driver.front-bag;passenger.front-bag")
    lot = read_lot(row, 2, "lots.csv", CATALOG)
    assert isinstance(lot, LotRow)
    car = Case(id="a", region="US-OH", car=lot.car, evidence=lot.evidence)
    parts = [c.parts.likely.minor / 100 for c in case.cost(car, CATALOG) if c.parts is not None]
    (found,) = case.screen([row], [2], "x", LotTerms(hour=0.0), CATALOG).rows
    assert 0.6 * min(parts) <= float(str(found["cost_p50"])) <= 1.4 * max(parts)


def test_the_limit_is_the_largest_bid_of_a_scale_that_jumps() -> None:
    fee = Fee(name="f", bands=(FeeBand(flat=100), FeeBand(from_price=1000, flat=400)))
    sheet = BidSheet(
        resale=Figures(low=0, likely=0, high=0),
        loss_chance=0.2,
        bidders=1,
        estimate_error=0.0,
        fees=(fee,),
    )
    terms = plan.state_terms(sheet, 100.0, CATALOG)
    assert find_limit(5_000, 1_000, 2_700, terms) == 975
    assert outlay(sheet, 1_000) == 1_400
    assert find_limit(5_000, 1_000, 2_600, terms) == 1_000
    assert find_limit(None, 1_000, 0, terms) is None
    assert find_limit(5_000, 1_000, 4_000, terms) is None


# Counted by the engine that wrote them; the second and third are a few kilobytes each.
def test_a_list_that_unpacks_to_far_more_than_a_list_is_refused_unread(tmp_path: Path) -> None:
    polars = pytest.importorskip("polars")
    rows = {"id": [f"lot-{n}" for n in range(3000)], "region": ["US-OH"] * 3000}
    tables = {"plain": rows, "cell": {"id": ["q" * 40_000_000]}, "rows": {"id": ["1"] * 1_000_000}}
    for name, table in tables.items():
        polars.DataFrame(table).write_parquet(tmp_path / f"{name}.parquet", compression="zstd")
        read = read_footer(tmp_path / f"{name}.parquet")
        assert read.rows == len(table["id"])
    assert len(open_list(tmp_path / "plain.parquet", CATALOG, {}).used) == 2
    for name in ("cell", "rows"):
        with pytest.raises(InputError, match="that is no list of lots"):
            open_list(tmp_path / f"{name}.parquet", CATALOG, {})
    whole = (tmp_path / "plain.parquet").read_bytes()
    for cut in (whole[:-9] + whole[-8:], whole[-40:], b"PAR1" * 4):
        (tmp_path / "cut.parquet").write_bytes(cut)
        with pytest.raises(ValueError, match=r"Parquet footer|without end|too deep|kind"):
            read_footer(tmp_path / "cut.parquet")


def test_the_workers_of_a_screening_that_was_killed_end_too() -> None:
    """Two workers that wait for work; whoever gave it is gone without a word."""
    script = """
import os, sys, time
from concurrent.futures import ProcessPoolExecutor
from squibwise.cli.lot_files import end_with_parent
with ProcessPoolExecutor(2, initializer=end_with_parent) as pool:
    both = [pool.submit(time.sleep, 0.2) for _ in range(2)]
    print(*pool._processes, flush=True)
    time.sleep(60)
"""
    parent = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    workers = [int(word) for word in parent.stdout.readline().split()]
    time.sleep(0.5)  # their work is done and they wait
    parent.kill()
    parent.communicate()
    until = time.monotonic() + 20
    while any(map(_runs, workers)) and time.monotonic() < until:
        time.sleep(0.05)
    assert len(workers) == 2
    assert not any(map(_runs, workers))


def _runs(process: int) -> bool:
    """Is there a process of this number that is not merely waited for."""
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


# By hand: 5,000 less 1,000 of other costs, 2,000 restraint share, 240 transport, 60 title, 20 days
# at 10 and one comeback in ten at 300 leaves 1,470; the body work of the sheet is the list's.
def test_what_the_sheet_of_the_sale_states_comes_off_every_lot() -> None:
    none, fixed = Figures(low=0, likely=0, high=0), lambda x: Figures(low=x, likely=x, high=x)
    sheet = BidSheet(
        resale=none, loss_chance=0.2, bidders=1, estimate_error=0.0, increment=10.0,
        transport=fixed(240), title=fixed(60), days=fixed(20), day=10.0,
        comebacks=Comebacks(share=0.1, cost=fixed(300)), shares={"body": Share(cost=fixed(900))},
    )  # fmt: skip
    terms = plan.state_terms(sheet, 100.0, CATALOG)
    assert (terms.costs, terms.comes_back) == (500.0, pytest.approx(30.0))
    assert find_limit(5_000, 1_000, 2_000, terms) == 1_470


# Ours, by hand: the resale of 5,000 x .95 leaves 4,750; less 1,000, 2,600 and 30 for what came back
# of one car in three (two of the three stand for what was expected) that is 1,120 of fees and bid.
def test_settled_cars_correct_every_lot_and_a_lot_without_a_limit_says_why() -> None:
    free = Figures(low=0, likely=0, high=0)
    sheet = BidSheet(resale=free, loss_chance=0.2, bidders=1, estimate_error=0.0)
    back = CameBack(cars=1, costs=(90.0,))
    lessons = Lessons(factors={"parts": 1.1, "hours": 1.5, "resale": 0.95}, came_back=back)
    terms = plan.state_terms(sheet, 100.0, CATALOG, lessons=lessons)
    assert (terms.parts, terms.labour, terms.comes_back) == (1.1, 1.5, pytest.approx(30.0))
    assert find_limit(5_000, 1_000, 2_600, terms) == 1_100
    row = _row(airbags="deployed")
    (plain,), (dearer,) = (case.screen([row], [2], "x", t, CATALOG).rows for t in (TERMS, terms))
    assert 1.1 < float(str(dearer["cost_p50"])) / float(str(plain["cost_p50"])) < 1.5
    notes = [str(limit_row(plain, 90.0, 500.0, t)["notes"]) for t in (TERMS, terms)]
    assert ["no limit without --sheet" in notes[0], "do not bid" in notes[1]] == [True, True]


def _write(path: Path, count: int, patterns: int = 6) -> Path:
    with path.open("w", newline="") as file:
        csv.writer(file).writerows(invent_lots(count, CATALOG, patterns, seed=3))
    return path


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def test_a_list_is_screened_whole_with_its_bad_rows_beside_it(tmp_path: Path) -> None:
    source = _write(tmp_path / "lots.csv", 400)
    with source.open("a") as file:
        file.write("too,few\n")
    done = lot_files.screen_file(source, tmp_path / "out.csv", TERMS, jobs=1)
    good, bad = _rows(tmp_path / "out.csv"), _rows(Path(done.bad_file))
    assert (done.rows, len(good) + len(bad), done.bad) == (401, 401, len(bad))
    assert bad[-1] == {
        "line": "402",
        "what": "it has 2 cells, the heading 16",
        "remedy": "Keep empty cells in their place.",
    }
    assert [r["id"] for r in good[:3]] == ["lot-1", "lot-2", "lot-3"]
    assert not (tmp_path / "out.csv.parts").exists()


def test_a_stopped_run_goes_on_where_it_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lot_files, "_ROWS", 100)
    source = _write(tmp_path / "lots.csv", 350)
    whole = lot_files.screen_file(source, tmp_path / "whole.csv", TERMS, jobs=1)

    def stop(rows: int) -> None:
        if rows >= 200:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        lot_files.screen_file(source, tmp_path / "out.csv", TERMS, jobs=1, progress=stop)
    assert not (tmp_path / "out.csv").exists()
    again = lot_files.screen_file(source, tmp_path / "out.csv", TERMS, jobs=1)
    assert (whole.resumed, again.resumed) == (0, 2)
    assert (tmp_path / "out.csv").read_bytes() == (tmp_path / "whole.csv").read_bytes()


def test_pieces_of_another_list_are_not_taken(tmp_path: Path) -> None:
    source = _write(tmp_path / "lots.csv", 20)
    parts = tmp_path / "out.csv.parts"
    parts.mkdir()
    (parts / "of").write_text("0" * 64)
    (parts / "00000.csv").write_text("line\n")
    (parts / "00000.bad").write_text("line\n")
    assert lot_files.screen_file(source, tmp_path / "out.csv", TERMS, jobs=1).resumed == 0


def test_screening_destroys_nothing_that_it_did_not_write(tmp_path: Path) -> None:
    source, target = _write(tmp_path / "lots.csv", 3), tmp_path / "mine"
    for name in ("mine", "out.csv", "bad.csv.bad.csv", "of.parts"):
        (tmp_path / name).write_text("only copy")
    (tmp_path / "link.csv").symlink_to(target)
    (tmp_path / "half.csv.half").symlink_to(target)
    (tmp_path / "own.csv.parts").mkdir()
    (tmp_path / "own.csv.parts" / "notes").write_text("only copy")
    for name in ("mine", "out.csv", "bad.csv", "link.csv", "own.csv", "of"):
        with pytest.raises(InputError):
            lot_files.screen_file(source, tmp_path / name, TERMS, jobs=1)
    for _ in range(2):  # an earlier screening gives way to a later one
        lot_files.screen_file(source, tmp_path / "half.csv", TERMS, jobs=1)
    kept = (target, tmp_path / "out.csv", tmp_path / "own.csv.parts" / "notes")
    assert {path.read_text() for path in kept} == {"only copy"}


def test_parquet_in_and_out_says_the_same(tmp_path: Path) -> None:
    polars = pytest.importorskip("polars")
    source = _write(tmp_path / "lots.csv", 60)
    polars.read_csv(source, infer_schema=False).write_parquet(tmp_path / "lots.parquet")
    lot_files.screen_file(source, tmp_path / "a.csv", TERMS, jobs=1)
    lot_files.screen_file(tmp_path / "lots.parquet", tmp_path / "b.parquet", TERMS, jobs=1)
    table = polars.read_parquet(tmp_path / "b.parquet")
    assert [str(v) for v in table["id"]] == [r["id"] for r in _rows(tmp_path / "a.csv")]
    assert table["cost_p80"].to_list() == [float(r["cost_p80"]) for r in _rows(tmp_path / "a.csv")]


def test_one_row_that_is_repeated_millions_of_times_is_refused(tmp_path: Path) -> None:
    polars = pytest.importorskip("polars")
    source = tmp_path / "lots.parquet"
    polars.select(id=polars.repeat("L1", 3_000_000)).write_parquet(source, compression="zstd")
    with pytest.raises(InputError, match="3,000,000 rows in"):
        lot_files.screen_file(source, tmp_path / "b.parquet", TERMS, jobs=1)
    assert [p.name for p in tmp_path.iterdir()] == ["lots.parquet"]


def test_a_list_without_ids_is_refused(tmp_path: Path) -> None:
    source = tmp_path / "lots.csv"
    source.write_text("colour,zone\nred,tail\n")
    with pytest.raises(InputError, match="no column 'id'"):
        lot_files.screen_file(source, tmp_path / "out.csv", TERMS, jobs=1)
    assert not (tmp_path / "out.csv.parts").exists()


def test_invented_lots_have_every_column_and_some_are_bad() -> None:
    head, *rows = invent_lots(2_000, CATALOG)
    assert tuple(head) == COLUMNS
    read = [
        read_lot(dict(zip(head, r, strict=True)), n, "x", CATALOG)
        for n, r in enumerate(rows, start=2)
    ]
    assert 5 <= sum(isinstance(r, Finding) for r in read) <= 60


def test_a_line_without_end_and_a_workbook_are_refused(tmp_path: Path) -> None:
    source = tmp_path / "lots.csv"
    for data, words in (
        (b"colour,zone," * 100_000, "no column 'id'"),
        (b"PK\x03\x04x", "workbook"),
    ):
        source.write_bytes(data)
        with pytest.raises(InputError, match=words):
            lot_files.screen_file(source, tmp_path / "out.csv", TERMS, jobs=1)


def test_a_heading_that_is_not_understood_is_named_by_the_user(tmp_path: Path) -> None:
    source = tmp_path / "lots.csv"
    source.write_text("lot,wotsit,fresh\nA,9000,tail\n")
    said = {"wotsit": "resale", "fresh": "zone"}
    done = lot_files.screen_file(source, tmp_path / "out.csv", TERMS, jobs=1, confirmed=said)
    assert (done.unused, done.guessed) == ((), {})
    assert _rows(tmp_path / "out.csv")[0]["notes"] == "equipment assumed; restraint share only"
    for wrong in ({"wotsit": "price"}, {"nothing": "zone"}):
        with pytest.raises(InputError, match="names no heading"):
            lot_files.screen_file(source, tmp_path / "out.csv", TERMS, jobs=1, confirmed=wrong)


# From a list of 160 good rows of which 34 were skipped for the words in the column of damage.
@pytest.mark.parametrize("column", ["zone", "extent"])
@pytest.mark.parametrize(
    "words", ["normal wear", "Wear and tear", "see photos", "Gebrauchsspuren", "usure normale"]
)
def test_words_that_tell_no_blow_are_unknown_and_no_bad_row(column: str, words: str) -> None:
    found, bare = (read_lot(_row(**{column: w}), 2, "x", CATALOG) for w in (words, ""))
    assert found == bare


def test_headings_of_a_sale_list_are_known(tmp_path: Path) -> None:
    file = tmp_path / "lots.csv"
    file.write_text("Stock #,Where hit,How bad,Est. retail repaired\nL1,Rear,minor,9000\n")
    heads = {g.heading: g.column for g in open_list(file, CATALOG).heads}
    assert (heads["Where hit"], heads["How bad"]) == ("zone", "extent")
    assert heads["Est. retail repaired"] == "resale"
