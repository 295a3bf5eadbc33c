"""What opens a gate and what must not, one step to each side.

Each case here is one that a changed program (a filter left out, an `or` for an `and`) would have
got through the other tests; see docs/mutation.md. Own edge cases.
"""

import datetime as dt
from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.history.order import read_history
from squibwise.model.belief import StateBelief
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    LampCheck,
    Look,
    Passed,
    Reading,
    Recorder,
    SeatTrial,
    Story,
    SubstituteLoad,
)
from squibwise.model.origin import Finding
from squibwise.model.proof import Gate, Verdict
from squibwise.model.report import CodeLine, Coverage, ReadReport, Report
from squibwise.model.work import Area, Operation, Visit
from squibwise.prove import verdicts
from squibwise.prove.gates import Context, is_doubtful

Made = dict[str, Any]
Ask = Callable[..., dict[str, Gate]]
UNIT, BAG, SEAT = "centre.control-unit", "driver.front-bag", "passenger.occupant-sensor"
BY: dict[str, Any] = {"result": "passed", "by": "R. Own", "note": "seen by me"}


def signed(what: str, **more: Any) -> Passed:
    return Passed(**({"id": f"s-{what}", "what": what} | BY | more))


def opened(answer: dict[str, Gate]) -> list[str]:
    return [word for word, gate in answer.items() if gate.open]


def first(made: Made, *entries: Any, **more: Any) -> Any:
    return made["case"](evidence=(*entries, *made["evidence"]()), **more)


def last(made: Made, *entries: Any, **more: Any) -> Any:
    return made["case"](evidence=(*made["evidence"](), *entries), **more)


def with_parts(made: Made, *parts: str) -> Any:
    car = made["case"]().car
    return msgspec.structs.replace(car, components=tuple(sorted({*car.components, *parts})))


def test_an_error_opens_the_gate_of_the_input_whichever_answer_it_came_with(
    ask: Ask, made: Made
) -> None:
    told = (Finding(code="x", severity="error", message="m"),)
    work = msgspec.structs.replace(made["work"](), findings=told)
    assert opened(ask(work=work)) == ["input-clean"]
    assert opened(ask(assessment=made["assessment"](findings=told))) == ["input-clean"]


def test_a_contradiction_is_explained_after_the_last_entry_it_rests_on(
    ask: Ask, made: Made
) -> None:
    def states(*evidence: str) -> Any:
        row = made["Contradiction"](text="t", evidence=evidence, remedy="r")
        return made["assessment"](contradictions=(row,))

    said = signed("contradictions")
    entries = made["evidence"]()
    between = made["case"](evidence=(*entries[:5], said, *entries[5:]))
    for rests, is_open in ((("ohm-1", "lamp-1"), True), (("ohm-1",), False), ((), False)):
        answer = ask(case=between, assessment=states(*rests))
        assert answer["contradictions"].open is is_open
    assert ask(assessment=states())["contradictions"].open


def test_what_crash_data_command_is_answered_for_or_replaced_and_in_the_car(
    ask: Ask, made: Made
) -> None:
    for part, is_open in (("passenger.front-bag", True), (BAG, False), ("left.curtain", False)):
        told = Recorder(id="rec", commanded=(part,))
        assert ask(case=first(made, told))["contradictions"].open is is_open
        said = first(made, told, signed("contradictions"))
        assert not ask(case=said)["contradictions"].open
        unsaid = first(made, signed("contradictions"), told)
        assert ask(case=unsaid)["contradictions"].open is is_open


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (Look(id="e", component=UNIT, seen="damaged"), f"e saw {UNIT} damaged;"),
        (Circumstance(id="e", what="flood", present=True), "e tells of flood that reached the"),
        (
            Story(id="e", time=dt.datetime(2026, 3, 10, 2), text="The airbag module hangs loose."),
            "e tells that the control unit is",
        ),
    ],
)
def test_what_speaks_against_switching_on_is_told_in_its_own_words(
    entry: Any, says: str, ask: Ask, made: Made
) -> None:
    answer = ask(case=first(made, signed("unit-bolted", time=made["at"](1)), entry))
    (told,) = answer["contradictions"].missing
    assert told.startswith(says)
    assert told.endswith("unit-bolted may not stand signed.")


def test_what_was_unplugged_and_not_put_back_is_not_sound_whatever_is_believed(
    ask: Ask, made: Made
) -> None:
    """Once only, and only of a part of the car; what was put back is no lack."""
    part = "passenger.front-bag"
    off = DoneWork(id="d-0", time=made["at"](5), what="disconnected", component=part)
    back = DoneWork(id="d-1", time=made["at"](6), what="reseated", component=part)
    fired = made["assessment"](components=(made["belief"](part, now=made["FIRED"]),))
    for states in (None, fired):
        (missing,) = ask(case=first(made, off), assessment=states)["not-sound"].missing
        assert missing.startswith(f"{part} is on record as disconnected (d-0), ")
    assert not ask(case=first(made, off, back))["not-sound"].open
    seen = Look(id="l-0", time=made["at"](5), component=part, seen="connector-off")
    (missing,) = ask(case=first(made, seen))["not-sound"].missing
    assert missing.startswith(f"{part} is on record as seen connector-off (l-0), ")
    other = DoneWork(id="d-2", time=made["at"](5), what="disconnected", component="left.curtain")
    assert not ask(case=first(made, other))["not-sound"].open


def test_what_an_open_demand_covers_is_not_told_a_second_time(ask: Ask, made: Made) -> None:
    part = "passenger.front-bag"
    fired = made["assessment"](components=(made["belief"](part, now=made["FIRED"]),))
    item = made["item"](f"{part}:replace", part, "replace", done=False)
    assert opened(ask(assessment=fired, work=made["work"](item))) == ["replacements"]


def test_a_clean_scan_and_an_inspection_prove_a_crash_sensor_and_nothing_else(
    ask: Ask, made: Made
) -> None:
    doubt = made["DOUBT"]
    for part, is_proved in (("nose-left.impact-sensor", True), ("passenger.front-bag", False)):
        case = first(made, signed(f"{part}:inspect"))
        for now, gate in ((doubt, "doubtful"), (made["FIRED"], "not-sound")):
            states = made["assessment"](components=(made["belief"](part, now=now),))
            assert ask(case=case, assessment=states)[gate].open is not is_proved


def doubts(made: Made, catalog: Catalog, sound: float, *items: Any, part: str = BAG) -> bool:
    """Return whether a part that is so likely sound is in doubt beside these demands."""
    now = StateBelief(sound=sound, fired=1.0 - sound, faulty=0.0, damaged=0.0, unfit=0.0)
    case = made["case"](evidence=())
    work = msgspec.structs.replace(made["work"](), items=items)
    context = Context(
        case=case,
        history=read_history(case.evidence),
        assessment=made["assessment"](),
        work=work,
        verdicts=(),
        catalog=catalog,
    )
    return is_doubtful(made["belief"](part, now=now), context)


@pytest.mark.parametrize("action", ["replace", "inspect", "trace"])
def test_work_that_is_done_settles_a_likely_part_on_the_limit_and_not_below_it(
    action: str, made: Made, catalog: Catalog
) -> None:
    limit = catalog.fact("release.settled-by-eye").number()
    item = made["item"]
    done = item("a", BAG, action, done=True)
    undone = item("b", BAG, "inspect", done=False)
    advice = item("c", BAG, "inspect", done=False, strict="advice")
    other = item("d", "passenger.front-bag", action, done=True)
    assert not doubts(made, catalog, limit, done)
    assert not doubts(made, catalog, limit, done, advice)
    assert doubts(made, catalog, limit - 0.001, done)
    assert doubts(made, catalog, limit, done, undone)
    assert doubts(made, catalog, limit)
    assert doubts(made, catalog, limit, other)


def test_an_inspection_settles_a_part_without_a_circuit_until_an_eye_says_otherwise(
    ask: Ask, made: Made
) -> None:
    belt, curtain = "driver.belt-webbing", "passenger.front-bag"
    bad = Look(id="bad", component=belt, seen="damaged")
    whole = Look(id="whole", component=belt, seen="intact")
    other = Look(id="other", component=curtain, seen="intact")
    passed = signed(f"{belt}:inspect")
    kept = tuple(e for e in made["evidence"]() if getattr(e, "what", "")[-8:] != ":inspect")
    base = made["work"]()
    undone = tuple(
        msgspec.structs.replace(i, done=False) if i.component == belt else i for i in base.items
    )
    work = msgspec.structs.replace(base, items=undone)
    unlikely = StateBelief(sound=0.3, fired=0.0, faulty=0.0, damaged=0.7, unfit=0.0)

    def is_open(now: StateBelief, *entries: Any) -> bool:
        states = made["assessment"](components=(made["belief"](belt, now=now),))
        case = made["case"](evidence=(*entries, *kept))
        return ask(case=case, assessment=states, work=work)["doubtful"].open

    assert not is_open(made["DOUBT"], passed)
    assert not is_open(made["DOUBT"], bad, passed)
    assert is_open(made["DOUBT"], passed, bad)
    assert not is_open(made["DOUBT"], bad, whole)
    assert is_open(made["DOUBT"], whole, bad)
    assert is_open(made["DOUBT"], other)
    assert is_open(unlikely, whole)


@pytest.mark.parametrize(
    ("entries", "is_traced"),
    [
        (["whole"], True),
        (["whole", "bad"], False),
        (["bad", "whole"], True),
        (["fitted", "whole"], True),
        (["fitted", "whole", "fitted-2"], False),
        (["fitted", "fitted-2", "whole"], True),
        (["other"], False),
    ],
)
def test_a_circuit_is_traced_where_the_part_was_seen_whole_since_it_was_fitted(
    entries: list[str], is_traced: bool, ask: Ask, made: Made
) -> None:
    part = "passenger.front-bag"
    rows = {
        "whole": Look(id="whole", component=part, seen="intact"),
        "bad": Look(id="bad", component=part, seen="cover-torn"),
        "other": Look(id="other", component=BAG, seen="intact"),
        "fitted": DoneWork(id="fitted", what="replaced", component=part),
        "fitted-2": DoneWork(id="fitted-2", what="replaced", component=part),
    }
    states = made["assessment"](components=(made["belief"](part, now=made["DOUBT"]),))
    answer = ask(case=last(made, *(rows[e] for e in entries)), assessment=states)
    assert ("trace it" in answer["doubtful"].missing[0]) is is_traced


def test_a_part_without_a_circuit_is_never_traced(ask: Ask, made: Made) -> None:
    part = "driver.belt-webbing"
    entries = (Look(id="w", component=part, seen="intact"),)
    now = StateBelief(sound=0.3, fired=0.0, faulty=0.0, damaged=0.7, unfit=0.0)
    states = made["assessment"](components=(made["belief"](part, now=now),))
    kept = tuple(e for e in made["evidence"]() if getattr(e, "what", "")[-8:] != ":inspect")
    answer = ask(case=made["case"](evidence=(*entries, *kept)), assessment=states)
    assert "trace it" not in answer["doubtful"].missing[0]


FAULTY = CodeLine(
    line=1, raw="B0001", component="passenger.front-bag", status=("present",), fault="open-or-high"
)


def test_a_fault_that_went_away_is_answered_for_or_its_part_is_replaced(
    ask: Ask, made: Made
) -> None:
    part = "passenger.front-bag"
    scan = Report(
        id="scan-0", reading=ReadReport(lines=(FAULTY,), coverage=Coverage(complete=True))
    )
    item = made["item"]
    others = item(f"{BAG}:replace", BAG, "replace", done=True)
    todo = item(f"{part}:replace", part, "replace", done=False, probability=0.01)
    looked = item(f"{part}:inspect", part, "inspect", done=True)
    fitted = item(f"{part}:replace", part, "replace", done=True)
    for rows, is_open in (((others,), True), ((todo, looked), True), ((fitted,), False)):
        assert ask(case=first(made, scan), work=made["work"](*rows))["faults"].open is is_open
    said = signed(f"{part}:trace")
    assert not ask(case=first(made, scan, said))["faults"].open
    assert ask(case=first(made, said, scan))["faults"].open


def test_a_gate_of_power_signed_before_work_on_the_unit_is_signed_again(
    ask: Ask, made: Made
) -> None:
    work = DoneWork(id="d-0", what="reseated", component=UNIT)
    before, after = signed("unit-bolted"), signed("unit-bolted", id="again")
    (missing,) = ask(case=first(made, before, work))["steps"].missing
    assert missing.startswith("unit-bolted was signed before the last work on the control unit")
    assert not ask(case=first(made, before, work, after))["steps"].open


def test_work_on_the_very_limit_of_what_is_ruled_out_is_not_asked_for(
    ask: Ask, made: Made, catalog: Catalog
) -> None:
    limit = catalog.fact("cost.ruled-out").number()
    for likely, is_open in ((limit, False), (limit + 1e-6, True)):
        item = made["item"]("x", "left.curtain", "replace", done=False, probability=likely)
        assert ask(work=made["work"](item))["replacements"].open is is_open


def test_what_is_met_opens_nothing(ask: Ask) -> None:
    assert opened(ask(verdicts=(Verdict(what="loop", outcome="met", text="2.1 ohm"),))) == []


@pytest.mark.parametrize(
    ("what", "fitted", "is_open"),
    [
        ("inspect", ("before", "after"), False),
        ("inspect", ("before",), True),
        ("calibrate", ("before", "after"), True),
    ],
)
def test_a_new_part_settles_a_failed_inspection_of_the_old_one_and_no_other_check(
    what: str, fitted: tuple[str, ...], is_open: bool, ask: Ask, made: Made
) -> None:
    part = "passenger.seat-bag"
    failed = signed(f"{part}:{what}", result="failed")
    rows = {n: DoneWork(id=n, what="replaced", component=part) for n in ("before", "after")}
    entries = [rows["before"], failed, *([rows["after"]] if "after" in fitted else [])]
    assert ask(case=first(made, *entries))["failed-checks"].open is is_open


def test_a_load_that_was_used_and_never_issued_is_asked_for(ask: Ask, made: Made) -> None:
    kept = tuple(e for e in made["evidence"]() if not isinstance(e, SubstituteLoad))
    (missing,) = ask(case=made["case"](evidence=kept))["loads-returned"].missing
    assert missing == "loads were used, and none was ever entered as issued"
    unread = tuple(e for e in kept if not isinstance(e, Reading))
    assert not ask(case=made["case"](evidence=unread))["loads-returned"].open


def test_only_parts_of_the_car_are_asked_for_a_label_and_a_hand_over(ask: Ask, made: Made) -> None:
    for part, is_open in (("left.curtain", False), ("passenger.seat-bag", True)):
        work = DoneWork(id="d", time=made["at"](14), what="replaced", component=part)
        answer = ask(case=first(made, work))
        assert (answer["provenance"].open, answer["disposal"].open) == (is_open, is_open)


@pytest.mark.parametrize(
    ("entries", "is_open"),
    [
        (["work", "trial"], False),
        (["work", "signed"], False),
        (["signed", "work"], True),
        (["trial", "work"], True),
        (["work", "other"], True),
        (["trial", "work", "trial-2"], False),
        (["other"], False),
        ([], False),
    ],
)
def test_seat_sensing_is_calibrated_by_its_own_trial_or_signature_since_the_work(
    entries: list[str], is_open: bool, ask: Ask, made: Made
) -> None:
    rows: dict[str, Any] = {
        "work": DoneWork(id="work", what="reseated", component=SEAT),
        "trial": SeatTrial(id="trial", component=SEAT, applied_kg=30.0, read_kg=30.0),
        "trial-2": SeatTrial(id="trial-2", component=SEAT, applied_kg=30.0, read_kg=30.0),
        "other": SeatTrial(
            id="other", component="driver.occupant-sensor", applied_kg=30.0, read_kg=30.0
        ),
        "signed": signed(f"{SEAT}:calibrate"),
    }
    answer = ask(case=first(made, *(rows[e] for e in entries)))
    lacks = "not calibrated since the last work on its seat"
    assert any(lacks in m for m in answer["seat-after-work"].missing) is is_open


def test_work_at_the_very_start_of_a_case_asks_for_a_calibration(ask: Ask, made: Made) -> None:
    work = DoneWork(id="work", time=made["at"](1), what="reseated", component=SEAT)
    assert ask(case=first(made, work))["seat-after-work"].open


def test_a_charge_is_handed_over_after_it_came_out_and_nothing_else_is_asked_for(
    ask: Ask, made: Made
) -> None:
    kept = tuple(e for e in made["evidence"]() if getattr(e, "what", "") != "disposal")
    own = signed(f"{BAG}:disposal")
    for entries, is_open in (((*kept, own), False), ((own, *kept), True)):
        assert ask(case=made["case"](evidence=entries))["disposal"].open is is_open
    belt = DoneWork(id="d", what="replaced", component="driver.belt-webbing")
    no_charge = tuple(e for e in kept if e.id != "done-1")
    assert not ask(case=made["case"](evidence=(*no_charge, belt)))["disposal"].open


def test_the_hand_over_waits_for_the_own_part_and_for_its_second_successor(
    ask: Ask, made: Made
) -> None:
    """Out, handed over, fitted: enough. Fitted once more: the part between was handed to nobody."""

    def visits(part: str, action: str) -> Any:
        row = Operation(n=1, id=f"{action}:x", action=action, title="", components=(part,))  # type: ignore[arg-type]
        area = Area(area="wheel", phase="open", title="", operations=(row,))
        visit = Visit(id="strip", title="", power="off", areas=(area,))
        return msgspec.structs.replace(made["work"](), visits=(visit,))

    at = made["at"]
    kept = tuple(e for e in made["evidence"]() if getattr(e, "what", "") != "disposal")
    given = signed("dispose", time=at(6))
    again = DoneWork(id="d-2", time=at(10), what="replaced", component=BAG)
    for part, action, more, is_open in (
        (BAG, "out", (), False),
        (BAG, "out", (again,), True),
        (BAG, "open", (), True),
        ("passenger.seat-bag", "out", (), True),
    ):
        moved = signed(f"{action}:x", time=at(5))
        entries = tuple(sorted((*kept, moved, given, *more), key=lambda e: e.time))
        answer = ask(case=made["case"](evidence=entries), work=visits(part, action))
        assert answer["disposal"].open is is_open


def test_a_scan_without_a_verdict_proves_nothing_after_the_work(ask: Ask, made: Made) -> None:
    """Nothing was done and the scan does not say that it is one after the repair."""
    scan = Report(id="s", reading=ReadReport(coverage=Coverage(complete=True, able=True)))
    answer = ask(case=made["case"](evidence=(scan,)))
    assert answer["final-scan"].missing == ("no scan after the work recorded",)
    after = msgspec.structs.replace(scan, when="after-repair")
    assert not ask(case=made["case"](evidence=(after,)))["final-scan"].open


COPY = "its file is a copy of that of"


@pytest.mark.parametrize(
    ("files", "is_open"),
    [
        ({"a.txt": "11", "b.txt": "11"}, True),
        ({"a.txt": "11", "b.txt": "22"}, False),
        ({"a.txt": "11"}, False),
        ({"b.txt": "11"}, False),
        ({}, False),
    ],
)
def test_a_last_scan_with_the_bytes_of_an_earlier_one_is_a_copy(
    files: dict[str, str], is_open: bool, ask: Ask, made: Made
) -> None:
    whole = ReadReport(coverage=Coverage(complete=True, able=True))
    one = Report(id="s-1", time=made["at"](7), file="a.txt", reading=whole)
    two = Report(id="s-2", time=made["at"](12), file="b.txt", when="after-repair", reading=whole)
    kept = tuple(e for e in made["evidence"]() if e.id != "scan-9")
    entries = tuple(sorted((*kept, one, two), key=lambda e: e.time))
    answer = ask(case=made["case"](evidence=entries, files=files))
    assert [m for m in answer["final-scan"].missing if COPY in m] == (
        [f"s-2: {COPY} s-1. Scan again after the last work."] if is_open else []
    )


def test_the_last_scan_is_no_copy_of_itself_or_of_one_entered_twice(ask: Ask, made: Made) -> None:
    whole = ReadReport(coverage=Coverage(complete=True, able=True))
    scans = tuple(
        Report(id=f"s-{n}", time=made["at"](n), file="a.txt", when="after-repair", reading=whole)
        for n in (12, 13)
    )
    kept = tuple(e for e in made["evidence"]() if e.id != "scan-9")
    entries = tuple(sorted((*kept, *scans), key=lambda e: e.time))
    answer = ask(case=made["case"](evidence=entries, files={"a.txt": "11"}))
    assert not any(COPY in m for m in answer["final-scan"].missing)


def test_only_a_named_reader_who_agreed_has_read_the_cautions(ask: Ask, made: Made) -> None:
    for more, is_open in (({}, False), ({"result": "failed"}, True), ({"by": "xxx"}, True)):
        said = signed("cautions", time=made["at"](14), **more)
        kept = tuple(e for e in made["evidence"]() if e.id != "p-3")
        case = made["case"](evidence=tuple(sorted((*kept, said), key=lambda e: e.time)))
        assert ask(case=case)["cautions-read"].open is is_open


def test_an_answer_needs_no_time_where_the_work_has_none(ask: Ask, made: Made) -> None:
    rows = (e for e in made["evidence"]() if e.id != "scan-9")
    timeless = tuple(msgspec.structs.replace(e, time=None) for e in rows)
    assert not ask(case=made["case"](evidence=timeless))["answerable"].open


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"by": "nobody"}, "'nobody' names nobody: did CASE release --by NAME"),
        ({"by": ""}, "nobody has recorded it since the last work, lamp check and scan"),
        ({"time": None}, "it has no time, the work has"),
        ({"result": "failed"}, "nobody has recorded it since the last work, lamp check and scan"),
    ],
)
def test_who_answers_for_the_car_is_named_in_time_and_says_yes(
    more: dict[str, Any], says: str, ask: Ask, made: Made
) -> None:
    rows = tuple(
        msgspec.structs.replace(e, **more) if e.id == "p-4" else e for e in made["evidence"]()
    )
    assert ask(case=made["case"](evidence=rows))["answerable"].missing == (says,)


def test_what_comes_in_after_the_answer_is_named_four_at_the_most(ask: Ask, made: Made) -> None:
    looks = [Look(id=f"l-{n}", component=BAG, seen="not-seen") for n in range(5)]
    (one,) = ask(case=last(made, looks[0]))["answerable"].missing
    assert one == "l-0 came in after somebody answered for it"
    (many,) = ask(case=last(made, *looks))["answerable"].missing
    assert many == "l-0, l-1, l-2, l-3 came in after somebody answered for it"


def test_nobody_can_answer_for_a_car_before_its_last_scan(ask: Ask, made: Made) -> None:
    """The lamp was checked before, the scan came after the answer."""
    hours = {"lamp-1": dt.datetime(2026, 3, 10, 11, 30), "p-4": dt.datetime(2026, 3, 10, 11, 45)}
    rows = (
        msgspec.structs.replace(e, time=hours[e.id]) if e.id in hours else e
        for e in made["evidence"]()
    )
    entries = tuple(sorted(rows, key=lambda e: e.time))
    says = "nobody has recorded it since the last work, lamp check and scan"
    assert ask(case=made["case"](evidence=entries))["answerable"].missing == (says,)


def test_a_signature_decides_an_undecided_reading_only_after_it_with_name_and_note(
    made: Made, catalog: Catalog
) -> None:
    """The later of reading and signature counts; passed and failed are both decisions."""
    read = Reading(
        id="r-1", component=f"{UNIT}/1", quantity="unit-supply", value=9.05, unit="V", u=0.05
    )
    said = signed("reading:r-1", id="s-1")

    def judge(*entries: Any) -> Verdict:
        case = made["case"](evidence=entries)
        found = {v.what: v for v in verdicts(case, made["work"](), catalog)}
        return found["reading:r-1"]

    bare = judge(read)
    assert bare.because
    met = judge(read, said)
    assert (met.outcome, met.decide) == ("met", "")
    assert met.because[0].evidence == ("s-1",)
    assert met.because[1:] == bare.because
    replace = msgspec.structs.replace
    for entries, outcome in (
        ((read, replace(said, result="failed")), "not met"),
        ((said, read), "undecided"),
        ((read, replace(said, by="nobody")), "undecided"),
        ((read, replace(said, note="")), "undecided"),
    ):
        assert judge(*entries).outcome == outcome


def test_a_signature_between_two_seat_trials_decides_nothing_of_the_second(
    made: Made, catalog: Catalog
) -> None:
    one, two = (
        SeatTrial(id=f"t-{n}", component=SEAT, applied_kg=30.0, read_kg=30.4) for n in (1, 2)
    )
    said = signed(f"seat-trials:{SEAT}")
    for entries, outcome in (((one, two, said), "met"), ((one, said, two), "undecided")):
        case = made["case"](evidence=entries)
        found = {v.what: v for v in verdicts(case, made["work"](), catalog)}
        assert found[f"seat-trials:{SEAT}"].outcome == outcome


def test_a_signature_decides_no_load(made: Made, catalog: Catalog) -> None:
    moves = [
        SubstituteLoad(id=m, serial="S9", loop=f"{BAG}/1", ohm=3.0, move=m)
        for m in ("issued", "returned")
    ]
    case = made["case"](evidence=(*moves, signed("load:S9")))
    found = {v.what: v for v in verdicts(case, made["work"](), catalog)}
    assert found["load:S9"].outcome == "undecided"


def test_a_lamp_check_leans_on_the_published_times(made: Made, catalog: Catalog) -> None:
    found = verdicts(made["case"](), made["work"](), catalog)
    (lamp,) = (v for v in found if v.what == "lamp-check")
    facts = [catalog.fact(f"lamp.{w}") for w in ("earliest-out", "latest-out", "stays-out")]
    assert [b.sources for b in lamp.because] == [(f.source,) for f in facts]
    told = [f"{f.value:g} {f.unit}" for f in facts]
    assert [b.text.partition(":")[0] for b in lamp.because] == told


def test_a_scan_is_told_by_its_name_and_one_that_is_not_there_without(
    made: Made, catalog: Catalog
) -> None:
    kept = tuple(e for e in made["evidence"]() if e.id != "scan-9")
    for evidence, text in (
        (made["evidence"](), "scan-9: complete, its tests have run, and it names no fault."),
        (kept, "No scan is recorded."),
    ):
        found = verdicts(made["case"](evidence=evidence), made["work"](), catalog)
        (scan,) = (v for v in found if v.what == "second-scan")
        assert scan.text == text
        assert (scan.origin.file is None) is (evidence is kept)


@pytest.mark.parametrize(
    ("left_in", "lost"),
    [
        ((), set()),
        ((BAG,), {f"reading:r-{BAG}", "lamp-check", "second-scan"}),
        ((SEAT,), {"lamp-check", "second-scan"}),
    ],
)
def test_a_load_left_in_unmakes_what_was_met_of_its_own_part_and_of_the_whole_car(
    left_in: tuple[str, ...], lost: set[str], made: Made, catalog: Catalog
) -> None:
    parts = (BAG, "passenger.front-bag")
    rows = [
        Reading(
            id=f"r-{part}",
            component=f"{part}/1",
            quantity="loop-resistance",
            value=2.1,
            unit="ohm",
            u=0.01,
            method="scan-live-value",
        )
        for part in parts
    ]
    kept = tuple(e for e in made["evidence"]() if e.id not in ("ohm-1", "label-1"))
    case = made["case"](evidence=(*kept, *rows))
    states = made["assessment"](loads_left_in=left_in)
    found = {v.what: v for v in verdicts(case, made["work"](), catalog, states)}
    asked = {*(f"reading:r-{p}" for p in parts), "lamp-check", "second-scan"}
    assert {w for w in asked if found[w].outcome == "not met"} == lost
    for word in lost:
        assert f"a load is left in {left_in[0]}." in found[word].text
        assert found[word].decide.startswith("Take the load out with the power off")


def test_what_is_undecided_stays_so_beside_a_load_left_in(made: Made, catalog: Catalog) -> None:
    check = LampCheck(id="l", lit=True, out_after_s=None, stayed_out=True)
    states = made["assessment"](loads_left_in=(BAG,))
    found = verdicts(made["case"](evidence=(check,)), made["work"](), catalog, states)
    assert [v.outcome for v in found if v.what == "lamp-check"] == ["undecided"]


@pytest.mark.parametrize(
    ("step", "done", "open_ones"),
    [
        ("step:lamp-check", False, {"lamp-check"}),
        ("step:final-scan", False, {"second-scan"}),
        ("step:lamp-check", True, set()),
        ("step:final-scan", True, set()),
        ("step:clear", False, set()),
    ],
)
def test_a_check_is_undecided_while_its_own_step_is_open(
    step: str, done: bool, open_ones: set[str], made: Made, catalog: Catalog
) -> None:
    item = made["item"](step, None, "do", done=done)
    found = verdicts(made["case"](), made["work"](item), catalog)
    both = [v for v in found if v.what in ("lamp-check", "second-scan")]
    assert {v.what for v in both if v.outcome == "undecided"} == open_ones
    assert {v.what for v in both if "still open" in v.text} == open_ones


def test_a_check_that_is_not_met_stays_so_while_its_step_is_open(
    made: Made, catalog: Catalog
) -> None:
    item = made["item"]("step:lamp-check", None, "do", done=False)
    dark = LampCheck(id="l", lit=False)
    found = verdicts(made["case"](evidence=(dark,)), made["work"](item), catalog)
    (lamp,) = (v for v in found if v.what == "lamp-check")
    assert (lamp.outcome, "still open" in lamp.text) == ("not met", False)


def test_a_scan_that_was_decided_by_name_says_by_whom_and_one_that_was_not_leans_on_its_volts(
    made: Made, catalog: Catalog
) -> None:
    def scan(**told: Any) -> Verdict:
        reading = ReadReport(coverage=Coverage(complete=True, **told))
        report = Report(id="s", when="after-repair", reading=reading)
        case = made["case"](evidence=(report,))
        return next(v for v in verdicts(case, made["work"](), catalog) if v.what == "second-scan")

    volts = {f"{catalog.fact(f'unit-volts.{end}').value:g} V" for end in ("low", "high")}
    with_volts = scan(unit_volts=12.5).because
    assert {b.text.partition(":")[0] for b in with_volts} == volts
    assert {b.evidence for b in with_volts} == {("s",)}
    assert scan(able=True).because == ()


def test_at_most_two_remedies_are_told_for_one_check(made: Made, catalog: Catalog) -> None:
    """The first two of what keeps it from being met; the text names every one."""
    check = LampCheck(id="l", lit=True, out_after_s=None, stayed_out=None)
    work = DoneWork(id="d", what="replaced", component=BAG)
    case = made["case"](evidence=(check, work))
    (lamp,) = (v for v in verdicts(case, made["work"](), catalog) if v.what == "lamp-check")
    assert lamp.text.count(". ") >= 2
    assert "Watch it for half a minute" not in lamp.decide
