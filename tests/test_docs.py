"""The pages of the site: examples that run, small pictures, addresses that exist."""

import doctest
import re
from functools import cache
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


@cache
def names_of_tests() -> frozenset[str]:
    places = [*Path(__file__).parent.rglob("test_*.py")]
    texts = (p.read_text(encoding="utf-8") for p in places)
    named = {n for t in texts for n in re.findall(r"^def (test_\w+)", t, re.MULTILINE)}
    return frozenset(named | {p.name for p in places})


def test_what_is_said_to_hold_a_demand_is_there() -> None:
    page = DOCS / "decisions" / "128-what-holds-severity-doubt-and-sights.md"
    rows = [
        r.split(" | ") for r in page.read_text(encoding="utf-8").splitlines() if r.count(" | ") == 2
    ]
    tests = {n for row in rows for n in re.findall(r"`(test_\w+)`", row[2])}
    cases = {n for row in rows for n in re.findall(r"`([\w-]+)`", row[1])}
    assert len(tests) > 40
    assert tests - names_of_tests() == set()
    assert cases - {p.name for p in (ROOT / "tests" / "cases").iterdir()} == set()


def test_each_attack_of_the_table_names_tests_that_are_there() -> None:
    text = (DOCS / "trust.md").read_text(encoding="utf-8")
    rows = [r.split(" | ") for r in text.splitlines() if r.startswith("| ") and r.count(" | ") == 3]
    named = {name for row in rows for name in re.findall(r"`(test_\w+(?:\.py)?)`", row[3])}
    there = names_of_tests()
    assert len(named) > 60
    assert named - there == set()
    told = [row[:2] for row in rows if row[3].startswith("`test_")]
    assert told == sorted(told, key=lambda r: (r[0], r[1].lower()))
