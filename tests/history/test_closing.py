"""How the car stands at the end, and what people signed for: every way a check is not met.

Own edge cases, each one that a changed program got through the other tests; see docs/mutation.md.
The limits are the catalogue's.
"""

import datetime as dt
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import load_catalog
from squibwise.history.closing import Problem, Standing, judge_lamp, judge_scan, list_unproved
from squibwise.history.order import (
    History,
    last_change,
    last_touch,
    order_entries,
    read_history,
    replacements,
)
from squibwise.history.signed import (
    find_loads,
    is_decided,
    is_signed,
    label_of,
    labelled,
    last_signed,
    loads_on,
    read_memory,
    signed_results,
    speaks_against,
)
from squibwise.model.evidence import (
    DoneWork,
    Evidence,
    LampCheck,
    Look,
    PartLabel,
    Passed,
    Reading,
    Recorder,
    SubstituteLoad,
)
from squibwise.model.evidence import TestOutcome as Outcome
from squibwise.model.origin import Finding, Origin
from squibwise.model.report import ASKED, UNSURE, CodeLine, Coverage, ReadReport, Report, Unread

CATALOG = load_catalog()
BAG = "driver.front-bag"
UNIT = "centre.control-unit"
GOOD = LampCheck(id="lamp", lit=True, out_after_s=6.0, stayed_out=True)
WORK = DoneWork(id="work", what="reseated", component=BAG)


def course(*evidence: Evidence) -> History:
    return read_history(evidence)


def words(standing: Standing) -> list[str]:
    return [p.word for p in standing.problems]


def lamp(**more: Any) -> LampCheck:
    given: dict[str, Any] = {"lit": True, "out_after_s": 6.0, "stayed_out": True}
    return LampCheck(id="lamp", **(given | more))


def line(*status: Any, **more: Any) -> CodeLine:
    given: dict[str, Any] = {"line": 1, "raw": "a line", "code": "B1234", "status": status}
    return CodeLine(**(given | more))


def scan(*lines: CodeLine, unread: int = 0, name: str = "scan", **coverage: Any) -> Report:
    seen: dict[str, Any] = {"complete": True, "able": True, "unit_volts": 12.6}
    left = tuple(Unread(line=n, raw="?") for n in range(unread))
    reading = ReadReport(lines=lines, unread=left, coverage=Coverage(**(seen | coverage)))
    return Report(id=name, reading=reading)


def signed(what: str, result: str = "passed", note: str = "", by: str | None = None) -> Passed:
    return Passed(id=f"s-{what}-{result}", what=what, result=result, note=note, by=by)


# ---- the lamp ----


@pytest.mark.parametrize(
    ("check", "expected", "outcome"),
    [
        (lamp(), [], "met"),
        (lamp(lit=False, out_after_s=None), ["dark"], "not met"),
        (lamp(lit=False, out_after_s=None, stayed_out=None), ["dark"], "not met"),
        (lamp(stayed_out=False), ["came-on"], "not met"),
        (lamp(out_after_s=None), ["not-timed"], "undecided"),
        (lamp(stayed_out=None), ["not-watched"], "undecided"),
        (lamp(out_after_s=99.0), ["late"], "undecided"),
        (lamp(stayed_out=False, out_after_s=None), ["came-on", "not-timed"], "not met"),
    ],
)
def test_a_lamp_check_says_what_keeps_it_from_being_met(
    check: LampCheck, expected: list[str], outcome: str
) -> None:
    found = judge_lamp(course(WORK, check), CATALOG)
    assert (words(found), found.outcome, found.entry) == (expected, outcome, check)
    assert found.decided_by == ""


def test_without_a_lamp_check_there_is_nothing_to_judge() -> None:
    found = judge_lamp(course(WORK), CATALOG)
    assert (found.entry, words(found), found.outcome) == (None, ["none"], "undecided")


def test_work_after_the_lamp_check_makes_it_early_and_the_last_check_counts() -> None:
    assert words(judge_lamp(course(GOOD, WORK), CATALOG)) == ["early"]
    later = lamp(stayed_out=None)
    assert judge_lamp(course(GOOD, WORK, later), CATALOG).entry == later


@pytest.mark.parametrize(
    ("named", "is_other"),
    [
        ("5ZQCA6F17J0123450", False),
        ("5ZQCA6F17J0******", False),
        ("*****************", False),
        ("5ZQCA6F17J0123451", True),
        ("5ZQCA6F18J0******", True),
        ("5ZQCA6F17J012345", True),
        ("", False),
    ],
)
def test_a_last_scan_of_another_car_is_told_by_what_is_legible_of_its_vin(
    named: str, is_other: bool
) -> None:
    read = msgspec.structs.replace(scan().reading, vin_part=named)
    found = judge_scan(course(WORK, Report(id="scan", reading=read)), CATALOG, "5ZQCA6F17J0123450")
    assert ("other-car" in words(found)) == is_other


@pytest.mark.parametrize(
    ("before", "now", "told"),
    [
        ((61_204, "mi"), (1_204, "mi"), "1204 mi after 61204 mi"),
        ((61_204, "mi"), (1_204, "km"), "1204 km after 61204 mi"),
        ((98_498, "km"), (61_203, "mi"), ""),  # the same, to the kilometre
        ((98_498, "km"), (61_190, "mi"), "61190 mi after 98498 km"),
        ((65, "mi"), (100, "km"), "100 km after 65 mi"),  # 4.6 km: more than a mile of each
        ((64, "mi"), (100, "km"), ""),
        ((61_204, ""), (61_203, ""), "61203 after 61204"),
        ((61_204, "mi"), (61_204, "mi"), ""),
        ((61_204, "mi"), (61_290, "mi"), ""),
        ((61_204, "km"), (1_204, ""), ""),  # of which unit is not said: nothing is concluded
        ((None, ""), (1_204, "mi"), ""),
        ((61_204, "mi"), (None, ""), ""),
    ],
)
def test_a_last_scan_whose_odometer_runs_back_is_asked_about(
    before: tuple[int | None, str], now: tuple[int | None, str], told: str
) -> None:
    first, last = (
        scan(name=name, odometer=at, odometer_unit=unit)
        for name, (at, unit) in {"first": before, "last": now}.items()
    )
    found = judge_scan(course(first, WORK, last), CATALOG)
    assert [p.detail for p in found.problems if p.word == "odometer-back"] == [told] * bool(told)
    assert found.outcome == ("undecided" if told else "met")
    named = signed("final-scan", note="instrument cluster renewed, invoice 7", by="R. Own")
    assert judge_scan(course(first, WORK, last, named), CATALOG).outcome == "met"


def test_what_decides_against_a_check_stands_first() -> None:
    found = judge_lamp(course(lamp(lit=False, out_after_s=30.0), WORK), CATALOG)
    assert words(found) == ["dark", "early", "late"]
    assert found.problems[2] == Problem(word="late", detail="30")


LATE = lamp(out_after_s=30.0)
NAMED = signed("lamp-check", note="manual p. 4", by="R. Own")


def test_only_a_late_lamp_is_decided_by_a_named_person_with_the_document() -> None:
    found = judge_lamp(course(LATE, NAMED), CATALOG)
    assert (words(found), found.outcome, found.decided_by) == ([], "met", NAMED.id)
    step = signed("step:lamp-check", note="manual p. 4", by="R. Own")
    assert judge_lamp(course(LATE, step), CATALOG).decided_by == step.id
    dark = lamp(lit=False, out_after_s=None)
    assert words(judge_lamp(course(dark, NAMED), CATALOG)) == ["dark"]
    assert judge_lamp(course(dark, NAMED), CATALOG).decided_by == ""


@pytest.mark.parametrize(
    "weak",
    [
        signed("lamp-check", by="R. Own"),
        signed("lamp-check", note="manual p. 4"),
        signed("final-scan", note="manual p. 4", by="R. Own"),
    ],
)
def test_a_signature_without_name_or_reason_decides_nothing(weak: Passed) -> None:
    assert words(judge_lamp(course(LATE, weak), CATALOG)) == ["late"]


def test_a_signature_from_before_the_check_decides_nothing() -> None:
    assert words(judge_lamp(course(NAMED, LATE), CATALOG)) == ["late"]
    no = signed("lamp-check", "failed", note="came on")
    assert words(judge_lamp(course(no, GOOD), CATALOG)) == []


def test_a_failure_that_was_signed_after_the_check_stands_first() -> None:
    no = signed("lamp-check", "failed", note="came on")
    found = judge_lamp(course(lamp(stayed_out=False), no), CATALOG)
    assert found.problems[0] == Problem(word="signed-failed", detail="came on", decided=True)
    assert words(found) == ["signed-failed", "came-on"]
    assert judge_lamp(course(GOOD, no), CATALOG).outcome == "not met"


# ---- the last scan ----


def test_without_a_scan_there_is_nothing_to_judge() -> None:
    found = judge_scan(course(WORK), CATALOG)
    assert (found.entry, words(found), found.outcome) == (None, ["none"], "undecided")


def test_a_clean_complete_scan_after_the_work_is_met() -> None:
    last = scan()
    found = judge_scan(course(scan(name="first"), WORK, last), CATALOG)
    assert (found.entry, words(found), found.outcome) == (last, [], "met")
    assert found.decided_by == ""


@pytest.mark.parametrize(
    ("status", "expected", "outcome"),
    [
        (("present",), "faults", "not met"),
        (("locked",), "faults", "not met"),
        (("intermittent",), "faults", "not met"),
        (("stored", "present"), "faults", "not met"),
        (("not-tested",), "waiting", "undecided"),
        (("pending",), "waiting", "undecided"),
        (("stored",), "stored", "undecided"),
        ((), "stored", "undecided"),
    ],
)
def test_a_line_of_the_last_scan_counts_by_its_status(
    status: tuple[Any, ...], expected: str, outcome: str
) -> None:
    found = judge_scan(course(scan(line(*status))), CATALOG)
    assert (words(found), found.outcome) == ([expected], outcome)
    assert found.problems[0].detail == "B1234"


@pytest.mark.parametrize(
    "harmless",
    [line("cleared"), line("present", present=False), line("present", unit="other")],
)
def test_what_is_cleared_denied_or_of_another_system_keeps_no_scan_open(harmless: CodeLine) -> None:
    assert judge_scan(course(scan(harmless)), CATALOG).outcome == "met"


def test_a_line_is_counted_once_under_the_hardest_of_its_words() -> None:
    mixed = scan(
        line("present", code="B1"), line("not-tested", "stored", code="B2"), line(code="B3")
    )
    found = judge_scan(course(mixed), CATALOG)
    assert [(p.word, p.detail) for p in found.problems] == [
        ("faults", "B1"),
        ("waiting", "B2"),
        ("stored", "B3"),
    ]
    restraint = line("cleared", "present", code="B4", unit="restraint")
    assert words(judge_scan(course(scan(restraint)), CATALOG)) == ["faults"]


@pytest.mark.parametrize(
    ("coverage", "expected", "detail"),
    [
        ({"complete": None}, "incomplete", ""),
        ({"complete": False}, "incomplete", ""),
        ({"able": False}, "unable", ""),
        ({"not_tested": (BAG, UNIT)}, "not-tested", f"{BAG}, {UNIT}"),
        ({"unit_volts": 5.25}, "volts", "5.25 V"),
        ({"unit_volts": 30.0}, "volts", "30 V"),
    ],
)
def test_a_scan_that_did_not_reach_everything_is_undecided(
    coverage: dict[str, Any], expected: str, detail: str
) -> None:
    found = judge_scan(course(scan(**coverage)), CATALOG)
    assert [(p.word, p.detail) for p in found.problems] == [(expected, detail)]
    assert found.outcome == "undecided"


def test_an_unstated_ability_or_voltage_keeps_no_scan_open() -> None:
    assert judge_scan(course(scan(able=None, unit_volts=None)), CATALOG).outcome == "met"


@pytest.mark.parametrize(
    "later", ["step:clear", "step:drive", "driver.seat-weight:calibrate", "centre.camera:calibrate"]
)
def test_a_scan_comes_after_the_clearing_the_settings_and_the_drive(later: str) -> None:
    """Common practice, no source: a fault that comes back on the drive is in the scan after it."""
    assert words(judge_scan(course(scan(), signed(later)), CATALOG)) == ["early"]
    assert words(judge_scan(course(scan(), signed(later, "failed")), CATALOG)) == []
    assert words(judge_scan(course(signed(later), scan()), CATALOG)) == []


def test_work_after_the_scan_makes_it_early_and_an_untimed_scan_beside_timed_work_is_told() -> None:
    assert words(judge_scan(course(scan(), WORK), CATALOG)) == ["early"]
    timed = DoneWork(id="w", time=dt.datetime(2026, 8, 1), what="reseated", component=BAG)
    assert words(judge_scan(course(timed, scan()), CATALOG)) == ["no-time"]
    at_noon = Report(id="s", time=dt.datetime(2026, 8, 2), reading=scan().reading)
    assert words(judge_scan(course(timed, at_noon), CATALOG)) == []


def test_a_line_that_calls_all_good_is_no_line_that_was_not_understood() -> None:
    good = Unread(line=4, raw="All squib circuits tested, no faults stored", why="found good")
    reading = msgspec.structs.replace(scan().reading, unread=(good,))
    read = msgspec.structs.replace(scan(), reading=reading)
    assert judge_scan(course(read), CATALOG).outcome == "met"


def test_unread_lines_may_be_read_by_a_named_person_and_nothing_else_may() -> None:
    named = signed("final-scan", note="read them", by="R. Own")
    found = judge_scan(course(scan(unread=2), named), CATALOG)
    assert (words(found), found.decided_by) == ([], named.id)
    assert judge_scan(course(scan(unread=2)), CATALOG).problems == (
        Problem(word="unread", detail='line 0, "?", line 1, "?"'),
    )
    both = judge_scan(course(scan(line("stored"), unread=1), named), CATALOG)
    assert (words(both), both.decided_by) == (["stored"], named.id)
    clean = judge_scan(course(scan(), named), CATALOG)
    assert (clean.outcome, clean.decided_by) == ("met", "")
    assert words(judge_scan(course(named, scan(unread=1)), CATALOG)) == ["unread"]
    nameless = signed("final-scan", note="read them")
    assert words(judge_scan(course(scan(unread=1), nameless), CATALOG)) == ["unread"]


def test_a_scan_that_was_signed_as_failed_is_not_met() -> None:
    no = signed("step:final-scan", "failed", note="codes back")
    found = judge_scan(course(scan(unread=1), no), CATALOG)
    assert found.problems[0] == Problem(word="signed-failed", detail="codes back", decided=True)
    assert words(found) == ["signed-failed", "unread"]
    assert judge_scan(course(no, scan()), CATALOG).outcome == "met"
    both = judge_scan(course(scan(line("present")), no), CATALOG)
    assert words(both) == ["signed-failed", "faults"]


def test_faults_are_named_by_code_then_component_then_text_each_once() -> None:
    named = scan(
        line("present", code="B1"),
        line("present", code="B1"),
        line("present", code=None, component=BAG),
        line("present", code=None, raw=" as it stood "),
    )
    [problem] = judge_scan(course(named), CATALOG).problems
    assert problem.detail == f"B1, {BAG}, as it stood"


# ---- order, work, signatures ----


def test_a_report_without_a_time_goes_where_it_says_and_others_stay_beside_their_neighbour() -> (
    None
):
    early = Report(id="e", when="before-repair", reading=ReadReport())
    late = Report(id="l", when="after-repair", reading=ReadReport())
    unknown = Report(id="u", reading=ReadReport())
    work = DoneWork(id="w", time=dt.datetime(2026, 8, 1), what="replaced", component=BAG)
    assert [e.id for e in order_entries((late, work, unknown, early))] == ["e", "w", "u", "l"]


def test_a_place_is_found_by_id_and_minus_one_is_none() -> None:
    history = course(WORK, GOOD)
    assert (history.place_of("lamp"), history.place_of("work")) == (1, 0)
    assert history.place_of("no") == -1
    assert last_change(course(GOOD)) == -1


def test_clearing_is_a_change_unless_it_is_what_is_asked_about() -> None:
    history = course(WORK, DoneWork(id="c", what="cleared", component="codes"))
    assert (last_change(history), last_change(history, clearing=False)) == (1, 0)


@pytest.mark.parametrize(
    ("test", "outcome", "what", "component"),
    [
        ("reseat:plug", "fixed", "reseated", "driver.seat-bag"),
        ("renew:plug", "not fixed", "reseated", "driver.seat-bag"),
        ("replace:device", "fixed", "replaced", "driver.seat-bag"),
        ("replace:clock-spring", "fixed", "replaced", "driver.clock-spring"),
        ("replace:unit", "not fixed", "replaced", UNIT),
    ],
)
def test_a_repair_of_the_fault_plan_is_work_on_what_it_names(
    test: str, outcome: str, what: str, component: str
) -> None:
    entry = Outcome(id="t", loop="driver.seat-bag/1", test=test, outcome=outcome)
    [(at, work)] = course(GOOD, entry).works
    assert (at, work.id, work.what, work.component) == (1, "t", what, component)
    assert work.time is None


def test_a_repair_of_the_fault_plan_keeps_its_time_and_may_name_a_point_with_a_colon() -> None:
    when = dt.datetime(2026, 8, 1)
    entry = Outcome(
        id="t", time=when, loop="driver.seat-bag/1", test="replace:harness:2", outcome="fixed"
    )
    [(_, work)] = course(entry).works
    assert (work.time, work.what, work.component) == (when, "replaced", "driver.seat-bag")


@pytest.mark.parametrize(("test", "outcome"), [("look:plug", "fixed"), ("reseat:plug", "open")])
def test_a_test_or_an_outcome_that_repaired_nothing_is_no_work(test: str, outcome: str) -> None:
    entry = Outcome(id="t", loop="driver.seat-bag/1", test=test, outcome=outcome)
    assert course(entry).works == ()


def test_replacements_are_told_by_component_and_other_work_is_none() -> None:
    fit = DoneWork(id="f", what="replaced", component=BAG)
    again = DoneWork(id="g", what="replaced", component=BAG)
    history = course(fit, WORK, again)
    assert replacements(history) == {BAG: (0, 2)}
    assert history.works_on(frozenset({BAG})) == history.works
    assert history.works_on(frozenset({UNIT})) == ()
    assert history.last_work_on(UNIT, BAG) == 2
    assert history.last_work_on(UNIT) == -1


def test_the_last_of_several_words_counts_and_must_come_after_a_place() -> None:
    yes, no = signed("x"), signed("y", "failed")
    history = course(yes, no)
    assert last_signed(history, "x", "y") == (1, no)
    assert last_signed(history, "z") is None
    assert not is_signed(history, "x", "y")
    assert is_signed(history, "x")
    assert not is_signed(history, "x", after=0)
    assert is_signed(course(GOOD, yes), "x", after=0)
    assert signed_results(course(yes, signed("x", "failed"))) == {"x": "failed"}


def test_a_decision_has_a_name_and_a_reason_and_a_failure_is_none() -> None:
    assert is_decided(course(signed("x", note="n", by="R")), CATALOG, "x")
    assert not is_decided(course(signed("x", "failed", note="n", by="R")), CATALOG, "x")
    assert not is_decided(course(signed("x", note="n", by="R")), CATALOG, "x", after=0)
    assert not is_decided(course(), CATALOG, "x")


# ---- loads, labels, the unit ----


def load(serial: str, move: str, loop: str = f"{BAG}/1") -> SubstituteLoad:
    return SubstituteLoad(id=f"{serial}-{move}", serial=serial, loop=loop, move=move)


def test_a_load_is_out_until_that_very_load_is_back() -> None:
    history = course(load("A", "issued"), load("B", "issued"), load("A", "returned"))
    found = find_loads(history)
    assert (found.issued, [s.serial for s in found.out]) == (frozenset({"A", "B"}), ["B"])
    assert not found.are_back
    assert not found.unissued
    assert [s.serial for s in loads_on(history, (BAG, 1))] == ["B"]
    assert loads_on(history, (BAG, 2)) == ()


def test_a_load_that_was_read_or_signed_for_counts_as_used() -> None:
    read = Reading(
        id="r", component=f"{BAG}/1", quantity="q", value=2.0, unit="ohm", method="substitute-load"
    )
    assert find_loads(course(read)).unissued
    assert find_loads(course(signed("step:fit-loads"))).unissued
    assert not find_loads(course(signed("fit-loads", "failed"))).unissued
    assert find_loads(course()).are_back


def label(name: str, component: str = BAG) -> PartLabel:
    return PartLabel(id=name, component=component, number=name)


def test_labels_are_told_for_what_is_in_the_car_in_the_order_written() -> None:
    fits = [DoneWork(id=f"f{n}", what="replaced", component=BAG) for n in range(2)]
    history = course(label("u", UNIT), fits[0], label("a"), label("b"))
    assert [x.id for x in labelled(history)] == ["u", "b"]
    twice = course(label("u", UNIT), label("a"), *fits)
    assert [x.id for x in labelled(twice)] == ["u"]
    assert label_of(course(fits[0], fits[1], label("a")), BAG) == label("a")


def record_line(*status: Any, **more: Any) -> CodeLine:
    return line(*status, fault="event-recorded", **more)


@pytest.mark.parametrize(
    ("lines", "seen", "locked"),
    [
        ((record_line("stored"),), True, False),
        ((record_line("locked"),), True, True),
        ((record_line("stored"), record_line("locked")), True, True),
        ((record_line("cleared"),), False, False),
        ((record_line("stored", kind="front-bag"),), False, False),
        ((record_line("stored", kind="control-unit"),), True, False),
        ((line("stored", fault="internal"),), False, False),
    ],
)
def test_a_report_names_a_crash_record_of_the_unit(
    lines: tuple[CodeLine, ...], seen: bool, locked: bool
) -> None:
    memory = read_memory(course(scan(*lines)))
    assert (memory.seen, memory.locked) == (("scan",) if seen else (), locked)
    assert (memory.read_since, memory.still) == ((), ())


def test_what_was_read_after_the_last_clearing_counts_and_other_entries_do_not() -> None:
    clear = DoneWork(id="c", what="cleared", component="codes")
    before, after = scan(record_line("stored"), name="one"), scan(record_line(), name="two")
    memory = read_memory(course(before, clear, GOOD, after))
    assert (memory.seen, memory.read_since, memory.still) == (("one", "two"), ("two",), ("two",))
    twice = read_memory(course(before, clear, after, clear))
    assert twice.read_since == ()
    kept = read_memory(course(Recorder(id="r", record="stored"), Recorder(id="n", record="none")))
    assert (kept.seen, kept.locked) == (("r",), False)
    shut = read_memory(course(Recorder(id="r", record="locked")))
    assert (shut.seen, shut.locked) == (("r",), True)
    assert read_memory(course(WORK, before)).read_since == ()


@pytest.mark.parametrize(
    ("entries", "closed"),
    [
        ((Look(id="l", component=UNIT, seen="damaged"),), True),
        ((Look(id="l", component=UNIT, seen="missing"),), True),
        ((Look(id="l", component=UNIT, seen="intact"),), False),
        ((Look(id="l", component=BAG, seen="damaged"),), False),
        (
            (
                Look(id="l", component=UNIT, seen="damaged"),
                Look(id="m", component=UNIT, seen="intact"),
            ),
            False,
        ),
        (
            (
                Look(id="l", component=UNIT, seen="damaged"),
                Look(id="m", component=UNIT, seen="not-seen"),
            ),
            True,
        ),
        (
            (
                Look(id="l", component=UNIT, seen="damaged"),
                DoneWork(id="f", what="replaced", component=UNIT),
            ),
            False,
        ),
        (
            (
                DoneWork(id="f", what="replaced", component=UNIT),
                Look(id="l", component=UNIT, seen="damaged"),
            ),
            True,
        ),
    ],
)
def test_a_damaged_unit_speaks_against_switching_on_until_replaced_or_seen_whole(
    entries: tuple[Evidence, ...], closed: bool
) -> None:
    found = speaks_against(course(*entries), CATALOG)
    assert [w for w, _ in found] == (["key-on-safe", "unit-bolted", "power-safe"] if closed else [])


@pytest.mark.parametrize(
    ("status", "told", "is_open"),
    [
        ("intermittent", [("renew:seat-plug", "fixed")], True),
        ("intermittent", [("load-at:seat-plug", "gone-for-good")], True),
        ("present", [("renew:seat-plug", "fixed")], False),
        ("intermittent", [("renew:seat-plug", "not fixed")], False),
        ("intermittent", [("renew:seat-plug", "fixed"), ("second-drive", "stays-away")], False),
        ("intermittent", [("renew:seat-plug", "fixed"), ("second-drive", "comes-back")], True),
        (
            "intermittent",
            [
                ("renew:seat-plug", "fixed"),
                ("second-drive", "comes-back"),
                ("renew:seat-harness", "fixed"),
            ],
            True,
        ),
        ("intermittent", [("renew:seat-plug", "fixed"), ("renew:seat-plug", "fixed")], False),
    ],
)
def test_a_fault_that_came_and_went_is_open_until_a_second_drive_is_told(
    status: Any, told: list[tuple[str, str]], is_open: bool
) -> None:
    part = "driver.seat-bag"
    line = CodeLine(line=1, raw="x", component=part, fault="open-or-high", status=(status,))
    other = ("stored",) if status == "intermittent" else ("intermittent",)
    beside = (
        CodeLine(line=2, raw="y", component="left.curtain", fault="open-or-high", status=other),
        CodeLine(line=3, raw="z", component=part, stage=2, fault="open-or-high", status=other),
    )
    report = Report(id="s", reading=ReadReport(lines=(line, *beside), coverage=Coverage()))
    outcomes = [
        Outcome(id=f"t{n}", loop=f"{part}/1", test=test, outcome=word)
        for n, (test, word) in enumerate(told)
    ]
    found = list_unproved(read_history((report, *outcomes)))
    assert (part in found) == is_open


@pytest.mark.parametrize(
    ("entry", "is_touch"),
    [
        *((signed(f"{verb}:panel"), True) for verb in ("open", "out", "fit", "join", "close")),
        (signed("step:power-down"), True),
        (signed("second-power-down"), True),
        (signed("open:panel", "failed"), False),
        (signed("step:power-down", "failed"), False),
        (signed("look:panel"), False),
        (signed("step:lamp-check"), False),
        (signed("driver.front-bag:inspect"), False),
        (GOOD, False),
        (SubstituteLoad(id="load", move="issued", serial="1", loop=f"{BAG}/1"), True),
        (DoneWork(id="clear", what="cleared", component="codes"), True),
    ],
)
def test_what_hands_do_and_a_power_down_are_the_last_touch_and_a_look_is_none(
    entry: Evidence, is_touch: bool
) -> None:
    assert last_touch(course(WORK, entry)) == int(is_touch)
    assert last_touch(course(GOOD)) == -1


def test_what_states_no_time_stands_before_all_that_follows_it_and_keeps_its_place() -> None:
    first, timed = signed("a"), msgspec.structs.replace(signed("b"), time=dt.datetime(2026, 3, 2))
    after = signed("c")
    early = msgspec.structs.replace(signed("d"), time=dt.datetime(2026, 3, 1))
    ordered = [e.what for e in order_entries((first, timed, after, early)) if isinstance(e, Passed)]
    assert ordered == ["a", "d", "b", "c"]


def test_a_last_scan_waits_for_lines_that_nobody_is_sure_of_and_for_faults_that_it_counts() -> None:
    unsure = Unread(line=2, raw="Passenger belt open", why=UNSURE)
    short = Finding(
        code="count-differs",
        severity="warning",
        message="The report announces 2 faults here, 0 were read.",
        origin=Origin(file="scan.txt", line=3, raw="Number of faults: 2"),
    )
    seen = Coverage(complete=True, able=True, unit_volts=12.6)
    asked = Unread(line=4, raw="Is the belt open?", why=ASKED, recognised=("belt", "open"))
    reading = ReadReport(unread=(unsure, asked), findings=(short,), coverage=seen)
    standing = judge_scan(course(WORK, Report(id="scan", reading=reading)), CATALOG)
    assert standing.outcome == "undecided"
    (problem,) = (p for p in standing.problems if p.word == "unread")
    told = 'line 2, "Passenger belt open", line 3, "Number of faults: 2"'
    assert problem.detail == f'{told}, line 4, "Is the belt open?"'
