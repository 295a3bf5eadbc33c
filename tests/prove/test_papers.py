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


def there(record: ProofRecord) -> dict[str, str]:
    return {p["id"]: p["grade"] for p in record.content["papers"]}


def test_every_paper_of_the_catalogue_is_listed(issue: Maker, catalog: Catalog) -> None:
    assert list(there(issue())) == list(catalog.papers)


def test_what_no_evidence_can_show_is_left_to_a_person(issue: Maker) -> None:
    found = there(issue())
    assert found["receipts"] == "open"
    assert found["purchase"] == "open"


def test_evidence_shows_its_papers(issue: Maker) -> None:
    found = there(issue())
    assert {word for word, grade in found.items() if grade == "shown"} == {"codes-after"}
    assert {word for word, grade in found.items() if grade == "stated"} == {
        "labels",
        "lamp",
        "disposal",
    }


def test_a_signature_shows_a_paper_only_when_it_names_a_file_of_the_case(
    issue: Maker, made: dict[str, Any]
) -> None:
    for note, grade in (("arrival.jpg", "shown"), ("photos on my phone", "stated")):
        said = Passed(id="x", what="step:arrival-record", result="passed", note=note, by="R")
        case = made["case"](evidence=(said, *made["evidence"]()), files={"arrival.jpg": "00" * 32})
        assert there(issue(case=case))["damage-photos"] == grade


@pytest.mark.parametrize(
    ("evidence", "paper"),
    [
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
    early = {"scan-9": made["at"](6)}
    turned = tuple(msgspec.structs.replace(e, time=early.get(e.id, e.time)) for e in rows)
    assert there(issue(case=made["case"](evidence=turned)))["codes-after"] == "open"


def test_an_estimate_is_no_crash_data(issue: Maker, made: dict[str, Any]) -> None:
    guess = Recorder(id="x", record="unknown", method="estimate")
    record = issue(case=made["case"](evidence=(guess, *made["evidence"]())))
    assert there(record)["crash-data"] == "open"


def test_a_paper_shown_by_something_unknown_is_refused(catalog: Catalog) -> None:
    paper = catalog.papers["lamp"]
    with pytest.raises(CatalogError, match="unknown shown_by 'hearsay'"):
        Paper(**(msgspec.structs.asdict(paper) | {"shown_by": "hearsay"}))
