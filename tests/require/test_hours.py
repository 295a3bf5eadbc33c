"""Hours of whole jobs: those that the trade would say, and the sums they are made of.

Every figure is judgement, common practice, no source. The hours were known before the minutes of
the catalogue were set, so that they agree shows consistency, not truth.
"""

from types import SimpleNamespace

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.catalog.tasks import Three
from squibwise.model.car import Profile
from squibwise.model.evidence import Circumstance, Evidence, Passed, Recorder
from squibwise.require import work

FIRED = 0.98
TWO_BAGS = (
    "driver.front-bag passenger.front-bag driver.knee-bag driver.retractor-pretensioner "
    "passenger.retractor-pretensioner driver.buckle-pretensioner passenger.buckle-pretensioner"
)
LEFT_OFFSET = "driver.front-bag driver.retractor-pretensioner passenger.retractor-pretensioner"
SIDE_POLE = (
    "driver.seat-bag left.curtain right.curtain driver.retractor-pretensioner "
    "passenger.retractor-pretensioner driver.buckle-pretensioner passenger.buckle-pretensioner"
)


# Judgement, common practice, no source: what a workshop would say for the whole job, without
# structure, paint, glass and waits. The middle of a stated range stands for it.
CHECK_HOURS = [
    ("two front bags, knee bag, belts, buckles, full panel", TWO_BAGS, "nose", 18.4),
    ("left offset, driver's bag and belts", LEFT_OFFSET, "nose", 10.5),
    ("rear-ended, nothing fired", "", "tail", 3.5),
    ("side pole, both curtains", SIDE_POLE, "side", 20.0),
]


@pytest.mark.parametrize(("job", "fired", "struck", "hours"), CHECK_HOURS)
def test_the_hours_of_a_job_are_within_a_quarter_of_what_the_trade_says(
    job: str, fired: str, struck: str, hours: float, made: SimpleNamespace, catalog: Catalog
) -> None:
    zones = {
        "nose": {"nose-left": 0.97, "nose-centre": 0.9},
        "tail": {"tail": 0.97},
        "side": {"door-left": 0.97, "pillar-left": 0.9},
    }[struck]
    event = msgspec.structs.replace(made.crash, zones=zones, passenger_belted=0.95)
    states = {c: {"fired": FIRED} for c in fired.split()}
    locked = (Recorder(id="r", record="locked"),) if fired else ()
    done = work(made.case(*locked), made.assessment(states, event), catalog)
    assert done.hours["followed"].likely / 60 == pytest.approx(hours, rel=0.25), job


def test_the_range_of_a_job_is_that_of_the_whole_and_no_sum_of_ranges(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    states = {c: {"fired": FIRED} for c in TWO_BAGS.split()}
    done = work(made.case(), made.assessment(states), catalog)
    hours = done.hours["followed"]
    assert hours.low == round(hours.likely * catalog.fact("require.job-low").number())
    assert hours.high == round(hours.likely * catalog.fact("require.job-high").number())
    assert sum(o.minutes.high for o in done.operations if o.counted) > hours.high


def test_more_of_the_list_never_takes_less_time(made: SimpleNamespace, catalog: Catalog) -> None:
    states = {c: {"fired": FIRED} for c in TWO_BAGS.split()}
    hours = work(made.case(), made.assessment(states), catalog).hours
    assert hours["certain"].likely <= hours["followed"].likely <= hours["strictest"].likely


def test_a_known_profile_has_its_own_hours(made: SimpleNamespace, catalog: Catalog) -> None:
    states = {c: {"fired": FIRED} for c in TWO_BAGS.split()}
    case = made.case(profile=Profile(name="wide-spread"))
    hours = work(case, made.assessment(states), catalog).hours
    assert set(hours) == {"certain", "followed", "strictest", "wide-spread"}
    assert hours["followed"] == hours["wide-spread"]


# Judgement, common practice, no source: usual minutes of whole jobs, split into their lines, as
# one restraint technician wrote them down; opening an area counts once, with its closing.
# (openings), (fittings), (looks), (steps), sum in hours
SPLITS = [
    (
        "rear-ended, nothing fired: look, prove, zero the seat",
        [],
        [],
        ["cabin", "pillar", "pillar", "seat", "seat", "rear"],
        "arrival-record key-on-gate save-codes save-crash-data power-down make-safe final-power "
        "clear lamp-check drive final-scan papers",
        20,
        3.4,
    ),
    (
        "belts only: two retractors and two buckles, unit kept",
        ["b", "b", "seat", "seat", "flap"],
        ["front-belt", "front-belt", "front-buckle", "front-buckle"],
        ["cabin", "nose", "tunnel", "pillar", "pillar", "seat", "seat", "rear"],
        "arrival-record key-on-gate save-codes save-crash-data power-down make-safe dispose "
        "final-power reset-cutoffs clear lamp-check drive final-scan papers",
        20 + 4 * 3 + 4 * 3,
        7.3,
    ),
    (
        "a crash record, nothing fired, unit only",
        ["flap"],
        ["control-unit"],
        ["cabin", "nose", "tunnel", "pillar", "pillar", "seat", "seat", "rear"],
        "arrival-record key-on-gate save-codes save-crash-data power-down make-safe final-power "
        "clear lamp-check drive final-scan papers",
        20 + 30 + 3,
        4.6,
    ),
]


@pytest.mark.parametrize(("job", "ways", "fits", "looks", "steps", "more", "hours"), SPLITS)
def test_the_minutes_of_the_catalogue_add_up_to_a_technicians_split(
    job: str,
    ways: list[str],
    fits: list[str],
    looks: list[str],
    steps: str,
    more: int,
    hours: float,
    catalog: Catalog,
) -> None:
    book = catalog.tasks
    three: list[Three] = [m for w in ways for m in (book.openings[w].open, book.openings[w].close)]
    three += [catalog.assemblies[f].operation.minutes for f in fits]
    three += [book.ticks[t].minutes for t in looks]
    three += [book.steps[s].minutes for s in steps.split()]
    assert (sum(m[1] for m in three) + more) / 60 == pytest.approx(hours, abs=0.1), job


# Judgement, common practice, no source: a lamp on without a crash is a job of about two hours; its
# record is a picture of the lamp and the odometer, its papers are half of a rebuilt car's.
@pytest.mark.parametrize(("soaked", "record", "papers"), [(False, 5, 10), (True, 15, 20)])
def test_a_circuit_that_is_traced_alone_has_less_to_record(
    soaked: bool, record: int, papers: int, made: SimpleNamespace, catalog: Catalog
) -> None:
    told = [Circumstance(id="c", what="crash", present=False)]
    told += [Circumstance(id="f", what="flood", present=True)] if soaked else []
    faulty = {"driver.seat-bag": {"faulty": 0.9}}
    done = work(made.case(*told), made.assessment(faulty, made.calm), catalog)
    found = {o.id: o.minutes.likely for o in done.operations}
    assert (found["step:arrival-record"], found["step:papers"]) == (record, papers)


@pytest.mark.parametrize(("seat", "zeroed"), [("passenger", True), ("driver", False)])
def test_a_connector_apart_under_the_weighed_seat_asks_for_its_zero(
    seat: str, zeroed: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    told = Circumstance(id="c", what="crash", present=False)
    faulty = {f"{seat}.seat-bag": {"faulty": 0.9}}
    done = work(made.case(told), made.assessment(faulty, made.calm), catalog)
    counted = {o.id: o.minutes.likely for o in done.operations if o.counted}
    assert counted.get("set:seat-zero", 0) == (20 if zeroed else 0)


@pytest.mark.parametrize(("chance", "looked"), [(0.95, False), (0.95, True), (0.3, False)])
def test_circuits_behind_one_connector_are_traced_where_the_look_at_it_did_not_end_them(
    chance: float, looked: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    """Judgement, no source: one connector under a seat is one fault, whatever it takes along."""
    told: list[Evidence] = [Circumstance(id="c", what="crash", present=False)]
    if looked:
        word = "step:check-shared-plug-passenger.seat"
        told.append(Passed(id="p", what=word, result="passed", by="R"))
    circuits = ("passenger.seat-bag", "passenger.buckle-pretensioner")
    event = msgspec.structs.replace(made.calm, causes={"shared-plug:passenger.seat": chance})
    states = {c: {"faulty": 0.9} for c in circuits}
    done = work(made.case(*told), made.assessment(states, event), catalog)
    traces = {o.id: o.counted for o in done.operations if o.action == "trace"}
    is_traced = looked or chance < 0.5
    assert traces == dict.fromkeys(
        ("trace:seat-bag@passenger", "trace:front-buckle@passenger"), is_traced
    )


def test_a_circuit_whose_part_is_renewed_anyway_is_not_traced_before(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """Common practice, no source: the new part goes in, and the unit is read again."""
    states = {c: {"fired": FIRED} for c in TWO_BAGS.split()}
    states["nose-left.impact-sensor"] = {"faulty": 0.9}
    states["left.curtain"] = {"faulty": 0.9}
    done = work(made.case(), made.assessment(states), catalog)
    assert {o.id for o in done.operations if o.action == "trace"} == {"trace:curtain@left"}


def test_an_old_car_has_no_crash_recorder_and_no_set_up_of_its_unit_in_its_hours(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    states = {c: {"fired": FIRED} for c in TWO_BAGS.split()}
    case = made.case()
    for year, counted in ((1999, False), (2016, True)):
        car = msgspec.structs.replace(case.car, model_year=year)
        old = msgspec.structs.replace(case, car=car)
        found = {o.id: o for o in work(old, made.assessment(states), catalog).operations}
        assert found["step:save-crash-data"].counted == counted
        assert found["set:program"].counted == counted
