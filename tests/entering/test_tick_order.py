"""What stands in the way of a tick, told as it is."""

import datetime as dt
import functools
from typing import Any

import msgspec
import pytest

from squibwise import case as line
from squibwise.catalog.load import load_catalog
from squibwise.catalog.screens import say
from squibwise.entering.tick_before import find_missing
from squibwise.entering.tick_order import Tick, list_due_again, refuse_obstacles
from squibwise.entering.tick_seat import tell_unweighed
from squibwise.entering.tick_times import tell_later_looks
from squibwise.entering.tick_visit import expand_visit, tell_doubts, tell_unsaved
from squibwise.entering.ticking import entries_for, word_entries
from squibwise.errors import InputError
from squibwise.history.order import read_history
from squibwise.model.evidence import SeatTrial
from squibwise.model.work import Minutes, Operation

CATALOG = load_catalog()
DAY = dt.datetime(2026, 6, 5, 8)
KEY_ON, OFF, WAITED = "step:save-codes", "step:power-down", "step:make-safe"


def told_at(ticked: tuple[str, ...], *passed: str) -> str:
    """Return what is told of operations that are ticked after steps that were passed in order."""
    steps: list[dict[str, Any]] = [
        {"kind": "passed", "what": what, "result": "passed", "by": "R",
         "time": DAY + dt.timedelta(hours=n)}
        for n, what in enumerate(passed)
    ]  # fmt: skip
    code = {"kind": "look", "component": "driver.front-bag", "seen": "deployed"}
    tables = {
        "case": {"id": "x", "region": "US-OH"},
        "car": {"model_year": 2019},
        "evidence": [code, *steps],
    }
    case = line.make_case(tables, CATALOG)
    todo = line.overview(case, CATALOG).todo
    at = DAY + dt.timedelta(hours=len(passed))
    tick = Tick(todo=todo, chosen=frozenset(ticked), catalog=CATALOG, evidence=case.evidence, at=at)
    with pytest.raises(InputError) as refused:
        refuse_obstacles(tick)
    return f"{refused.value} {refused.value.remedy}"


OPEN = "open:console"


def test_hands_that_come_before_the_wait_is_over_are_told_of_the_wait() -> None:
    told = told_at((OPEN,), KEY_ON, OFF)
    assert "the power is off, and the wait is not signed as over" in told
    assert "switched on" not in told
    assert "once more" not in told


def test_a_wait_that_is_due_again_is_not_ticked_with_its_power_down() -> None:
    """The power came on after the car was made safe: off again, then the whole wait."""
    told = told_at((OFF, WAITED), OFF, WAITED, KEY_ON)
    assert "not in one stroke" in told


@pytest.mark.parametrize("step", ["step:first-power", "step:return-loads"])
def test_power_on_loads_and_loads_counted_back_come_after_the_loads_went_in(step: str) -> None:
    assert "squibwise did CASE 55 --ohm OHM" in told_at((step,), KEY_ON, OFF, WAITED)


@pytest.mark.parametrize(
    "step",
    ["step:move-steering", "step:second-scan", "set:program", "step:clear"],
)
def test_what_needs_the_key_on_comes_after_the_power_is_on(step: str) -> None:
    told = told_at((step,), KEY_ON, OFF, WAITED)
    assert "comes after no." in told
    assert f"squibwise did CASE {81 if step == 'step:clear' else 61} --safe" in told


def test_no_command_that_is_proposed_goes_over_a_change_of_power() -> None:
    """Fitting, with the power off, and turning the wheel, with it on, are two strokes."""
    told = told_at(("step:move-steering",), KEY_ON, OFF, WAITED)
    case = next(line for line in told.splitlines() if line.startswith("squibwise did CASE 61"))
    after = told.splitlines()[told.splitlines().index(case) + 1 :]
    assert case == "squibwise did CASE 61 --safe"
    assert after == ["squibwise did CASE 64"]


BARRIER = "door-left.vapour-barrier"
IN_REACH = ("step:arrival-record", OFF, WAITED, "open:door-left")


@functools.cache
def door_job(seen: str, *passed: str) -> tuple[Any, tuple[Any, ...]]:
    """Return the work on a car struck at the left door whose barrier looks so, and its evidence."""
    tables = {
        "case": {"id": "x", "region": "US-OH"},
        "car": {"model_year": 2019},
        "evidence": [
            {"kind": "impact", "zone": "door-left", "extent": "severe"},
            {"kind": "look", "component": "left.curtain", "seen": "deployed"},
            {"kind": "look", "component": BARRIER, "seen": seen},
            *(
                {"kind": "passed", "what": w, "result": "passed", "by": "R"}
                for w in (*IN_REACH, *passed)
            ),
        ],
    }
    case = line.make_case(tables, CATALOG)
    return line.overview(case, CATALOG).todo, case.evidence


@pytest.mark.parametrize("word", ["damaged", "plug-missing"])
def test_a_part_that_was_seen_hurt_is_no_pass_by_the_tick_of_its_area(word: str) -> None:
    todo, evidence = door_job(word)
    door = next(o for o in todo.operations if o.id == "look:door-left")
    entries = entries_for(todo, (door.n,), CATALOG, {"by": "R"}, failed=False, evidence=evidence)
    written = [str(e["what"]) for e in entries]
    assert f"{BARRIER}:inspect" not in written
    ticked, _ = door_job(word, *written, "look:door-left")
    before, after = ([o for o in t.orders if BARRIER in o.contains] for t in (todo, ticked))
    assert [o.kind for o in before] == [o.kind for o in after]
    assert before, "it is on the list"


DOOR = ("open:door-left", "close:door-left")


def test_a_closed_area_is_opened_and_closed_once_more_for_a_part_found_late() -> None:
    def is_done(*passed: str) -> list[bool]:
        todo, _ = door_job("damaged", *passed)
        return [o.done for w in DOOR for o in todo.operations if o.id == w]

    assert is_done() == [True, False]
    assert is_done("close:door-left") == [False, False]
    assert is_done("close:door-left", "open:door-left") == [True, False]


def test_the_wait_alone_is_due_again_once_the_power_is_off_again() -> None:
    _, on = door_job("damaged", "step:final-power")
    _, off = door_job("damaged", "step:final-power", OFF)
    _, safe = door_job("damaged", "step:final-power", OFF, WAITED)
    assert [list_due_again(e, CATALOG) for e in (on, off, safe)] == [{OFF, WAITED}, {WAITED}, set()]


# Practice known-load-practice: a load of 2.0 to 2.2 ohm stands for an igniter; the ends are ours.
@pytest.mark.parametrize(("ohm", "is_load"), [(1.2, False), (2.0, True), (2.2, True), (2.3, False)])
def test_a_load_that_measures_what_no_igniter_does_is_not_fitted(ohm: float, is_load: bool) -> None:
    todo, evidence = door_job("damaged")
    tick = Tick(
        todo=todo, chosen=frozenset(), catalog=CATALOG, evidence=evidence,
        loaded=("driver.front-bag/1",), ohm=ohm,
    )  # fmt: skip
    if is_load:
        refuse_obstacles(tick)
        return
    with pytest.raises(InputError, match=f"2 to 2.2 ohm; {ohm} ohm is none"):
        refuse_obstacles(tick)


WELD, HEAT_OUT, AFTER_HEAT = "step:structure", "step:heat-out", "comes after no[.] 41"


def welding(note: str, *passed: str) -> None:
    """Sign the structure of the car struck at its door, by its number."""
    todo, evidence = door_job("damaged", *passed)
    chosen = frozenset({WELD})
    tick = Tick(
        todo=todo, chosen=chosen, catalog=CATALOG, evidence=evidence, safe=True, note=note
    )  # fmt: skip
    refuse_obstacles(tick)


# Common practice, no source: near weld, heat or hammer unplugged, taken out, unit connector
# apart; with power off alone for everything else.
def test_nobody_welds_while_anything_live_is_near() -> None:
    with pytest.raises(InputError, match=AFTER_HEAT) as refused:
        welding("")
    assert "--note 'no heat used'" in str(refused.value)
    assert "did CASE 41,128,324\nsquibwise did CASE 42 --safe" in str(refused.value.remedy)
    with pytest.raises(InputError, match=AFTER_HEAT):
        welding("checked by the body shop")
    for note in ("no heat used", "keine Hitze, nur gerichtet", "sin soldadura"):
        welding(note)
    welding("", HEAT_OUT)


def test_a_page_tells_where_to_say_that_no_heat_came_near() -> None:
    with pytest.raises(InputError) as refused:
        welding("")
    told = str(refused.value).splitlines()[1]
    assert say(told, "en").endswith("decide 42 in its own box, with the note: no heat used.")
    for language in ("de", "es"):
        assert "42" in say(told, language)
        assert "heat" not in say(told, language)


def test_what_fired_is_out_before_anything_is_called_out_of_the_heat() -> None:
    todo, evidence = door_job("damaged")
    chosen = frozenset({HEAT_OUT})
    with pytest.raises(InputError, match="Take out, bag and label"):
        refuse_obstacles(Tick(todo=todo, chosen=chosen, catalog=CATALOG, evidence=evidence))


def test_a_gate_signed_by_its_word_comes_no_earlier_than_by_its_number() -> None:
    todo, _ = door_job("damaged")

    def sign(note: str) -> tuple[Any, ...]:
        words = ("structure-sound",)
        return word_entries(words, todo, CATALOG, {}, failed=False, safe=True, note=note)

    with pytest.raises(InputError, match=AFTER_HEAT):
        sign("")
    assert [e["what"] for e in sign("no heat used")] == ["structure-sound"]


def test_what_came_out_of_the_heat_is_back_before_any_power() -> None:
    todo, _ = door_job("damaged", HEAT_OUT, "structure-sound")
    chosen = frozenset({"step:final-power"})
    missing = find_missing(todo, chosen)
    assert [o.n for first in missing.values() for o in first if o.id == "step:heat-back"] == [52]


def test_a_look_that_may_well_fail_is_not_passed_among_the_others_of_a_visit() -> None:
    todo, evidence = door_job("not-seen")
    number = next(o.n for o in todo.operations if o.id == "look:door-left")
    chance = next(d.needed for d in todo.items if d.id == f"{BARRIER}:replace")
    assert chance >= CATALOG.fact("require.look-alone-from").number()
    visit = next(n for n, v in enumerate(todo.visits, 1) if v.id == "strip")
    stroke = expand_visit(["visit", str(visit)], todo, CATALOG, evidence)
    assert expand_visit([f"visit {visit}"], todo, CATALOG, evidence) == stroke
    assert str(number) not in stroke.words
    told = " ".join(stroke.told)
    assert f"{chance:.0%} to be replaced" in told.partition(f"no. {number} (")[2]
    assert f"{chance:.0%}" in " ".join(tell_doubts((number,), todo, CATALOG))


# Common practice, no source: where heat came near is known by whoever saw the body work, so it is
# said by itself; a stroke over the visit ends there.
def test_what_is_live_is_not_called_out_of_the_heat_in_passing() -> None:
    todo, evidence = door_job("damaged")
    body = next(o for o in todo.operations if o.id == HEAT_OUT)
    door = next(o for o in todo.operations if o.id == "out:side-sensor@door-left")

    def strike(*operations: Any) -> Any:
        area = msgspec.structs.replace(todo.visits[2].areas[0], operations=operations)
        visit = msgspec.structs.replace(todo.visits[2], areas=(area,))
        bare = msgspec.structs.replace(todo, visits=(visit,))
        return expand_visit(["visit", "1"], bare, CATALOG, evidence)

    stroke = strike(door, body)
    assert stroke.words == [str(door.n)]
    assert f"did CASE {body.n}, once it is all out; where no heat comes near" in stroke.then
    assert "did CASE 42 --safe --note 'no heat used'" in stroke.then
    with pytest.raises(InputError, match=f"comes to no. {body.n}, which is done on its own"):
        strike(body)


def test_a_part_in_doubt_is_named_by_the_look_that_decides_it() -> None:
    todo, evidence = door_job("damaged")
    chosen = frozenset({"step:order-closed"})
    unsure = [o for o in todo.orders if o.kind == "look-first" and o.p >= 0.5 and not o.done]
    belt = next(o for o in unsure if "driver.retractor-pretensioner" in o.contains)
    assert "retractor" in belt.settled_by
    with pytest.raises(InputError) as refused:
        refuse_obstacles(Tick(todo=todo, chosen=chosen, catalog=CATALOG, evidence=evidence))
    told = str(refused.value)
    assert "saw CASE driver.retractor-pretensioner WORD" in told
    assert "saw CASE driver.belt-webbing WORD" not in told
    assert "seat frame later" not in told


# Common practice, no source: codes are cleared after all settings, and the lamp shows what is left.
def test_the_lamp_is_watched_after_the_codes_are_cleared() -> None:
    todo, _ = door_job("damaged")
    missing = find_missing(todo, frozenset(), frozenset({"step:lamp-check"}))
    first = {o.id for found in missing.values() for o in found}
    assert first >= {"step:clear", "set:seat-zero", "step:final-power"}
    cleared = find_missing(todo, frozenset({"step:clear"}))
    assert "step:lamp-check" not in {o.id for found in cleared.values() for o in found}


def test_a_look_that_is_dated_after_the_new_part_it_speaks_against_is_told() -> None:
    """Work is entered for days ago, and the look got the hour of its typing."""
    look = {"kind": "look", "component": "left.curtain", "seen": "deployed", "time": DAY}
    tables = {"case": {"id": "x", "region": "US-OH"}, "evidence": [look]}
    history = read_history(line.make_case(tables, CATALOG).evidence)
    done = {"kind": "done", "what": "replaced", "component": "left.curtain"}

    def told(hours: int) -> str:
        entry = {**done, "time": DAY + dt.timedelta(hours=hours)}
        return " ".join(tell_later_looks([entry], history, CATALOG))

    assert "saw the left curtain airbag bad at 2026-06-05 08:00, later than this work" in told(-1)
    assert told(1) == ""


def test_the_memory_is_cleared_once_every_part_is_fitted() -> None:
    todo, _ = door_job("damaged")
    left = {o.id for o in todo.operations if o.action == "fit" and o.counted and not o.done}
    assert left
    missing = find_missing(todo, frozenset({"step:clear"}))
    assert left <= {o.id for found in missing.values() for o in found}
    fitted = find_missing(todo, frozenset({"step:clear"}), frozenset(left))
    cleared = next(o for o in todo.operations if o.id == "step:clear")
    assert left.isdisjoint(o.id for o in fitted.get(cleared, ()))


def test_a_likely_part_in_the_way_is_named_with_the_look_that_may_take_it_away() -> None:
    """Nobody is told to tick as fitted what an eye may find whole."""
    todo, evidence = door_job("damaged")
    chosen = frozenset({"step:clear"})
    belt = next(o for o in todo.operations if o.id == "fit:front-belt@driver")
    with pytest.raises(InputError) as refused:
        refuse_obstacles(Tick(todo=todo, chosen=chosen, catalog=CATALOG, evidence=evidence))
    told = next(line for line in str(refused.value).splitlines() if f"no. {belt.n} is" in line)
    assert f"is likely needed ({belt.p:.0%}): fit it, or look" in told
    assert "saw CASE driver.retractor-pretensioner WORD" in told


def test_what_is_lost_with_the_power_and_was_not_saved_is_told() -> None:
    todo, _ = door_job("damaged")
    assert "no. 11 (save the codes), no. 12" in " ".join(tell_unsaved((21,), todo))
    assert not tell_unsaved((22,), todo)
    assert not tell_unsaved((2, 11, 12, 13, 21), todo)


def test_what_a_seat_read_under_a_weight_is_said_with_its_tick() -> None:
    todo, evidence = door_job("damaged")
    one = next(o for o in todo.operations if o.id == "step:drive")
    weigh = msgspec.structs.replace(one, id="step:weigh-seat", n=88, after=(), blocked_by=())
    area = todo.visits[-1].areas[-1]
    visit = msgspec.structs.replace(
        todo.visits[-1], areas=(msgspec.structs.replace(area, operations=(weigh,)),)
    )
    alone = msgspec.structs.replace(todo, visits=(visit,))
    chosen = frozenset({weigh.id})
    with pytest.raises(InputError, match=r"no\. 88 is a measurement"):
        refuse_obstacles(Tick(todo=alone, chosen=chosen, catalog=CATALOG, evidence=evidence))
    with pytest.raises(InputError, match=r"no\. 88 is a measurement"):
        refuse_obstacles(
            Tick(todo=alone, chosen=chosen, catalog=CATALOG, evidence=evidence, note="all done")
        )
    said = "20 kg laid on, 20.3 read"
    refuse_obstacles(Tick(todo=alone, chosen=chosen, catalog=CATALOG, evidence=evidence, note=said))
    with pytest.raises(InputError, match=r"comes to no\. 88, which is done on its own"):
        expand_visit(["visit", "1"], alone, CATALOG, evidence)


def test_a_seat_is_not_set_to_zero_in_passing() -> None:
    zero = Operation(
        n=87, id="set:seat-zero", action="set", title="zero", kind="certain",
        demands=(f"{SEAT}:calibrate",), minutes=Minutes(low=1, likely=1, high=1),
    )  # fmt: skip
    clear = msgspec.structs.replace(zero, id="set:camera", n=89, demands=("windshield:calibrate",))

    def told(*ticked: Operation, note: str = "", trials: tuple[SeatTrial, ...] = ()) -> str:
        return " ".join(tell_unweighed(ticked, note, read_history(trials), CATALOG))

    assert "no. 87 is a measurement" in told(zero, clear)
    assert "what the unit answered" in told(zero)
    assert told(zero, clear, note="done")
    assert not told(zero, note="unit answers: zero set")
    assert not told(zero, trials=(SeatTrial(id="t", component=SEAT, applied_kg=0.0, read_kg=0.1),))
    assert not told(msgspec.structs.replace(zero, done=True), clear)


SEAT = "passenger.occupant-sensor"


# A unit that was bolted down before it was fitted is bolted anew, behind its opening: what was
# closed over it had to be opened again, round after round.
def test_nothing_is_closed_over_a_unit_that_is_not_bolted_down() -> None:
    before = ("step:arrival-record", KEY_ON, OFF, WAITED)
    done = [
        {"kind": "passed", "what": w, "result": "passed", "by": "R", "time": DAY} for w in before
    ]
    tables = {
        "case": {"id": "x", "region": "US-OH"},
        "car": {"model_year": 2019},
        "evidence": [
            {"kind": "look", "component": "driver.front-bag", "seen": "deployed"},
            {"kind": "look", "component": "passenger.front-bag", "seen": "deployed"},
            {"kind": "look", "component": "centre.control-unit", "seen": "damaged"},
            *done,
        ],
    }
    todo = line.overview(line.make_case(tables, CATALOG), CATALOG).todo
    bolted = next(o for o in todo.operations if o.id == "step:unit-bolted")
    closed = next(o for o in todo.operations if bolted.id in o.after)  # the new panel
    chosen = frozenset((closed.id,))
    assert bolted in find_missing(todo, chosen)[closed]
    signed = [msgspec.structs.replace(o, done=o.id == bolted.id or o.done) for o in todo.operations]
    fitted = next(o for o in todo.operations if o.id in bolted.after and o.action == "fit")
    by_id = {o.id: o for o in signed}
    visits = [
        msgspec.structs.replace(
            v,
            areas=tuple(
                msgspec.structs.replace(a, operations=tuple(by_id[o.id] for o in a.operations))
                for a in v.areas
            ),
        )
        for v in todo.visits
    ]
    early = msgspec.structs.replace(todo, visits=tuple(visits))
    missing = find_missing(early, chosen | {fitted.id})
    assert bolted.id in {o.id for o in missing[by_id[closed.id]]}, "signed before it was fitted"


# Between the two powers of the long way: loads are out, airbags go in, the key stays off.
@pytest.mark.parametrize("step", ["step:move-steering", "step:second-scan"])
def test_what_needs_the_key_on_waits_while_the_power_is_off_again(step: str) -> None:
    before = (KEY_ON, OFF, WAITED, "step:first-power", "step:second-power-down")
    told = told_at((step,), *before, "step:second-make-safe", "step:return-loads")
    assert "the power is off; it was taken away since it was on" in told


def test_every_line_of_a_list_is_a_word_that_a_case_file_may_hold() -> None:
    """What a tick writes is read back: a line that no file may hold could never be ticked."""
    bags = ("driver.front-bag", "passenger.front-bag", "driver.knee-bag", "left.curtain")
    looks = [{"kind": "look", "component": c, "seen": "deployed"} for c in bags]
    looks.append({"kind": "look", "component": "centre.control-unit", "seen": "damaged"})
    looks.append({"kind": "impact", "zone": "door-left", "extent": "severe"})
    car = {"model_year": 2019, "equipment": "full-modern-set"}
    tables = {"case": {"id": "x", "region": "US-OH"}, "car": car, "evidence": looks}
    todo = line.overview(line.make_case(tables, CATALOG), CATALOG).todo
    words = [o.id for o in todo.operations if o.action in ("open", "join", "close", "do", "look")]
    assert "join:loaded" in words
    passed = [{"kind": "passed", "what": w, "result": "passed", "by": "R"} for w in words]
    again = line.make_case({**tables, "evidence": [*looks, *passed]}, CATALOG)
    assert [f.message for f in again.findings if f.code == "case-unknown-item"] == []
