"""One order for every stage: what came after what is answered once."""

import datetime as dt
from functools import cache
from typing import Any

import msgspec
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

import squibwise
from squibwise import prove, require
from squibwise.case import overview
from squibwise.cli.demo import DEMO_CASES
from squibwise.history.order import last_change, order_entries, put_in_order, read_history
from squibwise.history.reports import ask_for_times
from squibwise.history.signed import find_loads, is_signed, label_of, read_memory
from squibwise.model.case import Case
from squibwise.model.evidence import (
    DoneWork,
    Evidence,
    LampCheck,
    PartLabel,
    Passed,
    Reading,
    Recorder,
    SubstituteLoad,
)
from squibwise.model.evidence import TestOutcome as Outcome
from squibwise.model.report import CodeLine, Coverage, ReadReport, Report

CATALOG = squibwise.load_catalog()
TODAY = dt.date(2026, 11, 25)
NAMES = sorted(p.parent.name for p in DEMO_CASES.glob("*/case.toml"))
BAG = "driver.front-bag"


@cache
def opened(name: str) -> Case:
    return squibwise.open_case(DEMO_CASES / name, CATALOG)


def at(hour: int) -> dt.datetime:
    return dt.datetime(2026, 8, 1) + dt.timedelta(hours=hour)


def lamp(time: dt.datetime | None = None) -> LampCheck:
    return LampCheck(id="lamp", time=time, lit=True, out_after_s=6.0, stayed_out=True)


def done(time: dt.datetime | None = None, what: Any = "reseated", name: str = "work") -> DoneWork:
    return DoneWork(id=name, time=time, what=what, component="driver.seat-bag")


def scan(time: dt.datetime | None = None, when: Any = "after-repair") -> Report:
    coverage = Coverage(complete=True, able=True, unit_volts=12.6)
    return Report(id="last", time=time, when=when, reading=ReadReport(coverage=coverage))


def with_more(name: str, *more: Evidence) -> Case:
    case = opened(name)
    return msgspec.structs.replace(case, evidence=(*case.evidence, *more))


ENDINGS: dict[str, tuple[Evidence, ...]] = {
    "nothing": (),
    "untimed lamp before the work": (lamp(), done()),
    "untimed lamp before timed work": (lamp(), done(at(9))),
    "untimed lamp after timed work": (done(at(9)), lamp()),
    "timed lamp after untimed work": (done(), lamp(at(9))),
    "lamp before clearing": (done(at(9)), lamp(at(10)), done(at(11), "cleared", "clear")),
    "untimed scan after the repair, then timed work": (scan(), done(at(9)), lamp(at(10))),
    "timed scan": (done(at(9)), lamp(at(10)), scan(at(11))),
    "signed, not checked": tuple(
        Passed(id=f"p-{w}", time=at(12), what=w, result="passed", by="R. Own", note="seen")
        for w in ("lamp-check", "step:lamp-check", "step:final-scan", "loads-returned")
    ),
    "a load out": (
        SubstituteLoad(id="out", time=at(9), serial="S1", loop=f"{BAG}/1", ohm=2.1, move="issued"),
        lamp(at(10)),
        scan(at(11)),
    ),
    "a load used and never issued": (
        Reading(
            id="r-load",
            time=at(9),
            component=f"{BAG}/1",
            quantity="loop-resistance",
            value=2.1,
            unit="ohm",
            method="substitute-load",
        ),
        Passed(id="back", time=at(10), what="loads-returned", result="passed", by="R. Own"),
    ),
}


@pytest.mark.parametrize(
    ("name", "ending"),
    [*((n, "nothing") for n in NAMES), *(("clover-05", e) for e in ENDINGS if e != "nothing")],
)
def test_work_check_and_release_agree_on_what_is_done(name: str, ending: str) -> None:
    case = put_in_order(with_more(name, *ENDINGS[ending]))
    states = squibwise.assess(case, CATALOG)
    job = require.work(case, states, CATALOG)
    items = {i.id: i for i in job.items}
    judged = prove.verdicts(case, job, CATALOG, states)
    found = {v.what: v for v in judged}
    gates = {g.id: g for g in prove.gates(case, states, job, judged, CATALOG)}
    for step, gate, verdict in (
        ("step:lamp-check", "lamp-check", "lamp-check"),
        ("step:final-scan", "final-scan", "second-scan"),
    ):
        is_met = verdict in found and found[verdict].outcome == "met"
        assert items[step].done is not gates[gate].open
        assert items[step].done is is_met
    loads = items.get("step:return-loads")
    if loads is not None and loads.done:
        assert not gates["loads-returned"].open
    for action, gate in (("replace", "replacements"), ("calibrate", "calibrations")):
        told = " ".join(gates[gate].missing)
        wrong = [i.id for i in items.values() if i.action == action and i.done and i.id in told]
        assert wrong == []


@pytest.mark.parametrize("name", ["clover-05", "harrow-07"])
def test_work_and_release_name_the_same_look_for_a_doubt(name: str) -> None:
    case = opened(name)
    record = squibwise.release(case, CATALOG, TODAY)
    looks = {c["id"]: c["look"] for c in record.content["components"]}
    for item in squibwise.work(case, CATALOG).items:
        told = [b.text for b in item.because if b.text.startswith("What settles it: ")]
        if told and item.component:
            assert told[0] == f"What settles it: {looks[item.component]}"


def timed(case: Case) -> list[Evidence]:
    """Return the evidence of a case with a time of its own for each entry."""
    return [msgspec.structs.replace(e, time=at(n)) for n, e in enumerate(case.evidence)]


@settings(max_examples=4, deadline=None, phases=[Phase.generate])
@given(st.data())
def test_entries_with_times_of_their_own_may_be_written_in_any_order(data: st.DataObject) -> None:
    name = "clover-05"
    rows = timed(with_more(name, *ENDINGS[data.draw(st.sampled_from(sorted(ENDINGS)))]))
    straight = msgspec.structs.replace(opened(name), evidence=tuple(rows))
    mixed = msgspec.structs.replace(straight, evidence=tuple(data.draw(st.permutations(rows))))
    one, other = (squibwise.release(case, CATALOG, TODAY) for case in (straight, mixed))
    assert one == other


@given(st.permutations(range(8)), st.lists(st.booleans(), min_size=8, max_size=8))
def test_putting_in_order_twice_changes_nothing(hours: list[int], known: list[bool]) -> None:
    rows = tuple(
        Passed(id=str(n), time=at(hour) if is_so else None, what="x", result="passed")
        for n, (hour, is_so) in enumerate(zip(hours, known, strict=True))
    )
    ordered = order_entries(rows)
    assert order_entries(ordered) == ordered
    assert sorted(e.id for e in ordered) == sorted(e.id for e in rows)


def test_a_repair_of_the_fault_plan_and_a_load_are_changes_of_the_car() -> None:
    repair = Outcome(id="t", loop="driver.seat-bag/1", test="reseat:plug", outcome="fixed")
    load = SubstituteLoad(id="s", serial="1", loop="driver.seat-bag/1", move="issued")
    look = lamp()
    assert last_change(read_history((look, repair, look))) == 1
    assert last_change(read_history((repair, look, load))) == 2
    clear = done(what="cleared")
    assert last_change(read_history((repair, clear)), clearing=False) == 0


def test_a_label_of_the_part_before_is_not_that_of_the_part_now() -> None:
    first = PartLabel(id="l1", component=BAG, number="A1")
    fit = DoneWork(id="d1", what="replaced", component=BAG)
    again = DoneWork(id="d2", what="replaced", component=BAG)
    assert label_of(read_history((first, fit)), BAG) == first
    assert label_of(read_history((fit, first, again)), BAG) == first
    assert label_of(read_history((first, fit, again)), BAG) is None


def test_a_load_that_was_used_must_have_been_issued() -> None:
    signed = Passed(id="p", what="fit-loads", result="passed")
    assert find_loads(read_history((signed,))).unissued
    issued = SubstituteLoad(id="s", serial="1", loop=f"{BAG}/1", move="issued")
    assert not find_loads(read_history((signed, issued))).are_back
    back = msgspec.structs.replace(issued, id="b", move="returned")
    assert find_loads(read_history((signed, issued, back))).are_back


def test_the_later_signature_wins() -> None:
    yes = Passed(id="1", time=at(1), what="x", result="passed")
    no = Passed(id="2", time=at(2), what="x", result="failed")
    assert not is_signed(read_history((no, yes)), "x")
    assert is_signed(read_history((yes,)), "x")


def test_a_record_read_after_clearing_says_whether_it_is_still_there() -> None:
    stored = Recorder(id="r1", time=at(1), record="locked")
    clear = DoneWork(id="c", time=at(2), what="cleared", component="codes")
    none = Recorder(id="r2", time=at(3), record="none")
    memory = read_memory(read_history((stored, clear, none)))
    assert (memory.seen, memory.locked, memory.read_since, memory.still) == (
        ("r1",),
        True,
        ("r2",),
        (),
    )


OTHERS = "0Z9WG9J31LK550871"  # a VIN of no car here


@pytest.mark.parametrize("name", ["burdock-09", NAMES[-1]])
def test_a_report_of_another_car_moves_no_answer(name: str) -> None:
    """The latest report of all, and it tells of nothing: what it would clear is not cleared."""
    foreign = msgspec.structs.replace(scan(at(9000)), id="foreign")
    reading = msgspec.structs.replace(foreign.reading, vin=OTHERS)
    more = with_more(name, msgspec.structs.replace(foreign, reading=reading))
    plain = opened(name)
    states, with_it = (squibwise.assess(c, CATALOG) for c in (plain, more))
    assert with_it.components == states.components
    assert "report-of-another-car" in {f.code for f in with_it.findings}
    todo = [squibwise.work(c, CATALOG) for c in (plain, more)]
    assert [(i.id, i.done, i.probability) for i in todo[1].items] == [
        (i.id, i.done, i.probability) for i in todo[0].items
    ]
    traced = [squibwise.trace(c, f"{BAG}/1", CATALOG) for c in (plain, more)]
    assert traced[1].hypotheses == traced[0].hypotheses
    assert traced[1].findings[-1].code == "report-of-another-car"
    gates = {g.id: g for g in overview(more, CATALOG).gates}
    assert any("not this car" in text for text in gates["final-scan"].missing)


def page(component: str | None, name: str, time: dt.datetime | None) -> Report:
    """Return a page of a report: one open circuit, or none."""
    line = CodeLine(line=1, raw="", component=component, fault="open", status=("present",))
    coverage = Coverage(complete=True, able=True, unit_volts=12.6)
    reading = ReadReport(lines=(line,) if component else (), coverage=coverage)
    return Report(id=name, time=time, when="unknown", reading=reading)


@pytest.mark.parametrize(
    "pages",
    [
        (page(BAG, "a", at(9000)), page("passenger.front-bag", "b", at(9000))),
        (page(BAG, "a", None), page(None, "b", None)),
    ],
    ids=["two pages of one minute", "two readings without a time"],
)
def test_reports_are_traced_alike_in_any_order(pages: tuple[Report, Report]) -> None:
    """What is weighed is what is traced: the page that stands last is not the last report."""
    cases = [with_more("burdock-09", *order) for order in (pages, pages[::-1])]
    one, two = (
        {h.id: h.p for h in squibwise.trace(c, f"{BAG}/1", CATALOG).hypotheses} for c in cases
    )
    assert two == pytest.approx(one, abs=1e-12)


def test_of_readings_without_a_time_the_one_with_the_fault_is_the_last() -> None:
    """Nothing is called gone because nobody wrote down when it was read."""
    cases = [with_more("burdock-09", *pages) for pages in _of_one_fault()]
    one, two = (
        {h.id: h.p for h in squibwise.trace(c, f"{BAG}/1", CATALOG).hypotheses} for c in cases
    )
    assert two == pytest.approx(one, abs=1e-12)
    assert one.get("codes:left-over", 0.0) < 0.2
    assert {f.code for f in ask_for_times(cases[0])} == {"reports-without-time"}


def _of_one_fault() -> tuple[tuple[Report, ...], ...]:
    """Return a faulty and a clean reading without a time, as written either way round."""
    found = page(BAG, "a", None), page(None, "b", None)
    return found, found[::-1]
