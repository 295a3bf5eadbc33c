"""A case folder to write into, and the shipped catalogue."""

from collections.abc import Callable
from pathlib import Path

import pytest

from squibwise.catalog.load import Catalog, load_catalog
from squibwise.errors import InputError
from squibwise.intake import load_case
from squibwise.model.case import Case
from squibwise.model.origin import Finding

REPORT = "B0001-1B Driver frontal inflator 1st stage - open or increased resistance  present\n"
Load = Callable[[str], Case]
Refused = Callable[[str], tuple[Finding, ...]]


@pytest.fixture(scope="session")
def catalog() -> Catalog:
    return load_catalog()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    case = tmp_path / "teasel-99"
    (case / "evidence").mkdir(parents=True)
    (case / "evidence" / "scan.txt").write_text(REPORT, encoding="utf-8")
    return case


@pytest.fixture
def load(folder: Path, catalog: Catalog) -> Load:
    def from_text(text: str) -> Case:
        (folder / "case.toml").write_text(text, encoding="utf-8")
        return load_case(folder, catalog)

    return from_text


@pytest.fixture
def refused(folder: Path, catalog: Catalog) -> Refused:
    def from_text(text: str) -> tuple[Finding, ...]:
        (folder / "case.toml").write_text(text, encoding="utf-8")
        with pytest.raises(InputError) as refusal:
            load_case(folder, catalog)
        assert refusal.value.exit_code == 2
        findings: tuple[Finding, ...] = refusal.value.findings
        return findings

    return from_text
