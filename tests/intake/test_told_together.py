"""Parts of one line that share one fault word: a fault for each, or the line as it is.

Lines of our own, common practice, no source; the car is driven on the left.
"""

import pytest
from texts import read_text

SHARED = (
    """
driver.front-bag left.curtain|driver airbag and left curtain open
driver.front-bag left.curtain|driver airbag, left curtain: open
driver.front-bag left.curtain|I found driver airbag and left curtain open
driver.front-bag left.curtain|fault: driver airbag and left curtain open
driver.front-bag left.curtain|driver airbag / left curtain open
driver.front-bag left.curtain|1. driver airbag, left curtain open
driver.front-bag left.curtain passenger.retractor-pretensioner|\
open: driver airbag, left curtain, passenger pretensioner
driver.front-bag left.curtain passenger.retractor-pretensioner|\
driver airbag, left curtain and passenger pretensioner all open
driver.front-bag left.curtain|Fahrerairbag und Kopfairbag links Unterbrechung
driver.front-bag left.curtain|Unterbrechung: Fahrerairbag, Kopfairbag links
driver.front-bag left.curtain|airbag conductor y cortina izquierda abiertos
driver.front-bag left.curtain|circuit ouvert : airbag conducteur, rideau gauche
left.curtain passenger.front-bag|rideau gauche en court-circuit, airbag passager aussi
driver.front-bag left.curtain|airbag conducente e tendina sinistra circuito aperto
driver.front-bag left.curtain|poduszka kierowcy i kurtyna lewa przerwa
driver.front-bag left.curtain|bestuurdersairbag en gordijnairbag links onderbreking
driver.retractor-pretensioner left.curtain|driver pretensioner and left curtain open
driver.retractor-pretensioner passenger.buckle-switch|\
pretensor conductor y hebilla acompañante en corto
driver.front-bag left.curtain|driver airbag open, left curtain too
driver.front-bag passenger.front-bag|driver airbag and passenger airbag open
driver.seat-bag left.curtain|left seat bag and curtain open
driver.seat-bag left.curtain|seat bag and curtain left open
driver.retractor-pretensioner passenger.retractor-pretensioner|\
Gurtstraffer Fahrer, Gurtstraffer Beifahrer: Kurzschluss gegen Masse
nose-left.impact-sensor nose-right.impact-sensor|\
left front impact sensor and right front impact sensor no signal
""".replace("\\\n", "")
    .strip()
    .splitlines()
)


@pytest.mark.parametrize("row", SHARED)
def test_each_part_before_or_behind_one_fault_word_has_that_fault(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text(f"SRS\n{line}", "r.txt").lines
    assert [ln.component for ln in told] == want.split()
    assert len({ln.fault for ln in told}) == 1
    assert told[0].fault != "unknown"
    assert all(ln.present for ln in told)


CODED = """
driver.buckle-switch driver.seat-bag|B1E61 left buckle switch and left seat bag open
driver.front-bag left.curtain|B1E61 open: driver airbag, left curtain
driver.seat-bag left.curtain|B1E61 left seat bag and curtain short to ground
driver.front-bag left.curtain|B1E61 driver airbag, left curtain - open circuit
""".strip().splitlines()


@pytest.mark.parametrize("row", CODED)
def test_the_code_before_the_parts_is_kept_by_each(row: str) -> None:
    want, _, line = row.partition("|")
    told = read_text(f"SRS\n{line}", "r.txt").lines
    assert [(ln.code, ln.component) for ln in told] == [("B1E61", c) for c in want.split()]


@pytest.mark.parametrize(("count", "differs"), [(1, False), (2, False), (3, True)])
def test_a_code_of_two_parts_may_be_counted_once(count: int, differs: bool) -> None:
    rows = f"SRS\nFaults: {count}\nB1E61 left buckle switch and left seat bag open"
    found = {f.code for f in read_text(rows, "r.txt").findings}
    assert ("count-differs" in found) == differs


ONE_PART = """
door-left.impact-sensor|front left door sensor open
passenger.occupant-sensor|passenger airbag, occupant sensor: open
driver.clock-spring|clock spring / driver airbag open
driver.buckle-pretensioner|driver buckle / pretensioner open
driver.retractor-pretensioner|front airbags: left pretensioner open
driver.retractor-pretensioner|Airbag front - driver pretensioner open
driver.front-bag|Driver airbag: open, left curtain fine
left.curtain|driver airbag fine, left curtain open
left.curtain|left curtain open, driver airbag fine too
left.curtain|driver airbag new, left curtain open
left.curtain|driver airbag not fired, left curtain open
left.curtain|B1E61 driver airbag fine, left curtain open
left.curtain|airbag conductor bien, cortina izquierda abierta
""".strip().splitlines()


@pytest.mark.parametrize("row", ONE_PART)
def test_two_words_for_one_part_a_heading_and_praise_make_no_second_fault(row: str) -> None:
    want, _, line = row.partition("|")
    assert [ln.component for ln in read_text(f"SRS\n{line}", "r.txt").lines] == [want]


LEFT_OUT = [
    "driver airbag or left curtain open",
    "driver airbag plug and left curtain open",
    "mended driver airbag and left curtain open",
]


@pytest.mark.parametrize("line", LEFT_OUT)
def test_a_part_that_is_in_no_fault_leaves_its_line_unread_as_well(line: str) -> None:
    read = read_text(f"SRS\n{line}", "r.txt")
    assert len(read.lines) == 1
    assert [u.raw for u in read.unread] == [line]
    assert not read_text("SRS\ndriver airbag and left curtain open", "r.txt").unread


def test_what_follows_the_fault_word_is_said_of_every_part() -> None:
    told = read_text("SRS\ndriver airbag and left curtain open, current", "r.txt").lines
    assert [ln.status for ln in told] == [("present",), ("present",)]
    gone = read_text("SRS\nleft curtain and driver airbag no longer open", "r.txt")
    assert not [ln for ln in gone.lines if ln.present]
    assert len(gone.unread) == 1
    stages = read_text("driver airbag stage 1 and passenger airbag stage 2 open", "r.txt").lines
    assert [(ln.component, ln.stage) for ln in stages] == [
        ("driver.front-bag", 1),
        ("passenger.front-bag", 2),
    ]
