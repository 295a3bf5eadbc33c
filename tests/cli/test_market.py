"""Buying, bidding, settling and screening from the command line, in folders of their own."""

import csv
import io
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import msgspec
import pytest

from squibwise.present.rows import plain_cell

Line = Callable[..., Any]
pytest.importorskip("ortools")

# Offers of our own invention, headed and written as parts desks and yards do, some rows bad.
OFFERS = """\
Quotes for the small hatchback;;;;;;;;
Item;Vendor Name;Our price (USD);Cond.;ETA days;Stock no;Freight;Free over;Donor car VIN
driver.front-bag;Maker parts desk;689.00;new;6;D-889;18;;
passenger airbag module;Maker parts desk;$ 720;NEW;7;P-1;;;
passenger airbag module;Bargain Bin;$79;new;2;PP-2;9.5;;
knee airbag module, driver;Maker parts desk;410;new;9;K-1;;;
front seat belt assembly, driver;Belt House;215,50;new;4 to 8;;18;;
front seat belt assembly, passenger;Belt House;215,50;new;4 to 8;;;;
control-unit@centre;Maker parts desk;812;new;5 days;CU-1;;;
control-unit@centre;North Yard;eight hundred;used;5;CU-1;;;
clock spring;Maker parts desk;188;new;3;CS;;;
instrument panel;North Yard;380;recycled;2;IP;45;600;
knee-panel@driver;Maker parts desk;140;new;8;;;;
front-sensor@nose-centre;Sensor shop;62;new;2;;8;;
bolts-kit@centre;Maker parts desk;38;new;;;;;
toaster;Kitchen shop;20;new;1;;0;;
"""
TERMS = "hour = 95\nbay_day = 35\ndeadline = 14\nlate_day = 80\nrejects = 0.3\nseconds = 20\n"


@pytest.fixture
def folder(cases: Path, tmp_path: Path) -> Path:
    """A copy of a finished demonstration case, with offers and terms of its own."""
    return with_offers(cases / "harrow-07", tmp_path / "harrow")


@pytest.fixture
def short(cases: Path, tmp_path: Path) -> Path:
    """The same with a car that needs little, planned in a moment."""
    return with_offers(cases / "yarrow-04", tmp_path / "yarrow")


def with_offers(case: Path, place: Path) -> Path:
    shutil.copytree(case, place)
    (place / "offers.csv").write_text(OFFERS, encoding="utf-8")
    (place / "buying.toml").write_text(TERMS, encoding="utf-8")
    return place


def test_buy_takes_a_sheet_with_headings_of_its_own(run: Line, folder: Path) -> None:
    done = run("buy", folder)
    assert done.code == 1  # something is missing: a person has to act
    assert done.out.index("Missing from these plans") < done.out.index("Three plans")
    assert "instrument panel (North Yard, line 12: refused)" in " ".join(done.out.split())
    assert "D-889" in done.out
    told = "".join(done.out.split())
    assert "offers.csv:10:Thisrowisnotused:theprice'eighthundred'isnotonenumber." in told
    assert "counterfeit" in done.out
    assert "power off" in done.out.lower()


def test_buy_as_json_holds_the_plan_its_sums_and_its_days(run: Line, folder: Path) -> None:
    value = run("buy", folder, "--json").json()
    parts = ("parts", "shipping", "labour", "standing", "late", "rework", "cancelled")
    assert value["total"]["minor"] == sum(value[p]["minor"] for p in parts)
    assert value["optimal"] is True
    assert value["bound"]["minor"] <= value["total"]["minor"]
    bought = {p["need"]: p for p in value["purchases"]}
    assert bought["passenger-bag@passenger"]["supplier"] == "Maker parts desk"
    assert {p["name"] for p in value["plans"]} == {"cheapest", "soonest", "recommended"}
    fits = {s["id"]: s for s in value["schedule"]}
    assert (
        fits["fit:passenger-bag@passenger"]["day"]
        >= bought["passenger-bag@passenger"]["arrives_day"]
    )
    assert value["ready"]["p80"] >= value["ready"]["p50"]
    told = {f["code"] for f in value["findings"]}
    assert {"offer-row-bad", "offer-too-cheap", "offer-fits-nothing", "buy-no-offer"} <= told


def test_an_answered_request_buys(run: Line, folder: Path) -> None:
    asked = list(csv.DictReader(io.StringIO(run("buy", folder, "--request").out)))
    assert all(row["vin"] == "0Z9HB5A26KR000417" for row in asked)
    for number, row in enumerate(asked):
        row |= {"supplier": "Parts desk", "price": str(100 + number), "lead days": "4"}
        row |= {"shipping": "20", "condition": "new", "part number": f"N{number}"}
    written = io.StringIO()
    sheet = csv.DictWriter(written, fieldnames=list(asked[0]))
    sheet.writeheader()
    sheet.writerows(asked)
    (folder / "offers.csv").write_text(written.getvalue(), encoding="utf-8")
    value = run("buy", folder, "--json").json()
    assert value["without_offer"] == []
    assert {p["need"] for p in value["purchases"]} | {n["key"] for n in value["asked"]} == {
        row["part"] for row in asked
    }
    assert value["shipping"]["minor"] >= 2_000


def test_the_order_is_written_once_and_kept_by_the_next_plan(
    run: Line, short: Path, tmp_path: Path
) -> None:
    lines = tmp_path / "lines.csv"
    before = run("buy", short, "--order", lines, "--json").json()
    after = run("buy", short, "--offers", lines, "--json").json()
    assert {p["offer"]: p["kept"] for p in after["purchases"]} == {
        p["offer"]: not p["after_look"] for p in before["purchases"]
    }
    assert [after[w] for w in ("shipping", "total")] == [before[w] for w in ("shipping", "total")]
    written = lines.read_text()
    assert run("buy", short, "--order", lines).code == 2
    assert lines.read_text() == written
    assert run("buy", short, "--order", lines, "--force").code == 1
    written = (short / "case.toml").read_bytes()
    assert run("buy", short, "--order", short / "case.toml", "--force").code == 2
    assert (short / "case.toml").read_bytes() == written


def test_a_late_part_moves_the_day_and_what_is_ordered_stays(run: Line, short: Path) -> None:
    before = run("buy", short, "--json").json()
    states = {1: ";State", 8: ";ordered"}  # the heading, and the control unit
    lines = [x + states.get(n, ";") for n, x in enumerate(OFFERS.splitlines())]
    (short / "offers.csv").write_text("\n".join(lines), encoding="utf-8")
    (short / "buying.toml").write_text(TERMS + "[late]\nCU-1 = 27\n", encoding="utf-8")
    after = run("buy", short, "--json").json()
    unit = next(p for p in after["purchases"] if p["need"] == "control-unit@centre")
    assert (unit["offer"], unit["kept"], unit["arrives_day"]) == ("CU-1", True, 27)
    assert after["ready_day"] >= 27 > before["ready_day"]  # it may be fitted on the day it comes


def test_the_printed_terms_are_terms_and_name_what_others_may_do(
    run: Line, short: Path, tmp_path: Path
) -> None:
    printed = run("buy", short, "--example").out
    filled = printed.replace("# price = 0", "price = 150")
    for line in ("[services.", "days = 0.5", "notice = 0"):
        filled = filled.replace(f"# {line}", line)
    terms = tmp_path / "terms.toml"
    for text in (printed, filled):
        terms.write_text(text, encoding="utf-8")
        assert run("buy", short, "--terms", terms, "--json").code == 1
    days = run("buy", short, "--terms", terms, "--json").json()["schedule"]
    assert [t["outside"] for t in days if t["id"] == "set:program"] == [True]


def test_a_part_without_an_offer_is_told_with_what_was_offered_for_it(
    run: Line, folder: Path
) -> None:
    used = OFFERS.replace(
        "driver.front-bag;Maker parts desk;689.00;new;", "driver bag;Yard;90;used;"
    )
    (folder / "offers.csv").write_text(used, encoding="utf-8")
    out = " ".join(run("buy", folder).out.split())
    assert "driver airbag module (Yard, line 3: refused)" in out
    assert "NO PART YET, Fit, join and lock: driver airbag module" in out
    assert "Ask Yard for the VIN of the donor car and the recall check of the number" in out


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("offers.csv", "part,colour\nbelt,red\n", "no row heads a column for supplier, price"),
        ("offers.csv", "", "empty"),
        ("buying.toml", "technicians = 3\n", "buying.toml"),
        ("buying.toml", "hours = 3\n", "hours"),
        ("buying.toml", "hour = = 3\n", "not valid TOML"),
        ("buying.toml", "works = ['someday']\n", "someday"),
        ("bid.toml", "resale = 5\n", "bid.toml"),
        ("settled.toml", "case = 'a'\n", "settled.toml"),
    ],
)
def test_a_file_beside_the_case_that_cannot_be_used_is_told(
    run: Line, folder: Path, name: str, text: str, words: str
) -> None:
    (folder / name).write_text(text, encoding="utf-8")
    command = {"bid.toml": "bid", "settled.toml": "settle"}.get(name, "buy")
    done = run(command, folder)
    assert (done.code, done.out) == (2, "")
    assert words in done.err
    assert "Traceback" not in done.err


@pytest.mark.parametrize("command", ["buy", "bid", "settle"])
def test_what_is_not_there_is_told_with_the_way_out(run: Line, cases: Path, command: str) -> None:
    done = run(command, cases / "harrow-07")
    assert (done.code, done.out) == (2, "")
    assert "--request" in done.err or "--example" in done.err


SALE = """\
resale = { low = 17000, likely = 19000, high = 20500 }
brand_discount = { low = 0.1, likely = 0.2, high = 0.3 }
loss_chance = 0.15
bidders = 4
estimate_error = 0.05
increment = 25
expected_price = 2500
days = { low = 25, likely = 45, high = 100 }
day = 10
[[fees]]
name = "buyer"
bands = [
  { from_price = 0, flat = 150 },
  { from_price = 1500, flat = 900 },
  { from_price = 3000, flat = 300 },
]
[shares]
body = { cost = { low = 600, likely = 1100, high = 1800 } }
paint = { nil = true }
glass = { nil = true }
mechanical = { nil = true }
keys = { nil = true }
tyres = { nil = true }
"""
YES = 'answer = "yes"\nsource = "the agency, by phone"\non = 2026-11-24\n'
GATES = "".join(f"[gates.{g}]\n{YES}" for g in ("titled", "unit", "parts"))


def test_bid_gives_a_limit_below_which_and_above_which_the_figures_hold(
    run: Line, folder: Path
) -> None:
    (folder / "bid.toml").write_text(SALE + GATES)
    value = run("bid", folder, "--json").json()
    limit, curve = value["bid_limit"]["minor"], value["curve"]
    at = {p["bid"]["minor"]: p for p in curve}
    assert value["verdict"] == "bid-up-to"
    assert at[limit]["chance_of_loss"] <= 0.15
    assert all(p["chance_of_loss"] > 0.15 for b, p in at.items() if b > limit)
    # fees jump down at 3,000: laid out in the end is less there than just below
    assert at[300_000]["outlay"]["minor"] < at[297_500]["outlay"]["minor"]
    assert value["cost"]["p50"]["minor"] <= value["cost"]["p95"]["minor"]
    assert value["value_of_scan"]
    assert value["going"]["bid"]["minor"] == 250_000


def test_bid_tells_the_limit_the_sum_and_the_walk_round(run: Line, folder: Path) -> None:
    (folder / "bid.toml").write_text(SALE + GATES)
    out = run("bid", folder).out
    for words in ("Bid up to", "What each bid comes to", "<- the limit", "winning is news"):
        assert words in out
    assert "left for bid, fees and tax" in out


@pytest.mark.parametrize("broken", ["source", "on", "answer"])
def test_an_open_question_leaves_no_limit(run: Line, folder: Path, broken: str) -> None:
    gates = GATES.split("\n")
    gates[next(i for i, x in enumerate(gates) if x.startswith(broken))] = ""
    (folder / "bid.toml").write_text(SALE + "\n".join(gates))
    done = run("bid", folder, "--json")
    assert done.code == 1
    assert (done.json()["verdict"], done.json()["bid_limit"]) == ("ask-first", None)
    assert done.json()["curve"] == []


def test_a_trade_left_out_leaves_the_restraint_share_only(run: Line, folder: Path) -> None:
    (folder / "bid.toml").write_text(SALE.replace("glass = { nil = true }\n", "") + GATES)
    done = run("bid", folder)
    assert done.code == 1
    assert "no limit" in done.out
    assert "Not stated: glass" in done.out


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({'what = "labour-hour"': 'what = "clock-spring"'}, "hours of work"),
        ({'currency = "USD"': 'currency = "PLN"', "USD": "PLN"}, "No price is known of"),
    ],
)
def test_what_has_no_price_leaves_no_limit(
    run: Line, folder: Path, change: dict[str, str], words: str
) -> None:
    text = (folder / "case.toml").read_text(encoding="utf-8")
    for old, new in change.items():
        text = text.replace(old, new)
    (folder / "case.toml").write_text(text, encoding="utf-8")
    (folder / "bid.toml").write_text(SALE + GATES, encoding="utf-8")
    done = run("bid", folder)
    assert done.code == 1
    assert "no limit" in done.out
    assert "Bid up to" not in done.out
    assert words in " ".join(done.out.split())


def test_the_sheet_to_fill_in_asks_first(run: Line, folder: Path) -> None:
    (folder / "bid.toml").write_text(run("bid", folder, "--example").out)
    value = run("bid", folder, "--json").json()
    assert (value["verdict"], value["bid_limit"]) == ("ask-first", None)
    trades = ["body", "paint", "glass", "mechanical", "keys", "tyres"]
    assert value["unstated"] == ["resale", *trades, "fees"]


def test_what_drives_the_cost_is_drawn(run: Line, folder: Path, tmp_path: Path) -> None:
    (folder / "bid.toml").write_text(SALE + GATES)
    drawing = tmp_path / "drivers.svg"
    value = run("bid", folder, "--drawing", drawing, "--json").json()
    root = ElementTree.fromstring(drawing.read_text())  # noqa: S314 - our own drawing
    bars = [r for r in root.iter("{http://www.w3.org/2000/svg}rect") if "x" in r.attrib]
    widths = [float(r.attrib["width"]) for r in bars]
    assert len(bars) == min(12, len(value["drivers"]))
    assert "restraint labour" in drawing.read_text()
    assert widths == sorted(widths, reverse=True)
    (tmp_path / "letter.svg").write_text("mine")
    assert run("bid", folder, "--drawing", tmp_path / "letter.svg").code == 2
    assert (tmp_path / "letter.svg").read_text() == "mine"


def test_a_bid_that_costs_more_than_a_higher_one_is_marked(run: Line, folder: Path) -> None:
    (folder / "bid.toml").write_text(SALE + GATES)
    out = run("bid", folder).out
    marked = [x for x in out.splitlines() if "costs less" in x]
    assert all("never: 3,000.00" in x for x in marked)
    bids = [float(x.split()[0].replace(",", "")) for x in marked]
    # by hand: 3,000 comes to 3,300, as 2,400 does with its fee of 900
    assert 2_975.0 in bids
    assert all(2_400 < b < 3_000 for b in bids)


@pytest.mark.parametrize("folder_name", ["nowhere", "empty"])
def test_a_folder_without_settled_cars_is_refused(
    run: Line, folder: Path, tmp_path: Path, folder_name: str
) -> None:
    (folder / "bid.toml").write_text(SALE + GATES)
    (tmp_path / "empty").mkdir()
    done = run("bid", folder, "--settled", tmp_path / folder_name)
    assert (done.code, done.out) == (2, "")
    assert "holds no settled car" in done.err


def test_what_was_expected_is_that_of_the_car_before_the_work(run: Line, folder: Path) -> None:
    (folder / "bid.toml").write_text(SALE + GATES)
    before = run("settle", folder, "--example").out
    with (folder / "case.toml").open("a", encoding="utf-8") as file:
        for n, what in enumerate(
            ("driver.front-bag", "passenger.front-bag", "centre.control-unit")
        ):
            file.write(f'\n[[evidence]]\nkind = "done"\nid = "new-{n}"\nwhat = "replaced"\n')
            file.write(f'component = "{what}"\ntime = 2027-01-02T09:00:00\n')
    assert run("settle", folder, "--example").out == before
    (folder / "bid.toml").unlink()
    (folder / "offers.csv").write_text(
        "part,supplier,price,state\ndriver.front-bag,Weirside,300,fitted\n"
        "passenger.front-bag,Weirside,500,ordered\nclock spring,Weirside,90,quoted\n"
    )
    bare = run("settle", folder, "--example").out
    assert "# resale =  # no bid.toml says" in bare
    assert "# parts =  # 2 lines of offers.csv were bought, a piece of each for 800.00" in bare
    (folder / "settled.toml").write_text(bare)
    assert run("settle", folder).code == 0
    (folder / "offers.csv").write_text("nothing\n1\n")
    assert "could not be read" in run("settle", folder, "--example").out


def test_a_return_is_printed_and_corrects_the_next_bid(run: Line, folder: Path) -> None:
    (folder / "bid.toml").write_text(SALE + GATES)
    sheet = run("settle", folder, "--example").out
    assert "\n# comebacks = [" in sheet
    shutil.copytree(folder, folder.parent / "sold")
    back = 'comebacks = [ { what = "seat connector", day = 40, cost = 180 }, "rattle" ]\n'
    (folder.parent / "sold" / "settled.toml").write_text(back + sheet)
    told = run("settle", folder.parent / "sold")
    assert (told.code, "rattle: at no stated cost" in told.out) == (1, True)
    (folder.parent / "sold" / "settled.toml").write_text(back.replace(', "rattle"', "") + sheet)
    told = run("settle", folder.parent / "sold")
    assert (told.code, "seat connector, day 40: 180" in told.out) == (0, True)
    assert "+60 a car" in told.out
    out = run("bid", folder, "--settled", folder.parent).out
    line = out[out.index("what comes back after the sale") :].split("\n")[0]
    assert ("-60.00" in line, "1 of your 1 settled cars" in line) == (True, True)


def test_a_settled_car_corrects_the_next_bid(run: Line, folder: Path, tmp_path: Path) -> None:
    (folder / "bid.toml").write_text(SALE + GATES)
    before = run("bid", folder, "--json").json()
    sheet = run("settle", folder, "--example").out
    expected = next(float(x.split("=")[1]) for x in sheet.splitlines() if x.startswith("parts"))
    sheet = sheet.replace("# parts =", f"parts = {1.5 * expected:.0f}").replace(
        "# days =", "days = 90"
    )
    (folder / "settled.toml").write_text(sheet)
    told = run("settle", folder)
    assert "+50 %" in told.out
    assert "open" in told.out
    # a car at hand never corrects itself; another one does, by 1.5 ** (1 / 3)
    alone = run("bid", folder, "--settled", folder.parent, "--json").json()
    assert alone["corrected"] == {}
    shutil.copytree(folder, folder.parent / "other")
    after = run("bid", folder, "--settled", folder.parent, "--json").json()
    assert after["corrected"]["parts"] == pytest.approx(1.5 ** (1 / 3), rel=1e-3)
    assert after["bid_limit"]["minor"] < before["bid_limit"]["minor"]
    out = run("bid", folder, "--settled", folder.parent).out
    assert "What your settled cars taught" in out
    assert "your settled cars" in next(
        x for x in out.splitlines() if x.startswith("  restraint parts")
    )


LOTS = """\
Lot No;Year;Damage;Severity;Airbags;Retail value;Other work;Colour
1;2015;FRONT END;major;deployed;$13,750;1,500;red
2;2012;Rear;minor;no;9000;700;blue
3;2012;sideways;minor;no;9000;700;blue
"4;2012;Rear;minor;no;9000;700;blue
5;2012;Rear;minor;no;ask;700;blue
6;2012;Rear
;2012;Rear;minor;no;9000;700;blue
8;2018;right front;medium;yes;15000;2500;
"""


def _screen(run: Line, place: Path, *more: str) -> tuple[Any, list[dict[str, str]]]:
    place.joinpath("lots.csv").write_text(LOTS, encoding="utf-8")
    done = run("screen", place / "lots.csv", "--out", place / "out.csv", "--jobs", "1", *more)
    with (place / "out.csv").open(newline="") as file:
        return done, list(csv.DictReader(file))


def test_screen_reads_a_list_with_headings_and_words_of_its_own(run: Line, tmp_path: Path) -> None:
    done, rows = _screen(run, tmp_path, "--json")
    assert done.code == 1
    assert [r["id"] for r in rows] == ["1", "2", "8"]
    assert float(rows[0]["cost_p50"]) > float(rows[1]["cost_p50"])
    value = done.json()
    assert (value["rows"], value["bad"], value["unused"]) == (8, 5, ["Colour"])
    with Path(value["bad_file"]).open(newline="") as file:
        assert [r["line"] for r in csv.DictReader(file)] == ["4", "5", "6", "7", "8"]


def test_screen_bids_under_a_sheet_and_never_without(run: Line, tmp_path: Path) -> None:
    _, bare = _screen(run, tmp_path)
    assert {r["bid_limit"] for r in bare} == {""}
    sheet = tmp_path / "bid.toml"
    sheet.write_text(
        "resale = { low = 1, likely = 1, high = 1 }\nloss_chance = 0.2\nbidders = 4\n"
        "estimate_error = 0.05\n[[fees]]\nname = 'buyer'\n"
        "bands = [{ from_price = 0, flat = 100 }, { from_price = 1000, flat = 600 }]\n"
    )
    _, rows = _screen(run, tmp_path, "--sheet", str(sheet))
    assert any(r["bid_limit"] for r in rows)
    assert all("before any bid" in r["notes"] for r in rows if r["bid_limit"])


def test_screen_never_writes_over_the_list(run: Line, tmp_path: Path) -> None:
    lots = tmp_path / "lots.csv"
    lots.write_text(LOTS, encoding="utf-8")
    done = run("screen", lots, "--out", lots)
    assert (done.code, lots.read_text(encoding="utf-8")) == (2, LOTS)


@pytest.mark.parametrize("option", [("--jobs", "0"), ("--hour", "-1"), ("--hour", "nan")])
def test_screen_refuses_what_cannot_be(run: Line, tmp_path: Path, option: tuple[str, str]) -> None:
    lots = tmp_path / "lots.csv"
    lots.write_text(LOTS, encoding="utf-8")
    done = run("screen", lots, *option)
    assert done.code == 2
    assert "Traceback" not in done.err


def test_screen_prints_lots_that_it_screens(run: Line, tmp_path: Path) -> None:
    printed = run("screen", "--example", "40").out
    (tmp_path / "lots.csv").write_text(printed, encoding="utf-8")
    done = run("screen", tmp_path / "lots.csv", "--jobs", "1", "--json")
    assert msgspec.json.decode(done.out)["rows"] == 40


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("=HYPERLINK(1)", "'=HYPERLINK(1)"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),
        ("-2+3", "'-2+3"),
        ("-12.5", "-12.5"),
        ("Alder = Sons", "Alder = Sons"),
    ],
)
def test_no_table_hands_on_a_formula(cell: str, written: str) -> None:
    assert plain_cell(cell) == written


def test_a_guarded_name_reads_back_as_it_was(run: Line, short: Path, tmp_path: Path) -> None:
    (short / "offers.csv").write_text(
        "part,supplier,price,lead days,shipping\ncontrol-unit@centre,=Alder,689,6,0\n", "utf-8"
    )
    lines = tmp_path / "order.csv"
    run("buy", short, "--order", lines)
    assert ",'=Alder," in lines.read_text("utf-8")
    again = run("buy", short, "--offers", lines, "--json").json()
    assert {p["supplier"] for p in again["purchases"]} == {"=Alder"}
