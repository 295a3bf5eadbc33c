"""A file that is no report is told what it is and where it goes, and none of it is a fault.

Texts of our own, common practice, no source; the names of recorder elements: cfr-49-563.
"""

import pytest
from texts import CATALOG, read_text

from squibwise.history.order import History
from squibwise.infer.reports import chance_whole
from squibwise.model.report import Report

PULSE = "".join(f"{at},{-0.31 * at:.3f},{0.05 * at:.3f}\n" for at in range(60))
FIVES = "".join(f"{10000 + 317 * at},{22015 + 211 * at},{9000 + at}\n" for at in range(40))
OFFERS = (
    "part,supplier,price,currency,condition,number\n"
    "driver airbag,yard A,180.00,USD,used,B1001-22\npassenger airbag,yard B,240.00,USD,used,A210\n"
    "control unit,dealer,890.00,USD,new,98-B1461\nleft curtain,yard A,150.00,USD,used,77122\n"
)
LOTS = (
    "lot,year,damage,airbags,state\n55120,2019,front end,deployed,OH\n"
    "55121,2018,rear end,intact,OH\n55122,2020,side,curtain deployed,OH\n"
)
PRICES = (
    "Price list restraint parts\n10021  driver airbag module   310.00\n"
    "10022  seat belt pretensioner LH   95.00\n10023  left curtain   260.00\n"
)
FILES = {
    "acc.csv": (f"time_ms,ax_g,ay_g\n{PULSE}", "crash-data"),
    "short.csv": ("time,ax\n0,0.1\n1,-12.3\n2,-30.2\n", "crash-data"),
    "counts.csv": (FIVES, "crash-data"),
    "channel.txt": ("Sampling interval :0.0001\n" + "-2.00000E+02\n" * 30, "crash-data"),
    "offers.csv": (OFFERS, "buy"),
    "lots.csv": (LOTS, "screen"),
    "prices.txt": (PRICES, "[[price]]"),
}


@pytest.mark.parametrize("name", FILES)
def test_no_fault_is_read_and_the_way_on_is_told(name: str) -> None:
    text, goes = FILES[name]
    read = read_text(text, name)
    told = [f for f in read.findings if f.code == "not-a-report"]
    assert read.lines == ()
    assert [goes in f.remedy for f in told] == [True]
    report = Report(id="r", reading=read)
    assert chance_whole(report, History(entries=(report,), works=()), CATALOG) == 0.0


@pytest.mark.parametrize(
    "text",
    [
        "part;supplier;price;code;text\nairbag;yard;180;B1A11-13;driver airbag open circuit\n"
        "curtain;yard;150;B1A22-11;left curtain short to ground\n",
        "13\n24\n35\n",
        "9001 12\n9002 13\n9003 14\n",
        "B1A11 driver airbag open   310.00\nB1A22 left curtain short to ground   260.00\n"
        "B1A33 clock spring open   61.00\n",
    ],
)
def test_a_report_with_prices_or_bare_numbers_stays_a_report(text: str) -> None:
    name = "r.csv" if ";" in text else "r.txt"
    assert len(read_text(text, name).lines) >= 2


SWEDISH = """Felkoder krockkuddesystem
B1001 Förarens krockkudde, avbrott i kretsen
B1014 Bältessträckare vänster fram, kortslutning till jord
Krocksensor höger fram: ingen signal
Passagerarens sidokrockkudde avbrott
"""


def test_a_text_in_a_language_that_is_not_read_is_told_so() -> None:
    found = {f.code for f in read_text(SWEDISH).findings}
    assert "language-not-known" in found
    english = "B1001 driver airbag open circuit\nB1014 left curtain short to ground, squib loop xyz"
    assert "language-not-known" not in {f.code for f in read_text(english).findings}
