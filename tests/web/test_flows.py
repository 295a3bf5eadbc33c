"""Each flow as a person walks it, in a real browser: touch, type, look."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.web.sheets import answer_sheet, make_picture

from squibwise.web.sessions import Sessions

pytestmark = pytest.mark.browser
expect.set_options(timeout=20_000)
Show = Callable[..., Page]
PHONE: Any = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True}


def test_touching_a_part_opens_its_reasons_beside_the_picture(show: Show) -> None:
    page = show("/car/harrow-07", "laptop")
    page.locator('svg.car a[href$="/part/passenger.front-bag"]').click()
    expect(page.locator("#panel h2").first).to_contain_text("passenger front airbag")
    assert page.url.endswith("/car/harrow-07/part/passenger.front-bag")
    expect(page.locator("svg.car")).to_be_visible()


def test_a_look_is_written_down_by_touch_and_shows_at_once(show: Show) -> None:
    page = show("/car/harrow-07/part/centre.windshield")
    page.get_by_text("glass cracked", exact=False).first.click()
    page.get_by_label("Who").fill("R")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".chances li").first).to_contain_text(re.compile("damaged.*9[0-9]%"))
    page.goto("/car/harrow-07/part/left.curtain")
    expect(page.get_by_label("Who")).to_have_value("R")


def test_work_is_ticked_by_area(show: Show) -> None:
    page = show("/car/harrow-07/work?visit=arrive")
    page.get_by_label("Record the car as it came").check()
    page.locator("#ticking").get_by_label("Who").fill("R")
    page.get_by_role("button", name="Done").click()
    expect(page.get_by_label("Record the car as it came")).to_be_disabled()


def test_the_clock_of_a_bench_card_runs_on_and_no_outcome_is_taken_before_it_is_over(
    show: Show,
) -> None:
    page = show("/car/burdock-09/trace/passenger.front-bag")
    page.locator(".clock").get_by_label("Who").fill("R")
    page.get_by_role("button", name="All sources are off: start the wait").first.click()
    expect(page.locator(".clock .left").first).to_have_text(re.compile("^29:"))
    other = show("/car/burdock-09/trace/passenger.front-bag")
    expect(other.locator(".clock .left").first).to_have_text(re.compile("^29:"))
    for box in page.locator(".outcomes input[type=checkbox]").all():
        box.check()
    page.get_by_label("It was carried out").check()
    page.locator(".outcomes [name=by]").fill("R")
    page.locator("button.outcome", has_text="not fixed").click()
    expect(page.locator(".refused")).to_contain_text("wait")


REFUSED = (
    '<main id="main"><section class="refused"><h1>No</h1><p>Not now.</p><p>-</p></section></main>'
)


def test_a_pressed_outcome_shows_at_once_that_it_was_taken_and_is_sent_once(show: Show) -> None:
    page = show("/car/clover-05/trace/driver.seat-bag")
    held: list[Any] = []
    page.route(
        "**/*", lambda one: held.append(one) if one.request.method == "POST" else one.continue_()
    )
    page.locator(".outcomes [name=by]").fill("R")
    for box in page.locator(".outcomes input[type=checkbox]").all():
        box.check()
    outcomes = page.locator("button.outcome")
    outcomes.first.click()
    expect(page.locator("form.outcomes")).to_have_attribute("aria-busy", "true")
    expect(outcomes.first).to_have_class(re.compile("taken"))
    assert outcomes.evaluate_all("(all) => all.map((b) => b.disabled)") == [True] * outcomes.count()
    outcomes.last.click(force=True)
    for _ in range(200):  # the browser tells of a request when it comes to it
        if not held:
            page.wait_for_timeout(20)
    assert len(held) == 1
    held[0].fulfill(status=422, content_type="text/html", body=REFUSED)
    expect(page.locator(".refused")).to_contain_text("Not now.")
    expect(outcomes.first).to_be_enabled()
    expect(page.locator(".taken, [aria-busy]")).to_have_count(0)
    expect(page.locator("form.outcomes button[hidden]:enabled")).to_have_count(0)


@pytest.mark.parametrize(
    ("path", "label"),
    [
        ("/car/burdock-09/trace/passenger.front-bag", "Who"),
        ("/car/harrow-07/ask", "Where the maker says so"),
        ("/car/burdock-09/work?visit=arrive", "Note"),
    ],
)
def test_enter_in_a_field_chooses_no_outcome_and_no_rule_of_the_maker(
    show: Show, path: str, label: str
) -> None:
    page = show(path)
    sent: list[str] = []
    page.on("request", lambda asked: sent.append(asked.method))
    field = page.locator("form", has=page.locator("button[disabled][hidden]")).get_by_label(label)
    field.first.fill("R")
    field.first.press("Enter")
    page.wait_for_timeout(500)
    assert "POST" not in sent


def test_a_look_is_written_down_although_the_bench_was_started_again(
    show: Show, served: tuple[Any, int]
) -> None:
    page = show("/car/burdock-09/part/left.curtain")
    page.get_by_text("intact", exact=True).click()
    served[0].state.bench.sessions = Sessions()
    with page.expect_response(lambda answer: answer.status == 303):
        page.get_by_role("button", name="Write it down").click()
    page.goto("/car/burdock-09/history")
    expect(page.locator(".entries li").first).to_contain_text("saw left curtain airbag: intact")


def test_everything_entered_without_connection_is_kept_and_each_sent_once(show: Show) -> None:
    """Two looks at one part, the first with a photograph, each button pressed twice."""
    page = show("/car/clover-05/part/left.curtain")
    page.context.set_offline(True)
    write = page.get_by_role("button", name="Write it down")
    page.locator("input[type=file]").first.set_input_files(
        files=[{"name": "tear.png", "mimeType": "image/png", "buffer": make_picture()}]
    )
    for nth, seen in ((1, "intact"), (2, "damaged")):
        page.locator(f"input[name=seen_word][value={seen}]").check()
        for _ in range(2):
            write.click()
            expect(page.locator("#kept b")).to_have_text(str(nth))
    page.context.set_offline(False)
    expect(page.locator("#kept")).to_be_hidden()
    page.goto("/car/clover-05/history")
    for seen in ("intact", "damaged"):
        expect(page.locator(".entries li", has_text=f"airbag: {seen}")).to_have_count(1)
    page.goto("/car/clover-05/part/left.curtain")
    expect(page.locator(".seen img")).to_have_count(1)


def test_a_kept_look_that_met_a_change_is_decided_on_and_no_connection_is_told_missing(
    show: Show,
) -> None:
    page, other = show("/car/clover-05/part/right.curtain"), show("/car/clover-05/looks")
    page.context.set_offline(True)
    page.get_by_text("intact", exact=True).click()
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("#kept b")).to_have_text("1")
    other.goto("/car/clover-05/part/driver.seat-bag")
    other.locator("input[name=seen_word]").first.check()
    with other.expect_response(lambda answer: answer.status == 303):
        other.get_by_role("button", name="Write it down").click()
    page.context.set_offline(False)
    expect(page.get_by_text("What was done since")).to_be_visible()
    expect(page.locator("#kept > p")).to_be_hidden()
    page.get_by_role("link", name="Leave it").click()
    expect(page.locator("#kept")).to_be_hidden()
    expect(page.get_by_role("button", name="Write it down")).to_be_visible()


def test_a_tick_without_connection_is_kept_and_sent_once(show: Show) -> None:
    page = show("/car/clover-05/work?visit=arrive")
    page.context.set_offline(True)
    page.get_by_label("Record the car as it came").check()
    page.locator("#ticking").get_by_label("Who").fill("R")
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.locator("#kept")).to_be_visible()
    page.context.set_offline(False)
    expect(page.locator("#kept")).to_be_hidden()
    page.goto("/car/clover-05/history")
    expect(page.locator(".entries li", has_text="did 1")).to_have_count(1)


def test_an_outcome_without_connection_is_kept_and_sent_once(show: Show, call: Any) -> None:
    for number in ("1", "2"):
        signed = {"n": number, "by": "R", "safe": "yes"}
        call.post("/car/clover-05/tick", "/car/clover-05/work?visit=arrive", **signed)
    page = show("/car/clover-05/trace/driver.seat-bag")
    page.locator(".outcomes [name=by]").fill("R")
    for box in page.locator(".outcomes input[type=checkbox]").all():
        box.check()
    page.context.set_offline(True)
    page.locator("button.outcome").first.click()
    expect(page.locator("#kept")).to_be_visible()
    page.context.set_offline(False)
    expect(page.locator("#kept")).to_be_hidden()
    page.goto("/car/clover-05/history")
    expect(page.locator(".entries li", has_text="tested driver seat side")).to_have_count(1)


REPORT = "B0001-1B Driver frontal stage 1 open present\nLeft curtain short to ground stored\n"


def test_a_car_is_started_and_its_report_pasted_and_corrected(show: Show) -> None:
    page = show("/new")
    page.get_by_label("Name in the garage").fill("yarrow-99")
    page.get_by_label("or equipped like").select_option("harrow-07")
    page.get_by_role("button", name="Start").click()
    page.get_by_label("or paste its text").fill(REPORT)
    page.get_by_role("button", name="Add it").click()
    expect(page.locator(".lines li").first).to_contain_text("driver front airbag")
    page.get_by_text("It means something else").first.click()
    page.get_by_label("Fault").first.select_option("low-or-short")
    page.get_by_label("Who").first.fill(" ")
    page.get_by_role("button", name="Correct the line").first.click()
    expect(page.locator(".refused")).to_contain_text("Say who reads the line so.")
    expect(page.get_by_label("Fault").first).to_have_value("low-or-short")
    page.get_by_label("Who").first.fill("R")
    page.get_by_role("button", name="Correct the line").first.click()
    expect(page.locator(".refused")).to_have_count(0)
    page.goto("/car/yarrow-99/history")
    expect(page.locator(".entries li").first).to_contain_text("corrected B0001-1B")
    page.locator("button.stop").click()
    expect(page.locator(".entries li").first).to_contain_text("took back: corrected B0001-1B")


def test_a_question_is_answered_with_its_source(show: Show) -> None:
    page = show("/car/burdock-09/ask")
    form = page.locator("form.question", has=page.get_by_label("Where the maker says so")).first
    asked = form.locator("legend").inner_text()
    form.get_by_label("Where the maker says so").fill("procedure, section 12")
    form.get_by_label("Who").fill("R")
    form.get_by_role("button", name="no").click()
    expect(page.locator("form.question legend:not(.unseen)").get_by_text(asked)).to_have_count(0)


def test_lots_are_screened_and_sorted_by_touch(show: Show) -> None:
    page = show("/lots")
    rows = "id,region,model_year,zone,extent\nlot-b,US-OH,2019,nose-right,severe\n"
    text = (rows + "lot-a,GB,2011,tail,light\n").encode()
    file = {"name": "lots.csv", "mimeType": "text/csv", "buffer": text}
    page.get_by_label("List of lots, CSV").set_input_files(file)  # type: ignore[arg-type]
    page.get_by_role("button", name="Screen them").click()
    first = page.locator("table.lots tbody tr").first
    expect(first).to_contain_text("lot-b")
    page.locator("table.lots th a").first.focus()
    page.keyboard.press("Enter")
    expect(first).to_contain_text("lot-a")
    expect(page.locator("table.lots th a").first).to_be_focused()
    page.locator("table.lots th a").first.click()
    expect(first).to_contain_text("lot-b")


def test_a_gate_is_signed_a_seat_is_weighed_and_the_record_is_seen(show: Show) -> None:
    page = show("/car/harrow-07/prove")
    cautions = page.locator("#gate-cautions-read")
    cautions.locator("summary").click()
    cautions.get_by_label("Who").fill("R")
    cautions.get_by_role("button", name="I have read them").click()
    expect(page.locator("#gate-cautions-read")).to_have_count(0)
    page.goto("/car/harrow-07/seat/passenger.occupant-sensor")
    page.get_by_label("Laid on the seat").fill("0")
    page.get_by_label("Read by the system").fill("1")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".weighing [aria-current]")).to_contain_text("about half")
    page.goto("/car/harrow-07/record")
    expect(page.locator(".paper.draft")).to_be_visible()


def test_offers_are_planned_while_the_page_tells_how_it_goes(show: Show) -> None:
    page = show("/car/harrow-07/order", "laptop")
    with page.expect_download() as asked:
        page.get_by_role("link", name="Sheet for parts desks").click()
    asked_for = asked.value.path().read_text(encoding="utf-8")
    row = {"supplier": "Northyard", "condition": "new", "price": "100", "lead days": "3"}
    filled = answer_sheet(asked_for, row).encode()
    file = {"name": "o.csv", "mimeType": "text/csv", "buffer": filled}
    page.get_by_label("Sheet of offers").set_input_files(file)  # type: ignore[arg-type]
    page.get_by_role("button", name="Hand the offers in").click()
    expect(page.locator(".chart .days svg").first).to_be_visible(timeout=60_000)


def test_what_is_refused_is_told_above_the_form_that_keeps_what_was_ticked(show: Show) -> None:
    page = show("/car/harrow-07/work?visit=strip")
    boxes = page.locator("input[name=n]:not([disabled])")
    boxes.last.check()
    page.locator("#ticking input[name=by]").fill("R")
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.locator(".refused")).to_contain_text("Nothing was written")
    expect(page.locator(".refused")).to_contain_text("Tick ")
    expect(page.locator(".refused")).not_to_contain_text("squibwise did")
    expect(boxes.last).to_be_checked()


def test_what_was_kept_without_connection_and_is_refused_stays_until_it_is_left(
    show: Show,
) -> None:
    page = show("/car/harrow-07/work?visit=strip")
    page.locator("input[name=n]:not([disabled])").last.check()
    page.locator("#ticking input[name=by]").fill("R")
    page.context.set_offline(True)
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.locator("#kept")).to_be_visible()
    page.context.set_offline(False)
    expect(page.locator("#kept li")).to_contain_text("It was refused", timeout=40_000)
    page.get_by_role("button", name="Leave it").click()
    expect(page.locator("#kept")).to_be_hidden()


def test_what_is_known_of_the_crash_and_the_equipment_is_answered_at_the_car(show: Show) -> None:
    page = show("/new")
    page.get_by_label("Name in the garage").fill("sedge-04")
    page.get_by_label("Who").fill("R")
    page.get_by_role("button", name="Start", exact=True).click()
    page.get_by_label("or paste its text").fill("B0001-1B driver frontal stage 1 open present\n")
    page.get_by_role("button", name="Add it").click()
    expect(page.locator(".lines li")).to_have_count(1)
    page.goto("/car/sedge-04/ask")
    page.get_by_label("Where it was hit").select_option("nose-centre")
    page.get_by_label("How hard").select_option("moderate")
    page.get_by_label("On the passenger's seat").select_option("empty")
    page.get_by_role("button", name="Write it down").first.click()
    expect(page.locator("details", has_text="What is known of the crash")).not_to_have_attribute(
        "open", ""
    )
    page.get_by_label("It has").select_option("seat-bags")
    page.get_by_role("button", name="Write it down").last.click()
    expect(page.get_by_label("It has")).to_have_count(0)
    page.goto("/car/sedge-04")
    expect(page.locator(".card", has_text="impact at nose centre, moderate")).to_have_count(1)
    expect(page.locator(".card", has_text="passenger: seat empty")).to_have_count(1)


def test_a_stale_write_shows_both_versions_and_can_be_entered_all_the_same(show: Show) -> None:
    mine = show("/car/clover-05/part/right.curtain")
    theirs = show("/car/clover-05/part/left.curtain")
    for page, word in ((theirs, "intact"), (mine, "damaged")):
        page.locator(f'input[name=seen_word][value="{word}"]').check()
        with page.expect_response(lambda answer: answer.request.method == "POST"):
            page.get_by_role("button", name="Write it down").click()
    expect(mine.get_by_text("What was done since")).to_be_visible()
    mine.get_by_role("button", name="Enter it all the same").click()
    mine.wait_for_url("**/part/right.curtain")
    mine.goto("/car/clover-05")
    expect(
        mine.locator(
            ".card", has_text="right curtain airbag: seen: housing, cover or mount damaged"
        )
    ).to_have_count(1)


def test_a_line_without_a_code_is_corrected_on_the_report(show: Show) -> None:
    page = show("/car/clover-05/add")
    page.get_by_label("or paste its text").fill("Left curtain short to ground stored\n")
    page.get_by_role("button", name="Add it").click()
    line = page.locator(".lines li", has_text="Left curtain short to ground stored").first
    line.get_by_text("It means something else").click()
    line.get_by_label("Part").select_option("right.curtain")
    line.get_by_label("Fault").select_option("open-or-high")
    line.get_by_label("Who").fill("R")
    line.get_by_role("button", name="Correct the line").click()
    expect(page.locator(".lines li").first.locator("p b")).to_have_text("right curtain airbag")
    page.goto("/car/clover-05/history")
    expect(page.locator(".entries li").first).to_contain_text("corrected Left curtain short")


def test_a_bid_sheet_is_filled_in_and_answered(show: Show) -> None:
    page = show("/car/clover-05/order", "laptop")
    page.get_by_role("link", name="What to bid").click()
    for field in page.locator("select[name^=gate-]").all():
        field.select_option("yes")
    for field in page.locator("input[name^=source-]").all():
        field.fill("by phone")
    for name, sum_ in (("low", "9000"), ("likely", "11000"), ("high", "12500")):
        page.locator(f"input[name=resale-{name}]").fill(sum_)
    for box in page.locator("input[name^=nil-]").all():
        box.check()
    page.get_by_role("button", name="Work out the bid").click()
    expect(page.get_by_role("heading", name="The bid", exact=True)).to_be_visible(timeout=60_000)
    expect(
        page.locator("details", has=page.locator("input[name=resale-low]"))
    ).not_to_have_attribute("open", "")


def test_a_second_browser_is_paired_by_a_token_that_works_once(
    browser: Browser, served: tuple[Any, int], address: str
) -> None:
    sessions = served[0].state.bench.sessions
    visiting, owning = sessions.offer_pairing("visitor"), sessions.offer_pairing("owner")
    phone = browser.new_context(base_url=address, **PHONE)
    page = phone.new_page()
    page.goto(f"/pair/{visiting}")
    expect(page.get_by_role("heading", name="Garage")).to_be_visible()
    page.goto("/car/clover-05/part/left.curtain")
    expect(page.get_by_text("You are a visitor")).to_be_visible()
    expect(page.get_by_role("button", name="Write it down")).to_have_count(0)
    page.goto(f"/pair/{owning}")
    page.goto("/car/clover-05/part/left.curtain")
    expect(page.get_by_role("button", name="Write it down")).to_be_visible()
    phone.close()
    other = browser.new_context(base_url=address, **PHONE).new_page()
    answer = other.goto(f"/pair/{owning}")
    assert answer is not None
    assert answer.status == 410
    other.context.close()
