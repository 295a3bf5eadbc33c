"""Gates hold until a person signs, and what was done is marked done and nothing else."""

import datetime as dt
from types import SimpleNamespace

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.model.evidence import (
    DoneWork,
    LampCheck,
    Look,
    Passed,
    Recorder,
    SubstituteLoad,
)
from squibwise.model.evidence import (
    TestOutcome as Outcome,
)
from squibwise.model.report import CodeLine, Coverage, ReadReport, Report
from squibwise.model.work import Demand, Work
from squibwise.require import work
from squibwise.require.progress import is_step_done, read_progress

FIRED = {"driver.front-bag": {"fired": 0.98}}


def at(hour: int) -> dt.datetime:
    return dt.datetime(2026, 3, 2, hour)


def passed(what: str, result: str = "passed", hour: int = 9) -> Passed:
    return Passed(id=f"{what}-{hour}", what=what, result=result, time=at(hour))


def item(done: Work, item_id: str) -> Demand:
    return next(i for i in done.items if i.id == item_id)


@pytest.fixture
def run(made: SimpleNamespace, catalog: Catalog):  # noqa: ANN201
    def run(*evidence: object, states: dict[str, dict[str, float]] | None = None) -> Work:
        return work(made.case(*evidence), made.assessment(states or FIRED), catalog)

    return run


def test_nothing_is_read_with_the_key_on_before_the_gate_is_signed(run) -> None:  # noqa: ANN001
    assert item(run(), "step:save-codes").blocked_by == ("key-on-safe",)
    assert item(run(passed("key-on-safe")), "step:save-codes").blocked_by == ()


def test_a_gate_that_failed_later_is_shut_again(run) -> None:  # noqa: ANN001
    done = run(passed("unit-bolted", hour=9), passed("unit-bolted", "failed", hour=10))
    assert "unit-bolted" in item(done, "step:first-power").blocked_by
    assert not item(done, "step:unit-bolted").done
    assert any("control unit was found loose" in told for told in done.no_power)
    assert not any("found loose" in told for told in run(passed("unit-bolted")).no_power)


def test_a_new_unit_is_bolted_and_powered_on_a_new_signature(run) -> None:  # noqa: ANN001
    """Common practice, no source: a unit fitted after the signature is an unbolted unit."""
    signed = (passed("unit-bolted"), passed("power-safe"), passed("step:final-power"))
    unit = "centre.control-unit"
    swap = DoneWork(id="swap", time=at(10), what="replaced", component=unit)
    before, after = run(*signed), run(*signed, swap)
    assert item(before, "step:unit-bolted").done
    assert item(before, "step:final-power").done
    assert not item(after, "step:unit-bolted").done
    assert {"unit-bolted", "power-safe"} <= {*item(after, "step:final-power").blocked_by}
    again = run(*signed, swap, *(passed(w, hour=11) for w in ("unit-bolted", "power-safe")))
    assert item(again, "step:unit-bolted").done
    assert not item(again, "step:final-power").done
    cleared = DoneWork(id="clear", time=at(10), what="cleared", component=unit)
    assert item(run(*signed, cleared), "step:unit-bolted").done


def test_a_failed_key_on_gate_sends_the_unit_out_to_be_read(run) -> None:  # noqa: ANN001
    done = run(passed("key-on-safe", "failed"))
    ids = {i.id for i in done.items}
    assert "step:bench-read" in ids
    assert not {"step:save-codes", "step:save-crash-data"} & ids
    assert "key-on-refused" in {f.code for f in done.findings}
    order = [i.id for i in done.items]
    safe = ["power-down", "make-safe", "bench-read", "unit-bolted"]
    places = [order.index(f"step:{s}") for s in safe]
    assert places == sorted(places)
    assert order.index("step:bench-read") < order.index("centre.control-unit:replace")
    assert item(done, "step:bench-read").after == ("step:make-safe",)


def test_a_refused_car_without_a_crash_is_read_out_before_the_unit_goes_back(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    done = finished(made, catalog, passed("key-on-safe", "failed"))
    assert "step:bench-read" in item(done, "step:unit-bolted").after


def test_sensors_and_unit_wait_for_a_signed_structure(run) -> None:  # noqa: ANN001
    unit = "centre.control-unit:replace"
    assert item(run(), unit).blocked_by == ("structure-sound",)
    assert item(run(passed("structure-sound")), unit).blocked_by == ()
    assert item(run(passed("structure-sound")), "step:structure").done


def test_a_load_that_is_still_out_shuts_its_gate_whatever_was_signed(run) -> None:  # noqa: ANN001
    load = SubstituteLoad(id="l1", serial="A1", loop="driver.front-bag/1", move="issued")
    back = msgspec.structs.replace(load, id="l2", move="returned")
    signed = passed("loads-returned")
    open_ = run(load, signed)
    assert item(open_, "step:fit-loads").done
    assert not item(run(), "step:fit-loads").done
    assert "loads-returned" in item(open_, "step:drive").blocked_by
    assert "loads-outstanding" in {f.code for f in open_.findings}
    closed = run(load, back)
    assert item(closed, "step:drive").blocked_by == ()
    assert item(closed, "step:return-loads").done
    assert "loads-outstanding" not in {f.code for f in closed.findings}


def test_evidence_that_stands_for_a_step_marks_it_done(run) -> None:  # noqa: ANN001
    done = run(
        Report(id="scan", when="before-repair", reading=ReadReport()),
        Recorder(id="box", record="locked"),
        DoneWork(id="off", what="disconnected", component="battery"),
        passed("step:arrival-record"),
        passed("child-seats"),
        DoneWork(id="d", what="repaired", component="centre.wiring", item="step:dispose"),
    )
    named = (
        "save-codes",
        "save-crash-data",
        "power-down",
        "arrival-record",
        "child-seats",
        "dispose",
    )
    assert [s for s in named if not item(done, f"step:{s}").done] == []
    assert not item(done, "step:make-safe").done


def test_an_estimate_of_the_crash_is_not_saved_crash_data(run) -> None:  # noqa: ANN001
    done = run(Recorder(id="guess", method="estimate", delta_v_long_kmh=-30.0))
    assert not item(done, "step:save-crash-data").done


def test_a_step_signed_as_failed_is_not_done(run) -> None:  # noqa: ANN001
    assert not item(run(passed("child-seats", "failed")), "step:child-seats").done


def test_a_replaced_part_is_done_and_stays_on_the_list(run) -> None:  # noqa: ANN001
    swap = DoneWork(id="d", what="replaced", component="driver.front-bag", time=at(12))
    assert not item(run(), "driver.front-bag:replace").done
    states = {"driver.front-bag": {"fired": 0.3}}
    assert item(run(swap, states=states), "driver.front-bag:replace").done


def test_a_part_that_was_replaced_as_the_list_asked_is_not_looked_at_once_more(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    part = "left.curtain"
    beliefs = made.assessment({**FIRED, part: {"fired": 0.6}})
    looked = passed(f"{part}:inspect", hour=9)
    swap = DoneWork(id="d", what="replaced", component=part, time=at(12))
    asked = {i.id: i.done for i in work(made.case(looked), beliefs, catalog).items}
    assert asked[f"{part}:replace"] is False
    beliefs = made.assessment({**FIRED, part: {"fired": 0.3}})
    then = {i.id: i.done for i in work(made.case(looked, swap), beliefs, catalog).items}
    assert then[f"{part}:replace"]
    assert then[f"{part}:inspect"]


def test_a_replacement_that_is_itself_bad_is_not_done(run) -> None:  # noqa: ANN001
    swap = DoneWork(id="d", what="replaced", component="driver.front-bag", time=at(12))
    states = {"driver.front-bag": {"fired": 0.98}}
    assert not item(run(swap, states=states), "driver.front-bag:replace").done


def test_a_fault_on_a_part_that_was_replaced_is_traced(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """After a rebuild: the new bag's circuit is at fault, the old bag had surely fired."""
    swap = DoneWork(id="d", what="replaced", component="passenger.front-bag", time=at(12))
    beliefs = made.assessment({"passenger.front-bag": {"faulty": 0.97}})
    fired = made.assessment({"passenger.front-bag": {"fired": 0.98}}).of("passenger.front-bag")
    components = tuple(
        msgspec.structs.replace(c, after_crash=fired.after_crash) if c.id == fired.id else c
        for c in beliefs.components
    )
    beliefs = msgspec.structs.replace(beliefs, components=components)
    done = work(made.case(swap), beliefs, catalog)
    assert item(done, "passenger.front-bag:replace").done
    assert not item(done, "passenger.front-bag:trace").done


def test_clearing_by_a_third_party_never_stands_for_a_replacement(run) -> None:  # noqa: ANN001
    done = run(DoneWork(id="c", what="cleared", component="centre.control-unit", time=at(12)))
    assert not item(done, "centre.control-unit:replace").done
    assert "cleared-is-not-replaced" in {f.code for f in done.findings}


def test_a_passed_inspection_keeps_the_part_and_a_failed_one_replaces_it(run) -> None:  # noqa: ANN001
    kept = run(passed("left.curtain:inspect"))
    assert item(kept, "left.curtain:inspect").done
    assert item(kept, "left.curtain:keep").after == ("left.curtain:inspect",)
    assert not any(i.action == "keep" for i in run().items)
    bad = run(passed("left.curtain:inspect", "failed"))
    assert item(bad, "left.curtain:replace").probability == 1.0


def test_a_passed_inspection_lets_off_only_rules_that_ask_to_look_first(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    states = {"left.curtain": {"fired": 0.98}, "driver.seat-bag": {"fired": 0.98}}
    looked = made.case(passed("centre.headliner:inspect"), passed("driver.seat-bag:inspect"))
    done = work(looked, made.assessment(states), catalog)
    headliner = "centre.headliner:replace"
    assert headliner not in done.spread["any-fire-strict"]
    assert headliner in done.spread["wide-spread"]
    assert "driver.seat-bag:replace" in {i.id for i in done.items}


def test_clearing_and_lamp_do_not_count_while_work_is_open(run) -> None:  # noqa: ANN001
    done = run(
        DoneWork(id="c", what="cleared", component="codes", time=at(12)),
        LampCheck(id="l", lit=True, out_after_s=6.0, stayed_out=True, time=at(13)),
    )
    assert not item(done, "step:clear").done
    assert not item(done, "step:lamp-check").done


@pytest.mark.parametrize(
    ("after", "is_off", "is_safe"),
    [
        ((), True, True),
        (("step:final-power",), False, False),
        (("step:final-power", "step:power-down"), True, False),
        (("step:final-power", "step:power-down", "step:make-safe"), True, True),
    ],
)
def test_what_hands_do_after_a_power_up_opens_the_power_down_again(
    after: tuple[str, ...],
    is_off: bool,
    is_safe: bool,
    run,  # noqa: ANN001
) -> None:
    """Common practice, no source: every source off and waited out before a hand goes in."""
    words = ("step:power-down", "step:make-safe", *after)
    signed = [passed(w, hour=n) for n, w in enumerate(words)]
    seen = Look(id="bag", component="driver.front-bag", seen="deployed")
    done = run(seen, *(msgspec.structs.replace(p, id=f"p{n}") for n, p in enumerate(signed)))
    assert any(o.action == "fit" and o.kind == "certain" and not o.done for o in done.operations)
    assert item(done, "step:power-down").done is is_off
    assert item(done, "step:make-safe").done is is_safe


def finished(made: SimpleNamespace, catalog: Catalog, *more: object) -> Work:
    """Return the list of a car with one loose plug, looked at, cleared and watched."""
    usual = {"fired": 0.001, "damaged": 0.002}
    beliefs = made.assessment({"driver.seat-bag": {"faulty": 0.02}}, made.calm, usual=usual)
    plug = DoneWork(id="p", what="reseated", component="driver.seat-bag", time=at(10))
    return work(made.case(plug, *more), beliefs, catalog)


@pytest.mark.parametrize(("hour", "counts"), [(9, False), (11, True)])
def test_clearing_counts_only_after_the_last_work(
    hour: int, counts: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    clear = DoneWork(id="c", what="cleared", component="codes", time=at(hour))
    assert item(finished(made, catalog, clear), "step:clear").done is counts


@pytest.mark.parametrize(
    ("lit", "seconds", "stayed", "good"),
    [
        (True, 6.0, True, True),
        (False, None, True, False),  # a lamp that never lights is a failure
        (True, None, False, False),
        (True, 6.0, None, False),
    ],
)
def test_a_lamp_check_counts_when_it_lit_went_out_and_stayed_out(
    lit: bool,
    seconds: float | None,
    stayed: bool | None,
    good: bool,
    made: SimpleNamespace,
    catalog: Catalog,
) -> None:
    lamp = LampCheck(id="l", lit=lit, out_after_s=seconds, stayed_out=stayed, time=at(12))
    assert item(finished(made, catalog, lamp), "step:lamp-check").done is good


def test_a_word_that_is_no_gate_and_no_item_is_reported(run) -> None:  # noqa: ANN001
    done = run(passed("lamp-chekc"), passed("child-seats"))
    strange = [f.message for f in done.findings if f.code == "item-not-on-list"]
    assert len(strange) == 1
    assert "lamp-chekc" in strange[0]


def test_a_silent_second_stage_of_a_fired_device_is_named(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    beliefs = made.assessment({"driver.front-bag": {"fired": 0.98}})
    live = {"1": (0.98, 0.02), "2": (0.2, 0.8)}
    stages = {
        n: msgspec.convert({"fired": f, "live": a, "faulty": 0.0}, type=_stage(beliefs))
        for n, (f, a) in live.items()
    }
    components = tuple(
        msgspec.structs.replace(c, stages=stages) if c.id == "driver.front-bag" else c
        for c in beliefs.components
    )
    done = work(made.case(), msgspec.structs.replace(beliefs, components=components), catalog)
    named = [f.message for f in done.findings if f.code == "stage-may-be-live"]
    assert named == ["Stage 2 of the driver front airbag may still be live (0.80)."]
    reasons = item(done, "step:live-charges").because
    assert any("Stage 2 of the driver front airbag" in b.text for b in reasons)


def _stage(beliefs: object) -> type:
    return type(beliefs.components[0].stages["1"])  # type: ignore[attr-defined]


def test_a_scan_after_the_repair_does_not_save_what_was_there_before(run) -> None:  # noqa: ANN001
    late = Report(id="scan", when="after-repair", reading=ReadReport())
    assert not item(run(late), "step:save-codes").done


def test_a_circuit_is_traced_with_power_only_behind_its_gates(run) -> None:  # noqa: ANN001
    states = {"driver.seat-bag": {"faulty": 0.9}}
    trace = "driver.seat-bag:trace"
    assert item(run(states=states), trace).blocked_by == ("unit-bolted", "power-safe")
    signed = (passed("unit-bolted"), passed("power-safe"))
    assert item(run(*signed, states=states), trace).blocked_by == ()
    assert "no-meter" in {c.id for c in item(run(states=states), trace).cautions}


def test_a_gate_whose_step_is_not_on_the_list_holds_nothing_unless_a_load_is_out(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    assert item(finished(made, catalog), "step:drive").blocked_by == ()
    load = SubstituteLoad(id="l1", serial="A1", loop="driver.seat-bag/1", move="issued")
    assert item(finished(made, catalog, load), "step:drive").blocked_by == ("loads-returned",)


def test_a_replaced_part_that_nothing_is_believed_of_counts_as_done(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """A rule about its neighbour asked for it; inference says nothing of it."""
    swap = DoneWork(id="d", what="replaced", component="driver.clock-spring", time=at(12))
    beliefs = made.assessment(FIRED)
    fewer = tuple(c for c in beliefs.components if c.id != "driver.clock-spring")
    done = work(made.case(swap), msgspec.structs.replace(beliefs, components=fewer), catalog)
    assert item(done, "driver.clock-spring:replace").done


@pytest.mark.parametrize(("second", "is_open"), [("", True), ("stays-away", False)])
def test_a_fault_that_came_and_went_is_traced_until_the_second_drive(
    run,  # noqa: ANN001
    second: str,
    is_open: bool,
) -> None:
    part = "driver.seat-bag"
    line = CodeLine(line=1, raw="x", component=part, fault="low-or-short", status=("intermittent",))
    reading = ReadReport(lines=(line,), coverage=Coverage())
    outcomes = [("renew:seat-plug", "fixed", 9), ("second-drive", second, 11)]
    done = run(
        Report(id="s", reading=reading, when="before-repair"),
        passed(f"{part}:trace", hour=10),
        *(
            Outcome(id=test, loop=f"{part}/1", test=test, outcome=word, time=at(hour))
            for test, word, hour in outcomes
            if word
        ),
        states={part: {"faulty": 0.01}},
    )
    found = [i for i in done.items if i.id == f"{part}:trace" and not i.done]
    assert bool(found) == is_open
    assert all("renew:seat-plug" in b.evidence for i in found for b in i.because[:1])


@pytest.mark.parametrize(
    ("status", "fired", "traced"),
    [("present", 0.25, True), ("stored", 0.25, False), ("present", 0.55, False)],
)
def test_a_circuit_read_at_fault_now_is_traced_where_it_is_not_rather_spent(
    run,  # noqa: ANN001
    status: str,
    fired: float,
    traced: bool,
) -> None:
    part = "passenger.retractor-pretensioner"
    line = CodeLine(line=1, raw="x", component=part, fault="short-to-ground", status=(status,))  # type: ignore[arg-type]
    report = Report(id="s", reading=ReadReport(lines=(line,), coverage=Coverage()))
    done = run(report, states={part: {"faulty": 0.4, "fired": fired}})
    assert item(done, f"{part}:trace").probability < 0.5
    assert any(o.action == "trace" for o in done.operations) == traced


def test_a_unit_that_is_swapped_late_asks_for_another_drive(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """Common practice, no source: the drive proves the unit that is in the car."""
    drive = catalog.tasks.steps["drive"]
    swap = DoneWork(id="s", time=at(10), what="replaced", component="centre.control-unit")

    def is_driven(*evidence: object) -> bool:
        return is_step_done(drive, read_progress(made.case(*evidence)), frozenset(), catalog)

    assert is_driven(passed("step:drive"))
    assert not is_driven(passed("step:drive"), swap)
    assert is_driven(passed("step:drive"), swap, passed("step:drive", hour=11))


@pytest.mark.parametrize(("answer", "strict", "counted"), [
    (None, "always", False), ("failed", "advice", False), ("passed", "always", True),
])  # fmt: skip
def test_areas_that_nothing_opens_are_owed_until_the_maker_is_asked(
    answer: str | None, strict: str, counted: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    signed = () if answer is None else (Passed(id="a", what="closed-areas", result=answer),)
    done = work(made.case(*signed), made.assessment({}), catalog)
    rail = next(o for o in done.operations if o.id == "look:roof-left")
    assert (item(done, "left.curtain:inspect").strict, rail.counted) == (strict, counted)
    asked = {q.id: q.answered for q in done.questions}
    assert asked["closed-areas"] == {None: "", "failed": "no", "passed": "yes"}[answer]


@pytest.mark.parametrize(
    ("what", "component", "item_id", "is_finished"),
    [
        ("replaced", "driver.front-bag", "driver.front-bag:replace", True),
        ("reseated", "driver.front-bag", "driver.front-bag:replace", False),
        ("cleared", "driver.front-bag", "driver.front-bag:replace", False),
        ("replaced", "driver.front-bag", "driver.front-bag:trace", True),
        ("reseated", "driver.front-bag", "driver.front-bag:trace", True),
        ("repaired", "driver.front-bag", "driver.front-bag:trace", True),
        ("cleared", "driver.front-bag", "driver.front-bag:trace", False),
        ("replaced", "driver.front-bag", "driver.front-bag:inspect", False),
        ("replaced", "driver.front-bag", "driver.front-bag:calibrate", False),
        ("replaced", "driver.front-bag", "passenger.front-bag:replace", False),
        ("cleared", "codes", "step:clear", True),
    ],
)
def test_work_finishes_the_item_that_it_names_only_where_it_can(
    made: SimpleNamespace, what: str, component: str, item_id: str, *, is_finished: bool
) -> None:
    """Own edge cases: inspections and settings are signed for, a part is replaced by itself."""
    done = DoneWork(id="d", time=at(9), what=what, component=component, item=item_id)
    assert (item_id in read_progress(made.case(done)).done_items) is is_finished


@pytest.mark.parametrize(("hour", "is_done"), [(10, True), (8, False)])
def test_a_drive_counts_only_after_the_last_work(
    made: SimpleNamespace, catalog: Catalog, hour: int, *, is_done: bool
) -> None:
    work_done = DoneWork(id="d", time=at(9), what="reseated", component="driver.front-bag")
    case = made.case(*sorted((work_done, passed("step:drive", hour=hour)), key=lambda e: e.time))
    step = catalog.tasks.steps["drive"]
    assert is_step_done(step, read_progress(case), frozenset(), catalog) is is_done
