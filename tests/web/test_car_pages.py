"""The garage, the page of a car, looks, ticks and traces, asked for and sent without a browser."""

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.model.evidence import Look, Passed, Photo


def opened(call: Any, car: str) -> Any:
    """Return a car as the bench has it."""
    return call.app.state.bench.open(car)


def test_the_garage_lists_its_cars_and_finds_one_by_its_title(call: Any) -> None:
    assert all(f"/car/{car}" in call.get("/").text for car in ("harrow-07", "burdock-09"))
    found = call.get("/?q=small+HATCHBACK").text
    assert "/car/harrow-07" in found
    assert "/car/burdock-09" not in found
    assert "No car is called so." in call.get("/?q=nothing").text


def test_the_page_of_a_car_says_what_happened_and_draws_every_part_that_fired(call: Any) -> None:
    html = call.get("/car/harrow-07").text
    assert "struck nose right" in html
    for part in ("driver.front-bag", "passenger.front-bag", "driver.knee-bag"):
        mark = re.search(rf'part/{part}"[^>]*class="mark ([^"]*)"', html)
        assert mark, part
        assert "s-fired" in mark[1]
    assert html.count('class="strike"') == 1


def test_the_brief_of_a_car_says_what_the_command_says_and_leads_to_the_circuit(call: Any) -> None:
    html = call.get("/car/clover-05").text
    assert "<b>no part is needed</b>" in html
    assert 'href="/car/clover-05/trace/driver.seat-bag/1"><b>trace</b>' in html
    assert "squibwise trace" not in html
    assert "AUD expected" in call.get("/car/burdock-09").text


def test_a_right_hand_drive_car_has_its_wheel_and_its_drivers_parts_on_the_right() -> None:
    from squibwise.present.tell_bench import CarPicture, Mark, Strike
    from squibwise.web.drawing import layout, place_arrows, place_marks

    mark = Mark(
        component="driver.front-bag", place="driver", kind="front-bag", title="", state="live",
        letter="L", is_settled=True, watched=True, told="",
    )  # fmt: skip
    strike = Strike(zone="nose-left", clock=11, told="")
    at = {
        hand: place_marks(CarPicture(drive_hand=hand, marks=(mark,), strikes=(strike,)))[0].x
        for hand in ("left", "right")
    }
    assert at["left"] < layout().width / 2 < at["right"]
    assert at["left"] + at["right"] == layout().width
    arrows = [
        place_arrows(CarPicture(drive_hand=hand, marks=(), strikes=(strike,)))[0]
        for hand in ("left", "right")
    ]
    assert arrows[0] == arrows[1], "what was struck stays where it is"
    assert arrows[0].angle == 330.0


def test_after_a_look_the_belief_comes_first_and_is_the_one_of_the_whole_page(call: Any) -> None:
    page = "/car/burdock-09/part/centre.windshield"
    sent = call.post(
        "/car/burdock-09/look", page, component="centre.windshield", seen_word="intact", by="R"
    )
    first = call.get(sent.headers["location"]).text
    assert "The reasons and the rest of the car follow" in first
    shares = re.compile(r'<ul class="chances">.*?</ul>', re.DOTALL)
    told = shares.search(first)
    whole = call.get(page).text
    assert "What do you see?" in whole
    assert told
    assert told[0] in whole
    assert "What do you see?" in call.get(sent.headers["location"]).text  # it is known by now
    assert call.get("/car/burdock-09/part/left.nothing?fresh=1").status_code == 404


def test_a_look_without_a_photograph_keeps_its_note(call: Any) -> None:
    page = "/car/harrow-07/part/left.curtain"
    call.post(
        "/car/harrow-07/look", page,
        component="left.curtain", seen_word="intact", by="R", note="gap at the rear clip",
    )  # fmt: skip
    evidence = opened(call, "harrow-07").case.evidence
    look = next(e for e in evidence if isinstance(e, Look) and e.note)
    assert (look.component, look.note) == ("left.curtain", "gap at the rear clip")
    assert "gap at the rear clip" in call.get("/car/harrow-07").text


def test_a_look_with_a_photograph_is_written_and_shown(call: Any) -> None:
    picture = b"\xff\xd8\xff\xe0 not a whole picture"
    answer = call.post(
        "/car/harrow-07/look",
        "/car/harrow-07/part/centre.windshield",
        component="centre.windshield", seen_word="glass-cracked", by="R", note="left corner",
        files={"photo": ("IMG 1.jpg", picture, "image/jpeg")},
    )  # fmt: skip
    assert answer.status_code == 303
    assert answer.headers["location"] == "/car/harrow-07/part/centre.windshield?fresh=1"
    evidence = opened(call, "harrow-07").case.evidence
    look = next(e for e in evidence if isinstance(e, Look) and e.component == "centre.windshield")
    photo = next(e for e in evidence if isinstance(e, Photo))
    assert (look.seen, look.by, photo.note) == ("glass-cracked", "R", "left corner")
    shown = call.get(f"/car/harrow-07/file/{photo.file}")
    assert shown.content == picture
    assert shown.headers["content-type"] == "image/jpeg"
    assert photo.file in call.get("/car/harrow-07").text


def test_a_look_may_be_of_one_charge_of_a_part(call: Any) -> None:
    page = "/car/harrow-07/part/driver.front-bag"
    assert '<select name="stage">' in call.get(page).text
    answer = call.post(
        "/car/harrow-07/look", page,
        component="driver.front-bag", stage="2", seen_word="confirmed-spent", by="R",
    )  # fmt: skip
    assert answer.status_code == 303, answer.text
    looks = [e for e in opened(call, "harrow-07").case.evidence if isinstance(e, Look)]
    assert looks[-1].component == "driver.front-bag/2"
    assert (
        "Stage 2 may be live though the part fired: front airbag (driver" not in call.get(page).text
    )


def test_a_word_that_is_none_is_refused_and_nothing_is_written(call: Any) -> None:
    before = opened(call, "harrow-07").seen
    answer = call.post(
        "/car/harrow-07/look", "/car/harrow-07/part/driver.front-bag",
        component="driver.front-bag", seen_word="purple",
    )  # fmt: skip
    assert answer.status_code == 422
    assert "Nothing was written" in answer.text
    assert "purple" in answer.text
    assert opened(call, "harrow-07").seen == before


def test_what_is_sent_twice_is_written_once(call: Any, place: Path) -> None:
    page, path = "/car/clover-05/part/left.curtain", "/car/clover-05/look"
    given = {"component": "left.curtain", "seen_word": "intact", "once": "same-mark"}
    first = call.post(path, page, **given)
    again = call.post(path, page, **given)
    assert (first.status_code, again.status_code) == (303, 303)
    assert first.headers["location"] == again.headers["location"]
    with connected(place) as garage:
        entries = store.history(garage, "clover-05")
    assert [e.what for e in entries].count("saw left.curtain: intact") == 1


def test_a_stale_write_shows_both_versions_and_writes_nothing(call: Any) -> None:
    page, path = "/car/clover-05/part/right.curtain", "/car/clover-05/look"
    old = opened(call, "clover-05").seen
    call.post(path, page, component="right.curtain", seen_word="intact")
    after = opened(call, "clover-05").seen
    answer = call.post(path, page, component="right.curtain", seen_word="damaged", seen=old)
    assert answer.status_code == 409
    assert "saw right curtain airbag: intact" in answer.text
    assert "damaged" in answer.text
    assert after == opened(call, "clover-05").seen
    assert after in answer.text, "it can be sent again on what stands now"


def test_operations_are_ticked_with_who_did_them(call: Any) -> None:
    answer = call.post("/car/burdock-09/tick", "/car/burdock-09/work", n=["1", "3"], by="T")
    assert answer.status_code == 303
    signed = [e for e in opened(call, "burdock-09").case.evidence if isinstance(e, Passed)]
    assert {e.by for e in signed if e.what.startswith(("step:arrival", "look"))} <= {"T"}
    html = call.get("/car/burdock-09/work?visit=arrive").text
    assert re.search(r'name="n" value="1" checked disabled', html)


def test_a_gate_is_not_ticked_without_saying_which_way(call: Any) -> None:
    page = "/car/burdock-09/work?visit=arrive"
    refused = call.post("/car/burdock-09/tick", page, n="2", by="T")
    assert refused.status_code == 422
    assert "gate" in refused.text
    assert call.post("/car/burdock-09/tick", page, n="2", by="T", safe="yes").status_code == 303


def test_a_tick_without_a_name_is_refused(call: Any) -> None:
    answer = call.post("/car/burdock-09/tick", "/car/burdock-09/work", n="11")
    assert answer.status_code == 422
    assert "Say who did it." in answer.text


def test_no_outcome_with_the_power_on_is_taken_before_the_key_on_gate_is_signed(call: Any) -> None:
    path = "/car/clover-05/trace/driver.seat-bag/1"
    sent = {"test": "reseat:seat-plug", "outcome": "not fixed", "by": "T", "waited": "yes"}
    refused = call.post(path, carried_out="yes", **sent)
    assert refused.status_code == 422
    assert "no. 2 is open" in refused.text


def test_an_outcome_leads_to_the_next_card(call: Any) -> None:
    path = "/car/burdock-09/trace/passenger.front-bag/1"
    before = call.get(path).text
    test = re.search(r'name="test" value="([^"]+)"', before)
    word = re.search(r'name="outcome" value="([^"]+)"', before)
    assert test
    assert word
    unnamed = call.post(path, test=test[1], outcome="not fixed", waited="yes")
    assert unnamed.status_code == 422
    assert "Say who tested it." in unnamed.text
    sent = {"test": test[1], "outcome": "not fixed", "by": "T"}
    stray = call.post(path, waited="yes", **sent)
    assert "Nobody says that it was carried out" in stray.text
    hasty = call.post(path, carried_out="yes", **sent)
    assert "Nobody says that the wait was over." in hasty.text
    answer = call.post(path, waited="yes", carried_out="yes", **sent)
    assert answer.status_code == 303
    after = re.search(r'name="test" value="([^"]+)"', call.get(path).text)
    assert after
    assert after[1] != test[1]


def test_while_the_clock_of_a_card_runs_no_outcome_is_taken_and_nobody_is_asked(call: Any) -> None:
    path = "/car/clover-05/trace/driver.seat-bag/1"
    assert 'name="waited"' in call.get(path).text
    assert call.post("/car/clover-05/power-off", path, by="T").status_code == 303
    html = call.get(path).text
    assert 'class="clock"' in html
    assert 'name="waited"' not in html
    test, word = (re.search(rf'name="{k}" value="([^"]+)"', html) for k in ("test", "outcome"))
    assert test
    assert word
    sent = {"test": test[1], "outcome": word[1], "by": "T", "waited": "yes", "carried_out": "yes"}
    hasty = call.post(path, **sent)
    assert hasty.status_code == 422
    assert re.search(r"The wait is not over: \d+ min are left on the clock\.", hasty.text)


def test_what_is_not_there_is_told_as_such(call: Any) -> None:
    for path in ("/car/none", "/car/harrow-07/part/x", "/nowhere", "/car/harrow-07/file/case.toml"):
        assert call.get(path).status_code == 404, path


@pytest.mark.parametrize(("visit", "signed"), [("arrive", True), ("prove", True), ("read", False)])
def test_a_gate_can_be_signed_in_the_visit_that_it_holds(
    call: Any, visit: str, signed: bool
) -> None:
    html = call.get(f"/car/harrow-07/work?visit={visit}").text
    assert ('name="safe"' in html) is signed
    box = html.partition('class="deciding"')[2].partition("</form>")[0]
    assert ("Nobody inside" in box) is signed
    assert ('name="note"' in box) is signed  # "no heat used" is said there


def test_a_look_that_was_ticked_is_open_again_once_an_inspection_hangs_on_it(call: Any) -> None:
    car = "/car/harrow-07"
    answer = call.post(f"{car}/tick", f"{car}/work?visit=arrive", n=["1", "3"], by="R")
    assert answer.status_code == 303, answer.text
    done = {o.n for o in _todo(call).operations if o.done}
    assert {1, 3} <= done
    looks = [o for o in _todo(call).operations if o.action == "look" and o.demands]
    open_demands = {d.id for d in _todo(call).items if not d.done}
    assert looks
    assert all(o.done is not bool(open_demands & {*o.demands}) for o in looks)


def _todo(call: Any) -> Any:
    bench = call.app.state.bench
    return bench.whole(bench.open("harrow-07")).todo


def test_what_is_looked_for_is_asked_once_whatever_is_seen(call: Any) -> None:
    """A person who follows every next look and sees nothing wrong comes to an end."""
    bench, asked = call.app.state.bench, set()
    for _ in range(40):
        looks = bench.whole(bench.open("burdock-09")).states.next_looks
        look = next((x for x in looks if x.look in bench.catalog.looks(kind_of(x.component))), None)
        if look is None:
            break
        assert (look.component, look.look) not in asked
        asked.add((look.component, look.look))
        page = f"/car/burdock-09/part/{look.component}"
        assert f'name="asked" value="{look.look}"' in call.get(page).text
        sent = {"component": look.component, "seen_word": "intact", "asked": look.look}
        assert call.post("/car/burdock-09/look", page, **sent).status_code == 303
    assert look is None
    assert len(asked) > 3


def kind_of(component: str) -> str:
    return component.partition(".")[2].rstrip("-23")


def test_a_new_car_of_which_nothing_is_known_says_so_and_names_no_crash_and_no_sum(
    call: Any,
) -> None:
    made = call.post("/new", "/new", id="meadow-01", title="grey estate", by="R")
    assert made.status_code == 303, made.text
    told = unescape(call.get("/car/meadow-01").text)
    assert "nothing is known yet" in told
    assert "Nothing is known yet: add a report" in told
    assert told.count("<b>not known yet</b>") == 2
    assert "mph" not in told
    assert "likely</b>" not in told
    assert "No part is needed." not in told
    assert "Fired or gone" not in told
    assert "s-fired" not in told.partition("<main")[2].partition('class="legend')[0]
