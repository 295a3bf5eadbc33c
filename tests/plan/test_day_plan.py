"""The day plan can be worked: nothing goes into what is not in the car yet, or is not here yet."""

import datetime as dt
import itertools
import random

import pytest

from squibwise.case import open_case
from squibwise.case import work as work_out
from squibwise.catalog.components import whole_template
from squibwise.catalog.load import load_catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.model.belief import Assessment, EventBelief, SpeedChange
from squibwise.model.car import Car, Profile
from squibwise.model.case import Case
from squibwise.model.cost import Money
from squibwise.model.market import Days, JudgedOffer, Offer, ShopTerms
from squibwise.model.names import split_component
from squibwise.model.work import Operation, Work
from squibwise.plan.buying_days import Chosen, expect_leads, find_arrival, lay_out
from squibwise.plan.buying_problem import NOW
from squibwise.plan.offers import list_needs
from squibwise.plan.ordering import state_problem
from squibwise.require import work as require_work
from squibwise.require.examples import build_belief

CATALOG = load_catalog()
TODAY = dt.date(2026, 11, 30)  # a Monday
DEMOS = sorted(p.name for p in DEMO_CASES.iterdir() if (p / "case.toml").is_file())
PARTS = tuple(sorted(whole_template("full-modern-set", CATALOG.templates).components))

# What is fitted in, on or behind what, or covered by it. Common practice, no source.
CARRIERS = {
    "instrument-panel": ("control-unit", "column"),
    "knee-bag": ("instrument-panel",),
    "passenger-bag": ("instrument-panel",),
    "off-indicator": ("instrument-panel",),
    "airbag-door": ("instrument-panel",),
    "cluster": ("instrument-panel",),
    "knee-panel": ("instrument-panel", "knee-bag"),
    "steering-wheel": ("clock-spring", "column"),
    "driver-bag": ("steering-wheel", "clock-spring"),
    "clock-spring": ("column",),
    "seat-bag": ("seat-frame",),
    "front-buckle": ("seat-frame",),
    "seat-back-trim": ("seat-bag",),
    "headliner": ("curtain",),
    "pillar-trim": ("curtain", "front-belt", "rear-belt", "side-sensor", "height-adjuster"),
    "vapour-barrier": ("side-sensor",),
}
OPENED_PARTS = {"panel": ("instrument-panel", "off-indicator", "cluster"), "seat": ("seat-frame",)}


def _invent(seed: int) -> Work:
    """Return the work on an invented car: of each part something may be wrong."""
    rng = random.Random(seed)
    bad = {c: {rng.choice(("fired", "damaged", "faulty")): rng.random()} for c in PARTS}
    states = {c: s if rng.random() < 0.5 else {"damaged": 0.01} for c, s in bad.items()}
    if seed % 2:
        states["centre.instrument-panel"] = {"damaged": 0.98}
    event = EventBelief(
        zones={"nose-left": 0.9},
        delta_v_kmh=SpeedChange(p10=15, p50=27, p90=40),
        driver_belted=0.9,
        passenger_belted=0.5,
        front_passenger={"empty": 0.6, "child-or-small": 0.1, "adult": 0.3},
        rollover=0.0,
        second_impact=0.0,
        no_crash=0.001,
    )
    beliefs = tuple(build_belief(c, dict(states[c])) for c in PARTS)
    profile = Profile(name=rng.choice(("by-condition", "any-fire-strict", "unknown")))
    case = Case(id="made-up", car=Car(equipment="made-up", components=PARTS), profile=profile)
    return require_work(case, Assessment(event=event, components=beliefs), CATALOG)


def _plan(work: Work, seed: int) -> Chosen:
    """Return everything bought from one supplier each, some after long, three at nobody."""
    rng = random.Random(seed)
    needs = list_needs(work)
    nobody = set(rng.sample([n.key for n in needs], min(3, len(needs) // 3)))
    offered = [n for n in needs if n.key not in nobody]
    judged = []
    for n in offered:
        day = rng.choice((1, 2, 3, 5, 8, 13))
        offer = Offer(
            id=n.key,
            fits=n.key,
            supplier="Alder",
            price=Money(minor=100, currency="USD"),
            lead=Days(low=day, likely=day, high=day),
        )
        judged.append(JudgedOffer(offer=offer, need=n.key, policy="allow", is_usable=True))
    terms = ShopTerms(technicians=rng.choice((1, 2)))
    problem = state_problem(offered, judged, (), work, terms, "USD", TODAY)
    taken = tuple((i, NOW) for i in range(len(problem.offers)))
    return Chosen(problem, taken, problem.tasks)


def _too_soon(work: Work, chosen: Chosen) -> list[str]:
    """Return what a plan has done before what it is in, or what it needs, was there."""
    schedule, ends = lay_out(chosen)
    starts = {t.id: t.start for t in schedule}
    fits = [o for o in work.operations if o.action == "fit" and o.id in starts]
    found = []
    for one in (o for o in work.operations if o.action in ("fit", "join") and o.id in starts):
        carriers = CARRIERS.get(one.assembly or "", ())
        if one.action == "join" and not one.assembly:
            carriers = OPENED_PARTS.get(one.id.partition(":")[2].partition("-")[0], ())
        inside = [f for f in fits if f.assembly in carriers and _same_place(f, one)]
        found += [f"{one.id} before {f.id}" for f in inside if starts[one.id] < ends[f.id]]
    leads = expect_leads(chosen)
    arrivals = {
        chosen.problem.offers[o[0]][0]: find_arrival(chosen, o, leads, ends) for o in chosen.taken
    }
    days = {t.id: t.day for t in schedule}
    needs = ((t, k) for t in chosen.problem.tasks for k in t.needs)
    return found + [f"{t.id} before it is here" for t, k in needs if days[t.id] < arrivals[k]]


def _same_place(one: Operation, other: Operation) -> bool:
    """Are two of them at one seat or side, or one of them in the middle of the car."""
    places = [{split_component(c).place for c in o.components} for o in (one, other)]
    return any("centre" in p for p in places) or bool(places[0] & places[1])


# From "Note the origin of every part" on a day before any part had come.
@pytest.mark.parametrize("seed", range(4))
def test_the_origin_of_a_part_is_noted_once_it_is_here_and_before_it_is_fitted(seed: int) -> None:
    work = _invent(seed)
    chosen = _plan(work, seed)
    schedule, _ = lay_out(chosen)
    labelled = {o.id for o in work.operations if o.labelled and not o.done}
    noted = {n: t for t in chosen.problem.tasks if t.number == 51 for n in t.needs or ("none",)}
    at = {t.id: (t.start, t.end) for t in schedule}
    whole = next(o for o in work.operations if o.n == 51)
    lines = [t for t in schedule if t.number == 51]
    assert sum(t.end - t.start for t in lines) == whole.minutes.likely
    for task in chosen.problem.tasks:
        if task.id in labelled and task.needs:
            assert at[noted[task.needs[0]].id][1] <= at[task.id][0]


# From two technicians who read one car through one diagnostic connector at the same minute.
def test_under_power_one_thing_is_done_at_a_time() -> None:
    for seed in range(6):
        work = _invent(seed)
        schedule, _ = lay_out(_plan(work, seed))
        powered = {o.id for v in work.visits if v.power == "on" for o in v.operations}
        mine = sorted((t.start, t.end) for t in schedule if t.id in powered)
        assert all(a[1] <= b[0] for a, b in itertools.pairwise(mine))


# From two technicians of whom one hung loads at the seats while the other closed the panel.
def test_substitute_loads_take_the_seats_that_they_hang_at() -> None:
    hung = [o for seed in range(6) for o in _invent(seed).operations if o.loads]
    assert hung
    assert all(o.rooms for o in hung)


# From a plan that plugged the switches of an instrument panel in three days before the panel.
@pytest.mark.parametrize("seed", range(10))
def test_no_part_of_an_invented_car_is_fitted_before_what_it_is_in(seed: int) -> None:
    work = _invent(seed)
    assert _too_soon(work, _plan(work, seed)) == []


@pytest.mark.parametrize("name", DEMOS)
def test_no_part_of_a_demo_car_is_fitted_before_what_it_is_in(name: str) -> None:
    work = work_out(open_case(DEMO_CASES / name, CATALOG), CATALOG)
    for seed in range(3):
        assert _too_soon(work, _plan(work, seed)) == []
