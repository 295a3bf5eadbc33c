"""Tags, bench cards and the pack for an inspection, from demo cars."""

import datetime as dt
from pathlib import Path
from typing import Any

import msgspec
import pypdfium2
import pytest
from click.testing import CliRunner

from squibwise import case as line
from squibwise.catalog.load import load_catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.cli.main import cli
from squibwise.documents.papers import papers_pdf
from squibwise.documents.typesetting import square_code
from squibwise.present.tell_papers import Paper, tell_cards, tell_pack, tell_tags

CATALOG = load_catalog()
DAY = dt.date(2026, 3, 20)


def text_of(paper: Paper) -> str:
    document = pypdfium2.PdfDocument(papers_pdf(paper, DAY))
    try:
        pages = [document[n].get_textpage().get_text_bounded() for n in range(len(document))]
    finally:
        document.close()
    return " ".join(" ".join(pages).replace("\u200b", "").replace("\x02", "-").split())


@pytest.fixture(scope="module")
def harrow() -> Any:
    case = line.open_case(DEMO_CASES / "harrow-07", CATALOG)
    return case, line.work(case, CATALOG)


def test_everything_that_is_taken_out_has_its_tag_and_what_burns_says_so(harrow: Any) -> None:
    case, todo = harrow
    outs = [o for v in todo.visits for a in v.areas for o in a.operations if o.action == "out"]
    paper = tell_tags(case, todo, CATALOG)
    assert [t.code.split()[:2] for t in paper.tags] == [["harrow-07", str(o.n)] for o in outs]
    bag = next(t for t in paper.tags if t.title == "driver airbag module")
    assert bag.alarm.startswith("LIVE until")
    text = text_of(paper)
    assert text.count("Old number") == len(outs) > 0
    assert "driver front airbag" in text


def test_a_car_with_nothing_to_take_out_says_so(harrow: Any) -> None:
    case, todo = harrow
    bare = msgspec.structs.replace(todo, visits=())
    assert "Nothing is to be taken out." in text_of(tell_tags(case, bare, CATALOG))


def test_a_bench_card_has_its_steps_cautions_and_a_box_for_each_outcome() -> None:
    case = line.open_case(DEMO_CASES / "burdock-09", CATALOG)
    trace = line.trace(case, "passenger.front-bag/1", CATALOG)
    text = text_of(tell_cards(case, [trace, trace], CATALOG))
    card = trace.next_test
    assert text.count(card.title) == 2
    assert all(" ".join(s.text.split())[:60] in text for s in card.steps)
    assert all(f"{word}: " in text for word in card.outcomes)
    assert "No circuit is to be traced." in text_of(tell_cards(case, [], CATALOG))


def test_the_pack_lists_papers_by_region_and_which_receipt_belongs_to_which_part(
    issue: Any,
) -> None:
    text = text_of(tell_pack(issue(), CATALOG))
    assert "State law may require replacement." in text
    assert all(p.text in text for p in CATALOG.papers.values())
    assert "1 driver front airbag 9Z-1147-A yard 0Z9HB5A26KR000999" in text
    assert "Declaration of the owner" in text
    assert issue().digest in text.replace(" ", "")


def test_the_same_paper_gives_the_same_bytes(harrow: Any) -> None:
    paper = tell_tags(*harrow, CATALOG)
    assert papers_pdf(paper, DAY) == papers_pdf(paper, DAY)


def test_a_square_code_is_drawn_as_svg() -> None:
    assert square_code("harrow-07 201").lstrip().startswith("<svg")


def test_a_paper_goes_where_it_is_told_and_over_nothing(tmp_path: Path) -> None:
    case, out = str(DEMO_CASES / "clover-05"), tmp_path / "tags.pdf"
    run = CliRunner().invoke
    args = ["paper", case, "tags", "-o", str(out), "--own", "none"]
    assert run(cli, args, standalone_mode=False).return_value == 0
    assert out.read_bytes().startswith(b"%PDF-")
    again = run(cli, args, standalone_mode=False)
    assert "is there already" in str(again.exception)
    assert run(cli, [*args, "--force"], standalone_mode=False).return_value == 0
    wrong = run(cli, [*args[:-3], str(tmp_path / "tags.txt")], standalone_mode=False)
    assert "does not end in .pdf" in str(wrong.exception)
