"""Every word of the screens stands in the catalogue in every language, and none stands idle."""

import re
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.catalog.screens import FOLDER, LANGUAGES, load_screens
from squibwise.errors import CatalogError
from squibwise.intake.report.claims import asides
from squibwise.model.evidence import Evidence
from squibwise.model.names import PLACES
from squibwise.model.proof import Verdict
from squibwise.model.words import FAULTS, STATES
from squibwise.present.phrases import in_words
from squibwise.present.tell_visits import POWER
from squibwise.web import bid_pages, drawing, layout, lots_pages
from squibwise.web.car_pages import LEGEND
from squibwise.web.look_pages import KNOWING, MAKER_FIGURES
from squibwise.web.market_pages import TERM_FIELDS
from squibwise.web.report_pages import WHENS
from squibwise.web.seat_pages import STEPS
from squibwise.web.sending import LABELS
from squibwise.web.work_pages import ELSEWHERE

PAGES = sorted((layout.HERE / "pages").glob("*.html"))
SAID = re.compile(r"""\bt\((["'])(.*?)\1\)""")


def test_every_phrase_of_a_page_is_told_in_every_language() -> None:
    words = load_screens().words
    said = {m[2] for page in PAGES for m in SAID.finditer(page.read_text(encoding="utf-8"))}
    said |= {text for _, _, text in LEGEND} | {
        *STEPS,
        *TERM_FIELDS.values(),
        *LABELS.values(),
        *MAKER_FIGURES.values(),
    }
    assert len(said) > 200
    assert said - set(words) == set()
    assert all(words[phrase][code].strip() for phrase in said for code in LANGUAGES)


def test_every_word_that_a_choice_or_a_heading_is_made_of_is_told_and_none_stands_idle() -> None:
    catalog = load_catalog()
    kinds = [str(kind.__struct_config__.tag) for kind in get_args(Evidence)]
    looks = [w.word for kind in catalog.kinds for w in catalog.looks(kind).values()]
    fields = (*bid_pages.SPREADS, *bid_pages.SINGLES)
    made = {*map(in_words, (*kinds, *looks, *FAULTS, *PLACES, *WHENS))}
    made |= {field.replace("_", " ") for field in fields} | {*catalog.bidding.trades}
    made |= {
        *lots_pages.COLUMNS.values(),
        *catalog.bidding.means().values(),
        *map(in_words, drawing.layout().views),
    }
    made |= {"Page before", "Next page"}
    made |= {label for _, label, _ in KNOWING} | {label for _, label in ELSEWHERE.values()}
    made |= {in_words(word) for _, _, words in KNOWING for word in words}
    made |= {*STATES, *POWER.values(), *get_args(get_type_hints(Verdict)["outcome"])}
    made |= {"arrive", "read", "strip", "prove", "fit", "final", "ask", "trace", "look", "do"}
    made |= {"renew"}  # what comes next of a circuit whose fault its tests located
    made |= {"low", "likely", "high", "new", "recycled", "rebuilt", "donor", "repaired", "unknown"}
    made |= {text for _, _, text in LEGEND} | {
        *STEPS,
        *TERM_FIELDS.values(),
        *LABELS.values(),
        *MAKER_FIGURES.values(),
    }
    assert made - set(load_screens().words) == set()
    words = load_screens(FOLDER / "words.tsv").words
    said = {m[2] for page in PAGES for m in SAID.finditer(page.read_text(encoding="utf-8"))}
    assert set(words) - made - said == set()


def test_outcomes_of_cards_and_reasons_of_lines_that_are_no_fault_are_told() -> None:
    book = load_catalog().loops
    said = {in_words(word) for test in book.tests for word in test.outcomes}
    assert len(said) > 20
    parts = Path(asides.__file__).read_text(encoding="utf-8").split("reasons = (")[1:]
    tables = "".join(part.partition("\n    )\n")[0] for part in parts)
    reasons = re.findall(r', "([a-z ]+)"\),$', tables, re.MULTILINE)
    assert {"denied", "work done"} <= set(reasons)
    said |= {*reasons, "a question"}
    assert said - set(load_screens().words) == set()


COMPOSED = {
    "change of speed about", "lines not understood", "seat not known", "taken adult latched",
    "belt unlatched", "child seat yes", "child seat no", "row 2 centre", "row 2 right",
    "row 3 left", "row 3 right", "inspect the", "program and configure the airbag control unit",
    "the driver seat", "the driver wheel", "a pillar trim off", "door trim off", "at most in",
    "loop resistance of", "by 'meter'", "by substitute load", "by meter", "by scan live value",
    "seat trials of", "seat rearmost", "seat foremost", "min before", "by others",
    "the maker's window is not entered",
}  # fmt: skip
"""Pieces that the program puts together of words that stand apart."""
MOST_IDLE = 0.02
"""Ours: share of rows that may outlive a sentence that was reworded."""


def test_every_sentence_of_the_tables_is_one_that_the_program_or_its_catalogue_says() -> None:
    package = layout.HERE.parent
    files = [*package.rglob("*.py"), *package.rglob("*.toml"), FOLDER.parent / "browser.tsv"]
    text = " ".join(p.read_text(encoding="utf-8") for p in files)
    joined = re.sub(r'"\s*\n\s*f?"', "", text)  # a literal that goes on in the next line
    said = _bare(joined)
    idle, count = [], 0
    for table in FOLDER.glob("*.tsv"):
        rows = table.read_text(encoding="utf-8").splitlines()[1:] * (table.name != "words.tsv")
        for english in (row.partition("\t")[0] for row in rows):
            count += 1
            pieces = re.split(r"\{[a-z]+\}|[.,:;?]", english)
            longest = max(map(_bare, pieces), key=len)
            if longest not in COMPOSED and longest not in said:
                idle.append(english)
    assert count > 500
    assert len(idle) / count <= MOST_IDLE, idle


def _bare(text: str) -> str:
    """Return a text without case, hyphens, brackets and runs of space."""
    return " ".join(re.sub(r"[-()]", " ", text).lower().split())


@pytest.mark.parametrize(("code", "word"), [("de", "Werkstatt"), ("es", "Taller")])
def test_a_page_is_told_in_the_language_that_was_chosen(call: Any, code: str, word: str) -> None:
    answer = call.post("/language", "/", lang=code, back="/")
    assert answer.status_code == 303
    html = call.get("/").text
    assert f'<html lang="{code}">' in html
    assert word in html
    call.post("/language", "/", lang="en", back="/")


def test_the_language_of_the_browser_is_taken_until_one_is_chosen(call: Any) -> None:
    call.client.cookies.delete("squibwise-language")
    answer = call.client.get("/", headers={"accept-language": "fr, es-MX;q=0.8"})
    assert '<html lang="es">' in answer.text


@pytest.mark.parametrize("rows", ["Look\tSehen\t\n", "Look\tSehen\tVer\nLook\tSehen\tVer\n"])
def test_a_phrase_that_lacks_a_language_or_stands_twice_is_refused(
    tmp_path: Path, rows: str
) -> None:
    file = tmp_path / "screens.tsv"
    file.write_text("en\tde\tes\n" + rows, encoding="utf-8")
    with pytest.raises(CatalogError):
        load_screens(file)
