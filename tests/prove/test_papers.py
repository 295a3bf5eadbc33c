"""Which papers the evidence shows, and which only a person can tick."""

from collections.abc import Callable
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.catalog.texts import Paper
from squibwise.errors import CatalogError
from squibwise.model.evidence import Passed, Recorder
from squibwise.model.proof import ProofRecord
from squibwise.model.report import ReadReport, Report

Maker = Callable[..., ProofRecord]


def there(record: ProofRecord) -> dict[str, bool | None]:
    return {p["id"]: p["there"] for p in record.content["papers"]}


def test_every_paper_of_the_catalogue_is_listed(issue: Maker, catalog: Catalog) -> None:
    assert list(there(issue())) == list(catalog.papers)


def test_what_no_evidence_can_show_is_left_to_a_person(issue: Maker) -> None:
    found = there(issue())
    assert found["receipts"] is None
    assert found["purchase"] is None


def test_evidence_shows_its_papers(issue: Maker) -> None:
    found = there(issue())
    shown = {word for word, is_there in found.items() if is_there}
    assert shown == {"labels", "codes-after", "lamp"}


@pytest.mark.parametrize(
    ("evidence", "paper"),
    [
        (Passed(id="x", what="dispose", result="passed"), "disposal"),
        (Passed(id="x", what="step:dispose", result="passed"), "disposal"),
        (Passed(id="x", what="drive", result="passed"), "drive"),
        (Passed(id="x", what="step:drive", result="passed"), "drive"),
        (Passed(id="x", what="step:arrival-record", result="passed"), "damage-photos"),
        (Passed(id="x", what="maker-procedure", result="passed"), "procedure"),
        (Recorder(id="x", record="stored"), "crash-data"),
        (Report(id="x", when="before-repair", reading=ReadReport()), "codes-before"),
    ],
)
def test_one_more_entry_shows_one_more_paper(
    issue: Maker, made: dict[str, Any], evidence: Any, paper: str
) -> None:
    before = there(issue())
    after = there(issue(case=made["case"](evidence=(evidence, *made["evidence"]()))))
    assert {w for w in after if after[w] != before[w]} == {paper}


def test_a_scan_before_the_last_work_is_no_report_after_the_repair(
    issue: Maker, made: dict[str, Any]
) -> None:
    rows = made["evidence"]()
    turned = (*(e for e in rows if e.id == "scan-9"), *(e for e in rows if e.id != "scan-9"))
    assert there(issue(case=made["case"](evidence=turned)))["codes-after"] is False


def test_an_estimate_is_no_crash_data(issue: Maker, made: dict[str, Any]) -> None:
    guess = Recorder(id="x", record="unknown", method="estimate")
    record = issue(case=made["case"](evidence=(guess, *made["evidence"]())))
    assert there(record)["crash-data"] is False


def test_a_paper_shown_by_something_unknown_is_refused(catalog: Catalog) -> None:
    paper = catalog.papers["lamp"]
    with pytest.raises(CatalogError, match="unknown shown_by 'hearsay'"):
        Paper(**(msgspec.structs.asdict(paper) | {"shown_by": "hearsay"}))
