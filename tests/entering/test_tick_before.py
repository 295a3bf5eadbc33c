"""What must come before what on a list of work, tried on lists of a few lines made by hand.

Which order is dangerous: common practice, no source. Each row is one that a changed program (an
`or` for an `and`, a step left out) would have got through the other tests; see docs/mutation.md.
"""

from typing import Any

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.entering.tick_before import (
    FINAL_POWER,
    FIRST_POWER,
    FIT_LOADS,
    HEAT_BACK,
    HEAT_OUT,
    LIVE_CAUTION,
    RETURN_LOADS,
    STRUCTURE,
    UNIT_BOLTED,
    all_before,
    denies_heat,
    find_missing,
    is_ticked,
    must_precede,
    own_openings,
)
from squibwise.model.work import Area, Caution, Operation, Visit, Work

CATALOG = load_catalog()
LIVE = (Caution(id=LIVE_CAUTION, text="hot", source="judgement"),)
OTHER = (Caution(id="full-wait", text="wait", source="judgement"),)


def row(id_: str, *after: str, **more: Any) -> Operation:
    action = "do" if id_.startswith("step:") else id_.partition(":")[0]
    return Operation(**({"n": 1, "id": id_, "action": action, "title": id_, "after": after} | more))


def area(name: str, *rows: Operation) -> Area:
    return Area(area=name, phase="open", title=name, operations=rows)


def work(*areas: Area | Operation) -> Work:
    rooms = tuple(a if isinstance(a, Area) else area("", a) for a in areas)
    visit = Visit(id="v", title="", power="off", areas=rooms)
    return Work(profile="unknown", items=(), visits=(visit,))


@pytest.mark.parametrize(
    ("first", "then", "expected"),
    [
        # Nothing is touched before the power is off and waited out.
        (row("step:power-down"), row("open:x"), True),
        (row("step:make-safe"), row("step:anything"), True),
        (row("step:second-power-down"), row("fit:x"), True),
        (row("step:second-make-safe"), row("fit:x"), True),
        (row(RETURN_LOADS), row("fit:x"), True),
        (row(FIRST_POWER), row("set:x"), True),
        (row(FINAL_POWER), row("step:final-scan"), True),
        (row("step:anything"), row("open:x"), False),
        # Nobody drives before these, and these wait for the drive in no other way.
        (row("step:clear"), row("step:drive"), True),
        (row("step:lamp-check"), row("step:drive"), True),
        (row("step:clear"), row("step:final-scan"), False),
        (row("step:drive"), row("step:final-scan"), False),
        # Loads go in before power, and come out after they went in.
        (row(FIT_LOADS), row(FIRST_POWER), True),
        (row(FIT_LOADS), row(RETURN_LOADS), True),
        (row(FIT_LOADS), row(FINAL_POWER), False),
        # Nobody welds while anything live or fired is near.
        (row(HEAT_OUT), row(STRUCTURE), True),
        (row(STRUCTURE), row(HEAT_BACK), False),
        (row("out:x", cautions=LIVE), row(HEAT_OUT), True),
        (row("out:x", cautions=OTHER), row(HEAT_OUT), False),
        (row("out:x"), row(HEAT_OUT), False),
        (row("out:x", cautions=LIVE), row(STRUCTURE), False),
        (row("out:x", cautions=LIVE, kind="look-first"), row(HEAT_OUT), False),
        (row("out:x", cautions=LIVE, counted=False), row(HEAT_OUT), False),
        (row("out:x", cautions=LIVE), row(FINAL_POWER), False),
        # As it came is recorded before hands go in; a look may come first.
        (row("step:arrival-record"), row("open:x"), True),
        (row("step:arrival-record"), row("out:x"), True),
        (row("step:arrival-record"), row("fit:x"), True),
        (row("step:arrival-record"), row("join:x"), True),
        (row("step:arrival-record"), row("close:x"), True),
        (row("step:arrival-record"), row("look:x"), False),
        (row("step:arrival-record"), row(FINAL_POWER), False),
        # A look that the release waits for comes before the last power, advice does not.
        (row("look:x"), row(FINAL_POWER), True),
        (row("look:x"), row(FIRST_POWER), False),
        (row("look:x", is_advice=True), row(FINAL_POWER), False),
        # Nothing is powered while something that is needed for sure is open.
        (row("fit:x"), row(FIRST_POWER), True),
        (row("join:x"), row(FINAL_POWER), True),
        (row("close:x"), row(FINAL_POWER), True),
        (row(HEAT_BACK), row(FIRST_POWER), True),
        (row("fit:x", kind="rule"), row(FIRST_POWER), True),
        (row("fit:x", kind="look-first"), row(FIRST_POWER), False),
        (row("fit:x", kind="ask"), row(FIRST_POWER), False),
        (row("fit:x", counted=False), row(FIRST_POWER), False),
        (row("open:x"), row(FINAL_POWER), False),
        # The memory is cleared for good once every part is fitted and every fault traced.
        (row("fit:x"), row("step:clear"), True),
        (row("fit:x", kind="look-first"), row("step:clear"), True),
        (row("fit:x", counted=False), row("step:clear"), False),
        (row("open:x"), row("step:clear"), False),
        # Nothing is closed over what is not in, joined and bolted; only where it is listed so.
        (row("fit:x"), row("close:x", "fit:x"), True),
        (row("join:x"), row("close:x", "join:x"), True),
        (row("join:x", kind="ask"), row("close:x", "join:x"), False),
        (row(UNIT_BOLTED), row("close:x", UNIT_BOLTED), True),
        (row("open:x"), row("close:x", "open:x"), False),
        (row("close:y"), row("close:x", "close:y"), False),
        (row("fit:x"), row("close:x"), False),
        (row(UNIT_BOLTED), row("close:x"), False),
        (row("fit:x"), row("join:x", "fit:x"), False),
        (row(UNIT_BOLTED), row("join:x", UNIT_BOLTED), False),
    ],
    ids=lambda x: getattr(x, "id", str(x)),
)
def test_what_is_dangerous_to_do_before_another(
    first: Operation, then: Operation, expected: bool
) -> None:
    assert must_precede(first, then) is expected


@pytest.mark.parametrize(
    ("note", "expected"),
    [
        ("no heat used", True),
        ("No weld or hammer near it", True),
        ("heat was used", False),
        ("no", False),
        ("", False),
        ("bolted", False),
        ("heat no", False),
        ("no one of us heated it", True),
        ("no one of us ever heated it", False),
        ("no parts of it heated", True),
    ],
)
def test_heat_is_denied_by_a_word_of_denial_up_to_four_words_before_it(
    note: str, expected: bool
) -> None:
    assert denies_heat(note, CATALOG) is expected


def test_an_operation_is_ticked_by_its_id_or_by_anything_it_contains() -> None:
    part = row("fit:x", demands=("a:replace", "b:replace"))
    assert is_ticked(part, {"fit:x"})
    assert is_ticked(part, {"b:replace"})
    assert not is_ticked(part, {"c:replace"})
    assert not is_ticked(row("fit:x"), {"a:replace"})


def test_everything_before_an_operation_is_found_through_others_and_in_a_ring() -> None:
    before = {"c": {"b"}, "b": {"a"}, "a": set[str](), "x": {"y"}, "y": {"x"}}
    assert all_before("c", before) == {"a", "b"}
    assert all_before("a", before) == set()
    assert all_before("unknown", before) == set()
    assert all_before("x", before) == {"x", "y"}


def test_hands_work_behind_the_openings_of_their_own_area_made_before_them() -> None:
    todo = work(
        area(
            "dash",
            row("out:trim"),
            row("open:dash"),
            row("look:dash"),
            row("out:bag", components=("driver.front-bag",)),
            row("open:inner"),
            row("fit:bag"),
            row("join:dash"),
            row(UNIT_BOLTED),
            row("step:other"),
            row("close:dash"),
        ),
        area("seat", row("fit:seat-bag"), row("open:seat")),
        area("roof", row("open:roof"), row("out:curtain", components=("left.curtain",))),
        row(FIT_LOADS, components=("driver.front-bag", "right.curtain")),
        row("step:return-loads", components=("driver.front-bag",)),
    )
    both = {"open:dash", "open:inner"}
    assert own_openings(todo) == {
        "out:trim": set(),
        "out:bag": {"open:dash"},
        "fit:bag": both,
        "join:dash": both,
        UNIT_BOLTED: both,
        "close:dash": both,
        "fit:seat-bag": set(),
        "out:curtain": {"open:roof"},
        FIT_LOADS: {"open:dash"},
    }


def test_a_load_goes_where_its_own_device_came_out() -> None:
    """Not where another was fitted, and where none came out, behind nothing."""
    todo = work(
        area("dash", row("open:dash"), row("fit:bag", components=("driver.front-bag",))),
        row(FIT_LOADS, components=("driver.front-bag",)),
    )
    assert own_openings(todo)[FIT_LOADS] == set()


def missing(todo: Work, *ticked: str, along: str = "", cold: bool = False) -> dict[str, list[str]]:
    more = {"cold": True} if cold else {}
    found = find_missing(todo, frozenset(ticked), frozenset({along} - {""}), **more)
    return {o.id: [m.id for m in first] for o, first in found.items()}


def test_what_is_missing_is_not_done_not_ticked_and_comes_first() -> None:
    down, safe = row("step:power-down"), row("step:make-safe", "step:power-down")
    bag = row("fit:bag", "step:make-safe", demands=("bag:replace",))
    todo = work(down, safe, bag, row("step:make-safe-2"))
    assert missing(todo, "fit:bag") == {"fit:bag": ["step:power-down", "step:make-safe"]}
    assert missing(todo, "bag:replace") == missing(todo, "fit:bag")
    assert missing(todo, "fit:bag", "step:power-down") == {"fit:bag": ["step:make-safe"]}
    assert missing(todo, "fit:bag", "step:make-safe", along="step:power-down") == {}
    assert missing(todo, "fit:bag", along="step:make-safe") == {
        "step:make-safe": ["step:power-down"],
        "fit:bag": ["step:power-down"],
    }
    assert missing(todo) == {}
    done = work(row("step:power-down", done=True), safe, bag)
    assert missing(done, "fit:bag") == {"fit:bag": ["step:make-safe"]}
    later = work(bag, down)
    assert missing(later, "fit:bag") == {}


def test_nobody_works_in_a_closed_area_though_nothing_lists_it() -> None:
    todo = work(area("dash", row("open:dash"), row("fit:bag"), row("look:dash")))
    assert missing(todo, "fit:bag", "look:dash") == {"fit:bag": ["open:dash"]}
    opened = work(area("dash", row("open:dash", done=True), row("fit:bag")))
    assert missing(opened, "fit:bag") == {}


def test_a_unit_is_bolted_down_anew_once_it_is_fitted_again() -> None:
    fit = row("fit:unit")
    bolted = row(UNIT_BOLTED, "fit:unit", done=True)
    other = row("fit:other", "fit:unit", done=True)
    close = row("close:dash", UNIT_BOLTED, "fit:other")
    todo = work(fit, bolted, other, close)
    assert missing(todo, "fit:unit", "close:dash") == {"close:dash": [UNIT_BOLTED]}
    fitted = work(row("fit:unit", done=True), bolted, other, close)
    assert missing(fitted, "close:dash") == {}


def heat(*, done: bool = False) -> Work:
    return work(
        row("out:bag", cautions=LIVE),
        row(HEAT_OUT, "out:bag", done=done),
        row(STRUCTURE, HEAT_OUT),
        row(HEAT_BACK, HEAT_OUT),
        row(FINAL_POWER, HEAT_BACK, STRUCTURE),
    )


def test_what_came_out_of_the_heat_goes_back_and_what_never_came_out_does_not() -> None:
    assert missing(heat(), STRUCTURE) == {STRUCTURE: [HEAT_OUT]}
    assert missing(heat(), STRUCTURE, cold=True) == {}
    assert missing(heat(), HEAT_OUT) == {HEAT_OUT: ["out:bag"]}
    assert missing(heat(done=True), FINAL_POWER) == {FINAL_POWER: [HEAT_BACK]}
    assert missing(heat(done=True), FINAL_POWER, cold=True) == {FINAL_POWER: [HEAT_BACK]}
    assert missing(heat(), FINAL_POWER) == {}
    assert missing(heat(), FINAL_POWER, HEAT_OUT, "out:bag") == {FINAL_POWER: [HEAT_BACK]}
