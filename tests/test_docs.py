"""The pages of the site: examples that run, small pictures, addresses that exist."""

import doctest
import re
from pathlib import Path

from squibwise.web.app import GETS, POSTS

ROOT = Path(__file__).parents[1]
DOCS, CODE = ROOT / "docs", ("src", "tests", "fit", "bench", "requirements")
LARGEST_PICTURE, MOST_PICTURES = 150_000, 8


def test_the_examples_of_the_python_page_run() -> None:
    found = doctest.testfile(str(DOCS / "python.md"), module_relative=False, verbose=False)
    assert found.attempted >= 8
    assert found.failed == 0


def test_the_examples_of_the_page_on_adding_stand_in_the_catalogue_and_run() -> None:
    page = DOCS / "adding.md"
    blocks = re.findall(r"```(?:toml|tsv)\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL)
    data = ROOT / "src" / "squibwise" / "catalog" / "data"
    files = [
        p.read_text(encoding="utf-8") for p in data.rglob("*") if p.suffix in (".toml", ".tsv")
    ]
    assert len(blocks) >= 6
    assert [b for b in blocks if not any(b.strip() in text for text in files)] == []
    found = doctest.testfile(str(page), module_relative=False, verbose=False)
    assert found.attempted >= 5
    assert found.failed == 0


def test_pictures_are_few_and_small_and_all_are_shown() -> None:
    pictures = sorted((DOCS / "pictures").iterdir())
    text = "".join(p.read_text(encoding="utf-8") for p in DOCS.glob("*.md"))
    assert 0 < len(pictures) <= MOST_PICTURES
    assert [p.name for p in pictures if p.stat().st_size > LARGEST_PICTURE] == []
    assert [p.name for p in pictures if f"pictures/{p.name}" not in text] == []
    assert re.findall(r"\]\((pictures/[^)]+)\)", text)


def test_every_way_to_write_has_a_page_to_write_from() -> None:
    assert {p for p in POSTS if "{" not in p} <= set(GETS) | {"/language"}


def test_every_module_that_a_page_names_is_there() -> None:
    known = {p.name for top in CODE for p in (ROOT / top).rglob("*.py")}
    for page in (ROOT / "README.md", *DOCS.rglob("*.md")):
        named = re.findall(r"`(?:[\w.]+/)*(\w+\.py)`", page.read_text(encoding="utf-8"))
        assert set(named) <= known, page.name


def test_each_attack_of_the_table_names_tests_that_are_there() -> None:
    text = (DOCS / "trust.md").read_text(encoding="utf-8")
    rows = [r.split(" | ") for r in text.splitlines() if r.startswith("| ") and r.count(" | ") == 3]
    named = {name for row in rows for name in re.findall(r"`(test_\w+(?:\.py)?)`", row[3])}
    places = [*Path(__file__).parent.rglob("test_*.py")]
    there = {p.name for p in places} | {
        name
        for p in places
        for name in re.findall(r"^def (test_\w+)", p.read_text(encoding="utf-8"), re.MULTILINE)
    }
    assert len(named) > 60
    assert named - there == set()
    told = [row[:2] for row in rows if row[3].startswith("`test_")]
    assert told == sorted(told, key=lambda r: (r[0], r[1].lower()))
