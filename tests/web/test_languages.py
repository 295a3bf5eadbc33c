"""Every word of the screens stands in the catalogue in every language, and none stands idle."""

import re
from pathlib import Path
from typing import Any

import pytest

from squibwise.catalog.screens import LANGUAGES, load_screens
from squibwise.errors import CatalogError
from squibwise.web import layout
from squibwise.web.car_pages import LEGEND
from squibwise.web.seat_pages import STEPS

PAGES = sorted((layout.HERE / "pages").glob("*.html"))
SAID = re.compile(r"""\bt\((["'])(.*?)\1\)""")


def test_every_phrase_of_a_page_is_told_in_every_language() -> None:
    words = load_screens().words
    said = {m[2] for page in PAGES for m in SAID.finditer(page.read_text(encoding="utf-8"))}
    said |= {text for _, _, text in LEGEND} | set(STEPS)
    assert len(said) > 200
    assert said - set(words) == set()
    assert all(words[phrase][code].strip() for phrase in said for code in LANGUAGES)


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
