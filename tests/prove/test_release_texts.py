"""The catalogue's gates and texts load, and broken ones are refused."""

import shutil
from pathlib import Path
from typing import Any

import msgspec
import pytest

from squibwise.catalog.load import Catalog, load_catalog
from squibwise.catalog.texts import read_word_sets, write_words
from squibwise.errors import CatalogError

BROKEN = Path(__file__).parents[1] / "catalog" / "broken"


@pytest.mark.parametrize(
    ("sample", "message"),
    [
        ("release-repeated.toml", "'twice' stands twice"),
        ("release-unknown-key.toml", "unknown field `colour`"),
    ],
)
def test_a_broken_release_file_is_refused(tmp_path: Path, sample: str, message: str) -> None:
    shutil.copy(BROKEN / sample, tmp_path / "release.toml")
    with pytest.raises(CatalogError, match=message):
        _ = Catalog(tmp_path).release_gates


def test_every_gate_says_what_must_hold_and_how_to_close_it() -> None:
    catalog = load_catalog()
    for gate in catalog.release_gates.values():
        assert gate.text.endswith(".")
        assert gate.remedy.endswith(".")
        assert gate.source in catalog.sources


def test_the_texts_that_every_record_needs_are_there() -> None:
    texts = load_catalog().record_texts
    assert {"footer", "standing"} <= set(texts)
    assert sum(name.startswith("limit-") for name in texts) >= 5


def test_words_of_a_version_are_written_and_read_back(catalog: Catalog, tmp_path: Path) -> None:
    (tmp_path / "1.tsv").write_text(write_words(catalog.words), encoding="utf-8")
    (read,) = read_word_sets(tmp_path)
    assert msgspec.structs.replace(read, name="today") == catalog.words


@pytest.mark.parametrize("row", ["gate\tonly-two", "gate\ta\tb\tc", "verse\ta\tb"])
def test_a_broken_row_of_words_is_refused(tmp_path: Path, row: str) -> None:
    (tmp_path / "1.tsv").write_text(f"gate\ta\tb\n{row}\n", encoding="utf-8")
    with pytest.raises(CatalogError, match=r"1\.tsv:2"):
        read_word_sets(tmp_path)


def test_the_words_of_both_layouts_are_kept(catalog: Catalog) -> None:
    names = [w.name for w in catalog.word_sets]
    assert names == ["today", "squibwise-record-2", "squibwise-record-3"]
    assert all(len(h) == 64 for w in catalog.word_sets for _, h in (*w.gates, *w.texts))


def test_every_question_has_what_answers_it(catalog: Catalog, issue: Any) -> None:
    answers = issue().content["answers"]
    assert [a["id"] for a in answers] == list(catalog.questions)
    assert {a["grade"] for a in answers} <= {"shown", "stated", "open"}
