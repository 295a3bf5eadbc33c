"""What refuses a tick, tried on lists of a few lines made by hand, one step to each side.

Each row is one that a changed program (an `or` for an `and`, a step left out) would have got
through the other tests; see docs/mutation.md. Which hands need the power off: common practice, no
source.
"""

import datetime as dt
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import load_catalog
from squibwise.entering.tick_before import (
    FINAL_POWER,
    FIRST_POWER,
    FIT_LOADS,
    HEAT_OUT,
    RETURN_LOADS,
    STRUCTURE,
)
from squibwise.entering.tick_order import (
    LAMP,
    ORDER_CLOSED,
    SCAN,
    Tick,
    find_command_alone,
    find_runs,
    is_load,
    list_due_again,
    refuse_disorder,
    refuse_obstacles,
    refuse_unsettled,
    signed_along,
    write_numbers,
)
from squibwise.errors import InputError
from squibwise.model.evidence import Passed, SubstituteLoad
from squibwise.model.words import CLOSED_AREAS, RECORD_GONE
from squibwise.model.work import Area, Demand, Operation, Order, Question, Visit, Work

CATALOG = load_catalog()
DAY = dt.datetime(2026, 6, 5, 8)
KEY_ON, OFF, SAFE = "step:save-codes", "step:power-down", "step:make-safe"
GATE, HIGH_VOLTAGE = "step:key-on-gate", "structure-sound"


def row(n: int, id_: str, *after: str, **more: Any) -> Operation:
    action = "do" if id_.startswith("step:") else id_.partition(":")[0]
    return Operation(**({"n": n, "id": id_, "action": action, "title": id_, "after": after} | more))


def visit(*rows: Operation, power: str = "off") -> Visit:
    area = Area(area="", phase="open", title="", operations=rows)
    return Visit(id="v", title="", power=power, areas=(area,))  # type: ignore[arg-type]


def passed(*whats: str) -> tuple[Passed, ...]:
    return tuple(
        Passed(id=f"p{n}", what=w, result="passed", by="R", time=DAY + dt.timedelta(hours=n))
        for n, w in enumerate(whats)
    )


def refusal(*rows: Operation | Visit, ticked: str | tuple[str, ...], **more: Any) -> str:
    """Return why a tick is refused, with the way round it; empty where it is not."""
    visits = tuple(r if isinstance(r, Visit) else visit(r) for r in rows)
    given: dict[str, Any] = {"profile": "unknown", "items": (), "visits": visits}
    todo = Work(**(given | more.pop("todo", {})))
    chosen = frozenset((ticked,) if isinstance(ticked, str) else ticked)
    try:
        refuse_obstacles(Tick(**({"todo": todo, "chosen": chosen, "catalog": CATALOG} | more)))
    except InputError as error:
        return f"{error}\n{error.remedy}"
    return ""


SINCE = "the power was switched on since the car was made safe"


@pytest.mark.parametrize(
    ("one", "is_hand"),
    [
        (row(5, "open:x"), True),
        (row(5, "out:x"), True),
        (row(5, "fit:x"), True),
        (row(5, "join:x"), True),
        (row(5, "close:x"), True),
        (row(5, FIT_LOADS), True),
        (row(5, "look:x", SAFE), True),
        (row(5, "look:x"), False),
        (row(5, "step:weigh-seat-2", SAFE), False),
        (row(5, "step:check-shared-plug-passenger.seat", SAFE, kind="look-first"), True),
        (row(5, "step:check-supply", kind="look-first"), False),
        (row(5, OFF), False),
        (row(5, RETURN_LOADS), False),
    ],
    ids=lambda x: getattr(x, "id", str(x)),
)
def test_no_hands_go_in_after_a_power_up(one: Operation, is_hand: bool) -> None:
    safe = row(4, SAFE, done=True)
    for course, is_refused in (
        ((SAFE, KEY_ON), True),
        ((KEY_ON, SAFE), False),
        ((SAFE,), False),
        ((), False),
    ):
        told = refusal(safe, one, ticked=one.id, evidence=passed(*course), safe=True)
        assert (SINCE in told) is (is_refused and is_hand), course
        assert (f"no. {one.n}: {SINCE}" in told) is (is_refused and is_hand)


def test_hands_that_are_ticked_with_the_wait_itself_are_not_stopped_twice() -> None:
    rows = (row(4, SAFE), row(5, "fit:x"))
    for more in ((), (SAFE,), ("step:second-make-safe",)):
        told = refusal(*rows, ticked=("fit:x", *more), evidence=passed(KEY_ON))
        assert (SINCE in told) is (not more)


def test_hands_after_a_power_down_wait_for_its_wait() -> None:
    told = refusal(row(5, "fit:x"), ticked="fit:x", evidence=passed(KEY_ON, OFF))
    number = CATALOG.tasks.steps["make-safe"].number
    assert told.startswith("no. 5: the power is off, and the wait is not signed as over.")
    assert told.endswith(f"squibwise did CASE {number}")


@pytest.mark.parametrize("step", [FINAL_POWER, "step:clear", "step:lamp-check"])
def test_what_a_last_power_up_proved_is_proved_once_more(step: str) -> None:
    for done in (True, False):
        told = refusal(
            row(5, "fit:x"), row(9, step, done=done), ticked="fit:x", evidence=passed(KEY_ON)
        )
        assert ("come once more after that" in told) is done
    other = refusal(
        row(5, "fit:x"), row(9, FIRST_POWER, done=True), ticked="fit:x", evidence=passed(KEY_ON)
    )
    assert "come once more" not in other


def test_hands_dated_before_the_power_came_on_are_told_of_their_date_alone() -> None:
    told = refusal(
        row(5, "fit:x"),
        ticked="fit:x",
        evidence=passed(SAFE, KEY_ON),
        at=DAY - dt.timedelta(days=1),
    )
    assert SINCE not in told


def test_the_date_is_told_where_hands_lie_between_two_power_ups() -> None:
    course = passed(SAFE, KEY_ON, "x", "step:save-crash-data")
    at = DAY + dt.timedelta(minutes=90)
    for one in (row(5, "fit:x"), row(5, OFF), row(5, "step:second-make-safe")):
        told = refusal(one, ticked=one.id, evidence=course, at=at)
        assert told.startswith("no. 5: the power was on at 11:00 (no. "), one.id
    other = row(5, "set:x")
    assert refusal(other, ticked="set:x", evidence=course, at=at) == ""


def test_a_wait_is_not_over_with_its_own_power_down() -> None:
    rows = (row(3, OFF), row(4, SAFE, OFF, hold_minutes=3))
    told = refusal(*rows, ticked=(OFF, SAFE))
    assert told.startswith("no. 4 comes 3 min after no. 3: not in one stroke.")


def test_a_seat_is_not_weighed_by_a_tick() -> None:
    assert "no. 7 is a measurement" in refusal(row(7, "step:weigh-seat"), ticked="step:weigh-seat")


def test_what_is_judged_at_a_time_knows_nothing_of_what_came_later() -> None:
    early, late = DAY + dt.timedelta(minutes=30), DAY + dt.timedelta(hours=5)
    for at, is_told in ((early, False), (late, True)):
        told = refusal(row(5, "fit:x"), ticked="fit:x", evidence=passed(SAFE, KEY_ON), at=at)
        assert (SINCE in told) is is_told
    down = passed(SAFE, KEY_ON, OFF)
    told = refusal(
        row(5, "fit:x"), ticked="fit:x", evidence=down, at=DAY + dt.timedelta(minutes=90)
    )
    assert "the wait is not signed" not in told


@pytest.mark.parametrize(
    ("course", "due"),
    [
        ((), ()),
        ((OFF, SAFE), ()),
        ((OFF, SAFE, KEY_ON), (OFF, SAFE)),
        ((OFF, SAFE, KEY_ON, OFF), (SAFE,)),
        ((OFF, SAFE, KEY_ON, OFF, SAFE), ()),
    ],
)
def test_power_down_and_wait_are_due_again_once_the_power_was_on(
    course: tuple[str, ...], due: tuple[str, ...]
) -> None:
    assert list_due_again(passed(*course), CATALOG) == frozenset(due)


WATER = {"unsettled": ("the unit stood in water",)}


def test_a_key_on_is_not_signed_as_safe_against_what_is_known() -> None:
    todo = Work(profile="unknown", items=(), unsettled=WATER["unsettled"])
    for gates, is_refused in ((["key-on-safe"], True), (["x", "power-safe"], True), (["x"], False)):
        if not is_refused:
            refuse_unsettled(gates, todo)
            continue
        with pytest.raises(InputError, match=f"{gates[-1]} cannot be signed as safe"):
            refuse_unsettled(gates, todo)
    refuse_unsettled(["key-on-safe"], Work(profile="unknown", items=()))
    assert "cannot be signed" in refusal(row(2, GATE), ticked=GATE, todo=WATER, safe=True)


def test_a_gate_signed_along_with_the_step_it_holds_is_stopped_too() -> None:
    """Nothing else closes the gate before a later key-on: it is signed with the step it holds."""
    assert "power-safe" in signed_along(CATALOG)
    held = row(9, FIRST_POWER, blocked_by=("power-safe",))
    for safe, says in ((True, "power-safe cannot be signed"), (False, "held by an open gate: po")):
        assert says in refusal(held, ticked=FIRST_POWER, todo=WATER, safe=safe)
    part = row(9, "fit:x", blocked_by=("power-safe",))
    assert refusal(part, ticked="fit:x", todo=WATER, safe=True) == ""


def test_what_needs_the_key_on_is_not_ticked_against_what_is_known() -> None:
    title = CATALOG.tasks.steps["save-codes"].title
    for ticked, todo, is_refused in (
        (KEY_ON, WATER, True),
        (KEY_ON, {}, False),
        (OFF, WATER, False),
    ):
        told = refusal(row(2, KEY_ON), row(3, OFF), ticked=ticked, todo=todo)
        assert told.startswith(f"'{title}' needs the key on: the unit stood in water") is is_refused
        assert ("needs the key on" in told) is is_refused


def test_a_gate_is_decided_one_way_or_the_other_and_on_its_own() -> None:
    rows = (row(2, GATE), row(3, "step:other"))
    assert refusal(*rows, ticked=GATE, safe=True) == ""
    assert "no. 2, key-on-safe, is a gate" in refusal(*rows, ticked=GATE)
    alone = "key-on-safe: a gate is decided on its own"
    assert alone not in refusal(*rows, ticked=GATE)
    assert alone in refusal(*rows, ticked=(GATE, "step:other"), safe=True)
    assert alone in refusal(*rows, ticked=GATE, safe=True, along=frozenset({"lamp"}))
    assert refusal(*rows, ticked="step:other") == ""


@pytest.mark.parametrize("step", [LAMP, SCAN])
def test_lamp_and_scan_are_not_done_by_a_tick(step: str) -> None:
    assert "no. 7 is not done by a tick" in refusal(row(7, step), ticked=step)
    assert refusal(row(7, "step:other"), ticked="step:other") == ""


def test_loads_are_counted_back_by_their_marks_while_any_is_out_or_due() -> None:
    """Where none is out and none is due, that none is left in is a gate of its own."""
    loop = "driver.front-bag/1"
    out = SubstituteLoad(id="l", serial="S", loop=loop, ohm=2.1, move="issued")
    back = msgspec.structs.replace(out, id="m", move="returned")
    step = row(8, RETURN_LOADS)
    for evidence, fit, is_gate in (
        ((), (), True),
        ((out,), (), False),
        ((out, back), (), True),
        ((), (row(6, FIT_LOADS),), False),
        ((), (row(6, FIT_LOADS, done=True),), True),
    ):
        tick = Tick(
            todo=Work(profile="unknown", items=(), visits=(visit(step, *fit),)),
            chosen=frozenset(),
            catalog=CATALOG,
            evidence=evidence,
        )
        assert (RETURN_LOADS in tick.gates) is is_gate


@pytest.mark.parametrize("end", ["low", "high"])
def test_a_load_on_the_limit_is_one_and_beside_it_is_none(end: str) -> None:
    """The limits are the catalogue's, known-load-practice."""
    limit = CATALOG.fact(f"load.{end}").number()
    beyond = limit + (0.01 if end == "high" else -0.01)
    assert is_load(limit, CATALOG)
    assert not is_load(beyond, CATALOG)
    loaded: dict[str, Any] = {"ticked": FIT_LOADS, "loaded": ("driver.front-bag/1",)}
    assert refusal(row(6, FIT_LOADS), **loaded, ohm=limit) == ""
    assert f"{beyond:g} ohm is none" in refusal(row(6, FIT_LOADS), **loaded, ohm=beyond)
    assert "Measure each before it goes in" in refusal(row(6, FIT_LOADS), **loaded)
    assert refusal(row(6, FIT_LOADS), ticked=FIT_LOADS) == ""


LEFT = "driver.front-bag/2"
CHARGES = "step:live-charges"


@pytest.mark.parametrize(
    ("note", "done", "unproven", "is_told"),
    [
        ("", False, (LEFT,), True),
        ("", True, (LEFT,), False),
        ("", False, (), False),
        ("all others live", False, (LEFT,), False),
        ("alle scharf", False, (LEFT,), False),
        ("delivered", False, (LEFT,), True),
        (f"{LEFT} spent", False, (LEFT,), False),
        (f"{LEFT} spent", False, (LEFT, "left.curtain/1"), True),
    ],
)
def test_every_stage_that_nobody_proved_spent_is_given_a_word(
    note: str, done: bool, unproven: tuple[str, ...], is_told: bool
) -> None:
    told = refusal(
        row(6, CHARGES, done=done), ticked=CHARGES, todo={"unproven": unproven}, note=note
    )
    assert ("nothing was said of" in told) is is_told
    assert ("0 more" in told) is False


def test_stages_without_a_word_are_named_six_at_the_most() -> None:
    loops = tuple(f"driver.front-bag/{n}" for n in range(1, 9))
    six, seven, eight = (
        refusal(row(6, CHARGES), ticked=CHARGES, todo={"unproven": loops[:n]}) for n in (6, 7, 8)
    )
    assert "more" not in six
    assert "driver.front-bag/6 and 1 more" in seven
    assert "driver.front-bag/6 and 2 more" in eight
    assert refusal(row(6, "step:other"), ticked="step:other", todo={"unproven": loops}) == ""


def order(**more: Any) -> Order:
    given: dict[str, Any] = {
        "assembly": "seat-bag",
        "title": "Seat airbag",
        "contains": ("driver.seat-bag",),
        "kind": "look-first",
        "p": 0.5,
        "settled_by": "Look at the seam.",
    }
    return Order(**(given | more))


def question(id_: str, answered: str = "") -> Question:
    return Question(id=id_, text="?", answered=answered)


@pytest.mark.parametrize(
    ("todo", "looks", "is_told"),
    [
        ({"orders": (order(),)}, (), True),
        ({"orders": (order(p=0.49),)}, (), False),
        ({"orders": (order(kind="certain"),)}, (), False),
        ({"orders": (order(done=True),)}, (), False),
        ({"questions": (question("belts"),)}, (), True),
        ({"questions": (question("belts", "no"),)}, (), False),
        ({"questions": (question("cover"), question(RECORD_GONE))}, (), False),
        ({"questions": (question(CLOSED_AREAS),)}, (row(3, "look:x", kind="ask"),), True),
        ({}, (row(3, "look:x"),), True),
        ({}, (row(3, "look:x", done=True),), False),
        ({}, (row(3, "look:x", is_advice=True),), False),
        ({}, (row(3, "look:x", kind="ask"),), False),
        ({}, (row(3, "open:x"),), False),
    ],
)
def test_what_may_still_add_to_the_order_list_is_named_before_it_is_closed(
    todo: dict[str, Any], looks: tuple[Operation, ...], is_told: bool
) -> None:
    def told(done: bool = False, note: str = "", *more: str) -> bool:
        closing = row(9, ORDER_CLOSED, done=done)
        ticked = (ORDER_CLOSED, *more)
        return "closes the order list" in refusal(
            *looks, closing, ticked=ticked, todo=todo, note=note
        )

    assert told() is is_told
    assert not told(done=True)
    assert not told(note="seat frame later")
    if looks and is_told:
        assert not told(False, "", "look:x")


@pytest.mark.parametrize(
    ("rows", "is_told"),
    [
        ((row(3, "look:x", kind="ask", done=True),), False),
        ((row(3, "look:x", kind="ask", done=True), row(4, "look:y", is_advice=True)), False),
        ((row(3, "look:x", kind="ask", done=True), row(4, "open:y", kind="ask")), False),
        ((row(3, "look:x", kind="ask", done=True), row(4, "look:y", kind="ask")), True),
        ((), False),
    ],
)
def test_whether_closed_areas_are_opened_is_no_question_once_each_was_looked_into(
    rows: tuple[Operation, ...], is_told: bool
) -> None:
    todo = {"questions": (question(CLOSED_AREAS),)}
    told = refusal(*rows, row(9, ORDER_CLOSED), ticked=ORDER_CLOSED, todo=todo)
    assert ("closes the order list" in told) is is_told


def test_what_stays_open_of_the_order_list_is_told_with_its_commands() -> None:
    rows = (row(3, "look:x"), row(4, "look:y"), row(9, ORDER_CLOSED))
    todo: dict[str, Any] = {"orders": (order(),), "questions": (question("belts"),)}
    told = refusal(*rows, ticked=ORDER_CLOSED, todo=todo)
    assert told.splitlines()[0] == (
        "no. 9 closes the order list, and what may still add to it is open: "
        "no. 3-4 (looks) and belts (questions) and Seat airbag (50%; Look at the seam). "
        "Look, then: squibwise did CASE 3-4. Look: squibwise saw CASE driver.seat-bag WORD. "
        "Look; answer each: squibwise answer CASE belts yes --source WHERE. "
        "Or close it with what stays open: squibwise did CASE 9 --note 'belts later'."
    )
    bare = refusal(*rows[2:], ticked=ORDER_CLOSED, todo={"orders": (order(),)})
    assert bare.splitlines()[0] == (
        "no. 9 closes the order list, and what may still add to it is open: "
        "Seat airbag (50%; Look at the seam). Look: squibwise saw CASE driver.seat-bag WORD. "
        "Or close it with what stays open: squibwise did CASE 9 --note 'Seat airbag later'."
    )
    assert refusal(row(2, "step:other"), row(3, "look:x"), ticked="step:other", todo=todo) == ""


def test_an_order_in_doubt_is_looked_at_by_the_part_whose_look_settles_it() -> None:
    def demand(part: str, look: str) -> Demand:
        name = f"{part}:replace"
        return Demand(
            id=name, action="replace", component=part, title="", strict="when-met", settled_by=look
        )

    other, own = demand("driver.seat-frame", "x"), demand("driver.belt-webbing", order().settled_by)
    asked = order(demands=(other.id, own.id))
    for items, part in (
        ((other, own), own.component),
        ((other,), "driver.seat-bag"),
        ((), "driver.seat-bag"),
    ):
        todo = {"orders": (asked,), "items": items}
        told = refusal(row(9, ORDER_CLOSED), ticked=ORDER_CLOSED, todo=todo)
        assert f"Look: squibwise saw CASE {part} WORD." in told
    elsewhere = {"orders": (order(demands=(other.id,)),), "items": (other, own)}
    told = refusal(row(9, ORDER_CLOSED), ticked=ORDER_CLOSED, todo=elsewhere)
    assert "Look: squibwise saw CASE driver.seat-bag WORD." in told


def test_what_comes_first_is_told_once_for_all_that_wait_for_it() -> None:
    first = row(1, OFF)
    for operations, says in (
        ((row(2, "fit:x", OFF),), "no. 2 comes after no. 1: step:power-down."),
        (
            (row(2, "fit:x", OFF), row(3, "fit:y", OFF)),
            "no. 2-3 come after no. 1: step:power-down.",
        ),
    ):
        ids = tuple(o.id for o in operations)
        assert refusal(first, *operations, ticked=ids).startswith(says)
    many = [row(n, f"fit:{n}") for n in range(1, 9)]
    seven = refusal(*many[:7], row(9, FIRST_POWER, *(o.id for o in many[:7])), ticked=FIRST_POWER)
    assert seven.startswith("no. 9 comes after no. 1, 2, 3, 4, 5, 6 and 1 more: fit:1 and others.")
    two = refusal(*many[:2], row(9, FIRST_POWER, *(o.id for o in many[:2])), ticked=FIRST_POWER)
    assert two.startswith("no. 9 comes after no. 1, 2: fit:1 and others.")
    told = refusal(*many, row(9, FIRST_POWER, *(o.id for o in many)), ticked=FIRST_POWER)
    assert told.startswith("no. 9 comes after no. 1, 2, 3, 4, 5, 6 and 2 more: fit:1 and others.")
    six = refusal(*many[:6], row(9, FIRST_POWER, *(o.id for o in many[:6])), ticked=FIRST_POWER)
    assert "more" not in six.partition(":")[0]


def test_a_gate_signed_by_its_word_waits_for_what_its_step_waits_for() -> None:
    visits = (visit(row(1, OFF), row(2, "step:structure", OFF)),)
    for chosen, is_refused in (("step:structure", True), (OFF, False)):
        todo = Work(profile="unknown", items=(), visits=visits)
        tick = Tick(todo=todo, chosen=frozenset({chosen}), catalog=CATALOG)
        if is_refused:
            with pytest.raises(InputError, match=r"no\. 2 comes after no\. 1"):
                refuse_disorder(tick)
        else:
            refuse_disorder(tick)


def test_heat_near_what_is_live_names_the_way_where_there_was_none() -> None:
    live = (row(1, HEAT_OUT), row(2, STRUCTURE, HEAT_OUT))
    way = "squibwise did CASE 2 --safe --note 'no heat used'"
    assert way in refusal(*live, ticked=STRUCTURE, safe=True)
    assert refusal(*live, ticked=STRUCTURE, safe=True, note="no heat used") == ""
    both = (row(3, OFF), row(1, HEAT_OUT), row(2, STRUCTURE, HEAT_OUT, OFF))
    assert way in refusal(*both, ticked=STRUCTURE, safe=True)
    off = (row(1, OFF), row(2, STRUCTURE, OFF))
    assert way not in refusal(*off, ticked=STRUCTURE, safe=True)


def test_what_needs_the_power_is_not_ticked_while_it_is_off() -> None:
    lit = (row(7, FIRST_POWER), row(8, "set:seat"))
    rows = (visit(row(1, OFF, done=True)), visit(*lit, power="on"))
    says = "the power is off; it was taken away since it was on."
    course = passed(FIRST_POWER, OFF)
    done = (
        visit(row(1, OFF, done=True)),
        visit(msgspec.structs.replace(lit[0], done=True), lit[1], power="on"),
    )
    assert f"no. 8: {says}" in refusal(*done, ticked="set:seat", evidence=course)
    assert says not in refusal(*rows, ticked=("set:seat", FIRST_POWER), evidence=course)
    assert says not in refusal(*done, ticked="set:seat", evidence=course[:1])
    cold = (visit(*lit, power="off"),)
    assert says not in refusal(*cold, ticked="set:seat", evidence=course)
    bare = (visit(lit[1], power="on"),)
    assert says not in refusal(*bare, ticked="set:seat", evidence=course)
    earlier: dict[str, Any] = {"evidence": course, "at": DAY + dt.timedelta(minutes=30)}
    assert says not in refusal(*done, ticked="set:seat", **earlier)


def test_a_step_is_held_by_an_open_gate_and_a_part_that_was_fitted_is_not() -> None:
    gates = ("structure-sound", "power-safe")
    step, part = row(6, "step:other", blocked_by=gates), row(7, "fit:x", blocked_by=gates)
    held = "no. 6 is held by an open gate: "
    assert refusal(step, ticked="step:other").startswith(f"{held}power-safe, structure-sound.")
    told = refusal(step, ticked="step:other", safe=True)
    assert told.startswith(f"{held}structure-sound.")
    assert refusal(part, ticked="fit:x") == ""


def test_what_is_dated_before_what_it_needs_is_told_so() -> None:
    """By the list, and by the opening of its area though the list does not name it."""
    at = DAY + dt.timedelta(minutes=30)
    down = row(1, OFF, done=True)
    evidence = passed("other", OFF)
    told = refusal(down, row(2, "fit:x", OFF), ticked="fit:x", evidence=evidence, at=at)
    assert told.startswith("no. 2 comes after no. 1, done at 09:00: not before that.")
    assert refusal(down, row(2, "fit:x"), ticked="fit:x", evidence=evidence, at=at) == ""
    opened = visit(row(1, "open:x", done=True), row(2, "fit:x"), row(3, "set:x", "open:x"))
    course = passed("other", "open:x")
    told = refusal(opened, ticked="fit:x", evidence=course, at=at)
    assert told.startswith("no. 2 comes after no. 1, done at 09:00: not before that.")
    assert refusal(opened, ticked="set:x", evidence=course, at=at) == ""


@pytest.mark.parametrize(
    ("numbers", "runs", "written"),
    [
        ((), [], ""),
        ((3,), [[3]], "3"),
        ((5, 4, 3, 9), [[3, 4, 5], [9]], "3-5,9"),
        ((1, 3), [[1], [3]], "1,3"),
    ],
)
def test_numbers_are_written_in_runs(
    numbers: tuple[int, ...], runs: list[list[int]], written: str
) -> None:
    assert find_runs(numbers) == runs
    assert write_numbers(numbers) == written


def commands(*rows: Operation | Visit, ticked: str, **more: Any) -> list[str]:
    told = refusal(*rows, ticked=ticked, **more)
    return told.partition("in this order:\n")[2].splitlines()


def test_the_commands_go_through_all_that_comes_first_in_order_and_over_no_change_of_power() -> (
    None
):
    rows = (
        visit(row(1, GATE), row(2, OFF, GATE), row(3, SAFE, OFF, hold_minutes=3)),
        visit(
            row(4, "open:x", SAFE), row(5, "out:x", "open:x"), row(6, "fit:y"), row(7, "x:trace")
        ),
        visit(row(8, FIRST_POWER, "fit:x", SAFE, "out:x", blocked_by=("power-safe",)), power="on"),
        visit(row(9, "fit:x", "open:x", OFF), row(10, "fit:z", done=True)),
    )
    assert commands(*rows, ticked=FIRST_POWER) == [
        "squibwise did CASE 2",
        "squibwise did CASE 3   (3 min after the power came off)",
        "squibwise did CASE 4",
        "squibwise did CASE 8 --safe",
        "squibwise did CASE 9",
    ]


def test_an_open_gate_that_holds_is_decided_by_its_own_step_first() -> None:
    rows = (row(1, "step:structure"), row(2, "step:other", blocked_by=("structure-sound",)))
    assert commands(*rows, ticked="step:other") == [
        "squibwise did CASE 1 --safe",
        "squibwise did CASE 2",
    ]


def test_looks_that_may_add_to_the_list_are_made_before_it_is_closed() -> None:
    rows = (row(1, "look:x"), row(2, ORDER_CLOSED))
    todo = {"questions": (question("belts"),)}
    assert commands(*rows, ticked=ORDER_CLOSED, todo=todo) == [
        "squibwise did CASE 1",
        "squibwise did CASE 2   (once answered: belts)",
    ]


def test_the_commands_name_nothing_that_is_done_cold_or_not_asked_for() -> None:
    rows = (
        row(1, OFF, done=True),
        row(2, SAFE, OFF),
        row(3, HEAT_OUT),
        row(4, STRUCTURE, HEAT_OUT, SAFE),
        row(5, "step:unit-bolted"),
        row(6, "step:other", blocked_by=("unit-bolted",)),
        row(7, "look:x"),
    )
    note = {"note": "no heat used", "safe": True}
    cold = ["squibwise did CASE 2", "squibwise did CASE 4 --safe"]
    assert commands(*rows, ticked=STRUCTURE, **note) == cold
    told = refusal(*rows, ticked=(OFF, STRUCTURE), **note)
    assert told.partition("in this order:\n")[2].splitlines() == cold
    closing = (*rows, row(8, ORDER_CLOSED, SAFE))
    for said, looks in (("", ["squibwise did CASE 7"]), ("later", [])):
        told = commands(*closing, ticked=ORDER_CLOSED, note=said)
        assert told == ["squibwise did CASE 2", *looks, "squibwise did CASE 8"]


@pytest.mark.parametrize(
    ("one", "todo", "command"),
    [
        (row(7, SCAN), {}, "squibwise add CASE FILE --when after-repair --complete"),
        (
            row(7, "left.curtain:trace", action="trace", components=("left.curtain",)),
            {},
            "squibwise trace CASE left.curtain",
        ),
        (row(7, LAMP), {}, "squibwise did CASE 7 --lamp SECONDS"),
        (row(7, FIT_LOADS), {}, "squibwise did CASE 7 --ohm OHM"),
        (row(7, GATE), {}, "squibwise did CASE 7 --safe"),
        (row(7, "step:x", blocked_by=("power-safe",)), {}, "squibwise did CASE 7 --safe"),
        (row(7, "fit:x", blocked_by=("power-safe",)), {}, ""),
        (row(7, "step:x", blocked_by=("structure-sound",)), {}, ""),
        (row(7, CHARGES), {"unproven": (LEFT,)}, "squibwise did CASE 7 --note live"),
        (row(7, CHARGES), {}, ""),
        (row(7, ORDER_CLOSED), {}, ""),
        (row(7, "fit:x"), {}, ""),
    ],
    ids=lambda x: getattr(x, "id", None),
)
def test_what_is_ticked_alone_has_a_command_of_its_own(
    one: Operation, todo: dict[str, Any], command: str
) -> None:
    work = Work(profile="unknown", items=(), visits=(visit(one),), **todo)
    tick = Tick(todo=work, chosen=frozenset(), catalog=CATALOG)
    assert find_command_alone(one, tick) == command
