"""What no page says: commands of the terminal, keys, ids; how it writes and reads figures."""

import re

import pytest
from playwright.sync_api import Browser
from tests.web.conftest import Caller
from tests.web.sheets import fill_in_bid
from tests.web.test_told_pages import Texts, left_english, never_said, texts

from squibwise.catalog.screens import LANGUAGES, load_marks
from squibwise.errors import InputError
from squibwise.present.page_words import mark, read_figure, tell_on_page, write_figure


# Ours: each kind of id as a text of the program holds it, and what a page says in its place.
@pytest.mark.parametrize(
    ("text", "language", "told"),
    [
        ("left.curtain: seen intact", "en", "left curtain airbag: seen intact"),
        ("driver.front-bag/2: fine", "en", "driver front airbag, stage 2: fine"),
        ("headliner (centre.headliner): 87% sound", "en", "headliner: 87% sound"),
        ("2 x belt: row2-left, nose-left", "en", "2 x belt: row 2 left, nose left"),
        ("held by unit-bolted, power-safe", "en", "held by unit bolted, power safe"),
        ("Record the car as it came (step:arrival-record)", "en", "Record the car as it came"),
        ("seen: torn (look-1, case.toml:42; judgement)", "en", "seen: torn (a look; judgement)"),
        ("/var/squibwise-x1/yarrow-9/bid.toml: broken", "en", "broken"),
        ("'model_year' must be a number", "en", "'model year' must be a number"),
        ("40% · ask: front-belts", "en", "40% · ask the maker"),
        ("load:load left.curtain/1: Load left.curtain/1: 2.1 ohm, issued to left.curtain/1 and "
         "returned.", "en", "Load left curtain airbag: 2.1 ohm, issued to left curtain airbag and "
         "returned."),
        ("passed out:front-belt@driver; each stage noted", "en", "ticked; each stage noted"),
        ("4,570 to 7,820 EUR (in 80% of cases)", "de", "4.570 bis 7.820 EUR (in 80% der Fälle)"),
        ("17.0 h (12.8 to 24.6)", "de", "17,0 h (12,8 bis 24,6)"),
        ("1,234.50 USD", "de", "1.234,50 USD"),
        ("1,234.50 USD", "es", "1234,50 USD"),
        ("part 84.517 of section 3.2, 49 CFR 173.4(j)", "de",
         "part 84.517 of section 3.2, 49 CFR 173.4(j)"),
    ],
)  # fmt: skip
def test_a_page_says_names_for_ids_and_figures_as_its_language_has_them(
    text: str, language: str, told: str
) -> None:
    assert tell_on_page(text, language) == told


TWO_WAYS = 12345.0  # typed with a mark it may also be 12.345
FIGURES = (0.5, 2.2, 12.75, 999.0, 1234.5, TWO_WAYS, 1234567.5)
WRITTEN = [
    "en-US", "en-GB", "de-DE", "de-AT", "de-CH", "de-LI", "de-LU", "es-ES", "es-GQ",
    *(f"es-{c}" for _, c in load_marks() if _ == "es" and c != "-"),
]  # fmt: skip
"""Languages with countries, whose marks differ."""


@pytest.mark.browser
def test_figures_have_the_marks_that_browsers_set(browser: Browser) -> None:
    """Source: ECMA-402, Intl.NumberFormat, with the locale data that Chromium ships."""
    page = browser.new_page()
    script = "([all, n]) => all.map((l) => n.map((x) => new Intl.NumberFormat(l).format(x)))"
    expected = dict(zip(WRITTEN, page.evaluate(script, [WRITTEN, FIGURES]), strict=True))
    page.close()
    assert len(expected) > 25
    for tag, figures in expected.items():
        spoken, _, country = tag.partition("-")
        told = [mark(f"{n:,}".removesuffix(".0"), spoken, country) for n in FIGURES]
        assert told == figures, tag
        clear = {told: n for told, n in zip(figures, FIGURES, strict=True) if n != TWO_WAYS}
        read = [read_figure(told, spoken, country) for told in clear]
        assert read == list(clear.values()), tag


@pytest.mark.parametrize("country", ["US", "MX", "ES", "AR", ""])
@pytest.mark.parametrize("language", LANGUAGES)
def test_what_a_form_holds_is_read_as_it_was_written(language: str, country: str) -> None:
    for value in (0.0, 1.2, 1.234, 2.125, 12.5, 1200.0, 12345.0, 0.125, -1.5):
        assert read_figure(write_figure(value, language, country), language, country) == value


@pytest.mark.parametrize(
    ("region", "price"),
    [("US-CA", "1,234.50"), ("MX-JAL", "1,234.50"), ("ES-M", "1234,50"), ("AR-B", "1.234,50")],
)
def test_a_spanish_page_has_the_marks_of_the_country_of_the_car(region: str, price: str) -> None:
    country = region.partition("-")[0]
    assert tell_on_page("1,234.50 USD", "es", country) == f"{price} USD"


# Ours: what people type in either language, and in neither.
@pytest.mark.parametrize(
    ("typed", "language", "value"),
    [
        ("2,2", "en", 2.2), ("2.2", "de", 2.2), ("2,2", "de", 2.2), ("1,234.50", "de", 1234.5),
        ("1.234,50", "en", 1234.5), ("1 234,5", "es", 1234.5), ("1.234.567", "de", 1234567.0),
        ("1'234.5", "en", 1234.5), ("1,234", "de", 1.234), ("1.234", "en", 1.234),
        ("0.125", "de", 0.125), ("0,125", "en", 0.125), (".5", "en", 0.5), ("-12", "en", -12.0),
    ],
)  # fmt: skip
def test_a_figure_is_read_as_it_was_meant(typed: str, language: str, value: float) -> None:
    assert read_figure(typed, language) == value


@pytest.mark.parametrize(
    ("typed", "language", "country", "remedy"),
    [
        ("1,234", "en", "US", "Write 1234 or 1.2340."),
        ("1.234", "de", "DE", "Write 1234 or 1,2340."),
        ("1.200", "de", "DE", "Write 1200 or 1,2."),
        ("1,200", "de", "CH", "Write 1200 or 1.2."),
        ("1.200", "es", "US", "Write 1200 or 1.2."), ("1,200", "es", "US", "Write 1200 or 1.2."),
        ("1.200", "es", "MX", "Write 1200 or 1.2."), ("1,200", "es", "AR", "Write 1200 or 1,2."),
        ("1.200", "es", "ES", "Write 1200 or 1,2."), ("12,000", "es", "ES", "Write 12000 or 12,0."),
    ],
)  # fmt: skip
def test_a_figure_that_can_be_read_in_two_ways_is_asked_for_again(
    typed: str, language: str, country: str, remedy: str
) -> None:
    with pytest.raises(InputError, match="two ways") as refused:
        read_figure(typed, language, country)
    assert refused.value.remedy == remedy
    for clear in re.findall(r"[\d.,]*\d", remedy):
        read_figure(clear, language, country)


@pytest.mark.parametrize(("region", "typed"), [("US-CA", "2.2"), ("US-CA", "2,2"), ("ES-M", "2,2")])
def test_a_reading_is_typed_in_spanish_with_either_mark(
    call: Caller, region: str, typed: str
) -> None:
    car = f"sage-{region.lower()}-{ord(typed[1])}"
    call.post("/new", id=car, region=region, like="harrow-07")
    page = f"/car/{car}/seat/passenger.occupant-sensor"
    call.client.cookies.set("squibwise-language", "es")
    answer = call.post(page, applied=typed, unit="kg", volts="1.200")
    assert answer.status_code == 422
    assert "puede leerse de dos maneras" in answer.text
    assert call.post(page, applied=typed, unit="kg").status_code == 303
    call.client.cookies.delete("squibwise-language")
    trial = call.app.state.bench.open(car).case.evidence[-1]
    assert trial.applied_kg == 2.2


@pytest.mark.parametrize("typed", ["two", "1,23,4", "1.2.3", "1,2345,6", "nan", "inf", "1e5"])
def test_what_is_no_figure_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match=re.escape(typed)):
        read_figure(typed, "en")


# Ours: mistakes that people make in the forms of a car.
@pytest.mark.parametrize(
    ("form", "page", "sent"),
    [
        ("tick", "work", {"n": "2", "by": "R"}),
        ("tick", "work", {"n": "81", "by": "R"}),
        ("tick", "work", {"n": "31", "by": "R"}),
        ("tick", "work", {"n": "155", "by": "R", "how": "failed"}),
        ("ask", "ask", {"question": "unit-bags", "answer": "yes", "by": "R"}),
        ("told", "ask", {"zone": "moon"}),
        ("terms", "order", {"technicians": "7"}),
        ("bid", "bid", {"resale-low": "9", "resale-likely": "5", "resale-high": "1"}),
        ("bid", "bid", dict.fromkeys(("resale-low", "resale-likely", "resale-high"), "9")
         | {"loss_chance": "7"}),
        ("seat/passenger.occupant-sensor", "seat/passenger.occupant-sensor",
         {"applied": "5", "cabin": "900"}),
        ("sign", "prove", {"gate": "provenance", "by": "R", "number": "1"}),
        ("sign", "prove", {"gate": "provenance", "by": "R", "component": "driver.front-bag",
         "number": "1", "donor_vin": "XX"}),
    ],
)  # fmt: skip
@pytest.mark.parametrize("language", LANGUAGES)
def test_no_refusal_says_a_command_an_id_or_a_key(
    call: Caller, language: str, form: str, page: str, sent: dict[str, str]
) -> None:
    call.post("/language", "/", lang=language, back="/")
    answer = call.post(f"/car/harrow-07/{form}", f"/car/harrow-07/{page}", **sent)
    assert answer.status_code == 422
    told = Texts()
    told.feed(answer.text)
    call.client.cookies.delete("squibwise-language")
    assert never_said(told.found) == []


LOTS = (
    "id,region,model_year,zone,extent,resale\n"
    "lot-1,US-OH,2019,nose-centre,moderate,9000\nlot-2,GB,2011,tail,light,\n"
)


@pytest.mark.parametrize("language", ["de", "es"])
def test_the_page_of_lots_says_no_id_and_is_told_in_the_language(
    call: Caller, language: str
) -> None:
    sent = call.post("/lots", files={"lots": ("lots.csv", LOTS.encode(), "text/csv")})
    pages = [texts(call, sent.headers["location"], spoken) for spoken in ("en", language)]
    assert any(t.startswith("look whether") for t in pages[0])
    assert any("no resale stated" in t for t in pages[0])
    assert [wrong for page in pages for wrong in never_said(page)] == []
    own = ("lots.csv",)
    assert [left_english(*pair, own) for pair in zip(*pages, strict=True)] == [[]] * len(pages[0])


# Ours: figures of the sheet that cannot be, and what of it is left open.
@pytest.mark.parametrize(
    "sent",
    [
        {"share-body-low": "9"},
        {"resale-low": "12000"},
        {"loss_chance": "15"},
        {"fees": "table", "fee-0-from": "100", "fee-0-flat": "5"},
    ],
)
def test_a_refusal_of_the_bid_sheet_has_the_words_of_the_page(
    call: Caller, sent: dict[str, str]
) -> None:
    refused = []
    for language in LANGUAGES:
        call.client.headers["accept-language"] = language
        answer = fill_in_bid(call, "clover-05", **sent)
        assert answer.status_code == 422
        page = Texts()
        page.feed(answer.text)
        assert never_said(page.found) == []
        refused.append(page.found[-4:-2])
    call.client.headers["accept-language"] = "en"
    assert len({tuple(told) for told in refused}) == len(LANGUAGES)


def test_what_is_not_stated_of_a_bid_is_asked_for_in_the_words_of_the_page(call: Caller) -> None:
    assert fill_in_bid(call, "clover-05", **{"nil-body": ""}).status_code == 303
    told = texts(call, "/car/clover-05/bid?now=1", "en")
    asked = [t for t in told if t.startswith("Not stated: ")]
    assert len(asked) == 2
    assert all(" or say that " in t for t in asked)
    assert never_said([t for t in told if "nil" in t or "fees" in t]) == []
    assert not any("nil = true" in t or "fees = [" in t for t in told)
