"""Each gate opens by one lack and says what is missing."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.model.belief import StateBelief
from squibwise.model.car import Profile
from squibwise.model.evidence import (
    DoneWork,
    Look,
    Passed,
    SeatTrial,
    SubstituteLoad,
)
from squibwise.model.origin import Finding
from squibwise.model.proof import Gate, Verdict
from squibwise.model.report import CodeLine, Coverage, ReadReport, Report, Unread
from squibwise.model.work import Area, Operation, Visit
from squibwise.prove import verdicts as judge
from squibwise.prove.gates import QUESTIONS
from squibwise.prove.handed_over import DISPOSAL

Made = dict[str, Any]


Ask = Callable[..., dict[str, Gate]]


def open_words(answer: dict[str, Gate]) -> list[str]:
    return [word for word, gate in answer.items() if gate.open]


def test_every_gate_of_the_catalogue_is_asked_in_its_order(catalog: Catalog) -> None:
    assert tuple(QUESTIONS) == tuple(catalog.release_gates)


def test_a_finished_car_has_no_open_gate(ask: Ask) -> None:
    answer = ask()
    assert open_words(answer) == []
    assert all(gate.remedy == "" and gate.missing == () for gate in answer.values())


def test_a_car_of_which_nothing_is_recorded_is_not_released(ask: Ask, made: Made) -> None:
    answer = ask(case=made["case"](evidence=(), profile=Profile()))
    assert set(open_words(answer)) == {
        "maker-procedure",
        "lamp-check",
        "final-scan",
        "cautions-read",
        "answerable",
    }


def without(made: Made, *ids: str) -> Any:
    return made["case"](evidence=tuple(e for e in made["evidence"]() if e.id not in ids))


def with_changed(made: Made, id_: str, **changes: Any) -> Any:
    rows = (msgspec.structs.replace(e, **changes) if e.id == id_ else e for e in made["evidence"]())
    return made["case"](evidence=tuple(rows))


def with_later(made: Made, *later: Any) -> Any:
    return made["case"](evidence=made["evidence"]() + later)


@pytest.mark.parametrize(
    ("missing", "gate", "says"),
    [
        (
            "load-2",
            "loads-returned",
            "Load S1: issued to driver.front-bag/1 and not returned. "
            "Take it out with the power off and record it as returned.",
        ),
        ("label-1", "provenance", "driver.front-bag: no part label recorded"),
        (
            "p-2",
            "disposal",
            "driver.front-bag: no hand-over is signed since the old one came out. "
            'Say who took it: did CASE disposal --note "WHO, RECEIPT".',
        ),
        ("lamp-1", "lamp-check", "no lamp check recorded"),
        ("scan-9", "final-scan", "no scan recorded"),
        ("p-3", "cautions-read", "nobody has recorded it"),
        ("p-4", "answerable", "nobody has recorded it since the last work, lamp check and scan"),
    ],
)
def test_what_is_not_recorded_opens_its_gate_alone(
    ask: Ask, made: Made, missing: str, gate: str, says: str
) -> None:
    answer = ask(case=without(made, missing))
    assert open_words(answer) == [gate]
    assert answer[gate].missing == (says,)
    assert answer[gate].remedy


@pytest.mark.parametrize(
    ("id_", "changes", "gate", "says"),
    [
        ("label-1", {"number": ""}, "provenance", "the part number is not written down"),
        ("label-1", {"provenance": "unknown"}, "provenance", "unknown origin"),
        ("label-1", {"donor_vin": None}, "provenance", "its donor is not named"),
        ("label-1", {"recall_checked": None}, "recalls", "9Z-1147-A"),
        ("label-1", {"recall_checked": False}, "recalls", "9Z-1147-A"),
        ("lamp-1", {"lit": False}, "lamp-check", "did not light"),
        ("lamp-1", {"out_after_s": None}, "lamp-check", "When the lamp went out"),
        ("lamp-1", {"stayed_out": None}, "lamp-check", "whether the lamp stayed out"),
        ("p-1", {"result": "failed"}, "failed-checks", "driver.belt-webbing:inspect: failed"),
        ("p-3", {"by": None}, "cautions-read", "nobody"),
        ("p-4", {"by": ""}, "answerable", "nobody"),
        ("p-4", {"time": dt.datetime(2026, 3, 10, 12, 30)}, "answerable", "lamp check and scan"),
    ],
)
def test_what_is_recorded_badly_opens_its_gate(
    ask: Ask, made: Made, id_: str, changes: dict[str, Any], gate: str, says: str
) -> None:
    answer = ask(case=with_changed(made, id_, **changes))
    assert open_words(answer) == [gate]
    assert says in answer[gate].missing[0]


LINE = CodeLine(line=3, raw="B0001-1B open", status=("present",), fault="open-or-high")


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        (ReadReport(coverage=Coverage(complete=None)), "not stated that all circuits were read"),
        (ReadReport(coverage=Coverage(complete=True, able=False)), "not able to test"),
        (
            ReadReport(coverage=Coverage(complete=True, not_tested=("driver.front-bag",))),
            "Tests not completed: driver.front-bag",
        ),
        (ReadReport(lines=(LINE,), coverage=Coverage(complete=True)), "It still names"),
        (
            ReadReport(unread=(Unread(line=2, raw="?"),), coverage=Coverage(complete=True)),
            "Not understood: line 2",
        ),
    ],
)
def test_the_last_scan_must_be_complete_tested_and_free_of_faults(
    ask: Ask, made: Made, reading: ReadReport, says: str
) -> None:
    answer = ask(case=with_changed(made, "scan-9", reading=reading))
    assert open_words(answer) == ["final-scan"]
    assert says in answer["final-scan"].missing[0]


def test_a_code_that_was_cleared_is_no_fault(ask: Ask, made: Made) -> None:
    cleared = msgspec.structs.replace(LINE, status=("cleared",))
    reading = ReadReport(lines=(cleared,), coverage=Coverage(complete=True))
    assert open_words(ask(case=with_changed(made, "scan-9", reading=reading))) == []


def test_unread_lines_may_be_answered_for_by_name(ask: Ask, made: Made) -> None:
    reading = ReadReport(unread=(Unread(line=2, raw="?"),), coverage=Coverage(complete=True))
    case = with_changed(made, "scan-9", reading=reading)
    passed = Passed(
        id="p-9", what="final-scan", result="passed", by="R. Own", note="line 2 is a footer"
    )
    assert (
        open_words(ask(case=msgspec.structs.replace(case, evidence=(*case.evidence, passed)))) == []
    )


def test_work_after_the_proof_opens_the_proof_again(ask: Ask, made: Made) -> None:
    late = DoneWork(id="done-9", time=made["at"](20), what="reseated", component="driver.front-bag")
    answer = open_words(ask(case=with_later(made, late)))
    assert set(answer) == {"answerable", "lamp-check", "final-scan"}


def test_a_load_issued_after_the_scan_opens_it_again_even_when_returned(
    ask: Ask, made: Made
) -> None:
    out = SubstituteLoad(id="l-8", serial="S2", loop="driver.front-bag/1", move="issued")
    back = SubstituteLoad(id="l-9", serial="S2", loop="driver.front-bag/1", move="returned")
    assert open_words(ask(case=with_later(made, out, back))) == [
        "loads-returned",  # its resistance is not written down
        "lamp-check",
        "final-scan",
        "answerable",
    ]


def test_two_loads_are_told_apart_by_their_marks(ask: Ask, made: Made) -> None:
    out = SubstituteLoad(id="l-8", serial="S2", loop="driver.front-bag/2", move="issued")
    (missing,) = ask(case=with_later(made, out))["loads-returned"].missing
    assert "Load S2: issued to driver.front-bag/2 and not returned." in missing


@pytest.mark.parametrize("component", ["passenger.seat-bag", "passenger.occupant-sensor"])
def test_seat_sensing_is_calibrated_after_the_last_seat_work(
    ask: Ask, made: Made, component: str
) -> None:
    work = DoneWork(id="done-2", what="reseated", component=component)
    before = made["evidence"]()[:3]
    rest = made["evidence"]()[3:]
    trial = SeatTrial(
        id="t-1", component="passenger.occupant-sensor", applied_kg=30.0, read_kg=30.4
    )
    passed = Passed(id="t-2", what="passenger.occupant-sensor:calibrate", result="passed", by="R")
    assert open_words(ask(case=made["case"](evidence=(*before, work, *rest)))) == [
        "seat-after-work"
    ]
    assert open_words(ask(case=made["case"](evidence=(*before, trial, work, *rest)))) == [
        "seat-after-work"
    ]
    compared = Passed(
        id="t-3",
        what="seat-trials:passenger.occupant-sensor",
        result="passed",
        by="R",
        note="own invented manual, page 7",
    )
    one = made["case"](evidence=(*before, work, trial, *rest))  # one loading proves little
    assert open_words(ask(case=one)) == ["seat-after-work"]
    assert open_words(ask(case=made["case"](evidence=(*one.evidence, compared)))) == []
    assert open_words(ask(case=made["case"](evidence=(*before, work, passed, *rest)))) == []


def test_work_on_the_battery_is_no_seat_work(ask: Ask, made: Made) -> None:
    work = DoneWork(id="done-0", what="disconnected", component="battery")
    assert open_words(ask(case=made["case"](evidence=(work, *made["evidence"]())))) == []


@pytest.mark.parametrize(
    ("action", "gate"),
    [
        ("replace", "replacements"),
        ("inspect", "inspections"),
        ("calibrate", "calibrations"),
        ("trace", "faults"),
        ("do", "steps"),
    ],
)
def test_open_work_opens_the_gate_of_its_kind(ask: Ask, made: Made, action: str, gate: str) -> None:
    item = made["item"]("left.curtain:x", "left.curtain", action, done=False, title="Left curtain")
    answer = ask(work=made["work"](item))
    assert open_words(answer) == [gate]
    assert answer[gate].missing == ("Left curtain (left.curtain:x)",)


@pytest.mark.parametrize("changes", [{"strict": "advice"}, {"probability": 0.01}])
def test_advice_and_ruled_out_work_open_no_gate(
    ask: Ask, made: Made, changes: dict[str, Any]
) -> None:
    item = made["item"]("left.curtain:x", "left.curtain", "replace", done=False, **changes)
    assert open_words(ask(work=made["work"](item))) == []


@pytest.mark.parametrize("outcome", ["not met", "undecided"])
def test_a_verdict_that_is_not_met_opens_its_gate(ask: Ask, outcome: Any) -> None:
    verdict = Verdict(what="loop", outcome=outcome, text="2.9 ohm", decide="measure again")
    answer = ask(verdicts=(verdict,))
    assert open_words(answer) == ["verdicts"]
    assert answer["verdicts"].missing == (f"loop: {outcome}. 2.9 ohm measure again",)


def test_broken_input_opens_a_gate(ask: Ask, made: Made) -> None:
    finding = Finding(code="x", severity="error", message="line cannot be used", remedy="Fix it.")
    answer = ask(case=made["case"](findings=(finding, finding)))
    assert answer["input-clean"].missing == ("input: line cannot be used Fix it.",)


def test_an_unknown_profile_asks_for_the_makers_procedure(ask: Ask, made: Made) -> None:
    case = made["case"](profile=Profile())
    assert open_words(ask(case=case)) == ["maker-procedure"]
    passed = Passed(
        id="m", what="maker-procedure", result="passed", note="own manual, page 4", by="R. Own"
    )
    named = msgspec.structs.replace(case, evidence=(passed, *case.evidence))
    assert open_words(ask(case=named)) == []
    nameless = msgspec.structs.replace(passed, note="")
    assert open_words(
        ask(case=msgspec.structs.replace(case, evidence=(nameless, *case.evidence)))
    ) == ["maker-procedure"]


def test_a_contradiction_is_closed_only_by_a_later_explanation_with_a_name(
    ask: Ask, made: Made
) -> None:
    row = made["Contradiction"](
        text="Torn, says the look; whole, says the listing.",
        evidence=("done-1",),
        remedy="Look again.",
    )
    states = made["assessment"](contradictions=(row,))
    assert open_words(ask(assessment=states)) == ["contradictions"]
    said = Passed(
        id="c",
        what="contradictions",
        result="passed",
        note="the listing is of another car",
        by="R. Own",
    )
    later = made["case"](evidence=(*made["evidence"](), said))
    earlier = made["case"](evidence=(said, *made["evidence"]()))
    assert open_words(ask(case=later, assessment=states)) == []
    assert open_words(ask(case=earlier, assessment=states)) == ["contradictions"]


def states_with(made: Made, component: str, now: str) -> Any:
    rows = made["assessment"]().components
    changed = tuple(
        made["belief"](component, now=made[now]) if c.id == component else c for c in rows
    )
    look = made["NextLook"](
        component=component,
        look="cover-torn",
        text="Look at the seam.",
        minutes=1,
        settles=0.4,
        saving=9.0,
    )
    return made["assessment"](components=changed, next_looks=(look,))


def test_a_doubtful_component_opens_the_gate_and_names_the_look(ask: Ask, made: Made) -> None:
    answer = ask(assessment=states_with(made, "passenger.front-bag", "DOUBT"))
    assert open_words(answer) == ["doubtful"]
    assert answer["doubtful"].missing == (
        "passenger front airbag (passenger.front-bag): 60% sound. Look at the seam.",
    )


def test_a_doubt_without_a_look_that_pays_names_what_an_inspection_looks_at(
    ask: Ask, made: Made, catalog: Catalog
) -> None:
    states = msgspec.structs.replace(
        states_with(made, "passenger.front-bag", "DOUBT"), next_looks=()
    )
    (missing,) = ask(assessment=states)["doubtful"].missing
    assert catalog.tasks.work["front-bag"].look in missing


def test_a_look_that_was_made_is_not_asked_for_again_where_a_circuit_is_in_doubt(
    ask: Ask, made: Made
) -> None:
    seen = Look(id="eye", component="passenger.front-bag", seen="intact")
    case = made["case"](evidence=(*made["evidence"](), seen))
    answer = ask(case=case, assessment=states_with(made, "passenger.front-bag", "DOUBT"))
    (missing,) = answer["doubtful"].missing
    assert "Look at the seam" not in missing
    assert "trace it" in missing


def test_an_inspection_that_passed_settles_a_doubt(ask: Ask, made: Made) -> None:
    assert open_words(ask(assessment=states_with(made, "driver.belt-webbing", "DOUBT"))) == []


def test_a_part_without_a_circuit_that_was_seen_whole_is_in_doubt_no_more(
    ask: Ask, made: Made
) -> None:
    """Common practice, no source: a look that was made closes the look that is asked for."""
    doubt = states_with(made, "driver.belt-webbing", "DOUBT")
    kept = tuple(e for e in made["evidence"]() if getattr(e, "what", "")[-8:] != ":inspect")
    todo = made["work"]()
    items = (
        msgspec.structs.replace(i, done=False) if i.component == "driver.belt-webbing" else i
        for i in todo.items
    )
    undone = msgspec.structs.replace(todo, items=tuple(items))
    unseen = made["case"](evidence=kept)
    assert "doubtful" in open_words(ask(case=unseen, assessment=doubt, work=undone))
    seen = Look(id="eye", component="driver.belt-webbing", seen="intact")
    looked = made["case"](evidence=(*kept, seen))
    assert "doubtful" not in open_words(ask(case=looked, assessment=doubt, work=undone))


def test_an_unsound_part_that_no_item_covers_opens_a_gate(ask: Ask, made: Made) -> None:
    answer = ask(assessment=states_with(made, "passenger.front-bag", "FIRED"))
    assert open_words(answer) == ["not-sound"]


def test_a_sensor_that_had_a_code_is_settled_by_its_look_and_a_clean_last_scan(
    ask: Ask, made: Made
) -> None:
    """Common practice, no source: an eye proves no sensor, a scan no mount; both together do."""
    sensor = "nose-left.impact-sensor"
    hurt = made["assessment"](components=(made["belief"](sensor, now=_HURT),))
    looked = Passed(id="eye", what=f"{sensor}:inspect", result="passed", by="R. Own")
    bent = Look(id="bent", component=sensor, seen="mount-bent")
    every = made["evidence"]()
    unread = tuple(e for e in every if not isinstance(e, Report))
    assert "not-sound" in open_words(ask(assessment=hurt))
    for evidence, is_open in (
        ((looked, *every), False),
        ((looked, *unread), True),
        ((looked, bent, *every), True),
    ):
        answer = ask(case=made["case"](evidence=evidence), assessment=hurt)
        assert ("not-sound" in open_words(answer)) == is_open


_HURT = StateBelief(sound=0.02, fired=0.0, faulty=0.0, damaged=0.98, unfit=0.0)


def test_a_replaced_part_that_reads_faulty_again_is_not_settled(ask: Ask, made: Made) -> None:
    answer = ask(assessment=states_with(made, "driver.front-bag", "FIRED"))
    assert open_words(answer) == ["not-sound"]


def test_a_failed_inspection_is_settled_by_a_later_replacement(ask: Ask, made: Made) -> None:
    failed = Passed(id="f-1", what="driver.front-bag:inspect", result="failed", by="R. Own")
    before = made["case"](evidence=(failed, *made["evidence"]()))
    after = made["case"](evidence=(*made["evidence"](), failed))
    assert open_words(ask(case=before)) == []
    assert open_words(ask(case=after)) == ["failed-checks"]


def test_a_refused_key_on_is_no_failed_check(ask: Ask, made: Made) -> None:
    refused = Passed(id="k-1", what="key-on-safe", result="failed", by="R. Own")
    assert open_words(ask(case=made["case"](evidence=(refused, *made["evidence"]())))) == []


@pytest.mark.parametrize(
    "word", ["disposal", "dispose", "step:dispose", "driver.front-bag:disposal"]
)
def test_disposal_is_recorded_by_the_step_or_by_the_part(ask: Ask, made: Made, word: str) -> None:
    assert open_words(ask(case=with_changed(made, "p-2", what=word))) == []


def test_a_load_left_in_keeps_the_car_from_release_and_nothing_is_met_beside_it(
    ask: Ask, made: Made, catalog: Catalog
) -> None:
    states = made["assessment"](loads_left_in=("driver.front-bag",))
    answer = ask(assessment=states)
    open_ones = ["loads-returned", "provenance", "recalls", "lamp-check", "final-scan"]
    assert open_words(answer) == open_ones
    found = judge(made["case"](), made["work"](), catalog, states)
    about = {v.what: v.outcome for v in found}
    assert about["label:driver.front-bag"] == "not met"
    assert about["lamp-check"] == "not met"
    assert about["second-scan"] == "not met"


@pytest.mark.parametrize("seen", ["damaged", "missing"])
def test_a_unit_seen_damaged_takes_back_the_signature_for_switching_on(
    ask: Ask, made: Made, seen: str
) -> None:
    look = Look(id="look-7", component="centre.control-unit", seen=seen)
    signed = Passed(id="k", what="key-on-safe", result="passed", by="R. Own")
    for pair in ((look, signed), (signed, look)):
        answer = ask(case=made["case"](evidence=(*pair, *made["evidence"]())))
        assert open_words(answer) == ["contradictions"]
        assert "key-on-safe may not stand signed" in answer["contradictions"].missing[0]
    whole = Look(id="look-8", component="centre.control-unit", seen="intact")
    assert (
        open_words(ask(case=made["case"](evidence=(look, signed, whole, *made["evidence"]()))))
        == []
    )


@pytest.mark.parametrize(
    ("limit", "off", "gate"),
    [
        ("release.sound-enough", 0.0, ""),
        ("release.sound-enough", -0.001, "doubtful"),
        ("release.surely-not", 0.001, "doubtful"),
        ("release.surely-not", 0.0, "not-sound"),
    ],
)
def test_a_part_stands_in_doubt_between_the_two_limits_and_not_on_them(
    limit: str, off: float, gate: str, ask: Ask, made: Made, catalog: Catalog
) -> None:
    """Own edge case: a part on the limit itself is on the settled side of it."""
    sound = catalog.fact(limit).number() + off
    now = StateBelief(sound=sound, fired=1.0 - sound, faulty=0.0, damaged=0.0, unfit=0.0)
    part = made["belief"]("driver.buckle-switch", now=now)
    found = open_words(ask(assessment=made["assessment"](components=(part,))))
    assert [g for g in found if g in ("doubtful", "not-sound")] == ([gate] if gate else [])


def test_a_warning_about_the_input_opens_nothing(ask: Ask, made: Made) -> None:
    for severity, opened in (("note", []), ("warning", []), ("error", ["input-clean"])):
        told = Finding(code="x", severity=severity, message="m")  # type: ignore[arg-type]
        assert open_words(ask(case=made["case"](findings=(told,)))) == opened


@pytest.mark.parametrize("component", ["driver.buckle-switch", "passenger.front-bag"])
def test_an_eye_settles_no_part_that_has_a_circuit(ask: Ask, made: Made, component: str) -> None:
    part = made["belief"](component, now=made["DOUBT"])
    doubt = made["assessment"](components=(part,))
    seen = Look(id="eye", component=component, seen="intact")
    looked = made["case"](evidence=(*made["evidence"](), seen))
    assert "doubtful" in open_words(ask(case=looked, assessment=doubt))


def test_a_calibration_settles_no_doubt_about_a_part(ask: Ask, made: Made) -> None:
    part = "passenger.front-bag"
    done = made["item"](f"{part}:calibrate", part, "calibrate", done=True)
    doubt = states_with(made, part, "DOUBT")
    assert "doubtful" in open_words(ask(assessment=doubt, work=made["work"](done)))


def test_what_came_out_may_be_handed_over_before_the_new_part_is_in(ask: Ask, made: Made) -> None:
    out = Operation(
        n=1, id="out:bag", action="out", title="Take out", components=("driver.front-bag",)
    )
    area = Area(area="wheel", phase="open", title="", operations=(out,))
    visit = Visit(id="strip", title="", power="off", areas=(area,))
    todo = msgspec.structs.replace(made["work"](), visits=(visit,))
    kept = tuple(e for e in made["evidence"]() if getattr(e, "what", "") not in DISPOSAL)
    for hours, opened in (((5, 6), []), ((6, 5), ["disposal"])):
        signed = [
            Passed(
                id=f"s-{what}", time=made["at"](hour), what=what, result="passed", by="R", note="n"
            )
            for hour, what in zip(hours, ("out:bag", "dispose"), strict=True)
        ]
        entries = tuple(sorted((*kept, *signed), key=lambda e: e.time))
        assert open_words(ask(case=made["case"](evidence=entries), work=todo)) == opened


@pytest.mark.parametrize(
    ("part", "is_asked"),
    [
        ("centre.control-unit", True),
        ("nose-left.impact-sensor", True),
        ("driver.knee-bag", True),
        ("driver.buckle-switch", False),
        ("centre.headliner", False),
    ],
)
def test_a_label_is_asked_of_what_fires_of_units_and_of_sensors(
    ask: Ask, made: Made, part: str, is_asked: bool
) -> None:
    done = DoneWork(id="d", time=made["at"](8), what="replaced", component=part, by="R")
    car = made["case"]().car
    car = msgspec.structs.replace(car, components=tuple(sorted({*car.components, part})))
    found = ask(case=made["case"](evidence=(done, *made["evidence"]()), car=car))
    assert found["provenance"].open is is_asked


def test_a_unit_seen_damaged_contradicts_only_what_was_signed(ask: Ask, made: Made) -> None:
    seen = Look(id="eye", time=made["at"](6), component="centre.control-unit", seen="damaged")
    signed = Passed(id="g", time=made["at"](6), what="key-on-safe", result="passed", by="R")
    for more, opened in (((seen,), False), ((seen, signed), True)):
        found = ask(case=made["case"](evidence=(*more, *made["evidence"]())))
        assert found["contradictions"].open is opened
