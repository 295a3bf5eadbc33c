"""An answer as a notebook shows it. Cars made up."""

import pytest
from tests.cli.whole_jobs import JOBS

from squibwise import case as line
from squibwise.catalog.load import load_catalog
from squibwise.errors import InputError
from squibwise.present.notebook import show, write_markdown
from squibwise.present.telling import (
    Branch,
    Bullets,
    Entry,
    Step,
    Steps,
    Table,
    Telling,
    Text,
    Tree,
    section,
)

CATALOG = load_catalog()
LOAD = {
    "kind": "substitute-load",
    "serial": "A",
    "loop": "driver.front-bag/1",
    "move": "issued",
    "ohm": 2.1,
}
TABLES = JOBS["left-offset"].tables()
CASE = line.make_case(
    {**TABLES, "evidence": [*TABLES["evidence"], LOAD]},
    CATALOG,
    {"scan.txt": JOBS["left-offset"].scan},
)


def test_every_kind_of_answer_is_shown_in_the_words_of_its_telling() -> None:
    whole = line.overview(CASE, CATALOG)
    shown = {
        "assess": show(CASE, whole.states, CATALOG),
        "work": show(CASE, whole.todo, CATALOG),
        "brief": show(CASE, whole, CATALOG),
        "cost": show(CASE, whole.costs, CATALOG),
        "check": show(CASE, whole.verdicts, CATALOG),
        "trace": show(CASE, line.trace(CASE, "driver.front-bag", CATALOG), CATALOG),
    }
    for word, one in shown.items():
        assert one._repr_markdown_() == write_markdown(one.telling), word
        assert one.telling.sections, word
    assert "- [ ] " in shown["work"]._repr_markdown_()
    with pytest.raises(InputError):
        show(CASE, (), CATALOG)


def test_every_block_is_laid_out_and_nothing_in_it_is_taken_for_markup() -> None:
    told = Telling(
        title="a_b",
        about=("quiet",),
        sections=(
            section(
                "Head",
                Text(text="use `work --full` and *never* [guess]", tone="alarm"),
                Bullets(items=("one",)),
                Table(rows=(("a|b", "2"),), head=("x", "y"), right=(1,)),
                Steps(steps=(Step(done=True, number="7", title="open", notes=("5 min",)),)),
                Entry(lines=("[[evidence]]",)),
                Tree(root=Branch(text="root", branches=(Branch(word="yes", text="leaf"),))),
                note="beside",
            ),
        ),
        closing=(Text(text="last"),),
    )
    assert write_markdown(told).split("\n\n") == [
        "## a\\_b",
        "*quiet*",
        "### Head *beside*",
        "**use `work --full` and \\*never\\* \\[guess\\]**",
        "- one",
        "| x | y |\n| :--- | ---: |\n| a\\|b | 2 |",
        "- [x] 7 open; 5 min",
        "```\n[[evidence]]\n```",
        "- root\n  - **yes**: leaf",
        "last\n",
    ]
