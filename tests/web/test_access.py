"""Every page for everybody: axe-core finds nothing, the keyboard is enough, text may be doubled.

Source: Web Content Accessibility Guidelines 2.2 (W3C, 2023), as axe-core checks them; success
criteria 1.4.4 (text at 200 %), 1.4.10 (no scrolling in two directions), 2.1.1 (keyboard).
"""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

pytestmark = pytest.mark.browser
Show = Callable[..., Page]
VENDORED = Path(__file__).parent / "vendored"
AXE = (VENDORED / "axe.min.js").read_text(encoding="utf-8")
RUN = "() => axe.run({resultTypes: ['violations'], iframes: false})"
PAGES = (
    "/", "/new", "/lots", "/phone",
    "/car/harrow-07", "/car/harrow-07/part/driver.front-bag", "/car/harrow-07/look",
    "/car/burdock-09/trace", "/car/burdock-09/trace/passenger.front-bag", "/car/harrow-07/ask",
    "/car/harrow-07/order", "/car/harrow-07/bid", "/car/harrow-07/work",
    "/car/harrow-07/work?visit=strip", "/car/harrow-07/operation/1", "/car/harrow-07/add",
    "/car/harrow-07/report/scan-1", "/car/harrow-07/seat/passenger.occupant-sensor",
    "/car/harrow-07/prove", "/car/harrow-07/record", "/car/harrow-07/history", "/car/nowhere",
    "/pair/used",
)  # fmt: skip
WIDTH = "document.documentElement.scrollWidth"
SIZES: Any = ({"width": 390, "height": 844}, {"width": 1366, "height": 768})


def test_vendored_code_is_what_was_taken_over() -> None:
    import squibwise.web.layout as layout

    for folder in (VENDORED, layout.STATIC):
        for line in (folder / "vendored.sha256").read_text(encoding="utf-8").splitlines():
            digest, name = line.split()
            assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
    assert (layout.STATIC / "htmx-LICENSE.txt").is_file()
    assert (VENDORED / "axe-LICENSE.txt").is_file()


LOW = """() => Array.from(document.querySelectorAll(`
  main a, main button, main select, main summary, main label:has(input), nav a,
  main input:not([type=hidden], [type=checkbox], [type=radio])`))
  .filter((e) => e.getClientRects().length && !e.closest('svg'))
  .filter((e) => e.getBoundingClientRect().height < 47.5)
  .map((e) => e.outerHTML.slice(0, 120))"""


NARROW = """() => Array.from(document.querySelectorAll(
    'body a, body button, body summary, body select, body label:has(input)'))
  .filter((e) => e.checkVisibility() && !e.closest('svg') && !e.matches('.skip'))
  .filter((e) => e.getBoundingClientRect().width < 43.5)
  .map((e) => e.outerHTML.slice(0, 120))"""
DOUBLE = "document.documentElement.style.fontSize = '225%'"  # twice the page's own 112.5
UNFOLD = """() => {
  for (const fold of document.querySelectorAll('details')) fold.open = true;
  const laid = new CSSStyleSheet();  // all of it at once, so that nothing moves while it is judged
  laid.replaceSync('* { content-visibility: visible !important; }');
  document.adoptedStyleSheets = [laid];
}"""


def find_faults(page: Page) -> list[tuple[str, list[str]]]:
    """Return what axe-core finds on a page with every fold open."""
    page.evaluate(UNFOLD)
    page.evaluate(AXE)
    found = page.evaluate(RUN)["violations"]
    return [(v["id"], [n["html"][:160] for n in v["nodes"]][:3]) for v in found]


BROKEN = r"""() => {
  const broken = [], texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const own = 'svg, script, pre, textarea, option, code, .unseen, .home';
  for (let text; (text = texts.nextNode());) {
    if (text.parentElement.closest(own) || !text.parentElement.checkVisibility()) continue;
    for (const word of text.data.matchAll(/[\p{L}\p{N}][\p{L}\p{N}.,]+/gu)) {
      const range = document.createRange();
      range.setStart(text, word.index);
      range.setEnd(text, word.index + word[0].length);
      const tops = Array.from(range.getClientRects(), (box) => Math.round(box.top / 4));
      if (new Set(tops).size > 1) broken.push(word[0]);
    }
  }
  return broken;
}"""


SHOWN = ((SIZES[0], "light"), (SIZES[1], "dark"))
"""Colours hang on the light alone, places on the size: each is seen once."""


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_for_everybody(show: Show, path: str) -> None:
    """Axe finds nothing in any size or light; text may be doubled; targets suit greasy hands."""
    page = show(path)
    page.evaluate(UNFOLD)
    assert page.evaluate(LOW) + page.evaluate(NARROW) == []
    assert page.evaluate(BROKEN) == [], "a word or a figure is broken inside"
    page.evaluate(AXE)
    found = []
    for size, scheme in SHOWN:
        page.set_viewport_size(size)
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        for violation in page.evaluate(RUN)["violations"]:
            nodes = [n["html"][:160] for n in violation["nodes"]][:3]
            found.append((size["width"], scheme, violation["id"], nodes))
        assert page.evaluate(WIDTH) <= size["width"]
    assert found == []
    page.evaluate(DOUBLE)
    for size in SIZES:
        page.set_viewport_size(size)
        assert page.evaluate(WIDTH) <= size["width"]


@pytest.mark.parametrize("language", ["de", "es"])
def test_longer_words_of_another_language_fit_a_phone_at_twice_their_size(
    browser: Browser, address: str, language: str
) -> None:
    width = SIZES[0]["width"]
    phone = browser.new_context(
        base_url=address, viewport=SIZES[0], locale=language, has_touch=True, is_mobile=True
    )
    page, broken = phone.new_page(), {}
    for path in PAGES:
        page.goto(path, wait_until="domcontentloaded")
        page.evaluate(UNFOLD)
        if words := page.evaluate(BROKEN):
            broken[path] = words
        assert page.evaluate(WIDTH) <= width, path
        page.evaluate(DOUBLE)
        assert page.evaluate(WIDTH) <= width, path
    phone.close()
    assert broken == {}


def test_a_look_is_written_by_keyboard_alone(show: Show) -> None:
    page = show("/car/harrow-07/look", "laptop")
    page.keyboard.press("Tab")
    expect(page.locator(".skip")).to_be_focused()
    page.keyboard.press("Enter")
    page.locator('.rowlist a[href$="/part/centre.windshield"]').first.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/part/centre.windshield")
    seen = page.locator(".choice small").first.inner_text()
    page.locator("input[name=seen_word]").first.focus()
    page.keyboard.press("Space")
    page.locator("input[name=by]").focus()
    page.keyboard.type("K")
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.keyboard.press("Enter")
    page.wait_for_load_state("networkidle")  # the answer leads on to a page of its own
    page.goto("/car/harrow-07")
    expect(page.locator(".card", has_text=f"windshield: seen: {seen}")).to_have_count(1)


def test_a_refusal_a_kept_look_and_a_stale_one_are_for_everybody(show: Show) -> None:
    """States of a page that no address leads to."""
    page = show("/car/harrow-07/work?visit=strip")
    page.locator("input[name=n]").nth(3).check()
    page.locator("#ticking input[name=by]").fill("K")
    page.get_by_role("button", name="Done", exact=True).click()
    expect(page.locator(".refused")).to_be_visible()
    assert find_faults(page) == []
    page.goto("/car/clover-05/part/right.curtain")
    page.context.set_offline(True)
    page.locator("input[name=seen_word]").first.check()
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("#kept")).to_be_visible()
    assert find_faults(page) == []
    page.context.set_offline(False)
    mine, theirs = show("/car/burdock-09/part/left.curtain"), show("/car/burdock-09")
    theirs.goto("/car/burdock-09/part/right.curtain")
    for one in (theirs, mine):
        one.locator("input[name=seen_word]").first.check()
        with one.expect_response(lambda answer: answer.request.method == "POST"):
            one.get_by_role("button", name="Write it down").click()
    expect(mine.get_by_text("What was done since")).to_be_visible()
    assert find_faults(mine) == []


WALKED = [PAGES[n] for n in (0, 1, 4, 6, 8, 9, 12, 18)]
CONTROLS = """() => {
  const found = Array.from(document.querySelectorAll(
    'a[href], button, select, textarea, summary, input:not([type=hidden]), [tabindex]'))
    .filter((e) => e.tabIndex >= 0 && !e.disabled && e.checkVisibility({visibilityProperty: true}));
  found.forEach((e, i) => e.setAttribute('data-nth', i));
  return found.map((e) => [e.type === 'radio' ? e.name : '', e.outerHTML.slice(0, 120)]);
}"""
FOCUSED = """() => {
  const e = document.activeElement, style = getComputedStyle(e);
  const mark = e.querySelector('.touch');  // of a part in the drawing
  const ring = mark ? getComputedStyle(mark).stroke !== 'none' : style.outlineStyle !== 'none';
  return [e.getAttribute('data-nth'), ring];
}"""


@pytest.mark.parametrize("path", WALKED)
def test_every_control_of_a_page_is_reached_by_keyboard_and_shows_it(show: Show, path: str) -> None:
    """Source: WCAG 2.2, 2.1.1 keyboard, 2.1.2 no trap, 2.4.7 focus visible."""
    page = show(path)
    controls = page.evaluate(CONTROLS)
    reached, unseen = set(), []
    for _ in range(len(controls) + 2):
        page.keyboard.press("Tab")
        nth, has_ring = page.evaluate(FOCUSED)
        if nth is None:
            continue  # the page itself, between the last control and the first
        reached.add(int(nth))
        if not has_ring:
            unseen.append(controls[int(nth)][1])
    groups = {controls[n][0] for n in reached} - {""}  # arrows move inside a group of choices
    missed = [c for n, (g, c) in enumerate(controls) if n not in reached and g not in groups]
    assert missed == []
    assert unseen == []


def test_escape_folds_up_what_the_keyboard_opened(show: Show) -> None:
    page = show("/car/harrow-07/report/scan-1", "laptop")
    fold = page.locator("details.place").first
    fold.locator("summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    expect(fold.get_by_label("Code")).to_be_focused()
    page.keyboard.press("Escape")
    expect(fold).not_to_have_attribute("open", "")
    expect(fold.locator("summary")).to_be_focused()
